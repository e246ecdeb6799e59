"""A gauge's bytes in, fields filled: through the reader on a scripted line, as a thread reads a real one."""

import os
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.clocks import StepClock
from support.wires import GONE, ScriptedLine, pieces_of

from drivers.clock import SystemClock
from drivers.errors import LineLostError
from drivers.gauge import GaugeCodec
from drivers.line import READ_S
from drivers.profile import GaugeProfile
from drivers.text import Column, TextFormat
from rig.errors import DocumentError
from rig.files.profile import read_gauge, read_profile
from rig.gauge.entry import BY_HAND_S, FRESH_S, GaugeEntry, Word
from rig.gauge.fields import Field, FieldList, Refused
from rig.gauge.reader import GaugeLength, GaugeLost, GaugeReader, GaugeSpoilt, GaugeUp

MM = TextFormat(columns=(Column("length", "mm"),))
INCH = TextFormat(columns=(Column("skip"), Column("length", "in")), delimiter=" ")
PLATES = tuple(Field(key=("plates", 0, "thickness", n), name=str(n + 1), group="L1", low_mm=0.6, high_mm=6.0) for n in range(4))
PAUSE = [b""] * round(1.0 / READ_S)


def reader_of(script, layout=MM):
    clock = StepClock()
    line = ScriptedLine(clock, script)
    return GaugeReader(GaugeProfile(name="micrometer", port="made up", text=layout), clock, lambda: line), clock


def entry_of(script, layout=MM, fields=PLATES):
    """Everything in the script read, as it comes."""
    script = [*PAUSE, *script]
    reader, clock = reader_of(script, layout)
    entry = GaugeEntry(FieldList.of(fields))
    for _ in range(len(script)):
        reader.step()
        entry.hear(reader.news())
    return entry, clock


def entered(entry):
    return [None if value is None else round(value.length_mm, 6) for value in entry.list.values]


def test_each_press_of_the_gauge_fills_the_next_field():
    entry, _ = entry_of([b"2.010\r\n", *PAUSE, b"2.0", b"05\r\n", *PAUSE, b" 2.000 mm \r\n"])
    assert entered(entry) == [2.01, 2.005, 2.0, None]
    assert entry.list.current.key == ("plates", 0, "thickness", 3)
    assert entry.list.new[("plates", 0, "thickness", 0)].text == "2.010 mm"


def test_inches_become_millimetres_and_stay_written_as_sent():
    entry, _ = entry_of([b"D1 0.0787\r", *PAUSE, b"D1 2.000mm\r"], INCH)
    assert entered(entry)[:2] == [pytest.approx(0.0787 * 25.4), pytest.approx(2.0)]
    assert entry.list.values[0].text == "0.0787 in"


@pytest.mark.parametrize("sent", [b"2.0", b"201.0", b"-2.01", b"0.079"])
def test_what_cannot_be_this_length_is_refused_and_the_field_stays(sent):
    entry, _ = entry_of([b"2.010\r\n", *PAUSE, sent[:-1] + b"\xff\r\n" if sent == b"2.0" else sent + b"\r\n"])
    assert entry.list.at == 1
    assert entered(entry) == [2.01, None, None, None]
    assert entry.list.word in (Refused.NO_LENGTH, Refused.TOO_LARGE, Refused.TOO_SMALL)


def test_a_reading_far_from_the_others_of_its_plate_is_refused_and_a_corrected_one_taken():
    plates = tuple(Field(key=(n,), name=str(n), low_mm=0.6, high_mm=6.0, alike="L1", alike_mm=0.15) for n in range(3))
    entry, _ = entry_of([b"2.010\r\n", *PAUSE, b"2.210\r\n", *PAUSE], fields=plates)
    assert (entry.list.at, entry.list.word) == (1, Refused.FAR_FROM_ALIKE)
    entry.typed("2,02", "mm")
    assert (entry.list.at, entry.list.word, entered(entry)[1]) == (2, None, 2.02)


def test_one_key_back_corrects_the_last_and_brings_back_what_stood_there():
    entry, _ = entry_of([b"2.010\r\n", *PAUSE, b"2.020\r\n"])
    entry.go_to(0)
    entry.typed("0.0800", "in")
    assert entered(entry)[0] == pytest.approx(2.032)
    entry.back()
    assert (entry.list.at, entered(entry)[:2]) == (0, [2.01, 2.02])
    entry.back()
    assert (entry.list.at, entered(entry)[:2]) == (1, [2.01, None])


def test_a_gauge_that_prints_by_itself_fills_at_the_key_only_with_what_is_fresh_and_steady():
    running = [b"2.010\r\n", *[b""] * 4] * 6
    entry, clock = entry_of(running)
    assert entry.by_itself
    assert entry.list.at == 1  # the first line could have been a press; one key back takes it out
    entry.press(clock.now())
    assert entry.list.at == 2
    entry.press(clock.now())
    assert (entry.list.at, entry.word) == (2, Word.NOTHING_NEW)
    entry.hear([GaugeLength(2.01, "2.010 mm", clock.now() + 0.1), GaugeLength(2.31, "2.310 mm", clock.now() + 0.2)])
    entry.press(clock.now() + 0.2)
    assert (entry.list.at, entry.word) == (2, Word.NOT_STEADY)
    entry.press(clock.now() + 0.2 + FRESH_S + 0.1)
    assert entry.word is Word.NOTHING_NEW


