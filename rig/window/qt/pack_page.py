"""The pack page: the stacks drawn as they are built, the choices of shims over the window, what to do in large."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QFileDialog, QHBoxLayout, QLabel, QPushButton, QSizePolicy, QVBoxLayout, QWidget

from rig.window.model import Changed
from rig.window.qt.page import Page
from rig.window.qt.shapes import fitted, put_text
from rig.window.qt.theme import DARK, Theme
from rig.window.views.pack import ChoiceView, PackView, Part, Piece, StackView
from rig.words.language import say

THICKNESS = {
    Part.WALL: 1.3,
    Part.RING: 1.3,
    Part.INNER: 1.0,
    Part.OUTER: 1.0,
    Part.SHIM: 0.5,
    Part.CUP_LEFT: 1.2,
    Part.CUP_RIGHT: 1.2,
}


class StackDrawing(QWidget):
    """Both sides in section: inner plates reach in to the gear, outer plates out to the case, springs as they open."""

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("stacks")
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self._theme = DARK
        self._stacks: tuple[StackView, ...] = ()

    def show_stacks(self, theme: Theme, stacks: tuple[StackView, ...]) -> None:
        """Draw these."""
        self._theme, self._stacks = theme, stacks
        said = (f"{stack.name}: " + ", ".join(piece.name for piece in stack.pieces) for stack in stacks)
        self.setAccessibleName(". ".join(said))
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802  Qt's name
        """Qt asks."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        height = self.height() / max(1, len(self._stacks))
        for at, stack in enumerate(self._stacks):
            self._paint_stack(painter, QRectF(0, at * height, self.width(), height), stack)
        painter.end()

    def _paint_stack(self, painter: QPainter, box: QRectF, stack: StackView) -> None:
        theme, title = self._theme, 0.09 * box.height()
        put_text(painter, stack.name, box.left(), box.top() + 1.5 * title, fitted(stack.name, 0.3 * box.width(), title), theme.ink)
        left = box.left() + 0.2 * box.width()
        words = fitted(stack.note, box.right() - left, 0.7 * title, bold=False)
        put_text(painter, stack.note, left, box.top() + 1.5 * title, words, theme.soft)
        total = sum(THICKNESS[piece.part] for piece in stack.pieces) or 1.0
        width = min(0.9 * box.width() / total, 0.09 * box.width())
        x, top, high = box.left(), box.top() + 0.22 * box.height(), 0.56 * box.height()
        for piece in stack.pieces:
            size = THICKNESS[piece.part] * width
            self._paint_piece(painter, QRectF(x, top, size, high), piece)
            font = fitted(piece.name, max(12.0, size - 3), 0.05 * box.height(), bold=piece.beyond, squeeze=True)
            put_text(painter, piece.name, x + 1, top + high + 0.12 * box.height(), font, theme.mark if piece.beyond else theme.ink)
            x += size

    def _paint_piece(self, painter: QPainter, box: QRectF, piece: Piece) -> None:
        theme = self._theme
        painter.setPen(QPen(QColor(theme.mark if piece.beyond else theme.ink), 4 if piece.beyond else 1.5))
        body = box.adjusted(1.5, 0, -1.5, 0)
        high = body.height()
        match piece.part:
            case Part.WALL | Part.RING:
                painter.fillRect(body, QColor(theme.line))
                painter.drawRect(body)
            case Part.INNER:
                painter.setBrush(QColor(theme.curve))
                painter.drawRect(body.adjusted(0, 0.18 * high, 0, 0))
            case Part.OUTER:
                painter.setBrush(QColor(theme.line))
                painter.drawRect(body.adjusted(0, 0, 0, -0.18 * high))
            case Part.SHIM:
                painter.setBrush(QColor(theme.mark))
                painter.drawRect(body.adjusted(0, 0.1 * high, 0, -0.1 * high))
            case Part.CUP_LEFT | Part.CUP_RIGHT:
                pen = QPen(painter.pen().color(), 5)
                painter.setPen(pen)
                near, far = (body.left(), body.right()) if piece.part is Part.CUP_LEFT else (body.right(), body.left())
                middle = body.top() + 0.5 * high
                painter.drawLine(QPointF(near, middle - 0.1 * high), QPointF(far, body.top()))
                painter.drawLine(QPointF(near, middle + 0.1 * high), QPointF(far, body.bottom()))
        if piece.beyond and piece.part not in (Part.CUP_LEFT, Part.CUP_RIGHT):
            painter.setPen(QPen(QColor(theme.mark), 3))
            painter.drawLine(body.topLeft(), body.bottomRight())


