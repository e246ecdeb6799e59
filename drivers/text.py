"""Text lines, a sample a line, as a microcontroller or an indicator prints them. Decoder and encoder, both pure.

A format becomes one regular expression; a line that matches it whole is a sample, any other line is counted. Without a check
sum a digit that was lost or changed on the way can still look like a number: let the device send one, or use frames.
"""

from __future__ import annotations

import functools
import math
import operator
import re
from dataclasses import dataclass
from typing import Literal, cast

from analysis.errors import UnitError
from analysis.units import Quantity, Scale, scale_to_si, split_quantity
from drivers.codec import BEYOND_REASON, Reading, WireFaults

Kind = Literal["torque", "angle", "length", "time", "counter", "skip"]

LONGEST_LINE = 512
"""Bytes; a line still unfinished then is dropped, so that a device that never ends a line cannot fill the memory."""

# Words that indicators print instead of a number when the sensor is beyond its range (common practice, no source).
OVERLOAD_WORDS = ("OL", "O.L", "0L", "0.L", "OVL", "OVER", "OVERLOAD", "OVERRANGE", "OVFL", "ERR OL", "----")
# In a field that is skipped only this one means overload: 'OVER' there may be an indicator's own verdict.
OVERLOAD_STATUS = "OL"

_NUMBER = rb"[-+]?(?:\d++(?:\.\d*+)?+|\.\d++)(?:[eE][-+]?\d++)?+"
_UNIT = r"[A-Za-z°µμ][A-Za-z°µμ·./*-]{0,11}"
_LINE_END = re.compile(rb"[\r\n]")
_BOM = b"\xef\xbb\xbf"
_OLD_SIGNS = {0xB0: "°", 0xB5: "µ", 0xB7: "·"}
"""The signs of units in the one-byte character sets (ISO 8859-1 and its kin) that indicators still send."""
_BRACKETED_UNIT = re.compile(r"(?<=[0-9+-])\s*[\[(]\s*([A-Za-z°µμ][^\s()\[\]]*)\s*[\])]")


def scale_of_column(unit: str, kind: Quantity) -> Scale:
    """Scale of numbers sent in a unit, or of counts that stand for so much of one each, as in '0.01 N.m'.

    Raises UnitError where it is neither.
    """
    if not unit[:1].isdigit() or not (parts := split_quantity(unit))[1]:
        return scale_to_si(unit, kind)
    each, unit = parts
    if each == 0:
        raise UnitError("a count cannot stand for nothing", remedy="write it like '0.01 N.m'")
    one = scale_to_si(unit, kind)
    return Scale(each * one.factor, one.offset)


@dataclass(frozen=True, slots=True)
class Column:
    """A field of the line: what it is, its unit as sent (or what a count stands for) and, in 'key=value' lines, its key."""

    kind: Kind
    unit: str = ""
    key: str = ""

    @property
    def scale(self) -> Scale:
        """From the unit as sent to N.m, deg, m or s; a counter has none."""
        if self.kind in ("counter", "skip"):
            return Scale(1.0)
        return scale_of_column(self.unit, cast(Quantity, self.kind))


@dataclass(frozen=True, slots=True, kw_only=True)
class TextFormat:
    """How a line is laid out. `delimiter` ' ' is any run of blanks. `rate_hz` is None where the device stamps its samples.

    tag              lines start with it; other lines are ignored, not faults
    decimal          '.' or ','
    sign_after       the sign may stand after the number
    status_glued     letters stand before the first number without a gap: a status that changes; OL among them is overload
    check            the line ends in '*' and two hexadecimal digits: the exclusive-or of all bytes before, a leading '$' left out
    overload_words   what stands in place of the torque when the sensor is overloaded
    """

    columns: tuple[Column, ...]
    delimiter: str = ","
    rate_hz: float | None = None
    tag: str = ""
    decimal: str = "."
    sign_after: bool = False
    status_glued: bool = False
    check: bool = False
    overload_words: tuple[str, ...] = OVERLOAD_WORDS

    def column(self, kind: Kind) -> Column | None:
        """The column of that kind; None where the line has none."""
        return next((column for column in self.columns if column.kind == kind), None)

    @property
    def keyed(self) -> bool:
        """Whether fields carry keys."""
        return any(column.key for column in self.columns)


