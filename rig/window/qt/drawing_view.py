"""A drawing of the printed pages on the screen: the same lines and labels, in the theme's colours."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from rig.sheets.blocks import Drawing, Label, Line
from rig.window.qt.theme import DARK, Theme

MM_A_POINT = 25.4 / 72
SOFT_ALPHA = 60
DASHES = {"densely-dashed": [3.0, 2.0], "dashed": [4.0, 3.0], "densely-dotted": [1.0, 1.5]}
NARROW = 78
"""Stretch of the letters: the screen's are wider than those of the printed page, for which the drawing was laid out."""
ALIGN = {
    "left": Qt.AlignmentFlag.AlignLeft,
    "right": Qt.AlignmentFlag.AlignRight,
    "center": Qt.AlignmentFlag.AlignHCenter,
}


class DrawingView(QWidget):
    """One drawing, as large as fits."""

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("drawing")
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumSize(160, 90)
        self._drawing: Drawing | None = None
        self._theme = DARK

    def show_drawing(self, drawing: Drawing | None) -> None:
        """Show this; None shows nothing."""
        self._drawing = drawing
        self.setAccessibleName("" if drawing is None else drawing.alt)
        self.setVisible(drawing is not None)
        self.update()

    def set_theme(self, theme: Theme) -> None:
        """Use these colours."""
        self._theme = theme
        self.update()

    def _colour(self, ink: str) -> QColor:
        theme = self._theme
        inks = {
            "soft": theme.soft,
            "line": theme.line,
            "first": theme.curve,
            "second": theme.mark,
            "paper": theme.panel,
            "sunk": theme.sunk,
        }
        colour = QColor(inks.get(ink.removesuffix("-soft"), theme.ink) if ink != "band" else theme.band)
        if ink == "band" or ink.endswith("-soft"):
            colour.setAlpha(SOFT_ALPHA)
        return colour

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802  Qt's name
        """Qt asks."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), QColor(self._theme.panel))
        drawing = self._drawing
        if drawing is None:
            return
        scale = min(self.width() / drawing.width_mm, self.height() / drawing.height_mm)
        painter.translate((self.width() - scale * drawing.width_mm) / 2, (self.height() - scale * drawing.height_mm) / 2)
        for shape in drawing.shapes:
            if isinstance(shape, Line):
                self._paint_line(painter, shape, scale)
            else:
                self._paint_label(painter, shape, scale)

    def _paint_line(self, painter: QPainter, line: Line, scale: float) -> None:
        points = QPolygonF([QPointF(scale * x, scale * y) for x, y in line.points])
        pen = QPen(Qt.PenStyle.NoPen)
        if line.width_pt:
            pen = QPen(self._colour(line.ink), max(1.0, line.width_pt * MM_A_POINT * scale))
            if line.dash is not None:
                pen.setDashPattern(DASHES[line.dash])
        painter.setPen(pen)
        if line.fill is None:
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawPolyline(points)
        else:
            painter.setBrush(self._colour(line.fill))
            painter.drawPolygon(points)

    def _paint_label(self, painter: QPainter, label: Label, scale: float) -> None:
        font = QFont()
        font.setPixelSize(max(6, round(label.size_pt * MM_A_POINT * scale)))
        font.setBold(label.bold)
        font.setStretch(NARROW)
        painter.setFont(font)
        painter.setPen(self._colour("ink"))
        painter.save()
        painter.translate(scale * label.x, scale * label.y)
        if label.turned:
            painter.rotate(-90)
        reach = scale * 200.0
        left = {"left": 0.0, "right": -reach, "center": -reach / 2}[label.align]
        painter.drawText(QRectF(left, -reach / 2, reach, reach), ALIGN[label.align] | Qt.AlignmentFlag.AlignVCenter, label.text)
        painter.restore()
