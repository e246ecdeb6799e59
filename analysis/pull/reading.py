"""Reading one pull: the only composer of the parts."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from analysis.bounds import PULL_LEAST_S
from analysis.distributions import RECTANGULAR, RECTANGULAR_WIDTH
from analysis.pull.angle import COARSE_DEG
from analysis.pull.bandwidth import NOTHING_LOST, BandwidthRules, LagShare, averages, find_lag, share_of_lag
from analysis.pull.breakaway import Peak, PeakRules, peak_on_stairs, refine_peak
from analysis.pull.chatter import ChatterRules, measure, read_chatter
from analysis.pull.conditioning import Conditioned, ConditionRules, condition
from analysis.pull.course import Course, detection_limit, find_course, holds_nothing, name_stretches, working_level
from analysis.pull.first_slip import CourseRules
from analysis.pull.noise import NOISE_BANDWIDTH_HZ, median, slope_of
from analysis.pull.packets import spread_packets
from analysis.pull.quality import QualityRules, find_quality_flags, ripple_flag, zero_flags
from analysis.pull.sliding import Plateau, read_plateau
from analysis.pull.tremor import (
    TremorRules,
    hum_on_the_ramp,
    noise_while_turning,
    peak_under_tremor,
    rides_on_sensor,
    tremor_on_the_ramp,
)
from analysis.results import (
    CHATTERS_FROM,
    Breakaway,
    BudgetLine,
    BudgetSource,
    Chatter,
    PullResult,
    QualityCode,
    QualityFlag,
    Sensor,
    Sliding,
)
from analysis.trace import Trace
from analysis.verdict.uncertainty import calibration_line, combine

UNKNOWN_SENSOR = Sensor()


HERMITE = 4 / 27
"""A cubic that leaves the ends of its chord by a slope stands off it by this share of slope times length at most."""
REST_LEAST = 8
"""Samples of a rest that tell the slope of a drift."""
STATED_NOISE = 3
"""A stated zero that lies within so many standard deviations of the noise of the trace's own is not contradicted."""
FREE_TURN_DEG, FREE_TURN_STEPS = 5.0, 4
"""A lever that turned further, and by so many steps of its encoder, while nothing resisted is a unit that turns freely."""


@dataclass(frozen=True, kw_only=True, slots=True)
class KnownOfRest:
    """What is known of the level at rest beside the trace, signed as the trace, N.m.

    load_nm     a lever that hung on: a load that the plates carry at rest, to be counted in
    moved_nm    the level at rest stepped by so much before the pull, and nobody has said why
    explained   a person has said why the level at rest stepped before the pull: it is no reason for doubt any more
    stated_nm   the zero before the pull as it was stated with the trace; held against the trace's own rests, never taken for them
    """

    load_nm: float = 0.0
    moved_nm: float = 0.0
    explained: bool = False
    stated_nm: float | None = None


NOTHING_KNOWN = KnownOfRest()
NO_CHATTER, CALM_SCORE = Chatter(assessable=True, score=0.0, travel_share=0.0, stuck_time_share=0.0), 0.1
HIDDEN_BY_PEAK = Chatter(assessable=False, score=0.0, why_not="peak_held")


@dataclass(frozen=True, kw_only=True, slots=True)
class ReadingRules:
    """The rules of all parts together."""

    condition: ConditionRules = field(default_factory=ConditionRules)
    course: CourseRules = field(default_factory=CourseRules)
    peak: PeakRules = field(default_factory=PeakRules)
    chatter: ChatterRules = field(default_factory=ChatterRules)
    tremor: TremorRules = field(default_factory=TremorRules)
    quality: QualityRules = field(default_factory=QualityRules)
    least_samples: int = 10
    loaded_share: float = 0.5
    # A zero that no rest proves: what a mounted sensor may stand off it, of its range or, where that is not known, of the reading
    # (common practice, no source). No verdict rests on it.
    zero_share_of_range: float = 0.05
    zero_share: float = 0.2
    drift_slope_errors: float = 2.0  # the slope of a rest is known to so many of its standard errors ...
    drift_along: float = 0.5  # ... and goes along the line between the rests if it is off by less than this share of the line's
    bandwidth: BandwidthRules = field(default_factory=BandwidthRules)
    chatter_bandwidth_hz: float = 20.0  # chatter of 7 Hz and more, above a third of this, would not be seen: that is not 'smooth'


