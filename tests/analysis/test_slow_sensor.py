"""The sensor's own slowness: read off the release against the lever's spring-back, set right, and never taken for a smooth unit.

Pulls of plain shape through filters whose lag is known: what a ramp of r N.m/s loses through a lag L is r L (trade notes 6).
"""

import numpy as np
import pytest
from scipy.signal import butter, cheby1, sosfilt

from analysis.pull.reading import read_pull
from analysis.results import QualityCode, Sensor
from analysis.trace import Trace

TRUE_NM, SLIDING_NM, RATE_HZ = 60.0, 50.0, 1000.0
SENSOR = Sensor(capacity_nm=200.0, u_relative=0.001)
WOUND_DEG_PER_NM = 0.04
TIME = np.arange(0.0, 9.0, 1 / RATE_HZ)


def torque_of(release_s=0.03):
    at_s = [0, 2, 3.2, 3.21, 6.2, 6.2 + release_s, 9]
    return np.interp(TIME, at_s, [0, 0, TRUE_NM, SLIDING_NM, SLIDING_NM, 0, 0])


def seen(torque_nm, truly_nm, with_angle=True, noise_nm=0.03):
    unit = np.interp(TIME, [0, 3.2, 6.2, 9], [0, 0, 60, 60])
    noise = np.random.default_rng(4).normal(0, noise_nm, TIME.size)
    return Trace(TIME, torque_nm + noise, np.round((unit + WOUND_DEG_PER_NM * truly_nm) / 0.05) * 0.05 if with_angle else None)


def low_pass(torque_nm, hertz, order=1):
    return np.asarray(sosfilt(butter(order, hertz, fs=RATE_HZ, output="sos"), torque_nm))


def moving_mean(torque_nm, span_s):
    width = round(span_s * RATE_HZ)
    return np.convolve(np.concatenate([np.zeros(width - 1), torque_nm]), np.ones(width) / width, mode="valid")


SLOW = {
    "2 Hz": lambda t: low_pass(t, 2.0),
    "5 Hz": lambda t: low_pass(t, 5.0),
    "10 Hz": lambda t: low_pass(t, 10.0),
    "5 Hz, second order": lambda t: low_pass(t, 5.0, 2),
    "mean over 100 ms": lambda t: moving_mean(t, 0.1),
    "mean over 300 ms": lambda t: moving_mean(t, 0.3),
}


def codes(result):
    return {flag.code for flag in result.quality}


@pytest.mark.parametrize("name", SLOW)
def test_a_slow_sensor_is_seen_and_its_peak_set_right_to_within_u(name):
    truly = torque_of()
    slow = SLOW[name](truly)
    result = read_pull(seen(slow, truly), SENSOR)
    assert QualityCode.SLOW_SENSOR in codes(result)
    assert abs(result.breakaway.torque_nm - TRUE_NM) <= result.breakaway.budget.expanded_u_nm
    assert abs(result.breakaway.torque_nm - TRUE_NM) < 0.4 * (TRUE_NM - slow.max())
    assert result.sliding.torque_nm == pytest.approx(SLIDING_NM, rel=0.003)
    assert result.chatter.present is None
    assert result.chatter.why_not == "slow_sensor"


@pytest.mark.parametrize("hertz", [8.0, 12.0, 20.0])
@pytest.mark.parametrize("ramp_s", [0.12, 0.2])
def test_a_steep_filter_that_overshoots_lies_within_u(hertz, ramp_s):
    """It throws a sudden peak too high, as it throws the release below rest, which is where it shows."""
    slides_nm = 0.97 * TRUE_NM
    truly = np.interp(TIME, [0, 3.2 - ramp_s, 3.2, 3.21, 6.2, 6.23, 9], [0, 0, TRUE_NM, slides_nm, slides_nm, 0, 0])
    sharp = cheby1(4, 0.5, hertz, fs=RATE_HZ, output="sos")
    steep = np.asarray(sosfilt(sharp, truly)) / np.prod(sharp[:, :3].sum(axis=1) / sharp[:, 3:].sum(axis=1))
    result = read_pull(seen(steep, truly), SENSOR)
    assert QualityCode.SLOW_SENSOR in codes(result)
    assert abs(result.breakaway.torque_nm - TRUE_NM) <= result.breakaway.budget.expanded_u_nm


