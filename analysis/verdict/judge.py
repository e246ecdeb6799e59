"""Holding a reading against a window: guarded or simple acceptance, with the probability of conformity.

Source: JCGM 106:2012, 7 (conformance probability of a normal measurand) and 8.3 (guard band w = U); ILAC-G8:09/2019, 4.2.
"""

from __future__ import annotations

import math
from dataclasses import replace

from scipy.special import ndtr, stdtrit

from analysis.results import (
    Budget,
    DecisionRule,
    PullResult,
    QualityCode,
    SeriesResult,
    Settling,
    Verdict,
    VerdictState,
)
from analysis.sensor.correction import calibration_flags
from analysis.window import Basis, Window


def probability_in_window(value_nm: float, u_nm: float, low_nm: float | None, high_nm: float | None) -> float:
    """Conformance probability of a normal measurand (JCGM 106:2012, 7.2): Phi((TU - y)/u) - Phi((TL - y)/u)."""
    if u_nm <= 0:
        return float((low_nm is None or value_nm >= low_nm) and (high_nm is None or value_nm <= high_nm))
    above = 1.0 if high_nm is None else float(ndtr((high_nm - value_nm) / u_nm))
    below = 0.0 if low_nm is None else float(ndtr((low_nm - value_nm) / u_nm))
    return max(0.0, above - below)


def judge_value(
    value_nm: float,
    budget: Budget,
    window: Window,
    *,
    rule: DecisionRule = DecisionRule.GUARDED,
    missing: tuple[str, ...] = (),
) -> Verdict:
    """Verdict on a value with a budget. Guarded: undecided where a limit lies within the expanded uncertainty."""
    guard = budget.expanded_u_nm if rule is DecisionRule.GUARDED else 0.0
    low, high = window.low_nm, window.high_nm
    if low is not None and value_nm < low - guard:
        state = VerdictState.BELOW
    elif high is not None and value_nm > high + guard:
        state = VerdictState.ABOVE
    elif (low is None or value_nm >= low + guard) and (high is None or value_nm <= high - guard):
        state = VerdictState.IN_WINDOW
    else:
        state = VerdictState.UNDECIDED
    return Verdict(
        state=state,
        basis=window.basis,
        value_nm=value_nm,
        expanded_u_nm=budget.expanded_u_nm,
        coverage_factor=budget.coverage_factor,
        low_nm=low,
        high_nm=high,
        probability_in_window=probability_in_window(value_nm, budget.u_nm, low, high),
        rule=rule,
        missing=missing,
    )


def judge(result: PullResult, window: Window, rule: DecisionRule = DecisionRule.GUARDED) -> Verdict:
    """Verdict on a pull. A unit that held nothing is `below` with value 0 where the window has a lower limit.

    A reading clipped at the sensor's limit is a lower bound: it can show only that the torque is above a limit.
    """
    reading = result.breakaway if window.basis is Basis.BREAKAWAY else result.sliding
    if reading is None:
        return _without_reading(window, rule, nothing_held=result.held_nothing)
    missing = (
        *(() if _calibrated(reading.budget) else ("sensor_uncertainty",)),
        *calibration_flags(result.calibration, reading.torque_nm, result.direction),
        *result.calibration_flags,
    )
    verdict = judge_value(reading.torque_nm, reading.budget, window, rule=rule, missing=missing)
    if any(flag.code is QualityCode.OVERLOAD for flag in result.quality):
        return _at_least(verdict, reading.budget)
    return _explained(verdict, reading.budget, 1)


def judge_series(series: SeriesResult, window: Window, rule: DecisionRule = DecisionRule.GUARDED) -> Verdict:
    """One verdict on the mean of several pulls."""
    if series.mean_nm is None or series.budget is None:
        return _without_reading(window, rule, nothing_held=False)
    missing = (*(() if _calibrated(series.budget) else ("sensor_uncertainty",)), *series.calibration_flags)
    if series.asymmetry is None:
        missing = (*missing, "other_direction")
    verdict = judge_value(series.mean_nm, series.budget, window, rule=rule, missing=missing)
    return _explained(verdict, series.budget, len(series.counted))


def what_settles(value_nm: float, budget: Budget, window: Window, pulls: int) -> Settling:
    """What would bring the expanded uncertainty below the distance to the nearest limit.

    Only the scatter between pulls shrinks with their number (u/sqrt(n), GUM 4.2.3); a single pull says nothing of it, then
    two more pulls are the first step, if the rest of the budget leaves room at all.
    """
    distance = min(abs(value_nm - limit) for limit in (window.low_nm, window.high_nm) if limit is not None)
    scatter = next((line.u_nm * math.sqrt(pulls) for line in budget.lines if line.source == "repeatability"), None)
    rest = math.sqrt(sum(line.u_nm**2 for line in budget.lines if line.source != "repeatability"))
    if 1.96 * rest >= distance:
        return Settling(None, better_sensor=True)
    if scatter is None:
        return Settling(2, better_sensor=False)
    for number in range(pulls + 1, pulls + 30):
        u = math.hypot(rest, scatter / math.sqrt(number))
        degrees = (number - 1) * (u * math.sqrt(number) / scatter) ** 4 if scatter > 0 else 1e9
        if float(stdtrit(min(degrees, 1e9), 0.975)) * u < distance:
            return Settling(number - pulls, better_sensor=False)
    return Settling(None, better_sensor=False)


def _calibrated(budget: Budget) -> bool:
    return any(line.source == "calibration" for line in budget.lines)


def _explained(verdict: Verdict, budget: Budget, pulls: int) -> Verdict:
    if verdict.state is not VerdictState.UNDECIDED or verdict.value_nm is None:
        return verdict
    window = Window(verdict.low_nm, verdict.high_nm, verdict.basis)
    return replace(verdict, settling=what_settles(verdict.value_nm, budget, window, pulls))


def _at_least(verdict: Verdict, budget: Budget) -> Verdict:
    """The verdict where the value is only a lower bound."""
    assert verdict.value_nm is not None
    surely = verdict.value_nm - budget.expanded_u_nm
    if verdict.high_nm is not None:
        state = VerdictState.ABOVE if surely > verdict.high_nm else VerdictState.UNDECIDED
    else:
        in_window = verdict.low_nm is not None and surely >= verdict.low_nm
        state = VerdictState.IN_WINDOW if in_window else VerdictState.UNDECIDED
    return replace(verdict, state=state, probability_in_window=None, missing=(*verdict.missing, "overload"))


def _without_reading(window: Window, rule: DecisionRule, *, nothing_held: bool) -> Verdict:
    below = nothing_held and window.low_nm is not None
    return Verdict(
        state=VerdictState.BELOW if below else VerdictState.NO_READING,
        basis=window.basis,
        value_nm=0.0 if nothing_held else None,
        expanded_u_nm=None,
        coverage_factor=None,
        low_nm=window.low_nm,
        high_nm=window.high_nm,
        probability_in_window=0.0 if below else None,
        rule=rule,
        held_nothing=nothing_held,
    )
