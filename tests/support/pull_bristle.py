"""Hand pulls on plates whose contact is a field of bristles, with a second inertia and a hand that reacts: other physics than
`pull_physics`, same in and out.

Friction (LuGre, from memory: C. Canudas de Wit, H. Olsson, K. J. Astrom, P. Lischinsky, IEEE Trans. Autom. Control 40 (1995) 419):
dz/dt = v - |v| z k / g(v), torque k z + c dz/dt + viscous v, g(v) = kinetic (1 + (excess + stribeck) exp(-(v/v_s)^2)).
The plates creep before they let go (a soft knee), as far as the bristles bend.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from support.pull_physics import COMMAND_S, RECORD_S, STEP_S, Floats, Hand, Motion, Rig, Unit

CREEP_RAD_S = 2e-3
REACTION_S = 0.15


@dataclass(frozen=True, kw_only=True)
class Bristles:
    """What this physics needs beyond the unit.

    bend_rad     how far the bristles bend before they let go
    case_kg_m2   what turns between adapter and plates, coupled by `spline_nm_rad`
    reacts       how far the hand slows when the load falls away under it, 0 to 1
    """

    bend_rad: float
    case_kg_m2: float
    spline_nm_rad: float
    reacts: float = 0.0


def run_bristles(units: Sequence[Unit], rigs: Sequence[Rig], hands: Sequence[Hand], more: Sequence[Bristles]) -> list[Motion]:
    """Simulate a batch; a pull runs as long as its commands."""

    def column(rows: Sequence[object], name: str) -> Floats:
        return np.array([getattr(row, name) for row in rows], float)

    kinetic, viscous = column(units, "kinetic_nm"), column(units, "viscous_s")
    static = kinetic * (1 + column(units, "excess") + column(units, "stribeck"))
    soft = np.where(column(units, "stribeck") > 0, column(units, "stribeck_rad_s"), 0.3)
    bend, case, spline, reacts = (column(more, name) for name in ("bend_rad", "case_kg_m2", "spline_nm_rad", "reacts"))
    stiff = static / bend
    rotor_i, lever_i = column(units, "rotor_kg_m2"), column(rigs, "lever_kg_m2")
    damp = 0.6 * np.sqrt(stiff * rotor_i)
    spline_c = 0.2 * np.sqrt(spline * case)
    adapter, adapter_c, slack = (column(rigs, name) for name in ("adapter_nm_rad", "adapter_nms_rad", "slack_rad"))
    arm, arm_c = column(rigs, "arm_nm_rad"), column(rigs, "arm_nms_rad")
    orders = [(column(units, f"order_{i}"), column(units, f"share_{i}"), column(units, f"phase_{i}")) for i in (1, 2)]
    count, ticks = len(units), max(hand.speed.size for hand in hands)
    pad = {
        name: np.stack([np.pad(getattr(h, name), (0, ticks - h.speed.size), mode="edge") for h in hands], axis=1)
        for name in ("speed", "grip", "tremor_nm")
    }
    inner, keep = round(COMMAND_S / STEP_S), round(RECORD_S / STEP_S)
    rows = ticks * inner // keep
    torque, lever, rotor = (np.empty((rows, count), np.float32) for _ in range(3))
    stands = np.empty((rows, count), bool)
    x_hand, x_lever, v_lever, x_case, v_case, x_rotor, v_rotor, z, slid, hook = (np.zeros(count) for _ in range(10))
    held, felt = np.zeros(count), np.zeros(count)
    free_damping = 1.4 * np.sqrt(adapter * lever_i)
    dt, row = STEP_S, 0
    for tick in range(ticks):
        grip = pad["grip"][tick]
        # The hand feels the load with a delay and slows while less is there than it felt before.
        felt = felt + COMMAND_S / REACTION_S * (held - felt)
        falls = np.clip((felt - held) / np.maximum(0.2 * static, 1e-9), 0.0, 1.0)
        speed = pad["speed"][tick] * (1 - reacts * falls)
        hook = np.where(grip < 0.01, x_lever - x_hand, hook)
        ripple = 1 + sum(share * np.cos(order * x_rotor + phase) for order, share, phase in orders)
        tremor = grip * pad["tremor_nm"][tick]
        k_arm, c_arm, drag = grip * arm, grip * arm_c, (1 - grip) * free_damping
        for sub in range(inner):
            x_hand = x_hand + dt * speed
            wind = x_lever - x_case
            spring = adapter * (np.maximum(wind - slack, 0) + np.minimum(wind, 0))
            damped = spring + adapter_c * (v_lever - v_case)
            held = np.where(spring > 0, np.maximum(damped, 0), np.where(spring < 0, np.minimum(damped, 0), 0))
            pulled = k_arm * (x_hand + hook - x_lever) + c_arm * (speed - v_lever) + tremor - drag * v_lever
            v_lever = v_lever + dt / lever_i * (pulled - held)
            x_lever = x_lever + dt * v_lever
            through = spline * (x_case - x_rotor) + spline_c * (v_case - v_rotor)
            v_case = v_case + dt / case * (held - through)
            x_case = x_case + dt * v_case
            level = ripple * (kinetic + (static - kinetic) * np.exp(-((v_rotor / soft) ** 2)))
            slip = np.abs(v_rotor) * z * stiff / level
            dz = v_rotor - slip
            v_rotor = v_rotor + dt / rotor_i * (through - stiff * z - damp * dz - viscous * kinetic * v_rotor)
            x_rotor = x_rotor + dt * v_rotor
            z, slid = z + dt * dz, slid + dt * slip
            if sub % keep == 0:
                torque[row], lever[row], rotor[row], stands[row] = held, x_lever, slid, np.abs(slip) < CREEP_RAD_S
                row += 1
    out = []
    for i, hand in enumerate(hands):
        n = hand.speed.size * inner // keep
        columns = [np.ascontiguousarray(a[:n, i]) for a in (torque, lever, rotor, stands)]
        # What only creeps has not let go: the plastic way stands still while the contact does.
        moved = np.diff(columns[2], prepend=columns[2][:1])
        plastic = np.cumsum(np.where(columns[3], 0.0, moved)).astype(np.float32)
        out.append(Motion(columns[0], columns[1], plastic, columns[3], plastic))
    return out
