"""Simulated units with plates, cup springs and shims: the hidden truth, what a technician measures of it, and what he would read
after fitting other shims.

Every value is drawn; none comes from a real unit. Two sets of distributions: `told` are the ones the program's own priors are
modelled on, `other` are wider,
skewed or unrelated to the oil, to see what happens where they are wrong. Written apart from `analysis`.
"""

from __future__ import annotations

import itertools
from collections import Counter
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
from support.pack_physics import Column, Disc, Yielding, balance_nm, column, disc_load_n, faces_of, groups_of, mean_radius_mm

SIDES = ("left", "right")
LBF_FT_NM = 1.3558
OILS = {
    "modified": (0.105, 1.02),
    "plain": (0.130, 1.12),
    "strong": (0.088, 0.99),
    "spent": (0.140, 1.18),
}  # friction, breakaway over sliding
WIDTHS = {0.08: 0.10, 0.12: 0.14, 0.18: 0.23, 0.25: 0.28, 0.33: 0.25}  # half width of the window, how often
SOLID_SHARE = 0.98  # a spring counts as solid from here
FREE_NM = 1.0
SERIES = 8  # series a unit is given random numbers for
CONVERTED = 2.1  # middle of the factor between case free and case held
MM_PER_IN = 25.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate:
    """One plate: four points of the rubbed track."""

    name: str
    kind: str
    track_mm: tuple[float, ...]
    unworn_mm: float
    flatness_mm: float
    new: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts:
    """What is built in: plates and springs, and the friction they have."""

    plates: dict[str, tuple[Plate, ...]]
    discs: dict[str, tuple[tuple[str, Disc], ...]]
    signs: str
    sliding_mu: float
    new_excess: float  # friction of plates that have not run in, above what it will be
    lots: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """The maker's page."""

    low_nm: float
    high_nm: float
    basis: str
    arrangement: str
    plate_state: str
    layout: str  # each | through | block
    thicker: str
    shim_sides: tuple[str, ...]
    shims_per_side: int
    faces: int
    plates: int
    share_limit: float
    share_told: bool
    left_right_mm: float | None
    clearance_mm: tuple[float, float] | None
    end_play_mm: tuple[float, float] | None
    springs: tuple[int, str, Disc] | None
    block: tuple[float, float] | None

    @property
    def middle_nm(self) -> float:
        return float(np.sqrt(self.low_nm * self.high_nm))


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What stands on the sheet, with the errors of its instruments."""

    track_mm: dict[str, tuple[float, ...]]
    unworn_mm: dict[str, float]
    discs: dict[str, Disc]
    stack_mm: dict[str, dict[str, float]]  # parts ('old' or 'now') and side
    space_mm: dict[str, float]
    block: dict[str, float]


@dataclass(frozen=True, slots=True)
class Fit:
    """Shims as fitted, in mm, by side."""

    left: tuple[float, ...]
    right: tuple[float, ...]

    @property
    def totals(self) -> tuple[float, float]:
        return (round(sum(self.left), 3), round(sum(self.right), 3))


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One series of pulls as it enters the history."""

    fit: Fit
    parts: str
    closure: str | None
    said_arrangement: str
    breakaway_nm: tuple[float, ...]
    sliding_nm: tuple[float, ...]
    end_play_mm: tuple[float, float] | None
    plate_state: str


@dataclass(frozen=True, kw_only=True)
class Truth:
    """What stands in the unit with each of several choices of shims, before rebuild and pull scatter. Arrays over choices."""

    torque_nm: np.ndarray  # window's basis and arrangement, as the technician's sensor shows it
    share: np.ndarray  # worst group of springs; nan without cup springs
    play_mm: np.ndarray  # (2, choices): end play or travel left to flat, whichever the card limits; nan if none
    load_n: np.ndarray  # (2, choices)


