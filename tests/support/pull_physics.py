"""Hand pulls on a plated differential, many at once: hand, arm, lever, adapter (the sensor), rotor, one or two packs.

    hand intent --arm spring and damper--> lever (hand-side angle) --slack, adapter spring = SENSOR--> rotor --packs--> ground

All pulls of a batch step together as numpy rows (fixed step, symplectic Euler; stick and slip by zero crossings of the rotor's
speed). SI and radians inside. Shares no formula with analysis/ or drivers/: it is the truth those are held against.

Friction of a pack, as a share of its kinetic torque: 1 + excess s + stribeck exp(-|v|/v_s) + viscous |v|, with s the state of
the contact: ds/dt = (1 - s)/ageing - s |v|/memory (ageing law of state-variable friction, from memory: A. Ruina,
J. Geophys. Res. 88 (1983) 10359).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]

STEP_S = 5e-5
RECORD_S = 1e-4
COMMAND_S = 1e-3


@dataclass(frozen=True, kw_only=True)
class Unit:
    """The differential: packs and what turns with the hand. Torques in N.m, angles in rad."""

    kinetic_nm: float
    excess: float = 0.1
    ageing_s: float = 8.0
    memory_rad: float = 0.03
    stribeck: float = 0.0
    stribeck_rad_s: float = 0.2
    viscous_s: float = 0.02
    second_share: float = 0.0
    lash_rad: float = 0.0
    contact_nm_rad: float = 2e4
    rotor_kg_m2: float = 0.004
    order_1: float = 0.0
    share_1: float = 0.0
    phase_1: float = 0.0
    order_2: float = 0.0
    share_2: float = 0.0
    phase_2: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Rig:
    """What lies between the intent of the hand and the rotor."""

    adapter_nm_rad: float
    adapter_nms_rad: float
    slack_rad: float
    lever_kg_m2: float
    arm_nm_rad: float
    arm_nms_rad: float


@dataclass(frozen=True)
class Hand:
    """What the hand does, every `COMMAND_S`: intended speed (rad/s), grip 0..1, force tremor (N.m), shift of the vice (rad)."""

    speed: Floats
    grip: Floats
    tremor_nm: Floats
    vice_rad: Floats


@dataclass(frozen=True)
class Motion:
    """What happened, every `RECORD_S` from 0: adapter torque, lever and rotor angle, whether the rotor stands, slip of pack 2."""

    torque_nm: NDArray[np.float32]
    lever_rad: NDArray[np.float32]
    rotor_rad: NDArray[np.float32]
    stands: NDArray[np.bool_]
    second_rad: NDArray[np.float32]

    @property
    def time_s(self) -> Floats:
        return np.arange(self.torque_nm.size) * RECORD_S


def _columns(rows: Sequence[Unit] | Sequence[Rig]) -> dict[str, Floats]:
    return {f.name: np.array([getattr(row, f.name) for row in rows], float) for f in fields(rows[0])}


def run(units: Sequence[Unit], rigs: Sequence[Rig], hands: Sequence[Hand]) -> list[Motion]:
    """Simulate a batch. Every pull runs as long as its own commands; the batch as long as the longest."""
    u, r = _columns(units), _columns(rigs)
    count, ticks = len(units), max(hand.speed.size for hand in hands)
    commands = {
        name: _padded([getattr(hand, name) for hand in hands], ticks) for name in ("speed", "grip", "tremor_nm", "vice_rad")
    }
    inner, keep = round(COMMAND_S / STEP_S), round(RECORD_S / STEP_S)
    rows = ticks * inner // keep
    torque, lever, rotor, second = (np.empty((rows, count), np.float32) for _ in range(4))
    stands = np.empty((rows, count), bool)
    x_hand, x_lever, v_lever, x_rotor, v_rotor, x_second, s2 = (np.zeros(count) for _ in range(7))
    hook, age = np.zeros(count), np.ones(count)
    two = bool((u["second_share"] > 0).any())
    first_nm, second_nm = u["kinetic_nm"] * (1 - u["second_share"]), u["kinetic_nm"] * u["second_share"]
    s2 = np.ones(count)
    free_damping = 1.4 * np.sqrt(r["adapter_nm_rad"] * r["lever_kg_m2"])
    dt, row = STEP_S, 0
    for tick in range(ticks):
        speed, grip, vice = commands["speed"][tick], commands["grip"][tick], commands["vice_rad"][tick]
        # A hand that has let go takes hold again where the lever is.
        hook = np.where(grip < 0.01, x_lever - x_hand, hook)
        ripple = 1 + u["share_1"] * np.cos(u["order_1"] * x_rotor + u["phase_1"])
        ripple += u["share_2"] * np.cos(u["order_2"] * x_rotor + u["phase_2"])
        limit, tremor = first_nm * ripple, grip * commands["tremor_nm"][tick]
        arm_k, arm_c, drag = grip * r["arm_nm_rad"], grip * r["arm_nms_rad"], (1 - grip) * free_damping
        for sub in range(inner):
            x_hand = x_hand + dt * speed
            wind = x_lever - x_rotor - vice
            spring = r["adapter_nm_rad"] * (np.maximum(wind - r["slack_rad"], 0) + np.minimum(wind, 0))
            damped = spring + r["adapter_nms_rad"] * (v_lever - v_rotor)
            held = np.where(spring > 0, np.maximum(damped, 0), np.where(spring < 0, np.minimum(damped, 0), 0))
            pulled = arm_k * (x_hand + hook - x_lever) + arm_c * (speed - v_lever) + tremor - drag * v_lever
            v_lever = v_lever + dt / r["lever_kg_m2"] * (pulled - held)
            x_lever = x_lever + dt * v_lever
            net = held
            if two:
                push = u["contact_nm_rad"] * np.maximum(x_rotor - u["lash_rad"] - x_second, 0)
                over = np.maximum(push - second_nm * ripple * (1 + u["excess"] * s2), 0) / u["contact_nm_rad"]
                x_second = x_second + over
                s2 = s2 * np.exp(-over / u["memory_rad"])
                net = held - push
            pace = np.abs(v_rotor)
            level = limit * (1 + u["excess"] * age + u["stribeck"] * np.exp(-pace / u["stribeck_rad_s"]) + u["viscous_s"] * pace)
            still = pace == 0
            way = np.where(still, np.sign(net), np.sign(v_rotor))
            moved = v_rotor + dt / u["rotor_kg_m2"] * (net - way * level)
            goes = (way * moved > 0) & (~still | (np.abs(net) > level))
            v_rotor = np.where(goes, moved, 0.0)
            x_rotor = x_rotor + dt * v_rotor
            age = age + dt * ((1 - age) / u["ageing_s"] - age * np.abs(v_rotor) / u["memory_rad"])
            if sub % keep == 0:
                torque[row], lever[row], rotor[row], second[row], stands[row] = held, x_lever, x_rotor, x_second, ~goes
                row += 1
    own = [hand.speed.size * inner // keep for hand in hands]
    return [Motion(*(np.ascontiguousarray(a[:n, i]) for a in (torque, lever, rotor, stands, second))) for i, n in enumerate(own)]


def _padded(columns: Sequence[Floats], length: int) -> Floats:
    """Columns side by side, the short ones held at their last value."""
    return np.asarray(np.stack([np.pad(c, (0, length - c.size), mode="edge") for c in columns], axis=1), float)
