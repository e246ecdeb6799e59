"""What a sheet leaves open, as draws."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri, ndtri

from analysis.pack import priors
from analysis.pack.parts import Build, CupSpring, SpaceForm
from analysis.pack.shop import UNKNOWN_OIL
from analysis.pack.stack import StackHeight, depths_measured
from analysis.pack.unit import Unit
from analysis.verdict.apart import Scatter

Floats = NDArray[np.float64]
ODD_DRAWN = 0.25
"""Share of the draws with odd friction; weighted back to its probability."""


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
    log_weight: Floats
    """Log of how much likelier a draw is than it was drawn: odd friction is drawn more often than it is met."""
    odd_friction: Floats
    """Log by which the plates that were pulled differ from what their oil gives, beyond the usual scatter; mostly nought."""
    oil: Mapping[str, NDArray[np.intp]]
    """Which of the known oils an unknown one is, by its name on the sheet."""
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

    def scatter(self, limits: priors.Range, shop: Scatter | None) -> Floats:
        """A unit's scatter: within limits, or about the shop's by the degrees of freedom that it counts for (chi-square)."""
        if shop is None:
            return self.within(limits)
        degrees = min(shop.degrees_of_freedom, priors.SHOP_DEGREES_MOST)
        drawn = shop.relative * np.sqrt(degrees / chdtri(degrees, self.uniform(1e-9, 1.0)))
        kept: Floats = np.clip(drawn, priors.SHOP_SCATTER.low, priors.SHOP_SCATTER.high)
        return kept

    def one_of(self, count: int) -> NDArray[np.intp]:
        return np.minimum(np.floor(self.uniform(0.0, count)), count - 1).astype(np.intp)


def unknown_oils(builds: Sequence[Build]) -> set[str]:
    """Names of oils of which nothing is known but that they are oils."""
    return {build.oil or UNKNOWN_OIL for build in builds} - set(priors.OILS)


def stratified_normals(size: int, seed: int) -> Floats:
    """Standard normal values, spread evenly over their distribution and in random order.

    Parameters
    ----------
    size
        Number of values.
    seed
        The same seed gives the same values.

    Returns
    -------
    ndarray, shape (size,)
        One value in each of `size` parts of equal probability.

    Notes
    -----
    A Latin hypercube of one quantity (McKay, Beckman and Conover 1979).
    """
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

    Returns
    -------
    Unknowns
        Arrays of shape (size,).
    """
    spread = _Stratified(size, seed)
    u = unit.pack.uncertainty
    springs = sorted({name for build in builds for side in build.sides for name in side.springs})
    thickness, cone = {}, {}
    for name in springs:
        thickness[name], cone[name] = _spring_draws(unit.pack.springs[name], unit, spread)
    is_odd = spread.uniform() < ODD_DRAWN
    odd = priors.ODD_FRICTION * unit.tails
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
        sd_pull=spread.scatter(priors.PULL_TO_PULL, unit.shop.pull_scatter),
        sd_rebuild=spread.scatter(priors.REBUILD_TO_REBUILD, unit.shop.rebuild_scatter),
        share=spread.within(priors.SHARE_UNKNOWN),
        side_difference_mm=spread.uniform(-priors.SIDES_ALIKE_MM, priors.SIDES_ALIKE_MM),
        space_wrong=spread.uniform(),
        log_weight=np.log(np.where(is_odd, odd / ODD_DRAWN, (1.0 - odd) / (1.0 - ODD_DRAWN))),
        odd_friction=np.where(is_odd, spread.normal(0.0, priors.ODD_FRICTION_SD), 0.0),
        oil={name: spread.one_of(len(priors.OILS)) for name in sorted(unknown_oils(builds))},
        normal_unit=spread.normal(),
        normal_reading=spread.normal(),
    )


def nominal(unit: Unit, builds: list[Build]) -> Unknowns:
    """One draw with every reading as it stands and no prior: what the sheet itself says.

    Parameters
    ----------
    unit
        Sheet and card.
    builds
        Those whose heights and springs are asked for.

    Returns
    -------
    Unknowns
        Arrays of shape (1,): errors 0, springs as measured, scatters at the middle of their limits.
    """
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
        log_weight=nought,
        odd_friction=nought,
        oil={},
        normal_unit=nought,
        normal_reading=nought,
    )


ANOTHER_SPRING = 3.0
"""Standard deviations from the card's thickness at which a spring is none of its lot."""


def _spring_draws(spring: CupSpring, unit: Unit, spread: _Stratified) -> tuple[Floats, Floats]:
    """Thickness, leaning towards the card's, and cone height."""
    u = unit.pack.uncertainty
    card_mm = unit.card.springs.thickness_mm
    mean_mm, sd_mm = spring.thickness_mm, u.spring_thickness_mm
    # A lot scatters by a hundredth: a spring much further off than that is another spring, and leans towards nothing.
    lot = priors.SPRING_LOT_THICKNESS_MM
    if card_mm is not None and abs(card_mm - mean_mm) < ANOTHER_SPRING * math.hypot(lot, sd_mm):
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
