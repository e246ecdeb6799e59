"""Sentences: every code has one, every verdict says what a person needs, figures are honest."""

import dataclasses

import pytest

from analysis.results import (
    Breakaway,
    Budget,
    BudgetLine,
    Chatter,
    PullResult,
    QualityCode,
    QualityFlag,
    SeriesResult,
    Settling,
    Verdict,
    VerdictState,
)
from analysis.verdict.judge import judge, judge_value
from analysis.window import Basis, Window
from rig.words import sentences as wording

U = Budget((BudgetLine("calibration", 0.5, None), BudgetLine("noise", 0.1, 12.0)), 0.51, None, 1.96)
RESULT = PullResult(1000, 2.0, 500.0, 1, (), Breakaway(47.3, 1.0, 2.0, U), None, Chatter(assessable=False, score=0.0), ())


def verdict(value_nm, window, **more):
    return dataclasses.replace(judge_value(value_nm, U, Window.parse(window)), **more)


@pytest.mark.parametrize(
    ("value_nm", "window", "said"),
    [
        (47.3, "35..60 N.m", "47.3 +/- 1.0 N.m is in the window 35..60 N.m"),
        (20.0, "35..60 N.m", "is below the window 35..60 N.m, short by 15.0 N.m"),
        (80.0, "..60 N.m", "is above the window ..60 N.m, over by 20.0 N.m"),
        (35.2, "35..60 N.m", "too near to the lower limit of 35.0 N.m"),
        (59.8, "35..60 N.m", "too near to the upper limit of 60.0 N.m"),
        (10.1, "10.. N.m", "too near to the lower limit of 10.0 N.m"),
    ],
)
def test_a_verdict_says_value_uncertainty_window_and_distance(value_nm, window, said):
    text = wording.verdict_text(verdict(value_nm, window))
    assert text.startswith("pack breakaway ")
    assert said in text
    assert "probability in the window" in text


def test_an_undecided_verdict_says_what_would_settle_it():
    assert "would settle it" in wording.verdict_text(verdict(35.2, "35..60 N.m"))


@pytest.mark.parametrize(
    ("settling", "said"),
    [
        (Settling(None, better_sensor=True), "no number of pulls would settle it"),
        (Settling(1, better_sensor=False), "1 more pull should settle it"),
        (Settling(4, better_sensor=False), "4 more pulls should settle it"),
        (Settling(None, better_sensor=False), "lies on the limit"),
    ],
)
def test_what_would_settle_it_is_said_as_it_was_reckoned(settling, said):
    assert said in wording.verdict_text(verdict(35.2, "35..60 N.m", settling=settling))


def test_a_series_says_mean_scatter_both_ways_and_what_was_left_out():
    series = SeriesResult(Basis.BREAKAWAY, 50.0, 1.5, U, (1, 2, 3), 0, (4,), 0.04, (51.0, 49.0))
    names = ["a.csv", "b.csv", "c.csv", "d.csv", "e.csv"]
    text = "\n".join(wording.series_lines(series, names, verdict(50.0, "35..60 N.m")))
    for words in (
        "series of 5 pulls",
        "50.0 +/- 1.0 N.m, the mean of 3",
        "1.50 N.m",
        "+4.0 %",
        "first after rest: a.csv",
        "no reading: e.csv",
    ):
        assert words in text
    none = SeriesResult(Basis.SLIDING, None, None, None, (), None, (0,), None, (None, None))
    assert "pack sliding was read in none" in "\n".join(wording.series_lines(none, ["a.csv"], None))


def test_what_a_verdict_lacks_is_said():
    assert "uncertainty is not known" in wording.verdict_text(verdict(47.0, "35..60 N.m", missing=("sensor_uncertainty",)))


def test_a_free_unit_and_an_absent_reading_say_so():
    free = dataclasses.replace(RESULT, breakaway=None, held_nothing=True)
    said = wording.verdict_text(judge(free, Window.parse("35..60 N.m")))
    assert "nothing held" in said
    assert "below the window" in said
    assert "below" not in wording.verdict_text(judge(free, Window.parse("..60 N.m")))
    assert "there is no pack sliding" in wording.verdict_text(judge(RESULT, Window.parse("35..60 N.m", Basis.SLIDING)))


