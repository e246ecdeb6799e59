"""Time as an object that is handed in, so that a test may step it."""

from __future__ import annotations

import threading
import time
from typing import Protocol


class Clock(Protocol):
    """Seconds that only go forward; their zero means nothing."""

    def now(self) -> float:
        """The present moment in seconds."""
        ...

    def wait_until(self, moment_s: float, stop: threading.Event) -> bool:
        """Wait for the moment or for `stop`, whichever comes first; True if `stop` is set."""
        ...


class SystemClock:
    """The computer's monotonic clock."""

    def now(self) -> float:
        """The present moment in seconds."""
        return time.monotonic()

    def wait_until(self, moment_s: float, stop: threading.Event) -> bool:
        """Wait for the moment or for `stop`; True if `stop` is set."""
        return stop.wait(max(0.0, moment_s - self.now()))
