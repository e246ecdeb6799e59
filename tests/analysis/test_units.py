"""Units, windows and stated uncertainties as people type them: nothing silently wrong, what is usual is understood."""

import math
from collections.abc import Callable
from typing import get_args

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.errors import BenchError, UnitError, quoted
from analysis.stated import Base, Meaning, StatedError, parse_scatter, parse_uncertainty
from analysis.units import (
    LONGEST_TEXT,
    ColumnHeader,
    Quantity,
    from_si,
    number,
    parse_measure,
    parse_range,
    scale_to_si,
    to_si,
    to_unit,
)
from analysis.window import Basis, Window, WindowError

# The factors are those of NIST SP 811, App. B, or products of them: 1 lbf = 4.4482216152605 N, 1 ft = 0.3048 m, 1 kgf = 9.80665 N.
FT_LB, IN_LB, KP_M, OZ_IN = 1.3558179483314004, 0.1129848290276167, 9.80665, 0.00706155181422604


@pytest.mark.parametrize(
    ("typed", "torque_nm"),
    [
        *((unit, 1.0) for unit in ("N.m", "Nm", "NM", "nm", "N m", "N-m", "N*m", "N·m", "Newton metres", "newton-meter")),
        *((unit, KP_M) for unit in ("kp.m", "kpm", "mkp", "kgf.m", "kgm", "mkg", "m.kg", "kp m")),
        *((unit, FT_LB) for unit in ("FT.LBS", "ft-lbs", "foot-pounds", "foot pounds", "pound-feet", "Ft-Lb", "FTLB", "lbf.ft")),
        *((unit, IN_LB) for unit in ("inch-pounds", "in.lbf", "IN-LBS", "lb.in", "inlb")),
        *((unit, OZ_IN) for unit in ("oz.in", "ozf.in", "in-oz", "ounce-inches")),
        *((unit, 0.1) for unit in ("dNm", "dN.m")),
        *((unit, 10.0) for unit in ("daNm", "daN.m")),
        *((unit, 1e-3) for unit in ("mNm", "mN.m", "N.mm", "Nmm")),
        ("MNm", 1e6), ("MN.m", 1e6), ("kNm", 1e3), ("KNM", 1e3), ("Ncm", 0.01), ("kg.cm", 0.0980665),
    ],
)  # fmt: skip
def test_torque_as_people_type_it(typed: str, torque_nm: float) -> None:
    assert scale_to_si(typed, "torque").factor == pytest.approx(torque_nm, rel=1e-13)


@pytest.mark.parametrize(
    ("typed", "quantity"),
    [
        *((unit, "torque") for unit in ("N.m/deg", "N.m/rad", "J", "kJ", "Wh", "lbf", "ft", "N/m", "MNM", "N.m**9", "counts", "%")),
        *((unit, "angle") for unit in ("counts", "count", "%", "ppm", "N.m", "")),
        *((unit, "length") for unit in ("Mm", "deg", "l")),
        *((unit, "time") for unit in ("Ms", "Hz")),
        *((unit, "rate") for unit in ("rpm", "deg/s")),
        *((unit, "relative") for unit in ("deg", "counts", "N.m/N.m")),
    ],
)  # fmt: skip
def test_what_measures_something_else_is_refused_and_not_guessed(typed: str, quantity: Quantity) -> None:
    """Findings 1.15: `MNm` read as mN.m, `N.m/deg` and energies as torque, an angle in counts or per cent as radians."""
    with pytest.raises(UnitError):
        scale_to_si(typed, quantity)


@pytest.mark.parametrize(
    "unit", ["9**9**9*N.m", "9**9**9", "(N.m)", "N.m+N.m", "N.m" * 1000, "2 N.m", "__import__", "N.m\0", "\x1b[31mN.m", "é"]
)
def test_a_unit_is_never_calculated(unit: str) -> None:
    """Findings 7.2: such a unit in a header or a window kept the program busy for ever."""
    with pytest.raises(UnitError):
        scale_to_si(unit, "torque")