@dataclass(frozen=True, kw_only=True)
class PackUnit:
    """A unit: hidden truth, card, shelf and sheet."""

    seed: int
    family: str
    habits: str
    card: Card
    parts: dict[str, Parts]  # 'old' (as found) and 'now'
    fitted: Fit
    shelf: dict[float, int]
    oil_said: str | None
    arrangement: str  # of the pulls, in truth
    first_arrangement: str  # of the first series, in truth
    said_arrangement: str  # of the first series, on the sheet
    face_mm: tuple[float, float]
    room_mm: dict[str, float]  # per side, or 'all': available beside plates, shims and springs; cover: with `fitted` in it
    block_truth: dict[str, float]
    yielding: Yielding
    seat_mm: float
    stand: float
    shim_error_mm: dict[float, float]
    breaks: float  # breakaway over sliding
    side_mu: tuple[float, float]
    ramp: float
    gain: float
    pull_sd: float
    rebuild_sd: float
    closing_sd_mm: float
    pulls: int
    closures: tuple[str | None, str | None]  # as found, later
    closure_gap_mm: float
    run_in_kept: float
    measured: Measured
    sheet_style: dict[str, bool]
    found_alone: bool  # nothing pulled yet with what is fitted now
    rebuild_z: np.ndarray
    pull_z: np.ndarray
    closing_z: np.ndarray
    play_z: np.ndarray
    tags: dict[str, str] = field(default_factory=dict)

    # ------------------------------------------------------------------ truth
    def plates_mm(self, which: str, side: str) -> float:
        """Height a side's plates stand at, pressed."""
        return stands_mm(self.parts[which].plates[side], self.stand)

    @cached_property
    def columns(self) -> dict[tuple[str, str], Column]:
        """Curves of the springs by parts and side."""
        found = {}
        for which, parts in self.parts.items():
            for side in SIDES:
                if parts.discs[side]:
                    found[which, side] = column(tuple(d for _, d in parts.discs[side]), parts.signs, self.yielding)
        return found

    def shims_mm(self, shims: tuple[float, ...]) -> float:
        """What a list of shims measures in truth."""
        return sum(size + self.shim_error_mm.get(size, 0.0) for size in shims)

    def truth(
        self,
        fits: list[Fit],
        which: str = "now",
        closure: str | None = None,
        new: float = 1.0,
        closing: tuple[float, float] = (0, 0),
    ) -> Truth:
        """State with each of the choices. `new`: share of the new plates' excess friction still there; `closing`: this closing's
        own errors in mm."""
        card, parts = self.card, self.parts[which]
        n = len(fits)
        shims = np.array([[self.shims_mm(f.left) for f in fits], [self.shims_mm(f.right) for f in fits]]).reshape(2, n)
        plates = np.array([self.plates_mm(which, side) for side in SIDES])
        gap = self.closure_gap_mm if closure == "final" else 0.0
        load, share, play = np.zeros((2, n)), np.full(n, np.nan), np.full((2, n), np.nan)
        if card.layout == "block":
            length = self.block_truth["fitted"] - (
                shims - np.array([[self.shims_mm(self.fitted.left)], [self.shims_mm(self.fitted.right)]])
            ).sum(axis=0)
            old = np.array([self.plates_mm("old", side) for side in SIDES])
            length = length - (plates - old).sum()
            pressed = self.block_truth["count"] * self.block_truth["rate"] * np.maximum(self.block_truth["free"] - length, 0.0)
            load[:] = pressed
            play = np.array([self.room_mm[side] for side in SIDES])[:, None] - plates[:, None] - shims + np.array(closing)[:, None]
        elif card.layout == "each":
            worst = np.zeros(n)
            for index, side in enumerate(SIDES):
                curve = self.columns[which, side]
                closed = plates[index] + shims[index] + curve.free_mm - self.room_mm[side] - self.seat_mm + gap + closing[index]
                load[index] = np.interp(closed, curve.closing_mm, curve.load_n)
                worst = np.maximum(worst, np.max([np.interp(load[index], curve.load_n, s) for s in curve.shares], axis=0))
                play[index] = curve.cone_mm - (closed + self.seat_mm)
            share = worst
        else:
            curves = [self.columns[which, side] for side in SIDES if (which, side) in self.columns]
            forces = np.linspace(0, min(float(c.load_n[-1]) for c in curves), 1600)
            closings = sum((np.interp(forces, c.load_n, c.closing_mm) for c in curves), np.zeros_like(forces))
            free = sum(c.free_mm for c in curves)
            if card.thicker == "less preload":
                was = np.array([self.plates_mm("old", side) for side in SIDES]).sum()
                room = (
                    self.room_mm["all"]
                    + shims.sum(axis=0)
                    - sum(self.shims_mm(f) for f in (self.fitted.left, self.fitted.right))
                    - (plates.sum() - was)
                )
            else:
                room = self.room_mm["all"] - plates.sum() - shims.sum(axis=0)
            seat = (
                0.0 if card.thicker == "less preload" else 2 * self.seat_mm
            )  # a cover's room is measured onto plates that have seated
            closed = free - room - seat + gap + closing[0]
            load[:] = np.interp(closed, closings, forces)
            share = np.max([np.max([np.interp(load[0], c.load_n, s) for s in c.shares], axis=0) for c in curves], axis=0)
            # What a depth gauge shows beside the flat springs: nothing pressed, so without seating and yield.
            play[:] = (sum(c.cone_mm for c in curves) - (closed + seat)) / len(curves)
        radius = mean_radius_mm(*self.face_mm) / 1000
        mu = parts.sliding_mu * (1 + parts.new_excess * new) * (self.breaks if card.basis == "breakaway" else 1.0)
        faces = [faces_of(tuple(p.kind for p in parts.plates[side])) for side in SIDES]
        moments = [mu * self.side_mu[i] * load[i] * faces[i] * radius for i in range(2)]
        reads = balance_nm(moments[0], moments[1], self.arrangement, self.ramp)  # type: ignore[arg-type]
        return Truth(torque_nm=np.asarray(reads) * self.convert * self.gain, share=share, play_mm=play, load_n=load)

    def still_new(self, number: int) -> float:
        """Share of the new plates' excess friction still there at series `number`; parts renewed before the first close have not
        been pulled before."""
        return float(self.run_in_kept ** max(number - (self.family == "free"), 0))

    @property
    def convert(self) -> float:
        """From the arrangement pulled to the window's, at the middle of the factor."""
        if self.arrangement == self.card.arrangement:
            return 1.0
        return 1 / CONVERTED if self.card.arrangement == "A" else CONVERTED

    # ------------------------------------------------------------------ shims
    @cached_property
    def choices(self) -> list[Fit]:
        """Every buildable pair of totals, one list each (the fitted one for the fitted totals)."""
        stock = Counter(self.shelf)
        stock.update(self.fitted.left)
        stock.update(self.fitted.right)
        lists: dict[float, list[tuple[float, ...]]] = {0.0: [()]}
        for count in range(1, self.card.shims_per_side + 1):
            for combo in itertools.combinations_with_replacement(sorted(stock), count):
                total = round(sum(combo), 3)
                if total <= 2.0 + 1e-9 and all(k <= stock[s] for s, k in Counter(combo).items()):
                    lists.setdefault(total, []).append(tuple(sorted(combo, reverse=True)))
        sides = {
            side: (lists if side in self.card.shim_sides else {sum(getattr(self.fitted, side)): [getattr(self.fitted, side)]})
            for side in SIDES
        }
        found: dict[tuple[float, float], Fit] = {self.fitted.totals: self.fitted}
        for left, right in itertools.product(sides["left"], sides["right"]):
            if (left, right) in found:
                continue
            for one, two in itertools.islice(itertools.product(sides["left"][left][:6], sides["right"][right][:6]), 36):
                need = Counter(one)
                need.update(two)
                if all(k <= stock[s] for s, k in need.items()):
                    found[left, right] = Fit(one, two)
                    break
        return list(found.values())

    @cached_property
    def sheet_plates_mm(self) -> dict[str, dict[str, float]]:
        """Height of each side's plates by the sheet: the measured stack, or the sum of the means."""
        if self.measured.stack_mm:
            return self.measured.stack_mm
        means = {name: float(np.mean(track)) for name, track in self.measured.track_mm.items()}
        return {
            which: {side: sum(means[p.name] for p in parts.plates[side]) for side in SIDES} for which, parts in self.parts.items()
        }

    def sheet_left_right_mm(self, fit: Fit, which: str = "now") -> float:
        """Left against right by the sheet's own numbers: plates and shims."""
        plates = self.sheet_plates_mm[which]
        return plates["left"] + sum(fit.left) - plates["right"] - sum(fit.right)

    def matched(self, fit: Fit) -> bool:
        """Whether the card's left/right limit is kept, by the sheet."""
        limit = self.card.left_right_mm
        return limit is None or abs(self.sheet_left_right_mm(fit)) <= limit + 1e-9

    # ------------------------------------------------------------------ landing
    def limits_kept(self, state: Truth, play_error_mm: float = 0.0) -> np.ndarray:
        """Whether share of flat, clearance and end play are kept in truth (end play: as it will be read)."""
        kept = np.ones(state.torque_nm.shape, dtype=bool)
        if self.card.layout != "block":
            kept &= state.share <= self.card.share_limit
        for limits in (self.card.clearance_mm, self.card.end_play_mm):
            if limits is not None:
                worst_low, worst_high = state.play_mm.min(axis=0), state.play_mm.max(axis=0)
                kept &= (worst_low + play_error_mm >= limits[0]) & (worst_high + play_error_mm <= limits[1])
        return kept

    def chance(self, fits: list[Fit], closure: str | None, new: float) -> dict[str, np.ndarray]:
        """Knowing everything but the next rebuild and its pulls: probability that the reading is in the window, that it lands; the
        reading's spread."""
        from scipy.stats import norm

        state = self.truth(fits, closure=closure, new=new)
        spread = np.hypot(self.rebuild_sd, self.pull_sd / np.sqrt(self.pulls)) * state.torque_nm
        spread = np.maximum(spread, 1e-6)
        window = norm.cdf((self.card.high_nm - state.torque_nm) / spread) - norm.cdf((self.card.low_nm - state.torque_nm) / spread)
        kept = np.ones_like(window)
        sd = self.closing_sd_mm
        if self.card.layout != "block":
            near = [self.truth(fits, closure=closure, new=new, closing=(d, d)).share for d in (-0.02, 0.02)]
            slope = np.maximum((near[1] - near[0]) / 0.04, 1e-9)
            kept *= norm.cdf((self.card.share_limit - state.share) / (slope * sd))
        for limits, noise in ((self.card.clearance_mm, 0.0), (self.card.end_play_mm, 0.012)):
            if limits is not None:
                for side in range(2 if self.card.layout != "through" else 1):
                    u = np.hypot(sd, noise)
                    kept *= norm.cdf((limits[1] - state.play_mm[side]) / u) - norm.cdf((limits[0] - state.play_mm[side]) / u)
        matched = np.array([self.matched(f) for f in fits], dtype=float)
        return {
            "window": window,
            "lands": window * kept * matched,
            "itself": (abs(state.torque_nm) > 0) & self._inside(state) & self.limits_kept(state) & (matched > 0),
            "torque": state.torque_nm,
            "spread": spread,
            "share": state.share,
        }

    def _inside(self, state: Truth) -> np.ndarray:
        return (state.torque_nm >= self.card.low_nm) & (state.torque_nm <= self.card.high_nm)

    # ------------------------------------------------------------------ pulling
    def pull(
        self, fit: Fit, number: int, which: str = "now", more: int = 0, as_found: bool = False, again: bool = False
    ) -> tuple[Entry, bool]:
        """Close the unit with `fit` and pull it: the entry, and whether it landed. `number` picks the random numbers; `more`
        further pulls of the same build; `again`: other pulls of the same closing, in a sure arrangement."""
        closure = self.closures[0] if as_found else self.closures[1]
        sd = self.closing_sd_mm
        state = self.truth(
            [fit],
            which,
            closure,
            self.still_new(number),
            (float(self.closing_z[number, 0]) * sd, float(self.closing_z[number, 1]) * sd),
        )
        rebuilt = 1 + self.rebuild_sd * float(self.rebuild_z[number])
        n = self.pulls + more
        factors = rebuilt * (1 + self.pull_sd * self.pull_z[number, PULLS_AGAIN_FROM * again :][:n])
        reads = np.maximum(float(state.torque_nm[0]) / self.convert * factors, 0.0)
        if as_found and not again and self.first_arrangement != self.arrangement:
            reads = (
                reads * balance_nm(0.5, 0.5, self.first_arrangement, self.ramp) / balance_nm(0.5, 0.5, self.arrangement, self.ramp)
            )
        said = self.said_arrangement if as_found and not again else self.arrangement
        first, then = (
            reads * (1 if self.card.basis == "breakaway" else self.breaks),
            reads / (self.breaks if self.card.basis == "breakaway" else 1),
        )
        wander = 1 + 0.008 * self.pull_z[number, 40 : 40 + n]
        play = None
        if self.card.end_play_mm is not None:
            play = tuple(max(round(float(state.play_mm[i, 0]) + 0.012 * float(self.play_z[number, i]), 2), 0.0) for i in range(2))
        style = self.sheet_style
        entry = Entry(
            fit=fit,
            parts=which,
            closure=closure,
            said_arrangement=said,
            breakaway_nm=()
            if style["sliding_only"] and self.card.basis == "sliding"
            else tuple(round(float(v), 1) for v in (first if self.card.basis == "breakaway" else first * wander)),
            sliding_nm=()
            if style["breakaway_only"] and self.card.basis == "breakaway"
            else tuple(round(float(v), 1) for v in (then * wander if self.card.basis == "breakaway" else then)),
            end_play_mm=play,
            plate_state=self.card.plate_state if which == "now" else self.tags.get("old_state", self.card.plate_state),
        )
        mean = float(np.mean(reads)) * self.convert
        landed = self.card.low_nm <= mean <= self.card.high_nm and self.matched(fit)
        if self.card.end_play_mm is not None and play is not None:
            landed &= all(self.card.end_play_mm[0] <= p <= self.card.end_play_mm[1] for p in play)
            state = replace(state, play_mm=np.array([[p] for p in play]))
        landed &= bool(self.limits_kept(state)[0])
        return entry, landed


