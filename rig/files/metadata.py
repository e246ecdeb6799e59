"""TraceInfo: what is known of a trace beside its samples, and its JSON form (a W3C CSVW metadata document).

The document describes the CSV in the terms of the W3C Recommendation "Metadata Vocabulary for Tabular Data" (2015); what the bench
alone knows stands under one key of its own, `platepull:bench`.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, replace
from datetime import date
from typing import Any

from analysis.errors import BenchError
from analysis.results import Calibration as CalibrationInForce
from analysis.results import CalibrationFunction, OffsetAdapter, Sensor
from analysis.window import Basis, Window
from rig.errors import MetadataError
from rig.files.certificate import WAYS, Certificate, function_document, function_of

KEY = "platepull:bench"  # with a colon, as the recommendation asks of properties that are not its own (5.8)
SHORT_KEY = "platepull"  # as a person may write it by hand
CSVW = "http://www.w3.org/ns/csvw"


@dataclass(frozen=True, slots=True, kw_only=True)
class Transducer:
    """The torque sensor of the trace. Uncertainties are standard uncertainties; None: not known, or as the certificate has it."""

    name: str | None = None
    serial: str | None = None
    capacity_nm: float | None = None
    u_nm: float | None = None
    u_relative: float | None = None
    resolution_nm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """The certificate behind the transducer: its number, the day it was made, the last day it counts (ISO 8601), its functions.

    The samples of a trace are as the sensor sent them; the functions are put in force on reading.
    """

    certificate: str | None = None
    made: str | None = None
    due: str | None = None
    forward: CalibrationFunction | None = None
    back: CalibrationFunction | None = None

    @classmethod
    def of(cls, certificate: Certificate) -> Calibration:
        """What a trace keeps of a certificate."""
        made, due = certificate.made.isoformat(), certificate.due.isoformat()
        return cls(certificate=certificate.number, made=made, due=due, forward=certificate.forward, back=certificate.back)

    def on(self, day: date) -> CalibrationInForce | None:
        """The certificate as it counts for a pull of that day; None: none is known. A due date that is no date counts as past."""
        if self == Calibration():
            return None
        last = None if self.due is None else _date(self.due)
        expired = self.due is not None and (last is None or day > last)
        return CalibrationInForce(self.certificate or "", self.forward, self.back, expired)

    def days_left(self, today: date) -> int | None:
        """Days until the due day, below zero when it has passed; None where no day is known."""
        last = None if self.due is None else _date(self.due)
        return None if last is None else (last - today).days

    def terms(self) -> dict[str, Any]:
        """What is known, as JSON values."""
        functions = {name: getattr(self, name) for name in WAYS}
        texts = {"certificate": self.certificate, "made": self.made, "due": self.due}
        known = {name: text for name, text in texts.items() if text is not None}
        return known | {name: function_document(function) for name, function in functions.items() if function is not None}


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceInfo:
    """What is known of a trace beside its samples. Everything is optional; None is unknown.

    number       of the pull in its series, from 1
    when         ISO 8601 with offset, the moment the pull began
    window       what it is judged against
    arrangement  who is held and who turns, as a code
    phase        as found, rebuilt, after run-in, after additive ...
    plates       which pack of plates is in; plate_state: new, run in, used
    closure      trial or final
    excluded     why the pull is not to count, where a person marked it so
    software     name and version of what wrote the trace
    zero_before_nm, zero_after_nm   torque at rest before and after the pull, as it was read
    exercised_nm    the torque to which the sensor was exercised before the pull, in its direction
    calibration_flags    what the bench had to say of the sensor, codes of `PullResult.calibration_flags` between blanks
    notes        what the reader of the file should know; made on reading, never written
    """

    job: str | None = None
    unit: str | None = None
    customer: str | None = None
    series: str | None = None
    number: int | None = None
    who: str | None = None
    when: str | None = None
    phase: str | None = None
    arrangement: str | None = None
    lubricant: str | None = None
    additive: str | None = None
    plates: str | None = None
    plate_state: str | None = None
    closure: str | None = None
    excluded: str | None = None
    temperature_c: float | None = None
    rest_s: float | None = None
    lever: str | None = None
    adapter: str | None = None
    device: str | None = None
    scenario: str | None = None
    software: str | None = None
    remark: str | None = None
    zero_before_nm: float | None = None
    zero_after_nm: float | None = None
    exercised_nm: float | None = None
    calibration_flags: str | None = None
    window: Window | None = None
    transducer: Transducer = Transducer()
    calibration: Calibration = Calibration()
    offset_adapter: OffsetAdapter | None = None
    notes: tuple[str, ...] = ()

    def sensor(self, today: date) -> Sensor:
        """What the analysis needs of the sensor. The certificate is judged on the day of the pull, `today` if that is not known."""
        part = self.transducer
        return Sensor(
            u_nm=part.u_nm,
            u_relative=part.u_relative,
            capacity_nm=part.capacity_nm,
            resolution_nm=part.resolution_nm,
            calibration=self.calibration.on(_date(self.when or "") or today),
            adapter=self.offset_adapter,
        )

    def calibration_flag_codes(self) -> tuple[str, ...]:
        """What the bench had to say of the sensor, as codes of `PullResult.calibration_flags`."""
        return tuple((self.calibration_flags or "").split())

    def with_certificate(self, certificate: Certificate) -> TraceInfo:
        """The same under that certificate: it counts in place of another one and of an uncertainty that was stated."""
        sensor = replace(self.transducer, u_nm=None, u_relative=None, serial=certificate.serial or self.transducer.serial)
        return replace(self, transducer=sensor, calibration=Calibration.of(certificate))

    def own_terms(self) -> dict[str, Any]:
        """The bench's own terms as JSON values; what is unknown is left out."""
        terms: dict[str, Any] = {}
        for entry in fields(self):
            value = getattr(self, entry.name)
            if entry.name == "notes" or value is None:
                continue
            if isinstance(value, Window):
                terms["window"] = {"limits": str(value), "basis": str(value.basis)}
            elif isinstance(value, Transducer | OffsetAdapter | Calibration):
                parts = value.terms() if isinstance(value, Calibration) else asdict(value)
                known = {name: part for name, part in parts.items() if part is not None}
                if known:
                    terms[entry.name] = known
            else:
                terms[entry.name] = value
        return terms


