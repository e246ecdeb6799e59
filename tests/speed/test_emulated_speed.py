"""The simulated bench must leave the machine to those who read it: its work against the time it plays."""

from __future__ import annotations

import time

import numpy as np
import pytest

from drivers.emulated.bench import Bench
from drivers.emulated.devices import device_for
from drivers.emulated.scenarios import scenario


@pytest.mark.parametrize(("protocol", "rate_hz"), [("text", 1000.0), ("frames", 10_000.0)])
def test_a_pull_takes_a_quarter_of_its_own_time_at_most(protocol, rate_hz):
    chosen = scenario("chattering-plates")
    bench = Bench(chosen.workday, chosen.sensor, rate_hz, np.random.default_rng(1))
    device = device_for(protocol, rate_hz)
    chunk = round(rate_hz / 100)
    bench.take(round(4.5 * rate_hz))  # by then the first pull is under way
    began_s = time.process_time()
    for _ in range(300):
        device.speak(bench.take(chunk), b"")
    assert time.process_time() - began_s < 0.25 * 3.0
