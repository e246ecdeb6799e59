"""The one rule for a verdict: scatter from pull to pull, directions, what counts, what is not known, what would settle it."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from analysis.judgement import DecisionRule, Missing, SettlingCode, VerdictState
from analysis.pack.arrangement import Conversions, Layout
from analysis.results import Breakaway, BudgetLine, Calibration, CalibrationFunction, Chatter, PullResult, QualityCode, QualityFlag
from analysis.verdict.apart import Scatter
from analysis.verdict.ground import bend_nm
from analysis.verdict.judge import judge_pull
from analysis.verdict.scatter import NO_SCATTER, USUAL_SCATTER, OwnScatter, pool
from analysis.verdict.series import read_series
from analysis.verdict.uncertainty import combine, student
from analysis.verdict.votes import Pull, Reading, Stated, pull_of
from analysis.window import Basis, Window

WINDOW = Window(35.0, 60.0)
CALIBRATED = (BudgetLine("calibration", 0.235),)


def pulls(*values, **more):
    """Pulls of these values; below zero: the other way; None: turned freely."""
    return [
        Pull.of(None, **more) if value is None else Pull.of(abs(value), direction=1 if value > 0 else -1, **more)
        for value in values
    ]


def verdict(*values, window=WINDOW, rule=DecisionRule.GUARDED, known=USUAL_SCATTER, **more):
    return read_series(pulls(*values, **more), window, rule=rule, known=known).verdict


def result(torque_nm=47.0, *, codes=(), lines=CALIBRATED, **more):
    """A reading as `read_pull` gives it."""
    breakaway = Breakaway(torque_nm, 1.0, 2.0, combine(lines))
    flags = tuple(QualityFlag(code) for code in codes)
    return PullResult(1000, 2.0, 500.0, 1, (), breakaway, None, Chatter(assessable=False, score=0.0), flags, **more)


# -- scatter ----------------------------------------------------------------------------------------------------------------------


def test_one_pull_carries_the_scatter_that_is_known_of_the_bench():
    """JCGM 100:2008, 4.2.4: u of one observation is the pooled standard deviation; t for 4 degrees of freedom: table G.2."""
    found = verdict(48.0)
    assert found.expanded_u_nm == pytest.approx(math.hypot(2.7764 * 0.04 * 48.0, 1.96 * 0.005 * 48.0), rel=1e-4)
    (line,) = [line for line in found.budget.lines if line.source == "repeatability"]
    assert (line.u_nm, line.degrees_of_freedom) == (pytest.approx(1.92), 4.0)


def test_scatter_is_pooled_by_degrees_of_freedom():
    """JCGM 100:2008, H.3.6 and 4.2.4: s_p^2 = (nu_1 s_1^2 + nu_2 s_2^2) / (nu_1 + nu_2)."""
    values = [46.0, 47.5, 49.0, 48.0]
    own = np.std(values, ddof=1) / np.mean(values)
    found = read_series(pulls(*values)).breakaway.scatter
    assert found.own_relative == pytest.approx(own)
    assert found.relative == pytest.approx(math.sqrt((4 * 0.04**2 + 3 * own**2) / 7))
    assert found.degrees_of_freedom == 7.0


@pytest.mark.parametrize(
    ("own_degrees", "known_degrees", "f95"), [(2, 4, 6.94), (4, 4, 6.39), (3, 12, 3.49), (10, 10, 2.98), (2, 120, 3.07)]
)
def test_a_series_that_scatters_more_than_an_f_test_allows_stands_on_its_own(own_degrees, known_degrees, f95):
    """Upper 5 % points of F: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.3 (from memory, recomputed)."""
    known = Scatter(0.04, float(known_degrees))

    def used(ratio):
        return pool(OwnScatter(own_degrees * ratio * known.relative**2, own_degrees), known)

    assert used(f95 - 0.006).pooled
    alone = used(f95 + 0.006)
    assert not alone.pooled
    assert (alone.relative, alone.degrees_of_freedom) == (alone.own_relative, own_degrees)


def test_two_pulls_are_never_tested_so_that_u_does_not_jump():
    """From 15 to 16 per cent apart U went from 11 to 102 % where two pulls stood on their own."""
    spread = [verdict(48.0 * (1 + d / 2), 48.0 * (1 - d / 2)).expanded_u_nm for d in np.arange(0.0, 0.4, 0.005)]
    steps = np.diff(spread) / 48.0
    assert (steps >= 0).all()
    assert steps.max() < 0.005


def test_no_scatter_is_a_verdict_on_these_pulls_alone():
    found = verdict(48.0, known=NO_SCATTER)
    assert found.expanded_u_nm == pytest.approx(1.96 * 0.24, rel=1e-3)
    assert found.scatter.degrees_of_freedom is None


@given(
    values=st.lists(st.floats(20, 90), min_size=1, max_size=8),
    relative=st.floats(0.005, 0.2),
    degrees=st.floats(1, 50),
    scale=st.floats(0.2, 5),
)
@settings(max_examples=60, deadline=None)
def test_a_verdict_does_not_depend_on_the_unit_of_torque(values, relative, degrees, scale):
    known = Scatter(relative, degrees)
    series = read_series(pulls(*values), WINDOW, known=known)
    scaled = Window(scale * WINDOW.low_nm, scale * WINDOW.high_nm)
    again = read_series(pulls(*(scale * value for value in values)), scaled, known=known)
    assume(series.apart == again.apart)  # of two that lie equally far off, rounding says which one stands apart
    one, other = series.verdict, again.verdict
    assert other.state is one.state
    assert other.expanded_u_nm == pytest.approx(scale * one.expanded_u_nm, rel=1e-6)
    assert other.probability_in_window == pytest.approx(one.probability_in_window, abs=1e-6)


@given(values=st.lists(st.floats(20, 90), min_size=1, max_size=8), directions=st.lists(st.booleans(), min_size=8, max_size=8))
@settings(max_examples=80, deadline=None)
def test_probability_and_state_agree(values, directions):
    """Guarded: what is called in or out has at most 2.5 % on the other side, and what has more is undecided (JCGM 106, 8.3)."""
    found = verdict(*(value if way else -value for value, way in zip(values, directions, strict=False)))
    p = found.probability_in_window
    match found.state:
        case VerdictState.IN_WINDOW:
            assert p >= 0.95 - 1e-9
        case VerdictState.BELOW | VerdictState.ABOVE:
            assert p <= 0.025 + 1e-9
    assert found.coverage_factor >= 1.959
    assert found.expanded_u_nm == pytest.approx(found.coverage_factor * found.budget.u_nm)


def test_k_is_that_of_the_probability():
    """At one expanded uncertainty inside a single limit the probability is 97.5 %, whatever the degrees of freedom."""
    for values in ([48.0], [46.0, 51.0], [44.0, 48.0, 55.0, 60.0, 40.0]):
        found = verdict(*values)
        at_limit = verdict(*values, window=Window(found.value_nm - found.expanded_u_nm, None))
        assert at_limit.probability_in_window == pytest.approx(0.975, abs=1e-6)


# -- directions -------------------------------------------------------------------------------------------------------------------


def test_the_mean_is_that_of_the_directions_however_often_each_was_pulled():
    one = verdict(40.0, 40.0, 40.0, 40.0, -50.0)
    assert one.value_nm == pytest.approx(45.0)


def test_asymmetry_is_no_scatter():
    """34.0 and 39.1: their difference must not become scatter from pull to pull."""
    found = read_series(pulls(34.0, 34.2, 33.8, -39.1, -39.3, -38.9))
    assert found.breakaway.scatter.own_relative == pytest.approx(0.0056, abs=0.0005)
    assert found.breakaway.scatter.own_degrees_of_freedom == 4
    assert found.breakaway.asymmetry == pytest.approx(-5.1 / 36.55, rel=1e-3)


def test_the_direction_that_stands_worse_decides():
    """One way below, the other in, the mean in: it is below."""
    found = verdict(28.0, 28.2, 27.9, -47.0, -47.2, -46.8)
    assert WINDOW.low_nm < found.value_nm < WINDOW.high_nm
    assert found.state is VerdictState.BELOW
    assert (found.deciding.direction, found.deciding.value_nm) == (1, pytest.approx(28.03, abs=0.01))
    assert found.probability_in_window == found.deciding.probability_in_window < 0.01


def test_a_direction_that_is_undecided_stands_worse_than_one_that_is_in():
    """One way in mid-window, the other within U of the upper limit: undecided, whichever was pulled first."""
    for values in ((48.0, 48.2, 47.8, -59.0, -59.2, -58.8), (-59.0, -59.2, -58.8, 48.0, 48.2, 47.8)):
        found = verdict(*values)
        assert found.state is VerdictState.UNDECIDED
        assert found.deciding.direction == -1


def test_one_direction_decides_and_the_other_is_missing():
    found = verdict(47.0, 47.5, 46.5)
    assert found.state is VerdictState.IN_WINDOW
    assert found.missing == (Missing.OTHER_DIRECTION,)
    assert (found.settling.code, found.settling.pulls) == (SettlingCode.OTHER_WAY, 3)
    assert verdict(47.0, 47.5, 46.5, -47.0, -46.0, -48.0).settling is None


@given(values=st.lists(st.floats(20, 90), min_size=1, max_size=6), ways=st.lists(st.sampled_from([1, -1]), min_size=6, max_size=6))
@settings(max_examples=60, deadline=None)
def test_turning_every_pull_round_changes_nothing_but_the_direction(values, ways):
    signed = [value * way for value, way in zip(values, ways, strict=False)]
    one, other = verdict(*signed), verdict(*(-value for value in signed))
    assert (one.state, one.value_nm, one.expanded_u_nm) == (
        other.state,
        pytest.approx(other.value_nm),
        pytest.approx(other.expanded_u_nm),
    )


# -- what counts ------------------------------------------------------------------------------------------------------------------


def test_none_stands_apart_for_being_first_but_for_a_long_rest():
    rests = [3600.0, 30.0, 30.0, 30.0]
    same = [Pull.of(50.0 + n, rest_s=30.0) for n in range(4)]
    late = [dataclasses.replace(pull, rest_s=rest) for pull, rest in zip(same, rests, strict=True)]
    assert read_series(same).apart == ()
    assert read_series(late).apart == ((0, "first_after_rest"),)


def test_a_stray_stands_apart_and_the_stated_scatter_has_its_part_in_it():
    values = (50.0, 51.0, 49.0, 50.0, 75.0)
    assert read_series(pulls(*values)).apart == ((4, "stray"),)
    assert read_series(pulls(*values), known=Scatter(0.2, 50.0)).apart == ()


def test_no_reading_is_no_vote_and_is_told():
    series = read_series([*pulls(47.0, 47.5, 46.0, 47.2), Pull()], WINDOW)
    assert series.apart == ((4, "no_reading"),)
    assert series.counted == (0, 1, 2, 3)
    assert series.verdict.state is VerdictState.IN_WINDOW


def test_a_free_turn_without_a_person_s_word_has_no_vote():
    turn = dataclasses.replace(Pull.of(), has_vote=False)
    series = read_series([*pulls(47.0, 47.5, 46.0), turn], WINDOW)
    assert (series.apart, series.free) == (((3, "free_turn"),), ())
    assert series.verdict.state is VerdictState.IN_WINDOW


def test_an_excluded_pull_does_not_count():
    odd = dataclasses.replace(Pull.of(10.0), excluded="slipped off the lever")
    series = read_series([*pulls(47.0, 47.5), odd], WINDOW)
    assert (series.counted, series.excluded) == ((0, 1), ((2, "slipped off the lever"),))


def test_clipped_pulls_make_the_mean_a_lower_bound():
    """2 of 6 clipped at 58 where the truth is 66 and 67, window 35..60: it was IN WINDOW with over 99.9 %."""
    clipped = [Pull(breakaway=Reading(58.0, (BudgetLine("calibration", 0.3),), at_least=True)) for _ in range(2)]
    found = read_series([*pulls(54.0, 55.0, 53.0, 55.5), *clipped], WINDOW).verdict
    assert (found.state, found.probability_in_window) == (VerdictState.UNDECIDED, None)
    assert Missing.LOWER_BOUND in found.missing
    assert found.settling.code is SettlingCode.BETTER_SENSOR
    assert read_series(clipped, Window(None, 45.0)).verdict.state is VerdictState.ABOVE
    assert read_series(clipped, Window(45.0, None)).verdict.state is VerdictState.IN_WINDOW
    assert read_series(clipped, Window(80.0, None)).verdict.state is VerdictState.UNDECIDED


def test_some_free_and_some_not_is_undecided_and_all_free_is_a_free_unit():
    some = verdict(47.0, None, 47.5, None)
    assert (some.state, some.probability_in_window) == (VerdictState.UNDECIDED, None)
    assert Missing.HELD_AT_TIMES in some.missing
    assert some.settling.code is SettlingCode.STOP_AND_LOOK
    every = verdict(None, None, None)
    assert (every.state, every.value_nm, every.held_nothing) == (VerdictState.BELOW, 0.0, True)


@pytest.mark.parametrize(
    ("window", "state"),
    [
        (Window(3.0, 9.0), VerdictState.BELOW),
        (Window(1.0, 3.0), VerdictState.UNDECIDED),
        (Window(None, 9.0), VerdictState.IN_WINDOW),
        (Window(None, 1.0), VerdictState.UNDECIDED),
        (Window(2.0, None), VerdictState.UNDECIDED),
    ],
)
def test_a_free_unit_is_below_only_what_could_have_been_told(window, state):
    """1.9 N.m on a 200 N.m sensor held against 1..3 N.m is no proof that nothing held: the sensor is too large."""
    free = dataclasses.replace(Pull.of(), detection_nm=2.0)
    found = judge_pull(free, window)
    assert (found.state, found.value_nm, found.expanded_u_nm) == (state, 0.0, 2.0)
    if state is VerdictState.UNDECIDED:
        assert found.probability_in_window is None
        assert found.settling.code is SettlingCode.BETTER_SENSOR


def test_chatter_is_counted_over_the_pulls_that_are_not_excluded():
    told = [
        dataclasses.replace(pull, chatters=c)
        for pull, c in zip(pulls(47.0, 47.0, 47.0, 47.0), (True, False, None, True), strict=True)
    ]
    told[3] = dataclasses.replace(told[3], excluded="other oil")
    series = read_series(told, WINDOW)
    assert (series.chattering, series.assessable) == (1, 2)


# -- ground -----------------------------------------------------------------------------------------------------------------------


def test_an_unknown_sensor_decides_only_what_is_far_off():
    """Limits of 40 %, rectangular: u is 23 % of the reading (contract, section 3)."""
    near, far = pull_of(result(47.0, lines=())), pull_of(result(12.0, lines=()))
    found = judge_pull(near, WINDOW, known=NO_SCATTER)
    assert found.budget.u_nm == pytest.approx(0.4 * 47.0 / math.sqrt(3))
    assert (found.state, found.missing) == (VerdictState.UNDECIDED, (Missing.SENSOR,))
    assert found.settling.code is SettlingCode.KNOWN_WEIGHTS
    assert judge_pull(far, WINDOW).state is VerdictState.BELOW


def test_an_expired_certificate_widens_and_is_told():
    valid = Calibration("C-1", expired=False)
    fresh, old = (
        judge_pull(pull_of(result(calibration=c)), WINDOW, known=NO_SCATTER)
        for c in (valid, dataclasses.replace(valid, expired=True))
    )
    assert old.missing == (Missing.CERTIFICATE_EXPIRED,)
    assert old.budget.u_nm == pytest.approx(math.hypot(fresh.budget.u_nm, 0.04 * 47.0 / math.sqrt(3)))


def function(*coefficients, u_nm=0.05, end_nm=100.0):
    none = tuple((0.0,) * len(coefficients) for _ in coefficients)
    return CalibrationFunction(coefficients, none, u_nm, 0.001, 10.0, end_nm, end_nm)


def test_beyond_the_calibrated_range_the_fits_of_degree_1_and_2_tell_how_far_to_trust():
    """Held against least squares of both degrees over evenly spread loads."""
    bent = function(1.0, 2e-4)
    x = np.linspace(0, 100, 2001)
    y = x + 2e-4 * x**2
    slope = float((x * y).sum() / (x * x).sum())
    assert bend_nm(bent, 150.0) == pytest.approx(abs(150 + 2e-4 * 150**2 - slope * 150), rel=0.01)
    straight = function(1.0, u_nm=0.05)
    # A bend that leaves residuals of 0.05 N.m over 0..100 is told by no fit; at 150 it amounts to this.
    bend = 0.05 / np.sqrt(np.mean((x**2 - float((x * x * x).sum() / (x * x).sum()) * x) ** 2))
    assert bend_nm(straight, 150.0) == pytest.approx(bend * (150**2 - 75 * 150), rel=0.01)


def test_less_known_never_makes_a_smaller_u():
    calibration = Calibration("C-1", forward=function(1.0))
    known = judge_pull(pull_of(result(90.0, calibration=calibration)), WINDOW)
    for worse in (
        result(90.0, calibration=dataclasses.replace(calibration, expired=True)),
        result(90.0, calibration=Calibration("C-1", forward=function(1.0, end_nm=60.0))),
        result(90.0, calibration=Calibration("C-1", back=function(1.0))),
        result(90.0, lines=()),
    ):
        found = judge_pull(pull_of(worse), WINDOW)
        assert found.expanded_u_nm > known.expanded_u_nm
        assert found.missing


@pytest.mark.parametrize(
    ("code", "settles"),
    [(QualityCode.REST_MOVED, SettlingCode.ANSWER_NEEDED), (QualityCode.ZERO_UNPROVEN, SettlingCode.PULL_AGAIN)],
)
def test_a_reading_that_waits_for_an_answer_decides_nothing(code, settles):
    found = judge_pull(pull_of(result(100.0, codes=(code,))), WINDOW)
    assert (found.state, found.probability_in_window) == (VerdictState.UNDECIDED, None)
    assert Missing.ZERO in found.missing
    assert found.settling.code is settles


def test_what_rises_and_does_not_slip_is_never_pulled_again():
    stuck = pull_of(result(55.0, codes=(QualityCode.OVERLOAD, QualityCode.LET_GO)))
    found = read_series([stuck, stuck], WINDOW).verdict
    assert found.settling.code is SettlingCode.STOP_AND_LOOK
    assert found.settling.pulls is None
    locked = judge_pull(pull_of(result(47.0), Stated(arrangement="C")), WINDOW)
    assert (locked.state, locked.settling.code) == (VerdictState.UNDECIDED, SettlingCode.STOP_AND_LOOK)


def test_what_all_pulls_share_does_not_shrink_and_a_zero_on_trust_is_shared():
    trusted = [Pull(breakaway=Reading(50.0, (BudgetLine("calibration", 0.3), BudgetLine("zero", 0.4)))) for _ in range(16)]
    figure = read_series(trusted, known=NO_SCATTER).breakaway
    assert figure.budget.u_nm == pytest.approx(0.5)
    noisy = [Pull(breakaway=Reading(50.0, (BudgetLine("noise", 0.4),))) for _ in range(16)]
    assert read_series(noisy, known=NO_SCATTER).breakaway.budget.u_nm == pytest.approx(0.1)


def test_a_reading_at_the_sensor_s_limit_is_at_least_that():
    """An overload must never read as in the window."""
    clipped = pull_of(result(50.0, codes=(QualityCode.OVERLOAD,)))
    found = judge_pull(clipped, WINDOW, known=NO_SCATTER)
    assert (found.state, found.probability_in_window) == (VerdictState.UNDECIDED, None)
    assert Missing.LOWER_BOUND in found.missing


def test_a_certificate_speaks_of_its_day_and_mounting():
    """Drift and mounting, limits of 0.2 % each, come on top of a certificate's u and not of one that was stated for the sensor."""
    certified = Calibration("C-1", forward=function(1.0), back=function(1.0))
    stated, under = (
        judge_pull(pull_of(result(47.0, calibration=calibration)), WINDOW, known=NO_SCATTER) for calibration in (None, certified)
    )
    lines = {line.source: line.u_nm for line in under.budget.lines}
    assert lines["drift since calibration"] == lines["mounting"] == pytest.approx(0.002 * 47.0 / math.sqrt(3))
    assert {line.source for line in stated.budget.lines} == {"calibration"}


