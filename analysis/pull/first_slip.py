"""Where the plates first let go for good: by the plastic part of the angle, or by torque alone."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from scipy.ndimage import minimum_filter1d

from analysis.pull.conditioning import Conditioned
from analysis.pull.knee import KNEE, LEAST_SAMPLES, NEAR_S, KneeRules, before_creep, between_steps, creeps
from analysis.pull.noise import Span, median, slope_of
from analysis.trace import Floats

SUSTAINED_DEG = 3.0
"""Slipped this far: for good. Bevel lash lets a single pack slip 0.2 to 2 degrees (trade notes 2.2)."""
FINE_S = 0.003
"""The peak is sought on a trace smoothed only this much: fast chatter must not be averaged away."""
ELASTIC_FROM, ELASTIC_TO = 0.35, 0.9
"""Of the load: below slack is taken up, above the plates begin to creep; between lies the wind-up."""
ELASTIC_LEAST, ELASTIC_SPAN = 5, 0.2
"""Samples and share of the load that the fit of the wind-up must cover."""
FELL_FREE, CAME_BACK = 0.1, 0.8
"""A torque that fell to the first share of the peak and came back to the second is another try, not a slip."""
STEP_PART = 4
"""A load that has not come back to within a quarter of a step's rise has been let go."""
LOADED_FROM = 0.3
"""Share of the peak from which a new load counts."""
SLOPE_S = 0.01
"""Slopes of the slip angle are taken over so long."""
RELEASE_S = 0.05
"""The release takes so long at least: its fall is no sudden one of the plates."""


@dataclass(frozen=True, kw_only=True, slots=True)
class CourseRules:
    """Thresholds of the course, each with its reason."""

    signal_over_noise: float = 20.0  # a pack that holds stands this far above the noise; free units read 2 to 10
    signal_over_step: float = 10.0  # ... and this many steps of a coarse sensor
    capacity_share: float = 0.01  # below this share of the sensor's capacity nothing held
    segment_high: float = 0.5  # a bite begins where the torque passes this share of the working level ...
    segment_low: float = 0.15  # ... and reaches back and forth to where it falls below this
    segment_gap_s: float = 0.12  # a dip to zero shorter than this is chatter, not a regrip
    look_on_deg: float = 6.0  # so far on, a reload well above the first peak shows that it was only a step
    step_rise: float = 0.04  # ... by this share
    rival_share: float = 0.75  # a release from this share of the breakaway on may as well be it: both packs may have let go ...
    rival_fall: float = 0.1  # ... if the torque fell by this share of the breakaway ...
    rival_fall_s: float = 0.02  # ... within so long ...
    rival_away_s: float = 0.03  # ... and was not back before so long
    stuck_deg: float = 0.6  # a reload with less plastic turning than this was elastic: the plates stuck again
    knee: KneeRules = field(default_factory=KneeRules)
    sustained_s: float = 0.25  # without an angle: not surpassed for so long
    surpass: float = 0.03  # ... by this share
    soon: float = 1.5  # within this share of the load's own time ...
    far_above: float = 0.3  # ... a climb this far above a sudden fall shows that it was none of the plates' slips
    sudden: float = 1.0  # a fall steeper than the load's climb ...
    sudden_share: float = 0.015  # ... and of this share of the peak is a slip
    sudden_noise: float = 6.0  # ... if it is so many deviations of the noise
    reload_share: float = 0.3  # ... nor later on by a climb this steep against the load's: the hand had only held
    hold_longest_s: float = 2.5  # ... which no hand does for longer within a few percent (common practice, no source)
    ripples: int = 2  # ... nor, without an angle, by one that comes back so often: something out of round
    even_crests: float = 0.3  # ... each as high as the first but for this share of its height above where the load's climb ended
    died_share: float = 0.1  # the first slip has died away where so little of its fall is left
    after_slip_deg: float = 2.0  # steady sliding starts so far after it (definition of the known-truth pulls)
    after_slip_s: float = 0.15  # the same without an angle
    pause_s: float = 0.2  # a hand that stops for so long pauses; chatter's sticking is shorter or has rising torque
    back_share: float = 0.85  # without an angle: a level load below this share of sliding's is a hand that holds back ...
    on_share: float = 0.97  # ... until it slides again from this share on
    back_deg: float = 0.2  # with one: the lever comes back by this while the torque falls there ...
    back_s: float = 0.05  # ... over so long: a lever that swings after a slip comes back sooner
    pause_share: float = 0.1  # ... turning at less than this share of the usual speed
    let_go_share: float = 0.75  # the last fall counts as let go from below this share of the torque before
    smooth_s: float = 0.012