@pytest.mark.parametrize(
    ("text", "quantity", "si"),
    [
        ("2.01 mm", "length", 2.01e-3), ("2,01 mm", "length", 2.01e-3), ("0.0787 in", "length", 0.00199898),
        ("4 thou", "length", 0.1016e-3),
        ("1.9 l", "volume", 1.9e-3), ("80 ml", "volume", 80e-6), ("80 cm3", "volume", 80e-6), ("2 qt", "volume", 1.892705892e-3),
        ("4 fl oz", "volume", 1.182941183e-4),
        ("4 US fl oz", "volume", 1.182941183e-4),  # 1 US fl oz = 29.57353 mL (NIST SP 811, B.8)
        ("62 N/mm", "stiffness", 62e3), ("1 lbf/in", "stiffness", 175.1268), ("1 N.m/rad", "torsional stiffness", math.pi / 180),
        ("85 %", "relative", 0.85), ("68 °F", "temperature", 20.0), ("21 C", "temperature", 21.0),
        ("45°", "angle", 45.0),        ("500 S/s", "rate", 500.0), ("9.8125 m/s²", "acceleration", 9.8125),
        ("0.075 mm per mm", "length ratio", 0.075),
        ("2 rpm", "speed", 12.0),
    ],
)  # fmt: skip
def test_other_quantities(text: str, quantity: Quantity, si: float) -> None:
    assert to_si(text, quantity) == pytest.approx(si, rel=1e-6)


def test_a_number_in_the_unit_wanted_takes_no_detour() -> None:
    assert to_unit("2.01 mm", "length", "mm") == 2.01


def test_a_thousand_or_a_decimal_comma_is_asked_back() -> None:
    assert number("0,125") == 0.125
    assert number("25,50") == 25.5
    with pytest.raises(UnitError, match=r"could be 1\.000 or 1000"):
        number("1,000")


@pytest.mark.parametrize(
    ("text", "low_nm", "high_nm"),
    [
        *((text, 25.0, 45.0) for text in ("25..45 N.m", "25-45 Nm", "25 to 45 Nm", "25 - 45 N-m", "25–45 Nm", "25...45 Nm")),
        *((text, 25.0, 45.0) for text in ("25 bis 45 Nm", "25 N.m..45 N.m", "25 N-m - 45 N-m",
        "between 25 and 45 Nm", "35 +/- 10 N.m", "35 ± 10 Nm")),
        ("25,5..45,5 Nm", 25.5, 45.5),
        *((text, 40.0, None) for text in (">= 40 Nm", "≥40 Nm", "40.. N.m", "40..N.m", "min 40 Nm", "at least 40 Nm", "ab 40 Nm")),
        *((text, None, 25.0) for text in ("<= 25 Nm", "..25 N.m", "max. 25 Nm", "up to 25 Nm")),
        ("25..45 ft.lb", 25 * FT_LB, 45 * FT_LB),
        ("25 in.lbf to 45 in.lbf", 25 * IN_LB, 45 * IN_LB),
    ],
)  # fmt: skip
def test_a_window_as_people_type_it(text: str, low_nm: float | None, high_nm: float | None) -> None:
    window = Window.parse(text)
    assert window.low_nm == (None if low_nm is None else pytest.approx(low_nm, rel=1e-12))
    assert window.high_nm == (None if high_nm is None else pytest.approx(high_nm, rel=1e-12))
    assert window.text == text


def test_a_window_keeps_its_unit_as_typed() -> None:
    assert Window.parse("25 to 45 ft-lbs").unit == "ft-lbs"
    assert Window.parse("25..45 N.m", "sliding", "A") == Window(25.0, 45.0, Basis.SLIDING, "A")