# ---------------------------------------------------------------------- drawing
PULLS_AGAIN_FROM = 20  # of the random numbers of one closing: where those of a second series begin
FAMILIES = ("found", "free", "heights", "mistaken", "spoilt")
SIZES_MM = (0.1, 1.001)  # shims on a shelf
COARSE_STEP_MM = 0.4
DEPTH_U_MM, PLATE_U_MM, ZERO_U_MM, SPRING_U_MM, FREE_U_MM, SHIM_U_MM = (
    0.012,
    0.004,
    0.003,
    0.006,
    0.02,
    0.004,
)  # PACK.md [uncertainty]
STACK_TOOL_U_MM, STACK_U_MM = 0.0097, 0.00706  # common to a sheet's heights, and each one's own: together 0.012


class _NoUnitError(Exception):
    """The draw makes no sensible unit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Hidden:
    """What nobody sees."""

    mu: float
    breaks: float
    pull_sd: float
    rebuild_sd: float
    lot: float
    ends: float
    nest: float
    late: float
    late_power: float
    new: float
    plates_n_mm: float
    seat: float
    stand: float
    closing: float
    gain: float
    error: float  # measuring errors, as a multiple of the stated ones


def _hidden(rng: np.random.Generator, oil: str, habits: str) -> _Hidden:
    """Friction, springs and scatter from one of the two sets of distributions."""
    median, breaks = OILS[oil]
    if habits == "told":
        broken = max(rng.normal(breaks, rng.uniform(0.03, 0.08)), 0.9)
        return _Hidden(
            mu=median
            * float(np.exp(rng.normal(0, rng.uniform(0.12, 0.16))))
            / broken,  # the medians are those of the first movement
            breaks=broken,
            pull_sd=rng.uniform(0.03, 0.08),
            rebuild_sd=rng.uniform(0.02, 0.05),
            lot=float(np.clip(rng.normal(1.02, 0.045), 0.9, 1.16)),
            ends=rng.uniform(0.01, 0.04),
            nest=rng.uniform(0.002, 0.02),
            late=rng.uniform(0.03, 0.15),
            late_power=float(rng.choice([1.0, 2.0])),
            new=rng.normal(0.05, 0.04),
            plates_n_mm=rng.uniform(60e3, 200e3),
            seat=rng.uniform(0, 0.03),
            stand=rng.uniform(0, 0.6),
            closing=0.006,
            gain=rng.normal(1, 0.01),
            error=1.0,
        )
    broken = rng.uniform(0.96, 1.22)
    return _Hidden(
        mu=rng.uniform(0.08, 0.15) / broken,  # whatever oil the sheet names
        breaks=broken,
        pull_sd=float(np.exp(rng.normal(np.log(0.05), 0.45))),
        rebuild_sd=float(np.exp(rng.normal(np.log(0.035), 0.5))),
        lot=rng.triangular(0.90, 1.0, 1.16),
        ends=rng.uniform(0.0, 0.06),
        nest=rng.uniform(0.0, 0.03),
        late=rng.triangular(0.0, 0.05, 0.22),
        late_power=rng.uniform(0.7, 3.0),
        new=rng.uniform(-0.02, 0.15),
        plates_n_mm=float(np.exp(rng.uniform(np.log(40e3), np.log(300e3)))),
        seat=rng.triangular(0, 0.0, 0.06),
        stand=rng.uniform(0, 1.0),
        closing=0.010,
        gain=rng.uniform(0.98, 1.02),
        error=1.4,
    )


def _tails(rng: np.random.Generator, shape: tuple[int, ...], habits: str) -> np.ndarray:
    """Unit scatter: normal, or with heavier tails."""
    if habits == "told":
        return rng.normal(size=shape)
    return rng.standard_t(4, size=shape) / np.sqrt(2.0)


def _pick(rng: np.random.Generator, table: dict[Any, float]) -> Any:
    """One of the keys, by weight."""
    keys = list(table)
    weights = np.array(list(table.values()))
    return keys[int(rng.choice(len(keys), p=weights / weights.sum()))]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Design:
    """What the maker drew: layout, faces, springs, and the torque he expects of them."""

    layout: str  # with 'cover' of its own
    kinds: tuple[str, ...]
    face_mm: tuple[float, float]
    signs: str
    disc: Disc | None
    block: tuple[float, float, int, float] | None  # free length, rate, count, travel
    torque_nm: float


def _row_of_plates(rng: np.random.Generator) -> tuple[str, ...]:
    kinds = ("outer",) + ("inner", "outer") * int(rng.integers(2, 5))
    if rng.random() < 0.1:
        return kinds[1:]  # an inner plate against the wall
    return (*kinds, "outer") if rng.random() < 0.06 else kinds


def _design(rng: np.random.Generator, layout: str, oil: str) -> _Design:
    kinds = _row_of_plates(rng)
    outer_face = float(rng.integers(88, 126))
    face = (outer_face, float(round(outer_face * rng.uniform(0.64, 0.8))))
    lever_m = OILS["modified" if rng.random() < 0.6 else oil][0] * faces_of(kinds) * mean_radius_mm(*face) / 1000
    load = float(np.exp(rng.uniform(np.log(24), np.log(125)))) / lever_m
    if layout == "block":
        rate, count = float(np.round(rng.uniform(25, 80), 1)), int(rng.choice([1, 2, 4]))
        travel = load / (count * rate)
        if not 5 < travel < 25:
            raise _NoUnitError
        block = (float(round(travel + rng.uniform(18, 28), 1)), rate, count, travel)
        return _Design(layout=layout, kinds=kinds, face_mm=face, signs="", disc=None, block=block, torque_nm=lever_m * load)
    signs = "((" if layout == "cover" else str(_pick(rng, {"(": 0.45, "((": 0.25, "()": 0.22, "(())": 0.08}))
    nested = len(groups_of(signs)[0])
    share, slender = rng.uniform(0.45, 0.75), rng.uniform(0.4, 1.3)
    outer = float(round(outer_face * rng.uniform(0.8, 0.98)))
    inner = float(round(outer * rng.uniform(0.58, 0.74)))
    # At one share of flat and one slenderness the load grows with the fourth power of the thickness.
    unit_load = float(disc_load_n(Disc(outer_mm=outer, inner_mm=inner, thickness_mm=1.0, free_mm=1.0 + slender), share * slender))
    thick = round((load / nested / unit_load) ** 0.25 / 0.05) * 0.05
    cone = round(slender * thick / 0.05) * 0.05
    if layout == "cover":
        share = 1 - rng.uniform(0.15, 0.35) / max(cone, 0.1)
    if not (1.2 <= thick <= 3.6 and 0.7 <= cone <= 2.6 and share >= 0.4):
        raise _NoUnitError
    disc = Disc(outer_mm=outer, inner_mm=inner, thickness_mm=round(thick, 2), free_mm=round(thick + cone, 2))
    torque = lever_m * nested * float(disc_load_n(disc, share * disc.cone_mm))
    return _Design(layout=layout, kinds=kinds, face_mm=face, signs=signs, disc=disc, block=None, torque_nm=torque)


def _card(rng: np.random.Generator, design: _Design, state: str) -> tuple[Card, float]:
    """The maker's page, and the half width its window was drawn with."""
    half = float(_pick(rng, WIDTHS))
    centre = design.torque_nm * (1 + rng.normal(0, 0.05))
    low, high = float(round(centre * (1 - half))), float(round(centre * (1 + half)))
    if low < 8 or high - low < 4:
        raise _NoUnitError
    cover, block, disc = design.layout == "cover", design.block, design.disc
    clearance = (0.1, 0.4) if cover else None
    if design.layout == "each" and disc is not None and len(groups_of(design.signs)) == 1 and rng.random() < 0.2:
        clearance = (0.1, round(disc.cone_mm * 0.8, 1))
    share_limit = float(_pick(rng, {0.9: 0.85, 0.85: 0.15}))
    card = Card(
        low_nm=low,
        high_nm=high,
        basis="breakaway" if rng.random() < 0.75 else "sliding",
        arrangement="A",
        plate_state=state,
        layout="through" if cover else design.layout,
        thicker={"cover": "less preload", "block": "less clearance"}.get(design.layout, "more preload"),
        shim_sides=("left",) if cover else SIDES,
        shims_per_side=int(rng.integers(2, 4)),
        faces=faces_of(design.kinds),
        plates=len(design.kinds),
        share_limit=share_limit,
        share_told=share_limit != 0.9 or rng.random() < 0.7,
        left_right_mm=float(rng.choice([0.05, 0.1])) if rng.random() < 0.7 and not cover else None,
        clearance_mm=clearance,
        end_play_mm=None if block is None else (0.06, 0.25) if rng.random() < 0.5 else (0.05, 0.15),
        springs=None if disc is None else (len(design.signs), design.signs, disc),
        block=None if block is None else (block[0], block[1]),
    )
    return card, half