@pytest.mark.parametrize("name", SLOW)
@pytest.mark.parametrize("step_deg", [0.05, 0.5, 1.0])
def test_the_lag_is_told_through_a_coarse_encoder_or_nothing_is_made_of_it(name, step_deg):
    """A wind-up of 2 degrees: two steps of a coarse encoder. Where they tell no delay the peak stays as the sensor showed it."""
    truly = torque_of()
    fine = seen(SLOW[name](truly), truly)
    result = read_pull(Trace(fine.time_s, fine.torque_nm, np.floor(fine.angle_deg / step_deg) * step_deg), SENSOR)
    assert SLOW[name](truly).max() - 0.2 < result.breakaway.torque_nm < TRUE_NM + 1.0


@pytest.mark.parametrize("held_s", [0.02, 0.05])
def test_values_that_are_repeated_are_no_filter(held_s):
    truly = torque_of()
    every = round(held_s * RATE_HZ)
    result = read_pull(seen(np.repeat(truly[::every], every)[: truly.size], truly, noise_nm=0.0), SENSOR)
    assert QualityCode.SLOW_SENSOR not in codes(result)
    assert result.breakaway.torque_nm <= TRUE_NM + 0.5


@pytest.mark.parametrize("hertz", [1.5, 3.0])
def test_without_an_angle_a_long_tail_of_first_order_is_said_and_lies_within_u(hertz):
    truly = torque_of()
    result = read_pull(seen(low_pass(truly, hertz), truly, with_angle=False), SENSOR)
    assert QualityCode.SLOW_SENSOR in codes(result)
    assert abs(result.breakaway.torque_nm - TRUE_NM) <= 1.2 * result.breakaway.budget.expanded_u_nm


@pytest.mark.parametrize("release_s", [0.03, 0.1, 0.4])
def test_a_slow_hand_is_no_slow_sensor(release_s):
    """The lever comes back as slowly as the torque falls: nothing is added, nothing said."""
    truly = torque_of(release_s)
    result = read_pull(seen(truly, truly), SENSOR)
    assert QualityCode.SLOW_SENSOR not in codes(result)
    assert result.breakaway.torque_nm == pytest.approx(TRUE_NM, rel=0.003)
    assert result.chatter.present is False


@pytest.mark.parametrize("hertz", [5.0, 10.0, 20.0])
def test_a_filter_that_is_stated_counts_without_an_angle_too(hertz):
    truly = torque_of()
    stated = Sensor(capacity_nm=200.0, u_relative=0.001, filter_hz=hertz)
    result = read_pull(seen(low_pass(truly, hertz), truly, with_angle=False), stated)
    assert abs(result.breakaway.torque_nm - TRUE_NM) <= result.breakaway.budget.expanded_u_nm
    assert "sensor lag" in {line.source for line in result.breakaway.budget.lines}


@pytest.mark.parametrize("repeated", [True, False])
@pytest.mark.parametrize("phase", [0, 17, 40, 83])
def test_means_over_a_tenth_of_a_second_sent_ten_times_a_second_are_told_or_covered(repeated, phase):
    """A display's stream: each value the mean of the tenth before it, and on a faster line the same value again and again."""
    truly = torque_of()
    at = np.arange(phase, TIME.size, 100)
    means = np.array([truly[max(0, i - 100) : i].mean() if i else 0.0 for i in at])
    held = means[np.clip(np.searchsorted(at, np.arange(TIME.size), side="right") - 1, 0, None)]
    trace = seen(held, truly, noise_nm=0.0)
    kept = slice(0, None, 10) if repeated else at
    result = read_pull(Trace(trace.time_s[kept], trace.torque_nm[kept], trace.angle_deg[kept]), SENSOR)
    assert codes(result) & {QualityCode.LOW_RATE, QualityCode.SLOW_SENSOR}
    assert abs(result.breakaway.torque_nm - TRUE_NM) <= result.breakaway.budget.expanded_u_nm
    assert result.sliding.torque_nm == pytest.approx(SLIDING_NM, rel=0.003)
    assert result.chatter.present is None


def test_a_lag_of_a_third_of_a_second_is_seen_though_the_lever_is_back_long_before_the_torque():
    truly = torque_of()
    slow = low_pass(truly, 0.53)
    whole = seen(slow, truly)
    kept = TIME < 7.1
    result = read_pull(Trace(whole.time_s[kept], whole.torque_nm[kept], whole.angle_deg[kept]), SENSOR)
    assert QualityCode.SLOW_SENSOR in codes(result)
    assert slow.max() < 0.85 * TRUE_NM
    assert result.breakaway.torque_nm == pytest.approx(TRUE_NM, rel=0.03)
