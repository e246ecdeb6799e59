"""A build as numbers: faces, mean radius, heights of plates and springs, room."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise

from analysis.pack.parts import Build, CupSpring, Pack, Plate, PlateKind, PlateState, SideBuild, Space, SpaceForm


def mean_radius_pressure_mm(outer_mm: float, inner_mm: float) -> float:
    """Mean friction radius for uniform pressure, (2/3)(Ro^3 - Ri^3)/(Ro^2 - Ri^2).

    Parameters
    ----------
    outer_mm, inner_mm
        Radii of the rubbed ring, outer above inner.

    Returns
    -------
    float
        mm.

    Notes
    -----
    The integral of r^2 over that of r, from Ri to Ro: every part of the ring carries the same pressure.

    Examples
    --------
    >>> mean_radius_pressure_mm(3.0, 0.0)
    2.0
    """
    return 2.0 / 3.0 * (outer_mm**3 - inner_mm**3) / (outer_mm**2 - inner_mm**2)  # formula


def mean_radius_wear_mm(outer_mm: float, inner_mm: float) -> float:
    """Mean friction radius for uniform wear, (Ro + Ri)/2.

    Parameters
    ----------
    outer_mm, inner_mm
        Radii of the rubbed ring.

    Returns
    -------
    float
        mm.

    Notes
    -----
    The pressure goes as 1/r, so that pressure times sliding distance is the same everywhere.
    """
    return 0.5 * (outer_mm + inner_mm)


def pack_torque_nm(friction: float, force_n: float, faces: int, radius_mm: float) -> float:
    """Torque of one pack: friction times force times faces times radius; every face carries the whole force.

    Parameters
    ----------
    friction
        Coefficient of friction.
    force_n
        Force that presses the stack, N.
    faces
        Rubbing faces in series.
    radius_mm
        Mean friction radius, mm.

    Returns
    -------
    float
        N.m.

    Examples
    --------
    >>> pack_torque_nm(0.1, 1000.0, 4, 50.0)
    20.0
    """
    return friction * force_n * faces * radius_mm / 1000.0


def kind_of(name: str, plates: Mapping[str, Plate]) -> PlateKind:
    """Kind of a plate of a side: that of its entry, else the name is the kind.

    Parameters
    ----------
    name
        As the side lists it.
    plates
        Entries of the sheet by name.

    Returns
    -------
    PlateKind
        `inner` or `outer`.

    Raises
    ------
    ValueError
        If the name is neither.
    """
    plate = plates.get(name)
    return PlateKind(name) if plate is None else plate.kind


def count_faces(kinds: Sequence[PlateKind]) -> int:
    """Rubbing faces of a side, from the order of its plates.

    An inner plate rubs on every neighbour that turns with the case: outer plates, and wall, shim, spring or ring at both ends.
    Two like plates side by side do not rub.

    Examples
    --------
    >>> O, I = PlateKind.OUTER, PlateKind.INNER
    >>> count_faces([O, I, O, I, O]), count_faces([O, I, I, O]), count_faces([I])
    (4, 2, 2)
    """
    row = [PlateKind.OUTER, *kinds, PlateKind.OUTER]
    return sum((a is PlateKind.INNER) != (b is PlateKind.INNER) for a, b in pairwise(row))


def spring_groups(side: SideBuild) -> list[tuple[str, ...]]:
    """Names of the springs that are nested with each other; the groups stand opposed, in series.

    Examples
    --------
    >>> spring_groups(SideBuild(plates=(), springs=("a", "b", "c"), stack="(()"))
    [('a', 'b'), ('c',)]
    """
    named = zip(side.stack, side.springs, strict=True)
    return [tuple(name for _, name in run) for _, run in groupby(named, key=lambda pair: pair[0])]


def group_free_height_mm(springs: Sequence[CupSpring]) -> float:
    """Free height of nested springs: one cone (their mean) and all thicknesses."""
    return sum(s.cone_height_mm for s in springs) / len(springs) + sum(s.thickness_mm for s in springs)


@dataclass(frozen=True, slots=True)
class StackHeight:
    """Height of a side's pressed plates as far as it is known.

    Parameters
    ----------
    mm
        Best value; 0 where `source` is 'unknown', for then only differences count.
    source
        'plates' summed, 'height' measured pressed, or 'unknown'.
    key
        Equal keys are the same plates measured once: their errors are the same error.
    high_spots_mm
        Sum of thickest less mean reading.
    """

    mm: float
    source: str
    key: tuple[object, ...]
    plates: tuple[str, ...] = ()
    high_spots_mm: float = 0.0


def stack_height(side_name: str, side: SideBuild, pack: Pack, state: PlateState | None, *, prefer_height: bool) -> StackHeight:
    """Height of the plates of one side, from a pressed height or from single thicknesses.

    Parameters
    ----------
    side_name
        `left` or `right`.
    side
        Its plates, and its pressed height where that was measured.
    pack
        The sheet, with the plates' thicknesses.
    state
        How far the plates have run in; tells unknown stacks of new plates from others.
    prefer_height
        Whether a pressed height counts before single thicknesses.

    Returns
    -------
    StackHeight
        Of the plates alone, in mm: shims that were pressed with them are taken off.
    """
    by_plates = _by_plates(side_name, side, pack.plates)
    if side.stack_height_mm is not None and (prefer_height or by_plates is None):
        mm = side.stack_height_mm - (side.shim_total_mm if side.stack_with_shims else 0.0)
        return StackHeight(mm, "height", (side_name, side.plates, side.stack_height_mm, side.stack_with_shims))
    if by_plates is not None:
        return by_plates
    return StackHeight(0.0, "unknown", (side_name, side.plates, state is PlateState.NEW))


def _by_plates(side_name: str, side: SideBuild, plates: Mapping[str, Plate]) -> StackHeight | None:
    fitted = [plates[name] for name in side.plates if name in plates and plates[name].thickness_mm]
    if len(fitted) != len(side.plates) or not fitted:
        return None
    high = sum(max(plate.thickness_mm) - plate.mean_mm for plate in fitted)
    return StackHeight(sum(plate.mean_mm for plate in fitted), "plates", (side_name, *side.plates), side.plates, high)


def has_height_everywhere(pack: Pack) -> bool:
    """Whether every build of the sheet has pressed stack heights on both sides."""
    builds = [pack.now, *(entry.build for entry in pack.history)]
    return all(side.stack_height_mm is not None for build in builds for side in build.sides if side.plates)


def room_mm(space: Space, side: int) -> float:
    """Room that the space leaves in one side for plates, shims and springs; for `across` half of what both share.

    For the cover form it is the room for the springs, with the shims and plates fitted at the time.

    Parameters
    ----------
    space
        The depths and heights that were measured, mm.
    side
        0 left, 1 right; only the form `per_side` tells them apart.

    Returns
    -------
    float
        mm.
    """
    if space.form is SpaceForm.PER_SIDE:
        return space.case_depth_mm[side] - space.gear_height_mm[side]
    if space.form is SpaceForm.ACROSS:
        return 0.5 * (sum(space.case_depth_mm) - space.overlap_mm - space.centre_mm)
    return space.edge_to_plate_mm - space.cover_boss_mm


_DEPTHS_ACROSS = 4
"""Two case depths, the overlap and the centre."""


def depths_measured(space: Space) -> int:
    """Number of depths whose errors add up in the room of one side (`across`: of both)."""
    return _DEPTHS_ACROSS if space.form is SpaceForm.ACROSS else 2


def inner_plates(build: Build, pack: Pack) -> tuple[str, ...]:
    """Names of the inner plates of both sides that have an entry of their own.

    Parameters
    ----------
    build
        Both sides as fitted.
    pack
        The sheet with the entries.

    Returns
    -------
    tuple of str
        Left first, each in the order of its side.
    """
    names = (*build.left.plates, *build.right.plates)
    return tuple(name for name in names if name in pack.plates and pack.plates[name].kind is PlateKind.INNER)
