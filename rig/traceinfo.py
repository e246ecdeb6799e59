"""TraceInfo: what is known of a trace beside its samples, and its JSON form (a W3C CSVW metadata document).

The document describes the CSV in the terms of the W3C Recommendation "Metadata Vocabulary for Tabular Data" (2015); what the bench
alone knows stands under one key of its own, `platepull:bench`.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any

from analysis.errors import BenchError
from analysis.results import Sensor
from analysis.window import Basis, Window

KEY = "platepull:bench"  # with a colon, as the recommendation asks of properties that are not its own (5.8)
SHORT_KEY = "platepull"  # as a person may write it by hand
CSVW = "http://www.w3.org/ns/csvw"


class MetadataError(BenchError):
    """A metadata document that cannot be used."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Transducer:
    """The torque sensor of the trace. Uncertainties are standard uncertainties; None: not known."""

    name: str | None = None
    serial: str | None = None
    capacity_nm: float | None = None
    u_nm: float | None = None
    u_relative: float | None = None
    resolution_nm: float | None = None

    def sensor(self) -> Sensor:
        """What the analysis needs of it."""
        return Sensor(u_nm=self.u_nm, u_relative=self.u_relative, capacity_nm=self.capacity_nm, resolution_nm=self.resolution_nm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """The certificate behind the transducer: its number, the day it was made and the day it falls due (ISO 8601 dates)."""

    certificate: str | None = None
    made: str | None = None
    due: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceInfo:
    """What is known of a trace beside its samples. Everything is optional; None is unknown.

    number       of the pull in its series, from 1
    when         ISO 8601 with offset, the moment the pull began
    window       what it is judged against
    arrangement  who is held and who turns, as a code
    phase        as found, rebuilt, after run-in, after additive ...
    software     name and version of what wrote the trace
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
    temperature_c: float | None = None
    rest_s: float | None = None
    lever: str | None = None
    adapter: str | None = None
    device: str | None = None
    scenario: str | None = None
    software: str | None = None
    remark: str | None = None
    window: Window | None = None
    transducer: Transducer = Transducer()
    calibration: Calibration = Calibration()
    notes: tuple[str, ...] = ()

    def own_terms(self) -> dict[str, Any]:
        """The bench's own terms as JSON values; what is unknown is left out."""
        terms: dict[str, Any] = {}
        for entry in fields(self):
            value = getattr(self, entry.name)
            if entry.name == "notes" or value is None:
                continue
            if isinstance(value, Window):
                terms["window"] = {"limits": str(value), "basis": str(value.basis)}
            elif isinstance(value, Transducer | Calibration):
                known = {name: part for name, part in asdict(value).items() if part is not None}
                if known:
                    terms[entry.name] = known
            else:
                terms[entry.name] = value
        return terms


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
        raise MetadataError("is not JSON", where=where, mend=f"mend or remove it ({fault})") from fault
    if not isinstance(document, dict):
        raise MetadataError("is not a metadata document", where=where, mend="mend or remove it")
    terms = document.get(KEY, document.get(SHORT_KEY, {}))
    if not isinstance(terms, dict):
        raise MetadataError(f"'{KEY}' is not an object", where=where, mend="mend or remove it")
    known: dict[str, Any] = {name: _text(terms, name, where) for name in _TEXT & terms.keys()}
    known |= {name: _number(terms, name, where) for name in _NUMBER & terms.keys()}
    if known.get("number") is not None:
        known["number"] = int(known["number"])
    if "window" in terms:
        known["window"] = _window(terms["window"], where)
    if "transducer" in terms:
        known["transducer"] = Transducer(**_part(terms, "transducer", {"name", "serial"}, Transducer, where))
    if "calibration" in terms:
        known["calibration"] = Calibration(**_part(terms, "calibration", {"certificate", "made", "due"}, Calibration, where))
    return TraceInfo(**known)


def _part(terms: Mapping[str, Any], name: str, texts: set[str], kind: type[Transducer | Calibration], where: str) -> dict[str, Any]:
    part = terms[name]
    if not isinstance(part, dict):
        raise MetadataError(f"'{name}' is not an object", where=where, mend="mend or remove it")
    names = {entry.name for entry in fields(kind)} & part.keys()
    return {key: (_text if key in texts else _number)(part, key, where) for key in names}


def _window(value: object, where: str) -> Window:
    try:
        if isinstance(value, str):
            return Window.parse(value)
        if isinstance(value, dict) and isinstance(value.get("limits"), str):
            return Window.parse(value["limits"], value.get("basis", Basis.BREAKAWAY))
    except (BenchError, ValueError) as fault:
        raise MetadataError(f"'window' cannot be read ({fault})", where=where, mend="mend or remove it") from fault
    raise MetadataError("'window' is not a window", where=where, mend='write it like "25..45 lbf.ft"')


def _text(terms: Mapping[str, Any], name: str, where: str) -> str | None:
    value = terms[name]
    if value is None or isinstance(value, str):
        return value
    if isinstance(value, int | float) and not isinstance(value, bool):
        return str(value)
    raise MetadataError(f"'{name}' is not text", where=where, mend="mend or remove it")


def _number(terms: Mapping[str, Any], name: str, where: str) -> float | None:
    value = terms[name]
    if value is None or (isinstance(value, int | float) and not isinstance(value, bool)):
        return value
    raise MetadataError(f"'{name}' is not a number", where=where, mend="mend or remove it")
