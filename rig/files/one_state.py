"""Whether recordings are pulls of one unit in one state: what their metadata says otherwise, by the field that differs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rig.files.metadata import TraceInfo

ONE_STATE = ("unit", "series", "arrangement", "closure", "lubricant", "additive", "plates", "plate_state")
"""Fields of the metadata that must not differ within a series (contract, section 3)."""

NAMES = {"lubricant": "oil", "plate_state": "plate state"}
"""Where the trade's word is another than the key's."""

CONDITIONS = ("lubricant", "additive", "closure", "temperature_c")
"""Fields that, known of some pulls and not of others, leave the conditions of a series open."""


@dataclass(frozen=True, slots=True)
class Difference:
    """A field that differs, with two traces that say so."""

    field: str
    first: str
    first_trace: str
    second: str
    second_trace: str

    @property
    def text(self) -> str:
        """What differs and where, for a person."""
        name = NAMES.get(self.field, self.field)
        return f"{name} differs: '{self.first}' in {self.first_trace}, '{self.second}' in {self.second_trace}"


def differences(infos: Sequence[TraceInfo], names: Sequence[str], fields: Sequence[str] = ONE_STATE) -> tuple[Difference, ...]:
    """The fields that differ, case and blanks aside; what is not stated differs from nothing."""
    found = []
    for field in fields:
        stated = [
            (value, name) for info, name in zip(infos, names, strict=True) if (value := getattr(info, field, None)) is not None
        ]
        other = next((pair for pair in stated if alike(pair[0]) != alike(stated[0][0])), None)
        if other is not None:
            found.append(Difference(field, stated[0][0], stated[0][1], other[0], other[1]))
    return tuple(found)


def partly_stated(infos: Sequence[TraceInfo]) -> bool:
    """Whether a condition is stated for some of the pulls only."""
    stated = [[getattr(info, field, None) is not None for info in infos] for field in CONDITIONS]
    return any(any(each) and not all(each) for each in stated)


def alike(text: str) -> str:
    """A stated text as it is compared: case and blanks aside."""
    return " ".join(str(text).split()).casefold()
