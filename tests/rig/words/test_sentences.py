"""Sentences: every code has one, every verdict says what a person needs, figures are honest."""

import dataclasses

import pytest

from analysis.judgement import Missing, Settling, SettlingCode, Verdict, VerdictState
from analysis.results import Breakaway, Budget, BudgetLine, Chatter, PullResult, QualityCode, QualityFlag
from analysis.verdict.decide import judge_value
from analysis.verdict.judge import judge
from analysis.verdict.series import read_series
from analysis.verdict.votes import Pull
from analysis.window import Basis, Window
from rig.words import sentences as wording
from rig.words import verdicts as words

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
    text = words.verdict_text(verdict(value_nm, window))
    assert text.startswith("pack breakaway ")
    assert said in text
    assert "probability in the window" in text


def test_a_statement_is_complete():
    """ISO/IEC 17025:2017, 7.8.6.2 (from memory): the statement names the rule; JCGM 100, 7.2.3: k and the level of confidence."""
    text = words.verdict_text(verdict(47.3, "35..60 N.m", missing=(Missing.SENSOR,)))
    for part in ("k = 1.96", "95 %", "guarded acceptance", "35..60 N.m", "missing: sensor ("):
        assert part in text
    lbf = words.verdict_text(verdict(47.3, "25..45 lbf.ft"), "lbf.ft")
    assert "34.89 +/- 0.74 lbf.ft is in the window 25..45 lbf.ft" in lbf


@pytest.mark.parametrize(
    ("settling", "said"),
    [
        (Settling(SettlingCode.BETTER_SENSOR), "no number of pulls settles it"),
        (Settling(SettlingCode.MORE_PULLS, 2), "one pull: pull twice more"),
        (Settling(SettlingCode.MORE_PULLS, None), "one pull: pull twice more"),
        (Settling(SettlingCode.MORE_PULLS, 7), "one pull: pull twice more; about 7 more settle it"),
        (Settling(SettlingCode.MORE_PULLS, 4, so_far=3), "pull about 4 more"),
        (Settling(SettlingCode.MORE_PULLS, 6, so_far=3, ways=2), "pull about 6 more, 3 each way"),
        (Settling(SettlingCode.OTHER_WAY, 3, so_far=1), "pull 2 of 3, this way; then move the lever over and pull 3 the other way"),
        (Settling(SettlingCode.OTHER_WAY, 3, so_far=3), "move the lever over and pull 3 the other way"),
        (Settling(SettlingCode.TOO_NARROW), "the window is too narrow for this scatter"),
        (Settling(SettlingCode.TOO_NARROW, on_limit=True), "it stands on the limit"),
        (Settling(SettlingCode.KNOWN_WEIGHTS), "two known weights"),
        (Settling(SettlingCode.STOP_AND_LOOK), "stop, look: the torque rises and nothing slips"),
        (Settling(SettlingCode.ANSWER_NEEDED), "say whether"),
        (Settling(SettlingCode.PULL_AGAIN), "pull again"),
    ],
)
def test_what_would_settle_it_is_said_as_it_was_reckoned(settling, said):
    text = words.verdict_text(verdict(35.2, "35..60 N.m", settling=settling))
    assert text.endswith(f"{said}.") or said in text
    assert "next: " in text


def test_every_code_of_what_settles_has_words_and_none_suggests_pulls_where_pulling_hurts():
    for code in SettlingCode:
        assert words.settling_text(verdict(35.2, "35..60 N.m", settling=Settling(code, 3, so_far=2)))
    stop = words.settling_text(verdict(35.2, "35..60 N.m", settling=Settling(SettlingCode.STOP_AND_LOOK)))
    assert "more" not in stop


def series_text(pulls, basis=Basis.BREAKAWAY):
    window = Window.parse("35..60 N.m", basis)
    return "\n".join(
        words.series_lines(read_series(pulls, window), [f"{letter}.csv" for letter in "abcdefgh"[: len(pulls)]], basis)
    )


