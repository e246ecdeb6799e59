"""Traces that were once read far wrong, made small: spikes of a slow sensor, a hand that goes faster, samples that are missing."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.made import made_stream

from analysis.pull.reading import read_pull
from analysis.results import QualityCode, Sensor
from analysis.trace import Trace


def trace_of(points, *, rate_hz, noise_nm=0.05, seed=1):
    """A trace without an angle, straight from point to point (s, N.m)."""
    at_s, torque = np.array(points, dtype=float).T
    time_s = np.arange(int(rate_hz * at_s[-1])) / rate_hz
    return Trace(time_s, np.interp(time_s, at_s, torque) + np.random.default_rng(seed).normal(0, noise_nm, time_s.size))


@settings(max_examples=40, deadline=None)
@given(st.floats(40, 90), st.floats(4.5, 12), st.floats(4.6, 5.6), st.booleans(), st.sampled_from([1, 2]))
def test_a_spike_on_sliding_is_none_of_a_slow_sensor_s_peaks(rate_hz, times, at_s, with_angle, length):
    """One or two samples far above all else are electrical: plates that slide at a torque cannot take several times as much."""
    clean = made_stream(1, rate_hz=rate_hz)
    clean = clean if with_angle else Trace(clean.time_s, clean.torque_nm)
    spiked = clean.torque_nm.copy()
    at = int(clean.time_s.searchsorted(at_s))
    spiked[at : at + length] = times * spiked[at]
    expected, found = (read_pull(Trace(clean.time_s, torque, clean.angle_deg)) for torque in (clean.torque_nm, spiked))
    assert found.breakaway.torque_nm == pytest.approx(expected.breakaway.torque_nm, rel=0.01)
    assert found.sliding.torque_nm == pytest.approx(expected.sliding.torque_nm, rel=0.01)
    assert any(flag.code is QualityCode.SPIKES for flag in found.quality)


def test_the_one_peak_of_a_joint_that_came_loose_is_still_a_peak():
    """Nothing stands before or after it: 60 N.m for two samples of a sensor at 60 Hz (the shape of the open loosening data)."""
    trace = trace_of([(0, 0), (2, 0), (2.3, 20), (2.32, 60), (2.335, 60), (2.36, 2), (4, 1.5), (4.2, 0), (5, 0)], rate_hz=60)
    assert read_pull(trace).breakaway.torque_nm > 50


def test_two_wild_samples_of_a_slow_sensor_in_a_climb_that_goes_on_are_none():
    trace = trace_of([(0, 0), (2, 0), (2.6, 20), (2.63, 17), (5, 17), (5.1, 0), (6, 0)], rate_hz=60)
    wild = trace.torque_nm.copy()
    wild[int(trace.time_s.searchsorted(2.1)) :][:2] = 200.0
    result = read_pull(Trace(trace.time_s, wild))
    assert result.breakaway.torque_nm == pytest.approx(20.0, rel=0.03)
    assert any(flag.code is QualityCode.SPIKES for flag in result.quality)


def test_without_an_angle_a_ripple_higher_than_the_knee_carries_no_breakaway():
    """Let go at 60 N.m after 1 s of load; then a runout of 6 % about 62, four times round."""
    trace = trace_of([(0, 0), (1, 0), (2, 60), (2.1, 59.5), (7, 59.5), (7.15, 0), (8, 0)], rate_hz=500)
    turning = (trace.time_s > 2.1) & (trace.time_s < 7)
    ripple = np.where(turning, 2.5 + 3.7 * np.sin(2 * np.pi * (trace.time_s - 2.1) / 1.225 - 0.74), 0.0)
    result = read_pull(Trace(trace.time_s, trace.torque_nm + ripple))
    assert result.breakaway.torque_nm == pytest.approx(60.0, rel=0.015)


def test_hum_at_half_the_sampling_rate_hides_no_pull():
    """50 Hz seen at 100.8 Hz alternates from sample to sample, and beats: 5 % of the load, and the unit holds all the same."""
    trace = trace_of([(0, 0), (1.2, 0), (2.2, 58), (2.3, 55), (7, 55), (7.1, 0), (8.2, 0)], rate_hz=100.8)
    trace = Trace(trace.time_s, trace.torque_nm + 2.7 * np.sin(2 * np.pi * 50.0 * trace.time_s), 8.0 * trace.time_s)
    result = read_pull(trace)
    assert not result.held_nothing
    assert result.sliding.torque_nm == pytest.approx(55.0, rel=0.01)
    assert result.breakaway.torque_nm == pytest.approx(58.0, rel=0.05)


@pytest.mark.parametrize("faster", [1.06, 1.1, 1.2])
def test_without_an_angle_a_hand_that_pulls_faster_later_makes_no_second_breakaway(faster):
    """Sliding for 3 s, then faster at a higher torque: the plates let go at the first top, and no hand holds back for 3 s."""
    points = [(0, 0), (1, 0), (2.7, 60), (2.9, 58), (5.9, 58), (6.2, faster * 60), (8, faster * 60), (8.1, 0), (9, 0)]
    result = read_pull(trace_of(points, rate_hz=1000))
    assert result.breakaway.torque_nm == pytest.approx(60.0, rel=0.01)
    assert result.breakaway.time_s == pytest.approx(2.7, abs=0.1)


def test_without_an_angle_a_hand_that_holds_back_for_a_second_is_waited_for():
    points = [(0, 0), (1, 0), (2, 40), (3.2, 39.6), (4.0, 70), (4.02, 56), (6, 56), (6.1, 0), (7, 0)]
    assert read_pull(trace_of(points, rate_hz=1000)).breakaway.torque_nm == pytest.approx(70.0, rel=0.01)


def test_samples_missing_in_a_slow_fall_make_no_sudden_one():
    """A slow fall while the hand waits, then 55: neither noise nor lost samples make a slip of it."""
    points = [(0, 0), (1, 0), (3, 45), (3.4, 42), (4.2, 55), (4.22, 48), (7, 48), (7.1, 0), (8, 0)]
    whole = trace_of(points, rate_hz=200, noise_nm=0.3)
    there = (whole.time_s < 3.05) | (whole.time_s > 3.35)
    torn = Trace(whole.time_s[there], whole.torque_nm[there])
    for trace in (whole, torn):
        assert read_pull(trace).breakaway.torque_nm == pytest.approx(55.0, rel=0.02)


@pytest.mark.parametrize("offset_nm", [-70.0, -45.0, 45.0, 70.0])
@pytest.mark.parametrize("drift_nm", [-1.5, 1.5])
def test_a_zero_far_off_that_drifts_is_still_a_zero(offset_nm, drift_nm):
    clean = made_stream(1)
    slope = np.linspace(0.0, drift_nm, len(clean))
    result = read_pull(Trace(clean.time_s, clean.torque_nm + offset_nm + slope, clean.angle_deg))
    assert result.breakaway.torque_nm == pytest.approx(60.0, abs=0.5)
    assert result.zero_nm == pytest.approx(offset_nm, abs=1.0)


@pytest.mark.parametrize("level_nm", [35.0, 45.0, 55.0])
def test_plates_held_under_load_at_both_ends_are_no_rest(level_nm):
    """The recording begins at a load and ends in sliding: nothing in it is zero, so there is no breakaway to count from one."""
    points = [(0, level_nm), (1, level_nm), (1.5, 60), (1.52, 48), (5, 48)]
    result = read_pull(trace_of(points, rate_hz=500))
    assert result.breakaway is None
    assert result.began_under_load


@pytest.mark.parametrize("apart", [3, 4, 5, 8])
def test_two_spikes_side_by_side_do_not_hide_each_other(apart):
    clean = made_stream(1, rate_hz=250.0)
    torque = clean.torque_nm.copy()
    at = int(clean.time_s.searchsorted(5.0))
    torque[at : at + 2], torque[at + apart : at + apart + 2] = -250.0, 330.0
    expected, found = (read_pull(Trace(clean.time_s, each, clean.angle_deg)) for each in (clean.torque_nm, torque))
    assert found.breakaway.torque_nm == pytest.approx(expected.breakaway.torque_nm, rel=1e-3)
    assert found.sliding.torque_nm == pytest.approx(expected.sliding.torque_nm, rel=1e-3)


def test_single_low_samples_of_a_slow_sensor_that_come_again_and_again_are_slips():
    """Stick-slip four times a second at 60 samples a second: each fall is one sample, and the mean must have them."""
    time_s = np.arange(60 * 9) / 60
    torque = np.interp(time_s, [0, 1, 3, 8, 8.1, 9], [0, 0, 60, 60, 0, 0]) + np.random.default_rng(1).normal(0, 0.1, time_s.size)
    sliding = (time_s > 3.2) & (time_s < 8)
    torque[sliding & (np.arange(time_s.size) % 15 == 0)] -= 20.0
    result = read_pull(Trace(time_s, torque))
    assert result.sliding.torque_nm == pytest.approx(60 - 20 / 15, abs=0.4)
    assert not any(flag.code is QualityCode.SPIKES for flag in result.quality)


@pytest.mark.parametrize("seed", range(5))
def test_noise_through_a_soft_adapter_is_no_slip(seed):
    """The lever winds up by 40 degrees: noise of 0.25 N.m stands for half a degree of it, while the plates hold."""
    time_s = np.arange(480 * 8) / 480
    torque = np.interp(time_s, [0, 1, 2, 2.03, 7, 7.1, 8], [0, 0, 26, 21, 21, 0, 0])
    angle = 1.6 * torque + np.interp(time_s, [0, 2, 7, 8], [0, 0, 300, 300])
    torque += np.random.default_rng(seed).normal(0, 0.25, time_s.size)
    assert read_pull(Trace(time_s, torque, angle)).breakaway.torque_nm == pytest.approx(26.0, rel=0.02)


@pytest.mark.parametrize("higher", [1.4, 1.6])
def test_without_an_angle_a_first_step_is_not_breakaway(higher):
    """One pack slips across the bevel's lash at 49, the same load then takes both well above it; they chatter from there on."""
    points = [(0, 0), (1, 0), (2.3, 49), (2.31, 30), (2.35, 44), (2.9, higher * 49)]
    at_s = 2.9
    while at_s < 6:
        points += [(at_s + 0.01, 0.8 * higher * 49), (at_s + 0.15, higher * 48.5)]
        at_s += 0.15
    points += [(at_s + 0.1, 0), (at_s + 1, 0)]
    assert read_pull(trace_of(points, rate_hz=1000)).breakaway.torque_nm == pytest.approx(higher * 49, rel=0.02)


