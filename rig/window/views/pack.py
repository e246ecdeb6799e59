"""The pack as its page shows it: each side in section, the choices of shims over the window, the sentence for the bench. No Qt.

Everything reckoned comes from the answer of `rig.pack`; here it is only arranged and put into the chosen unit.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analysis.errors import BenchError
from analysis.units import in_unit
from rig.words.language import number, say
from rig.words.numbers import unit_name
from rig.words.units import UnitChoice

if TYPE_CHECKING:  # the analysis is loaded with the first sheet, not with the window
    from analysis.pack.answer import Answer
    from analysis.pack.shop import ShopHistory

SHOWN_CHOICES = 8
SHOWN_HINTS = 3
MARGIN = 0.12
"""Room beside the outermost torque, as a share of all."""
CURVE_POINTS = 41
CURVE_SDS = 3.0
"""A curve is drawn so many standard deviations either way."""
TWO_SIDED_95 = 1.96
"""Half the width of a 95 % interval in standard deviations."""


class Part(StrEnum):
    """What stands in a stack."""

    WALL = "wall"
    INNER = "inner"
    OUTER = "outer"
    SHIM = "shim"
    CUP_LEFT = "cup left"
    CUP_RIGHT = "cup right"
    RING = "ring"


@dataclass(frozen=True, slots=True)
class Piece:
    """One part in section. `beyond`: it is out of the card's limits."""

    part: Part
    name: str
    beyond: bool = False


@dataclass(frozen=True, slots=True)
class StackView:
    """A side, from the case wall to the pressure ring, and what stands beneath it in words."""

    name: str
    pieces: tuple[Piece, ...]
    note: str


@dataclass(frozen=True, slots=True)
class ChoiceView:
    """A choice of shims: what to fit, the torque it makes with its 95 % interval in the chosen unit, how sure it lands.

    `curve` are points of the density of that torque: torque, and height over the highest of all.
    """

    shims: str
    low: float
    median: float
    high: float
    lands: str
    share: float
    broken: bool
    curve: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class PackView:
    """The page. Torques in the chosen unit; the picture goes from `start` to `end`."""

    title: str
    reason: str
    stacks: tuple[StackView, ...]
    choices: tuple[ChoiceView, ...]
    low: float | None
    high: float | None
    start: float
    end: float
    unit: str
    pulled: tuple[float, ...]
    notes: tuple[str, ...]


def load_pack(path: Path, unit: UnitChoice, shop: ShopHistory | None = None) -> Iterator[PackView | BenchError]:
    """Read and answer a sheet, `shop` in place of the usual values; for the background: one view, or what stood in the way."""
    from rig.pack.answering import answer_files
    from rig.pack.answers import answer_document
    from rig.pack.pack_sheet import read_pack_document

    try:
        document, found = read_pack_document(path).value, answer_files(path, shop=shop)
        window = found.window.window
        yield pack_view(answer_document(str(path), found), _texts(found), document, (window.low_nm, window.high_nm), unit)
    except BenchError as fault:
        yield fault


@dataclass(frozen=True, slots=True)
class Texts:
    """What an answer says in words, in the language of the window."""

    reason: str
    notes: tuple[str, ...]


def _texts(found: Answer) -> Texts:
    from rig.pack.words import from_shop_text, limit_text, percent, reason, spoken, translated

    notes = [translated(problem.text) for problem in found.problems] + [limit_text(limit, spoken) for limit in found.limits]
    notes += [f"{percent(hint.confidence, spoken)}  {translated(hint.evidence)}" for hint in found.hints[:SHOWN_HINTS]]
    notes += [say("from this shop's jobs: {what}", what=from_shop_text(one, spoken)) for one in found.from_shop]
    return Texts(reason(found, spoken), tuple(notes))


