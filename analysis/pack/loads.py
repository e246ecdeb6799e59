"""Loads and torque of any build of the unit, in every draw of what is not known."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.pack import priors
from analysis.pack.cup_springs import SOLID_SHARE, SpringShape, flats_factor
from analysis.pack.line import Group, settle
from analysis.pack.parts import Build, SideBuild, SpaceForm
from analysis.pack.stack import room_mm, spring_groups
from analysis.pack.unit import Unit
from analysis.pack.unknowns import Floats, Unknowns


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """One line of springs and plates of a build, in every draw.

    Parameters
    ----------
    groups
        Spring groups in series, each with the number (0 left, 1 right) of the side it stands in.
    interference_mm
        Shape (draws,), with the shims that are fitted in that build.
    compliance_mm_per_n
        Shape (draws,).
    sides
        Sides whose shims act on this line, and whose packs it presses.
    """

    groups: tuple[tuple[int, Group], ...]
    interference_mm: Floats
    compliance_mm_per_n: Floats
    sides: tuple[int, ...]


_FLAT_MM = 1e-6
"""Keeps the share of flat finite for a spring without a cone."""


@dataclass(frozen=True, slots=True, eq=False)
class Loads:
    """Loads of a build over draws and choices, shape (draws, choices).

    Parameters
    ----------
    load_n, rate_n_per_mm
        Of left and right pack; the rate is for interference in that side's line.
    groups
        Of each spring group: side, deflection and cone height in mm, number of groups that share its line.
    """

    load_n: tuple[Floats, Floats]
    rate_n_per_mm: tuple[Floats, Floats]
    groups: tuple[GroupState, ...]


@dataclass(frozen=True, slots=True, eq=False)
class GroupState:
    """A spring group at rest: side, deflection, cone height, its part in the yield of the plates, groups in its line."""

    side: int
    deflection_mm: Floats
    cone_mm: Floats
    yielded_mm: Floats
    in_line: int

    @property
    def share(self) -> Floats:
        """Deflection over cone height."""
        share: Floats = self.deflection_mm / np.maximum(self.cone_mm, _FLAT_MM)
        return share

    @property
    def clearance_mm(self) -> Floats:
        """Travel left to flat."""
        return self.cone_mm - self.deflection_mm

    @property
    def solid(self) -> NDArray[np.bool_]:
        """Where it counts as solid."""
        return self.share >= SOLID_SHARE


def lines_of(unit: Unit, unknowns: Unknowns, build: Build) -> tuple[Line, ...]:
    """The lines of a build; none with springs between the side gears.

    Parameters
    ----------
    unit, unknowns, build
        The build as it stands in every draw.

    Returns
    -------
    tuple of Line
        One a side, left first, or one across; interference in mm with the build's own shims. Where no space was measured it follows
        from a guessed share of flat.
    """
    if unit.block:
        return ()
    offsets = _space_offsets(unit, unknowns)
    bare = _bare_lines(unit, unknowns, build)
    return tuple(replace(line, interference_mm=line.interference_mm + off) for line, off in zip(bare, offsets, strict=True))


def _bare_lines(unit: Unit, unknowns: Unknowns, build: Build) -> tuple[Line, ...]:
    """Lines with the interference as the sheet has it, counted from no room where no space was measured."""
    sides = [_side_interference(unit, unknowns, build, number) for number in (0, 1)]
    groups = [tuple((n, _group(unit, unknowns, names)) for names in spring_groups(build.sides[n])) for n in (0, 1)]
    if unit.through:
        total = _through_interference(unit, unknowns, build, sides[0] + sides[1])
        return (Line(groups[0] + groups[1], total, 2.0 * unknowns.compliance_mm_per_n, (0, 1)),)
    return tuple(Line(groups[n], sides[n], unknowns.compliance_mm_per_n, (n,)) for n in (0, 1))


def _side_interference(unit: Unit, unknowns: Unknowns, build: Build, number: int) -> Floats:
    """Plates, shims and springs of a side less its room, seating and closure counted in."""
    side = build.sides[number]
    height = unit.heights(build)[number]
    total = height.mm + unknowns.height_error_mm[height.key] + unknowns.stands_on * height.high_spots_mm
    total = total + unit.sense * side.shim_total_mm
    if (
        unit.pack.space is None or unit.pack.space.form is not SpaceForm.COVER
    ):  # the cover's room is measured onto a pack that has seated
        total = total - unknowns.seating_mm[number]
    for names in spring_groups(side):
        total = total + np.mean([unknowns.cone_mm[name] for name in names], axis=0)
        total = total + np.sum([unknowns.thickness_mm[name] for name in names], axis=0)
    if build.closure == "final" and not (unit.through and number == 1):
        total = total + unknowns.final_closure_mm[number]
    space = unit.pack.space
    if not unit.space_counts or space is None:
        return np.asarray(total, dtype=np.float64)
    if space.form is not SpaceForm.COVER:
        return np.asarray(total - room_mm(space, number) - unknowns.room_error_mm[number], dtype=np.float64)
    if unit.through:
        return np.asarray(total, dtype=np.float64)
    return np.asarray(total - _plates_then(unit, unknowns, number) - _cover_room(unit, unknowns, number), dtype=np.float64)


def _through_interference(unit: Unit, unknowns: Unknowns, build: Build, both: Floats) -> Floats:
    """One line: with the cover form one room was measured, with the plates and shims in it."""
    space = unit.pack.space
    if not unit.space_counts or space is None or space.form is not SpaceForm.COVER:
        return both
    then = _plates_then(unit, unknowns, 0) + _plates_then(unit, unknowns, 1)
    return both - then - _cover_room(unit, unknowns, 0)


def _plates_then(unit: Unit, unknowns: Unknowns, number: int) -> Floats:
    """Plates of a side when the cover's room was measured: those fitted now, high spots and all."""
    height = unit.heights(unit.pack.now)[number]
    return height.mm + unknowns.height_error_mm[height.key] + unknowns.stands_on * height.high_spots_mm


