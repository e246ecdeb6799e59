"""Units at the edges: text with a unit to N.m, deg, s and back. The only importer of pint.

A unit is read by a small grammar of our own: symbols of letters joined by a dot, a dash, a raised dot, `*`, a blank or `/`, each
with an exponent of one digit at most. The registry is asked about single symbols only, so no text can make it calculate. What a
symbol is (a force, an angle, a share, a count) is kept apart: `N.m/deg`, `J` or `counts` are never taken for a torque or an angle.

>>> to_si("25.4 mm", "length")
0.0254
>>> round(to_si("30 ft-lbs", "torque"), 3)
40.675
>>> parse_range("25 to 45 Nm", "torque")
Range(low=25.0, high=45.0, unit='Nm', text='25 to 45 Nm')
"""

from __future__ import annotations

import functools
import math
import re
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING, Literal, cast, get_args

from analysis.errors import LONGEST_QUOTE, UnitError, quoted
from analysis.unit_symbols import FORCE, GRAVITY, SYMBOL, TEMPERATURE, TORQUE, Kinds, Size

if TYPE_CHECKING:
    import pint

Quantity = Literal[
    "torque", "angle", "time", "force", "length", "rate", "mass", "temperature", "relative", "acceleration", "volume",
    "stiffness", "torsional stiffness", "torque slope", "length ratio", "speed",
]  # fmt: skip

LONGEST_TEXT = LONGEST_QUOTE
"""No number with its unit and no window is longer; what is longer is refused before anything is tried on it."""


@dataclass(frozen=True, slots=True)
class _Wanted:
    """What a quantity is: its kinds, the unit it is given in inside, that unit's size in plain SI, and examples for a message."""

    kinds: Kinds
    inside: str
    size: Size
    examples: str


_WANTED: dict[str, _Wanted] = {
    "torque": _Wanted(TORQUE, "N.m", Fraction(1), "N.m, lbf.ft, kgf.m"),
    "angle": _Wanted((("angle", 1),), "deg", math.pi / 180, "deg, rad, turn"),
    "time": _Wanted((("time", 1),), "s", Fraction(1), "s, ms, min"),
    "force": _Wanted(FORCE, "N", Fraction(1), "N, lbf, kgf"),
    "length": _Wanted((("length", 1),), "m", Fraction(1), "mm, in, thou"),
    "rate": _Wanted((("time", -1),), "Hz", Fraction(1), "Hz, kHz"),
    "mass": _Wanted((("mass", 1),), "kg", Fraction(1), "kg, lb"),
    "temperature": _Wanted((("temperature", 1),), "degC", Fraction(1), "degC, degF"),
    "relative": _Wanted((("share", 1),), "1", Fraction(1), "%, ppm"),
    "acceleration": _Wanted((("length", 1), ("time", -2)), "m/s^2", Fraction(1), "m/s^2"),
    "volume": _Wanted((("length", 3),), "m^3", Fraction(1), "l, ml, qt, fl oz"),
    "stiffness": _Wanted((("mass", 1), ("time", -2)), "N/m", Fraction(1), "N/mm, lbf/in"),
    "torsional stiffness": _Wanted((("angle", -1), *TORQUE), "N.m/deg", 180 / math.pi, "N.m/deg, N.m/rad"),
    "torque slope": _Wanted(FORCE, "N.m/m", Fraction(1), "N.m/mm"),
    "length ratio": _Wanted((), "m/m", Fraction(1), "mm/mm, mm per mm"),
    "speed": _Wanted((("angle", 1), ("time", -1)), "deg/s", math.pi / 180, "deg/s, rpm"),
}
assert _WANTED.keys() == set(get_args(Quantity))

# Torques that are written in one piece. Each letter run stands for a force and a length, in either order.
_JOINED = re.compile(
    r"(?P<prefix>da|[munkcdM]|)(?P<newton>[Nn])(?P<metre>mm|cm|m)"
    r"|(?P<metre_first>mm|cm|m)(?P<kilo>kg|kp|kgf)"
    r"|(?P<force>lbf|lbs|lb|kgf|kp|kg|ozf|oz|gf|g)(?P<length>ft|in|cm|mm|m)"
    r"|(?P<length_first>ft|in)(?P<force_last>lbf|lbs|lb|ozf|oz)"
)
_PREFIX = {
    prefix: Fraction(10) ** power
    for prefix, power in {"": 0, "n": -9, "u": -6, "m": -3, "c": -2, "d": -1, "da": 1, "k": 3, "M": 6}.items()
}