@dataclass(frozen=True, slots=True)
class FirstSlip:
    """Indices into the whole trace of a bite's first slip for good.

    load_from    where the load is taken up
    peak         the highest sample before the slip
    first_step   a lower first peak after which the plates stuck again; None: there is none
    rival        another release that may be the breakaway as well; None: there is none
    knee         first and last sample between which plates in cold oil let go, `peak` half way up; None: oil hides no knee
    """

    load_from: int
    peak: int
    first_step: int | None = None
    rival: int | None = None
    knee: Span | None = None


def torsional_compliance(c: Conditioned, smooth: Floats, load: Span) -> float:
    """Elastic wind-up of adapter and unit in degrees per N.m, from the rising load; 0 where it cannot be told.

    Parameters
    ----------
    c
        The conditioned trace.
    smooth
        (n,) its smoothed torque, N.m.
    load
        Indices first <= i < last of the load up to its top.

    Returns
    -------
    float
        deg per N.m, not below 0: the slope of the angle over the torque by least squares, between 35 and 90 % of the top.
    """
    first, last = load
    if c.angle_deg is None or last - first < LEAST_SAMPLES:
        return 0.0
    torque, angle = smooth[first:last], c.angle_deg[first:last]
    top = float(torque.max())
    part = (torque > ELASTIC_FROM * top) & (torque < ELASTIC_TO * top)
    if np.count_nonzero(part) < ELASTIC_LEAST or np.ptp(torque[part]) < ELASTIC_SPAN * top:
        return 0.0
    return max(slope_of(torque[part], angle[part]), 0.0)


def _plastic(c: Conditioned, smooth: Floats, compliance: float) -> Floats | None:
    return None if c.angle_deg is None else c.angle_deg - compliance * smooth


def _first_slip_by_angle(c: Conditioned, smooth: Floats, segment: Span, level_nm: float, rules: CourseRules) -> FirstSlip | None:
    """The first sustained slip in a bite; None if the plates never slip for good in it.

    1. Elastic wind-up is taken off the angle: what is left turns only when something slips.
    2. The peak is the highest torque before the plates have slipped `SUSTAINED_DEG` beyond where the load was taken up.
    3. If the torque falls to nearly zero after it (a pawl or vice that slipped), or soon climbs well above it while the
       plates stick again (a first step), that was not the slip: go on from there.
    """
    first, last = segment
    load_from = first
    step: int | None = None
    wound_up = 0.0
    fine = c.smooth(FINE_S)
    while last - load_from > 2:
        rising = load_from + int(np.argmax(smooth[load_from:last] > 0.5 * level_nm))
        near = min(last, rising + max(3, c.samples_in(NEAR_S)))
        top_first = load_from + int(np.argmax(smooth[load_from:near])) + 1
        compliance = torsional_compliance(c, smooth, (load_from, max(top_first, near)))
        plastic = _plastic(c, smooth, compliance)
        assert plastic is not None
        base = median(plastic[rising : min(rising + 3, last)])
        slipped = plastic[rising:last] - base > SUSTAINED_DEG
        if not slipped.any():
            return None
        at = rising + int(np.argmax(slipped))
        peak = load_from + int(np.argmax(fine[load_from : at + 1]))
        compliance = torsional_compliance(c, smooth, (load_from, peak + 1))
        wound_up = compliance if wound_up == 0.0 else wound_up
        plastic = _plastic(c, smooth, compliance)
        assert plastic is not None
        knee: Span | None = None
        on = plastic[at:last] - plastic[at] < rules.look_on_deg
        end = at + (int(np.argmin(on)) if not on.all() else on.size)
        top = at + int(np.argmax(fine[at:end])) if end > at else at
        if peak >= at - 1 and float(fine[top:end].min(initial=np.inf)) < (1 - rules.surpass) * fine[at]:
            peak = top  # a heavy unit starts slowly: the torque rounds over its top while it already turns
        else:
            # The torque's noise comes into the plastic angle by the wind-up: much, through a soft adapter.
            noise_deg = rules.knee.onset_noise * compliance * c.noise_nm / math.sqrt(c.samples_in(rules.smooth_s))
            between = between_steps(c, rules.knee) - compliance * smooth
            step_deg = c.resolution_deg if c.value_s < rules.knee.span_s else 2 * c.resolution_deg
            peak, knee = before_creep(c, fine, between, load_from, peak, max(rules.knee.onset_deg, step_deg, noise_deg), rules.knee)
        trough = peak + int(np.argmin(fine[peak : max(end, peak + 2)]))
        if (
            fine[trough] < FELL_FREE * fine[peak]
            and load_from < trough < last - 1
            and (fine[trough:last] > CAME_BACK * fine[peak]).any()
        ):
            load_from = trough
            continue
        higher = np.flatnonzero(fine[peak:end] > (1 + rules.step_rise) * fine[peak])
        if higher.size:
            again = peak + int(higher[0])
            low = peak + int(np.argmin(fine[peak : again + 1]))
            middle = low + int(np.argmax(fine[low : again + 1] > 0.5 * (fine[low] + fine[again])))
            # `low` beyond the old start: every turn of the loop must get on.
            stuck = plastic[again] - plastic[middle] < rules.stuck_deg + 2 * c.resolution_deg
            if low > load_from and stuck and not creeps(c, fine, (middle, end), wound_up, rules.knee):
                step = step if step is not None else peak
                load_from = low
                continue
        return FirstSlip(load_from, peak, step, _earlier_release(c, fine, (first, peak), rules), knee)
    return None


