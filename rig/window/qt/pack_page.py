"""The pack page: the stacks drawn as they are built, the choices of shims over the window, what to do in large."""

from __future__ import annotations

from functools import partial
from pathlib import Path

from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QColor, QKeyEvent, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import (
    QCheckBox,
    QFileDialog,
    QHBoxLayout,
    QLabel,
    QMenu,
    QPushButton,
    QSizePolicy,
    QStackedLayout,
    QVBoxLayout,
    QWidget,
)

from rig.window.lengths import TYPED, Lengths
from rig.window.model import Changed
from rig.window.pack_desk import FILES, PackDesk
from rig.window.qt.lengths_panel import LengthsPanel
from rig.window.qt.page import Page
from rig.window.qt.shapes import fitted, put_text
from rig.window.qt.theme import DARK, Theme
from rig.window.views.lengths import lengths_view
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


DRAWN_HEIGHT = 480.0
"""Height of the drawings in pixels of the design size, for which the widths of their lines are given."""


class StackDrawing(QWidget):
    """Both sides in section: inner plates reach in to the gear, outer plates out to the case, springs as they open."""

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("stacks")
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self._theme, self._unit = DARK, 1.0
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
        self._unit = self.height() / DRAWN_HEIGHT
        for at, stack in enumerate(self._stacks):
            self._paint_stack(painter, QRectF(0, at * height, self.width(), height), stack)
        painter.end()

    def _paint_stack(self, painter: QPainter, box: QRectF, stack: StackView) -> None:
        theme, title = self._theme, 0.09 * box.height()
        name = fitted(stack.name, 0.3 * box.width(), title)
        left = put_text(painter, stack.name, box.left(), box.top() + 1.5 * title, name, theme.ink) + 0.03 * box.width()
        words = fitted(stack.note, box.right() - left, 0.7 * title, bold=False)
        put_text(painter, stack.note, left, box.top() + 1.5 * title, words, theme.soft)
        total = sum(THICKNESS[piece.part] for piece in stack.pieces) or 1.0
        width = min(0.9 * box.width() / total, 0.09 * box.width())
        x, top, high = box.left(), box.top() + 0.22 * box.height(), 0.56 * box.height()
        for piece in stack.pieces:
            size = THICKNESS[piece.part] * width
            self._paint_piece(painter, QRectF(x, top, size, high), piece)
            # A shim is thinner than its number: that stands a line lower, with room to both sides.
            shim = piece.part is Part.SHIM
            font = fitted(
                piece.name, 2.4 * width if shim else max(12.0, size - 3), 0.05 * box.height(), bold=piece.beyond, squeeze=True
            )
            at = QPointF(x - 0.3 * width if shim else x + 1, top + high + (0.2 if shim else 0.12) * box.height())
            put_text(painter, piece.name, at.x(), at.y(), font, theme.mark if piece.beyond else theme.ink)
            x += size

    def _paint_piece(self, painter: QPainter, box: QRectF, piece: Piece) -> None:
        theme = self._theme
        painter.setPen(QPen(QColor(theme.mark if piece.beyond else theme.ink), self._unit * (4 if piece.beyond else 1.5)))
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
                pen = QPen(painter.pen().color(), 5 * self._unit)
                painter.setPen(pen)
                near, far = (body.left(), body.right()) if piece.part is Part.CUP_LEFT else (body.right(), body.left())
                middle = body.top() + 0.5 * high
                painter.drawLine(QPointF(near, middle - 0.1 * high), QPointF(far, body.top()))
                painter.drawLine(QPointF(near, middle + 0.1 * high), QPointF(far, body.bottom()))
        if piece.beyond and piece.part not in (Part.CUP_LEFT, Part.CUP_RIGHT):
            painter.setPen(QPen(QColor(theme.mark), 3 * self._unit))
            painter.drawLine(body.topLeft(), body.bottomRight())


class ChoiceDiagram(QWidget):
    """Each choice as a curve of the torque it makes, its 95 % interval beneath, over the window; how sure it lands beside it."""

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("choices")
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self._theme, self._unit = DARK, 1.0
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
        self._unit = self.height() / DRAWN_HEIGHT
        high = self.height() / (rows + 0.6)
        left, right = 0.36 * width, 0.86 * width

        def at(torque: float) -> float:
            return left + (right - left) * min(1.0, max(0.0, (torque - view.start) / (view.end - view.start)))

        low_x = left if view.low is None else at(view.low)
        high_x = right if view.high is None else at(view.high)
        band = QColor(theme.band)
        band.setAlpha(70)
        painter.fillRect(QRectF(low_x, 0, high_x - low_x, rows * high), band)
        for limit, x in ((view.low, low_x), (view.high, high_x)):
            if limit is not None:
                painter.setPen(QPen(QColor(theme.band), 2 * self._unit, Qt.PenStyle.DashLine))
                painter.drawLine(QPointF(x, 0), QPointF(x, rows * high))
                text = f"{limit:.0f}"
                put_text(painter, text, x - 8, (rows + 0.45) * high, fitted(text, 60, 0.26 * high), theme.ink)
        longest = max((choice.shims for choice in view.choices), key=len, default="")
        name_font = fitted(longest, left - 16, 0.3 * high)
        for row, choice in enumerate(view.choices):
            put_text(painter, choice.shims, 4, (row + 0.64) * high, name_font, theme.ink if row == 0 else theme.soft)
            self._paint_choice(painter, choice, row, high, at, best=row == 0)
        words = say("pulled so far [{unit}]", unit=view.unit)
        put_text(painter, words, 4, (rows - 0.35) * high, fitted(words, left - 12, 0.26 * high, bold=False), theme.soft)
        painter.setPen(QPen(QColor(theme.mark), 2 * self._unit))
        for torque in view.pulled:
            painter.drawEllipse(QPointF(at(torque), (rows - 0.5) * high), 5 * self._unit, 5 * self._unit)
        painter.end()

    def _paint_choice(self, painter: QPainter, choice: ChoiceView, row: int, high: float, at: object, *, best: bool) -> None:
        assert callable(at)
        theme, middle, ink = self._theme, (row + 0.5) * high, self._theme.ink if best else self._theme.soft
        colour, foot = QColor(theme.curve if not choice.broken else theme.line), (row + 0.86) * high
        outline = QPolygonF([QPointF(at(torque), foot - 0.72 * high * share) for torque, share in choice.curve])
        filled = QColor(colour)
        filled.setAlpha(150 if best else 60)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(filled)
        painter.drawPolygon(outline)
        painter.setPen(QPen(colour, self._unit * (4 if best else 2)))
        painter.drawPolyline(outline)
        painter.setPen(QPen(colour, self._unit * (6 if best else 3)))
        painter.drawLine(QPointF(at(choice.low), foot), QPointF(at(choice.high), foot))
        painter.setBrush(colour)
        painter.drawEllipse(QPointF(at(choice.median), foot), 5 * self._unit, 5 * self._unit)
        text = choice.lands + (" ⚠" if choice.broken else "")
        font = fitted(text, 0.13 * self.width(), 0.36 * high, bold=best)
        put_text(painter, text, 0.87 * self.width(), middle + 0.17 * high, font, ink)


