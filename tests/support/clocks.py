"""A clock that a test steps; waiting costs nothing and is remembered."""

from __future__ import annotations

import threading
from collections.abc import Callable


class StepClock:
    """`moment` is now. `at_wait` is called with the new moment after each wait: there a test stops a loop or changes the world."""

    def __init__(self, moment: float = 0.0, at_wait: Callable[[float], None] | None = None) -> None:
        self.moment = moment
        self.at_wait = at_wait

    def now(self) -> float:
        return self.moment

    def wait_until(self, moment_s: float, stop: threading.Event) -> bool:
        if not stop.is_set():
            self.moment = max(self.moment, moment_s)
            if self.at_wait is not None:
                self.at_wait(self.moment)
        return stop.is_set()
