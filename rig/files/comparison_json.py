"""A comparison as the JSON document that is promised to programs (`rig/schemas/compare.schema.json`)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from analysis.compare.chatter import ChatterOutcome, Count
from analysis.compare.comparison import Comparison
from analysis.compare.conditions import Condition, Refusal
from analysis.compare.effects import CONFIDENCE
from analysis.compare.figures import Figure, SideOfFigure
from analysis.compare.pulls import ComparedPull, FigureName
from analysis.compare.run_in import RunIn
from analysis.compare.speed import FrictionAgainstSpeed
from rig.words import comparison as words
from rig.words.comparison_sides import run_in_text, speed_limits

COMPARE_VERSION = 1
_SUFFIX = {
    FigureName.BREAKAWAY: "_nm",
    FigureName.SLIDING: "_nm",
    FigureName.RATIO: "",
    FigureName.CHATTER_RATE: "_hz",
    FigureName.CHATTER_HEIGHT: "_nm",
    FigureName.CHATTER_HEIGHT_SHARE: "_percent",
    FigureName.CHATTER_SEVERITY: "_percent",
    FigureName.STUCK_TIME: "_percent",
}
_UNIT = {"_nm": "N.m", "": "1", "_hz": "1/s", "_percent": "%"}


def comparison_document(comparison: Comparison) -> dict[str, Any]:
    """The document, whole: where the sides are not compared, everything but conditions, pulls and the reasons is null."""
    made = comparison.made
    return {
        "compare_version": COMPARE_VERSION,
        "made": made,
        "question": str(comparison.question) if made else None,
        "question_from": ("asked" if comparison.asked else "read_off") if made else None,
        "refused": [_refusal(one) for one in comparison.refused],
        "despite": [str(code) for code in comparison.despite] if made else None,
        "threshold_percent": 100 * comparison.threshold if made else None,
        "confidence": CONFIDENCE if made else None,
        "conditions": [_condition(one) for one in comparison.conditions],
        "pulls": {"before": _pulls(comparison.before), "after": _pulls(comparison.after)},
        "figures": {str(name): _figure(name, comparison.figures.get(name)) for name in FigureName} if made else None,
        "chatter": None if comparison.chatter is None else _chatter(comparison.chatter),
        "friction_against_speed": _sides(made, _speed(comparison.speed_before), _speed(comparison.speed_after)),
        "run_in": _sides(made, _run_in(comparison.run_in_before), _run_in(comparison.run_in_after)),
        "text": words.comparison_texts(comparison) if made else None,
    }


def _sides(made: bool, before: dict[str, Any] | None, after: dict[str, Any] | None) -> dict[str, Any] | None:
    return {"before": before, "after": after} if made else None


def _refusal(one: Refusal) -> dict[str, Any]:
    before, after = words.refusal_values(one)
    return {
        "code": str(one.code),
        "field": None if one.field is None else str(one.field),
        "before": before,
        "after": after,
        "text": words.refusal_text(one),
        "mend": words.refusal_remedy(one),
    }


def _condition(one: Condition) -> dict[str, Any]:
    return {
        "field": str(one.field),
        "state": str(one.state),
        "weight": str(one.weight),
        "is_question": one.is_question,
        "before": words.condition_values(one.field, one.before),
        "after": words.condition_values(one.field, one.after),
        "touches": [str(name) for name in one.touches],
        "text": words.condition_text(one),
    }


def _pulls(pulls: Sequence[ComparedPull]) -> list[dict[str, Any]]:
    return [_pull(pull, order) for order, pull in enumerate(pulls, start=1)]


def _pull(pull: ComparedPull, order: int) -> dict[str, Any]:
    chatter = pull.chatter
    return {
        "trace": pull.trace,
        "order": order,
        "counted": pull.counted,
        "apart": None if pull.apart is None else str(pull.apart),
        "apart_reason": pull.stated.excluded,
        "breakaway_nm": pull.breakaway_nm,
        "sliding_nm": pull.sliding_nm,
        "ratio": pull.ratio,
        "speed_deg_s": pull.speed_deg_s,
        "rest_s": pull.stated.rest_s,
        "temperature_c": pull.stated.temperature_c,
        "direction": pull.direction,
        "quality": list(pull.quality),
        "chatter": {
            "assessable": chatter.assessable,
            "present": chatter.present,
            "score": chatter.score,
            "rate_hz": chatter.rate_hz,
            "height_nm": chatter.height_nm,
            "severity_percent": _percent(chatter.severity),
            "stuck_time_percent": _percent(chatter.stuck_time),
        },
    }


def _percent(share: float | None) -> float | None:
    return None if share is None else 100 * share


def _figure(name: FigureName, figure: Figure | None) -> dict[str, Any] | None:
    if figure is None:
        return None
    suffix = _SUFFIX[name]
    interval = None
    if figure.method is not None and figure.degrees_of_freedom is not None:
        interval = {"method": str(figure.method), "degrees_of_freedom": figure.degrees_of_freedom}
    shift, last = figure.shift, figure.at_last_pull
    return {
        "unit": _UNIT[suffix],
        "before": _side(figure.before, suffix),
        "after": _side(figure.after, suffix),
        f"difference{suffix}": figure.difference,
        f"difference_low{suffix}": figure.difference_low,
        f"difference_high{suffix}": figure.difference_high,
        "after_over_before": figure.ratio,
        "after_over_before_low": figure.ratio_low,
        "after_over_before_high": figure.ratio_high,
        "together_low": figure.together_low,
        "together_high": figure.together_high,
        "interval": interval,
        "shift_robust": None if shift is None else shift.value,
        "shift_robust_low": None if shift is None else shift.low,
        "shift_robust_high": None if shift is None else shift.high,
        "robust_why_not": None if figure.robust_why_not is None else str(figure.robust_why_not),
        "effect_size_g": figure.effect_size_g,
        "p": figure.p,
        "p_corrected": figure.p_corrected,
        "probability_fell": figure.probability_fell,
        "conclusion": str(figure.conclusion),
        "for_the_better": figure.for_the_better,
        "further_pulls_each_side": figure.further_pulls_each_side,
        "at_last_pull": None
        if last is None
        else {"after_over_before": last.ratio, "after_over_before_low": last.low, "after_over_before_high": last.high},
        "labels": list(figure.labels),
    }


def _side(side: SideOfFigure, suffix: str) -> dict[str, Any]:
    return {
        "n": side.n,
        f"centre{suffix}": side.centre,
        "spread_percent": _percent(side.spread),
        f"low{suffix}": side.low,
        f"high{suffix}": side.high,
    }


def _chatter(chatter: ChatterOutcome) -> dict[str, Any]:
    return {
        "outcome": str(chatter.outcome),
        "probability_cured": chatter.probability_cured,
        "before": _count(chatter.before),
        "after": _count(chatter.after),
        "further_pulls_after": chatter.further_pulls_after,
        "not_excluded_share": chatter.not_excluded,
        "text": words.chatter_text(chatter),
    }


def _count(count: Count) -> dict[str, Any]:
    return {
        "assessable": count.assessable,
        "chattering": count.chattering,
        "share_low": count.share_low,
        "share_high": count.share_high,
    }


def _speed(speed: FrictionAgainstSpeed | None) -> dict[str, Any] | None:
    if speed is None:
        return None
    return {
        "from": "within_pulls" if speed.within_pulls else "between_pulls",
        "pulls": speed.pulls,
        "why_not": None if speed.why_not is None else str(speed.why_not),
        "speed_low_deg_s": speed.speed_low_deg_s,
        "speed_high_deg_s": speed.speed_high_deg_s,
        "slope_percent_per_decade": speed.slope,
        "slope_percent_per_decade_low": speed.slope_low,
        "slope_percent_per_decade_high": speed.slope_high,
        "slope_nm_s_per_rad": speed.slope_nm_s_per_rad,
        "at_speed_deg_s": speed.at_speed_deg_s,
        "criterion": str(speed.criterion),
        "bench_stiffness_nm_per_deg": speed.stiffness_nm_per_deg,
        "curve": [
            {"speed_deg_s": point.speed_deg_s, "torque_nm": point.torque_nm, "low_nm": point.low_nm, "high_nm": point.high_nm}
            for point in speed.curve
        ],
        "limits": speed_limits(speed),
    }


def _run_in(run_in: RunIn | None) -> dict[str, Any] | None:
    if run_in is None:
        return None
    return {
        "pulls": run_in.pulls,
        "trend_percent_per_pull": run_in.trend_percent,
        "trend_low": run_in.low_percent,
        "trend_high": run_in.high_percent,
        "settled": run_in.settled,
        "why_not": run_in.why_not,
        "text": run_in_text(run_in),
    }


def finite(document: Any) -> Any:
    """The document with null in place of what JSON has no number for."""
    if isinstance(document, dict):
        return {key: finite(value) for key, value in document.items()}
    if isinstance(document, list):
        return [finite(value) for value in document]
    return None if isinstance(document, float) and not math.isfinite(document) else document
