"""How the friction changes with the speed of sliding: from pulls with varying speed, or between pulls of different speeds.

Friction that falls with speed can excite stick-slip, friction that rises with it damps (the sign rule of shudder; trade notes 4).
The angle goes on turning while the speed changes, so a drift with the angle stands beside the speed in every fit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from analysis.distributions import t_quantile
from analysis.results import Label, PullResult
from analysis.trace import Floats, Trace

DECADE = 10.0  # the slope is told per tenfold speed
CONFIDENCE = 0.95
SLOWEST_DEG_S = 1e-3  # a lever that stands still has no logarithm of its speed


@dataclass(frozen=True, kw_only=True, slots=True)
class SpeedRules:
    """Limits of the reading of friction against speed, each with its reason."""

    block_deg: float = 1.5  # thirty steps of a coarse encoder: its step is 3 % of a block's speed
    block_s: float = 0.2  # two periods of a hand's tremor at 10 Hz; shorter than any sweep
    least_blocks: int = 12  # for five terms and the correlation of their residuals
    outer_percent: float = 5.0  # the speeds covered are those between the outer twentieths
    floor: float = 0.05  # percent a decade: so far a block's mean speed stands for a speed that changes within it
    span: float = 2.0  # contract: a pull tells of the speed if its own spans a factor 2
    least_degrees: float = 4.0  # of a pull with few independent blocks (tests/speed/compare_sets.py --sweeps)
    most_correlated: float = 0.95  # more, and a pull holds hardly one independent block
    sweeps: int = 2  # contract: the speed went up and down so often, then a term once a turn cannot stand for it
    swing: float = 1.2  # a sweep passes the middle speed by this factor on both sides
    turn_deg: float = 360.0
    cycle_gap: float = 2.5  # slips further apart than so many median cycles have quiet sliding in between
    curve_points: int = 7
    load_from: float = 0.3  # the stiffness is read off the load between these shares of the breakaway
    load_to: float = 0.8


RULES = SpeedRules()


@dataclass(frozen=True, slots=True, eq=False)
class SpeedCourse:
    """Steady sliding of one pull in blocks of angle, (m,) each: middle angle, speed, duration, torque, and whether it chatters.

    Magnitudes in the direction of the pull. `low_deg_s` and `high_deg_s` are the speeds covered, outer twentieths left out.
    """

    angle_deg: Floats
    speed_deg_s: Floats
    duration_s: Floats
    torque_nm: Floats
    chatters: NDArray[np.bool_]
    median_deg_s: float
    low_deg_s: float
    high_deg_s: float

    def quiet(self) -> NDArray[np.bool_]:
        """The blocks without chatter."""
        return ~self.chatters


class WhyNot(StrEnum):
    """Why there is no slope (the words of the contract)."""

    ONE_SPEED = "one_speed"
    CHATTERS = "chatters"


class Criterion(StrEnum):
    """What the slope means (the words of the contract)."""

    FALLS = "falls"
    RISES = "rises"
    OPEN = "open"


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """Torque at a speed, with its 95 % interval (None: from too little)."""

    speed_deg_s: float
    torque_nm: float
    low_nm: float | None
    high_nm: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class FrictionAgainstSpeed:
    """Friction against speed of one side. `slope` is percent of the torque at `at_speed_deg_s` for a tenfold speed."""

    within_pulls: bool
    pulls: int
    why_not: WhyNot | None = None
    speed_low_deg_s: float | None = None
    speed_high_deg_s: float | None = None
    slope: float | None = None
    slope_low: float | None = None
    slope_high: float | None = None
    slope_nm_s_per_rad: float | None = None
    at_speed_deg_s: float | None = None
    criterion: Criterion = Criterion.OPEN
    stiffness_nm_per_deg: float | None = None
    curve: tuple[CurvePoint, ...] = ()


def speed_course(trace: Trace, result: PullResult, rules: SpeedRules = RULES) -> SpeedCourse | None:
    """Steady sliding of a pull in blocks of at least `block_deg` and `block_s`; None without an angle or without sliding.

    Parameters
    ----------
    trace
        The recording: torque in N.m, time in s, angle in degrees.
    result
        Its reading; it gives the zero, the direction, the stretches of sliding and the slips.
    rules
        Length of a block, what share of the time counts as outer speeds, and how near slips of one stretch of chatter lie.

    Returns
    -------
    SpeedCourse or None
        Arrays of shape (m,), one value a block, in degrees, deg/s, s and N.m; None also with fewer than two blocks.
    """
    if trace.angle_deg is None or result.direction is None or result.sliding is None:
        return None
    way = result.direction * (-1 if result.angle_reversed else 1)
    rows: list[tuple[float, float, float, float, float]] = []
    for stretch in result.stretches:
        if stretch.label is not Label.SLIDING:
            continue
        first, last = np.searchsorted(trace.time_s, (stretch.from_s, stretch.to_s))
        time_s, angle = trace.time_s[first:last], way * trace.angle_deg[first:last]
        torque = result.direction * (trace.torque_nm[first:last] - (result.zero_nm or 0.0))
        begin = 0
        while begin < time_s.size - 2:
            # The first sample at which the block is long enough in both angle and time.
            by_angle = begin + int(np.searchsorted(np.maximum.accumulate(angle[begin:]), angle[begin] + rules.block_deg))
            end = max(by_angle, int(np.searchsorted(time_s, time_s[begin] + rules.block_s)))
            if end >= time_s.size:
                break
            took, turned = float(time_s[end] - time_s[begin]), float(angle[end] - angle[begin])
            middle_deg = float(angle[begin]) + turned / 2
            rows.append((float(time_s[begin]), took, middle_deg, turned, float(np.median(torque[begin : end + 1]))))
            begin = end
    if len(rows) < 2:
        return None
    start_s, took_s, middle, turned_deg, torque_nm = (np.array(column) for column in zip(*rows, strict=True))
    speed = turned_deg / took_s
    low, median, high = _by_time(speed, took_s, rules)
    chatters = _in_cycles(start_s, took_s, result.chatter.slip_times_s, trace, rules)
    return SpeedCourse(middle, speed, took_s, torque_nm, chatters, median, low, high)


def _by_time(speed: Floats, took_s: Floats, rules: SpeedRules) -> tuple[float, float, float]:
    """The speeds below which the hand was for the outer share of the time, for half of it, and for all but the outer share."""
    order = np.argsort(speed)
    along = np.cumsum(took_s[order]) / took_s.sum()
    outer = rules.outer_percent / 100
    places = np.minimum(np.searchsorted(along, (outer, 0.5, 1 - outer)), speed.size - 1)
    low, median, high = speed[order][places].tolist()
    return low, median, high


def _in_cycles(start_s: Floats, took_s: Floats, slips_s: Sequence[float], trace: Trace, rules: SpeedRules) -> NDArray[np.bool_]:
    """Blocks that lie in cycles of chatter, a cycle to either side with them."""
    inside = np.zeros(start_s.size, dtype=bool)
    if len(slips_s) < 2 or trace.angle_deg is None:
        return inside
    slips = np.array(slips_s)
    turned = np.abs(np.diff(np.interp(slips, trace.time_s, trace.angle_deg)))
    for index in np.flatnonzero(turned <= rules.cycle_gap * np.median(turned)):
        cycle = slips[index + 1] - slips[index]
        inside |= (start_s + took_s > slips[index] - cycle) & (start_s < slips[index + 1] + cycle)
    return inside


def stiffness_of(trace: Trace, result: PullResult, rules: SpeedRules = RULES) -> float | None:
    """Stiffness of the bench between hand and plates, N.m per degree at the lever: the slope of the load before breakaway.

    Parameters
    ----------
    trace
        The recording: torque in N.m, time in s, angle in degrees.
    result
        Its reading; it gives the zero, the direction and the breakaway.
    rules
        The shares of the breakaway torque between which the slope is taken.

    Returns
    -------
    float or None
        N.m per degree; None without an angle or a breakaway, with too few samples on the load, or where the angle does not rise.
    """
    if trace.angle_deg is None or result.breakaway is None or result.direction is None:
        return None
    top = int(np.searchsorted(trace.time_s, result.breakaway.time_s))
    torque = result.direction * (trace.torque_nm[:top] - (result.zero_nm or 0.0))
    below = np.flatnonzero(torque < rules.load_from * result.breakaway.torque_nm)
    above = np.flatnonzero(torque > rules.load_to * result.breakaway.torque_nm)
    if not below.size or not above.size:
        return None
    first = int(below[below < above[0]][-1]) if (below < above[0]).any() else 0
    load, angle = torque[first : above[0]], np.abs(trace.angle_deg[first : above[0]] - trace.angle_deg[first])
    if load.size < 4 or float(np.ptp(angle)) <= 0:
        return None
    # Regressed on the torque: its noise is small against its span, that of a coarse angle is not.
    per_nm = float(np.polyfit(load, angle, 1)[0])
    return 1 / per_nm if per_nm > 0 else None


@dataclass(frozen=True, slots=True)
class _Fit:
    """One pull's torque at the middle speed, its slope in N.m per decade, and the slope's standard error and degrees of freedom."""

    level_nm: float
    slope_nm: float
    error_nm: float
    degrees_of_freedom: float


def friction_against_speed(
    courses: Sequence[SpeedCourse], sliding_nm: Sequence[float], stiffness: float | None = None, rules: SpeedRules = RULES
) -> FrictionAgainstSpeed:
    """Friction against speed of one side.

    Parameters
    ----------
    courses
        Of the pulls that count; a pull chatters where any block of it does.
    sliding_nm
        Sliding torque of the same pulls in the same order, N.m.
    stiffness
        Of the bench, N.m per degree; told beside the slope.
    rules
        What a pull and a side need for a slope.

    Returns
    -------
    FrictionAgainstSpeed
        Slope in percent of the torque for a tenfold speed with its 95 % interval; `why_not` and no slope where every pull chatters
        or the speeds do not differ enough.

    Notes
    -----
    Within pulls: torque on log10 of the speed with a drift over the angle, one slope a pull, t over the slopes; from one pull alone
    the interval is that of its residuals with a correlation of first order. Between pulls: one straight line.
    """
    quiet = [(course, course.quiet()) for course in courses]
    enough = [(course, kept) for course, kept in quiet if int(kept.sum()) >= rules.least_blocks]
    spans = [_covered(course, kept, rules) for course, kept in enough]
    wide = [(course, kept, span) for (course, kept), span in zip(enough, spans, strict=True) if span[1] >= rules.span * span[0]]
    if wide:
        low, high = min(span[0] for *_, span in wide), max(span[1] for *_, span in wide)
        middle = math.sqrt(low * high)
        fits = [fit for course, kept, _ in wide if (fit := _fit(course, kept, middle, rules)) is not None]
        if fits:
            return _within(fits, [(course, kept) for course, kept, _ in wide], (low, high), middle, stiffness, rules)
    steady = [
        (course.median_deg_s, torque) for course, torque in zip(courses, sliding_nm, strict=True) if not course.chatters.any()
    ]
    if courses and not steady and not wide:
        return FrictionAgainstSpeed(within_pulls=False, pulls=0, why_not=WhyNot.CHATTERS, stiffness_nm_per_deg=stiffness)
    speeds = [speed for speed, _ in steady]
    if len(steady) < 3 or max(speeds) < rules.span * min(speeds):
        return FrictionAgainstSpeed(
            within_pulls=False,
            pulls=len(steady),
            why_not=WhyNot.ONE_SPEED,
            speed_low_deg_s=min(speeds, default=None),
            speed_high_deg_s=max(speeds, default=None),
            stiffness_nm_per_deg=stiffness,
        )
    return _between(np.array(speeds), np.array([torque for _, torque in steady]), stiffness)


def _covered(course: SpeedCourse, kept: NDArray[np.bool_], rules: SpeedRules) -> tuple[float, float]:
    low, _, high = _by_time(course.speed_deg_s[kept], course.duration_s[kept], rules)
    return max(low, SLOWEST_DEG_S), max(high, SLOWEST_DEG_S)


def _terms(course: SpeedCourse, kept: NDArray[np.bool_], middle: float, rules: SpeedRules) -> Floats:
    """Columns of the fit: level, decades of speed, drift with the angle; once a turn where that cannot stand for the speed."""
    decades = np.log10(np.maximum(course.speed_deg_s[kept], SLOWEST_DEG_S) / middle)
    angle = course.angle_deg[kept]
    way = angle - angle.mean()
    columns = [np.ones_like(way), decades, way / max(float(np.ptp(way)), 1e-9)]
    if float(np.ptp(angle)) > rules.turn_deg or _sweeps(decades, rules) >= rules.sweeps:
        turn = np.radians(angle)
        columns += [np.cos(turn), np.sin(turn)]
    return np.column_stack(columns)


def _sweeps(decades: Floats, rules: SpeedRules) -> int:
    """How often the speed went up and down again past its middle."""
    middle = 0.5 * (float(np.percentile(decades, 5)) + float(np.percentile(decades, 95)))
    reach = math.log10(rules.swing)
    levels = [1 if value > middle + reach else -1 if value < middle - reach else 0 for value in decades.tolist()]
    passed = [level for level in levels if level]
    turns = [other - one for one, other in pairwise(passed) if other != one]
    return max(sum(turn > 0 for turn in turns), sum(turn < 0 for turn in turns))


def _fit(course: SpeedCourse, kept: NDArray[np.bool_], middle: float, rules: SpeedRules) -> _Fit | None:
    """Least squares with a correlation of first order between neighbouring blocks (Prais & Winsten 1954).

    1. Plain least squares; the correlation of its residuals, which p terms show too small by (p + (p + 2) r)/n (Marriott & Pope,
       Biometrika 41, 1954, for the mean and a trend).
    2. The same on what each block adds to the correlated part of the one before: those errors are independent.
    """
    columns = _terms(course, kept, middle, rules)
    torque = course.torque_nm[kept]
    n, terms = columns.shape
    if n <= terms + 2:
        return None
    found, _, rank, _ = np.linalg.lstsq(columns, torque, rcond=None)
    if rank < terms or found[0] <= 0:
        return None
    residual = torque - columns @ found
    power = float(residual @ residual)
    shown = float(residual[1:] @ residual[:-1]) / power if power > 0 else 0.0
    room = 1 - (terms + 2) / n
    correlation = min(rules.most_correlated, max(0.0, (shown + terms / n) / room)) if room > 0 else rules.most_correlated
    rows = np.vstack([math.sqrt(1 - correlation**2) * columns[:1], columns[1:] - correlation * columns[:-1]])
    values = np.append(math.sqrt(1 - correlation**2) * torque[:1], torque[1:] - correlation * torque[:-1])
    found, *_ = np.linalg.lstsq(rows, values, rcond=None)
    residual = values - rows @ found
    # One more for the correlation. It is itself known from the independent blocks only: those are the degrees of freedom of the t.
    error = math.sqrt(float(residual @ residual) / (n - terms - 1) * float(np.linalg.inv(rows.T @ rows)[1, 1]))
    independent = n * (1 - correlation) / (1 + correlation)
    return _Fit(float(found[0]), float(found[1]), error, max(rules.least_degrees, independent - terms))


def _within(
    fits: Sequence[_Fit],
    kept: Sequence[tuple[SpeedCourse, NDArray[np.bool_]]],
    speeds: tuple[float, float],
    middle: float,
    stiffness: float | None,
    rules: SpeedRules,
) -> FrictionAgainstSpeed:
    slopes = np.array([100 * fit.slope_nm / fit.level_nm for fit in fits])
    level = float(np.mean([fit.level_nm for fit in fits]))
    slope = float(slopes.mean())
    if slopes.size > 1:
        reach = _t(slopes.size - 1) * float(slopes.std(ddof=1)) / math.sqrt(slopes.size)
    else:
        reach = _t(fits[0].degrees_of_freedom) * 100 * fits[0].error_nm / fits[0].level_nm
    reach = math.hypot(reach, 2 * rules.floor)
    return FrictionAgainstSpeed(
        within_pulls=True,
        pulls=len(fits),
        speed_low_deg_s=speeds[0],
        speed_high_deg_s=speeds[1],
        slope=slope,
        slope_low=slope - reach,
        slope_high=slope + reach,
        slope_nm_s_per_rad=_tangent(slope * level / 100, middle),
        at_speed_deg_s=middle,
        criterion=_criterion(slope - reach, slope + reach),
        stiffness_nm_per_deg=stiffness,
        curve=_curve(kept, speeds, level, rules),
    )


def _between(speeds: Floats, torque: Floats, stiffness: float | None) -> FrictionAgainstSpeed:
    low, high = float(speeds.min()), float(speeds.max())
    middle = math.sqrt(low * high)
    decades = np.log10(speeds / middle)
    columns = np.column_stack([np.ones_like(decades), decades])
    found, *_ = np.linalg.lstsq(columns, torque, rcond=None)
    residual = torque - columns @ found
    degrees = torque.size - 2
    covariance = float(residual @ residual) / degrees * np.linalg.inv(columns.T @ columns)
    level, slope = float(found[0]), 100 * float(found[1]) / float(found[0])
    reach = _t(degrees) * 100 * math.sqrt(float(covariance[1, 1])) / level
    curve = []
    for at in (low, middle, high):
        row = np.array([1.0, math.log10(at / middle)])
        value, spread = float(row @ found), _t(degrees) * math.sqrt(float(row @ covariance @ row))
        curve.append(CurvePoint(at, value, value - spread, value + spread))
    return FrictionAgainstSpeed(
        within_pulls=False,
        pulls=torque.size,
        speed_low_deg_s=low,
        speed_high_deg_s=high,
        slope=slope,
        slope_low=slope - reach,
        slope_high=slope + reach,
        slope_nm_s_per_rad=_tangent(slope * level / 100, middle),
        at_speed_deg_s=middle,
        criterion=_criterion(slope - reach, slope + reach),
        stiffness_nm_per_deg=stiffness,
        curve=tuple(curve),
    )


def _curve(
    kept: Sequence[tuple[SpeedCourse, NDArray[np.bool_]]], speeds: tuple[float, float], level: float, rules: SpeedRules
) -> tuple[CurvePoint, ...]:
    """Mean torque in equal steps of log speed, pulls brought to one level; the interval is over pulls, else over blocks."""
    edges = np.geomspace(speeds[0], speeds[1], rules.curve_points + 1)
    points = []
    for low, high in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        means, blocks = [], []
        for course, mine in kept:
            here = mine & (course.speed_deg_s >= low) & (course.speed_deg_s <= high)
            if here.any():
                scaled = course.torque_nm[here] * (level / float(course.torque_nm[mine].mean()))
                means.append(float(scaled.mean()))
                blocks.append(scaled)
        if not means:
            continue
        values = np.array(means) if len(means) > 1 else blocks[0]
        reach = _t(values.size - 1) * float(values.std(ddof=1)) / math.sqrt(values.size) if values.size > 1 else None
        mean = float(np.mean(means))
        ends = (None, None) if reach is None else (mean - reach, mean + reach)
        points.append(CurvePoint(math.sqrt(low * high), mean, *ends))
    return tuple(points)


def _tangent(slope_nm_per_decade: float, at_deg_s: float) -> float:
    """dT/dw in N.m per rad/s at that speed: of T = a + b log10(w) it is b / (w ln 10)."""
    return slope_nm_per_decade / (math.log(DECADE) * math.radians(at_deg_s))


def _criterion(low: float, high: float) -> Criterion:
    return Criterion.FALLS if high < 0 else Criterion.RISES if low > 0 else Criterion.OPEN


def _t(degrees: float) -> float:
    return float(t_quantile(0.5 + CONFIDENCE / 2, degrees))
