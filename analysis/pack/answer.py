"""The answer to one pack sheet: everything PACK.md 4 asks for, as values."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from analysis.distributions import INTERVAL, RECTANGULAR_WIDTH
from analysis.judgement import ScatterUsed, VerdictState
from analysis.pack.arrangement import conversion_to_mean
from analysis.pack.context import is_free
from analysis.pack.diagnosis import Hint, hints_of, present_context, present_loads, why_not
from analysis.pack.end_play import end_play_to_read
from analysis.pack.inference import Learnt, learn
from analysis.pack.limits import BeyondLimit, beyond_limits, play_now_mm
from analysis.pack.loads import Loads
from analysis.pack.parts import SIDES, CardWindow, HistoryEntry, Pack, PlateState, Shelf, SpecCard
from analysis.pack.parts_choice import PartsChoice, parts_choices
from analysis.pack.plausible import problems_of
from analysis.pack.problem import Problem
from analysis.pack.shim_choice import FEASIBLE_FROM, Choice, Choices, choose, sensitivity_nm_per_mm
from analysis.pack.shop import UNKNOWN_OIL, ShopHistory
from analysis.pack.told import Told
from analysis.pack.unit import Unit
from analysis.verdict.series import read_series
from analysis.verdict.settling import MOST_PULLS
from analysis.verdict.uncertainty import student
from analysis.verdict.votes import Pull
from analysis.window import Basis, Window


@dataclass(frozen=True, slots=True)
class Interval:
    """Median and 95 % interval."""

    median: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class SpringsNow:
    """The springs of a side as fitted; lengths a spring."""

    load_n: float
    load_low_n: float
    load_high_n: float
    deflection_mm: float
    flat_mm: float
    share_of_flat: float
    probability_solid: float


@dataclass(frozen=True, slots=True)
class Standing:
    """How the last series stands in the window: PACK.md's `leave_alone` and `pull_more`."""

    reads_in_window: bool = False
    leave_alone: bool = False
    pull_more: int = 0
    too_narrow: bool = False


@dataclass(frozen=True, slots=True)
class Missing:
    """What the sheet does not say, and what follows."""

    code: str
    text: str


class FromShopCode(StrEnum):
    """What of the shop's own history an answer rests on."""

    FRICTION = "friction"
    PULL_TO_PULL = "pull_to_pull"
    REBUILD_TO_REBUILD = "rebuild_to_rebuild"
    SHIM = "shim"


@dataclass(frozen=True, slots=True)
class FromShop:
    """A number of the shop's own: its value (friction; relative scatter; share of torque per mm of shim), and what it rests on.

    `count` are units, for a scatter degrees of freedom; `oil` names the oil of a friction.
    """

    code: FromShopCode
    value: float
    count: int
    oil: str = ""


@dataclass(frozen=True, slots=True)
class Answer:
    """What a sheet is answered."""

    window: CardWindow
    problems: tuple[Problem, ...]
    missing: tuple[Missing, ...]
    limits: tuple[BeyondLimit, ...]
    worn: tuple[str, ...]
    """Plates and springs to renew first: beyond a limit, or seen to be cracked, blue or bare."""
    faces: tuple[int, int]
    play_now_mm: tuple[float | None, float | None] | None
    springs_now: tuple[SpringsNow | None, SpringsNow | None] = (None, None)
    friction: Interval | None = None
    sensitivity_nm_per_mm: Interval | None = None
    choices: Choices | None = None
    parts_choices: tuple[PartsChoice, ...] = ()
    standing: Standing = Standing()
    why_not: tuple[str, ...] = ()
    hints: tuple[Hint, ...] = ()
    from_shop: tuple[FromShop, ...] = ()
    """What rests on the shop's own history instead of the priors."""

    @property
    def stopped(self) -> bool:
        """Whether something is not believed."""
        return any(one.severity == "stop" for one in self.problems)

    @property
    def feasible(self) -> bool | None:
        """Whether shims from the shelf can do it; None where the sheet is not believed."""
        return None if self.choices is None else self.choices.probability_feasible >= FEASIBLE_FROM


