"""Values as the window shows them: a torque with its unit, a direction. No Qt."""

from __future__ import annotations

from decimal import ROUND_CEILING, Decimal

from analysis.units import in_unit
from rig.words.language import number


def unit_name(unit: str) -> str:
    """A unit as it is printed: a raised dot between its parts."""
    return unit.replace(".", "·")


def digits(unit: str, torque: float) -> int:
    """Decimals worth showing from three metres."""
    return 1 if abs(torque) < 200 else 0


def torque(torque_nm: float, unit: str, *, sign: bool = False) -> str:
    """A torque with its unit, such as '47.3 N·m'."""
    value = in_unit(torque_nm, unit)
    return f"{number(value, digits(unit, value), sign=sign)} {unit_name(unit)}"


def rounded(value: float, expanded_u: float) -> tuple[str, str]:
    """A value and its expanded uncertainty, both in one unit, as they are written.

    Two figures of the uncertainty, rounded up and never nought, and the value to the same place (JCGM 100, 7.2.6).

    >>> rounded(47.318, 1.234), rounded(147.3, 12.3), rounded(47.0, 0.9996)
    (('47.3', '1.3'), ('147', '13'), ('47.0', '1.0'))
    """
    up = rounded_up(expanded_u)
    places = 1 - Decimal(up).adjusted()
    shown = max(0, places)
    return number(round(value, places), shown), number(float(up), shown)


def with_spread(torque_nm: float, spread_nm: float, unit: str) -> str:
    """A torque with its expanded uncertainty, such as '47.3 ± 0.6 N·m'."""
    if not spread_nm:
        return torque(torque_nm, unit)
    value, spread = rounded(in_unit(torque_nm, unit), in_unit(spread_nm, unit))
    return f"{value} ± {spread} {unit_name(unit)}"


ARITHMETIC = Decimal("1e-6")
"""Of the last figure shown: what only the arithmetic of a computer left there does not round anything up."""


def rounded_up(u: float) -> str:
    """An uncertainty in two figures, rounded up and never to nothing (JCGM 100, 7.2.6).

    >>> rounded_up(0.01451), rounded_up(0.012), rounded_up(0.0996), rounded_up(123.4)
    ('0.015', '0.012', '0.10', '130')
    """
    if u <= 0:
        return "0"
    exact = Decimal(repr(u))
    place = Decimal(1).scaleb(exact.adjusted() - 1)
    up = (exact - place * ARITHMETIC).quantize(place, rounding=ROUND_CEILING)
    return f"{up.quantize(Decimal(1).scaleb(up.adjusted() - 1)):f}"  # 0.0996 goes up to 0.10, a figure less


def way_mark(direction: int | None) -> str:
    """The direction as an arrow."""
    return {1: "↻", -1: "↺", None: ""}[direction]
