"""A recording as a comparison takes it: its figures, how the pull was taken, and its curve for the picture."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from analysis.compare.curves import PullCurve, curve_of
from analysis.compare.pulls import ComparedPull, Stated, chatter_of
from analysis.compare.speed import speed_course, stiffness_of
from analysis.results import Label, PullResult, Sensor
from analysis.trace import Trace
from analysis.verdict.ground import ground_of
from rig.files.metadata import TraceInfo
from rig.files.pull_file import read_recording

CALIBRATION = "calibration"  # the line of a budget that the sensor's calibration stands in


def read_compared(
    path: Path, sensor_of: Callable[[TraceInfo], Sensor], *, with_curve: bool
) -> tuple[ComparedPull, PullCurve | None, str | None]:
    """Read a file for a comparison; the last is the unit of the window stated with it. Raises FileError or DocumentError."""
    recording = read_recording(path, sensor_of)
    pull = compared_pull(path.name, recording.trace, recording.info, recording.result, raw=recording.raw)
    window = recording.info.window
    curve = curve_of(recording.trace, recording.result) if with_curve else None
    return pull, curve, None if window is None else window.unit


def compared_pull(name: str, trace: Trace, info: TraceInfo, result: PullResult, *, raw: Trace | None = None) -> ComparedPull:
    """A pull that was read, as a comparison takes it.

    `name` is its file's, without the folder; `raw` the trace before the calibration: by it a copy is known under any certificate.
    """
    return ComparedPull(
        trace=name,
        fingerprint=fingerprint(raw or trace),
        stated=stated_of(info),
        direction=result.direction,
        breakaway_nm=None if result.breakaway is None else result.breakaway.torque_nm,
        sliding_nm=None if result.sliding is None else result.sliding.torque_nm,
        rate_hz=result.rate_hz,
        chatter=chatter_of(result),
        speed=speed_course(trace, result),
        stiffness_nm_per_deg=stiffness_of(trace, result),
        sensor_u_relative=_sensor_u(result),
        quality=tuple(str(flag.code) for flag in result.quality),
        clipped_sliding=_clipped_sliding(result),
        ends_loading=result.ends_loading,
    )


def fingerprint(trace: Trace) -> str:
    """Tells the samples of a trace from those of any other, whatever its file is called."""
    digest = hashlib.sha256()
    for column in (trace.time_s, trace.torque_nm, trace.angle_deg):
        digest.update(b"-" if column is None else column.tobytes())
    return digest.hexdigest()


def stated_of(info: TraceInfo) -> Stated:
    """What the metadata say of how a pull was taken."""
    return Stated(
        arrangement=info.arrangement,
        oil=info.lubricant,
        additive=info.additive,
        plates=info.plates,
        closure=info.closure,
        lever=info.lever,
        adapter=info.adapter,
        sensor=info.transducer.serial,
        certificate=info.calibration.certificate,
        unit=info.unit,
        temperature_c=info.temperature_c,
        rest_s=info.rest_s,
        excluded=info.excluded,
        when=_in_utc(info.when),
        number=info.number,
    )


def _in_utc(when: str | None) -> str | None:
    """A moment with its offset, so that texts sort as the moments do; what is none stays as it is."""
    try:
        moment = None if when is None else datetime.fromisoformat(when)
    except ValueError:
        return when
    return when if moment is None or moment.tzinfo is None else moment.astimezone(UTC).isoformat()


def _sensor_u(result: PullResult) -> float | None:
    """Relative standard uncertainty of the sensor at this torque, with what is not known of it; None without a reading."""
    for reading in (result.sliding, result.breakaway):
        if reading is not None and reading.torque_nm > 0:
            lines = [line.u_nm for line in reading.budget.lines if line.source == CALIBRATION]
            lines += [line.u_nm for line in ground_of(result, reading).lines]
            return math.hypot(*lines) / reading.torque_nm
    return None


def _clipped_sliding(result: PullResult) -> bool:
    """Whether the sensor was at its limit while sliding: then the mean is a lower bound too."""
    sliding = result.sliding
    if sliding is None:
        return False
    clipped = (part for part in result.stretches if part.label is Label.CLIPPED)
    return any(part.from_s < sliding.to_s and part.to_s > sliding.from_s for part in clipped)
