"""Calm limits for the axes of live diagrams: they show everything and do not twitch."""

from __future__ import annotations

import math
from collections.abc import Sequence

from analysis.window import Window
from rig.window.decimation import Curve


def torque_range(lowest: float, highest: float, window: Window | None, per_nm: float) -> tuple[float, float]:
    """Limits that show the torques and, on the side that is pulled, the window; with room below zero for the names of stretches."""
    limits = [] if window is None else [limit for limit in (window.low_nm, window.high_nm) if limit is not None]
    wished = 1.25 * max(limits, default=8.0) * per_nm
    top = calm(max(1.2 * highest, wished if highest >= -lowest or lowest > -0.1 * wished else 0.1 * wished))
    low = -0.12 * top if lowest > -0.12 * top else -calm(max(-1.2 * lowest, wished))
    return low, top


def scaled(window: Window, per_nm: float) -> tuple[float | None, float | None]:
    """The window's limits times a factor."""
    low, high = window.low_nm, window.high_nm
    return (None if low is None else low * per_nm), (None if high is None else high * per_nm)


def angle_range(over_angle: Curve) -> tuple[float, float]:
    """Calm limits of the angle axis."""
    if not over_angle.x.size:
        return -5.0, 95.0
    low, high = float(over_angle.x.min()), float(over_angle.x.max())
    return (-5.0 if low > -5.0 else -calm(-low)), max(5.0 if low < -5.0 else 30.0, calm(high))


def calm(value: float) -> float:
    """The next of 1, 1.5, 2, 3, 4, 5, 6, 8, 10 times a power of ten: so the axis does not twitch."""
    if value <= 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(value))
    steps: Sequence[float] = (1, 1.5, 2, 3, 4, 5, 6, 8, 10)
    return next(step * power for step in steps if value <= step * power * (1 + 1e-9))
