"""Inbox: the one bounded queue, from the line thread to the session thread."""

from __future__ import annotations

import threading
from collections import deque
from dataclasses import dataclass
from typing import Generic, TypeVar

Item = TypeVar("Item")


@dataclass(frozen=True, slots=True)
class Close:
    """The last word: nothing more will come. `error` is what ended it, None for an ordinary end."""

    error: Exception | None = None


class Inbox(Generic[Item]):
    """Bounded for goods, unbounded for words.

    `offer` puts goods in and answers False when full: nobody waits, the caller counts what it dropped. With `patient` (a replay,
    whose source can wait) it waits for room instead. `tell` puts in a word (a command, the last word); there is always room.
    """

    def __init__(self, size: int, *, patient: bool = False) -> None:
        self._size = size
        self._patient = patient
        self._goods = 0
        self._items: deque[tuple[Item, bool]] = deque()
        self._changed = threading.Condition()
        self.high_water = 0

    def offer(self, item: Item, give_up: threading.Event | None = None) -> bool:
        """Put goods in; False if there is no room (or `give_up` was set while waiting for it)."""
        with self._changed:
            while self._goods >= self._size:
                if not self._patient or (give_up is not None and give_up.is_set()):
                    return False
                self._changed.wait(0.02)
            self._goods += 1
            self.high_water = max(self.high_water, self._goods)
            self._items.append((item, True))
            self._changed.notify_all()
        return True

    def tell(self, item: Item) -> None:
        """Put in a word; there is always room."""
        with self._changed:
            self._items.append((item, False))
            self._changed.notify_all()

    def take(self) -> Item:
        """Take the oldest item, waiting for one."""
        with self._changed:
            while not self._items:
                self._changed.wait()
            item, goods = self._items.popleft()
            self._goods -= goods
            self._changed.notify_all()
            return item
