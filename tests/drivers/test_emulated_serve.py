"""Serving the simulated bench on a step clock: nothing is lost, the rate holds, a bad cable does what it says and no more."""

from __future__ import annotations

import threading
from collections import Counter

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.clocks import StepClock

from analysis.errors import BenchError
from drivers.emulated.bench import Bench
from drivers.emulated.devices import TEXT_LAYOUT, TextDevice
from drivers.emulated.faults import BadCable, Faults
from drivers.emulated.scenarios import scenario
from drivers.emulated.serve import serve
from drivers.text import TextCodec

SURE = 1.0


class Collector:
    """An outlet that keeps everything, with the moment it came."""

    name = "collector"
    dropped = 0

    def __init__(self) -> None:
        self.chunks: list[tuple[float, bytes]] = []
        self.plugs: list[str] = []

    def offer(self, chunk: bytes, now_s: float) -> None:
        self.chunks.append((now_s, chunk))

    def receive(self) -> bytes:
        return b""

    def unplug(self) -> None:
        self.plugs.append("out")

    def plug(self) -> None:
        self.plugs.append("in")

    def close(self) -> None:
        self.plugs.append("closed")

    @property
    def data(self) -> bytes:
        return b"".join(chunk for _, chunk in self.chunks)


def bench_of(name: str, rate_hz: float = 1000.0, seed: int = 4) -> Bench:
    chosen = scenario(name)
    return Bench(chosen.workday, chosen.sensor, rate_hz, np.random.default_rng(seed))


def served(seconds: float, name: str = "worn-low", rate_hz: float = 1000.0, waits=None, **options) -> tuple[Collector, int]:
    stop = threading.Event()
    outlet = Collector()

    def at_wait(moment_s: float) -> None:
        if waits is not None:
            clock.moment += waits(moment_s)
        if clock.moment >= seconds:
            stop.set()

    clock = StepClock(0.0, at_wait)
    tally = serve(bench_of(name, rate_hz), TextDevice(), outlet, clock, stop, **options)
    return outlet, tally.samples


def test_every_sample_arrives_as_the_bench_made_it():
    outlet, sent = served(12.0)
    codec = TextCodec(TEXT_LAYOUT)
    readings = codec.feed(outlet.data)
    made = bench_of("worn-low").take(sent)
    assert len(readings) == sent
    assert codec.faults.total == 0
    np.testing.assert_allclose([r.torque for r in readings], made.torque_nm, atol=5e-4)
    np.testing.assert_allclose([r.angle for r in readings], made.angle_deg, atol=5e-4)
    np.testing.assert_allclose([r.stamp for r in readings], made.time_s * 1e6, atol=0.5)


@pytest.mark.parametrize("rate_hz", [37.5, 480.0, 1000.0, 10_000.0])
def test_the_rate_holds_exactly(rate_hz):
    outlet, sent = served(3.0, rate_hz=rate_hz)
    assert sent == pytest.approx(3.0 * rate_hz, abs=0.011 * rate_hz + 1)
    for moment_s, _ in outlet.chunks:
        assert moment_s <= 3.01


def test_a_computer_that_stalls_loses_nothing_and_catches_up():
    stalls = iter([0.0] * 50 + [0.7] + [0.0] * 10_000)
    _, sent = served(4.0, waits=lambda moment_s: next(stalls))
    assert sent == pytest.approx(4000, abs=12)


def test_it_ends_after_the_pulls_asked_for_and_tells_their_truth():
    told = []
    _, _ = served(1e9, "spins-free", rate_hz=100.0, tell=told.append, pulls=2)
    assert [truth.scenario for truth in told] == ["spins-free", "spins-free"]
    assert told[0].to_s < told[1].from_s


def carried(faults: Faults, chunks: list[bytes], seed: int = 1) -> tuple[bytes, BadCable]:
    cable = BadCable(faults, np.random.default_rng(seed))
    out = b"".join(cable.carry(chunk, index * 0.01) for index, chunk in enumerate(chunks))
    return out + b"".join(cable.carry(b"", len(chunks) * 0.01 + 1 + k) for k in range(20)), cable


