"""Friction against speed: sweeps of a known law through the whole reading, pulls at several speeds, where nothing can be told."""

from __future__ import annotations

import numpy as np
import pytest
from support.compared import steady
from support.sweeps import sweep

from analysis.compare.speed import Criterion, WhyNot, friction_against_speed, speed_course, stiffness_of
from analysis.pull.reading import read_pull


def read(**law):
    trace = sweep(np.random.default_rng(law.pop("seed", 1)), seconds=12.0, rate_hz=250.0, **law)
    result = read_pull(trace)
    return speed_course(trace, result), result.sliding.torque_nm, stiffness_of(trace, result)


@pytest.mark.parametrize(("slope", "criterion"), [(-0.05, Criterion.FALLS), (0.05, Criterion.RISES)])
def test_one_sweep_tells_the_slope(slope, criterion):
    course, sliding_nm, stiffness = read(slope=slope)
    found = friction_against_speed([course], [sliding_nm], stiffness)
    assert found.within_pulls
    assert found.slope == pytest.approx(100 * slope, abs=0.15)
    assert found.slope_low < 100 * slope < found.slope_high
    assert found.criterion is criterion
    assert found.at_speed_deg_s == pytest.approx(np.sqrt(3 * 60), rel=0.1)
    # dT/dw of T (1 + slope log10(v / v0)) at v0 is slope T / (ln 10 v0).
    tangent = slope * 50.0 / (np.log(10) * np.radians(found.at_speed_deg_s))
    assert found.slope_nm_s_per_rad == pytest.approx(tangent, rel=0.05)
    assert found.stiffness_nm_per_deg == pytest.approx(12.0, rel=0.03)  # as the simulated lever has it
    torques = [point.torque_nm for point in found.curve]
    assert (torques == sorted(torques)) is (slope > 0)


def test_a_drift_with_the_angle_is_not_taken_for_the_speed():
    course, sliding_nm, _ = read(slope=0.0, drift=0.10, once_a_turn=0.02)
    found = friction_against_speed([course], [sliding_nm])
    assert found.slope == pytest.approx(0.0, abs=0.6)
    assert found.slope_low < 0 < found.slope_high


def test_several_sweeps_scatter_by_their_slopes():
    rows = [read(slope=slope, level_nm=level, seed=k) for k, (slope, level) in enumerate([(-0.04, 48), (-0.05, 50), (-0.06, 53)])]
    found = friction_against_speed([row[0] for row in rows], [row[1] for row in rows])
    assert found.pulls == 3
    # Mean and t interval of slopes one apart: 4.303 / sqrt(3) (two degrees of freedom).
    assert found.slope == pytest.approx(-5.0, abs=0.2)
    assert found.slope_high - found.slope == pytest.approx(2.48, abs=0.3)


def test_pulls_at_one_speed_tell_nothing():
    courses = [steady(12.0), steady(13.0), steady(14.0)]
    found = friction_against_speed(courses, [50.0, 50.1, 49.9])
    assert (found.slope, found.why_not, found.criterion) == (None, WhyNot.ONE_SPEED, Criterion.OPEN)


def test_pulls_at_different_speeds_are_one_regression():
    speeds = [5.0, 10.0, 20.0, 40.0]
    courses = [steady(speed) for speed in speeds]
    torques = [50.0 * (1 - 0.06 * np.log10(speed / np.sqrt(200))) for speed in speeds]
    found = friction_against_speed(courses, [t + 0.05 * (-1) ** k for k, t in enumerate(torques)])
    assert not found.within_pulls
    assert found.slope == pytest.approx(-6.0, abs=0.2)
    assert found.criterion is Criterion.FALLS
    assert (found.speed_low_deg_s, found.speed_high_deg_s) == (5.0, 40.0)


def test_a_pull_that_chatters_all_along_is_left_out():
    course, sliding_nm, _ = read(slope=-0.05)
    noisy = type(course)(
        course.angle_deg,
        course.speed_deg_s,
        course.duration_s,
        course.torque_nm,
        np.ones_like(course.chatters),
        course.median_deg_s,
        course.low_deg_s,
        course.high_deg_s,
    )
    found = friction_against_speed([noisy], [sliding_nm])
    assert (found.slope, found.why_not) == (None, WhyNot.CHATTERS)


def test_without_an_angle_there_is_no_speed():
    trace = sweep(np.random.default_rng(1), slope=0.0, seconds=6.0, rate_hz=250.0)
    bare = type(trace)(trace.time_s, trace.torque_nm)
    assert speed_course(bare, read_pull(bare)) is None
