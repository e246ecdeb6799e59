"""The simulator that readings are held against, held itself against closed forms and conservation of energy.

Stick-slip of a body on a spring drawn at constant speed (classical, from memory; source and values as in
test_outside_stick_slip): drop 2(Ts - Tk) from slip to
stick, period 2 dT/(k W) + 2/w (pi - atan(dT w/(k W))). Work of the hand = heat in the plates + what springs and inertias hold.
"""

import numpy as np
import pytest
from support.pull_physics import COMMAND_S, RECORD_S, Hand, Motion, Rig, Unit, run
from support.pullset import simulate

REST_S = 0.2


def drawn(static: float, kinetic: float, stiffness: float, inertia: float, speed_deg_s: float, length_s: float) -> Motion:
    """The simulator as the textbook's body: a hand as good as rigid, friction that knows only two levels."""
    unit = Unit(
        kinetic_nm=kinetic, excess=0.0, stribeck=static / kinetic - 1, stribeck_rad_s=1e-4, viscous_s=0.0, rotor_kg_m2=inertia
    )
    rig = Rig(adapter_nm_rad=stiffness, adapter_nms_rad=0.0, slack_rad=0.0, lever_kg_m2=0.02, arm_nm_rad=1e6, arm_nms_rad=200.0)
    ticks = round((REST_S + length_s) / COMMAND_S)
    speed = np.where(np.arange(ticks) * COMMAND_S < REST_S, 0.0, np.radians(speed_deg_s))
    hand = Hand(speed, np.ones(ticks), np.zeros(ticks), np.zeros(ticks))
    return run([unit], [rig], [hand])[0]


@pytest.mark.parametrize(
    ("static", "kinetic", "stiffness", "inertia", "speed"),
    [(60, 50, 700, 0.12, 10), (90, 75, 1200, 0.1, 5), (60, 50, 700, 0.0005, 10)],
)
def test_textbook_stick_slip(static: float, kinetic: float, stiffness: float, inertia: float, speed: float) -> None:
    motion = drawn(static, kinetic, stiffness, inertia, speed, 3.0)
    slips = np.flatnonzero(motion.stands[:-1] & ~motion.stands[1:])
    sticks = np.flatnonzero(~motion.stands[:-1] & motion.stands[1:])
    w, pull, drop = np.sqrt(stiffness / inertia), stiffness * np.radians(speed), static - kinetic
    period = 2 * drop / pull + 2 / w * (np.pi - np.arctan(drop * w / pull))
    assert np.diff(slips[1:]).mean() * RECORD_S == pytest.approx(period, rel=0.005)
    assert motion.torque_nm[slips[1:]] == pytest.approx(static, rel=0.005)
    assert motion.torque_nm[sticks[sticks > slips[1]] + 1] == pytest.approx(2 * kinetic - static, rel=0.01)


def test_work_of_the_hand_is_heat_and_store() -> None:
    """Adapter work integral T d(lever - rotor) must return to what the spring holds; the rest is heat at the kinetic level."""
    motion = drawn(60, 50, 700, 0.02, 15, 3.0)
    lever, rotor, torque = (a.astype(float) for a in (motion.lever_rad, motion.rotor_rad, motion.torque_nm))
    middle = (torque[1:] + torque[:-1]) / 2
    into = float((middle * np.diff(lever)).sum())
    heat = 50.0 * float(rotor[-1] - rotor[0])
    kept = torque[-1] ** 2 / (2 * 700) + 0.5 * 0.02 * ((rotor[-1] - rotor[-2]) / RECORD_S) ** 2
    assert into == pytest.approx(heat + kept, rel=0.005)


def test_a_seed_gives_the_same_pull_whatever_runs_beside_it() -> None:
    alone, (first, second) = simulate(1, 3, ["jerk"])[0], simulate(2, 3, ["jerk"])
    assert first.truth == alone.truth
    assert np.array_equal(first.trace.torque_nm, alone.trace.torque_nm)
    assert not np.array_equal(first.trace.torque_nm[:50], second.trace.torque_nm[:50])
