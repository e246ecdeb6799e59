"""TraceInfo: what is known of a trace beside its samples, and its JSON form (a W3C CSVW metadata document).

The document describes the CSV in the terms of the W3C Recommendation "Metadata Vocabulary for Tabular Data" (2015); what the bench
alone knows stands under one key of its own, `platepull:bench`.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, replace
from datetime import date
from typing import Annotated, Any, Self

from msgspec import Meta

from analysis import bounds
from analysis.results import Calibration as CalibrationInForce
from analysis.results import CalibrationFunction, OffsetAdapter, Sensor
from analysis.verdict.votes import Stated
from analysis.window import Window
from rig.errors import DocumentError
from rig.files.certificate import WAYS, Certificate, FunctionTerms, function_document
from rig.files.document import from_values, values_of
from rig.files.fields import FromText, Open, Refusal, Words, above, between, built_in, found

UNFINISHED = "cut off: the program ended while it was recorded"
KEY = "platepull:bench"  # with a colon, as the recommendation asks of properties that are not its own (5.8)
SHORT_KEY = "platepull"  # as a person may write it by hand
CSVW = "http://www.w3.org/ns/csvw"


Torque = Annotated[float, between(-bounds.TORQUE_MOST_NM, bounds.TORQUE_MOST_NM)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Transducer:
    """The torque sensor of the trace. Uncertainties are standard uncertainties; None: not known, or as the certificate has it.

    filter_hz   corner of the sensor's or indicator's own low-pass filter

    Raises ValueError where they are beyond the sensor's range.
    """

    name: str | None = None
    serial: str | None = None
    capacity_nm: Annotated[float, between(bounds.CAPACITY_LEAST_NM, bounds.TORQUE_MOST_NM)] | None = None
    u_nm: Annotated[float, above(0)] | None = None
    u_relative: Annotated[float, Meta(gt=0, lt=1)] | None = None
    resolution_nm: Annotated[float, between(0)] | None = None
    filter_hz: Annotated[float, above(0)] | None = None

    def __post_init__(self) -> None:
        capacity_nm = bounds.TORQUE_MOST_NM if self.capacity_nm is None else self.capacity_nm
        if self.u_nm is not None and self.u_nm > bounds.U_MOST_OF_CAPACITY * capacity_nm:
            raise Refusal("u_nm", f"is {self.u_nm:g}, more than the sensor's range", "a standard uncertainty in N.m")
        if self.resolution_nm is not None and self.resolution_nm > bounds.RESOLUTION_MOST_OF_CAPACITY * capacity_nm:
            raise Refusal("resolution_nm", f"is {self.resolution_nm:g}, most of the sensor's range", "a step in N.m")


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """The certificate behind the transducer: its number, the day it was made, the last day it counts (ISO 8601), its functions.

    The samples of a trace are as the sensor sent them; the functions are applied on reading.
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
    remark       what a person noted of the pull; series_remark: of its whole series
    free_turn    the unit turned without holding: kept, and without a vote until a person says that it was the pull
    excluded     why the pull is not to count, where a person marked it so
    unfinished   true while it is written: where it still says so, the program ended in the middle
    software     name and version of what wrote the trace
    zero_before_nm, zero_after_nm   torque at rest before and after the pull, as it was read
    exercised_nm    the torque to which the sensor was exercised before the pull, in its direction
    rest_load_nm    what hung on the lever at rest, a load of the plates too, as a person stated; signed as the trace
    rest_explained  a person has said why the level at rest stepped before this pull
    rest_moved_nm   the step of the level at rest before this pull that nobody has explained, signed as the trace
    calibration_flags    what the bench had to say of the sensor, codes of `PullResult.calibration_flags` between blanks
    notes        what the reader of the file should know; made on reading, never written
    """

    job: str | None = None
    unit: str | None = None
    customer: str | None = None
    series: str | None = None
    number: Annotated[int, between(1, 1_000_000)] | None = None
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
    free_turn: bool | None = None
    unfinished: bool | None = None
    temperature_c: Annotated[float, between(*bounds.TEMPERATURE_C)] | None = None
    rest_s: Annotated[float, between(0, bounds.REST_MOST_S)] | None = None
    lever: str | None = None
    adapter: str | None = None
    device: str | None = None
    scenario: str | None = None
    software: str | None = None
    remark: str | None = None
    series_remark: str | None = None
    zero_before_nm: Torque | None = None
    zero_after_nm: Torque | None = None
    exercised_nm: Torque | None = None
    rest_load_nm: Torque | None = None
    rest_moved_nm: Torque | None = None
    rest_explained: bool | None = None
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
            filter_hz=part.filter_hz,
        )

    def calibration_flag_codes(self) -> tuple[str, ...]:
        """What the bench had to say of the sensor, as codes of `PullResult.calibration_flags`."""
        return tuple((self.calibration_flags or "").split())

    def stated(self) -> Stated:
        """What is stated of the pull for its verdict."""
        excluded = self.excluded or (UNFINISHED if self.unfinished else None)
        return Stated(self.arrangement, self.plate_state, self.rest_s, excluded)

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
                terms["window"] = _window_terms(value)
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


SIMULATED_DEVICE = "simulated bench"
"""The device that pulls of the simulated bench name: by it they are told from real ones wherever they lie."""

OLD_KEYS = {"lapses": "calibration_flags"}
"""Keys as recordings of version 0.1 wrote them."""


def _window_terms(window: Window) -> dict[str, str]:
    terms = {"limits": window.text or str(window), "basis": str(window.basis)}
    return terms if window.arrangement is None else {**terms, "arrangement": window.arrangement}


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


def amended(document: Mapping[str, Any], info: TraceInfo) -> str:
    """A metadata document as it stands with the bench's own terms as `info` has them, as JSON text; unknown keys are kept."""
    stood = document.get(KEY, document.get(SHORT_KEY, {}))
    terms: dict[str, Any] = {**_unknown(stood, TraceInfo), **info.own_terms()}
    for name, part in _PARTS.items():
        if isinstance(stood.get(name), dict) and (others := _unknown(stood[name], part)):
            terms[name] = {**others, **terms.get(name, {})}
    rest = {key: value for key, value in document.items() if key not in (KEY, SHORT_KEY)}
    return json.dumps({**rest, KEY: terms}, indent=1, ensure_ascii=False) + "\n"


