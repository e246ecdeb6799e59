"""Noise, steps and runs of a signal: what several parts of the reading ask of it. Arrays in, numbers out."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from analysis.trace import Floats

Span = tuple[int, int]
"""Indices first <= i < last."""
Flags = NDArray[np.bool_]


OFF_STEP, ON_STEPS = 0.05, 0.9
"""A signal comes in steps where at least this share of its changes lies within so much of a step off a whole number of them."""
SECOND_DIFFERENCE = math.sqrt(6.0)
FOURTH = 4
FOURTH_DIFFERENCE = math.sqrt(70.0)
"""Standard deviation of the differences of white noise over its own: the root of the sum of the squared binomials."""
NORMAL_MAD = 1.4826
"""Standard deviation of a normal distribution over its median absolute deviation."""
ALIKE_STEPS = 0.15
"""Steps that differ by less than this share are one step, rounded twice."""
UNDER_LOAD = 0.25
"""Above this share of the largest torque a sample is under load."""
GAP_STEPS = 3.5
"""A step in time of so many usual ones is a gap, no jitter of a clock."""
FEWEST_FOR_NOISE = 12
"""Fewer samples give no noise by differences."""
NOISE_BANDWIDTH_HZ = 500.0
"""Noise of a sensor is taken to be white up to half of this: samples that come faster do not tell independently of each other."""


def smallest_step(values: Floats, least: float = 1e-9) -> float:
    """The step of a quantised signal: the smallest difference of neighbouring distinct values; 0 if none can be told.

    Parameters
    ----------
    values
        (n,) in any unit; of more than 20 000 evenly thinned ones are looked at.
    least
        Differences up to this are rounding, in the same unit.

    Returns
    -------
    float
        In the same unit.

    Examples
    --------
    >>> smallest_step(np.array([0.0, 0.5, 0.5, 1.5, 1.0]))
    0.5
    >>> smallest_step(np.repeat([0.0, 2.25, 4.75, 7.0, 9.5, 12.0], 3))
    2.5
    >>> smallest_step(np.array([0.0, 2.25, 4.75, 7.0, 9.5, 12.0]))
    0.0
    """
    changes = np.abs(np.diff(values[:: max(1, values.size // 20_000)]))
    stepped = changes > least
    steps = changes[stepped]
    if not steps.size:
        return 0.0
    step = float(np.min(steps))
    # Floating noise of a converted unit is no step: a true one divides most differences nearly whole.
    whole = np.abs(steps / step - np.round(steps / step))
    if float(np.mean(whole < OFF_STEP)) > ON_STEPS:
        return step
    # Steps that are rounded once more on their way are nearly alike, and no multiples of the smallest; between them the value
    # stands: what turns evenly changes by nearly the same from sample to sample too.
    usual, lone = median(steps), 1.0 - np.count_nonzero(stepped[1:] & stepped[:-1]) / steps.size
    alike = float(np.mean(np.abs(steps - usual) < ALIKE_STEPS * usual))
    return usual if min(alike, lone) > ON_STEPS else 0.0


def deviation(values: Floats) -> float:
    """Robust standard deviation of white noise from second differences (trend-proof). Var of x[i-1]-2x[i]+x[i+1] is 6 s^2."""
    if values.size < 4:
        return 0.0
    second = np.diff(values, 2)
    size = np.abs(second)
    # The mean of what is no outlier, not the median: on a coarse sensor the median is itself a step or zero.
    usual = size[size <= max(6.0 * median(size), percentile(size, 90))]
    return math.sqrt(math.pi / 2) * float(usual.mean()) / SECOND_DIFFERENCE


def fine_deviation(values: Floats) -> float:
    """The same from fourth differences (variance 70 s^2), which see less of an oscillation; 0 for fewer than 12 values."""
    if values.size < FEWEST_FOR_NOISE:
        return 0.0
    return NORMAL_MAD * median(np.abs(np.diff(values, FOURTH))) / FOURTH_DIFFERENCE


HELD_SHARE = 0.6  # values are repeated where this share of the load's samples equal their neighbour


def usual_repeat(torque_nm: Floats) -> float:
    """How many samples a value is usually repeated for while the torque changes; 1 for a converter as fast as the stream."""
    under = np.abs(torque_nm) > UNDER_LOAD * float(np.max(np.abs(torque_nm), initial=0.0))
    same = np.diff(torque_nm) == 0.0
    loaded = under[1:] & under[:-1]
    if not loaded.any() or float(same[loaded].mean()) < HELD_SHARE:
        return 1.0
    ends = np.flatnonzero(~same & loaded)
    return median(np.diff(ends)) if ends.size > 3 else 1.0


def runs_of(flags: Flags) -> list[tuple[int, int]]:
    """Spans in which `flags` is true."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flags.view(np.int8), [0]))))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]