@pytest.mark.parametrize("offset_nm", [-46.37, -46.42, 12.62])
def test_a_coarse_sensor_at_rest_between_two_of_its_steps_is_at_rest(offset_nm):
    """Steps of 0.25 N.m, noise of half a step: the median is a step, the rest itself lies beside it."""
    clean = made_stream(1, rate_hz=1000.0)
    noisy = clean.torque_nm + np.random.default_rng(3).normal(0, 0.1, len(clean)) + offset_nm
    result = read_pull(Trace(clean.time_s, np.round(noisy / 0.25) * 0.25, clean.angle_deg))
    assert result.zero_nm == pytest.approx(offset_nm, abs=0.1)
    assert result.breakaway.torque_nm == pytest.approx(60.0, abs=0.5)


def test_a_spike_of_two_samples_of_which_one_only_is_beyond_all_measure_is_one_spike():
    clean = made_stream(1)
    torque = clean.torque_nm.copy()
    at = int(clean.time_s.searchsorted(3.99))
    torque[at : at + 2] = 236.0, 243.0  # four times all else: one below, one above
    expected, found = (read_pull(Trace(clean.time_s, each, clean.angle_deg)) for each in (clean.torque_nm, torque))
    assert found.breakaway.torque_nm == pytest.approx(expected.breakaway.torque_nm, rel=5e-3)


