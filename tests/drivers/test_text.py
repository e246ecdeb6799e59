"""Text lines: what is a sample, what is dirt, and that cuts do not matter."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.wires import pieces_of

from analysis.errors import UnitError
from drivers.codec import Reading
from drivers.text import LONGEST_LINE, Column, TextCodec, TextFormat, encode_line

TORQUE_ANGLE = TextFormat(columns=(Column("torque", "lbf.ft"), Column("angle", "deg")), rate_hz=500.0)
STAMPED = TextFormat(columns=(Column("time", "ms"), Column("skip"), Column("torque", "N.m")), delimiter=";")
BLANKS = TextFormat(columns=(Column("torque", "N.m"), Column("angle", "deg")), delimiter=" ", rate_hz=100.0)
KEYED = TextFormat(columns=(Column("torque", "N.m", "T"), Column("angle", "deg", "A")), delimiter=" ", rate_hz=100.0)
COMMA = TextFormat(columns=(Column("torque", "N.m"), Column("angle", "deg")), delimiter="\t", decimal=",", rate_hz=100.0)
TAGGED = TextFormat(columns=(Column("torque", "N.m"),), tag="$TQ", rate_hz=10.0)
AFTER = TextFormat(columns=(Column("torque", "N.m"),), sign_after=True, rate_hz=10.0)
CHECKED = TextFormat(columns=(Column("torque", "N.m"), Column("angle", "deg")), tag="$TQ", check=True, rate_hz=10.0)
LAYOUTS = (TORQUE_ANGLE, STAMPED, BLANKS, KEYED, COMMA, TAGGED, AFTER, CHECKED)


def read(layout: TextFormat, data: bytes) -> tuple[list[Reading], TextCodec]:
    codec = TextCodec(layout)
    return codec.feed(b"\n" + data), codec


@pytest.mark.parametrize(
    ("layout", "line", "torque", "angle", "stamp"),
    [
        (TORQUE_ANGLE, b"12.5,3\r\n", 12.5, 3.0, 1),
        (TORQUE_ANGLE, b" -1e1 , .5 \n", -10.0, 0.5, 1),
        (TORQUE_ANGLE, b"+7.,0\r", 7.0, 0.0, 1),
        (STAMPED, b"1500;ok;-3.25\n", -3.25, None, 1500.0),
        (BLANKS, b"  4.5 \t 90\n", 4.5, 90.0, 1),
        (BLANKS, b"4.5 N.m 90 deg\n", 4.5, 90.0, 1),
        (KEYED, b"T=4.5 A=90\n", 4.5, 90.0, 1),
        (KEYED, b"A : 90  n=7 T = 4.5 N.m\n", 4.5, 90.0, 1),
        (COMMA, b"4,5\t-90,25\n", 4.5, -90.25, 1),
        (COMMA, b"\xef\xbb\xbf4,5\t1\n", 4.5, 1.0, 1),
        (TAGGED, b"$TQ,4.5\n", 4.5, None, 1),
        (TAGGED, b"$TQ 4.5 Nm\n", 4.5, None, 1),
        (AFTER, b"4.5-\n", -4.5, None, 1),
        (AFTER, b"4.5- Nm\n", -4.5, None, 1),
        (AFTER, b"4.5\n", 4.5, None, 1),
        (AFTER, b"4.5 - Nm\n", -4.5, None, 1),
        (TORQUE_ANGLE, b"-   4.5,+ 90\n", -4.5, 90.0, 1),
        (BLANKS, b"-   4.5 + 90\n", -4.5, 90.0, 1),
        (BLANKS, b"- 4.5 [N.m] 90 \xc2\xb0\n", -4.5, 90.0, 1),
        (BLANKS, b"4.5 N.m 90 \xb0\n", 4.5, 90.0, 1),
        (BLANKS, b"4.5 N-m 90 deg\n", 4.5, 90.0, 1),
        (KEYED, b"T= - 4.5 N.m A=90\n", -4.5, 90.0, 1),
        (TORQUE_ANGLE, b"\x02\xe2\x88\x924.5,90\x03\r\n", -4.5, 90.0, 1),
    ],
)
def test_a_good_line_is_a_reading(layout: TextFormat, line: bytes, torque: float, angle: float | None, stamp: float) -> None:
    readings, codec = read(layout, line)
    assert readings == [Reading(torque, angle, stamp)]
    assert codec.faults.total == 0


def test_a_unit_in_the_line_overrules_the_profile_unit() -> None:
    """The user pressed the unit key of the indicator. 1 lbf.ft is 0.3048 m times 0.45359237 kg times 9.80665 m/s2, exactly."""
    readings, _ = read(BLANKS, b"10 lbf.ft 90 deg\n")
    assert readings[0].torque == pytest.approx(10 * 0.3048 * 0.45359237 * 9.80665, rel=1e-12)


def test_counts_are_what_the_column_says_one_stands_for() -> None:
    counts = TextFormat(columns=(Column("torque", "0.01 N.m"), Column("angle", "0.1 deg")), rate_hz=100.0)
    readings, _ = read(counts, b"4512,-123\n")
    assert readings[0].torque * counts.columns[0].scale.factor == pytest.approx(45.12)
    assert readings[0].angle * counts.columns[1].scale.factor == pytest.approx(-12.3)
    for off in ("0 N.m", "0.01", "0.01 kg"):
        with pytest.raises(UnitError):
            _ = Column("torque", off).scale


@pytest.mark.parametrize(
    "line",
    [b"nan,1", b"inf,1", b"1_0,2", b"1,2,3", b"1", b",", b"12.3.4,5", b"1,0x10", b"\xff\xfe,1", b"bench ready", b"1e999,2",
     b"5 A,1", b"1,2 kg", b"--5,1", b"- -5,1", b"-,1", b"\xb05,1", b"5(,1",
     b"\x001,2", "\u0661,2".encode(), b"1 2,3", b"1e400 N.m,2"],
)  # fmt: skip
def test_dirt_is_counted_and_the_stream_goes_on(line: bytes) -> None:
    readings, codec = read(TORQUE_ANGLE, line + b"\n5,6\n")
    assert [(reading.torque, reading.angle) for reading in readings] == [(5.0, 6.0)]
    assert codec.faults.garbled == 1


def test_the_first_half_line_is_never_a_sample() -> None:
    """'3.5,2' may be the end of '123.5,2'."""
    codec = TextCodec(TORQUE_ANGLE)
    assert codec.feed(b"3.5,2\r\n") == []
    assert codec.feed(b"4.5,2\r\n") == [Reading(4.5, 2.0, 1)]
    codec.feed(b"1")
    codec.restart()
    assert codec.feed(b"23,4\n5,6\n") == [Reading(5.0, 6.0, 2)]


def test_a_line_that_could_not_be_read_keeps_its_place_in_the_stream() -> None:
    readings, _ = read(TORQUE_ANGLE, b"1,1\n2,?\n3,3\nhello\n4,4\n")
    assert [reading.stamp for reading in readings] == [1, 3, 4]


@pytest.mark.parametrize("word", [b"OL", b"ovl", b"----", b"O.L", b"0L", b"0.L", b"-------", b"OL lbf.ft", b"-----N.m"])
def test_overload_words_keep_the_side_of_the_last_torque(word: bytes) -> None:
    readings, codec = read(TORQUE_ANGLE, b"-80,1\n" + word + b",2\n80,3\n" + word + b",4\n")
    assert [reading.torque for reading in readings] == [-80.0, -math.inf, 80.0, math.inf]
    assert codec.faults.overload == 2
    assert codec.faults.garbled == 0


def test_a_signed_overload_word_tells_its_side_itself() -> None:
    readings, _ = read(TORQUE_ANGLE, b"80,1\n-OL,2\n+OL,2\n")
    assert [reading.torque for reading in readings] == [80.0, -math.inf, math.inf]


def test_an_overload_in_a_skipped_status_holds_whatever_number_follows() -> None:
    status = TextFormat(columns=(Column("skip"), Column("torque", "N.m")), rate_hz=10.0)
    readings, codec = read(status, b"ST,80\nOL,999\nOL,-999.9 N.m\nOL,------\nOLD,7\n")
    assert [reading.torque for reading in readings] == [80.0, math.inf, -math.inf, math.inf, 7.0]
    assert codec.faults.overload == 3


@pytest.mark.parametrize("field", [b"OL kg", b"OLX", b"---", b"- - - -"])
def test_what_only_looks_like_an_overload_word_is_dirt(field: bytes) -> None:
    readings, codec = read(TORQUE_ANGLE, b"80,1\n" + field + b",2\n")
    assert len(readings) == 1
    assert codec.faults.garbled == 1


def test_words_of_the_profile_replace_the_usual_ones() -> None:
    own = TextFormat(columns=(Column("torque", "N.m"),), rate_hz=10.0, overload_words=("MAX",))
    readings, codec = read(own, b"1\nmax\n-MAX\nOL\n-----\n")
    assert [reading.torque for reading in readings] == [1.0, math.inf, -math.inf]
    assert codec.faults.garbled == 2


def test_a_sign_on_both_sides_is_dirt() -> None:
    readings, codec = read(AFTER, b"-4.5-\n+4.5-\n")
    assert (readings, codec.faults.garbled) == ([], 2)


def test_lines_of_another_kind_are_ignored_not_faults() -> None:
    readings, codec = read(TAGGED, b"$ST,ok\n$TQ,1\n$TQ,x\n")
    assert [reading.torque for reading in readings] == [1.0]
    assert (codec.faults.ignored, codec.faults.garbled) == (1, 1)


def test_a_line_without_end_is_bounded_and_counted_once() -> None:
    codec = TextCodec(TORQUE_ANGLE)
    codec.feed(b"\n")
    for _ in range(50):
        assert codec.feed(b"7" * 100) == []
    assert codec.feed(b",1\n5,6\n") == [Reading(5.0, 6.0, 1)]
    assert codec.faults.overlong == 1


lines = st.lists(
    st.one_of(
        st.tuples(st.floats(-500, 500), st.floats(-720, 720)).map(lambda v: f"{v[0]:.3f},{v[1]:.2f}".encode()),
        st.binary(max_size=30),
        st.sampled_from([b"OL,3", b"-OL,3", b"# boot", b"9" * (LONGEST_LINE + 1), b"9" * LONGEST_LINE]),
        st.sampled_from([b"1 N.m,2 deg", b"T=1 A=2", b"1,5\t2"]),
    ),
    max_size=12,
)  # fmt: skip


@given(
    body=lines, end=st.sampled_from([b"\n", b"\r\n", b"\r"]), cuts=st.lists(st.integers(0, 3000)), layout=st.sampled_from(LAYOUTS)
)
def test_where_the_wire_cuts_does_not_matter(body: list[bytes], end: bytes, cuts: list[int], layout: TextFormat) -> None:
    data = end.join([*body, b"1"])
    whole, cut, single = TextCodec(layout), TextCodec(layout), TextCodec(layout)
    expected = whole.feed(data)
    assert [reading for part in pieces_of(data, cuts) for reading in cut.feed(part)] == expected
    assert [reading for byte in data for reading in single.feed(bytes([byte]))] == expected
    assert cut.faults == whole.faults == single.faults


@given(data=st.binary(max_size=3000), layout=st.sampled_from(LAYOUTS))
def test_no_bytes_raise_and_no_reading_is_absurd(data: bytes, layout: TextFormat) -> None:
    readings, codec = read(layout, data)
    for reading in readings:
        assert not math.isnan(reading.torque)
        assert reading.angle is None or math.isfinite(reading.angle)
    assert len(readings) + codec.faults.total >= len(readings)


@given(
    torque=st.floats(-1e6, 1e6), angle=st.floats(-1e4, 1e4), stamp=st.integers(0, 2**32), layout=st.sampled_from(LAYOUTS),
    digits=st.integers(0, 6), end=st.sampled_from([b"\n", b"\r\n", b"\r"]),
)  # fmt: skip
def test_what_was_encoded_is_read_back(
    torque: float, angle: float, stamp: int, layout: TextFormat, digits: int, end: bytes
) -> None:
    readings, codec = read(layout, encode_line(layout, Reading(torque, angle, stamp), digits=digits, end=end))
    assert codec.faults.total == 0
    assert readings[0].torque == pytest.approx(torque, abs=0.51 * 10**-digits)
    if layout.column("angle"):
        assert readings[0].angle == pytest.approx(angle, abs=0.51 * 10**-digits)
    if layout.column("time"):
        assert readings[0].stamp == stamp


def test_an_overload_is_encoded_as_a_word() -> None:
    assert encode_line(TORQUE_ANGLE, Reading(-math.inf, 1.0)) == b"-OL,1.000\r\n"


def test_merged_and_halved_lines_are_no_samples() -> None:
    readings, codec = read(TORQUE_ANGLE, b"1.25,2.51.25,2.5\n1.25,\n,2.5\n1.25\n")
    assert readings == []
    assert codec.faults.garbled == 4


def test_a_check_sum_leaves_no_changed_byte_through() -> None:
    line = encode_line(CHECKED, Reading(12.5, 90.0), end=b"")
    assert line.startswith(b"$TQ,12.500,90.000*")
    for at in range(len(line)):
        for mask in (1, 2, 4, 8, 64):
            damaged = line[:at] + bytes((line[at] ^ mask,)) + line[at + 1 :]
            readings, codec = read(CHECKED, damaged + b"\n")
            same_digit = damaged.upper() == line.upper()  # the check sum in small letters is the same
            assert len(readings) == same_digit
            assert codec.faults.garbled + codec.faults.ignored == (not same_digit)
