"""Every buildable choice of shims: its torque, its probabilities, and the order in which to offer them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from analysis.distributions import INTERVAL
from analysis.pack.buildable import ShimPair, keeps_left_right, shim_pairs, size_key
from analysis.pack.context import Context
from analysis.pack.cup_springs import SOLID_SHARE
from analysis.pack.end_play import EndPlay, end_play_itself, end_play_kept
from analysis.pack.inference import Learnt
from analysis.pack.loads import Loads, gap_noise, gap_sd_mm, loads_of, mean_torque_per_friction_nm
from analysis.pack.parts import SIDES, Build, Sense, Shelf
from analysis.pack.unit import Unit
from analysis.pack.unknowns import Floats, stratified_normals
from analysis.window import Window

TIE = 0.01
"""Choices within this of the best count as equally good (PACK.md 4)."""
FEASIBLE_FROM = 0.5
"""Probability from which shims are said to do it (PACK.md 4)."""
HOPELESS = 0.05
"""Below this a choice is none: opening the unit for it would be for nothing."""
SOLID_AT_MOST = 0.02
"""A choice that goes solid with more than this is never the best (PACK.md 4)."""
LISTED = 30
"""Choices that are listed; PACK.md asks for ten."""
LISTED_LAST = 10
"""... and of those that are never the best, for springs may go solid or the sides differ, so many more."""
_LEAST_NM = 1e-6
"""Keeps a logarithm finite where nothing holds."""
_SEED = 20271
"""Of the draws of end play: the same sheet gets the same answer."""
SCREENED = 120
"""Choices reckoned with all draws, after a look at all of them with `SCREEN_DRAWS`."""
SCREEN_DRAWS = 64


@dataclass(frozen=True, slots=True)
class Choice:
    """One choice and what is expected of it (PACK.md 4)."""

    shims: ShimPair
    torque_median_nm: float
    torque_low_nm: float
    torque_high_nm: float
    probability_in_window: float
    probability_solid: float
    probability_clearance_broken: float
    probability_lands: float
    broken: tuple[str, ...]
    off_middle: float
    """How far from the middle of what the shims set; smaller is better."""


@dataclass(frozen=True, slots=True)
class Choices:
    """All choices for one build, in their order, and what they say together."""

    build: Build
    choices: tuple[Choice, ...]
    probability_feasible: float
    nothing: Choice
    """The choice that changes nothing."""


@dataclass(frozen=True, slots=True, eq=False)
class _Reckoned:
    """Probabilities of all pairs in every draw, shapes (draws, pairs)."""

    log_unit: Floats
    log_torque: Floats
    sd: Floats
    in_window: Floats
    limits_kept: Floats
    limits_kept_itself: NDArray[np.bool_]
    """Whether the unit itself keeps each limit, whatever the next closing adds."""
    clearance_kept: Floats
    share_kept: Floats
    solid: Floats
    clearance_mm: Floats
    """Of the tighter line; nan where there are no springs in one."""


def _limits_of(window: Window) -> tuple[float, float]:
    low = -math.inf if window.low_nm is None or window.low_nm <= 0.0 else math.log(window.low_nm)
    return low, math.inf if window.high_nm is None else math.log(window.high_nm)


def _reckon(
    learnt: Learnt, build: Build, context: Context, pairs: Sequence[ShimPair], window: Window, draws: int | None
) -> _Reckoned:
    unit = learnt.unit
    if draws is not None:
        step = learnt.unknowns.size // draws
        learnt = _thinned(learnt, np.arange(0, learnt.unknowns.size, step))
    left = np.array([p.change_left_mm for p in pairs])
    right = np.array([p.change_right_mm for p in pairs])
    loads = _expanded(unit, learnt, build, left, right)
    mean, unit_sd = learnt.predict(context)
    torque = np.maximum(mean_torque_per_friction_nm(unit, build, loads), _LEAST_NM)
    log_torque = np.log(torque) + (mean + np.log(learnt.factor))[:, None]
    sd = learnt.reading_sd(unit_sd, gap_noise(unit, build, loads))
    low, high = _limits_of(window)
    in_window = ndtr((high - log_torque) / sd) - ndtr((low - log_torque) / sd)
    share, clearance, solid, tight, itself = _geometry(unit, build, loads)
    log_unit = log_torque + (unit_sd * learnt.unknowns.normal_unit)[:, None]
    return _Reckoned(log_unit, log_torque, sd, in_window, share * clearance, itself, clearance, share, solid, tight)


def _thinned(learnt: Learnt, which: NDArray[np.intp]) -> Learnt:
    return replace(
        learnt,
        unknowns=learnt.unknowns.taken(which),
        factor=learnt.factor[which],
        residuals=learnt.residuals[which],
        covariances=learnt.covariances[which],
    )


def _expanded(unit: Unit, learnt: Learnt, build: Build, left: Floats, right: Floats) -> Loads:
    """Loads of all pairs, each line solved once a total."""
    if unit.through or unit.block:
        both, back = np.unique(np.round(left + right, 7), return_inverse=True)
        loads = loads_of(unit, learnt.unknowns, build, both, np.zeros(both.size))
        return _columns(loads, (back, back))
    lefts, back_left = np.unique(left, return_inverse=True)
    rights, back_right = np.unique(right, return_inverse=True)
    size = max(lefts.size, rights.size)
    loads = loads_of(unit, learnt.unknowns, build, np.resize(lefts, size), np.resize(rights, size))
    return _columns(loads, (back_left, back_right))


def _columns(loads: Loads, back: tuple[NDArray[np.intp], NDArray[np.intp]]) -> Loads:
    groups = tuple(
        replace(
            one,
            deflection_mm=one.deflection_mm[:, back[one.side]],
            cone_mm=one.cone_mm[:, back[one.side]],
            yielded_mm=one.yielded_mm[:, back[one.side]],
        )
        for one in loads.groups
    )
    load = (loads.load_n[0][:, back[0]], loads.load_n[1][:, back[1]])
    rate = (loads.rate_n_per_mm[0][:, back[0]], loads.rate_n_per_mm[1][:, back[1]])
    return Loads(load, rate, groups)


def _geometry(unit: Unit, build: Build, loads: Loads) -> tuple[Floats, Floats, Floats, Floats, NDArray[np.bool_]]:
    """In each draw: chance that share of flat and clearance are kept, that a spring is solid; tightest clearance; kept itself.

    Kept itself: no limit is more likely broken than kept by what the next closing adds to the unit.
    """
    shape = loads.load_n[0].shape
    itself = np.ones(shape, dtype=bool)
    kept_share, kept_clearance, loose = np.ones(shape), np.ones(shape), np.ones(shape)
    tight = np.full(shape, np.nan)
    limits = unit.card.limits
    lines = ((0, 1),) if unit.through else ((0,), (1,))
    for members in lines:
        groups = [one for one in loads.groups if one.side in members]
        if not groups:
            continue
        sd = math.hypot(*(gap_sd_mm(unit, build.sides[n]) for n in members))
        own_sd = sd / groups[0].in_line
        share = np.min([ndtr((limits.share_of_flat * g.cone_mm - g.deflection_mm) / own_sd) for g in groups], axis=0)
        flat = np.min([ndtr((SOLID_SHARE * g.cone_mm - g.deflection_mm) / own_sd) for g in groups], axis=0)
        kept_share, loose, itself = kept_share * share, loose * flat, itself & (share >= 0.5)
        # The card's clearance is measured with nothing pressed: room less solid height of the stack, without the plates' yield.
        clearance = np.sum([g.clearance_mm - g.yielded_mm for g in groups], axis=0)
        tight = np.fmin(tight, clearance)
        if limits.clearance_mm is not None:
            low, high = limits.clearance_mm
            kept_clearance = kept_clearance * (ndtr((high - clearance) / sd) - ndtr((low - clearance) / sd))
            itself &= (clearance >= low) & (clearance <= high)
    return kept_share, kept_clearance, 1.0 - loose, tight, itself


def choose(
    learnt: Learnt,
    build: Build,
    context: Context,
    shelf: Shelf,
    window: Window,
    end_play: tuple[EndPlay, EndPlay] | None,
    *,
    most: int = SCREENED,
    best_only: bool = False,
) -> Choices:
    """Reckon every buildable choice of shims for a build, and put them in PACK.md's order.

    Parameters
    ----------
    learnt
        What the history says; it must know the build's plates and springs.
    build, context
        The parts, with the shims fitted now.
    shelf, window, end_play
        Sizes in stock; the window in N.m; the end play that will be read with nothing changed, None where that is not known.
    most
        Choices to reckon in full.
    best_only
        The likeliest alone are asked about; whether any choice would do it is then not known.

    Returns
    -------
    Choices
        In the order in which to offer them: the first `LISTED`, some of those that are never the best, and always the one that
        changes nothing.
    """
    unit = learnt.unit
    pairs = shim_pairs(unit, build, shelf)
    kept = keeps_left_right(unit, build, pairs)
    screen = _screened(learnt, build, context, pairs, kept, window, end_play, most, best_only=best_only)
    pairs = [pairs[n] for n in screen]
    kept = kept[screen]
    full = _reckon(learnt, build, context, pairs, window, None)
    play = end_play_kept(unit, pairs, end_play)
    lands = np.mean(full.in_window * full.limits_kept, axis=0) * play * kept
    low, high = _limits_of(window)
    normals = stratified_normals(len(full.log_unit), _SEED), stratified_normals(len(full.log_unit), _SEED + 1)
    unit_lands = (full.log_unit >= low) & (full.log_unit <= high) & full.limits_kept_itself & kept[None, :]
    unit_lands &= end_play_itself(unit, pairs, end_play, normals)
    found = [
        Choice(
            shims=pair,
            **_quantiles(full, n, learnt),
            probability_in_window=float(full.in_window[:, n].mean()),
            probability_solid=float(full.solid[:, n].mean()),
            probability_clearance_broken=float(1.0 - full.clearance_kept[:, n].mean() * play[n]),
            probability_lands=float(lands[n]),
            broken=_broken(full, n, play, kept),
            off_middle=_off_middle(unit, pair, full, n, window, end_play),
        )
        for n, pair in enumerate(pairs)
    ]
    nothing = next(one for one in found if one.shims.moves == 0)
    feasible = float(unit_lands.any(axis=1).mean())
    placed = ordered(found)
    if feasible >= FEASIBLE_FROM:
        placed = _boldest_first(placed, window)
    return Choices(build, _listed(placed), feasible, nothing)


def _screened(
    learnt: Learnt,
    build: Build,
    context: Context,
    pairs: Sequence[ShimPair],
    kept: NDArray[np.bool_],
    window: Window,
    end_play: tuple[EndPlay, EndPlay] | None,
    most: int,
    *,
    best_only: bool,
) -> list[int]:
    """Numbers of the pairs to reckon in full: the likeliest, one a total from end to end, and the one that changes nothing."""
    numbers = np.flatnonzero(kept)
    if numbers.size < most:
        others = np.flatnonzero(~kept)
        near = np.argsort([abs(pairs[n].change_left_mm - pairs[n].change_right_mm) for n in others.tolist()], kind="stable")
        numbers = np.concatenate([numbers, others[near[: most - numbers.size]]])
    still = next(n for n, pair in enumerate(pairs) if pair.moves == 0)
    if numbers.size > most:
        some = [pairs[n] for n in numbers.tolist()]
        rough = _reckon(learnt, build, context, some, window, SCREEN_DRAWS)
        lands = np.mean(rough.in_window * rough.limits_kept, axis=0) * end_play_kept(learnt.unit, some, end_play) * kept[numbers]
        low, high = _limits_of(window)
        centre = np.median(rough.log_torque, axis=0)
        outside = np.maximum(low - centre, 0.0) + np.maximum(centre - high, 0.0)
        best = np.lexsort((outside, -lands))[: most // 2]
        spread: dict[int, int] = {}
        for place, pair in enumerate(some if not best_only else ()):
            total = size_key(pair.change_left_mm + pair.change_right_mm)
            held = spread.get(total)
            if held is None or abs(pair.change_left_mm - pair.change_right_mm) < abs(
                some[held].change_left_mm - some[held].change_right_mm
            ):
                spread[total] = place
        numbers = numbers[sorted({*best.tolist(), *spread.values()})]
    return sorted({*numbers.tolist(), still})


def _quantiles(full: _Reckoned, n: int, learnt: Learnt) -> dict[str, float]:
    drawn = np.exp(full.log_torque[:, n] + full.sd[:, n] * learnt.unknowns.normal_reading)
    low, median, high = np.quantile(drawn, INTERVAL)
    return {"torque_median_nm": float(median), "torque_low_nm": float(low), "torque_high_nm": float(high)}


def _broken(full: _Reckoned, n: int, play: Floats, kept: NDArray[np.bool_]) -> tuple[str, ...]:
    """Limits more likely broken than kept; left/right by the sheet's own numbers."""
    codes = []
    if full.share_kept[:, n].mean() < 0.5:
        codes.append("share_of_flat")
    if full.clearance_kept[:, n].mean() < 0.5:
        codes.append("clearance")
    if play[n] < 0.5:
        codes.append("end_play")
    if not kept[n]:
        codes.append("left_right")
    return tuple(codes)


