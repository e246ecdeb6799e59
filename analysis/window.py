"""The spec window of the maker's sheet and its text form."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum

from analysis.bounds import TORQUE_MOST_NM
from analysis.errors import BenchError, UnitError, quoted
from analysis.units import parse_range, scale_to_si

MISSED_BY = 3.0
"""A reading so many times beyond a limit is asked about: below that lie packs (worn, over-shimmed, case held: a factor of two)."""
NEARLY = 1.25
"""Figures in another unit hold a torque nearly where it is at most so many times beyond a limit."""
ASKED_UNITS = ("N.m", "lbf.ft", "lbf.in", "kgf.m", "kgf.cm", "N.cm")
"""Units of torque that makers print."""


class WindowError(BenchError):
    """A window that could not be read."""


class Basis(StrEnum):
    """The quantity a window applies to."""

    BREAKAWAY = "breakaway"
    SLIDING = "sliding"


@dataclass(frozen=True, slots=True)
class Window:
    """Torque limits in N.m; None means no limit on that side. At least one is given, and low < high.

    basis        the quantity the limits apply to
    arrangement  who is held and who turns where the limits apply, as a code; None: as the pulls have it
    plate_state  of the plates that the limits are for; None: any
    unit, text   as a person typed them; answers come in that unit
    """

    low_nm: float | None
    high_nm: float | None
    basis: Basis = Basis.BREAKAWAY
    arrangement: str | None = None
    plate_state: str | None = None
    unit: str = field(default="N.m", compare=False)
    text: str = field(default="", compare=False)

    def __post_init__(self) -> None:
        if self.low_nm is None and self.high_nm is None:
            raise WindowError("a window needs at least one limit", remedy="write it like 25..45 lbf.ft")
        limits = [limit for limit in (self.low_nm, self.high_nm) if limit is not None]
        if any(limit < 0 for limit in limits):
            raise WindowError("a limit below zero makes no sense", remedy="torques are magnitudes; drop the minus sign")
        if any(limit > TORQUE_MOST_NM for limit in limits):
            what = f"a limit above {TORQUE_MOST_NM:g} N.m is beyond any pull by hand"
            raise WindowError(what, remedy="check the unit")
        if self.low_nm is not None and self.high_nm is not None and self.low_nm >= self.high_nm:
            raise WindowError("the lower limit is not below the upper one", remedy="write LOW..HIGH UNIT")

    @classmethod
    def parse(cls, text: str, basis: Basis | str = Basis.BREAKAWAY, arrangement: str | None = None) -> Window:
        """Read a window as people type it, such as '25..45 lbf.ft', '10.. N.m', '25-45 Nm' (see `units.parse_range`).

        Parameters
        ----------
        text
            One or two limits of torque with a unit.
        basis
            The quantity the limits apply to, or its word: 'breakaway' or 'sliding'.
        arrangement
            Who is held and who turns where the limits apply, as a code; None: as the pulls have it.

        Returns
        -------
        Window
            Limits in N.m, with unit and text as typed.

        Raises
        ------
        WindowError
            If the text is no window, the limits are out of order, below zero or beyond any pull by hand, or the basis is unknown.

        Examples
        --------
        >>> window = Window.parse("25 to 45 Nm")
        >>> window.low_nm, window.high_nm, window.unit, window.text
        (25.0, 45.0, 'Nm', '25 to 45 Nm')
        """
        try:
            limits = parse_range(text, "torque")
        except UnitError as fault:
            remedy = fault.remedy if "range" not in fault.what else "write it like 25..45 lbf.ft, 10.. N.m or ..25 N.m"
            raise WindowError(fault.what.replace("a range with a unit", "a window"), remedy=remedy) from fault
        if basis not in list(Basis):
            raise WindowError(f"{quoted(str(basis))} is not what a window applies to", remedy="use breakaway or sliding")
        try:
            return cls(limits.low, limits.high, Basis(basis), arrangement, unit=limits.unit, text=limits.text)
        except WindowError as fault:
            raise WindowError(f"{quoted(text)}: {fault.what}", remedy=fault.remedy) from None

    def other_unit(self, torque_nm: float) -> str | None:
        """The unit that was perhaps meant, where a torque misses this window by far; None where there is nothing to ask.

        A torque several times beyond two limits is more often a window typed in another unit than such a pack: asked is where the
        same figures in another usual unit would hold it, or nearly.

        >>> Window.parse("25..45 lbf.in").other_unit(47.0)
        'lbf.ft'
        >>> Window.parse("25..45 lbf.ft").other_unit(16.0) is None  # a worn pack
        True
        """
        if None in (self.low_nm, self.high_nm) or torque_nm <= 0 or not self._misses(torque_nm, MISSED_BY):
            return None
        size = scale_to_si(self.unit, "torque").factor
        others = {unit: scale_to_si(unit, "torque").factor / size for unit in ASKED_UNITS}
        fitting = [unit for unit, ratio in others.items() if not self._misses(torque_nm / ratio, NEARLY)]
        return min(fitting, key=lambda unit: abs(math.log(self._middle_nm * others[unit] / torque_nm)), default=None)

    @property
    def _middle_nm(self) -> float:
        ends = [limit for limit in (self.low_nm, self.high_nm) if limit]
        return math.prod(ends) ** (1 / len(ends)) if ends else 1.0

    def _misses(self, torque_nm: float, by: float) -> bool:
        return (self.low_nm is not None and torque_nm * by < self.low_nm) or (
            self.high_nm is not None and torque_nm > by * self.high_nm
        )

    def __str__(self) -> str:
        """The limits in N.m, exactly enough to read back as the same window."""
        low = "" if self.low_nm is None else f"{self.low_nm:.10g}"
        high = "" if self.high_nm is None else f"{self.high_nm:.10g}"
        return f"{low}..{high} N.m"
