"""The refit: bearings, drag, backlash, bolts, fill; readings in large fields, the answer as it stands, the bolts as a circle."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QButtonGroup,
    QComboBox,
    QFileDialog,
    QFormLayout,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QScrollArea,
    QSizePolicy,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from rig.window.lengths import TYPED, Lengths
from rig.window.model import Changed
from rig.window.qt.bolt_circle import BoltCircle
from rig.window.qt.lengths_panel import LengthsPanel
from rig.window.qt.page import Page
from rig.window.qt.theme import DARK, Theme
from rig.window.refit_desk import RefitDesk
from rig.window.refit_form import BEARINGS, BOLTS, PARTS, Entry, Kind, Part, bolts_of, field_key
from rig.window.views.lengths import lengths_view
from rig.window.views.refit import RefitView, refit_view
from rig.words.language import say

COLUMNS = 4
STATED_WIDTH = 420
"""Of the column with what the maker's page states, in pixels of the design size."""


class PartPage(QWidget):
    """One part: what the maker's page asks for at the left, readings in large fields, the answer below."""

    def __init__(self, desk: RefitDesk, part: Part) -> None:
        super().__init__()
        self._desk, self._part = desk, part
        self._theme, self._scale = DARK, 1.0
        self._view: RefitView | None = None
        self.stated: dict[str, QLineEdit | QComboBox] = {}
        self.readings: dict[str, QLineEdit] = {}
        self._groups: list[tuple[Entry, QWidget]] = []
        self._labels: dict[str, QLabel] = {}
        self.word, self.figures, self.sentences = QLabel(), QLabel(), QLabel()
        for label in (self.figures, self.sentences):
            label.setWordWrap(True)
        self.circle = BoltCircle() if part is BOLTS else None
        self.enter = QPushButton(say("Enter in the job"))
        self.enter.setToolTip(say("Written as a refit sheet, and entered with its answer"))
        self.enter.clicked.connect(lambda: desk.enter(part))
        self._lay_out()
        self.take_texts()

    def _lay_out(self) -> None:
        form = QFormLayout()
        form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
        for entry in self._part.stated:
            label = QLabel(say(entry.name))
            field = self._field(entry)
            field.setAccessibleName(say(entry.name))
            form.addRow(label, field)
            self.stated[entry.key], self._labels[entry.key] = field, label
        holder = QWidget()
        holder.setLayout(form)
        scroll = QScrollArea()
        scroll.setWidgetResizable(True)
        scroll.setWidget(holder)
        scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._scroll = scroll
        right = QVBoxLayout()
        for entry in self._part.readings:
            right.addWidget(self._large(entry))
        if self.circle is not None:
            right.addWidget(self.circle, 1)
        right.addLayout(self._buttons())
        right.addWidget(self.word)
        right.addWidget(self.figures)
        right.addWidget(self.sentences)
        right.addStretch(0 if self.circle is not None else 1)
        layout = QHBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(scroll, 5)
        layout.addLayout(right, 7)

    def _field(self, entry: Entry) -> QLineEdit | QComboBox:
        if entry.choices:
            box = QComboBox()
            for key, words in entry.choices:
                box.addItem(say(words) if words else "–", key)
            box.currentIndexChanged.connect(lambda _, box=box, key=entry.key: self._put(key, box.currentData() or ""))
            return box
        field = QLineEdit()
        field.setPlaceholderText(say(entry.example) if entry.example else "")
        field.textEdited.connect(lambda text, key=entry.key: self._put(key, text))
        return field

    def _large(self, entry: Entry) -> QWidget:
        """The readings of an entry as large fields under its name."""
        group = QWidget()
        grid = QGridLayout(group)
        grid.setContentsMargins(0, 0, 0, 0)
        unit = entry.kind.value.split(" ")[0]
        name = QLabel(f"{say(entry.name)} [{unit.replace('.', '·')}]")
        grid.addWidget(name, 0, 0, 1, COLUMNS)
        columns = COLUMNS if entry.fields <= 2 * COLUMNS else 2 * COLUMNS
        for at in range(entry.fields):
            field = QLineEdit()
            field.setObjectName("reading")
            field.setAlignment(Qt.AlignmentFlag.AlignCenter)
            field.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
            field.setAccessibleName(f"{say(entry.name)} {at + 1}")
            field.setPlaceholderText(str(at + 1) if entry.fields > 1 else "")
            key = field_key(entry, at)
            field.textEdited.connect(lambda text, key=key: self._put(key, text))
            field.returnPressed.connect(lambda key=key: self._next(key))
            self.readings[key] = field
            grid.addWidget(field, 1 + at // columns, at % columns)
        self._groups.append((entry, group))
        return group

    def _buttons(self) -> QHBoxLayout:
        row = QHBoxLayout()
        buttons: list[tuple[str, str, Callable[[], object]]] = []
        if self._desk.can_measure(self._part):
            tip = say("Fill the readings field after field: by a gauge, the pedal, a finger or keys")
            buttons.append((say("Measure"), tip, lambda: self._desk.measure(self._part)))
        if any(entry.kind is Kind.FILES for entry in self._part.entries):
            tip = say("Drag recorded while the unit was turned by hand, over whole turns")
            buttons.append((say("From recordings…"), tip, self._choose))
        if self.circle is not None:
            tip = say("The last pass by the bench's sensor, bolt by bolt in the order of the circle")
            buttons.append((say("Record the pass"), tip, self._desk.record_bolts))
            buttons.append((say("Last bolt again"), "", self._desk.bolt_again))
            buttons.append((say("End the pass"), say("What was recorded is kept"), self._desk.stop_bolts))
        for words, tip, act in buttons:
            button = QPushButton(words)
            button.setToolTip(tip)
            button.clicked.connect(lambda _, act=act: act())
            row.addWidget(button)
        row.addStretch(1)
        row.addWidget(self.enter)
        return row

    def take_texts(self) -> None:
        """Put what the desk holds into the fields."""
        texts = self._desk.texts[self._part.section]
        for key, field in self.stated.items():
            text = texts.get(key, "")
            if isinstance(field, QLineEdit):
                if field.text() != text:
                    field.setText(text)
                continue
            field.blockSignals(True)
            field.setCurrentIndex(max(0, field.findData(text)))
            field.blockSignals(False)
        for key, reading in self.readings.items():
            if reading.text() != texts.get(key, ""):
                reading.setText(texts.get(key, ""))
        self.answer()

    def _put(self, key: str, text: str) -> None:
        self._desk.put(self._part, key, text)
        self.answer()

    def _next(self, key: str) -> None:
        """Return goes to the next large field."""
        keys = [each for each, field in self.readings.items() if field.isVisible()]
        self.readings[keys[(keys.index(key) + 1) % len(keys)]].setFocus()

    def _choose(self) -> None:
        names, _ = QFileDialog.getOpenFileNames(self, say("Recordings"), "", say("Recordings") + " (*.csv)")
        if names:
            self._desk.put(self._part, "traces", "; ".join(names))
            self.take_texts()

    def answer(self) -> None:
        """Show how the part stands, with the fields that its form needs."""
        texts = self._desk.texts[self._part.section]
        form, count = texts.get("form") or "gap", bolts_of(texts)
        for entry, group in self._groups:
            group.setVisible(not entry.forms or form in entry.forms)
        if self._part is BEARINGS:
            for entry in self._part.stated:
                fits = not entry.forms or form in entry.forms
                self.stated[entry.key].setVisible(fits)
                self._labels[entry.key].setVisible(fits)
        if self._part is BOLTS:
            for at, field in enumerate(self.readings.values()):
                field.setVisible(at < count)
        self._view = refit_view(self._desk, self._part)
        self._show()

    def _show(self) -> None:
        view, theme, scale = self._view, self._theme, self._scale
        if view is None:
            return
        paint = theme.tones[view.tone]
        self.word.setText(view.told or view.word)
        self.word.setStyleSheet(
            f"font-size: {round(30 * scale)}px; font-weight: bold; padding: {round(6 * scale)}px;"
            f"border-radius: {round(6 * scale)}px; background: {paint.fill}; color: {paint.ink};"
        )
        self.figures.setText("\n".join(f"{name}:  {value}" for name, value in view.figures))
        self.figures.setStyleSheet(f"font-size: {round(21 * scale)}px; font-weight: bold;")
        self.sentences.setText(view.refused or "\n".join(view.sentences))
        self.enter.setEnabled(not view.refused)
        if self.circle is not None:
            self.circle.show_bolts(view.bolts, theme)

    def dress(self, theme: Theme, scale: float) -> None:
        """Use these colours and sizes."""
        self._theme, self._scale = theme, scale
        self._scroll.setMinimumWidth(round(STATED_WIDTH * scale))
        for stated in self.stated.values():
            if isinstance(stated, QLineEdit):  # a field whose example does not fit beside its name stands beneath it
                stated.ensurePolished()  # else the letters are still those of another size
                stated.setMinimumWidth(stated.fontMetrics().horizontalAdvance(stated.placeholderText()) + round(44 * scale))
        small = self._part is BOLTS
        for field in self.readings.values():
            field.setStyleSheet(f"font-size: {round((16 if small else 28) * scale)}px; font-weight: bold;")
            field.setMinimumHeight(round((34 if small else 58) * scale))
        self._show()


class RefitPage(Page):
    """The page: a tab a part; in place of it the lengths while they are measured."""

    def __init__(self, desk: RefitDesk, lengths: Lengths) -> None:
        super().__init__()
        self.setObjectName("refit")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self._desk, self._lengths = desk, lengths
        self._shown = desk.revision
        self.parts = [PartPage(desk, part) for part in PARTS]
        self.stack, self.panel = QStackedWidget(), LengthsPanel()
        self.tabs: list[QPushButton] = []
        tabs, group = QHBoxLayout(), QButtonGroup(self)
        title = QLabel(say("Refit"))
        title.setObjectName("title")
        tabs.addWidget(title)
        for at, (part, page) in enumerate(zip(PARTS, self.parts, strict=True)):
            self.stack.addWidget(page)
            tab = QPushButton(say(part.name))
            tab.setCheckable(True)
            tab.setChecked(at == 0)
            tab.clicked.connect(lambda _, at=at: self.show_part(at))
            group.addButton(tab)
            self.tabs.append(tab)
            tabs.addWidget(tab)
        tabs.addStretch(1)
        self.stack.addWidget(self.panel)
        advice = QLabel(
            say("It advises: the maker's manual decides on signs and preload, and whether bearings may be turned before.")
        )
        advice.setObjectName("soft")
        advice.setWordWrap(True)
        layout = QVBoxLayout(self)
        layout.addLayout(tabs)
        layout.addWidget(self.stack, 1)
        layout.addWidget(advice)
        self._part = 0
        self._connect()

    def _connect(self) -> None:
        panel, lengths = self.panel, self._lengths
        for signal, act in (
            (panel.typed, lengths.type),
            (panel.taken, lengths.take),
            (panel.backed, lengths.back),
            (panel.next_part_wanted, lengths.next_part),
            (panel.picked, lengths.go_to),
            (panel.unit_turned, lengths.turn_unit),
            (panel.gauge_wanted, lengths.open_gauge),
            (panel.done, lengths.end),
        ):
            signal.connect(lambda *told, act=act: self._do(act, *told))

    def _do(self, act: Callable[..., object], *told: object) -> None:
        act(*told)
        self.refresh(Changed.STATE)

    def show_part(self, at: int) -> None:
        """Go to a part."""
        if self._desk.measuring:
            self._lengths.end()
        self._part = at
        self.tabs[at].setChecked(True)
        self.parts[at].take_texts()
        self.refresh(Changed.STATE)

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802  Qt's name
        """While lengths are measured the digits of the keyboard are typed into them."""
        if self._desk.measuring and event.text() and event.text() in TYPED:
            self._do(self._lengths.type, event.text())
            return
        super().keyPressEvent(event)

    def refresh(self, changed: Changed) -> None:
        """Show the part in sight, or its lengths while they are measured."""
        if self._shown != self._desk.revision:
            self._shown = self._desk.revision
            for part in self.parts:
                part.take_texts()
        view = lengths_view(self._lengths) if self._desk.measuring else None
        if view is not None:
            self.panel.show_lengths(view)
        self.stack.setCurrentWidget(self.parts[self._part] if view is None else self.panel)

    def dress(self, theme: Theme, scale: float) -> None:
        """Use these colours and sizes."""
        self.panel.dress(theme, scale)
        for part in self.parts:
            part.dress(theme, scale)
