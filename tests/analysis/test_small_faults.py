"""Numbers that one small slip would change without any other test noticing; each was found so by tests/speed/mutations.py."""

import math
from dataclasses import replace

import numpy as np
import pytest
from support import pack_values as made
from support.calibrated import LOADS, made_points
from support.compared import chattering, pull
from support.made import made_stream

from analysis.compare.comparison import compare
from analysis.compare.effects import Method
from analysis.compare.pulls import CHATTER_FIGURES, CORRECTED, FigureName
from analysis.errors import UnitError
from analysis.pack.arrangement import Layout
from analysis.pack.buildable import shim_stock, side_totals, size_key
from analysis.pack.end_play import end_play_to_read
from analysis.pack.inference import learn
from analysis.pack.stack import mean_radius_pressure_mm, pack_torque_nm
from analysis.pack.unit import Unit
from analysis.pull.events import PullEnded, TurnedFree
from analysis.pull.finder import PullFinder, find_pulls
from analysis.pull.reading import read_pull
from analysis.refit.drag import read_turns
from analysis.refit.fill import find_in_fill
from analysis.refit.limits import FindingCode
from analysis.results import Calibration, CalibrationFunction, QualityCode, Sensor
from analysis.sensor.calibration import examine
from analysis.sensor.correction import true_torque
from analysis.sensor.known_weights import check_by_weights
from analysis.sensor.zero_history import SensorLog
from analysis.trace import Trace
from analysis.units import scale_to_si
from analysis.window import Basis

SENSOR = Sensor(capacity_nm=200.0, u_relative=0.001)


# -- sensor -----------------------------------------------------------------------------------------------------------------------


def test_a_parabola_goes_on_along_its_tangent_beyond_the_highest_load():
    function = CalibrationFunction((1.0, 0.001), ((0.0, 0.0), (0.0, 0.0)), 0.0, 0.0, 0.0, 110.0, end_nm=100.0)
    shown = np.array([100.0, 150.0, -150.0])
    assert true_torque(shown, Calibration("C", function)) == pytest.approx([110.0, 170.0, -170.0])  # slope 1.2 at the end


def test_the_zeros_return_is_a_rectangle_in_the_u_of_a_sensor():
    """JCGM 100, 4.3.7: a zero left anywhere within 0.3 N.m has a standard deviation of 0.3 / sqrt(12)."""
    found = examine(made_points(gain=1.0, left=0.3))
    assert found.function.u_nm == pytest.approx(0.3 / math.sqrt(12), rel=1e-6)


def test_the_worst_series_tells_reversibility():
    points = made_points(gain=1.0, hysteresis=0.3, mountings=(1, 1))
    at = next(at for at, point in enumerate(points) if not point.rising and point.torque_nm == LOADS[0])
    points[at] = replace(points[at], indication_nm=points[at].indication_nm + 0.4)
    assert examine(points).steps[0].reversibility_nm == pytest.approx(0.7)


def test_a_sensor_that_is_far_off_known_weights_is_not_believed():
    found = check_by_weights([29.4, 58.8], [32.4, 64.6], 0.003)
    assert (found.believed, found.sends) == (False, None)


def test_a_calibrated_sensor_that_was_not_exercised_is_said_until_it_was():
    result = read_pull(made_stream(1), SENSOR)
    log = SensorLog(200.0, Calibration("C", None))
    assert log.add_pull(result) == ("not_exercised",)
    for _ in range(2):
        log.add_pull(result)
    assert log.add_pull(result) == ()
    assert SensorLog(200.0, None).add_pull(result) == ()


# -- refit ------------------------------------------------------------------------------------------------------------------------


def test_drag_leaves_the_start_out_and_tells_the_worst_turn():
    """A start-up peak in the first 40 degrees, then two turns of which only the first has runout."""
    angle = np.arange(0.0, 45.0 + 720.0 + 1.0, 0.5)
    torque = np.full(angle.size, 2.0)
    torque[angle < 40.0] = 9.0
    first = (angle >= 45.0) & (angle < 405.0)
    torque[first] += 0.5 * np.sin(np.radians(angle[first] - 45.0))
    found = read_turns(angle, torque)
    assert found.turns == 2
    assert found.mean_nm == pytest.approx(2.0, abs=0.005)
    assert found.variation_nm == pytest.approx(1.0, abs=0.02)


def test_less_filled_than_drained_is_asked_about():
    assert [one.code for one in find_in_fill(1.0, 2.0)] == [FindingCode.FILLED_LESS_THAN_DRAINED]
    assert find_in_fill(1.9, 2.0) == ()


