"""LineReplay: a recording goes once more over a real line: encoded to text, served on a port, read and decoded as if live."""

from __future__ import annotations

import math
import threading
from collections.abc import Iterator
from dataclasses import dataclass

from analysis.results import Sensor
from analysis.trace import Trace
from drivers.clock import Clock, SystemClock
from drivers.codec import Reading, WireFaults
from drivers.items import ConnectionLost, LineWarning, SourceItem
from drivers.outlets import Outlet, open_outlet
from drivers.profile import DeviceProfile
from drivers.source import open_source
from drivers.text import Column, TextFormat, encode_line

_DIGITS = 6  # as many as a recording keeps
_COLUMNS = (Column("time", "us"), Column("torque", "N.m"), Column("angle", "deg"))


@dataclass(frozen=True, slots=True)
class PacedClock:
    """A clock that runs `speed` times as fast as `real`: for the line the recording then passes at its own pace."""

    real: Clock
    speed: float

    def now(self) -> float:
        """The present moment, in seconds of the recording."""
        return self.real.now() * self.speed

    def wait_until(self, moment_s: float, stop: threading.Event) -> bool:
        """Wait for the moment or for `stop`; True if `stop` is set."""
        return self.real.wait_until(moment_s / self.speed, stop)


STEP_S = 0.01
"""The recording is handed to the port in steps of this, as a device that sends at once would."""


class LineReplay:
    """A source over `trace` at `speed` trace seconds a second, that takes the whole way of the bytes.

    The pieces carry the trace's own time. Ends when all samples are back, or when the line is silent after the last one.
    """

    def __init__(self, trace: Trace, sensor: Sensor, *, speed: float = 1.0, over: str | None = None, name: str = "replay") -> None:
        if not 0 < speed < math.inf:
            raise ValueError("speed must be above zero and finite")
        self._trace = trace
        self._layout = TextFormat(columns=_COLUMNS if trace.angle_deg is not None else _COLUMNS[:2])
        self._real = SystemClock()
        self._clock = PacedClock(self._real, speed)
        self._outlet = open_outlet(over, unplugs=False)
        self._served = threading.Event()
        reach_nm = float(max(abs(trace.torque_nm).max(), 1.0)) if len(trace) else 1.0
        capacity_nm = max(sensor.capacity_nm or 0.0, reach_nm)  # what was recorded once is not doubted again
        profile = DeviceProfile(name=name, port=self._outlet.name, protocol="text", capacity_nm=capacity_nm, text=self._layout)
        self._live = open_source(profile, self._clock)

    @property
    def faults(self) -> WireFaults:
        """What the decoder could not use."""
        return self._live.faults

    def pieces(self, stop: threading.Event) -> Iterator[SourceItem]:
        """Yield what comes back over the line, in order."""
        if not len(self._trace):
            self._outlet.close()
            return
        over = threading.Event()
        server = threading.Thread(target=self._serve, args=(self._outlet, over), name="platepull replay", daemon=True)
        try:
            yield from self._read(server, stop)
        finally:
            over.set()
            if server.ident is not None:
                server.join()
            self._outlet.close()

    def _read(self, server: threading.Thread, stop: threading.Event) -> Iterator[SourceItem]:
        missing, shift_s = len(self._trace), float(self._trace.time_s[0])
        for item in self._live.pieces(stop):
            if isinstance(item, ConnectionLost) and self._served.is_set():
                return
            if isinstance(
                item, LineWarning
            ):  # at many times the pace the line's judgement of a device's rate is too coarse to tell
                continue
            if not isinstance(item, Trace):
                yield item
                if server.ident is None:  # the line is open now: nothing that is served is missed
                    server.start()
                continue
            missing -= len(item)
            yield Trace(item.time_s + shift_s, item.torque_nm, item.angle_deg)
            if missing <= 0:
                return

    def _serve(self, outlet: Outlet, over: threading.Event) -> None:
        trace, began_s, sent = self._trace, self._clock.now(), 0
        first_s = float(trace.time_s[0])
        outlet.offer(b"\r\n", self._real.now())
        while sent < len(trace) and not over.is_set():
            due = int(trace.time_s.searchsorted(first_s + self._clock.now() - began_s, "right"))
            outlet.offer(self._encoded(trace.cut(sent, due)), self._real.now())
            sent = max(sent, due)
            self._real.wait_until(self._real.now() + STEP_S, over)
        self._served.set()
        while not over.is_set():
            outlet.offer(b"", self._real.now())
            self._real.wait_until(self._real.now() + STEP_S, over)

    def _encoded(self, piece: Trace) -> bytes:
        angles = piece.torque_nm if piece.angle_deg is None else piece.angle_deg
        rows = zip(piece.torque_nm.tolist(), angles.tolist(), (piece.time_s * 1e6).round().tolist(), strict=True)
        return b"".join(encode_line(self._layout, Reading(*row), digits=_DIGITS) for row in rows)
