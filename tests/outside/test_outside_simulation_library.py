"""Stick-slip from an independent simulation library: pathsim (PyPI, MIT), event-driven, adaptive steps.

The model is the one its documentation explains (examples, 'Stick Slip': a body on a spring and damper against a moving surface,
static and kinetic friction, a switch between a stick and a slip state thrown by zero-crossing events), with the spring pulled
instead of the surface. Solver, event location and sampling are the library's; nothing of our simulator or of the simulated bench is
used.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pytest

from analysis.pull.reading import read_pull
from analysis.trace import Trace

pathsim = pytest.importorskip("pathsim", reason="pathsim is not installed: pip install pathsim")
from pathsim.blocks import Function, Integrator, Scope, Source, Switch  # noqa: E402
from pathsim.events import ZeroCrossingDown, ZeroCrossingUp  # noqa: E402
from pathsim.solvers import RKBS32  # noqa: E402

RATE_HZ = 1000.0


@dataclass(frozen=True)
class Bench:
    """Torques in N.m, stiffness in N.m/rad, damping in N.m.s/rad, inertia in kg.m2; the hand's speed before and after break."""

    static_nm: float
    kinetic_nm: float
    stiffness: float
    damping: float
    inertia: float
    load_rad_s: float
    slide_rad_s: float
    slide_s: float = 3.0
    rest_s: float = 0.6

    @property
    def break_s(self) -> float:
        return self.rest_s + self.static_nm / self.stiffness / self.load_rad_s

    def hand_speed(self, t: float) -> float:
        if t < self.rest_s:
            return 0.0
        if t < self.break_s + 0.02:
            return self.load_rad_s
        return self.slide_rad_s if t < self.break_s + 0.02 + self.slide_s else 0.0

    def hand(self, t: float) -> float:
        loaded = min(max(t - self.rest_s, 0.0), self.break_s + 0.02 - self.rest_s)
        slid = min(max(t - self.break_s - 0.02, 0.0), self.slide_s)
        return self.load_rad_s * loaded + self.slide_rad_s * slid


@dataclass
class Run:
    """What the library made: trace without noise, and when the body stuck and slipped."""

    trace: Trace
    slips_s: list[float] = field(default_factory=list)
    sticks_s: list[float] = field(default_factory=list)


def simulate_with_library(bench: Bench) -> Run:
    """Run the switched system; state 0 of the switch is stick (speed nought), state 1 is slip."""
    place, speed = Integrator(0.0), Integrator(0.0)
    switch = Switch(0)
    still, hand, hand_speed = Source(lambda t: 0.0), Source(bench.hand), Source(bench.hand_speed)
    spring: Callable[..., float] = lambda h, vh, x, v: bench.stiffness * (h - x) + bench.damping * (vh - v)  # noqa: E731
    torque = Function(spring)
    push = Function(lambda t, v: (t - bench.kinetic_nm) / bench.inertia)
    scope = Scope(sampling_period=1 / RATE_HZ)
    run = Run(Trace(np.empty(0), np.empty(0)))

    def torque_stuck(t: float) -> float:
        return float(np.squeeze(spring(bench.hand(t), bench.hand_speed(t), place.engine.get(), 0.0)))

    def let_go(t: float) -> None:
        run.slips_s.append(t)
        speed.engine.set(0.0 * speed.engine.get())
        switch.select(1)
        slip.off()
        stick.on()

    def catch(t: float) -> None:
        if torque_stuck(t) > bench.static_nm:
            return
        run.sticks_s.append(t)
        switch.select(0)
        stick.off()
        slip.on()

    slip = ZeroCrossingUp(func_evt=lambda t: torque_stuck(t) - bench.static_nm, func_act=let_go, tolerance=1e-6)
    stick = ZeroCrossingDown(func_evt=lambda t: float(np.squeeze(speed.engine.get())), func_act=catch, tolerance=1e-7)
    stick.off()
    connect = pathsim.Connection
    simulation = pathsim.Simulation(
        [place, speed, switch, still, hand, hand_speed, torque, push, scope],
        [
            connect(still, switch[0]),
            connect(speed, switch[1], push[1]),
            connect(switch, place, torque[3]),
            connect(hand, torque[0], scope[1]),
            connect(hand_speed, torque[1]),
            connect(place, torque[2]),
            connect(torque, push[0], scope[0]),
            connect(push, speed),
        ],
        [slip, stick],
        dt=1e-3,
        dt_max=2e-3,
        Solver=RKBS32,
        tolerance_lte_rel=1e-6,
        tolerance_lte_abs=1e-8,
        log=False,
    )
    simulation.run(bench.break_s + 0.02 + bench.slide_s)
    time, (felt, turned) = scope.read()
    return Run(Trace(*_let_go_after(time, felt, turned)), run.slips_s, run.sticks_s)