class LineCutter:
    """Bytes to whole lines, blank ones left out. All before the first line end is dropped: it may be the rest of a number."""

    def __init__(self, faults: WireFaults) -> None:
        self._faults = faults
        self._rest = b""
        self._in_step = False

    def restart(self, *, in_step: bool = False) -> None:
        """Forget the unfinished rest. `in_step`: what comes next is known to begin a line."""
        self._rest, self._in_step = b"", in_step

    @property
    def unfinished(self) -> bool:
        """Whether a line has begun and not ended."""
        return bool(self._rest) and self._in_step

    def feed(self, data: bytes) -> list[bytes]:
        """Take the next bytes; return the lines they complete, of any length."""
        *lines, rest = _LINE_END.split(self._rest + data)
        if lines and not self._in_step:
            self._in_step = True
            del lines[0]
        self._rest = rest
        if len(rest) > LONGEST_LINE:
            self._faults.overlong += self._in_step
            self.restart()
        return [line for line in lines if line]


class TextCodec:
    """Lines to readings."""

    def __init__(self, layout: TextFormat) -> None:
        self.layout = layout
        self.faults = WireFaults()
        self._cutter = LineCutter(self.faults)
        self._lines = 0
        self._side = 1.0
        self._plain = _plain_pattern(layout)
        wanted = [column.kind for column in layout.columns if column.kind != "skip"]
        self._torque_at = wanted.index("torque")
        self._angle_at = wanted.index("angle") if "angle" in wanted else None
        stamp = next((kind for kind in ("time", "counter") if kind in wanted), None)
        self._stamp_at = wanted.index(stamp) if stamp else None
        self._fields = FieldReader(layout)

    def restart(self) -> None:
        """Forget the unfinished rest: the line was opened anew."""
        self._cutter.restart()

    def feed(self, data: bytes) -> list[Reading]:
        """Take the next bytes; return the readings they complete."""
        read = map(self._read, self._cutter.feed(data))
        return [reading for reading in read if reading is not None]

    def _read(self, line: bytes) -> Reading | None:
        if len(line) > LONGEST_LINE:
            self.faults.overlong += 1
            return None
        whole = line
        if self.layout.check:
            checked = without_check(line)
            if checked is None:
                self._count_unread(whole)
                return None
            line = checked
        match = self._plain.fullmatch(line) if self._plain else None
        values = list(map(float, match.groups())) if match else self._fields.read(line)
        if values is None or (match and not -BEYOND_REASON < min(values) <= max(values) < BEYOND_REASON):
            self._count_unread(whole)
            return None
        self._lines += 1
        torque = values[self._torque_at]
        if math.isinf(torque):
            self.faults.overload += 1
            torque = math.copysign(math.inf, torque if self._fields.signed_overload else self._side)
        elif torque:
            self._side = torque
        angle = None if self._angle_at is None else values[self._angle_at]
        return Reading(torque, angle, self._lines if self._stamp_at is None else values[self._stamp_at])

    def _count_unread(self, line: bytes) -> None:
        if not is_tagged(self.layout, line):
            self.faults.ignored += 1
            return
        self.faults.garbled += 1
        # A line with a digit was a sample once: it keeps its place in time where nothing else tells the time.
        self._lines += any(48 <= byte <= 57 for byte in line)


def as_text(line: bytes) -> str | None:
    """A line as text, without what only frames it: byte order mark, STX and ETX, brackets round a unit, JSON's braces and quotes.

    None if it is no text.
    """
    line = line.removeprefix(_BOM).strip(b" \t\x02\x03")
    try:
        text = line.decode("utf-8")
    except UnicodeDecodeError:
        if not all(byte < 0x80 or byte in _OLD_SIGNS for byte in line):
            return None
        text = line.decode("latin-1")
    if text.startswith("{") and text.endswith("}"):
        text = text[1:-1].replace('"', "")
    if "[" in text or "(" in text:
        text = _BRACKETED_UNIT.sub(r" \1", text)
    return text.replace("\u2212", "-").strip()


