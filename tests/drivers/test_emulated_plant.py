"""The mechanics of the simulated bench against closed forms that it does not contain.

Stick-slip of one inertia drawn through a spring at constant speed over static and kinetic friction, no damping: torque falls by
2 (Ts - Tk), to 2 Tk - Ts, in the slip time 2/w (pi - atan(dT w / (k Omega))) with w = sqrt(k/J), and a cycle turns the driver by
2 dT / k plus what it turns meanwhile. Source: classical result (E. Rabinowicz, Friction and Wear of Materials; B. Persson, Sliding
Friction); the numbers below are in closed form, confirmed by an event-driven integration that is not ours.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.emulated.plant import STEP_S, Arrangement, Frame, Pack, Plant, Record

FEW = settings(max_examples=15, deadline=None)


def coulomb(kinetic_nm: float, static_nm: float) -> Pack:
    """Friction that falls from static to kinetic at once."""
    return Pack(kinetic_nm=kinetic_nm, static_over_kinetic=static_nm / kinetic_nm, stribeck_rad_s=1e-5, ageing_share=0.0)


def one_inertia(stiffness: float, inertia: float, damping: float = 0.0) -> Frame:
    """The bench as one inertia behind one spring: two equal springs in line, with next to no mass between (more where damped)."""
    return Frame(
        arrangement=Arrangement.ONE_PACK,
        arm_nm_rad=2 * stiffness,
        arm_damping_nm_s=damping,
        adapter_nm_rad=2 * stiffness,
        adapter_damping_nm_s=damping,
        lever_kgm2=max(1e-4, inertia * (0.05 if damping else 2e-3)),
        rotor_kgm2=inertia,
    )


def drawn(frame: Frame, left: Pack, right: Pack, deg_s: float, seconds: float, rest_s: float = 0.0) -> dict[str, np.ndarray]:
    """What happens when the hand moves steadily."""
    plant, record = Plant(frame, left, right), Record()
    plant.rest(rest_s)
    plant.run(round(seconds / STEP_S), math.radians(deg_s), 1.0, 0.0, record)
    names = ("torque_nm", "lever_rad", "rotor_rad", "other_rad", "stuck")
    return {name: np.array(getattr(record, name)) for name in names}


def slips(stuck: np.ndarray) -> np.ndarray:
    """Steps at which the rotor lets go."""
    return np.flatnonzero(stuck[:-1] & ~stuck[1:])


@pytest.mark.parametrize(
    ("static", "kinetic", "stiffness", "inertia", "deg_s", "drop", "lowest", "slip_s", "frequency", "deg_per_cycle"),
    [
        (60, 50, 700, 0.12, 10, 20, 40, 0.04528670, 4.784942, 2.089889),
        (60, 50, 700, 0.12, 1, 20, 40, 0.04155195, 0.5957437, 1.678574),
        (90, 75, 1200, 0.10, 5, 30, 60, 0.02984067, 3.161360, 1.581598),
    ],
)
def test_stick_slip_is_the_closed_form(static, kinetic, stiffness, inertia, deg_s, drop, lowest, slip_s, frequency, deg_per_cycle):
    pack = coulomb(kinetic, static)
    seen = drawn(one_inertia(stiffness, inertia), pack, pack, deg_s, 4 / frequency + math.degrees(static / stiffness) / deg_s)
    lets_go = slips(seen["stuck"])
    sticks = slips(~seen["stuck"])
    sticks = sticks[sticks > lets_go[0]]
    assert len(lets_go) >= 3
    trough = seen["torque_nm"][lets_go[0] : lets_go[1]].min()
    assert seen["torque_nm"][lets_go[1]] - trough == pytest.approx(drop, rel=0.03)
    assert trough == pytest.approx(lowest, rel=0.01)
    assert (sticks[0] - lets_go[0]) * STEP_S == pytest.approx(slip_s, rel=0.01)
    assert 1 / (np.diff(lets_go).mean() * STEP_S) == pytest.approx(frequency, rel=0.01)
    turned = np.degrees(np.diff(seen["rotor_rad"][lets_go]))
    assert turned.mean() == pytest.approx(deg_per_cycle, rel=0.01)


@FEW
@given(
    kinetic=st.floats(15, 120),
    ratio=st.floats(1.1, 1.5),
    stiffness=st.floats(300, 1500),
    inertia=st.floats(0.02, 0.15),
)
def test_torque_falls_by_twice_the_difference(kinetic, ratio, stiffness, inertia):
    pack = coulomb(kinetic, kinetic * ratio)
    deg_s = 4.0
    until_first = math.degrees(kinetic * ratio / stiffness) / deg_s
    seen = drawn(one_inertia(stiffness, inertia), pack, pack, deg_s, until_first + 3.5 * math.pi * math.sqrt(inertia / stiffness))
    first = slips(seen["stuck"])[0]
    fall = seen["torque_nm"][first] - seen["torque_nm"][first:].min()
    # Drawn at a speed, the trough lies a little deeper: the full swing is sqrt(dT² + (Z Omega)²) about Tk, Z = sqrt(k J).
    difference = kinetic * (ratio - 1)
    swing = math.hypot(difference, math.sqrt(stiffness * inertia) * math.radians(deg_s))
    assert 2 * difference * 0.97 - 0.2 <= fall <= (difference + swing) * 1.03 + 0.5


def test_rate_goes_with_speed_while_the_pull_is_slow():
    """Lever angle per cycle is nearly constant then (trade notes, 5.1)."""
    pack = coulomb(50, 60)
    rates = []
    for deg_s in (1.0, 2.0, 4.0):
        seen = drawn(one_inertia(700, 0.02), pack, pack, deg_s, 5 + 8 / deg_s)
        rates.append(1 / (np.diff(slips(seen["stuck"])).mean() * STEP_S))
    assert rates[1] / rates[0] == pytest.approx(2, rel=0.03)
    assert rates[2] / rates[0] == pytest.approx(4, rel=0.06)


@FEW
@given(kinetic=st.floats(10, 120), ratio=st.floats(0.8, 1.0), deg_s=st.floats(2, 60))
def test_nothing_sticks_again_once_static_is_no_more_than_kinetic(kinetic, ratio, deg_s):
    pack = Pack(kinetic_nm=kinetic, static_over_kinetic=ratio, ageing_share=0.0)
    frame = one_inertia(700, 0.05, damping=2.0)
    seen = drawn(frame, pack, pack, deg_s, math.degrees(kinetic / 700) / deg_s + 1.0)
    assert len(slips(seen["stuck"])) == 1


def test_additive_quiets_the_same_plates():
    grabby = Pack(kinetic_nm=50, static_over_kinetic=1.25, stribeck_rad_s=0.015, ageing_share=0.005)
    plain = drawn(one_inertia(700, 0.05), grabby, grabby, 8.0, 3.0, rest_s=30)
    modified = grabby.in_oil(1.0)
    quiet = drawn(one_inertia(700, 0.05, damping=2.0), modified, modified, 8.0, 3.0, rest_s=30)
    assert len(slips(plain["stuck"])) > 5
    assert len(slips(quiet["stuck"])) == 1
    assert quiet["torque_nm"].max() < plain["torque_nm"].max()


@pytest.mark.parametrize(("share_of_slope", "steady"), [(2.0, True), (0.3, False)])
def test_falling_friction_excites_unless_damped(share_of_slope, steady):
    """Linear stability of one sliding inertia: unstable where dT/dw < -c (sign rule, derived in closed form)."""
    speed, falling = math.radians(12), 0.1
    pack = Pack(kinetic_nm=50, static_over_kinetic=1.2, stribeck_rad_s=falling, ageing_share=0.0)
    slope = 50 * 0.2 / falling * math.exp(-speed / falling)
    frame = Frame(
        arrangement=Arrangement.ONE_PACK,
        arm_nm_rad=600,
        arm_damping_nm_s=share_of_slope * slope,
        lever_kgm2=0.03,
        rotor_kgm2=0.02,
        adapter_nm_rad=20000,
        adapter_damping_nm_s=60.0,
    )
    plant, record = Plant(frame, pack, pack), Record()
    for tenth in range(40):  # comes down from a speed at which all is steady
        plant.run(round(0.1 / STEP_S), speed * max(1.0, 5 - tenth / 4), 1.0, 0.0, record)
    del record.torque_nm[:], record.stuck[:]
    plant.run(round(4 / STEP_S), speed, 1.0, 0.0, record)
    assert (len(slips(np.array(record.stuck))) == 0) is steady


@FEW
@given(left=st.floats(5, 80), right=st.floats(5, 80))
def test_arrangements_read_what_the_energy_balance_says(left, right):
    """A: (ML + MR) / 2, B: ML + MR, one pack: ML (trade notes, 2.1; derived there from speeds alone)."""
    read = {}
    for arrangement in Arrangement:
        frame = Frame(arrangement=arrangement, arm_damping_nm_s=15.0, lash_rad=0.005)
        packs = [Pack(kinetic_nm=nm, static_over_kinetic=1.0, ageing_share=0.0) for nm in (left, right)]
        seen = drawn(frame, *packs, 12.0, (left + right) / 600 / 0.2 + 1.2)
        steady = slice(-round(0.3 / STEP_S), None)
        work = (seen["torque_nm"] * np.gradient(seen["lever_rad"]))[steady].sum()
        read[arrangement] = work / np.gradient(seen["lever_rad"])[steady].sum()
    assert read[Arrangement.CASE_FREE] == pytest.approx((left + right) / 2, rel=0.005)
    assert read[Arrangement.CASE_HELD] == pytest.approx(left + right, rel=0.005)
    assert read[Arrangement.ONE_PACK] == pytest.approx(left, rel=0.005)


@pytest.mark.parametrize(("arrangement", "step_nm"), [(Arrangement.CASE_FREE, 30.0), (Arrangement.CASE_HELD, 70.0)])
def test_bevel_lash_makes_a_first_step(arrangement, step_nm):
    """A: the weaker pack alone until the lash closes; B: the pack on the turned side alone (trade notes, 2.2)."""
    lash = math.radians(2.0)
    packs = [Pack(kinetic_nm=nm, static_over_kinetic=1.0, ageing_share=0.0) for nm in (70.0, 30.0)]
    seen = drawn(Frame(arrangement=arrangement, lash_rad=lash, arm_damping_nm_s=15.0), *packs, 6.0, 3.0)
    crossing = (seen["rotor_rad"] > 0.1 * lash) & (seen["rotor_rad"] < 0.45 * lash)
    assert np.median(seen["torque_nm"][crossing]) == pytest.approx(step_nm, rel=0.03)


def test_slack_is_crossed_without_torque():
    pack = coulomb(50, 50)
    seen = drawn(Frame(slack_rad=0.1), pack, pack, 10.0, 1.0)
    inside = np.abs(seen["lever_rad"] - seen["rotor_rad"]) < 0.05
    assert inside.sum() > 100
    assert (seen["torque_nm"][inside] == 0).all()


def test_energy_wound_up_at_breakaway():
    """A linear torsion spring at 60 N.m and 700 N.m/rad holds T²/(2k) = 2.5714 J (closed form)."""
    pack = coulomb(50, 60)
    deg_s = 0.5
    seen = drawn(one_inertia(700, 0.12), pack, pack, deg_s, 1.02 * math.degrees(60 / 700) / deg_s)
    until = slips(seen["stuck"])[0]
    work = (seen["torque_nm"][:until] * math.radians(deg_s) * STEP_S).sum()
    assert work == pytest.approx(2.571429, rel=0.005)


def test_what_the_step_could_not_follow_is_refused():
    with pytest.raises(ValueError, match="too light"):
        Frame(rotor_kgm2=1e-6)


def test_breakaway_grows_with_the_logarithm_of_rest():
    """Static friction rises with dwell time (B. Armstrong-Hélouvry et al., Automatica 30, 1994), here as its logarithm."""
    pack = Pack(kinetic_nm=50, static_over_kinetic=1.0, ageing_share=0.02)
    peaks = [
        drawn(one_inertia(700, 0.05, damping=2.0), pack, pack, 20.0, 0.6, rest_s=rest)["torque_nm"].max()
        for rest in (10, 100, 1000)
    ]
    assert peaks[0] < peaks[1] < peaks[2]
    assert peaks[2] - peaks[1] == pytest.approx(peaks[1] - peaks[0], rel=0.05)


@FEW
@given(left=st.floats(10, 60), right=st.floats(10, 60), slack=st.floats(0, 0.1), lash=st.floats(0, 0.02))
def test_the_other_way_round_is_the_mirror(left, right, slack, lash):
    packs = [Pack(kinetic_nm=nm, static_over_kinetic=1.1) for nm in (left, right)]
    frame = Frame(slack_rad=slack, lash_rad=lash)
    there, back = (drawn(frame, *packs, sign * 15.0, 1.0) for sign in (1, -1))
    np.testing.assert_allclose(there["torque_nm"], -back["torque_nm"], atol=1e-9)
