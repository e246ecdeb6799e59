"""Laws of the refit: whatever the readings, these hold."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.refit.backlash import judge_backlash
from analysis.refit.bearing_gap import BearingReadings, Form, choose_shims, nearest_stack
from analysis.refit.drag import judge_drag, read_turns
from analysis.refit.fasteners import BoltReading, complete, judge_bolts, order_of_pass
from analysis.refit.limits import Limits, State, mean_of

LENGTHS = st.floats(0.0, 0.9).map(lambda value: round(value, 3))
SHIMS = st.lists(st.integers(5, 150).map(lambda hundredths: hundredths / 100), max_size=6)


def gap(readings, **others):
    known = {"form": Form.GAP, "wanted": Limits(0.15, 0.21), "shims_now": (1.1,), "spread_max_mm": 0.05, "u_mm": 0.006}
    return BearingReadings(readings=tuple(readings), **{**known, **others})


# -- shims ------------------------------------------------------------------------------------------------------------------------


@given(SHIMS, st.floats(0.0, 4.0), st.one_of(st.none(), st.integers(0, 4)))
def test_no_stack_that_can_be_built_comes_nearer(shims, needed, most):
    found = nearest_stack(shims, needed, most)
    sizes = range((len(shims) if most is None else min(most, len(shims))) + 1)
    all_stacks = [stack for size in sizes for stack in itertools.combinations(shims, size)]
    nearest = min(abs(sum(stack) - needed) for stack in all_stacks)
    assert abs(sum(found) - needed) == pytest.approx(nearest, abs=1e-6)
    fewest = min(len(stack) for stack in all_stacks if abs(abs(sum(stack) - needed) - nearest) < 1e-7)
    assert len(found) == fewest
    left = list(shims)
    for shim in found:  # each as often as it is there
        left.remove(shim)


def test_a_long_shelf_is_looked_through_in_full_and_in_time():
    shelf = [round(0.05 + 0.01 * at, 2) for at in range(150)]
    assert sum(nearest_stack(shelf, 2.337)) == pytest.approx(2.34)
    odd = [round(0.05 + 0.0073 * at + 1e-4 * (at * at % 7), 4) for at in range(200)]  # hardly two sums alike
    for needed in (1.2, 12.0, 150.0):
        assert sum(nearest_stack(odd, needed)) == pytest.approx(needed, abs=0.02 if needed > 100 else 2e-4)


@given(st.lists(LENGTHS, min_size=1, max_size=5), SHIMS, st.booleans())
def test_what_is_needed_would_give_the_middle_of_the_window(readings, shelf, loads):
    # A shim of just the needed size, and nothing else: the interference is the middle, whichever way the sign goes.
    needed = choose_shims(gap(readings, shelf=tuple(shelf), thicker_loads=loads)).needed_mm
    if needed < 0.001:
        return
    found = choose_shims(gap(readings, shelf=(needed,), thicker_loads=loads, shims_now=(1.1,), shims_max=1))
    if found.choice_mm == (needed,):
        assert found.interference_mm == pytest.approx(0.18, abs=1e-9)


@given(LENGTHS, st.floats(0.001, 0.3))
def test_more_shim_is_more_preload_or_less_by_the_sign(reading, more):
    for loads in (True, False):
        now = choose_shims(gap([reading], thicker_loads=loads)).interference_now_mm
        thicker = choose_shims(gap([reading], shims_now=(1.1 + more,), thicker_loads=loads))
        bare = thicker.interference_now_mm
        # The same gap read over a thicker shim asks for that much more (or less) shim in all.
        assert bare == pytest.approx(now)
        assert thicker.needed_mm - choose_shims(gap([reading], thicker_loads=loads)).needed_mm == pytest.approx(more)


def test_an_end_play_is_a_gap_the_other_way():
    play = choose_shims(gap([0.08], form=Form.END_PLAY))
    assert play.interference_now_mm == pytest.approx(-0.08)
    assert play.needed_mm == pytest.approx(1.1 + 0.08 + 0.18)


# -- means and limits -------------------------------------------------------------------------------------------------------------


@given(st.lists(st.floats(0.0, 10.0), min_size=1, max_size=8), st.floats(0.001, 1.0))
def test_no_number_of_readings_takes_the_instruments_own_error_away(readings, u):
    assert mean_of(readings, u).u >= u * (1 - 1e-12)


@given(st.floats(-5, 5), st.floats(-5, 5), st.floats(0, 5), st.floats(0, 2))
def test_a_guard_never_turns_in_into_out(value, low, width, guard):
    window = Limits(low, low + width)
    without, with_guard = window.state(value), window.state(value, guard)
    assert without is not State.UNDECIDED
    assert with_guard in (without, State.UNDECIDED)


@given(st.floats(0.1, 0.3), st.floats(0.001, 0.05))
def test_probability_agrees_with_a_guard_of_two_u(value, u):
    window = Limits(0.12, 0.28)
    if window.state(value, 2 * u) is State.IN_WINDOW:  # two sides of 2 u: at least 95.4 % of a normal distribution
        assert window.probability(value, u) > 0.954


# -- backlash and drag ------------------------------------------------------------------------------------------------------------


@given(st.lists(st.floats(0.05, 0.5), min_size=4, max_size=8), st.floats(0.3, 1.2))
def test_moving_what_is_asked_for_brings_the_mean_to_the_middle(points, per_shim):
    window = Limits(0.13, 0.23)
    found = judge_backlash(points, window=window, u_mm=0.006, backlash_per_shim=per_shim)
    moved = [point + found.move_mm * per_shim for point in points]
    assert math.fsum(moved) / len(moved) == pytest.approx(0.18)


@given(st.lists(st.floats(0.05, 0.5), min_size=1, max_size=8), st.floats(0.8, 1.25))
def test_a_dial_inside_the_pitch_radius_reads_too_little(points, ratio):
    plain = judge_backlash(points, window=None, u_mm=0.006)
    scaled = judge_backlash(points, window=None, u_mm=0.006, gear_over_dial=ratio)
    assert scaled.mean_mm == pytest.approx(plain.mean_mm * ratio)
    assert scaled.expanded_u_mm == pytest.approx(plain.expanded_u_mm * ratio)


def test_the_worst_point_decides():
    found = judge_backlash([0.18, 0.18, 0.245, 0.18], window=Limits(0.13, 0.23), u_mm=0.006)
    assert (found.state, found.worst_point) == (State.ABOVE, 3)
    found = judge_backlash([0.18, 0.18, 0.225, 0.18], window=Limits(0.13, 0.23), u_mm=0.006)
    assert (found.state, found.worst_point) == (State.UNDECIDED, 3)


@given(st.floats(0.5, 5), st.lists(st.floats(2.0, 60.0), min_size=4, max_size=30))
def test_an_uneven_hand_does_not_move_the_drag(mean, speeds):
    # Torque depends on the angle alone; how fast the hand goes from place to place must not weigh in it.
    knots = np.linspace(0, 45 + 720, len(speeds) + 1)
    angle = np.concatenate(
        [np.arange(a, b, speed / 50) for a, b, speed in zip(knots, knots[1:], speeds, strict=False)] + [knots[-1:]]
    )
    torque = mean + 0.3 * mean * np.sin(np.radians(angle))
    found = read_turns(angle, torque)
    assert found.turns == 2
    assert found.mean_nm == pytest.approx(mean, rel=0.003)


def test_several_readings_of_drag_share_the_sensors_error():
    found = judge_drag([1.7, 1.8, 1.6], window=Limits(1.0, 2.5), sensor_u_nm=0.05)
    assert found.expanded_u_nm == pytest.approx(2 * math.hypot(0.1 / math.sqrt(3), 0.05))
    assert judge_drag([1.3], window=Limits(1.0, 2.5), sensor_u_nm=0.2).state is State.UNDECIDED
    assert judge_drag([1.7], window=Limits(1.0, 2.5), sensor_u_nm=0.26).state is State.SENSOR_TOO_LARGE


# -- bolts ------------------------------------------------------------------------------------------------------------------------


@given(st.integers(1, 60))
def test_each_bolt_comes_once(count):
    assert sorted(order_of_pass(count)) == list(range(1, count + 1))


@given(st.integers(2, 30).map(lambda half: 2 * half))
def test_of_an_even_circle_each_bolt_is_followed_by_the_one_across(count):
    order = order_of_pass(count)
    assert all(abs(order[at] - order[at + 1]) == count // 2 for at in range(0, count, 2))


@given(st.integers(4, 60))
def test_two_bolts_that_follow_each_other_are_no_neighbours(count):
    order = order_of_pass(count)
    steps = [min((a - b) % count, (b - a) % count) for a, b in itertools.pairwise(order)]
    assert min(steps) > 1 or count == 4  # of four bolts those that are left lie beside


@given(st.lists(st.one_of(st.none(), st.floats(50, 70)), min_size=1, max_size=12))
def test_a_group_is_complete_where_every_bolt_is_recorded_and_in_tolerance(peaks):
    bolts = judge_bolts([BoltReading(peak) for peak in peaks], torque_nm=60.0, tolerance=0.04)
    assert complete(bolts) == all(peak is not None and 57.6 - 1e-9 <= peak <= 62.4 + 1e-9 for peak in peaks)


def test_torque_is_told_before_angle():
    (bolt,) = judge_bolts([BoltReading(50.0, 60.0)], torque_nm=60.0, tolerance=0.04, angle_deg=90.0, angle_tolerance_deg=5.0)
    assert bolt.state is State.BELOW
