"""The statistics of a comparison against examples of others: shared check J, whose source stands at each case, and scipy.stats."""

from __future__ import annotations

import json
import math
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from support.shareddata import shared_data

from analysis.compare.chatter import clopper_pearson
from analysis.compare.effects import Sample, Spread, difference_of, hedges_g, holm, rank_sum_distribution, robust_shift

numbers = st.lists(st.floats(-3, 3), min_size=2, max_size=9)


def case(name: str) -> tuple[dict, dict]:
    """Inputs and what is expected of a shared check."""
    found = json.loads((shared_data("pulls").parents[1] / "checks" / "j_statistics.json").read_text("utf-8"))
    one = next(entry for entry in found if entry["id"] == name)
    return one["inputs"], one["expected"]


def spread(values: list[float]) -> Spread:
    return Spread.about_directions(np.array(values, dtype=float), np.ones(len(values)))


def of_summary(n: int, mean: float, sd: float) -> Spread:
    return Spread((n,), mean, sd**2 * (n - 1))


def test_welch_of_two_samples_of_nine():
    """J-MF-256, J-MF-257: Miller & Freund's Probability and Statistics for Engineers, 8th ed., p. 256f."""
    inputs, expected = case("J-MF-256")
    estimate = difference_of(spread(inputs["y"]), spread(inputs["x"]), plain=True)
    assert estimate.difference / estimate.standard_error == pytest.approx(expected["t"], abs=0.006)
    assert math.floor(estimate.degrees_of_freedom) == expected["df_floor"]
    low, high = estimate.interval()
    # The book rounds the degrees of freedom down: its interval is a little wider.
    assert (low, high) == pytest.approx((-2.982, -1.88), abs=0.006)


def test_welch_on_the_sleep_data():
    """J-sleep-w: data of Cushny & Peebles in Student (1908), printed output of the statistics language R."""
    inputs, expected = case("J-sleep-w")
    estimate = difference_of(spread(inputs["y"]), spread(inputs["x"]), plain=True)
    assert estimate.difference / estimate.standard_error == pytest.approx(expected["t"], abs=6e-5)
    assert estimate.degrees_of_freedom == pytest.approx(expected["df"], abs=6e-4)
    assert estimate.p == pytest.approx(expected["p"], abs=6e-6)
    assert estimate.interval() == pytest.approx((expected["low"], expected["high"]), abs=1e-6)


def test_welch_on_assembly_times():
    """J-NIST-731: NIST/SEMATECH e-Handbook of Statistical Methods, 7.3.1."""
    inputs, expected = case("J-NIST-731")
    estimate = difference_of(spread(inputs["y"]), spread(inputs["x"]), plain=True)
    assert estimate.difference / estimate.standard_error == pytest.approx(expected["t"], abs=6e-4)
    assert estimate.degrees_of_freedom == pytest.approx(expected["df"], abs=6e-4)


def test_welch_from_summaries():
    """J-NIST-1353: NIST/SEMATECH e-Handbook, 1.3.5.3."""
    inputs, expected = case("J-NIST-1353")
    sides = [of_summary(*each) for each in zip(inputs["n"], inputs["mean"], inputs["sd"], strict=True)]
    estimate = difference_of(sides[1], sides[0], plain=True)
    assert estimate.difference / estimate.standard_error == pytest.approx(expected["t"], abs=0.001)
    assert estimate.degrees_of_freedom == pytest.approx(expected["df"], abs=0.01)


def test_pooled_t_of_two_catalysts():
    """J-MON-105: Montgomery & Runger, Applied Statistics and Probability for Engineers, 3rd ed., ex. 10-5."""
    inputs, expected = case("J-MON-105")
    estimate = difference_of(spread(inputs["y"]), spread(inputs["x"]))
    assert estimate.degrees_of_freedom == 14
    assert estimate.difference / estimate.standard_error == pytest.approx(expected["t"], abs=0.006)
    assert estimate.p == pytest.approx(expected["p"], abs=0.0011)
    assert estimate.interval() == pytest.approx((expected["low"], expected["high"]), abs=0.006)


def test_rank_sum_is_exact():
    """J-HW-U: Hollander & Wolfe, Nonparametric Statistical Methods, permeability data."""
    inputs, expected = case("J-HW-U")
    x, y = np.array(inputs["x"]), np.array(inputs["y"])
    wins = int((x[:, None] > y[None, :]).sum())
    assert wins == expected["W"]
    assert rank_sum_distribution(x.size, y.size)[wins:].sum() == pytest.approx(expected["p"], abs=6e-5)