def _cover_room(unit: Unit, unknowns: Unknowns, number: int) -> Floats:
    space = unit.pack.space
    assert space is not None
    return room_mm(space, number) + unit.sense * space.measured_with_shims_mm + unknowns.room_error_mm[number]


def _group(unit: Unit, unknowns: Unknowns, names: tuple[str, ...]) -> Group:
    """Nested springs as one: their mean dimensions, their number, and friction on closing (EN 16984)."""
    springs = [unit.pack.springs[name] for name in names]
    first = springs[0]
    flats = [
        1.0 if s.thickness_before_flats_mm is None else flats_factor(s.thickness_before_flats_mm, s.thickness_mm, s.free_height_mm)
        for s in springs
    ]
    shape = SpringShape(
        outer_diameter_mm=first.outer_diameter_mm,
        inner_diameter_mm=first.inner_diameter_mm,
        thickness_mm=np.mean([unknowns.thickness_mm[name] for name in names], axis=0)[:, None],
        cone_height_mm=np.maximum(np.mean([unknowns.cone_mm[name] for name in names], axis=0), 1e-3)[:, None],
        flats=sum(flats) / len(flats),
        late_rise=unknowns.late_rise[:, None],
    )
    n = len(names)
    friction = 1.0 - unknowns.end_friction - (n - 1) * unknowns.nested_friction
    curves = [s.curve for s in springs if s.curve is not None]
    curve = None
    if len(curves) == n:
        at = np.unique(np.concatenate([np.asarray(c[0]) for c in curves]))
        at = at[at <= min(c[0][-1] for c in curves)]
        curve = (at, np.mean([np.interp(at, c[0], c[1]) for c in curves], axis=0))
    return Group(shape, (n / friction)[:, None], curve)


def _space_offsets(unit: Unit, unknowns: Unknowns) -> tuple[Floats | float, ...]:
    """What is added to each line's interference so that the reference build stands at the guessed share of flat.

    Everywhere where no space was measured; where one was, in the few draws in which it is taken to be wrong.
    """
    lines = _bare_lines(unit, unknowns, unit.reference)
    guessed = np.ones(unknowns.size, dtype=bool) if not unit.space_counts else unknowns.space_wrong < priors.WRONG_SPACE
    if not np.any(guessed):
        return tuple(0.0 for _ in lines)
    offsets: list[Floats | float] = []
    first_deflection: Floats | None = None
    for line in lines:
        if not line.groups:
            offsets.append(0.0)
            continue
        cones = np.sum([np.broadcast_to(group.cone_mm, (unknowns.size, 1)) for _, group in line.groups], axis=0)[:, 0]
        deflection = unknowns.share * cones
        if first_deflection is not None:
            deflection = first_deflection + unknowns.side_difference_mm
        first_deflection = deflection
        load = settle([group for _, group in line.groups], 0.0, deflection[:, None]).load_n[:, 0]
        wanted = deflection + line.compliance_mm_per_n * load
        offsets.append(np.where(guessed, wanted - line.interference_mm, 0.0))
    return tuple(offsets)


