"""A calibration as it is planned, in TOML: the certificate's head, the reference, and the loads to be put on."""

from __future__ import annotations

import calendar
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Annotated, Final, Literal, Self

from analysis.errors import quoted
from analysis.sensor.dead_weight import NORMAL_GRAVITY_U, Arm, normal_gravity
from analysis.units import split_quantity, to_si
from rig.errors import CertificateError
from rig.files.certificate import Certificate
from rig.files.document import read_document
from rig.files.fields import (
    AccelerationMs2,
    CapacityNm,
    Closed,
    Day,
    FromText,
    LengthM,
    MassKg,
    Name,
    Quantity,
    Refusal,
    Share,
    TemperatureC,
    TorqueNm,
    between,
    built_in,
    says,
)

DIRECTIONS = {"both": (1, -1), "first": (1,), "other": (-1,)}
MONTHS = 12
"""A year between calibrations, sooner after an overload, a drop or a repair (ISO 6789-2 for hand tools; trade notes 6)."""

RECTANGULAR: Final = math.sqrt(3)
"""Limits either way over this are a standard uncertainty (JCGM 100, 4.3.7)."""
GRAVITY_ON_EARTH: Final = (9.7, 9.9)
"""m/s^2; from a mountain at the equator to the poles 9.76 to 9.83 (geodetic reference system 1980, rounded outwards)."""
_LOADS = 'a rising list of loads in quotes, such as ["{}"]; zero is always taken'

TEMPLATE = """\
# A calibration of the torque sensor. Fill in what is empty, take the points, then:  platepull calibrate THIS.toml
# With  --device PROFILE.toml  the points are taken at the bench, one load after the other.
[certificate]
number = ""                    # such as "2026-1"
workshop = ""                  # such as "Quillfen Gearworks"
sensor = ""                    # such as "bench 1"
serial = ""                    # such as "0042"
capacity = ""                  # such as "200 N.m"
by = ""                        # such as "T.W."
temperature = ""               # such as "21 degC"
points = "points.csv"          # beside this file; columns: mass [kg] (or torque [N.m]), indication [N.m]
# measured = 2026-11-24        # the day of the points, where it is not that of the certificate
# made = 2026-11-25            # else the day of the certificate
# months = 12                  # until the next one
# degree = 1                   # 1: a straight line through zero; 2 or 3 where its residuals show a bend

[weights]                      # dead weights on a level arm; or [reference] with  name, identity, expanded_u = "0.2%"
identity = ""                  # such as "set 3, discs 1 to 5, weighed 2025-11"
arm = ""                       # such as "500 mm"
arm_within = ""                # such as "0.5 mm"
level_within = ""              # such as "2 deg"
masses_within = ""             # such as "0.1%"
latitude = ""                  # such as "52 deg"
# height = "60 m"              # above the sea; or instead of latitude and height  gravity = "9.8125 m/s^2"
loads = ["2 kg", "4 kg", "6 kg", "8 kg", "10 kg"]

[run]                          # used with --device: each series goes from zero up, down, and back to zero
directions = "both"            # or "first", "other"
mountings = 1                  # in so many positions of the sensor
series = 2                     # in each position
"""
"""What only the workshop knows is empty, so that nobody's template becomes a certificate: an empty key is refused by its name."""


@dataclass(frozen=True, slots=True)
class Reference:
    """What the loads are: `unit` kg for weights on the arm, N.m for a reference sensor; `u_relative` of the torque they make."""

    method: str
    unit: str
    u_relative: float
    arm: Arm | None = None

    def torque_nm(self, load: float) -> float:
        """The torque of a load, a magnitude."""
        return load if self.arm is None else self.arm.torque_nm(load)


