"""Stamps, counters or mere arrivals to strictly rising seconds. Pure: arrivals are handed in.

Where the device sends its time, that is the time once `unwrap` has made it rise. Else `ArrivalClock` fits the device's rate
to the arrivals, because a counter knows how many but not how fast. Arrival times alone never become sample times: a USB
bridge hands over in bursts. Rows are as in `unwrap`.
"""

from __future__ import annotations

import math
from collections import deque

import numpy as np

from analysis.trace import Floats
from drivers.unwrap import RULES, Spreader, StampKind, TimeRules, Unwrapper


class ArrivalClock:
    """Rising seconds of a device that counts but tells no time: the rate is fitted to the arrivals.

    1. Of each bucket of arrivals the one that waited least counts.
    2. A straight line through these tells the period; until there is enough of it, the nominal rate has its say.
    3. Time goes on at that period, bent by at most `slew` towards the line.
    4. With `watch_gaps` data that come late are held: if a backlog follows, they had only waited; else samples are missing,
       and the gap is put before them. (Where the device counts, its counter tells the gaps.)
    """

    def __init__(self, period_s: float, *, watch_gaps: bool, rules: TimeRules = RULES) -> None:
        self.gaps = 0
        self._rules, self._period_s, self._watch_gaps = rules, period_s, watch_gaps
        self._points: deque[tuple[float, float]] = deque(maxlen=int(rules.memory_s / rules.bucket_s))
        self._best: tuple[float, float] | None = None
        self._bucket_from_s = -math.inf
        self._slope = 1.0
        self._level_s = math.inf
        self._learned = False
        self._origin_s = 0.0
        self._last: tuple[float, float] | None = None
        self._shift_s = 0.0
        self._held: list[tuple[Floats, Floats, float]] = []
        self._held_from_s = 0.0

    @property
    def slope(self) -> float | None:
        """Seconds of ours for a nominal second of the device; None before it is known."""
        return self._slope if self._learned else None

    def feed(self, device_s: Floats, rows: Floats, arrival_s: float) -> tuple[Floats, Floats]:
        """Times for nominal device seconds, and their rows; both may come out later than they went in."""
        if not device_s.size:
            return device_s, rows
        device_s = device_s + self._shift_s
        if math.isinf(self._level_s):
            self._level_s = arrival_s - float(device_s[-1])
            self._origin_s = self._line(float(device_s[0]))
        late_s = arrival_s - self._line(float(device_s[-1]))
        if self._watch_gaps and late_s > self._tolerated_s(float(device_s[-1])):
            return self._hold(device_s, rows, late_s, arrival_s)
        held, self._held = self._held, []
        self._learn(float(device_s[-1]), arrival_s)
        return self._out([*((h_s, h_rows) for h_s, h_rows, _ in held), (device_s, rows)])

    def _hold(self, device_s: Floats, rows: Floats, late_s: float, arrival_s: float) -> tuple[Floats, Floats]:
        if not self._held:
            self._held_from_s = arrival_s
        self._held.append((device_s, rows, late_s))
        if arrival_s - self._held_from_s < max(self._rules.hold_s, 3 * self._period_s):
            return np.empty(0), np.empty((0, 3))
        held, self._held = self._held, []
        gap_s = min(late for _, _, late in held) / self._slope
        self.gaps += 1
        self._shift_s += gap_s
        self._learn(float(device_s[-1]) + gap_s, arrival_s)
        return self._out([(h_s + gap_s, h_rows) for h_s, h_rows, _ in held])

    def _tolerated_s(self, device_s: float) -> float:
        unsure_s = 0.0 if self._learned else 5 * self._rules.nominal_spread * device_s
        return self._rules.late_s + 2 * self._period_s + unsure_s

    def _line(self, device_s: float) -> float:
        return self._level_s + self._slope * device_s

    def _learn(self, device_s: float, arrival_s: float) -> None:
        """Note an arrival; with each full bucket fit the line anew."""
        if not self._learned:
            self._level_s = min(self._level_s, arrival_s - self._slope * device_s)
        waited_s = arrival_s - self._slope * device_s
        if self._best is None or waited_s < self._best[1] - self._slope * self._best[0]:
            self._best = (device_s, arrival_s)
        if arrival_s - self._bucket_from_s < max(self._rules.bucket_s, 2 * self._period_s):
            return
        self._points.append(self._best)
        self._best, self._bucket_from_s = None, arrival_s
        device, arrival = np.array(self._points).T
        if device[-1] - device[0] < self._rules.learn_s or device.size < 4:
            return
        spread = device - device.mean()
        slope = float(spread @ arrival / (spread @ spread))
        fitted = self._rules.wait_s**-2 * float(spread @ spread)
        nominal = self._rules.nominal_spread**-2 if abs(slope - 1) < 3 * self._rules.nominal_spread else 0.0
        self._slope = max((fitted * slope + nominal) / (fitted + nominal), 1e-3)
        self._level_s = float(arrival.mean() - self._slope * device.mean())
        self._learned = True

    def _out(self, parts: list[tuple[Floats, Floats]]) -> tuple[Floats, Floats]:
        device_s = np.concatenate([part for part, _ in parts])
        rows = np.concatenate([part for _, part in parts])
        if self._last is None:
            self._last = (float(device_s[0]), 0.0)
        from_s, time_s = self._last
        behind_s = self._line(from_s) - self._origin_s - time_s
        slope = self._slope + float(np.clip(behind_s / self._rules.settle_s, -self._rules.slew, self._rules.slew))
        times = time_s + (device_s - from_s) * max(slope, self._slope / 2)
        self._last = (float(device_s[-1]), float(times[-1]))
        return times, rows


