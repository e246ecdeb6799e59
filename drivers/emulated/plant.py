"""The mechanics of the simulated bench: arm, lever, adapter, rotor, two plate packs, bevel gears, one fixed small step at a time.

    hand ─ arm spring ─ lever ─ [sensor] ─ adapter spring with slack ─ left gear ═ left pack ═ case ═ right pack ═ right gear
                                                                          └────────── bevel gears with lash ─────────┘

Stick-slip is not drawn anywhere: whether a pack holds is decided by the torque it would need to hold against what it can bear.
All angles here are rad, speeds rad/s, torques N.m, inertias kg.m²; one class turns them into degrees for the outside.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum

STEPS_PER_MS = 10
STEP_S = 1e-3 / STEPS_PER_MS


class Arrangement(StrEnum):
    """Who is held and who turns (the letters are the trade notes')."""

    CASE_FREE = "A"  # right gear held, left turned: both packs slip at half the lever's speed
    CASE_HELD = "B"  # case held, left turned, right gear free: both packs slip at the lever's speed
    ONE_PACK = "F"  # built without bevel pinions, case held: the left pack alone


@dataclass(frozen=True, slots=True, kw_only=True)
class Pack:
    """One plate pack.

    Friction torque at slip speed v: (kinetic + (static - kinetic) exp(-|v| / stribeck) + viscous |v| + bond) · waviness(angle),
    Stribeck's falling curve in the form of Bo and Pavelescu. The bond is what the plates gain while they stick, growing with the
    logarithm of time, and lose again over a small slip (ageing of contacts after Dieterich, here in its simplest form).
    """

    kinetic_nm: float
    static_over_kinetic: float = 1.0
    stribeck_rad_s: float = 0.03
    viscous_nm_s: float = 0.0
    ageing_share: float = 0.012  # of the kinetic torque, for each factor e of sticking time
    ageing_from_s: float = 0.05
    bond_travel_rad: float = 0.012
    waves: tuple[tuple[float, float], ...] = ()  # (periods per turn of the pack, share of the torque)

    def in_oil(self, additive: float) -> Pack:
        """The pack with so much friction modifier in its oil (0 none, 1 full dose).

        The modifier turns friction that falls with speed into friction that rises, and costs some of its level (trade notes, 4).
        """
        full = min(self.static_over_kinetic, 0.93)
        return Pack(
            kinetic_nm=self.kinetic_nm * (1 - 0.08 * additive),
            static_over_kinetic=self.static_over_kinetic + additive * (full - self.static_over_kinetic),
            stribeck_rad_s=self.stribeck_rad_s,
            viscous_nm_s=self.viscous_nm_s,
            ageing_share=self.ageing_share * (1 - 0.5 * additive),
            ageing_from_s=self.ageing_from_s,
            bond_travel_rad=self.bond_travel_rad,
            waves=self.waves,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """Everything of the bench that is not a plate: stiffness, damping, inertia, slack.

    Raises ValueError where something is so stiff or so damped for its inertia that the fixed step could not follow.
    """

    arrangement: Arrangement = Arrangement.CASE_FREE
    arm_nm_rad: float = 650.0
    arm_damping_nm_s: float = 7.0
    lever_kgm2: float = 0.08
    adapter_nm_rad: float = 1800.0
    adapter_damping_nm_s: float = 0.6
    slack_rad: float = 0.0  # play of splines, end to end
    rotor_kgm2: float = 0.002  # the left gear with stub and sensor's lower half
    other_kgm2: float = 0.010  # the case (A) or the right gear (B)
    mesh_nm_rad: float = 6000.0
    mesh_damping_nm_s: float = 3.0
    lash_rad: float = 0.0  # play of the bevel gears, end to end, as the left gear feels it

    def __post_init__(self) -> None:
        mesh = 0.0 if self.arrangement is Arrangement.ONE_PACK else 1.0
        for inertia, stiffness, damping in (
            (self.lever_kgm2, self.arm_nm_rad + self.adapter_nm_rad, self.arm_damping_nm_s + self.adapter_damping_nm_s),
            (
                self.rotor_kgm2,
                self.adapter_nm_rad + mesh * self.mesh_nm_rad,
                self.adapter_damping_nm_s + mesh * self.mesh_damping_nm_s,
            ),
            (self.other_kgm2 / 4, mesh * self.mesh_nm_rad, mesh * self.mesh_damping_nm_s),
        ):
            if stiffness * STEP_S**2 + damping * STEP_S > inertia:
                raise ValueError(f"an inertia of {inertia:g} kg.m² is too light for a step of {STEP_S:g} s")


@dataclass(slots=True)
class Record:
    """What happened in a stretch, one entry a step: the truth before any sensor."""

    torque_nm: list[float] = field(default_factory=list)
    lever_rad: list[float] = field(default_factory=list)
    rotor_rad: list[float] = field(default_factory=list)
    other_rad: list[float] = field(default_factory=list)
    stuck: list[bool] = field(default_factory=list)


class Plant:
    """The bench in motion. `run` steps it under a hand; `rest` lets time pass while nobody touches it."""

    def __init__(self, frame: Frame, left: Pack, right: Pack) -> None:
        self.target_rad = 0.0
        self._lever = self._rotor = self._other = 0.0
        self._lever_speed = self._rotor_speed = self._other_speed = 0.0
        self._bonds = [0.0, 0.0]
        self._torque = 0.0
        self.fit(frame, left, right)

    def fit(self, frame: Frame, left: Pack, right: Pack) -> None:
        """Put other plates, oil or adapters in; angles stay as they are."""
        self.frame = frame
        self.left, self.right = left, right

    @property
    def torque_nm(self) -> float:
        """Torque through the sensor now."""
        return self._torque

    @property
    def lever_rad(self) -> float:
        """Angle of the lever now."""
        return self._lever

    @property
    def rotor_rad(self) -> float:
        """Angle of the left gear now."""
        return self._rotor

    @property
    def lever_rad_s(self) -> float:
        """Speed of the lever now."""
        return self._lever_speed

    def regrip(self) -> None:
        """The hand takes the lever where it is, without force."""
        self.target_rad = self._lever

    def rest(self, seconds: float) -> None:
        """Nobody touches the bench for so long: motion has died, the plates bond."""
        self._lever_speed = self._rotor_speed = self._other_speed = 0.0
        for side, pack in enumerate((self.left, self.right)):
            growth = max(pack.ageing_share * pack.kinetic_nm, 1e-12)
            age = pack.ageing_from_s * math.exp(min(self._bonds[side] / growth, 50.0))
            self._bonds[side] = growth * math.log((age + seconds) / pack.ageing_from_s)

    def run(self, steps: int, target_rad_s: float, grip: float, push_nm: float, record: Record) -> None:
        """Step under a hand whose target moves at `target_rad_s`, that holds the lever by `grip` (0..1) and shakes it by `push_nm`.

        Semi-implicit Euler for springs and inertias. Friction per step: first the torque that would stop each pack dead is found;
        where the pack bears it, it sticks exactly, else it slides under its friction (time stepping after Moreau, two contacts).
        """
        frame, h = self.frame, STEP_S
        slack, lash = frame.slack_rad / 2, frame.lash_rad / 2
        k_arm, c_arm = frame.arm_nm_rad * grip, frame.arm_damping_nm_s
        k_adapter, c_adapter = frame.adapter_nm_rad, frame.adapter_damping_nm_s
        k_mesh, c_mesh = frame.mesh_nm_rad, frame.mesh_damping_nm_s
        per_lever, per_rotor, per_other = h / frame.lever_kgm2, h / frame.rotor_kgm2, h / frame.other_kgm2
        ratio = {Arrangement.CASE_FREE: -2.0, Arrangement.CASE_HELD: 1.0, Arrangement.ONE_PACK: 0.0}[frame.arrangement]
        chained = frame.arrangement is Arrangement.CASE_FREE
        lever, rotor, other, target = self._lever, self._rotor, self._other, self.target_rad
        lever_speed, rotor_speed, other_speed = self._lever_speed, self._rotor_speed, self._other_speed
        torque = self._torque
        keep_torque, keep_lever = record.torque_nm.append, record.lever_rad.append
        keep_rotor, keep_other, keep_stuck = record.rotor_rad.append, record.other_rad.append, record.stuck.append
        for _ in range(steps):
            target += target_rad_s * h
            arm = k_arm * (target - lever) + c_arm * (target_rad_s - lever_speed) + push_nm
            torque = _through_play(lever - rotor, lever_speed - rotor_speed, slack, k_adapter, c_adapter)
            lever_speed += per_lever * (arm - torque)
            free_rotor, free_other = rotor_speed + per_rotor * torque, other_speed
            if ratio:
                mesh = _through_play(rotor + ratio * other, rotor_speed + ratio * other_speed, lash, k_mesh, c_mesh)
                free_rotor -= per_rotor * mesh
                free_other -= per_other * mesh * ratio
            if chained:
                can_left = self._bearable(0, rotor - other, rotor_speed - other_speed)
                can_right = self._bearable(1, other, other_speed)
                rotor_speed, other_speed = _chained(free_rotor, free_other, can_left, can_right, per_rotor, per_other)
            else:
                rotor_speed = _braked(free_rotor, per_rotor * self._bearable(0, rotor, rotor_speed))
                if ratio:
                    other_speed = _braked(free_other, per_other * self._bearable(1, other, other_speed))
            lever += lever_speed * h
            rotor += rotor_speed * h
            other += other_speed * h
            keep_torque(torque)
            keep_lever(lever)
            keep_rotor(rotor)
            keep_other(other)
            keep_stuck(rotor_speed == 0.0)
        self._lever, self._rotor, self._other, self.target_rad = lever, rotor, other, target
        self._lever_speed, self._rotor_speed, self._other_speed = lever_speed, rotor_speed, other_speed
        self._torque = torque

    def _bearable(self, side: int, angle: float, speed: float) -> float:
        """The most that a pack can bear in this step, from its speed in the last one; its bond grows or fades on the way."""
        pack = self.right if side else self.left
        bond, speed = self._bonds[side], abs(speed)
        if speed == 0.0:
            growth = pack.ageing_share * pack.kinetic_nm
            if growth > 0:
                bond += STEP_S * growth / pack.ageing_from_s * math.exp(-bond / growth)
        else:
            bond /= 1.0 + speed * STEP_S / pack.bond_travel_rad
        self._bonds[side] = bond
        kinetic = pack.kinetic_nm
        falling = kinetic * (pack.static_over_kinetic - 1.0) * math.exp(-speed / pack.stribeck_rad_s)
        bearable = kinetic + falling + pack.viscous_nm_s * speed + bond
        for per_turn, share in pack.waves:
            bearable *= 1.0 + share * math.cos(per_turn * angle)
        return bearable


def _through_play(twist: float, twist_speed: float, half_play: float, stiffness: float, damping: float) -> float:
    """Torque of a spring with play: nothing inside the play, and never a pull back on the flank that is being left."""
    if twist > half_play:
        return max(0.0, stiffness * (twist - half_play) + damping * twist_speed)
    if twist < -half_play:
        return min(0.0, stiffness * (twist + half_play) + damping * twist_speed)
    return 0.0


def _braked(free_speed: float, most: float) -> float:
    """Speed after friction that can take away at most `most` of it in this step: stopped exactly, or slowed."""
    if free_speed > most:
        return free_speed - most
    if free_speed < -most:
        return free_speed + most
    return 0.0


def _chained(
    free_rotor: float, free_other: float, can_left: float, can_right: float, per_rotor: float, per_other: float
) -> tuple[float, float]:
    """Speeds of rotor and case with the left pack between them and the right pack between case and ground.

    Tries, in order: both stick; only the left slides; only the right slides; both slide. The problem is convex, so that the first
    consistent case is the one.
    """
    left = free_rotor / per_rotor
    right = left + free_other / per_other
    if -can_left <= left <= can_left and -can_right <= right <= can_right:
        return 0.0, 0.0
    sign = math.copysign(1.0, left)
    right = sign * can_left + free_other / per_other
    rotor = free_rotor - per_rotor * sign * can_left
    if -can_right <= right <= can_right and rotor * sign > 0:
        return rotor, 0.0
    together_free = (free_rotor / per_rotor + free_other / per_other) / (1 / per_rotor + 1 / per_other)
    together = _braked(together_free, can_right / (1 / per_rotor + 1 / per_other))
    if together and abs(free_rotor - together) <= can_left * per_rotor:
        return together, together
    return _both_slide(free_rotor, free_other, can_left, can_right, per_rotor, per_other)


def _both_slide(
    free_rotor: float, free_other: float, can_left: float, can_right: float, per_rotor: float, per_other: float
) -> tuple[float, float]:
    likely = (math.copysign(1.0, free_rotor - free_other), math.copysign(1.0, free_other))
    for left_sign, right_sign in (likely, (likely[0], -likely[1]), (-likely[0], likely[1]), (-likely[0], -likely[1])):
        rotor = free_rotor - per_rotor * left_sign * can_left
        other = free_other + per_other * (left_sign * can_left - right_sign * can_right)
        if (rotor - other) * left_sign >= 0 and other * right_sign >= 0:
            return rotor, other
    return 0.0, 0.0  # only reached within rounding of standstill
