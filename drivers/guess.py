"""A look at what a device sends: which profile would read it, and how sure that is. Pure: bytes with arrivals in.

1. Frames of our own describe themselves: their description settles it.
2. Text: every delimiter and decimal mark is tried; the layout under which most lines are whole samples wins.
3. What a column means is told by a unit in the line, by its key, by a heading, else by how its numbers run.
4. The decoder itself has the last word: the sureness is the share of lines that it reads, times that of the meanings.
"""

from __future__ import annotations

import re
import statistics
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import NamedTuple

from analysis.errors import UnitError
from analysis.units import ColumnHeader, Quantity, scale_to_si
from drivers.frames import FramesCodec
from drivers.text import LONGEST_LINE, Column, Kind, TextCodec, TextFormat, as_text, check_of, split_fields

LEAST_LINES = 8
"""Fewer say too little."""
MOST_LINES = 600
LEAST_BYTES = 48
PILE_S = 0.5
_RATES_HZ = (1, 2, 5, 10, 12.5, 20, 25, 40, 50, 80, 100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1200, 1280, 1600, 2000)
"""Rates that converters and programmers like (common practice, no source)."""
_NAMES: tuple[tuple[Kind, str], ...] = (
    ("time", r"time|millis|micros|t_?ms|t_?us|ms|us|zeit|temps|tempo"),
    ("counter", r"n|no|nr|num|seq|count|cnt|counter|index|i"),
    ("torque", r"t|tq|trq|torque|moment|nm|m|md|drehmoment|couple|coppia|load|lbft"),
    ("angle", r"a|ang|angle|deg|pos|phi|winkel|angolo|rot"),
)
_FIELD = re.compile(
    r"(?:(?P<key>[A-Za-z_]\w*)\s*[=:]\s*)?(?P<number>(?:[-+]\s*+)?(?:\d++(?:[.,]\d*+)?+|[.,]\d++)(?:[eE][-+]?\d++)?+)\s*+(?P<after>[-+])?"
    r"\s*+(?P<unit>[A-Za-z°µμ%][^\s;,|]{0,11})?"
)
# A mark or a word before the first number; a word may stand right before the number, where that shows a sign or decimals.
_TAG = re.compile(r"[$#!@>]+(?:[A-Za-z]\w*)?|[A-Za-z]{2,}(?=[\s,;])|[A-Za-z]+(?=[-+ ]*\d+[.,]\d)")
_TIME_OF_DAY = re.compile(r"\d{1,2}:\d\d(:\d\d([.,]\d+)?)?")
_STATUS = ("ST", "US", "OL", "GS", "NT", "TR")
"""What indicators put first: stable, unstable, overload, gross, net, tare (common practice, no source). It changes: no tag."""
_OTHERS: tuple[Quantity, ...] = ("temperature", "force", "mass", "length", "rate")
SURE = 0.9
"""A meaning less sure than this is a doubt worth telling."""


class Chunk(NamedTuple):
    """Bytes and when they arrived; None where nobody knows, as in a file of bare text."""

    arrival_s: float | None
    data: bytes


class Meaning(NamedTuple):
    """What a column seems to be, how sure that is, and why."""

    column: Column
    sureness: float
    because: str


@dataclass(frozen=True, slots=True)
class Guess:
    """A layout (None: frames), how sure it is from 0 to 1, the reasons and doubts in words, and the bits of a character."""

    layout: TextFormat | None
    sureness: float
    because: tuple[str, ...]
    caveats: tuple[str, ...] = ()
    bits: str = "8N1"


def guess(chunks: Sequence[Chunk]) -> Guess | None:
    """The likeliest reading of what came; None if nothing makes sense."""
    frames = FramesCodec()
    samples = sum(len(frames.feed(chunk.data)) for chunk in chunks)
    if frames.description is not None and samples:
        what = frames.description
        return Guess(
            None, 1.0, (f"frames that describe themselves: '{what.name}', {1e9 / what.period_ns:g} Hz, {what.torque_unit}",)
        )
    data = b"".join(chunk.data for chunk in chunks)
    bits = seven_bits(data)
    if bits is not None:
        found = guess([Chunk(chunk.arrival_s, bytes(byte & 0x7F for byte in chunk.data)) for chunk in chunks])
        return None if found is None else replace(found, bits=bits, because=(f"the eighth bit is a parity: {bits}", *found.because))
    raw = [line[: LONGEST_LINE + 1] for line in re.split(rb"[\r\n]+", data)[1:-1] if line.strip()][:MOST_LINES]
    lines = [as_text(line) or line.decode("utf-8", "replace") for line in raw]
    legible = sum(char.isprintable() or char == "\t" for line in lines for char in line)
    if len(lines) < LEAST_LINES or legible < 0.9 * sum(map(len, lines)):
        return None
    rate_hz = _line_rate(chunks)
    guesses = [
        each
        for delimiter in (",", ";", "\t", "|", " ", ", ")
        for decimal in (".", ",")
        if delimiter != decimal
        and (delimiter != ", " or decimal == ",")
        and (each := _under(lines, b"\n".join(raw), delimiter, decimal, rate_hz)) is not None
    ]
    return max(guesses, key=_merit, default=None)


