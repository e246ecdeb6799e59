"""Faults of sensor and encoder that must not pass for plates: each put onto a pull whose truth is known, and each said."""

import numpy as np
import pytest
from support.made import made_stream
from support.pullset import simulate_cached

from analysis.pull.reading import read_pull
from analysis.results import QualityCode, Sensor
from analysis.trace import Trace

SENSOR = Sensor(capacity_nm=200.0, u_relative=0.001)
TRUE_NM, SLIDING_NM = 60.0, 48.0
STREAM = made_stream(1, rate_hz=1000.0)
SLIDES = (STREAM.time_s > 4.5) & (STREAM.time_s < 5.5)


def codes(result):
    return {flag.code for flag in result.quality}


def changed(torque_nm=None, angle_deg=None):
    return Trace(
        STREAM.time_s, STREAM.torque_nm if torque_nm is None else torque_nm, STREAM.angle_deg if angle_deg is None else angle_deg
    )


# -- saturation -----------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("share", [0.75, 0.85, 0.95])
def test_a_flat_top_with_noise_on_it_is_saturation(share):
    """An amplifier at its end below the stated capacity; the noise of what follows stays on top."""
    noise = np.random.default_rng(2).normal(0, 0.05, len(STREAM))
    clean = np.interp(STREAM.time_s, [0, 3, 4, 4.3, 6, 6.1, 10], [0, 0, 60, 50, 46, 0, 0])
    result = read_pull(changed(np.minimum(clean, share * TRUE_NM) + noise), SENSOR)
    assert QualityCode.OVERLOAD in codes(result)


def test_plates_that_slide_on_at_the_level_they_let_go_at_are_not_saturation():
    """No static excess: the ramp goes over into sliding, rounded by the rotor, and the level follows the hand."""
    time = STREAM.time_s
    ramp = np.interp(time, [0, 3, 4, 6.1, 6.2, 10], [0, 0, 60, 60.4, 0, 0])
    soft = np.convolve(np.pad(ramp, 10, mode="edge"), np.ones(21) / 21, mode="valid")
    hand = np.where((time > 4) & (time < 6.1), 0.3 * np.sin(9 * time), 0.0)
    noise = np.random.default_rng(2).normal(0, 0.05, time.size)
    assert QualityCode.OVERLOAD not in codes(read_pull(changed(soft + hand + noise), SENSOR))


@pytest.mark.parametrize("every", [10, 25, 50])
def test_values_that_are_only_repeated_are_not_saturation(every):
    """A converter slower than the stream sends each value several times."""
    held = np.repeat(STREAM.torque_nm[::every], every)[: len(STREAM)]
    result = read_pull(changed(held), SENSOR)
    assert QualityCode.OVERLOAD not in codes(result)
    assert result.breakaway.torque_nm == pytest.approx(TRUE_NM, rel=0.05)


# -- bursts ---------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("at_s", [1.0, 3.5, 4.2, 5.0])
@pytest.mark.parametrize("length", [5, 12, 40])
@pytest.mark.parametrize("height_nm", [15.0, 45.0])
def test_a_burst_of_interference_is_bridged_and_said(at_s, length, height_nm):
    torque = STREAM.torque_nm.copy()
    at = int(1000 * at_s)
    torque[at : at + length] += (
        height_nm * np.where(np.arange(length) % 2, 1, -1) * np.random.default_rng(3).uniform(0.5, 1, length)
    )
    result = read_pull(changed(torque), SENSOR)
    assert QualityCode.BURST in codes(result)
    assert result.breakaway.torque_nm == pytest.approx(TRUE_NM, rel=0.005)
    assert result.sliding.torque_nm == pytest.approx(SLIDING_NM, rel=0.005)
    assert not result.chatter.present


@pytest.mark.parametrize("rate_hz", [400.0, 1000.0, 2000.0])
@pytest.mark.parametrize("at_s", [3.97, 4.4, 5.3])
@pytest.mark.parametrize("dies_s", [0.002, 0.003])
def test_a_blow_that_dies_away_is_no_breakaway(rate_hz, at_s, dies_s):
    """Something switches nearby: half the load more, at once, and gone within some milliseconds."""
    stream = made_stream(1, rate_hz=rate_hz)
    since = stream.time_s - at_s
    blow = np.where((since >= 0) & (since < 0.012), 0.5 * TRUE_NM * np.exp(-np.maximum(since, 0) / dies_s), 0.0)
    result = read_pull(Trace(stream.time_s, stream.torque_nm + blow, stream.angle_deg), SENSOR)
    assert {QualityCode.BURST, QualityCode.SPIKES} & codes(result)
    assert result.breakaway.torque_nm == pytest.approx(TRUE_NM, rel=0.01)
    assert result.sliding.torque_nm == pytest.approx(SLIDING_NM, rel=0.005)


def test_a_blow_after_the_pull_makes_no_dead_encoder():
    blow = np.where((STREAM.time_s > 7.5) & (STREAM.time_s < 7.52), 0.5 * TRUE_NM, 0.0)
    whole, result = read_pull(STREAM, SENSOR), read_pull(changed(STREAM.torque_nm + blow), SENSOR)
    assert result.sliding.travel_deg == pytest.approx(whole.sliding.travel_deg, abs=0.2)
    assert QualityCode.ANGLE_DOUBTFUL not in codes(result)


