"""The torque units on the screen: N.m, lbf.ft, both, or whatever unit the user set."""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.units import in_unit


@dataclass(frozen=True, slots=True)
class UnitChoice:
    """The torque unit on the screen: `first` for axes and the big value, `second` beside it where wished."""

    first: str = "N.m"
    second: str | None = None

    @property
    def per_nm(self) -> float:
        """Factor from N.m to the first unit."""
        return in_unit(1.0, self.first)


def same_unit(one: str, other: str) -> bool:
    """Whether two spellings of units of torque mean the same, as 'Nm' and 'N.m' do."""
    return math.isclose(in_unit(1.0, one), in_unit(1.0, other), rel_tol=SAME)


SAME = 1e-9
NEWTON_METRES = UnitChoice("N.m")
UNIT_CHOICES = (NEWTON_METRES, UnitChoice("lbf.ft"), UnitChoice("N.m", "lbf.ft"))
