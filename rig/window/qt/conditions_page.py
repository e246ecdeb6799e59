"""What is known before a pull, on one page, all optional. A field that differs from the last pull is marked."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QComboBox, QGridLayout, QHBoxLayout, QLabel, QLineEdit, QPushButton, QVBoxLayout, QWidget

from rig.window.conditions import FIELD_NAMES, Conditions, lacking
from rig.window.model import BenchModel, Changed
from rig.window.qt.arrangements import ArrangementButton
from rig.window.qt.theme import DARK, Theme
from rig.window.views.verdict import window_text
from rig.words.arrangements import ARRANGEMENTS
from rig.words.language import say

# Fields in the order of the page, each with an example.
FIELDS = (
    ("window", "25..45 lbf.ft"),
    ("basis", ""),
    ("unit", "QF-7 no. 12"),
    ("series", "as found"),
    ("plates", ""),
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
    "plates": (("", ""), ("new", "new"), ("run in", "run in"), ("used", "used"), ("as found", "as found"), ("rebuilt", "rebuilt")),
}


class ConditionsPage(QWidget):
    """The page. `edited` carries the conditions whenever one of them was changed."""

    edited = Signal(object)

    def __init__(self, model: BenchModel, conditions: Conditions) -> None:
        super().__init__()
        self.setObjectName("conditions page")
        self._model = model
        self._theme = DARK
        self.conditions = conditions
        self._before = conditions
        self.pictures = [ArrangementButton(arrangement) for arrangement in ARRANGEMENTS]
        self.inputs: dict[str, QLineEdit | QComboBox] = {}
        self._marks: dict[str, QLabel] = {}
        self.lacks = QLabel()
        self.lacks.setWordWrap(True)
        self.window_now = QLabel()
        self.window_now.setObjectName("figure")
        self.window_now.setWordWrap(True)
        self.back = QPushButton(say("As at the last pull"))
        self.back.setToolTip(say("Put every field back to what it was at the last pull"))
        self.back.clicked.connect(lambda: self._take(self._before))
        self._lay_out()
        self._show()

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
        form.setVerticalSpacing(6)
        for row, (name, example) in enumerate(FIELDS):
            words = FIELD_NAMES[name]
            label = QLabel(say(words))
            mark = QLabel()
            mark.setObjectName("changed")
            entry = self._input(name, example)
            entry.setObjectName(f"field {name}")
            entry.setAccessibleName(say(words))
            self.inputs[name], self._marks[name] = entry, mark
            for column, widget in enumerate((label, entry, mark)):
                form.addWidget(widget, row, column)
        form.setColumnMinimumWidth(2, 170)
        form.setColumnStretch(1, 1)
        left, right = QVBoxLayout(), QVBoxLayout()
        caption = QLabel(say("Who is held and who turns"))
        left.addWidget(caption)
        left.addLayout(pictures, 1)
        right.addWidget(self.window_now)
        right.addLayout(form)
        right.addWidget(self.lacks)
        right.addStretch(1)
        right.addWidget(self.back, 0, Qt.AlignmentFlag.AlignLeft)
        heading = QHBoxLayout()
        heading.addWidget(title)
        heading.addWidget(soft)
        heading.addStretch(1)
        columns = QHBoxLayout()
        columns.setSpacing(18)
        columns.addLayout(left, 5)
        columns.addLayout(right, 6)
        layout = QVBoxLayout(self)
        layout.addLayout(heading)
        layout.addLayout(columns, 1)

    def _input(self, name: str, example: str) -> QLineEdit | QComboBox:
        if name in CHOICES:
            box = QComboBox()
            for value, words in CHOICES[name]:
                box.addItem(say(words) if words else "", value)
            box.activated.connect(lambda _: self._typed())
            return box
        line = QLineEdit()
        line.setPlaceholderText(say("e.g. {example}", example=example) if example else "")
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

    def pull_made(self) -> None:
        """From now on "changed" means: since this pull."""
        self._before = self.conditions
        self._show()

    def _picked(self, button: ArrangementButton) -> None:
        code = button.arrangement.code if button.isChecked() else ""
        self._take(Conditions(**(self.conditions.texts() | {"arrangement": code})))

    def _typed(self) -> None:
        texts = {name: entry.currentData() if isinstance(entry, QComboBox) else entry.text() for name, entry in self.inputs.items()}
        taken = Conditions(**(self.conditions.texts() | texts))
        if taken != self.conditions:
            self._take(taken)

    def _take(self, conditions: Conditions) -> None:
        self.conditions = conditions
        self._show()
        self.edited.emit(conditions)

    def _show(self) -> None:
        texts, changed = self.conditions.texts(), self.conditions.changed_from(self._before)
        for button in self.pictures:
            button.setChecked(button.arrangement.code == texts["arrangement"])
            button.show_theme(self._theme, marked="arrangement" in changed)
        for name, entry in self.inputs.items():
            if isinstance(entry, QComboBox):
                entry.setCurrentIndex(max(0, entry.findData(texts[name])))
            elif entry.text() != texts[name]:
                entry.setText(texts[name])
            refusal = self.conditions.refusal(name)
            self._marks[name].setText("⚠ " + say("not readable") if refusal else "● " + say("changed") if name in changed else "")
            self._marks[name].setToolTip(str(refusal or ""))
            entry.setProperty("changed", "true" if name in changed or refusal else "false")
            entry.style().unpolish(entry)
            entry.style().polish(entry)
        empty = lacking(self.conditions)
        words = ", ".join(say(FIELD_NAMES[name]) for name in empty)
        self.lacks.setText(say("not stated: {fields}", fields=words) if empty else say("everything a comparison needs is stated"))
        self.back.setEnabled(bool(changed))
