"""A look at what a device sends: which profile would read it, and how sure that is. Pure: bytes with arrivals in.

1. Frames of our own describe themselves: their description settles it.
2. Text: every delimiter and decimal mark is tried; the layout under which most lines are whole samples wins.
3. What a column means is told by a unit in the line, by its key, by a heading, by how its numbers run, by a pull
   (`guess_shape`), else by its place.
4. A unit is what the lines say or a person says (`Guess.with_units`): none is made up.
5. The decoder itself has the last word: the sureness is the share of lines that it reads, times that of the meanings.
"""

from __future__ import annotations

import math
import re
import statistics
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import NamedTuple, cast

import numpy as np

from analysis.errors import UnitError
from analysis.units import ColumnHeader, Quantity, scale_to_si
from drivers.frames import FramesCodec
from drivers.guess_lines import Lines, start_of
from drivers.guess_shape import told_by_pulls
from drivers.text import LONGEST_LINE, Column, Kind, TextCodec, TextFormat, check_of, scale_of_column

LEAST_LINES = 8
"""Fewer say too little."""
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
_UNIT_FIELD = re.compile(r"units?\s*[=:]\s*", re.IGNORECASE)
_TIME_OF_DAY = re.compile(r"\d{1,2}:\d\d(:\d\d([.,]\d+)?)?")
_STAND_IN: dict[Kind, str] = {"torque": "N.m", "angle": "deg", "time": "s"}
"""What the decoder is given for a unit that is not known yet, to see how many lines it reads: that hangs on no unit."""
_OTHERS: tuple[Quantity, ...] = ("temperature", "force", "mass", "length", "rate")
BY_PLACE = "by its place only; pull once each way while it is listened to"
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
    wants_pull: bool = False
    """Torque or angle is named by its place only, and nobody pulled: a pull would tell."""
    torque_most: float = 0.0
    """The largest torque that came, off the usual one, as it was sent."""

    @property
    def wanted(self) -> tuple[Kind, ...]:
        """The columns whose unit no line says."""
        columns = () if self.layout is None else self.layout.columns
        return tuple(column.kind for column in columns if column.kind in _STAND_IN and not column.unit)

    def with_units(self, *, torque: str | None = None, angle: str | None = None, time: str | None = None) -> Guess:
        """The guess with what a person says of the units that no line says; an angle without one is left out.

        Raises UnitError where a text is no unit of its kind.
        """
        if self.layout is None:
            return self
        stated: dict[Kind, str | None] = {"torque": torque, "angle": angle, "time": time}
        for kind in self.wanted:
            if unit := stated[kind]:
                scale_of_column(unit, cast(Quantity, kind))
        columns = [
            replace(column, unit=stated[column.kind] or "") if column.kind in self.wanted else column
            for column in self.layout.columns
        ]
        columns = [Column("skip", key=column.key) if column.kind == "angle" and not column.unit else column for column in columns]
        return replace(self, layout=replace(self.layout, columns=tuple(columns)))


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
    raw = [line[: LONGEST_LINE + 1] for line in re.split(rb"[\r\n]+", data)[1:-1] if line.strip()]
    lines = Lines.of(raw)
    legible = sum(char.isprintable() or char == "\t" for line in lines.spread for char in line)
    if len(lines.spread) < LEAST_LINES or legible < 0.9 * sum(map(len, lines.spread)):
        return None
    rate_hz = _line_rate(chunks)
    guesses = [
        each
        for delimiter in (",", ";", "\t", "|", " ", ", ")
        for decimal in (".", ",")
        if delimiter != decimal
        and (delimiter != ", " or decimal == ",")
        and (each := _under(lines, delimiter, decimal, rate_hz)) is not None
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


def _under(lines: Lines, delimiter: str, decimal: str, rate_hz: float | None) -> Guess | None:
    """The guess if fields are divided and numbers written so; None if that reads nothing."""
    start = start_of(lines.spread, delimiter)
    checked = [line for line in lines.spread if re.fullmatch(r".*\*[0-9A-Fa-f]{2}", line)]
    right = [line for line in checked if line[-2:].upper().encode() == check_of(line[:-3].encode())]
    check = len(right) > 0.5 * len(lines.spread)
    rows = [row for line in (right if check else lines.spread) if (row := start.fields(line, delimiter, check=check)) is not None]
    if not rows:
        return None
    size = Counter(map(len, rows)).most_common(1)[0][0]
    rows = [row for row in rows if len(row) == size]
    in_turn = [row for line in lines.first if (row := start.fields(line, delimiter, check=check)) is not None and len(row) == size]
    columns = _matched(rows)
    most = 0.7 * len(rows)
    unread = [at for at, column in enumerate(columns) if len(column) <= most and _changes([row[at] for row in rows])]
    numeric = [at for at, column in enumerate(columns) if len(column) > most and _fits(column, decimal)]
    if not numeric:
        return None
    heading = next((row for row in in_turn if all(_word(field) for field in row)), None)
    first = _matched(in_turn)
    meanings = _meanings(
        [(columns[at], first[at]) for at in numeric],
        decimal,
        [heading[at] for at in numeric] if heading else [""] * len(numeric),
        [_unit_beside(rows, at) for at in numeric],
        rate_hz,
    )
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
        tag=start.tag,
        status_glued=start.glued,
        check=check,
        sign_after=any(match["after"] for at in numeric for match in columns[at]),
    )
    lines_seen, raw = len(lines.spread), lines.raw
    found = _judged(lines_seen, raw, layout, meanings, rate_hz)
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
    known = tuple(replace(column, unit=column.unit or _STAND_IN.get(column.kind, "")) for column in layout.columns)
    codec = TextCodec(replace(layout, columns=known))
    readings = codec.feed(b"\n" + raw + b"\n")
    read, ignored = len(readings), codec.faults.ignored
    share = read / (count - ignored) if read else 0.0
    because.insert(0, f"{read} of {count - ignored} lines are whole samples")
    if ignored:
        caveats.append(f"tag: {ignored} lines that do not begin with '{layout.tag}' are left out")
    if share <= 0.5:
        return None
    by_place = any(each.because == BY_PLACE for each in meanings)
    torques = np.array([reading.torque for reading in readings if math.isfinite(reading.torque)])
    most = float(np.abs(torques - np.median(torques)).max()) if torques.size else 0.0
    return Guess(layout, share * sureness, tuple(because), tuple(caveats), wants_pull=by_place, torque_most=most)


