"""What makes a reading doubtful: codes with the figure behind each, no sentences."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from analysis.pull.conditioning import Conditioned
from analysis.pull.course import Course
from analysis.pull.noise import percentile
from analysis.pull.rest import WARMTH_SHARE
from analysis.pull.sliding import Plateau
from analysis.results import QualityCode, QualityFlag, Sensor

RATE_SLACK = 0.995
"""A rate is low below this share of the limit: rates come rounded, and clocks differ."""
RIPPLE_LOW, RIPPLE_HIGH = 2.0, 98.0
"""Percentiles of the sliding torque between which it swings."""
RIPPLE_EDGE = 0.25
"""Of the swing: so near to its ends it counts as up, or down."""
PEAK_FOOT_S = 0.02
"""The ramp is looked at up to so long before the peak."""
DRIFT_NOISE = 3
"""Standard errors of the noise within which two rests are at the same level ..."""
WARM_NOISE = 6
"""... and deviations within which a level that moved while the sensor warmed is."""


@dataclass(frozen=True, kw_only=True, slots=True)
class QualityRules:
    """Limits of a reading without doubt, each with its reason (trade notes 2.4 and 6 where not said otherwise)."""

    least_travel_deg: float = 20.0  # less sliding than this says little of the mean; the trade asks for 90 degrees
    fastest_deg_per_s: float = 90.0  # a steady pull is 3 to 30 degrees a second; thrice that is past any bench practice
    shortest_ramp_s: float = 0.15  # from zero to break in less than this is a jerk: the ramp should take 1 to 3 s
    lowest_rate_hz: float = 100.0  # breakaway needs 100 samples a second
    ramp_step_share: float = 0.01  # ... or the ramp climbs by more than this share of the peak between two samples
    drift_share_of_result: float = 0.01  # zero moved by more than 1 % of the result
    drift_share_of_range: float = 0.005  # ... or 0.5 % of the range
    ripple_s: float = 0.05  # what swings more slowly than this ...
    ripple_turns: int = 2  # ... down and up again ...
    ripple_share: float = 0.04  # ... by more than this share of sliding ...
    ripple_crest: float = 0.98  # ... to this share of breakaway, has crests that could pass for it
    coarse_share: float = 0.005  # the sensor's step is more than this share of the reading


def find_quality_flags(
    c: Conditioned, course: Course | None, peak_nm: float | None, travel_deg: float | None, sensor: Sensor, rules: QualityRules
) -> tuple[QualityFlag, ...]:
    """All doubts of a pull, in the order of the codes.

    Parameters
    ----------
    c
        The conditioned trace.
    course
        None: no load was ever taken up.
    peak_nm
        Breakaway, N.m; None: none was read.
    travel_deg
        Angle turned in steady sliding, deg; None: no sliding, or no angle.
    sensor
        Its capacity counts here, N.m.
    rules
        Limits.

    Returns
    -------
    tuple of QualityFlag
        Each with the figure behind it and its limit, in the unit of that figure; empty for a pull without doubt.
    """
    return tuple(_quality(c, course, peak_nm, travel_deg, sensor, rules))


def _quality(
    c: Conditioned, course: Course | None, peak_nm: float | None, travel_deg: float | None, sensor: Sensor, rules: QualityRules
) -> Iterator[QualityFlag]:
    if course is not None and peak_nm is not None:
        slid = travel_deg if c.angle_deg is not None else None
        if c.peak_held:
            yield QualityFlag(QualityCode.PEAK_HELD)
        elif not course.sliding or (slid is not None and slid < rules.least_travel_deg):
            yield QualityFlag(QualityCode.SHORT_TRAVEL, slid if slid is not None else 0.0, rules.least_travel_deg)
        yield from _haste(c, course, rules)
        # A hand that stops, holds and then lets go has ended its pull; one that goes on has hesitated.
        on = course.sliding[-1][1] if course.sliding else 0
        stopped = sum(float(c.time_s[b] - c.time_s[a]) for a, b in course.pauses if b < on)
        if stopped or len(course.load_segments) > 1:
            yield QualityFlag(QualityCode.HESITATED, stopped)
    if c.clipped.any():
        yield QualityFlag(QualityCode.OVERLOAD, float(np.max(np.abs(c.torque_nm[c.clipped]))), sensor.capacity_nm)
    # After the lever was let go it swings: seen slowly that looks like spikes, and spoils nothing.
    ends = c.time_s.size if course is None or course.let_go is None else course.let_go
    spikes = int(np.count_nonzero(c.spikes < ends))
    if spikes:
        yield QualityFlag(QualityCode.SPIKES, float(spikes))
    if c.bursts.size:
        yield QualityFlag(QualityCode.BURST, c.bursts.size * c.step_s)
    if c.gaps.size:
        yield QualityFlag(QualityCode.GAPS, float(np.max(np.diff(c.time_s)[c.gaps])))
    yield from _rate(c, course, peak_nm, rules)
    yield from zero_flags(c, peak_nm, sensor, rules)
    if peak_nm is not None and c.resolution_nm > rules.coarse_share * peak_nm:
        yield QualityFlag(QualityCode.COARSE, c.resolution_nm, rules.coarse_share * peak_nm)
    if c.angle_doubtful:
        yield QualityFlag(QualityCode.ANGLE_DOUBTFUL, c.resolution_deg or None)
    if course is not None and peak_nm is not None and course.rival is not None:
        yield QualityFlag(QualityCode.TWO_RELEASES, float(course.smooth_nm[course.rival]), None)
    if course is not None and peak_nm is not None and _let_go_early(c, course):
        yield QualityFlag(QualityCode.LET_GO, travel_deg)


def _haste(c: Conditioned, course: Course, rules: QualityRules) -> Iterator[QualityFlag]:
    speed = 0.0
    if c.angle_deg is not None and course.sliding:
        turned = sum(float(c.angle_deg[b - 1] - c.angle_deg[a]) for a, b in course.sliding)
        took = sum(float(c.time_s[b - 1] - c.time_s[a]) for a, b in course.sliding)
        speed = turned / took if took > 0 else 0.0
    ramp_s = float(c.time_s[course.peak] - c.time_s[course.load_from])
    if speed > rules.fastest_deg_per_s:
        yield QualityFlag(QualityCode.TOO_FAST, speed, rules.fastest_deg_per_s)
    elif ramp_s < rules.shortest_ramp_s:
        yield QualityFlag(QualityCode.TOO_FAST, None, rules.shortest_ramp_s)


def _rate(c: Conditioned, course: Course | None, peak_nm: float | None, rules: QualityRules) -> Iterator[QualityFlag]:
    if 1.0 / c.value_s < RATE_SLACK * rules.lowest_rate_hz:
        yield QualityFlag(QualityCode.LOW_RATE, 1.0 / c.value_s, rules.lowest_rate_hz)
    elif course is not None and peak_nm:
        before = course.peak - max(2, c.samples_in(PEAK_FOOT_S))
        if before >= 0:
            step = float(c.torque_nm[course.peak] - c.torque_nm[before]) / (course.peak - before)
            if step > rules.ramp_step_share * peak_nm:
                yield QualityFlag(QualityCode.LOW_RATE, c.rate_hz, None)


def zero_flags(c: Conditioned, peak_nm: float | None, sensor: Sensor, rules: QualityRules) -> Iterator[QualityFlag]:
    """What is to be said of the zero: too little rest to prove it, moved, or a level at rest that stepped.

    Parameters
    ----------
    c
        The conditioned trace.
    peak_nm
        Breakaway, N.m; None: none was read, and what a drift is held against is missing.
    sensor
        Its capacity counts here, N.m.
    rules
        Limits.

    Returns
    -------
    iterator of QualityFlag
        Rest in s, drift and step in N.m, signed in the direction of the pull.
    """
    if c.zero.unproven:
        lasted = sum((rest.last - rest.first) * c.step_s for rest in (c.zero.before, c.zero.after) if rest is not None)
        yield QualityFlag(QualityCode.ZERO_UNPROVEN, lasted)
    if c.drift_nm is not None and peak_nm is not None:
        limit = rules.drift_share_of_result * peak_nm
        if sensor.capacity_nm is not None:
            limit = min(limit, rules.drift_share_of_range * sensor.capacity_nm)
        if abs(c.drift_nm) > max(limit, DRIFT_NOISE * c.noise_nm / max(1.0, c.rest_to) ** 0.5):
            yield QualityFlag(QualityCode.ZERO_DRIFT, c.drift_nm, limit)
    warmth = WARMTH_SHARE * c.largest_nm
    if c.zero.stepped_nm:
        yield QualityFlag(QualityCode.REST_MOVED, c.sign * c.zero.stepped_nm, None)
    elif c.drift_nm is not None and peak_nm is not None and abs(c.drift_nm) > max(warmth, WARM_NOISE * c.noise_nm):
        yield QualityFlag(QualityCode.REST_MOVED, c.drift_nm, warmth)


def ripple_flag(c: Conditioned, course: Course, peak_nm: float, plateau: Plateau | None, rules: QualityRules) -> QualityFlag | None:
    """That the torque swings while the unit turns, so high that another crest could pass for breakaway; None: it does not.

    Parameters
    ----------
    c
        The conditioned trace.
    course
        Its spans of sliding are looked at.
    peak_nm
        Breakaway, N.m.
    plateau
        Its ripple tells whether the swing is locked to the angle; without an angle only that it swings.
    rules
        Limits.

    Returns
    -------
    QualityFlag or None
        With the height of the swing, N.m.
    """
    if plateau is None or (c.angle_deg is not None and not plateau.ripple):
        return None
    smooth = c.smooth(rules.ripple_s)
    torque = np.concatenate([smooth[a:b] for a, b in course.sliding])
    low, high = percentile(torque, RIPPLE_LOW), percentile(torque, RIPPLE_HIGH)
    if high - low < rules.ripple_share * plateau.torque_nm or high < rules.ripple_crest * peak_nm:
        return None
    edge = RIPPLE_EDGE * (high - low)
    side = np.where(torque > high - edge, 1, np.where(torque < low + edge, -1, 0))
    turns = int(np.count_nonzero(np.diff(side[side != 0])))
    return (
        QualityFlag(QualityCode.RIPPLE, high - low, rules.ripple_share * plateau.torque_nm) if turns >= rules.ripple_turns else None
    )


def _let_go_early(c: Conditioned, course: Course) -> bool:
    """Whether the hand let go before the plates slid: load and release without steady sliding."""
    return not course.sliding and course.let_go is not None
