"""The sensor: calibrated at the bench with its points and their progress, its format guessed, and the machine checked."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QButtonGroup,
    QComboBox,
    QFileDialog,
    QFormLayout,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPlainTextEdit,
    QProgressBar,
    QPushButton,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from rig.window.model import Changed
from rig.window.qt.page import Page
from rig.window.qt.table import ReadTable
from rig.window.qt.theme import DARK, Theme
from rig.window.sensor_desk import GuessWish, SensorDesk
from rig.window.views.line import ports
from rig.window.views.sensor import rows_of, summary_of
from rig.words.language import say

PARTS = ("calibration", "guess", "machine")
UNITS = ("", "N.m", "lbf.ft", "lbf.in", "kgf.m")
ANGLES = ("", "deg", "rad")
TIMES = ("", "us", "ms", "s")
HEADINGS = ("stands", "looked at", "found")
PARTS_OF_BAR = 1000


def _button(words: str, tip: str, act: Callable[[], object]) -> QPushButton:
    button = QPushButton(words)
    button.setToolTip(tip)
    button.clicked.connect(lambda: act())
    return button


class FileField(QWidget):
    """A path that is typed or chosen."""

    def __init__(self, name: str, pattern: str) -> None:
        super().__init__()
        self._name, self._pattern = name, pattern
        self.entry = QLineEdit()
        self.entry.setAccessibleName(name)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(self.entry, 1)
        row.addWidget(_button("…", say("Choose a file"), self._choose))

    @property
    def path(self) -> Path | None:
        """The path; None where none is named."""
        text = self.entry.text().strip()
        return Path(text).expanduser() if text else None

    def propose(self, path: Path | None) -> None:
        """Stand there unless something was typed."""
        if path is not None and not self.entry.text():
            self.entry.setText(str(path))

    def _choose(self) -> None:
        name, _ = QFileDialog.getOpenFileName(self, self._name, self.entry.text(), f"{self._name} ({self._pattern})")
        if name:
            self.entry.setText(name)


class SensorPage(Page):
    """The page on a `SensorDesk`; `device` is the profile opened last."""

    def __init__(self, desk: SensorDesk, device: Callable[[], Path | None]) -> None:
        super().__init__()
        self.setObjectName("sensor page")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self._desk, self._device = desk, device
        self._theme = DARK
        self._shown: tuple[object, ...] = ()
        self.parts = QStackedWidget()
        self.question, self.bar, self.count = QLabel(), QProgressBar(), QLabel()
        self.question.setObjectName("question")
        self.question.setWordWrap(True)
        self.question.setAccessibleName(say("what is to be done now"))
        self.bar.setRange(0, PARTS_OF_BAR)
        self.bar.setTextVisible(False)
        self.log = QPlainTextEdit()
        self.log.setReadOnly(True)
        self.log.setAccessibleName(say("what was said so far"))
        self.answer = QLineEdit()
        self.answer.setPlaceholderText(say("what the reference shows, where it is asked for"))
        self.answer.setAccessibleName(say("answer"))
        self.answer.returnPressed.connect(self._take)
        self.stop = _button(say("Stop"), say("What was taken is kept; the same plan goes on with it"), self._end)
        self._lay_out()

    def _lay_out(self) -> None:
        title = QLabel(say("Sensor"))
        title.setObjectName("title")
        heading = QHBoxLayout()
        heading.addWidget(title)
        self.tabs = QButtonGroup(self)
        tips = (
            (say("Calibrate"), say("Weights or a reference sensor, point by point, to a certificate")),
            (say("Guess a device"), say("Listen to what a device sends and write its profile")),
            (say("Check the machine"), say("What stands in the way on this computer, and the remedy")),
        )
        for at, (words, tip) in enumerate(tips):
            button = QPushButton(words)
            button.setToolTip(tip)
            button.setCheckable(True)
            self.tabs.addButton(button, at)
            heading.addWidget(button)
        heading.addStretch(1)
        self.tabs.idClicked.connect(self.show_part)
        for part in (self._calibration(), self._guess(), self._machine()):
            self.parts.addWidget(part)
        progress = QHBoxLayout()
        progress.addWidget(self.bar, 1)
        progress.addWidget(self.count)
        progress.addWidget(self.stop)
        layout = QVBoxLayout(self)
        layout.addLayout(heading)
        layout.addWidget(self.parts, 1)
        layout.addLayout(progress)
        self.show_part(0)

    def _calibration(self) -> QWidget:
        self.plan = FileField(say("Plan"), "*.toml")
        self.device, self.reference = FileField(say("Device profile"), "*.toml"), FileField(say("Device profile"), "*.toml")
        self.weights, self.arm = QLineEdit(), QLineEdit()
        self.weights.setPlaceholderText(say("e.g. {example}", example="5 kg, 10 kg"))
        self.arm.setPlaceholderText(say("e.g. {example}", example="600 mm"))
        form = _form()
        form.addRow(say("plan"), self.plan)
        form.addRow(say("device"), self.device)
        form.addRow(say("reference (or none)"), self.reference)
        form.addRow(say("two weights"), self.weights)
        form.addRow(say("arm"), self.arm)
        left = QVBoxLayout()
        words = QLabel(
            say("A plan says which loads; each point is taken when all is still. At the end stands a certificate with its budget.")
        )
        words.setWordWrap(True)
        words.setObjectName("soft")
        left.addWidget(words)
        left.addLayout(form)
        tip = say("What only the workshop knows is empty in it")
        buttons = QGridLayout()
        buttons.addWidget(_button(say("A plan to fill in…"), tip, self._template), 0, 0)
        tip = say("Asks for one load after the other and weighs it; the bench's own line is closed meanwhile")
        buttons.addWidget(_button(say("Take the points"), tip, self._calibrate), 0, 1)
        tip = say("The points stand in the plan's file already")
        buttons.addWidget(_button(say("From a file of points"), tip, self._from_points), 1, 0)
        tip = say("A check of one minute: what may be stated of a sensor that nobody has calibrated")
        buttons.addWidget(_button(say("Check with two weights"), tip, self._check), 1, 1)
        left.addLayout(buttons)
        left.addStretch(1)
        answers = QHBoxLayout()
        answers.addWidget(_button(say("Take (Enter)"), say("All is still: weigh it"), self._take))
        answers.addWidget(_button(say("The one before again"), say("Take the point before this one again"), self._back))
        answers.addWidget(_button(say("Keep it all the same"), say("Keep a point that looks doubtful"), self._keep))
        right = QVBoxLayout()
        right.addWidget(self.question)
        right.addWidget(self.answer)
        right.addLayout(answers)
        right.addWidget(self.log, 1)
        return _columns(left, right)

    def _guess(self) -> QWidget:
        self.port, self.name, self.capacity = QComboBox(), QLineEdit("bench 1"), QLineEdit()
        self.port.setEditable(True)
        self.port.addItems([port.split("   ")[0] for port in ports()])
        self.capacity.setPlaceholderText(say("e.g. {example}", example="200 N.m"))
        self.units = []
        form = _form()
        form.addRow(say("port, or a file of what it sent"), self.port)
        form.addRow(say("name"), self.name)
        form.addRow(say("capacity, from its plate"), self.capacity)
        for words, units in ((say("torque is sent in"), UNITS), (say("angle is sent in"), ANGLES), (say("time is sent in"), TIMES)):
            box = QComboBox()
            box.setEditable(True)
            box.addItems(list(units))
            line = box.lineEdit()
            if line is not None:
                line.setPlaceholderText(say("as its lines say"))
            self.units.append(box)
            form.addRow(words, box)
        left, right = QVBoxLayout(), QVBoxLayout()
        words_label = QLabel(say("Listens at one baud rate after the other. A unit is what the lines say or you state."))
        words_label.setWordWrap(True)
        words_label.setObjectName("soft")
        left.addWidget(words_label)
        left.addLayout(form)
        tip = say("The bench's own line is closed meanwhile")
        left.addWidget(_button(say("Listen"), tip, self._listen))
        left.addStretch(1)
        self.heard, self.profile = QPlainTextEdit(), QPlainTextEdit()
        self.heard.setReadOnly(True)
        self.heard.setAccessibleName(say("what was heard"))
        self.profile.setAccessibleName(say("the profile, to be corrected by hand"))
        self.profile.setPlaceholderText(say("Here comes the profile; it can be corrected before it is saved."))
        right.addWidget(self.heard, 2)
        right.addWidget(self.profile, 3)
        self.save = _button(say("Save the profile and open its line…"), say("A file that is there is not written over"), self._save)
        right.addWidget(self.save)
        return _columns(left, right)

    def _machine(self) -> QWidget:
        self.verdict = QLabel()
        self.verdict.setWordWrap(True)
        self.table = ReadTable(HEADINGS, say("checks of the machine"))
        self.table.setWordWrap(True)
        part = QWidget()
        layout = QVBoxLayout(part)
        layout.setContentsMargins(0, 0, 0, 0)
        row = QHBoxLayout()
        row.addWidget(self.verdict, 1)
        row.addWidget(_button(say("Check now"), say("Takes a second or two"), self._desk.look_at_machine))
        layout.addLayout(row)
        layout.addWidget(self.table, 1)
        return part

    def dress(self, theme: Theme, scale: float) -> None:
        """Use these colours and sizes."""
        self._theme = theme
        for widget, size in ((self.question, 26), (self.verdict, 22)):
            widget.setStyleSheet(f"font-size: {round(size * scale)}px; font-weight: bold;")
        for box in self.units:
            words = say("as its lines say")
            box.setMinimumWidth(box.fontMetrics().horizontalAdvance(words) + round(60 * scale))
        for text in (self.log, self.heard, self.profile):
            text.setStyleSheet(f"font-family: monospace; font-size: {round(15 * scale)}px;")
        self._shown = ()

    def show_part(self, at: int) -> None:
        """Show calibration, guess or machine."""
        self.parts.setCurrentIndex(at)
        button = self.tabs.button(at)
        if button is not None:
            button.setChecked(True)
        self._shown = ()

    def refresh(self, changed: Changed) -> None:
        """Show what the task under way has said."""
        desk, task = self._desk, self._desk.task
        self.device.propose(self._device())
        profile = desk.profile  # before the lines: whoever sees a profile sees all that was said of it
        lines = () if task is None else tuple(task.lines)
        done = (0, 1) if task is None else (task.done, task.count)
        question = "" if task is None else task.question
        shown = (desk.part, lines, done, question, desk.busy, profile, len(desk.found))
        if shown == self._shown:
            return
        self._shown = shown
        self.bar.setValue(0 if task is None else round(PARTS_OF_BAR * task.share))
        self.count.setText("" if task is None else f"{task.name}  {done[0]} / {done[1]}")
        self.stop.setEnabled(desk.busy)
        text = "\n".join(lines)
        if desk.part == "calibration":
            self.question.setText(question)
            _say_on(self.log, text)
        if desk.part == "guess":
            _say_on(self.heard, text)
            if profile and not self.profile.toPlainText():
                self.profile.setPlainText(profile)
        self.save.setEnabled(bool(self.profile.toPlainText()))
        if not self.question.text():
            self.question.setText(say("Here stands what to do: which load, when to wait."))
        rows = rows_of(desk.found)
        self.table.show_rows([(cells, True, cells[2]) for cells, _ in rows])
        self.table.resizeRowsToContents()
        self.verdict.setText(summary_of(desk.found))

    # what the person wants

    def _template(self) -> None:
        start = str(self._desk.folder / "plan.toml")
        name, _ = QFileDialog.getSaveFileName(self, say("A plan to fill in…"), start, "TOML (*.toml)")
        if name:
            self._desk.write_template(Path(name))
            self.plan.entry.setText(name)

    def _calibrate(self) -> None:
        if self.plan.path is not None and self.device.path is not None:
            self._desk.calibrate(self.plan.path, self.device.path, self.reference.path)
            self.answer.setFocus()
        else:
            self.question.setText(say("name the plan and the device profile first"))

    def _from_points(self) -> None:
        if self.plan.path is not None:
            self._desk.calibrate(self.plan.path, None)
        else:
            self.question.setText(say("name the plan first"))

    def _check(self) -> None:
        if self.device.path is not None:
            self._desk.check_by_weights(self.device.path, self.weights.text(), self.arm.text())
            self.answer.setFocus()
        else:
            self.question.setText(say("name the plan and the device profile first"))

    def _listen(self) -> None:
        torque, angle, time = (box.currentText().strip() for box in self.units)
        self.profile.clear()
        wish = GuessWish(self.port.currentText().strip(), self.name.text(), self.capacity.text().strip(), torque, angle, time)
        self._desk.guess(wish)

    def _save(self) -> None:
        start = str(self._desk.folder / "bench.toml")
        name, _ = QFileDialog.getSaveFileName(self, say("Save the profile and open its line…"), start, "TOML (*.toml)")
        if name:
            self._desk.save_profile(Path(name), self.profile.toPlainText())

    def _reply(self, text: str) -> None:
        if self._desk.task is not None:
            self._desk.task.answer(text)
        self.answer.clear()

    def _take(self) -> None:
        self._reply(self.answer.text())

    def _back(self) -> None:
        self._reply("b")

    def _keep(self) -> None:
        self._reply("k")

    def _end(self) -> None:
        self._desk.stop()


def _say_on(text: QPlainTextEdit, words: str) -> None:
    """Show all of it, the newest in sight."""
    if text.toPlainText() != words:
        text.setPlainText(words)
        bar = text.verticalScrollBar()
        bar.setValue(bar.maximum())


def _form() -> QFormLayout:
    form = QFormLayout()
    form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
    form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
    return form


def _columns(left: QVBoxLayout, right: QVBoxLayout) -> QWidget:
    part = QWidget()
    columns = QHBoxLayout(part)
    columns.setContentsMargins(0, 0, 0, 0)
    columns.setSpacing(16)
    columns.addLayout(left, 4)
    columns.addLayout(right, 6)
    return part
