"""Breakaway as a noise-free sensor would have read it: the peak before the first sustained slip, freed of the bias of noise."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.pull.conditioning import Conditioned
from analysis.pull.course import Course
from analysis.pull.noise import fine_deviation
from analysis.trace import Floats


@dataclass(frozen=True, kw_only=True, slots=True)
class PeakRules:
    """How the neighbourhood of the peak is fitted."""

    widths_s: tuple[float, ...] = (0.004, 0.006, 0.009, 0.013, 0.02, 0.03, 0.045)
    least_samples: int = 2
    fewest: int = 5  # samples in a fit
    most_samples: int = 400
    chi_limit: float = 3.0  # a fit whose residual is this many of its own deviations above the noise is refused
    order: int = 2
    rival_cost: float = 4.0  # windows whose cost is within this factor of the best are rivals to it
    # A parabola stands for the top of a real curve to about this share: the spread of errors on simulated pulls without
    # noise to speak of (tests/speed/readings.py, kinds clean and high_rate).
    shape_floor: float = 0.0007


@dataclass(frozen=True, slots=True)
class Peak:
    """The peak's torque, time and the standard uncertainties of the fit and of what the samples may have missed."""

    torque_nm: float
    time_s: float
    u_nm: float
    sampling_u_nm: float
    tremor_u_nm: float = 0.0
    shape_u_nm: float = 0.0


def _fit(x: Floats, y: Floats, order: int) -> tuple[Floats, Floats, float]:
    """Least squares polynomial in x (scaled to about one): coefficients, their unscaled covariance, residual sum of squares."""
    design = np.vander(x, order + 1, increasing=True)
    q, r = np.linalg.qr(design)
    coefficients = np.linalg.solve(r, q.T @ y)
    inverse = np.linalg.inv(r)
    residual = y - design @ coefficients
    return coefficients, inverse @ inverse.T, float(residual @ residual)


def refine_peak(c: Conditioned, course: Course, rules: PeakRules | None = None) -> Peak:
    """Fit the neighbourhood of the peak and take the fitted maximum.

    1. Noise: the larger of the one at rest and the one on the ramp (fourth differences, so that ramp and oscillation drop out).
    2. Around the peak sample try windows to the left and right of several widths, each fitted by a parabola, and keep
       the widest whose residuals are explained by the noise. A sharp corner refuses windows that reach over it, so a
       sawtooth is fitted from its left side alone; a round top is fitted across.
    3. The maximum of the parabola inside the window is the breakaway. Where the corner is sharp, it lay somewhere between
       the last sample and the next: the ramp goes on to where the fall, drawn back, meets it, and the rectangular
       uncertainty of one step is kept.
    """
    rules = rules or PeakRules()
    near = slice(max(0, course.peak - c.samples_in(0.06, 8)), course.peak + 1)
    noise = max(c.noise_nm, 0.9 * fine_deviation(c.torque_nm[near]), 1e-9)
    at = _corner(c, course, noise)
    least = rules.least_samples
    widths = sorted({min(rules.most_samples, max(least, c.samples_in(w))) for w in (0.0, *rules.widths_s)})
    best: tuple[float, float, float, float, int] | None = None
    least_cost = math.inf
    accepted: list[tuple[float, float]] = []
    for left in widths:
        if at - left < 0:
            break
        for right in (0, *(w for w in widths if w <= left)):
            if at + right >= c.time_s.size or left + right + 1 < rules.fewest:
                continue
            trial = _try(c, at, left, right, noise, rules)
            if trial is None:
                continue
            # A window that reaches over the top can hide a corner up to about its own noise: it counts double.
            cost = 2.0 * trial[2] if right else math.hypot(trial[2], 0.3 * abs(trial[3]) * c.step_s)
            accepted.append((cost, trial[0]))
            if cost < least_cost:
                best, least_cost = trial, cost
    ramp_from = max(0, at - max(3, c.samples_in(0.03)))
    ramp = float((c.torque_nm[at] - c.torque_nm[ramp_from]) / max(c.time_s[at] - c.time_s[ramp_from], 1e-12))
    if best is None:
        return Peak(float(c.torque_nm[at]), float(c.time_s[at]), noise, abs(ramp) * c.step_s / math.sqrt(12))
    value, when, u, slope, right = best
    sharp = _is_sharp(c, at, value, slope, noise)
    if sharp and right == 0 and slope > 0:
        value += slope * c.step_s * _beyond(c, at, value, slope)
        sampling = slope * c.step_s / math.sqrt(12)
    else:
        sampling = 0.0
    sampling = max(sampling, _gap_nm(c, at, ramp))
    # Windows that the noise cannot tell apart still differ a little in what they take for the top.
    rivals = [top for cost, top in accepted if cost <= rules.rival_cost * least_cost]
    return Peak(value, when, u, sampling, shape_u_nm=float(np.std(rivals)) + rules.shape_floor * abs(value))


