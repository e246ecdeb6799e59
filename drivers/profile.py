"""Device profiles in TOML. Every refusal names the file, the key and what is expected there."""

from __future__ import annotations

import difflib
import json
import math
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal, get_args

from analysis.errors import UnitError
from analysis.results import OffsetAdapter
from analysis.units import ColumnHeader, Scale, split_quantity, to_si
from drivers.errors import ProfileError
from drivers.keys import Table
from drivers.modbus import MOST_REGISTERS, Function, ModbusFormat, Order, Value, ValueType
from drivers.text import Column, Kind, TextFormat

Protocol = Literal["text", "frames", "modbus"]
BITS = tuple(f"{data}{parity}{stop}" for data in (8, 7) for parity in "NEO" for stop in (1, 2))


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceProfile:
    """One device on one line. `text` and `modbus` are None unless they are the protocol; unknown of the sensor is None.

    `bits` are data bits, parity (N none, E even, O odd) and stop bits of a character on a serial line, such as '8N1'.
    `u_nm` and `u_relative` are standard uncertainties; at most one of them is given. `certificate` is the path of a calibration
    certificate, `adapter` an adapter that sets the unit's axis off the sensor's.
    """

    name: str
    port: str
    protocol: Protocol
    capacity_nm: float
    baud: int = 115200
    bits: str = "8N1"
    resolution_nm: float | None = None
    u_nm: float | None = None
    u_relative: float | None = None
    patience_s: float = 10.0
    certificate: str | None = None
    adapter: OffsetAdapter | None = None
    text: TextFormat | None = None
    modbus: ModbusFormat | None = None


def load_profile(path: Path) -> DeviceProfile:
    """Read a device profile; a certificate's path is taken from the profile's folder. Raises ProfileError."""
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        raise ProfileError("there is no such profile", where=str(path), remedy="check the path") from None
    except (OSError, UnicodeDecodeError) as fault:
        raise ProfileError(f"the profile cannot be read ({fault})", where=str(path), remedy="check the file") from fault
    except tomllib.TOMLDecodeError as fault:
        raise ProfileError(f"this is not TOML: {fault}", where=str(path), remedy="fix that line; texts stand in quotes") from fault
    profile = parse_profile(content, path.name)
    return profile if profile.certificate is None else replace(profile, certificate=str(path.parent / profile.certificate))


def parse_profile(content: dict[str, Any], where: str) -> DeviceProfile:
    """Make a profile of a TOML document; `where` names it in errors. Raises ProfileError."""
    sections: dict[str, Callable[[Table], Any]] = {"text": _text_format, "modbus": _modbus_format}
    known = ("device", "offset_adapter", *get_args(Protocol))
    for section, inside in content.items():
        if section not in known or not isinstance(inside, dict):
            near = difflib.get_close_matches(section, known, 1)
            hint = f", did you mean [{near[0]}]?" if near else ""
            raise ProfileError(f"'{section}' is not a section of a profile{hint}", where=where, remedy=f"use {', '.join(known)}")
    if "device" not in content:
        raise ProfileError("section [device] is missing", where=where, remedy="begin with [device] and its name, port and protocol")
    device = Table(where, "device", content["device"])
    protocol: Protocol = device.choice("protocol", get_args(Protocol))
    fields = {
        "name": device.word("name", 'a name such as "bench 1"'),
        "port": device.word("port", 'a port or URL such as "/dev/ttyUSB0", "COM3" or "socket://host:4000"'),
        "baud": device.whole("baud", 50, 12_000_000, 115200),
        "bits": device.choice("bits", BITS, "8N1"),
        "capacity_nm": device.quantity("capacity", "torque", "200 N.m"),
        "resolution_nm": device.quantity("resolution", "torque", "0.1 N.m", None),
        "patience_s": device.quantity("patience", "time", "10 s", 10.0),
        "certificate": device.word("certificate", "the path of a certificate that 'platepull calibrate' made", None),
        **_uncertainty(device),
    }
    device.done()
    if "offset_adapter" in content:
        fields["adapter"] = _adapter(Table(where, "offset_adapter", content["offset_adapter"]))
    if protocol == "frames" and "frames" in content:
        Table(where, "frames", content["frames"]).done()
    if protocol in sections:
        if protocol not in content:
            raise ProfileError(f"section [{protocol}] is missing", where=where, remedy=f'protocol "{protocol}" needs it')
        fields[protocol] = sections[protocol](Table(where, protocol, content[protocol]))
    return DeviceProfile(protocol=protocol, **fields)


