"""Device profiles: TOML into the values that the drivers work with."""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any, ClassVar, Literal, Self, get_args

from analysis import bounds
from analysis.errors import UnitError, quoted
from analysis.results import OffsetAdapter
from analysis.units import ColumnHeader, Scale
from drivers.profile import DeviceProfile, GaugeProfile, Protocol
from drivers.registers import MOST_REGISTERS, Function, ModbusFormat, Order, Value, ValueType
from drivers.text import OVERLOAD_WORDS, Column, Kind, TextFormat
from rig.files.document import from_values, read_document
from rig.files.fields import (
    AngleDeg,
    CapacityNm,
    Closed,
    FromText,
    LengthM,
    LengthMm,
    Name,
    Quantity,
    RateHz,
    Refusal,
    SensorU,
    TimeS,
    TorqueNm,
    between,
    built_in,
    says,
)


class Columns(tuple[Column, ...], FromText):
    """The fields of a line."""

    EXPECTED = 'a list such as ["torque [lbf.ft]", "angle [deg]"]; also "time [ms]", "counter" and "skip", or "KEY = torque [N.m]"'
    MEASURED: ClassVar[Kind] = "torque"
    KINDS: ClassVar[tuple[Kind, ...]] = ("torque", "angle", "time", "counter", "skip")
    __slots__ = ()

    @classmethod
    def of(cls, value: object) -> Self:
        """Read the list. Raises Refusal."""
        if not isinstance(value, list):
            return super().of(value if not isinstance(value, str) else None)
        columns = cls(_column(cell, cls) for cell in value)
        kinds = [column.kind for column in columns if column.kind != "skip"]
        if cls.MEASURED not in kinds:
            raise Refusal("", f"has no {cls.MEASURED}", cls.EXPECTED)
        if len(set(kinds)) < len(kinds) or {"time", "counter"} <= set(kinds):
            raise Refusal("", "tells something twice", "each of torque, angle and time or counter at most once")
        if any(column.key for column in columns) and not all(column.key for column in columns):
            raise Refusal("", "has a key for some columns only", 'a key for each, as in "T = torque [N.m]"')
        return columns


class GaugeColumns(Columns):
    """The fields of a gauge's line."""

    EXPECTED = 'a list such as ["length [mm]"] or ["skip", "length [in]"], or "KEY = length [mm]"'
    MEASURED = "length"
    KINDS = ("length", "counter", "time", "skip")
    __slots__ = ()


def _column(cell: object, columns: type[Columns]) -> Column:
    if not isinstance(cell, str):
        raise Refusal("", f"holds {cell!r}", columns.EXPECTED)
    key, mark, rest = cell.rpartition("=")
    header = ColumnHeader.parse(rest)
    if header.quantity not in columns.KINDS:
        if header.quantity in get_args(Kind):
            whose = "a gauge's, for the entry of lengths in the window" if header.quantity == "length" else "a torque sensor's"
            raise Refusal("", f"holds {quoted(cell)}, which is {whose}", columns.EXPECTED)
        near = difflib.get_close_matches(header.quantity, columns.KINDS, 1)
        raise Refusal("", f"holds {quoted(cell)}" + (f", did you mean '{near[0]}'?" if near else ""), columns.EXPECTED)
    column = Column(header.quantity, header.unit, key.strip() if mark else "")
    if column.kind in ("torque", "angle", "length", "time") and not column.unit:
        raise Refusal("", f"holds {quoted(cell)} without a unit", columns.EXPECTED)
    try:
        _ = column.scale
    except UnitError as fault:
        raise Refusal("", f"holds {quoted(cell)}: {fault.what}", columns.EXPECTED) from None
    return column


class TorqueScale(Quantity):
    """What one count of a register is worth."""

    DIMENSION, UNIT, EXAMPLE, LOW, HIGH = "torque", "N.m", "0.1 N.m", math.ulp(0.0), bounds.TORQUE_MOST_NM


class AngleScale(Quantity):
    """What one count of a register is worth."""

    DIMENSION, UNIT, EXAMPLE, LOW, HIGH = "angle", "deg", "0.01 deg", math.ulp(0.0), 360.0


class AdapterAngle(AngleDeg):
    """Between the lever's line beyond the sensor and an adapter."""

    EXAMPLE, LOW, HIGH = "0 deg", 0.0, 360.0


class Within(LengthMm):
    """Limits either way of a length."""

    EXAMPLE = "10 mm"


