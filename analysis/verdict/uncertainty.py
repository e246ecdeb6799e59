"""Uncertainty budgets after JCGM 100:2008 (GUM): combination, Welch-Satterthwaite, coverage factor."""

from __future__ import annotations

import math
from collections.abc import Iterable

from scipy.special import stdtrit

from analysis.results import Budget, BudgetLine, Sensor
from analysis.sensor.correction import calibration_u, function_for


def combine(lines: Iterable[BudgetLine], coverage: float = 0.95) -> Budget:
    """Combine independent lines in quadrature (GUM 5.1.2), degrees of freedom by G.2b, k from Student's t (G.3)."""
    kept = tuple(line for line in lines if line.u_nm > 0)
    u = math.sqrt(sum(line.u_nm**2 for line in kept))
    spread = sum(line.u_nm**4 / line.degrees_of_freedom for line in kept if line.degrees_of_freedom)
    degrees = u**4 / spread if spread > 0 else None
    # GUM G.4.1, note 1: truncating the effective degrees of freedom down is the cautious choice; kept real-valued here.
    factor = float(stdtrit(degrees if degrees is not None else 1e9, 0.5 + coverage / 2))
    return Budget(kept, u, degrees, factor, coverage)


def calibration_line(torque_nm: float, sensor: Sensor, direction: int | None = None) -> BudgetLine | None:
    """The sensor's calibration at this torque (a magnitude), that way round; None if nothing is known of it.

    An uncertainty that was stated counts before that of the certificate.
    """
    if sensor.u_nm is None and sensor.u_relative is None:
        function = None if sensor.calibration is None else function_for(sensor.calibration, direction)
        return None if function is None else calibration_u(function, torque_nm)
    u = math.hypot(sensor.u_nm or 0.0, (sensor.u_relative or 0.0) * torque_nm)
    return BudgetLine("calibration", u, sensor.degrees_of_freedom)
