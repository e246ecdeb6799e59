"""The sensor's own slowness: read off how the torque falls when the lever is let go, and what it hides of the peak.

When the hand opens the lever springs back by the wind-up, in step with the torque that really is; a torque that falls later is the
filter's of sensor or indicator, whatever its kind. A lag L takes L times the ramp off a peak at its end (trade notes 6).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d

from analysis.distributions import RECTANGULAR
from analysis.pull.conditioning import Conditioned
from analysis.pull.course import Course
from analysis.pull.noise import median
from analysis.results import Sensor
from analysis.trace import Floats


@dataclass(frozen=True, kw_only=True, slots=True)
class BandwidthRules:
    """How a slow sensor is told from a slow hand, each with its reason."""

    before_s: tuple[float, float] = (0.6, 0.3)  # the load before the release is that so long before it ends ...
    after_s: float = 1.5  # ... and its fall is followed so far
    low: float = 0.1  # the fall from a half to this share is held against that from there ...
    lowest: float = 0.02  # ... to this share, or where noise and steps of the sensor leave off
    lowest_noise: float = 5.0
    lowest_step: float = 1.5
    lowest_most: float = 0.07  # a fall that cannot be followed to here tells nothing
    alike: tuple[float, float] = (0.7, 1.45)  # an exponential takes as long, in its own measure, for either
    exponential: tuple[float, float] = (0.85, 1.15)  # ... and a hand that eases off falls so only by chance
    tail_least_s: float = 0.0095  # such a tail with less than this is within what hands and levers make
    hand_s: float = 0.008  # ... which is about this much in the same measure (simulated pulls: median 8 ms, 99 % under 19 ms)
    hand_slowest_s: float = 0.019  # ... and slower than this hardly ever
    slow_s: float = 0.022  # any other fall slower than this is a filter's: a mean over a while, a filter of higher order
    around_s: float = 0.15  # the lever stands furthest so near the release ...
    back_s: float = 1.0  # ... and has sprung back after this
    back_deg: float = 0.3  # ... by so much at least,
    back_steps: float = 5.0  # and so many steps of the encoder: less tells no delay
    behind_least_s: float = 0.008  # a smaller delay is within what damping makes (simulated pulls: 99 % under 4 ms)
    behind_alone_s: float = 0.012  # ... and where the fall itself looks like a hand's, this much is needed
    behind_share: float = 0.5  # a delay of less than this share of what the fall would mean shows that the hand was slow
    other_lag: float = 2.0  # whose lag is about twice its fall in the measure of an exponential (moving mean 2.0, 2nd order 1.9)
    smooth: float = 0.35  # the ramp is smoothed over this share of the lag before it is drawn on
    most: float = 2.0  # no more is added than so many times lag times ramp
    part: float = 0.5  # of what is added counts as standard uncertainty ...
    part_stated: float = 0.25  # ... or this much where the filter is stated
    told_share: float = 0.005  # of the peak: less is not worth a word


@dataclass(frozen=True, slots=True)
class Lag:
    """Lag of the sensor in s, whether it was stated (else it was read off the release).

    proven   no hand is so slow; else the release may have been the hand's
    seen     the lever showed how far the torque was behind; else all that is known is that the lag is no longer than this
    """

    lag_s: float
    stated: bool
    proven: bool = True
    seen: bool = True

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
    """The sensor's lag: as stated, else from the release; None where neither tells of one."""
    if sensor.filter_hz is not None:
        return Lag(1.0 / (2 * math.pi * sensor.filter_hz), stated=True)
    if course.let_go is None:
        return None
    fall = _fall(c, course.let_go, rules)
    if fall is None:
        return None
    upper_s, lower_s = fall
    if upper_s < 2 * c.step_s:
        return None
    behind_s = _behind_the_lever(c, course.let_go, rules)
    by_fall = _lag_of_fall(upper_s, lower_s, rules)
    # Where no lever shows whether hand or sensor was slow, the shape of the fall must: a hand eases off in any shape but this.
    if behind_s is None and by_fall is not None and rules.exponential[0] <= lower_s / upper_s <= rules.exponential[1]:
        return Lag(by_fall, stated=False, proven=by_fall > rules.hand_slowest_s, seen=False)
    least_s = rules.behind_alone_s if by_fall is None else max(rules.behind_least_s, rules.behind_share * by_fall)
    if behind_s is None or behind_s < least_s:
        return None
    return Lag(behind_s, stated=False)


def _lag_of_fall(upper_s: float, lower_s: float, rules: BandwidthRules) -> float | None:
    """The lag in s that would make such a fall, were it not the hand's."""
    if rules.alike[0] <= lower_s / upper_s <= rules.alike[1] and upper_s >= rules.tail_least_s:
        return math.sqrt(max(upper_s**2 - rules.hand_s**2, 0.25 * upper_s**2))
    return rules.other_lag * upper_s if upper_s >= rules.slow_s else None


