"""Reading recordings in the background, for the window: one at a time on a thread of its own, each handed on at a tick."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from analysis.errors import BenchError
from rig.window.background import Work
from rig.window.views.overlay import Member


class BackgroundReading:
    """At most one work at a time; what goes wrong in it is handed to `tell`."""

    def __init__(self, tell: Callable[[BenchError], None]) -> None:
        self.work: Work[Member] | None = None
        self._tell = tell
        self._with_member: Callable[[Member], None] = lambda member: None

    def begin(self, name: str, steps: Iterator[Member | BenchError], count: int, with_member: Callable[[Member], None]) -> None:
        """Begin; work under way is stopped first."""
        self.stop()
        self._with_member = with_member
        self.work = Work(name, steps, count)

    def tick(self) -> None:
        """Hand on what is finished."""
        work = self.work
        if work is None:
            return
        running = work.running
        for member in work.take():
            self._with_member(member)
        while work.troubles:
            self._tell(work.troubles.popleft())
        if not running:
            self.stop()

    def stop(self) -> None:
        """Stop; what is finished stays."""
        if self.work is not None:
            self.work.stop()
            for member in self.work.take():
                self._with_member(member)
            self.work = None
