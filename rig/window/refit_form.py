"""The refit at the window: which fields each part has, and a sheet (contract REFIT.md) made of what stands in them. No Qt.

A field keeps what was typed, with or without a unit; a bare number gets the unit of its kind. The sheet is read by the one reader
of refit sheets, so that a page and a file are judged alike.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

READINGS: Final = 4
"""Places round a flange or gear: four at 90 degrees (TRADE.md 7)."""
POINTS: Final = 8
"""Fields for the backlash: four at least, eight where a gear is uneven."""
MOST_BOLTS: Final = 24
"""Fields for bolts; a larger group is entered by a file."""


class Kind(StrEnum):
    """What a field holds, and so the unit of a bare number."""

    WORDS = ""
    COUNT = "count"
    LENGTH = "mm"
    LENGTHS = "mm list"
    LENGTH_RANGE = "mm range"
    TORQUE = "N.m"
    TORQUES = "N.m list"
    TORQUE_RANGE = "N.m range"
    ANGLE = "deg"
    VOLUME = "l"
    VOLUME_RANGE = "l range"
    SHARE = "%"
    SHARES = "% list"
    DOSE = "dose"
    CHOICE = "choice"
    YES = "yes"
    FILES = "files"


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A field of a part: its key in the sheet, its name, an example, what it holds.

    `fields`: a reading has so many large fields. `forms`: only with these forms of a bearing.
    """

    key: str
    name: str
    kind: Kind
    example: str = ""
    fields: int = 0
    choices: tuple[tuple[str, str], ...] = ()
    forms: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Part:
    """A part of a refit: its section, its name, its fields."""

    section: str
    name: str
    entries: tuple[Entry, ...]

    @property
    def readings(self) -> tuple[Entry, ...]:
        """What is measured: the large fields."""
        return tuple(entry for entry in self.entries if entry.fields)

    @property
    def stated(self) -> tuple[Entry, ...]:
        """What the page asks for."""
        return tuple(entry for entry in self.entries if not entry.fields)


def _name(example: str) -> Entry:
    return Entry(key="name", name="name", kind=Kind.WORDS, example=example)


_SET_AFTER = Entry(key="set_after", name="set after, who says so", kind=Kind.WORDS, example="by the manual, T.W.")

