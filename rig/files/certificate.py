"""Certificate: what a calibration found, as a value and as a JSON file (schema: rig/schemas/certificate.schema.json)."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, fields, replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from analysis.errors import BenchError
from analysis.results import Calibration, CalibrationFunction
from analysis.sensor.calibration import SCHEME, Classed, Findings, Point, classify, examine
from analysis.sensor.correction import calibration_u, true_torque
from drivers.keys import Table
from rig.errors import CertificateError
from rig.files.atomic import write_whole

KIND = "platepull calibration certificate"
VERSION = 1
WAYS = {"forward": 1, "back": -1}
"""The two directions of turning, by their names in the file."""
AGREEMENT = 1e-6
"""Of the range: functions that differ by more from what the points give were edited; less is the arithmetic of another computer."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificate:
    """A calibration certificate of the workshop's own. What was not stated is None.

    number, made, due  of the certificate; `due` is the last day on which it is in force
    sensor, serial     of the torque sensor, as the profile and its plate name it
    method             a sentence: weights on what arm under what gravity, or against which reference
    u_relative         standard uncertainty of the reference torque, as a share of it
    degree             of the polynomial through zero
    points             as they were taken, both directions
    forward, back      the functions in use
    """

    number: str
    made: date
    due: date
    sensor: str
    method: str
    u_relative: float
    degree: int
    points: tuple[Point, ...]
    forward: CalibrationFunction | None = None
    back: CalibrationFunction | None = None
    serial: str | None = None
    capacity_nm: float | None = None
    by: str | None = None
    temperature_c: float | None = None

    def on(self, day: date) -> Calibration:
        """The certificate as it counts for a pull of that day."""
        return Calibration(self.number, self.forward, self.back, expired=day > self.due)

    def findings(self) -> dict[int, Findings]:
        """What the points show, for each direction (1, -1) with loads. A series is all of one. Raises CertificateError."""
        series: dict[int, list[Point]] = {}
        for point in self.points:
            series.setdefault(point.series, []).append(point)
        found: dict[int, Findings] = {}
        for name, way in WAYS.items():
            run = [point for one in series.values() if any(each.torque_nm * way > 0 for each in one) for point in one]
            if run:
                try:
                    found[way] = examine(run, degree=self.degree, u_relative=self.u_relative)
                except ValueError as fault:
                    what = f"the points {name} do not make a calibration: {fault}"
                    raise CertificateError(what, remedy="take more points") from fault
        if not found:
            raise CertificateError("there is no load among the points", remedy="take points at loads, and at zero before and after")
        return found


def certified(draft: Certificate) -> Certificate:
    """The certificate with the functions that its points give. Raises CertificateError."""
    found = draft.findings()
    forward, back = (found[way].function if way in found else None for way in (1, -1))
    return replace(draft, forward=forward, back=back)


# -- as JSON ----------------------------------------------------------------------------------------------------------------------


def function_document(function: CalibrationFunction) -> dict[str, Any]:
    """A calibration function; the covariance is row after row, for lists of lists are no JSON-LD."""
    flat = [value for row in function.covariance for value in row]
    return {**asdict(function), "coefficients": list(function.coefficients), "covariance": flat}


def function_of(content: object, where: str, section: str, error: type[BenchError] = CertificateError) -> CalibrationFunction:
    """Read a calibration function. Raises `error`."""
    table = _table(content, where, section, error)
    expected = "a list of one to three numbers"
    coefficients = _numbers(table, "coefficients", expected)
    count = len(coefficients)
    flat = _numbers(table, "covariance", f"a list of {count * count} numbers")
    if not 1 <= count <= 3 or coefficients[0] <= 0:
        raise table.refuse("coefficients", f"is {list(coefficients)}", expected + ", the first above zero")
    if len(flat) != count * count:
        raise table.refuse("covariance", f"holds {len(flat)} numbers", f"{count * count}")
    sizes = {
        name: _size(table, name, low)
        for name, low in (("u_nm", True), ("u_relative", True), ("low_nm", True), ("high_nm", False), ("end_nm", False))
    }
    degrees = table.number("degrees_of_freedom", "a number, or null", None)
    table.done()
    rows = tuple(tuple(flat[i * count : (i + 1) * count]) for i in range(count))
    return CalibrationFunction(coefficients, rows, **sizes, degrees_of_freedom=degrees)


def _table(content: object, where: str, section: str, error: type[BenchError] = CertificateError) -> Table:
    if not isinstance(content, dict):
        raise error(f"'{section}' is not an object", where=where, remedy="fix or remove it")
    return Table(where, section, {key: value for key, value in content.items() if value is not None}, error)


def _numbers(table: Table, key: str, expected: str) -> tuple[float, ...]:
    values = table.take(key, list, expected)
    if not all(isinstance(value, int | float) and not isinstance(value, bool) for value in values):
        raise table.refuse(key, f"is {values!r}", expected)
    return tuple(float(value) for value in values)


def _size(table: Table, key: str, or_zero: bool) -> float:
    expected = "a number not below zero" if or_zero else "a number above zero"
    value = float(table.number(key, expected))
    if value < 0 or (value == 0 and not or_zero):
        raise table.refuse(key, f"is {value}", expected)
    return value


def classed_by_direction(certificate: Certificate) -> dict[str, tuple[Findings, Classed]]:
    """Findings and class of each direction that has points, by its name."""
    found = certificate.findings() if certificate.points else {}
    return {name: (found[way], classify(found[way])) for name, way in WAYS.items() if way in found}