def test_every_doubt_and_state_has_words_with_and_without_a_figure():
    for code in QualityCode:
        assert wording.quality_text(QualityFlag(code)).endswith(".")
        assert "{" not in wording.quality_text(QualityFlag(code, 1.5))
    assert set(wording.STATE_WORD) == set(VerdictState)
    assert "(3 of them)" in wording.quality_text(QualityFlag(QualityCode.SPIKES, 3.0))
    assert "(by 0.750 N.m)" in wording.quality_text(QualityFlag(QualityCode.ZERO_DRIFT, -0.75))
    assert "jerked on (in less than 0.150 s)" in wording.quality_text(QualityFlag(QualityCode.TOO_FAST, None, 0.15))
    assert "(" not in wording.quality_text(QualityFlag(QualityCode.SHORT_TRAVEL, 0.0, 20.0))


def test_figures_are_given_to_the_place_the_uncertainty_allows():
    # JCGM 100:2008, 7.2.6: at most two significant digits of the uncertainty, the value rounded to be consistent with it.
    assert wording.torque_with_u(47.318, 1.234) == "47.3 +/- 1.2 N.m"
    assert wording.torque_with_u(47.318, 0.0312) == "47.32 +/- 0.03 N.m"
    assert wording.torque_with_u(47.318, 0.9996) == "47.3 +/- 1.0 N.m"
    assert wording.torque_with_u(147.318, 12.3) == "147 +/- 12 N.m"
    assert wording.torque_with_u(1.35582, 0.1, "lbf.ft") == "1.000 +/- 0.074 lbf.ft"
    assert wording.torque_with_u(0.0, 0.5) == "0.00 +/- 0.50 N.m"
    assert wording.torque_with_u(47.318, None) == "47.3 N.m"


def test_windows_read_as_they_are_typed():
    assert wording.window(None, 25.0) == "..25 N.m"
    assert wording.window_of(Window.parse("25..45 lbf.ft", Basis.SLIDING), "lbf.ft") == "pack sliding 25..45 lbf.ft"


def test_chatter_says_yes_no_or_why_not():
    assert wording.chatter_text(Chatter(assessable=True, score=0.1)) == "none"
    assert wording.chatter_text(Chatter(True, 0.9, 6.1, 13.6, 20)) == "yes, 6.10 slips/s, 13.6 N.m high"
    assert "too few samples" in wording.chatter_text(Chatter(assessable=False, score=0.0, why_not="low_rate"))
    assert "not assessable" in wording.chatter_text(Chatter(assessable=False, score=0.0, why_not="some new reason"))


def test_a_pull_in_one_line():
    line = wording.pull_line(3, dataclasses.replace(RESULT, direction=-1), judge(RESULT, Window.parse("35..60 N.m")))
    assert line == "pull 3 (other way): breakaway 47.3 +/- 1.0 N.m, IN WINDOW"
    nothing = dataclasses.replace(RESULT, breakaway=None)
    assert wording.pull_line(1, nothing, None) == "pull 1: no reading"


def test_a_budget_prints_each_line_and_the_coverage_factor():
    text = "\n".join(wording.budget_lines("pack breakaway", U))
    assert all(word in text for word in ("calibration", "noise", "combined", "k = 1.96 (95 %)"))


def test_words_that_the_trade_finds_ambiguous_are_not_used():
    # Common practice, no source: "initial torque", "slip torque", "rotation torque" and "lock %" each mean several things.
    with open(wording.__file__, encoding="utf-8") as file:
        source = file.read().split('"""', 2)[2].lower()
    for word in ("initial torque", "slip torque", "rotation torque", "lock %", "preload torque"):
        assert word not in source


def test_the_cautions_defer_to_the_maker():
    text = " ".join(wording.CAUTIONS)
    assert "maker's manual" in text
    assert "qualified persons" in text


def test_a_verdict_without_a_probability_still_reads():
    bare = Verdict(VerdictState.IN_WINDOW, Basis.BREAKAWAY, 47.0, None, None, 35.0, 60.0, None)
    assert wording.verdict_text(bare) == "pack breakaway 47.0 N.m is in the window 35..60 N.m."


def test_a_clipped_pull_asks_for_a_larger_range_not_for_more_pulls() -> None:
    clipped = Verdict(
        state=VerdictState.UNDECIDED,
        basis=Basis.BREAKAWAY,
        value_nm=50.0,
        expanded_u_nm=0.3,
        coverage_factor=1.96,
        low_nm=40.0,
        high_nm=55.0,
        probability_in_window=None,
        missing=("overload",),
    )
    sentence = wording.verdict_text(clipped)
    assert "larger range" in sentence
    assert "more pulls" not in sentence


@pytest.mark.parametrize(
    ("days_left", "said"),
    [(None, "certificate C-1"), (200, "due on 2027-01-01"), (12, "in 12 days"), (-1, "was due on 2027-01-01")],
)
def test_the_certificate_in_force_is_told_with_its_due_day(days_left, said):
    assert said in wording.certificate_text("C-1", days_left, "2027-01-01")
