"""The line of a gauge, read in a thread of its own: lengths as they come, and what the line does."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from drivers.clock import Clock
from drivers.errors import LineLostError
from drivers.gauge import GaugeCodec
from drivers.line import Line, SerialLine
from drivers.profile import GaugeProfile

QUIET_S: Final = 0.25
"""So long without a byte and the next one begins a line: at 300 baud a character takes 0.04 s."""
LOOK_EVERY_S: Final = 0.5
"""How often a line that is gone is looked for."""
MOST_WAITING: Final = 1000
"""News that nobody takes; beyond it the oldest go."""


@dataclass(frozen=True, slots=True)
class GaugeUp:
    """The line is open."""

    name: str


@dataclass(frozen=True, slots=True)
class GaugeLost:
    """The line went away or could not be opened; it is looked for until the reader is closed."""

    name: str
    what: str
    remedy: str


@dataclass(frozen=True, slots=True)
class GaugeLength:
    """A line of the gauge. `text` is as sent, with its unit."""

    length_mm: float
    text: str
    at_s: float


@dataclass(frozen=True, slots=True)
class GaugeSpoilt:
    """A line came that is no length."""

    at_s: float


GaugeNews = GaugeUp | GaugeLost | GaugeLength | GaugeSpoilt


class GaugeReader:
    """Reads a gauge until it is closed. `start` begins the thread; a test calls `step` instead."""

    def __init__(self, profile: GaugeProfile, clock: Clock, open_line: Callable[[], Line] | None = None) -> None:
        self.profile = profile
        self._clock = clock
        self._open_line = open_line or (lambda: SerialLine(profile.port, profile.baud, profile.bits))
        self._codec = GaugeCodec(profile.text)
        self._line: Line | None = None
        self._news: deque[GaugeNews] = deque(maxlen=MOST_WAITING)
        self._heard_s = clock.now()
        self._told_lost = False
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    def news(self) -> list[GaugeNews]:
        """What has come since the last call, in order."""
        return [self._news.popleft() for _ in range(len(self._news))]

    def step(self) -> None:
        """Read once; open the line first where it is not open."""
        try:
            if self._line is None:
                self._line = self._open_line()
                self._codec.restart()
                self._heard_s, self._told_lost = self._clock.now(), False
                self._news.append(GaugeUp(self._line.name))
            self._take(self._line.read())
        except LineLostError as fault:
            self._let_go()
            if not self._told_lost:
                self._told_lost = True
                self._news.append(GaugeLost(self.profile.port, fault.what, fault.remedy))
            self._clock.wait_until(self._clock.now() + LOOK_EVERY_S, self._stop)

    def _take(self, data: bytes) -> None:
        now_s = self._clock.now()
        spoilt_before = self._codec.faults.total
        if now_s - self._heard_s > QUIET_S:
            self._codec.quiet()
            self._heard_s = now_s
        if data:
            self._heard_s = now_s
        self._news.extend(GaugeLength(one.length_mm, one.text, now_s) for one in self._codec.feed(data))
        self._news.extend(GaugeSpoilt(now_s) for _ in range(self._codec.faults.total - spoilt_before))

    def start(self) -> None:
        """Read in a thread from now on."""
        self._thread = threading.Thread(target=self._run, name="gauge", daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while not self._stop.is_set():
            self.step()
        self._let_go()

    def _let_go(self) -> None:
        if self._line is not None:
            self._line.close()
            self._line = None

    def close(self) -> None:
        """End the thread and close the line; a second time does nothing."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join()
        self._let_go()
