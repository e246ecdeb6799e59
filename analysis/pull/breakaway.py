"""Breakaway as a noise-free sensor would have read it: the peak before the first sustained slip, freed of the bias of noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.distributions import RECTANGULAR, RECTANGULAR_WIDTH
from analysis.pull.conditioning import Conditioned
from analysis.pull.course import Course
from analysis.pull.first_slip import SUSTAINED_DEG
from analysis.pull.noise import GAP_STEPS, fine_deviation
from analysis.trace import Floats

NEAR_S, NEAR_LEAST = 0.06, 8
"""So long before the peak its noise is measured, over so many samples at least."""
NOISE_KEPT = 0.9
"""Of the noise measured there: it holds some of the ramp's bend."""
STAIRS_NEAR, STAIRS_BEFORE = 2, 4
"""Values of a slow converter about the peak among which the highest is taken; values before it that show the stair."""
RAMP_S = 0.03
"""The slope at the end of the ramp is taken over so long."""
FALL_S = 0.008
"""A slip falls within so long."""
FALL_NOISE = 5
"""A fall of so many standard deviations below where the ramp would go on is one."""
BESIDE = 2
"""Samples on either side of the peak among which a gap is looked for."""
_PARABOLA = 3
"""Coefficients of the widest fit."""


@dataclass(frozen=True, kw_only=True, slots=True)
class PeakRules:
    """How the neighbourhood of the peak is fitted."""

    widths_s: tuple[float, ...] = (0.004, 0.006, 0.009, 0.013, 0.02, 0.03, 0.045)
    least_samples: int = 2
    fewest: int = 5  # samples in a fit
    most_samples: int = 400
    chi_limit: float = 3.0  # a fit whose residual is this many of its own deviations above the noise is refused
    lean: float = 2.5  # the residuals around the top, averaged, are refused beyond so many deviations of their mean ...
    close: float = 0.25  # ... around it: within this share of the window's left side
    over_cost: float = 2.0  # the cost of a window over the top: it can hide a corner up to about its own noise
    end_share: float = 0.3  # where the corner lies in the step after the window is known to this share of the step
    rival_cost: float = 4.0  # windows whose cost is within this factor of the best are rivals to it
    # A parabola stands for the top of a real curve to about this share: the spread of errors on simulated pulls without
    # noise to speak of (tests/speed/readings.py, kinds clean and high_rate).
    shape_floor: float = 0.0007
    stairs_s: float = 0.03  # values so far apart make a staircase of the ramp, which no parabola fits ...
    stairs_missed: float = 0.75  # ... and its peak lies above the highest by this part of a stair, give or take as much
    knee_noise: float = 3.0  # a knee ends where the torque falls by so many deviations of a sample's noise


@dataclass(frozen=True, slots=True)
class Peak:
    """Torque and time of the peak; standard uncertainties of the fit, of what the samples may have missed, and of a soft knee."""

    torque_nm: float
    time_s: float
    u_nm: float
    sampling_u_nm: float
    tremor_u_nm: float = 0.0
    shape_u_nm: float = 0.0
    knee_u_nm: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class _Trials:
    """Parabolas fitted to windows about the peak, a number a window.

    top_nm, top_s   the maximum inside the window and its time
    u_nm            its standard uncertainty from the noise
    slope_nm_s      the slope at the window's end
    right           samples right of the peak sample
    cost_nm         by which the windows are compared: the uncertainty, and what a wrong end of the window would make
    """

    top_nm: Floats
    top_s: Floats
    u_nm: Floats
    slope_nm_s: Floats
    right: NDArray[np.intp]
    cost_nm: Floats


