"""The big panel: what happened, readable from three metres. And the band above it: what the bench is doing."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from rig.window.model import BenchState
from rig.window.qt.shapes import fitted, paint_state, paint_tone, put_text
from rig.window.qt.theme import DARK, Paint, Theme
from rig.window.views.verdict import LiveView, Scale, VerdictView, state_hint, state_word


class VerdictPanel(QWidget):
    """Shows one verdict, or the torque now, as large as the space allows."""

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("verdict")
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self._theme = DARK
        self._verdict: VerdictView | None = None
        self._scale: Scale | None = None
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

    def show_verdict(self, view: VerdictView, scale: Scale | None) -> None:
        """Show a verdict and where its value stands."""
        if (view, scale) != (self._verdict, self._scale):
            self._verdict, self._scale = view, scale
            self.setAccessibleName(view.spoken())
            self.update()

    def show_live(self, view: LiveView) -> None:
        """Show the torque now."""
        if self._verdict is not None or view != self._live:
            self._verdict, self._live = None, view
            self.setAccessibleName(f"{view.word} {view.value} {view.unit} {view.note}")
            self.update()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802  Qt's name
        """Qt asks."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        box = QRectF(self.rect())
        if self._verdict is None:
            self._paint_live(painter, box)
        else:
            self._paint_verdict(painter, box, self._verdict, self._theme.tones[self._verdict.tone])
        painter.end()

    def _write(
        self, painter: QPainter, name: str, text: str, left: float, base: float, width: float, cap: float, ink: str
    ) -> float:
        font = fitted(text, width, cap, bold=name not in ("note", "more", "margin", "spread"))
        end = put_text(painter, text, left, base, font, ink)
        self.cap_heights[name] = painter.fontMetrics().capHeight()
        return end

    def _paint_verdict(self, painter: QPainter, box: QRectF, view: VerdictView, paint: Paint) -> None:
        width, height = box.width(), box.height()
        painter.setPen(QPen(QColor(paint.edge), 3))
        painter.setBrush(QColor(paint.fill))
        painter.drawRoundedRect(box.adjusted(2, 2, -2, -2), 8, 8)
        left, right = 0.035 * width, 0.965 * width
        self._write(painter, "word", view.word, left, 0.23 * height, right - left, 0.17 * height, paint.ink)
        side = min(0.28 * height, 0.25 * width)
        paint_tone(painter, view.tone, QRectF(left, 0.295 * height, side, side), paint.ink, paint.fill)
        value_left = left + side + 0.035 * width
        value_end = self._write(painter, "value", view.value, value_left, 0.56 * height, 0.47 * width, 0.235 * height, paint.ink)
        unit_left = value_end + 0.02 * width
        self._write(painter, "unit", view.unit, unit_left, 0.56 * height, right - unit_left, 0.1 * height, paint.ink)
        if view.second:
            self._write(painter, "second", view.second, unit_left, 0.4 * height, right - unit_left, 0.07 * height, paint.ink)
        self._write(painter, "margin", view.margin, left, 0.68 * height, right - left, 0.064 * height, paint.ink)
        self._write(painter, "spread", view.uncertainty, left, 0.77 * height, right - left, 0.064 * height, paint.ink)
        if self._scale is not None and self._scale.value is not None:
            self._paint_scale(painter, QRectF(left, 0.795 * height, right - left, 0.11 * height), self._scale, paint)
        # The most important note has a line of its own, so that what follows does not make it small.
        for name, words, base in zip(("note", "more"), (view.notes[:1], view.notes[1:3]), (0.943, 0.985), strict=True):
            self._write(painter, name, " · ".join(words), left, base * height, right - left, 0.03 * height, paint.ink)

    def _paint_scale(self, painter: QPainter, box: QRectF, scale: Scale, paint: Paint) -> None:
        ink = QColor(paint.ink)

        def at(torque: float) -> float:
            return box.left() + box.width() * min(1.0, max(0.0, torque / scale.end))

        middle = box.top() + 0.42 * box.height()
        painter.setPen(QPen(ink, 2))
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
                painter.fillRect(QRectF(at(limit) - 2, window.top(), 4, window.height()), ink)
                font = fitted(text, 200, 0.2 * box.height())
                put_text(painter, text, at(limit) + 6, box.bottom() - 0.02 * box.height(), font, paint.ink)
        if scale.value is not None:
            left, right, half = at(scale.value - scale.spread), at(scale.value + scale.spread), 0.17 * box.height()
            painter.fillRect(QRectF(left, middle - 3, max(2.0, right - left), 6), ink)
            for end in (left, right):
                painter.fillRect(QRectF(end - 1.5, middle - half, 3, 2 * half), ink)
            tip = QPointF(at(scale.value), middle - half)
            painter.setPen(QPen(QColor(paint.fill), 2))
            painter.setBrush(ink)
            painter.drawPolygon([tip, tip + QPointF(-1.6 * half, -2 * half), tip + QPointF(1.6 * half, -2 * half)])

    def _paint_live(self, painter: QPainter, box: QRectF) -> None:
        theme, view = self._theme, self._live
        width, height = box.width(), box.height()
        painter.setPen(QPen(QColor(theme.line), 2))
        painter.setBrush(QColor(theme.panel))
        painter.drawRoundedRect(box.adjusted(2, 2, -2, -2), 8, 8)
        left, right = 0.035 * width, 0.965 * width
        self._write(painter, "word", view.word, left, 0.22 * height, right - left, 0.12 * height, theme.soft)
        end = self._write(painter, "value", view.value, left, 0.62 * height, 0.7 * width, 0.3 * height, theme.ink)
        self._write(
            painter, "unit", view.unit, end + 0.02 * width, 0.62 * height, right - end - 0.02 * width, 0.1 * height, theme.ink
        )
        self._write(painter, "margin", view.note, left, 0.8 * height, right - left, 0.06 * height, theme.soft)


class StateBand(QWidget):
    """What the bench is doing: shape, word, what to do; at the right a line of the caller's."""

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("state")
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self._theme = DARK
        self._state = BenchState.NO_LINE
        self._right = ""
        self.cap_height = 0.0

    def set_theme(self, theme: Theme, scale: float) -> None:
        """Use these colours; `scale` 1 is a window 800 pixels high."""
        self._theme = theme
        self.setFixedHeight(round(92 * scale))
        self.update()

    def show_state(self, state: BenchState, right: str) -> None:
        """Show a state; `right` is a short finished text, such as the window."""
        if (state, right) != (self._state, self._right):
            self._state, self._right = state, right
            self.update()
        self.setAccessibleName(f"{state_word(state)}. {state_hint(state)} {right}")

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802  Qt's name
        """Qt asks."""
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
        word = state_word(self._state)
        font = fitted(word, 0.58 * box.width(), 0.57 * height)
        put_text(painter, word, left, 0.62 * height, font, ink)
        self.cap_height = painter.fontMetrics().capHeight()
        hint = fitted(state_hint(self._state), box.width() - left - right_width, 0.135 * height, bold=False)
        put_text(painter, state_hint(self._state), left, 0.88 * height, hint, ink)
        if self._right:
            lines = self._right.split("\n")
            longest = max(lines, key=len)
            painter.setFont(fitted(longest, right_width - 0.2 * height, 0.19 * height))
            painter.setPen(QColor(ink))
            spot = QRectF(box.width() - right_width, 0, right_width - 0.2 * height, height)
            painter.drawText(spot, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, self._right)
        painter.end()
