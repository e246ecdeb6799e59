"""The pedal: space and page keys, which a foot pedal types too, act wherever the focus is, except where text is typed."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QEvent, QObject, Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QAbstractButton, QAbstractSlider, QAbstractSpinBox, QComboBox, QLineEdit, QPlainTextEdit, QWidget

TYPING = (QLineEdit, QPlainTextEdit, QAbstractSpinBox, QComboBox)


class Pedal(QObject):
    """Watches the keys that go to the widgets of one window. Space still presses a button that has the focus."""

    def __init__(self, window: QWidget, keys: dict[Qt.Key, Callable[[], object]]) -> None:
        super().__init__(window)
        self._window, self._keys = window, keys

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802  Qt's name
        """Qt asks."""
        if event.type() != QEvent.Type.KeyPress or not isinstance(event, QKeyEvent) or not isinstance(watched, QWidget):
            return False
        focus = self._window.focusWidget() or self._window
        if watched is not focus or isinstance(focus, TYPING):
            return False
        key = Qt.Key(event.key())
        if key == Qt.Key.Key_Space and isinstance(focus, QAbstractButton):
            return False
        if key not in self._keys or (isinstance(focus, QAbstractSlider) and key != Qt.Key.Key_Space):
            return False
        self._keys[key]()
        return True
