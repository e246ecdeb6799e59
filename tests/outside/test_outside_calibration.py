"""Fits, gravity, dead weights and offset adapters against published figures; the source stands beside each."""

import pytest

from analysis.results import OffsetAdapter
from analysis.sensor.calibration import fit_polynomial
from analysis.sensor.dead_weight import STANDARD_GRAVITY, Arm, normal_gravity

# NIST Statistical Reference Datasets (StRD), Norris: calibration of ozone monitors (data as shipped with the SciPy library).
NORRIS_X = [
    0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0, 447.5, 11.6, 556.0,
    228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5,
]  # fmt: skip
NORRIS_Y = [
    0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3, 448.9, 10.8, 557.7,
    228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2,
]  # fmt: skip


def test_norris():
    fit = fit_polynomial(NORRIS_X, NORRIS_Y, (0, 1))
    assert fit.coefficients == pytest.approx((-0.262323073774029, 1.00211681802045), rel=1e-9)
    deviations = [fit.covariance[i][i] ** 0.5 for i in (0, 1)]
    assert deviations == pytest.approx([0.232818234301152, 0.000429796848199937], rel=1e-8)
    assert fit.deviation == pytest.approx(0.884796396144373, rel=1e-9)
    assert fit.degrees_of_freedom == 34
    assert sum(r**2 for r in fit.residuals) == pytest.approx(26.6173985294224, rel=1e-9)


def test_noint1():
    """NIST StRD, NoInt1: a line through the origin (slope and its SD as in tests of a Julia library; residual SD from memory)."""
    fit = fit_polynomial(range(60, 71), range(130, 141), (1,))
    assert fit.coefficients == pytest.approx((2.07438016528926,), rel=1e-10)
    assert fit.covariance[0][0] ** 0.5 == pytest.approx(0.0165289256198347, rel=1e-10)
    assert fit.deviation == pytest.approx(3.56753034006338, rel=1e-10)


def test_iso_ts_28037_line_with_known_uncertainties():
    """ISO/TS 28037:2010, 6.2 example (p. 13), as in the tests of the open GTC library (MSLNZ/GTC, v1.5.1); three decimals."""
    fit = fit_polynomial([1, 2, 3, 4, 5, 6], [3.3, 5.6, 7.1, 9.3, 10.7, 12.1], (0, 1), u_y=[0.5] * 6)
    assert fit.coefficients == pytest.approx((1.867, 1.757), abs=6e-4)
    assert fit.covariance[0][0] ** 0.5 == pytest.approx(0.465, abs=6e-4)
    assert fit.covariance[1][1] ** 0.5 == pytest.approx(0.120, abs=6e-4)
    assert fit.covariance[0][1] == pytest.approx(-0.050, abs=6e-4)
    assert fit.chi_squared == pytest.approx(1.665, abs=6e-4)
    # By hand: u² = u_a² + 2 x cov + x² u_b² at x = 3.5, where both parts meet: 0.5 / sqrt(6).
    assert fit.at(3.5)[1] == pytest.approx(0.5 / 6**0.5, rel=1e-9)


def test_quam_a5_calibration_line():
    """EURACHEM/CITAC Guide CG 4 (QUAM:2012), example A5: 5 solutions read three times (as documented with the GTC library)."""
    x = [0.1, 0.1, 0.1, 0.3, 0.3, 0.3, 0.5, 0.5, 0.5, 0.7, 0.7, 0.7, 0.9, 0.9, 0.9]
    y = [0.028, 0.029, 0.029, 0.084, 0.083, 0.081, 0.135, 0.131, 0.133, 0.18, 0.181, 0.183, 0.215, 0.23, 0.216]
    fit = fit_polynomial(x, y, (0, 1))
    assert fit.coefficients == pytest.approx((0.0087, 0.2410), abs=6e-5)
    (u_a, cov), (_, u_b) = [
        [abs(value) ** 0.5 if i == j else value for j, value in enumerate(row)] for i, row in enumerate(fit.covariance)
    ]
    assert (u_a, u_b) == pytest.approx((0.0029, 0.0050), abs=6e-5)
    assert cov / (u_a * u_b) == pytest.approx(-0.87, abs=6e-4)


@pytest.mark.parametrize(
    ("latitude_deg", "gravity"),
    [
        (0, 9.7803267715),  # Geodetic Reference System 1980 (Moritz 2000): equator and pole, as in open geodesy libraries' tests
        (90, 9.8321863685),
        (45, 9.8061992024865),  # from memory, recomputed
    ],
)
def test_normal_gravity_at_sea_level(latitude_deg, gravity):
    assert normal_gravity(latitude_deg) == pytest.approx(gravity, abs=6e-9)


def test_normal_gravity_a_kilometre_up():
    """308.5 mGal less (documentation of the open geopotential library 0.3.8, after Moritz 2000); 1 mGal is 1e-5 m/s²."""
    assert (normal_gravity(45) - normal_gravity(45, 1000)) * 1e5 == pytest.approx(308.5, abs=0.15)


def test_dead_weights():
    # Definition of torque at standard gravity (NIST SP 330): 10 kg on 0.5 m; 5 degrees off level lose 0.38 % (cosine).
    level = Arm(length_m=0.5, gravity=STANDARD_GRAVITY)
    assert level.torque_nm(10.0) == pytest.approx(49.03325, rel=1e-12)
    tilted = Arm(length_m=0.5, gravity=STANDARD_GRAVITY, tilt_deg=5.0)
    assert tilted.torque_nm(10.0) / level.torque_nm(10.0) == pytest.approx(0.9961947, abs=5e-8)


def test_offset_adapters():
    # US Army TM 9-254, adapter length compensation, fig. 45: 60 on a 12 in lever with a 2 in straight extension gives 70.
    assert 60.0 * OffsetAdapter(lever_m=12.0, length_m=2.0, angle_deg=0.0).factor == pytest.approx(70.0, abs=1e-9)
    # FAA AC 43.13-1B, ch. 7 (reference from memory): set 117.39 for 135 on a 10 in lever with a 1.5 in adapter.
    assert 117.39 * OffsetAdapter(lever_m=10.0, length_m=1.5, angle_deg=0.0).factor == pytest.approx(135.0, abs=0.006)
    # A common workshop example (public page): set 20 for 30 on a 12 in lever with a 6 in adapter.
    assert 20.0 * OffsetAdapter(lever_m=12.0, length_m=6.0, angle_deg=0.0).factor == pytest.approx(30.0, abs=1e-9)
    # US Army TM 9-254, angled extension: at 90 degrees nothing is added.
    assert 60.0 * OffsetAdapter(lever_m=0.5, length_m=0.05, angle_deg=90.0).factor == pytest.approx(60.0, abs=1e-9)
