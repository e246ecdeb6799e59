"""Keys and choices: every key with what it does, and the looks as large buttons."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QFrame, QGridLayout, QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from rig.window.model import Changed
from rig.window.qt.theme import Theme
from rig.words.language import LANGUAGES, say, spoken

KEYS = (
    ("Space", "foot pedal: live picture or newest pull; from any page back to the bench"),
    ("Page Up / Page Down", "foot pedal: earlier or later pull"),
    ("F1 – F6", "keys, bench, before a pull, closer look, side by side, line"),
    ("F7", "zero now"),
    ("F8", "sound on or off"),
    ("F9", "unit: N·m, lbf·ft, both"),
    ("F10", "dark or light"),
    ("F11", "full screen"),
    ("F12", "language"),
    ("Esc", "read the strip, stop long work, else back to the bench"),
    ("+ / −", "bench: shorter or longer live picture; closer look: zoom"),
    ("← / →", "closer look: move the cursor, with Shift further"),
    ("S, O, 0, Del", "closer look: spectrum, earlier pulls, whole pull, set aside"),
    ("P . [ ]", "replay: pause, step, slower, faster"),
    ("Tab", "next field or button"),
)


class KeysPage(QWidget):
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
        for row, (key, words) in enumerate(KEYS):
            name, what = QLabel(key), QLabel(say(words))
            name.setObjectName("key")
            what.setWordWrap(True)
            table.addWidget(name, row, 0)
            table.addWidget(what, row, 1)
        table.setColumnStretch(1, 1)
        panel = QFrame()
        panel.setObjectName("panel")
        panel.setLayout(table)
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
        columns.addWidget(panel, 3)
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