@pytest.mark.parametrize(
    "text",
    ["25..45", "25 Nm", "25,45 Nm", "45..25 Nm", "-5..45 Nm", "..", "Nm", "", "25..45 J", "1,000..2,000 Nm",
    "1e9..2e9 Nm", "25..45 MNm",
     "25..45 9**9**9*N.m", "9" * 5000 + "..1 N.m", "nan..nan N.m"],
)  # fmt: skip
def test_what_is_no_window_is_refused_in_one_short_line(text: str) -> None:
    with pytest.raises((WindowError, UnitError)) as caught:
        Window.parse(text)
    assert len(str(caught.value)) < 250
    assert "\n" not in str(caught.value)


def refusal_of(reader: Callable[..., object], *texts: str) -> str:
    """The sentence with which a text is refused; empty where it is taken. Anything else that is raised fails the test."""
    try:
        reader(*texts)
    except BenchError as refusal:
        return str(refusal)
    return ""


@given(st.text(max_size=70), st.sampled_from(get_args(Quantity)))
def test_any_text_is_a_value_or_a_refusal(text: str, quantity: Quantity) -> None:
    for reader in (scale_to_si, parse_measure, parse_range):
        refusal = refusal_of(reader, text, quantity)
        assert refusal.isprintable()
        assert len(refusal) < LONGEST_TEXT * 4


@given(st.text("N.m lbfkgpoz-/*^123%°·;[]()", max_size=20), st.sampled_from(["torque", "angle", "stiffness", "volume"]))
def test_what_looks_like_a_unit_is_a_finite_scale_or_a_refusal(text: str, quantity: Quantity) -> None:
    try:
        scale = scale_to_si(text, quantity)
    except UnitError:
        return
    assert 0 < scale.factor < math.inf


@pytest.mark.parametrize("quantity", ["torque", "force", "length", "mass", "time", "angle", "volume", "stiffness"])
def test_the_table_of_the_trade_says_what_the_registry_says(quantity: Quantity) -> None:
    """Outside: pint's definitions, symbol by symbol."""
    registry: pint.UnitRegistry[float] = pint.UnitRegistry(cache_folder=None)
    pairs = {
        "torque": [("lbf.ft", "lbf*ft"), ("kgf.m", "kgf*m"), ("ozf.in", "ozf*inch")],
        "force": [("lbf", "lbf"), ("kgf", "kgf"), ("kN", "kN")],
        "length": [("in", "inch"), ("thou", "thou"), ("ft", "ft"), ("um", "um"), ("yd", "yard")],
        "mass": [("lb", "lb"), ("oz", "oz"), ("t", "t")],
        "time": [("min", "minute"), ("h", "hour"), ("us", "us"), ("d", "day")],
        "angle": [("turn", "turn"), ("arcmin", "arcminute"), ("mrad", "mrad")],
        "volume": [("fl oz", "fluid_ounce"), ("qt", "quart"), ("gal", "gallon"), ("pt", "pint"), ("cm3", "cm**3")],
        "stiffness": [("lbf/in", "lbf/inch"), ("N/mm", "N/mm")],
    }[quantity]
    inside = {
        "torque": "N*m",
        "force": "N",
        "length": "m",
        "mass": "kg",
        "time": "s",
        "angle": "degree",
        "volume": "m**3",
        "stiffness": "N/m",
    }
    for ours, theirs in pairs:
        expected = registry.Quantity(1.0, theirs).to(inside[quantity]).magnitude
        assert scale_to_si(ours, quantity).factor == pytest.approx(expected, rel=1e-12), ours


@given(st.floats(0.001, 1e4), st.sampled_from(["N.m", "lbf.ft", "oz.in", "kp.m", "dNm"]))
def test_there_and_back(value: float, unit: str) -> None:
    assert from_si(to_si(f"{value:.12f} {unit}", "torque"), unit, "torque") == pytest.approx(value, rel=1e-8)


@pytest.mark.parametrize(
    ("cell", "quantity", "unit"),
    [("torque [lbf.ft]", "torque", "lbf.ft"),
     ("Torque (Nm)", "torque", "Nm"), (" ANGLE (°) ", "angle", "°"), ("time", "time", ""), ("a [b", "a [b", "")],
)  # fmt: skip
def test_header_cells(cell: str, quantity: str, unit: str) -> None:
    assert ColumnHeader.parse(cell) == ColumnHeader(quantity, unit)


