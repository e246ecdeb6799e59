"""The live source: from scripted bytes on a step clock to pieces, and the life of the line."""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Iterable
from dataclasses import replace

import numpy as np
import pytest
from support.clocks import StepClock
from support.wires import GONE, ScriptedLine

from analysis.trace import Trace, join
from drivers.codec import Reading
from drivers.errors import LineLostError
from drivers.items import ConnectionLost, LineUp, LineWarning, SourceItem
from drivers.line import PortInfo
from drivers.profile import DeviceProfile
from drivers.source import SILENT_AFTER_S, LiveSource
from drivers.text import Column, TextFormat, encode_line

LBF_FT = 0.3048 * 0.45359237 * 9.80665  # N.m, exact
STAMPED = TextFormat(columns=(Column("time", "ms"), Column("torque", "lbf.ft"), Column("angle", "rad")))
BARE = TextFormat(columns=(Column("torque", "N.m"),), rate_hz=500.0)


def profile(layout: TextFormat = STAMPED) -> DeviceProfile:
    return DeviceProfile(name="bench", port="P", protocol="text", capacity_nm=200.0, patience_s=10.0, text=layout)


def sent(from_ms: int, to_ms: int, torque: str = "10") -> list[bytes]:
    """What a 500 Hz device sends in reads of 20 ms."""
    return [b"".join(f"{ms},{torque},0.5\r\n".encode() for ms in range(at, at + 20, 2)) for at in range(from_ms, to_ms, 20)]


def collect(
    scripts: Iterable[Iterable[object]],
    layout: TextFormat = STAMPED,
    *,
    until: Callable[[float], bool] = lambda moment: False,
    ports: Callable[[], list[PortInfo]] = list,
    opened: list[str] | None = None,
) -> tuple[list[SourceItem], object]:
    """Everything a source gives; each opening gets the next script, an opening without one is refused."""
    stop = threading.Event()
    clock = StepClock(at_wait=lambda moment: stop.set() if until(moment) else None)
    waiting = iter(scripts)

    def open_line(port: str) -> ScriptedLine:
        script = next(waiting, None)
        if script is None:
            raise LineLostError("there is no such port", where=port)
        if opened is not None:
            opened.append(port)
        return ScriptedLine(clock, script, port, at_end=lambda: stop.set() if until(clock.moment) else None)

    source = LiveSource(profile(layout), clock, open_line, ports)
    items: list[SourceItem] = []
    try:
        items.extend(source.pieces(stop))
    except LineLostError as error:
        return items, error
    return items, source


def traces(items: list[SourceItem]) -> Trace:
    return join(item for item in items if isinstance(item, Trace))


def after(moment_s: float) -> Callable[[float], bool]:
    return lambda moment: moment >= moment_s


def test_pieces_are_in_si_with_the_sign_as_sent() -> None:
    items, source = collect([[b"\r\n", *sent(0, 1000, "-10")]], until=after(1.0))
    assert isinstance(items[0], LineUp)
    whole = traces(items)
    assert len(whole) == 500
    assert whole.torque_nm == pytest.approx(np.full(500, -10 * LBF_FT), rel=1e-12)
    assert whole.angle_deg == pytest.approx(np.full(500, np.degrees(0.5)), rel=1e-12)
    assert whole.time_s == pytest.approx(np.arange(500) / 500, abs=1e-9)
    assert source.faults.total == 0


def test_a_bare_torque_line_has_no_angle_and_a_uniform_clock() -> None:
    items, _ = collect([[b"\n", *[b"5.0\n" * 10 for _ in range(100)]]], BARE, until=after(2.0))
    whole = traces(items)
    assert whole.angle_deg is None
    assert len(whole) == 1000
    assert np.diff(whole.time_s) == pytest.approx(0.002, rel=0.01)


def test_an_overload_is_kept_at_the_limit_and_told_once_a_while() -> None:
    script = [b"\r\n", *sent(0, 200, "-140"), *sent(200, 600, "OL"), *sent(600, 800, "-140")]
    items, source = collect([script], until=after(1.0))
    whole = traces(items)
    clipped = (whole.time_s >= 0.2) & (whole.time_s < 0.6 - 1e-9)
    assert (whole.torque_nm[clipped] == -200.0).all()
    assert clipped.sum() == source.faults.overload == 200
    assert [item.what for item in items if isinstance(item, LineWarning)] == ["the device says its sensor is overloaded"]


