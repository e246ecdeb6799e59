"""Recordings of the wire: what went in comes out, at any pace, into any decoder."""

from __future__ import annotations

import os
import threading
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.clocks import StepClock
from support.wires import GONE, ScriptedLine

from analysis.trace import Trace, join
from drivers.errors import FileError, WireFileError
from drivers.items import ConnectionLost, LineUp, SourceItem
from drivers.profile import DeviceProfile
from drivers.source import LiveSource, open_source
from drivers.text import Column, TextFormat
from drivers.wirefile import WirePlayer, WireTape, read_wire, taped

LAYOUT = TextFormat(columns=(Column("torque", "N.m"), Column("angle", "deg")), rate_hz=500.0)
PROFILE = DeviceProfile(name="strange", port="P", protocol="text", capacity_nm=200.0, text=LAYOUT)


def script() -> list[object]:
    """A 500 Hz device that garbles a line, goes away once and comes back."""
    chunks: list[object] = [b"\r\n"]
    for at in range(200):
        chunks.append(b"".join(b"%d.5,%d\r\n" % (at, at % 360) for _ in range(10)))
        if at == 50:
            chunks.append(b"\xff\x00\\x41 \\,\r\n")
        if at == 120:
            chunks.append(GONE)
    return chunks


def recorded(path: Path) -> tuple[list[SourceItem], object]:
    """Items of a live source whose traffic went onto a tape."""
    stop = threading.Event()
    clock = StepClock(100.0)
    tape = WireTape(path, clock, {"port": "P", "baud": 115200})
    chunks = iter(script())
    source = LiveSource(PROFILE, clock, taped(lambda port: ScriptedLine(clock, chunks, port, at_end=stop.set), tape), list)
    items = list(source.pieces(stop))
    tape.close()
    return items, source.faults


def samples(items: list[SourceItem]) -> Trace:
    return join(item for item in items if isinstance(item, Trace))


def test_a_recording_gives_the_very_pieces_the_live_line_gave(tmp_path: Path) -> None:
    path = tmp_path / "strange.wire"
    live, live_faults = recorded(path)
    player = WirePlayer(path)
    source = LiveSource(PROFILE, player, lambda port: player, list)
    again = list(source.pieces(threading.Event()))
    assert samples(again).torque_nm == pytest.approx(samples(live).torque_nm)
    assert samples(again).time_s == pytest.approx(samples(live).time_s, abs=0.002)  # arrivals are kept to a microsecond
    assert source.faults == live_faults
    kinds = [type(item) for item in live if not isinstance(item, Trace)]
    assert [type(item) for item in again if not isinstance(item, Trace)] == kinds == [LineUp, ConnectionLost, LineUp]


def test_a_port_named_wire_plays_a_recording_at_its_pace(tmp_path: Path) -> None:
    path = tmp_path / "strange.wire"
    live, _ = recorded(path)
    clock = StepClock(500.0)
    items = list(open_source(replace(PROFILE, port=f"wire:{path}"), clock).pieces(threading.Event()))
    assert len(samples(items)) == len(samples(live)) == 1999
    assert clock.moment == pytest.approx(500.0 + samples(live).duration_s, abs=0.5)


def test_it_can_be_read_with_another_decoder(tmp_path: Path) -> None:
    """The user fixes the profile, not the recording."""
    path = tmp_path / "strange.wire"
    recorded(path)
    player = WirePlayer(path)
    kgf = replace(LAYOUT, columns=(Column("torque", "kgf.m"), Column("skip")))
    other = replace(PROFILE, text=kgf, capacity_nm=2000.0)
    whole = samples(list(LiveSource(other, player, lambda port: player, list).pieces(threading.Event())))
    assert whole.angle_deg is None
    assert whole.torque_nm[-1] == pytest.approx(199.5 * 9.80665)


@given(data=st.lists(st.binary(max_size=60), min_size=1, max_size=20))
def test_any_bytes_survive(data: list[bytes], tmp_path_factory: pytest.TempPathFactory) -> None:
    path = tmp_path_factory.mktemp("tape") / "any.wire"
    clock = StepClock()
    tape = WireTape(path, clock, {})
    for part in data:
        clock.moment += 0.0125
        tape.note("r", part)
    tape.close()
    events = read_wire(path)
    assert [event.data for event in events] == data
    assert [event.time_s for event in events] == pytest.approx(np.arange(1, len(data) + 1) * 0.0125)
    assert path.read_bytes().isascii()


@pytest.mark.parametrize("cut", [1, 5, 17])
def test_a_power_cut_costs_the_last_row_at_most(tmp_path: Path, cut: int) -> None:
    path = tmp_path / "strange.wire"
    recorded(path)
    whole = read_wire(path)
    os.truncate(path, path.stat().st_size - cut)
    assert read_wire(path) == whole[:-1]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", "no recording of the wire"),
        ("12.5,3\n", "no recording of the wire"),
        ("platepull wire 1 {}\n0.1 r ok\nnonsense\n", "row 3"),
        ("platepull wire 1 {}\n0.1 r ok\n0.05 r back\n", "row 3"),
        ("platepull wire 1 {}\n0.1 r \\xZZ\n", "row 2"),
        ("platepull wire 1 {}\n0.1 r \\u1234\n", "row 2"),
        ("platepull wire 1 {}\nsoon r ok\n", "row 2"),
        ("platepull wire 1 {}\n0.1 q ok\n", "row 2"),
        ("platepull wire 1 {}\nnan r ok\n", "row 2"),
    ],
)
def test_what_is_no_recording_is_refused_with_its_row(tmp_path: Path, text: str, expected: str) -> None:
    path = tmp_path / "bad.wire"
    path.write_text(text, encoding="ascii")
    with pytest.raises(WireFileError, match=expected):
        read_wire(path)


def test_files_that_cannot_be_opened_are_told(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="there is no such recording of the wire"):
        read_wire(tmp_path / "none.wire")
    with pytest.raises(WireFileError, match="cannot be written"):
        WireTape(tmp_path / "no folder" / "x.wire", StepClock(), {})


def test_a_recording_is_not_written_over_and_none_is_left_where_the_line_never_opened(tmp_path: Path) -> None:
    path = tmp_path / "strange.wire"
    WireTape(path, StepClock(), {}).close()
    assert not path.exists()
    recorded(path)
    before = path.read_bytes()
    with pytest.raises(WireFileError, match="such a file already"):
        WireTape(path, StepClock(), {})
    assert path.read_bytes() == before


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no disk that is always full")
def test_a_full_disk_is_told_and_is_not_taken_for_a_lost_line(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    full = Path("/dev/full").open("w", encoding="ascii")  # noqa: SIM115  the tape closes it
    monkeypatch.setattr(Path, "open", lambda *_, **__: full)
    clock = StepClock()
    tape = WireTape(tmp_path / "full.wire", clock, {})
    line = ScriptedLine(clock, [b"12.5,3\r\n" * 10] * 100)
    source = LiveSource(PROFILE, clock, taped(lambda port: line, tape), list)
    with pytest.raises(WireFileError, match="No space left"):
        list(source.pieces(threading.Event()))
    assert line.closed
    with pytest.raises(WireFileError, match="No space left"):
        tape.close()
