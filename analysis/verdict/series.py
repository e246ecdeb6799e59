"""Several pulls of one unit taken together: mean, scatter, the two directions, the first pull after rest kept apart."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from analysis.results import Breakaway, Budget, BudgetLine, PullResult, QualityCode, SeriesResult, Sliding
from analysis.sensor.correction import calibration_flags
from analysis.sensor.zero_history import zero_moved
from analysis.verdict.uncertainty import combine
from analysis.window import Basis

# Lines of the budget that all pulls of a series share: taking the mean does not shrink them.
_SHARED = ("calibration", "resolution", "zero drift")


def read_series(pulls: Sequence[PullResult], basis: Basis = Basis.BREAKAWAY, *, first_apart: bool = True) -> SeriesResult:
    """Take pulls of one unit, in order of time, together on one quantity.

    The first pull after a rest is kept apart where at least two others remain: plates that stood grip harder (trade notes
    2.4). Pulls clipped at the sensor's limit give no reading here, for their value is a lower bound.

    The mean's budget: calibration, resolution and drift as in the pulls (shared, so not averaged away), the pulls' own noise
    averaged, and the repeatability s/sqrt(n) with n - 1 degrees of freedom (GUM 4.2.3). For one pull there is no
    repeatability line: its scatter is not known.
    """
    readings = [_reading(pull, basis) for pull in pulls]
    usable = [index for index, reading in enumerate(readings) if reading is not None]
    apart = usable[0] if first_apart and len(usable) >= 3 else None
    counted = tuple(index for index in usable if index != apart)
    without = tuple(index for index, reading in enumerate(readings) if reading is None)
    kept = [reading for index in counted if (reading := readings[index]) is not None]
    if not kept:
        return SeriesResult(basis, None, None, None, (), apart, without, None, (None, None))
    values = np.array([reading.torque_nm for reading in kept])
    forward, back = (_mean_of(pulls, readings, counted, sign) for sign in (1, -1))
    asymmetry = None if forward is None or back is None else (forward - back) / (0.5 * (forward + back))
    return SeriesResult(
        basis=basis,
        mean_nm=float(values.mean()),
        deviation_nm=float(values.std(ddof=1)) if values.size > 1 else None,
        budget=_budget([reading.budget for reading in kept], values),
        counted=counted,
        apart=apart,
        without=without,
        asymmetry=asymmetry,
        by_direction_nm=(forward, back),
        calibration_flags=_calibration_flags([pulls[index] for index in counted], kept, float(values.mean())),
    )


def _calibration_flags(pulls: Sequence[PullResult], readings: Sequence[Breakaway | Sliding], mean_nm: float) -> tuple[str, ...]:
    codes = [
        code
        for pull, reading in zip(pulls, readings, strict=True)
        for code in (*calibration_flags(pull.calibration, reading.torque_nm, pull.direction), *pull.calibration_flags)
    ]
    if zero_moved([zero for pull in pulls for zero in (pull.zero_nm, pull.zero_after_nm)], mean_nm):
        codes.append("zero_moved")
    return tuple(dict.fromkeys(codes))


def _reading(pull: PullResult, basis: Basis) -> Breakaway | Sliding | None:
    if any(flag.code is QualityCode.OVERLOAD for flag in pull.quality):
        return None
    return pull.breakaway if basis is Basis.BREAKAWAY else pull.sliding


def _mean_of(
    pulls: Sequence[PullResult], readings: Sequence[Breakaway | Sliding | None], counted: Sequence[int], sign: int
) -> float | None:
    values = [reading.torque_nm for i in counted if pulls[i].direction == sign and (reading := readings[i]) is not None]
    return float(np.mean(values)) if values else None


def _budget(budgets: Sequence[Budget], values: np.ndarray) -> Budget:
    n = len(budgets)
    lines: list[BudgetLine] = []
    for source in dict.fromkeys(line.source for budget in budgets for line in budget.lines):
        mine = [line for budget in budgets for line in budget.lines if line.source == source]
        square = sum(line.u_nm**2 for line in mine) / n
        u = math.sqrt(square) if source in _SHARED else math.sqrt(square / n)
        lines.append(BudgetLine(source, u, mine[0].degrees_of_freedom))
    if n > 1:
        lines.append(BudgetLine("repeatability", float(values.std(ddof=1)) / math.sqrt(n), float(n - 1)))
    return combine(lines)
