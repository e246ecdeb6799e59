"""Modbus: exact dialogues, orders and types, what is no answer, and the source that asks."""

from __future__ import annotations

import math
import struct
import threading
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.clocks import StepClock
from support.wires import pieces_of

from analysis.trace import Trace, join
from analysis.units import Scale
from drivers.codec import Reading
from drivers.items import ConnectionLost, LineUp, LineWarning, SourceItem
from drivers.line import MOST_BYTES, READ_S, Line
from drivers.modbus import ModbusCodec
from drivers.profile import DeviceProfile
from drivers.registers import ModbusFormat, Order, Value, ValueType
from drivers.source import LiveSource
from drivers.wirefile import TapedLine, WirePlayer, WireTape

ONE = Scale(1.0)
TORQUE = Value(register=107, type="int16", scale=ONE, overload=32767)
ANGLE = Value(register=109, type="int16", scale=ONE)
LAYOUT = ModbusFormat(address=0x11, rate_hz=20.0, torque=TORQUE, angle=ANGLE)


def crc(frame: bytes) -> bytes:
    """CRC-16/MODBUS bit by bit, as the serial-line guide describes it (V1.02, 2.5.1.2): a slow twin of the library's table."""
    register = 0xFFFF
    for byte in frame:
        register ^= byte
        for _ in range(8):
            register = (register >> 1) ^ (0xA001 if register & 1 else 0)
    return register.to_bytes(2, "little")


def answer(*registers: int, address: int = 0x11, code: int = 3) -> bytes:
    body = struct.pack(f">BBB{len(registers)}H", address, code, 2 * len(registers), *(register & 0xFFFF for register in registers))
    return body + crc(body)


def refusal(code: int) -> bytes:
    return bytes((0x11, 0x83, code)) + crc(bytes((0x11, 0x83, code)))


def test_one_question_covers_both_values_and_its_answer_is_a_reading() -> None:
    codec = ModbusCodec(LAYOUT)
    body = struct.pack(">BBHH", 0x11, 3, 107, 3)
    assert codec.ask() == body + crc(body)
    assert not codec.answered
    assert codec.feed(answer(555, 0, -100)) == [Reading(555.0, -100.0)]
    assert codec.answered
    assert codec.faults.total == 0


def test_input_registers_and_a_lone_torque_are_asked_too() -> None:
    codec = ModbusCodec(
        ModbusFormat(address=1, rate_hz=10.0, torque=Value(register=0, type="float32", scale=ONE), function="input")
    )
    body = struct.pack(">BBHH", 1, 4, 0, 2)
    assert codec.ask() == body + crc(body)
    words = struct.unpack(">HH", struct.pack(">f", -12.5))
    assert codec.feed(answer(*words, address=1, code=4)) == [Reading(-12.5)]


@pytest.mark.parametrize(
    ("kind", "code", "number"),
    [("int16", ">h", -2), ("uint16", ">H", 65534), ("int32", ">i", -70000), ("uint32", ">I", 4_000_000_000),
     ("float32", ">f", 0.15625), ("float64", ">d", -math.pi)],
)  # fmt: skip
@pytest.mark.parametrize("order", ["ABCD", "CDAB", "BADC", "DCBA"])
def test_every_type_in_every_order(kind: ValueType, code: str, number: float, order: Order) -> None:
    """Bytes laid out here by struct: ABCD as they stand, CDAB words reversed, BADC bytes of each word swapped, DCBA both."""
    data = struct.pack(code, number)
    words = [data[at : at + 2] for at in range(0, len(data), 2)]
    if order in ("CDAB", "DCBA"):
        words.reverse()
    if order in ("BADC", "DCBA"):
        words = [word[::-1] for word in words]
    codec = ModbusCodec(ModbusFormat(address=0x11, rate_hz=10.0, torque=Value(register=5, type=kind, scale=ONE, order=order)))
    codec.ask()
    assert codec.feed(answer(*(int.from_bytes(word, "big") for word in words))) == [Reading(number)]


