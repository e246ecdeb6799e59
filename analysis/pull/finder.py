"""Finding pulls in a stream, however the stream is cut into pieces.

A pull is a torque that rises and an angle that goes on under it, one way. What else happens on a bench (knocks, a lever leaned
on, an encoder that jumps, a sensor carried about, a zero that moves, a unit turned free) is told apart here and not taken for one.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence

import numpy as np

from analysis.pull.events import FinderRules, NoPull, PullAtRest, PullEnded, PullEvent, PullStarted, RestMoved, TurnedFree
from analysis.pull.happening import Block, Happening, Limits
from analysis.pull.noise import NORMAL_MAD
from analysis.trace import EMPTY, Floats, Trace, join

_EVEN = 1e-6
"""In blocks: stamps that are a rounding short of a block's edge lie on it. In degrees and N.m: what is smaller is nothing."""
SETTLED_BLOCKS = 5
"""Fewer blocks at rest do not lower the noise that was known before."""
STILL_FOLLOWS = 0.1
"""Share by which the resting angle follows the angle at each block: slow creep is followed, a turn is not."""
CLOSE_SHARE = 0.02
"""A torque within this share of the pull's peak is back at rest."""


class PullFinder:
    """Feed it the stream piece by piece; it tells when a pull starts, comes to rest and ends, and what else was no pull.

    Works in blocks on a fixed grid of time, so the result does not depend on where the stream was cut.
    `capacity_nm` of the sensor is optional; without it the noise alone sets the thresholds.
    """

    def __init__(self, capacity_nm: float | None = None, rules: FinderRules | None = None) -> None:
        self.rules = rules or FinderRules()
        self._capacity_nm = capacity_nm
        self._carry: Trace = EMPTY
        self._idle: deque[Block] = deque()
        self._resolution_nm = math.inf
        self._resolution_deg = math.inf
        self._last: tuple[float, float, float | None] | None = None  # the last sample taken
        self._turned_deg = 0.0
        self._still_deg: float | None = None
        self._first_s: float | None = None
        self._open: Happening | None = None
        self._last_s = -math.inf
        self._zero_nm = 0.0
        self._proven = False
        self._told_nm: float | None = None
        self._noise_nm = 0.0

    @property
    def keep_from_s(self) -> float:
        """Samples before this time are not needed any more."""
        if self._open is not None:
            return self._open.began_s - self.rules.preroll_s
        return self._last_s - self.rules.preroll_s - 2 * self.rules.block_s

    @property
    def pulling(self) -> bool:
        """Whether something that may be a pull is under way."""
        return self._open is not None and self._open.announced

    @property
    def touched(self) -> bool:
        """Whether something moves the bench; it begins at `keep_from_s`, pre-roll included, and need not come to a pull."""
        return self._open is not None

    @property
    def zero_nm(self) -> float:
        """Torque at rest as the finder sees it now, N.m; 0 until a rest was seen."""
        return self._zero_nm

    @property
    def told_limit_nm(self) -> float:
        """A level at rest that moves by no more than this is the same level."""
        least_nm = self._threshold_nm()
        return max(least_nm, self.rules.told_share * self._capacity_nm if self._capacity_nm else self.rules.told_factor * least_nm)

    @property
    def settled(self) -> bool:
        """Whether the zero comes from as much rest as it can, and nothing is on the lever now."""
        return (
            self._open is None
            and self._proven
            and len(self._idle) > 1
            and self._idle[-1].to_s - self._idle[0].to_s > self.rules.zero_s - self.rules.zero_lag_s
        )

    def feed(self, piece: Trace) -> list[PullEvent]:
        """Take the next piece; return what it brought, in order of time."""
        if not len(piece):
            return []
        both = join([self._carry, piece])
        block = np.floor(both.time_s / self.rules.block_s + _EVEN)
        whole = int(np.searchsorted(block, block[-1], "left"))
        self._carry = both.cut(whole, len(both))
        return self._take_blocks(both.cut(0, whole), block[:whole])

    def finish(self) -> list[PullEvent]:
        """The stream has ended: close what is open."""
        events = self._take_blocks(self._carry, np.zeros(len(self._carry)))
        self._carry = EMPTY
        if self._open is not None:
            events += self._closed(self._open, self._last_s, None)
        self._open = None
        return events

    # -- blocks -------------------------------------------------------------------------------------------------------------------

    def _take_blocks(self, trace: Trace, block: Floats) -> list[PullEvent]:
        if not len(trace):
            return []
        starts = np.flatnonzero(np.diff(block, prepend=block[0] - 1))
        counts = np.diff(np.append(starts, len(trace)))
        means = np.add.reduceat(trace.torque_nm, starts) / counts
        ends = starts + counts - 1
        last_s, last_nm, last_deg = self._last or (float(trace.time_s[0]), float(trace.torque_nm[0]), None)
        # The sensor's step as each block has it: what later blocks tell must not decide earlier ones, however they came in.
        steps = np.abs(np.diff(trace.torque_nm, prepend=last_nm))
        smallest = np.minimum.reduceat(np.where(steps > 0, steps, math.inf), starts)
        turns, jumped, angle = self._turns(trace, starts, counts, last_s, last_deg)
        self._last = (float(trace.time_s[-1]), float(trace.torque_nm[-1]), None if angle is None else float(angle[-1]))
        events: list[PullEvent] = []
        for k, (first, last) in enumerate(zip(starts, ends, strict=True)):
            self._resolution_nm = min(self._resolution_nm, float(smallest[k]))
            self._turned_deg += float(turns[k])
            at = None if angle is None else self._turned_deg
            events += self._step(
                Block(float(trace.time_s[first]), float(trace.time_s[last]), float(means[k]), at, float(turns[k]), bool(jumped[k]))
            )
        return events

    def _turns(
        self, trace: Trace, starts: np.ndarray, counts: np.ndarray, last_s: float, last_deg: float | None
    ) -> tuple[Floats, np.ndarray, Floats | None]:
        """Turn of the lever in each block, jumps of the encoder and what happened in gaps left out; which blocks had a jump."""
        angle = trace.angle_deg
        if angle is None:
            return np.zeros(starts.size), np.zeros(starts.size, dtype=bool), None
        change = np.diff(angle, prepend=angle[0] if last_deg is None else last_deg)
        took_s = np.diff(trace.time_s, prepend=last_s)
        size = np.abs(change)
        smallest = np.minimum.reduceat(np.where(size > _EVEN, size, math.inf), starts)
        resolution = np.minimum.accumulate(np.minimum(smallest, self._resolution_deg))
        self._resolution_deg = float(resolution[-1])
        coarse = np.repeat(np.minimum(resolution, self.rules.coarse_deg), counts)
        gap = took_s > self.rules.gap_s
        farthest = np.maximum(self.rules.hand_deg_s * took_s, np.maximum(self.rules.jump_steps * coarse, self.rules.jump_least_deg))
        jump = (size > farthest) | gap
        turns = np.add.reduceat(np.where(jump, 0.0, change), starts)
        return turns, np.logical_or.reduceat(jump & (size > self.rules.jump_least_deg), starts), angle

    # -- rest ---------------------------------------------------------------------------------------------------------------------

    def _threshold_nm(self) -> float:
        resolution = self._resolution_nm if math.isfinite(self._resolution_nm) else 0.0
        return max(
            self.rules.noise_factor * self._noise_nm,
            # Only a coarse sensor's step matters; in a fine one the smallest step is far below the noise.
            self.rules.resolution_steps * resolution,
            self.rules.capacity_share * (self._capacity_nm or 0.0),
        )

    def _limits(self) -> Limits:
        """What the sensor's range, its noise and the encoder's step make of the rules."""
        rules, capacity_nm = self.rules, self._capacity_nm
        pull_nm = max(
            rules.pull_share * capacity_nm if capacity_nm else rules.pull_least_nm,
            rules.pull_noise * self._noise_nm,
            2 * self._threshold_nm(),
        )
        lean_nm = max(rules.lean_share * capacity_nm if capacity_nm else rules.lean_least_nm, pull_nm)
        step_deg = min(self._resolution_deg, rules.coarse_deg) if math.isfinite(self._resolution_deg) else 0.0
        return Limits(pull_nm, lean_nm, step_deg)

    def _moved_deg(self) -> float:
        """How far the angle of a lever at rest may wander."""
        step = min(self._resolution_deg, self.rules.coarse_deg)
        return max(self.rules.moved_deg, self.rules.steps * step if math.isfinite(self._resolution_deg) else 0.0)

    def _is_level(self, rest: Sequence[Block]) -> bool:
        """Whether these blocks are a rest: level torque, the angle still."""
        first, last = rest[0].angle_deg, rest[-1].angle_deg
        if first is not None and last is not None and abs(last - first) > 0.5 * self._moved_deg():
            return False
        torque = np.array([block.torque_nm for block in rest])
        half = torque.size // 2
        early, late = torque[:half], torque[-half:]
        scatter = math.sqrt(0.5 * (float(early.var()) + float(late.var())))
        resolution = self._resolution_nm if math.isfinite(self._resolution_nm) else 0.0
        bound = max(
            self.rules.level_noise * scatter * math.sqrt(2.0 / half),
            self.rules.level_share * (self._capacity_nm or 0.0),
            min(resolution, self.rules.capacity_share * self._capacity_nm) if self._capacity_nm else 0.0,
        )
        wide = self.rules.pull_share * self._capacity_nm if self._capacity_nm else math.inf
        return abs(float(late.mean()) - float(early.mean())) <= bound and scatter <= wide

    def _learn(self, block: Block) -> None:
        """A block without load: the zero follows the median of the last of them."""
        self._idle.append(block)
        while self._idle and block.to_s - self._idle[0].to_s > self.rules.zero_s:
            self._idle.popleft()
        span_s = block.to_s - self._idle[0].from_s
        if not self._proven:
            enough = span_s >= self.rules.learn_s - self.rules.block_s and len(self._idle) >= 4
            self._proven = enough and self._is_level(self._idle)
        settled = [b.torque_nm for b in self._idle if block.to_s - b.to_s >= self.rules.zero_lag_s]
        if not self._proven or (span_s < self.rules.learn_s and self._told_nm is not None) or not settled:
            return
        self._zero_nm = float(np.median(settled))
        deviation = NORMAL_MAD * float(np.median(np.abs(np.asarray(settled) - self._zero_nm)))
        self._noise_nm = deviation if len(settled) >= SETTLED_BLOCKS else max(deviation, self._noise_nm)

    def _tell_rest(self, at_s: float) -> list[PullEvent]:
        """Whether the level at rest is another one than was told last."""
        if not self._proven:
            return []
        told, self._told_nm = self._told_nm, self._told_nm if self._told_nm is not None else self._zero_nm
        if told is None or abs(self._zero_nm - told) <= self.told_limit_nm:
            return []
        self._told_nm = self._zero_nm
        return [RestMoved(at_s, told, self._zero_nm)]

    # -- what is under way --------------------------------------------------------------------------------------------------------

    def _step(self, block: Block) -> list[PullEvent]:
        self._last_s = block.to_s
        if self._first_s is None:
            self._first_s, self._still_deg = block.from_s, block.angle_deg
        if self._open is None:
            self._learn(block)
            moved = block.angle_deg is not None and abs(block.angle_deg - (self._still_deg or 0.0)) > self._moved_deg()
            if not self._proven:
                # Until a rest was seen a lever that turns, or a torque that does not keep still, may be a pull half over.
                if moved or block.to_s - self._idle[0].from_s >= self.rules.learn_s:
                    self._open = Happening(self._first_s, 0.0, False, self._still_deg)
                    events: list[PullEvent] = []
                    for earlier in self._idle:
                        events += self._advance(self._open, earlier)
                    return events
                return []
            away = abs(block.torque_nm - self._zero_nm) > self._threshold_nm()
            if not (away or moved):
                self._follow_angle(block.angle_deg)
                return self._tell_rest(block.to_s)
            self._open = Happening(block.from_s, self._zero_nm, True, self._still_deg)
        return self._advance(self._open, block)

    def _follow_angle(self, angle_deg: float | None) -> None:
        # The idle angle creeps after the reading, so that a drifting lever does not look like a pull.
        if angle_deg is not None:
            self._still_deg = (
                angle_deg if self._still_deg is None else self._still_deg + STILL_FOLLOWS * (angle_deg - self._still_deg)
            )

    def _advance(self, pull: Happening, block: Block) -> list[PullEvent]:
        rules, limits, events = self.rules, self._limits(), list[PullEvent]()
        pull.note(block, limits, rules)
        torque_nm, angle_deg = block.torque_nm, block.angle_deg
        off_nm = abs(torque_nm - pull.zero_nm)
        began_s = pull.began_s - rules.preroll_s
        if not pull.announced and pull.worth_recording(limits, rules):
            pull.announced = True
            events.append(PullStarted(began_s))
        still = angle_deg is None or abs(angle_deg - (self._still_deg or 0.0)) <= self._moved_deg()
        if not still:
            self._still_deg = angle_deg
        close_nm = max(self._threshold_nm(), CLOSE_SHARE * pull.peak_nm)
        if not (pull.proven and off_nm <= close_nm and still):
            pull.rest_since_s, pull.early_told = None, False
        elif pull.rest_since_s is None:
            pull.rest_since_s = block.from_s
        if still and abs(torque_nm - pull.steady_nm) <= close_nm:
            pull.steady_since_s = block.from_s if pull.steady_since_s is None else pull.steady_since_s
        else:
            pull.steady_since_s, pull.steady_nm = None, torque_nm
            pull.tail.clear()
        pull.tail.append(block)
        while block.to_s - pull.tail[0].to_s > rules.zero_s:
            pull.tail.popleft()
        rested = 0.0 if pull.rest_since_s is None else block.to_s - pull.rest_since_s
        steady = 0.0 if pull.steady_since_s is None else block.to_s - pull.steady_since_s
        if pull.announced and rested >= rules.early_s and not pull.early_told and pull.is_pull(limits, rules):
            pull.early_told = True
            events.append(PullAtRest(began_s, block.to_s))
        if rested >= rules.rest_s:
            rest = [b for b in pull.tail if b.from_s >= (pull.rest_since_s or 0.0)]
        elif self._has_settled(pull, block, steady):
            rest = [b for b in pull.tail if b.from_s >= (pull.steady_since_s or 0.0)]
        else:
            return events
        events += self._closed(pull, block.to_s, float(np.median([b.torque_nm for b in rest])))
        self._open = None
        self._idle = deque(rest)
        self._still_deg = angle_deg
        self._zero_nm, self._proven = float(np.median([b.torque_nm for b in rest])), True
        if self._told_nm is None:
            deviation = [abs(b.torque_nm - self._zero_nm) for b in rest]
            self._noise_nm = max(self._noise_nm, NORMAL_MAD * float(np.median(deviation)))
        return events + self._tell_rest(block.to_s)

    def _has_settled(self, pull: Happening, block: Block, steady_s: float) -> bool:
        """Whether the torque has come to a level of its own, off the zero that was, and nobody is at the lever."""
        rules, limits, torque_nm = self.rules, self._limits(), block.torque_nm
        off_nm = abs(torque_nm - pull.zero_nm)
        if not pull.proven:
            # Without a rest before, a hand that holds looks like one: rest is near the sensor's own zero, or lasts longer.
            near = abs(torque_nm) <= rules.settle_share * max(abs(pull.highest_nm), abs(pull.lowest_nm))
            rest = [b for b in pull.tail if block.to_s - b.to_s <= rules.rest_s]
            long_enough = steady_s >= (rules.rest_s if near else rules.settle_s)
            return long_enough and len(rest) >= 4 and self._is_level(rest)
        gone = steady_s >= rules.settle_s and off_nm < rules.settle_share * pull.peak_nm
        touched = not pull.announced and steady_s >= rules.settle_s
        uncovered = steady_s >= rules.uncover_s and abs(torque_nm) < rules.settle_share * abs(pull.zero_nm)
        # Wound up a little, the lever may be in a hand that holds before the plates give; turned further and no pull, it is not.
        turned = self._moved_deg() < pull.farthest_deg < rules.travel_deg or pull.is_pull(limits, rules)
        tight = max((abs(b.torque_nm - torque_nm) for b in pull.tail), default=0.0) <= 2 * self._threshold_nm()
        stepped = (
            block.angle_deg is not None
            and not turned
            and tight
            and steady_s >= rules.step_s
            and (off_nm > rules.step_share * pull.peak_nm or pull.peak_nm < limits.lean_nm)
        )
        return gone or touched or uncovered or stepped or steady_s >= rules.hold_s

    # -- what it was --------------------------------------------------------------------------------------------------------------

    def _closed(self, pull: Happening, to_s: float, level_nm: float | None) -> list[PullEvent]:
        """What it was, now that it is over; `level_nm` is the rest that it ended in, None where the stream ended."""
        rules, limits, from_s = self.rules, self._limits(), pull.began_s - self.rules.preroll_s
        if level_nm is not None and not pull.proven:
            # No rest was seen before: what was high is told by the rest after.
            pull.zero_nm = level_nm
        close_nm = max(CLOSE_SHARE * pull.peak_nm, 2 * self._threshold_nm())
        came_back = level_nm is None or abs(level_nm - pull.zero_nm) <= close_nm
        started: list[PullEvent] = [] if pull.announced else [PullStarted(from_s)]
        # A stream that ends under load cuts a pull short: what it would have been is not known, so it is kept.
        cut_short = level_nm is None and pull.announced and abs(pull.last_nm - pull.zero_nm) >= limits.pull_nm
        if pull.is_pull(limits, rules) or pull.held(limits, rules, came_back=came_back) or cut_short:
            return [*started, PullEnded(from_s, to_s)]
        if pull.turned_free(limits, rules):
            return [*started, TurnedFree(from_s, to_s, abs(pull.net_deg))]
        if not pull.worth_a_word(limits, rules):
            return []
        return [NoPull(from_s, to_s, pull.kind(limits, rules, came_back=came_back), pull.peak_nm, pull.announced)]


def find_pulls(trace: Trace, capacity_nm: float | None = None, rules: FinderRules | None = None) -> Sequence[PullEnded]:
    """All pulls in a recording, exactly as the live stream would have found them.

    Parameters
    ----------
    trace
        The recording: s, N.m and, where there is one, deg.
    capacity_nm
        Of the sensor, N.m; None: the noise alone sets the thresholds.
    rules
        Thresholds; None: the usual ones.

    Returns
    -------
    sequence of PullEnded
        In order of time; from and to in s, pre-roll included.
    """
    finder = PullFinder(capacity_nm, rules)
    return [event for event in [*finder.feed(trace), *finder.finish()] if isinstance(event, PullEnded)]
