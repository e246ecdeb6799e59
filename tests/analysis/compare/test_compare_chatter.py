"""The chatter's own rule, run-in, and what is said of both."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.compared import QUIET, WITH_ADDITIVE, chattering, pull, steady

from analysis.compare.chatter import Outcome
from analysis.compare.comparison import compare
from analysis.compare.effects import Conclusion
from analysis.compare.pulls import ChatterOfPull, FigureName
from rig.words.comparison import chatter_text, comparison_texts

BLIND = ChatterOfPull()


def outcome(before, after, **after_more):
    first = [pull(50.0 + k, chatter=one) for k, one in enumerate(before)]
    second = [pull(48.0 + k, chatter=one, stated=WITH_ADDITIVE, **after_more) for k, one in enumerate(after)]
    return compare(first, second)


def rough(height=0.25):
    return chattering(height)


@pytest.mark.parametrize(
    ("before", "after", "expected", "further"),
    [
        ([rough()] * 5, [QUIET] * 5, Outcome.CURED, 0),
        ([rough()] * 3, [QUIET] * 3, Outcome.QUIET_SO_FAR, 2),
        ([rough()] * 2 + [QUIET] * 2, [QUIET] * 5, Outcome.CURED, 0),
        ([rough()] + [QUIET] * 4, [QUIET] * 5, Outcome.OPEN, 0),  # one pull of five may have been the hand's
        ([rough()] * 2 + [QUIET] * 3, [QUIET] * 5, Outcome.OPEN, 0),  # fewer than half
        ([QUIET] * 3, [QUIET] * 3, Outcome.NONE_BEFORE, 0),
        ([BLIND] * 3, [QUIET] * 3, Outcome.NOT_ASSESSABLE, 0),
        ([rough()] * 3, [BLIND] * 3, Outcome.NOT_ASSESSABLE, 0),
        ([rough(0.24), rough(0.25), rough(0.26)], [rough(0.09), rough(0.1), rough(0.11)], Outcome.LESS, 0),
        ([rough(0.09), rough(0.1), rough(0.11)], [rough(0.24), rough(0.25), rough(0.26)], Outcome.MORE, 0),
        ([rough(0.250), rough(0.251), rough(0.249)], [rough(0.250), rough(0.2505), rough(0.2495)], Outcome.AS_BEFORE, 0),
        ([rough(0.2), rough(0.3), rough(0.25)], [rough(0.22), rough(0.31), rough(0.18)], Outcome.OPEN, 0),
    ],
)
def test_what_became_of_the_chatter(before, after, expected, further):
    made = outcome(before, after)
    assert (made.chatter.outcome, made.chatter.further_pulls_after) == (expected, further)


def test_quiet_at_another_speed_is_no_cure_unless_a_pull_passes_the_old_speed():
    assert outcome([rough()] * 5, [QUIET] * 5, speed_deg_s=30.0).chatter.outcome is Outcome.NOT_ASSESSABLE
    before = [pull(50.0, chatter=rough()) for _ in range(5)]
    after = [pull(48.0, chatter=QUIET, stated=WITH_ADDITIVE, speed_deg_s=30.0) for _ in range(5)]
    after[0] = replace(after[0], speed=replace(steady(30.0), low_deg_s=5.0))
    assert compare(before, after).chatter.outcome is Outcome.CURED


def test_a_chattering_pull_that_a_person_excluded_is_told():
    before = [pull(50.0, chatter=rough()) for _ in range(5)]
    after = [pull(48.0, chatter=QUIET, stated=WITH_ADDITIVE) for _ in range(5)]
    after.append(pull(48.0, chatter=rough(), stated=replace(WITH_ADDITIVE, excluded="did not like it")))
    made = compare(before, after)
    assert made.chatter.outcome is Outcome.CURED
    assert "of the pulls a person excluded, 1 chatter" in chatter_text(made.chatter)


def test_quiet_pulls_are_told_with_what_they_leave_open():
    text = chatter_text(outcome([rough()] * 5, [QUIET] * 5).chatter)
    assert "quiet in 5 of 5 pulls on this bench (11 to 13 deg/s, 20 °C, rest 30 s)" in text
    assert "up to 45 % of pulls not excluded; slow turns with warm oil decide" in text
    assert "cured" not in text


def test_no_words_of_any_comparison_say_cured_below_ten_quiet_pulls_in_both_directions():
    before = [pull(50.0 + k, chatter=rough()) for k in range(10)]
    for pulls, ways, long_rest, said in ((9, 2, True, False), (10, 1, True, False), (10, 2, False, False), (10, 2, True, True)):
        after = [
            pull(
                48.0 + 0.1 * k,
                chatter=QUIET,
                direction=-1 if ways == 2 and k % 2 else 1,
                stated=replace(WITH_ADDITIVE, rest_s=7200.0 if long_rest and k == 0 else 30.0),
            )
            for k in range(pulls)
        ]
        made = compare(before, after)
        assert made.chatter.outcome is Outcome.CURED
        assert ("cured" in " ".join(comparison_texts(made)).lower()) is said


def test_severity_against_no_chatter_has_one_side():
    """Before 24, 25, 26 %, after none: mean 25, t of 2 degrees of freedom 4.303, s / sqrt(3) = 0.577."""
    figure = outcome([rough(0.24), rough(0.25), rough(0.26)], [QUIET] * 3).figures[FigureName.CHATTER_SEVERITY]
    assert (figure.ratio, figure.ratio_high) == (0.0, None)
    assert (figure.difference_low, figure.difference_high) == pytest.approx((-25 - 2.484, -25 + 2.484), abs=0.001)
    assert figure.conclusion is Conclusion.FELL
    assert figure.probability_fell > 0.98


def levels(values):
    return [pull(value) for value in values]


@pytest.mark.parametrize(
    ("values", "settled"),
    [
        (50 * np.exp(-0.02 * np.arange(6)) * (1 + 0.001 * np.array([1, -1, 1, -1, 1, -1])), False),
        (50 * (1 + 0.002 * np.array([1, -1, 1, -1, 1, -1])), True),
        (50 * (1 + 0.06 * np.array([1, -1, 1, -1, -1, 1])), None),
    ],
)
def test_run_in_is_over_open_or_not(values, settled):
    made = compare(levels(values), levels([50.0, 50.1, 49.9, 50.0, 50.05]))
    assert made.run_in_before.settled is settled
    assert ("run_in" in made.figures[FigureName.SLIDING].labels) is (settled is False)
    assert (made.figures[FigureName.SLIDING].at_last_pull is not None) is (settled is False)


def test_too_few_pulls_say_nothing_of_run_in():
    made = compare(levels([50, 49, 48, 47]), levels([50, 50.1, 49.9]))
    assert (made.run_in_before.settled, made.run_in_before.why_not) == (None, "too_few")


def test_the_level_at_the_last_pull_is_that_of_the_trends():
    """Before falls by exactly 2 % a pull to its sixth, after stands still: the ratio there is 1/0.98^5, without scatter."""
    made = compare(levels([50 * 0.98**k for k in range(6)]), levels([50.0] * 6))
    last = made.figures[FigureName.SLIDING].at_last_pull
    assert last.ratio == pytest.approx(0.98**-5, rel=1e-6)
    assert made.figures[FigureName.SLIDING].ratio == pytest.approx(0.98**-2.5, rel=1e-6)  # the mean, not a level to come


def test_three_pulls_with_a_wide_gap_are_told():
    made = compare(levels([50.0, 51.0, 70.0]), levels([50.0, 51.0, 49.0]))
    assert any("of two or three nobody can tell which one is off" in text for text in comparison_texts(made))
