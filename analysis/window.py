"""The spec window of the maker's sheet and its text form."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

from analysis.errors import BenchError
from analysis.units import scale_to_si


class WindowError(BenchError):
    """A window that could not be read."""


class Basis(StrEnum):
    """The quantity a window applies to."""

    BREAKAWAY = "breakaway"
    SLIDING = "sliding"


_FORM = re.compile(r"^\s*(\S*?)\s*\.\.\s*(\S*)\s+(\S.*?)\s*$")


@dataclass(frozen=True, slots=True)
class Window:
    """Torque limits in N.m; None means no limit on that side. At least one is given, and low < high."""

    low_nm: float | None
    high_nm: float | None
    basis: Basis = Basis.BREAKAWAY

    def __post_init__(self) -> None:
        if self.low_nm is None and self.high_nm is None:
            raise WindowError("a window needs at least one limit", mend="write it like 25..45 lbf.ft")
        if any(limit is not None and limit < 0 for limit in (self.low_nm, self.high_nm)):
            raise WindowError("a limit below zero makes no sense", mend="torques are magnitudes; drop the minus sign")
        if self.low_nm is not None and self.high_nm is not None and self.low_nm >= self.high_nm:
            raise WindowError("the lower limit is not below the upper one", mend="write LOW..HIGH UNIT")

    @classmethod
    def parse(cls, text: str, basis: Basis | str = Basis.BREAKAWAY) -> Window:
        """Read 'LOW..HIGH UNIT', '10.. N.m' or '..25 N.m'. Raises WindowError or UnitError."""
        match = _FORM.match(text)
        if match is None:
            raise WindowError(f"'{text}' is not a window", mend="write it like 25..45 lbf.ft, 10.. N.m or ..25 N.m")
        scale = scale_to_si(match.group(3), "torque")

        def limit(number: str) -> float | None:
            if not number:
                return None
            if not re.fullmatch(r"-?(\d+\.?\d*|\.\d+)", number):
                raise WindowError(f"'{number}' in '{text}' is not a number", mend="write it like 25..45 lbf.ft")
            return float(number) * scale.factor

        try:
            return cls(limit(match.group(1)), limit(match.group(2)), Basis(basis))
        except WindowError as fault:
            raise WindowError(f"'{text}': {fault.what}", mend=fault.mend) from None

    def __str__(self) -> str:
        low = "" if self.low_nm is None else f"{self.low_nm:.10g}"
        high = "" if self.high_nm is None else f"{self.high_nm:.10g}"
        return f"{low}..{high} N.m"