# -- arrangement ------------------------------------------------------------------------------------------------------------------

IN_A = Window(35.0, 60.0, arrangement="A")


def test_a_pull_with_the_case_held_reads_half_with_its_own_uncertainty():
    """Balance of energy: B reads the sum of the packs, A their mean, and 0 to 10 % more in B, rectangular (PACK.md 2)."""
    conversions = Conversions(Layout.EACH)
    found = judge_pull(Pull.of(100.8, arrangement="b"), IN_A, known=NO_SCATTER, convert=conversions)
    assert found.value_nm == pytest.approx(48.0)
    assert found.budget.u_nm == pytest.approx(48.0 * math.hypot(0.005, 0.05 / math.sqrt(3) / 1.05))
    assert found.state is VerdictState.IN_WINDOW
    assert (found.converted.was, found.converted.into) == ("B", "A")


@given(torque=st.floats(10, 100), ramps=st.sampled_from([None, 45.0, 60.0]), ratio=st.floats(2, 6))
def test_conversions_there_and_back_give_the_reading(torque, ramps, ratio):
    conversions = Conversions(Layout.THROUGH, ramps, ratio)
    for code in "BDE":
        there, back = conversions("A", code), conversions(code, "A")
        assert torque * there.factor * back.factor == pytest.approx(torque)
        assert there.u_relative == back.u_relative


