"""Symbols of units that the trade uses, exact, and what kinds of thing they are. Read by `analysis.units` alone."""

from __future__ import annotations

import math
from fractions import Fraction

# A unit is a size in SI and its exponents of these kinds. An angle, a share and a count are kinds of their own.
Kinds = tuple[tuple[str, int], ...]
Size = Fraction | float

FORCE: Kinds = (("length", 1), ("mass", 1), ("time", -2))
TORQUE: Kinds = (("length", 2), ("mass", 1), ("time", -2))


# Symbols of the trade, exact (NIST SP 811, App. B: 1 lb = 0.45359237 kg, 1 in = 25.4 mm; 1 US gal = 231 in^3). They are also found
# in capitals. All others are asked of the registry.
_POUND, _INCH, GRAVITY = Fraction("0.45359237"), Fraction("0.0254"), Fraction("9.80665")
"""Standard gravity, m/s^2 (3rd CGPM, 1901), turns a pound or a kilogram of a torque into a force."""
_GALLON = 231 * _INCH**3
_MASS, _LENGTH, _ANGLE, _TIME, _SHARE, _VOLUME = (
    ((name, power),) for name, power in (("mass", 1), ("length", 1), ("angle", 1), ("time", 1), ("share", 1), ("length", 3))
)
_TABLE: tuple[tuple[str, Size, Kinds], ...] = (
    ("n newton newtons", Fraction(1), FORCE),
    ("lbf lbsf poundforce", GRAVITY * _POUND, FORCE),
    ("kgf kp kilopond", GRAVITY, FORCE),
    ("gf pond", GRAVITY / 1000, FORCE),
    ("ozf ounceforce", GRAVITY * _POUND / 16, FORCE),
    ("lb lbs pound pounds", _POUND, _MASS),
    ("oz ounce ounces", _POUND / 16, _MASS),
    ("kg kilogram kilograms", Fraction(1), _MASS),
    ("g gram grams", Fraction("1e-3"), _MASS),
    ("m metre metres meter meters", Fraction(1), _LENGTH),
    ("cm centimetre centimetres centimeter centimeters", Fraction("1e-2"), _LENGTH),
    ("mm millimetre millimetres millimeter millimeters", Fraction("1e-3"), _LENGTH),
    ("um µm micron microns", Fraction("1e-6"), _LENGTH),
    ('in inch inches "', _INCH, _LENGTH),
    ("ft foot feet '", 12 * _INCH, _LENGTH),
    ("thou mil mils", _INCH / 1000, _LENGTH),
    ("deg degs degree degrees °", math.pi / 180, _ANGLE),
    ("rad rads radian radians", Fraction(1), _ANGLE),
    ("turn turns rev revs revolution revolutions", 2 * math.pi, _ANGLE),
    ("rpm", 2 * math.pi / 60, (("angle", 1), ("time", -1))),
    ("s sec secs second seconds", Fraction(1), _TIME),
    ("ms msec millisecond milliseconds", Fraction("1e-3"), _TIME),
    ("us µs usec microsecond microseconds", Fraction("1e-6"), _TIME),
    ("min minute minutes", Fraction(60), _TIME),
    ("h hr hour hours", Fraction(3600), _TIME),
    ("d day days", Fraction(86400), _TIME),
    ("hz hertz sps", Fraction(1), (("time", -1),)),
    ("khz", Fraction(1000), (("time", -1),)),
    ("% percent pct", Fraction("1e-2"), _SHARE),
    ("‰ permille", Fraction("1e-3"), _SHARE),
    ("ppm", Fraction("1e-6"), _SHARE),
    ("l litre litres liter liters", Fraction("1e-3"), _VOLUME),
    ("dl", Fraction("1e-4"), _VOLUME),
    ("cl", Fraction("1e-5"), _VOLUME),
    ("ml cc ccm millilitre millilitres milliliter milliliters", Fraction("1e-6"), _VOLUME),
    ("gal gallon gallons", _GALLON, _VOLUME),
    ("qt quart quarts", _GALLON / 4, _VOLUME),
    ("pt pint pints", _GALLON / 8, _VOLUME),
    ("floz", _GALLON / 128, _VOLUME),
)
SYMBOL = {name: (size, kinds) for names, size, kinds in _TABLE for name in names.split()}

TEMPERATURE = {
    **dict.fromkeys(("degc", "°c", "c", "celsius", "degreecelsius", "degreescelsius"), (1.0, 0.0)),
    **dict.fromkeys(("degf", "°f", "f", "fahrenheit"), (5 / 9, -32 * 5 / 9)),
    **dict.fromkeys(("k", "kelvin"), (1.0, -273.15)),
}
"""Scale and offset to degrees Celsius (NIST SP 811, B.8)."""