@dataclass(frozen=True, slots=True)
class _Lots:
    """The batches a unit's parts come from."""

    nominal: dict[str, float]
    plates: dict[str, float]

    @staticmethod
    def draw(rng: np.random.Generator) -> _Lots:
        nominal = {"outer": float(rng.choice([1.9, 2.0, 2.1, 2.2])), "inner": float(rng.choice([1.6, 1.65, 1.7]))}
        return _Lots(nominal, {k: float(rng.normal(0, 0.01)) for k in nominal})

    def another(self, rng: np.random.Generator) -> _Lots:
        return replace(self, plates={k: float(rng.normal(0, 0.01)) for k in self.nominal})


def _plates(
    rng: np.random.Generator, kinds: tuple[str, ...], lots: _Lots, mark: str, worn_mm: float, new: bool = False
) -> tuple[Plate, ...]:
    made = []
    for number, kind in enumerate(kinds, 1):
        unworn = lots.nominal[kind] + lots.plates[kind] + rng.normal(0, 0.005)
        wear = 0.0 if new else rng.uniform(0, worn_mm)
        made.append(
            Plate(
                name=f"{mark}{number}{'n' if new else ''}",
                kind=kind,
                track_mm=tuple(unworn - wear + rng.normal(0, 0.004, 4)),
                unworn_mm=unworn,
                flatness_mm=min(abs(rng.normal(0, 0.02)) + 0.01, 0.07),
                new=new,
            )
        )
    return tuple(made)


