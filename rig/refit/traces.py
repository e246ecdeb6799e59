"""What a refit reads off recorded traces: drag over whole turns, and the last pass of a bolt."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np

from analysis.pull.conditioning import Conditioned, condition
from analysis.refit.drag import Turns, read_turns
from analysis.refit.fasteners import BoltReading, read_bolt
from analysis.results import Sensor
from analysis.sensor.correction import apply_calibration
from analysis.verdict.uncertainty import calibration_line
from rig.files.trace_csv import read_trace

LEAST_SAMPLES = 10
"""Fewer make neither a turn nor a bolt."""
PEAK_MEAN_S = 0.005
"""The mean over this keeps the noise of single samples out of the highest torque. A hand that lets go at once comes down by some
300 N.m/s (a quick pull watched on the line), so that a longer one would take half a per cent off the peak."""


@dataclass(frozen=True, slots=True)
class DragReading:
    """Drag of one trace; `turns` is None where it holds no whole turn, `sensor_u_nm` where nothing is known of the sensor.

    `from_rest` is False where the trace shows no rest to take the zero from.
    """

    turns: Turns | None
    has_angle: bool
    sensor_u_nm: float | None
    sensor_name: str | None
    from_rest: bool = True


def _ready(path: Path) -> tuple[Conditioned | None, Sensor, str | None]:
    """A trace under its calibration, counted from rest, with the sensor and its name. Raises FileError or DocumentError."""
    raw, info = read_trace(path)
    trace, sensor = apply_calibration(raw, info.sensor(date.today()))
    name = info.transducer.name or info.device
    return (condition(trace, sensor) if len(trace) >= LEAST_SAMPLES else None), sensor, name


def read_drag(path: Path) -> DragReading:
    """Read the drag of a trace. Raises FileError or DocumentError."""
    ready, sensor, name = _ready(path)
    if ready is None or ready.angle_deg is None:
        return DragReading(None, ready is not None and ready.angle_deg is not None, None, name)
    turns = read_turns(ready.angle_deg, ready.torque_nm)
    line = None if turns is None else calibration_line(turns.mean_nm, sensor, ready.sign)
    from_rest = ready.rest_to > 0 or ready.rest_from < ready.time_s.size
    return DragReading(turns, True, None if line is None else line.u_nm, name, from_rest)


def read_bolt_trace(path: Path, then_angle_from_nm: float | None) -> BoltReading:
    """Read the last pass of a bolt; not recorded where the sensor was at its limit. Raises FileError or DocumentError."""
    ready, _, _ = _ready(path)
    if ready is None or bool(np.any(ready.clipped)):
        return BoltReading()
    return read_bolt(ready.smooth(PEAK_MEAN_S), ready.angle_deg, then_angle_from_nm=then_angle_from_nm)
