"""What a sheet leaves open, as draws; and what any build of the unit looks like in each of them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from analysis.pack import priors
from analysis.pack.arrangement import Layout
from analysis.pack.cup_springs import SOLID_SHARE, SpringShape, flats_factor
from analysis.pack.line import Group, settle
from analysis.pack.parts import Build, CupSpring, Pack, Sense, SideBuild, SpaceForm, SpecCard
from analysis.pack.stack import (
    StackHeight,
    count_faces,
    depths_measured,
    has_height_everywhere,
    kind_of,
    mean_radius_pressure_mm,
    room_mm,
    spring_groups,
    stack_height,
)

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Unit:
    """A sheet and a card together: the unit whose builds are reckoned."""

    pack: Pack
    card: SpecCard

    @property
    def radius_mm(self) -> float:
        """Mean friction radius; fresh oiled faces of this width: uniform pressure (within 1.5 % of uniform wear)."""
        return mean_radius_pressure_mm(0.5 * self.pack.face_outer_mm, 0.5 * self.pack.face_inner_mm)

    @property
    def through(self) -> bool:
        """One line across."""
        return self.card.layout is Layout.THROUGH

    @property
    def block(self) -> bool:
        """Springs between the side gears."""
        return self.card.layout is Layout.BLOCK

    @property
    def sense(self) -> float:
        """Interference gained per mm of shim."""
        return -1.0 if self.card.sense is Sense.LESS_PRELOAD else 1.0

    @property
    def reference(self) -> Build:
        """The build whose share of flat is guessed where no space was measured: the first that was pulled."""
        return self.pack.history[0].build if self.pack.history else self.pack.now

    def faces(self, build: Build) -> tuple[int, int]:
        """Rubbing faces, left and right."""
        left, right = (count_faces([kind_of(name, self.pack.plates) for name in side.plates]) for side in build.sides)
        return left, right

    def heights(self, build: Build) -> tuple[StackHeight, StackHeight]:
        """Stack heights, left and right."""
        prefer = has_height_everywhere(self.pack)
        left, right = (
            stack_height(name, side, self.pack, build.plate_state, prefer_height=prefer)
            for name, side in zip(("left", "right"), build.sides, strict=True)
        )
        return left, right

    @property
    def space_counts(self) -> bool:
        """Whether the measured space says how far the springs are pressed."""
        space = self.pack.space
        if space is None or self.block:
            return False
        if space.form is SpaceForm.COVER:
            return True
        return all(height.source != "unknown" for height in self.heights(self.pack.now))


@dataclass(frozen=True, slots=True, eq=False)
class Unknowns:
    """Draws of what the sheet leaves open; every array has one value a draw."""

    height_error_mm: Mapping[tuple[object, ...], Floats]
    thickness_mm: Mapping[str, Floats]
    cone_mm: Mapping[str, Floats]
    room_error_mm: tuple[Floats, Floats]
    compliance_mm_per_n: Floats
    seating_mm: tuple[Floats, Floats]
    stands_on: Floats
    final_closure_mm: tuple[Floats, Floats]
    late_rise: Floats
    end_friction: Floats
    nested_friction: Floats
    ramp_excess: Floats
    sd_pull: Floats
    sd_rebuild: Floats
    share: Floats
    side_difference_mm: Floats
    space_wrong: Floats
    normal_unit: Floats
    normal_reading: Floats

    @property
    def size(self) -> int:
        """Number of draws."""
        return int(self.share.size)

    def taken(self, which: NDArray[np.intp]) -> Unknowns:
        """The draws of the given numbers."""

        def pick(value: object) -> object:
            if isinstance(value, np.ndarray):
                return value[which]
            if isinstance(value, Mapping):
                return {key: pick(one) for key, one in value.items()}
            assert isinstance(value, tuple)
            return tuple(pick(one) for one in value)

        return replace(self, **{one.name: pick(getattr(self, one.name)) for one in fields(self)})  # type: ignore[arg-type]


class _Stratified:
    """Latin hypercube (McKay, Beckman and Conover 1979): each quantity is spread evenly over its own distribution."""

    def __init__(self, size: int, seed: int) -> None:
        self._random = np.random.default_rng(seed)
        self._size = size

    def uniform(self, low: float = 0.0, high: float = 1.0) -> Floats:
        places = (self._random.permutation(self._size) + self._random.random(self._size)) / self._size
        return low + (high - low) * places

    def normal(self, mean: float = 0.0, sd: float = 1.0) -> Floats:
        drawn: Floats = mean + sd * ndtri(np.clip(self.uniform(), 1e-12, 1.0 - 1e-12))
        return drawn

    def within(self, limits: priors.Range) -> Floats:
        return self.uniform(limits.low, limits.high)


def stratified_normals(size: int, seed: int) -> Floats:
    """Standard normal values, spread evenly over their distribution and in random order."""
    return _Stratified(size, seed).normal()


def draw(unit: Unit, builds: list[Build], size: int, seed: int) -> Unknowns:
    """Draw what the sheet leaves open, for all builds that will be asked about.

    Parameters
    ----------
    unit
        Sheet and card.
    builds
        Those pulled, fitted and considered: their stacks and springs get errors.
    size, seed
        Number of draws; the same seed gives the same answer.
    """
    spread = _Stratified(size, seed)
    u = unit.pack.uncertainty
    springs = sorted({name for build in builds for side in build.sides for name in side.springs})
    thickness, cone = {}, {}
    for name in springs:
        thickness[name], cone[name] = _spring_draws(unit.pack.springs[name], unit, spread)
    depth_sd = 0.0 if unit.pack.space is None else u.depth_mm * math.sqrt(depths_measured(unit.pack.space))
    shared = unit.pack.space is not None and unit.pack.space.form is SpaceForm.ACROSS
    left_room = spread.normal(0.0, depth_sd * (0.5 if shared else 1.0))
    right_room = left_room if shared else spread.normal(0.0, depth_sd)
    left_close = spread.within(priors.FINAL_CLOSURE_MM)
    return Unknowns(
        height_error_mm=_height_errors(unit, builds, spread),
        thickness_mm=thickness,
        cone_mm=cone,
        room_error_mm=(left_room, right_room),
        compliance_mm_per_n=1.0 / spread.within(priors.STACK_STIFFNESS_N_PER_MM),
        seating_mm=(spread.within(priors.SEATING_MM), spread.within(priors.SEATING_MM)),
        stands_on=spread.within(priors.STANDS_ON_HIGH_SPOTS),
        final_closure_mm=(left_close, spread.within(priors.FINAL_CLOSURE_MM)),
        late_rise=spread.within(priors.LATE_RISE),
        end_friction=spread.within(priors.END_FRICTION),
        nested_friction=spread.within(priors.NESTED_FRICTION),
        ramp_excess=spread.uniform(),
        sd_pull=spread.within(priors.PULL_TO_PULL),
        sd_rebuild=spread.within(priors.REBUILD_TO_REBUILD),
        share=spread.within(priors.SHARE_UNKNOWN),
        side_difference_mm=spread.uniform(-priors.SIDES_ALIKE_MM, priors.SIDES_ALIKE_MM),
        space_wrong=spread.uniform(),
        normal_unit=spread.normal(),
        normal_reading=spread.normal(),
    )


def nominal(unit: Unit, builds: list[Build]) -> Unknowns:
    """One draw with every reading as it stands and no prior: what the sheet itself says."""
    springs = {name for build in builds for side in build.sides for name in side.springs}
    nought = np.zeros(1)
    one = np.ones(1)
    return Unknowns(
        height_error_mm={height.key: nought for build in builds for height in unit.heights(build)},
        thickness_mm={name: one * unit.pack.springs[name].thickness_mm for name in springs},
        cone_mm={name: one * unit.pack.springs[name].cone_height_mm for name in springs},
        room_error_mm=(nought, nought),
        compliance_mm_per_n=nought,
        seating_mm=(nought, nought),
        stands_on=nought,
        final_closure_mm=(nought, nought),
        late_rise=nought,
        end_friction=nought,
        nested_friction=nought,
        ramp_excess=0.5 * one,
        sd_pull=priors.PULL_TO_PULL.mean * one,
        sd_rebuild=priors.REBUILD_TO_REBUILD.mean * one,
        share=priors.SHARE_UNKNOWN.mean * one,
        side_difference_mm=nought,
        space_wrong=one,
        normal_unit=nought,
        normal_reading=nought,
    )


def _spring_draws(spring: CupSpring, unit: Unit, spread: _Stratified) -> tuple[Floats, Floats]:
    """Thickness, leaning towards the card's, and cone height."""
    u = unit.pack.uncertainty
    card_mm = unit.card.springs.thickness_mm
    mean_mm, sd_mm = spring.thickness_mm, u.spring_thickness_mm
    # A lot scatters by a hundredth: a spring much further off than that is another spring, and leans towards nothing.
    lot = priors.SPRING_LOT_THICKNESS_MM
    if card_mm is not None and abs(card_mm - mean_mm) < 3.0 * math.hypot(lot, sd_mm):
        weight = sd_mm**2 / (sd_mm**2 + lot**2)
        mean_mm += weight * (card_mm - mean_mm)
        sd_mm *= math.sqrt(1.0 - weight)
    thickness = spread.normal(mean_mm, sd_mm)
    free = spread.normal(spring.free_height_mm, u.free_height_mm)
    return thickness, free - thickness


