"""The rail at the left of the window: a button a page with its key, and at its foot the acts that must always be at hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QToolButton, QVBoxLayout, QWidget

from rig.window.keys import Act, key_name, key_of
from rig.window.qt.page import Page

WIDTH = 132
HEIGHT = 44
"""Of a button, in pixels of the design size: eighteen of them fit, and a finger finds one."""


@dataclass(frozen=True, slots=True)
class Shown:
    """A page as the window shows it.

    `act` leads to it, `called` is its object name, `page` gives it and makes it the first time; `name` stands on the rail, with a
    line about it.
    """

    act: Act
    called: str
    page: Callable[[], Page]
    name: str
    about: str


class Rail(QWidget):
    """The buttons. `select` tells which page is in sight."""

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("railground")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self._rows = QVBoxLayout(self)
        self._rows.setContentsMargins(0, 0, 0, 0)
        self._rows.setSpacing(0)
        self.buttons: dict[Act, QToolButton] = {}

    def add_page(self, shown: Shown, act: Callable[[], object]) -> None:
        """A button that leads to a page."""
        self.buttons[shown.act] = button = self.add_act(shown.act, shown.name, shown.about, act)
        button.setCheckable(True)

    def add_act(self, act: Act, name: str, about: str, do: Callable[[], object]) -> QToolButton:
        """A button that does something at once."""
        button = QToolButton()
        button.setObjectName("rail")
        key = key_name(key_of(act))
        button.setText(f"{key}\n{name}")
        button.setToolTip(f"{about} ({key})")
        button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        button.clicked.connect(lambda: do())
        self._rows.addWidget(button)
        return button

    def add_space(self) -> None:
        """What follows stands at the foot."""
        self._rows.addStretch(1)

    def select(self, page: Act | None) -> None:
        """Mark the page in sight, by the act that leads to it."""
        for each, button in self.buttons.items():
            button.setChecked(each is page)

    def dress(self, scale: float) -> None:
        """Buttons grow with the window."""
        for button in self.findChildren(QToolButton, "rail"):
            button.setFixedSize(round(WIDTH * scale), round(HEIGHT * scale))