def _date(text: str) -> date | None:
    """The day that an ISO 8601 text begins with; None where it does not."""
    try:
        return date.fromisoformat(text[:10])
    except ValueError:
        return None


OLD_KEYS = {"lapses": "calibration_flags"}
"""Keys as recordings of version 0.1 wrote them."""
_TEXT = {entry.name for entry in fields(TraceInfo) if entry.type == "str | None"}
_NUMBER = {entry.name for entry in fields(TraceInfo) if entry.type in ("float | None", "int | None")}


def to_document(info: TraceInfo, csv_name: str, *, with_angle: bool) -> str:
    """The CSVW metadata document of the CSV named `csv_name`, as JSON text."""
    columns = [_column("time [s]", "time", "time of the sample on the device's clock"), _column("torque [N.m]", "torque", "torque")]
    if with_angle:
        columns.append(_column("angle [deg]", "angle", "angle at the transducer's hand side"))
    document = {
        "@context": CSVW,
        "url": csv_name,
        "dialect": {"encoding": "utf-8", "delimiter": ",", "header": True},
        "tableSchema": {"columns": columns},
        KEY: info.own_terms(),
    }
    return json.dumps(document, indent=1, ensure_ascii=False) + "\n"


def _column(title: str, name: str, meaning: str) -> dict[str, Any]:
    return {"titles": title, "name": name, "datatype": "number", "required": True, "dc:description": meaning}


