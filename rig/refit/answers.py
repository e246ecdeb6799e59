"""A refit sheet answered: the object of `platepull refit --json`, which the job book keeps and its gate reads."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from analysis.refit import backlash, bearing_gap, drag, fasteners, fill
from analysis.refit.fasteners import BoltReading
from analysis.refit.limits import Finding, FindingCode, Limits, State
from rig.files.document import Read
from rig.files.fields import built_in
from rig.refit import words
from rig.refit.document import (
    LENGTH_U_MM,
    VERSION,
    Backlash,
    Bearing,
    Drag,
    Fasteners,
    Fill,
    RefitSheet,
    floats,
    limits_of,
    read_refit,
    recorded,
)

DONE, STOPPED = 0, 4
LISTS = ("bearings", "drags", "backlashes", "fasteners", "fills")


def answer(path: Path | str) -> dict[str, Any]:
    """Read a refit sheet and answer it, after `refit.schema.json`.

    Beside the contract's keys an entry holds what it was judged by (limits, tolerances, readings), so that a page can be set from
    the answer alone.

    Raises
    ------
    FileError, DocumentError
        Where the sheet or a trace that it names cannot be read.
    """
    return answer_of(read_refit(Path(path)), str(path), Path(path).parent)


def answer_of(read: Read[RefitSheet], path: str, folder: Path) -> dict[str, Any]:
    """Answer a sheet that was read; traces that it names are looked for from `folder`. Raises FileError or DocumentError."""
    sheet = read.value
    problems: list[dict[str, str]] = []
    entries = {
        "bearings": [_bearing(part, problems) for part in sheet.bearing],
        "drags": [_drag(part, folder, problems) for part in sheet.drag],
        "backlashes": [_backlash(part, problems) for part in sheet.backlash],
        "fasteners": [_fasteners(part, folder, problems) for part in sheet.fasteners],
        "fills": [_fill(part, problems) for part in sheet.fill],
    }
    found = {
        "refit": path,
        "version": VERSION,
        "unit": sheet.refit.unit,
        "page": sheet.refit.page,
        "problems": problems,
        **entries,
        "hints": list(read.hints),
    }
    plain: dict[str, Any] = _plain(found)
    return plain


def _plain(value: Any) -> Any:
    """Values without the classes of the document: what leaves here may be kept anywhere."""
    if isinstance(value, dict):
        return {built_in(key): _plain(each) for key, each in value.items()}
    return [_plain(each) for each in value] if isinstance(value, list) else built_in(value)


def exit_status(answered: dict[str, Any]) -> int:
    """0 answered, 4 where something stops a part."""
    return STOPPED if any(problem["severity"] == "stop" for problem in answered["problems"]) else DONE


def _told(name: str, unit: str, findings: Sequence[Finding], problems: list[dict[str, str]]) -> list[str]:
    """Put the findings of a part among the problems; return the sentences of those that stop it."""
    stops = []
    for finding in findings:
        text = words.problem_text(finding, unit)
        severity = "stop" if finding.stops else "warn"
        problems.append({"code": str(finding.code), "severity": severity, "where": name, "text": text})
        if finding.stops:
            stops.append(text)
    return stops


def _ends(limits: Limits | None, unit: str) -> dict[str, float | None]:
    return {f"low_{unit}": None if limits is None else limits.low, f"high_{unit}": None if limits is None else limits.high}


def _code(state: State | None) -> str | None:
    return None if state is None else str(state)


def _bearing(part: Bearing, problems: list[dict[str, str]]) -> dict[str, Any]:
    readings = part.readings()
    stops = _told(part.name, "mm", bearing_gap.find_in_readings(readings), problems)
    found = None if stops else bearing_gap.choose_shims(readings)
    return {
        "name": part.name,
        "measured_mm": None if found is None else found.measured_mm,
        "needed_mm": None if found is None else found.needed_mm,
        "u_mm": None if found is None else found.u_mm,
        "choice_mm": None if found is None else list(found.choice_mm),
        "interference_mm": None if found is None else found.interference_mm,
        "expanded_u_mm": None if found is None else found.expanded_u_mm,
        "interference_now_mm": None if found is None else found.interference_now_mm,
        "state": str(State.NO_READING if found is None else found.state),
        "probability_in_window": None if found is None else found.probability_in_window,
        "text": words.stopped_text(part.name, stops) if found is None else words.bearing_text(part, found),
        "form": str(part.form),
        "shims_now_mm": list(readings.shims_now),
        **_ends(readings.wanted, "mm"),
    }


def _drag(part: Drag, folder: Path, problems: list[dict[str, str]]) -> dict[str, Any]:
    means, sensor_name = list(floats(part.torque)), None
    sensor_u = None if part.sensor_u is None else float(part.sensor_u)
    from_rest = True
    whole: list[drag.Turns] = []
    findings: list[Finding] = []
    if part.traces:
        from rig.refit.traces import read_drag

        own_u = []
        for name in part.traces:
            reading = read_drag(folder / name)
            sensor_name = sensor_name or reading.sensor_name
            if reading.turns is None:
                findings.append(Finding(FindingCode.SHORT_TRACE, name if reading.has_angle else f"{name} (no angle)"))
                continue
            whole.append(reading.turns)
            from_rest &= reading.from_rest
            own_u.append(reading.sensor_u_nm)
        means = [turns.mean_nm for turns in whole]
        if sensor_u is None and own_u and all(u is not None for u in own_u):
            sensor_u = max(u for u in own_u if u is not None)
    findings += drag.find_in_drag(means)
    stops = _told(part.name, "N.m", findings, problems)
    shared = {
        **_ends(limits_of(part.window), "nm"),
        "variation_max_nm": part.variation_max,
        "set_after": part.set_after,
    }
    if stops or not means:
        nothing = dict.fromkeys(("mean_nm", "variation_nm", "turns", "expanded_u_nm"))
        state = str(State.NO_READING)
        texts = stops or [problem["text"] for problem in problems[-len(findings) :]]
        text = words.stopped_text(part.name, texts)
        return {"name": part.name, **nothing, "state": state, "variation_state": None, "text": text, **shared}
    found = drag.judge_drag(
        means,
        window=limits_of(part.window),
        sensor_u_nm=sensor_u,
        variation_max_nm=part.variation_max,
        traces=whole,
    )
    return {
        "name": part.name,
        "mean_nm": found.mean_nm,
        "variation_nm": found.variation_nm,
        "turns": found.turns,
        "expanded_u_nm": found.expanded_u_nm,
        "state": _code(found.state),
        "variation_state": _code(found.variation_state),
        "text": words.drag_text(part, found, sensor_name, from_rest=from_rest),
        **shared,
    }


def _backlash(part: Backlash, problems: list[dict[str, str]]) -> dict[str, Any]:
    points = floats(part.points)
    stops = _told(part.name, "mm", backlash.find_in_points(points), problems)
    shared = {
        **_ends(limits_of(part.window), "mm"),
        "points_mm": [point * part.gear_over_dial for point in points],
        "variation_max_mm": part.variation_max,
        "set_after": part.set_after,
    }
    if stops:
        keys = ("mean_mm", "lowest_mm", "highest_mm", "variation_mm", "expanded_u_mm", "variation_state", "move_mm")
        text = words.stopped_text(part.name, stops)
        return {"name": part.name, **dict.fromkeys(keys), "state": str(State.NO_READING), "text": text, **shared}
    found = backlash.judge_backlash(
        points,
        window=limits_of(part.window),
        u_mm=LENGTH_U_MM if part.u is None else float(part.u),
        variation_max_mm=part.variation_max,
        gear_over_dial=part.gear_over_dial,
        backlash_per_shim=part.per_shim,
    )
    return {
        "name": part.name,
        "mean_mm": found.mean_mm,
        "lowest_mm": found.lowest_mm,
        "highest_mm": found.highest_mm,
        "variation_mm": found.variation_mm,
        "expanded_u_mm": found.expanded_u_mm,
        "state": _code(found.state),
        "variation_state": _code(found.variation_state),
        "move_mm": found.move_mm,
        "text": words.backlash_text(part, found),
        **shared,
        "worst_point": found.worst_point,
    }


def _fasteners(part: Fasteners, folder: Path, problems: list[dict[str, str]]) -> dict[str, Any]:
    findings = fasteners.find_in_group(single_use=part.single_use, reused=part.state == "reused")
    stops = _told(part.name, "N.m", findings, problems)
    bolts = fasteners.judge_bolts(
        _bolt_readings(part, folder),
        torque_nm=float(part.torque),
        tolerance=part.share,
        angle_deg=part.angle,
        angle_tolerance_deg=part.angle_tolerance or 0.0,
        stopped=bool(stops),
    )
    return {
        "name": part.name,
        "order": list(fasteners.order_of_pass(part.count)),
        "stages_nm": part.stages_nm,
        "bolts": [
            {"number": bolt.number, "peak_nm": bolt.peak_nm, "angle_deg": bolt.angle_deg, "state": str(bolt.state)}
            for bolt in bolts
        ],
        "complete": not stops and fasteners.complete(bolts),
        "text": words.fasteners_text(part, bolts, stops),
        "torque_nm": float(part.torque),
        "tolerance": part.share,
        "angle_wanted_deg": part.angle,
        "angle_tolerance_deg": None if part.angle is None else part.angle_tolerance,
        "locked_by": part.locked_by,
        "thread": part.thread,
        "threads": part.threads,
        "reused": None if part.state is None else part.state == "reused",
        "single_use": part.single_use,
    }


def _bolt_readings(part: Fasteners, folder: Path) -> list[BoltReading]:
    if part.traces:
        from rig.refit.traces import read_bolt_trace

        begin = None if part.angle is None else float(part.torque)
        readings = [BoltReading() if name == "-" else read_bolt_trace(folder / name, begin) for name in part.traces]
        return readings + [BoltReading()] * (part.count - len(readings))
    return [BoltReading(recorded(part.peaks, at), recorded(part.angles, at)) for at in range(part.count)]


def _fill(part: Fill, problems: list[dict[str, str]]) -> dict[str, Any]:
    stops = _told(part.name, "l", fill.find_in_fill(part.filled, part.drained, part.additive_added), problems)
    # A volume below zero is told as such; a dose of it is none.
    dose = part.additive if part.filled >= 0 else None
    found = fill.judge_fill(
        float(part.filled),
        wanted=limits_of(part.wanted),
        additive_wanted_l=None if dose is None else dose.litres_of(float(part.filled)),
        additive_added_l=part.additive_added,
    )
    return {
        "name": part.name,
        "filled_l": found.filled_l,
        "state": str(State.NO_READING) if stops else _code(found.state),
        "additive_wanted_l": found.additive_wanted_l,
        "additive_added_l": found.additive_added_l,
        "additive_state": None if stops else _code(found.additive_state),
        "text": words.stopped_text(part.name, stops) if stops else words.fill_text(part, found),
        "drained_l": part.drained,
        **_ends(limits_of(part.wanted), "l"),
    }
