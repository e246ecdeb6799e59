"""Later: a page that is built when it is first shown, so that the start of the window pays nothing for it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Generic, TypeVar

from PySide6.QtWidgets import QVBoxLayout

from rig.window.model import Changed
from rig.window.qt.page import Page
from rig.window.qt.theme import Theme

AnyPage = TypeVar("AnyPage", bound=Page)


class Later(Page, Generic[AnyPage]):
    """In place of a page; `make` builds it, at the first `refresh`."""

    def __init__(self, name: str, make: Callable[[], AnyPage]) -> None:
        super().__init__()
        self.setObjectName(name)
        self._make = make
        self._page: AnyPage | None = None
        self._dressed: tuple[Theme, float] | None = None

    @property
    def page(self) -> AnyPage:
        """The page itself, built now if it was not."""
        if self._page is None:
            self._page = self._make()
            self.setFocusPolicy(self._page.focusPolicy())
            self.setFocusProxy(self._page)
            layout = QVBoxLayout(self)
            layout.setContentsMargins(0, 0, 0, 0)
            layout.addWidget(self._page)
            if self._dressed is not None:
                self._page.dress(*self._dressed)
        return self._page

    def dress(self, theme: Theme, scale: float) -> None:
        """Use these colours and sizes."""
        self._dressed = theme, scale
        if self._page is not None:
            self._page.dress(theme, scale)

    def refresh(self, changed: Changed) -> None:
        """Show what changed."""
        self.page.refresh(changed)