def _set_of_discs(
    rng: np.random.Generator, design: _Design, mark: str, strength: float, set_share: float
) -> dict[str, tuple[tuple[str, Disc], ...]]:
    """Both sides' springs from one lot: `set_share` of the cone is gone for good."""
    if design.disc is None:
        return dict.fromkeys(SIDES, ())
    thick, free = rng.normal(0, 0.012), rng.normal(0, 0.02)
    found: dict[str, tuple[tuple[str, Disc], ...]] = {}
    for side, letter in zip(SIDES, "LR", strict=True):
        row = []
        for number in range(1, len(design.signs) + 1):
            t = design.disc.thickness_mm + thick + rng.normal(0, 0.004)
            cone = design.disc.cone_mm + free + rng.normal(0, 0.012)
            cone *= 1 - max(set_share + (rng.normal(0, 0.02) if set_share else 0.0), 0.0)
            disc = replace(design.disc, thickness_mm=t, free_mm=t + cone, strength=strength * rng.normal(1, 0.01))
            row.append((f"{mark}{letter}{number}", disc))
        found[side] = tuple(row) if design.layout != "cover" or side == "left" else ()
    return found


def _parts_as_found(rng: np.random.Generator, design: _Design, hid: _Hidden, lots: _Lots, state: str, set_share: float) -> Parts:
    worn = 0.06 if state == "used" else 0.01
    return Parts(
        plates={side: _plates(rng, design.kinds, lots, mark, worn) for side, mark in zip(SIDES, "LR", strict=True)},
        discs=_set_of_discs(rng, design, "S", hid.lot, set_share),
        signs=design.signs,
        sliding_mu=hid.mu,
        new_excess=hid.new if state == "new" else 0.0,
    )