def test_a_press_that_bounces_fills_one_field():
    entry, _ = entry_of([b"2.010\r\n", b"2.010\r\n", *PAUSE, b"2.020\r\n"])
    assert entered(entry) == [2.01, 2.02, None, None]
    assert BY_HAND_S > 2 * READ_S


def test_the_rest_of_a_number_that_was_under_way_is_no_length():
    reader, _ = reader_of([b"12.010\r\n", b"2.000\r\n"])
    for _ in range(2):
        reader.step()
    told = reader.news()
    assert [one.length_mm for one in told if isinstance(one, GaugeLength)] == [2.0]


def test_a_line_that_broke_off_does_not_join_the_next():
    reader, _ = reader_of([*PAUSE, b"2.0", *PAUSE, b"1.500\r\n"])
    for _ in range(2 * len(PAUSE) + 2):
        reader.step()
    told = reader.news()
    assert [type(one) for one in told] == [GaugeUp, GaugeSpoilt, GaugeLength]
    assert told[-1].length_mm == 1.5


def test_a_gauge_that_is_unplugged_is_told_once_and_looked_for():
    clock = StepClock()
    lines = iter([ScriptedLine(clock, [GONE]), None, None, ScriptedLine(clock, [*PAUSE, b"2.01\r\n"])])

    def open_line():
        line = next(lines)
        if line is None:
            raise LineLostError("there is no such port", where="made up", remedy="plug it in")
        return line

    reader = GaugeReader(GaugeProfile(name="m", port="made up", text=MM), clock, open_line)
    for _ in range(5 + len(PAUSE)):
        reader.step()
    assert [type(one) for one in reader.news()] == [GaugeUp, GaugeLost, GaugeUp, GaugeLength]


@given(st.binary(max_size=200), st.lists(st.integers(0, 200)))
def test_where_the_wire_cuts_the_bytes_does_not_matter_and_nothing_raises(data, cuts):
    whole, parts = GaugeCodec(MM), GaugeCodec(MM)
    lengths = whole.feed(data)
    assert [one for piece in pieces_of(data, cuts) for one in parts.feed(piece)] == lengths
    assert parts.faults == whole.faults


@given(st.integers(0, 60_000), st.sampled_from(["mm", "in", "um", "thou"]))
def test_a_length_comes_through_in_any_unit(count, unit):
    in_mm = {"mm": 1.0, "in": 25.4, "um": 1e-3, "thou": 0.0254}[unit]
    codec = GaugeCodec(TextFormat(columns=(Column("length", unit),)))
    codec.quiet()
    (length,) = codec.feed(b"%d.%04d\r\n" % divmod(count, 10_000))
    assert length.length_mm == pytest.approx(count / 10_000 * in_mm, rel=1e-12)


def test_the_lines_of_a_port_fill_fields_through_the_thread():
    """Over a real pseudo-terminal."""
    pty = pytest.importorskip("pty")
    main, there = pty.openpty()
    reader = GaugeReader(GaugeProfile(name="micrometer", port=os.ttyname(there), text=MM), SystemClock())
    entry = GaugeEntry(FieldList.of(PLATES))
    reader.start()
    try:
        for _ in range(400):
            os.write(main, b"\r\n2.010\r\n")
            time.sleep(0.02)
            if entry.hear(reader.news()) and entry.newest is not None:
                break
    finally:
        reader.close()
        os.close(main)
        os.close(there)
    assert entered(entry)[0] == 2.01


def test_the_profile_of_a_gauge_needs_a_length_only(tmp_path):
    path = tmp_path / "micrometer.toml"
    path.write_text('[device]\nname = "micrometer"\nport = "COM4"\n[text]\ncolumns = ["skip", "length [in]"]\ndelimiter = " "\n')
    gauge = read_gauge(path)
    assert (gauge.baud, gauge.text.column("length").unit) == (9600, "in")
    path.write_text(path.read_text().replace('"COM4"', '"COM4"\nprotocol = "text"\ncapacity = "200 N.m"'))
    with pytest.raises(DocumentError, match="which is a gauge's, for the entry of lengths"):
        read_profile(path)


def test_the_profile_of_a_torque_sensor_is_no_gauge(tmp_path):
    path = tmp_path / "bench.toml"
    path.write_text('[device]\nname = "b"\nport = "COM4"\n[text]\ncolumns = ["torque [N.m]", "time [ms]"]\n')
    with pytest.raises(DocumentError, match="torque sensor's"):
        read_gauge(path)