def read_pull(
    trace: Trace, sensor: Sensor = UNKNOWN_SENSOR, rules: ReadingRules | None = None, known: KnownOfRest | None = None
) -> PullResult:
    """Read one pull: course, breakaway, sliding, chatter, quality. Never raises on a Trace, whatever it holds.

    `known` is what a person or the bench knows of the level at rest and the trace cannot tell.

    1. Condition: zero, noise, spikes, clipping, direction.
    2. Course: where the load is taken up, where the plates let go for good, where they slide, pause, let go.
    3. Read each figure off the course, with its uncertainty.

    Parameters
    ----------
    trace
        The pull with its rests before and after: s, N.m and, where there is one, deg.
    sensor
        What is stated of it; by default nothing.
    rules
        Thresholds of all parts; None: the usual ones.
    known
        Of the level at rest; None: nothing.

    Returns
    -------
    PullResult
        Torques as magnitudes with their budgets in N.m, `direction` 1 or -1; breakaway and sliding None where they cannot be read.
    """
    rules, known, trace = rules or ReadingRules(), known or NOTHING_KNOWN, spread_packets(trace)
    if len(trace) < rules.least_samples or trace.duration_s < PULL_LEAST_S or float(np.ptp(trace.torque_nm)) == 0.0:
        return _nothing(trace, None)
    c = condition(trace, sensor, rules.condition, known.load_nm)
    smooth = c.smooth(rules.course.smooth_s)
    level, top = working_level(c, smooth), float(smooth.max())
    if holds_nothing(c, level, top, sensor.capacity_nm, rules.course):
        return _free_or_nothing(trace, c, sensor.capacity_nm, rules.course)
    course = find_course(c, level, smooth, rules.course)
    if course is None:
        return _free_or_nothing(trace, c, sensor.capacity_nm, rules.course)
    peak = refine_peak(c, course, rules.peak)
    plateau = None if c.peak_held else read_plateau(c, course)
    measured = None if c.peak_held else measure(c, course, plateau.torque_nm if plateau else level, rules.chatter)
    chatter = HIDDEN_BY_PEAK if c.peak_held else read_chatter(c, course, measured, rules.chatter)
    if measured is not None and chatter.score < CHATTERS_FROM and rides_on_sensor(c, course, measured[0], rules.tremor):
        calm = peak_under_tremor(c, course, measured[0].rate_hz, rules.tremor)
        if calm is not None:
            peak = replace(peak, torque_nm=calm.torque_nm, time_s=calm.time_s, tremor_u_nm=calm.u_nm)
    hum = hum_on_the_ramp(c, course, chatter.frequency_hz, rules.tremor) if chatter.frequency_hz is not None else None
    if hum is not None:
        chatter = replace(NO_CHATTER, assessable=chatter.assessable, score=min(chatter.score, CALM_SCORE), why_not=chatter.why_not)
        peak = replace(peak, tremor_u_nm=max(peak.tremor_u_nm, hum))
    if chatter.score >= 0.5:
        peak = replace(peak, tremor_u_nm=tremor_on_the_ramp(c, course, rules.tremor))
    else:
        peak = replace(peak, u_nm=math.hypot(peak.u_nm, rules.tremor.crest * noise_while_turning(c, course, rules.tremor)))
    lag = None if c.clipped.any() or c.peak_held else find_lag(c, course, sensor, rules.bandwidth)
    lost = NOTHING_LOST if lag is None else share_of_lag(c, course, lag, rules.bandwidth, rules.peak)
    if c.value_s >= rules.peak.stairs_s and not c.clipped.any():
        on_stairs = peak_on_stairs(c, course, rules.peak)
        if lag is None:  # values of the moment, or means that no release told: up to one and a half stairs
            peak = replace(peak, sampling_u_nm=max(peak.sampling_u_nm, 2 * on_stairs.sampling_u_nm))
        elif averages(c, lag, rules.bandwidth):
            peak, lost = on_stairs, replace(lost, peak_nm=0.0, peak_u_nm=0.0)
    peak = replace(peak, torque_nm=peak.torque_nm + lost.peak_nm)
    quality = find_quality_flags(c, course, peak.torque_nm, plateau.travel_deg if plateau else None, sensor, rules.quality)
    ripple = ripple_flag(c, course, peak.torque_nm, plateau, rules.quality) if chatter.score < CHATTERS_FROM else None
    quality = quality if ripple is None else (*quality, ripple)
    if lag is not None and lag.proven:
        hidden = lag.bandwidth_hz < rules.chatter_bandwidth_hz
        if hidden or lost.peak_nm > rules.bandwidth.told_share * peak.torque_nm:
            quality = (*quality, QualityFlag(QualityCode.SLOW_SENSOR, lag.bandwidth_hz))
    sliding = None if plateau is None else _sliding(c, plateau, sensor, chatter, rules, lost)
    if lag is not None and lag.proven and lag.bandwidth_hz < rules.chatter_bandwidth_hz:
        chatter = _seen_slowly(chatter)
    # A pull whose first sample is already half way up has lost its beginning.
    began_under_load = not c.rest_to and median(c.torque_nm[:5]) > rules.loaded_share * level
    return PullResult(
        samples=len(trace),
        duration_s=trace.duration_s,
        rate_hz=c.rate_hz,
        direction=c.sign,
        stretches=name_stretches(c, course),
        breakaway=None if began_under_load or peak.torque_nm <= 0 else _breakaway(trace, c, course, peak, sensor, rules, lost),
        sliding=sliding,
        chatter=chatter,
        quality=_with_known(quality, known),
        zero_nm=None if c.zero.before is None else c.zero.before.level_nm,
        zero_after_nm=None if c.zero.after is None else c.zero.after.level_nm,
        noise_nm=c.noise_nm,
        began_under_load=began_under_load,
        angle_reversed=c.angle_reversed,
        stated_zero_nm=_contradicted(c, known, peak.torque_nm, rules),
        calibration=sensor.calibration,
    )