_GLUED = (
    (re.compile(r"\b(pound|kilogram|ounce|gram)s?[-\s]force\b", re.I), r"\1force"),
    (re.compile(r"\bkilogramforce\b", re.I), "kgf"),
    (re.compile(r"\bgramforce\b", re.I), "gf"),
    (re.compile(r"\b(?:(?:US|U\.S\.)\s*)?(?:fl|fluid)\.?\s*(?:oz|ounces?)\b\.?", re.I), "floz"),
    (re.compile(r"\b(?:US|U\.S\.)\s+(?=gal|qt|quart|pt|pint)", re.I), ""),
    (re.compile(r"\bnewton[-\s]?met(?:re|er)s?\b", re.I), "N.m"),
    (re.compile(r"\bsamples?/s(?:ec)?\b|\bS/s\b"), "Hz"),
)
_POWERS = str.maketrans({"²": "2", "³": "3", "μ": "µ", "Ω": "Ω"})
_FACTOR = re.compile(r"([A-Za-zµ°%‰\"']+)(?:(?:\^|\*\*)?(-?[1-4]))?")
_JOIN = re.compile(r"\s*(?:[.*·⋅•∙×/-]|\bper\b|\s)\s*")


@dataclass(frozen=True, slots=True)
class Scale:
    """How a column or field in some unit becomes SI: `si = value * factor + offset`."""

    factor: float
    offset: float = 0.0


@functools.lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[float]:
    import pint  # slow to import, and hardly ever needed: the trade's units stand above

    return pint.UnitRegistry(cache_folder=None)


class _OtherKindError(Exception):
    """A unit that is known and measures something else."""


def _kinds(*parts: tuple[Kinds, int]) -> Kinds:
    total: dict[str, int] = {}
    for kinds, exponent in parts:
        for kind, own in kinds:
            total[kind] = total.get(kind, 0) + own * exponent
    return tuple(sorted((kind, exponent) for kind, exponent in total.items() if exponent))


_OF_ROOT = {"meter": "length", "gram": "mass", "kilogram": "mass", "second": "time", "radian": "angle", "kelvin": "temperature"}


def _asked(symbol: str) -> tuple[Size, Kinds] | None:
    """A single symbol as the registry knows it; None if it does not."""
    if not re.fullmatch(r"[A-Za-zµ]{1,30}", symbol):
        return None
    registry = _registry()
    try:
        if symbol not in registry:  # raises by itself for 'nan', which is a number to it
            return None
        found = registry.Quantity(1.0, symbol).to_root_units()
        powers = {str(root): int(cast(float, power)) for root, power in found._units.items()}
        size = float(found.magnitude) * 1e-3 ** powers.get("gram", 0)
    except Exception as fault:  # pint raises many kinds
        raise UnitError(f"unit {quoted(symbol)} is not known") from fault
    return size, _kinds(*(((((_OF_ROOT.get(root, root)), 1),), power) for root, power in powers.items())) or (("number", 1),)


def _symbol(symbol: str, all_capitals: bool) -> tuple[Size, Kinds]:
    """Factor and kinds of one symbol. Raises UnitError."""
    if symbol in SYMBOL and symbol != "n":
        return SYMBOL[symbol]
    if symbol == "M":  # metre in a heading all in capitals
        if all_capitals:
            return SYMBOL["m"]
        raise UnitError("unit 'M' is not known")
    # A capital M in front is a million; only of newtons does anybody mean that.
    if symbol[0] == "M" and symbol[1:].lower() in ("m", "s", "g", "l", "sec") and not all_capitals:
        raise UnitError(f"unit {quoted(symbol)} could be meant as milli or mega", remedy=f"write m{symbol[1:]}")
    if symbol not in ("MN", "mN") and symbol.lower() in SYMBOL:
        return SYMBOL[symbol.lower()]
    prefixed = re.fullmatch(r"(da|[munkcdM])N", symbol)
    if prefixed:
        return _PREFIX[prefixed.group(1)], FORCE
    found = _asked(symbol)
    if found is None:
        raise UnitError(f"unit {quoted(symbol)} is not known")
    return found