def to_document(certificate: Certificate) -> dict[str, Any]:
    """The certificate as JSON values: what is in force, what was found, and the points it came from."""
    own = {entry.name: getattr(certificate, entry.name) for entry in fields(certificate)}
    functions = {name: getattr(certificate, name) for name in WAYS}
    return {
        "kind": KIND,
        "version": VERSION,
        **{name: value for name, value in own.items() if name not in ("points", "made", "due", *WAYS)},
        "made": certificate.made.isoformat(),
        "due": certificate.due.isoformat(),
        **{name: None if function is None else function_document(function) for name, function in functions.items()},
        "findings": {
            name: _findings_document(findings, classed) for name, (findings, classed) in classed_by_direction(certificate).items()
        },
        "points": [asdict(point) for point in certificate.points],
    }


def _findings_document(findings: Findings, classed: Classed) -> dict[str, Any]:
    return {
        "residual_deviation_nm": findings.fit.deviation,
        "deviation_by_degree_nm": {str(degree): deviation for degree, deviation in findings.deviations_nm},
        "zero_return_nm": findings.zero_return_nm,
        "steps": [asdict(step) for step in findings.steps],
        "class": classed.best,
        "class_scheme": SCHEME,
        "why_no_class": classed.why or None,
        "largest_percent": dict(classed.figures),
    }


def write_certificate(path: Path, certificate: Certificate) -> None:
    """Write the JSON file, whole or not at all. Raises CertificateError."""
    try:
        write_whole(path, json.dumps(to_document(certificate), indent=1, ensure_ascii=False, allow_nan=False) + "\n")
    except OSError as fault:
        raise CertificateError(
            f"cannot be written ({fault.strerror})", where=str(path), remedy="check folder, rights and space"
        ) from fault


def read_certificate(path: Path) -> Certificate:
    """Read a certificate. Raises CertificateError, also where the functions are not those that the points give."""
    where = str(path)
    try:
        content = json.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        raise CertificateError("there is no such certificate", where=where, remedy="check the path") from None
    except (OSError, UnicodeDecodeError) as fault:
        raise CertificateError(f"the certificate cannot be read ({fault})", where=where, remedy="check the file") from fault
    except ValueError as fault:
        raise CertificateError(f"this is not JSON: {fault}", where=where, remedy="make it anew: platepull calibrate") from fault
    return from_document(content, where)


def from_document(content: object, where: str) -> Certificate:
    """The certificate of JSON values; see `read_certificate`."""
    if not isinstance(content, dict) or content.get("kind") != KIND or content.get("version") != VERSION:
        raise CertificateError(
            f"this is no '{KIND}' of version {VERSION}", where=where, remedy="make one with: platepull calibrate"
        )
    table = _table(content, where, "certificate")
    for key in ("kind", "version", "findings", *WAYS):
        table.take(key, object, "what the program wrote", None)
    points = table.take("points", list, "a list of points", [])
    certificate = Certificate(
        number=table.word("number", "the certificate's number"),
        made=_day(table, "made"),
        due=_day(table, "due"),
        sensor=table.word("sensor", "the sensor's name"),
        method=table.word("method", "a sentence on the reference"),
        u_relative=_size(table, "u_relative", or_zero=True),
        degree=table.whole("degree", 1, 3),
        points=tuple(_point(point, where, number) for number, point in enumerate(points, start=1)),
        serial=table.word("serial", "a text", None),
        capacity_nm=table.number("capacity_nm", "a torque in N.m", None),
        by=table.word("by", "initials", None),
        temperature_c=table.number("temperature_c", "a temperature in degrees Celsius", None),
        **{name: None if content.get(name) is None else function_of(content[name], where, name) for name in WAYS},
    )
    table.done()
    if certificate.forward is None and certificate.back is None:
        raise CertificateError("there is no function in it", where=where, remedy="make it anew: platepull calibrate")
    _check_against_points(certificate, where)
    return certificate


def _check_against_points(certificate: Certificate, where: str) -> None:
    found = certificate.findings() if certificate.points else {}
    for name, way in WAYS.items():
        stands = getattr(certificate, name)
        if way in found and (stands is None or not _agree(stands, found[way].function)):
            raise CertificateError(
                f"the function '{name}' is not the one that its points give",
                where=where,
                remedy="the file was edited: make it anew with platepull calibrate",
            )


def _agree(first: CalibrationFunction, second: CalibrationFunction) -> bool:
    """Whether both give the same torque and the same uncertainty, at the lowest load, in the middle and at the highest."""
    indications = np.linspace(second.low_nm, second.end_nm, 3)
    torques = [true_torque(indications, Calibration("", function)) for function in (first, second)]
    us = [[calibration_u(function, float(torque)).u_nm for torque in torques[1]] for function in (first, second)]
    ranges = [(function.low_nm, function.high_nm, function.end_nm) for function in (first, second)]
    return all(np.allclose(one, other, rtol=0, atol=AGREEMENT * second.high_nm) for one, other in (torques, us, ranges))


def _day(table: Table, key: str) -> date:
    expected = 'a day such as "2026-11-25"'
    try:
        return date.fromisoformat(table.word(key, expected))
    except ValueError:
        raise table.refuse(key, "is not a day", expected) from None


def _point(content: object, where: str, number: int) -> Point:
    table = _table(content, where, f"point {number}")
    point = Point(
        torque_nm=float(table.number("torque_nm", "a torque in N.m")),
        indication_nm=float(table.number("indication_nm", "a torque in N.m")),
        rising=table.take("rising", bool, "true or false", True),
        series=table.whole("series", 1, 10_000, 1),
        mounting=table.whole("mounting", 1, 10_000, 1),
    )
    table.done()
    return point
