"""Bench arrangements (TRADE.md 2.1): what a reading says of the packs, by the balance of energy.

In A one output is held, the other turned and the case is free: both packs slip at half the speed of the turned shaft, so it
feels half their sum, the mean. In B the case is held and in D it is turned: both packs slip at full speed, the shaft feels
their sum. E is D through the pinion.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from analysis.distributions import RECTANGULAR_WIDTH
from analysis.judgement import Converted


class Layout(StrEnum):
    """How the springs stand in the unit."""

    EACH = "each"
    """A space a side, with its own springs."""
    THROUGH = "through"
    """One line across: left and right carry the same load and the shims add up."""
    BLOCK = "block"
    """Springs between the side gears; the shims set the end play."""


ARRANGEMENTS = ("A", "B", "C", "D", "E", "F", "G", "V", "V2")
"""The codes of TRADE.md 2.1."""

BOTH_PACKS = frozenset({"B", "D", "E"})
"""Arrangements in which the shaft feels the sum of both packs, and more where the cross pin loads the ramps."""

SUM_OVER_MEAN = 2.0
"""Both packs in full against their mean."""

RAMP_EXCESS_MAX = 0.10
"""With the case held or driven the cross pin loads the ramps: 0 to 10 % more than twice, rectangular (PACK.md 2)."""

CONVERTED_FROM_RAMPS_DEG = 45.0
"""Steeper thrust than that of 45 degree ramps can exceed the springs, and then twice is no longer near."""


@dataclass(frozen=True, slots=True)
class Conversion:
    """A reading in an arrangement is `factor * (1 + excess)` times the mean torque of both packs, excess 0 to `excess_max`."""

    factor: float
    excess_max: float = 0.0


def conversion_to_mean(arrangement: str, layout: Layout, *, ramps_deg: float | None, ratio: float | None) -> Conversion | None:
    """How a reading in an arrangement relates to the mean pack torque; None where it is not converted.

    Parameters
    ----------
    arrangement
        Code of TRADE.md 2.1.
    layout
        Only `each` and `through` are converted: with springs between the side gears the thrust of the bevel gears adds to the
        clamp.
    ramps_deg
        Ramp angle of the pressure rings in degrees, None where not stated.
    ratio
        Pinion to ring gear, for E.

    Returns
    -------
    Conversion or None
        Factor and largest excess; A is itself the mean, with any layout.

    Examples
    --------
    >>> conversion_to_mean("B", Layout.EACH, ramps_deg=None, ratio=None)
    Conversion(factor=2.0, excess_max=0.1)
    """
    if arrangement == "A":
        return Conversion(1.0)
    if arrangement not in BOTH_PACKS or layout is Layout.BLOCK:
        return None
    if ramps_deg is not None and ramps_deg < CONVERTED_FROM_RAMPS_DEG:
        return None
    if arrangement == "E":
        return None if ratio is None else Conversion(SUM_OVER_MEAN / ratio, RAMP_EXCESS_MAX)
    return Conversion(SUM_OVER_MEAN, RAMP_EXCESS_MAX)


@dataclass(frozen=True, slots=True)
class Conversions:
    """How readings of a unit of that build become readings in another arrangement (contract, PACK.md 2): from or to A alone."""

    layout: Layout
    ramps_deg: float | None = None
    ratio: float | None = None

    def __call__(self, was: str, into: str) -> Converted | None:
        """The factor, at the middle of what is possible, and its standard uncertainty; None where it is not converted.

        >>> found = Conversions(Layout.EACH)("B", "A")
        >>> round(found.factor, 4), round(found.u_relative, 4)
        (0.4762, 0.0275)
        """
        if "A" not in (was, into):
            return None
        own = conversion_to_mean(was, self.layout, ramps_deg=self.ramps_deg, ratio=self.ratio)
        target = conversion_to_mean(into, self.layout, ramps_deg=self.ramps_deg, ratio=self.ratio)
        if own is None or target is None:
            return None
        middle = {one: one.factor * (1 + one.excess_max / 2) for one in (own, target)}
        excess = max(own.excess_max, target.excess_max)
        return Converted(was, into, middle[target] / middle[own], excess / RECTANGULAR_WIDTH / (1 + excess / 2))
