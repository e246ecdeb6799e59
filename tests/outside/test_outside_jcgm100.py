"""Uncertainty budgets: JCGM 100:2008 (GUM) and EURACHEM/CITAC CG 4, with the `uncertainties` library as reference.

'Read' cases were read in open libraries that quote the guide; 'from memory' cases were recalled and recomputed.
"""

import math

import pytest
import uncertainties
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import umath

from analysis.results import BudgetLine, Sensor
from analysis.verdict.apart import Scatter
from analysis.verdict.ground import rectangular
from analysis.verdict.scatter import OwnScatter, pool
from analysis.verdict.uncertainty import calibration_line, combine


def lines(*pairs: tuple[float, float | None]) -> list[BudgetLine]:
    return [BudgetLine(f"line {i}", u, nu) for i, (u, nu) in enumerate(pairs)]


def test_end_gauge_combined_uncertainty() -> None:
    """GUM H.1 (read in GTC's tests): u_c of the end-gauge calibration is 32 nm.

    First-order contributions in nm: standard 25, comparator 5.8, 3.9 and 6.7, and the two temperature terms
    l_s theta u(d_alpha) = 50000623 x 0.1 x 1e-6/sqrt(3) and l_s alpha u(d_theta) = 50000623 x 11.5e-6 x 0.05/sqrt(3).
    """
    expansion = 50000623 * 0.1 * 1e-6 / math.sqrt(3)
    temperature = 50000623 * 11.5e-6 * 0.05 / math.sqrt(3)
    found = combine(lines((25, 18), (5.8, 24), (3.9, 5), (6.7, 8), (expansion, 50), (temperature, 2)))
    assert found.u_nm == pytest.approx(32, abs=0.5)


def test_end_gauge_degrees_of_freedom() -> None:
    """GUM H.1.6 (read in help pages of R's 'propagate'): 16.7 effective degrees of freedom, with the unrounded u_c of 31.66."""
    found = combine(lines((25, 18), (9.7, 25.6), (2.9, 50), (16.6, 2)))
    assert found.degrees_of_freedom == pytest.approx(16.7, abs=0.1)


def test_end_gauge_expanded_for_99_percent() -> None:
    """GUM H.1.6 (read, as above): k = 2.92 and U = 93 nm for 99 % and 16 degrees of freedom."""
    found = combine(lines((32, 16)), coverage=0.99)
    assert found.coverage_factor == pytest.approx(2.92, abs=0.005)
    assert found.expanded_u_nm == pytest.approx(93, abs=0.5)


def test_welch_satterthwaite_of_a_product() -> None:
    """GUM G.4.1, example (from memory): relative uncertainties 0.25, 0.57, 0.82 % of 10, 5 and 15 readings: 1.03 % and 19.0."""
    found = combine(lines((0.25, 9), (0.57, 4), (0.82, 14)))
    assert found.u_nm == pytest.approx(1.03, abs=0.005)
    assert found.degrees_of_freedom == pytest.approx(19.0, abs=0.1)


@pytest.mark.parametrize(
    ("nu", "t95", "t9545"),
    [(1, 12.71, 13.97), (2, 4.30, 4.53), (4, 2.78, 2.87), (5, 2.57, 2.65), (8, 2.31, 2.37), (10, 2.23, 2.28), (50, 2.01, 2.05)],
)
def test_coverage_factors(nu: float, t95: float, t9545: float) -> None:
    """GUM Table G.2 (from memory; the 95.45 % column also EA-4/02, Table E.1)."""
    assert combine(lines((1.0, nu)), coverage=0.95).coverage_factor == pytest.approx(t95, abs=0.006)
    assert combine(lines((1.0, nu)), coverage=0.9545).coverage_factor == pytest.approx(t9545, abs=0.006)


def test_budget_of_a_calibration_standard() -> None:
    """EURACHEM/CITAC CG 4 (QUAM:2012), example A1 (read in GTC's tests): c = 1000 m P/V, u = 0.835 mg/l."""
    c = 1000 * 100.28 * 0.9999 / 100
    found = combine(
        lines(
            (c * 0.05 / 100.28, None),
            (c * 0.0001 / math.sqrt(3) / 0.9999, None),
            (c * 0.1 / math.sqrt(6) / 100, None),
            (c * 0.02 / 100, None),
            (c * 0.084 / math.sqrt(3) / 100, None),
        )
    )
    assert found.u_nm == pytest.approx(0.835, abs=0.0006)


def test_full_scale_against_reading() -> None:
    """A. K. & P. Sawhney, ex. 3.3 (read in an open companion): 1 % of a full scale of 1000 at 100 is 10, 1 % of reading is 1."""
    of_scale, of_reading = calibration_line(100, Sensor(u_nm=10)), calibration_line(100, Sensor(u_relative=0.01))
    assert of_scale is not None
    assert of_reading is not None
    assert (of_scale.u_nm, of_reading.u_nm) == (pytest.approx(10), pytest.approx(1))


def test_limits_are_a_rectangular_distribution() -> None:
    """GUM 4.4.5 (from memory): a half-width of 4 degrees has a standard uncertainty of 2.3."""
    assert rectangular("limits", 4.0).u_nm == pytest.approx(2.3, abs=0.05)


def test_a_pooled_standard_deviation() -> None:
    """GUM H.3.6 and 4.2.4 (from memory, recomputed): 9 and 4 degrees of freedom, 2.0 and 3.0 %: the root of (36 + 36)/13."""
    found = pool(OwnScatter(squares=4 * 0.03**2, degrees_of_freedom=4), Scatter(0.02, 9.0))
    assert found.relative == pytest.approx(math.sqrt((9 * 0.02**2 + 4 * 0.03**2) / 13))


@given(st.lists(st.floats(1e-4, 50), min_size=1, max_size=8))
def test_combination_is_that_of_the_uncertainties_library(parts: list[float]) -> None:
    """Reference: the `uncertainties` library, sum of independent quantities."""
    reference = sum(uncertainties.ufloat(0, part) for part in parts)
    assert combine(lines(*((part, None) for part in parts))).u_nm == pytest.approx(reference.std_dev, rel=1e-12)


@given(
    torque=st.floats(1, 500), u_relative=st.floats(1e-4, 0.05), u_nm=st.floats(1e-4, 2), arm_share=st.floats(1e-4, 0.02)
)  # fmt: skip
def test_calibration_is_propagated_as_the_library_does(torque: float, u_relative: float, u_nm: float, arm_share: float) -> None:
    """Reference: `uncertainties`. Reading = indication x gain + zero, times an arm length known to a share; all independent."""
    gain, zero, arm = (uncertainties.ufloat(v, u) for v, u in ((1, u_relative), (0, u_nm), (1, arm_share)))
    reference = (torque * gain + zero) * umath.exp(umath.log(arm))
    line = calibration_line(torque, Sensor(u_nm=u_nm, u_relative=u_relative))
    assert line is not None
    found = combine([line, BudgetLine("arm", torque * arm_share)])
    assert found.u_nm == pytest.approx(reference.std_dev, rel=1e-9)