def _renewed(rng: np.random.Generator, old: Parts, design: _Design, hid: _Hidden, other: _Hidden, lots: _Lots) -> Parts:
    """New springs and all or most of the plates: friction drawn anew in the share of the inner plates that is new."""
    wanted = float(rng.choice([1.0, rng.uniform(0.4, 1.0)]))
    mixed = {}
    for side, mark in zip(SIDES, "LR", strict=True):
        fresh = _plates(rng, design.kinds, lots.another(rng), mark, 0.0, new=True)
        mixed[side] = tuple(f if rng.random() < wanted else w for f, w in zip(fresh, old.plates[side], strict=True))
    inner = [p for side in SIDES for p in mixed[side] if p.kind == "inner"]
    share = sum(p.new for p in inner) / len(inner)
    mu = share * other.mu * other.breaks / hid.breaks + (1 - share) * hid.mu
    return Parts(
        plates=mixed,
        discs=_set_of_discs(rng, design, "N", other.lot, 0.0),
        signs=design.signs,
        sliding_mu=mu,
        new_excess=other.new * share,
    )


def _thicker_outer_plates(rng: np.random.Generator, old: Parts) -> Parts:
    """Some outer plates swapped for ones of another size."""
    step = float(rng.choice([0.05, 0.1, 0.1, -0.05]))
    changed = {}
    for side in SIDES:
        row = []
        for p in old.plates[side]:
            if p.kind == "outer" and rng.random() < 0.6:
                p = replace(p, name=f"{p.name}n", track_mm=tuple(p.unworn_mm + step + rng.normal(0, 0.004, 4)))
            row.append(p)
        changed[side] = tuple(row)
    return replace(old, plates=changed)


def stands_mm(plates: tuple[Plate, ...], stand: float) -> float:
    """Height of pressed plates: the mean of each track, and a part of what stands out of it."""
    means = [float(np.mean(p.track_mm)) for p in plates]
    return sum(m + stand * (max(p.track_mm) - m) for m, p in zip(means, plates, strict=True))


def _fit_as_found(rng: np.random.Generator, card: Card, sizes: list[float], difference_mm: float) -> Fit:
    """One shim a side, unequal where the plates are so unequal that the card would not have it."""
    one = float(rng.choice([s for s in sizes if 0.2 <= s <= 0.9] or sizes))
    if len(card.shim_sides) == 1:
        return Fit((one,), ())
    if card.left_right_mm is not None and abs(difference_mm) > card.left_right_mm - 0.02:
        return Fit((one,), (min(sizes, key=lambda s: abs(one + difference_mm - s)),))
    return Fit((one,), (one,))