def _seen_slowly(chatter: Chatter) -> Chatter:
    """What a slow sensor lets be said: that the plates chatter, where that shows, but neither how high nor how often.

    Slips that follow each other quickly pass as one; and where it shows nothing, that says nothing.
    """
    if not chatter.present:
        return replace(chatter, assessable=False, why_not="slow_sensor") if chatter.assessable else chatter
    return Chatter(
        assessable=True,
        score=chatter.score,
        cycles=chatter.cycles,
        travel_share=chatter.travel_share,
        stuck_time_share=chatter.stuck_time_share,
    )


def _with_known(quality: tuple[QualityFlag, ...], known: KnownOfRest) -> tuple[QualityFlag, ...]:
    if known.explained:
        quality = tuple(flag for flag in quality if flag.code is not QualityCode.REST_MOVED or flag.limit is not None)
    if not known.moved_nm or any(flag.code is QualityCode.REST_MOVED for flag in quality):
        return quality
    return (*quality, QualityFlag(QualityCode.REST_MOVED, known.moved_nm))


def _contradicted(c: Conditioned, known: KnownOfRest, peak_nm: float, rules: ReadingRules) -> float | None:
    """A stated zero that the trace's own rest contradicts; None where there is none."""
    if known.stated_nm is None or c.zero.before is None:
        return None
    limit = max(rules.quality.drift_share_of_result * peak_nm, STATED_NOISE * c.noise_nm)
    return known.stated_nm if abs(known.stated_nm - c.zero.before.level_nm) > limit else None