Bits = Literal["8N1", "8N2", "8E1", "8E2", "8O1", "8O2", "7N1", "7N2", "7E1", "7E2", "7O1", "7O2"]


class _Port(Closed, frozen=True, kw_only=True):
    name: Annotated[Name, says('a name such as "bench 1"')]
    port: Annotated[Name, says('a port or URL such as "/dev/ttyUSB0", "COM3" or "socket://host:4000"')]
    baud: Annotated[int, between(50, 12_000_000)] = 115200
    bits: Bits = "8N1"


class _Device(_Port, frozen=True, kw_only=True):
    protocol: Protocol
    capacity: CapacityNm
    resolution: TorqueNm | None = None
    u: SensorU | None = None
    filter: RateHz | None = None
    patience: TimeS = TimeS(10.0)
    certificate: Annotated[Name, says("the path of a certificate that 'platepull calibrate' made")] | None = None

    def __post_init__(self) -> None:
        most_nm = bounds.RESOLUTION_MOST_OF_CAPACITY * self.capacity
        if self.resolution is not None and not 0 < self.resolution <= most_nm:
            raise Refusal("resolution", f"is {quoted(self.resolution.text)}", f"a step above zero, of at most {most_nm:g} N.m")
        if self.u is not None and (self.u.stated.u_nm(self.capacity) or 0.0) > bounds.U_MOST_OF_CAPACITY * self.capacity:
            raise Refusal("u", f"is {quoted(self.u.stated.text)}, more than the sensor's range", SensorU.EXPECTED)


class _Line(Closed, frozen=True, kw_only=True):
    columns: Columns
    delimiter: Annotated[str, says('a mark such as "," ";" "\\t" or " " for any run of blanks')] = ","
    decimal: Literal[".", ","] = "."
    tag: Annotated[str, says('the word that each line starts with, such as "$TQ"')] = ""
    sign: Literal["before", "after"] = "before"
    status: Literal["apart", "glued"] = "apart"
    check: Literal["none", "xor"] = "none"
    overload: Annotated[tuple[Name, ...], says('a list of words such as ["OL", "----"]')] = OVERLOAD_WORDS  # type: ignore[assignment]

    def __post_init__(self) -> None:
        mark = self.delimiter
        if not 0 < len(mark) < 10 or any(char in mark for char in "\r\n.+-0123456789") or mark == self.decimal:
            raise Refusal("delimiter", f"is {quoted(mark)}", 'a mark that no number contains, such as ";" or "\\t"')
        if not self.overload:
            raise Refusal("overload", "is empty", 'a list of words such as ["OL", "----"]')

    def value(self) -> TextFormat:
        return TextFormat(
            columns=tuple(self.columns),
            delimiter=self.delimiter,
            decimal=self.decimal,
            tag=self.tag,
            sign_after=self.sign == "after",
            status_glued=self.status == "glued",
            check=self.check == "xor",
            overload_words=tuple(word.upper() for word in self.overload),
        )


class _Text(_Line, frozen=True, kw_only=True):
    rate: Annotated[RateHz, says('the device\'s sampling rate such as "500 Hz", because no time column is sent')] | None = None

    def __post_init__(self) -> None:
        if self.rate is None and all(column.kind != "time" for column in self.columns):
            raise Refusal("rate", "is missing", 'the device\'s sampling rate such as "500 Hz", because no time column is sent')
        super().__post_init__()

    def value(self) -> TextFormat:
        return replace(super().value(), rate_hz=self.rate)


class _GaugeLine(_Line, frozen=True, kw_only=True):
    columns: GaugeColumns


class _GaugeDevice(_Port, frozen=True, kw_only=True):
    protocol: Literal["text"] = "text"
    baud: Annotated[int, between(50, 12_000_000)] = 9600


class _Gauge(Closed, frozen=True, kw_only=True):
    device: _GaugeDevice
    text: _GaugeLine

    def value(self) -> GaugeProfile:
        device = self.device
        return GaugeProfile(
            name=built_in(device.name), port=built_in(device.port), baud=device.baud, bits=device.bits, text=self.text.value()
        )


class _Register(Closed, frozen=True, kw_only=True):
    register: Annotated[int, between(0, 65535)]
    type: ValueType
    order: Order = "ABCD"
    overload: Annotated[int, says("the number that the device sends beyond its range, such as 32767")] | None = None

    def __post_init__(self) -> None:
        if self.register + self.value(1.0).registers > 65536:
            raise Refusal("register", f"is {self.register}", f"room for a {self.type} up to register 65535")

    def value(self, scale: float) -> Value:
        return Value(register=self.register, type=self.type, scale=Scale(scale), order=self.order, overload=self.overload)