_GLUED_STATUS = re.compile(r"[A-Za-z]{1,8}(?=(?:[-+] *+)?(?:\d++(?:[.,]|$|[^\w])|[.,]\d))")


def without_status(text: str) -> str:
    """A line without the letters that are glued to its first number; the whole line where there are none."""
    status = _GLUED_STATUS.match(text)
    return text if status is None else text[status.end() :]


def split_fields(text: str, delimiter: str) -> list[str]:
    """The fields of a line. Where blanks divide, a unit goes back behind its number, and a lone sign before its own."""
    if delimiter != " ":
        return [field.strip(" \t") for field in text.split(delimiter)]
    joined: list[str] = []
    for field in text.split():
        last = joined[-1] if joined else ""
        is_unit = (field[0].isalpha() or field[0] == "°") and "=" not in field
        if last and ((is_unit and (last[-1] in "0123456789+-" or last.upper() in OVERLOAD_WORDS)) or last in ("+", "-")):
            joined[-1] += " " + field
        elif last.endswith(("=+", "=-")):
            joined[-1] += field
        else:
            joined.append(field)
    return joined


def is_tagged(layout: TextFormat, line: bytes) -> bool:
    """Whether a line is of the kind the profile wants; without a tag every line is."""
    return not layout.tag or line.lstrip(_BOM + b" \t").startswith(layout.tag.encode())


def without_check(line: bytes) -> bytes | None:
    """The line before its check sum; None where that is missing or does not fit."""
    checked, _, told = line.rstrip(b" \t").rpartition(b"*")
    return checked if told.upper() == check_of(checked) else None


def check_of(line: bytes) -> bytes:
    """Exclusive-or of the bytes after a leading '$', as two hexadecimal digits: the check sum of NMEA 0183 sentences."""
    return b"%02X" % functools.reduce(operator.xor, line.removeprefix(b"$"), 0)


def _plain_pattern(layout: TextFormat) -> re.Pattern[bytes] | None:
    """The whole line as one expression for the common case: numbers only. None where the layout needs the field reader."""
    if layout.keyed or layout.decimal != "." or layout.sign_after or layout.tag or layout.status_glued:
        return None
    blank = layout.delimiter == " "
    mark = rb"[ \t]++" if blank else rb"[ \t]*+" + re.escape(layout.delimiter.encode()) + rb"[ \t]*+"
    anything = rb"[^ \t]++" if blank else rb"[^" + re.escape(layout.delimiter[:1].encode()) + rb"]*+"
    anything = rb"(?!" + OVERLOAD_STATUS.encode() + rb"\b)" + anything
    fields = [anything if column.kind == "skip" else rb"(" + _NUMBER + rb")" for column in layout.columns]
    return re.compile(rb"[ \t]*+" + mark.join(fields) + rb"[ \t]*+")