def pack_view(
    answer: Mapping[str, Any], texts: Texts, document: Any, window: tuple[float | None, float | None], unit: UnitChoice
) -> PackView:
    """Arrange an answer and its sheet for the page."""
    beyond = {str(limit["part"]) for limit in answer["limits"]}
    sides = (("left", document.left), ("right", document.right))
    choices = tuple(_choice(one, unit) for one in answer["candidates"][:SHOWN_CHOICES])
    low, high = (None if limit is None else in_unit(limit, unit.first) for limit in window)
    pulled = tuple(in_unit(float(value), unit.first) for entry in document.history for value in (*entry.breakaway, *entry.sliding))
    highest = [choice.high for choice in choices] + [limit for limit in (low, high) if limit is not None] + list(pulled)
    lowest = [choice.low for choice in choices] + [limit for limit in (low, high) if limit is not None] + list(pulled)
    margin = MARGIN * (max(highest, default=100.0) - min(lowest, default=0.0))
    return PackView(
        title=say("Pack of {unit}", unit=str(document.pack.unit)),
        reason=texts.reason,
        stacks=tuple(_stack(name, side, document, answer, beyond) for name, side in sides),
        choices=choices,
        low=low,
        high=high,
        start=max(0.0, min(lowest, default=0.0) - margin),
        end=max(highest, default=100.0) + margin,
        unit=unit_name(unit.first),
        pulled=pulled,
        notes=texts.notes,
    )


def _choice(one: Mapping[str, Any], unit: UnitChoice) -> ChoiceView:
    left, right = (" + ".join(number(size, 2) for size in one[side]["shims_mm"]) or "–" for side in ("left", "right"))
    named = say("{shims} mm each side", shims=left) if left == right else f"{left}  |  {right} mm"
    if "–" in (left, right) and left != right:
        named = say("left {shims} mm", shims=left) if right == "–" else say("right {shims} mm", shims=right)

    return ChoiceView(
        shims=named,
        low=in_unit(one["torque_low_nm"], unit.first),
        median=in_unit(one["torque_median_nm"], unit.first),
        high=in_unit(one["torque_high_nm"], unit.first),
        lands=f"{number(100 * one['probability_lands'], 0)} %",
        share=float(one["probability_lands"]),
        broken=bool(one["broken"]),
        curve=_density(*(in_unit(one[f"torque_{key}_nm"], unit.first) for key in ("low", "median", "high"))),
    )


def _density(low: float, median: float, high: float) -> tuple[tuple[float, float], ...]:
    """Density of a torque by its median and 95 % limits: on the logarithm normal, each side with its own width."""
    if not 0.0 < low < median < high:
        return ()
    widths = [math.log(median / low) / TWO_SIDED_95, math.log(high / median) / TWO_SIDED_95]
    steps = [CURVE_SDS * (2 * n / (CURVE_POINTS - 1) - 1) for n in range(CURVE_POINTS)]
    return tuple((median * math.exp(z * widths[z > 0]), math.exp(-0.5 * z * z)) for z in steps)


def _stack(name: str, side: Any, document: Any, answer: Mapping[str, Any], beyond: set[str]) -> StackView:
    kinds = {plate.id: plate.kind for plate in document.plates}
    pieces = [Piece(Part.WALL, say("case"))]
    pieces += [Piece(Part.SHIM, number(float(shim), 2)) for shim in side.shims or ()]
    for plate in side.plates or ():
        kind = kinds.get(plate, plate)
        pieces.append(Piece(Part.INNER if kind == "inner" else Part.OUTER, str(plate), str(plate) in beyond))
    for spring, sign in zip(side.springs or (), side.stack or "(" * len(side.springs or ()), strict=False):
        pieces.append(Piece(Part.CUP_LEFT if sign == "(" else Part.CUP_RIGHT, str(spring), str(spring) in beyond or name in beyond))
    pieces.append(Piece(Part.RING, say("ring")))
    faces = (answer.get("faces") or {}).get(name)
    springs = (answer.get("springs_now") or {}).get(name)
    words = [say("{n} rubbing faces", n=faces)] if faces is not None else []
    if springs:
        share = number(100 * springs["share_of_flat"], 0) if springs["share_of_flat"] is not None else "–"
        words.append(say("springs at {share} % of flat, {load} N", share=share, load=number(springs["load_n"], 0)))
    return StackView(say("left") if name == "left" else say("right"), tuple(pieces), ", ".join(words))
