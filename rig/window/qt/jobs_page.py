"""The day begins here: go on with the last job, open a new one, or find one by customer, unit or any word in it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QButtonGroup,
    QFileDialog,
    QFormLayout,
    QFrame,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QSizePolicy,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from rig.window.job_desk import JobDesk, NewJob
from rig.window.keys import Act, key_name, key_of
from rig.window.model import Changed
from rig.window.pack_desk import FILES
from rig.window.qt.page import Page
from rig.window.qt.table import ReadTable
from rig.window.qt.theme import DARK, Theme
from rig.window.qt.trend_part import TrendPart
from rig.window.views.job import JOB_HEADINGS
from rig.words.language import say, say_n


class JobsPage(Page):
    """The page. `taken` is told when a job is asked for: the job's own page is where to go then."""

    taken = Signal()

    def __init__(self, desk: JobDesk, write_card: Callable[[Path], None]) -> None:
        super().__init__()
        self._write_card = write_card
        self.setObjectName("jobs")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self._desk = desk
        self._theme, self._scale = DARK, 1.0
        self._shown = -1
        self._spec: Path | None = None
        self.last = QPushButton()
        self.last.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.last.clicked.connect(self.take_last)
        self.without = QPushButton(say("Without a job"))
        self.without.setToolTip(say("Pulls are recorded and entered nowhere; they can be entered later"))
        self.without.clicked.connect(self._leave)
        self.unit, self.customer, self.complaint = QLineEdit(), QLineEdit(), QLineEdit()
        self.unit.setPlaceholderText(say("QF-7 no. 12"))
        self.complaint.setPlaceholderText(say("in the customer's words"))
        self.complaint.setToolTip(say("in the customer's words: which turn, hot or cold, last oil"))
        self.spec = QPushButton(say("Spec card…"))
        self.spec.setToolTip(say("The maker's page as a file: the window that judges"))
        self.spec.clicked.connect(self._choose_spec)
        self.card = QPushButton(say("To fill in…"))
        self.card.setToolTip(say("A spec card to begin with, written as a file and opened"))
        self.card.clicked.connect(self._begin_card)
        self.open_new = QPushButton(say("Open the job"))
        self.open_new.clicked.connect(self._open_new)
        self.complaint.returnPressed.connect(self._open_new)
        self.search = QLineEdit()
        self.search.setPlaceholderText(say("customer, unit, complaint, oil, note …"))
        self.search.setAccessibleName(say("search the job book"))
        self.search.setClearButtonEnabled(True)
        self.search.returnPressed.connect(self._find)
        self.jobs = ReadTable(JOB_HEADINGS, say("jobs"))
        self.jobs.cellActivated.connect(lambda row, _: self._take(row))
        self.jobs.cellDoubleClicked.connect(lambda row, _: self._take(row))
        self.take = QPushButton(say("Take this job"))
        self.take.clicked.connect(lambda: self._take(self.jobs.currentRow()))
        self.history = QPushButton(say("History of its unit"))
        self.history.setToolTip(say("All jobs of the unit in the row that is chosen"))
        self.history.clicked.connect(self._find_unit)
        self.state = QLabel()
        self.state.setWordWrap(True)
        self.parts, self.trend, self.tabs = QStackedWidget(), TrendPart(desk), list[QPushButton]()
        self._lay_out()
        self._asked = False

    def _lay_out(self) -> None:
        title = QLabel(say("Jobs"))
        title.setObjectName("title")
        form = QFormLayout()
        for name, entry in ((say("unit"), self.unit), (say("customer"), self.customer), (say("complaint"), self.complaint)):
            entry.setAccessibleName(name)
            form.addRow(name, entry)
        buttons = QHBoxLayout()
        buttons.addWidget(self.spec)
        buttons.addWidget(self.card)
        buttons.addStretch(1)
        buttons.addWidget(self.open_new)
        new = QFrame()
        new.setObjectName("panel")
        column = QVBoxLayout(new)
        heading = QLabel(say("A new job"))
        heading.setObjectName("title")
        column.addWidget(heading)
        column.addLayout(form)
        column.addLayout(buttons)
        first = QVBoxLayout()
        first.addWidget(self.last, 1)
        first.addWidget(self.without)
        top = QHBoxLayout()
        top.addLayout(first, 4)
        top.addWidget(new, 6)
        finding = QHBoxLayout()
        finding.addWidget(self.search, 1)
        for button in (self.history, self.take):
            finding.addWidget(button)
        listed = QWidget()
        column = QVBoxLayout(listed)
        column.setContentsMargins(0, 0, 0, 0)
        column.addLayout(top)
        column.addLayout(finding)
        column.addWidget(self.jobs, 1)
        for part in (listed, self.trend):
            self.parts.addWidget(part)
        tabs, group = QHBoxLayout(), QButtonGroup(self)
        tabs.addWidget(title)
        names = (
            (say("Open and find"), say("Go on with the last job, open a new one, find one")),
            (say("The bench over the jobs"), say("Scatter, zero, directions and shims, job after job, with limits")),
        )
        for at, (name, tip) in enumerate(names):
            tab = QPushButton(name)
            tab.setToolTip(tip)
            tab.setCheckable(True)
            tab.setChecked(at == 0)
            group.addButton(tab, at)
            self.tabs.append(tab)
            tabs.addWidget(tab)
        tabs.addStretch(1)
        group.idClicked.connect(self.show_part)
        layout = QVBoxLayout(self)
        layout.addLayout(tabs)
        layout.addWidget(self.parts, 1)
        layout.addWidget(self.state)

    def show_part(self, at: int) -> None:
        """Show the jobs, or the bench over them."""
        self.tabs[at].setChecked(True)
        self.parts.setCurrentIndex(at)
        if self.parts.currentWidget() is self.trend:
            self.trend.ask()

    def dress(self, theme: Theme, scale: float) -> None:
        """Use these colours and sizes."""
        self._theme, self._scale = theme, scale
        self.trend.dress(theme, scale)
        self.last.setStyleSheet(f"font-size: {round(24 * scale)}px; font-weight: bold;")

    def refresh(self, changed: Changed) -> None:
        """Show the last job and what was found; the book is asked once the page is first in sight."""
        if not self._asked:
            self._asked = True
            self._find()
        number, unit = self._desk.last
        words = (
            say("Go on with the last job") + (f"\n{number}   {unit}" if number else "") + f"   ({key_name(key_of(Act.LAST_JOB))})"
        )
        if self.last.text() != words:
            self.last.setText(words)
        # Without any job there is none to go on with; while the book has not told yet, nobody knows.
        self.last.setEnabled(bool(number) or self._desk.listed is None or bool(self._desk.listed.rows or self._desk.listed.search))
        self.state.setText(self._state())
        if self._shown == self._desk.revision or self._desk.listed is None:
            return
        self._shown = self._desk.revision
        self.jobs.show_rows([(row, True, "") for row in self._desk.listed.rows])
        if self._desk.listed.rows and self.jobs.currentRow() < 0:
            self.jobs.selectRow(0)

    def _state(self) -> str:
        desk = self._desk
        if desk.away:
            return say("the job book cannot be reached: {why}. Pulls are recorded all the same.", why=desk.away)
        if desk.busy:
            return say("looking into the job book …")
        if desk.listed is None:
            return ""
        found = len(desk.listed.rows)
        if not found:
            return say("no job with these words") if desk.listed.search else say("no job yet: open the first")
        return say("the newest {n}; search for older ones", n=found) if desk.listed.more else say_n("1 job", "{n} jobs", found)

    def take_last(self) -> None:
        """Go on with the last job."""
        self._desk.take_last()
        self.taken.emit()

    def _leave(self) -> None:
        self._desk.leave()
        self.taken.emit()

    def _take(self, row: int) -> None:
        listed = self._desk.listed
        if listed is not None and 0 <= row < len(listed.jobs):
            self._desk.take(listed.jobs[row])
            self.taken.emit()

    def _find(self) -> None:
        self._desk.find(self.search.text().strip())

    def _find_unit(self) -> None:
        listed, row = self._desk.listed, self.jobs.currentRow()
        if listed is not None and 0 <= row < len(listed.rows):
            self.search.setText(listed.rows[row][JOB_HEADINGS.index("unit")])
            self._find()

    def _open_new(self) -> None:
        if not self.unit.text().strip():
            self.unit.setFocus()
            return
        self._desk.open_new(
            NewJob(unit=self.unit.text(), customer=self.customer.text(), complaint=self.complaint.text(), spec=self._spec)
        )
        for entry in (self.unit, self.customer, self.complaint):
            entry.clear()
        self._put_spec(None)
        self.taken.emit()

    def _choose_spec(self) -> None:
        name, _ = QFileDialog.getOpenFileName(self, say("Spec card"), "", say("Spec card") + " (*.toml)")
        if name:
            self._put_spec(Path(name))

    def _begin_card(self) -> None:
        name, _ = QFileDialog.getSaveFileName(
            self, say("Spec card"), str(self._desk.folder / FILES["spec"]), say("Spec card") + " (*.toml)"
        )
        if name:
            self._write_card(Path(name))

    def _put_spec(self, path: Path | None) -> None:
        self._spec = path
        self.spec.setText(say("Spec card…") if path is None else path.name)