def _joined(text: str) -> tuple[Size, Kinds] | None:
    """A torque in one piece, such as Nm, ftlb, mkp; None if it is none. Raises UnitError where a capital leaves it open."""
    if text.upper() == "MNM" and text in ("MNM", "MnM", "Mnm", "mNM", "mnM"):
        raise UnitError(f"unit {quoted(text)} could be meant as mN.m or MN.m", remedy="write mN.m or MN.m")
    match = _JOINED.fullmatch(text) or _JOINED.fullmatch(text.lower())
    if match is None:
        return None
    if match["newton"]:
        metre = SYMBOL[match["metre"]][0]
        return _PREFIX[match["prefix"]] * metre, TORQUE
    force = match["force"] or match["force_last"] or match["kilo"]
    length = match["length"] or match["length_first"] or match["metre_first"]
    factor, kinds = SYMBOL[force]
    if kinds != FORCE:
        factor *= GRAVITY
    return factor * SYMBOL[length][0], TORQUE


_OF_TORQUE = ("torque", "torsional stiffness", "torque slope")
_BY_WEIGHT = ("torque", "force", "stiffness")


def _read(unit: str, quantity: Quantity) -> tuple[Size, Kinds]:
    """Factor to plain SI and kinds of a unit. Raises UnitError or _OtherKindError."""
    text = unit.strip()
    if not text or len(text) > LONGEST_TEXT:
        raise UnitError(f"unit {quoted(text)} is not known")
    text = text.translate(_POWERS)
    for pattern, instead in _GLUED:
        text = pattern.sub(instead, text)
    text = re.sub(r"^1\s*/\s*", "/", text)
    capitals = text.upper() == text and len(re.findall("[A-Z]", text)) > 1
    factor: Size = Fraction(1)
    parts: list[tuple[Kinds, int]] = []
    at, sign = 0, 1
    if text.startswith("/"):
        at, sign = 1, -1
    while at < len(text):
        match = _FACTOR.match(text, at)
        if match is None:
            raise UnitError(f"unit {quoted(unit)} is not known")
        word = match.group(1)
        exponent = int(match.group(2) or 1) * sign
        torque = _joined(word) if quantity in _OF_TORQUE and word.lower() not in SYMBOL else None
        size, kinds = torque or _symbol(word, capitals)
        if kinds == TORQUE and torque is None:
            raise _OtherKindError  # J, Wh, cal: an energy, and no torque whatever its dimension
        factor *= size**exponent
        parts.append((kinds, exponent))
        at = match.end()
        if at == len(text):
            break
        join = _JOIN.match(text, at)
        if join is None or join.end() == len(text):
            raise UnitError(f"unit {quoted(unit)} is not known")
        sign = -1 if join.group().strip() in ("/", "per") else 1
        at = join.end()
    return factor, _kinds(*parts)


@functools.lru_cache(maxsize=512)
def scale_to_si(unit: str, quantity: Quantity) -> Scale:
    """Scale from `unit` to the inside unit of `quantity`.

    Inside are N.m, deg, s, N, m, Hz, kg, degC, shares of 1, m/s^2, m^3, N/m, N.m/deg, deg/s.

    Parameters
    ----------
    unit
        As a person or a file writes it, such as 'lbf.ft', 'Nm', 'deg/s'.
    quantity
        What it must be a unit of.

    Returns
    -------
    Scale
        inside = value * factor + offset; only a temperature has an offset.

    Raises
    ------
    UnitError
        If the unit is unknown, could be meant in two ways, or measures something else.
    """
    wanted = _WANTED[quantity]
    if quantity == "temperature":
        found = TEMPERATURE.get(re.sub(r"\s|\.|degrees?(?=[cf]$)", "", unit.strip().lower()).removeprefix("deg°"))
        if found is not None:
            return Scale(*found)
    try:
        factor, kinds = _read(unit, quantity)
        if kinds != tuple(sorted(wanted.kinds)):
            # Pounds, kilograms and ounces of a torque, a force or a spring rate are those of a balance.
            if quantity not in _BY_WEIGHT or _kinds((kinds, 1), ((("length", 1), ("time", -2)), 1)) != tuple(sorted(wanted.kinds)):
                raise _OtherKindError
            factor *= GRAVITY
    except _OtherKindError:
        raise UnitError(f"{quoted(unit)} is not a unit of {quantity}", remedy=f"use one such as {wanted.examples}") from None
    except UnitError as fault:
        raise UnitError(fault.what, remedy=fault.remedy or f"use one such as {wanted.examples}") from fault
    return Scale(float(factor / wanted.size))


# -- a number with its unit -------------------------------------------------------------------------------------------------------

_DIGITS = r"(?:\d+(?:[.,]\d+)?|[.,]\d+)(?:[eE][-+]?\d{1,2})?"
_NUMBER_THEN_UNIT = re.compile(rf"([-+−]?{_DIGITS})\s*(\S.*)?")


