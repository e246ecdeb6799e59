"""A pack's answer as the JSON object of PACK.md 4."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from analysis.pack.answer import Answer, FromShop, Interval, SpringsNow
from analysis.pack.limits import BeyondLimit
from analysis.pack.parts_choice import PartsChoice
from analysis.pack.shim_choice import Choice
from rig.pack.words import from_shop_text, limit_text, reason

VERSION = 1
LENGTH_DIGITS = 4
TORQUE_DIGITS = 2
PROBABILITY_DIGITS = 4


def answer_document(path: str, answer: Answer) -> dict[str, Any]:
    """The object of one sheet."""
    choices = answer.choices
    listed = [] if choices is None else [_candidate(one) for one in choices.choices]
    return {
        "pack": path,
        "version": VERSION,
        "problems": [asdict(one) for one in answer.problems],
        "missing": [asdict(one) for one in answer.missing],
        "limits": [_limit(one) for one in answer.limits],
        "faces": {"left": answer.faces[0], "right": answer.faces[1]},
        "springs_now": {"left": _springs(answer.springs_now[0]), "right": _springs(answer.springs_now[1])},
        "play_now_mm": None
        if answer.play_now_mm is None
        else {"left": _length(answer.play_now_mm[0]), "right": _length(answer.play_now_mm[1])},
        "friction": _interval(answer.friction, 4),
        "sensitivity_nm_per_mm": _interval(answer.sensitivity_nm_per_mm, 2),
        "candidates": listed,
        "parts_choices": [_parts_choice(one) for one in answer.parts_choices],
        "probability_feasible": None if choices is None else round(choices.probability_feasible, PROBABILITY_DIGITS),
        "feasible": answer.feasible,
        "leave_alone": answer.standing.leave_alone,
        "pull_more": answer.standing.pull_more,
        "reason": reason(answer),
        "why_not": list(answer.why_not),
        **({"from_shop": [_from_shop(one) for one in answer.from_shop]} if answer.from_shop else {}),
        "hints": [{"code": one.code, "confidence": round(one.confidence, 3), "evidence": one.evidence} for one in answer.hints],
    }


def _from_shop(one: FromShop) -> dict[str, Any]:
    return {"code": str(one.code), "value": round(one.value, 4), "count": one.count, "oil": one.oil, "text": from_shop_text(one)}


def exit_status(document: dict[str, Any]) -> int:
    """0 answered, 4 read but not believed."""
    return 4 if any(one["severity"] == "stop" for one in document["problems"]) else 0


def _length(mm: float | None) -> float | None:
    return None if mm is None else round(mm, LENGTH_DIGITS)


def _interval(one: Interval | None, digits: int) -> dict[str, float] | None:
    if one is None:
        return None
    return {"median": round(one.median, digits), "low": round(one.low, digits), "high": round(one.high, digits)}


def _springs(one: SpringsNow | None) -> dict[str, float] | None:
    return None if one is None else {key: round(value, LENGTH_DIGITS) for key, value in asdict(one).items()}


def _limit(one: BeyondLimit) -> dict[str, Any]:
    unit = "" if one.code == "share_of_flat" else "_mm"
    return {
        "code": one.code,
        "part": one.part,
        f"value{unit}": round(one.value, LENGTH_DIGITS),
        f"limit{unit}": round(one.limit, LENGTH_DIGITS),
        "text": limit_text(one),
    }


def _candidate(one: Choice) -> dict[str, Any]:
    return {
        "left": {"shims_mm": list(one.shims.left_mm)},
        "right": {"shims_mm": list(one.shims.right_mm)},
        "change_left_mm": round(one.shims.change_left_mm, LENGTH_DIGITS),
        "change_right_mm": round(one.shims.change_right_mm, LENGTH_DIGITS),
        "torque_median_nm": round(one.torque_median_nm, TORQUE_DIGITS),
        "torque_low_nm": round(one.torque_low_nm, TORQUE_DIGITS),
        "torque_high_nm": round(one.torque_high_nm, TORQUE_DIGITS),
        "probability_in_window": round(one.probability_in_window, PROBABILITY_DIGITS),
        "probability_solid": round(one.probability_solid, PROBABILITY_DIGITS),
        "probability_clearance_broken": round(one.probability_clearance_broken, PROBABILITY_DIGITS),
        "probability_lands": round(one.probability_lands, PROBABILITY_DIGITS),
        "broken": list(one.broken),
        "moves": one.shims.moves,
    }


def _parts_choice(one: PartsChoice) -> dict[str, Any]:
    document = _candidate(one.choice)
    changed = {
        "left": {"plates": one.left_plates, "springs": one.left_springs},
        "right": {"plates": one.right_plates, "springs": one.right_springs},
    }
    for side, parts in changed.items():
        document[side] |= {key: list(value) for key, value in parts.items() if value is not None}
    return {**document, "why": one.why}
