"""The line page: what is plugged in, a profile tried, the raw rows as they come and as they are read, the figures of the line."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QFileDialog,
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QListWidget,
    QPushButton,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
)

from rig.window.keys import Act, key_name, key_of
from rig.window.model import BenchModel, Changed
from rig.window.qt.page import Page
from rig.window.qt.theme import DARK, Theme
from rig.window.views.line import figures, ports, row_texts
from rig.window.views.verdict import state_word
from rig.words.language import say

if TYPE_CHECKING:
    from rig.window.openers import Opened

RAW_ROWS = 12
EVERY = 6
"""The raw rows are shown at every sixth tick: faster nobody reads."""


class LinePage(Page):
    """The page; its signals carry wishes."""

    profile_wanted = Signal(object)
    recording_wanted = Signal(object)
    closed_wanted = Signal()
    again_wanted = Signal()
    zero_wanted = Signal()
    exercise_wanted = Signal()

    def __init__(self, model: BenchModel, opened: Callable[[], Opened | None], today: Callable[[], date]) -> None:
        super().__init__()
        self.setObjectName("line page")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self._model, self._opened, self._today = model, opened, today
        self._theme, self._scale, self._ticks = DARK, 1.0, 0
        self.state = QLabel()
        self.state.setObjectName("figure")
        self.ports = QListWidget()
        self.ports.setAccessibleName(say("Ports plugged in"))
        self.raw = QTableWidget(RAW_ROWS, 3)
        self.raw.setHorizontalHeaderLabels([say("as it comes"), say("torque"), say("angle")])
        self.raw.horizontalHeader().setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
        self.raw.verticalHeader().hide()
        self.raw.setEditTriggers(QTableWidget.EditTrigger.NoEditTriggers)
        self.raw.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        for row in range(RAW_ROWS):
            for column in range(3):
                self.raw.setItem(row, column, QTableWidgetItem())
        self.figures: list[tuple[QLabel, QLabel]] = []
        self._lay_out()
        self.find_ports()

    def _lay_out(self) -> None:
        title = QLabel(say("Line"))
        title.setObjectName("title")
        heading = QHBoxLayout()
        heading.addWidget(title)
        heading.addStretch(1)
        heading.addWidget(self.state)
        grid = QGridLayout()
        for row in range(8):
            name, value = QLabel(), QLabel()
            name.setObjectName("soft")
            value.setObjectName("figure")
            self.figures.append((name, value))
            grid.addWidget(name, row, 0)
            grid.addWidget(value, row, 1, Qt.AlignmentFlag.AlignRight)
        self.nothing = QLabel(say("Rate, losses, zero and calibration stand here as soon as a line is open: try a profile."))
        self.nothing.setWordWrap(True)
        grid.addWidget(self.nothing, 8, 0, 1, 2)
        panel = QFrame()
        panel.setObjectName("panel")
        panel.setLayout(grid)
        left, right = QVBoxLayout(), QVBoxLayout()
        left.addWidget(QLabel(say("Ports plugged in")))
        left.addWidget(self.ports, 1)
        left.addWidget(self._button(say("Look for ports"), say("Look again for what is plugged in"), self.find_ports))
        left.addWidget(panel)
        right.addWidget(QLabel(say("The newest rows, as they come and as they are read")))
        right.addWidget(self.raw, 1)
        buttons = QHBoxLayout()
        buttons.addWidget(
            self._button(say("Try a profile…"), say("Open the line of a device profile (TOML)"), self._choose_profile)
        )
        buttons.addWidget(self._button(say("Open a recording…"), say("Replay a recording in this window"), self._choose_recording))
        buttons.addWidget(
            self._button(
                say("Zero now (F7)"), say("Learn the zero anew; the lever hangs as it will be used"), self.zero_wanted.emit
            )
        )
        buttons.addWidget(
            self._button(say("Exercise the sensor"), say("Load it three times each way; not recorded"), self.exercise_wanted.emit)
        )
        again = say("Open again ({key})", key=key_name(key_of(Act.REOPEN)))
        buttons.addWidget(self._button(again, say("Close the line and open it again; the series goes on"), self.again_wanted.emit))
        buttons.addWidget(self._button(say("Close the line"), say("Close it; a pull under way is kept"), self.closed_wanted.emit))
        columns = QHBoxLayout()
        columns.setSpacing(16)
        columns.addLayout(left, 5)
        columns.addLayout(right, 6)
        layout = QVBoxLayout(self)
        layout.addLayout(heading)
        layout.addLayout(columns, 1)
        layout.addLayout(buttons)

    def _button(self, words: str, tip: str, act: Callable[[], object]) -> QPushButton:
        button = QPushButton(words)
        button.setToolTip(tip)
        button.clicked.connect(lambda: act())
        return button

    def dress(self, theme: Theme, scale: float) -> None:
        """Use these colours and sizes."""
        self._theme, self._scale = theme, scale
        self.raw.setStyleSheet(f"font-family: monospace; font-size: {round(17 * scale)}px;")
        self.state.setStyleSheet(f"font-size: {round(26 * scale)}px;")
        for column in (1, 2):
            self.raw.setColumnWidth(column, round(130 * scale))
        self.raw.verticalHeader().setDefaultSectionSize(round(36 * scale))
        self.refresh(Changed.STATE)

    def find_ports(self) -> None:
        """List what is plugged in."""
        self.ports.clear()
        self.ports.addItems(ports() or [say("no serial port is plugged in")])

    def refresh(self, changed: Changed) -> None:
        """Show the line as it is now."""
        model, opened = self._model, self._opened()
        self.state.setText(state_word(model.state) + (f"   {model.line_name}" if model.line_name else ""))
        self._ticks += 1
        if changed == Changed.SCOPE and self._ticks % EVERY:
            return
        nothing = model.bench is None or opened is None
        self.nothing.setVisible(nothing)
        if model.bench is None or opened is None:
            return
        now = figures(model.bench.status, opened.info, self._today(), model.unit)
        for (name, value), figure in zip(self.figures, now, strict=True):
            name.setText(figure.name)
            value.setText(("⚠ " if figure.amiss else "") + figure.value)
            colour = self._theme.alarm.edge if figure.amiss else self._theme.ink
            value.setStyleSheet(f"color: {colour}; font-size: {round(24 * self._scale)}px;")
        if opened.profile is not None:
            rows = [row_texts(row, model.unit) for row in opened.tap.rows(opened.profile, RAW_ROWS)]
            for at in range(RAW_ROWS):
                for column, text in enumerate(rows[at] if at < len(rows) else ("", "", "")):
                    item = self.raw.item(at, column)
                    if item is not None and item.text() != text:
                        item.setText(text)

    def _choose_profile(self) -> None:
        name, _ = QFileDialog.getOpenFileName(self, say("Device profile"), "", say("Device profile") + " (*.toml)")
        if name:
            self.profile_wanted.emit(Path(name))

    def _choose_recording(self) -> None:
        name, _ = QFileDialog.getOpenFileName(self, say("Recording"), "", say("Recordings") + " (*.csv)")
        if name:
            self.recording_wanted.emit(Path(name))
