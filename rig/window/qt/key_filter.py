"""The keys of the window wherever the focus is: the table's keys act at once, except where text is typed.

Pedal keys win over a button that has the focus: a foot pedal types Space, and the hands are on the lever.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from PySide6.QtCore import QEvent, QObject, Qt
from PySide6.QtGui import QKeyEvent, QKeySequence
from PySide6.QtWidgets import QAbstractSlider, QAbstractSpinBox, QComboBox, QLineEdit, QPlainTextEdit, QWidget

from rig.window.keys import KEYS, Act, Key, Place

TYPING = (QLineEdit, QPlainTextEdit, QAbstractSpinBox, QComboBox)
NEVER_TYPED = ("F", "Ctrl+", "Esc")
"""Keys that begin so act even while text is typed."""


class KeyFilter(QObject):
    """Watches the keys that go to the widgets of one window, and calls what the table says.

    acts      what to call for each act of the table
    place_of  the place in sight, asked at each key
    """

    def __init__(self, window: QWidget, acts: Mapping[Act, Callable[[], object]], place_of: Callable[[], set[Place]]) -> None:
        super().__init__(window)
        missing = {key.act for key in KEYS} - acts.keys()
        if missing:
            raise ValueError(f"keys that would do nothing: {sorted(missing)}")
        self._window, self._acts, self._place_of = window, acts, place_of
        self._keys: dict[str, list[Key]] = {}
        for key in KEYS:
            self._keys.setdefault(QKeySequence(key.key).toString(), []).append(key)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802  Qt's name
        """Qt asks."""
        if event.type() != QEvent.Type.KeyPress or not isinstance(event, QKeyEvent) or not isinstance(watched, QWidget):
            return False
        focus = self._window.focusWidget() or self._window
        if watched is not focus:
            return False
        key = self._known(event)
        if key is None or (isinstance(focus, TYPING) and not key.key.startswith(NEVER_TYPED)):
            return False
        if isinstance(focus, QAbstractSlider) and not key.pedal and not key.key.startswith(NEVER_TYPED):
            return False
        self._acts[key.act]()
        return True

    def _known(self, event: QKeyEvent) -> Key | None:
        modifiers = event.modifiers() & ~(Qt.KeyboardModifier.KeypadModifier | Qt.KeyboardModifier.GroupSwitchModifier)
        plain = not modifiers & ~Qt.KeyboardModifier.ShiftModifier
        if plain and event.text().strip() and event.text().isprintable():
            name = event.text().upper()  # '+' is typed with Shift on some keyboards and without on others
        else:
            name = QKeySequence(int(modifiers.value) | event.key()).toString()
        places = self._place_of()
        here = [key for key in self._keys.get(name, ()) if key.place in places]
        return min(here, key=lambda key: key.place is Place.ANYWHERE, default=None)  # what acts here only comes first
