"""A recording read as a live pull is: its sensor's calibration applied, with what the bench had to say of the sensor then."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from analysis.pull.reading import KnownOfRest, read_pull
from analysis.results import PullResult, Sensor
from analysis.sensor.correction import apply_calibration
from analysis.trace import Trace
from rig.files.metadata import TraceInfo
from rig.files.trace_csv import read_trace


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """A pull from a file; `trace` is as it reads with the calibration in force, `raw` as it stands in the file."""

    trace: Trace
    info: TraceInfo
    result: PullResult
    raw: Trace


def read_recording(path: Path, sensor_of: Callable[[TraceInfo], Sensor], *, arm_m: float | None = None) -> Recording:
    """Read a file and the pull in it; `sensor_of` tells what counts of the sensor. Raises FileError or DocumentError."""
    raw, info = read_trace(path, arm_m=arm_m)
    trace, sensor = apply_calibration(raw, sensor_of(info))
    result = read_pull(trace, sensor, known=known_of_rest(info))
    return Recording(trace, info, replace(result, calibration_flags=info.calibration_flag_codes()), raw)


def read_whole_trace(path: Path, sensor_of: Callable[[TraceInfo], Sensor]) -> Trace:
    """Every sample of a recorded pull, as it reads with the calibration in force. Raises FileError or DocumentError."""
    raw, info = read_trace(path)
    return apply_calibration(raw, sensor_of(info))[0]


def known_of_rest(info: TraceInfo) -> KnownOfRest:
    """What the metadata tells of the level at rest."""
    return KnownOfRest(
        load_nm=info.rest_load_nm or 0.0,
        moved_nm=info.rest_moved_nm or 0.0,
        explained=bool(info.rest_explained),
        stated_nm=info.zero_before_nm,
    )
