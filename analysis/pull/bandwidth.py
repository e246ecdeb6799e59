"""The sensor's own slowness: read off how the torque falls when the lever is let go, and what it hides of the peak.

When the hand opens the lever springs back by the wind-up, in step with the torque that really is. So the release shows both sides
of the filter of sensor or indicator, what goes in and what comes out: which kind it is, and its lag. Then it can be undone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.distributions import RECTANGULAR
from analysis.pull.breakaway import PeakRules, refine_peak
from analysis.pull.conditioning import Conditioned
from analysis.pull.course import Course
from analysis.pull.filters import Filter, seen_through, undone
from analysis.pull.first_slip import FINE_S
from analysis.pull.noise import Span, median
from analysis.results import Sensor
from analysis.trace import Floats


@dataclass(frozen=True, kw_only=True, slots=True)
class BandwidthRules:
    """How a slow sensor is told from a slow hand, each with its reason."""

    around_s: float = 0.8  # the lever stands furthest so near the release ...
    back_s: float = 1.0  # ... and has sprung back after this
    back_fine_steps: float = 10.0  # fewer steps of the encoder than these tell a delay only where ...
    shown_steps: float = 1.5  # ... more of the load than so many steps stand for is shown when the lever is back
    falls_through: float = 0.7  # it is springing back when it has passed this share of the way
    settled_s: float = 0.1  # where it ends is the middle of so long at the end
    load_s: float = 0.03  # the load before is the middle of so long before it springs back
    behind_least_s: float = 0.008  # a smaller delay is within what damping makes (simulated pulls: 99 % under 4 ms)
    hand_s: float = 0.02  # a hand that opens takes about so long ...
    hand_usual_s: float = 0.022  # ... the torque then falls with a mean delay of this (simulated pulls: 75 %) ...
    hand_longest_s: float = 0.035  # ... and never a mean delay of this (simulated pulls: 99 % under 35 ms)
    held_share: float = 0.97  # the fall begins where the torque leaves this share of the load
    mean_lag: tuple[float, float] = (0.3, 1.1)  # of the time between two values of a converter: late by this, it sends means
    held_part: float = 0.25  # of the time a value is repeated for, its delay is known no better than this share
    lags: tuple[float, ...] = (0.8, 0.86, 0.91, 0.95, 0.98, 1.0, 1.02, 1.05, 1.1, 1.17, 1.25)  # tried about the mean delay
    fell_s: float = 0.006  # a fall over so long, less so many deviations of noise, shows how fast the sensor is at least
    fell_noise: float = 8.0
    misfit: float = 0.02  # a filter explains the fall to this share of the load; else only the lag is known
    spans_s: tuple[float, ...] = (0.004, 0.006, 0.009, 0.013, 0.02, 0.03, 0.045, 0.06, 0.08, 0.1)  # of the slope when undone ...
    held_spans: float = 2.0  # ... over no fewer of the values that a slow converter repeats
    noise_share: float = 0.005  # ... the shortest that makes no more noise than this share of the peak
    mean_noise_share: float = 0.05  # ... and for the mean over sliding than this
    overshoot_noise: float = 4.0  # deviations of the noise below rest that any release may show
    peak_most: float = 0.5  # a filter undone that adds more than this share to the peak is not believed: so much is doubt
    mean_most: float = 0.5  # a filter undone that changes the mean of sliding by more is not believed: all of it is doubt
    sway_part: float = 0.25  # of what sways in sliding, this share of its deviation counts: chatter is seen in part only
    early_lags: float = 3.0  # what goes in falls away so many lags before what comes out has begun to
    part: float = 0.12  # of what is added counts as standard uncertainty (the lag is read off to some per cent) ...
    part_unknown: float = 0.5  # ... or this much where the kind of filter is not known
    told_share: float = 0.005  # of the peak: less is not worth a word


@dataclass(frozen=True, slots=True)
class Lag:
    """Lag of the sensor in s, and the kind of its filter as stated or read off the release; None where only the lag is known.

    seen     the lever showed how far the torque was behind; else all that is known is that the lag is no longer than this
    proven   no hand is so slow; else the release may have been the hand's
    overshoot  how far the torque fell beyond rest, as a share of the load: a steep filter, which adds as much to a sudden peak
    """

    lag_s: float
    kind: Filter | None
    seen: bool = True
    proven: bool = True
    overshoot: float = 0.0

    @property
    def bandwidth_hz(self) -> float:
        """Corner of a filter of first order with this lag."""
        return 1.0 / (2 * math.pi * self.lag_s)


@dataclass(frozen=True, slots=True)
class LagShare:
    """What the lag took off breakaway and sliding, N.m, to be added; the standard uncertainty of each; whether there is a lag."""

    peak_nm: float = 0.0
    peak_u_nm: float = 0.0
    sliding_nm: float = 0.0
    sliding_u_nm: float = 0.0
    lags: bool = False


NOTHING_LOST = LagShare()


def find_lag(c: Conditioned, course: Course, sensor: Sensor, rules: BandwidthRules) -> Lag | None:
    """The sensor's lag: as stated, else from the release; None where neither tells of one.

    Parameters
    ----------
    c
        The conditioned trace.
    course
        Its `let_go` is where the release is looked for.
    sensor
        Its `filter_hz`, where it is stated, is taken as the corner of a filter of first order: the lag is 1 / (2 pi f).
    rules
        Thresholds.

    Returns
    -------
    Lag or None
        Lag in s; with the kind of filter where it is stated or one explains the release.
    """
    if sensor.filter_hz is not None:
        return Lag(1.0 / (2 * math.pi * sensor.filter_hz), Filter.FIRST_ORDER)
    if course.let_go is None:
        return None
    release = _release(c, course.let_go, rules)
    if release is None:
        return _by_the_fall_alone(c, course.let_go, rules)
    went_in, came_out, overshoot = release
    # A value that is repeated is late by half of that on the average, and on time when it comes.
    behind_s = float(np.sum(came_out - went_in)) * c.step_s - 0.5 * c.held_s
    if behind_s < rules.behind_least_s + rules.held_part * c.held_s:
        return None
    misfit, lag_s, kind = _best_filter(went_in, came_out, behind_s, c.step_s, rules)
    return Lag(lag_s, kind, overshoot=overshoot) if misfit <= rules.misfit else Lag(behind_s, None, overshoot=overshoot)


def averages(c: Conditioned, lag: Lag, rules: BandwidthRules) -> bool:
    """Whether a slow converter sends means over the time between two values: they come late by half of it, at any fall.

    Parameters
    ----------
    c
        The conditioned trace; its `value_s` is the time between two values.
    lag
        As the release shows it, beside the half of `held_s` that any repeated value is late.
    rules
        How near to half that is.

    Returns
    -------
    bool
        False for values of the moment, but by chance.
    """
    least, most = rules.mean_lag
    return least * c.value_s <= lag.lag_s <= most * c.value_s


def _release(c: Conditioned, let_go: int, rules: BandwidthRules) -> tuple[Floats, Floats, float] | None:
    """The lever's springing back and the torque's fall from there on, as shares of where they begin; how far that fell beyond rest.

    None where there is no angle, or the encoder's steps are too coarse to tell whether the lever was back before the torque.
    """
    if c.angle_deg is None:
        return None
    first, last = max(0, let_go - c.samples_in(rules.around_s)), min(c.time_s.size, let_go + c.samples_in(rules.back_s))
    angle = c.angle_deg[first:last]
    end = median(angle[-c.samples_in(rules.settled_s, 3) :])
    # The lever may have swung higher before; what counts is where it was held when the hand opened.
    falling = int(np.flatnonzero(angle >= end + rules.falls_through * (float(angle.max()) - end))[-1])
    near = angle[max(0, falling - c.samples_in(rules.load_s)) : falling + 1]
    top = first + falling - int(np.argmax(near[::-1]))
    back = float(c.angle_deg[top]) - end
    load = median(c.torque_nm[max(0, top - c.samples_in(rules.load_s)) : top + 1])
    if load <= 0 or back <= 0:
        return None
    swings, came_out = (c.angle_deg[top:last] - end) / back, c.torque_nm[top:last] / load
    went_in = np.maximum(swings, 0.0)
    # What swings beyond rest with the lever is no sensor's.
    beyond = -float(came_out.min()) - max(0.0, -float(swings.min())) - rules.overshoot_noise * c.noise_nm / load
    shown = float(came_out[int(np.argmax(went_in == 0.0))])
    told = back >= rules.back_fine_steps * c.resolution_deg or shown > rules.shown_steps * c.resolution_deg / back
    return (went_in, came_out, max(0.0, beyond)) if told else None


def _by_the_fall_alone(c: Conditioned, let_go: int, rules: BandwidthRules) -> Lag | None:
    """The lag of a fall longer than a hand's that opens, as behind one of the filters.

    It may be a slow hand's all the same. A fall as behind a mean or a filter of second order is one that a hand makes too: of those
    nothing is told unless it lasts longer than a hand's ever does, and then it is doubt and no more.
    """
    first, last = max(0, let_go - c.samples_in(rules.load_s)), min(c.time_s.size, let_go + c.samples_in(rules.back_s))
    load = median(c.torque_nm[max(0, first - c.samples_in(rules.load_s)) : first + 1])
    held = np.flatnonzero(c.torque_nm[first:last] > rules.held_share * load)
    if load <= 0 or not held.size:
        return None
    came_out = c.torque_nm[first + int(held[-1]) : last] / load
    lasts_s = float(came_out.sum()) * c.step_s
    if lasts_s < rules.hand_usual_s:
        return None
    went_in = np.maximum(1.0 - np.arange(came_out.size) * c.step_s / rules.hand_s, 0.0)
    misfit, lag_s, kind = _best_filter(went_in, came_out, lasts_s - 0.5 * rules.hand_s, c.step_s, rules)
    slower_than_hands = lasts_s >= rules.hand_longest_s
    if misfit > rules.misfit or not (kind is Filter.FIRST_ORDER or slower_than_hands):
        return None
    if _fell_faster(c, let_go, load / (2.0 * lag_s if kind is Filter.MEAN else lag_s), rules):
        return None
    return Lag(lag_s, kind, seen=False, proven=kind is Filter.FIRST_ORDER and slower_than_hands)


def _fell_faster(c: Conditioned, let_go: int, slope_nm_s: float, rules: BandwidthRules) -> bool:
    """Whether the torque fell anywhere before the release faster than behind a filter that makes this slope of its whole load."""
    step = c.samples_in(rules.fell_s)
    torque = c.torque_nm[:let_go]
    if torque.size <= step:
        return False
    fell = float(np.max(torque[:-step] - torque[step:])) - rules.fell_noise * c.noise_nm
    return fell > slope_nm_s * step * c.step_s


def _best_filter(
    went_in: Floats, came_out: Floats, behind_s: float, step_s: float, rules: BandwidthRules
) -> tuple[float, float, Filter]:
    """(misfit, lag, kind) of the filter that makes one fall from the other."""
    found = []
    for kind in Filter:
        lags = [share * behind_s for share in rules.lags]
        off = [float(np.sqrt(np.mean((seen_through(kind, lag, went_in, step_s) - came_out) ** 2))) for lag in lags]
        best = int(np.argmin(off))
        found.append((off[best], lags[best], kind))
    return min(found, key=lambda one: one[0])


def share_of_lag(c: Conditioned, course: Course, lag: Lag, rules: BandwidthRules, peaks: PeakRules) -> LagShare:
    """What the lag took off: the peak and the mean over steady sliding of the torque with the filter undone, less those without.

    Parameters
    ----------
    c
        The conditioned trace.
    course
        Where the peak and the sliding lie.
    lag
        Of the sensor.
    rules
        Thresholds.
    peaks
        Rules by which the peak is fitted, with the filter undone and as read.

    Returns
    -------
    LagShare
        What is to be added to breakaway and sliding, and its standard uncertainty, N.m. Nothing is added of a correction too
        large to be believed, nor where the lag may well be the hand's: its size then is uncertainty.
    """
    restored, span_s = _restored(c, course, lag, rules.noise_share, rules)
    # From where the bite begins: behind a slow sensor what follows the first slip may look like the load that led to it.
    begin = max((first for first, last in course.load_segments if first <= course.peak), default=course.load_from)
    ahead = slice(begin, course.peak + 1)
    steepest = float(np.max(np.diff(course.smooth_nm[ahead]), initial=0.0)) / c.step_s
    top = ahead.start + int(np.argmax(restored.smooth(FINE_S)[ahead]))
    peak = refine_peak(restored, replace(course, peak=top), peaks)
    read_nm = refine_peak(c, course, peaks).torque_nm
    added = max(peak.torque_nm - read_nm, 0.0)
    unknown = 0.0
    if added > rules.peak_most * read_nm:
        added, unknown = 0.0, rules.peak_most * read_nm / RECTANGULAR
    # Noise weighs little in a mean over the angle, but chatter that is smoothed away does.
    sharper, _ = _restored(c, course, lag, rules.mean_noise_share, rules)
    # What goes in stops sliding before what comes out shows it.
    early = c.samples_in(rules.early_lags * lag.lag_s)
    spans = [(first, last - early) for first, last in course.sliding if last - early > first]
    came_out = _mean_over_angle(c, course.sliding)
    mean = _mean_over_angle(sharper, spans) - came_out if spans else 0.0
    doubted = 0.0
    if abs(mean) > rules.mean_most * abs(came_out):
        mean, doubted = 0.0, abs(mean) / RECTANGULAR
    sways = _sways(sharper, spans)
    if not lag.seen:
        # Anything from nothing to all of it is as likely: half way, rectangular; where it may well be the hand's, nothing is added.
        share = 0.5 if lag.proven else 0.0
        u = (1.0 - share) / RECTANGULAR
        return LagShare(share * added, math.hypot(u * added, unknown), share * mean, math.hypot(u * mean, doubted), lags=lag.proven)
    part = rules.part_unknown if lag.kind is None else rules.part
    # A corner is rounded by up to what the ramp gains in half the span of the slope.
    rounded = 0.5 * span_s * steepest / RECTANGULAR
    mean_u = math.hypot(part * mean, rules.sway_part * sways, doubted)
    return LagShare(
        added,
        math.hypot(
            part * added, min(rounded, rules.peak_most * read_nm), peak.u_nm, unknown, lag.overshoot * read_nm / RECTANGULAR
        ),
        mean,
        mean_u,
        lags=True,
    )


def _sways(c: Conditioned, spans: Sequence[Span]) -> float:
    """Standard deviation of the torque in these spans beyond its noise, N.m."""
    parts = [c.torque_nm[first:last] for first, last in spans if last > first]
    return math.sqrt(max(float(np.var(np.concatenate(parts))) - c.noise_nm**2, 0.0)) if parts else 0.0


def _restored(c: Conditioned, course: Course, lag: Lag, noise_share: float, rules: BandwidthRules) -> tuple[Conditioned, float]:
    """The trace with the sensor's filter undone, and the span of its slope, s: no longer than its noise asks for."""
    most_nm = noise_share * float(course.smooth_nm[course.peak])
    torque, gain, span_s = c.torque_nm, 1.0, 0.0
    for span_s in rules.spans_s:
        if span_s < rules.held_spans * c.held_s:
            continue
        torque, gain = undone(lag.kind or Filter.FIRST_ORDER, lag.lag_s, c.torque_nm, c.step_s, c.samples_in(span_s, 5) | 1)
        if gain * c.noise_nm <= most_nm:
            break
    return replace(c, torque_nm=torque, noise_nm=max(1.0, gain) * c.noise_nm), span_s


def _mean_over_angle(c: Conditioned, spans: Sequence[Span]) -> float:
    along = c.time_s if c.angle_deg is None else c.angle_deg
    work = way = 0.0
    for first, last in spans:
        step = np.diff(along[first:last])
        work += float(0.5 * (c.torque_nm[first + 1 : last] + c.torque_nm[first : last - 1]) @ step)
        way += float(step.sum())
    return work / way if way > 0 else 0.0