@dataclass(frozen=True, slots=True)
class Load:
    """One load to be put on: kg or N.m, the direction, whether it is reached from below, the series and mounting it belongs to."""

    size: float
    direction: int
    rising: bool
    series: int
    mounting: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A calibration as planned. `draft` is the certificate without points and functions; `loads` are one run up, without zero."""

    draft: Certificate
    points: Path
    reference: Reference
    loads: tuple[float, ...]
    directions: tuple[int, ...] = (1, -1)
    mountings: int = 1
    series: int = 2

    def all_loads(self) -> list[Load]:
        """Every load in its order: zero, up, down, zero; series after series, one direction after the other."""
        runs = itertools.product(self.directions, range(1, self.mountings + 1), range(self.series))
        up = [(0.0, True), *((size, True) for size in self.loads)]
        down = [*((size, False) for size in self.loads[-2::-1]), (0.0, False)]
        return [
            Load(size, direction, rising, number, mounting)
            for number, (direction, mounting, _) in enumerate(runs, start=1)
            for size, rising in (*up, *down)
        ]


class HeightM(Quantity):
    """Above the sea."""

    DIMENSION, UNIT, EXAMPLE, LOW, HIGH = "length", "m", "60 m", -500.0, 9_000.0


class WithinM(Quantity):
    """Limits either way of a length, every value between them as likely."""

    DIMENSION, UNIT, EXAMPLE, LOW, HIGH = "length", "m", "0.5 mm", 0.0, 1.0


class WithinDeg(Quantity):
    """Limits either way of an angle."""

    DIMENSION, UNIT, EXAMPLE, LOW, HIGH = "angle", "deg", "2 deg", 0.0, 45.0


class LatitudeDeg(Quantity):
    """North or south."""

    DIMENSION, UNIT, EXAMPLE, LOW, HIGH = "angle", "deg", "52 deg", 0.0, 90.0


class ReferenceTorqueNm(TorqueNm):
    """A load on a reference sensor."""

    EXAMPLE = "20 N.m"


class ReferenceU(FromText):
    """The expanded uncertainty (k = 2) of a reference: a share of its reading, or a torque."""

    EXPECTED = 'an expanded uncertainty such as "0.2 %" or "0.1 N.m"'
    __slots__ = ("share", "text", "torque_nm")

    def __init__(self, share: float | None, torque_nm: float | None, text: str) -> None:
        self.share, self.torque_nm, self.text = share, torque_nm, text

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read it. Raises UnitError or Refusal."""
        value, unit = split_quantity(text)
        if value <= 0:
            raise Refusal("", f"is {quoted(text)}, which is not above zero", cls.EXPECTED)
        if unit in ("%", "ppm"):
            return cls(to_si(text, "relative"), None, text)
        return cls(None, to_si(text, "torque"), text)


class _Head(Closed, frozen=True, kw_only=True):
    number: Annotated[Name, says("the certificate's number, in quotes")]
    workshop: Annotated[Name, says("whose calibration it is, name and place")] | None = None
    sensor: Annotated[Name, says("the sensor's name")]
    serial: Annotated[Name, says("a text, as on the sensor's plate")] | None = None
    capacity: CapacityNm | None = None
    by: Annotated[Name, says("initials")] | None = None
    temperature: TemperatureC | None = None
    points: Annotated[Name, says('the file of the points, such as "points.csv"')] = Name("points.csv")
    measured: Day | None = None
    made: Day | None = None
    months: Annotated[int, between(1, 60)] = MONTHS
    degree: Annotated[int, between(1, 3)] = 1


class _Weights(Closed, frozen=True, kw_only=True):
    identity: Annotated[Name, says("which weights: their numbers, where and when they were weighed")] | None = None
    arm: LengthM
    arm_within: WithinM
    level_within: WithinDeg
    masses_within: Share
    latitude: LatitudeDeg | None = None
    height: HeightM = HeightM(0.0)
    gravity: AccelerationMs2 | None = None
    loads: Annotated[tuple[MassKg, ...], says(_LOADS.format("2 kg"))] = ()

    def __post_init__(self) -> None:
        if (self.gravity is None) == (self.latitude is None):
            expected = 'latitude = "52 deg" (and height), or gravity = "9.8125 m/s^2"'
            raise Refusal("latitude", "or 'gravity' is needed, and not both", expected)
        if self.gravity is not None and not GRAVITY_ON_EARTH[0] < self.gravity < GRAVITY_ON_EARTH[1]:
            expected = 'local gravity such as "9.8125 m/s^2"'
            raise Refusal("gravity", f"is {self.gravity:g} m/s^2, which no place on earth has", expected)
        _must_rise(self.loads, "2 kg")

    def reference(self) -> Reference:
        by_place = self.latitude is not None
        if self.latitude is not None:
            gravity = normal_gravity(self.latitude, self.height)
            place = f"{gravity:.4f} m/s2 (normal gravity at {self.latitude:g} deg, {self.height:g} m)"
        else:
            assert self.gravity is not None
            gravity, place = self.gravity, f"{self.gravity:.4f} m/s2 (as entered)"
        arm = Arm(
            length_m=self.arm,
            gravity=gravity,
            u_length_m=self.arm_within / RECTANGULAR,
            u_gravity=NORMAL_GRAVITY_U if by_place else 0.0,
            u_tilt_deg=self.level_within / RECTANGULAR,
        )
        method = f"dead weights on an arm of {1000 * self.arm:g} mm, local gravity {place}"
        return Reference(method, "kg", arm.u_relative(self.masses_within / RECTANGULAR), arm)


