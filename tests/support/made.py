"""Made pulls with simple shapes, for tests of what carries a pull (files, session, bench), not of how it is read."""

import datetime
import threading
from collections.abc import Iterable, Iterator

import numpy as np

from analysis.trace import Trace
from drivers.codec import WireFaults
from drivers.items import LineUp, SourceItem

MOMENT = datetime.datetime(2026, 3, 5, 10, 30, 0, tzinfo=datetime.UTC)


def made_stream(
    pulls: int = 1, *, rate_hz: float = 500.0, peak_nm: float = 60.0, rest_s: float = 3.0, seed: int = 1, start_s: float = 0.0
) -> Trace:
    """A stream of rests and pulls: ramp to the peak in 1 s, drop to 0.8 of it, slide for 2 s over 40 deg, let go."""
    at_s = [0.0]
    torque = [0.0]
    angle = [0.0]
    for _ in range(pulls):
        for dt, nm, deg in ((rest_s, 0, 0), (1.0, peak_nm, 2), (0.01, 0.8 * peak_nm, 1), (2.0, 0.8 * peak_nm, 40), (0.1, 0, 0)):
            at_s.append(at_s[-1] + dt)
            torque.append(nm)
            angle.append(angle[-1] + deg)
    at_s.append(at_s[-1] + rest_s)
    torque.append(0.0)
    angle.append(angle[-1])
    count = int(at_s[-1] * rate_hz)
    time_s = np.arange(count) / rate_hz
    noise = np.random.default_rng(seed).normal(0.0, 0.05, count)
    return Trace(start_s + time_s, np.interp(time_s, at_s, torque) + noise, np.interp(time_s, at_s, angle))


def made_loads(peaks_nm, start_s=0.0, rest_s=2.5):
    """Loads against a lever that does not turn: up in half a second, down again."""
    at_s, torque = [0.0, rest_s], [0.0, 0.0]
    for peak in peaks_nm:
        at_s += [at_s[-1] + 0.5, at_s[-1] + 1.0, at_s[-1] + 1.0 + rest_s]
        torque += [peak, 0.0, 0.0]
    time_s = np.arange(int(500 * at_s[-1])) / 500
    noise = np.random.default_rng(5).normal(0, 0.05, time_s.size)
    return Trace(start_s + time_s, np.interp(time_s, at_s, torque) + noise, np.zeros(time_s.size))


def pieces_of(trace: Trace, sizes: Iterable[int]) -> list[Trace]:
    """The trace cut into pieces of these sizes, over and over."""
    pieces, at, sizes = [], 0, list(sizes)
    turn = 0
    while at < len(trace):
        size = max(1, sizes[turn % len(sizes)])
        pieces.append(trace.cut(at, at + size))
        at, turn = at + size, turn + 1
    return pieces


class ListSource:
    """A source over items at hand; `error` is raised at the end instead of a quiet end."""

    def __init__(self, items: Iterable[SourceItem], error: Exception | None = None) -> None:
        self.faults = WireFaults()
        self._items = list(items)
        self._error = error

    def pieces(self, stop: threading.Event) -> Iterator[SourceItem]:
        yield LineUp("made")
        for item in self._items:
            if stop.is_set():
                return
            yield item
        if self._error is not None:
            raise self._error