def window_for(card: SpecCard, state: PlateState | None) -> tuple[CardWindow, bool]:
    """The window that fits the plates' state (of several: breakaway), and whether one did.

    Parameters
    ----------
    card
        With at least one window.
    state
        How far the plates have run in; None: not told.

    Returns
    -------
    window : CardWindow
        The best there is: without one that fits, for run-in plates one for used plates, else any.
    fits : bool
        Whether the window is stated for that state, or for no state in particular.
    """
    wanted = [one for one in card.windows if one.plate_state == state and state is not None]
    open_ones = [one for one in card.windows if one.plate_state is None]
    fitting = wanted or open_ones
    # Plates that have run in are nearest to used ones.
    near = [one for one in card.windows if state is PlateState.RUN_IN and one.plate_state is PlateState.USED]
    candidates = fitting or near or list(card.windows)
    candidates.sort(key=lambda one: one.window.basis is not Basis.BREAKAWAY)
    return candidates[0], bool(fitting)


def answer_sheet(pack: Pack, card: SpecCard, shelf: Shelf, shop: ShopHistory | None = None) -> Answer:
    """Answer one sheet.

    Parameters
    ----------
    pack, card, shelf
        As read; names of plates and springs in a build need not exist (then it is not believed).
    shop
        What the shop's own jobs told, in place of priors where it tells something.

    Returns
    -------
    Answer
        Torques in N.m, loads in N, lengths in mm, shares and probabilities 0 to 1. Where a problem stops it: window, problems, what
        is missing and faces alone.
    """
    unit = Unit(pack, card, shop or ShopHistory())
    window, fits = window_for(card, pack.now.plate_state)
    problems = problems_of(pack, card, shelf)
    missing = _missing(unit, window_fits=fits)
    if any(one.severity == "stop" for one in problems):
        return Answer(window, tuple(problems), tuple(missing), (), (), _faces_if_known(unit), None)
    arrangement = window.arrangement or pack.arrangement
    learnt = learn(unit, window.window.basis, arrangement)
    problems += _conversions(unit, arrangement, learnt)
    play = play_now_mm(unit)
    limits = beyond_limits(unit, play)
    context = present_context(learnt)
    loads = present_loads(learnt)
    worn = _worn(unit, limits)
    standing = Standing() if limits or worn else _standing(unit, window.window, arrangement)
    end_play = end_play_to_read(learnt, pack.now) if card.limits.end_play_mm is not None else None
    choices = choose(learnt, pack.now, context, shelf, window.window, end_play)
    choices = _nothing_first(choices, standing)
    friction_mean, friction_sd = learnt.friction(context)
    friction = np.exp(friction_mean + friction_sd * learnt.unknowns.normal_unit)
    reasons: tuple[str, ...] = ()
    if choices.probability_feasible < FEASIBLE_FROM:
        best = min(choices.choices, key=lambda one: _outside(one, window.window))
        reasons = why_not(learnt, context, window.window, best.torque_median_nm, between_would_do=_between(choices, window.window))
    has_play = card.limits.clearance_mm is not None or card.limits.end_play_mm is not None
    return Answer(
        window=window,
        problems=tuple(problems),
        missing=tuple(missing),
        limits=tuple(limits),
        worn=worn,
        faces=unit.faces(pack.now),
        play_now_mm=play if has_play and play != (None, None) else None,
        springs_now=_springs_now(unit, loads),
        friction=_interval(friction),
        sensitivity_nm_per_mm=Interval(*sensitivity_nm_per_mm(learnt, pack.now, context)),
        choices=choices,
        parts_choices=parts_choices(
            unit, shelf, window.window, arrangement, worn, feasible=choices.probability_feasible >= FEASIBLE_FROM
        ),
        standing=standing,
        why_not=reasons,
        hints=tuple(hints_of(learnt, loads, context)),
        from_shop=tuple(_from_shop(unit)),
    )


def _from_shop(unit: Unit) -> Iterator[FromShop]:
    shop = unit.shop
    for oil in sorted({build.oil or UNKNOWN_OIL for build in (unit.pack.now, *(entry.build for entry in unit.pack.history))}):
        prior = shop.friction_prior(oil)
        if prior.units:
            yield FromShop(FromShopCode.FRICTION, math.exp(prior.log_mean), prior.units, oil)
    for code, scatter in (
        (FromShopCode.PULL_TO_PULL, shop.pull_scatter),
        (FromShopCode.REBUILD_TO_REBUILD, shop.rebuild_scatter),
    ):
        if scatter is not None:
            yield FromShop(code, scatter.relative, round(scatter.degrees_of_freedom))
    slope = None if unit.space_counts or unit.block else shop.slope_of(unit.pack.unit)
    if slope is not None:
        yield FromShop(FromShopCode.SHIM, slope[0], slope[2])