def test_rank_sum_agrees_with_its_normal_approximation():
    """J-MF-451: Miller & Freund, p. 451: U1 = 42, z = -2.75 of two samples of 15 and 14."""
    inputs, expected = case("J-MF-451")
    null = rank_sum_distribution(inputs["n1"], inputs["n2"])
    u = np.arange(null.size)
    mean, variance = float(null @ u), float(null @ (u - null @ u) ** 2)
    assert (expected["U1"] - mean) / math.sqrt(variance) == pytest.approx(expected["z"], abs=0.006)


def test_rank_sum_by_counting_every_split():
    """Every one of the 35 ways to take three of seven ranks."""
    wins = [sum(a > b for a in chosen for b in set(range(7)) - set(chosen)) for chosen in combinations(range(7), 3)]
    assert rank_sum_distribution(3, 4) == pytest.approx(np.bincount(wins, minlength=13) / 35)


def test_three_against_three_and_four_have_no_rank_interval():
    """Contract: no rank interval of 95 % exists for 3 against 3 or 3 against 4 (2/20 and 2/35 are more than 5 %)."""
    one = Sample.of([0.0, 1.0, 2.0])
    assert robust_shift(one, Sample.of([3.0, 4.0, 5.0])) is None
    assert robust_shift(one, Sample.of([3.0, 4.0, 5.0, 6.0])) is None
    shift = robust_shift(one, Sample.of([3.0, 4.0, 5.0, 6.0, 7.0]))
    assert (shift.value, shift.low, shift.high) == (4.0, 1.0, 7.0)


def test_the_robust_interval_is_what_the_rank_test_does_not_refuse():
    """Hodges-Lehmann by inversion: shifts inside are kept by scipy's exact rank test at 5 %, those outside are not."""
    rng = np.random.default_rng(3)
    first, second = rng.normal(0, 1, 6), rng.normal(0.5, 1, 7)
    shift = robust_shift(Sample.of(first), Sample.of(second))
    assert shift.value == pytest.approx(np.median(second[:, None] - first[None, :]))
    for at, kept in ((shift.low - 1e-6, False), (shift.low + 1e-6, True), (shift.high - 1e-6, True), (shift.high + 1e-6, False)):
        p = stats.mannwhitneyu(second - at, first, method="exact").pvalue
        assert bool(p > 0.05) is kept


def test_hedges_g():
    """J-hedges: Borenstein et al., Introduction to Meta-Analysis (2009), ch. 4."""
    inputs, expected = case("J-hedges")
    sides = [of_summary(*each) for each in zip(inputs["n"], inputs["mean"], inputs["sd"], strict=True)]
    assert hedges_g(sides[1], sides[0]) == pytest.approx(expected["g"], abs=6e-5)


def test_holm_on_a_worked_example():
    """Four p values 0.01, 0.04, 0.03, 0.005: corrected 0.03, 0.06, 0.06, 0.02 (a common example of the method; from memory)."""
    assert list(holm({"a": 0.01, "b": 0.04, "c": 0.03, "d": 0.005}).values()) == pytest.approx([0.03, 0.06, 0.06, 0.02])


@given(st.integers(1, 30).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_clopper_pearson_is_scipys(counts):
    successes, trials = counts
    expected = stats.binomtest(successes, trials).proportion_ci(0.95, method="exact")
    assert clopper_pearson(successes, trials) == pytest.approx((expected.low, expected.high), abs=1e-9)


@settings(max_examples=60)
@given(numbers, numbers)
def test_welch_is_scipys(first, second):
    """scipy.stats.ttest_ind as the reference; samples without scatter have no t."""
    if np.ptp(first) < 1e-6 or np.ptp(second) < 1e-6:
        return
    estimate = difference_of(spread(first), spread(second), plain=True)
    expected = stats.ttest_ind(second, first, equal_var=False)
    assert estimate.p == pytest.approx(expected.pvalue, rel=1e-6, abs=1e-12)
    interval = expected.confidence_interval(0.95)
    assert estimate.interval() == pytest.approx((interval.low, interval.high), rel=1e-6, abs=1e-9)