def test_an_overload_never_reads_less_than_what_came_before_it() -> None:
    """The profile claims 200 N.m, the sensor bears 500: else the torque would seem to fall just where it is highest."""
    values = ["150", "420", "OL", "OL", "410", "-430", "-OL", "10", "OL"]
    lines = [f"{20 * at},{value}\r\n".encode() for at, value in enumerate(values)]
    layout = TextFormat(columns=(Column("time", "ms"), Column("torque", "N.m")))
    items, _ = collect([[b"\r\n", b"".join(lines[:3]), *lines[3:]]], layout, until=after(1.0))
    assert list(traces(items).torque_nm) == [150, 420, 420, 420, 410, -430, -430, 10, 200]


def test_a_torque_that_no_sensor_can_read_was_damaged_on_the_way() -> None:
    """A decimal point is lost: 51.320 becomes 51320. The hole stays a hole."""
    chunks = sent(0, 400, "51.320")
    chunks[7] = chunks[7].replace(b"51.320", b"51320", 1)
    items, source = collect([[b"\r\n", *chunks]], until=after(1.0))
    whole = traces(items)
    assert len(whole) == 199
    assert whole.torque_nm == pytest.approx(51.32 * LBF_FT)
    assert np.diff(whole.time_s).max() == pytest.approx(0.004)
    assert source.faults.garbled == 1
    assert not any(isinstance(item, LineWarning) for item in items)


@pytest.mark.parametrize("nines", ["9999.99", "-99999", "999.9"])
def test_a_row_of_nines_beyond_reach_says_overloaded(nines: str) -> None:
    items, source = collect([[b"\r\n", *sent(0, 100, "140"), *sent(100, 200, nines)]], until=after(1.0))
    assert np.abs(traces(items).torque_nm[50:]) == pytest.approx(200.0)
    assert (source.faults.overload, source.faults.garbled) == (50, 0)
    assert [item.what for item in items if isinstance(item, LineWarning)] == ["the device says its sensor is overloaded"]


def test_a_profile_whose_unit_is_far_off_is_told_once() -> None:
    items, source = collect([[b"\r\n", *sent(0, 2000, "46800")]], until=after(3.0))
    assert not any(isinstance(item, Trace) for item in items)
    assert [item.what for item in items if isinstance(item, LineWarning)] == [
        "the torque that arrives is far beyond the sensor's capacity"
    ]
    assert source.faults.garbled == 1000


def test_an_unplugged_line_comes_back_and_time_goes_on() -> None:
    first, second = [b"\r\n", *sent(0, 1000), b"1000,1", GONE], [b"5,0.5\r\n", *sent(40, 1040)]
    items, source = collect([first, second], until=after(2.3))
    kinds = [type(item).__name__ for item in items if not isinstance(item, Trace)]
    assert kinds == ["LineUp", "ConnectionLost", "LineUp"]
    whole = traces(items)
    assert len(whole) == 1000
    assert np.diff(whole.time_s).max() == pytest.approx(0.27, abs=0.03)
    assert source.faults.garbled == 0


def test_a_line_that_does_not_come_back_ends_after_the_patience() -> None:
    items, error = collect([[b"\r\n", *sent(0, 1000), GONE]])
    assert isinstance(error, LineLostError)
    assert "did not come back within 10 s" in str(error)
    assert len(traces(items)) == 500
    assert isinstance(items[-1], ConnectionLost)


def test_a_line_that_flaps_without_a_word_ends_too() -> None:
    items, error = collect([[b"\r\n", *sent(0, 1000), GONE], *([[GONE]] * 1000)])
    assert isinstance(error, LineLostError)
    assert len(items) < 200


def test_a_port_that_cannot_be_opened_at_first_is_told_at_once() -> None:
    items, error = collect([])
    assert items == []
    assert isinstance(error, LineLostError)


def test_the_device_is_found_under_another_name() -> None:
    here = [[PortInfo("P", "", "12:34:S1"), PortInfo("Q", "", "56:78:S9")]]
    opened: list[str] = []

    def ports() -> list[PortInfo]:
        return here[0]

    def unplug(script: list[object]) -> Iterable[object]:
        yield from script
        here[0] = [PortInfo("P", "", "56:78:S9"), PortInfo("R", "", "12:34:S1")]
        yield GONE

    first, second = unplug([b"\r\n", *sent(0, 200)]), [b"\r\n", *sent(0, 200)]
    items, _ = collect([first, second], until=after(1.5), ports=ports, opened=opened)
    assert opened == ["P", "R"]
    assert [item.name for item in items if isinstance(item, LineUp)] == ["P", "R"]
    assert len(traces(items)) == 200


