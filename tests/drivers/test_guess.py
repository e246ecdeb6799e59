"""Guessing a profile: devices of many habits, and honesty about what cannot be known."""

from __future__ import annotations

import math
import random
import time
import tomllib
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.errors import UnitError
from analysis.trace import Trace, join
from drivers.codec import Reading
from drivers.emulated.bench import Bench
from drivers.emulated.scenarios import scenario
from drivers.frames import Description, encode_description, encode_samples
from drivers.guess import Chunk, Guess, guess
from drivers.profile import DeviceProfile, profile_text
from drivers.text import Column, TextFormat, encode_line
from drivers.wiring import codec_for
from rig.files.profile import profile_of

Habit = Callable[[int, float, float, float], str]
"""From number, torque, angle and time to a line with its end."""


def measured(lines: int = 300) -> list[tuple[float, float]]:
    """A noisy torque that changes its side half-way, an angle in steps."""
    rng = random.Random(1)
    return [((20 if n < lines // 2 else -20) + rng.gauss(0, 0.1), n // 7 * 0.25) for n in range(lines)]


def sent(habit: Habit, lines: int = 300, rate_hz: float = 500.0, *, timed: bool = True, encoding: str = "utf-8") -> list[Chunk]:
    """What was measured as the habit prints it, ten lines a chunk."""
    chunks, waiting = [], b"\r\n"
    for number, (torque, angle) in enumerate(measured(lines)):
        waiting += habit(number, torque, angle, number / rate_hz).encode(encoding)
        if number % 10 == 9:
            chunks.append(Chunk((number + 1) / rate_hz if timed else None, waiting))
            waiting = b""
    return chunks


def found(chunks: list[Chunk]) -> Guess:
    result = guess(chunks)
    assert result is not None
    return result


def written_profile(result: Guess, capacity: str | None = None) -> DeviceProfile:
    """The guess written as a profile and read back, with the units that a person states where no line does."""
    result = result.with_units(torque="N.m", angle="deg", time="s")
    text = profile_text(
        name="bench 1", port="COM3", baud=9600, bits=result.bits, capacity=capacity, layout=result.layout, remarks=result.because
    )
    return profile_of(tomllib.loads(text), "guess.toml")


def columns(result: Guess) -> list[tuple[str, str]]:
    assert result.layout is not None
    return [(column.kind, column.unit) for column in result.layout.columns]


NMEA = TextFormat(columns=(Column("torque", "N.m"), Column("angle", "deg")), tag="$TQ", check=True, rate_hz=500.0)
HABITS: dict[str, tuple[Habit, list[tuple[str, str]], float]] = {
    "bare": (lambda n, t, a, s: f"{t:.2f},{a:.2f}\r\n", [("torque", ""), ("angle", "")], 0.2),
    "milliseconds": (lambda n, t, a, s: f"{s * 1e3:.0f},{t:.2f}\r\n", [("time", "ms"), ("torque", "")], 0.5),
    "microseconds": (lambda n, t, a, s: f"{s * 1e6 + 5e7:.0f};{t:.2f}\n", [("time", "us"), ("torque", "")], 0.5),
    "seconds": (lambda n, t, a, s: f"{s:.4f}\t{t:.2f}\n", [("time", "s"), ("torque", "")], 0.5),
    "tabs and commas": (lambda n, t, a, s: f"{t:.2f}\t{a:.2f}\n".replace(".", ","), [("torque", ""), ("angle", "")], 0.2),
    "units": (lambda n, t, a, s: f"{t:.2f} lbf.ft {a:.2f} deg\r", [("torque", "lbf.ft"), ("angle", "deg")], 0.9),
    "one column": (lambda n, t, a, s: f"{t:.2f}\r\n", [("torque", "")], 0.5),
    "one column, comma": (lambda n, t, a, s: f"{t:.2f}\r\n".replace(".", ","), [("torque", "")], 0.5),
    "keys": (lambda n, t, a, s: f"T={t:.2f} A={a:.2f}\r\n", [("torque", ""), ("angle", "")], 0.6),
    "keys, other order": (lambda n, t, a, s: f"ang: {a:.2f}, tq: {t:.2f}\r\n", [("angle", ""), ("torque", "")], 0.6),
    "indicator": (lambda n, t, a, s: f"ST,GS,{t:+08.2f} Nm\r\n", [("skip", ""), ("skip", ""), ("torque", "Nm")], 0.9),
    "more tabs than usual": (
        lambda n, t, a, s: f"x\t{t:.2f}\t{a:.2f}\t\n".replace(".", ","),
        [("skip", ""), ("torque", ""), ("angle", "")],
        0.2,
    ),
    "keys, units, comma": (
        lambda n, t, a, s: f"T={t:+.2f} Nm A={a:.2f}\r\n".replace(".", ","),
        [("torque", "Nm"), ("angle", "")],
        0.8,
    ),
    "sign apart": (lambda n, t, a, s: f"{'-' if t < 0 else '+'}{abs(t):9.2f} Nm\r\n", [("torque", "Nm")], 0.9),
    "sign apart, blanks": (
        lambda n, t, a, s: f"{'-' if t < 0 else '+'} {abs(t):.2f} Nm + {a:.2f} deg\r\n",
        [("torque", "Nm"), ("angle", "deg")],
        0.9,
    ),
    "minus as printers set it": (lambda n, t, a, s: f"{t:.2f} Nm\n".replace("-", "\u2212"), [("torque", "Nm")], 0.9),
    "a byte order mark a line": (lambda n, t, a, s: f"\ufeff{t:.2f};{a:.2f}\n", [("torque", ""), ("angle", "")], 0.2),
    "comma and blank, comma": (
        lambda n, t, a, s: f"{t:.2f}; {a:.2f}\n".replace(".", ",").replace(";", ","),
        [("torque", ""), ("angle", "")],
        0.2,
    ),
    "units in brackets": (lambda n, t, a, s: f"{t:.2f} [lbf.ft]\t{a:.2f} [deg]\n", [("torque", "lbf.ft"), ("angle", "deg")], 0.9),
    "dash in the unit": (lambda n, t, a, s: f"{t:.2f} N-m\r\n", [("torque", "N-m")], 0.9),
    "pounds, plural": (lambda n, t, a, s: f"{t:.2f} in-lbs\r\n", [("torque", "in-lbs")], 0.9),
    "degree apart": (lambda n, t, a, s: f"{t:.2f} Nm {a:.2f} °\r\n", [("torque", "Nm"), ("angle", "°")], 0.9),
    "framed": (lambda n, t, a, s: f"\x02{t:+08.2f}\x03\r\n", [("torque", "")], 0.5),
    "bars": (lambda n, t, a, s: f"|{t:.2f}|{a:.2f}|\r\n", [("skip", ""), ("torque", ""), ("angle", ""), ("skip", "")], 0.2),
    "mark before": (lambda n, t, a, s: f"${t:.2f}\r\n", [("torque", "")], 0.5),
    "letter before": (lambda n, t, a, s: f"N{t:+09.2f}\r\n", [("torque", "")], 0.5),
    "JSON": (
        lambda n, t, a, s: f'{{"id": "bench", "torque": {t:.2f}, "angle":{a:.2f}, "ok": true}}\n',
        [("torque", ""), ("angle", "")],
        0.6,
    ),
    "t is time": (
        lambda n, t, a, s: f'{{"t":{s * 1000:.0f},"torque":{t:.2f},"angle":{a:.2f}}}\n',
        [("time", "ms"), ("torque", ""), ("angle", "")],
        0.5,
    ),
    "t is time, in a heading": (
        lambda n, t, a, s: "t;torque [N.m]\n" if n == 0 else f"{s * 1000:.0f};{t:.2f}\n",
        [("time", "ms"), ("torque", "N.m")],
        0.8,
    ),
    "temperature too": (lambda n, t, a, s: f"{t:.2f} Nm,{23 + n % 5 * 0.1:.1f} C\r\n", [("torque", "Nm"), ("skip", "")], 0.9),
    "time of day": (
        lambda n, t, a, s: f"12:30:{10 + s:06.3f},{t:.2f},{a:.2f}\r\n",
        [("skip", ""), ("torque", ""), ("angle", "")],
        0.2,
    ),
    "sign after": (lambda n, t, a, s: f"{abs(t):.2f}{'-' if t < 0 else '+'} Nm\r\n", [("torque", "Nm")], 0.9),
    "counter": (lambda n, t, a, s: f"{n % 256} {t:.2f}\r\n", [("counter", ""), ("torque", "")], 0.5),
    "check sum": (
        lambda n, t, a, s: encode_line(NMEA, Reading(t, a)).decode(),
        [("torque", ""), ("angle", "")],
        0.2,
    ),
    "heading": (
        lambda n, t, a, s: "torque [lbf.ft],angle [deg]\n" if n == 0 else f"{t:.2f},{a:.2f}\n",
        [("torque", "lbf.ft"), ("angle", "deg")],
        0.9,
    ),
    "heading with parentheses": (
        lambda n, t, a, s: "Angle (deg);Torque (Nm)\n" if n == 0 else f"{a:.2f};{t:.2f}\n",
        [("angle", "deg"), ("torque", "Nm")],
        0.9,
    ),
}


@pytest.mark.parametrize("name", HABITS)
def test_the_habit_is_recognised_and_its_profile_reads_it(name: str) -> None:
    habit, expected, least = HABITS[name]
    result = found(sent(habit))
    assert columns(result) == expected
    assert least <= result.sureness <= 1
    if not any(kind == "time" for kind, _ in expected):
        assert result.layout is not None
        assert result.layout.rate_hz == 500.0
    profile = written_profile(result, "150 N.m")
    assert profile.text == result.with_units(torque="N.m", angle="deg").layout
    readings = codec_for(profile).feed(b"".join(chunk.data for chunk in sent(habit)))
    truth = measured()[300 - len(readings) :]
    assert len(readings) == 300 - ("heading" in name)
    assert [reading.torque for reading in readings] == pytest.approx([torque for torque, _ in truth], abs=0.0051)
    if profile.text is not None and profile.text.column("angle"):
        assert [reading.angle for reading in readings] == pytest.approx([angle for _, angle in truth], abs=0.0051)
    assert (profile.port, profile.baud, profile.bits, profile.name) == ("COM3", 9600, "8N1", "bench 1")
    assert profile.capacity_nm == pytest.approx(150.0)


@pytest.mark.parametrize("encoding", ["latin-1", "cp1252"])
def test_a_degree_sign_of_one_byte_is_read(encoding: str) -> None:
    chunks = sent(HABITS["degree apart"][0], encoding=encoding)
    result = found(chunks)
    assert columns(result) == [("torque", "Nm"), ("angle", "°")]
    assert len(codec_for(written_profile(result)).feed(b"".join(chunk.data for chunk in chunks))) == 300


def test_an_indicator_that_was_at_rest_is_read_while_it_moves_and_when_it_is_overloaded() -> None:
    """At rest it says ST (stable) in every line; a pull is what happens while it says US (common practice, no source)."""
    codec = codec_for(written_profile(found(sent(HABITS["indicator"][0]))))
    readings = codec.feed(b"\nUS,GS,+0012.50 Nm\r\nOL,GS,+9999.99 Nm\r\nUS,GS,-0012.50 Nm\r\n")
    assert [reading.torque for reading in readings] == [12.5, math.inf, -12.5]
    assert (codec.faults.ignored, codec.faults.overload) == (0, 1)


def test_what_is_left_out_by_a_tag_is_told() -> None:
    result = found(sent(lambda n, t, a, s: "INFO all well\r\n" if n % 3 == 0 else f"TQ {t:.2f} Nm\r\n"))
    assert result.layout is not None
    assert result.layout.tag == "TQ"
    assert any("lines that do not begin with 'TQ' are left out" in flag for flag in result.caveats)


def test_numbers_that_cannot_be_read_are_a_doubt() -> None:
    """Else the torque would be taken from the wrong field, and nobody told."""
    result = found(sent(lambda n, t, a, s: f"{t:.2f}:{n % 9};{a:.2f}\n"))
    assert result.sureness < 0.3
    assert any("cannot be read, like" in flag for flag in result.caveats)


def test_a_unit_that_no_line_says_is_asked_for_and_never_made_up() -> None:
    assert found(sent(HABITS["one column"][0])).wanted == ("torque",)
    assert found(sent(HABITS["keys"][0])).wanted == ("torque", "angle")
    assert found(sent(HABITS["units"][0])).wanted == ()
    stated = found(sent(HABITS["keys"][0])).with_units(torque="lbf.in")
    assert columns(stated) == [("torque", "lbf.in"), ("skip", "")]  # an angle without a unit is left out
    assert stated.wanted == ()
    with pytest.raises(UnitError):
        found(sent(HABITS["keys"][0])).with_units(torque="deg")
    said = found(sent(HABITS["units"][0])).with_units(torque="N.m", angle="rad")
    assert columns(said) == [("torque", "lbf.ft"), ("angle", "deg")]  # what a line says stands


def test_what_only_its_place_tells_is_a_doubt() -> None:
    result = found(sent(HABITS["bare"][0]))
    assert len(result.caveats) == 2
    assert all("by its place only" in flag for flag in result.caveats)


def test_a_capacity_that_nobody_knows_is_marked() -> None:
    text = profile_text(name="x", port="P", baud=9600, bits="8N1", capacity=None, layout=None, remarks=["care\nful"])
    assert "not known: take it from the sensor's plate" in text
    assert text.startswith("# care?ful\n[device]")


def test_a_file_without_arrivals_has_a_made_up_rate_and_says_so() -> None:
    result = found(sent(HABITS["bare"][0], timed=False))
    assert any("made up" in flag for flag in result.caveats)


def test_a_lone_comma_may_divide_two_columns() -> None:
    result = found(sent(lambda n, t, a, s: f"{round(abs(t) * 10)},{round(a * 40)}\n"))
    assert result.sureness < 0.5
    assert any("comma" in flag for flag in result.caveats) or columns(result) == [("torque", ""), ("angle", "")]


def test_frames_tell_about_themselves() -> None:
    what = Description(torque_bytes=2, angle_bytes=0, period_ns=10**6, torque_per_count=0.01, name="small")
    data = b"\0" + encode_description(what) + encode_samples(what, 0, 0, [(1,), (2,)])
    result = found([Chunk(0.0, data)])
    assert result.layout is None
    assert result.sureness == 1.0
    assert written_profile(result).protocol == "frames"


@pytest.mark.parametrize("data", [b"", b"1,2\n", b"hello\n" * 100, bytes(random.Random(3).randbytes(3000))])
def test_what_makes_no_sense_gives_no_guess(data: bytes) -> None:
    assert guess([Chunk(0.0, data), Chunk(1.0, b"")]) is None


def test_noise_between_good_lines_lowers_the_sureness_only() -> None:
    clean = found(sent(HABITS["units"][0]))
    noisy = found(sent(lambda n, t, a, s: "# boot?\r" if n % 5 == 0 else HABITS["units"][0](n, t, a, s)))
    assert columns(noisy) == columns(clean)
    assert 0.6 < noisy.sureness < clean.sureness


@given(
    data=st.lists(
        st.one_of(st.binary(max_size=40), st.from_regex(r"[0-9a-zA-Z,;. =:+-]{0,30}\n", fullmatch=True).map(str.encode)),
        max_size=40,
    )
)
def test_no_bytes_raise(data: list[bytes]) -> None:
    result = guess([Chunk(0.1 * at, part) for at, part in enumerate(data)])
    assert result is None or 0 <= result.sureness <= 1
    if result is not None:
        written_profile(result)


def test_a_pile_at_the_start_does_not_hide_the_clock() -> None:
    """A port that was open before hands over what had piled up: the first chunk is far too long for its time."""
    habit = HABITS["microseconds"][0]
    chunks = sent(habit, lines=1500)
    piled = [Chunk(chunks[60].arrival_s, b"".join(chunk.data for chunk in chunks[:61])), *chunks[61:]]
    assert columns(found(piled)) == [("time", "us"), ("torque", "")]


@pytest.mark.parametrize(("bits", "odd"), [("7E1", False), ("7O1", True)])
def test_seven_bits_with_parity_are_recognised(bits: str, odd: bool) -> None:
    """A parity of our own making: the eighth bit makes the number of ones even, or odd."""

    def with_parity(data: bytes) -> bytes:
        return bytes(byte | 0x80 * (byte.bit_count() % 2 != odd) for byte in data)

    plain = sent(HABITS["indicator"][0])
    result = found([Chunk(chunk.arrival_s, with_parity(chunk.data)) for chunk in plain])
    assert result.bits == bits
    assert result.layout == found(plain).layout
    assert written_profile(result).bits == bits


def test_lines_of_all_lengths_with_hardly_two_alike_do_not_raise() -> None:
    """Found by the fuzzer: a layout under which one line alone was numeric had no steps to look at."""
    data = b"\n" + b"\n".join(b"1" + b",x" * at for at in range(20)) + b"\n"
    assert guess([Chunk(0.0, data)]) is None or guess([Chunk(0.0, data)]).sureness < 0.5


@pytest.mark.parametrize("later", [b"", b"7.5 N.m\n"])
def test_a_device_that_falls_silent_or_nearly_so_has_a_rate_above_zero(later: bytes) -> None:
    """Found by the fuzzer: no line end after the first chunk was a rate of zero, and a very slow one was rounded to it."""
    result = found(
        [Chunk(0.0, b"\n" + b"5.25 N.m\n" * 20), Chunk(40.0, b"5"), Chunk(80.0, b".5 N.m\n" + later)][: 2 if not later else 3]
    )
    assert result.layout is not None
    assert result.layout.rate_hz is not None
    assert result.layout.rate_hz > 0
    written_profile(result)


def test_an_odd_last_line_and_a_field_that_cannot_be_read_do_not_raise() -> None:
    """Found by the fuzzer."""
    result = found([Chunk(0.0, b"\n" + b"".join(b"1.5,%d/3\n" % at for at in range(20)) + b"1.5\n")])
    assert any("cannot be read, like '19/3'" in flag for flag in result.caveats)


@pytest.mark.parametrize("unit", [b"1", b"1.", b"a", b"- ", b"k=", b"1,", b"(", b"[a"])
def test_a_device_that_never_ends_a_line_does_not_keep_us(unit: bytes) -> None:
    """It took longer the more came, by the square: minutes for what two seconds bring."""
    line = unit * 20_000 + b"?\n"
    before_s = time.process_time()
    guess([Chunk(0.0, b"\n" + line * 10)])
    assert time.process_time() - before_s < 5


def test_keys_on_some_columns_only_make_no_keyed_profile() -> None:
    """Found by the fuzzer: such a guess was refused as a profile."""
    result = guess([Chunk(0.0, b"\nT=1.5,2.5\n" + b"1.5,2.5\n" * 20)])
    assert result is not None
    assert result.layout is not None
    assert not result.layout.keyed
    written_profile(result)


WORKDAY_HABITS: dict[str, tuple[Callable[[int, float, float, float], str], list[str]]] = {
    "torque first": (lambda n, t, a, s: f"{t:.2f},{a:.2f}\r\n", ["torque", "angle"]),
    "angle first": (lambda n, t, a, s: f"{a:.1f};{t:.1f}\r\n", ["angle", "torque"]),
    "decimal comma": (lambda n, t, a, s: f"{a:.2f}\t{t:.2f}\n".replace(".", ","), ["angle", "torque"]),
    "with a clock": (lambda n, t, a, s: f"{s * 1e3:.0f} {a:.2f} {t:.2f}\n", ["time", "angle", "torque"]),
    "with a count and a temperature": (
        lambda n, t, a, s: f"{n % 65536},{23.4 + n % 3 * 0.1:.1f},{a:.2f},{t:.2f}\n",
        ["counter", "skip", "angle", "torque"],
    ),
    "raw counts": (lambda n, t, a, s: f"{8388608 + t * 21000:.0f},{a * 11.378:.0f}\n", ["torque", "angle"]),
    "a status that changes": (
        lambda n, t, a, s: f"{'S' if abs(t) < 1 else 'D'} {a:.2f} {t:.2f}\r\n",
        ["skip", "angle", "torque"],
    ),
}


@pytest.fixture(scope="module", params=["both-ways", "chattering-plates", "worn-low"])
def pulled(request: pytest.FixtureRequest) -> Trace:
    """Two pulls of the simulated bench, from rest to rest, as a person makes them while the device is listened to."""
    chosen = scenario(request.param)
    bench = Bench(chosen.workday, chosen.sensor, 100.0, np.random.default_rng(3))
    pieces = []
    while len(bench.truths) < 2:
        pieces.append(bench.take(10))
    return join([*pieces, bench.take(100)])


def printed(habit: Habit, trace: Trace) -> list[Chunk]:
    assert trace.angle_deg is not None
    rows = zip(trace.torque_nm.tolist(), trace.angle_deg.tolist(), trace.time_s.tolist(), strict=True)
    lines = [habit(at, torque, angle, time_s - trace.time_s[0]).encode() for at, (torque, angle, time_s) in enumerate(rows)]
    return [Chunk(0.1 * at + 0.1, b"".join(lines[10 * at : 10 * at + 10])) for at in range(len(lines) // 10)]


@pytest.mark.parametrize("name", WORKDAY_HABITS)
def test_a_pull_tells_torque_from_angle_whatever_their_order(name: str, pulled: Trace) -> None:
    habit, kinds = WORKDAY_HABITS[name]
    result = found(printed(habit, pulled))
    assert [kind for kind, _ in columns(result)] == kinds
    assert not result.wants_pull
    assert set(result.wanted) == {"torque", "angle"}


@pytest.mark.parametrize("name", WORKDAY_HABITS)
def test_before_the_pull_nothing_tells_them_and_that_is_said(name: str, pulled: Trace) -> None:
    habit, _ = WORKDAY_HABITS[name]
    result = found(printed(habit, pulled)[:8])
    assert result.wants_pull or name == "a status that changes"


def test_the_whole_listening_counts_not_its_first_lines(pulled: Trace) -> None:
    """Found at a bench: 600 lines of rest at 1 kHz, and the pulls that were asked for came after them."""
    habit, kinds = WORKDAY_HABITS["angle first"]
    rest = [habit(at, 0.01 * (at % 3), 0.0, 0.0).encode() for at in range(3000)]
    chunks = printed(habit, pulled)
    before = [Chunk(-3.0 + 0.1 * at, b"".join(rest[100 * at : 100 * at + 100])) for at in range(30)]
    assert [kind for kind, _ in columns(found([*before, *chunks]))] == kinds


@pytest.mark.parametrize("word", ["S", "ST", "NET", "OK", "M"])
@pytest.mark.parametrize("mark", [" ", ","])
def test_a_word_before_the_number_is_no_tag_so_that_another_state_is_no_gap(word: str, mark: str) -> None:
    """A status at rest in every line of the listening; in the pull it changes, and beyond the range it says OL."""
    chunks = sent(lambda n, t, a, s: f"{word}{mark}{t:.2f} Nm\r\n")
    codec = codec_for(written_profile(found(chunks)))
    readings = codec.feed(f"\r\nD{mark}12.50 Nm\r\nOL{mark}999.99 Nm\r\n{word}{mark}-3.00 Nm\r\n".encode())
    assert [reading.torque for reading in readings] == [12.5, math.inf, -3.0]
    assert codec.faults.total - codec.faults.overload == 0


def test_letters_glued_to_the_number_may_change_too() -> None:
    chunks = sent(lambda n, t, a, s: f"N{t:+09.2f}\r\n")
    codec = codec_for(written_profile(found(chunks)))
    readings = codec.feed(b"\r\nG+00012.50\r\nOL+99999.00\r\nN-00003.00\r\n")
    assert [reading.torque for reading in readings] == [12.5, math.inf, -3.0]


@pytest.mark.parametrize(
    ("habit", "expected"),
    [
        (lambda n, t, a, s: f"{t:.2f},Nm,{a:.1f},deg\r\n", [("torque", "Nm"), ("skip", ""), ("angle", "deg"), ("skip", "")]),
        (lambda n, t, a, s: f'{{"torque": {t:.2f}, "unit": "lbf.ft"}}\n', [("torque", "lbf.ft")]),
        (lambda n, t, a, s: f"{t:.1f};lbf.in\n", [("torque", "lbf.in"), ("skip", "")]),
    ],
)
def test_a_unit_in_a_field_of_its_own_is_one_that_the_line_says(habit: Habit, expected: list[tuple[str, str]]) -> None:
    result = found(sent(habit))
    assert columns(result) == expected
    assert result.wanted == ()
