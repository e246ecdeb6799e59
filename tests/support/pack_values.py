"""A small invented pack, card and shelf as values; tests change what they are about."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from analysis.pack.arrangement import Layout
from analysis.pack.parts import (
    Build,
    CardLimits,
    CardSprings,
    CardWindow,
    CupSpring,
    HistoryEntry,
    Pack,
    Plate,
    PlateKind,
    PlateState,
    Sense,
    Shelf,
    SideBuild,
    Space,
    SpaceForm,
    SpecCard,
    SpringBlock,
    Stocked,
)
from analysis.window import Basis, Window

OUTER_MM, INNER_MM = 1.90, 1.60
STACK_MM = 3 * OUTER_MM + 2 * INNER_MM
ROOM_MM = STACK_MM + 0.40 + 2.95  # with 0.40 mm of shim the springs have 2.95 mm
SIZES_MM = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6)


def plates(side: str, state_of: str = "") -> dict[str, Plate]:
    """Outer and inner plates by turns, five a side."""
    made = {}
    for n in range(1, 6):
        kind, mm = (PlateKind.OUTER, OUTER_MM) if n % 2 else (PlateKind.INNER, INNER_MM)
        name = f"{side}{n}{state_of}"
        made[name] = Plate(name, kind, (mm, mm, mm, mm), mm + 0.01, 0.02)
    return made


def spring(name: str, **changed: Any) -> CupSpring:
    """A spring of 90 x 62 x 1.85 mm, 3.70 mm tall."""
    return replace(CupSpring(name, 90.0, 62.0, 1.85, 3.70), **changed)


def side(letter: str, shims: tuple[float, ...] = (0.4,), **changed: Any) -> SideBuild:
    """One side with its own plates and spring."""
    return replace(SideBuild(tuple(plates(letter)), (f"S{letter}1",), "(", shims), **changed)


def build(left_shims: tuple[float, ...] = (0.4,), right_shims: tuple[float, ...] = (0.4,), **changed: Any) -> Build:
    """Both sides, used plates, modified oil."""
    return replace(Build(side("L", left_shims), side("R", right_shims), PlateState.USED, None, "modified"), **changed)


def entry(
    build_pulled: Build | None = None, breakaway: tuple[float, ...] = (30.0, 31.0, 30.5, 29.5), **changed: Any
) -> HistoryEntry:
    """A series in arrangement A."""
    return replace(HistoryEntry(build_pulled or build(), "A", breakaway), **changed)


def pack(*history: HistoryEntry, **changed: Any) -> Pack:
    """The sheet: a space a side."""
    made = Pack(
        unit="demo",
        now=build(),
        arrangement="A",
        face_outer_mm=95.0,
        face_inner_mm=66.0,
        plates={**plates("L"), **plates("R")},
        springs={"SL1": spring("SL1"), "SR1": spring("SR1")},
        space=Space(SpaceForm.PER_SIDE, (50.0, 50.0), (50.0 - ROOM_MM, 50.0 - ROOM_MM)),
        history=history,
    )
    return replace(made, **changed)


def card(low: float = 30.0, high: float = 45.0, **changed: Any) -> SpecCard:
    """The card: window at breakaway, used plates; thicker shims press more."""
    made = SpecCard(
        windows=(CardWindow(Window(low, high, Basis.BREAKAWAY, "A"), "A", PlateState.USED),),
        layout=Layout.EACH,
        sense=Sense.MORE_PRELOAD,
        limits=CardLimits(wear_mm=0.10, flatness_mm=0.08, left_right_mm=0.10),
        shims_per_side=3,
        shims_total_max_mm=1.5,
        faces_per_side=4,
        plates_per_side=5,
        springs=CardSprings(1, "(", 90.0, 62.0, 1.85, 3.70),
    )
    return replace(made, **changed)


def shelf(sizes_mm: tuple[float, ...] = SIZES_MM, count: int = 4) -> Shelf:
    """Shims in stock."""
    return Shelf(shims=tuple(Stocked(count, shim_mm=mm) for mm in sizes_mm))


def block_pack(*history: HistoryEntry, **changed: Any) -> Pack:
    """Springs between the side gears: none in the sides."""
    bare = build()
    bare = replace(bare, left=replace(bare.left, springs=(), stack=""), right=replace(bare.right, springs=(), stack=""))
    return replace(pack(*history), now=bare, springs={}, space=None, block=SpringBlock(2, 60.0, 38.0, 25.0), **changed)
