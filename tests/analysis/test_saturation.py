"""A sensor at its limit below the stated capacity: told by what no plates do; values merely repeated are none."""

import numpy as np
import pytest

from analysis.pull.reading import read_pull
from analysis.results import QualityCode, Sensor
from analysis.trace import Trace

SENSOR = Sensor(capacity_nm=200.0)
PEAK_NM, SLIDING_NM = 60.0, 48.0
POINTS = {  # the lever winds up by 4 degrees on the ramp, then turns with the plates at 25 degrees a second
    "time_s": [0, 1.0, 2.0, 2.02, 5.0, 5.02, 7.0],
    "torque_nm": [0, 0, PEAK_NM, SLIDING_NM, SLIDING_NM, 0, 0],
    "angle_deg": [0, 0, 4.0, 4.8, 79.0, 76.0, 76.0],
}


def pull(top_nm=np.inf, *, rate_hz=500.0, noise_nm=0.05, encoder_deg=0.05, offset_nm=0.0, every=1, angle=True):
    time_s = np.arange(0, 7.0, 1 / rate_hz)
    torque = np.minimum(np.interp(time_s, POINTS["time_s"], POINTS["torque_nm"]), top_nm)
    torque = np.repeat(torque[::every], every)[: torque.size] + offset_nm
    torque = torque + noise_nm * np.random.default_rng(7).standard_normal(time_s.size)
    degrees = np.floor(np.interp(time_s, POINTS["time_s"], POINTS["angle_deg"]) / encoder_deg) * encoder_deg
    return Trace(time_s, np.round(torque, 3), degrees if angle else None)


def overload(trace):
    return QualityCode.OVERLOAD in {flag.code for flag in read_pull(trace, SENSOR).quality}


@pytest.mark.parametrize("noise_nm", [0.02, 0.1, 0.4])
@pytest.mark.parametrize("rate_hz", [200.0, 500.0, 2000.0])
@pytest.mark.parametrize("top_nm", [45.0, 50.0, 55.0])
def test_a_flat_top_with_noise_on_it_is_a_limit_where_the_lever_winds_on(top_nm, rate_hz, noise_nm):
    assert overload(pull(top_nm, rate_hz=rate_hz, noise_nm=noise_nm))


@pytest.mark.parametrize("rate_hz", [200.0, 500.0, 2000.0])
@pytest.mark.parametrize("noise_nm", [0.02, 0.1, 0.4])
def test_a_pull_that_is_not_cut_is_none(rate_hz, noise_nm):
    assert not overload(pull(rate_hz=rate_hz, noise_nm=noise_nm))


@pytest.mark.parametrize("held_s", [0.05, 0.1, 0.2])
def test_a_hand_that_holds_at_the_top_before_the_plates_let_go_is_none(held_s):
    """The lever stands while the torque does."""
    whole = pull()
    at_s = np.where(whole.time_s < 2.0, whole.time_s, np.maximum(whole.time_s - held_s, 2.0))
    torque = np.interp(at_s, POINTS["time_s"], POINTS["torque_nm"]) + np.random.default_rng(3).normal(0, 0.05, at_s.size)
    assert not overload(Trace(whole.time_s, torque, np.interp(at_s, POINTS["time_s"], POINTS["angle_deg"])))


@pytest.mark.parametrize("offset_nm", [-15.0, 0.0, 15.0])
@pytest.mark.parametrize("every", [5, 20])
@pytest.mark.parametrize("begins_s", [0.0, 1.6])
def test_values_that_are_merely_repeated_are_none_neither_under_load_nor_at_a_rest_off_zero(offset_nm, every, begins_s):
    held = pull(noise_nm=0.0, offset_nm=offset_nm, every=every)
    assert not overload(held.between(begins_s, 7.0))
