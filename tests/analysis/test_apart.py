"""Which pulls stand apart: the rule of the contract (COMPARE.md, Pulls), its laws, and how often it is wrong."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.verdict.apart import Scatter, Side, after_long_rest, find_strays, gap_hides_a_stray

torques = st.lists(st.floats(5.0, 300.0), min_size=1, max_size=12)


def side(*sliding: float, direction: int = 1) -> Side:
    return Side.of([direction] * len(sliding), sliding)


def test_a_rest_is_long_against_the_others_never_for_being_the_first() -> None:
    assert after_long_rest([7200, 30, 30, 30]) == (0,)
    assert after_long_rest([30, 30, 30]) == ()
    assert after_long_rest([30, 30, 7200, 30]) == (2,)
    assert after_long_rest([120, 30, 30]) == ()  # exactly four times is not over four times
    assert after_long_rest([None, 30, 500]) == (2,)
    assert after_long_rest([500]) == after_long_rest([None, None]) == after_long_rest([]) == ()


def test_a_pull_far_off_its_three_fellows_is_a_stray() -> None:
    other = side(40, 41, 39, 40, 40)
    assert find_strays([other, side(50, 51, 49, 77)]) == ((), (3,))
    assert find_strays([other, side(50, 51, 49, 40)]) == ((), (3,))
    # Alone, three pulls leave two degrees of freedom: only what is more than twice too high can be told.
    assert find_strays([side(50, 51, 49, 77)]) == ((),)
    assert find_strays([side(50, 51, 49, 120)]) == ((3,),)


def test_within_twelve_percent_nothing_is_a_stray() -> None:
    assert find_strays([side(50, 50, 50, 50, 55.9)]) == ((),)  # ln(55.9 / 50) = 0.1115


def test_of_three_pulls_none_is_a_stray_but_the_gap_is_told() -> None:
    assert find_strays([side(50, 50, 90)]) == ((),)
    assert gap_hides_a_stray(np.log([50, 50, 90]).tolist())
    assert not gap_hides_a_stray(np.log([50, 51, 52]).tolist())
    assert not gap_hides_a_stray(np.log([50, 50, 50, 90]).tolist())


def test_a_stray_in_one_quantity_is_enough() -> None:
    assert find_strays([Side.of([1] * 5, [50, 51, 49, 50, 50], [60, 61, 59, 60, 90])]) == ((4,),)


def test_strays_of_both_sides_do_not_hide_each_other() -> None:
    assert find_strays([side(50, 51, 49, 50, 75), side(45, 46, 44, 45, 66)]) == ((4,), (4,))


def test_two_strays_of_a_side_do_not_hide_each_other() -> None:
    assert find_strays([side(50, 51, 49, 50, 52, 50, 76, 75)]) == ((6, 7),)


def test_at_most_one_in_four() -> None:
    assert find_strays([side(50, 51, 49, 50, 100, 20)])[0] in {(), (4,), (5,)}


def test_the_two_directions_are_not_strays_of_each_other() -> None:
    both = Side.of([1, 1, 1, -1, -1, -1], [50, 51, 49, 70, 71, 69])
    assert find_strays([both]) == ((),)
    assert find_strays([Side.of([1, 1, 1, -1, -1, -1], [50, 51, 49, 70, 71, 100])]) == ((5,),)


def test_scatter_that_is_known_counts() -> None:
    pulls = side(50, 50.5, 49.5, 62)
    assert find_strays([pulls], Scatter(0.02, 50)) == ((3,),)
    assert find_strays([pulls], Scatter(0.08, 50)) == ((),)


@given(torques, torques, st.floats(0.01, 100))
def test_scale_changes_no_stray(before: list[float], after: list[float], factor: float) -> None:
    plain = find_strays([side(*before), side(*after)])
    # Values that differ by less than rounding have no order that survives a multiplication.
    scaled = find_strays([side(*[factor * t for t in before]), side(*[factor * t for t in after])])
    assert [len(found) for found in plain] == [len(found) for found in scaled]


@given(torques, torques)
def test_swapping_the_sides_swaps_the_strays(before: list[float], after: list[float]) -> None:
    first, second = find_strays([side(*before), side(*after)])
    back = find_strays([side(*after), side(*before)])
    assert sorted([len(first), len(second)]) == sorted(len(found) for found in back)


@given(torques)
def test_never_more_than_one_in_four_and_at_least_four_pulls(values: list[float]) -> None:
    (found,) = find_strays([side(*values)])
    assert len(found) <= max(1, len(values) // 4)
    assert len(values) >= 4 or not found


@pytest.mark.parametrize("scatter", [0.02, 0.04, 0.08])
def test_false_strays_are_rare(scatter: float) -> None:
    """Two-sided 99.9 % a pull looked at, and only the farthest are: fewer than 1 set in 100 of two sides of five."""
    rng = np.random.default_rng(14)
    sets = rng.normal(0.0, scatter, (600, 2, 5))
    wrong = sum(any(find_strays([Side(np.ones(5, dtype=int), one[None]) for one in pair])) for pair in sets)
    assert wrong <= 12
