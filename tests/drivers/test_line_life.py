"""A bad cable, from bytes to pieces: every fault of the list, counted truthfully; and a real pseudo-terminal pulled and plugged."""

from __future__ import annotations

import os
import random
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from support.clocks import StepClock
from support.wires import ScriptedLine

from analysis.trace import Trace, join
from drivers.clock import SystemClock
from drivers.codec import Reading
from drivers.frames import Description, encode_description, encode_samples
from drivers.items import ConnectionLost, LineUp, LineWarning, SourceItem
from drivers.line import PortInfo, SerialLine
from drivers.profile import DeviceProfile, Protocol
from drivers.source import LiveSource
from drivers.text import Column, TextFormat, encode_line

STAMPED = TextFormat(columns=(Column("time", "us"), Column("torque", "N.m"), Column("angle", "deg")))
WHAT = Description(torque_bytes=4, angle_bytes=4, period_ns=1_000_000, torque_per_count=0.001, angle_per_count=0.001, name="cable")
RATE_HZ = 1000


def torque_at(number: int) -> float:
    """A torque that tells its sample's number, so that a wrong one is known (mod 100 000 thousandths)."""
    return number % 100_000 / 1000


def text_of(first: int, last: int) -> list[bytes]:
    """Lines of the samples first..last-1."""
    return [encode_line(STAMPED, Reading(torque_at(n), -n % 360, n * 1000)) for n in range(first, last)]


def frames_of(first: int, last: int, ahead_s: int = 0) -> list[bytes]:
    """Frames of five samples, the description once every half second. The clock, not the number, may run ahead."""
    sent = []
    for n in range(first, last, 5):
        sent += [encode_description(WHAT)] if n % 500 == 0 else []
        counts = [(round(torque_at(k) * 1000), -k % 360 * 1000) for k in range(n, n + 5)]
        sent.append(encode_samples(WHAT, n, (n + 4) * 1000 + ahead_s * 10**6, counts))
    return sent


SENDERS = {"text": text_of, "frames": frames_of}


def profile(protocol: Protocol, port: str = "P", patience_s: float = 10.0) -> DeviceProfile:
    text = STAMPED if protocol == "text" else None
    return DeviceProfile(name="cable", port=port, protocol=protocol, capacity_nm=200.0, patience_s=patience_s, text=text)


def received(protocol: Protocol, reads: list[bytes]) -> tuple[list[SourceItem], LiveSource]:
    """What a source makes of these reads of 20 ms each."""
    stop, clock = threading.Event(), StepClock()
    start = b"\r\n" if protocol == "text" else b"\0"
    line = ScriptedLine(clock, [start, *reads], at_end=stop.set)
    source = LiveSource(profile(protocol), clock, lambda port: line, list)
    return list(source.pieces(stop)), source


