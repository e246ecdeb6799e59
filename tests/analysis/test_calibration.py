"""Calibration: truth is a made sensor whose gain, curvature, hysteresis and scatter are known."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.calibrated import LOADS, made_points
from support.made import made_stream

from analysis.pull.reading import read_pull
from analysis.results import Calibration, CalibrationFunction, OffsetAdapter, Sensor
from analysis.sensor.calibration import Point, classify, examine, fit_polynomial, weigh
from analysis.sensor.correction import apply_calibration, calibration_flags, calibration_u, true_torque
from analysis.sensor.dead_weight import Arm, normal_gravity
from analysis.sensor.zero_history import zero_moved
from analysis.trace import Trace
from analysis.verdict.judge import judge
from analysis.verdict.series import read_series
from analysis.verdict.votes import pull_of
from analysis.window import Window


def test_a_straight_sensor_gives_its_gain_and_next_to_no_uncertainty():
    found = examine(made_points())
    assert found.function.coefficients == pytest.approx((0.98,), rel=1e-12)
    assert found.function.u_nm == pytest.approx(0.0, abs=1e-10)
    assert (found.function.low_nm, found.function.high_nm) == (20.0, 100.0)
    assert found.function.end_nm == pytest.approx(100 / 0.98)
    assert found.zero_return_nm == pytest.approx(0.0, abs=1e-12)
    assert [step.torque_nm for step in found.steps] == list(LOADS)


@given(
    gain=st.floats(0.5, 2.0),
    bend=st.floats(-0.1, 0.1),
    offset=st.floats(-20, 20),
    sign=st.sampled_from((1, -1)),
)
def test_a_bent_sensor_is_set_right_by_a_parabola_both_ways(gain, bend, offset, sign):
    curve = bend * gain**2 / 100
    found = examine(made_points(gain, curve, offset, sign=sign), degree=2)
    calibration = Calibration("C", **{"forward" if sign == 1 else "back": found.function})
    shown = np.array([point.indication_nm - offset for point in made_points(gain, curve, offset, sign=sign)])
    torque = [point.torque_nm for point in made_points(gain, curve, offset, sign=sign)]
    assert true_torque(shown, calibration) == pytest.approx(torque, abs=1e-6)
    by_degree = dict(found.deviations_nm)
    assert by_degree[2] <= by_degree[1] + 1e-9


def test_reversibility_repeatability_and_zero_return_are_found_in_the_points():
    found = examine(made_points(gain=1.0, hysteresis=0.3, left=0.1))
    assert [step.reversibility_nm for step in found.steps] == [pytest.approx(0.3)] * 4 + [None]
    assert all(step.repeatability_nm == pytest.approx(0.0, abs=1e-12) for step in found.steps)
    assert found.zero_return_nm == pytest.approx(0.1)
    apart = made_points(gain=1.0)
    apart[1] = replace(apart[1], indication_nm=apart[1].indication_nm + 0.2)
    assert examine(apart).steps[0].repeatability_nm == pytest.approx(0.2)
    assert examine(apart).steps[0].reproducibility_nm == pytest.approx(0.2)


def test_the_uncertainty_covers_what_later_readings_are_off():
    """Many calibrations of one scattering sensor: of later readings 95 % lie within k u, to within chance."""
    rng = np.random.default_rng(11)
    inside = tried = 0
    for _ in range(300):
        function = examine(made_points(gain=1.02, scatter=0.15, offset=0.0, mountings=(1,), rng=rng)).function
        shown = 70 / 1.02 + 0.15 * rng.standard_normal()
        line = calibration_u(function, 70.0)
        assert line.degrees_of_freedom == pytest.approx(8.0)
        inside += abs(true_torque(np.array([shown]), Calibration("C", function))[0] - 70.0) <= 2.306 * line.u_nm  # t, 8 degrees
        tried += 1
    assert inside / tried == pytest.approx(0.95, abs=4 * math.sqrt(0.95 * 0.05 / tried))


def test_the_coefficients_covariance_is_in_the_uncertainty_of_a_later_reading():
    """JCGM 100:2008, 5.2.2: u^2 = u_s^2 + sum of x^i x^j cov(c_i, c_j), by hand for c1 and c2; degrees of freedom by G.2b."""
    covariance = ((4e-6, -5e-8), (-5e-8, 9e-10))
    function = CalibrationFunction(
        (1.0, 0.0), covariance, u_nm=0.02, u_relative=0.0, low_nm=0.0, high_nm=100.0, end_nm=100.0, degrees_of_freedom=7.0
    )
    x = 50.0
    of_fit = 0.02**2 + x**2 * 4e-6 + 2 * x**3 * -5e-8 + x**4 * 9e-10
    line = calibration_u(function, x)
    assert line.u_nm == pytest.approx(math.sqrt(of_fit))
    assert line.u_nm > 2 * 0.02
    assert line.degrees_of_freedom == pytest.approx(7.0)


def test_the_reference_enters_as_a_share_that_no_number_of_points_takes_away():
    few, many = (examine(made_points(mountings=(1,) * n, scatter=1e-6), u_relative=0.002).function for n in (1, 9))
    assert calibration_u(few, 50.0).u_nm == pytest.approx(0.1, rel=1e-3)
    assert calibration_u(many, 50.0).u_nm == pytest.approx(0.1, rel=1e-3)


def test_the_function_is_smooth_and_rising_beyond_its_end():
    calibration = Calibration("C", examine(made_points(1.0, 0.0005), degree=2).function)
    x = np.linspace(-300, 300, 6001)
    steps = np.diff(true_torque(x, calibration))
    assert (steps > 0).all()
    assert np.abs(np.diff(steps)).max() < 1e-3


@pytest.mark.parametrize(
    ("points", "degree", "said"),
    [
        ([], 1, "no load"),
        ([Point(0, 0), Point(10, 10)], 1, "more than 1 points"),
        ([Point(10, 10), Point(20, 20), Point(30, 30)], 3, "more than 3 points"),
        ([Point(10, 10), Point(-20, -20)], 1, "turns both ways"),
        ([Point(10, -10), Point(20, -20)], 1, "does not rise"),
        ([Point(10, 0), Point(20, 0)], 1, "no indication"),
    ],
)
def test_points_that_do_not_suffice_are_refused(points, degree, said):
    with pytest.raises(ValueError, match=said):
        examine(points, degree=degree)


def test_a_class_is_given_only_where_the_points_show_all_that_it_asks_for():
    good = classify(examine(made_points(hysteresis=0.05)))
    assert good.best == 0.2  # 0.05 of 20.4 N.m is 0.245 %, 1.25 times 0.2 is 0.25
    assert dict(good.figures)["reversibility"] == pytest.approx(100 * 0.05 * 0.98 / 20, rel=2e-3)
    one = classify(examine(made_points(mountings=(1, 1))))
    assert one.best is None
    assert "reproducibility" in one.why
    assert "five loads" in classify(examine(made_points(loads=(50.0, 100.0)))).why
    assert classify(examine(made_points(hysteresis=3.0))).best is None


def test_a_dead_weight_is_mass_times_gravity_times_arm_times_cosine():
    arm = Arm(length_m=0.5, gravity=9.80665, tilt_deg=5.0, u_length_m=0.0005, u_gravity=0.0, u_tilt_deg=1.0)
    assert arm.torque_nm(10.0) == pytest.approx(49.03325 * math.cos(math.radians(5)))
    # By Monte Carlo (JCGM 101): the first-order propagation holds.
    rng = np.random.default_rng(1)
    draws = (
        (1 + 1e-4 * rng.standard_normal(200_000))
        * (1 + 0.001 * rng.standard_normal(200_000))
        * np.cos(np.radians(5 + rng.standard_normal(200_000)))
    )
    assert arm.u_relative(1e-4) == pytest.approx(draws.std() / draws.mean(), rel=0.02)


def test_a_level_arm_within_two_degrees_still_has_an_uncertainty():
    # First order gives nothing at the top of a cosine; the second-order term does.
    arm = Arm(length_m=1.0, gravity=9.81, u_tilt_deg=2.0)
    draws = np.cos(np.radians(2 * np.random.default_rng(2).standard_normal(400_000)))
    assert math.sqrt(arm.u_relative(0.0) ** 2 - (1.5e-4 / math.sqrt(3)) ** 2) == pytest.approx(draws.std(), rel=0.02)


def test_gravity_falls_with_height_and_rises_with_latitude():
    assert normal_gravity(0) < normal_gravity(30) < normal_gravity(-60) < normal_gravity(90)
    assert normal_gravity(50, 1000) < normal_gravity(50)
    with pytest.raises(ValueError, match="latitude"):
        normal_gravity(91)


@given(st.floats(1, 500), st.floats(0.2, 2), st.floats(0, 0.2), st.floats(0, 180))
def test_an_adapter_adds_at_most_its_length_and_the_opposite_angle_takes_the_same(torque, lever, adapter, angle):
    there, opposite = (
        torque * OffsetAdapter(lever_m=lever, length_m=0.9 * min(adapter, lever), angle_deg=each).factor
        for each in (angle, 180 - angle)
    )
    assert there + opposite == pytest.approx(2 * torque)
    assert abs(there - torque) <= torque * adapter / lever + 1e-9 * torque


# -- in force ---------------------------------------------------------------------------------------------------------------------


def calibrated(**kind):
    forward = examine(made_points(gain=0.9, scatter=0.05, **kind), u_relative=0.001).function
    back = examine(made_points(gain=0.8, scatter=0.05, sign=-1, **kind), u_relative=0.001).function
    return Calibration("QF-C-1", forward, back)


@pytest.mark.parametrize(("mirror", "gain"), [(False, 0.9), (True, 0.8)])
def test_a_reading_is_set_right_and_the_certificate_stands_in_its_budget(mirror, gain):
    stream = made_stream(1).mirrored() if mirror else made_stream(1)
    plain = read_pull(stream, Sensor(capacity_nm=200.0))
    sensor = Sensor(capacity_nm=200.0, calibration=calibrated())
    result = read_pull(*apply_calibration(stream, sensor))
    assert result.breakaway.torque_nm == pytest.approx(gain * plain.breakaway.torque_nm, rel=2e-3)
    assert result.sliding.torque_nm == pytest.approx(gain * plain.sliding.torque_nm, rel=2e-3)
    (line,) = [line for line in result.breakaway.budget.lines if line.source == "calibration"]
    function = calibrated().back if mirror else calibrated().forward
    assert line == calibration_u(function, result.breakaway.torque_nm)
    assert judge(result, Window.parse("10.. N.m")).missing == ()


def test_an_offset_that_was_not_tared_does_not_move_the_reading():
    function = calibrated().forward
    sensor = Sensor(calibration=Calibration("C", function, function))
    stream = made_stream(1)
    shifted = Trace(stream.time_s, stream.torque_nm + 4.0, stream.angle_deg)
    first, second = (read_pull(*apply_calibration(trace, sensor)).breakaway.torque_nm for trace in (stream, shifted))
    assert second == pytest.approx(first, abs=1e-6)


def test_an_offset_adapter_moves_the_reading_its_budget_and_the_calibrated_range():
    stream, adapter = made_stream(1), OffsetAdapter(lever_m=0.5, length_m=0.1, angle_deg=60.0)
    assert adapter.factor == pytest.approx(1.1)
    plain, through = (
        read_pull(*apply_calibration(stream, Sensor(calibration=calibrated(), capacity_nm=200.0, adapter=each)))
        for each in (None, adapter)
    )
    assert through.breakaway.torque_nm == pytest.approx(1.1 * plain.breakaway.torque_nm, rel=1e-9)
    assert through.sliding.torque_nm == pytest.approx(1.1 * plain.sliding.torque_nm, rel=1e-9)
    lines = [next(line for line in r.breakaway.budget.lines if line.source == "calibration") for r in (plain, through)]
    by_lever = adapter.u_relative * through.breakaway.torque_nm
    assert lines[1].u_nm == pytest.approx(math.hypot(1.1 * lines[0].u_nm, by_lever), rel=1e-6)
    # The sensor is the same: what it was calibrated for is told at the unit.
    assert through.calibration.forward.high_nm == pytest.approx(1.1 * plain.calibration.forward.high_nm)
    stated = apply_calibration(stream, Sensor(u_nm=0.5, capacity_nm=200.0, adapter=adapter))[1]
    assert (stated.u_nm, stated.capacity_nm) == (pytest.approx(0.55), pytest.approx(220.0))
    assert (
        apply_calibration(stream, Sensor(adapter=adapter))[1].u_relative is None
    )  # the lever alone is not the sensor's uncertainty


def test_the_lever_s_uncertainty_goes_through_the_adapter():
    """Held against draws of the formula itself."""
    draws = np.random.default_rng(3).normal(0.5, 0.006, 200_000)
    factors = (draws + 0.1) / draws
    adapter = OffsetAdapter(lever_m=0.5, length_m=0.1)
    assert adapter.u_relative == pytest.approx(factors.std() / factors.mean(), rel=0.02)


def test_an_adapter_that_takes_the_whole_lever_is_refused():
    with pytest.raises(ValueError, match="lever"):
        OffsetAdapter(lever_m=0.3, length_m=0.3, angle_deg=180.0)


def test_a_stated_uncertainty_counts_before_the_certificate():
    result = read_pull(*apply_calibration(made_stream(1), Sensor(u_nm=0.7, calibration=calibrated())))
    (line,) = [line for line in result.breakaway.budget.lines if line.source == "calibration"]
    assert line.u_nm == 0.7


def test_expired_and_out_of_range_are_said_on_the_verdict():
    window = Window.parse("10..200 N.m")
    stream = made_stream(1)

    def missing(calibration, trace=stream):
        return judge(read_pull(*apply_calibration(trace, Sensor(calibration=calibration))), window).missing

    good = calibrated()
    assert missing(good) == ()
    assert missing(replace(good, expired=True)) == ("certificate_expired",)
    assert missing(calibrated(loads=(5.0, 10.0, 20.0))) == ("beyond_range",)
    assert missing(replace(good, back=None), stream.mirrored()) == ("beyond_range",)
    weak = Trace(stream.time_s, 0.2 * stream.torque_nm, stream.angle_deg)
    assert missing(good, weak) == ("beyond_range",)
    # Only a number and a due date are known: no range to be out of, and the uncertainty is still missing.
    assert missing(Calibration("C", expired=True)) == ("sensor", "certificate_expired")


def test_a_load_hung_once_more_is_within_range_and_nothing_is_asked_of_no_certificate():
    good = calibrated()
    assert calibration_flags(good, 100.5, 1) == ()
    assert calibration_flags(good, 102.0, 1) == ("calibration_range",)
    assert calibration_flags(None, 1e6, 1) == ()


def test_a_series_tells_what_any_of_its_pulls_lacks_and_whether_the_zero_moved():
    good = calibrated()
    results = [
        read_pull(*apply_calibration(made_stream(1, seed=seed), Sensor(calibration=calibration)))
        for seed, calibration in enumerate((good, good, replace(good, expired=True)))
    ]

    def missing(results):
        return read_series([pull_of(result) for result in results], Window.parse("10.. N.m")).verdict.missing

    assert missing(results) == ("certificate_expired", "other_direction")
    assert "zero" in missing([*results[:2], replace(results[1], zero_nm=1.0)])


def test_the_zero_may_move_by_a_percent_of_the_result_and_half_a_percent_of_the_range():
    assert not zero_moved([0.0, None, 0.59], 60.0)
    assert zero_moved([0.0, 0.2, 0.61], 60.0)
    assert zero_moved([0.0, 0.59], 60.0, capacity_nm=100.0)
    assert not zero_moved([5.0], 60.0)


def test_a_still_weight_is_steady_a_swinging_or_creeping_one_not():
    time = np.arange(1000) / 500
    noise = 0.05 * np.random.default_rng(4).standard_normal(1000)
    still = weigh(Trace(time, 50 + noise), 200.0)
    assert still.steady
    assert still.mean_nm == pytest.approx(50.0, abs=0.01)
    assert not weigh(Trace(time, 50 + noise + 0.5 * time), 200.0).steady
    assert not weigh(Trace(time, 50 + noise + 3 * np.sin(7 * time)), 200.0).steady
    with pytest.raises(ValueError, match="four samples"):
        weigh(Trace([0.0], [1.0]), 200.0)


def test_fits_ask_for_enough_points():
    with pytest.raises(ValueError, match="2 coefficients"):
        fit_polynomial([1.0, 1.0, 1.0], [1.0, 2.0, 3.0], (0, 1))


def test_an_adapter_across_the_lever_is_as_sure_as_the_pull_is_square():
    """Held against the moments themselves: a force d off square on a lever L, an adapter E at 90 degrees to it.

    5 degrees off is 0.9 % for E a tenth of L (findings 1.12).
    """
    lever_m, length_m = 0.5, 0.05

    def factor(off_deg):
        force = np.array([np.sin(np.radians(off_deg)), np.cos(np.radians(off_deg))])  # the lever lies along x
        hand, unit = np.array([lever_m, 0.0]), np.array([0.0, -length_m])

        def moment(about):
            arm = hand - about
            return arm[0] * force[1] - arm[1] * force[0]

        return abs(moment(unit) / moment(np.zeros(2)))

    assert abs(factor(5.0) - 1) == pytest.approx(0.0087, abs=0.0002)
    adapter = OffsetAdapter(lever_m=lever_m, length_m=length_m, angle_deg=90.0)
    draws = [factor(off) for off in np.random.default_rng(2).normal(0.0, adapter.u_square_deg, 4000)]
    assert adapter.u_relative == pytest.approx(np.std(draws) / np.mean(draws), rel=0.05)
    straight = OffsetAdapter(lever_m=lever_m, length_m=length_m, angle_deg=0.0)
    assert straight.u_relative == pytest.approx(abs(1 - 1 / straight.factor) * 0.006 / lever_m)