def _off_middle(
    unit: Unit, pair: ShimPair, full: _Reckoned, n: int, window: Window, end_play: tuple[EndPlay, EndPlay] | None
) -> float:
    limits = unit.card.limits
    if unit.card.sense is Sense.LESS_CLEARANCE:
        if limits.end_play_mm is not None and end_play is not None:
            middle = sum(limits.end_play_mm) / 2.0
            reads = (end_play[0].mm - pair.change_left_mm, end_play[1].mm - pair.change_right_mm)
            return max(abs(read - middle) for read in reads)
        if limits.clearance_mm is not None and np.isfinite(full.clearance_mm[:, n]).all():
            return abs(float(np.median(full.clearance_mm[:, n])) - sum(limits.clearance_mm) / 2.0)
    centre = float(np.median(full.log_torque[:, n]))
    low, high = _limits_of(window)
    if math.isinf(low) or math.isinf(high):
        return -centre if math.isinf(high) else centre
    return abs(centre - 0.5 * (low + high))


def _may_go_solid(one: Choice) -> bool:
    return one.probability_solid > SOLID_AT_MOST


def _listed(placed: Sequence[Choice]) -> tuple[Choice, ...]:
    """The first ones, some of those that never are, and always the one that changes nothing."""
    first = placed[:LISTED]
    barred = [one for one in placed[LISTED:] if "left_right" in one.broken or _may_go_solid(one)][:LISTED_LAST]
    nothing = [one for one in placed[LISTED:] if one.shims.moves == 0 and one not in barred]
    return tuple(one for one in placed if one in first or one in barred or one in nothing)