def _matched(rows: list[list[str]]) -> list[list[re.Match[str]]]:
    """The numbers of each column."""
    return [[match for field in column if (match := _FIELD.fullmatch(field))] for column in zip(*rows, strict=True)]


def _fits(column: list[re.Match[str]], decimal: str) -> bool:
    other = "," if decimal == "." else "."
    return not any(other in match["number"] for match in column)


def _word(field: str) -> bool:
    return bool(re.match(r"[A-Za-zµ°]", field)) and not _FIELD.fullmatch(field)


def _meanings(
    columns: list[tuple[list[re.Match[str]], list[re.Match[str]]]],
    decimal: str,
    headings: list[str],
    units: list[str],
    rate_hz: float | None,
) -> list[Meaning]:
    """What the numeric columns (over the listening; in turn) are: what they say, how they run, what a pull tells, their place."""
    values = [_values(spread, decimal) for spread, _ in columns]
    meanings: list[Meaning | None] = []
    for (column, in_turn), title, unit in zip(columns, headings, units, strict=True):
        said, run = _said(column, title, unit), _run(_values(in_turn, decimal), rate_hz)
        lone_t = "t" in (title.lower(), (column[0]["key"] or "").lower())  # torque, or time where it runs like a clock
        meanings.append(run if run and (said is None or lone_t) else said)
    _tell_by_pulls(meanings, values)
    taken = {meaning.column.kind for meaning in meanings if meaning}
    free: list[Kind] = [kind for kind in ("torque", "angle") if kind not in taken]
    unknown = sum(meaning is None for meaning in meanings)
    result: list[Meaning] = []
    seen: set[Kind] = set()
    for at, meaning in enumerate(meanings):
        key = columns[at][0][0]["key"] or ""
        if meaning is None:
            kind: Kind = free.pop(0) if free else "skip"
            sure = 0.95 if kind == "skip" else 0.7 if unknown == 1 else 0.55
            meaning = Meaning(Column(kind), sure, BY_PLACE if kind != "skip" else "not needed")
        elif meaning.column.kind in seen or (meaning.column.kind == "counter" and "time" in seen):
            meaning = Meaning(Column("skip"), 0.9, "said twice")
        seen |= {meaning.column.kind} - {"skip"}
        result.append(meaning._replace(column=replace(meaning.column, key=key)))
    return result


