"""Friction models from the literature as pulls: their known answers against our readings.

LuGre: C. Canudas de Wit, H. Olsson, K. J. Astrom, P. Lischinsky, IEEE Trans. Autom. Control 40(3), 1995, eqs. (3)-(5), parameters
of Table I (read in an open script that cites it). Steady sliding: Fc + (Fs - Fc) exp(-(v/vs)^2) + sigma2 v.

Rate and state: ageing law, A. Ruina, J. Geophys. Res. 88 (1983) 10359-10370 and J. H. Dieterich (1979); step response printed by
the open repository jrleeman/rsfmodel, test series (read there). It rings after a speed step although stable: no chatter, no
breakaway.
"""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from analysis.pull.reading import read_pull
from analysis.trace import Trace

S0, S1, S2, FC, FS, VS = 1e5, np.sqrt(1e5), 0.4, 1.0, 1.5, 1e-3
TORQUE_PER_FORCE = 40.0  # a bench's size instead of one newton; the model is linear in it
RATE_HZ = 1000.0


def lugre_drawn(stiffness: float, mass: float, speed: float, length_s: float) -> tuple[np.ndarray, np.ndarray]:
    """Time and spring force of a mass drawn through a spring at constant speed, from rest, friction by LuGre."""

    def slope(t: float, y: np.ndarray) -> list[float]:
        x, v, z = y
        g = FC + (FS - FC) * np.exp(-((v / VS) ** 2))
        dz = v - abs(v) * z * S0 / g
        friction = S0 * z + S1 * dz + S2 * v
        return [v, (stiffness * (speed * t - x) - friction) / mass, dz]

    at = np.arange(0, length_s, 1 / RATE_HZ)
    found = solve_ivp(slope, (0, length_s), [0.0, 0.0, 0.0], method="LSODA", t_eval=at, rtol=1e-6, atol=1e-9, max_step=0.01)
    assert found.success
    return at, stiffness * (speed * at - found.y[0])


def as_pull(force: np.ndarray, noise: float = 0.02) -> Trace:
    """One second of rest, the pull, let go, rest; angle proportional to the drive."""
    rest = np.zeros(round(RATE_HZ))
    torque = np.concatenate([rest, TORQUE_PER_FORCE * force, rest])
    angle = np.concatenate([rest, np.arange(force.size) * 20.0 / RATE_HZ, np.full(rest.size, force.size * 20.0 / RATE_HZ)])
    torque = torque + noise * np.random.default_rng(1).standard_normal(torque.size)
    return Trace(np.arange(torque.size) / RATE_HZ, torque, np.round(angle, 2))


@pytest.mark.parametrize(("speed", "expected"), [(0.005, 1.0020000000069), (0.1, 1.04)])
def test_lugre_steady_sliding(speed: float, expected: float) -> None:
    """Listed values 1.00200 N at 5 mm/s and 1.04000 N at 0.1 m/s, on a spring stiff enough to slide without sticking."""
    _, force = lugre_drawn(stiffness=1.5 / (speed * 0.8), mass=0.002, speed=speed, length_s=5.0)
    result = read_pull(as_pull(force))
    assert result.sliding is not None
    if result.chatter.present is False:
        assert result.sliding.torque_nm == pytest.approx(TORQUE_PER_FORCE * expected, rel=0.005)
    else:
        # Stick-slip of the model itself (soft spring): the mean over angle cannot lie outside kinetic and static level.
        assert TORQUE_PER_FORCE * (2 * FC - FS) < result.sliding.torque_nm < TORQUE_PER_FORCE * FS


def test_lugre_stick_slip() -> None:
    """The paper's own experiment (from memory), ten times as fast: 1 kg on 2 N/m at 0.1 m/s becomes 0.1 kg on 20 N/m.

    The same share of the cycle slips. The model sticks and slips; it must be read as such.
    """
    time, force = lugre_drawn(stiffness=20.0, mass=0.1, speed=0.1, length_s=10.0)
    slips = np.flatnonzero((force[1:-1] >= force[:-2]) & (force[1:-1] > force[2:]) & (force[1:-1] > 1.2)) + 1
    result = read_pull(as_pull(force))
    assert result.chatter.present is True
    assert result.chatter.frequency_hz == pytest.approx((slips.size - 1) / (time[slips[-1]] - time[slips[0]]), rel=0.03)
    assert result.breakaway is not None
    assert result.breakaway.torque_nm == pytest.approx(TORQUE_PER_FORCE * force[: slips[0] + 5].max(), rel=0.01)


RSF = {"mu0": 0.6, "a": 0.005, "b": 0.01, "Dc": 10.0, "k": 0.001, "v0": 1.0, "v1": 10.0}
# Friction at 0, 1, ... 10 s after a tenfold step of the drive speed (ageing law, stiffness twice the critical one).
LISTED = [
    0.6,
    0.60720485,
    0.60186637,
    0.5840091,
    0.58563096,
    0.58899543,
    0.58998186,
    0.58879751,
    0.58803412,
    0.58825653,
    0.58858313,
]


def rate_and_state(at: np.ndarray) -> np.ndarray:
    p = RSF

    def slope(_: float, y: np.ndarray) -> list[float]:
        mu, theta = y
        v = p["v0"] * np.exp((mu - p["mu0"] - p["b"] * np.log(p["v0"] * theta / p["Dc"])) / p["a"])
        return [p["k"] * (p["v1"] - v), 1 - v * theta / p["Dc"]]

    found = solve_ivp(slope, (0, at[-1]), [p["mu0"], p["Dc"] / p["v0"]], t_eval=at, rtol=1e-9, atol=1e-12, method="LSODA")
    return np.asarray(found.y[0])


def test_rate_and_state_integration_is_the_listed_one() -> None:
    assert rate_and_state(np.arange(11.0)) == pytest.approx(LISTED, abs=1e-6)


def test_a_speed_step_is_neither_breakaway_nor_chatter() -> None:
    """The listed response as the second half of a sliding stretch: peak and ringing of a stable system."""
    after = rate_and_state(np.arange(0, 10, 1 / RATE_HZ))
    level = 100.0
    static = 0.66 * level + 0.0
    ramp = np.linspace(0, static, round(1.2 * RATE_HZ))
    before = 0.6 * level + (static - 0.6 * level) * np.exp(-np.arange(3 * RATE_HZ) / (0.15 * RATE_HZ))
    rest = np.zeros(round(RATE_HZ))
    torque = np.concatenate([rest, ramp, before, after * level, rest])
    speed = np.concatenate([0 * rest, 0 * ramp + 2.0, 0 * before + 4.0, 0 * after + 40.0, 0 * rest])
    angle = np.cumsum(speed) / RATE_HZ
    torque = torque + 0.05 * np.random.default_rng(2).standard_normal(torque.size)
    result = read_pull(Trace(np.arange(torque.size) / RATE_HZ, torque, np.round(angle, 2)))
    assert result.breakaway is not None
    assert result.breakaway.torque_nm == pytest.approx(static, rel=0.01)
    assert result.breakaway.time_s == pytest.approx(2.2, abs=0.05)
    assert result.chatter.present is False