def _nothing(trace: Trace, c: Conditioned | None, *, held_nothing: bool = False, detection_nm: float | None = None) -> PullResult:
    rate = c.rate_hz if c is not None else None
    if rate is None and len(trace) > 1:
        rate = 1.0 / median(np.diff(trace.time_s))
    flags = [] if held_nothing else [QualityFlag(QualityCode.NO_PULL)]
    if c is not None:
        flags += zero_flags(c, None, Sensor(), QualityRules())
    return PullResult(
        samples=len(trace),
        duration_s=trace.duration_s,
        rate_hz=rate,
        direction=c.sign if c is not None and held_nothing else None,
        stretches=name_stretches(c, None) if c is not None else (),
        breakaway=None,
        sliding=None,
        chatter=Chatter(assessable=False, score=0.0, why_not="no_sliding"),
        quality=tuple(flags),
        zero_nm=c.zero.before.level_nm if c is not None and c.zero.before is not None else None,
        zero_after_nm=c.zero.after.level_nm if c is not None and c.zero.after is not None else None,
        noise_nm=c.noise_nm if c is not None else None,
        held_nothing=held_nothing,
        detection_nm=detection_nm,
    )


def _free_or_nothing(trace: Trace, c: Conditioned, capacity_nm: float | None, rules: CourseRules) -> PullResult:
    """A lever that turned while nothing resisted is a free-spinning unit; one that did not turn is no pull."""
    turned = 0.0 if c.angle_deg is None else float(np.ptp(c.angle_deg))
    # Without a rest a load that nobody let go of looks like nothing: that is no free unit.
    spun = turned > max(FREE_TURN_DEG, FREE_TURN_STEPS * c.resolution_deg) and not c.zero.unproven
    return _nothing(trace, c, held_nothing=spun, detection_nm=detection_limit(c, capacity_nm, rules) if spun else None)


def _common_lines(c: Conditioned, torque_nm: float, sensor: Sensor, rules: ReadingRules) -> list[BudgetLine]:
    """Lines that every figure shares: calibration and zero."""
    lines = [line for line in (calibration_line(torque_nm, sensor, c.sign),) if line is not None]
    rest = c.zero.before or c.zero.after
    if rest is not None:
        zero = c.noise_nm / math.sqrt(max(1.0, (rest.last - rest.first) * min(1.0, NOISE_BANDWIDTH_HZ * c.step_s)))
        lines.append(BudgetLine(BudgetSource.ZERO, zero))
    if c.zero.unproven:
        range_nm = rules.zero_share_of_range * sensor.capacity_nm if sensor.capacity_nm else rules.zero_share * torque_nm
        lines.append(BudgetLine(BudgetSource.ZERO_UNPROVEN, range_nm / RECTANGULAR))
    if c.drift_nm is not None and c.zero.leapt_at is None:
        # Warmth moves a zero steadily, and half way is taken off; what else moved it may have done so at any moment.
        small = abs(c.drift_nm) <= rules.quality.drift_share_of_result * torque_nm
        unknown = abs(c.drift_nm) / (RECTANGULAR_WIDTH if small else RECTANGULAR)
        off_line = _off_the_line(c, rules)
        lines.append(BudgetLine(BudgetSource.ZERO_DRIFT, unknown if off_line is None else min(unknown, off_line / RECTANGULAR)))
    # JCGM 100 F.2.2.1: a step d has standard uncertainty 0.29 d; noise larger than the step averages it away.
    if c.resolution_nm > 2 * c.noise_nm:
        lines.append(BudgetLine(BudgetSource.RESOLUTION, c.resolution_nm / RECTANGULAR_WIDTH))
    return lines


