"""Lengths being entered as their panel shows them: fields by part, the next one in large, a word where it is amiss. No Qt."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

from analysis.units import to_unit
from rig.gauge.entry import Word
from rig.gauge.fields import Entered, Field, Refused
from rig.window.lengths import Lengths
from rig.words.language import number, say

MM_DIGITS, IN_DIGITS = 3, 4
"""What a micrometer is read to."""


@dataclass(frozen=True, slots=True)
class FieldView:
    """A field: its place in the list, its name, what stands in it, whether it is next, whether it was entered here."""

    at: int
    name: str
    value: str
    current: bool
    new: bool


@dataclass(frozen=True, slots=True)
class PartView:
    """The fields of one part."""

    name: str
    fields: tuple[FieldView, ...]


@dataclass(frozen=True, slots=True)
class LengthsView:
    """The panel. `large` is what is typed, else the last length; `other` the same in the other unit; `word` what is amiss."""

    title: str
    parts: tuple[PartView, ...]
    asked: str
    large: str
    other: str
    word: str
    amiss: bool
    gauge: str
    unit: str
    done: str


def lengths_view(lengths: Lengths) -> LengthsView | None:
    """What the panel shows; None while nothing is measured."""
    entry = lengths.entry
    if entry is None:
        return None
    known, current = entry.list, entry.list.current
    cells = [
        (field.group, FieldView(at, field.name, _shown(value, lengths.unit), at == known.at, value is not None and value.new))
        for at, (field, value) in enumerate(zip(known.fields, known.values, strict=True))
    ]
    parts = tuple(PartView(name, tuple(cell for _, cell in of)) for name, of in groupby(cells, key=lambda cell: cell[0]))
    last = known.values[known.order[-1][0]] if known.order else None
    large, other = _large(lengths, last)
    filled = sum(value is not None for value in known.values)
    return LengthsView(
        title=lengths.title,
        parts=parts,
        asked=say("all measured") if current is None else f"{current.group}: {current.name}",
        large=large,
        other=other,
        word=_word(lengths, current),
        amiss=known.word is not None or entry.word in (Word.LOST, Word.NOT_STEADY, Word.NOTHING_NEW),
        gauge=lengths.gauge or say("no gauge: type, or open one"),
        unit=lengths.unit,
        done=say("{n} of {all}", n=filled, all=len(known.fields)),
    )


def _large(lengths: Lengths, last: Entered | None) -> tuple[str, str]:
    if lengths.typing:
        return f"{lengths.typing} {lengths.unit}", ""
    if last is None:
        return "–", ""
    return _in(last.length_mm, lengths.unit), _in(last.length_mm, "mm" if lengths.unit == "in" else "in")


def _shown(value: Entered | None, unit: str) -> str:
    return "–" if value is None else _in(value.length_mm, unit)


def _in(length_mm: float, unit: str) -> str:
    if unit == "mm":
        return f"{number(length_mm, MM_DIGITS)} mm"
    return f"{number(to_unit(f'{length_mm!r} mm', 'length', 'in'), IN_DIGITS)} in"


def _word(lengths: Lengths, current: Field | None) -> str:
    assert lengths.entry is not None
    entry = lengths.entry
    refused = entry.list.word
    if refused is not None and current is not None:
        limits = {"low": _in(current.low_mm, lengths.unit), "high": _in(current.high_mm, lengths.unit)}
        return {
            Refused.NO_LENGTH: say("that is no length: measure again"),
            Refused.TOO_SMALL: say("too small: between {low} and {high} is possible; measure again", **limits),
            Refused.TOO_LARGE: say("too large: between {low} and {high} is possible; measure again", **limits),
            Refused.FAR_FROM_ALIKE: say("far from the other places of this part: measure again; the same again is believed"),
        }[refused]
    if entry.word is Word.LOST and entry.lost is not None:
        return f"{entry.lost.what}; {entry.lost.remedy}"
    return {
        None: "",
        Word.WAITING: say("each press of the gauge fills the next field"),
        Word.PRINTS_BY_ITSELF: say("the gauge prints by itself: the pedal or the key takes what it shows"),
        Word.NOTHING_NEW: say("nothing new from the gauge: press its button"),
        Word.NOT_STEADY: say("the gauge is not steady: hold still, then press again"),
        Word.TOO_SOON: say("two lines at once: one was taken"),
    }.get(entry.word, "")
