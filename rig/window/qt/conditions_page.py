"""What is known before a pull, on one page, all optional. A field that differs from the last pull is marked; a refusal says why."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from PySide6.QtCore import Signal
from PySide6.QtWidgets import (
    QComboBox,
    QFileDialog,
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from rig.window.conditions import FIELD_NAMES, WINDOW_UNITS, Conditions, lacking, window_of_parts, window_parts
from rig.window.model import BenchModel, Changed
from rig.window.qt.arrangements import ArrangementButton
from rig.window.qt.page import Page
from rig.window.qt.theme import DARK, Theme
from rig.window.views.verdict import window_text
from rig.words.arrangements import ARRANGEMENTS
from rig.words.language import say
from rig.words.retold import fault_text

# Fields in the order of the page, each with an example.
FIELDS = (
    ("window", ""),
    ("basis", ""),
    ("unit", "QF-7 no. 12"),
    ("series", ""),
    ("phase", ""),
    ("closure", ""),
    ("plates", "set 1"),
    ("plate_state", ""),
    ("oil", ""),
    ("additive", "4 %"),
    ("temperature", "21 degC"),
    ("rest", "60 s"),
    ("lever", "0.6 m"),
    ("adapter", ""),
    ("who", "T.W."),
)
CHOICES = {
    "basis": (("breakaway", "pack breakaway"), ("sliding", "pack sliding")),
    "phase": (
        ("", ""),
        ("as found", "as found"),
        ("rebuilt", "rebuilt"),
        ("after run-in", "after run-in"),
        ("after additive", "after additive"),
    ),
    "closure": (("", ""), ("trial", "trial: two or three screws"), ("final", "final: every bolt at its torque")),
    "plate_state": (("", ""), ("new", "new"), ("run_in", "run in"), ("used", "used")),
}


class WindowEntry(QWidget):
    """The window as two numbers and a unit; a whole window may be typed into either number."""

    def __init__(self) -> None:
        super().__init__()
        self.low, self.high = QLineEdit(), QLineEdit()
        self.unit = QComboBox()
        self.unit.setEditable(True)
        self.unit.addItems(list(WINDOW_UNITS))
        for entry, words in ((self.low, say("lower limit")), (self.high, say("upper limit"))):
            entry.setPlaceholderText(words)
            entry.setAccessibleName(words)
        self.unit.setAccessibleName(say("unit of the window"))
        self.setFocusProxy(self.low)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)  # else a full page cuts its lower edge
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(self.low, 2)
        row.addWidget(QLabel("–"))
        row.addWidget(self.high, 2)
        row.addWidget(self.unit, 2)

    def text(self) -> str:
        """As it is typed."""
        return window_of_parts(self.low.text(), self.high.text(), self.unit.currentText())

    def set_text(self, text: str) -> None:
        """Show this window."""
        low, high, unit = window_parts(text)
        self.low.setText(low)
        self.high.setText(high)
        if unit:
            self.unit.setEditText(unit)

    def being_typed(self) -> bool:
        """Whether the person is at it."""
        return any(widget is not None and widget.hasFocus() for widget in (self.low, self.high, self.unit, self.unit.lineEdit()))


class ConditionsPage(Page):
    """The page. `edited` carries the conditions whenever one was changed; `card_wanted` the path of a spec card.

    `still_holds`, `cleared`: the answers to whether what held before (another day, another unit) still does.
    """

    edited = Signal(object)
    card_wanted = Signal(object)
    still_holds = Signal()
    cleared = Signal()

    def __init__(self, model: BenchModel, conditions: Conditions) -> None:
        super().__init__()
        self.setObjectName("conditions page")
        self._model = model
        self._theme = DARK
        self.conditions = conditions
        self._before = conditions
        self.pictures = [ArrangementButton(arrangement) for arrangement in ARRANGEMENTS]
        self.inputs: dict[str, QLineEdit | QComboBox | WindowEntry] = {}
        self._marks: dict[str, QLabel] = {}
        self.refusals = QLabel()
        self.refusals.setObjectName("changed")
        self.refusals.setWordWrap(True)
        self.lacks = QLabel()
        self.lacks.setWordWrap(True)
        self.window_now = QLabel()
        self.window_now.setObjectName("figure")
        self.window_now.setWordWrap(True)
        self.back = QPushButton(say("As at the last pull"))
        self.back.setToolTip(say("Put every field back to what it was at the last pull"))
        self.back.clicked.connect(lambda: self._take(self._before))
        self.card = QPushButton(say("From a spec card…"))
        self.card.setToolTip(say("Window, basis and arrangement as the maker's page states them"))
        self.card.clicked.connect(self._choose_card)
        self.asking = self._question()
        self._lay_out()
        self._show()

    def _question(self) -> QFrame:
        frame = QFrame()
        frame.setObjectName("panel")
        self._asked = QLabel()
        self._asked.setWordWrap(True)
        row = QHBoxLayout(frame)
        row.addWidget(self._asked, 1)
        for words, tip, signal in (
            (say("Still holds (Ctrl+K)"), say("What is shown below counts from now on"), self.still_holds),
            (say("Clear (Ctrl+L)"), say("Every field is emptied; nothing from before counts"), self.cleared),
        ):
            button = QPushButton(words)
            button.setToolTip(tip)
            button.clicked.connect(signal)
            row.addWidget(button)
        frame.hide()
        return frame

    def _lay_out(self) -> None:
        title = QLabel(say("Before a pull"))
        title.setObjectName("title")
        soft = QLabel(say("All of this is optional. Pulling works at once."))
        soft.setObjectName("soft")
        pictures = QGridLayout()
        for i, button in enumerate(self.pictures):
            button.clicked.connect(lambda _=False, button=button: self._picked(button))
            pictures.addWidget(button, i // 2, i % 2)
        form = QGridLayout()
        form.setVerticalSpacing(2)
        form.setHorizontalSpacing(16)
        half = (len(FIELDS) + 1) // 2
        for at, (name, example) in enumerate(FIELDS):
            words = FIELD_NAMES[name]
            mark = QLabel()
            mark.setObjectName("changed")
            label = QHBoxLayout()
            label.addWidget(QLabel(say(words)))
            label.addWidget(mark)
            label.addStretch(1)
            entry = self._input(name, example)
            entry.setObjectName(f"field {name}")
            for widget in (entry.low, entry.high, entry.unit) if isinstance(entry, WindowEntry) else (entry,):
                widget.setProperty("tight", "true")
            entry.setAccessibleName(say(words))
            self.inputs[name], self._marks[name] = entry, mark
            field = QVBoxLayout()
            field.setSpacing(0)
            field.addLayout(label)
            field.addWidget(entry)
            form.addLayout(field, at % half, at // half)
        form.setColumnStretch(0, 1)
        form.setColumnStretch(1, 1)
        left, right = QVBoxLayout(), QVBoxLayout()
        caption = QLabel(say("Who is held and who turns"))
        left.addWidget(caption)
        left.addLayout(pictures, 1)
        buttons = QHBoxLayout()
        buttons.addWidget(self.card)
        buttons.addWidget(self.back)
        buttons.addStretch(1)
        right.addWidget(self.window_now)
        right.addLayout(form)
        right.addWidget(self.refusals)
        right.addWidget(self.lacks)
        right.addStretch(1)
        right.addLayout(buttons)
        heading = QHBoxLayout()
        heading.addWidget(title)
        heading.addWidget(soft)
        heading.addStretch(1)
        columns = QHBoxLayout()
        columns.setSpacing(18)
        columns.addLayout(left, 4)
        columns.addLayout(right, 7)
        layout = QVBoxLayout(self)
        layout.addLayout(heading)
        layout.addWidget(self.asking)
        layout.addLayout(columns, 1)

    def _input(self, name: str, example: str) -> QLineEdit | QComboBox | WindowEntry:
        if name == "window":
            window = WindowEntry()
            for line in (window.low, window.high):
                line.editingFinished.connect(self._typed)
            window.unit.activated.connect(lambda _: self._typed())
            line_edit = window.unit.lineEdit()
            if line_edit is not None:
                line_edit.editingFinished.connect(self._typed)
            return window
        if name in CHOICES:
            box = QComboBox()
            for value, words in CHOICES[name]:
                box.addItem(say(words) if words else "", value)
            box.activated.connect(lambda _: self._typed())
            return box
        line = QLineEdit()
        line.setPlaceholderText(say("e.g. {example}", example=say(example)) if example else "")
        line.editingFinished.connect(self._typed)
        return line

    def dress(self, theme: Theme, scale: float) -> None:
        """Use these colours and sizes."""
        self._theme = theme
        self.window_now.setStyleSheet(f"font-size: {round(21 * scale)}px; font-weight: bold;")
        self._show()

    def refresh(self, changed: Changed) -> None:
        """Show the window that counts now."""
        self.window_now.setText(window_text(self._model.window, self._model.unit).replace("\n", "  "))

    def ask(self, question: str) -> None:
        """Ask whether what held before still does; "" takes the question away."""
        self._asked.setText(question)
        self.asking.setVisible(bool(question))

    def take(self, conditions: Conditions) -> None:
        """Show these, which came from elsewhere."""
        self.conditions = conditions
        self._show()

    def pull_made(self) -> None:
        """From now on "changed" means: since this pull."""
        self._before = self.conditions
        self._show()

    def _picked(self, button: ArrangementButton) -> None:
        # A second press makes sure of it; only 'Clear' and another picture take an arrangement away.
        self._take(replace(self.conditions, arrangement=button.arrangement.code))

    def _typed(self) -> None:
        texts = {name: entry.currentData() if isinstance(entry, QComboBox) else entry.text() for name, entry in self.inputs.items()}
        taken = Conditions(**(self.conditions.texts() | texts))
        if taken != self.conditions:
            self._take(taken)

    def _choose_card(self) -> None:
        name, _ = QFileDialog.getOpenFileName(self, say("Spec card"), "", say("Spec card") + " (*.toml)")
        if name:
            self.card_wanted.emit(Path(name))

    def _take(self, conditions: Conditions) -> None:
        self.conditions = conditions
        self._show()
        self.edited.emit(conditions)

    def _show(self) -> None:
        """Show the conditions. What a person is typing stays as it is."""
        texts, changed = self.conditions.texts(), self.conditions.changed_from(self._before)
        refused: list[str] = []
        for button in self.pictures:
            button.setChecked(button.arrangement.code == texts["arrangement"])
            button.show_theme(self._theme, marked="arrangement" in changed)
        for name, entry in self.inputs.items():
            if isinstance(entry, QComboBox):
                entry.setCurrentIndex(max(0, entry.findData(texts[name])))
            elif isinstance(entry, WindowEntry):
                if entry.text() != texts[name] and not entry.being_typed():
                    entry.set_text(texts[name])
            elif entry.text() != texts[name] and not (entry.hasFocus() and entry.isModified()):
                entry.setText(texts[name])
            refusal = self.conditions.refusal(name)
            self._marks[name].setText("⚠" if refusal else "● " + say("changed") if name in changed else "")
            if refusal is not None:
                refused.append(f"⚠ {say(FIELD_NAMES[name])}: {fault_text(refusal)}")
            marked = "true" if name in changed or refusal else "false"
            for widget in (entry.low, entry.high) if isinstance(entry, WindowEntry) else (entry,):
                widget.setProperty("changed", marked)
                widget.style().unpolish(widget)
                widget.style().polish(widget)
            entry.updateGeometry()  # a mark has another edge
        self.refusals.setText("\n".join(refused))
        self.refusals.setVisible(bool(refused))
        empty = lacking(self.conditions)
        words = ", ".join(say(FIELD_NAMES[name]) for name in empty)
        self.lacks.setText(say("not stated: {fields}", fields=words) if empty else say("everything a comparison needs is stated"))
        self.back.setEnabled(bool(changed))
