"""Words, numbers and units of a printed sheet, in the language and the units it is printed in."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from importlib import resources

from analysis.errors import BenchError
from analysis.units import Quantity, from_si, scale_to_si, to_unit
from rig.errors import LanguageError
from rig.words.language import LANGUAGES, catalogue, read_po
from rig.words.numbers import rounded_up, unit_name

LITRES_A_CUBIC_METRE = 1000.0
MM_A_METRE = 1000.0


_INCHES = re.compile(r"\bin(ch(es)?)?\b|\"|\bthou\b|\bmil\b|\bft\b")
_QUARTS = re.compile(r"qt|quart|oz|gal|pint|\bpt\b", re.I)
"""Marks of a length or volume that was typed in the other system."""
_NUMBER = re.compile(r"[-+]?\d+[.,]?\d*\s*%?\s*$")


@dataclass(frozen=True, slots=True)
class Phrases:
    """A language and a unit of torque; lengths, volumes and temperatures follow the unit: inches beside lbf.ft.

    Raises LanguageError or UnitError.
    """

    language: str = "en"
    unit: str = "N.m"
    _table: dict[str, str] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if self.language not in LANGUAGES:
            remedy = f"choose one of {', '.join(LANGUAGES)}"
            raise LanguageError(f"there is no language '{self.language}'", remedy=remedy)
        scale_to_si(self.unit, "torque")
        table = {}
        if self.language != "en":
            path = resources.files("rig.sheets") / "locale" / f"{self.language}.po"
            table = {**catalogue(self.language), **read_po(path.read_text(encoding="utf-8"), path.name)}
        object.__setattr__(self, "_table", table)

    @property
    def in_inches(self) -> bool:
        """Whether lengths are printed in inches, volumes in quarts, temperatures in Fahrenheit."""
        return "lb" in self.unit.lower() or "oz" in self.unit.lower()

    def say(self, text: str, /, **parts: object) -> str:
        """`text` in this language, its braces filled."""
        words = self._table.get(text, text)
        return words.format(**parts) if parts else words

    def number(self, value: float, digits: int, *, sign: bool = False) -> str:
        """A number with so many decimals, the language's decimal mark and a true minus."""
        text = f"{value:{'+' if sign else ''}.{digits}f}"
        if float(text) == 0:
            text = f"{0:.{digits}f}"
        return self.marked(text)

    def marked(self, text: str) -> str:
        """A number's text with the language's decimal mark and a true minus."""
        text = text.replace("-", "−")
        return text.replace(".", ",") if self.language == "de" else text

    def with_u(self, value: float, expanded_u: float | None) -> str:
        """A value and its expanded uncertainty: two figures, rounded up, and the value to the same place (JCGM 100, 7.2.6)."""
        if not expanded_u:
            return self.number(value, 2)
        spread = rounded_up(expanded_u)
        places = 1 - Decimal(spread).adjusted()
        return f"{self.number(round(value, places), max(0, places))} ± {self.marked(spread)}"

    # -- quantities ---------------------------------------------------------------------------------------------------------------

    def torque_unit(self) -> str:
        """The unit of torque as printed."""
        return unit_name(self.unit)

    def torque_figure(self, torque_nm: float | None, expanded_u_nm: float | None = None) -> str:
        """A torque without its unit; a dash where there is none."""
        if torque_nm is None:
            return "–"
        value = from_si(torque_nm, self.unit, "torque")
        if not expanded_u_nm:
            return self.number(value, 1 if abs(value) < 200 else 0)
        return self.with_u(value, expanded_u_nm * self.torque_scale())

    def torque_scale(self) -> float:
        """What turns N.m into the printed unit."""
        return 1 / scale_to_si(self.unit, "torque").factor

    def torque(self, torque_nm: float | None, expanded_u_nm: float | None = None) -> str:
        """A torque with its unit."""
        figure = self.torque_figure(torque_nm, expanded_u_nm)
        return figure if torque_nm is None else f"{self._bracketed(figure)} {self.torque_unit()}"

    def small_torque(self, torque_nm: float | None, expanded_u_nm: float | None = None) -> str:
        """A drag torque with its unit: in the small unit where the system has one."""
        if torque_nm is None:
            return "–"
        unit = "lbf.in" if self.in_inches else "N.m"
        value, scale = from_si(torque_nm, unit, "torque"), 1 / scale_to_si(unit, "torque").factor
        figure = self.with_u(value, expanded_u_nm * scale) if expanded_u_nm else self.number(value, 1 if self.in_inches else 2)
        return f"{self._bracketed(figure)} {unit_name(unit)}"

    @staticmethod
    def _bracketed(figure: str) -> str:
        return f"({figure})" if "±" in figure else figure

    def window(self, low: float | None, high: float | None, show: str) -> str:
        """Limits; `show` names the quantity as one of this class's methods has it."""
        if low is None and high is None:
            return self.say("no window stated")
        of = getattr(self, show)
        if low is None:
            return self.say("up to {limit}", limit=of(high))
        if high is None:
            return self.say("from {limit}", limit=of(low))
        first, last = of(low), of(high)
        unit = last.partition(" ")[2]
        return f"{first.removesuffix(unit).rstrip()} … {last}" if unit else f"{first} … {last}"

    def length(self, length_mm: float | None, expanded_u_mm: float | None = None) -> str:
        """A length of a shim, gap or play with its unit."""
        if length_mm is None:
            return "–"
        unit = "in" if self.in_inches else "mm"
        scale = 1 / (scale_to_si(unit, "length").factor * MM_A_METRE)
        if expanded_u_mm:
            return f"{self._bracketed(self.with_u(length_mm * scale, expanded_u_mm * scale))} {unit}"
        return f"{self.number(length_mm * scale, 4 if self.in_inches else self._mm_digits(length_mm))} {unit}"

    def lengths(self, lengths_mm: Sequence[float]) -> str:
        """Several lengths in a row, the unit once."""
        unit = f" {'in' if self.in_inches else 'mm'}"
        figures = [self.length(length).removesuffix(unit) for length in lengths_mm]
        return " · ".join(figures) + unit if figures else "–"

    @staticmethod
    def _mm_digits(length_mm: float) -> int:
        return 2 if abs(length_mm - round(length_mm, 2)) < 5e-4 else 3

    def volume(self, volume_l: float | None) -> str:
        """A volume of oil with its unit."""
        return self._volume(volume_l, "qt" if self.in_inches else "l", 2)

    def dose(self, volume_l: float | None) -> str:
        """A volume of additive with its unit."""
        return self._volume(volume_l, "fl oz" if self.in_inches else "ml", 1 if self.in_inches else 0)

    def _volume(self, volume_l: float | None, unit: str, digits: int) -> str:
        if volume_l is None:
            return "–"
        return f"{self.number(from_si(volume_l / LITRES_A_CUBIC_METRE, unit, 'volume'), digits)} {unit}"

    def typed_length(self, text: object) -> str:
        """A length as a person typed it, in the system of the sheet: its own digits where they are of that system."""
        return self._typed(text, "length", "mm", _INCHES, self.length)

    def typed_volume(self, text: object) -> str:
        """The same of a volume of oil."""
        return self._typed(text, "volume", "l", _QUARTS, self.volume)

    def typed_dose(self, text: object) -> str:
        """The same of a volume of additive; a share stays one."""
        return self._typed(text, "volume", "l", _QUARTS, self.dose)

    def _typed(self, text: object, kind: Quantity, unit: str, inch_marks: re.Pattern[str], show: Callable[[float], str]) -> str:
        typed = str(text).strip()
        try:
            value = to_unit(typed, kind, unit)
        except BenchError:
            return self.marked(typed) if _NUMBER.match(typed) else typed
        return self.marked(typed) if bool(inch_marks.search(typed)) is self.in_inches else show(value)

    def temperature(self, degrees_c: float) -> str:
        """A temperature with its unit."""
        if self.in_inches:
            return f"{self.number(from_si(degrees_c, 'degF', 'temperature'), 0)} °F"
        return f"{self.number(degrees_c, 0)} °C"

    def percent(self, share: float) -> str:
        """A probability in per cent, never quite none and never quite all."""
        if share > 0.999:
            return self.say("over {limit} %", limit=self.number(99.9, 1))
        if share < 0.001:
            return self.say("under {limit} %", limit=self.number(0.1, 1))
        return f"{self.number(100 * share, 1)} %"