def _gap_nm(c: Conditioned, at: int, ramp_nm_per_s: float) -> float:
    """What the ramp may have gained in a gap beside the peak, as standard uncertainty."""
    near = slice(max(0, at - 2), at + 3)
    steps = np.diff(c.time_s[near])
    longest = float(steps.max()) if steps.size else 0.0
    return abs(ramp_nm_per_s) * longest / math.sqrt(12) if longest > 2.5 * c.step_s else 0.0


def _corner(c: Conditioned, course: Course, noise: float) -> int:
    """The raw sample nearest the top: the last one, near the smoothed peak, that stands within the noise of the highest."""
    reach = max(2, c.samples_in(0.008))
    first, last = max(0, course.peak - reach), min(c.time_s.size, course.peak + reach + 1)
    part = c.torque_nm[first:last]
    within = np.flatnonzero(part >= part.max() - 2.0 * noise)
    return first + int(within[-1] if within.size and part.size > 3 else np.argmax(part))


def _is_sharp(c: Conditioned, at: int, value: float, slope: float, noise: float) -> bool:
    if at + 1 >= c.time_s.size:
        return False
    foretold = value + slope * c.step_s
    return foretold - float(c.torque_nm[at + 1]) > 5 * noise + abs(slope) * c.step_s


def _beyond(c: Conditioned, at: int, value: float, slope: float) -> float:
    """How far into the step after the last sample the ramp went on, 0 to 1: where the fall, drawn back, meets the ramp."""
    if at + 2 >= c.time_s.size:
        return 0.5
    fall = float(c.torque_nm[at + 1] - c.torque_nm[at + 2]) / c.step_s
    if fall <= 0:
        return 0.5  # the fall was over before the next sample: it may have begun anywhere in the step
    met = (float(c.torque_nm[at + 1]) + fall * c.step_s - value) / ((slope + fall) * c.step_s)
    return min(max(met, 0.0), 1.0)


def _try(
    c: Conditioned, at: int, left: int, right: int, noise: float, rules: PeakRules
) -> tuple[float, float, float, float, int] | None:
    """(value, time, u, slope at the end, right) of one window, None if the residuals refuse it."""
    part = slice(at - left, at + right + 1)
    scale = max(c.time_s[at] - c.time_s[at - left], 1e-12)
    x = (c.time_s[part] - c.time_s[at]) / scale
    y = c.torque_nm[part]
    freedom = x.size - rules.order - 1
    if freedom < 1:
        return None
    coefficients, covariance, rss = _fit(x, y, rules.order)
    if rss > noise**2 * (freedom + rules.chi_limit * math.sqrt(2 * freedom)):
        return None
    # The place that matters is the top: the residuals around it must not lean.
    a0, a1, a2 = coefficients
    end = float(x[-1])
    top = min(max(-a1 / (2 * a2), float(x[0])), end) if a2 < 0 else end
    row = np.array([1.0, top, top * top])
    u = noise * math.sqrt(max(float(row @ covariance @ row), 0.0))
    residual = y - (a0 + a1 * x + a2 * x * x)
    close = np.abs(x - top) <= 0.25
    count = int(np.count_nonzero(close))
    if count >= 2 and abs(float(residual[close].mean())) > 2.5 * noise / math.sqrt(count):
        return None
    value = float(a0 + a1 * top + a2 * top * top)
    return value, float(c.time_s[at] + top * scale), u, float((a1 + 2 * a2 * end) / scale), right
