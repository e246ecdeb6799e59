"""A calibration as it is planned, in TOML: the certificate's head, the reference, and the loads to be put on."""

from __future__ import annotations

import calendar
import itertools
import math
import tomllib
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from analysis.errors import UnitError
from analysis.sensor.dead_weight import NORMAL_GRAVITY_U, Arm, normal_gravity
from analysis.units import Quantity, to_si
from drivers.keys import Table
from rig.errors import CertificateError
from rig.files.certificate import Certificate

DIRECTIONS = {"both": (1, -1), "first": (1,), "other": (-1,)}
MONTHS = 12
"""A year between calibrations, sooner after an overload, a drop or a repair (ISO 6789-2 for hand tools; trade notes 6)."""

TEMPLATE = """\
# A calibration of the torque sensor. Fill in, take the points, then:  platepull calibrate THIS.toml
# With  --device PROFILE.toml  the points are taken at the bench, one load after the other.
[certificate]
number = "2026-1"
sensor = "bench 1"
serial = "0042"                # as on its plate
capacity = "200 N.m"
by = "T.W."
temperature = "21 degC"
points = "points.csv"          # beside this file; columns: mass [kg] (or torque [N.m]), indication [N.m]
# made = 2026-11-25            # else the day of the certificate
# months = 12                  # until the next one
# degree = 1                   # 1: a straight line through zero; 2 or 3 where its residuals show a bend

[weights]                      # dead weights on a level arm; or a section [reference] with  name  and  expanded_u = "0.2%"
arm = "500 mm"                 # from the sensor's axis to where the weight hangs
arm_within = "0.5 mm"          # limits either way, every value between them as likely
level_within = "2 deg"
masses_within = "0.1%"
latitude = "52 deg"            # north or south; with height = "60 m"; or instead of both  gravity = "9.8125 m/s^2"
loads = ["2 kg", "4 kg", "6 kg", "8 kg", "10 kg"]

[run]                          # used with --device: each series goes from zero up, down, and back to zero
directions = "both"            # or "first", "other"
mountings = 1                  # in so many positions of the sensor
series = 2                     # in each position
"""


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


def load_plan(path: Path, today: date) -> Plan:
    """Read a plan. Raises CertificateError, naming the key."""
    where = str(path)
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        remedy = "check the path; 'platepull calibrate --template' prints a plan to fill in"
        raise CertificateError("there is no such plan", where=where, remedy=remedy) from None
    except (OSError, UnicodeDecodeError) as fault:
        raise CertificateError(f"the plan cannot be read ({fault})", where=where, remedy="check the file") from fault
    except tomllib.TOMLDecodeError as fault:
        raise CertificateError(f"this is not TOML: {fault}", where=where, remedy="fix that line; texts stand in quotes") from fault
    sections = {name: _section(content, name, path.name) for name in content}
    unknown = sections.keys() - {"certificate", "weights", "reference", "run"}
    if unknown or "certificate" not in sections or len(sections.keys() & {"weights", "reference"}) != 1:
        what = f"'{unknown.pop()}' is not a section of a plan" if unknown else "sections are missing or too many"
        remedy = "use [certificate], one of [weights] and [reference], and [run] if you like"
        raise CertificateError(what, where=where, remedy=remedy)
    reference, loads = _weights(sections["weights"]) if "weights" in sections else _reference(sections["reference"])
    head = sections["certificate"]
    made = head.take("made", date, "a day such as 2026-11-25, without quotes", today)
    draft = Certificate(
        number=head.word("number", "the certificate's number, in quotes"),
        made=made,
        due=months_later(made, head.whole("months", 1, 60, MONTHS)),
        sensor=head.word("sensor", "the sensor's name"),
        method=reference.method,
        u_relative=reference.u_relative,
        degree=head.whole("degree", 1, 3, 1),
        points=(),
        serial=head.word("serial", "a text, as on the sensor's plate", None),
        capacity_nm=head.quantity("capacity", "torque", "200 N.m", None),
        by=head.word("by", "initials", None),
        temperature_c=_temperature(head),
    )
    points = path.parent / head.word("points", 'the file of the points, such as "points.csv"', "points.csv")
    run = sections.get("run") or Table(path.name, "run", {}, CertificateError)
    plan = Plan(
        draft=draft,
        points=points,
        reference=reference,
        loads=loads,
        directions=DIRECTIONS[run.choice("directions", tuple(DIRECTIONS), "both")],
        mountings=run.whole("mountings", 1, 20, 1),
        series=run.whole("series", 1, 20, 2),
    )
    for section in (*sections.values(), run):
        section.done()
    return plan


