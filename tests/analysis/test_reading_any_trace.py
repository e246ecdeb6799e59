"""Whatever a trace holds: a reading comes back, whole and in bounds, and the finder does not care how the stream was cut."""

from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from analysis.pull.finder import PullFinder
from analysis.pull.reading import read_pull
from analysis.results import QualityCode, Sensor
from analysis.trace import Trace


def torques(rng: np.random.Generator, n: int) -> Iterator[np.ndarray]:
    """Signals of every sort: walks, noise, blows, saws, stairs, a clipped walk, a pull that goes mad, a lone sample."""
    yield rng.normal(0, 1, n).cumsum()
    yield rng.normal(0, 1, n)
    yield np.where(rng.random(n) < 0.02, rng.normal(0, 100, n), 0.0)
    yield np.abs((np.arange(n) * rng.uniform(0.001, 0.3)) % 2 - 1) * rng.uniform(1, 100)
    yield np.repeat(rng.integers(-3, 40, n // 7 + 1), 7)[:n].astype(float)
    yield np.clip(rng.normal(0, 1, n).cumsum(), -3, 3)
    third = n // 3
    yield np.concatenate([np.zeros(third), np.linspace(0, 60, n - 2 * third), 40 + rng.normal(0, 10, third)])
    lone = np.full(n, rng.uniform(-5, 5))
    lone[rng.integers(0, n)] += rng.choice([0.0, 1e-9, 50.0, 1e12])
    yield lone


def angles(rng: np.random.Generator, torque: np.ndarray) -> Iterator[np.ndarray | None]:
    n = torque.size
    yield None
    yield rng.normal(0, 1, n).cumsum()
    yield np.linspace(0, rng.uniform(-400, 400), n)
    yield np.round(rng.normal(0, 1, n).cumsum())
    yield np.cumsum(np.abs(rng.normal(0, 0.1, n)))


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), n=st.integers(2, 3000), rate_hz=st.floats(3, 10_000))
@example(seed=1294, n=327, rate_hz=116.0)  # a filter undone that took the mean of sliding below zero
@example(seed=0, n=57, rate_hz=3.0)  # so slow that the span a tremor is looked for in is a single sample
@example(seed=178, n=2398, rate_hz=3601.0)  # sliding shorter than a few periods of what sways in it
def test_any_trace_is_read_without_a_wrong_number(seed: int, n: int, rate_hz: float) -> None:
    """No exception, no endless loop (a load that got nowhere once made one), nothing below zero, nothing not finite."""
    rng = np.random.default_rng(seed)
    time = np.arange(n) / rate_hz if seed % 2 else np.cumsum(rng.exponential(1 / rate_hz, n) + 1e-7)
    sensor = Sensor(capacity_nm=float(rng.choice([5.0, 200.0]))) if seed % 3 else Sensor()
    for torque in torques(rng, n):
        for angle in angles(rng, torque):
            result = read_pull(Trace(time, torque, angle), sensor)
            assert 0.0 <= result.chatter.score <= 1.0
            for reading in (result.breakaway, result.sliding):
                if reading is not None:
                    assert 0.0 < reading.torque_nm < np.inf
                    assert 0.0 <= reading.budget.expanded_u_nm < np.inf


@pytest.mark.parametrize("cut", [1, 7, 250, 2000])
def test_a_finer_sample_later_does_not_decide_what_came_before(cut: int) -> None:
    """The sensor's step is learnt on the way; the stream cut anywhere must bring the same events as the whole."""
    rest = np.tile([0.0, 1.0], 1000)
    bump = np.tile([2.0, 3.0], 500)
    fine = 0.5 + 0.001 * np.arange(1000)
    torque = np.concatenate([rest, bump, rest, fine, rest])
    trace = Trace(np.arange(torque.size) / 1000, torque)
    whole, parts = PullFinder(), PullFinder()
    expected = [*whole.feed(trace), *whole.finish()]
    found = [event for at in range(0, len(trace), cut) for event in parts.feed(trace.cut(at, at + cut))]
    assert [*found, *parts.finish()] == expected


def test_what_lasts_shorter_than_any_hand_pulls_is_no_pull():
    """A pull of six microseconds was 'nothing held, below' (a wrong unit of time)."""
    ramp = np.minimum(np.arange(1000.0), 700.0) / 10
    result = read_pull(Trace(np.arange(1000) * 6e-9, ramp, np.arange(1000) / 100), Sensor(u_relative=0.005))
    assert result.breakaway is None
    assert result.sliding is None
    assert QualityCode.NO_PULL in {flag.code for flag in result.quality}
