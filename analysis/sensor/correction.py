"""A calibration in use: the true torque of what is indicated, its uncertainty, and where the certificate does not reach."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from analysis.results import BudgetLine, BudgetSource, Calibration, CalibrationFunction, OffsetAdapter, Sensor
from analysis.trace import Floats, Trace


def _value_at(function: CalibrationFunction, x: Floats) -> Floats:
    inside = np.minimum(x, function.end_nm)
    value = sum(c * inside ** (i + 1) for i, c in enumerate(function.coefficients))
    return np.asarray(value + slope_at(function, inside) * (x - inside), dtype=np.float64)


def slope_at(function: CalibrationFunction, x: Floats) -> Floats:
    """How fast torque rises with the indication, there: (n,) magnitudes to (n,), without unit.

    Parameters
    ----------
    function
        Of one direction, torque over indication.
    x
        (n,) magnitudes of the indication, N.m. Not held to the calibrated range.

    Returns
    -------
    array
        (n,) N.m per N.m, about 1 for a sound sensor.
    """
    return np.asarray(sum((i + 1) * c * x**i for i, c in enumerate(function.coefficients)), dtype=np.float64)


def true_torque(indication_nm: Floats, calibration: Calibration) -> Floats:
    """Torque that the indications stand for, signs kept. Shape (n,) to (n,).

    Parameters
    ----------
    indication_nm
        (n,) as the device sends it, N.m; above and below zero are the two directions.
    calibration
        Where one direction was not calibrated, the other's function serves both.

    Returns
    -------
    array
        (n,) N.m. Beyond the last calibrated indication the function goes on straight; without any function nothing is changed.
    """
    forward, back = calibration.forward or calibration.back, calibration.back or calibration.forward
    if forward is None or back is None:
        return indication_nm
    size = np.abs(indication_nm)
    return np.where(indication_nm >= 0, _value_at(forward, size), -_value_at(back, size))


def apply_calibration(trace: Trace, sensor: Sensor) -> tuple[Trace, Sensor]:
    """The trace and the sensor as they read once calibration and offset adapter are applied; unchanged where there is neither.

    Capacity and resolution are the device's own and move with it. A zero offset z, not tared, matters only by the function's
    curvature (the difference from rest is off by 2 c2 x z) and by the difference between the two directions' slopes, times z: both
    far below the uncertainty of a sound sensor while z is within a few per cent of the range.

    Parameters
    ----------
    trace
        As the device sent it: indications in N.m.
    sensor
        Of that device, with its calibration and offset adapter where it has them.

    Returns
    -------
    Trace
        Torque at the unit, N.m; time and angle are as before.
    Sensor
        Capacity, resolution, uncertainty and calibration as they count for that torque. The calibration stays with it, for its
        uncertainty and range; it must not be applied again.
    """
    calibration = sensor.calibration
    if calibration is not None and calibration.corrects:
        trace, sensor = _moved(trace, sensor, lambda torque_nm: true_torque(torque_nm, calibration))
    adapter = sensor.adapter
    if adapter is None:
        return trace, sensor
    factor = adapter.factor
    trace, sensor = _moved(trace, sensor, lambda torque_nm: torque_nm * factor)
    u_relative = math.hypot(sensor.u_relative or 0.0, adapter.u_relative)
    return trace, replace(
        sensor,
        u_nm=None if sensor.u_nm is None else sensor.u_nm * factor,
        u_relative=None if sensor.u_nm is None and sensor.u_relative is None else u_relative,
        calibration=None if calibration is None else _through(calibration, adapter),
    )


def _moved(trace: Trace, sensor: Sensor, true: Callable[[Floats], Floats]) -> tuple[Trace, Sensor]:
    def size(size_nm: float | None) -> float | None:
        return None if size_nm is None else float(np.abs(true(np.array([size_nm, -size_nm]))).min())

    moved = replace(sensor, capacity_nm=size(sensor.capacity_nm), resolution_nm=size(sensor.resolution_nm))
    return Trace(trace.time_s, true(trace.torque_nm), trace.angle_deg), moved


def _through(calibration: Calibration, adapter: OffsetAdapter) -> Calibration:
    """The calibration as it tells the torque at the unit, beyond the adapter."""
    factor = adapter.factor

    def at_unit(function: CalibrationFunction | None) -> CalibrationFunction | None:
        if function is None:
            return None
        return replace(
            function,
            coefficients=tuple(factor * each for each in function.coefficients),
            covariance=tuple(tuple(factor**2 * each for each in row) for row in function.covariance),
            u_nm=factor * function.u_nm,
            u_relative=math.hypot(function.u_relative, adapter.u_relative),
            low_nm=factor * function.low_nm,
            high_nm=factor * function.high_nm,
        )

    return replace(calibration, forward=at_unit(calibration.forward), back=at_unit(calibration.back))


def calibration_u(function: CalibrationFunction, torque_nm: float) -> BudgetLine:
    """The calibration's part in the uncertainty of a later reading of this torque (magnitude), beyond the range too.

    u² = u_nm² + g C g' + (u_relative T)², with g the powers of the indication and C the covariance of the coefficients; degrees of
    freedom by JCGM 100, G.2b, those of the reference being taken as infinite.

    Parameters
    ----------
    function
        Of the direction of the reading.
    torque_nm
        The reading, a magnitude in N.m.

    Returns
    -------
    BudgetLine
        Standard uncertainty in N.m; degrees of freedom None where they are taken as infinite.
    """
    x = _indication_of(function, torque_nm)
    row = np.array([x ** (i + 1) for i in range(len(function.coefficients))])
    of_fit = max(0.0, float(row @ np.array(function.covariance) @ row)) + function.u_nm**2
    square = of_fit + (function.u_relative * torque_nm) ** 2
    degrees = function.degrees_of_freedom * (square / of_fit) ** 2 if function.degrees_of_freedom and of_fit > 0 else None
    return BudgetLine(BudgetSource.CALIBRATION, math.sqrt(square), degrees)


def _indication_of(function: CalibrationFunction, torque_nm: float) -> float:
    x = np.array(torque_nm / function.coefficients[0])
    for _ in range(6):
        x = np.maximum(0.0, x - (_value_at(function, x) - torque_nm) / slope_at(function, np.minimum(x, function.end_nm)))
    return float(x)


def function_for(calibration: Calibration, direction: int | None) -> CalibrationFunction | None:
    """The function that counts in this direction of turning; the other direction's where that one has none.

    Parameters
    ----------
    calibration
        May hold a function for each direction.
    direction
        1 or -1; None: not known, taken as 1.

    Returns
    -------
    CalibrationFunction or None
        None where the calibration has no function at all.
    """
    first, second = calibration.forward, calibration.back
    if direction == -1:
        first, second = second, first
    return first or second


RANGE_MARGIN = 0.01
"""Loads repeat no better than to such a share, so a reading just beyond the last one still counts as within."""


def calibration_flags(calibration: Calibration | None, torque_nm: float, direction: int | None) -> tuple[str, ...]:
    """Codes for what the certificate does not cover in this reading (a magnitude): 'calibration_expired', 'calibration_range'.

    Parameters
    ----------
    calibration
        None: the sensor has none, and nothing is said.
    torque_nm
        The reading, a magnitude in N.m.
    direction
        1 or -1; None: not known, taken as 1.

    Returns
    -------
    tuple of str
        Empty where all is covered. 'calibration_range' too where this direction has no function of its own.
    """
    if calibration is None:
        return ()
    codes = ("calibration_expired",) if calibration.expired else ()
    own = calibration.back if direction == -1 else calibration.forward
    if not calibration.corrects:
        return codes
    if own is None or not (1 - RANGE_MARGIN) * own.low_nm <= torque_nm <= (1 + RANGE_MARGIN) * own.high_nm:
        return (*codes, "calibration_range")
    return codes
