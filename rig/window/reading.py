"""Long work in the background, for the window: one at a time on a thread of its own, what it yields handed on at a tick."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any, TypeVar

from analysis.errors import BenchError
from rig.window.background import Work

Thing = TypeVar("Thing")


class BackgroundReading:
    """At most one work at a time; what goes wrong in it is handed to `tell`."""

    def __init__(self, tell: Callable[[BenchError], None]) -> None:
        self.work: Work[Any] | None = None
        self._tell = tell
        self._with_thing: Callable[[Any], None] = lambda thing: None

    def begin(self, name: str, steps: Iterator[Thing | BenchError], count: int, with_thing: Callable[[Thing], None]) -> None:
        """Begin; work under way is stopped first. Each thing that a step yields goes to `with_thing`."""
        self.stop()
        self._with_thing = with_thing
        self.work = Work(name, steps, count)

    def tick(self) -> None:
        """Hand on what is finished."""
        work = self.work
        if work is None:
            return
        running = work.running
        for thing in work.take():
            self._with_thing(thing)
        while work.troubles:
            self._tell(work.troubles.popleft())
        if not running:
            self.stop()

    def stop(self) -> None:
        """Stop; what is finished stays."""
        if self.work is not None:
            self.work.stop()
            for thing in self.work.take():
                self._with_thing(thing)
            self.work = None