def _interval(values: np.ndarray) -> Interval:
    low, median, high = np.quantile(values, INTERVAL)
    return Interval(float(median), float(low), float(high))


def _faces_if_known(unit: Unit) -> tuple[int, int]:
    try:
        return unit.faces(unit.pack.now)
    except ValueError:  # a plate without an entry: that is already a problem of its own
        return 0, 0


def _springs_now(unit: Unit, loads: Loads) -> tuple[SpringsNow | None, SpringsNow | None]:
    found: list[SpringsNow | None] = []
    for n in range(len(SIDES)):
        groups = [group for group in loads.groups if group.side == n]
        if not groups:
            found.append(None)
            continue
        worst = max(groups, key=lambda group: float(np.median(group.share)))
        load = _interval(loads.load_n[n])
        found.append(
            SpringsNow(
                load_n=load.median,
                load_low_n=load.low,
                load_high_n=load.high,
                deflection_mm=float(np.median(worst.deflection_mm)),
                flat_mm=float(np.median(worst.cone_mm)),
                share_of_flat=float(np.median(worst.share)),
                probability_solid=float(np.any([group.solid for group in groups], axis=0).mean()),
            )
        )
    return found[0], found[1]


def _same_build(entry: HistoryEntry, unit: Unit) -> bool:
    now = unit.pack.now
    return (entry.build.left, entry.build.right) == (now.left, now.right) and (entry.build.oil or "") == (now.oil or "")


def _worn(unit: Unit, limits: Sequence[BeyondLimit]) -> tuple[str, ...]:
    names = [one.part for one in limits if one.is_part]
    for side in unit.pack.now.sides:
        names += [name for name in side.plates if name in unit.pack.plates and unit.pack.plates[name].told]
        names += [name for name in side.springs if unit.pack.springs[name].told]
    return tuple(dict.fromkeys(names))


def _standing(unit: Unit, window: Window, arrangement: str) -> Standing:
    """The verdict of CONTRACT.md 3 on the last series, where it was pulled with what is fitted now."""
    if not unit.pack.history:
        return Standing()
    last = unit.pack.history[-1]
    values = last.breakaway_nm if window.basis is Basis.BREAKAWAY else last.sliding_nm
    if not values or is_free(last) or not _same_build(last, unit):
        return Standing()
    factor, u_factor = 1.0, 0.0
    if last.arrangement != arrangement:
        card = unit.card
        own, target = (
            conversion_to_mean(code, card.layout, ramps_deg=card.ramps_deg, ratio=card.ratio)
            for code in (last.arrangement, arrangement)
        )
        if own is None or target is None:
            return Standing()
        factor = target.factor * (1.0 + 0.5 * target.excess_max) / (own.factor * (1.0 + 0.5 * own.excess_max))
        u_factor = math.hypot(target.excess_max, own.excess_max) / RECTANGULAR_WIDTH
    u_relative = math.hypot(unit.pack.uncertainty.torque, u_factor)
    read = [factor * value for value in values]
    pulls = [
        Pull.of(value, u_relative=u_relative)
        if window.basis is Basis.BREAKAWAY
        else Pull.of(sliding_nm=value, u_relative=u_relative)
        for value in read
    ]
    series = read_series(pulls, window)
    verdict = series.verdict
    mean = sum(read) / len(read)
    if verdict is None or not (window.low_nm or 0.0) <= mean <= (window.high_nm or math.inf):
        return Standing()
    if verdict.state is VerdictState.IN_WINDOW:
        return Standing(reads_in_window=True, leave_alone=True)
    more = None if verdict.settling is None else verdict.settling.pulls
    figure = series.breakaway if window.basis is Basis.BREAKAWAY else series.sliding
    if more is None and figure is not None:
        more = _more_alike(figure.scatter, mean, len(pulls), u_relative, window)
    return Standing(reads_in_window=True, pull_more=more or 0, too_narrow=not more)


def _more_alike(scatter: ScatterUsed, mean_nm: float, pulls: int, u_relative: float, window: Window) -> int | None:
    """How many more pulls would decide it if they read alike, where the verdict foretells no number; None: not up to 20."""
    margin = min(mean_nm - (window.low_nm or 0.0), (window.high_nm or math.inf) - mean_nm) / mean_nm
    for more in range(1, MOST_PULLS + 1):
        of_mean = scatter.relative / math.sqrt(pulls + more)
        if math.hypot(student((scatter.degrees_of_freedom or math.inf) + more) * of_mean, student(None) * u_relative) < margin:
            return more
    return None