def _values(column: list[re.Match[str]], decimal: str) -> list[float]:
    numbers = [(float(re.sub(r"\s", "", match["number"]).replace(decimal, ".")), match["after"]) for match in column]
    return [-abs(value) if after == "-" else value for value, after in numbers]


def _tell_by_pulls(meanings: list[Meaning | None], values: list[list[float]]) -> None:
    """Name the columns that say nothing by what they did in a pull."""
    known: dict[Kind, int] = {meaning.column.kind: at for at, meaning in enumerate(meanings) if meaning}
    open_ones = [at for at, meaning in enumerate(meanings) if meaning is None]
    looked_at = [at for at in (*open_ones, known.get("torque", -1), known.get("angle", -1)) if at >= 0]
    least = min((len(values[at]) for at in looked_at), default=0)
    places = {at: place for place, at in enumerate(looked_at)}
    pair = told_by_pulls(
        [np.array(values[at][:least]) for at in looked_at], places.get(known.get("torque", -1)), places.get(known.get("angle", -1))
    )
    if pair is None:
        return
    for kind, place, why in (
        ("torque", pair.torque, "it comes back to rest after a pull"),
        ("angle", pair.angle, "it goes on in a pull and stays"),
    ):
        at = looked_at[place]
        if meanings[at] is None:
            meanings[at] = Meaning(Column(cast(Kind, kind)), 0.95, why)


def _unit_beside(rows: list[list[str]], at: int) -> str:
    """A unit in a field of its own: right behind the number, or anywhere as 'unit='; '' where there is none."""
    for place in (at + 1, *(place for place, field in enumerate(rows[0]) if _UNIT_FIELD.match(field))):
        if place < len(rows[0]) and len({row[place] for row in rows}) == 1:
            unit = _UNIT_FIELD.sub("", rows[0][place]).strip()
            if _measured_in(unit) in ("torque", "angle"):
                return unit
    return ""


def _said(column: list[re.Match[str]], heading: str, beside: str) -> Meaning | None:
    """What a unit in the line or beside the number, a key or a heading says."""
    unit = Counter(match["unit"] or "" for match in column).most_common(1)[0][0]
    if not unit and beside and not column[0]["key"]:
        return Meaning(Column(_measured_in(beside) or "skip", beside), 0.97, f"the unit {beside} stands beside it")
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
            unit = beside if _measured_in(beside) == named else ""
            return Meaning(Column(named, unit), 0.95, f"so says the {source} '{word}'")
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
        return Meaning(Column("time"), 0.7, "it rises evenly")
    for unit in ("ms", "us", "s"):
        pace = step * scale_to_si(unit, "time").factor * rate_hz
        if (0.9 if counts else 0.5) < pace < (1.1 if counts else 2.0):
            return Meaning(
                Column("time", unit), 0.6 if counts else 0.95, f"it rises evenly, and in {unit} as fast as the lines come"
            )
    return Meaning(Column("counter"), 0.95, "it goes up by one a line") if counts else None
