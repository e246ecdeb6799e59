"""Uncertainty budgets after JCGM 100:2008 (GUM): combination, Welch-Satterthwaite, coverage factor."""

from __future__ import annotations

import math
from collections.abc import Iterable

from analysis.distributions import t_degrees, t_quantile
from analysis.results import Budget, BudgetLine, BudgetSource, Sensor
from analysis.sensor.correction import calibration_u, function_for

CONFIDENCE = 0.95
"""Of every expanded uncertainty (JCGM 100, 6.2.2 and G.1.3: the level of trade and certificates)."""

_INFINITE = 1e9
"""Degrees of freedom from which on Student's t is the normal distribution to all digits that count."""


def student(degrees: float | None, coverage: float = CONFIDENCE) -> float:
    """Student's t for a two-sided interval (JCGM 100, table G.2); None: the normal distribution.

    Parameters
    ----------
    degrees
        Degrees of freedom, above zero.
    coverage
        Probability of the interval, between 0 and 1.

    Returns
    -------
    float
        Half the interval's width in standard uncertainties: 1.96 for 95 % of a normal distribution.

    Examples
    --------
    >>> round(student(None), 2), round(student(4.0), 2)
    (1.96, 2.78)
    """
    return float(t_quantile(0.5 + coverage / 2, _INFINITE if degrees is None else min(degrees, _INFINITE)))


def combine(lines: Iterable[BudgetLine], coverage: float = CONFIDENCE, *, each_by_its_own_t: bool = False) -> Budget:
    """Combine independent lines in quadrature (GUM 5.1.2), degrees of freedom by G.2b, k from Student's t (G.3).

    Parameters
    ----------
    lines
        Standard uncertainties in N.m, independent of each other; those of 0 are left out.
    coverage
        Probability of the expanded interval, between 0 and 1.
    each_by_its_own_t
        Expand each line by the t of its own degrees of freedom and add the squares of the expanded lines. Where a large line has
        two or three degrees of freedom and the others none, G.2b promises too much; the degrees of freedom given are those whose
        t is k.

    Returns
    -------
    Budget
        The lines, the combined standard uncertainty in N.m, its degrees of freedom (None: infinite) and the coverage factor k.
    """
    kept = tuple(line for line in lines if line.u_nm > 0)
    u = math.sqrt(sum(line.u_nm**2 for line in kept))
    if each_by_its_own_t and u > 0:
        expanded = math.sqrt(sum((student(line.degrees_of_freedom, coverage) * line.u_nm) ** 2 for line in kept))
        factor = expanded / u
        known = factor > student(None, coverage) * (1 + 1e-9)
        return Budget(kept, u, t_degrees(0.5 + coverage / 2, factor) if known else None, factor, coverage)
    spread = sum(line.u_nm**4 / line.degrees_of_freedom for line in kept if line.degrees_of_freedom)
    degrees = u**4 / spread if spread > 0 else None
    # GUM G.4.1, note 1: truncating the effective degrees of freedom down is the cautious choice; kept real-valued here.
    return Budget(kept, u, degrees, student(degrees, coverage), coverage)


def calibration_line(torque_nm: float, sensor: Sensor, direction: int | None = None) -> BudgetLine | None:
    """The sensor's calibration at this torque (a magnitude), that way round; None if nothing is known of it.

    An uncertainty that was stated counts before that of the certificate.

    Parameters
    ----------
    torque_nm
        The reading, a magnitude in N.m.
    sensor
        With a stated uncertainty, a calibration, both or neither.
    direction
        1 or -1; None: not known, taken as 1.

    Returns
    -------
    BudgetLine or None
        Standard uncertainty in N.m.
    """
    if sensor.u_nm is None and sensor.u_relative is None:
        function = None if sensor.calibration is None else function_for(sensor.calibration, direction)
        return None if function is None else calibration_u(function, torque_nm)
    u = math.hypot(sensor.u_nm or 0.0, (sensor.u_relative or 0.0) * torque_nm)
    return BudgetLine(BudgetSource.CALIBRATION, u, sensor.degrees_of_freedom)
