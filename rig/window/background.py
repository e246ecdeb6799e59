"""Work: something long, done step by step on a thread of its own, that tells how far it is and can be stopped."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Iterable
from typing import Generic, TypeVar

from analysis.errors import BenchError

Thing = TypeVar("Thing")


class Work(Generic[Thing]):
    """Runs `steps`, which yields a finished thing a step (or the BenchError it failed with), `count` of them. Starts when made."""

    def __init__(self, name: str, steps: Iterable[Thing | BenchError], count: int) -> None:
        self.name = name
        self.troubles: deque[BenchError] = deque()
        self._steps, self._count, self._done = steps, max(1, count), 0
        self._things: deque[Thing] = deque()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name=f"platepull {name}", daemon=True)
        self._thread.start()

    @property
    def share(self) -> float:
        """How far it is, 0..1."""
        return min(1.0, self._done / self._count)

    @property
    def running(self) -> bool:
        """Whether it still works."""
        return self._thread.is_alive()

    def take(self) -> list[Thing]:
        """The things finished since the last call."""
        things: list[Thing] = []
        while self._things:
            things.append(self._things.popleft())
        return things

    def stop(self) -> None:
        """Stop after the step under way and wait for it."""
        self._stop.set()
        self._thread.join()

    def _run(self) -> None:
        try:
            for thing in self._steps:
                if isinstance(thing, BenchError):
                    self.troubles.append(thing)
                else:
                    self._things.append(thing)
                self._done += 1
                if self._stop.is_set():
                    return
        except Exception as fault:  # noqa: BLE001  nobody above to catch it: it is told
            self.troubles.append(BenchError(f"{self.name}: {fault!r}", remedy="report this"))
