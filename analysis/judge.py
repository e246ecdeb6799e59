"""Holding a reading against a window: guarded or simple acceptance, with the probability of conformity.

Source: JCGM 106:2012, 7 (conformance probability of a normal measurand) and 8.3 (guard band w = U); ILAC-G8:09/2019, 4.2.
"""

from __future__ import annotations

from scipy.special import ndtr

from analysis.results import Budget, DecisionRule, PullResult, Verdict, VerdictState
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
    """Verdict on a pull. A unit that held nothing is `below` with value 0 where the window has a lower limit."""
    reading = result.breakaway if window.basis is Basis.BREAKAWAY else result.sliding
    if reading is not None:
        known = any(line.source == "calibration" for line in reading.budget.lines)
        return judge_value(reading.torque_nm, reading.budget, window, rule=rule, missing=() if known else ("sensor_uncertainty",))
    nothing_held = result.held_nothing
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
