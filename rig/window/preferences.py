"""Preferences: what the window remembers, as one frozen value that is replaced and written."""

from __future__ import annotations

from collections.abc import Callable

from rig.window.memory import Remembered
from rig.window.notices import Notice, Notices
from rig.words.language import say


class Preferences:
    """Holds the value that counts now; `remember` writes it down, and a failure becomes a notice."""

    def __init__(self, now: Remembered, remember: Callable[[Remembered], None], notices: Notices) -> None:
        self.now = now
        self._remember, self._notices = remember, notices

    def keep(self, remembered: Remembered) -> None:
        """These count from now on."""
        if remembered == self.now:
            return
        self.now = remembered
        try:
            self._remember(remembered)
        except OSError as fault:
            self._notices.add(Notice(say("the window's choices could not be kept"), remedy=str(fault)))