def _height_errors(unit: Unit, builds: list[Build], spread: _Stratified) -> dict[tuple[object, ...], Floats]:
    """Errors of all stack heights together: same plates, same error; the tool's zero is common to all."""
    heights = list({height.key: height for build in builds for height in unit.heights(build)}.values())
    covariance = np.array([[_height_covariance(unit, a, b) for b in heights] for a in heights])
    values, vectors = np.linalg.eigh(covariance)
    roots = vectors * np.sqrt(np.maximum(values, 0.0))
    normals = np.array([spread.normal() for _ in heights])
    errors = roots @ normals
    return {height.key: error for height, error in zip(heights, errors, strict=True)}


def _height_covariance(unit: Unit, a: StackHeight, b: StackHeight) -> float:
    u = unit.pack.uncertainty
    if a.source != b.source:
        return 0.0
    if a.source == "unknown":
        return priors.UNKNOWN_PLATES_MM**2 if a.key == b.key else 0.0
    if a.source == "height":
        common = priors.STACK_HEIGHT_COMMON_MM * u.stack_height_mm / priors.STACK_HEIGHT_DEFAULT_MM
        return common**2 + (u.stack_height_mm**2 - common**2 if a.key == b.key else 0.0)
    both = set(a.plates) & set(b.plates)
    own = sum(u.plate_mm**2 / len(unit.pack.plates[name].thickness_mm) for name in both)
    return own + u.plate_common_mm**2 * len(a.plates) * len(b.plates)


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
        share: Floats = self.deflection_mm / np.maximum(self.cone_mm, 1e-6)
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
    """The lines of a build; none with springs between the side gears."""
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
    """Mean torque of both packs for a friction of 1: what arrangement A reads, over friction."""
    left, right = unit.faces(build)
    total: Floats = 0.5 * unit.radius_mm / 1000.0 * (left * loads.load_n[0] + right * loads.load_n[1])
    return total


def gap_noise(unit: Unit, build: Build, loads: Loads) -> Floats:
    """Relative standard deviation of the torque from closing repeat and shim sizes."""
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
    """Standard deviation of a side's gap from one closing to the next, shim sizes included."""
    return math.hypot(priors.CLOSING_REPEAT_MM, _shim_sd_mm(unit, side))


def _shim_sd_mm(unit: Unit, side: SideBuild) -> float:
    return unit.pack.uncertainty.shim_mm * math.sqrt(len(side.shims_mm))
