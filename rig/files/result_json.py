"""Values to the JSON documents that are promised to programs (`rig/schemas/`): one place, one way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from analysis.results import Breakaway, Budget, PullResult, SeriesResult, Sliding, Verdict
from rig.words.sentences import quality_text, verdict_text


def analysis_document(
    trace: str, result: PullResult, verdict: Verdict | None, notes: tuple[str, ...] = (), *, with_budget: bool = False
) -> dict[str, Any]:
    """One trace of `platepull analyse --json`, after `analysis.schema.json`."""
    return {
        "trace": trace,
        "samples": result.samples,
        "duration_s": result.duration_s,
        "rate_hz": result.rate_hz,
        "direction": result.direction,
        "breakaway": _breakaway(result.breakaway, with_budget),
        "sliding": _sliding(result.sliding, with_budget),
        "chatter": {
            "assessable": result.chatter.assessable,
            "present": result.chatter.present,
            "score": result.chatter.score,
            "frequency_hz": result.chatter.frequency_hz,
            "peak_to_peak_nm": result.chatter.peak_to_peak_nm,
            "cycles": result.chatter.cycles,
        },
        "quality": [{"code": str(flag.code), "text": quality_text(flag)} for flag in result.quality],
        "verdict": None if verdict is None else verdict_document(verdict),
        "notes": list(notes),
        "stretches": [{"label": str(part.label), "from_s": part.from_s, "to_s": part.to_s} for part in result.stretches],
    }


def _breakaway(reading: Breakaway | None, with_budget: bool) -> dict[str, Any]:
    return {
        "found": reading is not None,
        "torque_nm": None if reading is None else reading.torque_nm,
        "time_s": None if reading is None else reading.time_s,
        "angle_deg": None if reading is None else reading.angle_deg,
        "u_nm": None if reading is None else reading.budget.u_nm,
        **({"budget": None if reading is None else budget_document(reading.budget)} if with_budget else {}),
    }


def _sliding(reading: Sliding | None, with_budget: bool) -> dict[str, Any]:
    return {
        "found": reading is not None,
        "torque_nm": None if reading is None else reading.torque_nm,
        "from_s": None if reading is None else reading.from_s,
        "to_s": None if reading is None else reading.to_s,
        "travel_deg": None if reading is None else reading.travel_deg,
        "u_nm": None if reading is None else reading.budget.u_nm,
        **({"budget": None if reading is None else budget_document(reading.budget)} if with_budget else {}),
    }


def verdict_document(verdict: Verdict) -> dict[str, Any]:
    """A verdict, after `analysis.schema.json`."""
    return {
        "state": str(verdict.state),
        "basis": str(verdict.basis),
        "value_nm": verdict.value_nm,
        "expanded_u_nm": verdict.expanded_u_nm,
        "low_nm": verdict.low_nm,
        "high_nm": verdict.high_nm,
        "probability_in_window": verdict.probability_in_window,
        "text": verdict_text(verdict),
    }


def series_document(series: SeriesResult, names: Sequence[str], verdict: Verdict | None) -> dict[str, Any]:
    """What several pulls together say, after `analysis.schema.json`; `names` are the traces in their order."""
    return {
        "basis": str(series.basis),
        "mean_nm": series.mean_nm,
        "deviation_nm": series.deviation_nm,
        "u_nm": None if series.budget is None else series.budget.u_nm,
        "counted": [names[index] for index in series.counted],
        "apart": None if series.apart is None else names[series.apart],
        "without": [names[index] for index in series.without],
        "asymmetry": series.asymmetry,
        "by_direction_nm": list(series.by_direction_nm),
        "budget": None if series.budget is None else budget_document(series.budget),
        "verdict": None if verdict is None else verdict_document(verdict),
    }


def budget_document(budget: Budget) -> dict[str, Any]:
    """An uncertainty budget; null degrees of freedom are infinite."""
    return {**asdict(budget), "expanded_u_nm": budget.expanded_u_nm}
