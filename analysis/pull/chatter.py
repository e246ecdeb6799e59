"""Chatter: stick-slip while sliding, told from tremor, hum, ripple locked to the angle, clicks, regrips and noise.

A cycle is a slow rise and a sudden fall of torque as the plates stick and let go. Every feature of a stretch that tells
it from its look-alikes is one number; a logistic function of them, fitted to simulated pulls of known truth, gives the
score as a probability.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d
from scipy.special import ndtri

from analysis.pull.chatter_score import ChatterFeatures, score
from analysis.pull.conditioning import Conditioned
from analysis.pull.course import Course
from analysis.pull.first_slip import torsional_compliance
from analysis.pull.noise import FOURTH, FOURTH_DIFFERENCE, fast_length, median, percentile
from analysis.pull.peaks import moving_parabola, prominent_peaks
from analysis.pull.stuck import cycle_shares
from analysis.results import CHATTERS_FROM, Chatter
from analysis.trace import Floats

Indices = NDArray[np.intp]


LEAST_SMOOTHED = 5
"""Samples of the narrowest parabola."""
PARABOLA_NOISE = 1.5
"""Noise of a parabola's middle over that of a sample, times the root of its width: the root of 9/4, for all but the shortest."""
RESOLUTION_STEPS = 2.5
"""A fall of fewer steps of the torque is none."""
LEAST_PIECE = 8
"""Samples of rest that are looked at."""
THIN = 6
"""Of the width of the parabola: peaks are sought on every sixth of its samples."""
CREST = 0.05
"""Of a period: so near the crest samples count for its true height."""
TREND_PERIODS = 1.5
"""What is slower than so many periods is no chatter."""
MEAN_OF_HIGHEST = (0.375, 0.25)
"""How far the highest of n values of noise stands out: the quantile of (n - 3/8) / (n + 1/4) (Blom 1958)."""
NOISE_SAMPLES = 200_000
"""So many samples tell the noise."""
RARE_NOISE, RARE_OVER_SIGMA = 99.5, 2.8
"""The percentile of fourth differences that noise with rare large values shows in, and what it is of a normal noise. Measured
sets without any rest hang on it (tests/outside/test_outside_real_traces.py)."""
ONE_LINE = 0.12
"""Of its frequency: so near the highest line lies what belongs to it."""
HALF_STEP = 0.15
"""Of a period, either way: the turning is taken over so much."""
SLOW = 0.25
"""Of the mean turning: what is slower is stuck, as far as an angle tells."""
CLIPPED_SHARE = 0.02
"""Of the sliding: where more is clipped, chatter cannot be assessed."""
NO_CYCLES_SCORE = 0.01
"""Probability of chatter where no cycles were found."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ChatterRules:
    """Thresholds of the search for cycles, each with its reason."""

    lowest_rate_hz: float = 200.0  # below, smooth sliding cannot be told from chatter too fast to see
    least_travel_deg: float = 6.0  # a few cycles of the slow regime, 0.4 to 2.7 degrees each (trade notes 5.1)
    least_time_s: float = 0.4
    band_s: float = 0.004  # the search is for cycles below some 150 Hz: a parabola through this span averages faster wiggle away
    narrow_rate_hz: float = 900.0  # a slower sensor has too few samples a cycle to be smoothed at all
    noise_height: float = 7.0  # a cycle is so many deviations of the smoothed noise high ...
    level_height: float = 0.012  # ... and this share of the sliding torque: less is no chatter that anybody feels
    main_share: float = 0.6  # a fall of at least this share of the large ones counts as it is
    small_share: float = 0.15  # a smaller one, down to this share, counts if the hand had loaded the plates: the torque climbed ...
    climb: float = 2.0  # ... no faster than so many times as to the large ones, a lever that rings climbs as fast as it falls ...
    slow_rise: float = 1.1  # and takes longer to climb than to fall, as a swing does not
    slowest: float = 20.0  # ... of which so many percent at least come after the hand's own climb, and not in a volley
    turned_share: float = 0.2  # plates that turned on by less than this share of what they do after a large fall have only crept
    least_steps: float = 4.0  # ... which an encoder tells where the latter is so many of its steps
    slipping: float = 75.0  # so many percent of the large falls may be a ringing lever's: the rest tell how far plates slip
    ringing_lower: float = 0.05  # a lever that rings falls lower than the slip itself where it does so by this share of the fall
    least_cycles: int = 3
    slip_left: float = 0.05  # plates that have this share of their slip still to go have stopped, as far as an angle tells ...
    steps_left: float = 1.5  # ... or so many steps of the encoder: one is lost in rounding
    longest_cycle: float = 2.5  # times the median: what lies further apart has quiet sliding in between
    steepest_share: float = 0.2  # of a rise: over so much of it the steepest slope is taken


@dataclass(frozen=True, slots=True, eq=False)
class Cycles:
    """Peaks and the troughs that follow them, as indices; peak times, height and time of each fall, time of the rise before it.

    `lowest` is where the torque was lowest before the next peak: the trough, or where a lever that rings fell lower still.
    """

    peak: Indices
    trough: Indices
    lowest: Indices
    peak_s: Floats
    height_nm: Floats
    fall_s: Floats
    rise_s: Floats


_NO_INDEX = np.empty(0, dtype=np.intp)
NO_CYCLES = Cycles(_NO_INDEX, _NO_INDEX, _NO_INDEX, np.empty(0), np.empty(0), np.empty(0), np.empty(0))


def find_cycles(
    time_s: Floats, torque_nm: Floats, plates_deg: Floats | None, step_deg: float, least_nm: float, rules: ChatterRules
) -> Cycles:
    """Falls of at least `least_nm` from a peak to the trough after it, ringing left out.

    1. Peaks with a prominence of at least `least_nm` and `small_share` of the large ones; troughs between them.
    2. After a slip the lever rings. A fall of less than `main_share` of the large ones counts only if the torque climbed to it as
       slowly as to those: plates that stick are loaded by the hand, a lever that rings climbs far faster.
    3. A lever that rings over plates that stand makes no slip: where `plates_deg` tells how far the plates have turned (None: it
       cannot be told; `step_deg`: to this step), a fall counts only if they turned on from its peak to the next.

    Parameters
    ----------
    time_s
        (n,) rising.
    torque_nm
        (n,) of one stretch of sliding, smoothed as is wanted.
    plates_deg
        (n,) the lever's angle less the wind-up, deg.
    step_deg
        The encoder's step, deg.
    least_nm
        The least fall that counts, N.m.
    rules
        Thresholds.

    Returns
    -------
    Cycles
        m of them, m 0 or more; indices into the arrays given, times in s, heights in N.m. The rise before the first peak is nan.
    """
    peaks, prominence_nm = prominent_peaks(torque_nm, least_nm)
    if peaks.size < 2:
        return NO_CYCLES
    large = percentile(prominence_nm, 90)
    peaks = peaks[prominence_nm >= rules.small_share * large]
    if peaks.size < 2:
        return NO_CYCLES
    bounds = np.append(peaks, torque_nm.size - 1)
    troughs = np.array([a + int(np.argmin(torque_nm[a : b + 1])) for a, b in pairwise(bounds)])
    height = torque_nm[peaks] - torque_nm[troughs]
    fall = time_s[troughs] - time_s[peaks]
    main = height >= rules.main_share * percentile(height, 90)
    # How fast the torque climbed to each peak; before the first it is not known.
    climb = np.full(peaks.size, 0.0)
    climb[1:] = (torque_nm[peaks[1:]] - torque_nm[troughs[:-1]]) / (time_s[peaks[1:]] - time_s[troughs[:-1]])
    by_hand = percentile(climb[1:][main[1:]], rules.slowest) if main[1:].any() else 0.0
    rise = np.append(np.inf, time_s[peaks[1:]] - time_s[troughs[:-1]])
    keep = main | ((climb <= rules.climb * by_hand) & (rise >= rules.slow_rise * fall))
    if plates_deg is not None:
        keep &= _turned_on(plates_deg, step_deg, bounds, main, rules)
    keep &= height >= rules.small_share * percentile(height, 90)
    peaks, troughs, fall = peaks[keep], troughs[keep], fall[keep]
    if peaks.size < 2:
        return NO_CYCLES
    bounds = np.append(peaks, torque_nm.size - 1)
    lowest = np.array([a + int(np.argmin(torque_nm[a : b + 1])) for a, b in pairwise(bounds)])
    height = torque_nm[peaks] - torque_nm[lowest]
    # A lever that rings may fall a little lower than the slip itself.
    lowest = np.where(torque_nm[troughs] - torque_nm[lowest] > rules.ringing_lower * height, lowest, troughs)
    rise = np.full(peaks.size, np.nan)
    rise[1:] = time_s[peaks[1:]] - time_s[troughs[:-1]]
    return Cycles(peaks, troughs, lowest, time_s[peaks], torque_nm[peaks] - torque_nm[lowest], fall, rise)


def _turned_on(
    plates_deg: Floats, step_deg: float, bounds: Indices, main: NDArray[np.bool_], rules: ChatterRules
) -> NDArray[np.bool_]:
    """Whether the plates turned on from each bound to the next, against how far after a large fall; true where none can tell."""
    turned = np.diff(plates_deg[bounds])
    usual = percentile(turned[main], rules.slipping)
    if usual < rules.least_steps * step_deg or usual <= 0:
        return np.ones(turned.size, dtype=bool)
    return np.asarray(turned >= rules.turned_share * usual)


def measure(c: Conditioned, course: Course, level_nm: float, rules: ChatterRules) -> tuple[ChatterFeatures, Cycles] | None:
    """The features over all sliding stretches; None where there are fewer than `least_cycles` cycles.

    Parameters
    ----------
    c
        The conditioned trace.
    course
        Its sliding stretches are searched.
    level_nm
        The sliding torque, N.m, of which heights are shares.
    rules
        Thresholds.

    Returns
    -------
    ChatterFeatures and Cycles, or None
        Cycles with indices into the whole trace and heights freed of what noise adds, N.m.
    """
    width = c.samples_in(rules.band_s, LEAST_SMOOTHED) | 1 if c.rate_hz >= rules.narrow_rate_hz else 1
    # A moving parabola keeps the height of a peak that a moving mean would cut.
    smooth = moving_parabola(c.torque_nm, width) if 1 < width < c.torque_nm.size else c.torque_nm
    # Noise of a parabola's middle: the root of 9 / (4 width) for all but the shortest.
    noise = _noise(c) * (PARABOLA_NOISE / math.sqrt(width) if width > 1 else 1.0)
    least = max(rules.noise_height * noise, rules.level_height * level_nm, RESOLUTION_STEPS * c.resolution_nm)
    pieces = course.sliding
    thin = max(1, width // THIN)

    def cycles_in(plates_deg: Floats | None) -> list[Cycles]:
        found = [
            _placed(
                find_cycles(
                    c.time_s[a:b:thin],
                    smooth[a:b:thin],
                    None if plates_deg is None else plates_deg[a:b:thin],
                    c.resolution_deg,
                    least,
                    rules,
                ),
                a,
                thin,
            )
            for a, b in pieces
        ]
        return [part for part in found if part.peak.size]

    loaded = max((first for first, _ in course.load_segments if first <= course.peak), default=course.load_from)
    compliance = torsional_compliance(c, smooth, (loaded, course.peak + 1))
    if not compliance:
        compliance = _compliance_of_rises(c, smooth, cycles_in(None), rules)
    parts = cycles_in(None if c.angle_deg is None or not compliance else c.angle_deg - compliance * smooth)
    if not parts:
        return None
    cycles = Cycles(*(np.concatenate([getattr(part, name) for part in parts]) for name in Cycles.__slots__))
    periods = np.concatenate([np.diff(part.peak_s) for part in parts])
    if cycles.peak.size < rules.least_cycles or not periods.size:
        return None
    total_s = sum(float(c.time_s[b - 1] - c.time_s[a]) for a, b in pieces)
    period = median(periods)
    cycles = replace(cycles, height_nm=_true_heights(cycles, c.torque_nm, _noise(c), max(2, round(CREST * period / c.step_s))))
    height = median(cycles.height_nm)
    rising = cycles.rise_s[np.isfinite(cycles.rise_s)]
    torque = np.concatenate([smooth[a:b] for a, b in pieces])
    features = ChatterFeatures(
        cycles=int(cycles.peak.size),
        height=height / max(level_nm, 1e-12),
        over_noise=height / max(noise, 1e-12),
        rate_hz=1.0 / period,
        mean_s=float(periods.mean()),
        fall_over_rise=_fall_over_rise(c, smooth, parts),
        rise_share=median(rising) / period if rising.size else 0.5,
        period_jitter=median(np.abs(periods - period)) / period,
        coverage=min(1.0, float(periods.sum()) / max(total_s, 1e-12)),
        rest_share=_rest_share(c, smooth, height),
        sinusoid=_sinusoid(torque - _trend(torque, max(3, round(TREND_PERIODS * period / c.step_s)))),
        slip_share=_slip_share(c, smooth, parts, compliance),
        stuck=_stuck_share(c, smooth, pieces, compliance, period),
    )
    return features, cycles


def _true_heights(cycles: Cycles, torque_nm: Floats, noise_nm: float, reach: int) -> Floats:
    """Heights from the raw torque (a smoothed one overshoots at a sharp fall), freed of what noise adds.

    The extreme of m samples, each of which could have been it, lies so far out of them as a normal law has it (Blom 1958).
    """
    heights = np.empty(cycles.peak.size)
    for k, (peak, trough) in enumerate(zip(cycles.peak, cycles.lowest, strict=True)):
        ends = 0.0
        for at, side in ((peak, 1.0), (trough, -1.0)):
            near = side * torque_nm[max(0, at - reach) : at + reach + 1]
            top = float(near.max())
            count = int(np.count_nonzero(near >= top - 2.0 * noise_nm))
            rank = (count - MEAN_OF_HIGHEST[0]) / (count + MEAN_OF_HIGHEST[1])
            ends += top - (float(ndtri(rank)) * noise_nm if count > 1 else 0.0)
        heights[k] = ends
    return np.maximum(heights, 0.0)


def _noise(c: Conditioned) -> float:
    """Noise of a sample at rest; without rest, allowing for tails heavier than a normal law's, from the sliding itself."""
    if c.rest_to or c.rest_from < c.time_s.size:
        return c.noise_nm
    size = np.abs(np.diff(c.torque_nm[:NOISE_SAMPLES], FOURTH)) / FOURTH_DIFFERENCE
    # 99.5 % of a normal law lie within 2.8 deviations.
    return max(c.noise_nm, percentile(size, RARE_NOISE) / RARE_OVER_SIGMA) if size.size else c.noise_nm


