"""Conformity: JCGM 106:2012 and ILAC-G8:09/2019.

Printed values of the two documents; each case says how it is known ('from memory': recalled and recomputed, not read).
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from analysis.judgement import DecisionRule, VerdictState
from analysis.results import Budget
from analysis.verdict.decide import judge_value, probability_in_window
from analysis.window import Window


def budget(u_nm: float, k: float = 2.0) -> Budget:
    return Budget((), u_nm, None, k)


@pytest.mark.parametrize(
    ("y", "u", "low", "high", "expected", "tolerance"),
    [
        # JCGM 106:2012, 7.3.3 example 1 (diode breakdown voltage, V); from memory.
        (-5.47, 0.05, None, -5.4, 0.92, 0.005),
        # JCGM 106:2012, 7.4 example (kinematic viscosity, mm2/s); inputs read in a public laboratory blog, answer from memory.
        (13.6, 1.8, 12.5, 16.3, 0.66, 0.005),
        # JCGM 106:2012, 7.5 and 7.6.3: mid-window, Cm = (TU - TL)/(4u) = 1; from memory.
        (50, 2.5, 45, 55, 0.9545, 5e-5),
        # JCGM 106:2012, 7.2: on the limit, and 2u inside, of a wide window; from memory.
        (80, 1, 40, 80, 0.5, 1e-9),
        (78, 1, 40, 80, 0.97725, 1e-6),
    ],
)
def test_conformance_probability(
    y: float, u: float, low: float | None, high: float | None, expected: float, tolerance: float
) -> None:
    assert probability_in_window(y, u, low, high) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(("probability", "z"), [(0.8, 0.84), (0.9, 1.28), (0.95, 1.64), (0.999, 3.09)])
def test_one_sided_table(probability: float, z: float) -> None:
    """JCGM 106:2012, 7.3, Table 1 (from memory): conformance probability z standard uncertainties inside a single limit."""
    found = [probability_in_window(100 - zz, 1.0, None, 100) for zz in (z - 0.0051, z + 0.0051)]
    assert found[0] <= probability <= found[1]


def test_guard_band_for_five_percent_risk() -> None:
    """UKAS LAB 48 and JCGM 106 8.3.2 (from memory): u = 1.26 N.m, 5 % one-sided risk, guard band 2.0727 N.m."""
    assert probability_in_window(80 - 2.0727, 1.26, 0, 80) == pytest.approx(0.95, abs=2e-4)


def test_guard_band_in_a_wide_two_sided_window() -> None:
    """JCGM 106:2012, 8.3.2 with 7.2 (from memory): in a window 10u wide, 1.645u inside gives 95 %."""
    assert probability_in_window(10 - 1.645, 1.0, 0, 10) == pytest.approx(0.95, abs=5e-5)


@pytest.mark.parametrize(
    ("y", "zone", "state"),
    [
        (9.4, "pass", VerdictState.IN_WINDOW),
        (9.6, "conditional pass", VerdictState.UNDECIDED),
        (10.3, "conditional fail", VerdictState.UNDECIDED),
        (10.6, "fail", VerdictState.ABOVE),
    ],
)
def test_zones_of_a_guarded_statement(y: float, zone: str, state: VerdictState) -> None:
    """ILAC-G8:09/2019, 4.2.3 and figure 5 (rule read in a public page copy; numbers made up): limit 10, U = 0.5, w = U.

    The two conditional zones are our `undecided`.
    """
    assert judge_value(y, budget(0.25), Window(None, 10.0)).state is state


@pytest.mark.parametrize(("w_over_u_expanded", "bound"), [(3.0, 1e-6), (1.0, 0.025), (0.83, 0.05), (0.0, 0.5)])
def test_specific_risk_of_a_guard_band(w_over_u_expanded: float, bound: float) -> None:
    """ILAC-G8:09/2019, Table 1 (from memory), U = 2u: worst chance that a value accepted with guard band w is beyond the limit."""
    at_the_edge = 10 - w_over_u_expanded * 2 * 0.25
    assert 1 - probability_in_window(at_the_edge, 0.25, None, 10) <= bound * (1 + 1e-6)


def test_nothing_accepted_under_guard_has_more_than_the_tabled_risk() -> None:
    """The same table, as the verdict applies it: all values called in window, over a fine sweep across the limit."""
    for y in np.linspace(8.5, 10.5, 401):
        verdict = judge_value(float(y), budget(0.25), Window(None, 10.0))
        if verdict.state is VerdictState.IN_WINDOW:
            assert 1 - (verdict.probability_in_window or 0) <= 0.025


@given(
    y=st.floats(0, 200), u=st.floats(1e-3, 20), low=st.floats(0, 100), width=st.floats(0.1, 100),
)  # fmt: skip
def test_probability_is_that_of_scipys_normal(y: float, u: float, low: float, width: float) -> None:
    """Reference library: scipy.stats.norm. 1e-12 leaves room for the difference of two near-equal numbers."""
    expected = norm.cdf(low + width, y, u) - norm.cdf(low, y, u)
    assert probability_in_window(y, u, low, low + width) == pytest.approx(expected, abs=1e-12)


@given(y=st.floats(0, 120), u=st.floats(1e-3, 10))
def test_guarded_is_never_bolder_than_simple(y: float, u: float) -> None:
    """ILAC-G8:09/2019, 4.2: a guard band only ever takes room away from both acceptance and rejection."""
    window = Window(40.0, 80.0)
    guarded = judge_value(y, budget(u), window).state
    simple = judge_value(y, budget(u), window, rule=DecisionRule.SIMPLE).state
    assert guarded in (simple, VerdictState.UNDECIDED)
    assert simple is not VerdictState.UNDECIDED
