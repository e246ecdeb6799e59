"""Reading one pull: the only composer of the parts."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from analysis.pull.breakaway import Peak, PeakRules, refine_peak
from analysis.pull.chatter import ChatterRules, measure, read_chatter
from analysis.pull.conditioning import Conditioned, ConditionRules, condition
from analysis.pull.course import Course, detection_limit, find_course, holds_nothing, name_stretches, working_level
from analysis.pull.first_slip import CourseRules
from analysis.pull.quality import QualityRules, find_quality_flags
from analysis.pull.sliding import Plateau, read_plateau
from analysis.pull.tremor import TremorRules, peak_under_tremor, rides_on_sensor
from analysis.results import Breakaway, BudgetLine, Chatter, PullResult, QualityCode, QualityFlag, Sensor, Sliding
from analysis.trace import Trace
from analysis.verdict.uncertainty import calibration_line, combine

UNKNOWN_SENSOR = Sensor()


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


def read_pull(trace: Trace, sensor: Sensor = UNKNOWN_SENSOR, rules: ReadingRules | None = None) -> PullResult:
    """Read one pull: course, breakaway, sliding, chatter, doubts. Never raises on a Trace, whatever it holds.

    1. Condition: zero, noise, spikes, clipping, direction.
    2. Course: where the load is taken up, where the plates let go for good, where they slide, pause, let go.
    3. Read each figure off the course, with its uncertainty.
    """
    rules = rules or ReadingRules()
    if len(trace) < rules.least_samples or float(np.ptp(trace.torque_nm)) == 0.0:
        return _nothing(trace, None)
    c = condition(trace, sensor, rules.condition)
    smooth = c.smooth(rules.course.smooth_s)
    level, top = working_level(c, smooth), float(smooth.max())
    if holds_nothing(c, level, top, sensor.capacity_nm, rules.course):
        return _free_or_nothing(trace, c, sensor.capacity_nm, rules.course)
    course = find_course(c, level, smooth, rules.course)
    if course is None:
        return _free_or_nothing(trace, c, sensor.capacity_nm, rules.course)
    peak = refine_peak(c, course, rules.peak)
    plateau = read_plateau(c, course)
    measured = measure(c, course, plateau.torque_nm if plateau else level, rules.chatter)
    chatter = read_chatter(c, course, measured, rules.chatter)
    if measured is not None and chatter.score < 0.5 and rides_on_sensor(c, course, measured[0], rules.tremor):
        calm = peak_under_tremor(c, course, measured[0].rate_hz, rules.tremor)
        if calm is not None:
            peak = replace(peak, torque_nm=calm.torque_nm, time_s=calm.time_s, tremor_u_nm=calm.u_nm)
    # A pull whose first sample is already half way up has lost its beginning.
    began_under_load = not c.rest_to and float(np.median(c.torque_nm[:5])) > rules.loaded_share * level
    return PullResult(
        samples=len(trace),
        duration_s=trace.duration_s,
        rate_hz=c.rate_hz,
        direction=c.sign,
        stretches=name_stretches(c, course),
        breakaway=None if began_under_load or peak.torque_nm <= 0 else _breakaway(trace, c, course, peak, sensor),
        sliding=None if plateau is None else _sliding(c, plateau, sensor, chatter),
        chatter=chatter,
        quality=find_quality_flags(c, course, peak.torque_nm, plateau.travel_deg if plateau else None, sensor, rules.quality),
        zero_nm=c.zero_nm,
        zero_after_nm=None if c.drift_nm is None else c.zero_nm + c.sign * c.drift_nm,
        noise_nm=c.noise_nm,
        began_under_load=began_under_load,
        angle_reversed=c.angle_reversed,
        calibration=sensor.calibration,
    )


def _nothing(trace: Trace, c: Conditioned | None, *, held_nothing: bool = False, detection_nm: float | None = None) -> PullResult:
    rate = c.rate_hz if c is not None else None
    if rate is None and len(trace) > 1:
        rate = 1.0 / float(np.median(np.diff(trace.time_s)))
    return PullResult(
        samples=len(trace),
        duration_s=trace.duration_s,
        rate_hz=rate,
        direction=c.sign if c is not None and held_nothing else None,
        stretches=name_stretches(c, None) if c is not None else (),
        breakaway=None,
        sliding=None,
        chatter=Chatter(assessable=False, score=0.0, why_not="no_sliding"),
        quality=() if held_nothing else (QualityFlag(QualityCode.NO_PULL),),
        zero_nm=c.zero_nm if c is not None and c.rest_to else None,
        noise_nm=c.noise_nm if c is not None else None,
        held_nothing=held_nothing,
        detection_nm=detection_nm,
    )


def _free_or_nothing(trace: Trace, c: Conditioned, capacity_nm: float | None, rules: CourseRules) -> PullResult:
    """A lever that turned while nothing resisted is a free-spinning unit; one that did not turn is no pull."""
    turned = 0.0 if c.angle_deg is None else float(np.ptp(c.angle_deg))
    spun = turned > max(5.0, 4 * c.resolution_deg)
    return _nothing(trace, c, held_nothing=spun, detection_nm=detection_limit(c, capacity_nm, rules) if spun else None)


def _common_lines(c: Conditioned, torque_nm: float, sensor: Sensor) -> list[BudgetLine]:
    """Lines that every figure shares: calibration and zero."""
    lines = [line for line in (calibration_line(torque_nm, sensor, c.sign),) if line is not None]
    if c.rest_to:
        zero = c.noise_nm / math.sqrt(max(1.0, c.rest_to * min(1.0, 500.0 * c.step_s)))
        lines.append(BudgetLine("zero", zero))
    else:
        # No rest before the pull: the zero is taken on trust, to within a share of the reading that the trade tolerates.
        lines.append(BudgetLine("zero", 0.01 * torque_nm / math.sqrt(3)))
    if c.drift_nm is not None:
        lines.append(BudgetLine("zero drift", abs(c.drift_nm) / math.sqrt(12)))
    # JCGM 100 F.2.2.1: a step d has standard uncertainty 0.29 d; noise larger than the step averages it away.
    if c.resolution_nm > 2 * c.noise_nm:
        lines.append(BudgetLine("resolution", c.resolution_nm / math.sqrt(12)))
    return lines


def _breakaway(trace: Trace, c: Conditioned, course: Course, peak: Peak, sensor: Sensor) -> Breakaway:
    lines = _common_lines(c, peak.torque_nm, sensor)
    lines += [
        BudgetLine("noise", peak.u_nm),
        BudgetLine("sampling", peak.sampling_u_nm),
        BudgetLine("peak fit", peak.shape_u_nm),
        BudgetLine("tremor", peak.tremor_u_nm),
    ]
    angle = None if trace.angle_deg is None else float(np.interp(peak.time_s, trace.time_s, trace.angle_deg))
    step = None if course.first_step is None else float(course.smooth_nm[course.first_step])
    return Breakaway(peak.torque_nm, peak.time_s, angle, combine(lines), step)


def _sliding(c: Conditioned, plateau: Plateau, sensor: Sensor, chatter: Chatter) -> Sliding:
    lines = [
        *_common_lines(c, plateau.torque_nm, sensor),
        BudgetLine("noise", plateau.u_nm),
        BudgetLine("sliding interval", plateau.interval_u_nm),
    ]
    if chatter.peak_to_peak_nm is not None and chatter.cycles:
        # The stretch holds whole cycles only to within one, rectangular; below some 20 samples a cycle its fall is cut coarsely.
        lines.append(BudgetLine("whole cycles", chatter.peak_to_peak_nm / (math.sqrt(12) * chatter.cycles)))
        samples = c.rate_hz / (chatter.frequency_hz or c.rate_hz)
        lines.append(BudgetLine("sampling", chatter.peak_to_peak_nm / (math.sqrt(3) * samples)))
    return Sliding(
        plateau.torque_nm,
        plateau.from_s,
        plateau.to_s,
        plateau.travel_deg,
        combine(lines),
        plateau.slope_nm_per_deg,
        plateau.ripple,
    )