def _placed(cycles: Cycles, first: int, thin: int) -> Cycles:
    """Cycles found in every `thin`th sample from `first` on, with indices into the whole trace."""
    return replace(
        cycles, peak=first + thin * cycles.peak, trough=first + thin * cycles.trough, lowest=first + thin * cycles.lowest
    )


def _fall_over_rise(c: Conditioned, smooth: Floats, parts: list[Cycles]) -> float:
    """Median over cycles of the steepest fall over the rise towards the peak, each over a few samples."""
    ratios: list[float] = []
    for part in parts:
        for a, peak, b in zip(part.trough[:-1], part.peak[1:], part.trough[1:], strict=True):
            rise, fall = smooth[a : peak + 1], smooth[peak : b + 1]
            if rise.size < 3 or fall.size < 2:
                continue
            step = max(1, min(rise.size, fall.size) // 4)
            # The rise is taken in its upper half: below it the lever may still ring from the slip before.
            upper = rise[int(np.argmax(rise >= 0.5 * (rise[0] + rise[-1]))) :]
            up = float((upper[-1] - upper[0]) / max(upper.size - 1, 1))
            down = float(np.max(fall[:-step] - fall[step:]) / step) if fall.size > step else float(fall[0] - fall[-1])
            if up > 0:
                ratios.append(down / up)
    return float(np.median(ratios)) if ratios else 1.0


def _compliance_of_rises(c: Conditioned, smooth: Floats, parts: list[Cycles], rules: ChatterRules) -> float:
    """Torsional compliance from the steepest part of each rise, in deg per N.m, where no load was recorded; 0 without an angle.

    Plates that stick load as steeply as the rig is stiff, from the fall to the next slip; what only dips climbs so but at first.
    """
    if c.angle_deg is None:
        return 0.0
    slopes: list[float] = []
    for part in parts:
        for a, b in zip(part.trough[:-1], part.peak[1:], strict=True):
            step = int((b - a) * rules.steepest_share)
            if step < 2:
                continue
            torque = smooth[a + step : b + 1] - smooth[a : b + 1 - step]
            turned = c.angle_deg[a + step : b + 1] - c.angle_deg[a : b + 1 - step]
            on = turned > c.resolution_deg
            if on.any():
                slopes.append(float(np.max(torque[on] / turned[on])))
    stiffness = float(np.percentile(slopes, 90)) if slopes else 0.0
    return 1.0 / stiffness if stiffness > 0 else 0.0


def _trend(torque_nm: Floats, width: int) -> Floats:
    return np.asarray(uniform_filter1d(torque_nm, min(width | 1, torque_nm.size | 1), mode="nearest"))


def _rest_share(c: Conditioned, smooth: Floats, height_nm: float) -> float:
    """Peak to peak of the rest before (or after) the pull, over the cycles' height: hum is there at rest too."""
    rest = smooth[: c.rest_to] if c.rest_to >= LEAST_PIECE else smooth[c.rest_from :]
    if rest.size < LEAST_PIECE:
        return c.hum_nm / max(height_nm, 1e-12)
    return (float(percentile(rest, 98) - percentile(rest, 2)) + c.hum_nm) / max(height_nm, 1e-12)


def _sinusoid(wave: Floats) -> float:
    """Share of the variance in the strongest line of the spectrum and its neighbours: 1 for a steady sine."""
    # Padded to a length of small factors: of a large prime the transform takes ten times as long.
    power = np.abs(np.fft.rfft((wave - wave.mean()) * np.hanning(wave.size), fast_length(wave.size))) ** 2
    power[0] = 0.0
    total = float(power.sum())
    best = int(np.argmax(power))
    near = max(2, round(ONE_LINE * best))
    return float(power[max(0, best - near) : best + near + 1].sum()) / total if total > 0 else 0.0


def _slip_share(c: Conditioned, smooth: Floats, parts: list[Cycles], compliance: float) -> float:
    if c.angle_deg is None or compliance == 0.0:  # without the wind-up the lever alone does not tell how the unit turned
        return math.nan
    fallen = turned = fall_s = whole_s = 0.0
    for part in parts:
        if part.peak.size < 2:
            continue
        unit = c.angle_deg[part.peak] - compliance * smooth[part.peak]
        after = c.angle_deg[part.trough] - compliance * smooth[part.trough]
        fallen += float((after - unit)[:-1].sum())
        turned += float(unit[-1] - unit[0])
        fall_s += float(part.fall_s[:-1].sum())
        whole_s += float(part.peak_s[-1] - part.peak_s[0])
    if turned <= 2 * c.resolution_deg or fall_s >= whole_s:
        return math.nan
    by_time = fall_s / whole_s
    return (fallen / turned - by_time) / (1.0 - by_time)


def _stuck_share(c: Conditioned, smooth: Floats, pieces: Sequence[tuple[int, int]], compliance: float, period_s: float) -> float:
    if c.angle_deg is None or compliance == 0.0:
        return math.nan
    half = max(1, c.samples_in(HALF_STEP * period_s) // 2)
    slow, total = 0, 0
    for first, last in pieces:
        unit = c.angle_deg[first:last] - compliance * smooth[first:last]
        if unit.size <= 2 * half + 2:
            continue
        step = unit[2 * half :] - unit[: -2 * half]
        slow += int(np.count_nonzero(np.abs(step) < SLOW * abs(float(step.mean()))))
        total += step.size
    return slow / total if total else math.nan


def read_chatter(c: Conditioned, course: Course, measured: tuple[ChatterFeatures, Cycles] | None, rules: ChatterRules) -> Chatter:
    """Judge chatter over the sliding stretches of a course from what `measure` found there; says why not where it cannot.

    Parameters
    ----------
    c
        The conditioned trace.
    course
        Its sliding stretches are judged.
    measured
        What `measure` found; None: no cycles.
    rules
        Thresholds; rate, time and travel below which nothing can be said count here.

    Returns
    -------
    Chatter
        Score between 0 and 1; from `CHATTERS_FROM` on with frequency in Hz, peak to peak in N.m and the times of the slips in s.
        `why_not` is 'no_sliding', 'overload', 'low_rate' or 'short_travel' where it cannot be assessed.
    """
    if not course.sliding:
        return Chatter(assessable=False, score=0.0, why_not="no_sliding")
    if c.clipped[course.sliding[0][0] : course.sliding[-1][1]].mean() > CLIPPED_SHARE:
        return Chatter(assessable=False, score=0.0, why_not="overload")
    time_s = sum(float(c.time_s[b - 1] - c.time_s[a]) for a, b in course.sliding)
    travel = None if c.angle_deg is None else sum(float(c.angle_deg[b - 1] - c.angle_deg[a]) for a, b in course.sliding)
    probability = score(measured[0]) if measured is not None else NO_CYCLES_SCORE
    why_not = None
    if 1.0 / c.value_s < rules.lowest_rate_hz:
        why_not = "low_rate"
    elif time_s < rules.least_time_s or (travel is not None and travel < rules.least_travel_deg):
        why_not = "short_travel"
    if measured is None or probability < CHATTERS_FROM:
        quiet = 0.0 if why_not is None else None
        return Chatter(assessable=why_not is None, score=probability, why_not=why_not, travel_share=quiet, stuck_time_share=quiet)
    features, cycles = measured
    travel_share, stuck_time_share = cycle_shares(c, course, cycles, rules)
    frequency = 1.0 / features.mean_s
    rising = cycles.rise_s[np.isfinite(cycles.rise_s)]
    turn = None if travel is None or time_s <= 0 else travel / time_s / frequency
    return Chatter(
        assessable=why_not is None,
        score=probability,
        frequency_hz=frequency,
        peak_to_peak_nm=median(cycles.height_nm),
        cycles=features.cycles,
        degrees_per_slip=turn,
        stuck_share=max(0.0, 1.0 - float(np.mean(cycles.fall_s)) / features.mean_s),
        rise_over_fall=float(median(rising) / max(median(cycles.fall_s), c.step_s)) if rising.size else None,
        slip_times_s=tuple(float(t) for t in cycles.peak_s),
        slip_heights_nm=tuple(float(height) for height in cycles.height_nm),
        why_not=why_not,
        travel_share=travel_share,
        stuck_time_share=stuck_time_share,
    )