CHUNKS = st.lists(st.binary(min_size=1, max_size=40), min_size=1, max_size=30)


@given(chunks=CHUNKS, seed=st.integers(0, 99))
def test_a_good_cable_changes_nothing(chunks, seed):
    out, cable = carried(Faults(), chunks, seed)
    assert out == b"".join(chunks)
    assert set(cable.counts.values()) == {0}


@given(chunks=CHUNKS, seed=st.integers(0, 99))
def test_split_merge_and_stall_delay_but_keep_every_byte(chunks, seed):
    out, _ = carried(Faults(split=0.4, merge=0.3, stall=0.2), chunks, seed)
    assert b"".join(chunks).startswith(out)
    assert len(b"".join(chunks)) - len(out) <= 60  # what the last split or merge still holds


@given(chunks=CHUNKS, seed=st.integers(0, 99))
def test_dropped_and_flipped_bytes_are_counted(chunks, seed):
    sent = b"".join(chunks)
    out, cable = carried(Faults(drop=0.1), chunks, seed)
    assert len(out) == len(sent) - cable.counts["drop"]
    out, cable = carried(Faults(flip=0.1), chunks, seed)
    differing = [a ^ b for a, b in zip(out, sent, strict=True) if a != b]
    assert len(differing) == cable.counts["flip"]
    assert all(bit.bit_count() == 1 for bit in differing)


@given(chunks=CHUNKS)
def test_doubled_chunks_come_twice(chunks):
    cable = BadCable(Faults(double=SURE), np.random.default_rng(1))
    for chunk in chunks:
        assert cable.carry(chunk, 0.0) == 2 * chunk
    assert cable.counts["double"] == len(chunks)


def test_a_burst_adds_bytes_but_keeps_what_was_sent():
    cable = BadCable(Faults(burst=SURE), np.random.default_rng(1))
    out = cable.carry(b"abc", 0.0)
    assert out.startswith(b"abc")
    assert 3 <= len(out) - 3 < 60


def test_a_stall_lasts_a_fifth_of_a_second_and_then_all_comes_at_once():
    cable = BadCable(Faults(stall=SURE), np.random.default_rng(1))
    assert cable.carry(b"a", 0.0) == b""
    cable.faults = Faults()
    assert cable.carry(b"b", 0.1) == b""
    assert cable.carry(b"c", 0.21) == b"abc"


def test_the_same_seed_spoils_the_same_way():
    faults = Faults(drop=0.02, flip=0.02, split=0.1, merge=0.1, double=0.05, burst=0.05, stall=0.02)
    chunks = [bytes([k % 251]) * 20 for k in range(300)]
    assert carried(faults, chunks, 3)[0] == carried(faults, chunks, 3)[0]
    assert carried(faults, chunks, 3)[0] != carried(faults, chunks, 4)[0]


def test_the_plug_comes_out_and_goes_back():
    cable = BadCable(Faults(unplug=20), np.random.default_rng(1))
    outlet, sent = served(30.0, rate_hz=100.0, cable=cable)
    assert cable.counts["unplug"] >= 3
    assert Counter(outlet.plugs)["out"] == cable.counts["unplug"]
    assert outlet.plugs[:4] == ["out", "in", "out", "in"]
    codec = TextCodec(TEXT_LAYOUT)
    stamps = [reading.stamp for reading in codec.feed(outlet.data)]
    assert len(stamps) < sent  # what was sent meanwhile is gone
    assert max(np.diff(stamps)) > 0.4e6  # and the gap is a gap in time
    assert codec.faults.total == 0


@pytest.mark.parametrize("text", ["nonsense", "drop", "drop=much", "drop=1.5", "drop=-1", "unplug=100", "flop=0.1"])
def test_faults_that_make_no_sense_are_refused(text):
    with pytest.raises(BenchError, match="drop, flip, split"):
        Faults.parse(text)


def test_faults_are_read():
    assert Faults.parse(" drop=1e-4, stall=0.02 ,unplug=2") == Faults(drop=1e-4, stall=0.02, unplug=2)