def _let_go_after(time: np.ndarray, torque: np.ndarray, hand: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The hand lets go at the end: half a second at nought; 0.03 N.m noise, 0.01 N.m and 0.05 degree steps."""
    after = round(0.5 * RATE_HZ)
    torque = np.concatenate([torque, np.zeros(after)])
    degrees = np.degrees(np.concatenate([hand, np.full(after, hand[-1])]))
    noisy = torque + 0.03 * np.random.default_rng(9).standard_normal(torque.size)
    return np.arange(torque.size) / RATE_HZ + time[0], np.round(noisy, 2), np.round(degrees / 0.05) * 0.05


STICKING = [
    Bench(60, 50, 700, 0.4, 0.02, 0.10, 0.25),
    Bench(42, 33, 1800, 0.3, 0.006, 0.06, 0.35),
    Bench(95, 80, 450, 0.5, 0.05, 0.20, 0.30, slide_s=5.0),
]


@pytest.mark.parametrize("bench", STICKING, ids=lambda b: f"{b.static_nm}-{b.kinetic_nm}-{b.stiffness}")
def test_stick_slip_is_read_right(bench: Bench) -> None:
    run = simulate_with_library(bench)
    slips = np.array(run.slips_s)
    assert slips.size > 5, "the library's model is meant to stick and slip here"
    # The library's friction is constant; plates warm a little. A top as even as the noise alone is a sensor at its limit.
    warmed = run.trace.torque_nm * (1 - WARMING * (run.trace.time_s - run.trace.time_s[0]) / run.trace.duration_s)
    result = read_pull(Trace(run.trace.time_s, warmed, run.trace.angle_deg))
    assert result.breakaway is not None
    assert result.sliding is not None
    assert result.breakaway.torque_nm == pytest.approx(bench.static_nm, rel=0.01)
    assert result.breakaway.time_s == pytest.approx(slips[0], abs=0.02)
    assert result.chatter.present is True
    later = slips[2:]
    assert result.chatter.frequency_hz == pytest.approx((later.size - 1) / (later[-1] - later[0]), rel=0.02)
    inside = (run.trace.time_s > slips[1]) & (run.trace.time_s <= slips[-1])
    assert run.trace.angle_deg is not None
    turned = np.diff(run.trace.angle_deg[inside])
    level = float((run.trace.torque_nm[inside][1:] * turned).sum() / turned.sum())
    assert result.sliding.torque_nm == pytest.approx(level, rel=0.015)


SMOOTH = [
    # Fast enough, damped enough: slides without sticking again.
    Bench(60, 52, 2500, 6.0, 0.004, 0.05, 0.6),
    Bench(50, 50, 900, 1.0, 0.002, 0.08, 0.14),
]


WARMING = 0.003
"""Share of its torque that a pack loses over a pull of some seconds (from memory: some tenths of a per cent)."""


@pytest.mark.parametrize("bench", SMOOTH, ids=lambda b: f"{b.static_nm}-{b.kinetic_nm}-{b.stiffness}")
def test_smooth_sliding_is_read_right(bench: Bench) -> None:
    run = simulate_with_library(bench)
    assert len(run.sticks_s) <= 1, "the library's model is meant to slide smoothly here"
    # The library's friction is constant; plates warm a little. A top as even as the noise alone is a sensor at its limit.
    warmed = run.trace.torque_nm * (1 - WARMING * (run.trace.time_s - run.trace.time_s[0]) / run.trace.duration_s)
    result = read_pull(Trace(run.trace.time_s, warmed, run.trace.angle_deg))
    assert result.breakaway is not None
    assert result.sliding is not None
    assert result.breakaway.torque_nm == pytest.approx(bench.static_nm, rel=0.01)
    assert result.sliding.torque_nm == pytest.approx(bench.kinetic_nm, rel=0.01)
    assert result.chatter.present is False