def _rooms(
    rng: np.random.Generator, design: _Design, hid: _Hidden, parts: Parts, fitted: Fit
) -> tuple[dict[str, float], dict[str, float]]:
    """True spaces with `parts` and `fitted` in them, so that the springs stand at some share of flat; and the truth of springs
    between the side gears."""
    plates = {side: stands_mm(parts.plates[side], hid.stand) for side in SIDES}
    shims = {"left": sum(fitted.left), "right": sum(fitted.right)}
    if design.block is not None:
        free, rate, count, travel = design.block
        play = rng.uniform(-0.05, 0.6)
        room = {side: plates[side] + shims[side] + max(play + rng.normal(0, 0.03), 0.02) for side in SIDES}
        fitted_length = free - travel * rng.uniform(0.8, 1.2)
        truth = {
            "count": float(count),
            "rate": rate * hid.lot / 1.02,
            "free": free - abs(rng.normal(0, 0.2)),
            "fitted": fitted_length,
        }
        return room, truth
    share = rng.uniform(0.18, 0.92)
    cone, free_height = {}, {}
    for side in SIDES:
        discs = [d for _, d in parts.discs[side]]
        cone[side] = sum(float(np.mean([discs[i].cone_mm for i in group])) for group in groups_of(parts.signs)) if discs else 0.0
        free_height[side] = cone[side] + sum(d.thickness_mm for d in discs)
    if design.layout == "each":
        touching = {side: plates[side] + shims[side] + free_height[side] - hid.seat for side in SIDES}
        return {side: touching[side] - share * cone[side] + rng.normal(0, 0.02) for side in SIDES}, {}
    if design.layout == "cover":
        return {"all": free_height["left"] - share * cone["left"]}, {}
    both = sum(plates.values()) + sum(shims.values()) + sum(free_height.values()) - 2 * hid.seat
    return {"all": both - share * sum(cone.values())}, {}


@dataclass(frozen=True, slots=True)
class _Instruments:
    """A technician's instruments: their errors, and the grain they are read to."""

    rng: np.random.Generator
    error: float
    grain_mm: float

    def read(self, value_mm: float, u_mm: float) -> float:
        return float(np.round((value_mm + self.rng.normal(0, u_mm * self.error)) / self.grain_mm) * self.grain_mm)

    def spaces(self, design: _Design, room: dict[str, float]) -> dict[str, float]:
        """The depths and heights whose difference is the room."""
        found: dict[str, float] = {}
        if design.layout in ("each", "block"):
            for side in SIDES:
                gear = self.rng.uniform(20, 34)
                found[f"{side}.case_depth"] = self.read(room[side] + gear, DEPTH_U_MM)
                found[f"{side}.gear_height"] = self.read(gear, DEPTH_U_MM)
            return found
        if design.layout == "cover":
            boss = self.rng.uniform(2, 4)
            return {"edge_to_plate": self.read(room["all"] + boss, DEPTH_U_MM), "cover_boss": self.read(boss, DEPTH_U_MM)}
        overlap, centre = self.rng.uniform(4, 7), self.rng.uniform(38, 50)
        one = (room["all"] + overlap + centre) / 2 + self.rng.normal(0, 0.2)
        found = {"case_depth_1": one, "case_depth_2": room["all"] + overlap + centre - one, "overlap": overlap, "centre": centre}
        return {name: self.read(value, DEPTH_U_MM) for name, value in found.items()}

    def measure(self, stages: dict[str, Parts], stand: float, heights: bool) -> Measured:
        """Every plate and spring, or the heights of the pressed stacks; spaces and block are added by the caller."""
        zero = float(self.rng.normal(0, ZERO_U_MM * self.error))
        plates = {p.name: p for parts in stages.values() for side in SIDES for p in parts.plates[side]}
        discs = {n: d for parts in stages.values() for side in SIDES for n, d in parts.discs[side]}
        stacks: dict[str, dict[str, float]] = {}
        if heights:
            tool = float(self.rng.normal(0, STACK_TOOL_U_MM * self.error))
            for which, parts in stages.items():
                if which == "now" and parts is stages["old"]:
                    stacks[which] = stacks["old"]
                else:
                    stacks[which] = {side: self.read(stands_mm(parts.plates[side], stand) + tool, STACK_U_MM) for side in SIDES}
        return Measured(
            track_mm={n: tuple(self.read(t + zero, PLATE_U_MM) for t in p.track_mm) for n, p in plates.items()},
            unworn_mm={n: self.read(p.unworn_mm + zero, PLATE_U_MM) for n, p in plates.items()},
            discs={
                n: replace(
                    d, thickness_mm=self.read(d.thickness_mm, SPRING_U_MM), free_mm=self.read(d.free_mm, FREE_U_MM), strength=1.0
                )
                for n, d in discs.items()
            },
            stack_mm=stacks,
            space_mm={},
            block={},
        )


def draw_unit(seed: int, family: str = "found", habits: str = "told") -> PackUnit | None:
    """Unit number `seed` of a family, or None where the draw makes no sensible unit (the caller takes the next).

    found: pulled as found and off; free: held nothing, springs and most plates renewed before the first close; heights: stack
    heights
    only, every other one without a space; mistaken: first series pulled in another arrangement than the sheet says; spoilt:
    springs set,
    friction gone or the shelf too coarse.
    """
    try:
        return _draw(seed, family, habits)
    except _NoUnitError:
        return None


