"""A refit sheet answered: the object of `platepull refit --json`, which the job book keeps and its gate reads."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from analysis.refit import backlash, bearing_gap, drag, fasteners, fill
from analysis.refit.fasteners import BoltReading
from analysis.refit.limits import Finding, FindingCode, Limits, State
from rig.refit import words
from rig.refit.document import (
    VERSION,
    BacklashPart,
    BearingPart,
    DragPart,
    FastenerPart,
    FillPart,
    RefitSheet,
    read_refit,
)

DONE, STOPPED = 0, 4
LISTS = ("bearings", "drags", "backlashes", "fasteners", "fills")


def answer(path: Path | str) -> dict[str, Any]:
    """Read a refit sheet and answer it, after `refit.schema.json`.

    Beside the contract's keys an entry holds what it was judged by (limits, tolerances, readings), so that a page can be set from
    the answer alone.

    Raises
    ------
    RefitError, TraceFileError, MetadataError
        Where the sheet or a trace that it names cannot be read.
    """
    sheet = read_refit(Path(path))
    problems: list[dict[str, str]] = []
    entries = {
        "bearings": [_bearing(part, problems) for part in sheet.bearings],
        "drags": [_drag(part, sheet, problems) for part in sheet.drags],
        "backlashes": [_backlash(part, problems) for part in sheet.backlashes],
        "fasteners": [_fasteners(part, sheet, problems) for part in sheet.fasteners],
        "fills": [_fill(part, problems) for part in sheet.fills],
    }
    return {
        "refit": str(path),
        "version": VERSION,
        "unit": sheet.unit,
        "page": sheet.page,
        "problems": problems,
        **entries,
    }


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


def _bearing(part: BearingPart, problems: list[dict[str, str]]) -> dict[str, Any]:
    stops = _told(part.name, "mm", bearing_gap.find_in_readings(part.readings), problems)
    found = None if stops else bearing_gap.choose_shims(part.readings)
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
        "form": str(part.readings.form),
        "shims_now_mm": list(part.readings.shims_now),
        **_ends(part.readings.wanted, "mm"),
    }


def _drag(part: DragPart, sheet: RefitSheet, problems: list[dict[str, str]]) -> dict[str, Any]:
    means, sensor_u, sensor_name = list(part.torque_nm), part.sensor_u_nm, None
    from_rest = True
    whole: list[drag.Turns] = []
    findings: list[Finding] = []
    if part.traces:
        from rig.refit.traces import read_drag

        own_u = []
        for name in part.traces:
            reading = read_drag(sheet.path.parent / name)
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
        **_ends(part.window, "nm"),
        "variation_max_nm": part.variation_max_nm,
        "set_after": part.set_after,
    }
    if stops or not means:
        nothing = dict.fromkeys(("mean_nm", "variation_nm", "turns", "expanded_u_nm"))
        state = str(State.NO_READING)
        texts = stops or [problem["text"] for problem in problems[-len(findings) :]]
        text = words.stopped_text(part.name, texts)
        return {"name": part.name, **nothing, "state": state, "variation_state": None, "text": text, **shared}
    found = drag.judge_drag(means, window=part.window, sensor_u_nm=sensor_u, variation_max_nm=part.variation_max_nm, traces=whole)
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


def _backlash(part: BacklashPart, problems: list[dict[str, str]]) -> dict[str, Any]:
    stops = _told(part.name, "mm", backlash.find_in_points(part.points_mm), problems)
    shared = {
        **_ends(part.window, "mm"),
        "points_mm": [point * part.gear_over_dial for point in part.points_mm],
        "variation_max_mm": part.variation_max_mm,
        "set_after": part.set_after,
    }
    if stops:
        keys = ("mean_mm", "lowest_mm", "highest_mm", "variation_mm", "expanded_u_mm", "variation_state", "move_mm")
        text = words.stopped_text(part.name, stops)
        return {"name": part.name, **dict.fromkeys(keys), "state": str(State.NO_READING), "text": text, **shared}
    found = backlash.judge_backlash(
        part.points_mm,
        window=part.window,
        u_mm=part.u_mm,
        variation_max_mm=part.variation_max_mm,
        gear_over_dial=part.gear_over_dial,
        backlash_per_shim=part.backlash_per_shim,
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


def _fasteners(part: FastenerPart, sheet: RefitSheet, problems: list[dict[str, str]]) -> dict[str, Any]:
    findings = fasteners.find_in_group(single_use=part.single_use, reused=part.reused is True)
    stops = _told(part.name, "N.m", findings, problems)
    bolts = fasteners.judge_bolts(
        _bolt_readings(part, sheet),
        torque_nm=part.torque_nm,
        tolerance=part.tolerance,
        angle_deg=part.angle_deg,
        angle_tolerance_deg=part.angle_tolerance_deg,
        stopped=bool(stops),
    )
    return {
        "name": part.name,
        "order": list(fasteners.order_of_pass(part.count)),
        "stages_nm": [stage * part.torque_nm for stage in part.stages],
        "bolts": [
            {"number": bolt.number, "peak_nm": bolt.peak_nm, "angle_deg": bolt.angle_deg, "state": str(bolt.state)}
            for bolt in bolts
        ],
        "complete": not stops and fasteners.complete(bolts),
        "text": words.fasteners_text(part, bolts, stops),
        "torque_nm": part.torque_nm,
        "tolerance": part.tolerance,
        "angle_wanted_deg": part.angle_deg,
        "angle_tolerance_deg": None if part.angle_deg is None else part.angle_tolerance_deg,
        "locked_by": part.locked_by,
        "thread": part.thread,
        "threads": part.threads,
        "reused": part.reused,
        "single_use": part.single_use,
    }


def _bolt_readings(part: FastenerPart, sheet: RefitSheet) -> list[BoltReading]:
    if any(part.traces):
        from rig.refit.traces import read_bolt_trace

        begin = None if part.angle_deg is None else part.torque_nm
        readings = [BoltReading() if name is None else read_bolt_trace(sheet.path.parent / name, begin) for name in part.traces]
        return readings + [BoltReading()] * (part.count - len(readings))
    angles = dict(enumerate(part.angles_deg))
    peaks = dict(enumerate(part.peaks_nm))
    return [BoltReading(peaks.get(at), angles.get(at)) for at in range(part.count)]


def _fill(part: FillPart, problems: list[dict[str, str]]) -> dict[str, Any]:
    stops = _told(part.name, "l", fill.find_in_fill(part.filled_l, part.drained_l, part.additive_added_l), problems)
    found = fill.judge_fill(
        part.filled_l,
        wanted=part.wanted,
        additive_wanted_l=part.additive_wanted_l,
        additive_added_l=part.additive_added_l,
    )
    return {
        "name": part.name,
        "filled_l": found.filled_l,
        "state": str(State.NO_READING) if stops else _code(found.state),
        "additive_wanted_l": found.additive_wanted_l,
        "additive_added_l": found.additive_added_l,
        "additive_state": None if stops else _code(found.additive_state),
        "text": words.stopped_text(part.name, stops) if stops else words.fill_text(part, found),
        "drained_l": part.drained_l,
        **_ends(part.wanted, "l"),
    }
