"""Side by side: two sets of pulls overlaid, breakaway on breakaway, and listed. No judgement on the difference."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QFileDialog,
    QFrame,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QPushButton,
    QSizePolicy,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from rig.window.decimation import NO_CURVE
from rig.window.model import BenchModel, Changed
from rig.window.qt.curves import CurvePlot
from rig.window.qt.theme import DARK, Theme
from rig.window.views.overlay import Member, extent, members_of_series, overlay, row_of
from rig.words.language import say
from rig.words.numbers import unit_name

HEADINGS = ("pull", "verdict", "breakaway", "sliding", "chatter")


class SideList(QFrame):
    """One set: what it is called, its pulls, and how to fill it."""

    wanted = Signal()
    series_wanted = Signal()
    emptied = Signal()

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
        buttons = QHBoxLayout()
        for words, tip, signal in (
            (say("Recordings…"), say("Add recordings from files"), self.wanted),
            (say("This series"), say("Take the pulls of the present series that count"), self.series_wanted),
            (say("Empty"), say("Take all pulls out of this set; nothing is deleted"), self.emptied),
        ):
            button = QPushButton(words)
            button.setToolTip(tip)
            button.clicked.connect(signal)
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

    def show_rows(self, rows: list[tuple[str, ...]]) -> None:
        """List these."""
        self.table.setRowCount(len(rows))
        for at, row in enumerate(rows):
            for column, text in enumerate(row):
                self.table.setItem(at, column, QTableWidgetItem(text))


class SidesPage(QWidget):
    """The page. `recordings_wanted` carries paths and what to do with each pull read from them."""

    recordings_wanted = Signal(object, object)

    def __init__(self, model: BenchModel) -> None:
        super().__init__()
        self.setObjectName("sides page")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self._model = model
        self._theme = DARK
        self.before: list[Member] = []
        self.after: list[Member] = []
        self.over_time = CurvePlot(say("time after breakaway [s]"))
        self.over_angle = CurvePlot(say("angle after breakaway [°]"))
        self.left = SideList(say("before"), "━━")
        self.right = SideList(say("after"), "╍╍")
        for side, members in ((self.left, self.before), (self.right, self.after)):
            side.wanted.connect(lambda members=members: self._choose(members))
            side.series_wanted.connect(lambda members=members: self._take_series(members))
            side.emptied.connect(lambda members=members: self._empty(members))
        title = QLabel(say("Side by side"))
        title.setObjectName("title")
        soft = QLabel(say("Breakaway lies on breakaway. Compare only pulls of like arrangement, oil, temperature and rest."))
        soft.setObjectName("soft")
        soft.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        heading = QHBoxLayout()
        heading.addWidget(title)
        heading.addWidget(soft, 1)
        plots, lists = QHBoxLayout(), QHBoxLayout()
        plots.addWidget(self.over_time)
        plots.addWidget(self.over_angle)
        lists.addWidget(self.left)
        lists.addWidget(self.right)
        layout = QVBoxLayout(self)
        layout.addLayout(heading)
        layout.addLayout(plots, 3)
        layout.addLayout(lists, 2)

    def dress(self, theme: Theme, scale: float) -> None:
        """Use these colours and sizes."""
        self._theme = theme
        left = f"{say('torque')} [{unit_name(self._model.unit.first)}]"
        for plot in (self.over_time, self.over_angle):
            plot.set_theme(theme, scale, left)
        self.redraw()

    def refresh(self, changed: Changed) -> None:
        """Nothing here follows the bench by itself: the sets are what was put into them."""

    def redraw(self) -> None:
        """Show both sets."""
        unit = self._model.unit
        for side in (self.left, self.right):
            side.show_unit(unit_name(unit.first))
        self.left.show_rows([row_of(member, unit) for member in self.before])
        self.right.show_rows([row_of(member, unit) for member in self.after])
        before, after = overlay(self.before, unit), overlay(self.after, unit)
        for at, plot in enumerate((self.over_time, self.over_angle)):
            plot.show_band(self._model.band())
            plot.show_sets(before[at], after[at])
            seen = extent([*before[at], *after[at]])
            plot.look_at(*(seen or (0.0, 1.0, *self._model.range_of(NO_CURVE))))

    def _choose(self, members: list[Member]) -> None:
        names, _ = QFileDialog.getOpenFileNames(self, say("Recordings"), "", say("Recordings") + " (*.csv)")
        if names:
            self.recordings_wanted.emit([Path(name) for name in names], self._adder(members))

    def _adder(self, members: list[Member]) -> Callable[[Member], None]:
        def add(member: Member) -> None:
            members.append(member)
            self.redraw()

        return add

    def _take_series(self, members: list[Member]) -> None:
        members[:] = members_of_series(self._model.pulls)
        self.redraw()

    def _empty(self, members: list[Member]) -> None:
        members.clear()
        self.redraw()