def test_without_an_angle_a_hand_that_holds_back_in_mid_pull_does_not_lower_the_sliding_torque():
    points = [
        (0, 0),
        (1, 0),
        (2.3, 83),
        (2.33, 72),
        (5.4, 72),
        (5.7, 45),
        (8.2, 45),
        (8.8, 74),
        (8.9, 72),
        (10.7, 72),
        (10.8, 0),
        (12, 0),
    ]
    result = read_pull(trace_of(points, rate_hz=200))
    assert result.sliding.torque_nm == pytest.approx(72.0, rel=0.005)
    assert any(flag.code is QualityCode.HESITATED for flag in result.quality)


def codes(result):
    return {flag.code for flag in result.quality}


def with_angle(trace, points):
    """The same with an angle straight from point to point (s, deg)."""
    at_s, angle = np.array(points, dtype=float).T
    return Trace(trace.time_s, trace.torque_nm, np.interp(trace.time_s, at_s, angle))


@pytest.mark.parametrize("cleared", [True, False])
def test_an_indicator_on_peak_memory_shows_breakaway_but_no_sliding(cleared):
    """The highest value so far is sent, until its key is pressed or for good: what the pack slides at was never seen."""
    live = trace_of([(0, 0), (1, 0), (2.5, 60), (2.52, 48), (6, 48), (6.05, 0), (8, 0)], rate_hz=500)
    held = np.maximum.accumulate(live.torque_nm)
    if cleared:
        held[live.time_s > 7.3] = live.torque_nm[live.time_s > 7.3]
    turned = [(0, 0), (1, 0), (2.5, 4), (6, 60), (6.05, 56), (8, 56)]
    result = read_pull(with_angle(Trace(live.time_s, held), turned))
    assert result.breakaway.torque_nm == pytest.approx(60.0, rel=0.005)
    assert result.sliding is None
    assert result.chatter.present is None
    assert QualityCode.PEAK_HELD in codes(result)
    assert not codes(result) & {QualityCode.OVERLOAD, QualityCode.REST_MOVED}
    assert not result.at_least
    assert QualityCode.PEAK_HELD not in codes(read_pull(with_angle(live, turned)))


