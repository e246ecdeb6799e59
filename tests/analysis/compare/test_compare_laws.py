"""Laws of a comparison: swapping the sides, scaling all torques, the order of the files; each over drawn sets."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.compared import LIKE, QUIET, chattering, pull

from analysis.compare.comparison import Comparison, compare
from analysis.compare.effects import Conclusion, Method
from analysis.compare.pulls import ComparedPull, FigureName

SWAPPED = {Conclusion.ROSE: Conclusion.FELL, Conclusion.FELL: Conclusion.ROSE}
# Steps of a tenth of a percent: values that differ by rounding alone have no order that a multiplication keeps.
logs = st.integers(-150, 150).map(lambda step: 1 + step / 1000)


@st.composite
def a_side(draw: st.DrawFn, *, chatters: bool) -> list[ComparedPull]:
    level = draw(st.sampled_from([0.8, 0.97, 1.0, 1.2]))
    pulls = []
    for number, factor in enumerate(draw(st.lists(logs, min_size=1, max_size=8)), start=1):
        sliding = 50.0 * level * factor
        breakaway = sliding * draw(st.sampled_from([1.02, 1.05, 1.08]))
        rest = draw(st.sampled_from([30.0, 30.0, 30.0, 7200.0]))
        chatter = chattering(draw(st.sampled_from([0.1, 0.2, 0.3])), sliding) if chatters else QUIET
        way = draw(st.sampled_from([1, 1, 1, -1]))
        pulls.append(pull(sliding, breakaway, stated=replace(LIKE, rest_s=rest, number=number), chatter=chatter, direction=way))
    return pulls


@st.composite
def both_sides(draw: st.DrawFn) -> tuple[list[ComparedPull], list[ComparedPull]]:
    chatters = draw(st.booleans())
    return draw(a_side(chatters=chatters)), draw(a_side(chatters=chatters))


def scaled(pulls: list[ComparedPull], factor: float) -> list[ComparedPull]:
    return [
        replace(
            one,
            sliding_nm=None if one.sliding_nm is None else factor * one.sliding_nm,
            breakaway_nm=None if one.breakaway_nm is None else factor * one.breakaway_nm,
            chatter=replace(one.chatter, height_nm=None if one.chatter.height_nm is None else factor * one.chatter.height_nm),
        )
        for one in pulls
    ]


def words(made: Comparison) -> dict[FigureName, Conclusion]:
    return {name: figure.conclusion for name, figure in made.figures.items()}


@settings(max_examples=60)
@given(both_sides())
def test_swapping_the_sides_inverts_every_ratio_and_swaps_the_words(sides):
    before, after = sides
    there, back = compare(before, after), compare(after, before)
    assert set(there.figures) == set(back.figures)
    for name, figure in there.figures.items():
        other = back.figures[name]
        assert other.conclusion is SWAPPED.get(figure.conclusion, figure.conclusion)
        if figure.ratio is None or other.ratio is None:  # no chatter on either side: there is no ratio
            assert figure.ratio is other.ratio is None
            continue
        assert figure.ratio * other.ratio == pytest.approx(1)
        if figure.ratio_low is not None:
            assert figure.method in (Method.POOLED_T_LOG, Method.WELCH_T_LOG)
            assert figure.ratio_low * other.ratio_high == pytest.approx(1)
            assert figure.ratio_high * other.ratio_low == pytest.approx(1)
            assert figure.p == pytest.approx(other.p)
            assert figure.probability_fell + other.probability_fell == pytest.approx(1)
    assert there.run_in_before == back.run_in_after


@settings(max_examples=60)
@given(both_sides(), st.sampled_from([0.01, 0.7376, 3.0, 1000.0]))
def test_multiplying_all_torques_changes_no_word_and_no_ratio(sides, factor):
    before, after = sides
    plain, larger = compare(before, after), compare(scaled(before, factor), scaled(after, factor))
    assert words(plain) == words(larger)
    for name, figure in plain.figures.items():
        assert larger.figures[name].ratio == pytest.approx(figure.ratio)
        assert larger.figures[name].further_pulls_each_side == figure.further_pulls_each_side
    assert [one.apart for one in plain.before] == [one.apart for one in larger.before]


@settings(max_examples=40)
@given(both_sides(), st.randoms(use_true_random=False))
def test_the_order_of_the_files_changes_nothing_where_the_pulls_are_numbered(sides, chance):
    before, after = sides
    there = compare(before, after)
    shuffled = [list(before), list(after)]
    for side in shuffled:
        chance.shuffle(side)
    again = compare(*shuffled)
    assert [one.trace for one in again.before] == [one.trace for one in there.before]
    assert again.figures == there.figures


def test_a_change_the_same_on_every_pull_is_found_exactly():
    """Without scatter the interval has no width: 40 N.m to 44 N.m is a ratio of 1.1, certain."""
    made = compare([pull(40.0) for _ in range(3)], [pull(44.0) for _ in range(3)])
    figure = made.figures[FigureName.SLIDING]
    assert (figure.ratio, figure.ratio_low, figure.ratio_high) == pytest.approx((1.1, 1.1, 1.1))
    assert figure.conclusion is Conclusion.ROSE
    assert figure.probability_fell == 0.0


def test_one_pull_on_a_side_is_open_without_an_interval():
    made = compare([pull(40.0)], [pull(44.0), pull(45.0), pull(43.0)])
    figure = made.figures[FigureName.SLIDING]
    assert figure.conclusion is Conclusion.OPEN
    assert (figure.ratio_low, figure.method, figure.further_pulls_each_side) == (None, None, None)


def test_the_two_directions_are_blocks_of_their_own():
    """20 % between the directions is no scatter: the difference is the mean of the directions' differences."""
    made = compare(
        [pull(40.0), pull(48.0, direction=-1), pull(40.4), pull(48.4, direction=-1)],
        [pull(44.0), pull(52.8, direction=-1), pull(44.4), pull(53.2, direction=-1)],
    )
    figure = made.figures[FigureName.SLIDING]
    assert figure.ratio == pytest.approx(1.1, rel=0.002)
    assert figure.degrees_of_freedom == 4
    assert figure.conclusion is Conclusion.ROSE
    assert "direction" not in figure.labels


def test_only_the_direction_that_both_sides_have_is_compared():
    made = compare([pull(40.0), pull(40.5), pull(39.5)], [pull(44.0), pull(44.5), pull(43.5), pull(60.0, direction=-1)])
    figure = made.figures[FigureName.SLIDING]
    assert (figure.before.n, figure.after.n) == (3, 3)
    assert figure.ratio == pytest.approx(1.1, rel=0.002)
    assert "direction" in figure.labels


def test_sides_without_a_common_direction_are_compared_as_they_are():
    made = compare([pull(40.0), pull(40.5)], [pull(44.0, direction=-1), pull(44.5, direction=-1)])
    figure = made.figures[FigureName.SLIDING]
    assert (figure.before.n, figure.after.n) == (2, 2)
    assert "direction" in figure.labels
