"""Springs and lines: laws that hold for any dimensions."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.pack.cup_springs import SpringShape, formula_load_n, formula_rate_n_per_mm, load_and_rate
from analysis.pack.line import Group, settle

thicknesses = st.floats(1.0, 4.0)
slopes = st.floats(0.2, 1.3)  # cone height over thickness, below the limit at which the load falls


def shape(thickness, slope, late=0.1):
    return SpringShape(95.0, 60.0, thickness, slope * thickness, late_rise=late)


@given(thicknesses, st.floats(0.2, 2.5), st.floats(0.0, 1.0))
def test_the_formula_is_point_symmetric_about_flat(thickness, slope, x):
    one = shape(thickness, slope)
    h0 = slope * thickness
    both = formula_load_n(one, h0 * (1 - x)) + formula_load_n(one, h0 * (1 + x))
    assert both == pytest.approx(2.0 * formula_load_n(one, h0), rel=1e-9)


@given(thicknesses, slopes, st.floats(0.02, 0.98))
def test_the_rate_is_the_slope_of_the_load(thickness, slope, share):
    one = shape(thickness, slope)
    at, step = share * slope * thickness, 1e-5
    below, above = (load_and_rate(one, np.array([at + d]))[0][0] for d in (-step, step))
    assert load_and_rate(one, np.array([at]))[1][0] == pytest.approx((above - below) / (2 * step), rel=1e-3)
    assert formula_rate_n_per_mm(one, at) > 0.0


@given(thicknesses, slopes)
def test_the_load_rises_from_nothing_and_never_falls_on_the_way_to_flat(thickness, slope):
    loads, _ = load_and_rate(shape(thickness, slope), np.linspace(-0.5, slope * thickness + 0.2, 200))
    assert loads[0] == 0.0
    assert np.all(np.diff(loads) >= -1e-9)


@given(thicknesses, slopes, st.floats(0.0, 0.9), st.floats(5e-6, 2e-5))
def test_a_line_shares_its_interference_out_and_carries_one_load(thickness, slope, share, compliance):
    soft, stiff = shape(thickness, slope), shape(1.1 * thickness, 0.9 * slope)
    groups = [Group(soft, 1.0), Group(stiff, 1.0)]
    total = np.array([[share * (slope * thickness + 0.99 * slope * thickness)]])
    state = settle(groups, compliance, total)
    load = state.load_n[0, 0]
    assert sum(part[0, 0] for part in state.deflection_mm) + load * compliance == pytest.approx(total[0, 0], abs=1e-4)
    for group, part in zip(groups, state.deflection_mm, strict=True):
        assert group.load_and_rate(part)[0][0, 0] == pytest.approx(load, rel=2e-3, abs=1.0)


def test_with_play_nothing_is_carried():
    state = settle([Group(shape(2.0, 0.8), 1.0)], 1e-5, np.array([[-0.3, -0.01]]))
    assert state.load_n.tolist() == [[0.0, 0.0]]
    assert state.rate_n_per_mm.tolist() == [[0.0, 0.0]]


def test_a_measured_curve_stands_in_for_the_formula_and_ends_at_its_last_row():
    curve = (np.array([0.0, 0.5, 1.0]), np.array([0.0, 800.0, 1400.0]))
    state = settle([Group(shape(2.0, 0.8), 1.0, curve)], 0.0, np.array([[0.25, 0.75]]))
    assert state.load_n[0] == pytest.approx([400.0, 1100.0])
    assert Group(shape(2.0, 0.8), 1.0, curve).cone_mm == pytest.approx(1.0)
