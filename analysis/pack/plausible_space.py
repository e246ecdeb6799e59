"""Spaces that cannot be right: springs or end play could not stand as they have them."""

from __future__ import annotations

from analysis.pack.limits import nominal_loads, play_now_mm
from analysis.pack.parts import SIDES, SpaceForm
from analysis.pack.problem import Problem, once, stop
from analysis.pack.stack import room_mm
from analysis.pack.told import Told
from analysis.pack.unit import Unit

FLAT_TOO_FAR_MM = 0.35
"""Springs pressed beyond flat by more than this by the sheet: the case would not have closed."""
PLAY_TOO_FAR_MM = 0.6
"""Springs with more play than this while the unit held torque: the space was misread."""
END_PLAY_MM = (-0.3, 2.5)
"""End play by the space that a unit can be built with: less and it would not close, more and plates are missing."""
END_PLAY_OFF_MM = 0.5
"""End play by the space this far from what was read: one of the two is wrong."""
HELD_FROM_NM = 5.0
"""From this torque on the last series shows that the springs press."""


def problems_of_space(unit: Unit) -> list[Problem]:
    """Springs that could not stand as the space has them."""
    loads = nominal_loads(unit)
    if loads is None:
        return _end_plays(unit)
    found = []
    held = any(min(entry.breakaway_nm or entry.sliding_nm or (0.0,)) > HELD_FROM_NM for entry in unit.pack.history[-1:])
    for group in loads.groups:
        where = SIDES[group.side]
        beyond = float(group.deflection_mm[0, 0] - group.cone_mm[0, 0])
        if beyond > FLAT_TOO_FAR_MM:
            text = Told(
                "{where}: by the space the springs would be pressed {beyond:.2f} mm beyond flat: measure depths and heights again",
                where=where,
                beyond=beyond,
            )
            found.append(stop("implausible_space", "space", text))
        elif held and -float(group.deflection_mm[0, 0]) > PLAY_TOO_FAR_MM:
            text = Told(
                "{where}: by the space the springs would have play, yet the unit held torque: measure depths and heights again",
                where=where,
            )
            found.append(stop("implausible_space", "space", text))
    return once(found)


def _end_plays(unit: Unit) -> list[Problem]:
    """End play by the space against what was read, where shims set it."""
    space = unit.pack.space
    if space is None or space.form is not SpaceForm.PER_SIDE or not unit.block:
        return []
    read = play_now_mm(unit)
    found = []
    for n, name in enumerate(SIDES):
        height = unit.heights(unit.pack.now)[n]
        if height.source == "unknown":
            continue
        play = room_mm(space, n) - height.mm - unit.pack.now.sides[n].shim_total_mm
        was_read = read[n] if any(entry.end_play_mm is not None for entry in unit.pack.history) else None
        low, high = END_PLAY_MM if was_read is None else (was_read - END_PLAY_OFF_MM, was_read + END_PLAY_OFF_MM)
        if not low <= play <= high:
            than = "" if was_read is None else Told(", {was_read:.2f} mm was read", was_read=was_read)
            text = Told(
                "{name}: by the space the end play would be {play:.2f} mm{than}: measure depths and stack again",
                name=name,
                play=play,
                than=than,
            )
            found.append(stop("implausible_space", "space", text))
    return once(found)
