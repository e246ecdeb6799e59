"""Rest before and after a pull, and the zero that it proves.

A zero is measured, never taken on trust: it needs level torque with the angle still, half a second of it in all. Where the rest
before and the one after differ, the zero has moved; what is taken for it between them, and how far it may be off, is told here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d

from analysis.pull.noise import Flags, median, percentile, runs_of, slope_of
from analysis.trace import Floats, Trace

OFF_NOISE = 4
"""A tail whose median is off by so many deviations is no rest at that level."""
WITHIN_ONE_SIGMA = (16.0, 84.0)
"""Percentiles one standard deviation either side of a normal distribution."""
NEARLY_ALL = (1.0, 99.0)
"""Percentiles that a single leap does not move."""
WARMTH_SHARE = 0.05
"""Warmth moves a zero by less than this share of the pull; beyond, nobody knows why it moved."""
LEAST_TAIL = 5
"""Samples that a tail of rest needs."""


@dataclass(frozen=True, kw_only=True, slots=True)
class RestRules:
    """What counts as rest, each with its reason."""

    window_s: float = 0.2  # the first look at the level
    least_s: float = 0.1  # less rest than this before the pull, or after a blip in it, tells nothing
    proof_s: float = 0.5  # so much rest, before and after together, proves a zero
    smooth_s: float = 0.01
    noise: float = 6.0  # rest ends where the smoothed torque is off its level by so many deviations
    share: float = 0.004  # ... or by this share of the largest torque
    slow_share: float = 0.01  # a wave of the rest itself (hum, a touch) widens that, up to this share
    foot_s: float = 0.03  # the foot of the ramp is below the threshold, but no rest any more
    climb_noise: float = 5.0  # a beginning that climbs by more than so many deviations of its thirds' means ...
    ramp_longest_s: float = 10.0  # ... as steeply as to reach the largest torque in this time is a ramp and no rest
    click_s: float = (
        0.06  # a blip (a ratchet's click, a knock) this short that comes back to the same level does not end a rest ...
    )
    angle_moved_deg: float = 0.3  # rest ends where the lever has moved this far ...
    angle_steps: float = 1.5  # ... or by so many encoder steps
    loaded_share: float = 0.6  # a calm beginning above this share of the largest torque, never come back to, is no rest
    tail_s: float = 0.15  # the last look, for the rest after
    tail_noise: float = 4.0  # it is level to so many deviations ...
    tail_share: float = 0.01  # ... or this share of the largest torque
    tail_angle_deg: float = 0.5  # with the angle still to this
    end_share: float = 0.1  # a level this near to the zero before (of the largest torque), or to the low end of it all, is rest
    steady_s: float = 0.05  # a level further off is rest too where means over this ...
    steady_noise: float = 3.0  # ... scatter by no more than so many times what the noise explains
    moved_noise: float = 5.0  # a zero that moved by less than so many deviations of its mean has not moved
    between_share: float = 0.1  # a zero that moved further than this is not drawn straight between the rests: one of them counts
    ended_s: float = 0.2  # a level as even as the noise for so long, with the angle still, is no hand's, so rest ...
    ended_share: float = 0.3  # ... and without an angle at the low end of it all, or below this share of the largest torque
    ring_swings: int = 4  # a lever let go that still rings shows its level by so many swings ...
    ring_dies: float = 0.6  # ... that die away to this share of those before ...
    ring_deg: float = 5.0  # ... with the lever within so much
    leap_side: int = 8  # a leap of the zero leaves a clean curve of so many samples and goes on with one ...
    leap_clean: float = 3.0  # ... clean to so many deviations of the noise ...
    leap_noise: float = 5.0  # ... and is as high as the rests are apart, to so many deviations of what the two curves foretell
    leap_bend: float = (
        4.0  # a curve that bends gains on the line before it by its slopes' difference a sample: a leap is so many times that
    )
    leap_least: float = 4.0  # a leap of less than so many times that could be any wave's


@dataclass(frozen=True, slots=True)
class Rest:
    """A stretch at rest, first <= i < last, and the mean torque on it, N.m; `lasted_s` with its ends, which are left out of it."""

    first: int
    last: int
    level_nm: float
    lasted_s: float


@dataclass(frozen=True, slots=True)
class Zero:
    """What the rests of a trace prove.

    before, after   the rests; None where there is none
    level_nm        the zero before the pull (where there is no rest before, the one after; 0 where there is none)
    moved_nm        zero after minus zero before; None where one of them is missing
    stepped_nm      how far the level at rest had stepped before the pull; 0 where it had not
    unproven        whether there is too little rest to prove any zero
    leapt_at        the first sample after the zero leapt under load by all of `moved_nm`; None where no such leap is seen
    """

    before: Rest | None
    after: Rest | None
    level_nm: float
    moved_nm: float | None
    stepped_nm: float
    unproven: bool
    leapt_at: int | None = None


def rest_before(
    trace: Trace, noise_nm: float, resolution_nm: float, step_deg: float, step_s: float, largest_nm: float, rules: RestRules
) -> Rest | None:
    """The rest that the trace begins with; None where it begins on its way, under load, or with the lever turning.

    Parameters
    ----------
    trace
        With spikes bridged.
    noise_nm
        Standard deviation of one sample, N.m.
    resolution_nm
        The sensor's step, N.m; 0: not known.
    step_deg
        The encoder's step, deg; 0: not known.
    step_s
        The usual time between samples, s.
    largest_nm
        The largest torque, N.m, of which thresholds are shares.
    rules
        Thresholds.

    Returns
    -------
    Rest or None
        Begins with the first sample; its level in N.m as the trace has it, the foot of the ramp left out.
    """
    n = len(trace)
    first = min(n, max(5, round(rules.window_s / step_s)))
    width = max(1, round(rules.smooth_s / step_s))
    level = median(trace.torque_nm[: max(5, first // 2)])
    smooth = uniform_filter1d(trace.torque_nm, width, mode="nearest") if width > 1 else trace.torque_nm
    slow = float(np.std(smooth[: max(5, first // 2)]))
    threshold = max(
        rules.noise * max(noise_nm / math.sqrt(width), min(slow, rules.slow_share * largest_nm)),
        rules.share * largest_nm,
        # The level is a median, so a whole step of the sensor; what it stands for lies up to half a step beside it.
        0.5 * resolution_nm + rules.noise * noise_nm / math.sqrt(width),
    )
    moved = np.abs(smooth - level) > threshold
    if trace.angle_deg is not None:
        start = median(trace.angle_deg[: max(3, first // 4)])
        step = max(rules.angle_moved_deg, rules.angle_steps * step_deg)
        moved |= np.abs(trace.angle_deg - start) > step
    end = _end_of_rest(moved, step_s, rules)
    lasted_s = end * step_s
    end -= min(end // 4, round(rules.foot_s / step_s)) + width // 2
    if end * step_s < rules.least_s or end < 3:
        return None
    if _climbs(trace.torque_nm[:end], noise_nm, largest_nm, step_s, rules):
        return None
    still = trace.torque_nm[:end][~moved[:end]]
    rest = Rest(0, end, float(np.mean(still)), lasted_s)
    return None if _under_load(trace.torque_nm, rest.level_nm, noise_nm, rules) else rest


def _end_of_rest(moved: Flags, step_s: float, rules: RestRules) -> int:
    """The first sample off the level for good: blips that come back are passed over."""
    n = moved.size
    click, after = round(rules.click_s / step_s), max(3, round(rules.least_s / step_s))
    for first, last in runs_of(moved):
        if last - first > click or last + after > n or moved[last : last + after].any():
            return first
    return n


def _climbs(torque_nm: Floats, noise_nm: float, largest_nm: float, step_s: float, rules: RestRules) -> bool:
    """Whether this stretch is on its way: its ends differ by more than its own waves and noise explain."""
    third = max(1, torque_nm.size // 3)
    early, late = torque_nm[:third], torque_nm[-third:]
    rise = abs(float(late.mean()) - float(early.mean()))
    at = np.arange(torque_nm.size, dtype=np.float64)
    waves = float(np.std(torque_nm - slope_of(at, torque_nm) * at))
    own = max(waves, noise_nm)
    steep = rise / max(2 * third * step_s, step_s) > largest_nm / rules.ramp_longest_s
    return steep and rise > rules.climb_noise * own * math.sqrt(2.0 / third)


def _under_load(torque_nm: Floats, level_nm: float, noise_nm: float, rules: RestRules) -> bool:
    """Whether a steady beginning is no rest but plates held under load: near the largest torque, and not come back to."""
    if abs(level_nm) <= rules.loaded_share * percentile(np.abs(torque_nm), 98.0):
        return False
    tail = torque_nm[-max(5, torque_nm.size // 20) :]
    # Within a drift's share of the pull itself: a sensor may stand far off zero.
    span = percentile(np.abs(torque_nm - level_nm), 98.0)
    return median(np.abs(tail - level_nm)) >= max(OFF_NOISE * noise_nm, WARMTH_SHARE * span)


def rest_after(
    torque_nm: Floats,
    angle_deg: Floats | None,
    noise_nm: float,
    step_deg: float,
    step_s: float,
    largest_nm: float,
    rules: RestRules,
) -> Rest | None:
    """The rest that the trace ends with, its torque counted from the zero before; None where it does not end at rest.

    Parameters
    ----------
    torque_nm
        (n,) counted from the zero before.
    angle_deg
        (n,) of the lever, deg; None where the bench has none.
    noise_nm
        Standard deviation of one sample, N.m.
    step_deg
        The encoder's step, deg; 0: not known.
    step_s
        The usual time between samples, s.
    largest_nm
        The largest torque, N.m, of which thresholds are shares.
    rules
        Thresholds.

    Returns
    -------
    Rest or None
        Ends with the last sample; its level in N.m from the zero before, the tail of the release left out.
    """
    n = torque_nm.size
    tail = min(n // 4, max(5, round(rules.tail_s / step_s)))
    if tail < LEAST_TAIL:
        return None
    level = median(torque_nm[n - tail :])
    low, high = (percentile(torque_nm[n - tail :], share) for share in WITHIN_ONE_SIGMA)
    if 0.5 * (high - low) > max(rules.tail_noise * noise_nm, rules.tail_share * largest_nm):
        return None
    off = np.abs(torque_nm - level) > max(rules.noise * noise_nm, rules.tail_share * largest_nm)
    turned = np.zeros(n, dtype=bool)
    if angle_deg is not None:
        turned = np.abs(angle_deg - angle_deg[-1]) > max(rules.tail_angle_deg, 2 * step_deg)
    begin = n - _end_of_rest((off | turned)[::-1], step_s, rules)
    lasted_s = (n - begin) * step_s
    begin += (n - begin) // 4  # the tail of the release is left out
    if n - begin < LEAST_TAIL:
        return None
    if abs(level) > rules.end_share * largest_nm:
        an_end, steady = _is_an_end(torque_nm, level, rules), _is_steady(torque_nm[begin:], noise_nm, step_s, rules)
        still = angle_deg is not None and lasted_s >= rules.proof_s
        low = an_end or abs(level) < rules.ended_share * largest_nm
        ended = lasted_s >= rules.ended_s and steady and (low or angle_deg is not None)
        if not (ended or (still and (an_end or steady))):
            return None
    return Rest(begin, n, float(np.mean(torque_nm[begin:][~off[begin:]])), lasted_s)


def rest_while_ringing(
    torque_nm: Floats, angle_deg: Floats | None, noise_nm: float, step_s: float, largest_nm: float, rules: RestRules
) -> Rest | None:
    """A lever let go that rings on about a level far from the zero before, to the end of the trace; None where it does not.

    Parameters
    ----------
    torque_nm
        (n,) counted from the zero before.
    angle_deg
        (n,) of the lever, deg; None where the bench has none.
    noise_nm
        Standard deviation of one sample, N.m.
    step_s
        The usual time between samples, s.
    largest_nm
        The largest torque, N.m, of which thresholds are shares.
    rules
        Thresholds.

    Returns
    -------
    Rest or None
        Whole swings of the ringing, and their mean, N.m from the zero before. A level near that zero is not told: what is left of
        the ringing would pass for a drift.
    """
    n = torque_nm.size
    loaded = np.flatnonzero(np.abs(torque_nm) > rules.loaded_share * largest_nm)
    first = n if not loaded.size else int(loaded[-1]) + 1
    if (n - first) * step_s < rules.ended_s:
        return None
    off = torque_nm[first:] - float(np.mean(torque_nm[(first + n) // 2 :]))
    crossings = np.flatnonzero(np.diff(np.sign(off)) > 0)
    if crossings.size < rules.ring_swings:
        return None
    begin, end = (first + int(crossings[k]) + 1 for k in (crossings.size - rules.ring_swings, -1))
    level = float(np.mean(torque_nm[begin:end]))
    early, late = float(np.ptp(torque_nm[first:begin])) if begin > first else 0.0, float(np.ptp(torque_nm[begin:end]))
    turned = 0.0 if angle_deg is None else float(np.ptp(angle_deg[begin:end]))
    dies = late < rules.ring_dies * early and turned < rules.ring_deg
    far = abs(level) > max(WARMTH_SHARE * largest_nm, rules.noise * noise_nm)
    return Rest(begin, end, level, (n - first) * step_s) if dies and far else None


def _is_an_end(torque_nm: Floats, level_nm: float, rules: RestRules) -> bool:
    """Whether all the torque lies to one side of this level: a lever let go, not one held under part of the load."""
    low, high = (percentile(torque_nm - level_nm, share) for share in NEARLY_ALL)
    return min(abs(min(low, 0.0)), max(high, 0.0)) <= rules.end_share * max(-low, high, 0.0)


def _is_steady(torque_nm: Floats, noise_nm: float, step_s: float, rules: RestRules) -> bool:
    """Whether the torque wanders no more than its noise makes it: no hand holds a lever so."""
    width = max(1, round(rules.steady_s / step_s))
    means = torque_nm[: torque_nm.size // width * width].reshape(-1, width).mean(axis=1)
    return means.size >= 4 and float(np.std(means)) <= rules.steady_noise * noise_nm / math.sqrt(width)


def _later_rest(
    trace: Trace, zero_nm: float, rest_to: int, after: Rest, band_nm: float, step_deg: float, step_s: float, rules: RestRules
) -> Rest | None:
    """A rest before the load at the level of the rest after, where the trace began at another one: the zero had stepped before."""
    from_after = np.abs(trace.torque_nm - after.level_nm)
    peak = int(np.argmax(uniform_filter1d(from_after, max(1, round(rules.smooth_s / step_s)), mode="nearest")))
    width = max(1, round(rules.smooth_s / step_s))
    near = uniform_filter1d(from_after, width, mode="nearest")[:peak] <= band_nm
    least = max(3, round(rules.least_s / step_s))
    runs = [run for run in runs_of(near) if run[1] - run[0] >= 2 * least and run[0] >= rest_to]
    if not runs:
        return None
    first, last = runs[-1]
    lasted_s = (last - first) * step_s
    last -= min((last - first) // 4, round(rules.foot_s / step_s)) + width // 2
    if trace.angle_deg is not None:
        step = max(rules.angle_moved_deg, rules.angle_steps * step_deg)
        if abs(float(trace.angle_deg[last - 1] - trace.angle_deg[first])) > step:
            return None
    level = float(np.mean(trace.torque_nm[first:last]))
    return Rest(first, last, level, lasted_s) if abs(level - zero_nm) > band_nm else None


def find_zero(
    trace: Trace,
    before: Rest | None,
    after: Rest | None,
    noise_nm: float,
    step_deg: float,
    step_s: float,
    largest_nm: float,
    rules: RestRules,
) -> Zero:
    """The zero that two rests prove; `after` with its level as in the trace.

    Parameters
    ----------
    trace
        With spikes bridged and hum taken off.
    before, after
        The rests; None where there is none.
    noise_nm
        Standard deviation of one sample, N.m.
    step_deg
        The encoder's step, deg; 0: not known.
    step_s
        The usual time between samples, s.
    largest_nm
        The largest torque, N.m, of which thresholds are shares.
    rules
        Thresholds.

    Returns
    -------
    Zero
        Levels in N.m as the trace has them. Where the level had stepped before the pull, its rest before is the later one.
    """
    stepped = 0.0
    if before is not None and after is not None:
        band = max(rules.noise * noise_nm, WARMTH_SHARE * largest_nm)
        if abs(after.level_nm - before.level_nm) > band:
            close = max(rules.noise * noise_nm, rules.tail_share * largest_nm)
            later = _later_rest(trace, before.level_nm, before.last, after, close, step_deg, step_s, rules)
            if later is not None:
                stepped, before = later.level_nm - before.level_nm, later
    lasted = [0.0 if rest is None else rest.lasted_s for rest in (before, after)]
    agree = before is not None and after is not None and abs(after.level_nm - before.level_nm) <= WARMTH_SHARE * largest_nm
    # Two rests that agree prove a zero together; one alone must last.
    proven = max(lasted) >= rules.proof_s or (agree and sum(lasted) >= rules.proof_s)
    level = before.level_nm if before is not None else after.level_nm if after is not None else 0.0
    moved = None if before is None or after is None else after.level_nm - before.level_nm
    leapt_at = None
    if before is not None and after is not None and moved is not None:
        leapt_at = _find_leap(trace.torque_nm[: after.first], before.last, moved, noise_nm, rules)
    return Zero(before, after, level, moved, stepped, not proven, leapt_at)


def _find_leap(torque_nm: Floats, first: int, moved_nm: float, noise_nm: float, rules: RestRules) -> int | None:
    """First sample after the one place from `first` on where the torque leaps by `moved_nm` and goes on as cleanly as it came.

    Nothing that turns does that: plates that slip fall over several samples and swing, a hand bends the curve. More than one such
    place, as among the falls of chatter, tells nothing.
    """
    side = rules.leap_side
    lines = _line_ends(side)
    for between in (1, 2):  # a leap falls into one step of the clock, or the sensor's filter has drawn it over two
        size = torque_nm.size - first - 2 * side - between + 1
        foretold_nm = noise_nm * math.sqrt(2.0 * float(lines[between] @ lines[between]))
        if size < 1 or abs(moved_nm) < rules.leap_least * rules.leap_noise * foretold_nm:
            return None
        ends = np.correlate(torque_nm[first:], lines[between], mode="valid")
        begins = np.correlate(torque_nm[first:], lines[between][::-1], mode="valid")
        leaps = begins[side + between - 1 : side + between - 1 + size] - ends[:size]
        places = first + side + np.flatnonzero(np.abs(leaps - moved_nm) <= rules.leap_noise * foretold_nm)
        found = [int(at) for at in places if _is_clean(torque_nm, int(at), between, moved_nm, noise_nm, rules)]
        if found:
            return found[0] if found[-1] - found[0] < between else None
    return None


def _line_ends(side: int) -> dict[int, Floats]:
    """Weights that draw the line through `side` samples on to half a step, or to a whole one, beyond the last of them."""
    fit = np.linalg.pinv(np.vander(np.arange(side, dtype=float), 2))
    return {between: np.array([side - 1 + 0.5 * between, 1.0]) @ fit for between in (1, 2)}


def _is_clean(torque_nm: Floats, at: int, between: int, leap_nm: float, noise_nm: float, rules: RestRules) -> bool:
    """Whether the samples on either side of a leap lie on a line each, to within the noise, and it is no bend of the curve."""
    side = np.arange(rules.leap_side, dtype=float)
    slopes = []
    for first in (at - side.size, at + between - 1):
        part = torque_nm[first : first + side.size]
        slope, level = np.polyfit(side, part, 1)
        if float(np.std(part - (slope * side + level))) > rules.leap_clean * noise_nm:
            return False
        slopes.append(float(slope))
    return rules.leap_bend * abs(slopes[1] - slopes[0]) < abs(leap_nm)


def zero_line(trace: Trace, zero: Zero, noise_nm: float, largest_nm: float, rules: RestRules) -> Floats | float:
    """What is taken off the torque: the zero before, or where it has moved a line between the rests, or the better of the two.

    Parameters
    ----------
    trace
        The one that `zero` was found on; only its time counts.
    zero
        What its rests prove.
    noise_nm
        Standard deviation of one sample, N.m.
    largest_nm
        The largest torque, N.m.
    rules
        Thresholds.

    Returns
    -------
    array or float
        N.m as the trace has it: (n,) where the zero moved steadily or leapt, else one for all samples.
    """
    if zero.moved_nm is None or zero.before is None or zero.after is None:
        return zero.level_nm
    if zero.leapt_at is not None:
        return np.where(np.arange(len(trace)) < zero.leapt_at, zero.before.level_nm, zero.after.level_nm)
    count = min(zero.before.last - zero.before.first, zero.after.last - zero.after.first)
    if abs(zero.moved_nm) <= rules.moved_noise * noise_nm / math.sqrt(count):
        return zero.level_nm
    if abs(zero.moved_nm) <= rules.between_share * largest_nm:
        # Warmth moves a zero steadily; half way of it is the best guess half way between the rests.
        middle = [float(trace.time_s[rest.first : rest.last].mean()) for rest in (zero.before, zero.after)]
        return np.interp(trace.time_s, middle, [zero.before.level_nm, zero.after.level_nm])
    # A hand that held part of the load, or something hung on: the rest nearer to the sensor's own zero is the better one.
    return min(zero.before.level_nm, zero.after.level_nm, key=abs)