class _Reference(Closed, frozen=True, kw_only=True):
    name: Annotated[Name, says("the reference sensor's name and certificate")]
    identity: Annotated[Name, says("the reference's number and certificate")] | None = None
    expanded_u: ReferenceU
    loads: Annotated[tuple[ReferenceTorqueNm, ...], says(_LOADS.format("20 N.m"))] = ()

    def __post_init__(self) -> None:
        _must_rise(self.loads, "20 N.m")
        if self.expanded_u.share is None and not self.loads:
            found = f"is {quoted(self.expanded_u.text)} and no loads are given"
            raise Refusal("expanded_u", found, 'loads too, or a share such as "0.2 %"')

    def reference(self) -> Reference:
        stated = self.expanded_u
        if stated.share is not None:
            expanded, of = stated.share, f"{100 * stated.share:g} %"
        else:
            # A torque is the larger share the smaller the load: that of the smallest load counts for all, on the safe side.
            expanded = (stated.torque_nm or 0.0) / self.loads[0]
            of = f"{stated.text}, counted as {100 * expanded:.2g} %, its share of the smallest load"
        return Reference(f"against the reference {self.name}, expanded uncertainty {of} (k = 2)", "N.m", expanded / 2)


class _Run(Closed, frozen=True, kw_only=True):
    directions: Literal["both", "first", "other"] = "both"
    mountings: Annotated[int, between(1, 20)] = 1
    series: Annotated[int, between(1, 20)] = 2


class _Plan(Closed, frozen=True, kw_only=True):
    certificate: _Head
    weights: _Weights | None = None
    reference: _Reference | None = None
    run: _Run = _Run()

    def __post_init__(self) -> None:
        if (self.weights is None) == (self.reference is None):
            raise Refusal("", "needs one of the sections [weights] and [reference], and not both", "what the load is made with")


def _must_rise(loads: Sequence[float], example: str) -> None:
    if any(later <= sooner for sooner, later in itertools.pairwise((0.0, *loads))):
        raise Refusal("loads", "do not rise from above zero", _LOADS.format(example))


def load_plan(path: Path, today: date) -> Plan:
    """Read a plan; `today` is the day of the certificate where the plan names none.

    Raises
    ------
    FileError, DocumentError, CertificateError
    """
    missing = "check the path; 'platepull calibrate --template' prints a plan to fill in"
    plan = read_document(path, _Plan, "plan", if_missing=missing).value
    head, source = plan.certificate, plan.weights or plan.reference
    assert source is not None
    reference, made = source.reference(), head.made or today
    if head.measured is not None and head.measured > made:
        what = f"the points are of {head.measured}, after the certificate of {made}"
        raise CertificateError(what, where=str(path), remedy="correct the days, or leave 'made' out")
    draft = Certificate(
        number=built_in(head.number),
        made=built_in(made),
        due=months_later(made, head.months),
        sensor=built_in(head.sensor),
        method=reference.method,
        u_relative=reference.u_relative,
        degree=head.degree,
        points=(),
        serial=built_in(head.serial),
        workshop=built_in(head.workshop),
        identity=built_in(source.identity),
        measured=built_in(head.measured),
        capacity_nm=built_in(head.capacity),
        by=built_in(head.by),
        temperature_c=built_in(head.temperature),
    )
    return Plan(
        draft=draft,
        points=path.parent / head.points,
        reference=reference,
        loads=tuple(map(float, source.loads)),
        directions=DIRECTIONS[plan.run.directions],
        mountings=plan.run.mountings,
        series=plan.run.series,
    )


def months_later(day: date, months: int) -> date:
    """The same day so many months on, or the last of a shorter month."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))