def from_document(text: str, where: str) -> TraceInfo:
    """Read a metadata document. Unknown terms are left alone; raises MetadataError where a known one is of the wrong kind."""
    try:
        document = json.loads(text)
    except ValueError as fault:
        raise MetadataError("is not JSON", where=where, remedy=f"fix or remove it ({fault})") from fault
    if not isinstance(document, dict):
        raise MetadataError("is not a metadata document", where=where, remedy="fix or remove it")
    terms = document.get(KEY, document.get(SHORT_KEY, {}))
    if not isinstance(terms, dict):
        raise MetadataError(f"'{KEY}' is not an object", where=where, remedy="fix or remove it")
    terms = {OLD_KEYS.get(name, name): value for name, value in terms.items()}
    known: dict[str, Any] = {name: _text(terms, name, where) for name in _TEXT & terms.keys()}
    known |= {name: _number(terms, name, where) for name in _NUMBER & terms.keys()}
    if known.get("number") is not None:
        known["number"] = int(known["number"])
    if "window" in terms:
        known["window"] = _window(terms["window"], where)
    if "transducer" in terms:
        part = _part(terms, "transducer", where)
        texts: dict[str, Any] = {name: _text(part, name, where) for name in ("name", "serial") if name in part}
        numbers: dict[str, Any] = {
            name: _number(part, name, where) for name in ("capacity_nm", "u_nm", "u_relative", "resolution_nm") if name in part
        }
        known["transducer"] = Transducer(**texts, **numbers)
    if "calibration" in terms:
        part = _part(terms, "calibration", where)
        texts = {str(name): _text(part, name, where) for name in ("certificate", "made", "due") if name in part}
        functions: dict[str, Any] = {
            name: function_of(part[name], where, name, MetadataError) for name in WAYS if part.get(name) is not None
        }
        known["calibration"] = Calibration(**texts, **functions)
    if terms.get("offset_adapter") is not None:
        known["offset_adapter"] = _adapter_of(_part(terms, "offset_adapter", where), where)
    return TraceInfo(**known)


def _part(terms: Mapping[str, Any], name: str, where: str) -> dict[str, Any]:
    part = terms[name]
    if not isinstance(part, dict):
        raise MetadataError(f"'{name}' is not an object", where=where, remedy="fix or remove it")
    return part


def _adapter_of(part: Mapping[str, Any], where: str) -> OffsetAdapter:
    """Read an offset adapter. Raises MetadataError."""
    numbers = {entry.name: _number(part, entry.name, where) for entry in fields(OffsetAdapter) if entry.name in part}
    try:
        return OffsetAdapter(**numbers)  # type: ignore[arg-type]
    except (TypeError, ValueError) as fault:
        raise MetadataError(f"'offset_adapter' cannot be used ({fault})", where=where, remedy="fix or remove it") from fault


def _window(value: object, where: str) -> Window:
    try:
        if isinstance(value, str):
            return Window.parse(value)
        if isinstance(value, dict) and isinstance(value.get("limits"), str):
            return Window.parse(value["limits"], value.get("basis", Basis.BREAKAWAY))
    except (BenchError, ValueError) as fault:
        raise MetadataError(f"'window' cannot be read ({fault})", where=where, remedy="fix or remove it") from fault
    raise MetadataError("'window' is not a window", where=where, remedy='write it like "25..45 lbf.ft"')


def _text(terms: Mapping[str, Any], name: str, where: str) -> str | None:
    value = terms[name]
    if value is None or isinstance(value, str):
        return value
    if isinstance(value, int | float) and not isinstance(value, bool):
        return str(value)
    raise MetadataError(f"'{name}' is not text", where=where, remedy="fix or remove it")


def _number(terms: Mapping[str, Any], name: str, where: str) -> float | None:
    value = terms[name]
    if value is None or (isinstance(value, int | float) and not isinstance(value, bool)):
        return value
    raise MetadataError(f"'{name}' is not a number", where=where, remedy="fix or remove it")