@pytest.mark.parametrize("rate_hz", [200, 1000])
@pytest.mark.parametrize("rise_nm", [8.0, 20.0])
def test_breakaway_in_cold_oil_is_the_knee(rate_hz, rise_nm):
    """No peak: the plates let go at 60 N.m and oil adds with speed; the lever winds up 5 degrees to the knee, then turns."""
    points = [(0, 0), (1, 0), (2.5, 60), (5, 60 + rise_nm), (7, 60 + rise_nm), (7.05, 0), (8.5, 0)]
    turned = [(0, 0), (1, 0), (2.5, 5), (3, 7), (3.5, 12), (4, 20), (5, 45), (7, 100), (7.05, 95), (8.5, 95)]
    trace = with_angle(trace_of(points, rate_hz=rate_hz), turned)
    for step_deg in (0.01, 0.5):
        coarse = Trace(trace.time_s, trace.torque_nm, np.round(trace.angle_deg / step_deg) * step_deg)
        result = read_pull(coarse)
        assert result.breakaway.torque_nm == pytest.approx(60.0, abs=max(0.03 * 60.0, result.breakaway.budget.expanded_u_nm))


def test_a_vice_that_slips_just_below_breakaway_is_named():
    """The torque falls from 50 to 42 N.m and is loaded again to 60: which of the two the plates were, no trace shows."""
    points = [(0, 0), (1, 0), (2.5, 50), (2.51, 42), (3.0, 60), (3.01, 48), (7, 48), (7.05, 0), (8, 0)]
    turned = [(0, 0), (1, 0), (2.5, 4), (2.51, 5), (3.0, 6.4), (7, 70), (7.05, 66), (8, 66)]
    for trace in (trace_of(points, rate_hz=1000), with_angle(trace_of(points, rate_hz=1000), turned)):
        flag = next(flag for flag in read_pull(trace).quality if flag.code is QualityCode.TWO_RELEASES)
        assert min(abs(flag.figure - 50.0), abs(flag.figure - 60.0)) < 3.0
    once = [(0, 0), (1, 0), (3.0, 60), (3.01, 48), (7, 48), (7.05, 0), (8, 0)]
    assert QualityCode.TWO_RELEASES not in codes(read_pull(trace_of(once, rate_hz=1000)))


@pytest.mark.parametrize("angle", [True, False])
def test_ripple_with_crests_as_high_as_breakaway_is_named(angle):
    trace = trace_of([(0, 0), (1, 0), (2.5, 60), (2.6, 58), (8, 58), (8.05, 0), (9, 0)], rate_hz=500)
    swing = np.where((trace.time_s > 2.6) & (trace.time_s < 8), 4.0 * np.sin(2 * np.pi * (trace.time_s - 2.6) / 0.9), 0.0)
    trace = Trace(trace.time_s, trace.torque_nm + swing)
    turned = [(0, 0), (1, 0), (2.5, 4), (2.6, 5), (8, 113), (8.05, 108), (9, 108)]
    result = read_pull(with_angle(trace, turned) if angle else trace)
    flag = next(flag for flag in result.quality if flag.code is QualityCode.RIPPLE)
    assert flag.figure == pytest.approx(8.0, rel=0.15)


def test_a_tare_pressed_under_load_is_seen_while_the_lever_still_rings():
    """25 N.m taken off in mid-load; the trace ends before the lever let go has come to rest."""
    points = [(0, 0), (1, 0), (3.0, 80), (3.02, 68), (7, 68), (7.03, 0), (7.9, 0)]
    trace = with_angle(trace_of(points, rate_hz=500), [(0, 0), (1, 0), (3, 6), (7, 80), (7.03, 75), (7.9, 75)])
    since = np.maximum(trace.time_s - 7.03, 0.0)
    rings = np.where(since > 0, 18.0 * np.exp(-since / 0.35) * np.sin(2 * np.pi * 12.0 * since), 0.0)
    tared = trace.torque_nm + rings - np.where(trace.time_s > 1.63, 25.0, 0.0)
    result = read_pull(Trace(trace.time_s, tared, trace.angle_deg))
    assert QualityCode.REST_MOVED in codes(result)
    assert result.breakaway.torque_nm == pytest.approx(80.0, rel=0.01)
    assert result.sliding.torque_nm == pytest.approx(68.0, rel=0.01)


