"""Units at the edges: text with a unit to N.m, deg, s and back. The only importer of pint."""

from __future__ import annotations

import functools
import math
import re
from dataclasses import dataclass
from typing import Literal

import pint

from analysis.errors import UnitError

Quantity = Literal["torque", "angle", "time", "force", "length", "rate", "mass", "temperature", "relative", "acceleration"]

_SI_UNIT: dict[str, str] = {
    "torque": "newton*meter",
    "angle": "degree",
    "time": "second",
    "force": "newton",
    "length": "meter",
    "rate": "hertz",
    "mass": "kilogram",
    "temperature": "degC",
    "acceleration": "meter/second**2",
    "relative": "dimensionless",
}

# Spellings that the trade uses and the registry would misread or refuse. Keys are lower case.
_SPELLING = {
    "nm": "N*m", "n.m": "N*m", "n*m": "N*m", "ncm": "N*cm", "n.cm": "N*cm", "cnm": "cN*m", "knm": "kN*m",
    "mnm": "mN*m", "lbft": "lbf*ft", "lb.ft": "lbf*ft", "ft.lb": "lbf*ft", "ftlb": "lbf*ft", "ft.lbf": "lbf*ft", "ftlbf": "lbf*ft",
    "lbfft": "lbf*ft", "lbin": "lbf*in", "lb.in": "lbf*in", "in.lb": "lbf*in", "inlb": "lbf*in", "in.lbf": "lbf*in",
    "lbfin": "lbf*in",
    "kgfm": "kgf*m", "kgm": "kgf*m", "kg.m": "kgf*m", "mkg": "kgf*m", "kgfcm": "kgf*cm", "kgcm": "kgf*cm", "kg.cm": "kgf*cm",
    "sps": "hertz", "s/s": "hertz", "samples/s": "hertz", "1/s": "hertz", "°": "degree", "rev": "turn", "revs": "turn",
    "sec": "second", "seconds": "second", "msec": "millisecond", "°c": "degC", "c": "degC", "°f": "degF", "f": "degF",
}  # fmt: skip

_NUMBER_THEN_UNIT = re.compile(r"^\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*$")


@functools.lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[float]:
    registry: pint.UnitRegistry[float] = pint.UnitRegistry(cache_folder=None)
    registry.formatter.default_format = "~"
    return registry


def _pint_spelling(unit: str) -> str:
    text = unit.strip().replace("·", ".").replace("⋅", ".")
    # A dash between letters is a dot (N-m), and pounds may stand in the plural (in-lbs).
    text = re.sub(r"(?<=[A-Za-z])-(?=[A-Za-z])", ".", text)
    text = re.sub(r"\blbs\b", "lb", text)
    plain = text.replace(" ", "").lower()
    if plain in _SPELLING and text != "nm":  # "nm" alone is a nanometre to everybody but a torque sheet; see convert_factor
        return _SPELLING[plain]
    # A dot between letters multiplies: N.m, lbf.ft, kgf.m.
    return re.sub(r"(?<=[A-Za-z])\.(?=[A-Za-z])", "*", text)


@dataclass(frozen=True, slots=True)
class Scale:
    """How a column or field in some unit becomes SI: `si = value * factor + offset`."""

    factor: float
    offset: float = 0.0


@functools.lru_cache(maxsize=256)
def scale_to_si(unit: str, quantity: Quantity) -> Scale:
    """Scale from `unit` to the inside unit of `quantity` (torque N.m, angle deg, time s, force N, length m, rate Hz).

    Raises UnitError if the unit is unknown or measures something else.
    """
    target = _SI_UNIT[quantity]
    spelled = "N*m" if quantity == "torque" and unit.strip() == "nm" else _pint_spelling(unit)
    registry = _registry()
    try:
        zero = registry.Quantity(0.0, spelled).to(target).magnitude
        one = registry.Quantity(1.0, spelled).to(target).magnitude
    except pint.DimensionalityError:
        raise UnitError(f"'{unit}' is not a unit of {quantity}", mend=f"use one such as {_EXAMPLE[quantity]}") from None
    except Exception as fault:  # pint raises many kinds, tokenizer errors among them
        raise UnitError(f"unit '{unit}' is not known", mend=f"use one such as {_EXAMPLE[quantity]}") from fault
    return Scale(factor=float(one - zero), offset=float(zero))


_EXAMPLE: dict[str, str] = {
    "torque": "N.m, lbf.ft, kgf.m",
    "angle": "deg, rad, turn",
    "time": "s, ms, us",
    "force": "N, lbf, kgf",
    "length": "m, mm, in",
    "rate": "Hz, kHz",
    "mass": "kg, lb",
    "temperature": "degC, degF",
    "relative": "%, ppm",
    "acceleration": "m/s^2",
}


def split_quantity(text: str) -> tuple[float, str]:
    """Split '0.5 N.m' into (0.5, 'N.m'). Raises UnitError if there is no finite number in front."""
    match = _NUMBER_THEN_UNIT.match(text)
    if match is None or not math.isfinite(float(match.group(1))):
        raise UnitError(f"'{text}' is not a number with a unit", mend="write it like '0.5 N.m'")
    return float(match.group(1)), match.group(2)


def to_si(text: str, quantity: Quantity) -> float:
    """Value in SI of a text such as '200 N.m', '500 Hz', '0.6 m'. Raises UnitError."""
    value, unit = split_quantity(text)
    if not unit:
        raise UnitError(f"'{text}' has no unit", mend=f"add one such as {_EXAMPLE[quantity]}")
    scale = scale_to_si(unit, quantity)
    return value * scale.factor + scale.offset


def in_unit(torque_nm: float, unit: str) -> float:
    """Torque given in N.m, expressed in `unit`. Raises UnitError."""
    scale = scale_to_si(unit, "torque")
    return (torque_nm - scale.offset) / scale.factor


@dataclass(frozen=True, slots=True)
class ColumnHeader:
    """A header cell `quantity [unit]`; `unit` is empty where the cell has none."""

    quantity: str
    unit: str

    @classmethod
    def parse(cls, cell: str) -> ColumnHeader:
        """Read a cell such as 'torque [lbf.ft]'; never fails, an odd cell is all quantity and no unit."""
        match = re.match(r"^\s*(.*?)\s*\[\s*(.*?)\s*\]\s*$", cell)
        if match is None:
            return cls(cell.strip().lower(), "")
        return cls(match.group(1).lower(), match.group(2))