def ordered(found: Iterable[Choice]) -> list[Choice]:
    """PACK.md 4: next is, among those within 0.01 of the best not yet placed, the one of fewest moves, then nearest the middle.

    What may go solid is never the first, and sides that differ too much come last.
    """
    placed: list[Choice] = []
    everything = list(found)
    for apart in (False, True):
        rest = [one for one in everything if ("left_right" in one.broken) is apart]
        while rest:
            allowed = [one for one in rest if not _may_go_solid(one)] if not placed else rest
            allowed = allowed or rest
            best = max(one.probability_lands for one in allowed)
            near = [one for one in allowed if one.probability_lands >= best - TIE]
            chosen = min(near, key=lambda one: (one.shims.moves, round(one.off_middle, 9)))
            placed.append(chosen)
            rest.remove(chosen)
    return placed


def _boldest_first(placed: Sequence[Choice], window: Window) -> list[Choice]:
    """Where shims can do it but all that would land may go solid: of what is safe the nearest to the window, for that tells."""
    first = placed[0]
    safe = [one for one in placed if not one.broken and not _may_go_solid(one)]
    if first.probability_lands >= HOPELESS or not safe:
        return list(placed)
    low, high = _limits_of(window)

    def outside(one: Choice) -> float:
        torque = math.log(max(one.torque_median_nm, _LEAST_NM))
        return max(low - torque, torque - high, 0.0)

    boldest = min(safe, key=lambda one: (round(outside(one), 6), one.shims.moves))
    return [boldest, *(one for one in placed if one is not boldest)]


SLOPE_STEP_MM = 0.05
"""Half the width of shim over which the slope is taken: the step that shims come in."""


def sensitivity_nm_per_mm(learnt: Learnt, build: Build, context: Context) -> tuple[float, float, float]:
    """Median and 95 % interval of the change of torque per mm of shim total, shared by the sides that take shims.

    Parameters
    ----------
    learnt
        What is known after the history.
    build, context
        The parts, with the shims fitted now.

    Returns
    -------
    median, low, high : float
        N.m per mm over the draws.
    """
    unit = learnt.unit
    step = SLOPE_STEP_MM
    share = [step * (name in unit.card.shim_sides) / max(len(unit.card.shim_sides), 1) for name in SIDES]
    loads = loads_of(unit, learnt.unknowns, build, np.array([-share[0], share[0]]), np.array([-share[1], share[1]]))
    mean, sd = learnt.predict(context)
    scale = np.exp(mean + sd * learnt.unknowns.normal_unit) * learnt.factor
    torque = mean_torque_per_friction_nm(unit, build, loads) * scale[:, None]
    low, median, high = np.quantile((torque[:, 1] - torque[:, 0]) / (2.0 * step), INTERVAL)
    return float(median), float(low), float(high)
