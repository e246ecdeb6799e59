"""Breakaway under a tremor that rides on the signal: the peak of the curve that is left when the tremor is taken off."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from analysis.pull.chatter_score import ChatterFeatures
from analysis.pull.conditioning import Conditioned
from analysis.pull.course import Course
from analysis.pull.first_slip import torsional_compliance
from analysis.pull.noise import NORMAL_MAD, median
from analysis.trace import Floats

EVEN_ENOUGH = 0.35
"""Tremor has even periods: with a jitter above this it is none."""
PERIODS = 4
"""So many periods of the ramp are needed to tell the tremor from it."""
LEAST_SAMPLES = 24
"""The fit has twelve parameters and wants as many samples again."""
LINE_BINS = 3
"""A line of a spectrum is so many bins wide to either side."""
CROSSINGS = 4
"""Two periods on the ramp: fewer are a bend of it, no tremor."""
PARAMETERS = 12
RATES_TRIED = (0.9, 1.0, 1.1)
"""The rate that the cycles gave is right within a tenth."""
SLIPS_FROM, SLIPS_TO, SLIPS_TRIED = -0.6, 0.3, 13
"""In periods about the highest sample: the slip comes before it where the tremor is rising, seldom after."""
RAMP_LEFT = 0.3
"""Share of the reach that must be ramp before the slip."""
FINE_POINTS = 600
"""Points at which the ramp's end is read off the fit."""


@dataclass(frozen=True, kw_only=True, slots=True)
class TremorRules:
    """When the sliding stretch shows a hand's tremor, and how the peak is freed of it."""

    slowest_hz: float = 4.0  # physiological tremor lies at 6 to 12 Hz (trade notes 5.2); an arm on a lever a little wider
    fastest_hz: float = 15.0
    sinusoid: float = 0.5  # near-sinusoidal: this share of the variance in one line
    least_share: float = 0.02  # a tremor lower than this share of the torque is left to the usual fit
    # Where the lever trembles along, the torque is what the plates felt and the peak is real. Where it does not, the tremor
    # rides on the sensor (a side load, a cable) and is taken off. On simulated pulls: real 0.9 and more, riding 0.5 and less.
    coherent: float = 0.7
    periods: float = 2.5  # of tremor on either side of the peak are fitted
    fall_s: tuple[float, ...] = (0.008, 0.016, 0.03, 0.055, 0.1, 0.2)
    most_points: int = 160
    ramp_from: float = 0.4  # on the ramp to the peak a tremor is looked for from this share of it on ...
    ramp_fine_s: float = 0.02  # ... in waves slower than this
    ramp_span_s: float = 0.16  # ... and about a mean over this, a period or two of it, ...
    ramp_noise: float = 4.0  # ... which they cross CROSSINGS times, if they are so many deviations of the noise high
    crackle_s: float = 0.1  # what swings about a mean over this ...
    crackle_even: float = 0.5  # ... with less than this share of it in one line is no tremor or ripple ...
    louder: float = 3.0  # ... and none of the sensor's noise at so many times that of rest
    crest: float = 1.5  # of its deviation counts as standard uncertainty of a peak: the highest of many samples is taken
    hum_hz: float = 30.0  # what chatters faster than this may be hum ...
    hum_share: float = 0.5  # ... if it stood at this share of its height before the plates let go
    flag: float = 0.25  # of the tremor's amplitude remains as standard uncertainty: its phase and height wander


@dataclass(frozen=True, slots=True)
class TremorPeak:
    """The peak without the tremor, and what of the tremor is left in it as standard uncertainty."""

    torque_nm: float
    time_s: float
    u_nm: float


def noise_while_turning(c: Conditioned, course: Course, rules: TremorRules) -> float:
    """Deviation of what crackles only while the lever turns (a cable that moves), N.m; 0 where sliding is about as calm as rest.

    Of plates that do not chatter: what swings evenly, as a hand's tremor or ripple does, is another's to tell.

    Parameters
    ----------
    c
        The conditioned trace.
    course
        Its longest stretch of sliding is looked at.
    rules
        Thresholds.

    Returns
    -------
    float
        Standard deviation about a mean over a tenth of a second, N.m.
    """
    if not course.sliding:
        return 0.0
    first, last = max(course.sliding, key=lambda span: span[1] - span[0])
    width = c.samples_in(rules.crackle_s) | 1
    part = c.torque_nm[first:last]
    swing = (part - uniform_filter1d(part, width, mode="nearest"))[width : part.size - width]
    if swing.size < PERIODS * width:
        return 0.0
    power = np.abs(np.fft.rfft(swing * np.hanning(swing.size))) ** 2
    top = int(np.argmax(power))
    even = float(power[max(0, top - LINE_BINS) : top + LINE_BINS + 1].sum()) > rules.crackle_even * float(power.sum())
    # Most of the time, not once: a slip of the vice is no crackling.
    crackles = NORMAL_MAD * median(np.abs(swing - median(swing)))
    return crackles if not even and crackles > rules.louder * max(c.noise_nm, c.resolution_nm) else 0.0