def _behind_the_lever(c: Conditioned, release: int, rules: BandwidthRules) -> float | None:
    """Mean delay of the torque's fall behind the lever's springing back, s; None where there is no angle or it hardly springs."""
    if c.angle_deg is None:
        return None
    first, last = max(0, release - c.samples_in(rules.around_s)), min(c.time_s.size - 1, release + c.samples_in(rules.back_s))
    top = first + int(np.argmax(c.angle_deg[first:last]))
    end = median(c.angle_deg[max(first, last - c.samples_in(0.1, 3)) : last + 1])
    back = float(c.angle_deg[top]) - end
    near = c.torque_nm[max(0, top - c.samples_in(0.005)) : top + 1]
    load = median(near)
    if back < max(rules.back_steps * c.resolution_deg, rules.back_deg) or load <= 0 or last - top < 4:
        return None
    behind = c.torque_nm[top:last] / load - (c.angle_deg[top:last] - end) / back
    return float(behind @ np.diff(c.time_s[top : last + 1]))


def _fall(c: Conditioned, release: int, rules: BandwidthRules) -> tuple[float, float] | None:
    """Time constants of the release between a half and a tenth, and between a tenth and the lowest that can be followed."""
    begin, end = max(0, release - c.samples_in(rules.before_s[1])), min(c.time_s.size, release + c.samples_in(rules.after_s))
    first = max(0, release - c.samples_in(rules.before_s[0]))
    if begin - first < 3:
        return None
    load = median(c.torque_nm[first:begin])
    if load <= 0:
        return None
    lowest = max(rules.lowest, rules.lowest_noise * c.noise_nm / load, rules.lowest_step * c.resolution_nm / load)
    if lowest > rules.lowest_most:
        return None
    torque, time_s = c.torque_nm[begin:end], c.time_s[begin:end]
    times = [_last_above(torque, time_s, share * load) for share in (0.5, rules.low, lowest)]
    half, low, low_end = times
    if half is None or low is None or low_end is None:
        return None
    return (low - half) / math.log(0.5 / rules.low), (low_end - low) / math.log(rules.low / lowest)


def _last_above(torque_nm: Floats, time_s: Floats, level_nm: float) -> float | None:
    above = np.flatnonzero(torque_nm > level_nm)
    if not above.size or above[-1] + 1 >= torque_nm.size:
        return None
    at = int(above[-1])
    high, low = float(torque_nm[at]), float(torque_nm[at + 1])
    return float(time_s[at] + (high - level_nm) / max(high - low, 1e-12) * (time_s[at + 1] - time_s[at]))


def share_of_lag(c: Conditioned, course: Course, lag: Lag, rules: BandwidthRules) -> LagShare:
    """What the lag took: the torque with lag times its slope added, against the torque, at the peak and over steady sliding.

    A filter of first order is undone by T + L dT/dt exactly, any other to first order in its lag.
    """
    width = c.samples_in(rules.smooth * lag.lag_s, 3) | 1
    smooth = uniform_filter1d(c.torque_nm, width, mode="nearest")
    slope = np.gradient(smooth, c.step_s)
    undone = smooth + lag.lag_s * uniform_filter1d(slope, width, mode="nearest")
    ahead = slice(course.load_from, course.peak + 1)
    steepest = float(np.max(slope[ahead], initial=0.0))
    added = float(np.max(undone[ahead], initial=0.0)) - float(np.max(smooth[ahead], initial=0.0))
    added = min(max(added, 0.0), rules.most * lag.lag_s * steepest)
    mean = _mean_over_angle(c, course, undone) - _mean_over_angle(c, course, smooth)
    if not lag.seen:
        # Anything from nothing to all of it is as likely: half way, rectangular; where it may well be the hand's, nothing is added.
        share = 0.5 if lag.proven else 0.0
        u = (1.0 - share) / RECTANGULAR
        return LagShare(share * added, u * added, share * mean, u * abs(mean), lags=lag.proven)
    part = rules.part_stated if lag.stated else rules.part
    return LagShare(added, part * added, mean, part * abs(mean), lags=True)


def _mean_over_angle(c: Conditioned, course: Course, torque_nm: Floats) -> float:
    along = c.time_s if c.angle_deg is None else c.angle_deg
    work = way = 0.0
    for first, last in course.sliding:
        step = np.diff(along[first:last])
        work += float(0.5 * (torque_nm[first + 1 : last] + torque_nm[first : last - 1]) @ step)
        way += float(step.sum())
    return work / way if way > 0 else 0.0
