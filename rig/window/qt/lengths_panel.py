"""Lengths entered by gauge, pedal, finger or keys: fields part by part, the next one in large, a keypad for thumbs."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QFileDialog,
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QScrollArea,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from rig.window.qt.theme import DARK, Theme
from rig.window.views.lengths import LengthsView
from rig.words.language import say

KEYPAD = ("7", "8", "9", "4", "5", "6", "1", "2", "3", ".", "0")
COLUMNS = 3
THUMB = 58
"""Height of a key or field in pixels of the design size: some 15 mm on a panel of 100 dots an inch."""


class LengthsPanel(QWidget):
    """The panel. Signals tell what the person wants: a character typed, the next length taken, one back, a part or field, done."""

    typed = Signal(str)
    taken = Signal()
    backed = Signal()
    next_part_wanted = Signal()
    picked = Signal(int)
    unit_turned = Signal()
    gauge_wanted = Signal(object)
    done = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("lengths")
        self._theme, self._scale = DARK, 1.0
        self._view: LengthsView | None = None
        self._buttons: list[QPushButton] = []
        self.title = _label("title")
        self.asked, self.large, self.other, self.word, self.gauge = (
            _label("figure"),
            _label("large"),
            _label("soft"),
            _label("word"),
            _label("soft"),
        )
        for label in (self.asked, self.word, self.gauge):
            label.setWordWrap(True)
        self._fields = QVBoxLayout()
        holder = QWidget()
        holder.setLayout(self._fields)
        self._scroll = QScrollArea()
        self._scroll.setWidgetResizable(True)
        self._scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._scroll.setWidget(holder)
        self._scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.unit = self._key("mm", say("From mm to inches and back"), self.unit_turned.emit)
        self.unit.setObjectName("unit")
        right = QVBoxLayout()
        for label in (self.asked, self.large, self.other, self.word):
            right.addWidget(label)
        right.addStretch(1)
        right.addLayout(self._keypad())
        right.addWidget(self.gauge)
        panel = QFrame()
        panel.setObjectName("panel")
        panel.setLayout(right)
        columns = QHBoxLayout()
        columns.addWidget(self._scroll, 6)
        columns.addWidget(panel, 5)
        heading = QHBoxLayout()
        heading.addWidget(self.title)
        heading.addStretch(1)
        open_gauge = QPushButton(say("Gauge…"))
        open_gauge.setToolTip(say("The profile of a micrometer, depth gauge or dial that prints lines"))
        open_gauge.clicked.connect(self._choose_gauge)
        done = QPushButton(say("Write and answer"))
        done.setToolTip(say("Write what was measured into the sheet, and answer it anew"))
        done.clicked.connect(lambda: self.done.emit())
        heading.addWidget(open_gauge)
        heading.addWidget(done)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addLayout(heading)
        layout.addLayout(columns, 1)

    def _keypad(self) -> QGridLayout:
        grid = QGridLayout()
        for at, char in enumerate(KEYPAD):
            grid.addWidget(self._key(char, "", lambda char=char: self.typed.emit(char)), at // COLUMNS, at % COLUMNS)  # type: ignore[misc]
        grid.addWidget(self.unit, len(KEYPAD) // COLUMNS, COLUMNS - 1)
        back = self._key("⌫", say("The last digit, else the last length, to be entered anew (Backspace)"), self.backed.emit)
        part = self._key(say("Next part"), say("Leave the rest of this part empty (Down)"), self.next_part_wanted.emit)
        take = self._key(say("Take"), say("What is typed, else what the gauge shows (Enter, or the foot pedal)"), self.taken.emit)
        take.setObjectName("take")
        grid.addWidget(back, 0, COLUMNS)
        grid.addWidget(part, 1, COLUMNS)
        grid.addWidget(take, 2, COLUMNS, 2, 1)
        return grid

    def _key(self, words: str, tip: str, act: Callable[[], object]) -> QPushButton:
        key = QPushButton(words)
        key.setToolTip(tip or words)
        key.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        key.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        key.clicked.connect(lambda: act())
        return key

    def show_lengths(self, view: LengthsView | None) -> None:
        """Show this list as it stands."""
        if view is None:
            return
        before, self._view = self._view, view
        if before is None or [part.name for part in before.parts] != [part.name for part in view.parts]:
            self._build(view)
        for button, field in zip(self._buttons, (field for part in view.parts for field in part.fields), strict=True):
            button.setText(f"{field.name}\n{field.value}")
            button.setAccessibleName(f"{field.name}: {field.value}")
            look = "current" if field.current else "new" if field.new else ""
            if button.property("look") != look:
                button.setProperty("look", look)
                button.setStyleSheet(self._look(look))
            if field.current:
                self._scroll.ensureWidgetVisible(button, 0, 2 * button.height())
        self.title.setText(f"{view.title}   {view.done}")
        self.asked.setText(view.asked)
        self.large.setText(view.large)
        self.other.setText(view.other)
        self.word.setText(("⚠ " if view.amiss else "") + view.word)
        self.gauge.setText(view.gauge)
        self.unit.setText(view.unit)

    def _build(self, view: LengthsView) -> None:
        while (item := self._fields.takeAt(0)) is not None:
            if (widget := item.widget()) is not None:
                widget.deleteLater()
        self._buttons = []
        for part in view.parts:
            box = QWidget()
            grid = QGridLayout(box)
            grid.setContentsMargins(0, 0, 0, 0)
            name = _label("part")
            name.setText(part.name)
            grid.addWidget(name, 0, 0, 1, COLUMNS)
            for place, field in enumerate(part.fields):
                button = QPushButton()
                button.setFocusPolicy(Qt.FocusPolicy.NoFocus)
                button.setProperty("look", None)
                button.clicked.connect(lambda _=False, at=field.at: self.picked.emit(at))
                grid.addWidget(button, 1 + place // COLUMNS, place % COLUMNS)
                self._buttons.append(button)
            self._fields.addWidget(box)
        self._fields.addStretch(1)

    def _look(self, look: str) -> str:
        theme, size = self._theme, f"min-height: {round(THUMB * self._scale)}px; padding: 0px 4px;"
        if look == "current":
            return f"{size} background: {theme.busy.fill}; color: {theme.busy.ink}; font-weight: bold;"
        return f"{size} border: 3px solid {theme.band};" if look == "new" else size

    def dress(self, theme: Theme, scale: float) -> None:
        """Use these colours and sizes."""
        self._theme, self._scale = theme, scale
        self.large.setStyleSheet(f"font-size: {round(56 * scale)}px; font-weight: bold;")
        self.asked.setStyleSheet(f"font-size: {round(26 * scale)}px; font-weight: bold;")
        self.word.setStyleSheet(f"font-size: {round(20 * scale)}px; color: {theme.mark}; font-weight: bold;")
        for label in (self.word, self.asked):
            label.setMinimumHeight(round(2.6 * 22 * scale))
        for button in self.findChildren(QPushButton):
            if button.sizePolicy().verticalPolicy() is QSizePolicy.Policy.Expanding:
                size = f"min-height: {round(THUMB * scale)}px; padding: 0px 4px;"
                button.setStyleSheet(f"{size} font-size: {round(24 * scale)}px; font-weight: bold;")
        for button in self._buttons:
            button.setStyleSheet(self._look(str(button.property("look") or "")))

    def _choose_gauge(self) -> None:
        name, _ = QFileDialog.getOpenFileName(self, say("Gauge"), "", say("Device profile") + " (*.toml)")
        if name:
            self.gauge_wanted.emit(Path(name))


def _label(name: str) -> QLabel:
    label = QLabel()
    label.setObjectName(name)
    return label
