"""What of two pack sheets is compared: plates, springs, stack and shims of both sides. Pure, on the sheet's own values."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from analysis.errors import BenchError
from analysis.units import to_si
from rig.book.judging import folded

SIDES: Final = ("left", "right")

SHIM_STEP_MM: Final = 1e-4
"""Shims alike within this are the same one, in whatever unit they were typed."""


def fitted(sheet: Mapping[str, Any], *, shims: bool = True) -> dict[str, Any]:
    """Plates, springs, stack and shims of both sides, as two sheets are compared; without `shims` all but these."""
    sides = {}
    for side in SIDES:
        table = sheet.get(side) or {}
        parts = [
            [folded(str(plate)) for plate in _list(table.get("plates"))],
            [folded(str(spring)) for spring in _list(table.get("springs"))],
            folded(str(table.get("stack", ""))),
        ]
        sides[side] = [*parts, _shims(table)] if shims else parts
    return sides


def shims_mm(sheet: Mapping[str, Any]) -> float | None:
    """All shims of both sides together, mm; None where a side does not say, or not so that it can be read."""
    lengths = [_length_mm(text) for side in SIDES for text in _list((sheet.get(side) or {}).get("shims", (None,)))]
    known = [length for length in lengths if length is not None]
    return sum(known) if len(known) == len(lengths) else None


def _shims(table: Mapping[str, Any]) -> list[Any]:
    texts = _list(table.get("shims"))
    lengths = [_length_mm(text) for text in texts]
    return sorted(folded(str(t)) if mm is None else f"{round(mm / SHIM_STEP_MM)}" for t, mm in zip(texts, lengths, strict=True))


def _list(value: object) -> list[Any]:
    return list(value) if isinstance(value, list | tuple) else [] if value is None else [value]


def _length_mm(text: object) -> float | None:
    try:
        return to_si(str(text), "length") * 1000
    except BenchError:
        return None
