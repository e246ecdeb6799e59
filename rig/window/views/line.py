"""What the line page shows: ports, figures of the line with what is amiss, the raw rows as decoded. No Qt."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from analysis.sensor.zero_history import SOON_DAYS, far_off
from rig.files.metadata import TraceInfo
from rig.words.language import number, say, say_n
from rig.words.numbers import torque
from rig.words.units import UnitChoice

if TYPE_CHECKING:
    from rig.live.line_tap import RawRow
    from rig.live.runner import Status


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure with its name; `amiss` where the person should look."""

    name: str
    value: str
    amiss: bool = False


def ports() -> list[str]:
    """The serial ports that are plugged in, each in a line."""
    from drivers.line import list_ports

    return [f"{info.port}   {info.what}".strip() for info in list_ports()]


def figures(status: Status, info: TraceInfo, today: date, unit: UnitChoice) -> list[Figure]:
    """Rate, counts of what was lost or bad, zero, calibration."""
    wire, zero_nm = status.line, status.zero_nm
    faults = wire.faults
    rate = "–" if wire.rate_hz is None else f"{number(wire.rate_hz, 0)} Hz"
    return [
        Figure(say("samples a second"), rate, wire.up and (wire.rate_hz or 0) < 100),
        Figure(say("samples so far"), str(wire.samples)),
        Figure(say("lost on the wire"), str(faults.lost), faults.lost > 0),
        Figure(say("not readable"), str(faults.garbled + faults.overlong), faults.garbled + faults.overlong > 0),
        Figure(say("sensor overloaded"), str(faults.overload), faults.overload > 0),
        Figure(say("dropped by this computer"), str(wire.dropped), wire.dropped > 0),
        Figure(say("zero"), torque(zero_nm, unit.first), far_off(zero_nm, info.transducer.capacity_nm)),
        calibration(info, today),
    ]


def calibration(info: TraceInfo, today: date) -> Figure:
    """When the sensor's calibration is due."""
    name = say("calibration due")
    due = info.calibration.due
    if due is None:
        return Figure(name, say("not stated"))
    days = info.calibration.days_left(today)
    if days is None:
        return Figure(name, due, amiss=True)
    if days < 0:
        return Figure(name, say("{date}: overdue", date=due), amiss=True)
    return Figure(name, say_n("{date}: in 1 day", "{date}: in {n} days", days, date=due), amiss=days < SOON_DAYS)


def row_texts(row: RawRow, unit: UnitChoice) -> tuple[str, str, str]:
    """A raw row and what was read in it."""
    if not row.read:
        return row.raw, say("not readable"), ""
    read = "" if row.torque_nm is None else torque(row.torque_nm, unit.first)
    return row.raw, read, "" if row.angle_deg is None else f"{number(row.angle_deg, 2)}°"
