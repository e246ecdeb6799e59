"""Certificate: what a calibration found, as a value and as a JSON file (schema: rig/schemas/certificate.schema.json)."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, fields, replace
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Final, Literal

import numpy as np

from analysis import bounds
from analysis.results import Calibration, CalibrationFunction
from analysis.sensor.calibration import SCHEME, Classed, Findings, Point, classify, examine
from analysis.sensor.correction import calibration_u, true_torque
from drivers.opening import DOCUMENT, read_bytes
from rig.errors import CertificateError, DocumentError
from rig.files.atomic import write_whole
from rig.files.document import from_values, values_of
from rig.files.fields import Closed, Day, Name, Refusal, Words, between, built_in, says

KIND = "platepull calibration certificate"
VERSION = 1
WAYS = {"forward": 1, "back": -1}
"""The two directions of turning, by their names in the file."""
CERTIFICATE: Final = replace(DOCUMENT, name="certificate", longest_line=DOCUMENT.most_bytes)
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
    workshop, identity, measured   whose it is, which weights or which reference, the day of the points (else that it was made)
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
    workshop: str | None = None
    identity: str | None = None
    measured: date | None = None

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
    for function in (forward, back):
        if function is not None and not bounds.GAIN[0] <= function.coefficients[0] <= bounds.GAIN[1]:
            what = f"true torque would be {function.coefficients[0]:.3g} times what the sensor indicates"
            raise CertificateError(what, remedy="check the units of loads and indications")
    return replace(draft, forward=forward, back=back)


# -- as JSON ----------------------------------------------------------------------------------------------------------------------


def function_document(function: CalibrationFunction) -> dict[str, Any]:
    """A calibration function; the covariance is row after row, for lists of lists are no JSON-LD."""
    flat = [value for row in function.covariance for value in row]
    return {**asdict(function), "coefficients": list(function.coefficients), "covariance": flat}


class FunctionTerms(Closed, frozen=True, kw_only=True):
    """A calibration function in a document."""

    coefficients: Annotated[tuple[float, ...], says("a list of one to three numbers, the first above zero")]
    covariance: tuple[float, ...]
    u_nm: Annotated[float, between(0, bounds.TORQUE_MOST_NM)]
    u_relative: Annotated[float, between(0, 1)]
    low_nm: Annotated[float, between(0, bounds.TORQUE_MOST_NM)]
    high_nm: Annotated[float, between(0, bounds.TORQUE_MOST_NM)]
    end_nm: Annotated[float, between(0, bounds.TORQUE_MOST_NM)]
    degrees_of_freedom: Annotated[float, between(0, 1e9)] | None = None

    def __post_init__(self) -> None:
        count = len(self.coefficients)
        low, high = bounds.GAIN
        if not 1 <= count <= 3 or not low <= self.coefficients[0] <= high:
            expected = f"a list of one to three numbers, the first (true over indicated torque) from {low:g} to {high:g}"
            raise Refusal("coefficients", f"is {list(self.coefficients)}", expected)
        if len(self.covariance) != count * count:
            raise Refusal("covariance", f"holds {len(self.covariance)} numbers", f"{count * count}")
        matrix = np.array(self.covariance).reshape(count, count)
        # Rounded figures may leave the smallest eigenvalue a little below zero, never comparable to the largest.
        least = float(np.linalg.eigvalsh((matrix + matrix.T) / 2).min())
        if not np.allclose(matrix, matrix.T) or least < -1e-6 * max(float(np.trace(matrix)), 0.0):
            raise Refusal("covariance", "is no covariance", "a symmetric matrix, row after row, without negative variances")
        if not self.low_nm <= self.high_nm or self.high_nm <= 0 or self.end_nm <= 0:
            raise Refusal("high_nm", f"is {self.high_nm}", "a range that ends above its beginning and above zero")
        if self.u_nm > bounds.U_MOST_OF_CAPACITY * self.high_nm:
            raise Refusal("u_nm", f"is {self.u_nm}", "less than the calibrated range")

    def value(self) -> CalibrationFunction:
        """The function."""
        count = len(self.coefficients)
        rows = tuple(self.covariance[at * count : (at + 1) * count] for at in range(count))
        sizes = {name: getattr(self, name) for name in ("u_nm", "u_relative", "low_nm", "high_nm", "end_nm")}
        return CalibrationFunction(self.coefficients, rows, **sizes, degrees_of_freedom=self.degrees_of_freedom)


class _Point(Closed, frozen=True, kw_only=True):
    torque_nm: Annotated[float, between(-bounds.TORQUE_MOST_NM, bounds.TORQUE_MOST_NM)]
    indication_nm: Annotated[float, between(-bounds.TORQUE_MOST_NM, bounds.TORQUE_MOST_NM)]
    rising: bool = True
    series: Annotated[int, between(1, 10_000)] = 1
    mounting: Annotated[int, between(1, 10_000)] = 1


class _Certificate(Closed, frozen=True, kw_only=True):
    kind: Literal["platepull calibration certificate"]
    version: Literal[1]
    number: Name
    made: Day
    due: Day
    sensor: Name
    method: Name
    u_relative: Annotated[float, between(0, 1)]
    degree: Annotated[int, between(1, 3)]
    points: tuple[_Point, ...] = ()
    serial: Words | None = None
    capacity_nm: Annotated[float, between(bounds.CAPACITY_LEAST_NM, bounds.TORQUE_MOST_NM)] | None = None
    by: Words | None = None
    temperature_c: Annotated[float, between(*bounds.TEMPERATURE_C)] | None = None
    workshop: Words | None = None
    identity: Words | None = None
    measured: Day | None = None
    forward: FunctionTerms | None = None
    back: FunctionTerms | None = None
    findings: Any = None
    """What the points show, as it was printed: the points themselves count."""

    def __post_init__(self) -> None:
        if self.due < self.made:
            raise Refusal("due", f"is {self.due}, before the day it was made", "the last day on which it is in force")
        if self.forward is None and self.back is None:
            raise Refusal("", "there is no function in it", "what the program wrote: make it anew with platepull calibrate")

    def value(self) -> Certificate:
        return Certificate(
            number=built_in(self.number),
            made=built_in(self.made),
            due=built_in(self.due),
            sensor=built_in(self.sensor),
            method=built_in(self.method),
            u_relative=self.u_relative,
            degree=self.degree,
            points=tuple(Point(p.torque_nm, p.indication_nm, p.rising, p.series, p.mounting) for p in self.points),
            forward=None if self.forward is None else self.forward.value(),
            back=None if self.back is None else self.back.value(),
            serial=built_in(self.serial),
            capacity_nm=self.capacity_nm,
            by=built_in(self.by),
            temperature_c=self.temperature_c,
            workshop=built_in(self.workshop),
            identity=built_in(self.identity),
            measured=built_in(self.measured),
        )


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
        **{name: value for name, value in own.items() if name not in ("points", "made", "due", "measured", *WAYS)},
        "made": certificate.made.isoformat(),
        "due": certificate.due.isoformat(),
        "measured": None if certificate.measured is None else certificate.measured.isoformat(),
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


def certificate_file(plan: Path, draft: Certificate) -> Path:
    """Where the certificate of a plan goes: beside it, named by its number."""
    number = "".join(char if char.isalnum() or char in "-." else "_" for char in draft.number)
    return plan.parent / f"certificate_{number}.json"


def write_certificate(path: Path, certificate: Certificate) -> None:
    """Write the JSON file, whole or not at all. Raises CertificateError."""
    try:
        write_whole(path, json.dumps(to_document(certificate), indent=1, ensure_ascii=False, allow_nan=False) + "\n")
    except OSError as fault:
        raise CertificateError(
            f"cannot be written ({fault.strerror})", where=str(path), remedy="check folder, rights and space"
        ) from fault


def read_certificate(path: Path) -> Certificate:
    """Read a certificate. Raises FileError or DocumentError, also where the functions are not those that the points give."""
    where = str(path)
    return from_document(values_of(read_bytes(path, CERTIFICATE), where, is_json=True), where)


def from_document(content: object, where: str) -> Certificate:
    """The certificate of JSON values; see `read_certificate`."""
    if not isinstance(content, dict) or content.get("kind") != KIND or content.get("version") != VERSION:
        remedy = "make one with: platepull calibrate"
        raise DocumentError(f"this is no '{KIND}' of version {VERSION}", where=where, remedy=remedy)
    certificate = from_values(content, _Certificate, where).value.value()
    _check_against_points(certificate, where)
    return certificate


def _check_against_points(certificate: Certificate, where: str) -> None:
    found = certificate.findings() if certificate.points else {}
    for name, way in WAYS.items():
        stands = getattr(certificate, name)
        if way in found and (stands is None or not _agree(stands, found[way].function)):
            raise DocumentError(
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