class _TorqueRegister(_Register, frozen=True, kw_only=True):
    scale: TorqueScale


class _AngleRegister(_Register, frozen=True, kw_only=True):
    scale: AngleScale


class _Modbus(Closed, frozen=True, kw_only=True):
    address: Annotated[int, between(1, 247)]
    rate: Annotated[RateHz, says('a rate with its unit in quotes, such as "20 Hz"')]
    torque: _TorqueRegister
    angle: _AngleRegister | None = None
    function: Function = "holding"
    timeout: TimeS = TimeS(0.5)

    def __post_init__(self) -> None:
        if self.value().count > MOST_REGISTERS:
            room = f"both within {MOST_REGISTERS} registers, read in one request"
            raise Refusal("angle", "lies too far from torque", room)

    def value(self) -> ModbusFormat:
        return ModbusFormat(
            address=self.address,
            rate_hz=self.rate,
            torque=self.torque.value(self.torque.scale),
            angle=None if self.angle is None else self.angle.value(self.angle.scale),
            function=self.function,
            timeout_s=self.timeout,
        )


class _Adapter(Closed, frozen=True, kw_only=True):
    lever: LengthM
    length: LengthM
    angle: AdapterAngle = AdapterAngle(0.0)
    lever_within: Within | None = None

    def __post_init__(self) -> None:
        try:
            self.value()
        except ValueError:
            taken = f"is {self.lever:g} m, all of it taken by the adapter"
            raise Refusal("lever", taken, "more than the adapter takes away") from None

    def value(self) -> OffsetAdapter:
        adapter = OffsetAdapter(lever_m=self.lever, length_m=self.length, angle_deg=self.angle)
        if self.lever_within is None:
            return adapter
        # A limit either way, every place between as likely: JCGM 100, 4.3.7.
        return replace(adapter, u_lever_m=self.lever_within / 1000 / math.sqrt(3))


class _Nothing(Closed, frozen=True, kw_only=True):
    """Frames are laid out by their standard."""


class _Profile(Closed, frozen=True, kw_only=True):
    device: _Device
    text: _Text | None = None
    frames: _Nothing | None = None
    modbus: _Modbus | None = None
    offset_adapter: _Adapter | None = None

    def __post_init__(self) -> None:
        protocol = self.device.protocol
        if protocol != "frames" and getattr(self, protocol) is None:
            raise Refusal(protocol, "is missing", f'a section, for protocol "{protocol}" needs it')

    def value(self) -> DeviceProfile:
        device = self.device
        stated = None if device.u is None else device.u.stated
        return DeviceProfile(
            name=built_in(device.name),
            port=built_in(device.port),
            protocol=device.protocol,
            capacity_nm=built_in(device.capacity),
            baud=device.baud,
            bits=device.bits,
            resolution_nm=built_in(device.resolution),
            u_nm=None if stated is None else stated.u_nm(device.capacity),
            u_relative=None if stated is None else stated.u_relative,
            u_text=None if stated is None else stated.text,
            filter_hz=built_in(device.filter),
            patience_s=built_in(device.patience),
            certificate=built_in(device.certificate),
            adapter=None if self.offset_adapter is None else self.offset_adapter.value(),
            text=self.text.value() if self.text is not None and device.protocol == "text" else None,
            modbus=self.modbus.value() if self.modbus is not None and device.protocol == "modbus" else None,
        )


def read_profile(path: Path) -> DeviceProfile:
    """Read a device profile; a certificate's path is taken from the profile's folder. Raises FileError or DocumentError."""
    profile = read_document(path, _Profile, "profile").value.value()
    return profile if profile.certificate is None else replace(profile, certificate=str(path.parent / profile.certificate))


def read_gauge(path: Path) -> GaugeProfile:
    """Read the profile of a gauge: `[device]` name and port, `[text]` columns with a length. Raises FileError or DocumentError."""
    return read_document(path, _Gauge, "profile").value.value()


def profile_of(content: Mapping[str, Any], where: str) -> DeviceProfile:
    """The profile of a TOML document's values; `where` names it in errors. Raises DocumentError."""
    return from_values(content, _Profile, where).value.value()