def _first_slip_by_torque(c: Conditioned, smooth: Floats, segment: Span, rules: CourseRules) -> FirstSlip | None:
    """The same without an angle: the first peak that is not surpassed for a while, and above which nobody loads later on.

    A hand that hesitates before the plates let go holds its torque for a while too, but then goes on loading: the torque
    climbs well above the hold, about as steeply as before it. Sliding torque wanders up far more slowly.
    """
    first, last = segment
    hold = c.samples_in(rules.sustained_s, 3)
    fine = c.smooth(FINE_S)
    start = first
    while last - start > 2:
        running = np.maximum.accumulate(smooth[start:last])
        size = running.size
        ahead = running[np.minimum(np.arange(size) + hold, size - 1)]
        calm = (ahead <= (1 + rules.surpass) * running) & (running > 0.5 * float(running[-1]))
        if not calm.any():
            return None
        at = start + int(np.argmax(calm))
        peak = at + int(np.argmax(fine[at : min(last, at + hold)]))
        higher = np.flatnonzero(smooth[peak:last] > (1 + rules.step_rise) * fine[peak])
        if not higher.size:
            return FirstSlip(first, _before_ripple(c, fine, (first, peak, last), rules))
        again = peak + int(higher[0])
        below = np.flatnonzero(smooth[peak : again + 1] <= (1 - rules.step_rise / STEP_PART) * fine[peak])
        foot = peak + int(below[-1]) if below.size else peak
        load_from = first + int(np.argmax(smooth[first : peak + 1] > LOADED_FROM * fine[peak]))
        # Against time, not samples: where some are missing a slow fall must not look like a sudden one.
        loading = 0.5 * fine[peak] / _seconds(c, load_from, peak)
        climbing = (smooth[again] - smooth[foot]) / _seconds(c, foot, again)
        reloads = climbing >= rules.reload_share * loading and _seconds(c, peak, foot) < rules.hold_longest_s
        held_only = (
            reloads
            and not _fell(c, fine, (peak, again + 1), loading, rules)
            and not _ripples(c, fine, (peak, last), loading, rules)
        )
        # A vice or a first step slips suddenly too, but the same load then climbs on far above it.
        soon = smooth[peak : min(last, peak + round(rules.soon * (peak - load_from)))]
        step = bool(np.any(soon > (1 + rules.far_above) * fine[peak]))
        if again <= start or not (held_only or step):
            return FirstSlip(first, peak, rival=again if reloads else None)
        start = again
    return None


