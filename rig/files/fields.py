"""What stands in documents: the two kinds of document, and classes of values that are written as a text, with a unit mostly.

A quantity is a float in the unit its name says, and keeps what was typed as `.text`. How to define and read a document: see
`rig.files.document`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any, ClassVar, Final, Generic, Self, TypeVar

import msgspec
from msgspec import Meta

from analysis import bounds, units
from analysis.errors import quoted
from analysis.stated import FORMS, StatedUncertainty, parse_uncertainty

T = TypeVar("T")
_ABOVE_ZERO: Final = math.nextafter(0.0, 1.0)
"""The lower bound of what has to be more than nothing."""


class Closed(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A document, or a part of one, that refuses keys it does not know."""


class Open(msgspec.Struct, frozen=True, kw_only=True):
    """A document, or a part of one, whose other keys are kept and ignored."""


def found(value: object) -> str:
    """What stands in a document, for a message."""
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        return "a list"
    if value is None or isinstance(value, bool):
        return str(value).lower().replace("none", "null")
    return quoted(str(value))[1:-1]


class Refusal(ValueError):  # noqa: N818
    """A key that cannot be used; raised by `__post_init__` or `parse`. `key` "" is the part as a whole."""

    def __init__(self, key: str, found: str, expected: str = "") -> None:
        super().__init__(found)
        self.key, self.found, self.expected = key, found, expected


class InsideError(ValueError):
    """A refusal from inside a list that may stand without brackets; made and read by the document layer alone."""


class FromText:
    """A class of values that are written as a text. `EXPECTED` says in words what is expected."""

    EXPECTED: ClassVar[str] = "a text in quotes"

    @classmethod
    def parse(cls, text: str) -> Self:
        """The value of a text. Raises BenchError or ValueError."""
        raise NotImplementedError

    @classmethod
    def of(cls, value: object) -> Self:
        """The value of what stands in the document; anything but a text is refused."""
        if not isinstance(value, str):
            raise Refusal("", f"is {found(value)}", cls.EXPECTED)
        return cls.parse(value)


class Name(str, FromText):
    """A text that is not blank, without blanks around it."""

    __slots__ = ()
    EXPECTED = "a text in quotes that is not empty"

    @classmethod
    def parse(cls, text: str) -> Self:
        """Take off the blanks around it."""
        if not text.strip():
            raise Refusal("", "is empty", cls.EXPECTED)
        return cls(text.strip())


class Words(str, FromText):
    """A text; a number is taken for one."""

    __slots__ = ()

    @classmethod
    def of(cls, value: object) -> Self:
        """The text, or the number as text."""
        if isinstance(value, int | float) and not isinstance(value, bool):
            value = str(value)
        return super().of(value)

    @classmethod
    def parse(cls, text: str) -> Self:
        """As it stands."""
        return cls(text)


class Day(date, FromText):
    """A day of our time, as TOML has it or as a text 'YYYY-MM-DD'."""

    EXPECTED = 'a day such as "2026-11-25"'
    YEARS: ClassVar = (1950, 2200)

    @classmethod
    def of(cls, value: object) -> Self:
        """A date or its text."""
        if isinstance(value, date) and not isinstance(value, datetime):
            return cls._checked(value)
        return super().of(value)

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read 'YYYY-MM-DD'."""
        return cls._checked(date.fromisoformat(text.strip()))

    @classmethod
    def _checked(cls, day: date) -> Self:
        if not cls.YEARS[0] <= day.year <= cls.YEARS[1]:
            raise Refusal("", f"is {day.isoformat()}, which is no day of our time", cls.EXPECTED)
        return cls(day.year, day.month, day.day)


def built_in(value: Any) -> Any:
    """A value of a document as the language's own text, number or day; None stays None. For values that leave the documents."""
    for kind in (str, float):
        if isinstance(value, kind):
            return kind(value)
    return date(value.year, value.month, value.day) if isinstance(value, date) else value


