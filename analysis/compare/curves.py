"""Curves of pulls laid over each other, breakaway on breakaway, and what a side's curves have in common."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from analysis.distributions import INTERVAL, t_quantile
from analysis.results import Label, PullResult
from analysis.trace import Floats, Trace

GRID_POINTS = 400  # more than a printed curve shows
BEFORE_S, BEFORE_DEG = 1.5, 12.0  # of the load before breakaway
LEAST_IN_BAND = 3  # of two pulls the interval is wider than any picture
LEAST_SHARE = 0.75  # of the pulls reach so far: the mean of the few longest is not that of the side
LEAST_SAMPLES = 64  # a spectrum of fewer has no lines to speak of
HIGHEST_SHARE = 0.4  # of the sampling rate: nearer to half of it filters of sensors bend the spectrum
LOWEST_HZ, HIGHEST_HZ, SPECTRUM_POINTS = 1.0, 100.0, 200  # chatter at hand speed lies within (trade notes 5.1)


@dataclass(frozen=True, slots=True, eq=False)
class PullCurve:
    """A pull for a picture, magnitudes, breakaway at zero.

    time_s, over_time_nm    torque over time after breakaway
    angle_deg, over_angle_nm    torque over angle after breakaway; empty without an angle
    slips, heights_nm    where each slip of chatter lies (degrees after breakaway, else s) and how high it is
    frequency_hz, amplitude_nm    spectrum of the sliding torque; empty where there is too little of it
    """

    time_s: Floats
    over_time_nm: Floats
    angle_deg: Floats
    over_angle_nm: Floats
    slips: Floats
    heights_nm: Floats
    frequency_hz: Floats
    amplitude_nm: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Band:
    """Mean of several curves on one grid and the 95 % interval of that mean; nan where too few curves reach."""

    x: Floats
    mean: Floats
    low: Floats
    high: Floats


def curve_of(trace: Trace, result: PullResult) -> PullCurve | None:
    """The curve of a pull; None where there is neither breakaway nor sliding to lay it by.

    Parameters
    ----------
    trace
        The recording: torque in N.m, time in s, angle in degrees where there is one.
    result
        Its reading; it gives the zero, the direction, the breakaway and the stretches.

    Returns
    -------
    PullCurve or None
        Torque counted from the zero and positive in the direction of the pull, time and angle from the breakaway (from the start of
        sliding where there is none). Thinned to at most two points in each of `GRID_POINTS` columns.
    """
    if result.breakaway is not None:
        at_s = result.breakaway.time_s
    elif result.sliding is not None:
        at_s = result.sliding.from_s
    else:
        return None
    if result.direction is None:
        return None
    torque = result.direction * (trace.torque_nm - (result.zero_nm or 0.0))
    end_s = result.stretches[-1].to_s if result.stretches else float(trace.time_s[-1])
    released = [stretch.from_s for stretch in result.stretches if stretch.label is Label.RELEASE]
    end_s = max(released, default=end_s)
    kept = (trace.time_s >= at_s - BEFORE_S) & (trace.time_s <= end_s)
    time_s = trace.time_s[kept] - at_s
    angle, over_angle = np.empty(0), np.empty(0)
    slips = np.array(result.chatter.slip_times_s if result.chatter.present else ())
    places = slips - at_s
    if trace.angle_deg is not None:
        way = result.direction * (-1 if result.angle_reversed else 1)
        zero_deg = float(np.interp(at_s, trace.time_s, trace.angle_deg))
        turned = way * (trace.angle_deg[kept] - zero_deg)
        angle, over_angle = _thinned(np.maximum.accumulate(turned), torque[kept])
        places = way * (np.interp(slips, trace.time_s, trace.angle_deg) - zero_deg)
    frequency, amplitude = _spectrum(trace, torque, result)
    heights = np.array(result.chatter.slip_heights_nm if result.chatter.present else ())
    return PullCurve(*_thinned(time_s, torque[kept]), angle, over_angle, places, heights, frequency, amplitude)


def _thinned(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Lowest and highest of each of `GRID_POINTS` columns, so that no peak is lost."""
    if x.size <= 2 * GRID_POINTS:
        return x, y
    edges = np.linspace(0, x.size, GRID_POINTS + 1).astype(int)
    picked: set[int] = set()
    for first, last in pairwise(edges.tolist()):
        picked |= {first + int(np.argmin(y[first:last])), first + int(np.argmax(y[first:last]))}
    order = sorted(picked)
    return x[order], y[order]


def _spectrum(trace: Trace, torque: Floats, result: PullResult) -> tuple[Floats, Floats]:
    """Amplitude over frequency of the longest stretch of sliding, on a grid of equal steps of the logarithm."""
    stretches = [stretch for stretch in result.stretches if stretch.label is Label.SLIDING]
    if not stretches:
        return np.empty(0), np.empty(0)
    longest = max(stretches, key=lambda stretch: stretch.to_s - stretch.from_s)
    kept = (trace.time_s >= longest.from_s) & (trace.time_s < longest.to_s)
    n = int(kept.sum())
    if n < LEAST_SAMPLES or longest.to_s - longest.from_s < 2 / LOWEST_HZ:
        return np.empty(0), np.empty(0)
    step_s = float(np.median(np.diff(trace.time_s[kept])))
    wave = torque[kept] - np.polyval(np.polyfit(trace.time_s[kept], torque[kept], 1), trace.time_s[kept])
    window = np.hanning(n)
    # Amplitude after the window's coherent gain (Hann: one half).
    lines = 2 * np.abs(np.fft.rfft(wave * window)) / window.sum()
    frequency = np.fft.rfftfreq(n, step_s)
    grid = np.geomspace(LOWEST_HZ, min(HIGHEST_HZ, HIGHEST_SHARE / step_s), SPECTRUM_POINTS)
    edges = np.sqrt(grid[:-1] * grid[1:])
    columns = np.searchsorted(edges, frequency)
    amplitude = np.interp(grid, frequency, lines)
    inside = (frequency >= grid[0]) & (frequency <= grid[-1])
    np.maximum.at(amplitude, columns[inside], lines[inside])
    return grid, amplitude


def band_of(curves: Sequence[tuple[Floats, Floats]]) -> Band | None:
    """Mean and its interval over curves (x, y), on one grid from the first beginning to the last end; None without curves."""
    filled = [(x, y) for x, y in curves if x.size > 1]
    if not filled:
        return None
    grid = np.linspace(min(float(x[0]) for x, _ in filled), max(float(x[-1]) for x, _ in filled), GRID_POINTS)
    rows = np.array([np.interp(grid, x, y, left=np.nan, right=np.nan) for x, y in filled])
    count = np.isfinite(rows).sum(axis=0)
    enough = count >= LEAST_SHARE * len(filled)
    mean = np.full(grid.size, np.nan)
    mean[enough] = np.nanmean(rows[:, enough], axis=0)
    low, high = mean.copy(), mean.copy()
    several = enough & (count >= LEAST_IN_BAND)
    if several.any():
        spread = np.nanstd(rows[:, several], axis=0, ddof=1)
        reach = t_quantile(INTERVAL[-1], count[several] - 1.0) * spread / np.sqrt(count[several])
        low[several], high[several] = mean[several] - reach, mean[several] + reach
    return Band(grid, mean, low, high)