def refine_peak(c: Conditioned, course: Course, rules: PeakRules | None = None) -> Peak:
    """Fit the neighbourhood of the peak and take the fitted maximum.

    1. Noise: the larger of the one at rest and the one on the ramp (fourth differences, so that ramp and oscillation drop out).
    2. Around the peak sample try windows to the left and right of several widths, each fitted by a parabola, and keep
       the widest whose residuals are explained by the noise. A sharp corner refuses windows that reach over it, so a
       sawtooth is fitted from its left side alone; a round top is fitted across.
    3. The maximum of the parabola inside the window is the breakaway. Where the corner is sharp, it lay somewhere between
       the last sample and the next: the ramp goes on to where the fall, drawn back, meets it, and the rectangular
       uncertainty of one step is kept.

    Parameters
    ----------
    c
        The conditioned trace.
    course
        Its `peak` is the sample around which is fitted.
    rules
        Widths and limits of the fit; None: the usual ones.

    Returns
    -------
    Peak
        Torque and its standard uncertainties, N.m; time, s. Where no parabola fits, the highest sample with the noise of one.
    """
    rules = rules or PeakRules()
    near = slice(max(0, course.peak - c.samples_in(NEAR_S, NEAR_LEAST)), course.peak + 1)
    noise = max(c.noise_nm, NOISE_KEPT * fine_deviation(c.torque_nm[near]), 1e-9)
    at = _corner(c, course, noise)
    least = rules.least_samples
    widths = sorted({min(rules.most_samples, max(least, c.samples_in(w))) for w in (0.0, *rules.widths_s)})
    trials = _fits(c, at, [w for w in widths if w <= at], noise, rules)
    ramp_from = max(0, at - max(3, c.samples_in(RAMP_S)))
    ramp = float((c.torque_nm[at] - c.torque_nm[ramp_from]) / max(c.time_s[at] - c.time_s[ramp_from], 1e-12))
    if not trials.cost_nm.size:
        return Peak(float(c.torque_nm[at]), float(c.time_s[at]), noise, abs(ramp) * c.step_s / RECTANGULAR_WIDTH)
    best = int(np.argmin(trials.cost_nm))
    value, slope = float(trials.top_nm[best]), float(trials.slope_nm_s[best])
    sharp = not c.peak_held and _is_sharp(c, at, value, slope, noise)
    if c.peak_held:  # what came in the step after the highest value was not seen to fall
        sampling = max(ramp, 0.0) * c.step_s / RECTANGULAR
    elif sharp and trials.right[best] == 0 and slope > 0:
        value += slope * c.step_s * _beyond(c, at, value, slope)
        sampling = slope * c.step_s / RECTANGULAR_WIDTH
    else:
        sampling = 0.0
    sampling = max(sampling, _gap_nm(c, at, ramp))
    # Windows that the noise cannot tell apart still differ a little in what they take for the top.
    rivals = trials.top_nm[trials.cost_nm <= rules.rival_cost * trials.cost_nm[best]]
    shape_u = float(np.std(rivals)) + rules.shape_floor * abs(value)
    hidden = 0.0 if course.knee is None else float(course.smooth_nm[course.knee[1]] - course.smooth_nm[course.knee[0]])
    knee_u = max(_climbs_on(c, course, noise, rules), hidden) / RECTANGULAR
    return Peak(value, float(trials.top_s[best]), float(trials.u_nm[best]), sampling, shape_u_nm=shape_u, knee_u_nm=knee_u)


def peak_on_stairs(c: Conditioned, course: Course, rules: PeakRules) -> Peak:
    """The peak of a converter that sends means over the time between two of its values, and repeats each until the next.

    Between two values the load climbs on by a stair, and a mean shows the half of it, or less where the plates let go within: what
    was there lies between the highest value and one and a half stairs above it.

    Parameters
    ----------
    c
        The conditioned trace; its `value_s` is the time between two values.
    course
        Its `peak` lies on or beside the highest value.
    rules
        How much of a stair is missed.

    Returns
    -------
    Peak
        N.m and s; where nothing falls after the highest value it is that, with the same uncertainty.
    """
    at, held, noise = course.peak, c.samples_in(c.value_s), c.noise_nm
    near = slice(max(0, at - STAIRS_NEAR * held), at + STAIRS_NEAR * held)
    top = near.start + int(np.argmax(c.torque_nm[near]))
    foot = c.torque_nm[max(0, top - STAIRS_BEFORE * held) : max(1, top - held + 1)]
    # The last stair is the higher where the load climbed faster at the end.
    stair = max(float(foot[-1] - foot[0]) / (STAIRS_BEFORE - 1), float(c.torque_nm[top] - c.torque_nm[max(0, top - held)]), 0.0)
    more = rules.stairs_missed * stair
    value, after = float(c.torque_nm[top]), c.torque_nm[top : top + STAIRS_NEAR * held + 1]
    falls = value - float(after.min()) > max(0.5 * more, rules.knee_noise * noise)
    missed_u = more / RECTANGULAR
    return Peak(value + (more if falls else 0.0), float(c.time_s[top]), noise, missed_u, shape_u_nm=rules.shape_floor * value)


def _climbs_on(c: Conditioned, course: Course, noise: float, rules: PeakRules) -> float:
    """How far the torque climbs on from the peak before it first falls, within the angle of a sustained slip.

    Plates that creep let go somewhere on such a knee: how much of the climb is still the load's is a matter of definition.
    """
    if c.angle_deg is None:
        return 0.0
    first = course.peak
    on = c.angle_deg[first:] - c.angle_deg[first] > SUSTAINED_DEG
    last = first + int(np.argmax(on)) if on.any() else c.time_s.size
    part = course.smooth_nm[first : max(last, first + 1)]
    highest = np.maximum.accumulate(part)
    fell = part < highest - rules.knee_noise * noise
    return float(highest[int(np.argmax(fell)) if fell.any() else -1] - part[0])


def _gap_nm(c: Conditioned, at: int, ramp_nm_per_s: float) -> float:
    """What the ramp may have gained in a gap beside the peak, as standard uncertainty."""
    near = slice(max(0, at - BESIDE), at + BESIDE + 1)
    steps = np.diff(c.time_s[near])
    longest = float(steps.max()) if steps.size else 0.0
    return abs(ramp_nm_per_s) * longest / RECTANGULAR_WIDTH if longest > GAP_STEPS * c.step_s else 0.0