BEARINGS: Final = Part(
    "bearing",
    "Bearings",
    (
        _name("side bearings"),
        Entry(
            key="form",
            name="measured by",
            kind=Kind.CHOICE,
            choices=(("gap", "gap: cover drawn on, feeler"), ("end_play", "end play: dial"), ("depths", "depths: depth gauge")),
        ),
        Entry(key="gap", name="gap", kind=Kind.LENGTHS, fields=READINGS, forms=("gap",)),
        Entry(key="end_play", name="end play", kind=Kind.LENGTHS, fields=READINGS, forms=("end_play",)),
        Entry(key="depth_case", name="case face to shim seat", kind=Kind.LENGTHS, fields=READINGS, forms=("depths",)),
        Entry(key="depth_bearing", name="case face to race", kind=Kind.LENGTHS, fields=READINGS, forms=("depths",)),
        Entry(key="wanted", name="interference wanted", kind=Kind.LENGTH_RANGE, example="0.15..0.21 mm"),
        Entry(key="shims_now", name="shims fitted now", kind=Kind.LENGTHS, example="1.10", forms=("gap", "end_play")),
        Entry(
            key="thicker_shim",
            name="a thicker shim gives",
            kind=Kind.CHOICE,
            choices=(("", ""), ("more preload", "more preload"), ("less preload", "less preload")),
        ),
        Entry(key="shelf", name="shims on the shelf", kind=Kind.LENGTHS, example="0.05, 0.10, 1.20"),
        Entry(key="shims_max", name="most shims", kind=Kind.COUNT, example="2"),
        Entry(key="turned", name="turns given before", kind=Kind.COUNT, example="5"),
    ),
)
DRAG: Final = Part(
    "drag",
    "Drag",
    (
        _name("side bearings"),
        Entry(key="torque", name="drag", kind=Kind.TORQUES, fields=READINGS),
        Entry(key="traces", name="recordings over whole turns", kind=Kind.FILES),
        Entry(key="window", name="window", kind=Kind.TORQUE_RANGE, example="0.7..3.4 N.m"),
        Entry(key="variation_max", name="most variation in a turn", kind=Kind.TORQUE, example="1.0 N.m"),
        Entry(key="sensor_u", name="standard uncertainty of the sensor", kind=Kind.TORQUE, example="0.1 N.m"),
        _SET_AFTER,
    ),
)
BACKLASH: Final = Part(
    "backlash",
    "Backlash",
    (
        _name("ring gear"),
        Entry(key="points", name="backlash", kind=Kind.LENGTHS, fields=POINTS),
        Entry(key="window", name="window", kind=Kind.LENGTH_RANGE, example="0.13..0.23 mm"),
        Entry(key="variation_max", name="most variation round the gear", kind=Kind.LENGTH, example="0.07 mm"),
        Entry(key="per_shim", name="change of backlash a shim moved", kind=Kind.WORDS, example="0.075 mm per 0.10 mm"),
        Entry(key="dial_radius", name="radius of the dial", kind=Kind.LENGTH, example="92 mm"),
        Entry(key="gear_radius", name="pitch radius of the gear", kind=Kind.LENGTH, example="98 mm"),
        _SET_AFTER,
    ),
)
BOLTS: Final = Part(
    "fasteners",
    "Bolts",
    (
        _name("ring gear bolts"),
        Entry(key="count", name="bolts", kind=Kind.COUNT, example="10"),
        Entry(key="torque", name="torque", kind=Kind.TORQUE, example="98 N.m"),
        Entry(key="tolerance", name="tolerance", kind=Kind.SHARE, example="4 %"),
        Entry(key="stages", name="stages", kind=Kind.SHARES, example="30, 60, 100, 100"),
        Entry(key="angle", name="then by angle", kind=Kind.ANGLE, example="90 deg"),
        Entry(key="angle_tolerance", name="tolerance of the angle", kind=Kind.ANGLE, example="5 deg"),
        Entry(
            key="thread",
            name="thread",
            kind=Kind.CHOICE,
            choices=(("", ""), ("right", "right-hand"), ("left", "left-hand")),
        ),
        Entry(key="state", name="bolts are", kind=Kind.CHOICE, choices=(("", ""), ("new", "new"), ("reused", "used again"))),
        Entry(key="single_use", name="hold once only", kind=Kind.YES, choices=(("", "no"), ("yes", "yes"))),
        Entry(
            key="threads",
            name="threads are",
            kind=Kind.CHOICE,
            choices=(("", ""), ("dry", "dry"), ("oiled", "oiled"), ("threadlock", "with threadlock")),
        ),
        Entry(key="locked_by", name="locked by", kind=Kind.CHOICE, choices=(("", ""), ("tabs", "lock tabs"))),
        Entry(key="peaks", name="peak", kind=Kind.TORQUES, fields=MOST_BOLTS),
    ),
)
FILL: Final = Part(
    "fill",
    "Fill",
    (
        _name("gear oil"),
        Entry(key="drained", name="drained", kind=Kind.VOLUME, fields=1),
        Entry(key="filled", name="filled", kind=Kind.VOLUME, fields=1),
        Entry(key="additive_added", name="additive put in", kind=Kind.VOLUME, fields=1),
        Entry(key="wanted", name="filled, wanted", kind=Kind.VOLUME_RANGE, example="1.9..2.1 l"),
        Entry(key="additive", name="additive wanted", kind=Kind.DOSE, example="4 %"),
    ),
)
PARTS: Final = (BEARINGS, DRAG, BACKLASH, BOLTS, FILL)

Texts = Mapping[str, str]
"""What stands in the fields, by `field_key`."""


def field_key(entry: Entry, at: int | None = None) -> str:
    """Name of a field: the entry's key, with the place where it has several."""
    return entry.key if at is None else f"{entry.key}.{at}"