class Quantity(float, FromText):
    """A number with its unit, as a float in `UNIT`; `.text` is as typed. Subclasses say which; bounds are included."""

    DIMENSION: ClassVar[units.Quantity]
    UNIT: ClassVar[str]
    EXAMPLE: ClassVar[str]
    LOW: ClassVar[float] = -math.inf
    HIGH: ClassVar[float] = math.inf
    WORDS: ClassVar[Mapping[str, float]] = {}
    text: str

    def __new__(cls, value: float, text: str = "") -> Self:
        """A value in `UNIT`."""
        made = super().__new__(cls, value)
        made.text = text
        return made

    def __init_subclass__(cls) -> None:
        super().__init_subclass__()
        if hasattr(cls, "EXAMPLE"):
            words = "".join(f', or "{word}"' for word in cls.WORDS)
            cls.EXPECTED = f'a {cls.DIMENSION} with its unit in quotes, such as "{cls.EXAMPLE}"{words}'

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read a number with its unit. Raises UnitError or Refusal."""
        if text.strip() in cls.WORDS:
            return cls(cls.WORDS[text.strip()], text)
        value = units.to_unit(text, cls.DIMENSION, cls.UNIT)
        if not cls.LOW <= value <= cls.HIGH:
            raise Refusal("", f"is {quoted(text)}, which is {cls._beyond(value)}", cls.EXPECTED)
        return cls(value, text)

    @classmethod
    def _beyond(cls, value: float) -> str:
        if value > cls.HIGH:
            return f"above {cls.HIGH:g} {cls.UNIT}"
        return {0.0: "below zero", _ABOVE_ZERO: "not above zero"}.get(cls.LOW, f"below {cls.LOW:g} {cls.UNIT}")

    def __getnewargs__(self) -> tuple[float, str]:  # type: ignore[override]
        """For copies and other processes."""
        return float(self), self.text


class SensorU(FromText):
    """The uncertainty of a torque sensor, in one of the forms of `analysis.stated`."""

    EXPECTED = f"an uncertainty such as {FORMS}"
    __slots__ = ("stated",)

    def __init__(self, stated: StatedUncertainty) -> None:
        self.stated = stated

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read it. Raises StatedError."""
        return cls(parse_uncertainty(text))