def _before_ripple(c: Conditioned, fine: Floats, span: tuple[int, int, int], rules: CourseRules) -> int:
    """Where the load's climb ended, if the peak after it is but the first of several even crests; else the peak as it is."""
    first, peak, last = span
    rising = first + int(np.argmax(fine[first : peak + 1] > 0.5 * fine[peak]))
    load_from = first + int(np.argmax(fine[first : peak + 1] > LOADED_FROM * fine[peak]))
    width = c.samples_in(rules.knee.span_s, 3)
    ends = np.arange(rising, peak - width)
    if not ends.size:
        return peak
    loading = 0.5 * fine[peak] / _seconds(c, load_from, rising)
    stopped = fine[ends + width] - fine[ends] < rules.reload_share * loading * width * c.step_s
    if not stopped.any():
        return peak
    knee = int(ends[int(np.argmax(stopped))]) + width // 2
    knee = rising + int(np.argmax(fine[rising : knee + width]))
    crests = float(fine[peak]) - rules.even_crests * float(fine[peak] - fine[knee])
    return knee if knee < peak and _ripples(c, fine, (knee, last), loading, rules, above_nm=crests) else peak


def _seconds(c: Conditioned, first: int, last: int) -> float:
    return max(float(c.time_s[last] - c.time_s[first]), c.step_s)


def _fell(c: Conditioned, fine: Floats, span: Span, loading_nm_s: float, rules: CourseRules) -> bool:
    """Whether the torque fell suddenly in the span, against the load's climb: plates that slip, not a hand that holds."""
    first, last = span
    step = c.samples_in(SLOPE_S)
    if last - first <= step:
        return False
    torque, time_s = fine[first:last], c.time_s[first:last]
    falls, spans_s = torque[:-step] - torque[step:], time_s[step:] - time_s[:-step]
    noise = rules.sudden_noise * c.noise_nm / np.sqrt(c.samples_in(FINE_S))
    least = max(rules.sudden_share * float(torque[0]), noise)
    return bool(np.any((falls > rules.sudden * loading_nm_s * spans_s) & (falls > least)))


def _ripples(
    c: Conditioned, fine: Floats, span: Span, loading_nm_s: float, rules: CourseRules, above_nm: float | None = None
) -> bool:
    """Whether the torque goes up past its first peak again and again, without ever falling suddenly: runout, not a load gone on."""
    torque = fine[span[0] : span[1]]
    torque = torque[: max(1, int(np.flatnonzero(torque >= torque[0])[-1]) + 1 - c.samples_in(RELEASE_S))]
    side = np.where(
        torque > ((1 + rules.step_rise) * torque[0] if above_nm is None else above_nm), 1, np.where(torque < torque[0], -1, 0)
    )
    side = side[side != 0]
    ups = int(np.count_nonzero(np.diff(side) > 0)) + int(side.size > 0 and side[0] > 0)
    return ups >= rules.ripples and not _fell(c, fine, (span[0], span[0] + torque.size), loading_nm_s, rules)


def _earlier_release(c: Conditioned, fine: Floats, span: Span, rules: CourseRules) -> int | None:
    """The highest sample before the peak from which the torque fell suddenly, for a while; None: there is none.

    A vice, one side of two, or plates that stuck again let go so; a ratchet's click is back at once.
    """
    first, peak = span
    torque = fine[first:peak]
    high = np.flatnonzero(torque >= rules.rival_share * fine[peak])
    if not high.size:
        return None
    start, sudden, away = int(high[0]), c.samples_in(rules.rival_fall_s), c.samples_in(rules.rival_away_s)
    torque = torque[start:]
    if torque.size <= sudden + away:
        return None
    highest = np.maximum.accumulate(torque)
    lowest = minimum_filter1d(torque, sudden + 1, mode="nearest", origin=-(sudden // 2))
    # From its height at once: a hand that held and backed off comes down by and by.
    fell = (torque - lowest > rules.rival_fall * fine[peak]) & (torque > KNEE * highest)
    stays = highest[away:] <= highest[:-away]
    both = np.flatnonzero(fell[: stays.size] & stays[: fell.size])
    return first + start + int(np.argmax(torque[: int(both[0]) + 1])) if both.size else None


def find_first_slip(c: Conditioned, smooth: Floats, segment: Span, level_nm: float, rules: CourseRules) -> FirstSlip | None:
    """The first slip for good of a bite, by angle where there is one.

    Parameters
    ----------
    c
        The conditioned trace.
    smooth
        (n,) its smoothed torque, N.m.
    segment
        Indices first <= i < last of the bite.
    level_nm
        The working level, N.m; counts only where there is an angle.
    rules
        Thresholds.

    Returns
    -------
    FirstSlip or None
        None: the plates did not slip for good in this bite.
    """
    if c.angle_deg is not None:
        return _first_slip_by_angle(c, smooth, segment, level_nm, rules)
    return _first_slip_by_torque(c, smooth, segment, rules)
