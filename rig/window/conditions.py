"""What is known before a pull: arrangement, window, plates, oil, temperature, rest, lever and adapter. All of it optional.

The last conditions are remembered; a field that differs from those of the last pull is told, because pulls under other conditions
are not to be compared without a word.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

from analysis import bounds
from analysis.errors import BenchError, quoted
from analysis.units import to_si
from analysis.window import Basis, Window
from rig.errors import ConditionError
from rig.files.metadata import TraceInfo


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """The fields as they are typed; empty is not known."""

    arrangement: str = ""
    window: str = ""
    basis: str = "breakaway"
    window_arrangement: str = ""
    unit: str = ""
    series: str = ""
    phase: str = ""
    closure: str = ""
    plates: str = ""
    plate_state: str = ""
    oil: str = ""
    additive: str = ""
    temperature: str = ""
    rest: str = ""
    lever: str = ""
    adapter: str = ""
    who: str = ""

    @classmethod
    def from_texts(cls, texts: Mapping[str, str]) -> Conditions:
        """From remembered texts; unknown names are left out."""
        known = {entry.name for entry in fields(cls)}
        return cls(**{name: text for name, text in texts.items() if name in known})

    def texts(self) -> dict[str, str]:
        """All fields by name."""
        return {entry.name: getattr(self, entry.name) for entry in fields(self)}

    def changed_from(self, other: Conditions) -> frozenset[str]:
        """Names of the fields that differ."""
        theirs = other.texts()
        return frozenset(name for name, text in self.texts().items() if text.strip() != theirs[name].strip())

    def of_another_day(self) -> Conditions:
        """What may still hold on another day: everything but what is measured anew before each series."""
        return replace(self, temperature="", rest="")

    def of_another_unit(self) -> Conditions:
        """What still holds for another unit without asking: who pulls, the lever, the window's basis; the unit itself stays."""
        return Conditions(unit=self.unit, basis=self.basis, lever=self.lever, adapter=self.adapter, who=self.who)

    def spec_window(self) -> Window | None:
        """The window typed; None where none is. Raises WindowError or UnitError."""
        return Window.parse(self.window, Basis(self.basis), self.window_arrangement or None) if self.window.strip() else None

    def refusal(self, name: str) -> BenchError | None:
        """Why the field cannot be read as it is typed; None where it can."""
        try:
            if name == "window":
                self.spec_window()
            elif name == "temperature":
                _quantity(self.temperature, "temperature", "degC")
            elif name == "rest":
                _quantity(self.rest, "time", "s")
        except BenchError as fault:
            return fault
        return None

    def into(self, info: TraceInfo) -> TraceInfo:
        """The metadata of the pulls to come. A field that cannot be read stays out; an empty one leaves what `info` says."""
        texts = {
            "arrangement": self.arrangement, "unit": self.unit, "series": self.series, "phase": self.phase, "closure": self.closure,
            "plates": self.plates, "plate_state": self.plate_state, "lubricant": self.oil, "additive": self.additive,
            "lever": self.lever, "adapter": self.adapter, "who": self.who,
        }  # fmt: skip
        known: dict[str, Any] = {name: text.strip() for name, text in texts.items() if text.strip()}
        if self.temperature.strip() and self.refusal("temperature") is None:
            known["temperature_c"] = _quantity(self.temperature, "temperature", "degC")
        if self.rest.strip() and self.refusal("rest") is None:
            known["rest_s"] = _quantity(self.rest, "time", "s")
        if self.window.strip() and self.refusal("window") is None:
            known["window"] = self.spec_window()
        return replace(info, **known)


def _quantity(text: str, kind: Any, usual: str) -> float | None:
    """A number with or without a unit; without, the usual one counts."""
    plain = text.strip()
    if not plain:
        return None
    if plain.replace(",", ".").replace("-", "", 1).replace(".", "", 1).isdigit():
        plain = f"{plain.replace(',', '.')} {usual}"
    value = to_si(plain, kind)
    low, high = _BOUNDS[kind]
    if not low <= value <= high:
        raise ConditionError(f"{quoted(text)} is not between {low:g} and {high:g} {usual}", remedy="check number and unit")
    return value


_BOUNDS = {"temperature": bounds.TEMPERATURE_C, "time": (0.0, bounds.REST_MOST_S)}


FIELD_NAMES = {
    "arrangement": "arrangement",
    "window": "window",
    "basis": "window applies to",
    "window_arrangement": "arrangement the window is stated in",
    "unit": "unit on the bench",
    "series": "series",
    "phase": "phase",
    "closure": "closure",
    "plates": "plates",
    "plate_state": "plate state",
    "oil": "oil",
    "additive": "additive",
    "temperature": "temperature",
    "rest": "rest before the pull",
    "lever": "lever",
    "adapter": "adapter",
    "who": "initials",
}

STATE_FIELDS = frozenset({"unit", "series", "phase", "arrangement", "closure", "plates", "plate_state", "oil", "additive"})
"""Fields that say which unit stands on the bench in which state: where one changes, a new series begins."""

LACKS = ("arrangement", "window", "plate_state", "oil", "temperature", "rest")
"""The fields without which a reading is hard to compare; the conditions page says which are empty."""


WINDOW_UNITS = ("N.m", "lbf.ft", "lbf.in", "kgf.m")
"""Units that the page offers for the window; any other can be typed."""


def window_parts(text: str) -> tuple[str, str, str]:
    """A window's text as the page shows it: lower limit, upper limit, unit; all in the first where it cannot be taken apart."""
    try:
        window = Window.parse(text) if text.strip() else None
    except BenchError:
        return text, "", ""
    if window is None:
        return "", "", WINDOW_UNITS[0]
    parts = re.fullmatch(r"\s*([\d.,]*?)\s*\.\.\s*([\d.,]*)\s*([^\d\s].*)", text)
    return (parts[1], parts[2], parts[3].strip()) if parts else (text, "", "")


def window_of_parts(low: str, high: str, unit: str) -> str:
    """The window's text from two numbers and a unit; a whole window typed into one of the fields is taken as it is."""
    low, high, unit = low.strip(), high.strip(), unit.strip()
    for whole in (low, high):
        if any(mark in whole for mark in ("..", ">", "<", " to ")) or (whole and whole[-1:].isalpha()):
            return whole
    return f"{low}..{high} {unit}" if low or high else ""


def lacking(conditions: Conditions) -> tuple[str, ...]:
    """Names of the fields that a comparison would need and that are empty or cannot be read."""
    texts = conditions.texts()
    return tuple(name for name in LACKS if not texts[name].strip() or conditions.refusal(name) is not None)