def test_what_a_message_quotes_is_short_and_printable() -> None:
    assert quoted("\x1b[2J" + "x" * 100_000) == "'?[2J" + "x" * 53 + "...'"


@pytest.mark.parametrize(
    ("text", "meaning", "base", "standard"),
    [
        ("0.5 N.m", Meaning.STANDARD, Base.TORQUE, 0.5),
        ("0.5 lbf.ft", Meaning.STANDARD, Base.TORQUE, 0.5 * FT_LB),
        ("0.5%", Meaning.STANDARD, Base.READING, 0.005),
        ("0,5 % of reading", Meaning.STANDARD, Base.READING, 0.005),
        ("0.5 % of range", Meaning.STANDARD, Base.RANGE, 0.005),
        ("within 0.5 % of range", Meaning.LIMITS, Base.RANGE, 0.005 / math.sqrt(3)),
        ("+/- 0.25 % FS", Meaning.LIMITS, Base.RANGE, 0.0025 / math.sqrt(3)),
        ("±0.2 N.m", Meaning.LIMITS, Base.TORQUE, 0.2 / math.sqrt(3)),
        ("U 1.0 % (k=2)", Meaning.EXPANDED, Base.READING, 0.005),
        ("U = 0.4 N.m, k=2", Meaning.EXPANDED, Base.TORQUE, 0.2),
        ("U 1.0 % of range (k = 2)", Meaning.EXPANDED, Base.RANGE, 0.005),
        ("U 1 %", Meaning.EXPANDED, Base.READING, 0.005),
    ],
)
def test_an_uncertainty_as_people_state_it(text: str, meaning: Meaning, base: Base, standard: float) -> None:
    stated = parse_uncertainty(text)
    assert (stated.meaning, stated.base) == (meaning, base)
    assert stated.standard == pytest.approx(standard, rel=1e-12)
    assert text in stated.sentence()


def test_a_share_of_the_range_needs_the_range() -> None:
    """Findings 1.10: 0.5 % of range of a 200 N.m sensor is 1 N.m, at 40 N.m as well."""
    stated = parse_uncertainty("0.5 % of range")
    assert stated.u_nm(200.0) == pytest.approx(1.0)
    assert stated.u_relative is None
    with pytest.raises(StatedError, match="range is not known"):
        stated.u_nm(None)


@pytest.mark.parametrize(
    "text", ["0 %", "-1 %", "5", "", "300 %", "k=2", "U 1 % (k=9)", "0.5 kPa", "0.5 N.m of range", "0.5 J", "1e30 N.m", "x" * 9999]
)
def test_what_is_no_uncertainty_is_refused(text: str) -> None:
    with pytest.raises(StatedError):
        parse_uncertainty(text)


@given(st.text(max_size=70))
def test_any_text_is_an_uncertainty_or_a_refusal(text: str) -> None:
    for reader in (parse_uncertainty, parse_scatter, Window.parse):
        assert refusal_of(reader, text).isprintable()


@pytest.mark.parametrize(
    ("text", "relative", "degrees"), [("4 %", 0.04, 4), ("4 % (12)", 0.04, 12), ("0 %", 0.0, None), ("3,5%", 0.035, 4)]
)
def test_scatter(text: str, relative: float, degrees: float | None) -> None:
    scatter = parse_scatter(text)
    assert (scatter.relative, scatter.degrees_of_freedom) == (pytest.approx(relative), degrees)


@pytest.mark.parametrize("text", ["4", "-4 %", "60 %", "4 % (0)", "4 % (x)", "", "4 N.m", "4 % of range"])
def test_what_is_no_scatter_is_refused(text: str) -> None:
    with pytest.raises(StatedError):
        parse_scatter(text)
