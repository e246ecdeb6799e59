"""What the device sent as its time, as a counter or as a place in the stream, to rising device seconds. Pure.

Roll-overs are undone, impossible stamps dropped, restarts continued by the arrivals, repeats of a coarse clock spread.
Rows are (n, 3) arrays: torque, angle, stamp as sent, NaN where the device sends none.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from analysis.trace import Floats, rises

StampKind = Literal["time", "counter", "place"]


@dataclass(frozen=True, kw_only=True)
class TimeRules:
    """Limits of the time base, each with its reason."""

    long_step: float = 20.0
    """Times the usual step: beyond it a stamp waits to be confirmed (a changed digit looks like a gap)."""
    ahead_s: float = 1.0
    """A stamp may run ahead of the arrivals by what operating system and bridge can hold back, not more."""
    confirm: int = 3
    """Stamps in a row that must agree before a jump of the device's clock is believed."""
    again: int = 100
    """So many rows back a row is known as one that was sent twice; fewer than half of what an 8-bit counter counts."""
    dense_share: float = 0.2
    """Share of repeated stamps from which they mean a clock coarser than the sampling, not lines sent twice."""
    bucket_s: float = 0.25
    """The arrival that waited least within this time stands for it; longer than any bridge holds data back."""
    memory_s: float = 120.0
    """How far back arrivals are fitted; crystals drift with temperature over minutes."""
    learn_s: float = 1.0
    """Before this much was seen the nominal rate holds."""
    nominal_spread: float = 0.01
    """Standard deviation of real rates about their nominal values; resonators and RC clocks of cheap boards."""
    wait_s: float = 0.004
    """Scatter to assume for the waiting of a bucket's best arrival."""
    slew: float = 0.005
    """Largest bending of time to get back in step: well below what would change a rate of torque or angle."""
    settle_s: float = 4.0
    """Time over which a phase error is bent away."""
    late_s: float = 0.03
    """Data later than this are held until it is clear whether they waited or are missing; bridges hold up to 16 ms."""
    hold_s: float = 0.25
    """How long they are held at most."""
    off_rate: float = 0.02
    """A device's rate or clock this far from the profile's is worth a word."""
    off_rate_from_s: float = 1.0
    """Measured from here on: opening a port first brings what had piled up in it."""
    off_by_s: float = 0.5
    """And this far away in sum: a stall at the start or the end is no wrong rate."""
    off_rate_after_s: float = 5.0
    """When that can be told."""


RULES = TimeRules()

# Counters of 8, 16, 24 and 32 bits, and a 32-bit count of microseconds printed in milliseconds or seconds.
_WRAPS: dict[StampKind, tuple[float, ...]] = {
    "time": (2.0**16, 2.0**24, 2.0**32, 2.0**32 / 1e3, 2.0**32 / 1e6),
    "counter": (2.0**8, 2.0**16, 2.0**24, 2.0**32),
    "place": (),
}


class _Waiting(NamedTuple):
    """A row whose stamp is not believed yet."""

    stamp: float
    arrival_s: float
    row: list[float]