class TimeBase:
    """Rows as they came to rows with strictly rising times, beginning near 0.

    kind      'time': stamps are device time; 'counter': they count samples; 'place': they number what came
    scale_s   seconds of a unit of the stamp; for counters and places the nominal sampling period
    """

    def __init__(self, kind: StampKind, scale_s: float, rules: TimeRules = RULES) -> None:
        self._kind, self._rules = kind, rules
        self._unwrapper = Unwrapper(kind, scale_s, rules)
        self._spreader = Spreader(rules)
        self._clock = ArrivalClock(scale_s, watch_gaps=kind == "place", rules=rules) if kind != "time" else None
        self._opened_s: float | None = None
        self._first: tuple[float, float] | None = None
        self._span: tuple[float, float] = (0.0, 0.0)
        self._newest_s = -math.inf
        self._unsorted = 0

    @property
    def dropped(self) -> int:
        """Samples whose stamp was impossible."""
        return self._unwrapper.dropped + self._unsorted

    @property
    def jumps(self) -> int:
        """How often the device's clock or counter was set or restarted."""
        return self._unwrapper.jumps

    @property
    def lost(self) -> int:
        """Samples known to be missing from the device's counter."""
        return round(self._unwrapper.missing) if self._kind == "counter" else 0

    @property
    def off_rate(self) -> float | None:
        """Device seconds (by the profile) for a second of ours; None before it can be told, or while it is as it should be."""
        arrived_s, device_s = self._span
        if arrived_s < self._rules.off_rate_after_s or not device_s > 0:
            return None
        ratio = device_s / arrived_s
        off = abs(ratio - 1) > self._rules.off_rate and abs(device_s - arrived_s) > self._rules.off_by_s
        return ratio if off else None

    def restart(self) -> None:
        """The line was opened anew: go on by the arrivals."""
        self._unwrapper.restart()
        self._spreader.restart()
        self._opened_s = self._first = None

    def feed(self, rows: Floats, arrival_s: float) -> tuple[Floats, Floats]:
        """Times and the rows that have one. A row may come out later than it went in."""
        if not rows.shape[0]:
            return np.empty(0), rows
        with np.errstate(over="ignore", invalid="ignore"):  # absurd stamps are dirt, not our arithmetic's fault
            if self._kind == "time":
                rows = self._spreader.feed(rows)
            device_s, rows = self._unwrapper.feed(rows, arrival_s)
            if device_s.size:
                self._opened_s = arrival_s if self._opened_s is None else self._opened_s
                if arrival_s - self._opened_s >= self._rules.off_rate_from_s:
                    self._first = self._first or (arrival_s, float(device_s[-1]))
                    self._span = (arrival_s - self._first[0], float(device_s[-1]) - self._first[1])
            times, rows = (device_s, rows) if self._clock is None else self._clock.feed(device_s, rows, arrival_s)
        return self._rising(times, rows)

    def _rising(self, times: Floats, rows: Floats) -> tuple[Floats, Floats]:
        """The promise kept: after absurd stamps the fitted times may no longer differ in their last digit."""
        before = np.maximum.accumulate(np.concatenate([[self._newest_s], times[:-1]])) if times.size else times
        rises = times > before
        if times.size:
            self._newest_s = max(self._newest_s, float(times[-1]))
        if rises.all():
            return times, rows
        self._unsorted += int((~rises).sum())
        return times[rises], rows[rises]