def _draw(seed: int, family: str, habits: str) -> PackUnit:
    rng = np.random.default_rng([seed, FAMILIES.index(family), 7 if habits == "told" else 8])
    plain_springs = family in ("free", "heights", "mistaken")
    layout = _pick(
        rng, {"each": 0.7, "through": 0.3} if plain_springs else {"each": 0.5, "through": 0.22, "cover": 0.14, "block": 0.14}
    )
    oil = _pick(rng, {"modified": 0.5, "plain": 0.25, "strong": 0.15, "spent": 0.1})
    hid = _hidden(rng, oil, habits)
    design = _design(rng, layout, oil)
    state = _pick(rng, {"new": 0.7, "used": 0.3} if family == "free" else {"used": 0.75, "run_in": 0.12, "new": 0.13})
    card, half = _card(rng, design, state)
    arrangement = "B" if layout in ("each", "through") and family != "mistaken" and rng.random() < 0.06 else "A"
    first, said = arrangement, arrangement
    if family == "mistaken":
        first, said = ("B", "A") if rng.random() < 0.7 else ("A", "B")
    step = float(_pick(rng, {0.05: 0.4, 0.1: 0.54, 0.2: 0.06}))
    set_share = float(rng.choice([0.0, rng.uniform(0, 0.12)], p=[0.3, 0.7]))
    if family == "spoilt":
        ill = _pick(rng, {"shelf": 0.25, "friction": 0.22, "springs": 0.53})
        if ill == "shelf":
            step = COARSE_STEP_MM
        elif ill == "friction":
            hid = replace(hid, mu=hid.mu * rng.uniform(0.4, 0.6))
        else:
            set_share = rng.uniform(0.3, 0.5)
    sizes = [round(float(s), 3) for s in np.arange(max(SIZES_MM[0], step if step > 0.1 else 0), SIZES_MM[1], step)]

    lots = _Lots.draw(rng)
    old = now = _parts_as_found(rng, design, hid, lots, "used" if family == "free" else state, set_share)
    variant = ""
    if family == "free":
        old = replace(old, discs=_set_of_discs(rng, design, "O", hid.lot, rng.uniform(0.35, 0.7)))
        now = _renewed(rng, old, design, hid, _hidden(rng, oil, habits), lots)
    elif family == "heights":
        variant = _pick(rng, {"one": 1, "swapped": 1, "two": 1})
        if variant != "one":
            now = _thicker_outer_plates(rng, old)
    stages = {"old": old, "now": now}

    closures: tuple[str | None, str | None] = (None, None)
    gap = 0.0
    if layout != "block" and rng.random() < 0.25:
        closures, gap = (("final", "trial"), ("trial", "final"), ("trial", "trial"))[int(rng.integers(3))], rng.uniform(0, 0.03)
    fitted = _fit_as_found(rng, card, sizes, stands_mm(old.plates["left"], hid.stand) - stands_mm(old.plates["right"], hid.stand))
    room, block_truth = _rooms(rng, design, hid, now if family == "free" else old, fitted)

    inch = rng.random() < 0.15
    grain = 0.0001 * MM_PER_IN if inch else 0.001 if rng.random() < 0.25 else 0.01
    tools = _Instruments(rng, hid.error, grain)
    measured = tools.measure(stages, hid.stand, family == "heights")
    spaces = {} if family == "heights" and seed % 2 == 0 else tools.spaces(design, room)
    block: dict[str, float] = {}
    if design.block is not None:
        block = {"count": block_truth["count"], "rate": design.block[1]}
        block |= {f"{name}_length": round(block_truth[name] + rng.normal(0, 0.03), 1) for name in ("free", "fitted")}
    everywhere = {*sizes, *(round(float(s), 3) for s in np.arange(0.05, 1.001, 0.05))}
    return PackUnit(
        seed=seed,
        family=family,
        habits=habits,
        card=card,
        parts=stages,
        fitted=fitted,
        shelf={s: int(rng.integers(2, 5)) for s in sizes},
        oil_said=oil if rng.random() < 0.92 else None,
        arrangement=arrangement,
        first_arrangement=first,
        said_arrangement=said,
        face_mm=design.face_mm,
        room_mm=room,
        block_truth=block_truth,
        yielding=Yielding(
            late=hid.late, late_power=hid.late_power, end_friction=hid.ends, nest_friction=hid.nest, plates_n_mm=hid.plates_n_mm
        ),
        seat_mm=hid.seat,
        stand=hid.stand,
        shim_error_mm={s: float(rng.normal(0, SHIM_U_MM * hid.error)) for s in sorted(everywhere)},
        breaks=hid.breaks,
        side_mu=(1 + rng.normal(0, 0.01), 1 + rng.normal(0, 0.01)),
        ramp=rng.uniform(0, 0.10),
        gain=hid.gain,
        pull_sd=hid.pull_sd,
        rebuild_sd=hid.rebuild_sd,
        closing_sd_mm=hid.closing,
        pulls=int(rng.integers(3, 7)),
        closures=closures,
        closure_gap_mm=gap,
        run_in_kept=rng.uniform(0.3, 0.9),
        measured=replace(measured, space_mm=spaces, block=block),
        sheet_style={
            "inch": inch,
            "breakaway_only": rng.random() < 0.12,
            "sliding_only": rng.random() < 0.12,
            "uncertainty": rng.random() < 0.6,
            "unworn": rng.random() < 0.8,
            "flatness": rng.random() < 0.8,
            "also": rng.random() < 0.7,
        },
        found_alone=family == "free" or variant == "swapped",
        rebuild_z=_tails(rng, (SERIES,), habits),
        pull_z=_tails(rng, (SERIES, 80), habits),
        closing_z=rng.normal(size=(SERIES, 2)),
        play_z=rng.normal(size=(SERIES, 2)),
        tags={
            "oil": oil,
            "layout": layout,
            "variant": variant,
            "old_state": "used" if family == "free" else state,
            "width": f"{half:.2f}",
        },
    )