def test_a_stranger_under_the_old_name_is_not_taken_for_the_device() -> None:
    here = [[PortInfo("P", "", "12:34:S1")]]
    opened: list[str] = []

    def unplug() -> Iterable[object]:
        yield b"\r\n"
        here[0] = [PortInfo("P", "", "56:78:S9")]
        yield GONE

    _, error = collect([unplug(), sent(0, 200)], ports=lambda: here[0], opened=opened)
    assert opened == ["P"]
    assert isinstance(error, LineLostError)


@pytest.mark.parametrize(
    ("own", "before", "after_it", "found"),
    [
        ("12:34:at 1-2", [], ["12:34:at 1-4"], True),  # the same bridge in another socket
        ("12:34:at 1-2", ["12:34:at 1-3"], ["12:34:at 1-3"], False),  # the neighbour's, which was there all the time
        ("12:34:at 1-2", ["12:34:at 1-3"], ["12:34:at 1-3", "12:34:at 1-4"], True),
        ("12:34:at 1-2", [], ["12:34:at 1-4", "12:34:at 1-5"], False),  # which of the two?
        ("12:34:at 1-2", [], ["12:35:at 1-2"], False),
        ("12:34:S1", [], ["12:34:S2"], False),  # one of the same make, but not ours
        ("12:34:S1", [], ["12:34:at 1-2"], False),
    ],
)
def test_a_bridge_in_another_socket_is_found_and_no_other_is_taken_for_it(
    own: str, before: list[str], after_it: list[str], found: bool
) -> None:
    here = [[PortInfo("P", "", own), *(PortInfo(f"Q{at}", "", each) for at, each in enumerate(before))]]
    opened: list[str] = []

    def unplug() -> Iterable[object]:
        yield b"\r\n"
        here[0] = [PortInfo(f"Q{at}", "", each) for at, each in enumerate(after_it)]
        yield GONE

    collect([unplug(), [b"\r\n", *sent(0, 200)]], until=after(1.5), ports=lambda: here[0], opened=opened)
    assert opened == (["P", f"Q{len(after_it) - 1}"] if found else ["P"])


def test_the_last_reason_why_it_did_not_open_is_told() -> None:
    """It is back, but another program took it first, or its permissions are not set."""
    clock = StepClock()
    lines = iter([ScriptedLine(clock, [GONE], "P")])

    def open_line(port: str) -> ScriptedLine:
        line = next(lines, None)
        if line is None:
            raise LineLostError("the port is in use by another program", where=port, remedy="close that program")
        return line

    source = LiveSource(profile(), clock, open_line, list)
    with pytest.raises(LineLostError, match=r"did not come back within 10 s \(the port is in use.*close that program"):
        list(source.pieces(threading.Event()))


def test_a_silent_device_is_told_then_given_up() -> None:
    items, error = collect([[b"\r\n", *sent(0, 200)]])
    away = [item for item in items if isinstance(item, ConnectionLost)]
    assert [item.what for item in away] == ["the line is open but nothing arrives"]
    assert isinstance(error, LineLostError)
    assert "nothing has arrived for 10 s" in str(error)


def test_a_silent_device_that_speaks_again_is_up_again() -> None:
    pause = [b""] * int((SILENT_AFTER_S + 1) / 0.02)
    items, _ = collect([[b"\r\n", *sent(0, 200), *pause, *sent(4200, 4400)]], until=after(4.5))
    assert [type(item).__name__ for item in items if not isinstance(item, Trace)] == ["LineUp", "ConnectionLost", "LineUp"]
    whole = traces(items)
    assert np.diff(whole.time_s).max() == pytest.approx(4.0, abs=0.01)