def number(text: str) -> float:
    """A number as people type it; a comma may be the decimal mark. Raises UnitError.

    `1,000` is refused: it could be a thousand as well as one.

    >>> number("25,5")
    25.5
    """
    plain = text.strip().replace("−", "-")
    if not re.fullmatch(rf"[-+]?{_DIGITS}", plain):
        raise UnitError(f"{quoted(text)} is not a number", remedy="write it like 25.5")
    if re.fullmatch(r"[-+]?[1-9]\d{0,2},\d{3}", plain):
        thousand, decimal = plain.replace(",", ""), plain.replace(",", ".")
        raise UnitError(f"{quoted(text)} could be {decimal} or {thousand}", remedy=f"write {decimal} or {thousand}")
    return float(plain.replace(",", "."))


def split_quantity(text: str) -> tuple[float, str]:
    """Split '0.5 N.m' into (0.5, 'N.m'). Raises UnitError if there is no finite number in front."""
    plain = text.strip()
    match = _NUMBER_THEN_UNIT.fullmatch(plain) if len(plain) <= LONGEST_TEXT else None
    if match is None:
        raise UnitError(f"{quoted(text)} is not a number with a unit", remedy="write it like '0.5 N.m'")
    return number(match.group(1)), (match.group(2) or "").strip()


@dataclass(frozen=True, slots=True)
class Measure:
    """A number with its unit, in SI, and as it was typed."""

    si: float
    unit: str = field(compare=False)
    text: str = field(compare=False)


def parse_measure(text: str, quantity: Quantity) -> Measure:
    """Read a number with its unit.

    Parameters
    ----------
    text
        A number and a unit, such as '0.5 N.m'; a comma may be the decimal mark.
    quantity
        What the unit must be of.

    Returns
    -------
    Measure
        The value in the inside unit of `quantity` (see `scale_to_si`), with unit and text as typed.

    Raises
    ------
    UnitError
        If there is no number, no unit, or a unit that is unknown, could be meant in two ways or measures something else.

    Examples
    --------
    >>> parse_measure("0.5 kp.m", "torque").unit
    'kp.m'
    """
    try:
        value, unit = split_quantity(text)
    except UnitError as fault:
        if quantity == "torque":
            raise
        raise UnitError(fault.what, remedy=f"write it like '20 {_WANTED[quantity].examples.split(',')[0]}'") from fault
    if not unit:
        raise UnitError(f"{quoted(text)} has no unit", remedy=f"add one such as {_WANTED[quantity].examples}")
    scale = scale_to_si(unit, quantity)
    return Measure(value * scale.factor + scale.offset, unit, text)


def to_si(text: str, quantity: Quantity) -> float:
    """Value in SI of a text such as '200 N.m', '500 Hz', '0.6 m'.

    Parameters
    ----------
    text
        A number and a unit.
    quantity
        What the unit must be of.

    Returns
    -------
    float
        In the inside unit of `quantity` (see `scale_to_si`): N.m for a torque, deg for an angle, m for a length.

    Raises
    ------
    UnitError
        As `parse_measure`.
    """
    return parse_measure(text, quantity).si


def to_unit(text: str, quantity: Quantity, unit: str) -> float:
    """Value of a text in `unit`, without a detour where it is typed in that unit.

    Parameters
    ----------
    text
        A number and a unit.
    quantity
        What both units must be of.
    unit
        The unit to answer in.

    Returns
    -------
    float
        In `unit`; the number itself where the text is in just this unit, so that no rounding enters.

    Raises
    ------
    UnitError
        As `parse_measure`, and if `unit` is not one of `quantity`. Where the text is in just this unit, `unit` is not looked at.

    Examples
    --------
    >>> to_unit("2.01 mm", "length", "mm"), round(to_unit("0.0787 in", "length", "mm"), 6)
    (2.01, 1.99898)
    """
    value, typed = split_quantity(text)
    return value if typed == unit else from_si(parse_measure(text, quantity).si, unit, quantity)


def from_si(value: float, unit: str, quantity: Quantity) -> float:
    """A value inside, expressed in `unit`.

    Parameters
    ----------
    value
        In the inside unit of `quantity` (see `scale_to_si`).
    unit
        The unit to answer in.
    quantity
        What `unit` must be of.

    Returns
    -------
    float
        In `unit`.

    Raises
    ------
    UnitError
        If the unit is unknown, could be meant in two ways, or measures something else.
    """
    scale = scale_to_si(unit, quantity)
    return (value - scale.offset) / scale.factor


