"""A value with its budget held against a window: guarded or simple acceptance, with the probability of conformity.

Source: JCGM 106:2012, 7 (conformance probability) and 8.3 (guard band w = U); ILAC-G8:09/2019, 4.2. Where the standard
uncertainty has few degrees of freedom the distribution is Student's t, scaled and shifted (JCGM 101:2008, 6.4.9), that of U.
"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.distributions import normal_probability, t_probability
from analysis.judgement import DecisionRule, Missing, Verdict, VerdictState
from analysis.results import Budget
from analysis.window import Window


def probability_in_window(
    value_nm: float, u_nm: float, low_nm: float | None, high_nm: float | None, degrees_of_freedom: float | None = None
) -> float:
    """Conformance probability (JCGM 106:2012, 7.2): F((TU - y)/u) - F((TL - y)/u), F normal or Student's t.

    Parameters
    ----------
    value_nm
        The best estimate y, N.m.
    u_nm
        Its standard uncertainty, N.m; 0: the value is exact.
    low_nm, high_nm
        The limits TL and TU, N.m; None: no limit on that side.
    degrees_of_freedom
        Of `u_nm`; None: normal distribution.

    Returns
    -------
    float
        Between 0 and 1; 0 or 1 for an exact value.

    Examples
    --------
    >>> round(probability_in_window(13.6, 1.8, 12.5, 16.3), 2)
    0.66
    """
    if u_nm <= 0:
        return float((low_nm is None or value_nm >= low_nm) and (high_nm is None or value_nm <= high_nm))

    def below(limit_nm: float) -> float:
        z = (limit_nm - value_nm) / u_nm
        return float(normal_probability(z) if degrees_of_freedom is None else t_probability(z, degrees_of_freedom))

    up_to_high = 1.0 if high_nm is None else below(high_nm)
    up_to_low = 0.0 if low_nm is None else below(low_nm)
    return max(0.0, up_to_high - up_to_low)


@dataclass(frozen=True, slots=True)
class Standing:
    """How a value stands to a window; `probability` None where none can be stated."""

    state: VerdictState
    probability: float | None


def standing(value_nm: float, budget: Budget, window: Window, rule: DecisionRule, *, at_least: bool = False) -> Standing:
    """Guarded: undecided where a limit lies within the expanded uncertainty. `at_least`: the value is a lower bound.

    Parameters
    ----------
    value_nm
        N.m.
    budget
        Uncertainty of the value; its expanded uncertainty is the guard band.
    window
        Limits in N.m.
    rule
        Guarded, or simple acceptance: then the guard band is 0.
    at_least
        The value is a lower bound: it can be above, and in the window only where that has no upper limit.

    Returns
    -------
    Standing
        Below, above, in the window or undecided; the probability is None for a lower bound.
    """
    guard = budget.expanded_u_nm if rule is DecisionRule.GUARDED else 0.0
    low, high = window.low_nm, window.high_nm
    is_above = high is not None and value_nm > high + guard
    clears_low = low is None or value_nm >= low + guard
    if at_least:
        if is_above:
            return Standing(VerdictState.ABOVE, None)
        return Standing(VerdictState.IN_WINDOW if high is None and clears_low else VerdictState.UNDECIDED, None)
    if low is not None and value_nm < low - guard:
        state = VerdictState.BELOW
    elif is_above:
        state = VerdictState.ABOVE
    elif clears_low and (high is None or value_nm <= high - guard):
        state = VerdictState.IN_WINDOW
    else:
        state = VerdictState.UNDECIDED
    return Standing(state, probability_in_window(value_nm, budget.u_nm, low, high, budget.degrees_of_freedom))


def judge_value(
    value_nm: float,
    budget: Budget,
    window: Window,
    *,
    rule: DecisionRule = DecisionRule.GUARDED,
    missing: tuple[Missing, ...] = (),
    at_least: bool = False,
) -> Verdict:
    """Verdict on a value with a budget that holds all there is to it.

    Parameters
    ----------
    value_nm
        N.m.
    budget
        All the uncertainty of the value; nothing is added here.
    window
        Limits in N.m, and the unit and text that the answer comes back in.
    rule
        Guarded or simple acceptance.
    missing
        Codes for what the verdict lacks; carried along, they do not change the state.
    at_least
        The value is a lower bound.

    Returns
    -------
    Verdict
        State, limits and expanded uncertainty in N.m, probability of conformity.
    """
    found = standing(value_nm, budget, window, rule, at_least=at_least)
    return Verdict(
        state=found.state,
        basis=window.basis,
        value_nm=value_nm,
        expanded_u_nm=budget.expanded_u_nm,
        coverage_factor=budget.coverage_factor,
        low_nm=window.low_nm,
        high_nm=window.high_nm,
        probability_in_window=found.probability,
        rule=rule,
        missing=missing,
        confidence=budget.coverage,
        budget=budget,
        window_text=window.text,
        window_unit=window.unit,
    )
