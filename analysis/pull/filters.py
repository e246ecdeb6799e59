"""Slow filters that sensors and indicators have: what a torque looks like behind one, and how it is undone. Arrays in, arrays out.

A filter of first order, one of second order without overshoot to speak of (Butterworth), and a mean over a while: by their lag,
the mean delay, they are all that an indicator's menu offers (trade notes 6).
"""

from __future__ import annotations

import math
from enum import Enum

import numpy as np

from analysis.trace import Floats

PARABOLA, CUBIC = 2, 3
"""Degrees of the polynomial: a curvature is told by one degree more than a slope."""


class Filter(Enum):
    """The kinds of filter."""

    FIRST_ORDER = "first_order"
    SECOND_ORDER = "second_order"
    MEAN = "mean"


FASTEST = 0.45  # of the sampling rate: a corner above this does nothing that could be seen


def seen_through(kind: Filter, lag_s: float, torque_nm: Floats, step_s: float) -> Floats:
    """What a sensor with this filter sends of a torque that was steady before the first sample.

    Parameters
    ----------
    kind
        First order, second order (Butterworth) or a mean.
    lag_s
        Its mean delay, s, above zero: the time constant, sqrt(2) over the corner in rad/s, half the width of the mean.
    torque_nm
        (n,) that goes in, evenly spaced.
    step_s
        Time between samples, s.

    Returns
    -------
    array
        (n,) N.m.
    """
    from scipy.signal import butter, lfilter  # slow to load, and asked for only where a sensor looks slow

    begin = float(torque_nm[0])
    rest = torque_nm - begin
    if kind is Filter.FIRST_ORDER:
        kept = math.exp(-step_s / lag_s)
        return begin + np.asarray(lfilter([1.0 - kept], [1.0, -kept], rest))
    if kind is Filter.SECOND_ORDER:
        # The lag of a Butterworth filter of second order is the root of two over its corner in radians a second.
        corner = min(math.sqrt(2.0) * step_s / (2 * math.pi * lag_s), FASTEST)
        return begin + np.asarray(lfilter(*butter(2, corner, fs=1.0), rest))
    width = 2.0 * lag_s / step_s
    weights = np.ones(int(width) + 1)
    weights[-1] = width - int(width)
    return begin + np.asarray(lfilter(weights / weights.sum(), [1.0], rest))


def undone(kind: Filter, lag_s: float, torque_nm: Floats, step_s: float, samples: int) -> tuple[Floats, float]:
    """The torque before the filter, and how many times its noise is that of the torque given.

    By slope and curvature of a polynomial through `samples` (odd, 5 at least) around each: T + L T', for second order with half the
    square of L times T'' more, both exact; behind a mean over W, T is what it was W earlier and W times the slope of the mean,
    where W earlier counts as a ramp.

    Parameters
    ----------
    kind
        First order, second order (Butterworth) or a mean.
    lag_s
        Its mean delay L, s; the width W of a mean is 2 L.
    torque_nm
        (n,) that came out, evenly spaced.
    step_s
        Time between samples, s.
    samples
        Width of the polynomial: odd, 5 at least. Wider makes less noise and rounds corners more.

    Returns
    -------
    array
        (n,) N.m.
    float
        Standard deviation of its noise over that of white noise in `torque_nm`.

    Notes
    -----
    A filter of first order has the transfer function 1 / (1 + L s), a Butterworth filter of second order 1 / (1 + L s + L² s² / 2).
    """
    value, slope, bend = _taps(samples, step_s, CUBIC if kind is Filter.SECOND_ORDER else PARABOLA)
    first_order = value + lag_s * slope
    if kind is Filter.FIRST_ORDER:
        taps = first_order
    elif kind is Filter.SECOND_ORDER:
        taps = first_order + 0.5 * lag_s**2 * bend
    else:
        taps = 2.0 * lag_s * slope
    torque, gain = _through(taps, torque_nm), float(np.linalg.norm(taps))
    if kind is not Filter.MEAN:
        return torque, gain
    at = np.arange(torque_nm.size)
    earlier = np.interp(at - 2.0 * lag_s / step_s, at, _through(first_order, torque_nm))
    return torque + earlier, math.hypot(gain, float(np.linalg.norm(first_order)))


def _taps(samples: int, step_s: float, degree: int) -> tuple[Floats, Floats, Floats]:
    """Weights on so many samples that give value, slope and second derivative of the polynomial through them in their middle."""
    half = samples // 2
    span = half * step_s
    fit = np.linalg.pinv(np.vander(np.linspace(-1.0, 1.0, 2 * half + 1), degree + 1, increasing=True))
    return fit[0], fit[1] / span, 2.0 * fit[2] / span**2


def _through(taps: Floats, torque_nm: Floats) -> Floats:
    half = taps.size // 2
    return np.correlate(np.pad(torque_nm, half, mode="edge"), taps, mode="valid")