def section_of(part: Part, texts: Texts) -> dict[str, Any]:
    """The part as a section of a sheet; empty fields are left out."""
    form = texts.get("form") or "gap"
    section: dict[str, Any] = {}
    for entry in part.entries:
        if entry.forms and form not in entry.forms:
            continue
        if entry.fields > 1:
            value: Any = _readings(part, entry, texts)
        else:
            value = _value(entry, texts.get(field_key(entry, 0 if entry.fields else None), "").strip())
        if value not in (None, "", []) or (entry.key == "shims_now" and value == []):
            section[entry.key] = value
    if part is BEARINGS:
        section["form"] = form
    if part is DRAG and section.get("traces"):
        section.pop("torque", None)  # read over whole turns
    return section


def _readings(part: Part, entry: Entry, texts: Texts) -> list[str]:
    """What stands in the large fields; a bolt that was not recorded keeps its place."""
    count = bolts_of(texts) if part is BOLTS else entry.fields
    found = [_with_unit(texts.get(field_key(entry, at), "").strip(), _unit(entry.kind)) for at in range(count)]
    if part is BOLTS:
        return [text or "-" for text in found] if any(found) else []
    return [text for text in found if text]


def _value(entry: Entry, text: str) -> Any:
    """A field's text as a sheet has it."""
    unit = _unit(entry.kind)
    match entry.kind:
        case Kind.COUNT:
            return int(text) if text.isdigit() else text
        case Kind.LENGTHS | Kind.TORQUES | Kind.SHARES:
            if text in ("0", "-", "–"):
                return []
            return [_with_unit(one, unit) for one in _split(text)]
        case Kind.LENGTH_RANGE | Kind.TORQUE_RANGE | Kind.VOLUME_RANGE:
            return _range(text, unit)
        case Kind.FILES:
            return [one.strip() for one in text.split(";") if one.strip()]
        case Kind.YES:
            return True if text else None
        case Kind.DOSE:
            return _with_unit(text, "%")
        case Kind.WORDS | Kind.CHOICE:
            return text
        case _:
            return _with_unit(text, unit)


def _unit(kind: Kind) -> str:
    return kind.value.split(" ")[0]


def bolts_of(texts: Texts) -> int:
    """How many bolts the fields are for; 0 where that is not said yet."""
    text = texts.get("count", "").strip()
    return min(int(text), MOST_BOLTS) if text.isdigit() else 0


def _split(text: str) -> list[str]:
    """Entries between commas or semicolons; a comma within a number ('0,05') is a decimal mark where semicolons part them."""
    parts = re.split(r"\s*;\s*", text) if ";" in text else re.split(r",\s+|\s{2,}", text)
    return [part for part in parts if part]


_NUMBER = r"[-+]?\d+(?:[.,]\d+)?"


def _with_unit(text: str, unit: str) -> str:
    """A bare number with the unit of its kind, and with a point."""
    if re.fullmatch(_NUMBER, text):
        return f"{text.replace(',', '.')} {unit}"
    return re.sub(r"(\d),(\d)", r"\1.\2", text)


def _range(text: str, unit: str) -> str:
    """Limits: two numbers between dots or a dash get the unit where there is none."""
    plain = re.sub(r"(\d),(\d)", r"\1.\2", text)
    plain = re.sub(rf"^({_NUMBER})\s*[-–]\s*({_NUMBER})", r"\1..\2", plain)
    return f"{plain} {unit}" if re.fullmatch(r"[\d.\s]*\.\.[\d.\s]*", plain) and plain.strip() else plain


def texts_of(part: Part, section: Mapping[str, Any], *, with_readings: bool) -> dict[str, str]:
    """What stands in the fields for a section of an earlier sheet; what was measured only where it is wanted."""
    texts: dict[str, str] = {}
    for entry in part.entries:
        value = section.get(entry.key)
        if value is None or (entry.fields and not with_readings):
            continue
        values = list(value) if isinstance(value, Sequence) and not isinstance(value, str) else [value]
        if entry.fields:
            texts |= {field_key(entry, at): str(one) for at, one in enumerate(values[: entry.fields])}
        elif entry.kind is Kind.YES:
            texts[entry.key] = "yes" if value else ""
        else:
            texts[entry.key] = "; ".join(map(str, values))
    return texts


def sheet_of(part: Part, texts: Texts, unit: str) -> dict[str, Any]:
    """A sheet with this one part."""
    return {"refit": {"unit": unit} if unit else {}, part.section: [section_of(part, texts)]}