def damaged(units: list[bytes], damage: str, rng: random.Random) -> tuple[list[bytes], int]:
    """One unit (line or frame) in fifty damaged, never two in a row; how many."""
    result, count = [], 0
    for at, unit in enumerate(units):
        if at % 50 != 25:
            result.append(unit)
            continue
        count += 1
        where = rng.randrange(len(unit) - 3)
        result.append(
            {
                "dropped": unit[:where] + unit[where + 1 :],
                "flipped": unit[:where] + bytes((unit[where] ^ 0x80,)) + unit[where + 1 :],
                "doubled unit": unit + unit,
                "merged": unit.rstrip(b"\r\n\0"),
                "half": unit[: len(unit) // 2] + unit[-1:],
            }[damage]
        )
    return result, count


def in_reads(units: list[bytes], a_read: int) -> list[bytes]:
    return [b"".join(units[at : at + a_read]) for at in range(0, len(units), a_read)]


def whole_of(items: list[SourceItem]) -> Trace:
    return join(item for item in items if isinstance(item, Trace))


@pytest.mark.parametrize("protocol", ["text", "frames"])
@pytest.mark.parametrize("damage", ["flipped", "doubled unit", "merged", "half"])
def test_damage_is_counted_and_no_false_sample_gets_through(protocol: Protocol, damage: str) -> None:
    """A flip of the highest bit makes no digit of a digit. Of a merged pair neither is read."""
    units, count = damaged(SENDERS[protocol](0, 10_000), damage, random.Random(7))
    items, source = received(protocol, in_reads(units, 20 if protocol == "text" else 4))
    whole = whole_of(items)
    numbers = np.round(whole.time_s * RATE_HZ).astype(int) + round(float(whole.torque_nm[0]) * 1000)
    assert whole.torque_nm == pytest.approx([torque_at(n) for n in numbers], rel=1e-6)
    assert (np.diff(whole.time_s) > 0).all()
    faults = source.faults
    if damage == "doubled unit":
        assert len(whole) == 10_000
        assert faults.garbled >= count
    else:
        assert count <= faults.garbled + faults.overlong <= 2 * count + 2
        assert len(whole) >= 10_000 - 12 * count


@pytest.mark.parametrize("protocol", ["text", "frames"])
@pytest.mark.parametrize("block", [2, 3, 10])
def test_a_block_that_comes_twice_brings_no_sample_twice(protocol: Protocol, block: int) -> None:
    """A bridge or a driver repeats a whole buffer, not just a line."""
    units = SENDERS[protocol](0, 10_000)
    blocks = [units[at : at + block] for at in range(0, len(units), block)]
    twice = range(30, len(blocks), 60)
    reads = in_reads(
        [unit for at, each in enumerate(blocks) for unit in each * (1 + (at in twice))], 20 if protocol == "text" else 4
    )
    items, source = received(protocol, reads)
    whole = whole_of(items)
    assert whole.torque_nm == pytest.approx([torque_at(n) for n in range(10_000)], rel=1e-6)
    assert whole.duration_s == pytest.approx(9.999, abs=1e-6)
    assert (
        len(twice) * (block - 1) <= source.faults.garbled <= len(twice) * block
    )  # a description may be in it, which may come twice
    assert source.faults.lost == 0


def test_a_dropped_byte_in_a_frame_is_never_a_sample() -> None:
    units, count = damaged(frames_of(0, 20_000), "dropped", random.Random(8))
    items, source = received("frames", in_reads(units, 4))
    whole = whole_of(items)
    assert source.faults.garbled == count
    numbers = np.round(whole.torque_nm * 1000).astype(int)
    assert np.isin(numbers, np.arange(20_000)).all()
    assert source.faults.lost == 20_000 - len(whole) - (numbers[0] if numbers[0] else 0)


def test_a_dropped_byte_in_text_may_pass_for_a_number_and_is_why_frames_exist() -> None:
    """Text has no check sum: this test states the known limit, that some damaged lines do read as numbers."""
    units, count = damaged(text_of(0, 20_000), "dropped", random.Random(8))
    items, source = received("text", in_reads(units, 20))
    assert source.faults.garbled > 0
    assert 20_000 - count <= len(whole_of(items)) <= 20_000


@pytest.mark.parametrize("protocol", ["text", "frames"])
def test_a_stall_of_200_ms_loses_nothing(protocol: Protocol) -> None:
    units = SENDERS[protocol](0, 10_000)
    a_read = 20 if protocol == "text" else 4
    reads = in_reads(units, a_read)
    reads[200:210] = [b""] * 9 + [b"".join(reads[200:210])]
    items, source = received(protocol, reads)
    whole = whole_of(items)
    assert len(whole) == 10_000
    assert np.diff(whole.time_s) == pytest.approx(1 / RATE_HZ, abs=1e-9)
    assert source.faults.total == 0


@pytest.mark.parametrize("protocol", ["text", "frames"])
def test_a_clock_or_counter_that_jumps_is_told_and_time_goes_on(protocol: Protocol) -> None:
    """Text: the stamp jumps by 900 s. Frames: the clock does, while the numbers go on."""
    if protocol == "text":
        reads = in_reads(text_of(0, 5000), 20) + in_reads(text_of(905_000, 910_000), 20)
    else:
        reads = in_reads(frames_of(0, 5000), 4) + in_reads(frames_of(5000, 10_000, ahead_s=900), 4)
    items, source = received(protocol, reads)
    whole = whole_of(items)
    assert len(whole) == 10_000
    assert whole.duration_s == pytest.approx(10.0, abs=0.1)
    assert [item.what for item in items if isinstance(item, LineWarning)] == ["the device's clock or counter jumped"]
    assert source.faults.lost == 0


@pytest.mark.skipif(sys.platform == "win32", reason="this system has no pseudo-terminals")
class TestPulledAndPlugged:
    """A pseudo-terminal behind a link; unplugging closes it, replugging makes another under the same or another name."""

    @pytest.fixture
    def plug(self, tmp_path: Path) -> Iterator[Plug]:
        made = Plug(tmp_path / "port")
        yield made
        made.close()

    @pytest.mark.parametrize("other_name", [False, True])
    def test_nothing_captured_is_lost_and_it_goes_on(self, plug: Plug, other_name: bool) -> None:
        stop, said = threading.Event(), []
        source = LiveSource(
            profile("text", str(plug.link)), SystemClock(), lambda port: SerialLine(port, 115200, streams=True), plug.ports
        )
        number = 0
        for item in source.pieces(stop):
            said.append(item)
            whole = whole_of(said)
            if isinstance(item, LineUp):
                plug.send(b"\r\n" + b"".join(text_of(number, number + 100)))
                number += 100
            elif isinstance(item, Trace) and len(whole) == 100 and not plug.pulled:
                plug.pull(other_name)
            elif isinstance(item, Trace) and len(whole) >= 200:
                stop.set()
            elif isinstance(item, ConnectionLost):
                plug.plug()
        whole = whole_of(said)
        assert [type(item) for item in said if not isinstance(item, Trace)] == [LineUp, ConnectionLost, LineUp]
        assert whole.torque_nm == pytest.approx([torque_at(n) for n in range(200)])
        assert np.diff(whole.time_s)[99] > 0.1
        names = [item.name for item in said if isinstance(item, LineUp)]
        assert (names[1] != names[0]) is other_name


class Plug:
    """The far end of a pseudo-terminal that a link points to, with an identity of its own."""

    def __init__(self, link: Path) -> None:
        self.link, self.pulled = link, False
        self._name = link
        self._end: int | None = None
        self.plug()

    def plug(self) -> None:
        import pty
        import tty

        self._end, slave = pty.openpty()
        tty.setraw(slave)
        self._name.symlink_to(os.ttyname(slave))
        os.close(slave)

    def pull(self, other_name: bool) -> None:
        """Take it out; it will come back under another name or the same."""
        self.pulled = True
        self._name.unlink()
        self.close()
        self._name = self.link.with_name("port under another name") if other_name else self.link

    def send(self, data: bytes) -> None:
        assert self._end is not None
        os.write(self._end, data)

    def close(self) -> None:
        if self._end is not None:
            os.close(self._end)
        self._end = None

    def ports(self) -> list[PortInfo]:
        return [PortInfo(str(self._name), "made up", "1234:abcd:S1")] if self._end is not None else []