def hum_on_the_ramp(c: Conditioned, course: Course, rate_hz: float, rules: TremorRules) -> float | None:
    """Amplitude of an oscillation at this rate on the ramp, N.m, where it is as high there as while sliding; None where it is not.

    Plates that hold cannot chatter: what is there before they let go is the mains, or the hand's.

    Parameters
    ----------
    c
        The conditioned trace.
    course
        Its ramp and its longest stretch of sliding are compared.
    rate_hz
        Of the cycles found while sliding.
    rules
        Thresholds.

    Returns
    -------
    float or None
        N.m.
    """
    period = c.samples_in(1.0 / rate_hz, 2)
    ramp = c.torque_nm[course.load_from : max(course.load_from, course.peak - 2 * period)]
    if rate_hz < rules.hum_hz or not course.sliding or ramp.size < PERIODS * period:
        return None
    first, last = max(course.sliding, key=lambda span: span[1] - span[0])
    heights = []
    for part in (ramp, c.torque_nm[first:last]):
        swing = part - uniform_filter1d(part, period | 1, mode="nearest")
        heights.append(math.sqrt(2.0 * max(float(np.var(swing[period : part.size - period])) - c.noise_nm**2, 0.0)))
    return heights[0] if heights[0] > rules.hum_share * heights[1] > 0.0 else None


def rides_on_sensor(c: Conditioned, course: Course, features: ChatterFeatures | None, rules: TremorRules) -> bool:
    """Whether the cycles found while sliding are a tremor of the signal that the lever does not follow.

    Parameters
    ----------
    c
        The conditioned trace.
    course
        Its longest stretch of sliding is held against the lever's angle.
    features
        Of the cycles found while sliding; None: there are none.
    rules
        Thresholds.

    Returns
    -------
    bool
        Without an angle every near-sinusoidal cycle at a tremor's rate is taken to ride on the sensor.
    """
    if (
        features is None
        or not rules.slowest_hz <= features.rate_hz <= rules.fastest_hz
        or features.sinusoid < rules.sinusoid
        or features.height < rules.least_share
        or features.period_jitter > EVEN_ENOUGH
    ):
        return False
    return c.angle_deg is None or _coherence(c, course, features.rate_hz) < rules.coherent