def wants_more(chunks: Sequence[Chunk]) -> bool:
    """Whether what came so far is text, but too little of it: a slow indicator needs to be listened to for longer."""
    data = b"".join(chunk.data for chunk in chunks)
    lines = [line for line in re.split(rb"[\r\n]+", data)[1:-1] if line.strip()]
    legible = sum(32 <= byte & 0x7F < 127 or byte in b"\r\n\t\x02\x03" for byte in data)
    return 0 < len(lines) <= LEAST_LINES and legible >= 0.9 * len(data)


def seven_bits(data: bytes) -> str | None:
    """'7E1' or '7O1' where what was read as eight bits is seven with an even or odd parity, as some indicators send; else None."""
    odd = sum(byte.bit_count() % 2 for byte in data)
    if len(data) < LEAST_BYTES or max(data) < 0x80 or 0.02 * len(data) < odd < 0.98 * len(data):
        return None
    readable = sum(32 <= byte & 0x7F < 127 or byte & 0x7F in b"\r\n\t" for byte in data)
    return None if readable < 0.98 * len(data) else "7O1" if odd > 0.5 * len(data) else "7E1"


def _merit(found: Guess) -> float:
    """What ranks layouts: sureness, with something added for each field that is explained and taken off for each that is not."""
    if found.layout is None:
        return 1.0
    skipped = sum(column.kind == "skip" for column in found.layout.columns)
    return found.sureness + 0.3 * (len(found.layout.columns) - skipped) - 0.02 * skipped


def _line_rate(chunks: Sequence[Chunk]) -> float | None:
    """Lines a second by their arrivals; None if unknown. What came first is left out: it may have been piled up in the port."""
    timed = [(chunk.arrival_s, chunk.data) for chunk in chunks if chunk.arrival_s is not None]
    settled = [(at_s, data) for at_s, data in timed if at_s - timed[0][0] >= PILE_S]
    timed = settled if len(settled) > 10 else timed
    if len(timed) < 2 or timed[-1][0] - timed[0][0] < 0.5:
        return None
    ends = len(re.findall(rb"[^\r\n][\r\n]", b"".join(data for _, data in timed[1:])))
    return ends / (timed[-1][0] - timed[0][0]) if ends else None


def _under(lines: list[str], raw: bytes, delimiter: str, decimal: str, rate_hz: float | None) -> Guess | None:
    """The guess if fields are divided and numbers written so; None if that reads nothing."""
    tag = _tag(lines)
    checked = [line for line in lines if re.fullmatch(r".*\*[0-9A-Fa-f]{2}", line)]
    right = [line for line in checked if line[-2:].upper().encode() == check_of(line[:-3].encode())]
    check = len(right) > 0.5 * len(lines)
    bare = [line[:-3] for line in right] if check else lines
    rows = [_fields(line[len(tag) :], delimiter, tagged=tag != "") for line in bare if line.startswith(tag)]
    size = Counter(map(len, rows)).most_common(1)[0][0]
    rows = [row for row in rows if len(row) == size]
    columns = [[match for field in column if (match := _FIELD.fullmatch(field))] for column in zip(*rows, strict=True)]
    most = 0.7 * len(rows)
    unread = [at for at, column in enumerate(columns) if len(column) <= most and _changes([row[at] for row in rows])]
    numeric = [at for at, column in enumerate(columns) if len(column) > most and _fits(column, decimal)]
    if not numeric:
        return None
    heading = next((row for row in rows if all(_word(field) for field in row)), None)
    meanings = _meanings([columns[at] for at in numeric], decimal, [heading[at] for at in numeric] if heading else None, rate_hz)
    by_place = dict(zip(numeric, meanings, strict=True))
    keyed = all(columns[at][0]["key"] for at in numeric)
    all_columns = [by_place[at].column if at in by_place else Column("skip") for at in range(size)]
    if keyed:
        all_columns = [column for column in all_columns if column.kind != "skip"]
    else:  # a key here and there is no layout of keys
        all_columns = [replace(column, key="") for column in all_columns]
    layout = TextFormat(
        columns=tuple(all_columns),
        delimiter=delimiter,
        decimal=decimal,
        tag=tag,
        check=check,
        sign_after=any(match["after"] for at in numeric for match in columns[at]),
    )
    found = _judged(len(lines), raw, layout, meanings, rate_hz)
    for at in unread if found else ():
        assert found is not None
        flag = f"field {at + 1} holds changing numbers that cannot be read, like '{rows[-1][at]}'"
        found = replace(found, sureness=0.3 * found.sureness, caveats=(*found.caveats, flag))
    if found is None or decimal == "." or size > 1:
        return found
    # A lone comma: a decimal mark if it cuts off the same number of digits always, and zeros among the first of them.
    tails = [match["number"].rpartition(",")[2] for match in columns[0] if "," in match["number"]]
    fixed = len({len(tail) for tail in tails}) == 1
    trust = 1.0 if fixed and any(tail.startswith("0") for tail in tails) else 0.5 if fixed else 0.2
    caveats = found.caveats if trust == 1.0 else (*found.caveats, "decimal mark: the comma may divide two columns instead")
    return replace(found, sureness=found.sureness * trust, caveats=caveats)


