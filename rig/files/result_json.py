"""Values to the JSON documents that are promised to programs (`rig/schemas/`): one place, one way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from analysis.judgement import ScatterUsed, SeriesFigure, SeriesResult, Verdict
from analysis.results import Breakaway, Budget, PullResult, Sliding
from rig.words.sentences import quality_text
from rig.words.verdicts import settling_text, verdict_text


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
            "score": result.chatter.score if result.chatter.assessable else None,
            "frequency_hz": result.chatter.frequency_hz,
            "peak_to_peak_nm": result.chatter.peak_to_peak_nm,
            "cycles": result.chatter.cycles,
        },
        "quality": [{"code": str(flag.code), "text": quality_text(flag)} for flag in result.quality],
        "verdict": None if verdict is None else verdict_document(verdict, with_budget=with_budget),
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


def verdict_document(verdict: Verdict, *, with_budget: bool = False) -> dict[str, Any]:
    """A verdict, after `analysis.schema.json`."""
    settling, deciding, scatter = verdict.settling, verdict.deciding, verdict.scatter
    return {
        "state": str(verdict.state),
        "basis": str(verdict.basis),
        "value_nm": verdict.value_nm,
        "expanded_u_nm": verdict.expanded_u_nm,
        "low_nm": verdict.low_nm,
        "high_nm": verdict.high_nm,
        "probability_in_window": verdict.probability_in_window,
        "rule": str(verdict.rule),
        "coverage_factor": verdict.coverage_factor,
        "confidence": verdict.confidence,
        "missing": [str(code) for code in verdict.missing],
        "settling": None
        if settling is None
        else {"code": str(settling.code), "pulls": settling.pulls, "text": settling_text(verdict)},
        **({} if deciding is None else {"deciding": asdict(deciding)}),
        "scatter": None if scatter is None else _scatter(scatter),
        "converted": None if verdict.converted is None else asdict(verdict.converted),
        **({"budget": None if verdict.budget is None else budget_document(verdict.budget)} if with_budget else {}),
        "text": verdict_text(verdict, verdict.window_unit),
    }


def _scatter(scatter: ScatterUsed) -> dict[str, Any]:
    return {
        "percent": 100 * scatter.relative,
        "degrees_of_freedom": scatter.degrees_of_freedom,
        "known_percent": 100 * scatter.known_relative,
        "known_degrees_of_freedom": scatter.known_degrees_of_freedom,
        "pooled": scatter.pooled,
    }


def series_document(
    series: SeriesResult, names: Sequence[str], text: Sequence[str], *, with_budget: bool = False
) -> dict[str, Any]:
    """What several pulls together say, after `analysis.schema.json`; `names` are the traces in their order."""
    return {
        "n": series.n,
        "counted": [names[index] for index in series.counted],
        "apart": [{"trace": names[index], "reason": reason} for index, reason in series.apart],
        "excluded": [{"trace": names[index], "reason": reason} for index, reason in series.excluded],
        "free": [names[index] for index in series.free],
        "breakaway": _figure(series.breakaway, with_budget),
        "sliding": _figure(series.sliding, with_budget),
        "chatter": {"chattering": series.chattering, "assessable": series.assessable},
        "gap_hides_a_stray": series.gap_hides_a_stray,
        # Always with the direction that decides, null where none does: whoever reads it need not ask whether the key is there.
        "verdict": None
        if series.verdict is None
        else {"deciding": None, **verdict_document(series.verdict, with_budget=with_budget)},
        "text": list(text),
    }


def _figure(figure: SeriesFigure | None, with_budget: bool) -> dict[str, Any] | None:
    if figure is None:
        return None
    own, asymmetry = figure.scatter.own_relative, figure.asymmetry
    ways = dict(figure.ways)
    return {
        "mean_nm": figure.mean_nm,
        "scatter_percent": None if own is None else 100 * own,
        "expanded_u_nm": figure.budget.expanded_u_nm,
        "by_direction": {
            str(way): {"n": ways[way].n, "mean_nm": ways[way].mean_nm} if way in ways else {"n": 0, "mean_nm": None}
            for way in (1, -1)
        },
        "asymmetry_percent": None if asymmetry is None else 100 * asymmetry,
        **({"budget": budget_document(figure.budget)} if with_budget else {}),
    }


def budget_document(budget: Budget) -> dict[str, Any]:
    """An uncertainty budget; null degrees of freedom are infinite."""
    return {**asdict(budget), "expanded_u_nm": budget.expanded_u_nm}
