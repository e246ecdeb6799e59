"""Units against NIST SP 811 (2008 ed.), App. B.8/B.9: 1 lbf = 0.45359237 kg x 9.80665 m/s2 and 1 in = 25.4 mm, both exact."""

import pytest

from analysis.units import Quantity, in_unit, scale_to_si

EXACT = 1e-13
CASES: list[tuple[str, float, str, Quantity, float, float]] = [
    # what, value, unit, quantity, SI (N.m, N, m, deg, degC), relative tolerance
    ("pound-force", 1, "lbf", "force", 4.4482216152605, EXACT),
    ("pound-force foot", 1, "lbf.ft", "torque", 1.3558179483314, EXACT),
    ("pound-force inch", 1, "lbf.in", "torque", 0.11298482902762, EXACT),
    ("kilogram-force metre", 1, "kgf.m", "torque", 9.80665, EXACT),
    ("inch", 1, "in", "length", 0.0254, EXACT),
    ("thou", 1, "thou", "length", 2.54e-5, EXACT),
    ("dyne centimetre", 1, "dyn.cm", "torque", 1e-7, EXACT),
    ("lower end of a window", 29, "lbf.ft", "torque", 39.318720501601, 1e-12),
    ("five kilogram-force metres", 5, "kgf.m", "torque", 49.03325, EXACT),
    ("full turn", 1, "turn", "angle", 360, EXACT),
    ("radian", 0.017453292519943, "rad", "angle", 1, EXACT),
    ("68 degF", 68, "degF", "temperature", 20, 1e-11),
    ("sign survives", -36, "lbf.ft", "torque", -48.80944613993, 1e-12),
]


@pytest.mark.parametrize(("what", "value", "unit", "quantity", "si", "tolerance"), CASES, ids=[case[0] for case in CASES])
def test_into_si(what: str, value: float, unit: str, quantity: Quantity, si: float, tolerance: float) -> None:
    scale = scale_to_si(unit, quantity)
    assert value * scale.factor + scale.offset == pytest.approx(si, rel=tolerance)


@pytest.mark.parametrize(
    ("torque_nm", "unit", "value"),
    [(1, "lbf.ft", 0.73756214927727), (1, "kgf.m", 0.10197162129779), (1, "N.cm", 100), (12 * 0.11298482902762, "lbf.ft", 1)],
)
def test_out_of_si(torque_nm: float, unit: str, value: float) -> None:
    assert in_unit(torque_nm, unit) == pytest.approx(value, rel=EXACT)


@pytest.mark.parametrize(
    ("as_written", "unit"),
    [("N-m", "N.m"), ("in-lbs", "lbf.in"), ("ft-lbs", "lbf.ft"), ("lb-ft", "lbf.ft"), ("lbs.in", "lbf.in"), ("N·m", "N.m")],
)
def test_units_as_indicators_write_them(as_written: str, unit: str) -> None:
    """A dash or a raised dot for the product, pounds in the plural (common practice, no source)."""
    assert scale_to_si(as_written, "torque") == scale_to_si(unit, "torque")


def test_a_thousandth_of_a_newton_metre() -> None:
    """SI prefixes (NIST SP 330): mN.m, also written without the dot, which the registry takes for a unit of its own."""
    assert scale_to_si("mNm", "torque").factor == pytest.approx(1e-3, rel=1e-12)