def test_overload_and_nonsense_numbers() -> None:
    codec = ModbusCodec(LAYOUT)
    codec.ask()
    assert codec.feed(answer(32767, 0, 5)) == [Reading(math.inf, 5.0)]
    assert codec.faults.overload == 1
    codec = ModbusCodec(ModbusFormat(address=0x11, rate_hz=10.0, torque=Value(register=5, type="float32", scale=ONE)))
    for number in (math.nan, math.inf, -math.inf, 3e38):
        codec.ask()
        assert codec.feed(answer(*struct.unpack(">HH", struct.pack(">f", number)))) == []
    assert codec.faults.garbled == 4


def test_what_is_no_answer_is_skipped_and_counted_once_a_run() -> None:
    codec = ModbusCodec(LAYOUT)
    codec.ask()
    whole = answer(1, 2, 3)
    wrong = bytearray(whole)
    wrong[4] ^= 1
    assert codec.feed(b"\x00\xff\x11\x07" + bytes(wrong)) == []
    assert codec.feed(answer(9, 9) + answer(7, 7, 7, address=0x12) + whole) == [Reading(1.0, 3.0)]
    assert codec.faults.garbled == 1


def test_the_echo_of_a_two_wire_adapter_is_no_fault() -> None:
    codec = ModbusCodec(LAYOUT)
    assert codec.feed(codec.ask() + answer(1, 2, 3)) == [Reading(1.0, 3.0)]
    assert codec.faults.total == 0


def test_a_missing_answer_is_a_lost_sample_and_a_half_one_is_garbled() -> None:
    codec = ModbusCodec(LAYOUT)
    codec.ask()
    codec.ask()
    assert (codec.faults.lost, codec.faults.garbled) == (1, 0)
    codec.feed(answer(1, 2, 3)[:6])
    codec.ask()
    assert (codec.faults.lost, codec.faults.garbled) == (1, 1)
    codec.restart()
    codec.ask()
    assert codec.faults.total == 2


def test_a_refusal_says_why() -> None:
    codec = ModbusCodec(LAYOUT)
    codec.ask()
    assert codec.feed(refusal(2)) == []
    assert codec.answered
    assert "no such register" in codec.refusal
    codec.ask()
    codec.feed(answer(1, 2, 3))
    assert codec.refusal == ""


traffic = st.lists(
    st.one_of(
        st.binary(max_size=20),
        st.sampled_from([answer(1, 2, 3), answer(9, 9), refusal(2), refusal(99), answer(1, 2, 3)[:-1], ModbusCodec(LAYOUT).ask()]),
    ),
    max_size=10,
).map(b"".join)


@given(data=traffic, cuts=st.lists(st.integers(0, 300)))
def test_where_the_wire_cuts_does_not_matter(data: bytes, cuts: list[int]) -> None:
    whole, cut, single = ModbusCodec(LAYOUT), ModbusCodec(LAYOUT), ModbusCodec(LAYOUT)
    expected = whole.feed(data)
    assert [reading for part in pieces_of(data, cuts) for reading in cut.feed(part)] == expected
    assert [reading for byte in data for reading in single.feed(bytes([byte]))] == expected
    assert whole.faults == cut.faults == single.faults


@given(at=st.integers(0, 10), mask=st.integers(1, 255))
def test_no_changed_byte_gives_a_sample(at: int, mask: int) -> None:
    """One changed byte is a burst of at most 8 bits, which a 16-bit CRC always finds."""
    codec = ModbusCodec(LAYOUT)
    codec.ask()
    damaged = bytearray(answer(1, 2, 3))
    damaged[at] ^= mask
    assert codec.feed(bytes(damaged)) == []


