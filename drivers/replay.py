"""Replay: a source over a trace already in memory, at a pace of one's choice."""

from __future__ import annotations

import math
import threading
from collections.abc import Iterator

from analysis.trace import Trace
from drivers.clock import Clock
from drivers.codec import WireFaults
from drivers.items import LineUp, SourceItem

PIECE_S = 0.02
"""As long as a piece off the wire."""


class Replay:
    """A source over `trace`. `speed` is trace seconds a second; infinite: as fast as pieces are taken.

    `pause`, `go`, `step`, `seek` and `speed` may be used from another thread while pieces are taken. The time of the pieces
    is the trace's own; after a seek it goes on rising, so that listeners see a gap of `SEEK_GAP_S` instead of time going back.
    """

    SEEK_GAP_S = 5.0

    def __init__(self, trace: Trace, clock: Clock, speed: float = 1.0, *, name: str = "replay", paused: bool = False) -> None:
        if not speed > 0:
            raise ValueError("speed must be above zero")
        self.faults = WireFaults()
        self._trace, self._clock, self._name = trace, clock, name
        self._lock = threading.Lock()
        self._speed = speed
        self._paused = paused
        self._steps = 0
        self._position_s = self.from_s
        self._shift_s = 0.0
        self._newest_s = -math.inf
        self._sought = False

    @property
    def from_s(self) -> float:
        """Time of the first sample; 0 for an empty trace."""
        return float(self._trace.time_s[0]) if len(self._trace) else 0.0

    @property
    def to_s(self) -> float:
        """Time of the last sample; 0 for an empty trace."""
        return float(self._trace.time_s[-1]) if len(self._trace) else 0.0

    @property
    def position_s(self) -> float:
        """Where the replay is, on the trace's own time axis."""
        return self._position_s

    @property
    def speed(self) -> float:
        """Trace seconds a second."""
        return self._speed

    @speed.setter
    def speed(self, speed: float) -> None:
        if not speed > 0:
            raise ValueError("speed must be above zero")
        self._speed = speed

    @property
    def paused(self) -> bool:
        """Whether the replay stands still."""
        return self._paused

    def pause(self) -> None:
        """Stand still after the piece under way."""
        self._paused = True

    def go(self) -> None:
        """Go on."""
        self._paused = False

    def step(self) -> None:
        """Give one more piece while standing still."""
        with self._lock:
            self._steps += 1

    def seek(self, moment_s: float) -> None:
        """Go on from that moment of the trace, or from the nearer end if it lies outside."""
        with self._lock:
            self._position_s = min(max(moment_s, self.from_s), self.to_s)
            self._sought = True

    def pieces(self, stop: threading.Event) -> Iterator[SourceItem]:
        """Yield the trace in pieces; ends at its end, or soon after `stop` is set."""
        yield LineUp(self._name)
        due_s = self._clock.now()
        while not stop.is_set() and (piece := self._next_piece()) is not None:
            if isinstance(piece, float):
                due_s = piece
                self._clock.wait_until(due_s, stop)
                continue
            span_s, samples = piece
            due_s = due_s if math.isinf(self._speed) else max(due_s, self._clock.now() - PIECE_S) + span_s / self._speed
            if not math.isinf(self._speed) and self._clock.wait_until(due_s, stop):
                return
            if len(samples):
                yield samples

    def _next_piece(self) -> tuple[float, Trace] | float | None:
        """The next piece and the trace time it spans; the moment to look again while standing still; None at the end."""
        with self._lock:
            if len(self._trace) == 0 or (self._position_s > self.to_s and not self._sought):
                return None
            if self._paused and not self._steps:
                return self._clock.now() + PIECE_S
            self._steps = max(0, self._steps - 1)
            span_s = PIECE_S * (1.0 if self._paused or math.isinf(self._speed) else max(1.0, self._speed))
            from_s, to_s = self._position_s, self._position_s + span_s
            samples = self._trace.between(from_s, math.nextafter(to_s, -math.inf))
            if self._sought and math.isfinite(self._newest_s):
                self._shift_s = self._newest_s + self.SEEK_GAP_S - from_s
            self._sought = False
            self._position_s = to_s
            if len(samples):
                samples = Trace(samples.time_s + self._shift_s, samples.torque_nm, samples.angle_deg)
                self._newest_s = float(samples.time_s[-1])
            return span_s, samples