def _unknown(terms: Mapping[str, Any], of: type) -> dict[str, Any]:
    known = {entry.name for entry in fields(of)} | OLD_KEYS.keys() | {"limits"}
    return {key: value for key, value in terms.items() if key not in known}


class _Calibration(Open, frozen=True, kw_only=True):
    certificate: Words | None = None
    made: Words | None = None
    due: Words | None = None
    forward: FunctionTerms | None = None
    back: FunctionTerms | None = None

    def value(self) -> Calibration:
        return Calibration(
            certificate=built_in(self.certificate),
            made=built_in(self.made),
            due=built_in(self.due),
            forward=None if self.forward is None else self.forward.value(),
            back=None if self.back is None else self.back.value(),
        )


class WindowTerms(FromText):
    """A window in a document: its limits as a text, or a table of `limits`, `basis` and `arrangement`."""

    EXPECTED = 'a window such as "25..45 lbf.ft", or a table of limits, basis and arrangement'
    __slots__ = ("window",)

    def __init__(self, window: Window) -> None:
        self.window = window

    @classmethod
    def of(cls, value: object) -> Self:
        """Read either form. Raises Refusal, WindowError or UnitError."""
        if not isinstance(value, dict):
            return super().of(value)
        texts = [value.get("limits"), value.get("basis", "breakaway"), value.get("arrangement")]
        if not all(isinstance(text, str) for text in texts[:2]) or not isinstance(texts[2], str | None):
            raise Refusal("", "has parts that are no texts", cls.EXPECTED)
        return cls(Window.parse(*texts))

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read the limits. Raises WindowError or UnitError."""
        return cls(Window.parse(text))


class _Parts(Open, frozen=True, kw_only=True):
    """The terms that become values of our own before the rest is read."""

    window: WindowTerms | None = None
    calibration: _Calibration | None = None


def from_document(data: bytes, where: str) -> TraceInfo:
    """Read a metadata document; unknown terms are left alone. Raises DocumentError where a known one cannot be used."""
    return info_of(values_of(data, where, is_json=True), where)


def info_of(document: Mapping[str, Any], where: str) -> TraceInfo:
    """What the values of a metadata document say. Raises DocumentError."""
    terms = document.get(KEY, document.get(SHORT_KEY, {}))
    if not isinstance(terms, dict):
        raise DocumentError(f"key '{KEY}' is {found(terms)}", where=where, remedy="expected a table of keys")
    place = f"{where}, [{KEY}]"
    parts = from_values(terms, _Parts, place).value
    stated: dict[str, Any] = {}
    for key, value in terms.items():
        name = str(OLD_KEYS.get(key, key))
        # A job's or a sensor's number may stand there as a number; null is as good as nothing.
        number = name in _TEXTS and isinstance(value, int | float) and not isinstance(value, bool)
        if value is not None and name != "notes":
            stated[name] = str(value) if number else value
    if isinstance(count := stated.get("number"), float) and count.is_integer():
        stated["number"] = int(count)
    stated |= {"window": parts.window.window} if parts.window else {}
    stated |= {"calibration": parts.calibration.value()} if parts.calibration else {}
    if isinstance(sensor := stated.get("transducer"), dict):
        texts = {part: str(sensor[part]) for part in ("name", "serial") if isinstance(sensor.get(part), int | float)}
        stated["transducer"] = {**sensor, **texts}
    read = from_values(stated, TraceInfo, place)
    return replace(read.value, notes=read.hints)


_TEXTS = {entry.name for entry in fields(TraceInfo) if entry.type == "str | None"}
_PARTS: Mapping[str, type] = {
    "transducer": Transducer,
    "calibration": Calibration,
    "window": Window,
    "offset_adapter": OffsetAdapter,
}