def test_a_leap_up_and_down_of_two_samples_is_no_peak():
    trace = trace_of([(0, 0), (1, 0), (2.5, 60), (2.52, 48), (6, 48), (6.05, 0), (7, 0)], rate_hz=500)
    wild = trace.torque_nm.copy()
    at = int(trace.time_s.searchsorted(4.0))
    wild[at : at + 2] = 90.0, -10.0
    result = read_pull(Trace(trace.time_s, wild))
    assert result.breakaway.torque_nm == pytest.approx(60.0, rel=0.01)
    assert QualityCode.SPIKES in codes(result)


def test_two_wild_samples_before_the_load_is_taken_up_are_none_of_a_slow_sensor_s_peaks():
    trace = trace_of([(0, 0), (1, 0), (2.0, 5), (2.1, 4.5), (6, 4.5), (6.05, 0), (7, 0)], rate_hz=100, noise_nm=0.01)
    wild = trace.torque_nm.copy()
    at = int(trace.time_s.searchsorted(0.99))
    wild[at : at + 2] = 35.0
    assert read_pull(Trace(trace.time_s, wild)).breakaway.torque_nm == pytest.approx(5.0, rel=0.03)


@pytest.mark.parametrize("rate_hz", [98.6, 100.8])
def test_hum_at_half_the_rate_leaves_the_reading_as_good_as_without(rate_hz):
    clean = trace_of([(0, 0), (1.2, 0), (2.4, 58), (2.42, 50), (7, 50), (7.1, 0), (8.2, 0)], rate_hz=rate_hz)
    loud = Trace(clean.time_s, clean.torque_nm + 2.5 * np.sin(2 * np.pi * 50.0 * clean.time_s + 0.7))
    expected, found = read_pull(clean), read_pull(loud)
    assert found.breakaway.torque_nm == pytest.approx(expected.breakaway.torque_nm, rel=0.01)
    assert found.sliding.torque_nm == pytest.approx(expected.sliding.torque_nm, rel=0.005)


@pytest.mark.parametrize("step_deg", [2.4, 3.3, 4.9])
def test_an_encoder_of_coarse_steps_rounded_once_more_is_neither_dead_nor_full_of_jumps(step_deg):
    """The hand holds before it lets go, and the spring back is smaller than a step: what the angle tells, it tells as before."""
    points = [(0, 0), (1, 0), (2.5, 60), (2.52, 48), (6, 48), (7, 48), (7.05, 0), (8, 0)]
    trace = with_angle(trace_of(points, rate_hz=500), [(0, 0), (1, 0), (2.5, 1.5), (6, 60), (7, 60), (7.05, 58.9), (8, 58.9)])
    coarse = np.round(np.floor(trace.angle_deg / step_deg) * step_deg / 0.25) * 0.25
    result = read_pull(Trace(trace.time_s, trace.torque_nm, coarse))
    assert result.sliding.travel_deg == pytest.approx(56.0, abs=2.5 * step_deg)
    assert result.sliding.torque_nm == pytest.approx(48.0, rel=0.005)
    assert QualityCode.ANGLE_DOUBTFUL in codes(result)


def test_a_hand_that_held_just_below_and_backed_off_released_nothing():
    points = [(0, 0), (1, 0), (2.5, 54), (4, 54), (4.5, 24), (5, 24), (6, 60), (6.02, 48), (9, 48), (9.05, 0), (10, 0)]
    turned = [(0, 0), (1, 0), (2.5, 4), (4, 4), (4.5, 2), (5, 2), (6, 4.5), (9, 60), (9.05, 57), (10, 57)]
    result = read_pull(with_angle(trace_of(points, rate_hz=500), turned))
    assert result.breakaway.torque_nm == pytest.approx(60.0, rel=0.01)
    assert QualityCode.TWO_RELEASES not in codes(result)


TURNED = [(0, 0), (1, 0), (2.5, 4), (6, 60), (6.05, 56), (7, 56)]
PLAIN = [(0, 0), (1, 0), (2.5, 60), (2.52, 48), (6, 48), (6.05, 0), (7, 0)]


