"""From a drawn pull to what the simulator needs: unit and rig of matching size, and what the hand does when."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from support.pull_physics import COMMAND_S, Hand, Rig, Unit

Floats = NDArray[np.floating[Any]]
FULL_SCALES_NM = (5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 200.0, 300.0, 500.0)


@dataclass(frozen=True, kw_only=True)
class Plan:
    """Everything about one pull before it happens. `sensor` holds what pull_sensor is to do beyond its usual draw."""

    kind: str
    scale_nm: float
    unit: Unit
    rig: Rig
    hand: Hand
    nominal_rad_s: float
    resists: bool = True
    sensor: dict[str, float] = field(default_factory=dict)


@dataclass(kw_only=True)
class Draft:
    """A pull being drawn; kinds turn its knobs. Times in s, angles in deg, torque shares of the kinetic torque."""

    share_of_scale: float
    excess: float
    memory_deg: float
    ageing_s: float
    adapter: float  # N.m/rad at 60 N.m
    arm: float
    rotor: float
    lever: float
    slack_deg: float
    rest_s: float
    ramp_s: float
    speed_deg_s: float
    slide_s: float
    stribeck: float = 0.0
    stribeck_deg_s: float = 10.0
    viscous_s: float = 0.02
    second_share: float = 0.0
    lash_deg: float = 0.0
    orders: tuple[tuple[float, float], ...] = ()
    wobble: float = 0.08
    pauses: int = 0
    regrips: int = 0
    regrip_s: tuple[float, float] = (0.15, 0.5)
    faster: float = 1.0
    tremor_share: float = 0.0
    vice_load_deg: float = 0.0
    vice_slide: int = 0
    blend_s: float = 0.2
    resists: bool = True
    holds_at_end: bool = False
    sensor: dict[str, float] = field(default_factory=dict)


def plan_of(kind: str, d: Draft, rng: Generator) -> Plan:
    """The plan of a drawn pull: sizes follow the torque, so that a small sensor sees the motion a large one does."""
    scale = float(rng.choice(FULL_SCALES_NM))
    kinetic = d.share_of_scale * scale / (1 + d.excess + d.stribeck)
    size = (kinetic if d.resists else 0.3 * scale) / 60.0
    unit = Unit(
        kinetic_nm=kinetic,
        excess=d.excess,
        ageing_s=d.ageing_s,
        memory_rad=np.radians(d.memory_deg),
        stribeck=d.stribeck,
        stribeck_rad_s=np.radians(d.stribeck_deg_s),
        viscous_s=d.viscous_s,
        second_share=d.second_share,
        lash_rad=np.radians(d.lash_deg),
        contact_nm_rad=2e4 * size,
        rotor_kg_m2=d.rotor * size,
        **{f"order_{i + 1}": order for i, (order, _) in enumerate(d.orders)},
        **{f"share_{i + 1}": share for i, (_, share) in enumerate(d.orders)},
        phase_1=rng.uniform(0, 2 * np.pi),
        phase_2=rng.uniform(0, 2 * np.pi),
    )
    adapter, arm, lever = d.adapter * size, d.arm * size, d.lever * size
    rig = Rig(
        adapter_nm_rad=adapter,
        adapter_nms_rad=rng.uniform(0.03, 0.1) * 2 * np.sqrt(adapter * unit.rotor_kg_m2),
        slack_rad=np.radians(d.slack_deg),
        lever_kg_m2=lever,
        arm_nm_rad=arm,
        arm_nms_rad=rng.uniform(0.2, 0.6) * 2 * np.sqrt(arm * lever),
    )
    hand = _hand(d, unit, rig, rng)
    return Plan(
        kind=kind, scale_nm=scale, unit=unit, rig=rig, hand=hand, nominal_rad_s=np.radians(d.speed_deg_s),
        resists=d.resists, sensor=d.sensor,
    )  # fmt: skip


def _hand(d: Draft, unit: Unit, rig: Rig, rng: Generator) -> Hand:
    """Rest, ramp (slack first), on to the sliding speed once it gives, pauses and new grips, stop or let go, rest."""
    break_nm = unit.kinetic_nm * (1 + unit.excess + unit.stribeck)
    wind = break_nm * (1 / rig.arm_nm_rad + 1 / rig.adapter_nm_rad)
    slide = np.radians(d.speed_deg_s)
    ramp = wind / d.ramp_s if d.resists else slide
    # Nobody bangs through the slack so hard that the blow alone turns the plates.
    gentle = 0.3 * break_nm / np.sqrt(rig.adapter_nm_rad * rig.lever_kg_m2)
    slack_speed = max(ramp, min(gentle, rig.slack_rad / rng.uniform(0.3, 0.8))) if rig.slack_rad else ramp
    slack_s = rig.slack_rad / slack_speed
    lash_s = unit.lash_rad / ramp
    begin = d.rest_s
    breaks = begin + slack_s + wind / ramp + lash_s + 0.05
    knots = [(0.0, 0.0), (begin, 0.0), (begin + 0.06, slack_speed)]
    if slack_s > 0.1:
        knots += [(begin + slack_s, slack_speed), (begin + slack_s + 0.06, ramp)]
    # The hand speeds up when it feels the plates give, or a little before.
    turn = max(knots[-1][0] + 0.01, breaks + rng.uniform(-0.03, 0.15) * min(1.0, d.ramp_s))
    knots += [(turn, ramp), (turn + d.blend_s, slide)]
    stop = turn + d.blend_s + d.slide_s
    if d.faster != 1.0:
        middle = stop - d.slide_s * rng.uniform(0.4, 0.6)
        knots += [(middle, slide), (middle + 0.3, d.faster * slide)]
    knots += [(stop, d.faster * slide)]
    hold = rng.uniform(0.1, 0.5) if d.holds_at_end else 0.0
    knots += [(stop + 0.08, 0.0)]
    let_go = stop + 0.08 + hold if d.holds_at_end else stop + rng.uniform(0.0, 0.04)
    end = let_go + 0.1 + rng.uniform(0.35, 1.2)
    time = np.arange(round(end / COMMAND_S)) * COMMAND_S
    at, value = np.array(knots).T
    speed = np.interp(time, at, value)
    speed *= 1 + d.wobble * _smooth_noise(time, rng) * np.clip((time - turn) / 0.3, 0, 1)
    grip = np.clip((let_go + rng.uniform(0.02, 0.06) - time) / 0.03, 0, 1)
    tremor_hz = rng.uniform(6, 12)
    tremor = d.tremor_share * break_nm * np.sin(2 * np.pi * tremor_hz * time + _smooth_noise(time, rng))
    tremor *= (0.5 + 0.5 * np.abs(_smooth_noise(time, rng))) * np.clip((time - begin) / 0.3, 0, 1)
    first = turn + d.blend_s + 0.25 * d.slide_s
    for i, start in enumerate(_spread(rng, d.pauses + d.regrips, first, stop - 0.3)):
        if i < d.pauses:
            _stop_hand(speed, time, start, rng.uniform(0.3, 1.5), rng.uniform(0.03, 0.12))
        else:
            _let_go_and_take_again(speed, grip, time, start, rng.uniform(*d.regrip_s), ramp)
    vice = np.zeros_like(time)
    if d.vice_load_deg:
        moment = begin + slack_s + rng.uniform(0.35, 0.8) * wind / ramp
        # The jump is paid for by less torque, never by more than what is there.
        jump = min(np.radians(d.vice_load_deg), 0.4 * break_nm / rig.adapter_nm_rad)
        vice += jump * np.clip((time - moment) / 0.004, 0, 1)
    for moment in _spread(rng, d.vice_slide, first, stop - 0.2):
        vice += min(np.radians(rng.uniform(0.2, 1.0)), 0.6 * break_nm / rig.adapter_nm_rad) * np.clip((time - moment) / 0.004, 0, 1)
    return Hand(speed, grip, tremor, vice)


def _smooth_noise(time: Floats, rng: Generator) -> Floats:
    """A slow wander of unit spread, about 2 Hz."""
    knots = np.arange(0, time[-1] + 1, 0.25)
    return np.asarray(np.interp(time, knots, rng.standard_normal(knots.size)))


def _spread(rng: Generator, count: int, low: float, high: float) -> list[float]:
    """`count` moments between low and high, one in each equal part."""
    if count == 0 or high <= low:
        return []
    edges = np.linspace(low, high, count + 1)
    return [float(rng.uniform(a, a + 0.4 * (b - a))) for a, b in itertools.pairwise(edges)]


def _stop_hand(speed: Floats, time: Floats, start: float, length_s: float, soft_s: float) -> None:
    speed *= np.clip(np.maximum((start - time) / soft_s, (time - start - length_s) / soft_s) + 0.0, 0, 1)


def _let_go_and_take_again(speed: Floats, grip: Floats, time: Floats, start: float, length_s: float, ramp: float) -> None:
    _stop_hand(speed, time, start, length_s, 0.03)
    grip *= np.clip(np.maximum((start + 0.06 - time) / 0.03, (time - start - length_s + 0.05) / 0.03), 0, 1)
    again = (time > start + length_s) & (time < start + length_s + 0.4)
    speed[again] = np.minimum(speed[again], max(ramp, 0.5 * float(speed.max())))
