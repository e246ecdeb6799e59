"""Peaks that stand out, and a moving parabola: also in `scipy.signal`, whose import alone takes longer than a reading."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import correlate1d

from analysis.trace import Floats

Indices = NDArray[np.intp]


def moving_parabola(values: Floats, width: int) -> Floats:
    """Smooth by the parabola that fits best within each window of `width` samples.

    Parameters
    ----------
    values : (n,) array
        Evenly spaced.
    width : int
        Odd, from 3 to n. The first and last half window take the values of the outermost parabolas.

    Returns
    -------
    (n,) array
        In the unit of `values`. A peak keeps its height where a moving mean would cut it.

    Notes
    -----
    A. Savitzky and M. J. E. Golay, Analytical Chemistry 36 (1964) 1627: weights of second order.

    Examples
    --------
    >>> moving_parabola(np.arange(1.0, 7.0) ** 2, 5).round(9).tolist()
    [1.0, 4.0, 9.0, 16.0, 25.0, 36.0]
    """
    half = width // 2
    at = np.arange(-half, half + 1)
    heights = 3 * (3 * half * (half + 1) - 1 - 5 * at**2)  # formula
    weights = heights / ((2 * half - 1) * (2 * half + 1) * (2 * half + 3))  # formula
    smooth = np.asarray(correlate1d(values, weights))
    smooth[:half] = np.polyval(np.polyfit(at, values[:width], 2), at[:half])
    smooth[-half:] = np.polyval(np.polyfit(at, values[-width:], 2), at[-half:])
    return smooth


def prominent_peaks(values: Floats, least: float) -> tuple[Indices, Floats]:
    """Peaks that stand out by at least `least`, and by how much.

    Parameters
    ----------
    values : (n,) array
    least : float
        Above 0, in the unit of `values`.

    Returns
    -------
    peaks : (p,) array of indices, rising
        Of a flat top its middle; of equal tops with less than `least` between them the last. First and last value are never peaks.
    prominence : (p,) array
        How far one must come down from the peak, to the better side, before it goes up to a higher value;
        the ends of `values` bound it.

    Examples
    --------
    >>> peaks, prominence = prominent_peaks(np.array([0.0, 5.0, 4.0, 4.5, 1.0, 3.0, 3.0, 2.0]), 0.75)
    >>> peaks.tolist(), prominence.tolist()
    ([1, 5], [4.0, 1.0])
    """
    begins = np.append(0, np.flatnonzero(np.diff(values)) + 1)  # of the runs of equal values
    runs = values[begins]
    rising = np.diff(runs) > 0
    turns = np.flatnonzero(rising[1:] != rising[:-1]) + 1
    turns = np.concatenate(([0], turns, [runs.size - 1] if runs.size > 1 else [])).astype(np.intp)
    turns = _without_small(turns, runs, least)
    heights = runs[turns]
    prominence = _prominence(heights)
    keep = prominence >= least
    last = np.append(begins[1:], values.size) - 1
    return (begins[turns[keep]] + last[turns[keep]]) // 2, prominence[keep]


def _without_small(turns: Indices, runs: Floats, least: float) -> Indices:
    """Turning points without the pairs that lie less than `least` apart, the closest first.

    A pair that is closer than its neighbours are lies within both of them in value: taking it out changes no other prominence.
    """
    while turns.size > 2:
        height = runs[turns]
        step = np.full(turns.size + 1, np.inf)  # with an infinite one beyond either end
        np.abs(np.diff(height), out=step[1:-1])
        # An end above its neighbour bounds nothing if it is taken out; it stays.
        if height[0] > height[1]:
            step[1] = np.inf
        if height[-1] > height[-2]:
            step[-2] = np.inf
        own = step[1:-1]
        close = (own < least) & (own < step[:-2]) & (own <= step[2:])
        if not close.any():
            break
        keep = np.ones(turns.size, dtype=bool)
        keep[:-1][close] = False
        keep[1:][close] = False
        turns = turns[keep]
    return turns


def _prominence(heights: Floats) -> Floats:
    """Prominence of each turning point; minus infinity for troughs and the two ends."""
    low_left, low_right = _lowest_before(heights), _lowest_before(heights[::-1])[::-1]
    prominence = heights - np.maximum(low_left, low_right)
    peak = np.zeros(heights.size, dtype=bool)
    peak[1:-1] = (heights[1:-1] > heights[:-2]) & (heights[1:-1] > heights[2:])
    return np.where(peak, prominence, -np.inf)


def _lowest_before(heights: Floats) -> Floats:
    """The lowest value between each one and the last higher one before it (or the beginning)."""
    lowest = heights.copy()
    higher: list[int] = []
    for at, height in enumerate(heights):
        while higher and heights[higher[-1]] <= height:
            lowest[at] = min(lowest[at], lowest[higher.pop()])
        higher.append(at)
    return lowest
