"""The big panel: what happened, readable from three metres. And the band above it: what the bench is doing."""

from __future__ import annotations

from dataclasses import replace

from PySide6.QtCore import QPointF, QRect, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from rig.window.model import BenchState
from rig.window.qt.shapes import fitted, paint_state, paint_tone, put_text
from rig.window.qt.theme import DARK, Paint, Theme
from rig.window.views.panel import PanelView
from rig.window.views.verdict import LiveView, Scale, state_hint, state_word

LIVE_VALUE = "000.0"
LIVE_VALUE_ROW = (0.32, 0.74)
"""From and to where the torque now stands, as shares of the panel's height."""
CAP_SHARE = 0.82
"""Height of the capitals in a row, as a share of the row."""

SCALE_HEIGHT = 50.0
"""Height of the scale in pixels of the design size, for which the widths of its lines are given."""


class VerdictPanel(QWidget):
    """Shows one verdict, or the torque now, as large as the space allows."""

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("verdict")
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self._theme = DARK
        self._view: PanelView | None = None
        self._live = LiveView("", "", "", "")
        self.cap_heights: dict[str, float] = {}
        """Height in pixels of the capitals last painted, by what was written: what a reader at three metres depends on."""

    def sizeHint(self) -> QSize:  # noqa: N802  Qt's name
        """Qt asks."""
        return QSize(620, 400)

    def minimumSizeHint(self) -> QSize:  # noqa: N802  Qt's name
        """Qt asks."""
        return QSize(320, 220)

    def set_theme(self, theme: Theme) -> None:
        """Use these colours."""
        self._theme = theme
        self.update()

    def show_verdict(self, view: PanelView) -> None:
        """Show a verdict."""
        if view != self._view:
            self._view = view
            self.setAccessibleName(view.spoken())
            self.update()

    def show_live(self, view: LiveView) -> None:
        """Show the torque now."""
        if self._view is None and replace(view, value=self._live.value) == self._live:
            if view.value != self._live.value:
                self._live = view
                self.setAccessibleName(f"{view.word} {view.value} {view.unit} {view.note}")
                self.update(self._value_row())
        else:
            self._view, self._live = None, view
            self.setAccessibleName(f"{view.word} {view.value} {view.unit} {view.note}")
            self.update()

    def _value_row(self) -> QRect:
        """The part of the live panel that a changed torque needs painted anew; all else of it stays for seconds."""
        top, bottom = (round(share * self.height()) for share in LIVE_VALUE_ROW)
        return QRect(4, top, self.width() - 8, bottom - top)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802  Qt's name
        """Qt asks."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        box = QRectF(self.rect())
        self.cap_heights = {}
        if not self._value_row().contains(event.rect()):
            painter.fillRect(event.rect(), QColor(self._theme.ground))
        if self._view is None:
            self._paint_live(painter, box, only_value=self._value_row().contains(event.rect()))
        else:
            self._paint_verdict(painter, box, self._view, self._theme.tones[self._view.tone])
        painter.end()

    def _write(
        self,
        painter: QPainter,
        name: str,
        text: str,
        left: float,
        base: float,
        width: float,
        cap: float,
        ink: str,
        *,
        bold: bool = True,
    ) -> float:
        font = fitted(text, width, cap, bold=bold, squeeze=bold)
        end = put_text(painter, text, left, base, font, ink)
        self.cap_heights[name] = painter.fontMetrics().capHeight()
        return end

    def _paint_verdict(self, painter: QPainter, box: QRectF, view: PanelView, paint: Paint) -> None:
        painter.setPen(QPen(QColor(paint.edge), 3))
        painter.setBrush(QColor(paint.fill))
        painter.drawRoundedRect(box.adjusted(2, 2, -2, -2), 8, 8)
        left, right = 0.03 * box.width(), 0.97 * box.width()
        weights = {"word": 1.0, "value": 1.5, "scale": 0.45, "margin": 1.0, "spoiler": 1.04, "guide": 1.04, "about": 0.32}
        texts = {"margin": view.margin, "spoiler": view.spoiler, "guide": view.guide}
        rows = [name for name in weights if texts.get(name, "-") and (name != "scale" or view.scale is not None)]
        unit_height = 0.97 * box.height() / sum(weights[name] for name in rows)
        top = 0.012 * box.height()
        for name in rows:
            height = weights[name] * unit_height
            row = QRectF(left, top, right - left, height)
            if name == "value":
                self._paint_value(painter, row, view, paint)
            elif name == "scale" and view.scale is not None:
                self._paint_scale(painter, row, view.scale, paint)
            elif name == "about":
                small = " · ".join([view.about, *view.notes[:1]])
                self._write(painter, name, small, left, top + 0.75 * height, right - left, 0.5 * height, paint.ink, bold=False)
            else:
                text = view.word if name == "word" else texts[name]
                base = top + 0.5 * (1 + CAP_SHARE) * height
                cap, inset, ink = CAP_SHARE * height, 0.0, paint.ink
                if name in ("spoiler", "guide"):
                    self._paint_badge(painter, row, paint, filled=name == "spoiler")
                    cap, inset = 0.78 * height, 0.2 * height
                    base = top + 0.5 * (height + cap)
                    ink = paint.fill if name == "spoiler" else paint.ink
                self._write(painter, name, text, left + inset, base, right - left - 2 * inset, cap, ink)
            top += height

    def _paint_badge(self, painter: QPainter, row: QRectF, paint: Paint, *, filled: bool) -> None:
        """A spoiler stands in a filled bar, the guide in a framed one: told apart without colour."""
        bar = row.adjusted(0, 0.03 * row.height(), 0, -0.03 * row.height())
        painter.setPen(QPen(QColor(paint.ink), 3))
        painter.setBrush(QColor(paint.ink) if filled else Qt.BrushStyle.NoBrush)
        painter.drawRoundedRect(bar, 6, 6)

    def _paint_value(self, painter: QPainter, row: QRectF, view: PanelView, paint: Paint) -> None:
        side = 0.86 * row.height()
        paint_tone(painter, view.tone, QRectF(row.left(), row.top() + 0.07 * row.height(), side, side), paint.ink, paint.fill)
        left, base = row.left() + side + 0.03 * row.width(), row.top() + 0.88 * row.height()
        end = self._write(painter, "value", view.value, left, base, 0.5 * row.width(), CAP_SHARE * row.height(), paint.ink)
        beside = end + 0.02 * row.width()
        room = row.right() - beside
        self._write(painter, "unit", view.unit, beside, base, 0.5 * room, 0.3 * row.height(), paint.ink)
        self._write(painter, "spread", view.spread, beside, row.top() + 0.45 * row.height(), room, 0.3 * row.height(), paint.ink)
        if view.second:
            self._write(painter, "second", view.second, beside + 0.53 * room, base, 0.47 * room, 0.2 * row.height(), paint.ink)

    def _paint_scale(self, painter: QPainter, box: QRectF, scale: Scale, paint: Paint) -> None:
        ink = QColor(paint.ink)

        def at(torque: float) -> float:
            return box.left() + box.width() * min(1.0, max(0.0, torque / scale.end))

        middle = box.top() + 0.42 * box.height()
        thick = box.height() / SCALE_HEIGHT  # of lines: they grow with the window
        painter.setPen(QPen(ink, 2 * thick))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawLine(QPointF(box.left(), middle), QPointF(box.right(), middle))
        low_x = box.left() if scale.low is None else at(scale.low)
        high_x = box.right() if scale.high is None else at(scale.high)
        window = QRectF(low_x, box.top() + 0.12 * box.height(), high_x - low_x, 0.6 * box.height())
        painter.fillRect(window, Qt.BrushStyle.BDiagPattern)
        painter.setBrush(ink)
        painter.fillRect(window, QColor(ink.red(), ink.green(), ink.blue(), 60))
        for limit, text in ((scale.low, scale.low_text), (scale.high, scale.high_text)):
            if limit is not None:
                painter.fillRect(QRectF(at(limit) - 2 * thick, window.top(), 4 * thick, window.height()), ink)
                font = fitted(text, 200 * thick, 0.2 * box.height())
                put_text(painter, text, at(limit) + 6 * thick, box.bottom() - 0.02 * box.height(), font, paint.ink)
        if scale.value is not None:
            left, right, half = at(scale.value - scale.spread), at(scale.value + scale.spread), 0.17 * box.height()
            painter.fillRect(QRectF(left, middle - 3 * thick, max(2.0, right - left), 6 * thick), ink)
            for end in (left, right):
                painter.fillRect(QRectF(end - 1.5 * thick, middle - half, 3 * thick, 2 * half), ink)
            tip = QPointF(at(scale.value), middle - half)
            painter.setPen(QPen(QColor(paint.fill), 2))
            painter.setBrush(ink)
            painter.drawPolygon([tip, tip + QPointF(-1.6 * half, -2 * half), tip + QPointF(1.6 * half, -2 * half)])

    def _paint_live(self, painter: QPainter, box: QRectF, *, only_value: bool) -> None:
        theme, view = self._theme, self._live
        width, height = box.width(), box.height()
        fill, ink, soft = (
            (theme.alarm.fill, theme.alarm.ink, theme.alarm.ink) if view.alarm else (theme.panel, theme.ink, theme.soft)
        )
        left, right = 0.035 * width, 0.965 * width
        if only_value:
            painter.fillRect(self._value_row(), QColor(fill))
        else:
            painter.setPen(QPen(QColor(theme.alarm.edge if view.alarm else theme.line), 2))
            painter.setBrush(QColor(fill))
            painter.drawRoundedRect(box.adjusted(2, 2, -2, -2), 8, 8)
            self._write(painter, "word", view.word, left, 0.24 * height, right - left, (0.2 if view.alarm else 0.14) * height, soft)
            self._write(painter, "margin", view.note, left, 0.84 * height, right - left, 0.07 * height, soft, bold=False)
        widest = max(view.value, LIVE_VALUE, key=len)  # the size does not change with the digits
        font = fitted(widest, 0.7 * width, 0.3 * height, squeeze=True)
        end = put_text(painter, view.value, left, 0.66 * height, font, ink)
        self.cap_heights["value"] = painter.fontMetrics().capHeight()
        self._write(painter, "unit", view.unit, end + 0.02 * width, 0.66 * height, right - end - 0.02 * width, 0.1 * height, ink)
        if view.stale:
            painter.setPen(QPen(QColor(ink), max(4.0, 0.02 * height)))
            painter.drawLine(QPointF(left, 0.62 * height), QPointF(end, 0.4 * height))


class StateBand(QWidget):
    """What the bench is doing: shape, word, what to do; at the right a line of the caller's."""

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("state")
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self._theme = DARK
        self._state: BenchState | None = None
        self._right = self._mark = ""
        self.cap_height = 0.0

    def set_theme(self, theme: Theme, scale: float) -> None:
        """Use these colours; `scale` 1 is a window 800 pixels high."""
        self._theme = theme
        self.setFixedHeight(round(98 * scale))
        self.update()

    def show_state(self, state: BenchState, right: str, mark: str = "") -> None:
        """Show a state; `right` is a short finished text, such as the window; `mark` says large what is not the bench."""
        if (state, right, mark) != (self._state, self._right, self._mark):
            self._state, self._right, self._mark = state, right, mark
            self.setAccessibleName(f"{mark} {state_word(state)}. {state_hint(state)} {right}".strip())
            self.update()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802  Qt's name
        """Qt asks."""
        if self._state is None:
            return
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        theme, box = self._theme, QRectF(self.rect())
        if self._state in (BenchState.LOST, BenchState.NO_LINE):
            fill, ink = theme.alarm.fill, theme.alarm.ink
        elif self._state in (BenchState.PULLING, BenchState.READING, BenchState.EXERCISING):
            fill, ink = theme.busy.fill, theme.busy.ink
        else:
            fill, ink = theme.panel, theme.ink
        painter.fillRect(box, QColor(fill))
        height = box.height()
        side = 0.66 * height
        paint_state(painter, self._state, QRectF(0.2 * height, 0.17 * height, side, side), ink)
        left = 0.2 * height + side + 0.2 * height
        right_width = 0.3 * box.width()
        word = (f"{self._mark}: " if self._mark else "") + state_word(self._state)
        font = fitted(word, 0.58 * box.width(), 0.61 * height, squeeze=True)
        put_text(painter, word, left, 0.68 * height, font, ink)
        self.cap_height = painter.fontMetrics().capHeight()
        hint = fitted(state_hint(self._state), box.width() - left - right_width, 0.135 * height, bold=False)
        put_text(painter, state_hint(self._state), left, 0.92 * height, hint, ink)
        if self._right:
            lines = self._right.split("\n")
            longest = max(lines, key=len)
            painter.setFont(fitted(longest, right_width - 0.2 * height, 0.19 * height))
            painter.setPen(QColor(ink))
            spot = QRectF(box.width() - right_width, 0, right_width - 0.2 * height, height)
            painter.drawText(spot, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, self._right)
        painter.end()
