"""The bench over the jobs: one figure as a control chart, with what stands out in words beneath it."""

from __future__ import annotations

from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QLabel, QSizePolicy, QVBoxLayout, QWidget

from analysis.window import Basis
from rig.window.job_desk import JobDesk
from rig.window.qt.shapes import fitted, put_text
from rig.window.qt.table import ReadTable
from rig.window.qt.theme import DARK, Theme
from rig.window.views.trend import FIGURES, TREND_HEADINGS, TrendPoint, TrendView
from rig.words.language import number, say

ROOM = 0.08
"""Above the highest and beneath the lowest, as a share of what lies between."""


class TrendChart(QWidget):
    """Jobs from left to right: a dot each, a diamond where a rule is broken; centre drawn, limits dashed."""

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("trend")
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self._theme, self._scale = DARK, 1.0
        self._view: TrendView | None = None

    def show_trend(self, theme: Theme, scale: float, view: TrendView | None) -> None:
        """Draw this."""
        self._theme, self._scale, self._view = theme, scale, view
        self.setAccessibleName("" if view is None else view.head)
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802  Qt's name
        """Qt asks."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), QColor(self._theme.panel))
        if self._view is not None and self._view.points:
            self._paint(painter, self._view)
        painter.end()

    def _paint(self, painter: QPainter, view: TrendView) -> None:
        theme, unit, points = self._theme, self._scale, view.points
        seen = [value for point in points for value in (point.value, point.low, point.high) if value is not None]
        low, high = min(seen), max(seen)
        room = ROOM * (high - low) or 1.0
        low, high = low - room, high + room
        left, right, top, bottom = 80 * unit, self.width() - 20 * unit, 14 * unit, self.height() - 14 * unit
        step = (right - left) / len(points)

        def place(at: float, value: float) -> QPointF:
            return QPointF(left + (at + 0.5) * step, bottom - (bottom - top) * (value - low) / (high - low))

        painter.setPen(QPen(QColor(theme.band), 2 * unit, Qt.PenStyle.DashLine))
        for at, point in enumerate(points):
            for limit in (point.low, point.high):
                if limit is not None:
                    painter.drawLine(place(at - 0.5, limit), place(at + 0.5, limit))
        if view.centre is not None:
            painter.setPen(QPen(QColor(theme.soft), 2 * unit))
            painter.drawLine(place(-0.5, view.centre), place(len(points) - 0.5, view.centre))
        painter.setPen(QPen(QColor(theme.curve), 2 * unit))
        painter.drawPolyline(QPolygonF([place(at, point.value) for at, point in enumerate(points)]))
        for at, point in enumerate(points):
            self._paint_point(painter, place(at, point.value), point)
        for value in {low + room, high - room}:
            text = number(value, 2)
            put_text(painter, text, 6 * unit, place(0, value).y() + 5 * unit, fitted(text, 68 * unit, 11 * unit), theme.ink)
        put_text(painter, view.unit, 6 * unit, (top + bottom) / 2, fitted(view.unit, 68 * unit, 11 * unit), theme.soft)

    def _paint_point(self, painter: QPainter, at: QPointF, point: TrendPoint) -> None:
        size = self._scale * (9 if point.broken else 5)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(self._theme.alarm.edge if point.broken else self._theme.curve))
        if point.broken:
            painter.drawPolygon([at + QPointF(x * size, y * size) for x, y in ((0, -1), (1, 0), (0, 1), (-1, 0))])
        else:
            painter.drawEllipse(at, size, size)


class TrendPart(QWidget):
    """The part of the page of jobs; the book is asked when it comes in sight or another figure is wanted."""

    def __init__(self, desk: JobDesk) -> None:
        super().__init__()
        self._desk = desk
        self._theme, self._scale = DARK, 1.0
        self._view: TrendView | None = None
        self.figure, self.basis = QComboBox(), QComboBox()
        for name, words in FIGURES.items():
            self.figure.addItem(say(words), name)
        for basis, words in ((Basis.BREAKAWAY, say("pack breakaway")), (Basis.SLIDING, say("pack sliding"))):
            self.basis.addItem(words, basis)
        self.figure.setAccessibleName(say("which figure"))
        self.basis.setAccessibleName(say("which torque"))
        for box in (self.figure, self.basis):
            box.activated.connect(lambda _: self.ask())
        self.head = QLabel()
        self.head.setWordWrap(True)
        self.chart = TrendChart()
        self.table = ReadTable(TREND_HEADINGS, say("the bench over the jobs"))
        choice = QHBoxLayout()
        choice.addWidget(self.figure)
        choice.addWidget(self.basis)
        choice.addStretch(1)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addLayout(choice)
        layout.addWidget(self.head)
        layout.addWidget(self.chart, 3)
        layout.addWidget(self.table, 2)

    def ask(self) -> None:
        """Ask the book for the figure chosen."""
        self._desk.tell_trend(self.figure.currentData(), Basis(self.basis.currentData()), self._show)

    def _show(self, view: TrendView) -> None:
        self._view = view
        self.head.setText(view.head)
        self.table.show_rows([(point.cells, True, point.cells[-1]) for point in reversed(view.points)])
        self.chart.show_trend(self._theme, self._scale, view)

    def dress(self, theme: Theme, scale: float) -> None:
        """Use these colours and sizes."""
        self._theme, self._scale = theme, scale
        self.head.setStyleSheet(f"font-size: {round(22 * scale)}px; font-weight: bold;")
        self.chart.show_trend(theme, scale, self._view)