def test_without_knowing_the_springs_nothing_is_converted():
    found = judge_pull(Pull.of(100.0, arrangement="B"), IN_A)
    assert (found.state, found.probability_in_window) == (VerdictState.UNDECIDED, None)
    assert found.missing == (Missing.ARRANGEMENT,)


def test_an_arrangement_nobody_stated_is_missing_and_the_verdict_stands():
    found = judge_pull(Pull.of(48.0), IN_A)
    assert (found.state, found.missing) == (VerdictState.IN_WINDOW, (Missing.ARRANGEMENT,))


def test_a_window_that_states_no_arrangement_is_taken_for_that_of_the_pulls_and_it_is_said():
    """The case held reads twice: in the window of a maker's page that means A it was called good without a word."""
    held = judge_pull(Pull.of(48.0, arrangement="B"), WINDOW)
    assert (held.state, held.taken_for) == (VerdictState.IN_WINDOW, "B")
    assert judge_pull(Pull.of(48.0, arrangement="A"), WINDOW).taken_for is None
    assert judge_pull(Pull.of(48.0, arrangement="A"), IN_A).taken_for is None


# -- what would settle it ---------------------------------------------------------------------------------------------------------


def test_one_pull_is_told_to_pull_on():
    found = verdict(39.0)
    assert found.settling.code is SettlingCode.MORE_PULLS
    assert found.settling.pulls >= 2
    assert verdict(35.3).settling.code is SettlingCode.MORE_PULLS  # so near to the limit that no number is foretold
    assert verdict(35.3).settling.pulls is None


