"""Before and after: two sides of pulls compared, the words large, the drawings of the printed page, every pull listed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtWidgets import (
    QComboBox,
    QFileDialog,
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QPlainTextEdit,
    QPushButton,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
)

from analysis.compare.conditions import Question
from rig.window.model import BenchModel, Changed
from rig.window.qt.drawing_view import DrawingView
from rig.window.qt.page import Page
from rig.window.qt.theme import DARK, Theme
from rig.window.views.compare import CompareView, Member, Row, Tile, view_of
from rig.words.comparison import QUESTION_WORDS
from rig.words.language import say
from rig.words.numbers import unit_name

HEADINGS = ("pull", "breakaway", "sliding", "chatter", "apart")
TILES, DRAWINGS, DRAWINGS_A_ROW = 4, 6, 3
PICTURES_SHARE = 3  # of the width, to one of the sentences


class SideList(QFrame):
    """One side: what it is called, its pulls, and how to fill it. `turned` names the row to exclude, or to count again."""

    wanted = Signal()
    series_wanted = Signal()
    emptied = Signal()
    turned = Signal(int)

    def __init__(self, name: str, line: str) -> None:
        super().__init__()
        self.setObjectName("panel")
        title = QLabel(f"{line}  {name}")
        title.setObjectName("title")
        self.table = QTableWidget(0, len(HEADINGS))
        self.table.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        self.table.horizontalHeader().setStretchLastSection(True)
        self.table.verticalHeader().hide()
        self.table.setEditTriggers(QTableWidget.EditTrigger.NoEditTriggers)
        self.table.setSelectionBehavior(QTableWidget.SelectionBehavior.SelectRows)
        self.table.setAccessibleName(name)
        self.table.cellActivated.connect(lambda row, _: self.turned.emit(row))
        buttons = QHBoxLayout()
        buttons.setSpacing(3)
        for words, tip, act in (
            (say("Recordings…"), say("Add recordings from files"), self.wanted.emit),
            (say("This series"), say("Take the pulls of the present series"), self.series_wanted.emit),
            (say("Exclude"), say("The pull in the list does not count here, or counts again"), self._turn),
            (say("Empty"), say("Take all pulls out of this set; nothing is deleted"), self.emptied.emit),
        ):
            button = QPushButton(words)
            button.setObjectName("small")
            button.setToolTip(tip)
            button.clicked.connect(lambda _, act=act: act())
            buttons.addWidget(button)
        layout = QVBoxLayout(self)
        heading = QHBoxLayout()
        heading.addWidget(title)
        heading.addStretch(1)
        heading.addLayout(buttons)
        layout.addLayout(heading)
        layout.addWidget(self.table, 1)

    def show_unit(self, unit: str) -> None:
        """Name the unit of the torques in the headings."""
        names = [say(heading) + (f" [{unit}]" if heading in ("breakaway", "sliding") else "") for heading in HEADINGS]
        self.table.setHorizontalHeaderLabels(names)

    def show_rows(self, rows: tuple[Row, ...]) -> None:
        """List these; one that does not count is struck out."""
        self.table.setRowCount(len(rows))
        for at, row in enumerate(rows):
            for column, text in enumerate(row.cells):
                item = QTableWidgetItem(text)
                font = item.font()
                font.setStrikeOut(not row.counts and column < len(row.cells) - 1)
                item.setFont(font)
                self.table.setItem(at, column, item)

    def _turn(self) -> None:
        if self.table.currentRow() >= 0:
            self.turned.emit(self.table.currentRow())


class WordTile(QFrame):
    """One word large."""

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("word tile")
        self._title, self._word, self._line = QLabel(), QLabel(), QLabel()
        self._line.setWordWrap(True)
        layout = QVBoxLayout(self)
        for label in (self._title, self._word, self._line):
            layout.addWidget(label)

    def show_tile(self, tile: Tile | None, theme: Theme, scale: float) -> None:
        """Show this word; None hides it."""
        self.setVisible(tile is not None)
        if tile is None:
            return
        self._title.setText(tile.title)
        self._word.setText(tile.word)
        self._line.setText(tile.line)
        paint = theme.tones[tile.tone]
        self.setStyleSheet(
            f"QFrame {{ background: {paint.fill}; border-radius: {round(6 * scale)}px; }}"
            f"QLabel {{ color: {paint.ink}; background: transparent; font-size: {round(15 * scale)}px; }}"
        )
        self._word.setStyleSheet(f"font-size: {round(26 * scale)}px; font-weight: bold;")


class ComparePage(Page):
    """The page. What it cannot do itself it asks for.

    recordings_wanted   paths, and what to do with each member read from them
    series_wanted       what to do with each member of the series on the bench
    page_wanted         members, comparison and path of a page to write
    """

    recordings_wanted = Signal(object, object)
    series_wanted = Signal(object)
    page_wanted = Signal(object, object, object)

    def __init__(self, model: BenchModel) -> None:
        super().__init__()
        self.setObjectName("compare page")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self._model = model
        self._theme, self._scale = DARK, 1.0
        self._view: CompareView | None = None
        self._stale = False
        self.before: list[Member] = []
        self.after: list[Member] = []
        self.left, self.right = SideList(say("before"), "━━"), SideList(say("after"), "╍╍")
        for side, members in ((self.left, self.before), (self.right, self.after)):
            side.wanted.connect(lambda members=members: self._choose(members))
            side.series_wanted.connect(lambda members=members: self.take_series(members))
            side.emptied.connect(lambda members=members: self._empty(members))
            side.turned.connect(lambda row, members=members: self._turn(members, row))
        self.tiles = [WordTile() for _ in range(TILES)]
        self.drawings = [DrawingView() for _ in range(DRAWINGS)]
        self.texts = QPlainTextEdit()
        self.texts.setReadOnly(True)
        self.texts.setAccessibleName(say("what the comparison says"))
        self._lay_out()

    def _lay_out(self) -> None:
        title = QLabel(say("Before and after"))
        title.setObjectName("title")
        self.question = QComboBox()
        self.question.setAccessibleName(say("what may differ"))
        self.question.addItem(say("question: told by what differs"), None)
        for question in Question:
            self.question.addItem(say(QUESTION_WORDS[question]), question)
        self.question.currentIndexChanged.connect(lambda _: self.redraw())
        self.override = QPushButton(say("compare all the same"))
        self.override.setCheckable(True)
        self.override.toggled.connect(lambda _: self.redraw())
        self.save = QPushButton(say("Save the page…"))
        self.save.setToolTip(say("One page for the customer: PDF, PNG or SVG"))
        self.save.clicked.connect(self._save)
        heading, tiles, middle, lists = QHBoxLayout(), QHBoxLayout(), QHBoxLayout(), QHBoxLayout()
        pictures = QGridLayout()
        for widget in (title, self.question, self.override):
            heading.addWidget(widget)
        heading.addStretch(1)
        heading.addWidget(self.save)
        for tile in self.tiles:
            tiles.addWidget(tile, 1)
        for at, drawing in enumerate(self.drawings):
            pictures.addWidget(drawing, at // DRAWINGS_A_ROW, at % DRAWINGS_A_ROW)
        middle.addLayout(pictures, PICTURES_SHARE)
        middle.addWidget(self.texts, 1)
        lists.addWidget(self.left)
        lists.addWidget(self.right)
        layout = QVBoxLayout(self)
        layout.addLayout(heading)
        layout.addLayout(tiles)
        layout.addLayout(middle, 5)
        layout.addLayout(lists, 3)

    def dress(self, theme: Theme, scale: float) -> None:
        """Use these colours and sizes."""
        self._theme, self._scale = theme, scale
        for drawing in self.drawings:
            drawing.set_theme(theme)
        self.redraw()

    def refresh(self, changed: Changed) -> None:
        """Nothing here follows the bench by itself: the sides are what was put into them."""

    def redraw(self) -> None:
        """Compare and show both sides."""
        self._stale = False
        unit = self._model.unit
        chosen = self.question.currentData()  # Qt hands an enumeration back as its plain text
        question = None if chosen is None else Question(chosen)
        view = view_of(self.before, self.after, unit, question=question, override=self.override.isChecked())
        self._view = view
        for side, rows in ((self.left, view.before), (self.right, view.after)):
            side.show_unit(unit_name(unit.first))
            side.show_rows(rows)
        for at, tile in enumerate(self.tiles):
            tile.show_tile(view.tiles[at] if at < len(view.tiles) else None, self._theme, self._scale)
        for at, drawing in enumerate(self.drawings):
            drawing.show_drawing(view.drawings[at] if at < len(view.drawings) else None)
        self.texts.setPlainText("\n".join(view.texts))
        size = 14 if view.tiles else 19  # where nothing is compared yet the hint stands alone
        self.texts.setStyleSheet(f"font-size: {round(size * self._scale)}px;")
        self.override.setVisible(view.may_override or self.override.isChecked())
        self.save.setEnabled(bool(view.drawings))

    def _choose(self, members: list[Member]) -> None:
        names, _ = QFileDialog.getOpenFileNames(self, say("Recordings"), "", say("Recordings") + " (*.csv)")
        if names:
            self.recordings_wanted.emit([Path(name) for name in names], self.adder(members))

    def adder(self, members: list[Member]) -> Callable[[Member], None]:
        """What puts a member on a side and shows it."""

        def add(member: Member) -> None:
            members.append(member)
            if not self._stale:  # several may come at one tick: compared once
                self._stale = True
                QTimer.singleShot(0, self.redraw)

        return add

    def take_series(self, members: list[Member]) -> None:
        """Fill a side anew with the series on the bench."""
        members.clear()
        self.redraw()
        self.series_wanted.emit(self.adder(members))

    def _empty(self, members: list[Member]) -> None:
        members.clear()
        self.redraw()

    def _turn(self, members: list[Member], row: int) -> None:
        members[row] = members[row].turned()
        self.redraw()

    def _save(self) -> None:
        if self._view is None or self._view.comparison is None:
            return
        name, _ = QFileDialog.getSaveFileName(
            self, say("Save the page…"), f"{say('before and after')}.pdf", "PDF (*.pdf);;PNG (*.png);;SVG (*.svg)"
        )
        if name:
            self.page_wanted.emit([*self.before, *self.after], self._view.comparison, Path(name))