@pytest.mark.parametrize("rate_hz", [200.0, 1000.0])
@pytest.mark.parametrize("at_s", [3.6, 4.6, 5.5])
@pytest.mark.parametrize("length", [3, 6, 10])
def test_a_converter_that_drops_out_for_some_samples_is_bridged_and_said(rate_hz, at_s, length):
    """It sends 'nothing', offset and noise as at rest, in the midst of a load."""
    stream = made_stream(1, rate_hz=rate_hz)
    torque = stream.torque_nm.copy()
    at = int(np.searchsorted(stream.time_s, at_s))
    torque[at : at + length] = torque[:length]
    result = read_pull(Trace(stream.time_s, torque, stream.angle_deg), SENSOR)
    assert QualityCode.BURST in codes(result)
    assert result.breakaway.torque_nm == pytest.approx(TRUE_NM, rel=0.005)
    assert result.sliding.torque_nm == pytest.approx(SLIDING_NM, rel=0.005)


def test_slips_of_chattering_plates_are_no_bursts():
    """Simulated stick-slip, slow, fast and dying: sudden falls that stay down, or come again and again."""
    pulls = simulate_cached(30, 21, ("chatter_strong", "chatter_fast", "chatter_slow_rig"))
    found = [QualityCode.BURST in codes(read_pull(pull.trace, pull.sensor)) for pull in pulls]
    assert sum(found) <= 1


# -- angle ----------------------------------------------------------------------------------------------------------------------


def test_an_encoder_zeroed_in_mid_pull_loses_nothing():
    angle = STREAM.angle_deg - np.where(STREAM.time_s > 5.0, np.interp(5.0, STREAM.time_s, STREAM.angle_deg), 0.0)
    whole, result = read_pull(STREAM, SENSOR), read_pull(changed(angle_deg=angle), SENSOR)
    assert result.sliding.torque_nm == pytest.approx(whole.sliding.torque_nm, rel=1e-3)
    assert result.sliding.travel_deg == pytest.approx(whole.sliding.travel_deg, abs=0.2)
    assert QualityCode.ANGLE_DOUBTFUL in codes(result)


@pytest.mark.parametrize("start_deg", [345.0, 359.0])
def test_an_encoder_that_rolls_over_goes_on(start_deg):
    whole, result = read_pull(STREAM, SENSOR), read_pull(changed(angle_deg=(STREAM.angle_deg + start_deg) % 360.0), SENSOR)
    assert result.sliding.torque_nm == pytest.approx(whole.sliding.torque_nm, rel=1e-3)
    assert QualityCode.ANGLE_DOUBTFUL in codes(result)


@pytest.mark.parametrize("from_s", [0.0, 3.5, 5.0])
def test_a_dead_encoder_falls_back_to_time(from_s):
    at = int(1000 * from_s)
    angle = np.where(np.arange(len(STREAM)) >= at, STREAM.angle_deg[at], STREAM.angle_deg)
    # A live one springs back by the wind-up when the lever is let go; this one does not.
    result = read_pull(changed(angle_deg=angle), SENSOR)
    assert QualityCode.ANGLE_DOUBTFUL in codes(result)
    assert result.breakaway.torque_nm == pytest.approx(TRUE_NM, rel=0.005)
    assert result.sliding.torque_nm == pytest.approx(SLIDING_NM, rel=0.005)
    assert result.sliding.travel_deg is None


def test_a_coarse_encoder_is_said_and_its_steps_are_no_pauses():
    result = read_pull(changed(angle_deg=np.floor(STREAM.angle_deg / 4.0) * 4.0), SENSOR)
    assert QualityCode.ANGLE_DOUBTFUL in codes(result)
    assert result.sliding.torque_nm == pytest.approx(SLIDING_NM, rel=0.01)
    assert QualityCode.HESITATED not in codes(result)


def test_a_slip_that_throws_the_lever_is_no_jump_of_the_encoder():
    """3 degrees within 20 ms at the release, seen at 1 kHz: fast, over many samples."""
    jump = 3.0 * np.clip((STREAM.time_s - 4.0) / 0.02, 0.0, 1.0)
    assert QualityCode.ANGLE_DOUBTFUL not in codes(read_pull(changed(angle_deg=STREAM.angle_deg + jump), SENSOR))


@pytest.mark.parametrize("late_s", [0.03, 0.06, 0.1])
def test_an_angle_that_is_sent_late_is_put_back_and_said(late_s):
    """Simulated stick-slip, whose mean over the angle hangs on which torque belongs to which angle."""
    pulls = [
        p for p in simulate_cached(12, 23, ("chatter_strong", "clean")) if p.trace.angle_deg is not None and p.truth.sliding_nm
    ]
    told = 0
    for pull in pulls:
        time = pull.trace.time_s
        late = Trace(time, pull.trace.torque_nm, np.interp(time - late_s, time, pull.trace.angle_deg))
        whole, result = read_pull(pull.trace, pull.sensor), read_pull(late, pull.sensor)
        assert QualityCode.ANGLE_DOUBTFUL not in codes(whole)
        if QualityCode.ANGLE_DOUBTFUL in codes(result):
            told += 1
            assert result.sliding.torque_nm == pytest.approx(whole.sliding.torque_nm, rel=0.01)
    assert told >= 0.7 * len(pulls)
