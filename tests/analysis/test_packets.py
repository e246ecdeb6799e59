"""Samples that a radio hands over in packets: what is read of them is what is read of the same samples in time."""

import numpy as np
import pytest
from support.made import made_stream

from analysis.pull.packets import spread_packets
from analysis.pull.reading import read_pull
from analysis.trace import Trace


def in_packets(trace, size, seed=0, lose=()):
    """Each packet arrives up to 30 ms after its last sample; its samples are stamped 0.2 ms apart."""
    rng, stamped = np.random.default_rng(seed), []
    for at in range(0, len(trace), size):
        arrival = trace.time_s[min(at + size, len(trace)) - 1] + rng.uniform(0, 0.03)
        count = min(size, len(trace) - at)
        stamped.append(max(arrival, (stamped[-1][-1] if stamped else 0.0) + 2e-4 * (count + 1)) - 2e-4 * np.arange(count)[::-1])
    time_s = np.concatenate(stamped)
    kept = ~np.isin(np.arange(len(trace)) // size, lose)
    return Trace(time_s[kept], trace.torque_nm[kept], trace.angle_deg[kept])


@pytest.mark.parametrize("size", [6, 14, 32])
def test_a_pull_in_packets_reads_as_the_same_pull_in_time(size):
    trace = made_stream(1, rate_hz=250)
    packed, expected = in_packets(trace, size, seed=size), read_pull(trace)
    found = read_pull(packed)
    assert found.breakaway.torque_nm == pytest.approx(expected.breakaway.torque_nm, rel=0.004)
    assert found.sliding.torque_nm == pytest.approx(expected.sliding.torque_nm, rel=0.002)
    assert found.breakaway.time_s == pytest.approx(expected.breakaway.time_s, abs=0.04)
    assert found.rate_hz == pytest.approx(250, rel=0.01)
    assert {flag.code for flag in found.quality} == {flag.code for flag in expected.quality}


def test_where_packets_were_lost_the_times_follow_the_arrivals():
    trace = made_stream(1, rate_hz=250)
    spread = spread_packets(in_packets(trace, 10, lose=range(40, 65)))
    assert (np.diff(spread.time_s) > 0).all()
    kept = ~np.isin(np.arange(len(trace)) // 10, range(40, 65))
    assert np.abs(spread.time_s - trace.time_s[kept]).max() < 1.1
    assert np.abs(spread.time_s[-500:] - trace.time_s[kept][-500:]).max() < 0.05


@pytest.mark.parametrize("rate_hz", [20, 250, 5000])
def test_even_samples_with_gaps_and_jitter_are_left_alone(rate_hz):
    trace = made_stream(1, rate_hz=rate_hz)
    rng = np.random.default_rng(1)
    kept = np.ones(len(trace), dtype=bool)
    for at in rng.integers(0, len(trace), 12):
        kept[at : at + max(1, len(trace) // 40)] = False
    time_s = trace.time_s + rng.uniform(-0.3, 0.3, len(trace)) / rate_hz
    gappy = Trace(time_s[kept], trace.torque_nm[kept])
    assert spread_packets(gappy) is gappy