@pytest.mark.parametrize("rail_nm", [220.0, -220.0])
def test_the_rail_of_an_open_wire_is_no_overload(rail_nm):
    """For a tenth of a second the figure stands at 1.1 times the capacity: nothing climbs there, nothing comes back from there."""
    trace = with_angle(trace_of(PLAIN, rate_hz=400), TURNED)
    torque = trace.torque_nm.copy()
    torque[(trace.time_s > 4.0) & (trace.time_s < 4.1)] = rail_nm
    result = read_pull(Trace(trace.time_s, torque, trace.angle_deg), Sensor(capacity_nm=200.0))
    assert result.breakaway.torque_nm == pytest.approx(60.0, rel=0.01)
    assert result.sliding.torque_nm == pytest.approx(48.0, rel=0.005)
    assert QualityCode.BURST in codes(result)
    assert QualityCode.OVERLOAD not in codes(result)


def test_the_climb_of_each_new_stroke_is_no_sliding():
    """Three strokes of 20 degrees; between them the hand takes most of the load off, and the lever winds up 4 degrees anew."""
    points, turned = [(0, 0), (1, 0), (2.5, 60), (2.52, 48)], [(0, 0), (1, 0), (2.5, 5), (2.52, 5.5)]
    for _ in range(3):
        at_s, deg = points[-1][0], turned[-1][1]
        points += [(at_s + 1.5, 48), (at_s + 1.8, 12), (at_s + 2.0, 12), (at_s + 2.5, 48)]
        turned += [(at_s + 1.5, deg + 20), (at_s + 1.8, deg + 17), (at_s + 2.0, deg + 17), (at_s + 2.5, deg + 20)]
    at_s, deg = points[-1][0], turned[-1][1]
    points += [(at_s + 1.5, 48), (at_s + 1.55, 0), (at_s + 2.6, 0)]
    turned += [(at_s + 1.5, deg + 20), (at_s + 1.55, deg + 16), (at_s + 2.6, deg + 16)]
    result = read_pull(with_angle(trace_of(points, rate_hz=400), turned))
    assert result.sliding.torque_nm == pytest.approx(48.0, rel=0.01)


def test_hum_that_is_there_before_the_load_is_no_chatter():
    """60 Hz as long as a hand touches the lever, from the slack on: 3 % of the load."""
    trace = with_angle(trace_of(PLAIN, rate_hz=1000), TURNED)
    touched = (trace.time_s > 1.0) & (trace.time_s < 6.0)
    hum = np.where(touched, 1.8 * np.sin(2 * np.pi * 60.0 * trace.time_s), 0.0)
    result = read_pull(Trace(trace.time_s, trace.torque_nm + hum, trace.angle_deg))
    assert result.chatter.present is False
    assert result.breakaway.torque_nm == pytest.approx(60.0, abs=result.breakaway.budget.expanded_u_nm)


def test_a_cable_that_crackles_while_the_lever_turns_widens_the_uncertainty_of_breakaway():
    trace = with_angle(trace_of(PLAIN, rate_hz=1000), TURNED)
    rng = np.random.default_rng(3)
    crackle = np.convolve(rng.normal(0, 1, len(trace)), np.ones(12) / 12, mode="same") * 4.0
    noisy = trace.torque_nm + np.where((trace.time_s > 2.5) & (trace.time_s < 6.0), crackle, 0.0)
    calm, found = read_pull(trace), read_pull(Trace(trace.time_s, noisy, trace.angle_deg))
    assert found.breakaway.torque_nm == pytest.approx(60.0, abs=found.breakaway.budget.expanded_u_nm)
    assert found.breakaway.budget.expanded_u_nm > 3.0 * calm.breakaway.budget.expanded_u_nm


def test_the_swing_of_a_lever_let_go_is_no_spike():
    """Seen at 100 Hz its ringing is one or two samples out of line; the same in mid-pull are spikes."""
    trace = trace_of(PLAIN, rate_hz=100)

    def rung(at_s):
        since = np.maximum(trace.time_s - at_s, 0.0)
        rings = np.where(since > 0, -30.0 * np.exp(-since / 0.008) * np.cos(2 * np.pi * 31.0 * since), 0.0)
        return codes(read_pull(Trace(trace.time_s, trace.torque_nm + rings)))

    assert QualityCode.SPIKES not in rung(6.05)
    assert QualityCode.SPIKES in rung(4.05)