class ChoiceDiagram(QWidget):
    """Each choice as its torque with the 95 % interval over the window; the probability of landing beside it."""

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("choices")
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self._theme = DARK
        self._view: PackView | None = None

    def show_choices(self, theme: Theme, view: PackView | None) -> None:
        """Draw these."""
        self._theme, self._view = theme, view
        choices = () if view is None else view.choices
        self.setAccessibleName(". ".join(f"{choice.shims}: {choice.median:.0f}, {choice.lands}" for choice in choices))
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802  Qt's name
        """Qt asks."""
        view, theme = self._view, self._theme
        if view is None:
            return
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        width, rows = self.width(), len(view.choices) + 1
        high = self.height() / (rows + 0.6)
        left, right = 0.36 * width, 0.86 * width

        def at(torque: float) -> float:
            return left + (right - left) * min(1.0, max(0.0, torque / view.end))

        low_x = left if view.low is None else at(view.low)
        high_x = right if view.high is None else at(view.high)
        band = QColor(theme.band)
        band.setAlpha(70)
        painter.fillRect(QRectF(low_x, 0, high_x - low_x, rows * high), band)
        painter.setPen(QPen(QColor(theme.band), 2, Qt.PenStyle.DashLine))
        for limit, x in ((view.low, low_x), (view.high, high_x)):
            if limit is not None:
                painter.drawLine(QPointF(x, 0), QPointF(x, rows * high))
                text = f"{limit:.0f}"
                put_text(painter, text, x - 8, (rows + 0.45) * high, fitted(text, 60, 0.26 * high), theme.ink)
        for row, choice in enumerate(view.choices):
            self._paint_choice(painter, choice, row, high, at, best=row == 0)
        words = say("pulled so far [{unit}]", unit=view.unit)
        put_text(painter, words, 4, (rows - 0.35) * high, fitted(words, left - 12, 0.26 * high, bold=False), theme.soft)
        painter.setPen(QPen(QColor(theme.mark), 2))
        for torque in view.pulled:
            painter.drawEllipse(QPointF(at(torque), (rows - 0.5) * high), 5, 5)
        painter.end()

    def _paint_choice(self, painter: QPainter, choice: ChoiceView, row: int, high: float, at: object, *, best: bool) -> None:
        assert callable(at)
        theme, middle, left = self._theme, (row + 0.5) * high, 0.36 * self.width()
        ink = theme.ink if best else theme.soft
        put_text(painter, choice.shims, 4, middle + 0.14 * high, fitted(choice.shims, left - 12, 0.3 * high, bold=best), ink)
        painter.setPen(QPen(QColor(theme.curve if not choice.broken else theme.line), 6 if best else 3))
        painter.drawLine(QPointF(at(choice.low), middle), QPointF(at(choice.high), middle))
        painter.setBrush(QColor(theme.curve))
        painter.drawEllipse(QPointF(at(choice.median), middle), 6, 6)
        text = choice.lands + (" ⚠" if choice.broken else "")
        font = fitted(text, 0.13 * self.width(), 0.36 * high, bold=best)
        put_text(painter, text, 0.87 * self.width(), middle + 0.17 * high, font, ink)


class PackPage(Page):
    """The page. `sheet_wanted` carries the path of a pack sheet; `again_wanted` reads the same sheet anew."""

    sheet_wanted = Signal(object)
    again_wanted = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("pack page")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self._theme = DARK
        self._view: PackView | None = None
        self.title = QLabel(say("Pack"))
        self.title.setObjectName("title")
        self.reason = QLabel(
            say("Open a pack sheet: plates and springs as measured, what was pulled, and the shims that land in the window.")
        )
        self.reason.setObjectName("figure")
        self.reason.setWordWrap(True)
        self.notes = QLabel()
        self.notes.setWordWrap(True)
        self.stacks, self.choices = StackDrawing(), ChoiceDiagram()
        open_sheet = QPushButton(say("Pack sheet…"))
        open_sheet.setToolTip(say("A PACK.toml; platepull shim --template pack prints one to fill in"))
        open_sheet.clicked.connect(self._choose)
        again = QPushButton(say("Read again"))
        again.setToolTip(say("The sheet was changed: answer it anew"))
        again.clicked.connect(self.again_wanted)
        heading = QHBoxLayout()
        heading.addWidget(self.title)
        heading.addStretch(1)
        heading.addWidget(again)
        heading.addWidget(open_sheet)
        middle = QHBoxLayout()
        middle.addWidget(self.stacks, 5)
        middle.addWidget(self.choices, 6)
        layout = QVBoxLayout(self)
        layout.addLayout(heading)
        layout.addWidget(self.reason)
        layout.addLayout(middle, 1)
        layout.addWidget(self.notes)

    def show_pack(self, view: PackView) -> None:
        """Show this pack."""
        self._view = view
        self.title.setText(view.title)
        self.reason.setText(view.reason)
        self.notes.setText("\n".join(view.notes))
        self._draw()

    def _draw(self) -> None:
        self.stacks.show_stacks(self._theme, () if self._view is None else self._view.stacks)
        self.choices.show_choices(self._theme, self._view)

    def dress(self, theme: Theme, scale: float) -> None:
        """Use these colours and sizes."""
        self._theme = theme
        self.reason.setStyleSheet(f"font-size: {round(25 * scale)}px; font-weight: bold;")
        self._draw()

    def refresh(self, changed: Changed) -> None:
        """Nothing here hangs on the bench."""

    def _choose(self) -> None:
        name, _ = QFileDialog.getOpenFileName(self, say("Pack sheet"), "", say("Pack sheet") + " (*.toml)")
        if name:
            self.sheet_wanted.emit(Path(name))