def months_later(day: date, months: int) -> date:
    """The same day so many months on, or the last of a shorter month."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))


def _section(content: dict[str, Any], name: str, where: str) -> Table:
    if not isinstance(content[name], dict):
        raise CertificateError(f"'{name}' is not a section", where=where, remedy=f"write it as [{name}]")
    return Table(where, name, content[name], CertificateError)


def _temperature(head: Table) -> float | None:
    text = head.word("temperature", 'a temperature such as "21 degC"', None)
    try:
        return None if text is None else to_si(text, "temperature")
    except UnitError as fault:
        raise head.refuse("temperature", f"is {text!r}: {fault.what}", 'a temperature such as "21 degC"') from None


def _loads(table: Table, quantity: Quantity, example: str) -> tuple[float, ...]:
    expected = f'a rising list of loads in quotes, such as ["{example}"]; zero is always taken'
    texts = table.take("loads", list, expected, [])
    try:
        loads = tuple(to_si(text, quantity) for text in texts)
    except (UnitError, TypeError, AttributeError) as fault:
        raise table.refuse("loads", f"cannot be read ({fault})", expected) from None
    if any(later <= sooner for sooner, later in itertools.pairwise((0.0, *loads))):
        raise table.refuse("loads", "do not rise from above zero", expected)
    return loads


def _within(table: Table, key: str, quantity: Quantity, example: str) -> float:
    """Limits either way as a standard uncertainty: rectangular (JCGM 100, 4.3.7)."""
    return float(table.quantity(key, quantity, example, or_zero=True)) / math.sqrt(3)


def _weights(table: Table) -> tuple[Reference, tuple[float, ...]]:
    gravity = table.quantity("gravity", "acceleration", "9.8125 m/s^2", None)
    latitude_deg = table.quantity("latitude", "angle", "52 deg", None, or_zero=True)
    height_m = table.quantity("height", "length", "60 m", 0.0, or_zero=True)
    expected = 'latitude = "52 deg" (and height), or gravity = "9.8125 m/s^2"'
    if (gravity is None) == (latitude_deg is None):
        raise table.refuse("latitude", "or 'gravity' is needed, and not both", expected)
    by_place = gravity is None
    try:
        gravity = normal_gravity(latitude_deg, height_m) if by_place else gravity
    except ValueError as fault:
        raise table.refuse("latitude", f"cannot be used: {fault}", expected) from None
    if not 9.7 < gravity < 9.9:
        raise table.refuse("gravity", f"is {gravity} m/s^2, which no place on earth has", expected)
    arm = Arm(
        length_m=table.quantity("arm", "length", "500 mm"),
        gravity=gravity,
        u_length_m=_within(table, "arm_within", "length", "0.5 mm"),
        u_gravity=NORMAL_GRAVITY_U if by_place else 0.0,
        u_tilt_deg=_within(table, "level_within", "angle", "2 deg"),
    )
    u_relative = arm.u_relative(_within(table, "masses_within", "relative", "0.1%"))
    place = f"{gravity:.4f} m/s2" + (f" (normal gravity at {latitude_deg:g} deg, {height_m:g} m)" if by_place else " (as entered)")
    method = f"dead weights on an arm of {1000 * arm.length_m:g} mm, local gravity {place}"
    return Reference(method, "kg", u_relative, arm), _loads(table, "mass", "2 kg")


def _reference(table: Table) -> tuple[Reference, tuple[float, ...]]:
    name = table.word("name", "the reference sensor's name and certificate")
    expanded = table.quantity("expanded_u", "relative", "0.2%")
    method = f"against the reference {name}, expanded uncertainty {100 * expanded:g} % (k = 2)"
    return Reference(method, "N.m", expanded / 2), _loads(table, "torque", "20 N.m")
