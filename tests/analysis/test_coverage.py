"""What an interval must hold and what it need not: soft knees, steady slopes, warmth, a release that may have been the hand's."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.pull.reading import read_pull
from analysis.results import PullResult, Sensor
from analysis.trace import Floats, Trace

SENSOR = Sensor(capacity_nm=200.0, u_relative=0.001)
RATE_HZ = 500.0


def pull(
    sliding_nm: Floats | float = 60.0, *, bend: float = 30.0, top_nm: float = 60.0, drift_nm: float = 0.0, angle: bool = True
) -> Trace:
    """A lever wound up at 20 degrees a second through 15 N.m a degree; plates creep as (T / top)^bend of the lever's speed.

    Then they slide for 5 s at `sliding_nm`, the hand opens and the lever springs back.
    """
    torque, lever = [0.0] * 750, [0.0] * 750
    speed_deg = 20.0 / RATE_HZ
    while len(torque) < 750 + 6 * RATE_HZ:
        creeps = min((torque[-1] / top_nm) ** bend, 1.0)
        torque.append(torque[-1] + 15.0 * speed_deg * (1.0 - creeps))
        lever.append(lever[-1] + speed_deg)
    plates = np.array(lever)
    values = np.array(torque)
    if not np.isscalar(sliding_nm):
        values = np.concatenate([values[:-2500], np.asarray(sliding_nm)])
    fall = 1.0 / (1.0 + np.exp((np.arange(60) - 20) / 2.5))
    values = np.concatenate([values, values[-1] * fall, np.zeros(750)])
    plates = np.concatenate([plates, plates[-1] - 2.0 * (1 - fall), np.full(750, plates[-1] - 2.0)])
    noise = np.random.default_rng(2).normal(0, 0.02, values.size)
    seconds = np.arange(values.size) / RATE_HZ
    values = values + noise + drift_nm * seconds / seconds[-1]
    return Trace(seconds, np.round(values, 3), np.round(plates / 0.05) * 0.05 if angle else None)


def expanded(result: PullResult) -> tuple[float, float]:
    assert result.breakaway is not None
    assert result.sliding is not None
    return result.breakaway.budget.expanded_u_nm, result.sliding.budget.expanded_u_nm


@pytest.mark.parametrize("bend", [4.0, 8.0, 16.0, 60.0])
def test_plates_that_creep_before_they_let_go_are_read_at_the_top_of_the_knee(bend: float) -> None:
    result = read_pull(pull(bend=bend), SENSOR)
    assert result.breakaway is not None
    assert result.breakaway.torque_nm == pytest.approx(60.0, rel=0.01)
    assert abs(result.breakaway.torque_nm - 60.0) <= result.breakaway.budget.expanded_u_nm
    assert "too_fast" not in [flag.code.value for flag in result.quality]
    assert result.breakaway.first_step_nm is None


def test_a_steady_slope_belongs_to_the_mean() -> None:
    level, falling = np.full(2500, 60.0), np.linspace(60.0, 54.0, 2500)
    even = read_pull(pull(level), SENSOR)
    sloping = read_pull(pull(falling), SENSOR)
    assert expanded(sloping)[1] < expanded(even)[1] + 0.003 * 57.0


def test_a_drift_that_the_rests_follow_is_known_along_its_line() -> None:
    warm, calm = read_pull(pull(drift_nm=1.5), SENSOR), read_pull(pull(), SENSOR)
    assert warm.breakaway is not None
    assert calm.breakaway is not None
    assert warm.breakaway.torque_nm == pytest.approx(calm.breakaway.torque_nm, abs=0.1)
    assert expanded(warm)[0] < expanded(calm)[0] + 0.3


def test_a_slow_release_without_an_angle_may_be_the_sensors() -> None:
    """No lever tells a filter of 50 ms from a hand that opens slowly, so that it is said, and the interval holds both."""
    trace = pull(bend=60.0, angle=False)
    slow, at = np.empty(len(trace)), 0.0
    for number, torque in enumerate(trace.torque_nm):
        at += (torque - at) / (0.05 * RATE_HZ)
        slow[number] = at
    result = read_pull(Trace(trace.time_s, np.round(slow, 3)), SENSOR)
    assert result.breakaway is not None
    assert "slow_sensor" in [flag.code.value for flag in result.quality]
    assert result.breakaway.torque_nm + result.breakaway.budget.expanded_u_nm >= 60.0
