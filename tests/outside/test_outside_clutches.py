"""Torque of plate packs against textbook clutches; sources beside each.

All from the open textbook-companion collection (FOSSEE, IIT Bombay: contributors' recalculations of printed examples, the books
themselves not seen), recomputed.
"""

import math

import pytest

from analysis.pack.parts import PlateKind
from analysis.pack.stack import count_faces, mean_radius_pressure_mm, mean_radius_wear_mm, pack_torque_nm

O, I = PlateKind.OUTER, PlateKind.INNER  # noqa: E741


def closed_pack(outer, inner):
    """Plates by turns, the larger number outside; only plates rub on plates."""
    row = [O if n % 2 == 0 else I for n in range(outer + inner)]
    return row if outer > inner else [I if one is O else O for one in row]


def test_single_pair_by_both_rules():
    # Textbook no. 764, ex. 11.1 and 11.2: d 100, D 200 mm, mu 0.2, forces for 1 MPa by uniform wear and by uniform pressure.
    assert pack_torque_nm(0.2, 15707.963268, 1, mean_radius_wear_mm(100.0, 50.0)) == pytest.approx(235.619449019, rel=1e-6)
    assert pack_torque_nm(0.2, 23561.944902, 1, mean_radius_pressure_mm(100.0, 50.0)) == pytest.approx(366.519142919, rel=1e-6)


def test_five_steel_and_four_bronze_discs():
    # Textbook no. 764, ex. 11.8: eight faces, mu 0.1, 2650.72 N, d 75, D 150 mm, uniform wear.
    faces = count_faces(closed_pack(5, 4))
    assert faces == 8
    assert pack_torque_nm(0.1, 2650.718801, faces, mean_radius_wear_mm(75.0, 37.5)) == pytest.approx(119.282346066, rel=1e-6)


def test_seven_discs_with_uniform_pressure():
    # U. C. Jindal, Machine Design, ex. 22-5: six faces, radii 80/50 mm, mu 0.25, 15 kW at 1400 rev/min.
    faces = count_faces(closed_pack(4, 3))
    torque = 15_000.0 / (2.0 * math.pi * 1400.0 / 60.0)
    force = torque * 1000.0 / (0.25 * faces * mean_radius_pressure_mm(80.0, 50.0))
    assert faces == 6
    assert torque == pytest.approx(102.314, abs=6e-4)
    assert force == pytest.approx(1031.1, abs=0.06)


def test_three_driving_and_two_driven_discs():
    # R. S. Khurmi and J. K. Gupta, Theory of Machines, ex. 10.30: four faces, D 240, d 120 mm, mu 0.3, 25 kW at 1575 rev/min, new.
    faces = count_faces(closed_pack(3, 2))
    force = 25_000.0 / (2.0 * math.pi * 1575.0 / 60.0) * 1000.0 / (0.3 * faces * mean_radius_pressure_mm(120.0, 60.0))
    assert faces == 4
    assert force == pytest.approx(1353.0, abs=1.0)


def test_mean_radius_of_one_face():
    # T. H. Wentzell, Machine Design, ex. 16.1: mu 0.3, 120 lbf, radii 12 and 9 in: 378 lbf.in by the mean radius.
    radius_mm = mean_radius_wear_mm(12.0 * 25.4, 9.0 * 25.4)
    torque_nm = pack_torque_nm(0.3, 120.0 * 4.4482216152605, 1, radius_mm)
    assert torque_nm / 0.1129848290276 == pytest.approx(378.0, rel=1e-6)


def test_both_rules_are_near_each_other_for_narrow_rings():
    # Ratio of the effective radii for an inner over outer radius of 0.577: both standard formulas, derived.
    assert mean_radius_pressure_mm(1.0, 0.577) / mean_radius_wear_mm(1.0, 0.577) == pytest.approx(1.0239825905765705, rel=1e-9)
    # A small pack, made-up numbers: mu 0.13, 1500 N, eight faces, radii 55 and 40 mm.
    assert pack_torque_nm(0.13, 1500.0, 8, mean_radius_pressure_mm(55.0, 40.0)) == pytest.approx(74.71578947368421, rel=1e-9)
    assert pack_torque_nm(0.13, 1500.0, 8, mean_radius_wear_mm(55.0, 40.0)) == pytest.approx(74.1, rel=1e-9)