def loads_of(unit: Unit, unknowns: Unknowns, build: Build, left_change_mm: Floats, right_change_mm: Floats) -> Loads:
    """Loads of a build over draws and changes of its shims.

    Parameters
    ----------
    unit, unknowns, build
        The build as it stands in every draw.
    left_change_mm, right_change_mm
        Change of the shim totals from the build's own, shape (choices,).

    Returns
    -------
    Loads
        In N and N/mm, shape (draws, choices); 0 where no spring presses.
    """
    if unit.block:
        return _block_loads(unit, unknowns, build, left_change_mm + right_change_mm)
    changes = (left_change_mm, right_change_mm)
    none = np.zeros((unknowns.size, left_change_mm.size))
    load, rate = [none, none], [none, none]
    states: list[GroupState] = []
    for line in lines_of(unit, unknowns, build):
        if not line.groups:
            continue
        change = sum((changes[n] for n in line.sides), start=np.zeros(left_change_mm.size))
        wanted = line.interference_mm[:, None] + unit.sense * change[None, :]
        state = settle([group for _, group in line.groups], line.compliance_mm_per_n[:, None], wanted)
        for number in line.sides:
            load[number], rate[number] = state.load_n, state.rate_n_per_mm
        for (number, group), deflection in zip(line.groups, state.deflection_mm, strict=True):
            cone = np.broadcast_to(group.cone_mm, deflection.shape)
            yielded = state.load_n * line.compliance_mm_per_n[:, None] / len(line.groups)
            states.append(GroupState(number, deflection, cone, yielded, len(line.groups)))
    return Loads((load[0], load[1]), (rate[0], rate[1]), tuple(states))


def _block_loads(unit: Unit, unknowns: Unknowns, build: Build, change_mm: Floats) -> Loads:
    """Springs between the side gears: shims and thicker stacks push the gears together and shorten them."""
    block = unit.pack.block
    assert block is not None
    base = unit.reference
    shorter = np.zeros(unknowns.size)
    for number in (0, 1):
        now, then = unit.heights(build)[number], unit.heights(base)[number]
        shorter = shorter + now.mm - then.mm + unknowns.height_error_mm[now.key] - unknowns.height_error_mm[then.key]
        shorter = shorter + build.sides[number].shim_total_mm - base.sides[number].shim_total_mm
    rate = block.count * block.rate_n_per_mm
    deflection = block.free_length_mm - block.fitted_length_mm + shorter[:, None] + change_mm[None, :]
    load = rate * np.maximum(deflection, 0.0)
    rates = np.where(deflection > 0.0, rate, 0.0)
    return Loads((load, load), (rates, rates), ())


def mean_torque_per_friction_nm(unit: Unit, build: Build, loads: Loads) -> Floats:
    """Mean torque of both packs for a friction of 1: what arrangement A reads, over friction.

    Parameters
    ----------
    unit
        Its mean friction radius counts.
    build
        Its rubbing faces count.
    loads
        Of that build, shape (draws, choices).

    Returns
    -------
    ndarray, shape (draws, choices)
        N.m: half of radius times the sum over both packs of faces times load.
    """
    left, right = unit.faces(build)
    total: Floats = 0.5 * unit.radius_mm / 1000.0 * (left * loads.load_n[0] + right * loads.load_n[1])
    return total


def gap_noise(unit: Unit, build: Build, loads: Loads) -> Floats:
    """Relative standard deviation of the torque from closing repeat and shim sizes.

    Parameters
    ----------
    unit
        Sheet and card.
    build
        Its shims and faces count.
    loads
        Of that build, shape (draws, choices).

    Returns
    -------
    ndarray, shape (draws, choices)
        A fraction of the torque, at most 0.5.
    """
    left, right = unit.faces(build)
    torque = np.maximum(left * loads.load_n[0] + right * loads.load_n[1], 1e-9)
    sd = [gap_sd_mm(unit, side) for side in build.sides]
    if unit.through:
        slope = (left + right) * loads.rate_n_per_mm[0]
        noise = slope / torque * math.hypot(priors.CLOSING_REPEAT_MM, *(_shim_sd_mm(unit, side) for side in build.sides))
    elif unit.block:
        noise = (left + right) * loads.rate_n_per_mm[0] / torque * math.hypot(*sd)
    else:
        noise = np.hypot(left * loads.rate_n_per_mm[0] * sd[0], right * loads.rate_n_per_mm[1] * sd[1]) / torque
    # Where next to no load is left, a hundredth of a millimetre is no longer a small change: held at half.
    capped: Floats = np.minimum(noise, 0.5)
    return capped


def gap_sd_mm(unit: Unit, side: SideBuild) -> float:
    """Standard deviation of a side's gap from one closing to the next, shim sizes included.

    Parameters
    ----------
    unit
        Its sheet has the uncertainty of a shim.
    side
        Its number of shims counts.

    Returns
    -------
    float
        mm.
    """
    return math.hypot(priors.CLOSING_REPEAT_MM, _shim_sd_mm(unit, side))


def _shim_sd_mm(unit: Unit, side: SideBuild) -> float:
    return unit.pack.uncertainty.shim_mm * math.sqrt(len(side.shims_mm))
