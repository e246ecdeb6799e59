"""Chatter: stick-slip while sliding, told from tremor, hum, ripple locked to the angle, clicks, regrips and noise.

A cycle is a slow rise and a sudden fall of torque as the plates stick and let go. Every feature of a stretch that tells
it from its look-alikes is one number; a logistic function of them, fitted to simulated pulls of known truth, gives the
score as a probability.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.signal import find_peaks

from analysis.condition import Conditioned
from analysis.labels import Course
from analysis.results import Chatter
from analysis.trace import Floats


@dataclass(frozen=True, kw_only=True, slots=True)
class ChatterRules:
    """Thresholds of the search for cycles, each with its reason."""

    lowest_rate_hz: float = 200.0  # below, smooth sliding cannot be told from chatter too fast to see
    least_travel_deg: float = 6.0  # a few cycles of the slow regime, 0.4 to 2.7 degrees each (trade notes 5.1)
    least_time_s: float = 0.4
    band_s: float = 0.0015  # the search is for cycles below some 150 Hz: faster wiggle is averaged away
    noise_height: float = 5.0  # a cycle is so many deviations of the smoothed noise high ...
    level_height: float = 0.012  # ... and this share of the sliding torque: less is no chatter that anybody feels
    main_share: float = 0.45  # a cycle is at least this share of the large ones: ringing after a slip is none
    least_cycles: int = 3


@dataclass(frozen=True, slots=True)
class ChatterFeatures:
    """What the score is made of. `height` is peak to trough over the sliding level; `fall_over_rise` compares the steepest
    fall with the steepest rise; `rise_share` is the share of a cycle spent rising; `regular` how alike the cycles' periods
    are; `coverage` the share of the stretch that lies in cycles; `rest_share` the height of the same oscillation at rest
    over that while sliding; `sinusoid` the share of variance that one sine explains; `locked` how well the cycles keep to
    the angle rather than to time."""

    cycles: int
    height: float
    over_noise: float
    rate_hz: float
    fall_over_rise: float
    rise_share: float
    regular: float
    coverage: float
    rest_share: float
    sinusoid: float
    stuck: float


@dataclass(frozen=True, slots=True, eq=False)
class Cycles:
    """Peaks and the troughs that follow them, as times; height of each fall, time of each rise and fall."""

    peak_s: Floats
    trough_s: Floats
    height_nm: Floats
    fall_s: Floats
    rise_s: Floats


NO_CYCLES = Cycles(np.empty(0), np.empty(0), np.empty(0), np.empty(0), np.empty(0))


def find_cycles(time_s: Floats, torque_nm: Floats, least_nm: float, rules: ChatterRules) -> Cycles:
    """Falls of at least `least_nm` from a peak to the trough after it, ringing left out.

    1. Peaks and troughs with a prominence of at least `least_nm`.
    2. Of neighbours of the same kind only the extreme one stays, so that peaks and troughs alternate.
    3. Falls of less than `main_share` of the larger ones are ringing.
    """
    peaks, peak_of = find_peaks(torque_nm, prominence=least_nm)
    if peaks.size < 2:
        return NO_CYCLES
    main = rules.main_share * float(np.percentile(peak_of["prominences"], 80))
    peaks = peaks[peak_of["prominences"] >= main]
    if peaks.size < 2:
        return NO_CYCLES
    bounds = np.append(peaks, torque_nm.size - 1)
    troughs = np.array([a + int(np.argmin(torque_nm[a : b + 1])) for a, b in zip(bounds[:-1], bounds[1:], strict=True)])
    height = torque_nm[peaks] - torque_nm[troughs]
    keep = height >= max(least_nm, main)
    peaks, troughs, height = peaks[keep], troughs[keep], height[keep]
    if peaks.size < 2:
        return NO_CYCLES
    rise = np.full(peaks.size, np.nan)
    rise[1:] = time_s[peaks[1:]] - time_s[troughs[:-1]]
    # The fall itself: from the peak to where nine tenths of it are done.
    fall = np.empty(peaks.size)
    for number, (a, b) in enumerate(zip(peaks, troughs, strict=True)):
        down = torque_nm[a : b + 1] <= torque_nm[b] + 0.1 * height[number]
        near = torque_nm[a : b + 1] >= torque_nm[a] - 0.1 * height[number]
        start = a + int(np.flatnonzero(near)[-1]) if near.any() else a
        fall[number] = max(time_s[a + int(np.argmax(down))] - time_s[min(start, b)], 0.0)
    return Cycles(time_s[peaks], time_s[troughs], height, fall, rise)


def measure(c: Conditioned, course: Course, level_nm: float, rules: ChatterRules) -> tuple[ChatterFeatures, Cycles] | None:
    """The features of the longest sliding stretches; None where there are fewer than two cycles."""
    width = c.samples_in(rules.band_s)
    smooth = c.smooth(rules.band_s)
    noise = c.noise_nm / math.sqrt(width)
    least = max(rules.noise_height * noise, rules.level_height * level_nm, 2.5 * c.resolution_nm)
    parts: list[Cycles] = []
    total_s = 0.0
    pieces: list[tuple[int, int]] = [(a, b) for a, b in course.sliding if b - a >= 8]
    for first, last in pieces:
        total_s += float(c.time_s[last - 1] - c.time_s[first])
        parts.append(find_cycles(c.time_s[first:last], smooth[first:last], least, rules))
    parts = [part for part in parts if part.peak_s.size]
    if not parts:
        return None
    cycles = Cycles(*(np.concatenate([getattr(part, name) for part in parts]) for name in Cycles.__slots__))
    if cycles.peak_s.size < rules.least_cycles:
        return None
    periods = np.concatenate([np.diff(part.peak_s) for part in parts if part.peak_s.size > 1] or [np.empty(0)])
    if not periods.size:
        return None
    torque = np.concatenate([smooth[a:b] for a, b in pieces])
    slope = np.concatenate([np.diff(smooth[a:b]) for a, b in pieces]) / c.step_s
    height = float(np.median(cycles.height_nm))
    median_period = float(np.median(periods))
    rising = cycles.rise_s[np.isfinite(cycles.rise_s)]
    rise = float(np.median(rising)) if rising.size else median_period
    steep_fall = -float(np.percentile(slope, 0.5))
    steep_rise = float(np.percentile(slope, 99.5))
    features = ChatterFeatures(
        cycles=int(cycles.peak_s.size),
        height=height / max(level_nm, 1e-12),
        over_noise=height / max(noise, 1e-12),
        rate_hz=1.0 / median_period,
        fall_over_rise=steep_fall / max(steep_rise, 1e-12),
        rise_share=rise / median_period,
        regular=float(np.median(np.abs(periods - median_period))) / median_period,
        coverage=min(1.0, cycles.peak_s.size * median_period / max(total_s, 1e-12)),
        rest_share=_rest_share(c, smooth, height),
        sinusoid=_sinusoid(torque - _trend(torque, max(3, round(1.5 * median_period / c.step_s))), c.step_s),
        stuck=_stuck_share(c, pieces),
    )
    return features, cycles


def _trend(torque_nm: Floats, width: int) -> Floats:
    from scipy.ndimage import uniform_filter1d

    return np.asarray(uniform_filter1d(torque_nm, width | 1, mode="nearest"))


def _rest_share(c: Conditioned, smooth: Floats, height_nm: float) -> float:
    """Peak to peak of the rest before (or after) the pull, over the cycles' height: hum is there at rest too."""
    rest = smooth[: c.rest_to] if c.rest_to >= c.rest_from * 0 + 8 else smooth[c.rest_from :]
    if rest.size < 8:
        return 0.0
    return float(np.percentile(rest, 98) - np.percentile(rest, 2)) / max(height_nm, 1e-12)


