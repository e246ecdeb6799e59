"""Bearings, backlash and bolts against the world: figures of handbooks and of mechanics, each with its source."""

import itertools
import math

import pytest

from analysis.refit.backlash import judge_backlash
from analysis.refit.bearing_gap import BearingReadings, Form, choose_shims
from analysis.refit.drag import judge_drag
from analysis.refit.fasteners import order_of_pass
from analysis.refit.limits import Limits, State, mean_of
from rig.refit.words import APPLIED_ONLY


def test_bolts_of_a_wheel_or_cover_go_crosswise():
    # Common practice in workshop manuals, no single source: four, five and six bolts are drawn as a cross or a star. A star of five
    # skips one bolt each time; four and six go across, so that the cover is never drawn down on one side.
    assert order_of_pass(4) == (1, 3, 2, 4)
    five = order_of_pass(5)
    assert all((b - a) % 5 in (2, 3) for a, b in itertools.pairwise(five))
    assert [abs(a - b) for a, b in zip(order_of_pass(6)[::2], order_of_pass(6)[1::2], strict=True)] == [3, 3, 3]


def test_torque_is_not_tension():
    # T = K d F (T. H. Wentzell, Machine Design, ex. 6.1: K 0.2, 3/4 in, 85 % of 85 ksi on 0.334 in^2: 3619.73 lbf.in; read in an
    # open collection of recalculated textbook examples). With K 0.15 (lubricated, ex. 6.4) the same torque gives a third more
    # force: the same peak, another bolt. So a peak is judged as torque, and the answer says what it does not show.
    force = 0.85 * 85_000 * 0.334
    torque = 0.2 * 0.75 * force
    assert torque == pytest.approx(3619.73, abs=0.006)
    assert torque / (0.15 * 0.75) / force == pytest.approx(4 / 3)
    assert "not the force" in APPLIED_ONLY


def test_shims_moved_across_keep_their_sum():
    # Shim arithmetic (L-sum): carrier shims 1.30 and 1.45, ring gear moved by 0.07: 1.23 and 1.52, sum 2.75.
    move = judge_backlash([0.11] * 4, window=Limits(0.13, 0.19), u_mm=0.006, backlash_per_shim=0.05 / 0.07).move_mm
    left, right = 1.30 - move, 1.45 + move
    assert (left, right, left + right) == pytest.approx((1.23, 1.52, 2.75))


@pytest.mark.parametrize(
    ("alpha_deg", "pinion", "ring", "opened_mm"), [(20.0, 11, 41, 0.03515380437326358), (22.5, 9, 37, 0.04024778993482368)]
)
def test_a_straight_bevel_pair_opens_by_its_cone(alpha_deg, pinion, ring, opened_mm):
    # Straight bevel pair at 90 deg: moving the gear along its axis by dx opens the backlash by 2 dx tan(alpha) sin(delta),
    # delta the gear's pitch cone angle (L-bev; formula from memory, geometry rederived; spiral and hypoid sets differ). The
    # sheet's `per_shim` is that slope, and the move asked for must undo the opening.
    dx = 0.05
    slope = 2 * math.tan(math.radians(alpha_deg)) * math.sin(math.atan2(ring, pinion))
    assert slope * dx == pytest.approx(opened_mm, rel=1e-9)
    found = judge_backlash([0.18 + opened_mm] * 4, window=Limits(0.13, 0.23), u_mm=0.006, backlash_per_shim=slope)
    assert found.move_mm == pytest.approx(-dx)


def test_backlash_is_an_angle_so_a_dial_off_the_pitch_radius_is_scaled():
    # Arc over radius (L-ang): 0.15 mm at 90 mm are 0.0955 deg, wherever the dial stands.
    at_dial = math.radians(0.0954929658551372) * 75.0
    found = judge_backlash([at_dial] * 4, window=None, u_mm=0.006, gear_over_dial=90.0 / 75.0)
    assert found.mean_mm == pytest.approx(0.15, rel=1e-9)


def test_drag_by_a_cord_on_the_flange():
    # Force times radius (L-drag): 36 N at 65 mm are 2.34 N.m; a spring balance good to 0.5 N (standard) there is 0.033 N.m.
    found = judge_drag([36 * 0.065], window=Limits(2.3, 3.4), sensor_u_nm=0.5 * 0.065)
    assert found.mean_nm == pytest.approx(2.34)
    assert found.state is State.UNDECIDED  # 2.34 is above 2.3, but not by its uncertainty


def test_the_end_play_of_a_cone_bearing_is_read_along_the_axis():
    # Cone geometry (L-cone): 0.02 mm of radial play at a contact angle of 15 deg shows as 0.0746 mm along the axis, which is what
    # the dial reads and the shims have to take up.
    play = 0.02 / math.tan(math.radians(15))
    assert play == pytest.approx(0.07464101615137755, rel=1e-9)
    sheet = BearingReadings(
        form=Form.END_PLAY, readings=(play,), wanted=Limits(0.05, 0.11), shims_now=(1.0,), spread_max_mm=0.05, u_mm=0.006
    )
    assert choose_shims(sheet).needed_mm == pytest.approx(1.0 + play + 0.08)


def test_the_mean_of_readings_is_that_of_the_gum():
    # JCGM 100:2008, 4.2.3: the variance of a mean is s^2/n; 5.1.2: independent parts add in quadrature. The larger of
    # s and u averages, the instrument's own u does not (the contract's rule).
    readings = [0.11, 0.13, 0.12, 0.12]
    s = math.sqrt(sum((each - 0.12) ** 2 for each in readings) / 3)
    assert mean_of(readings, 0.006).u == pytest.approx(math.sqrt(s**2 / 4 + 0.006**2))


def test_conformance_probability_as_in_jcgm_106():
    # JCGM 106:2012, 7.2 and 8.3.2: a value exactly on a limit conforms with probability 1/2; with guard band U = 2 u, one accepted
    # at the edge conforms with 97.7 % (one-sided).
    window = Limits(0.15, None)
    assert window.probability(0.15, 0.01) == pytest.approx(0.5)
    assert window.state(0.17, 0.02) is State.IN_WINDOW
    assert window.probability(0.17, 0.01) == pytest.approx(0.97725, abs=1e-5)