def _changes(fields: list[str]) -> bool:
    """Whether numbers stand in the fields that change: something is measured there, other than the time of day."""
    numbers = [field for field in fields if any(char.isdigit() for char in field) and not _TIME_OF_DAY.fullmatch(field)]
    return len(set(numbers)) > 3 and len(numbers) > 0.5 * len(fields)


def _judged(count: int, raw: bytes, layout: TextFormat, meanings: list[Meaning], rate_hz: float | None) -> Guess | None:
    if layout.column("torque") is None:
        return None
    caveats = [f"{each.column.kind}: {each.because}" for each in meanings if each.sureness < SURE]
    because = [f"{each.column.kind}: {each.because}" for each in meanings if each.sureness >= SURE]
    sureness = 1.0
    for each in meanings:
        sureness *= each.sureness
    if layout.column("time") is None:
        if rate_hz is None:
            caveats.append("rate: the file does not tell when its lines came; 100 Hz is made up")
            sureness *= 0.5
        nice_hz = min(_RATES_HZ, key=lambda nice: abs(nice / (rate_hz or 100.0) - 1))
        rate_hz = nice_hz if rate_hz is None or abs(nice_hz / rate_hz - 1) < 0.03 else float(f"{rate_hz:.3g}")
        layout = replace(layout, rate_hz=float(rate_hz))
    codec = TextCodec(layout)
    read, ignored = len(codec.feed(b"\n" + raw + b"\n")), codec.faults.ignored
    share = read / (count - ignored) if read else 0.0
    because.insert(0, f"{read} of {count - ignored} lines are whole samples")
    if ignored:
        caveats.append(f"tag: {ignored} lines that do not begin with '{layout.tag}' are left out")
    return Guess(layout, share * sureness, tuple(because), tuple(caveats)) if share > 0.5 else None


def _tag(lines: list[str]) -> str:
    """The word without a number that most lines start with, '' if there is none."""
    words = [match.group() for line in lines if (match := _TAG.match(line)) and match.group() not in _STATUS]
    word, count = Counter(words).most_common(1)[0] if words else ("", 0)
    return word if count > 0.3 * len(lines) else ""


def _fields(line: str, delimiter: str, *, tagged: bool) -> list[str]:
    line = line.strip()
    if tagged:
        line = line.removeprefix(delimiter.strip()).strip()
    return split_fields(re.sub(r"\s*[=:]\s*", "=", line) if delimiter == " " else line, delimiter)


def _fits(column: list[re.Match[str]], decimal: str) -> bool:
    other = "," if decimal == "." else "."
    return not any(other in match["number"] for match in column)


def _word(field: str) -> bool:
    return bool(re.match(r"[A-Za-zµ°]", field)) and not _FIELD.fullmatch(field)