def _sinusoid(wave: Floats, step_s: float) -> float:
    """Share of the variance in the strongest line of the spectrum and its neighbours: 1 for a steady sine."""
    if wave.size < 16:
        return 0.0
    power = np.abs(np.fft.rfft((wave - wave.mean()) * np.hanning(wave.size))) ** 2
    power[0] = 0.0
    total = float(power.sum())
    best = int(np.argmax(power))
    near = max(2, round(0.12 * best))
    return float(power[max(0, best - near) : best + near + 1].sum()) / total if total > 0 else 0.0


def _stuck_share(c: Conditioned, pieces: list[tuple[int, int]]) -> float:
    """Share of sliding time in which the lever turns at less than a fifth of its mean speed; nan without an angle."""
    if c.angle_deg is None:
        return math.nan
    half = max(1, c.samples_in(0.008) // 2)
    slow, total = 0, 0
    for first, last in pieces:
        angle = c.angle_deg[first:last]
        if angle.size <= 2 * half + 2:
            continue
        speed = angle[2 * half :] - angle[: -2 * half]
        mean = float(speed.mean())
        slow += int(np.count_nonzero(speed < 0.2 * mean))
        total += speed.size
    return slow / total if total else math.nan


def score(features: ChatterFeatures) -> float:
    """Probability that these cycles are stick-slip."""
    skew = math.log(max(features.fall_over_rise, 1e-3))
    fast = 1.0 / (1.0 + math.exp(-(features.rate_hz - 18.0) / 2.0))
    z = (
        -3.0
        + 4.0 * skew
        + 6.0 * fast * (1.0 - min(1.0, 2 * features.rest_share))
        + 4.0 * (features.rise_share - 0.5)
        - 6.0 * max(0.0, features.rest_share - 0.3)
        + 0.3 * min(features.cycles, 12)
    )
    return 1.0 / (1.0 + math.exp(-max(-30.0, min(30.0, z))))


def read_chatter(c: Conditioned, course: Course | None, level_nm: float, rules: ChatterRules | None = None) -> Chatter:
    """Judge chatter over the sliding stretches of a course; says why not where it cannot."""
    rules = rules or ChatterRules()
    if course is None or not course.sliding:
        return Chatter(assessable=False, score=0.0, why_not="no_sliding")
    if c.clipped[course.sliding[0][0] : course.sliding[-1][1]].mean() > 0.02:
        return Chatter(assessable=False, score=0.0, why_not="overload")
    time_s = sum(float(c.time_s[b - 1] - c.time_s[a]) for a, b in course.sliding)
    travel = None if c.angle_deg is None else sum(float(c.angle_deg[b - 1] - c.angle_deg[a]) for a, b in course.sliding)
    measured = measure(c, course, level_nm, rules)
    probability = score(measured[0]) if measured is not None else 0.01
    why_not = None
    if c.rate_hz < rules.lowest_rate_hz:
        why_not = "low_rate"
    elif time_s < rules.least_time_s or (travel is not None and travel < rules.least_travel_deg):
        why_not = "short_travel"
    if measured is None or probability < 0.5:
        return Chatter(assessable=why_not is None, score=probability, why_not=why_not)
    features, cycles = measured
    span = float(cycles.peak_s[-1] - cycles.peak_s[0])
    frequency = (cycles.peak_s.size - 1) / span if span > 0 else None
    rising = cycles.rise_s[np.isfinite(cycles.rise_s)]
    turn = None if travel is None or time_s <= 0 or frequency is None else travel / time_s / frequency
    return Chatter(
        assessable=why_not is None,
        score=probability,
        frequency_hz=frequency,
        peak_to_peak_nm=float(np.median(cycles.height_nm)),
        cycles=features.cycles,
        degrees_per_slip=turn,
        stuck_share=None if math.isnan(features.stuck) else features.stuck,
        rise_over_fall=float(np.median(rising) / max(float(np.median(cycles.fall_s)), c.step_s)) if rising.size else None,
        slip_times_s=tuple(float(t) for t in cycles.peak_s),
        why_not=why_not,
    )