class AnsweringLine:
    """A device that answers 8 ms after it is asked, with the number of the question.

    `deaf` questions go unanswered; `slow` ones are answered only `slow_s` after they were asked; every seventh answer is `spoilt`.
    """

    def __init__(
        self,
        clock: StepClock,
        deaf: range = range(0),
        slow: range = range(0),
        reply: bytes | None = None,
        spoilt: Callable[[bytes], bytes] = bytes,
        slow_s: float = 0.7,
    ) -> None:
        self.name, self.ended = "P", False
        self._spoilt, self._slow_s = spoilt, slow_s
        self._clock, self._deaf, self._slow, self._reply = clock, deaf, slow, reply
        self._asked = 0
        self._due: list[tuple[float, bytes]] = []
        self.discarded = 0

    def write(self, data: bytes) -> None:
        self._asked += 1
        if self._asked not in self._deaf:
            after_s = self._slow_s if self._asked in self._slow else 0.008
            data = self._reply or answer(self._asked, 0, -self._asked)
            self._due.append((self._clock.moment + after_s, self._spoilt(data) if self._asked % 7 == 0 else data))

    def read(self, most: int = MOST_BYTES) -> bytes:
        if not self._due or self._due[0][0] > self._clock.moment + READ_S:
            self._clock.moment += READ_S
            return b""
        at_s, data = self._due[0]
        self._clock.moment = max(self._clock.moment, at_s)
        self._due[0] = (at_s, data[most:])
        if not data[most:]:
            self._due.pop(0)
        return data[:most]

    def discard(self) -> None:
        self.discarded += sum(at_s <= self._clock.moment for at_s, _ in self._due)
        self._due = [(at_s, data) for at_s, data in self._due if at_s > self._clock.moment]

    def close(self) -> None:
        pass


PROFILE = DeviceProfile(
    name="indicator",
    port="P",
    protocol="modbus",
    capacity_nm=200.0,
    modbus=ModbusFormat(
        address=0x11,
        rate_hz=20.0,
        torque=Value(register=107, type="int16", scale=Scale(0.1)),
        angle=Value(register=109, type="int16", scale=Scale(0.01)),
    ),
)


def run(line: Line, clock: StepClock, until_s: float) -> list[SourceItem]:
    stop = threading.Event()
    clock.at_wait = lambda moment: stop.set() if moment > until_s else None
    return list(LiveSource(PROFILE, clock, lambda port: line, list).pieces(stop))


def test_the_source_asks_at_the_rate_and_stamps_with_the_question() -> None:
    clock = StepClock()
    line = AnsweringLine(clock)
    items = run(line, clock, 10.0)
    whole = join(item for item in items if isinstance(item, Trace))
    assert len(whole) == pytest.approx(200, abs=2)
    assert whole.torque_nm == pytest.approx(np.arange(1, len(whole) + 1) * 0.1)
    assert whole.angle_deg == pytest.approx(-np.arange(1, len(whole) + 1) * 0.01)
    assert np.diff(whole.time_s) == pytest.approx(0.05, abs=1e-6)


def test_questions_without_answer_leave_a_gap() -> None:
    clock = StepClock()
    line = AnsweringLine(clock, deaf=range(50, 53))
    items = run(line, clock, 8.0)
    whole = join(item for item in items if isinstance(item, Trace))
    assert list(whole.torque_nm[47:51] * 10) == pytest.approx([48, 49, 53, 54])
    assert np.diff(whole.time_s)[48] == pytest.approx(0.05 + 3 * 0.5, abs=0.1)