class Unwrapper:
    """Stamps to device seconds that rise strictly, beginning at 0. `stamp * scale_s` is seconds.

    dropped   samples whose stamp was impossible, or that came a second time
    jumps     how often the device's clock was set or restarted
    missing   values that were skipped between the first and the last one
    """

    def __init__(self, kind: StampKind, scale_s: float, rules: TimeRules = RULES) -> None:
        self.dropped = 0
        self.jumps = 0
        self.missing = 0.0
        self._wraps, self._scale_s, self._rules = _WRAPS[kind], scale_s, rules
        self._last: float | None = None
        self._base = 0.0
        self._offset_s = 0.0
        self._time_s = -math.inf
        self._arrival_s = 0.0
        self._step = math.inf
        self._waiting: list[_Waiting] = []
        self._restarted = False
        self._recent = np.empty((0, 3))
        self._highest = -math.inf

    def restart(self) -> None:
        """The line was opened anew: go on by the arrivals."""
        self._restarted = self._last is not None
        self.dropped += len(self._waiting)
        self._waiting = []

    def feed(self, rows: Floats, arrival_s: float) -> tuple[Floats, Floats]:
        """Times, and the rows that have one. A row may come out later than it went in."""
        times = self._quickly(rows[:, 2], arrival_s)
        if times is None:
            out: list[tuple[float, list[float]]] = []
            for row in rows.tolist():
                self._take(row, arrival_s, out)
            times, rows = np.array([time_s for time_s, _ in out]), np.array([row for _, row in out]).reshape(-1, 3)
        self._recent = np.concatenate([self._recent, rows])[-self._rules.again :]
        return times, rows

    def _quickly(self, stamps: Floats, arrival_s: float) -> Floats | None:
        """The common case as one array: nothing waits and every step is usual. None where a closer look is needed."""
        if self._last is None or self._waiting or self._restarted or not stamps.size:
            return None
        stamps = stamps + self._base
        steps = stamps.copy()
        steps[1:] -= stamps[:-1]
        steps[0] -= self._last
        times = stamps * self._scale_s + self._offset_s
        if not (steps.min() > 0 and steps.max() <= self._rules.long_step * self._step):
            return None
        if not (times[0] > self._time_s and rises(times)):
            return None
        self._step += (_median(steps) - self._step) * min(1.0, steps.size / 64)
        self.missing += float(stamps[-1] - self._last) - stamps.size
        self._highest = max(self._highest, float(stamps[-1]) - self._base)
        self._last, self._time_s, self._arrival_s = float(stamps[-1]), float(times[-1]), arrival_s
        return times

    def _take(self, row: list[float], arrival_s: float, out: list[tuple[float, list[float]]]) -> None:
        stamp = row[2]
        if self._last is not None and not self._restarted:
            near = self._unwrapped(stamp, self._rules.long_step * self._step)
            if near == self._last:
                self.dropped += 1
                return
            if near is not None:
                self.dropped += len(self._waiting)
                self._waiting = []
                self._accept(near, arrival_s, row, out)
                return
            if self._came_before(row, out):
                self.dropped += 1
                return
        if self._waiting and stamp == self._waiting[-1].stamp:
            self.dropped += 1
            return
        if self._waiting and not 0 < stamp - self._waiting[-1].stamp <= self._rules.long_step * self._step:
            self.dropped += len(self._waiting)
            self._waiting = []
        self._waiting.append(_Waiting(stamp, arrival_s, row))
        if len(self._waiting) >= self._rules.confirm:
            self._believe(out)

    def _came_before(self, row: list[float], out: list[tuple[float, list[float]]]) -> bool:
        """Whether the very row is among the last ones: a block of lines that came twice must not look like a clock set back."""
        recent = np.concatenate([self._recent, np.array([each for _, each in out]).reshape(-1, 3)])[-self._rules.again :]
        return bool(_same_rows(recent, np.array(row)).any())

    def _unwrapped(self, stamp: float, longest: float) -> float | None:
        """The stamp with its roll-overs undone if it follows the last one by 0 up to `longest`, else None."""
        assert self._last is not None
        for wrap in (0.0, *(wrap for wrap in self._wraps if wrap > self._highest)):  # what showed more does not roll over there
            if 0 <= stamp + self._base + wrap - self._last <= longest:
                self._base += wrap
                return stamp + self._base
        return None

    def _believe(self, out: list[tuple[float, list[float]]]) -> None:
        """Take what waits as the device's time from now on: its start, a gap, or a clock that was set."""
        waiting, self._waiting = self._waiting, []
        first = waiting[0]
        step = float(np.median([b.stamp - a.stamp for a, b in pairwise(waiting)]))
        if self._last is None:
            self._offset_s, self._last, self._step = -first.stamp * self._scale_s, first.stamp - 1.0, step
        else:
            elapsed_s = first.arrival_s - self._arrival_s
            gap = None if self._restarted else self._unwrapped(first.stamp, (elapsed_s + self._rules.ahead_s) / self._scale_s)
            if gap is None:
                self.jumps += not self._restarted
                self._base, self._last, self._step, self._highest = 0.0, first.stamp - 1.0, step, -math.inf
                self._offset_s = self._time_s + max(elapsed_s, step * self._scale_s, 1e-6) - first.stamp * self._scale_s
        self._restarted = False
        for each in waiting:
            self._accept(each.stamp + self._base, each.arrival_s, each.row, out)

    def _accept(self, stamp: float, arrival_s: float, row: list[float], out: list[tuple[float, list[float]]]) -> None:
        time_s = stamp * self._scale_s + self._offset_s
        if not self._time_s < time_s < math.inf:
            self.dropped += 1
            return
        assert self._last is not None
        step = stamp - self._last
        if step <= self._rules.long_step * self._step:
            self._step += (step - self._step) / 64
        self.missing += step - 1
        self._highest = max(self._highest, stamp - self._base)
        self._last, self._time_s, self._arrival_s = stamp, time_s, arrival_s
        out.append((time_s, row))


