"""Noise, steps and runs of a signal: what several parts of the reading ask of it. Arrays in, numbers out."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from analysis.trace import Floats

Flags = NDArray[np.bool_]


def smallest_step(values: Floats, least: float = 1e-9) -> float:
    """The step of a quantised signal: the smallest difference of neighbouring distinct values; 0 if none can be told."""
    steps = np.abs(np.diff(values[:: max(1, values.size // 20_000)]))
    steps = steps[steps > least]
    if not steps.size:
        return 0.0
    step = float(np.min(steps))
    # Floating noise of a converted unit is no step: a true one divides most differences nearly whole.
    whole = np.abs(steps / step - np.round(steps / step))
    return step if float(np.mean(whole < 0.05)) > 0.9 else 0.0


def deviation(values: Floats) -> float:
    """Robust standard deviation of white noise from second differences (trend-proof). Var of x[i-1]-2x[i]+x[i+1] is 6 s^2."""
    if values.size < 4:
        return 0.0
    second = np.diff(values, 2)
    size = np.abs(second)
    # The mean of what is no outlier, not the median: on a coarse sensor the median is itself a step or zero.
    usual = size[size <= max(6.0 * float(np.median(size)), float(np.percentile(size, 90)))]
    return math.sqrt(math.pi / 2) * float(usual.mean()) / math.sqrt(6.0)


def fine_deviation(values: Floats) -> float:
    """The same from fourth differences (variance 70 s^2), which see less of an oscillation; 0 for fewer than 12 values."""
    if values.size < 12:
        return 0.0
    return 1.4826 * float(np.median(np.abs(np.diff(values, 4)))) / math.sqrt(70.0)


def runs_of(flags: Flags) -> list[tuple[int, int]]:
    """Spans in which `flags` is true."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flags.view(np.int8), [0]))))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]
