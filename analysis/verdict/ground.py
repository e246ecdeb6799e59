"""What a reading stands on: budget lines for what is not known of the sensor: less knowledge never makes a smaller number."""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.distributions import RECTANGULAR
from analysis.judgement import Missing
from analysis.results import Breakaway, BudgetLine, BudgetSource, CalibrationFunction, PullResult, Sliding
from analysis.sensor.correction import calibration_flags, function_for

UNKNOWN_SENSOR_LIMITS = 0.40
"""Share of the reading: a wrong unit alone (lbf.ft for N.m) is 36 % (contract, section 3)."""

EXPIRED_LIMITS = 0.04
"""Share of the reading, for a certificate past its day: what hand torque tools are allowed (ISO 6789-1:2017, from memory)."""

OTHER_WAY_LIMITS = 0.01
"""Share of the reading, where only the other direction was calibrated: sensors differ by less (common practice, no source)."""

DRIFT_LIMITS = 0.002
"""Share of the reading that a sensor may drift by until its certificate is due (common practice, no source)."""

MOUNTING_LIMITS = 0.002
"""Share of the reading that setting a sensor up anew may change (common practice, no source)."""

_LINEAR_SHARE = 0.75
"""Slope of the best line through zero to c2 x^2 over 0..E, loads evenly spread: 0.75 c2 E (least squares)."""
_CURVATURE_LEFT = math.sqrt(1 / 5 - 2 * _LINEAR_SHARE / 4 + _LINEAR_SHARE**2 / 3)
"""Root mean square of what is left of x^2 over 0..1 after that line: a bend of c2 E^2 leaves residuals of this times it."""

_CODE_OF_FLAG = {
    "calibration_expired": Missing.CERTIFICATE_EXPIRED,
    "calibration_range": Missing.BEYOND_RANGE,
    "zero_moved": Missing.ZERO,
    "not_exercised": Missing.NOT_EXERCISED,
}
_ZERO_FLAGS = ("zero_drift", "zero_unproven", "rest_moved")


@dataclass(frozen=True, slots=True)
class Ground:
    """Lines that a verdict counts with beside those of the reading, and codes for what is missing."""

    lines: tuple[BudgetLine, ...] = ()
    missing: tuple[Missing, ...] = ()


def ground_of(result: PullResult, reading: Breakaway | Sliding) -> Ground:
    """What is not known of the sensor for this reading: unknown, expired, beyond its range, zero moved, not exercised.

    Parameters
    ----------
    result
        The pull: its calibration, direction, calibration flags and quality count.
    reading
        Breakaway or sliding of that pull, N.m with its budget.

    Returns
    -------
    Ground
        Budget lines in N.m to be added to those of the reading, none of them in it already; codes for what is missing, each once.
    """
    torque_nm, calibration = reading.torque_nm, result.calibration
    lines, missing = [], []
    # An uncertainty that was stated speaks of the sensor in use; that of a certificate, of the day it was made.
    calibrated = calibration is not None and calibration.corrects
    if all(line.source != BudgetSource.CALIBRATION for line in reading.budget.lines):
        lines.append(rectangular("sensor not known", UNKNOWN_SENSOR_LIMITS * torque_nm))
        missing.append(Missing.SENSOR)
    codes = (*calibration_flags(calibration, torque_nm, result.direction), *result.calibration_flags)
    if any(line.source == BudgetSource.CALIBRATION and calibrated for line in reading.budget.lines):
        lines.append(rectangular("drift since calibration", DRIFT_LIMITS * torque_nm))
        lines.append(rectangular("mounting", MOUNTING_LIMITS * torque_nm))
    if calibration is not None and calibration.expired:
        lines.append(rectangular("certificate expired", EXPIRED_LIMITS * torque_nm))
    if calibration is not None and "calibration_range" in codes:
        own = calibration.back if result.direction == -1 else calibration.forward
        function = function_for(calibration, result.direction)
        if own is None:
            lines.append(rectangular("other direction calibrated", OTHER_WAY_LIMITS * torque_nm))
        if function is not None:
            lines.append(BudgetLine(BudgetSource.BEYOND_RANGE, bend_nm(function, torque_nm)))
    missing += [_CODE_OF_FLAG[code] for code in codes if code in _CODE_OF_FLAG]
    if any(flag.code in _ZERO_FLAGS for flag in result.quality):
        missing.append(Missing.ZERO)
    return Ground(tuple(lines), tuple(dict.fromkeys(missing)))


def rectangular(source: str, limits_nm: float) -> BudgetLine:
    """A line from limits within which every value is as likely (JCGM 100, 4.3.7).

    Parameters
    ----------
    source
        What the line is called.
    limits_nm
        Half the width: the limits are this far off either way, N.m.

    Returns
    -------
    BudgetLine
        Standard uncertainty limits / sqrt(3) in N.m, degrees of freedom infinite.
    """
    return BudgetLine(source, limits_nm / RECTANGULAR)


def bend_nm(function: CalibrationFunction, torque_nm: float) -> float:
    """How far the fits of degree 1 and 2 lie apart at this torque, N.m.

    A function of degree 2 or more is held against the best line through zero over its own range. Of a straight one the bend is
    the one whose residuals would be as large as those that were found.

    Parameters
    ----------
    function
        Calibration of the direction that counts.
    torque_nm
        The reading, a magnitude in N.m, beyond the range as a rule.

    Returns
    -------
    float
        A magnitude in N.m: |c2 x (x - 0.75 E)|, with c2 the bend, x the indication by the first coefficient, E the range.
    """
    end = function.end_nm
    x = torque_nm / function.coefficients[0]
    bend = abs(function.coefficients[1]) if len(function.coefficients) > 1 else function.u_nm / (_CURVATURE_LEFT * end**2)
    return float(bend * abs(x * (x - _LINEAR_SHARE * end)))