class Spreader:
    """A clock coarser than the sampling repeats its stamps: spread them evenly up to the next one.

    Until repeats are common, nothing is held back: a sample that repeats a stamp goes half-way to where the next tick would be,
    as with a board's millisecond clock whose tick is not quite a millisecond. Then the newest group waits for the stamp that
    ends it. A row that is the very same as the one before stays as it is: it was sent twice.
    """

    def __init__(self, rules: TimeRules = RULES) -> None:
        self._rules = rules
        self._seen = 0
        self._repeats = 0
        self._last = math.nan
        self._before = np.full((1, 3), math.nan)
        self._run = 0
        self._tick = math.inf
        self._group = np.empty((0, 3))

    def restart(self) -> None:
        """The line was opened anew: the group that waits is complete."""
        self._last = math.nan

    def feed(self, rows: Floats) -> Floats:
        """The rows, spread where repeats are common."""
        steps = np.diff(rows[:, 2], prepend=self._last)
        self._seen += rows.shape[0]
        self._repeats += int((steps == 0).sum())
        self._last = float(rows[-1, 2])
        if self._seen < 64 or self._repeats < self._rules.dense_share * self._seen:
            return self._apart(rows, steps)
        rows = np.concatenate([self._group, rows])
        starts = np.flatnonzero(np.diff(rows[:, 2], prepend=math.nan) != 0)
        for first, last in pairwise(starts.tolist()):
            step = rows[last, 2] - rows[first, 2]
            self._tick = min(self._tick, step) if step > 0 else self._tick
            room = self._tick if not 0 < step <= 2 * self._tick else step
            if math.isfinite(room):
                rows[first:last, 2] += np.arange(last - first) * room / (last - first)
        self._group = rows[starts[-1] :]
        return rows[: starts[-1]]

    def _apart(self, rows: Floats, steps: Floats) -> Floats:
        """The rows, with those that repeat a stamp but not the sample moved between their tick and the next."""
        rising = steps[steps > 0]
        self._tick = min(self._tick, float(rising.min())) if rising.size else self._tick
        before, self._before = np.concatenate([self._before, rows[:-1]]), rows[-1:].copy()
        again = steps == 0
        if not again.any():
            self._run = 0
            return rows
        same = _same_rows(rows, before)
        rows = rows.copy()
        for at in np.flatnonzero(~(again & same)).tolist():
            self._run = self._run + 1 if again[at] else 0
            if self._run and math.isfinite(self._tick):
                rows[at, 2] += self._tick * (1 - 0.5**self._run)
        return rows


def _median(values: Floats) -> float:
    """What numpy's own gives, in a fifth of its time for the few values of a piece."""
    ordered, half = np.sort(values), values.size // 2
    return float(ordered[half] if values.size % 2 else (ordered[half - 1] + ordered[half]) / 2)


def _same_rows(rows: Floats, others: Floats) -> NDArray[np.bool_]:
    """Which rows hold the very same values as the others', an absent value being like another."""
    return ((rows == others) | (np.isnan(rows) & np.isnan(others))).all(axis=1)  # type: ignore[no-any-return]