def _corner(c: Conditioned, course: Course, noise: float) -> int:
    """The raw sample nearest the top: the last one, near the smoothed peak, that stands within the noise of the highest."""
    reach = max(2, c.samples_in(FALL_S))
    first, last = max(0, course.peak - reach), min(c.time_s.size, course.peak + reach + 1)
    part = c.torque_nm[first:last]
    if c.peak_held:
        return int(np.argmax(c.torque_nm[:last]))
    within = np.flatnonzero(part >= part.max() - 2.0 * noise)
    return first + int(within[-1] if within.size and part.size > 3 else np.argmax(part))


def _is_sharp(c: Conditioned, at: int, value: float, slope: float, noise: float) -> bool:
    if at + 1 >= c.time_s.size:
        return False
    foretold = value + slope * c.step_s
    return foretold - float(c.torque_nm[at + 1]) > FALL_NOISE * noise + abs(slope) * c.step_s


def _beyond(c: Conditioned, at: int, value: float, slope: float) -> float:
    """How far into the step after the last sample the ramp went on, 0 to 1: where the fall, drawn back, meets the ramp."""
    if at + 2 >= c.time_s.size:
        return 0.5
    fall = float(c.torque_nm[at + 1] - c.torque_nm[at + 2]) / c.step_s
    if fall <= 0:
        return 0.5  # the fall was over before the next sample: it may have begun anywhere in the step
    met = (float(c.torque_nm[at + 1]) + fall * c.step_s - value) / ((slope + fall) * c.step_s)
    return min(max(met, 0.0), 1.0)


def _fits(c: Conditioned, at: int, widths: list[int], noise: float, rules: PeakRules) -> _Trials:
    """Fit a parabola to every window of these widths about sample `at` and keep those whose residuals the noise explains.

    All windows at once: a row each, samples outside of a window weigh nothing.
    """
    pairs = [
        (left, right)
        for left in widths
        for right in (0, *(w for w in widths if w <= left))
        if at + right < c.time_s.size and left + right + 1 >= rules.fewest
    ]
    left, right = np.array(pairs, dtype=np.intp).reshape(-1, 2).T
    if not left.size:
        nothing = np.empty(0)
        return _Trials(nothing, nothing, nothing, nothing, right, nothing)
    place = np.arange(-int(left.max()), int(right.max()) + 1)
    inside = (place >= -left[:, None]) & (place <= right[:, None])
    time, torque = c.time_s[at + place] - c.time_s[at], c.torque_nm[at + place] - c.torque_nm[at]
    scale = np.maximum(c.time_s[at] - c.time_s[at - left], 1e-12)
    x = np.where(inside, time / scale[:, None], 0.0)
    design = np.stack([inside.astype(np.float64), x, x * x], axis=2)
    turned = design.transpose(0, 2, 1)
    covariance = np.linalg.inv(turned @ design)
    residual = np.where(inside, torque, 0.0)
    fitted = np.zeros((left.size, _PARABOLA, 1))
    for _ in range(2):  # the second pass takes off what rounding left: a trace without noise shows it
        change = covariance @ (turned @ residual[:, :, None])
        fitted += change
        residual = residual - (design @ change)[:, :, 0]
    a0, a1, a2 = fitted[:, :, 0].T
    count = left + right + 1
    freedom = count - _PARABOLA
    good = (residual * residual).sum(axis=1) <= noise**2 * (freedom + rules.chi_limit * np.sqrt(2.0 * freedom))
    end = x[np.arange(left.size), np.searchsorted(place, right)]
    with np.errstate(divide="ignore", invalid="ignore"):
        top = np.where(a2 < 0, np.clip(-a1 / (2 * a2), -1.0, end), end)
    row = np.stack([np.ones_like(top), top, top * top], axis=1)
    u = noise * np.sqrt(np.maximum(np.einsum("ki,kij,kj->k", row, covariance, row), 0.0))
    # The place that matters is the top: the residuals around it must not lean.
    close = inside & (np.abs(x - top[:, None]) <= rules.close)
    near = close.sum(axis=1)
    lean = np.abs((residual * close).sum(axis=1)) / np.maximum(near, 1)
    good &= (near < 2) | (lean <= rules.lean * noise / np.sqrt(np.maximum(near, 1)))
    slope = (a1 + 2 * a2 * end) / scale
    # A window that reaches over the top can hide a corner up to about its own noise: it counts double.
    cost = np.where(right > 0, rules.over_cost * u, np.hypot(u, rules.end_share * np.abs(slope) * c.step_s))
    value = float(c.torque_nm[at]) + a0 + a1 * top + a2 * top * top
    when = c.time_s[at] + top * scale
    return _Trials(value[good], when[good], u[good], slope[good], right[good], cost[good])
