"""What 'static' and 'kinetic' mean in published friction tests, and that breakaway and sliding mean the same.

- Plastic film and sheeting, ASTM D1894 (2024; known from a test house's public description): static from the initial maximum of the
  force, kinetic from the average over uniform sliding after it. It states that it is not equivalent to ISO 8295: a definition
  belongs with each number.
- ISO 8295 (from memory): static from the first force peak, dynamic from the mean over the travel after it, the first peak left out.
- SAE J3192 (known from a summary): static breakaway torque of a brake, the maximum at the start of turning, in each direction.
"""

import numpy as np
import pytest

from analysis.pull.reading import read_pull
from analysis.trace import Trace

RATE_HZ = 1000.0


def pull(sliding_nm: np.ndarray, peak_nm: float, decay_deg: float = 1.0, speed_deg_s: float = 20.0) -> Trace:
    """Rest, ramp in 1 s to the peak, then the sliding curve with the rest of the peak dying away over `decay_deg`; let go, rest."""
    rest, ramp = np.zeros(1000), np.linspace(0, peak_nm, 1000, endpoint=False)
    along = np.arange(sliding_nm.size) / RATE_HZ * speed_deg_s
    torque = np.concatenate([rest, ramp, sliding_nm + (peak_nm - sliding_nm[0]) * np.exp(-along / decay_deg), np.zeros(500)])
    angle = np.concatenate([rest, ramp / 60, peak_nm / 60 + along, np.full(500, peak_nm / 60 + along[-1])])
    torque += 0.05 * np.random.default_rng(11).standard_normal(torque.size)
    return Trace(np.arange(torque.size) / RATE_HZ, torque, np.round(angle, 2))


def test_static_is_the_initial_maximum_and_kinetic_the_mean_of_uniform_sliding() -> None:
    level = np.full(4000, 50.0)
    result = read_pull(pull(level, 60.0))
    assert result.breakaway is not None
    assert result.sliding is not None
    assert result.breakaway.torque_nm == pytest.approx(60.0, rel=0.005)
    assert result.sliding.torque_nm == pytest.approx(50.0, rel=0.003)


def test_a_later_larger_torque_is_not_static() -> None:
    """Friction that climbs while sliding (wear, heat) may pass the first peak; the static value stays that of the first peak."""
    climbing = np.linspace(50.0, 75.0, 6000)
    result = read_pull(pull(climbing, 62.0))
    assert result.breakaway is not None
    assert result.sliding is not None
    assert result.breakaway.torque_nm == pytest.approx(62.0, rel=0.01)
    assert result.breakaway.time_s == pytest.approx(2.0, abs=0.02)
    assert result.sliding.torque_nm == pytest.approx(float(climbing.mean()), rel=0.02)
    assert result.sliding.slope_nm_per_deg == pytest.approx(25.0 / 120.0, rel=0.05)


def test_kinetic_leaves_the_first_peak_out() -> None:
    """A tall, short first peak must not lift the mean over the travel after it."""
    result = read_pull(pull(np.full(5000, 40.0), 90.0, decay_deg=1.5))
    assert result.sliding is not None
    assert result.sliding.torque_nm == pytest.approx(40.0, rel=0.004)


def test_both_directions_give_one_maximum_each() -> None:
    there = pull(np.full(3000, 50.0), 60.0)
    back = Trace(there.time_s, -there.torque_nm, None if there.angle_deg is None else -there.angle_deg)
    first, second = read_pull(there), read_pull(back)
    assert (first.direction, second.direction) == (1, -1)
    assert first.breakaway is not None
    assert second.breakaway is not None
    assert second.breakaway.torque_nm == pytest.approx(first.breakaway.torque_nm, rel=1e-9)
