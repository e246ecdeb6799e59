"""What is fitted now and lies out of the card's limits, by the sheet's own readings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.pack.buildable import STILL_MM, left_right_mm
from analysis.pack.loads import Loads, loads_of
from analysis.pack.parts import SIDES, PlateKind, Sense, SpaceForm
from analysis.pack.stack import room_mm
from analysis.pack.unit import Unit
from analysis.pack.unknowns import nominal

SHARE_STEP = 5e-4
"""A share of flat is held against its limit to a twentieth of a per cent."""


@dataclass(frozen=True, slots=True)
class BeyondLimit:
    """A part beyond a limit of the card; lengths in mm, shares as fractions."""

    code: str
    part: str
    value: float
    limit: float

    @property
    def is_part(self) -> bool:
        """A part to renew, rather than a setting that shims can change."""
        return self.code in ("wear", "flatness", "thickness_min")


def nominal_loads(unit: Unit) -> Loads | None:
    """Loads of what is fitted now by the readings alone; None where the sheet does not say how far the springs are pressed."""
    if unit.block or not unit.space_counts:
        return None
    unknowns = nominal(unit, [unit.pack.now, unit.reference])
    still = np.zeros(1)
    return loads_of(unit, unknowns, unit.pack.now, still, still)


def beyond_limits(unit: Unit, play_mm: tuple[float | None, float | None]) -> list[BeyondLimit]:
    """Plates in order left to right, then left against right, then the springs and the end play.

    Parameters
    ----------
    unit
        Sheet and card.
    play_mm
        Clearance or end play, left and right, as `play_now_mm` gives it; None: not known.

    Returns
    -------
    list of BeyondLimit
        Lengths in mm, shares of flat as fractions; empty where nothing is beyond a limit.
    """
    limits = unit.card.limits
    found: list[BeyondLimit] = []
    for side in unit.pack.now.sides:
        for name in side.plates:
            if name in unit.pack.plates:
                found += _plate_limits(unit, name)
    difference = left_right_mm(unit, unit.pack.now)
    if limits.left_right_mm is not None and difference is not None and abs(difference) > limits.left_right_mm + STILL_MM:
        found.append(BeyondLimit("left_right", "left", abs(difference), limits.left_right_mm))
    loads = nominal_loads(unit)
    if loads is not None:
        for n, name in enumerate(SIDES):
            shares = [float(group.share[0, 0]) for group in loads.groups if group.side == n]
            if shares and max(shares) > limits.share_of_flat + SHARE_STEP:
                found.append(BeyondLimit("share_of_flat", name, max(shares), limits.share_of_flat))
    code = "clearance" if limits.clearance_mm is not None else "end_play"
    window = limits.clearance_mm or limits.end_play_mm
    if window is not None:
        for n, name in enumerate(SIDES):
            value = play_mm[n]
            has = code == "end_play" or bool(unit.pack.now.sides[n].springs)
            if value is not None and has and not window[0] - STILL_MM <= value <= window[1] + STILL_MM:
                found.append(BeyondLimit(code, name, value, window[0] if value < window[0] else window[1]))
    return found


def _plate_limits(unit: Unit, name: str) -> list[BeyondLimit]:
    plate, limits = unit.pack.plates[name], unit.card.limits
    found = []
    if plate.thickness_mm:
        thinnest = min(plate.thickness_mm)
        if limits.wear_mm is not None and plate.unworn_mm is not None:
            wear = plate.unworn_mm - thinnest
            if wear > limits.wear_mm + STILL_MM:
                found.append(BeyondLimit("wear", name, wear, limits.wear_mm))
        least = limits.thickness_min_inner_mm if plate.kind is PlateKind.INNER else limits.thickness_min_outer_mm
        if least is not None and thinnest < least - STILL_MM:
            found.append(BeyondLimit("thickness_min", name, thinnest, least))
    if limits.flatness_mm is not None and plate.flatness_mm is not None and plate.flatness_mm > limits.flatness_mm + STILL_MM:
        found.append(BeyondLimit("flatness", name, plate.flatness_mm, limits.flatness_mm))
    return found


def play_now_mm(unit: Unit) -> tuple[float | None, float | None]:
    """Clearance to flat or end play, whichever the card limits; an end play that was read counts before one from the space."""
    limits = unit.card.limits
    if limits.clearance_mm is not None:
        loads = nominal_loads(unit)
        if loads is None:
            return None, None
        by_side = [[float(g.clearance_mm[0, 0]) for g in loads.groups if g.side == n or unit.through] for n in (0, 1)]
        left, right = (sum(values) if values else None for values in by_side)
        return left, right
    if limits.end_play_mm is None:
        return None, None
    read = [entry for entry in unit.pack.history if entry.end_play_mm is not None]
    heights, space = unit.heights(unit.pack.now), unit.pack.space
    found: list[float | None] = []
    for n in (0, 1):
        side = unit.pack.now.sides[n]
        if read:
            then = unit.heights(read[-1].build)[n]
            play = read[-1].end_play_mm
            assert play is not None
            change = heights[n].mm - then.mm + side.shim_total_mm - read[-1].build.sides[n].shim_total_mm
            found.append(play[n] - change)
        elif unit.block and space is not None and space.form is SpaceForm.PER_SIDE and heights[n].source != "unknown":
            found.append(room_mm(space, n) - heights[n].mm - side.shim_total_mm)
        else:
            found.append(None)
    return found[0], found[1]


def shims_set_play(unit: Unit) -> bool:
    """Whether shims set end play or clearance and hardly the torque."""
    return unit.card.sense is Sense.LESS_CLEARANCE
