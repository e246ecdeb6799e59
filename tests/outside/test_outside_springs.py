"""Cup springs against EN 16983, EN 16984 and derived cases; values and their sources stand beside each."""

import numpy as np
import pytest

from analysis.pack.cup_springs import (
    SpringShape,
    diameter_factor,
    flats_factor,
    formula_load_n,
    formula_rate_n_per_mm,
)
from analysis.pack.line import Group, settle

# Table loads at about 75 % of the cone height: DIN 2093 / EN 16983, dimension series A, B, C; from memory, recomputed. The
# deflection is the table's, rounded to 0.01 mm. Outer and inner diameter, thickness, cone height, deflection in mm, load in N.
TABLE = [
    (8.0, 4.2, 0.4, 0.2, 0.15, 210.0),
    (12.5, 6.2, 0.7, 0.3, 0.23, 673.0),
    (25.0, 12.2, 1.5, 0.55, 0.41, 2910.0),
    (31.5, 16.3, 1.75, 0.7, 0.53, 3900.0),
    (40.0, 20.4, 2.25, 0.9, 0.68, 6540.0),
    (63.0, 31.0, 3.5, 1.4, 1.05, 15000.0),
    (10.0, 5.2, 0.4, 0.3, 0.23, 213.0),
    (20.0, 10.2, 0.8, 0.55, 0.41, 745.0),
    (40.0, 20.4, 1.5, 1.15, 0.86, 2620.0),
    (50.0, 25.4, 2.0, 1.4, 1.05, 4760.0),
    (80.0, 41.0, 3.0, 2.3, 1.73, 10500.0),
    (20.0, 10.2, 0.5, 0.65, 0.49, 254.0),
    (31.5, 16.3, 0.8, 1.05, 0.79, 687.0),
    (50.0, 25.4, 1.25, 1.6, 1.2, 1550.0),
    (71.0, 36.0, 2.0, 2.6, 1.95, 5140.0),
]
# Springs with contact flats: DIN 2093 series A, group 3; dimensions and loads from memory. Thickness before and after, free height.
WITH_FLATS = [(80.0, 41.0, 5.0, 4.7, 6.7, 1.28, 33600.0), (100.0, 51.0, 6.0, 5.6, 8.2, 1.65, 48000.0)]
# Factor K1 for De/Di: DIN 2092 / EN 16984, from memory.
K1 = [(1.2, 0.29), (1.4, 0.46), (1.6, 0.57), (2.0, 0.69), (2.5, 0.76), (4.0, 0.80)]

B40 = SpringShape(40.0, 20.4, 1.5, 1.15)


@pytest.mark.parametrize(("outer", "inner", "thickness", "cone", "deflection", "load"), TABLE)
def test_table_loads(outer, inner, thickness, cone, deflection, load):
    assert formula_load_n(SpringShape(outer, inner, thickness, cone), deflection) == pytest.approx(load, rel=0.005)


@pytest.mark.parametrize(("outer", "inner", "before", "reduced", "free", "deflection", "load"), WITH_FLATS)
def test_springs_with_contact_flats_carry_what_the_table_says(outer, inner, before, reduced, free, deflection, load):
    # The reduced thickness is chosen so that the load at 75 % is that of the full thickness; the table rounds it to 0.1 mm.
    shape = SpringShape(outer, inner, reduced, free - reduced, flats_factor(before, reduced, free))
    assert formula_load_n(shape, deflection) == pytest.approx(load, rel=0.01)


def test_nothing_ground_off_is_no_flats():
    assert flats_factor(2.0, 2.0, 3.0) == pytest.approx(1.0)


@pytest.mark.parametrize(("ratio", "factor"), K1)
def test_diameter_factor(ratio, factor):
    assert diameter_factor(ratio) == pytest.approx(factor, abs=0.006)


def test_approximate_factor_of_a_textbook():
    # M = 6/(pi ln C) ((C-1)/C)^2 against K1 at C = 1.75: a machine-design text's example 10.26 of an open textbook-companion
    # collection (FOSSEE, IIT Bombay), read there; recomputed.
    assert diameter_factor(1.75) == pytest.approx(0.630106160093444, rel=1e-9)


def test_load_at_flat():
    # F = 4E/(1-nu^2) t^3 h0/(K1 De^2): derived from EN 16984, recomputed.
    assert formula_load_n(B40, 1.15) == pytest.approx(3201.2702134905476, rel=1e-9)


def test_rate_and_the_limit_of_no_rise():
    # dF/ds of series B 31.5 at 0.5 mm, derived; h0/t = sqrt(2) does not rise at flat (well-known limit).
    assert formula_rate_n_per_mm(SpringShape(31.5, 16.3, 1.25, 0.9), 0.5) == pytest.approx(2344.8046881841956, rel=1e-6)
    limit = SpringShape(40.0, 20.4, 1.0, np.sqrt(2.0))
    assert formula_rate_n_per_mm(limit, np.sqrt(2.0)) == pytest.approx(0.0, abs=1e-3)


def test_nested_and_opposed_stacks():
    # Stacking rule of EN 16984, friction neglected: nested springs add load, opposed ones deflection; B 40 at 0.6 mm a spring.
    nested = settle([Group(B40, 2.0)], 0.0, np.array([[0.6]]))
    assert nested.load_n[0, 0] == pytest.approx(4034.528373407797, rel=1e-9)
    opposed = settle([Group(B40, 1.0)] * 3, 0.0, np.array([[1.8]]))
    assert opposed.load_n[0, 0] == pytest.approx(2017.2641867038985, rel=1e-6)
    assert [part[0, 0] for part in opposed.deflection_mm] == pytest.approx([0.6, 0.6, 0.6])


def test_a_tenth_of_shim_on_two_opposed_springs():
    # 0.10 mm more makes 0.05 mm a spring: change of load derived from the equation.
    loads = settle([Group(B40, 1.0)] * 2, 0.0, np.array([[1.2, 1.3]])).load_n[0]
    assert loads[1] - loads[0] == pytest.approx(123.87523569593838, rel=1e-5)