# -- compare ----------------------------------------------------------------------------------------------------------------------


def test_sides_of_unequal_numbers_are_never_pooled():
    sliding = [50.0, 50.5, 49.5, 50.2, 49.8]
    equal, unequal = (
        compare([pull(nm) for nm in sliding[:n]], [pull(nm + 4.0) for nm in sliding]).figures[FigureName.SLIDING] for n in (5, 3)
    )
    assert (equal.method, unequal.method) == (Method.POOLED_T_LOG, Method.WELCH_T_LOG)


def test_less_chatter_is_for_the_better_and_its_figures_are_corrected_for_all():
    scatter = (0.98, 1.0, 1.02, 1.01, 0.99)
    before = [pull(50.0 * s, chatter=chattering(0.30 * s, 50.0 * s)) for s in scatter]
    after = [pull(50.0 * s, chatter=chattering(0.10 * s, 50.0 * s)) for s in scatter]
    for there, back, better in ((before, after, True), (after, before, False)):
        figures = compare(there, back).figures
        assert {figures[name].for_the_better for name in CHATTER_FIGURES if name in figures} - {None} == {better}
    tested = [name for name, figure in figures.items() if figure.p is not None]
    others = [name for name in tested if name not in CORRECTED]
    assert others
    for name in others:
        assert figures[name].p_corrected == pytest.approx(min(1.0, figures[name].p * len(tested)))


# -- pack -------------------------------------------------------------------------------------------------------------------------


def test_mean_radius_and_faces_of_a_pack():
    """A disc of 100 mm by 60 mm: (2/3)(50^3 - 30^3)/(50^2 - 30^2); four faces carry the force four times."""
    assert mean_radius_pressure_mm(50.0, 30.0) == pytest.approx(40.833, abs=0.001)
    assert pack_torque_nm(0.1, 1000.0, 4, 50.0) == pytest.approx(20.0)


def test_no_more_shim_than_the_card_allows():
    unit = Unit(made.pack(), made.card(shims_total_max_mm=0.7, shims_per_side=3))
    totals = side_totals(unit, "left", unit.pack.now.left, shim_stock(made.shelf(), unit.pack.now))
    assert max(totals) == size_key(0.7)


def test_a_thicker_stack_takes_its_thickness_off_the_end_play():
    card = made.card(layout=Layout.BLOCK)
    sheet = made.block_pack()
    sheet = replace(sheet, history=(made.entry(sheet.now, (32.0, 33.0, 32.5), end_play_mm=(0.40, 0.30)),))
    thick = {**sheet.plates, "L9": replace(sheet.plates["L1"], name="L9", thickness_mm=(2.0, 2.0, 2.0, 2.0))}
    sheet = replace(sheet, plates=thick)
    now = replace(sheet.now, left=replace(sheet.now.left, plates=("L9", *sheet.now.left.plates[1:])))
    left, right = end_play_to_read(learn(Unit(sheet, card), Basis.BREAKAWAY, "A", [now]), now)
    assert (left.mm, right.mm) == (pytest.approx(0.40 - (2.0 - made.OUTER_MM)), pytest.approx(0.30))


# -- pull -------------------------------------------------------------------------------------------------------------------------


def line_of(reading, source):
    return next((line.u_nm for line in reading.budget.lines if line.source == source), 0.0)


def shaped(at_s, torque_nm, *, rate_hz=1000.0, noise_nm=0.02, seed=3):
    time = np.arange(int(at_s[-1] * rate_hz)) / rate_hz
    noise = np.random.default_rng(seed).normal(0, noise_nm, time.size)
    angle = np.interp(time, [0, 3, 4, 6, at_s[-1]], [0, 0, 2, 60, 60])
    return Trace(time, np.interp(time, at_s, torque_nm) + noise, angle)


def without(trace, from_s, to_s):
    kept = (trace.time_s <= from_s) | (trace.time_s >= to_s)
    return Trace(trace.time_s[kept], trace.torque_nm[kept], trace.angle_deg[kept])


def test_a_gap_beside_the_peak_is_in_its_uncertainty_and_told():
    """A ramp of 60 N.m/s that may have gone on through a gap of 40 ms: 2.4 N.m, rectangular."""
    whole = made_stream(1, rate_hz=1000.0)
    result = read_pull(without(whole, 3.999, 4.039), SENSOR)
    assert line_of(result.breakaway, "sampling") == pytest.approx(60.0 * 0.040 / math.sqrt(12), rel=0.25)
    assert QualityCode.GAPS in [flag.code for flag in result.quality]
    assert QualityCode.GAPS not in [flag.code for flag in read_pull(whole, SENSOR).quality]
    assert line_of(read_pull(whole, SENSOR).breakaway, "sampling") < 0.1