class RangeOf(FromText):
    """Limits such as '0.10..0.40 mm', of the quantity `OF`, in its unit; None: no limit on that side. `.text` is as typed."""

    OF: ClassVar[type[Quantity]]
    BOTH_ENDS: ClassVar[bool] = False
    __slots__ = ("high", "low", "text", "unit")

    def __init__(self, low: float | None, high: float | None, unit: str = "", text: str = "") -> None:
        self.low, self.high, self.unit, self.text = low, high, unit, text

    def __init_subclass__(cls) -> None:
        super().__init_subclass__()
        example = cls.OF.EXAMPLE.split()
        cls.EXPECTED = (
            f'a range with its unit in quotes, such as "{example[0]}..{float(example[0]) * 1.5:g} {" ".join(example[1:])}"'
        )

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read limits as people type them. Raises UnitError or Refusal."""
        limits, of = units.parse_range(text, cls.OF.DIMENSION), cls.OF
        low, high = (None if end is None else units.from_si(end, of.UNIT, of.DIMENSION) for end in (limits.low, limits.high))
        ends = [end for end in (low, high) if end is not None]
        if cls.BOTH_ENDS and len(ends) < 2:
            raise Refusal("", f"is {quoted(text)}, which has one end only", cls.EXPECTED)
        if not all(of.LOW <= end <= of.HIGH for end in ends):
            raise Refusal("", f"is {quoted(text)}, which goes beyond {of.LOW:g} to {of.HIGH:g} {of.UNIT}", cls.EXPECTED)
        if low is not None and high is not None and low > high:
            raise Refusal("", f"is {quoted(text)}, the lower end above the upper one", cls.EXPECTED)
        return cls(low, high, limits.unit, text)

    def __contains__(self, value: float) -> bool:
        """Whether a value lies between the ends, which belong to it."""
        return (self.low is None or self.low <= value) and (self.high is None or value <= self.high)

    def __eq__(self, other: object) -> bool:
        return type(other) is type(self) and (self.low, self.high) == (other.low, other.high)

    def __hash__(self) -> int:
        return hash((type(self), self.low, self.high))

    def __repr__(self) -> str:
        return f"{type(self).__name__}({self.low!r}, {self.high!r})"


class OneOrMany(tuple[T, ...], Generic[T]):
    """A tuple that may be written as a single value, without brackets."""

    __slots__ = ()


def says(expected: str) -> Meta:
    """What a field expects, in the words of a message: `Annotated[Name, says('a name such as "bench 1"')]`."""
    return Meta(description=expected)


def between(low: float | None = None, high: float | None = None) -> Meta:
    """Bounds of a number, both included."""
    return Meta(ge=low, le=high)


def above(low: float) -> Meta:
    """The bound of a number that has to be more."""
    return Meta(gt=low)


# -- quantities of the trade ------------------------------------------------------------------------------------------------------
# Positive ones begin just above zero; the upper bounds are those of `analysis.bounds`, or where a slip of unit or point is certain.


class TorqueNm(Quantity):
    """A torque, zero allowed."""

    DIMENSION, UNIT, EXAMPLE, LOW, HIGH = "torque", "N.m", "40 N.m", 0.0, bounds.TORQUE_MOST_NM


class CapacityNm(TorqueNm):
    """Of a torque sensor."""

    EXAMPLE, LOW = "200 N.m", bounds.CAPACITY_LEAST_NM


class LengthMm(Quantity):
    """A length or depth, zero allowed."""

    DIMENSION, UNIT, EXAMPLE, LOW, HIGH = "length", "mm", "2.01 mm", 0.0, 10_000.0


class LengthM(Quantity):
    """A length above zero, of a lever or arm."""

    DIMENSION, UNIT, EXAMPLE, LOW, HIGH = "length", "m", "500 mm", _ABOVE_ZERO, 20.0


class AngleDeg(Quantity):
    """An angle."""

    DIMENSION, UNIT, EXAMPLE, LOW, HIGH = "angle", "deg", "45 deg", -bounds.ANGLE_MOST_DEG, bounds.ANGLE_MOST_DEG


class ForceN(Quantity):
    """A force, zero allowed."""

    DIMENSION, UNIT, EXAMPLE, LOW, HIGH = "force", "N", "850 N", 0.0, 1e6


class MassKg(Quantity):
    """A mass above zero."""

    DIMENSION, UNIT, EXAMPLE, LOW, HIGH = "mass", "kg", "2 kg", _ABOVE_ZERO, 10_000.0


class TimeS(Quantity):
    """A time above zero."""

    DIMENSION, UNIT, EXAMPLE, LOW, HIGH = "time", "s", "10 s", _ABOVE_ZERO, bounds.REST_MOST_S


class RateHz(Quantity):
    """A rate above zero."""

    DIMENSION, UNIT, EXAMPLE, LOW, HIGH = "rate", "Hz", "500 Hz", _ABOVE_ZERO, 1e6


class TemperatureC(Quantity):
    """A temperature of a unit on the bench."""

    DIMENSION, UNIT, EXAMPLE = "temperature", "degC", "21 degC"
    LOW, HIGH = bounds.TEMPERATURE_C


class Share(Quantity):
    """A share of 1, written in per cent."""

    DIMENSION, UNIT, EXAMPLE, LOW, HIGH = "relative", "1", "4 %", 0.0, 1.0

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read a share. Raises UnitError or Refusal."""
        value = units.to_si(text, "relative")
        if not cls.LOW <= value <= cls.HIGH:
            raise Refusal("", f"is {quoted(text)}, which is not between {100 * cls.LOW:g} and {100 * cls.HIGH:g} %", cls.EXPECTED)
        return cls(value, text)


class VolumeL(Quantity):
    """A volume, zero allowed."""

    DIMENSION, UNIT, EXAMPLE, LOW, HIGH = "volume", "l", "1.9 l", 0.0, 1000.0


class StiffnessNPerMm(Quantity):
    """The rate of a spring, above zero."""

    DIMENSION, UNIT, EXAMPLE, LOW, HIGH = "stiffness", "N/mm", "62 N/mm", _ABOVE_ZERO, 1e7


class AccelerationMs2(Quantity):
    """An acceleration, of gravity mostly."""

    DIMENSION, UNIT, EXAMPLE, LOW, HIGH = "acceleration", "m/s^2", "9.8125 m/s^2", _ABOVE_ZERO, 100.0


class TorqueRangeNm(RangeOf):
    """Limits of a torque."""

    OF = TorqueNm


class LengthRangeMm(RangeOf):
    """Limits of a length."""

    OF = LengthMm


class VolumeRangeL(RangeOf):
    """Limits of a volume."""

    OF = VolumeL