def as_received(data: bytes, times: float, idle_bits: int = 40) -> bytes:
    """What a receiver makes of 8N1 lines sent `times` as fast as it listens: bits sampled in the wrong places.

    A character without its stop bit comes as 0, as Linux hands over framing errors.
    """
    stream = []
    for byte in data:
        stream += [0, *((byte >> k) & 1 for k in range(8)), 1]
        stream += [1] * idle_bits if byte == ord("\n") else []
    stream += [1] * (int(10 * times) + 1)
    heard, at = bytearray(), 0.0
    while at + 9.5 * times < len(stream):
        if stream[int(at)]:
            at = int(at) + 1.0
            continue
        bits = [stream[int(at + (1.5 + k) * times)] for k in range(9)]
        heard.append(sum(bit << k for k, bit in enumerate(bits[:8])) if bits[8] else 0)
        at += 9.5 * times
        while at < len(stream) and not stream[int(at)]:
            at = int(at) + 1.0
    return bytes(heard)


@pytest.mark.parametrize("times", [1 / 4, 1 / 2, 0.75, 4 / 3, 2, 3, 4, 6, 12])
@pytest.mark.parametrize(
    "layout",
    [STAMPED, BARE, TextFormat(columns=(Column("torque", "N.m"), Column("angle", "deg")), delimiter=" ", rate_hz=500.0)],
    ids=["stamped", "bare", "blanks"],
)
def test_a_wrong_baud_rate_is_suspected_and_no_sample_is_taken_from_it(layout: TextFormat, times: float) -> None:
    readings = [Reading(30 * math.sin(n / 50), n * 0.25, 2 * n) for n in range(2000)]
    data = as_received(b"".join(encode_line(layout, reading, digits=2) for reading in readings), times)
    chunks = [data[at : at + len(data) // 200] for at in range(0, len(data), len(data) // 200)]
    items, _ = collect([chunks], layout, until=after(len(chunks) * 0.02))
    words = [item for item in items if isinstance(item, LineWarning)]
    assert len(words) == 1
    assert ("make no sense" in words[0].what) or times == 2
    assert "check the baud rate: the profile says 115200" in words[0].remedy
    assert not any(isinstance(item, Trace) for item in items)


def test_a_line_that_is_mostly_unread_is_told_with_one_of_its_odd_lines() -> None:
    """The sign stands after the number, which shows only once the lever is pulled the other way."""
    chunks = [b"12.50\r\n" * 3 + b"12.50-\r\n" * 7] * 200
    items, _ = collect([chunks], BARE, until=after(4.0))
    words = [item for item in items if isinstance(item, LineWarning)]
    assert len(words) == 1
    assert "most lines do not fit the profile (like '12.50-')" in words[0].what


def test_no_control_character_reaches_the_screen() -> None:
    items, _ = collect([[b"bench\x1b[2J ready to go\r\n" * 10] * 200], until=after(4.0))
    words = [item.what for item in items if isinstance(item, LineWarning)]
    assert len(words) == 1
    assert words[0].isprintable()


def test_a_parity_bit_is_recognised() -> None:
    chunks = [bytes(byte | 0x80 * (byte.bit_count() % 2) for byte in chunk) for chunk in sent(0, 4000)]
    items, _ = collect([chunks], until=after(4.0))
    assert [item.remedy for item in items if isinstance(item, LineWarning)] == ['set bits = "7E1" in the profile']


def test_a_wrong_layout_is_told_with_a_line_as_it_came() -> None:
    chunks = [b"12.5;3.25;ok\r\n" * 10] * 200
    items, _ = collect([chunks], until=after(4.0))
    words = [item for item in items if isinstance(item, LineWarning)]
    assert len(words) == 1
    assert "12.5;3.25;ok" in words[0].what


def test_a_clock_that_jumps_and_one_that_is_off_are_told() -> None:
    items, _ = collect([[b"\r\n", *sent(0, 1000), *sent(100_000, 101_000)]], until=after(2.0))
    assert [item.what for item in items if isinstance(item, LineWarning)] == ["the device's clock or counter jumped"]
    seconds = replace(STAMPED, columns=(Column("time", "s"), *STAMPED.columns[1:]))
    items, _ = collect([[b"\r\n", *sent(0, 10_000)]], seconds, until=after(10.0))
    assert any("1e+03 times as fast" in item.what for item in items if isinstance(item, LineWarning))


def test_stop_ends_the_pieces_and_closes_the_line() -> None:
    clock, stop = StepClock(), threading.Event()
    line = ScriptedLine(clock, [b"\r\n", *sent(0, 10_000)])
    source = LiveSource(profile(), clock, lambda port: line, list)
    for item in source.pieces(stop):
        if isinstance(item, Trace) and item.time_s[-1] > 0.5:
            stop.set()
    assert clock.moment < 0.7
    assert line.closed
