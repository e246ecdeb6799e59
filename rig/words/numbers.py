"""Values as the window shows them: a torque with its unit, a direction. No Qt."""

from __future__ import annotations

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


def with_spread(torque_nm: float, spread_nm: float, unit: str) -> str:
    """A torque with its expanded uncertainty, such as '47.3 ± 0.6 N·m'."""
    value, spread = in_unit(torque_nm, unit), in_unit(spread_nm, unit)
    places = digits(unit, value)
    return f"{number(value, places)} ± {number(spread, places)} {unit_name(unit)}"


def way_mark(direction: int | None) -> str:
    """The direction as an arrow."""
    return {1: "↻", -1: "↺", None: ""}[direction]