def _uncertainty(device: Table) -> dict[str, float | None]:
    expected = 'a standard uncertainty such as "0.5 N.m" or "0.5%"'
    text = device.take("u", str, expected, None)
    if text is None:
        return {"u_nm": None, "u_relative": None}
    try:
        value, unit = split_quantity(text)
        u_nm, u_relative = (None, value / 100) if unit == "%" else (to_si(text, "torque"), None)
    except UnitError as fault:
        raise device.refuse("u", f"is {text!r}: {fault.what}", expected) from None
    if value <= 0:
        raise device.refuse("u", f"is {text!r}, which is not above zero", expected)
    return {"u_nm": u_nm, "u_relative": u_relative}


def _adapter(table: Table) -> OffsetAdapter:
    sizes = {
        "lever_m": table.quantity("lever", "length", "500 mm"),
        "length_m": table.quantity("length", "length", "75 mm"),
        "angle_deg": table.quantity("angle", "angle", "0 deg", 0.0, or_zero=True),
    }
    within_m = table.quantity("lever_within", "length", "10 mm", None)
    table.done()
    if within_m is not None:  # a limit either way, every place between as likely: JCGM 100, 4.3.7
        sizes["u_lever_m"] = within_m / math.sqrt(3)
    try:
        return OffsetAdapter(**sizes)
    except ValueError:
        expected = "more than the adapter takes away"
        raise table.refuse("lever", f"is {sizes['lever_m']:g} m, all of it taken by the adapter", expected) from None


_COLUMNS = 'a list such as ["torque [lbf.ft]", "angle [deg]"]; also "time [ms]", "counter" and "skip", or "KEY = torque [N.m]"'


def _text_format(table: Table) -> TextFormat:
    cells = table.take("columns", list, _COLUMNS)
    columns = tuple(_column(table, cell) for cell in cells)
    kinds = [column.kind for column in columns if column.kind != "skip"]
    if "torque" not in kinds:
        raise table.refuse("columns", "has no torque", _COLUMNS)
    if len(set(kinds)) < len(kinds) or {"time", "counter"} <= set(kinds):
        raise table.refuse("columns", "tells something twice", "each of torque, angle and time or counter at most once")
    if any(column.key for column in columns) and not all(column.key for column in columns):
        raise table.refuse("columns", "has a key for some columns only", 'a key for each, as in "T = torque [N.m]"')
    rate_hz = table.quantity("rate", "rate", "500 Hz", None)
    if rate_hz is None and "time" not in kinds:
        raise table.refuse("rate", "is missing", 'the device\'s sampling rate such as "500 Hz", because no time column is sent')
    delimiter = table.take("delimiter", str, 'a mark such as "," ";" "\\t" or " " for any run of blanks', ",")
    decimal = table.choice("decimal", (".", ","), ".")
    if not delimiter or any(mark in delimiter for mark in "\r\n.+-0123456789") or delimiter == decimal:
        raise table.refuse("delimiter", f"is {delimiter!r}", 'a mark that no number contains, such as ";" or "\\t"')
    words = table.take("overload", list, 'a list of words such as ["OL", "----"]', None)
    if words is not None and (not words or not all(isinstance(word, str) and word.strip() for word in words)):
        raise table.refuse("overload", f"is {words!r}", 'a list of words such as ["OL", "----"]')
    layout = TextFormat(
        columns=columns,
        delimiter=delimiter,
        rate_hz=rate_hz,
        decimal=decimal,
        tag=table.word("tag", 'the word that each line starts with, such as "$TQ"', ""),
        sign_after=table.choice("sign", ("before", "after"), "before") == "after",
        check=table.choice("check", ("none", "xor"), "none") == "xor",
        **({} if words is None else {"overload_words": tuple(word.upper() for word in words)}),
    )
    table.done()
    return layout