class FieldReader:
    """The patient reader: tags, keys, decimal commas, signs apart or after the number, units in the line, overload words."""

    def __init__(self, layout: TextFormat) -> None:
        self.layout = layout
        self.signed_overload = False
        number = _NUMBER.decode().removeprefix("[-+]?").replace(r"\.", re.escape(layout.decimal))
        tail = r"\s*(?P<after>[-+])?" if layout.sign_after else ""
        self._value = re.compile(rf"(?P<sign>[-+])?\s*(?P<number>{number}){tail}\s*(?P<unit>{_UNIT})?", re.ASCII)
        words = "|".join(re.escape(word) for word in layout.overload_words if word.strip("-"))
        dashes = min((len(word) for word in layout.overload_words if not word.strip("-")), default=0)
        # A row of dashes is as long as the display is wide, and its first is no sign.
        row = rf"-{{{dashes},}}" if dashes else "(?!)"
        signed = rf"(?P<sign>[-+])?\s*(?:{words})(?![^\s])" if words else "(?!)"
        self._overload = re.compile(rf"(?:{row}|{signed})(?:\s*(?P<unit>{_UNIT}))?", re.ASCII | re.IGNORECASE)

    def read(self, line: bytes) -> list[float] | None:
        """Values of the columns that are not skipped, in their order; None if the line is not a sample. Overload is infinite."""
        text = as_text(line)
        if text is None:
            return None
        layout = self.layout
        if layout.tag:
            if not text.startswith(layout.tag):
                return None
            text = text[len(layout.tag) :].strip(" \t").removeprefix(layout.delimiter.strip()).strip(" \t")
        glued = text[: len(text) - len(without_status(text))] if layout.status_glued else ""
        text = text[len(glued) :]
        fields = split_fields(re.sub(r"\s*[=:]\s*", "=", text) if layout.keyed else text, layout.delimiter)
        paired = self._by_key(fields) if layout.keyed else self._by_place(fields)
        if paired is None:
            return None
        over = glued.strip().upper() == OVERLOAD_STATUS
        over = over or any(column.kind == "skip" and field.upper() == OVERLOAD_STATUS for column, field in paired)
        values = [self._number(column, field, over) for column, field in paired if column.kind != "skip"]
        return None if None in values else values  # type: ignore[return-value]

    def _by_place(self, fields: list[str]) -> list[tuple[Column, str]] | None:
        columns = self.layout.columns
        return list(zip(columns, fields, strict=True)) if len(fields) == len(columns) else None

    def _by_key(self, fields: list[str]) -> list[tuple[Column, str]] | None:
        found: dict[str, str] = {}
        for field in fields:
            key, mark, value = field.partition("=")
            if not mark or key in found:
                return None
            found[key] = value
        wanted = [column for column in self.layout.columns if column.kind != "skip"]
        return [(column, found[column.key]) for column in wanted] if all(c.key in found for c in wanted) else None

    def _number(self, column: Column, field: str, over: bool) -> float | None:
        match = self._value.fullmatch(field)
        factor = None if match is None else _factor(column, match["unit"]) if match["unit"] else 1.0
        if column.kind == "torque" and (over or factor is None):
            told = self._overload.fullmatch(field)
            if not (over or told) or (told and told["unit"] and _factor(column, told["unit"]) is None):
                return None
            sign = told["sign"] if told else field[:1]
            self.signed_overload = sign in ("+", "-")
            return -math.inf if sign == "-" else math.inf
        if match is None or factor is None or (match["sign"] and self.layout.sign_after and match["after"]):
            return None
        value = float(match["number"].replace(self.layout.decimal, ".")) * factor
        if match["sign"] == "-" or (self.layout.sign_after and match["after"] == "-"):
            value = -value
        return value if abs(value) < BEYOND_REASON else None


@functools.lru_cache(maxsize=256)
def _factor(column: Column, unit: str) -> float | None:
    """What turns a value with `unit` written behind it into the column's unit; None if the unit is not one of its kind."""
    if column.kind == "counter":
        return None
    try:
        return scale_to_si(unit, column.kind).factor / column.scale.factor
    except UnitError:
        return None


def encode_line(layout: TextFormat, reading: Reading, *, digits: int = 3, end: bytes = b"\r\n") -> bytes:
    """One line out of a reading in the device's own units. An infinite torque becomes the first overload word.

    A sender that begins with a bare line end loses no sample: the decoder drops what stands before the first one.
    """

    def number(column: Column) -> str:
        value = {"torque": reading.torque, "angle": reading.angle, "length": None, "skip": 0.0}.get(column.kind, reading.stamp)
        if value is None:
            raise ValueError(f"the layout has a column '{column.kind}', the reading has no such value")
        if math.isinf(value):
            return ("-" if value < 0 else "") + layout.overload_words[0]
        if column.kind in ("time", "counter", "skip"):
            text = f"{value:.0f}" if value == int(value) else f"{value:.6f}"
        else:
            text = f"{abs(value) if layout.sign_after else value:.{digits}f}" + ("-" if layout.sign_after and value < 0 else "")
        return text.replace(".", layout.decimal)

    fields = [f"{column.key}={number(column)}" if column.key else number(column) for column in layout.columns]
    body = layout.delimiter.join(fields)
    line = (f"{layout.tag}{layout.delimiter}{body}" if layout.tag else body).encode()
    return (line + b"*" + check_of(line) if layout.check else line) + end
