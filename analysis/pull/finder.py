"""Finding pulls in a stream, however the stream is cut into pieces."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.trace import EMPTY, Trace, join


@dataclass(frozen=True, kw_only=True, slots=True)
class FinderRules:
    """When a pull starts and ends. All but times derive from the stream's own noise and the sensor's range."""

    block_s: float = 0.02  # the finder looks at the stream in blocks of this length, on a fixed grid of device time
    zero_s: float = 2.0  # the zero is the median of this much rest
    zero_lag_s: float = 0.2  # the newest rest is left out, so that the foot of a slow ramp does not drag the zero
    learn_s: float = 0.3  # this much stream is seen before anything may start
    noise_factor: float = 6.0  # taken up: off zero by so many deviations of a block mean
    resolution_steps: float = 3.0  # ... or by so many steps of a coarse sensor
    capacity_share: float = 0.002  # ... or by this share of the sensor's capacity
    pull_share: float = 0.02  # a pull reaches this share of capacity; less is a hand laid on the lever
    pull_noise: float = 25.0  # ... and so many deviations of a block mean
    travel_deg: float = 5.0  # ... or turns this far: a unit that spins free
    moved_deg: float = 0.6  # the lever has moved in a block row: more than two steps of a coarse encoder
    preroll_s: float = 1.5
    rest_s: float = 0.6  # so long at zero and still: the pull has ended
    early_s: float = 0.04  # so long at zero: it may have ended, an early reading is due
    settle_s: float = 3.0  # steady off zero for so long, the hand gone: the zero has moved
    settle_share: float = 0.2  # ... if below this share of the peak
    uncover_s: float = 1.0  # steady so long this much nearer to the sensor's own zero: what was taken for zero was a load


@dataclass(frozen=True, slots=True)
class PullStarted:
    """A pull is under way; its samples are those from `from_s` (pre-roll included) on."""

    from_s: float


@dataclass(frozen=True, slots=True)
class PullAtRest:
    """Torque is back at rest: read it now for an early verdict; the pull may still go on."""

    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True)
class PullEnded:
    """The pull is over; from_s <= t <= to_s is the whole of it, with pre-roll and rest after."""

    from_s: float
    to_s: float


PullEvent = PullStarted | PullAtRest | PullEnded


@dataclass(slots=True)
class _Open:
    began_s: float
    peak_nm: float = 0.0
    angle_from_deg: float | None = None
    announced: bool = False
    rest_since_s: float | None = None
    early_told: bool = False
    steady_since_s: float | None = None
    steady_nm: float = 0.0


class PullFinder:
    """Feed it the stream piece by piece; it tells when a pull starts, comes to rest and ends.

    Works in blocks on a fixed grid of time, so the result does not depend on where the stream was cut.
    `capacity_nm` of the sensor is optional; without it the noise alone sets the thresholds.
    """

    def __init__(self, capacity_nm: float | None = None, rules: FinderRules | None = None) -> None:
        self.rules = rules or FinderRules()
        self._capacity_nm = capacity_nm
        self._carry: Trace = EMPTY
        self._idle: deque[tuple[float, float]] = deque()
        self._resolution_nm = math.inf
        self._last_nm: float | None = None
        self._still_deg: float | None = None
        self._first_s: float | None = None
        self._open: _Open | None = None
        self._last_s = -math.inf
        self._zero_nm = 0.0
        self._noise_nm = 0.0

    @property
    def keep_from_s(self) -> float:
        """Samples before this time are not needed any more."""
        if self._open is not None:
            return self._open.began_s - self.rules.preroll_s
        return self._last_s - self.rules.preroll_s - 2 * self.rules.block_s

    @property
    def pulling(self) -> bool:
        """Whether a pull is under way."""
        return self._open is not None and self._open.announced

    @property
    def zero_nm(self) -> float:
        """Torque at rest as the finder sees it now, N.m."""
        return self._zero_nm

    @property
    def settled(self) -> bool:
        """Whether the zero comes from as much rest as it can, and nothing is on the lever now."""
        return (
            self._open is None
            and len(self._idle) > 1
            and self._idle[-1][0] - self._idle[0][0] > self.rules.zero_s - self.rules.zero_lag_s
        )

    def feed(self, piece: Trace) -> list[PullEvent]:
        """Take the next piece; return what it brought, in order of time."""
        if not len(piece):
            return []
        both = join([self._carry, piece])
        block = np.floor(both.time_s / self.rules.block_s + 1e-6)
        whole = int(np.searchsorted(block, block[-1], "left"))
        self._carry = both.cut(whole, len(both))
        return self._take_blocks(both.cut(0, whole), block[:whole])

    def finish(self) -> list[PullEvent]:
        """The stream has ended: close what is open."""
        events = self._take_blocks(self._carry, np.zeros(len(self._carry)))
        self._carry = EMPTY
        if self._open is not None and self._open.announced:
            events.append(PullEnded(self._open.began_s - self.rules.preroll_s, self._last_s))
        self._open = None
        return events

    def _take_blocks(self, trace: Trace, block: np.ndarray) -> list[PullEvent]:
        if not len(trace):
            return []
        starts = np.flatnonzero(np.diff(block, prepend=block[0] - 1))
        counts = np.diff(np.append(starts, len(trace)))
        means = np.add.reduceat(trace.torque_nm, starts) / counts
        ends = starts + counts - 1
        # The sensor's step as each block has it: what later blocks tell must not decide earlier ones, however they came in.
        steps = np.abs(np.diff(trace.torque_nm, prepend=trace.torque_nm[0] if self._last_nm is None else self._last_nm))
        smallest = np.minimum.reduceat(np.where(steps > 0, steps, math.inf), starts)
        self._last_nm = float(trace.torque_nm[-1])
        events: list[PullEvent] = []
        for first, last, mean, step in zip(starts, ends, means, smallest, strict=True):
            self._resolution_nm = min(self._resolution_nm, float(step))
            angle = None if trace.angle_deg is None else float(trace.angle_deg[last])
            events += self._step(float(trace.time_s[first]), float(trace.time_s[last]), float(mean), angle)
        return events

    def _threshold_nm(self) -> float:
        resolution = self._resolution_nm if math.isfinite(self._resolution_nm) else 0.0
        return max(
            self.rules.noise_factor * self._noise_nm,
            # Only a coarse sensor's step matters; in a fine one the smallest step is far below the noise.
            self.rules.resolution_steps * resolution,
            self.rules.capacity_share * (self._capacity_nm or 0.0),
        )

    def _step(self, from_s: float, to_s: float, torque_nm: float, angle_deg: float | None) -> list[PullEvent]:
        self._last_s = to_s
        if self._first_s is None:
            self._first_s, self._still_deg = from_s, angle_deg
        if self._open is None:
            self._learn(to_s, torque_nm)
            moved = angle_deg is not None and abs(angle_deg - (self._still_deg or 0.0)) > self.rules.moved_deg
            away = abs(torque_nm - self._zero_nm) > self._threshold_nm()
            if to_s - self._first_s < self.rules.learn_s or not (away or moved):
                if not moved:
                    self._follow_angle(angle_deg)
                return []
            self._open = _Open(began_s=from_s, angle_from_deg=self._still_deg)
        return self._advance(self._open, from_s, to_s, torque_nm, angle_deg)

    def _follow_angle(self, angle_deg: float | None) -> None:
        # The idle angle creeps after the reading, so that a drifting lever does not look like a pull.
        if angle_deg is not None:
            self._still_deg = angle_deg if self._still_deg is None else self._still_deg + 0.1 * (angle_deg - self._still_deg)

    def _learn(self, at_s: float, torque_nm: float) -> None:
        self._idle.append((at_s, torque_nm))
        while self._idle and at_s - self._idle[0][0] > self.rules.zero_s:
            self._idle.popleft()
        settled = [nm for when, nm in self._idle if at_s - when >= self.rules.zero_lag_s] or [self._idle[0][1]]
        self._zero_nm = float(np.median(settled))
        deviation = 1.4826 * float(np.median(np.abs(np.asarray(settled) - self._zero_nm)))
        self._noise_nm = deviation if len(settled) >= 5 else max(deviation, self._noise_nm)

    def _significant(self, pull: _Open, angle_deg: float | None) -> bool:
        enough = max(
            self.rules.pull_share * (self._capacity_nm or 0.0),
            self.rules.pull_noise * self._noise_nm,
            2 * self._threshold_nm(),
        )
        turned = (
            angle_deg is not None
            and pull.angle_from_deg is not None
            and abs(angle_deg - pull.angle_from_deg) >= self.rules.travel_deg
        )
        return pull.peak_nm >= enough or turned

    def _advance(self, pull: _Open, from_s: float, to_s: float, torque_nm: float, angle_deg: float | None) -> list[PullEvent]:
        events: list[PullEvent] = []
        off_nm = abs(torque_nm - self._zero_nm)
        pull.peak_nm = max(pull.peak_nm, off_nm)
        if not pull.announced and self._significant(pull, angle_deg):
            pull.announced = True
            events.append(PullStarted(pull.began_s - self.rules.preroll_s))
        still = angle_deg is None or abs(angle_deg - (self._still_deg or 0.0)) <= self.rules.moved_deg
        if not still:
            self._still_deg = angle_deg
        at_zero = off_nm <= max(self._threshold_nm(), 0.02 * pull.peak_nm)
        if not (at_zero and still):
            pull.rest_since_s, pull.early_told = None, False
        elif pull.rest_since_s is None:
            pull.rest_since_s = from_s
        if still and abs(torque_nm - pull.steady_nm) <= max(self._threshold_nm(), 0.02 * pull.peak_nm):
            pull.steady_since_s = from_s if pull.steady_since_s is None else pull.steady_since_s
        else:
            pull.steady_since_s, pull.steady_nm = None, torque_nm
        rested = 0.0 if pull.rest_since_s is None else to_s - pull.rest_since_s
        steady = 0.0 if pull.steady_since_s is None else to_s - pull.steady_since_s
        began_s = pull.began_s - self.rules.preroll_s
        if pull.announced and rested >= self.rules.early_s and not pull.early_told:
            pull.early_told = True
            events.append(PullAtRest(began_s, to_s))
        gone = steady >= self.rules.settle_s and off_nm < self.rules.settle_share * pull.peak_nm
        touched = not pull.announced and steady >= self.rules.settle_s
        loaded = steady >= self.rules.uncover_s and abs(torque_nm) < self.rules.settle_share * abs(self._zero_nm)
        if rested >= self.rules.rest_s or gone or touched or loaded:
            self._open = None
            self._idle.clear()
            self._idle.append((to_s, torque_nm))
            self._still_deg = angle_deg
            if pull.announced:
                events.append(PullEnded(began_s, to_s))
        return events


def find_pulls(trace: Trace, capacity_nm: float | None = None, rules: FinderRules | None = None) -> Sequence[PullEnded]:
    """All pulls in a recording, exactly as the live stream would have found them."""
    finder = PullFinder(capacity_nm, rules)
    return [event for event in [*finder.feed(trace), *finder.finish()] if isinstance(event, PullEnded)]
