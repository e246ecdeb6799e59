"""A list of lengths to be filled one after the other, as a value: what is entered, where the next one goes."""

from __future__ import annotations

import enum
from dataclasses import dataclass, replace

from analysis.errors import UnitError
from analysis.units import to_unit

AGAIN_MM = 0.02
"""A refused length that is measured again and agrees so well is no slip (two readings agree within 0.02 mm, TRADE.md 3.1)."""


class Refused(enum.StrEnum):
    """Why a length was not taken; the field stays where it is."""

    NO_LENGTH = "no length"
    TOO_SMALL = "too small"
    TOO_LARGE = "too large"
    FAR_FROM_ALIKE = "far from alike"


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """A length that is wanted.

    Parameters
    ----------
    key
        What it is to whoever asked for it; unlike every other of the list.
    name, group
        What it is called, and the part it belongs to ("L1", "outer"), as the person reads them.
    low_mm, high_mm
        Bounds, both included: what lies beyond cannot be this length.
    alike, alike_mm
        Fields of one `alike` measure the same thing at several places: further than `alike_mm` from the nearest of them is taken
        for a slip, and believed when it is measured again. 0 mm: not looked at.
    """

    key: tuple[str | int, ...]
    name: str
    group: str = ""
    low_mm: float = 0.0
    high_mm: float = 1000.0
    alike: str = ""
    alike_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Entered:
    """A length as it was typed or sent, and in mm. `new`: entered here, and not read from the document before."""

    length_mm: float
    text: str
    new: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldList:
    """Fields, what stands in them, and the one that is next.

    `at` is len(fields) when all are done. `word` says why the last length was refused, None where it was taken; `refused_mm` is
    that length where measuring it again would make it good. `order` are the fields filled here, the newest last, with what stood
    in them before.

    >>> lengths = FieldList.of((Field(key=("a",), name="1", high_mm=6.0), Field(key=("b",), name="2", high_mm=6.0)))
    >>> lengths = lengths.taken(2.01, "2.01 mm")
    >>> lengths.at, lengths.taken(201.0, "201 mm").word
    (1, <Refused.TOO_LARGE: 'too large'>)
    >>> lengths.back().at
    0
    """

    fields: tuple[Field, ...]
    values: tuple[Entered | None, ...]
    at: int = 0
    word: Refused | None = None
    refused_mm: float | None = None
    order: tuple[tuple[int, Entered | None], ...] = ()

    @classmethod
    def of(cls, fields: tuple[Field, ...], values: tuple[Entered | None, ...] | None = None) -> FieldList:
        """The list with what is known already; the first empty field is next, the first where none is."""
        known = values or (None,) * len(fields)
        empty = next((at for at, value in enumerate(known) if value is None), 0)
        return cls(fields=fields, values=known, at=empty)

    @property
    def current(self) -> Field | None:
        """The field that is next; None when all are done."""
        return self.fields[self.at] if self.at < len(self.fields) else None

    @property
    def new(self) -> dict[tuple[str | int, ...], Entered]:
        """What was entered here, by the keys of the fields."""
        return {one.key: value for one, value in zip(self.fields, self.values, strict=True) if value is not None and value.new}

    def taken(self, length_mm: float, text: str) -> FieldList:
        """With this length in the field that is next, and on to the one after it; or refused with a word."""
        field = self.current
        if field is None:
            return self
        refused = self._refusal(field, length_mm)
        if refused is not None:
            return replace(self, word=refused, refused_mm=length_mm if refused is Refused.FAR_FROM_ALIKE else None)
        at = self.at
        values = (*self.values[:at], Entered(length_mm, text), *self.values[at + 1 :])
        order = (*self.order, (at, self.values[at]))
        return replace(self, values=values, at=at + 1, word=None, refused_mm=None, order=order)

    def typed(self, text: str, unit: str) -> FieldList:
        """With a length that was typed; a bare number, with point or comma, is in `unit`."""
        written = text.strip()
        bare = written.replace(",", ".", 1) if "." not in written else written
        if _is_number(bare):
            written = f"{bare} {unit}"
        try:
            return self.taken(to_unit(written, "length", "mm"), written)
        except UnitError:
            return replace(self, word=Refused.NO_LENGTH)

    def spoilt(self) -> FieldList:
        """A line came that is no length."""
        return self if self.current is None else replace(self, word=Refused.NO_LENGTH)

    def back(self) -> FieldList:
        """To the field that was filled last, with what stood in it before; to the one before, where none was filled here."""
        if not self.order:
            return self.gone_to(max(0, self.at - 1))
        at, before = self.order[-1]
        values = (*self.values[:at], before, *self.values[at + 1 :])
        return replace(self, values=values, at=at, word=None, refused_mm=None, order=self.order[:-1])

    def gone_to(self, at: int) -> FieldList:
        """With another field next."""
        return replace(self, at=min(max(0, at), len(self.fields)), word=None, refused_mm=None)

    def next_group(self) -> FieldList:
        """To the first field of the next group; what was left out stays empty."""
        here = self.current
        if here is None:
            return self
        rest = range(self.at + 1, len(self.fields))
        return self.gone_to(next((at for at in rest if self.fields[at].group != here.group), len(self.fields)))

    def _refusal(self, field: Field, length_mm: float) -> Refused | None:
        if not length_mm >= field.low_mm:  # a NaN is refused too
            return Refused.TOO_SMALL
        if length_mm > field.high_mm:
            return Refused.TOO_LARGE
        if self.refused_mm is not None and abs(length_mm - self.refused_mm) <= AGAIN_MM:
            return None
        alike = [
            value.length_mm
            for at, (one, value) in enumerate(zip(self.fields, self.values, strict=True))
            if value is not None and value.new and one.alike == field.alike and at != self.at
        ]
        if field.alike_mm and alike and min(abs(one - length_mm) for one in alike) > field.alike_mm:
            return Refused.FAR_FROM_ALIKE
        return None


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
