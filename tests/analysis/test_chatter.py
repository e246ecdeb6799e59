"""Slips are counted by what the plates do: a lever that rings makes none, small ones between large ones are slips all the same."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.pull.reading import read_pull
from analysis.results import PullResult
from analysis.trace import Trace

RATE_HZ = 1000.0
STIFF_NM_DEG = 20.0


def stick_slip(
    falls_nm: tuple[float, ...], *, rings: float, ring_hz: float, with_angle: bool, decay_s: float = 0.06, cycles: int = 24
) -> Trace:
    """A lever wound up at 10 N.m a second over plates that stick, and slip by these falls in turn from 40 N.m.

    After each fall the lever rings, by `rings` of it and at `ring_hz`, over plates that stand: its angle swings with the torque.
    """
    climb_nm_s, top_nm = 40.0, 40.0
    torque = [np.zeros(1000)]
    ramp = np.arange(0.0, top_nm, climb_nm_s / RATE_HZ)
    torque.append(ramp)
    level, plates, turned = top_nm, 0.0, [np.zeros(1000 + ramp.size)]
    rng = np.random.default_rng(3)
    for number in range(cycles):
        fall = falls_nm[number % len(falls_nm)] * rng.uniform(0.95, 1.05)
        count = round(fall / climb_nm_s * RATE_HZ)
        s = np.arange(count) / RATE_HZ
        sudden = np.minimum(s / 0.004, 1.0)
        ring = rings * fall * np.exp(-s / decay_s) * np.cos(2 * np.pi * ring_hz * (s - 0.004)) * (s > 0.004)
        torque.append(level - fall * sudden + climb_nm_s * s - ring)
        plates += fall / STIFF_NM_DEG
        turned.append(plates - fall / STIFF_NM_DEG * (1 - sudden))
        level = float(level - fall + climb_nm_s * count / RATE_HZ)
    torque.append(np.concatenate([np.linspace(level, 0.0, 60), np.zeros(1000)]))
    turned.append(np.full(1060, plates))
    values, way = np.concatenate(torque), np.concatenate(turned)
    seconds = np.arange(values.size) / RATE_HZ
    # The hand turns the unit on while it slides: a tenth of the way is sliding between the slips.
    angle = np.round((values / STIFF_NM_DEG + 4.0 * way) / 0.01) * 0.01
    return Trace(seconds, np.round(values + 0.02 * rng.standard_normal(values.size), 3), angle if with_angle else None)


def rate(result: PullResult) -> float:
    assert result.chatter.present is True
    assert result.chatter.frequency_hz is not None
    return result.chatter.frequency_hz


@pytest.mark.parametrize("with_angle", [True, False], ids=["with angle", "no angle"])
@pytest.mark.parametrize(
    ("rings", "ring_hz", "decay_s"), [(0.3, 15.0, 0.06), (0.5, 12.0, 0.06), (0.9, 25.0, 0.06), (1.0, 25.0, 0.15)]
)
def test_a_lever_that_rings_makes_no_slips(rings: float, ring_hz: float, decay_s: float, with_angle: bool) -> None:
    if rings > 0.6 and not with_angle:
        pytest.skip("nothing but an angle tells ringing so high from another slip")
    result = read_pull(stick_slip((12.0,), rings=rings, ring_hz=ring_hz, with_angle=with_angle, decay_s=decay_s))
    assert rate(result) == pytest.approx(40.0 / 12.0, rel=0.08)
    assert result.chatter.peak_to_peak_nm == pytest.approx(12.0 * (1 + rings), rel=0.15)


@pytest.mark.parametrize("with_angle", [True, False], ids=["with angle", "no angle"])
def test_small_slips_between_large_ones_are_counted(with_angle: bool) -> None:
    falls = (12.0, 3.0, 5.0)
    result = read_pull(stick_slip(falls, rings=0.0, ring_hz=20.0, with_angle=with_angle, cycles=36))
    assert rate(result) == pytest.approx(40.0 / np.mean(falls), rel=0.08)
    assert result.chatter.peak_to_peak_nm == pytest.approx(5.0, rel=0.15)


def test_a_slow_sensor_shows_that_plates_chatter_but_neither_how_often_nor_how_high() -> None:
    trace = stick_slip((12.0,), rings=0.0, ring_hz=20.0, with_angle=True)
    slow, keep = np.empty(len(trace)), 1.0 / RATE_HZ / 0.03
    at = 0.0
    for number, torque in enumerate(trace.torque_nm):
        at += keep * (torque - at)
        slow[number] = at
    result = read_pull(Trace(trace.time_s, np.round(slow, 3), trace.angle_deg))
    assert "slow_sensor" in [flag.code.value for flag in result.quality]
    assert result.chatter.present is True
    assert result.chatter.frequency_hz is None
    assert result.chatter.peak_to_peak_nm is None
