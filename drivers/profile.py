"""What a device profile says, as a value, and a profile as text. `rig.files.profile` reads them."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from analysis.results import OffsetAdapter
from drivers.registers import ModbusFormat
from drivers.text import TextFormat

Protocol = Literal["text", "frames", "modbus"]


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceProfile:
    """One device on one line. `text` and `modbus` are None unless they are the protocol; unknown of the sensor is None.

    `bits` are data bits, parity (N none, E even, O odd) and stop bits of a character on a serial line, such as '8N1'.
    `u_nm` and `u_relative` are standard uncertainties, at most one of them is given; `u_text` is as it was typed. `filter_hz` is
    the corner of the device's own low-pass filter. `certificate` is the path of a calibration certificate, `adapter` an adapter
    that sets the unit's axis off the sensor's.
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
    u_text: str | None = None
    filter_hz: float | None = None
    patience_s: float = 10.0
    certificate: str | None = None
    adapter: OffsetAdapter | None = None
    text: TextFormat | None = None
    modbus: ModbusFormat | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeProfile:
    """A gauge of lengths on a line; `bits` as of a device."""

    name: str
    port: str
    text: TextFormat
    baud: int = 9600
    bits: str = "8N1"


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
        rows += ['status = "glued"'] if layout.status_glued else []
        rows += ['check = "xor"'] if layout.check else []
    return "\n".join(rows) + "\n"


def _quoted(text: str) -> str:
    """A basic string of TOML: JSON's escapes are all among its own, and it wants one more."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