def joined_runs(flags: Flags, gap: int) -> list[tuple[int, int]]:
    """Spans in which `flags` is true, those that lie near each other as one.

    Parameters
    ----------
    flags
        (n,).
    gap
        Spans with no more than so many samples between them are one.

    Returns
    -------
    list of (first, last)
        Indices first <= i < last, in rising order.

    Examples
    --------
    >>> joined_runs(np.array([True, False, True, False, False, True]), 1)
    [(0, 3), (5, 6)]
    """
    spans: list[tuple[int, int]] = []
    for first, last in runs_of(flags):
        if spans and first - spans[-1][1] <= gap:
            spans[-1] = (spans[-1][0], last)
        else:
            spans.append((first, last))
    return spans


def median(values: Floats) -> float:
    """Median of at least one number, as numpy's, without what that spends on axes and kinds of numbers."""
    half = values.size // 2
    if values.size % 2:
        return float(np.partition(values, half)[half])
    parted = np.partition(values, [half - 1, half])
    return 0.5 * (float(parted[half - 1]) + float(parted[half]))


def percentile(values: Floats, percent: float) -> float:
    """Percentile of at least one number, drawn straight between neighbours as numpy's, and without its overhead.

    Parameters
    ----------
    values
        (n,) in any unit and order, n 1 at least.
    percent
        0 to 100.

    Returns
    -------
    float
        In the same unit.
    """
    place = percent / 100.0 * (values.size - 1)
    below = min(int(place), values.size - 1)
    above = min(below + 1, values.size - 1)
    parted = np.partition(values, [below, above])
    low, high, part = float(parted[below]), float(parted[above]), place - below
    return low + (high - low) * part if part < 0.5 else high - (high - low) * (1.0 - part)


def median_of_five(values: Floats) -> Floats:
    """Each sample's median with its two neighbours on either side, the ends repeated: a network of ten comparisons, no sorting."""
    ends = np.concatenate((values[:1], values[:1], values, values[-1:], values[-1:]))
    a, b, c, d, e = (ends[k : k + values.size] for k in range(5))
    low = np.maximum(np.minimum(a, b), np.minimum(c, d))
    high = np.minimum(np.maximum(a, b), np.maximum(c, d))
    return np.asarray(np.maximum(np.minimum(low, high), np.minimum(np.maximum(low, high), e)))


def fast_length(count: int) -> int:
    """A power of two, or three quarters of one, of at least `count`: a Fourier transform of a length with a large prime is slow."""
    power = 1 << max(count - 1, 1).bit_length()
    return 3 * power // 4 if 3 * power // 4 >= count else power  # formula


def slope_of(x: Floats, y: Floats) -> float:
    """Slope of the straight line of least squares through at least two points.

    Parameters
    ----------
    x
        (n,) not all alike.
    y
        (n,).

    Returns
    -------
    float
        Unit of y per unit of x.

    Examples
    --------
    >>> slope_of(np.array([0.0, 1.0, 2.0]), np.array([5.0, 7.0, 9.0]))
    2.0
    """
    off = x - x.mean()
    return float(off @ y) / float(off @ off)
