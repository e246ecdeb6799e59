"""The spec card (PACK.md 2): what the maker's page says of a unit."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated, Literal

from analysis.pack.arrangement import ARRANGEMENTS, Layout
from analysis.pack.parts import CardLimits, CardSprings, CardWindow, PlateState, Sense, SpecCard
from analysis.window import Basis, Window
from rig.files.document import Read, read_document
from rig.files.fields import (
    AngleDeg,
    LengthMm,
    LengthRangeMm,
    Name,
    OneOrMany,
    Open,
    Refusal,
    Share,
    StiffnessNPerMm,
    TorqueRangeNm,
    Words,
    between,
    says,
)

ArrangementCode = Literal["A", "B", "C", "D", "E", "F", "G", "V", "V2"]
State = Literal["new", "run_in", "used"]
assert ARRANGEMENTS == ("A", "B", "C", "D", "E", "F", "G", "V", "V2")


class CardHead(Open, frozen=True):
    """`[card]`."""

    unit: Words = Words("")
    page: Words = Words("")
    version: Words = Words("")


class WindowTable(Open, frozen=True):
    """`[window]`, or one of several."""

    torque: TorqueRangeNm
    also_printed: TorqueRangeNm | None = None
    basis: Literal["breakaway", "sliding"] = "breakaway"
    arrangement: ArrangementCode | None = None
    plate_state: State | None = None

    def __post_init__(self) -> None:
        """Limits that no window can have are refused here, with the key's name."""
        if self.torque.low is not None and self.torque.low == self.torque.high:
            raise Refusal("torque", f"is '{self.torque.text}', both ends the same", TorqueRangeNm.EXPECTED)

    def window(self) -> CardWindow:
        """As the analysis takes it."""
        limits = Window(
            self.torque.low,
            self.torque.high,
            Basis(self.basis),
            self.arrangement,
            self.plate_state,
            unit=self.torque.unit or "N.m",
            text=self.torque.text,
        )
        state = None if self.plate_state is None else PlateState(self.plate_state)
        also = None if self.also_printed is None else (self.also_printed.low, self.also_printed.high)
        return CardWindow(limits, self.arrangement, state, also)


class LeastThickness(Open, frozen=True):
    """`thickness_min`."""

    inner: LengthMm | None = None
    outer: LengthMm | None = None


class BothEndsMm(LengthRangeMm):
    """A range with both its ends."""

    BOTH_ENDS = True
    OF = LengthMm


class LimitsTable(Open, frozen=True):
    """`[limits]`."""

    wear: LengthMm | None = None
    flatness: LengthMm | None = None
    thickness_min: LeastThickness = LeastThickness()
    left_right: LengthMm | None = None
    clearance: BothEndsMm | None = None
    end_play: BothEndsMm | None = None
    share_of_flat: Share | None = None


class BuildTable(Open, frozen=True):
    """`[build]`."""

    layout: Literal["each", "through", "block"]
    thicker_shim: Literal["more preload", "less preload", "less clearance"]
    shim_sides: OneOrMany[Literal["left", "right"]] = OneOrMany(("left", "right"))
    shims_per_side: Annotated[int, between(1, 10)] | None = None
    shims_total_max: LengthMm | None = None
    faces_per_side: Annotated[int, between(0, 60)] | None = None
    plates_per_side: Annotated[int, between(1, 60)] | None = None
    ramps: AngleDeg | None = None
    ratio: Annotated[float, between(0.1, 100.0), says("a number such as 4.1: pinion to ring gear")] | None = None


class SpringsTable(Open, frozen=True):
    """`[springs]`: new ones."""

    per_side: Annotated[int, between(0, 20)] | None = None
    stack: Name | None = None
    outer_diameter: LengthMm | None = None
    inner_diameter: LengthMm | None = None
    thickness: LengthMm | None = None
    free_height: LengthMm | None = None


class BlockTable(Open, frozen=True):
    """`[block]`: new springs between the side gears."""

    free_length: LengthMm | None = None
    rate: StiffnessNPerMm | None = None


class SpecCardDocument(Open, frozen=True):
    """A spec card as it stands in its file."""

    window: OneOrMany[WindowTable]
    build: BuildTable
    card: CardHead = CardHead()
    limits: LimitsTable | None = None
    springs: SpringsTable = SpringsTable()
    block: BlockTable = BlockTable()

    def __post_init__(self) -> None:
        """A card without a window judges nothing."""
        if not self.window:
            raise Refusal("window", "is empty", "a window such as [window] torque = '49..73 N.m'")

    def spec_card(self) -> SpecCard:
        """As the analysis takes it."""
        table = self.limits or LimitsTable()
        limits = CardLimits(
            wear_mm=table.wear,
            flatness_mm=table.flatness,
            thickness_min_inner_mm=table.thickness_min.inner,
            thickness_min_outer_mm=table.thickness_min.outer,
            left_right_mm=table.left_right,
            clearance_mm=_ends(table.clearance),
            end_play_mm=_ends(table.end_play),
        )
        if table.share_of_flat is not None:
            limits = replace(limits, share_of_flat=float(table.share_of_flat))
        return SpecCard(
            windows=tuple(one.window() for one in self.window),
            layout=Layout(self.build.layout),
            sense=Sense(self.build.thicker_shim),
            limits=limits,
            shim_sides=tuple(self.build.shim_sides),
            shims_per_side=self.build.shims_per_side,
            shims_total_max_mm=self.build.shims_total_max,
            faces_per_side=self.build.faces_per_side,
            plates_per_side=self.build.plates_per_side,
            ramps_deg=self.build.ramps,
            ratio=self.build.ratio,
            springs=CardSprings(
                per_side=self.springs.per_side,
                stack=self.springs.stack,
                outer_diameter_mm=self.springs.outer_diameter,
                inner_diameter_mm=self.springs.inner_diameter,
                thickness_mm=self.springs.thickness,
                free_height_mm=self.springs.free_height,
            ),
            block_free_length_mm=self.block.free_length,
            block_rate_n_per_mm=self.block.rate,
            has_limits=self.limits is not None and self.limits != LimitsTable(),
            page=str(self.card.page),
        )


def _ends(limits: LengthRangeMm | None) -> tuple[float, float] | None:
    if limits is None or limits.low is None or limits.high is None:
        return None
    return limits.low, limits.high


def read_spec_card(path: Path) -> Read[SpecCardDocument]:
    """Read a spec card. Raises FileError or DocumentError."""
    missing = "name one with --spec, or print one with 'platepull shim --template spec'"
    return read_document(path, SpecCardDocument, "spec card", if_missing=missing)