def test_a_series_says_mean_scatter_both_ways_and_what_was_left_out():
    pulls = [
        Pull.of(51.0, rest_s=3600.0),
        Pull.of(50.0, rest_s=30.0),
        Pull.of(52.0, rest_s=30.0),
        Pull.of(44.0, direction=-1, rest_s=30.0),
        Pull.of(46.0, direction=-1, rest_s=30.0),
        Pull(),
        dataclasses.replace(Pull.of(20.0), excluded="slipped off the lever"),
        dataclasses.replace(Pull.of(51.0), chatters=True),
    ]
    text = series_text(pulls)
    for part in (
        "series of 8 pulls, 5 counted",
        "apart: a.csv (rested far longer than the others)",
        "apart: f.csv (no reading)",
        "excluded: g.csv (slipped off the lever)",
        "the mean of 5",
        "51.0 N.m in the first direction, 45.0 N.m the other way: +12.5 %; the directions differ: look for bind",
        "CHATTERS in 1 of 1 pull",
        "decides: it is in the window",
    ):
        assert part in text
    assert text.index("CHATTERS") < text.index("IN WINDOW")  # before the verdict
    assert "pack sliding was read in none" in series_text([Pull()], Basis.SLIDING)
    assert "turned freely: a.csv" in series_text([Pull.of()])


def test_a_free_unit_and_an_absent_reading_say_so():
    free = dataclasses.replace(RESULT, breakaway=None, held_nothing=True, detection_nm=2.0)
    said = words.verdict_text(judge(free, Window.parse("35..60 N.m")))
    assert "nothing held" in said
    assert "below the window" in said
    assert "less than 2.00 N.m" in said
    assert "held side engaged" in said
    assert "in the window" in words.verdict_text(judge(free, Window.parse("..60 N.m")))
    assert "stays undecided" in words.verdict_text(judge(free, Window.parse("1..60 N.m")))
    assert "there is no pack sliding" in words.verdict_text(judge(RESULT, Window.parse("35..60 N.m", Basis.SLIDING)))


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
    # Rounded up, so that no interval is told narrower than it is.
    assert wording.torque_with_u(47.318, 1.234) == "47.3 +/- 1.3 N.m"
    assert wording.torque_with_u(47.318, 0.0312) == "47.318 +/- 0.032 N.m"
    assert wording.torque_with_u(47.318, 0.000012) == "47.318000 +/- 0.000012 N.m"
    assert wording.torque_with_u(47.318, 0.9996) == "47.3 +/- 1.0 N.m"
    assert wording.torque_with_u(147.318, 12.3) == "147 +/- 13 N.m"
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


def test_a_lower_bound_is_not_told_as_a_reading():
    """The sensor ended, or the hand let go before anything slid."""
    clipped = dataclasses.replace(RESULT, quality=(QualityFlag(QualityCode.OVERLOAD, 60.0),))
    assert "breakaway at least " in wording.pull_line(1, clipped, None)
    held = dataclasses.replace(RESULT, sliding=None, quality=(QualityFlag(QualityCode.LET_GO),))
    assert "breakaway at least " in wording.pull_line(1, held, None)
    assert "at least" not in wording.pull_line(1, RESULT, None)


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
    assert words.verdict_text(bare) == "pack breakaway 47.0 N.m is in the window 35..60 N.m (guarded acceptance)."


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
        missing=(Missing.LOWER_BOUND,),
        settling=Settling(SettlingCode.BETTER_SENSOR),
    )
    sentence = words.verdict_text(clipped)
    assert "larger range" in sentence
    assert "more pulls" not in sentence


@pytest.mark.parametrize(
    ("days_left", "said"),
    [(None, "certificate C-1"), (200, "due on 2027-01-01"), (12, "in 12 days"), (-1, "was due on 2027-01-01")],
)
def test_the_certificate_in_force_is_told_with_its_due_day(days_left, said):
    assert said in wording.certificate_text("C-1", days_left, "2027-01-01")