class PackPage(Page):
    """The page: the answer to a sheet, or its lengths while they are measured.

    `sheet_wanted` carries the path of a pack sheet; `again_wanted` reads the same sheet anew; `measuring_wanted` begins to measure;
    `series_wanted` enters the series in sight.
    """

    series_wanted = Signal()
    sheet_wanted = Signal(object)
    again_wanted = Signal()
    measuring_wanted = Signal()

    def __init__(self, lengths: Lengths, desk: PackDesk) -> None:
        super().__init__()
        self._lengths, self._desk = lengths, desk
        self.panel = LengthsPanel()
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
        open_sheet.setToolTip(say("A PACK.toml; 'To fill in…' writes one"))
        open_sheet.clicked.connect(self._choose)
        again = QPushButton(say("Read again"))
        again.setToolTip(say("The sheet was changed: answer it anew"))
        again.clicked.connect(self.again_wanted)
        heading = QHBoxLayout()
        heading.addWidget(self.title)
        heading.addStretch(1)
        measure = QPushButton(say("Measure…"))
        measure.setToolTip(say("Fill the sheet's lengths field after field: by a gauge, the pedal, a finger or keys"))
        measure.clicked.connect(self.measuring_wanted)
        heading.addWidget(measure)
        heading.addWidget(again)
        heading.addWidget(open_sheet)
        middle = QHBoxLayout()
        middle.addWidget(self.stacks, 5)
        middle.addWidget(self.choices, 6)
        answer = QWidget()
        layout = QVBoxLayout(answer)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addLayout(heading)
        layout.addWidget(self.reason)
        layout.addLayout(middle, 1)
        layout.addWidget(self.notes)
        layout.addLayout(self._foot())
        self._sides = QStackedLayout()
        self._sides.addWidget(answer)
        self._sides.addWidget(self.panel)
        outer = QVBoxLayout(self)
        outer.addLayout(self._sides)

    def _foot(self) -> QHBoxLayout:
        series = QPushButton(say("This series into the sheet"))
        series.setToolTip(say("What counts of the series in sight, as what the shims fitted now gave: the newest of the history"))
        series.clicked.connect(self.series_wanted)
        begin = QPushButton(say("To fill in…"))
        begin.setToolTip(say("A pack sheet, spec card or shelf to begin with, written as a file and opened"))
        menu = QMenu(begin)
        for kind, words in (("pack", say("Pack sheet")), ("spec", say("Spec card")), ("shelf", say("Shelf"))):
            menu.addAction(words, partial(self._begin, kind, words))
        begin.setMenu(menu)
        self.shop = QCheckBox(say("Start from this shop's own jobs"))
        self.shop.setToolTip(say("Friction, scatter and shims as the job book tells them, in place of the usual values"))
        self.shop.setVisible(self._desk.has_book)
        self.shop.toggled.connect(self._turn_shop)
        row = QHBoxLayout()
        row.addWidget(series)
        row.addWidget(begin)
        row.addWidget(self.shop)
        row.addStretch(1)
        return row

    def _begin(self, kind: str, words: str) -> None:
        name, _ = QFileDialog.getSaveFileName(self, words, str(self._desk.folder / FILES[kind]), f"{words} (*.toml)")
        if name:
            self._desk.write_template(kind, Path(name))

    def _turn_shop(self, on: bool) -> None:
        self._desk.with_shop = on
        self.again_wanted.emit()

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
        self.panel.dress(theme, scale)
        self._draw()

    def refresh(self, changed: Changed) -> None:
        """Lengths while they are measured, else the answer; nothing here hangs on the bench."""
        view = lengths_view(self._lengths)
        self.panel.show_lengths(view)
        self._sides.setCurrentIndex(int(view is not None))

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802  Qt's name
        """A number is typed wherever the focus is."""
        if self._lengths.entry is not None and event.text() and event.text() in TYPED:
            self.panel.typed.emit(event.text())
        else:
            super().keyPressEvent(event)

    def _choose(self) -> None:
        name, _ = QFileDialog.getOpenFileName(self, say("Pack sheet"), "", say("Pack sheet") + " (*.toml)")
        if name:
            self.sheet_wanted.emit(Path(name))