def _column(table: Table, cell: object) -> Column:
    if not isinstance(cell, str):
        raise table.refuse("columns", f"holds {cell!r}", _COLUMNS)
    key, mark, rest = cell.rpartition("=")
    header = ColumnHeader.parse(rest)
    kinds = get_args(Kind)
    if header.quantity not in kinds:
        near = difflib.get_close_matches(header.quantity, kinds, 1)
        hint = f", did you mean '{near[0]}'?" if near else ""
        raise table.refuse("columns", f"holds {cell!r}{hint}", _COLUMNS)
    column = Column(header.quantity, header.unit, key.strip() if mark else "")  # type: ignore[arg-type]
    if column.kind in ("torque", "angle", "time") and not column.unit:
        raise table.refuse("columns", f"holds {cell!r} without a unit", _COLUMNS)
    try:
        _ = column.scale
    except UnitError as fault:
        raise table.refuse("columns", f"holds {cell!r}: {fault.what}", _COLUMNS) from None
    return column


def _modbus_format(table: Table) -> ModbusFormat:
    torque, angle = _value(table, "torque", "a table such as [modbus.torque]"), None
    if table.take("angle", dict, "a table such as [modbus.angle]", None) is not None:
        angle = _value(table, "angle", "a table such as [modbus.angle]")
    layout = ModbusFormat(
        address=table.whole("address", 1, 247),
        rate_hz=table.quantity("rate", "rate", "20 Hz"),
        torque=torque,
        angle=angle,
        function=table.choice("function", get_args(Function), "holding"),
        timeout_s=table.quantity("timeout", "time", "500 ms", 0.5),
    )
    if layout.count > MOST_REGISTERS:
        raise table.refuse("angle", "lies too far from torque", f"both within {MOST_REGISTERS} registers, read in one request")
    table.done()
    return layout


def _value(parent: Table, name: Literal["torque", "angle"], expected: str) -> Value:
    table = Table(parent.file, f"modbus.{name}", parent.take(name, dict, expected))
    kind: ValueType = table.choice("type", get_args(ValueType))
    value = Value(
        register=table.whole("register", 0, 65535),
        type=kind,
        scale=Scale(table.quantity("scale", name, "0.1 N.m" if name == "torque" else "0.01 deg")),
        order=table.choice("order", get_args(Order), "ABCD"),
        overload=table.take("overload", int, "the number that the device sends beyond its range, such as 32767", None),
    )
    if value.register + value.registers > 65536:
        raise table.refuse("register", f"is {value.register}", f"room for a {kind} up to register 65535")
    table.done()
    return value


def profile_text(
    *, name: str, port: str, baud: int, bits: str, capacity: str | None, layout: TextFormat | None, remarks: Sequence[str] = ()
) -> str:
    """A profile in TOML, with remarks as comments at its head. `layout` None: frames; `capacity` None: a guess, marked so."""
    unknown = "" if capacity else "   # not known: take it from the sensor's plate"
    rows = ["# " + "".join(char if char.isprintable() else "?" for char in remark) for remark in remarks]
    rows += ["[device]", f"name = {_quoted(name)}", f"port = {_quoted(port)}", f"baud = {baud}"]
    rows += [f'bits = "{bits}"'] if bits != "8N1" else []
    rows += [f'protocol = "{"frames" if layout is None else "text"}"', f"capacity = {_quoted(capacity or '200 N.m')}{unknown}"]
    if layout is not None:
        cells = [(f"{c.key} = " if c.key else "") + c.kind + (f" [{c.unit}]" if c.unit else "") for c in layout.columns]
        rows += ["[text]", f"columns = [{', '.join(map(_quoted, cells))}]", f"delimiter = {_quoted(layout.delimiter)}"]
        rows += [f"rate = {_quoted(f'{layout.rate_hz:g} Hz')}"] if layout.rate_hz else []
        rows += ['decimal = ","'] if layout.decimal == "," else []
        rows += [f"tag = {_quoted(layout.tag)}"] if layout.tag else []
        rows += ['sign = "after"'] if layout.sign_after else []
        rows += ['check = "xor"'] if layout.check else []
    return "\n".join(rows) + "\n"


def _quoted(text: str) -> str:
    """A basic string of TOML: JSON's escapes are all among its own, and it wants one more."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