SPOILT: dict[str, Callable[[bytes], bytes]] = {
    "dropped": lambda data: data[:5] + data[6:],
    "flipped": lambda data: data[:4] + bytes((data[4] ^ 0x10,)) + data[5:],
    "half": lambda data: data[: len(data) // 2],
    "doubled byte": lambda data: data[:5] + data[4:],
    "doubled": lambda data: data + data,
    "merged": lambda data: data[:-3] + data,
    "noise before": lambda data: b"\x00\xff\x11\x03" + data,
}


@pytest.mark.parametrize("damage", SPOILT)
def test_damaged_answers_are_counted_and_never_a_sample(damage: str) -> None:
    """The torque tells which question was answered."""
    clock, stop = StepClock(), threading.Event()
    line = AnsweringLine(clock, spoilt=SPOILT[damage])
    clock.at_wait = lambda moment: stop.set() if moment > 60.0 else None
    source = LiveSource(PROFILE, clock, lambda port: line, list)
    whole = join(item for item in source.pieces(stop) if isinstance(item, Trace))
    numbers = np.round(whole.torque_nm * 10).astype(int)
    assert whole.torque_nm * 10 == pytest.approx(numbers)
    assert whole.angle_deg is not None
    assert whole.angle_deg * 100 == pytest.approx(-numbers)
    assert (np.diff(numbers) > 0).all()
    asked, spoilt = numbers[-1], (numbers % 7 == 0).sum()
    if damage == "doubled":
        assert len(numbers) == asked
        assert source.faults.total == 0
    elif damage in ("merged", "noise before"):  # the whole answer stands at the end of what came
        assert spoilt == 0 or len(numbers) == asked
        assert source.faults.garbled >= asked // 7
    else:
        assert spoilt == 0
        assert source.faults.garbled >= asked // 7
        assert len(numbers) >= asked - asked // 7 - 1


def test_a_stall_of_200_ms_costs_no_sample() -> None:
    clock = StepClock()
    whole = join(item for item in run(AnsweringLine(clock, slow=range(50, 60), slow_s=0.2), clock, 10.0) if isinstance(item, Trace))
    assert whole.torque_nm * 10 == pytest.approx(np.arange(1, len(whole) + 1))
    assert np.diff(whole.time_s).max() < 0.25


def test_answers_that_come_too_late_do_not_put_all_later_ones_a_question_behind() -> None:
    """Question 50 is answered after 0.7 s, when 51 has been asked already (0.5 s): one sample is of another moment, no more."""
    clock = StepClock()
    line = AnsweringLine(clock, slow=range(50, 51))
    items = run(line, clock, 8.0)
    whole = join(item for item in items if isinstance(item, Trace))
    numbers = np.round(whole.torque_nm * 10).astype(int)
    assert line.discarded == 1
    assert (np.diff(numbers) > 0).all()
    beats = np.round(whole.time_s / 0.05).astype(int)
    assert (np.diff(beats - numbers)[60:] == 0).all()


def test_a_recording_of_a_polled_line_gives_the_very_pieces(tmp_path: Path) -> None:
    clock = StepClock()
    tape = WireTape(tmp_path / "polled.wire", clock, {})
    live = run(TapedLine(AnsweringLine(clock, deaf=range(40, 42)), tape), clock, 6.0)
    tape.close()
    player = WirePlayer(tmp_path / "polled.wire")
    source = LiveSource(PROFILE, player, lambda port: player, list)
    again = list(source.pieces(threading.Event()))
    first, second = (join(item for item in items if isinstance(item, Trace)) for items in (live, again))
    assert second.torque_nm == pytest.approx(first.torque_nm)
    assert second.time_s == pytest.approx(first.time_s, abs=1e-5)
    assert source.faults.lost == 2


def test_a_mute_device_is_told_and_a_refusal_too() -> None:
    clock = StepClock()
    items = run(AnsweringLine(clock, deaf=range(100, 115)), clock, 14.0)
    away = [item for item in items if isinstance(item, (ConnectionLost, LineUp))]
    assert [type(item).__name__ for item in away] == ["LineUp", "ConnectionLost", "LineUp"]
    assert "must answer when asked" in away[1].remedy
    clock = StepClock()
    items = run(AnsweringLine(clock, reply=refusal(2)), clock, 5.0)
    words = [item for item in items if isinstance(item, LineWarning)]
    assert words[0].what == "the device refuses to give its registers: it has no such register"
