"""The check of one minute: two known weights on the lever tell what may be stated of a sensor that nobody has calibrated."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from analysis.errors import quoted
from analysis.sensor.dead_weight import STANDARD_GRAVITY, Arm
from analysis.sensor.known_weights import WeightCheck, check_by_weights
from analysis.units import to_si
from rig.calibration.point_taker import CAUTIONS, STOP, Gauge, Stopped, Voice
from rig.errors import ArgumentError
from rig.words.language import in_language, say
from rig.words.numbers import rounded_up
from rig.words.sentences import torque

WEIGHTS = 2
ARM_WITHIN_M = 0.002
"""Limits of a lever measured with a tape (common practice, no source)."""
MASS_WITHIN = 0.01
"""Share: limits of a disc weighed on a kitchen or bathroom scale (common practice, no source)."""
LEVEL_WITHIN_DEG = 5.0
"""Limits of a lever set level by eye (common practice, no source)."""
GRAVITY_WITHIN = 0.027
"""m/s^2: from the equator to the poles at sea level gravity is 9.780 to 9.832 (geodetic reference system 1980)."""


@dataclass(frozen=True, slots=True)
class Hung:
    """Two weights on an arm: torques in N.m, and the standard uncertainty of both as a share."""

    masses_kg: tuple[float, ...]
    torques_nm: tuple[float, ...]
    u_relative: float


def hung(masses: str, arm: str) -> Hung:
    """Read '5 kg, 10 kg' and the lever's length. Raises ArgumentError or UnitError."""
    sizes = tuple(to_si(part, "mass") for part in masses.split(",") if part.strip())
    length_m = to_si(arm, "length")
    if len(sizes) != WEIGHTS or len(set(sizes)) != WEIGHTS or min(sizes) <= 0:
        raise ArgumentError(f"{quoted(masses)} is not two weights", where="--weights", remedy="write them like '5 kg, 10 kg'")
    if length_m <= 0:
        raise ArgumentError("an arm must be longer than nothing", where="--arm", remedy="write it like '600 mm'")
    root3 = math.sqrt(3)
    lever = Arm(
        length_m=length_m,
        gravity=STANDARD_GRAVITY,
        u_length_m=ARM_WITHIN_M / root3,
        u_gravity=GRAVITY_WITHIN / root3,
        u_tilt_deg=LEVEL_WITHIN_DEG / root3,
    )
    return Hung(sizes, tuple(lever.torque_nm(mass) for mass in sizes), lever.u_relative(MASS_WITHIN / root3))


def take(
    weights: Hung,
    gauge: Gauge,
    voice: Voice,
    unit: str = "N.m",
    progress: Callable[[int, int], None] = lambda done, count: None,
) -> list[float]:
    """Ask for each weight and read what the sensor shows, counted from its zero before. Raises Stopped, or what ended the line."""
    for caution in CAUTIONS:
        voice.say(f"  - {say(caution)}")

    def read(what: str) -> float:
        while True:
            if voice.ask(say("{what} [Enter when all is still; q ends]", what=what)).strip().lower() == STOP:
                raise Stopped
            found = gauge.weigh()
            if found.steady:
                return found.mean_nm
            voice.say(say("    not at rest: wait until nothing swings"))

    progress(0, 1 + WEIGHTS)
    zero_nm = read(say("lever level, no weight"))
    shown: list[float] = []
    for mass, load_nm in zip(weights.masses_kg, weights.torques_nm, strict=True):
        progress(1 + len(shown), 1 + WEIGHTS)
        shown.append(read(say("{mass} kg on the lever", mass=f"{mass:g}")) - zero_nm)
        text = say("    {by} from zero; this weight makes {load}", by=torque(abs(shown[-1]), unit), load=torque(load_nm, unit))
        voice.say(text)
    return shown


def check(weights: Hung, shown_nm: Sequence[float]) -> WeightCheck:
    """What the two weights say of the sensor."""
    return check_by_weights(weights.torques_nm, shown_nm, weights.u_relative)


def check_lines(weights: Hung, found: WeightCheck, unit: str = "N.m") -> list[str]:
    """The outcome as rows to print."""
    rows = [
        say(
            "{mass} kg: {torque} reads {error} %",
            mass=f"{mass:g}",
            torque=torque(load, unit),
            error=in_language(f"{100 * error:+.1f}"),
        )
        for mass, load, error in zip(weights.masses_kg, weights.torques_nm, found.errors, strict=True)
    ]
    if found.sends is not None:
        return [*rows, say("the sensor sends {unit}, not N.m: say so in the profile, then check again", unit=found.sends)]
    if not found.believed:
        return [
            *rows,
            say("too far off to work with: check unit, lever, weights and zero; else calibrate it (platepull calibrate)"),
        ]
    most = torque(max(weights.torques_nm), unit)
    stated = f"{rounded_up(100 * found.u_relative)} %"
    return [
        *rows,
        say('write it into the profile: u = "{stated}", or into the settings, or say --u "{stated}"', stated=stated),
        say("it speaks for torques up to {most}; for more, and for a certificate: platepull calibrate", most=most),
    ]
