"""Sliding torque: the mean over steady sliding, weighted by angle turned where there is an angle, by time elsewhere."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.distributions import RECTANGULAR
from analysis.pull.conditioning import Conditioned
from analysis.pull.course import Course
from analysis.pull.noise import GAP_STEPS, NOISE_BANDWIDTH_HZ, fast_length, median, slope_of
from analysis.results import Order
from analysis.trace import Floats

# The mean of even sliding is good to about this share: the spread of errors on simulated pulls with nothing else wrong
# (tests/speed/readings.py, kind clean).
FLOOR_SHARE = 0.0005
# Where steady sliding begins is known to a degree or two (CourseRules.after_slip_deg), where it ends to some tenths of a second: a
# twentieth of the way of a pull of forty degrees.
ENDS_SHARE = 0.05


PARTS_LEAST = 4
"""So many samples a part, or the evenness of the parts says nothing."""
FINEST = 20_000
"""Bins over the travel at most ..."""
FEWEST_BINS, FEWEST_FILLED = 10.0, 8
"""... and at least: with fewer there is no spectrum over the angle."""
FINER = 8
"""The spectrum is padded to so many times the bins."""
LOWEST_TURNS = 1.2
"""Ripple must turn at least so often within the travel to be told from a bend."""
OVER_FLOOR, OVER_REST = 4.0, 0.3
"""Ripple stands out by so many times the median line, and by this share of what is left."""


@dataclass(frozen=True, slots=True)
class Plateau:
    """The mean over steady sliding, travel, slope and ripple.

    `u_nm` is the standard uncertainty from the noise, `interval_u_nm` that from where the stretch begins and ends: sliding
    that is not even gives another mean over another stretch.
    """

    torque_nm: float
    u_nm: float
    interval_u_nm: float
    from_s: float
    to_s: float
    travel_deg: float | None
    slope_nm_per_deg: float | None
    ripple: tuple[Order, ...]


def read_plateau(c: Conditioned, course: Course) -> Plateau | None:
    """Work over angle (integral of torque over angle, by the trapezoid, over angle turned); time mean without an angle.

    None where there is no steady sliding, the lever did not turn on it, or nothing resisted.

    Parameters
    ----------
    c
        The conditioned trace.
    course
        Its spans of steady sliding are averaged.

    Returns
    -------
    Plateau or None
        Mean and its standard uncertainties in N.m, from and to in s, travel in deg and slope in N.m/deg where there is an angle.
    """
    spans = course.sliding
    if not spans:
        return None
    from_s, to_s = float(c.time_s[spans[0][0]]), float(c.time_s[spans[-1][1] - 1])
    work, weight = 0.0, 0.0
    blocks: list[Floats] = []
    weights: list[Floats] = []
    for first, last in spans:
        torque = c.torque_nm[first:last]
        along = c.time_s[first:last] if c.angle_deg is None else c.angle_deg[first:last]
        middle = 0.5 * (torque[1:] + torque[:-1])
        step = np.diff(along)
        if c.angle_deg is None:
            usual = step <= GAP_STEPS * c.step_s  # nothing is averaged over a gap
            middle, step = middle[usual], step[usual]
        work += float(middle @ step)
        weight += float(step.sum())
        blocks.append(middle)
        weights.append(step)
    if weight <= (0.0 if c.angle_deg is None else max(0.5, 2 * c.resolution_deg)):
        return None
    mean = work / weight
    if mean <= 0:
        return None
    travel = None if c.angle_deg is None else weight
    slope, ripple = (None, ()) if c.angle_deg is None else _over_angle(c, spans)
    even = _interval_uncertainty(np.concatenate(blocks), np.concatenate(weights))
    return Plateau(mean, _mean_uncertainty(c, blocks), even, from_s, to_s, travel, slope, ripple)


def _interval_uncertainty(torque_nm: Floats, weight: Floats, parts: int = 8) -> float:
    """Standard uncertainty of the mean from its `parts` equal shares of the way: their scatter over the root of their number.

    A mean that hangs on where the stretch was cut differs from share to share by as much. What climbs or falls steadily along the
    way (running in, warming) belongs to the mean: of the line through the shares only what the stretch's own ends leave open
    counts, half its slope times them.
    """
    way = np.cumsum(weight)
    if way[-1] <= 0 or torque_nm.size < PARTS_LEAST * parts:
        return 0.0
    edges = np.searchsorted(way, np.linspace(0.0, way[-1], parts + 1)[1:-1])
    # Running sums of work and way: a share's is the difference at its ends.
    work = np.concatenate(([0.0], np.cumsum(torque_nm * weight)[np.append(edges - 1, way.size - 1)]))
    ways = np.concatenate(([0.0], way[np.append(edges - 1, way.size - 1)]))
    some = np.diff(ways) > 0
    shares = np.diff(work)[some] / np.diff(ways)[some]
    if shares.size < 4:
        return FLOOR_SHARE * abs(float(np.mean(shares)))
    place = (ways[1:] + ways[:-1])[some] / (2 * way[-1])
    fall = slope_of(place, shares)
    scatter = math.sqrt(float(np.var(shares - fall * place)) / (shares.size - 2))
    ends = 0.5 * abs(fall) * ENDS_SHARE / RECTANGULAR
    return math.sqrt(scatter**2 + ends**2 + (FLOOR_SHARE * float(np.mean(shares))) ** 2)


def _mean_uncertainty(c: Conditioned, blocks: list[Floats]) -> float:
    """Noise of one sample over the root of the number averaged; neighbouring samples are not independent below 500 Hz noise."""
    count = sum(block.size for block in blocks)
    independent = max(1.0, count * min(1.0, NOISE_BANDWIDTH_HZ * c.step_s))
    return c.noise_nm / math.sqrt(independent)


def _over_angle(c: Conditioned, spans: Sequence[tuple[int, int]]) -> tuple[float | None, tuple[Order, ...]]:
    """Slope and ripple over angle: torque averaged in bins of angle, a line fitted, and lines of the spectrum of the rest."""
    assert c.angle_deg is not None
    angle = np.concatenate([c.angle_deg[a:b] for a, b in spans])
    torque = np.concatenate([c.torque_nm[a:b] for a, b in spans])
    travel = float(np.ptp(angle))
    width = max(1.0, 2 * c.resolution_deg, travel / FINEST)
    if travel < FEWEST_BINS * width:
        return None, ()
    index = ((angle - angle.min()) / width).astype(np.intp)
    count = np.bincount(index)
    filled = np.flatnonzero(count)
    mean = np.asarray(np.bincount(index, weights=torque)[filled] / count[filled], dtype=np.float64)
    if filled.size < FEWEST_FILLED:
        return None, ()
    place = (filled.astype(np.float64) + 0.5) * width
    slope = slope_of(place, mean)
    off_line = mean - mean.mean() - slope * (place - place.mean())
    rest = np.interp((np.arange(count.size) + 0.5) * width, place, off_line)
    return slope, _orders(rest, width)


def _orders(rest_nm: Floats, width_deg: float) -> tuple[Order, ...]:
    """The strongest ripples locked to the angle that stand out from the rest, by the zero-padded spectrum; at most three.

    Only orders with at least 1.2 periods in the travel count. Amplitude after the window's coherent gain (Hann: one half).
    """
    n = rest_nm.size
    window = np.hanning(n)
    size = fast_length(FINER * n)
    spectrum = np.abs(np.fft.rfft((rest_nm - rest_nm.mean()) * window, size)) * 2 / window.sum()
    order = np.fft.rfftfreq(size, width_deg) * 360.0
    lowest = LOWEST_TURNS * 360.0 / (n * width_deg)
    floor = OVER_FLOOR * median(spectrum) + OVER_REST * float(np.std(rest_nm))
    inner = spectrum[1:-1]
    tops = 1 + np.flatnonzero((inner >= spectrum[:-2]) & (inner > spectrum[2:]) & (inner > floor) & (order[1:-1] >= lowest))
    best = tops[np.argsort(spectrum[tops])[::-1][:3]]
    return tuple(Order(float(order[k]), float(spectrum[k])) for k in best)
