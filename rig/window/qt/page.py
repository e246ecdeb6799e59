"""Page: what every page of the window can do."""

from __future__ import annotations

from PySide6.QtWidgets import QWidget

from rig.window.model import Changed
from rig.window.qt.theme import Theme


class Page(QWidget):
    """A page is dressed when sizes or colours change, and refreshed while it is in sight."""

    def dress(self, theme: Theme, scale: float) -> None:
        """Use these colours and sizes."""
        raise NotImplementedError

    def refresh(self, changed: Changed) -> None:
        """Show what changed."""
        raise NotImplementedError