def tremor_on_the_ramp(c: Conditioned, course: Course, rules: TremorRules) -> float:
    """Deviation of a tremor that rides on the ramp to the peak, N.m; 0 where there is none, or the lever trembles along.

    Where plates chatter no tremor can be told while they slide, nor be taken off the peak: it met the slip at any of its phases.

    Parameters
    ----------
    c
        The conditioned trace.
    course
        Its load up to the peak is looked at.
    rules
        Thresholds.

    Returns
    -------
    float
        Standard deviation of the tremor at the peak, N.m.
    """
    fine, span = c.samples_in(rules.ramp_fine_s), c.samples_in(rules.ramp_span_s)
    torque = c.torque_nm[course.load_from : course.peak + 1]
    above = np.flatnonzero(torque > rules.ramp_from * torque[-1])
    first = course.load_from + int(above[0]) if above.size else course.peak
    if span < 2 or course.peak - first < 2 * span:
        return 0.0
    part = slice(first, course.peak + 1)

    def waves(signal: Floats) -> Floats:
        smooth = uniform_filter1d(signal[part], fine, mode="nearest")
        return np.asarray((smooth - uniform_filter1d(smooth, span, mode="nearest"))[span // 2 : -(span // 2)])

    wave = waves(c.torque_nm)
    # A tremor grows with the force (trade notes 5.2): what it is at the peak is told by its share of the torque on the way.
    carried = c.torque_nm[part][span // 2 : -(span // 2)]
    size = float(np.std(wave / np.maximum(carried, rules.ramp_from * torque[-1]))) * float(torque[-1])
    crossings = np.count_nonzero(np.diff(np.signbit(wave)))
    rate_hz = 0.5 * crossings / max(wave.size * c.step_s, c.step_s)
    if (
        size < rules.ramp_noise * c.noise_nm / math.sqrt(fine)
        or not rules.slowest_hz <= rate_hz <= rules.fastest_hz
        or crossings < CROSSINGS
    ):
        return 0.0
    compliance = torsional_compliance(c, c.smooth(rules.ramp_fine_s), (course.load_from, course.peak + 1))
    if c.angle_deg is not None and compliance * size > c.resolution_deg:
        along = float(waves(c.angle_deg) @ wave) / float(wave @ wave)
        if along > rules.coherent * compliance:
            return 0.0
    return size


def _coherence(c: Conditioned, course: Course, rate_hz: float) -> float:
    """Coherence of lever angle and torque at `rate_hz` over the longest sliding stretch, 0 to 1."""
    assert c.angle_deg is not None
    first, last = max(course.sliding, key=lambda span: span[1] - span[0])
    period = c.samples_in(1.0 / rate_hz) | 1
    if last - first < PERIODS * period:
        return 0.0
    turn = np.exp(-2j * np.pi * rate_hz * c.time_s[first:last])

    def line(signal: Floats) -> NDArray[np.complex128]:
        trend = uniform_filter1d(uniform_filter1d(signal, period), period)
        wave = (signal - trend) * turn
        width = 2 * period
        smooth = uniform_filter1d(wave.real, width) + 1j * uniform_filter1d(wave.imag, width)
        return np.asarray(smooth[period:-period], dtype=np.complex128)

    angle, torque = line(c.angle_deg[first:last]), line(c.torque_nm[first:last])
    power = float(np.mean(np.abs(angle) ** 2) * np.mean(np.abs(torque) ** 2))
    return float(np.abs(np.mean(angle * torque.conj()))) / math.sqrt(power) if power > 0 else 0.0


def _shape(time_s: Floats, slip_s: float, fall_s: float) -> Floats:
    """Columns of the curve without tremor, linear in value and slope at the slip, curvature before, level after.

    Before the slip a parabola; after it the critically damped fall of a unit that lets go, which starts with the ramp's
    slope: T = level + [(value - level)(1 + s/tau) + slope s] exp(-s/tau).
    """
    s = time_s - slip_s
    after = s > 0
    left, right = np.minimum(s, 0.0), np.where(after, s, 0.0)
    decay = np.exp(-right / fall_s)
    value = np.where(after, (1 + right / fall_s) * decay, 1.0)
    slope = np.where(after, right * decay, left)
    return np.column_stack([value, slope, left * left, 1.0 - value])


def peak_under_tremor(c: Conditioned, course: Course, rate_hz: float, rules: TremorRules) -> TremorPeak | None:
    """Fit shape and tremor together around the peak and take the highest of the shape; None where there is too little signal.

    The tremor is a sine whose amplitude may grow or shrink in the window. Time of slip, speed of fall and the tremor's rate
    are searched on a grid, everything else is linear least squares.

    Parameters
    ----------
    c
        The conditioned trace.
    course
        Where the load is taken up and the peak lies.
    rate_hz
        The tremor's rate as the cycles while sliding gave it, Hz.
    rules
        Thresholds; how far around the peak is fitted, and the speeds of fall that are tried.

    Returns
    -------
    TremorPeak or None
        Torque and its standard uncertainty, N.m; time, s.
    """
    reach = rules.periods / rate_hz
    middle = float(c.time_s[course.peak])
    first, last = np.searchsorted(c.time_s, [max(middle - reach, c.time_s[course.load_from]), middle + reach])
    if last - first < LEAST_SAMPLES:
        return None
    stride = max(1, (last - first) // rules.most_points)
    smooth = c.smooth(stride * c.step_s)
    time, torque = c.time_s[first:last:stride], smooth[first:last:stride]
    best: tuple[float, Floats, float, float, float] | None = None
    for rate in rate_hz * np.array(RATES_TRIED):
        phase = 2 * np.pi * rate * (time - middle)
        grow = (time - middle) / reach
        wave = np.column_stack([np.cos(phase), np.sin(phase), grow * np.cos(phase), grow * np.sin(phase)])
        for slip_s in middle + np.linspace(SLIPS_FROM, SLIPS_TO, SLIPS_TRIED) / rate_hz:
            if slip_s - time[0] < RAMP_LEFT * reach:
                continue
            for fall_s in rules.fall_s:
                design = np.hstack([_shape(time, slip_s, fall_s), wave])
                weight, *_ = np.linalg.lstsq(design, torque, rcond=None)
                error = torque - design @ weight
                size = float(error @ error)
                if best is None or size < best[0]:
                    best = (size, weight, float(slip_s), fall_s, rate)
    if best is None:
        return None
    size, weight, slip_s, fall_s, _ = best
    fine = np.linspace(float(time[0]), float(time[-1]), FINE_POINTS)
    curve = _shape(fine, slip_s, fall_s) @ weight[:4]
    near = np.abs(fine - slip_s) < 1.0 / rate_hz
    top = int(np.argmax(np.where(near, curve, -np.inf)))
    amplitude = math.hypot(float(weight[4]), float(weight[5]))
    scatter = math.sqrt(size / max(time.size - PARAMETERS, 1))
    return TremorPeak(float(curve[top]), float(fine[top]), math.hypot(rules.flag * amplitude, scatter))