def test_a_window_too_narrow_for_the_scatter_suggests_nothing():
    found = verdict(47.0, 50.0, 44.0, window=Window(46.5, 47.5))
    assert (found.settling.code, found.settling.pulls, found.settling.on_limit) == (SettlingCode.TOO_NARROW, None, False)
    on_limit = verdict(35.0, 35.4, 34.8)
    assert (on_limit.settling.code, on_limit.settling.on_limit) == (SettlingCode.TOO_NARROW, True)


def test_where_the_sensor_alone_reaches_the_limit_pulls_do_not_help():
    found = verdict(38.0, 38.1, 37.9, 38.0, u_relative=0.05)
    assert (found.settling.code, found.settling.pulls) == (SettlingCode.BETTER_SENSOR, None)


def test_both_ways_share_the_pulls_that_are_foretold():
    told = [verdict(value, -value - 0.2).settling for value in np.arange(31.0, 40.0, 0.25)]
    told = [settling for settling in told if settling is not None]
    assert {settling.code for settling in told} == {SettlingCode.MORE_PULLS}  # nor is one pull each way enough to give up
    numbers = [settling.pulls for settling in told if settling.pulls is not None]
    assert numbers
    assert all(number % 2 == 0 for number in numbers)


def test_simple_acceptance_decides_by_the_value_alone():
    assert verdict(35.3, rule=DecisionRule.SIMPLE).state is VerdictState.IN_WINDOW
    assert verdict(34.7, rule=DecisionRule.SIMPLE).state is VerdictState.BELOW