def _off_the_line(c: Conditioned, rules: ReadingRules) -> float | None:
    """How far a drift may stand off the line between the rests, N.m; None where the rests do not show that it went along it.

    A curve that leaves its chord's ends by slopes r and s off the chord's stands off it by no more than 4/27 of the time between,
    times the larger of them (cubic of Hermite): each rest tells its slope, and how well.
    """
    before, after = c.zero.before, c.zero.after
    if (
        before is None
        or after is None
        or c.drift_nm is None
        or min(rest.last - rest.first for rest in (before, after)) < REST_LEAST
    ):
        return None
    between_s = float(c.time_s[after.first : after.last].mean() - c.time_s[before.first : before.last].mean())
    chord = abs(c.drift_nm) / between_s
    slopes = []
    # The line runs from the middle of one rest to that of the other, and is taken off: what slope is left there stands off it.
    inner = ((before.first + before.last) // 2, before.last), (after.first, (after.first + after.last) // 2)
    for first, last in inner:
        time_s = c.time_s[first:last]
        error = c.noise_nm / math.sqrt(max(float(np.sum((time_s - time_s.mean()) ** 2)), 1e-12))
        slopes.append(abs(slope_of(time_s, c.torque_nm[first:last])) + rules.drift_slope_errors * error)
    return HERMITE * between_s * max(slopes) if max(slopes) < rules.drift_along * chord else None


def _breakaway(
    trace: Trace, c: Conditioned, course: Course, peak: Peak, sensor: Sensor, rules: ReadingRules, lost: LagShare
) -> Breakaway:
    lines = _common_lines(c, peak.torque_nm, sensor, rules)
    lines += [
        BudgetLine(BudgetSource.NOISE, peak.u_nm),
        BudgetLine(BudgetSource.SAMPLING, peak.sampling_u_nm),
        BudgetLine(BudgetSource.PEAK_FIT, peak.shape_u_nm),
        BudgetLine(BudgetSource.SOFT_KNEE, peak.knee_u_nm),
        BudgetLine(BudgetSource.TREMOR, peak.tremor_u_nm),
        BudgetLine(BudgetSource.SENSOR_LAG, lost.peak_u_nm),
    ]
    angle = None if trace.angle_deg is None else float(np.interp(peak.time_s, trace.time_s, trace.angle_deg))
    step = None if course.first_step is None else float(course.smooth_nm[course.first_step])
    return Breakaway(peak.torque_nm, peak.time_s, angle, combine(lines), step)


def _sliding(c: Conditioned, plateau: Plateau, sensor: Sensor, chatter: Chatter, rules: ReadingRules, lost: LagShare) -> Sliding:
    lines = [
        *_common_lines(c, plateau.torque_nm, sensor, rules),
        BudgetLine(BudgetSource.NOISE, plateau.u_nm),
        BudgetLine(BudgetSource.SLIDING_INTERVAL, plateau.interval_u_nm),
        BudgetLine(BudgetSource.SENSOR_LAG, lost.sliding_u_nm),
    ]
    if chatter.peak_to_peak_nm is not None and chatter.cycles:
        # The stretch holds whole cycles only to within one, rectangular; below some 20 samples a cycle its fall is cut coarsely.
        lines.append(BudgetLine(BudgetSource.WHOLE_CYCLES, chatter.peak_to_peak_nm / (RECTANGULAR_WIDTH * chatter.cycles)))
        samples = c.rate_hz / (chatter.frequency_hz or c.rate_hz)
        lines.append(BudgetLine(BudgetSource.SAMPLING, chatter.peak_to_peak_nm / (RECTANGULAR * samples)))
    if chatter.peak_to_peak_nm is not None and c.resolution_deg >= COARSE_DEG:
        # How much of the turning happened at which torque cannot be told between two steps of a coarse encoder.
        lines.append(BudgetLine(BudgetSource.ANGLE, chatter.peak_to_peak_nm / RECTANGULAR_WIDTH))
    return Sliding(
        plateau.torque_nm + lost.sliding_nm,
        plateau.from_s,
        plateau.to_s,
        plateau.travel_deg,
        combine(lines),
        plateau.slope_nm_per_deg,
        plateau.ripple,
    )