def _meanings(columns: list[list[re.Match[str]]], decimal: str, heading: list[str] | None, rate_hz: float | None) -> list[Meaning]:
    """What the numeric columns are: first those that say it, then those whose numbers do, then the rest by their order."""
    meanings: list[Meaning | None] = []
    for at, column in enumerate(columns):
        values = [float(re.sub(r"\s", "", match["number"]).replace(decimal, ".")) for match in column]
        title = heading[at] if heading else ""
        said, run = _said(column, title), _run(values, rate_hz)
        lone_t = "t" in (title.lower(), (column[0]["key"] or "").lower())  # torque, or time where it runs like a clock
        meanings.append(run if run and (said is None or lone_t) else said)
    taken = {meaning.column.kind for meaning in meanings if meaning}
    free: list[Kind] = [kind for kind in ("torque", "angle") if kind not in taken]
    unknown = sum(meaning is None for meaning in meanings)
    result: list[Meaning] = []
    seen: set[Kind] = set()
    for at, meaning in enumerate(meanings):
        key = columns[at][0]["key"] or ""
        if meaning is None:
            kind: Kind = free.pop(0) if free else "skip"
            sure = 0.7 if unknown == 1 else 0.55
            why = "by its place only, in a unit that is assumed; pull once and look" if kind != "skip" else "not needed"
            meaning = Meaning(Column(kind, {"torque": "N.m", "angle": "deg"}.get(kind, "")), sure if kind != "skip" else 0.95, why)
        elif meaning.column.kind in seen or (meaning.column.kind == "counter" and "time" in seen):
            meaning = Meaning(Column("skip"), 0.9, "said twice")
        seen |= {meaning.column.kind} - {"skip"}
        result.append(meaning._replace(column=replace(meaning.column, key=key)))
    return result


def _said(column: list[re.Match[str]], heading: str) -> Meaning | None:
    """What a unit in the line, a key or a heading says."""
    unit = Counter(match["unit"] or "" for match in column).most_common(1)[0][0]
    kind = _measured_in(unit) if unit else None
    if kind is not None:
        return Meaning(Column(kind, unit), 0.97, f"the unit {unit} stands in the line")
    if unit:
        other = _is_other(unit)
        return Meaning(
            Column("skip"),
            0.95 if other else 0.5,
            f"{unit} is {'no unit' if other else 'not known as a unit'} of torque, angle or time",
        )
    header = ColumnHeader.parse(re.sub(r"^(.*?)\s*\((.*)\)$", r"\1 [\2]", heading))
    for word, source in ((column[0]["key"] or "", "key"), (header.quantity, "heading")):
        named = next((kind for kind, names in _NAMES if word and re.fullmatch(names, word, re.IGNORECASE)), None)
        if named is None:
            continue
        if header.unit and named != "counter" and _measured_in(header.unit) == named:
            return Meaning(Column(named, header.unit), 0.97, f"so says the {source} '{heading}'")
        if named in ("torque", "angle"):
            return Meaning(
                Column(named, "N.m" if named == "torque" else "deg"), 0.85, f"so says the {source} '{word}'; its unit is assumed"
            )
    return None


def _measured_in(unit: str) -> Kind | None:
    for kind in ("torque", "angle", "time"):
        try:
            scale_to_si(unit, kind)
        except UnitError:
            continue
        return kind
    return None


def _is_other(unit: str) -> bool:
    """Whether the unit is known and of something else, such as a temperature or a supply."""
    if unit in ("%", "V", "mV", "A", "mA"):
        return True
    for quantity in _OTHERS:
        try:
            scale_to_si(unit, quantity)
        except UnitError:
            continue
        return True
    return False


def _run(values: list[float], rate_hz: float | None) -> Meaning | None:
    """What numbers say by how they run: a counter goes by ones, a clock rises evenly."""
    steps = [later - sooner for sooner, later in pairwise(values)]
    rising = [step for step in steps if step > 0]
    if not rising or len(rising) < 0.95 * len(steps):
        return None
    step = statistics.median(rising)
    if sum(abs(each - step) < 0.5 * step for each in rising) < 0.9 * len(rising):
        return None
    counts = step == 1.0 and all(value == int(value) for value in values)
    if rate_hz is None:
        if counts:
            return Meaning(Column("counter"), 0.7, "it goes up by one a line")
        unit = "s" if step < 0.5 else "ms" if step < 200 else "us"
        return Meaning(Column("time", unit), 0.7, "it rises evenly; its unit is assumed")
    for unit in ("ms", "us", "s"):
        pace = step * scale_to_si(unit, "time").factor * rate_hz
        if (0.9 if counts else 0.5) < pace < (1.1 if counts else 2.0):
            return Meaning(
                Column("time", unit), 0.6 if counts else 0.95, f"it rises evenly, and in {unit} as fast as the lines come"
            )
    return Meaning(Column("counter"), 0.95, "it goes up by one a line") if counts else None