def test_advice_comes_true_in_four_of_five_series():
    """Drawn from the stated default; the benchmark (tests/speed/verdicts.py) does it for more scatters and more series."""
    rng = np.random.default_rng(11)
    told = kept = 0
    while told < 60:
        scatter = 0.04 * math.sqrt(4 / rng.chisquare(4))
        draw = lambda count, s=scatter: pulls(*(48.0 * (1 + s * z) for z in rng.standard_normal(count)))  # noqa: E731
        window = Window(*(48.0 * rng.uniform(0.7, 1.3) * np.array([0.75, 1.25])))
        first = draw(2)
        settling = read_series(first, window).verdict.settling
        if settling is None or settling.code is not SettlingCode.MORE_PULLS or settling.pulls is None:
            continue
        told += 1
        kept += read_series([*first, *draw(settling.pulls)], window).verdict.state is not VerdictState.UNDECIDED
    assert kept / told >= 0.8


@pytest.mark.parametrize(
    ("nu", "t"), [(1, 12.706), (2, 4.303), (3, 3.182), (4, 2.776), (6, 2.447), (8, 2.306), (12, 2.179), (30, 2.042), (None, 1.960)]
)
def test_student(nu, t):
    """Two-sided 95 % points: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2 (from memory, recomputed)."""
    assert student(nu) == pytest.approx(t, abs=0.0006)


def test_each_line_by_its_own_t():
    """A line of two degrees of freedom beside one of none: U^2 = (4.303 u_A)^2 + (1.960 u_B)^2, and k gives back its own t."""
    found = combine([BudgetLine("a", 1.0, 2.0), BudgetLine("b", 0.5)], each_by_its_own_t=True)
    assert found.expanded_u_nm == pytest.approx(math.hypot(4.3027, 1.96 * 0.5), rel=1e-3)
    assert student(found.degrees_of_freedom) == pytest.approx(found.coverage_factor, rel=1e-9)
    assert combine([BudgetLine("b", 0.5)], each_by_its_own_t=True).degrees_of_freedom is None


def test_the_sliding_torque_is_judged_on_its_own():
    """A window on sliding looks at sliding alone."""
    both = [Pull.of(50.0 + n, sliding_nm=40.0 + n) for n in range(3)]
    low = read_series(both, Window(55.0, 70.0, Basis.SLIDING)).verdict
    assert (low.state, low.value_nm) == (VerdictState.BELOW, pytest.approx(41.0))
    some = read_series([*both, Pull.of(50.0)], Window(30.0, 70.0, Basis.SLIDING))
    assert some.apart == ((3, "no_reading"),)
