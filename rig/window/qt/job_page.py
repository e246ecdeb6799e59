"""The job: what is still wanted, its series and pulls; its steps with the gate of each; its sheets; its entries."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QButtonGroup,
    QCheckBox,
    QComboBox,
    QFileDialog,
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from rig.window.job_desk import JobDesk
from rig.window.model import BenchModel, Changed
from rig.window.qt.form_dialog import ask
from rig.window.qt.page import Page
from rig.window.qt.table import ReadTable
from rig.window.qt.theme import DARK, Theme
from rig.window.views.job import ENTRY_HEADINGS, PULL_HEADINGS, JobShown, SeriesRow, StepRow
from rig.words.language import LANGUAGES, say, spoken

SERIES_SHOWN = 6
SHEETS = (("hand-over", "Hand-over sheet"), ("label", "Label"), ("comparison", "Comparison"))
FILES = (
    ("spec", "Spec card…", "(*.toml)"),
    ("pack", "Pack sheet…", "(*.toml)"),
    ("refit", "Refit sheet…", "(*.toml)"),
    ("photo", "Photo…", "(*.jpg *.jpeg *.png *.webp *)"),
    ("pull", "Recordings…", "(*.csv)"),
)
TEXTS = ("note", "oil", "part")


class SeriesTile(QFrame):
    """A series: its state, the torque large, the word of its verdict."""

    def __init__(self) -> None:
        super().__init__()
        self._state, self._value, self._word = QLabel(), QLabel(), QLabel()
        self._state.setWordWrap(True)
        layout = QGridLayout(self)
        layout.addWidget(self._state, 0, 0, 1, 2)
        layout.addWidget(self._value, 1, 0)
        layout.addWidget(self._word, 1, 1, Qt.AlignmentFlag.AlignRight)

    def show_series(self, row: SeriesRow | None, theme: Theme, scale: float) -> None:
        """Show this one; None hides it."""
        self.setVisible(row is not None)
        if row is None:
            return
        self._state.setText(f"{row.state} · {row.count}")
        self._value.setText(row.value)
        self._word.setText(row.word)
        paint = theme.tones[row.tone]
        self.setStyleSheet(
            f"QFrame {{ background: {paint.fill}; border-radius: {round(6 * scale)}px; }}"
            f"QLabel {{ color: {paint.ink}; background: transparent; font-size: {round(15 * scale)}px; }}"
        )
        for label in (self._value, self._word):
            label.setStyleSheet(f"font-size: {round(22 * scale)}px; font-weight: bold;")


class StepsPart(QWidget):
    """The steps in their order; of the one chosen, what it lacks and the way past its gate, which stays visible for good."""

    def __init__(self, desk: JobDesk) -> None:
        super().__init__()
        self._desk = desk
        self._rows: tuple[StepRow, ...] = ()
        self._theme, self._scale = DARK, 1.0
        self.steps = QListWidget()
        self.steps.setAccessibleName(say("steps"))
        self.steps.setWordWrap(True)
        self.steps.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.steps.currentRowChanged.connect(lambda _: self._show_chosen())
        self.name, self.told, self.missing, self.write_down = QLabel(), QLabel(), QLabel(), QLabel()
        self.name.setObjectName("title")
        for label in (self.name, self.told, self.missing, self.write_down):
            label.setWordWrap(True)
        self.told.setObjectName("soft")
        self.done = QPushButton(say("Done"))
        self.done.clicked.connect(self._mark)
        self.although = QLineEdit()
        self.although.setPlaceholderText(say("although something is missing, because … (stays on the record for good)"))
        self.although.setAccessibleName(say("reason why it is done although something is missing"))
        self.although.textChanged.connect(lambda _: self._may_mark())
        self.acknowledge = QCheckBox(say("chatter could not be told: acknowledged by name"))
        right = QVBoxLayout()
        for widget in (self.name, self.told, self.write_down, self.missing):
            right.addWidget(widget)
        right.addStretch(1)
        for below in (self.acknowledge, self.although, self.done):
            right.addWidget(below)
        panel = QFrame()
        panel.setObjectName("panel")
        panel.setLayout(right)
        layout = QHBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self.steps, 5)
        layout.addWidget(panel, 6)

    def dress(self, theme: Theme, scale: float) -> None:
        """Use these colours and sizes."""
        self._theme, self._scale = theme, scale
        self.done.setStyleSheet(f"font-size: {round(24 * scale)}px; font-weight: bold;")
        self.missing.setStyleSheet(f"font-size: {round(19 * scale)}px;")
        self._show_chosen()

    def show_steps(self, shown: JobShown) -> None:
        """Show these; the next open one is chosen where none is."""
        chosen = self._chosen()
        self._rows = shown.steps
        self.steps.blockSignals(True)
        self.steps.clear()
        for row in self._rows:
            item = QListWidgetItem(f"{row.mark}  {row.name}" + (f"  ({say('no way back')})" if row.one_way else ""))
            font = item.font()
            font.setBold(row.one_way)
            item.setFont(font)
            self.steps.addItem(item)
        keys = [row.key for row in self._rows]
        first_open = next((at for at, row in enumerate(self._rows) if not row.done), 0)
        at = keys.index(chosen.key) if chosen is not None and chosen.key in keys else first_open
        if chosen is not None and 0 <= at < len(self._rows) and self._rows[at].done and not chosen.done:
            at = min(at + 1, len(self._rows) - 1)  # it was just marked: on to the next
        self.steps.blockSignals(False)
        self.steps.setCurrentRow(at)
        self._show_chosen()

    def _chosen(self) -> StepRow | None:
        at = self.steps.currentRow()
        return self._rows[at] if 0 <= at < len(self._rows) else None

    def _show_chosen(self) -> None:
        row = self._chosen()
        if row is None:
            return
        self.name.setText(row.name)
        told = row.who
        if row.although:
            told += "\n" + say("done although something was missing: {reason}", reason=row.although)
        elif not row.done and row.one_way:
            told = say("cannot be undone: new parts or a second strip-down")
        self.told.setText(told)
        self.write_down.setText(say("write down: {what}", what=row.write_down) if row.write_down else "")
        lines = [f"○ {line}" for line in row.missing] + [f"· {line}" for line in row.remarks]
        heading = say("missing then:") if row.done else say("missing:")
        self.missing.setText("\n".join([heading, *lines]) if row.missing else "\n".join(lines) or say("nothing is missing"))
        colour = self._theme.alarm.edge if row.missing else self._theme.ink
        self.missing.setStyleSheet(f"font-size: {round(19 * self._scale)}px; color: {colour};")
        self.acknowledge.setVisible(bool(row.acknowledge))
        self.acknowledge.setChecked(False)
        self.although.clear()
        self.although.setVisible(bool(row.missing) and not row.done and row.one_way)
        self._may_mark()

    def _may_mark(self) -> None:
        """A step that cannot be undone is marked with nothing missing, with a reason, or with what was acknowledged."""
        row = self._chosen()
        if row is None:
            return
        barred = row.one_way and bool(row.missing) and not self.although.text().strip()
        self.done.setEnabled(not row.done and (not barred or bool(row.acknowledge)))
        words = say("Done") if not row.done else say("is done")
        self.done.setText(say("Done although something is missing") if row.missing and row.one_way and not barred else words)

    def _mark(self) -> None:
        row = self._chosen()
        if row is not None:
            acknowledged = [row.acknowledge] if self.acknowledge.isChecked() and row.acknowledge else []
            self._desk.mark(row.key, although=self.although.text().strip(), acknowledged=acknowledged)


class SheetsPart(QWidget):
    """The sheets that are printed: made as PDF and opened; and what is entered as a file or a text."""

    def __init__(self, desk: JobDesk, model: BenchModel) -> None:
        super().__init__()
        self._desk, self._model = desk, model
        self.language = QComboBox()
        self.language.setAccessibleName(say("language of the sheet"))
        for code, name in LANGUAGES.items():
            self.language.addItem(name, code)
        self.language.setCurrentIndex(list(LANGUAGES).index(spoken()))
        self.unit = QComboBox()
        self.unit.setAccessibleName(say("unit of the sheet"))
        for unit, words in (("N.m", "N·m, mm, l"), ("lbf.ft", "lbf·ft, in, qt")):
            self.unit.addItem(words, unit)
        self.unit.setCurrentIndex(int(model.unit.first.startswith("lbf")))
        choice = QHBoxLayout()
        for widget in (self.language, self.unit):
            choice.addWidget(widget)
        choice.addStretch(1)
        sheets = QVBoxLayout()
        self.sheets: dict[str, QPushButton] = {}
        for kind, name in SHEETS:
            button = QPushButton(say(name))
            button.clicked.connect(lambda _, kind=kind: self._write(kind))
            self.sheets[kind] = button
            sheets.addWidget(button)
        sheets.addWidget(QLabel(say("Made as PDF and opened; printed from there.")))
        sheets.addStretch(1)
        left = QFrame()
        left.setObjectName("panel")
        column = QVBoxLayout(left)
        heading = QLabel(say("Sheets"))
        heading.setObjectName("title")
        column.addWidget(heading)
        column.addLayout(choice)
        column.addLayout(sheets, 1)
        right = QFrame()
        right.setObjectName("panel")
        entering = QVBoxLayout(right)
        heading = QLabel(say("Enter into the job"))
        heading.setObjectName("title")
        entering.addWidget(heading)
        rows: tuple[tuple[str, Callable[[], object]], ...] = (
            (say("Note…"), self._add_note),
            (say("Oil and additive…"), self._add_oil),
            (say("Part…"), self._add_part),
            *((say(name), lambda kind=kind, name=name, ends=ends: self._add_file(kind, name, ends)) for kind, name, ends in FILES),
        )
        grid = QGridLayout()
        for at, (name, act) in enumerate(rows):
            button = QPushButton(name)
            button.clicked.connect(lambda _, act=act: act())
            grid.addWidget(button, at // 2, at % 2)
        entering.addLayout(grid)
        entering.addStretch(1)
        layout = QHBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(left)
        layout.addWidget(right)

    def show_job(self, shown: JobShown) -> None:
        """What can be made of it."""
        self.sheets["comparison"].setEnabled(shown.comparable)

    def dress(self, scale: float) -> None:
        """Buttons for thumbs."""
        for button in self.findChildren(QPushButton):
            button.setMinimumHeight(round(52 * scale))

    def _write(self, kind: str) -> None:
        self._desk.write_sheet(
            kind, self._desk.sheet_path(kind), language=self.language.currentData(), unit=self.unit.currentData()
        )

    def _add_note(self) -> None:
        if answers := ask(self, say("Note…"), (say("what is to be remembered"), "")):
            self._desk.add_text("note", answers[0])

    def _add_oil(self) -> None:
        answers = ask(
            self,
            say("Oil and additive…"),
            (say("make and grade of the service oil"), say("e.g. {example}", example="QF 75W-90")),
            (say("additive; empty where there is none"), say("e.g. {example}", example="4 %")),
            (say("volume filled; empty where not yet known"), say("e.g. {example}", example="2.0 l")),
        )
        if answers:
            text, additive, volume = answers
            self._desk.add_text("oil", text, additive=additive or None, volume=volume or None)

    def _add_part(self) -> None:
        kinds = (say("may be fitted again"), say("single use"))
        answers = ask(
            self,
            say("Part…"),
            (say("what, number, how many"), ""),
            (say("batch or lot; empty where there is none"), ""),
            (say("may it be fitted again?"), kinds),
        )
        if answers:
            text, batch, kind = answers
            self._desk.add_text("part", text, batch=batch or None, single_use=kind == kinds[1])

    def _add_file(self, kind: str, name: str, ends: str) -> None:
        names, _ = QFileDialog.getOpenFileNames(self, say(name), "", f"{say(name)} {ends}")
        if kind == "pull" and names:
            self._desk.add_pulls([Path(one) for one in names])
            return
        for one in names:
            self._desk.add_file(kind, Path(one))


class JobPage(Page):
    """The page, in four parts: overview, steps, sheets, entries."""

    def __init__(self, desk: JobDesk, model: BenchModel) -> None:
        super().__init__()
        self.setObjectName("job")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self._desk = desk
        self._theme, self._scale = DARK, 1.0
        self._shown = -1
        self.title, self.state = QLabel(), QLabel()
        self.title.setObjectName("title")
        self.state.setObjectName("soft")
        self.wanted = QLabel()
        self.wanted.setWordWrap(True)
        self.facts = QLabel()
        self.facts.setWordWrap(True)
        self.facts.setTextFormat(Qt.TextFormat.PlainText)
        self.tiles = [SeriesTile() for _ in range(SERIES_SHOWN)]
        self.pulls = ReadTable(PULL_HEADINGS, say("pulls"))
        self.steps = StepsPart(desk)
        self.sheets = SheetsPart(desk, model)
        self.entries = ReadTable(ENTRY_HEADINGS, say("entries"))
        self.head = QLabel()
        self.head.setObjectName("soft")
        self.head.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.strike = QPushButton(say("Strike…"))
        self.strike.setToolTip(say("The entry in the row that is chosen does not count from now on; it stays visible"))
        self.strike.clicked.connect(self._strike)
        self.close_job = QPushButton(say("Close the job"))
        self.close_job.setToolTip(say("The unit is handed over"))
        self.close_job.clicked.connect(desk.close_job)
        self.parts = QStackedWidget()
        self.tabs: list[QPushButton] = []
        self._lay_out()

    def _lay_out(self) -> None:
        tabs, group = QHBoxLayout(), QButtonGroup(self)
        group.setExclusive(True)
        named = (
            (say("Overview"), self._overview()),
            (say("Steps"), self.steps),
            (say("Sheets and entries"), self.sheets),
            (say("Record"), self._record()),
        )
        for at, (name, part) in enumerate(named):
            self.parts.addWidget(part)
            tab = QPushButton(name)
            tab.setCheckable(True)
            tab.setChecked(at == 0)
            tab.clicked.connect(lambda _, at=at: self.parts.setCurrentIndex(at))
            group.addButton(tab)
            tabs.addWidget(tab)
            self.tabs.append(tab)
        tabs.addStretch(1)
        tabs.addWidget(self.close_job)
        heading = QHBoxLayout()
        heading.addWidget(self.title)
        heading.addStretch(1)
        heading.addWidget(self.state)
        layout = QVBoxLayout(self)
        layout.addLayout(heading)
        layout.addLayout(tabs)
        layout.addWidget(self.parts, 1)

    def _overview(self) -> QWidget:
        part = QWidget()
        panel = QFrame()
        panel.setObjectName("panel")
        column = QVBoxLayout(panel)
        column.addWidget(self.wanted)
        column.addStretch(1)
        column.addWidget(self.facts)
        tiles = QVBoxLayout()
        for tile in self.tiles:
            tiles.addWidget(tile)
        tiles.addStretch(1)
        top = QHBoxLayout()
        top.addWidget(panel, 6)
        top.addLayout(tiles, 5)
        layout = QVBoxLayout(part)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addLayout(top, 3)
        layout.addWidget(self.pulls, 2)
        return part

    def _record(self) -> QWidget:
        part = QWidget()
        foot = QHBoxLayout()
        foot.addWidget(self.head, 1)
        foot.addWidget(self.strike)
        layout = QVBoxLayout(part)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self.entries, 1)
        layout.addLayout(foot)
        return part

    def show_part(self, at: int) -> None:
        """Go to a part of the page."""
        self.tabs[at].setChecked(True)
        self.parts.setCurrentIndex(at)

    def dress(self, theme: Theme, scale: float) -> None:
        """Use these colours and sizes."""
        self._theme, self._scale = theme, scale
        self.wanted.setStyleSheet(f"font-size: {round(21 * scale)}px; font-weight: bold;")
        self.steps.dress(theme, scale)
        self.sheets.dress(scale)
        self._show()

    def refresh(self, changed: Changed) -> None:
        """Show the job as it is now."""
        if self._shown != self._desk.revision:
            self._shown = self._desk.revision
            self._show()
        waits = say("the job book cannot be reached: {why}", why=self._desk.away) if self._desk.away else ""
        self.state.setText(waits or (say("looking into the job book …") if self._desk.busy else ""))

    def _show(self) -> None:
        shown = self._desk.shown
        self.parts.setEnabled(shown is not None)
        self.close_job.setEnabled(shown is not None and not shown.closed)
        if shown is None:
            number = self._desk.number
            self.title.setText(say("Job") + (f"   {number}" if number else ""))
            self.wanted.setText(say("no job is taken: open one, or take one from the list (Ctrl+J)"))
            return
        self.title.setText(shown.title)
        self.wanted.setText("\n".join([shown.next, *(f"○ {line}" for line in shown.wanted)]))
        self.facts.setText("\n".join(f"{name}: {value}" for name, value in shown.facts))
        newest = shown.series[-SERIES_SHOWN:]
        for at, tile in enumerate(self.tiles):
            tile.show_series(newest[at] if at < len(newest) else None, self._theme, self._scale)
        self.pulls.show_rows([(row.cells, row.counts, row.why) for row in shown.pulls])
        self.entries.show_rows([(row.cells, row.counts, row.why) for row in shown.entries])
        self.head.setText(shown.head)
        self.steps.show_steps(shown)
        self.sheets.show_job(shown)

    def _strike(self) -> None:
        shown, row = self._desk.shown, self.entries.currentRow()
        if shown is None or not 0 <= row < len(shown.entries):
            return
        entry = shown.entries[row].entry
        if answers := ask(self, say("Strike…"), (say("why entry {entry} does not count", entry=entry), "")):
            self._desk.strike(entry, answers[0])