def _nothing_first(choices: Choices, standing: Standing) -> Choices:
    if not standing.reads_in_window:
        return choices
    rest = tuple(one for one in choices.choices if one.shims.moves != 0)
    return Choices(choices.build, (choices.nothing, *rest), choices.probability_feasible, choices.nothing)


BROKEN_WORSE = 10.0
"""On the logarithm: a choice that breaks a limit stands behind every choice that breaks one less, however far off its torque."""


def _outside(one: Choice, window: Window) -> float:
    low, high = window.low_nm or 1e-9, window.high_nm or math.inf
    torque = max(one.torque_median_nm, 1e-9)
    return max(math.log(low / torque), math.log(torque / high) if math.isfinite(high) else -1.0) + BROKEN_WORSE * len(one.broken)


def _between(choices: Choices, window: Window) -> bool:
    """Whether two choices that keep the card's limits bracket the window: a size between would do."""
    kept = [one for one in choices.choices if not one.broken]
    low, high = window.low_nm or 0.0, window.high_nm or math.inf
    below = any(one.torque_median_nm < low for one in kept)
    above = any(one.torque_median_nm > high for one in kept)
    return below and above


def _conversions(unit: Unit, arrangement: str, learnt: Learnt) -> list[Problem]:
    """A word on series pulled in another arrangement than the window's."""
    found = []
    for other in sorted({entry.arrangement for entry in unit.pack.history} - {arrangement}):
        numbers = [n for n, entry in enumerate(unit.pack.history) if entry.arrangement == other]
        if all(n in learnt.not_converted for n in numbers):
            text = Told(
                "pulls in {other} are not converted to {arrangement}: they tell nothing of the torque here",
                other=other,
                arrangement=arrangement,
            )
            found.append(Problem("arrangement_not_converted", "warn", "history", text))
        else:
            text = Told(
                "pulls in {other} are converted to {arrangement}: twice and 0 to 10 %, by the balance of energy",
                other=other,
                arrangement=arrangement,
            )
            found.append(Problem("arrangement_converted", "warn", "history", text))
    return found


def _closures(pack: Pack) -> list[Missing]:
    now = pack.now.closure
    if now is None:
        return [Missing("closure", Told("not said whether trial or final closure: taken as the same in all series"))]
    others = {entry.build.closure for entry in pack.history} - {now, None}
    if not others:
        return []
    text = Told(
        "pulled at {n1} closure, reckoned for {now}: with every bolt at its torque a space closes by 0 to 0.03 mm more",
        n1=" and ".join(sorted(map(str, others))),
        now=now,
    )
    return [Missing("closure", text)]


def _missing(unit: Unit, *, window_fits: bool) -> list[Missing]:
    pack, card = unit.pack, unit.card
    found = []
    if pack.space is None and not unit.block:
        found.append(Missing("space", Told("no space was measured: how far the springs are pressed is learnt from the pulls only")))
    plates = [pack.plates[name] for side in pack.now.sides for name in side.plates if name in pack.plates]
    if not plates or any(not plate.thickness_mm for plate in plates):
        found.append(Missing("thickness", Told("no single thicknesses: wear and least thickness are not checked")))
    if any(plate.unworn_mm is None for plate in plates) or not plates:
        found.append(Missing("unworn", Told("no unworn thicknesses: wear is not checked")))
    if any(plate.flatness_mm is None for plate in plates) or not plates:
        found.append(Missing("flatness", Told("flatness was not measured: it is not checked")))
    if not pack.history:
        found.append(Missing("history", Told("nothing was pulled yet: friction is what such oil usually gives")))
    if pack.now.oil in (None, "unknown") or pack.now.oil not in ("plain", "modified", "strong", "spent", "dry"):
        found.append(Missing("oil", Told("the oil is not known: friction from 0.08 to 0.15 is possible")))
    if pack.now.plate_state is None or not window_fits:
        found.append(Missing("plate_state", Told("no window of the card is stated for plates in this state")))
    found += _closures(pack)
    if not card.has_limits:
        found.append(Missing("card_limits", Told("the card has no limits: plates and springs are not checked against any")))
    return found
