"""Notices: what the person should know of bench, line and files, until it is read or over."""

from __future__ import annotations

from dataclasses import dataclass, replace

from rig.words.retold import retold


@dataclass(frozen=True, slots=True)
class Notice:
    """One of them.

    `of_line`, `of_disk` and `of_window` go away by themselves when line or disk are back, or another window is typed.
    `good`: nothing to fix, only to know; it fades.
    """

    what: str
    where: str = ""
    remedy: str = ""
    of_line: bool = False
    of_disk: bool = False
    of_window: bool = False
    good: bool = False


class Notices:
    """Those that stand now, the newest last; none stands twice."""

    def __init__(self) -> None:
        self._standing: list[Notice] = []

    @property
    def standing(self) -> list[Notice]:
        """A copy of them, the newest last."""
        return list(self._standing)

    @property
    def newest(self) -> Notice | None:
        """The newest; None where there is none."""
        return self._standing[-1] if self._standing else None

    @property
    def first(self) -> Notice | None:
        """The one to be read first: the newest that is not good news, else the newest; None where there is none."""
        return next((notice for notice in reversed(self._standing) if not notice.good), self.newest)

    def add(self, notice: Notice) -> None:
        """Let it stand in the user's language, unless it does."""
        notice = replace(notice, what=retold(notice.what), remedy=retold(notice.remedy))
        if notice not in self._standing:
            self._standing.append(notice)

    def read(self) -> None:
        """The person has read the one that was shown: the first."""
        if self.first is not None:
            self._standing.remove(self.first)

    def drop(self, notice: Notice) -> None:
        """Take away one that is over."""
        if notice in self._standing:
            self._standing.remove(notice)

    def line_is_back(self) -> None:
        """What was said of a lost line is over."""
        self._standing = [notice for notice in self._standing if not notice.of_line]

    def disk_is_back(self) -> None:
        """What was said of a disk that refuses is over, or said anew."""
        self._standing = [notice for notice in self._standing if not notice.of_disk]

    def window_is_typed_anew(self) -> None:
        """What was said of a window that could not be read is over, or said anew."""
        self._standing = [notice for notice in self._standing if not notice.of_window]
