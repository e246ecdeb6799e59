"""Keys and choices: every key with what it does, and the looks as large buttons."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QFrame, QGridLayout, QHBoxLayout, QLabel, QPushButton, QScrollArea, QSizePolicy, QVBoxLayout

from rig.window.keys import rows
from rig.window.model import Changed
from rig.window.qt.page import Page
from rig.window.qt.theme import Theme
from rig.words.language import LANGUAGES, say, spoken


class KeysPage(Page):
    """The page. `language_wanted` carries the code."""

    language_wanted = Signal(str)

    def __init__(self, choices: Sequence[tuple[str, Callable[[], object], Callable[[], str]]]) -> None:
        super().__init__()
        self.setObjectName("keys page")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        title = QLabel(say("Keys and looks"))
        title.setObjectName("title")
        table = QGridLayout()
        table.setHorizontalSpacing(24)
        for row, (key, words) in enumerate(rows()):
            name, what = QLabel(key), QLabel(say(words))
            name.setObjectName("key")
            name.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Preferred)  # what a key does needs the room
            what.setWordWrap(True)
            table.addWidget(name, row, 0)
            table.addWidget(what, row, 1)
        table.setColumnStretch(1, 1)
        panel = QFrame()
        panel.setObjectName("panel")
        panel.setLayout(table)
        area = QScrollArea()  # there are more keys than a small screen has rows
        area.setWidgetResizable(True)
        area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        area.setWidget(panel)
        self._buttons: list[tuple[QPushButton, Callable[[], str]]] = []
        side = QVBoxLayout()
        for tip, act, words_of in choices:
            button = QPushButton()
            button.setToolTip(tip)
            button.clicked.connect(lambda _=False, act=act: self._act(act))
            self._buttons.append((button, words_of))
            side.addWidget(button)
        for code, language in LANGUAGES.items():
            button = QPushButton(language)
            button.setCheckable(True)
            button.setChecked(code == spoken())
            button.setToolTip(say("Speak this language from now on"))
            button.clicked.connect(lambda _=False, code=code: self.language_wanted.emit(code))
            side.addWidget(button)
        side.addStretch(1)
        columns = QHBoxLayout()
        columns.addWidget(area, 3)
        columns.addLayout(side, 2)
        layout = QVBoxLayout(self)
        layout.addWidget(title, 0, Qt.AlignmentFlag.AlignTop)
        layout.addLayout(columns, 1)

    def _act(self, act: Callable[[], object]) -> None:
        act()
        self.refresh(Changed.STATE)

    def dress(self, theme: Theme, scale: float) -> None:
        """Use these colours and sizes."""
        self.setStyleSheet(f"QLabel#key {{ font-weight: bold; }} QPushButton {{ font-size: {round(20 * scale)}px; }}")
        self.refresh(Changed.STATE)

    def refresh(self, changed: Changed) -> None:
        """Show how the choices stand."""
        for button, words_of in self._buttons:
            button.setText(words_of())