@pytest.mark.parametrize("part", [0.3, 0.5, 0.7])
def test_a_sharp_corner_between_two_samples_is_met_and_what_is_open_is_in_u(part):
    """200 samples a second, 60 N.m/s: up to 0.3 N.m are climbed after the last sample before the corner."""
    top_s = 4.0 + part / 200.0
    top_nm = 60.0 * (top_s - 3.0)
    at_s, torque_nm = [0, 3, top_s, top_s + 0.06, 5.5, 5.7, 9], [0, 0, top_nm, 45, 45, 0, 0]
    breakaway = read_pull(shaped(at_s, torque_nm, rate_hz=200.0, noise_nm=0.005), SENSOR).breakaway
    assert breakaway.torque_nm == pytest.approx(top_nm, abs=0.02)
    assert line_of(breakaway, "sampling") == pytest.approx(0.3 / math.sqrt(12), rel=0.05)


def test_a_mean_over_uneven_sliding_hangs_on_where_it_was_cut_and_has_u():
    even = read_pull(shaped([0, 3, 4, 4.05, 6, 6.2, 9], [0, 0, 60, 48, 48, 0, 0]), SENSOR).sliding
    falling = read_pull(shaped([0, 3, 4, 4.05, 6, 6.2, 9], [0, 0, 60, 52, 44, 0, 0]), SENSOR).sliding
    assert falling.torque_nm == pytest.approx(48.0, rel=0.01)
    assert line_of(falling, "sliding interval") > line_of(even, "sliding interval") > 0.0


def test_a_trace_that_begins_at_the_foot_of_its_ramp_takes_its_zero_from_the_rest_after():
    """A steady climb of 20 N.m/s from the first sample on, under a noise that could pass for a rest of some 50 ms."""
    up_s = 59.5 / 20.0
    trace = shaped([0, up_s, up_s + 0.05, up_s + 2, up_s + 2.2, up_s + 5], [0.5, 60, 48, 48, 0, 0], noise_nm=0.3)
    assert read_pull(trace, SENSOR).breakaway.torque_nm == pytest.approx(60.0, abs=0.5)


def test_a_hand_that_lets_go_before_the_plates_slide_is_told():
    time = np.arange(7000) / 1000.0
    noise = np.random.default_rng(4).normal(0, 0.02, time.size)
    torque, angle = np.interp(time, [0, 3, 4, 4.1, 7], [0, 0, 40, 0, 0]), np.interp(time, [0, 3, 4, 4.1, 7], [0, 0, 2, 0, 0])
    assert QualityCode.LET_GO in [flag.code for flag in read_pull(Trace(time, torque + noise, angle), SENSOR).quality]
    assert QualityCode.LET_GO not in [flag.code for flag in read_pull(made_stream(1), SENSOR).quality]


# -- finding ----------------------------------------------------------------------------------------------------------------------


def test_a_stream_that_ends_on_the_ramp_keeps_the_pull_it_cut_short():
    assert len(find_pulls(made_stream(1).between(0.0, 3.7), 200.0)) == 1


def test_what_the_lever_turned_while_nobody_read_is_no_free_turn():
    rest = made_stream(1).between(0.0, 2.9)
    time = np.concatenate([rest.time_s, rest.time_s + 8.0])
    angle = np.concatenate([rest.angle_deg, rest.angle_deg + 60.0])
    finder = PullFinder(200.0)
    events = [*finder.feed(Trace(time, np.concatenate([rest.torque_nm, rest.torque_nm]), angle)), *finder.finish()]
    assert [event for event in events if isinstance(event, TurnedFree | PullEnded)] == []


def test_the_zero_is_learnt_from_all_of_the_rest():
    """Noise of 1 N.m: one block of it is off by a tenth, the median of two seconds by a few hundredths."""
    off = []
    for seed in range(12):
        time = np.arange(1500) / 500.0
        finder = PullFinder(200.0)
        finder.feed(Trace(time, 5.0 + np.random.default_rng(seed).normal(0.0, 1.0, time.size)))
        off.append(finder.zero_nm - 5.0)
    assert float(np.std(off)) < 0.08


def test_a_heading_in_capitals_means_metres():
    assert scale_to_si("N.M", "torque") == scale_to_si("N.m", "torque")
    with pytest.raises(UnitError):
        scale_to_si("kN.M", "torque")