def in_unit(torque_nm: float, unit: str) -> float:
    """Torque given in N.m, expressed in `unit`.

    Parameters
    ----------
    torque_nm
        N.m, with its sign.
    unit
        A unit of torque.

    Returns
    -------
    float
        In `unit`, with the same sign.

    Raises
    ------
    UnitError
        If `unit` is not one of torque.

    Examples
    --------
    >>> round(in_unit(40.0, "lbf.ft"), 2)
    29.5
    """
    return from_si(torque_nm, unit, "torque")


# -- a range ----------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Range:
    """Limits in SI; None: no limit on that side. `unit` and `text` are as typed."""

    low: float | None
    high: float | None
    unit: str = field(compare=False)
    text: str = field(compare=False)


def _end(name: str) -> str:
    return rf"(?P<{name}>[-+]?{_DIGITS})\s*(?P<{name}_unit>[^\d\s.,…–][^\d]*?)?"


_RANGE_FORMS = tuple(
    re.compile(form, re.I)
    for form in (
        rf"{_end('middle')}\s*(?:±|\+/-|\+-)\s*{_end('within')}",
        rf"(?:between\s+|from\s+|zwischen\s+|von\s+)?{_end('low')}\s*"
        rf"(?:\.{{2,3}}|…|–|—|-|\bto\b|\bbis\b|\band\b|\bund\b)\s*{_end('high')}",
        rf"(?:>=|=>|≥|>|min\.?|at least|mindestens|from|ab)\s*{_end('low')}",
        rf"(?:<=|=<|≤|<|max\.?|at most|höchstens|up to|bis)\s*{_end('high')}",
        rf"{_end('low')}\s*(?:\.{{2,3}}|…)\s*(?P<unit>\S.*)?",
        rf"(?:\.{{2,3}}|…)\s*{_end('high')}",
    )
)


def parse_range(text: str, quantity: Quantity) -> Range:
    """Read limits as people type them, in the inside unit of `quantity`.

    Taken are '25..45 N.m', '25-45 Nm', '25 to 45 Nm', '40 N.m..65 N.m', '25,5..45,5 Nm', '10.. N.m', '..25 N.m', '>= 40 Nm',
    'max 25 Nm', '35 +/- 10 N.m'.

    Parameters
    ----------
    text
        One or two limits with a unit, at the last limit or at each.
    quantity
        What the unit must be of.

    Returns
    -------
    Range
        Limits in the inside unit of `quantity` (see `scale_to_si`), None where that side is open. They are not put in order: that
        the lower one is lower is looked at by who uses them.

    Raises
    ------
    UnitError
        If it is not a range, has no unit, or one that is unknown, could be meant in two ways or measures something else.

    Examples
    --------
    >>> parse_range(">= 40 Nm", "torque")
    Range(low=40.0, high=None, unit='Nm', text='>= 40 Nm')
    """
    example = f"write it like 25..45 {_WANTED[quantity].examples.split(',')[0]}"
    plain = " ".join(text.split())
    forms = [] if len(plain) > LONGEST_TEXT else [match for form in _RANGE_FORMS if (match := form.fullmatch(plain))]
    if not forms:
        raise UnitError(f"{quoted(text)} is not a range with a unit", remedy=example)
    found = forms[0].groupdict()
    units = [name.strip() for key, name in found.items() if key.endswith("unit") and name]
    if not units:
        raise UnitError(f"{quoted(text)} has no unit", remedy=example)

    def limit(name: str) -> float | None:
        if found.get(name) is None:
            return None
        scale = scale_to_si((found.get(f"{name}_unit") or "").strip() or units[-1], quantity)
        return number(found[name]) * scale.factor + scale.offset

    low, high, middle, within = limit("low"), limit("high"), limit("middle"), limit("within")
    if middle is not None and within is not None:
        low, high = middle - abs(within), middle + abs(within)
    return Range(low, high, units[-1], text)


# -- a header cell ----------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ColumnHeader:
    """A header cell `quantity [unit]`, also `quantity (unit)`; `unit` is empty where the cell has none."""

    quantity: str
    unit: str

    @classmethod
    def parse(cls, cell: str) -> ColumnHeader:
        """Read a cell such as 'torque [lbf.ft]' or 'Torque (Nm)'; never fails, an odd cell is all quantity and no unit."""
        for opening, closing in ("[]", "()"):
            name, found, rest = cell.strip().partition(opening)
            if found and rest.endswith(closing):
                return cls(name.strip().lower(), rest[:-1].strip())
        return cls(cell.strip().lower(), "")
