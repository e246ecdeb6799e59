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
WIDTHS = ((0.08, 0.10), (0.12, 0.13), (0.18, 0.22), (0.25, 0.28), (0.33, 0.27))  # half width of the window, how often
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
        """Height a side's plates stand at, pressed: mean of the track and a part of what stands out."""
        return sum(
            float(np.mean(p.track_mm)) + self.stand * (max(p.track_mm) - float(np.mean(p.track_mm)))
            for p in self.parts[which].plates[side]
        )

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
                play[index] = np.interp(load[index], curve.load_n, curve.left_mm) - np.minimum(closed, 0.0)
            share = worst
        else:
            curves = [self.columns[which, side] for side in SIDES if (which, side) in self.columns]
            sides = [i for i, side in enumerate(SIDES) if (which, side) in self.columns]
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
            closed = free - room - self.seat_mm * 2 + gap + closing[0]
            load[:] = np.interp(closed, closings, forces)
            share = np.max([np.max([np.interp(load[0], c.load_n, s) for s in c.shares], axis=0) for c in curves], axis=0)
            for i, c in zip(sides, curves, strict=True):
                play[i] = np.interp(load[i], c.load_n, c.left_mm) - np.minimum(closed, 0.0)
            if len(sides) == 1:
                play[1 - sides[0]] = play[sides[0]]
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
    def pull(self, fit: Fit, number: int, which: str = "now", more: int = 0, as_found: bool = False) -> tuple[Entry, bool]:
        """Close the unit with `fit` and pull it: the entry, and whether it landed. `number` picks the random numbers; `more`
        further pulls of the same build."""
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
        factors = rebuilt * (1 + self.pull_sd * self.pull_z[number, :n])
        reads = np.maximum(float(state.torque_nm[0]) / self.convert * factors, 0.0)
        if as_found and self.first_arrangement != self.arrangement:
            reads = (
                reads * balance_nm(0.5, 0.5, self.first_arrangement, self.ramp) / balance_nm(0.5, 0.5, self.arrangement, self.ramp)
            )
        said = self.said_arrangement if as_found else self.arrangement
        first, then = (
            reads * (1 if self.card.basis == "breakaway" else self.breaks),
            reads / (self.breaks if self.card.basis == "breakaway" else 1),
        )
        wander = 1 + 0.008 * self.pull_z[number, 40 : 40 + n]
        play = None
        if self.card.end_play_mm is not None:
            play = tuple(round(float(state.play_mm[i, 0]) + 0.012 * float(self.play_z[number, i]), 2) for i in range(2))
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
@dataclass(frozen=True, slots=True)
class _Hidden:
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
    """What nobody sees, from one of the two sets of distributions."""
    median, breaks = OILS[oil]
    if habits == "told":
        broken = max(rng.normal(breaks, rng.uniform(0.03, 0.08)), 0.9)
        return _Hidden(
            mu=median
            * float(np.exp(rng.normal(0, rng.uniform(0.12, 0.16))))
            / broken,  # the medians are those of the moment that is judged
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
    return _Hidden(
        mu=rng.uniform(0.08, 0.15),
        breaks=rng.uniform(0.96, 1.22),
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


def _weighted(rng: np.random.Generator, table: tuple[tuple[float, float], ...]) -> float:
    return float(rng.choice([v for v, _ in table], p=np.array([p for _, p in table]) / sum(p for _, p in table)))


def _plates(
    rng: np.random.Generator,
    kinds: tuple[str, ...],
    nominal: dict[str, float],
    lot: dict[str, float],
    mark: str,
    worn: float,
    renewed: str = "",
) -> tuple[Plate, ...]:
    made = []
    for number, kind in enumerate(kinds, 1):
        unworn = nominal[kind] + lot[kind] + rng.normal(0, 0.005)
        wear = rng.uniform(0, worn) if not renewed else 0.0
        flat = abs(rng.normal(0, 0.02)) + 0.01
        track = tuple(unworn - wear + rng.normal(0, 0.004, 4))
        made.append(
            Plate(
                name=f"{mark}{number}{renewed}",
                kind=kind,
                track_mm=track,
                unworn_mm=unworn,
                flatness_mm=min(flat, 0.07),
                new=bool(renewed),
            )
        )
    return tuple(made)


def _discs(
    rng: np.random.Generator, design: Disc, count: int, mark: str, lot: tuple[float, float, float], set_share: float
) -> tuple[tuple[str, Disc], ...]:
    strength, thick, free = lot
    made = []
    for number in range(1, count + 1):
        t = design.thickness_mm + thick + rng.normal(0, 0.004)
        h = design.cone_mm + free + rng.normal(0, 0.012)
        h *= 1 - max(set_share + (rng.normal(0, 0.02) if set_share else 0.0), 0.0)
        made.append((f"{mark}{number}", replace(design, thickness_mm=t, free_mm=t + h, strength=strength * rng.normal(1, 0.01))))
    return tuple(made)


FAMILIES = ("found", "free", "heights", "mistaken", "spoilt")


def draw_unit(seed: int, family: str = "found", habits: str = "told") -> PackUnit | None:
    """Unit number `seed` of a family, or None where the draw makes no sensible unit (the caller takes the next).

    found: pulled as found and off; free: held nothing, springs and most plates renewed before the first close; heights: stack
    heights only, every other one
    without a space; mistaken: first series pulled in another arrangement than the sheet says; spoilt: springs set, friction gone
    or the shelf too coarse.
    """
    rng = np.random.default_rng([seed, FAMILIES.index(family), 7 if habits == "told" else 8])
    layout = (
        str(rng.choice(["each", "through", "cover", "block"], p=[0.5, 0.22, 0.14, 0.14]))
        if family not in ("free", "heights")
        else str(rng.choice(["each", "through"], p=[0.7, 0.3]))
    )
    oil = str(rng.choice(list(OILS), p=[0.5, 0.25, 0.15, 0.1]))
    hid = _hidden(rng, oil, habits)
    basis = "breakaway" if rng.random() < 0.75 else "sliding"
    inner_plates = int(rng.integers(2, 5))
    kinds: tuple[str, ...] = ("outer",) + ("inner", "outer") * inner_plates
    if rng.random() < 0.1:
        kinds = kinds[1:]  # an inner plate against the wall
    elif rng.random() < 0.06:
        kinds = (*kinds, "outer")
    faces = faces_of(kinds)
    face = (float(rng.integers(88, 126)), 0.0)
    face = (face[0], float(round(face[0] * rng.uniform(0.64, 0.8))))
    radius = mean_radius_mm(*face) / 1000
    design_mu = OILS["modified" if rng.random() < 0.6 else oil][0]

    # the maker's design
    target_nm = float(np.exp(rng.uniform(np.log(24), np.log(125))))
    load = target_nm / (design_mu * faces * radius)
    signs, count, disc, block = "(", 1, None, None
    share = rng.uniform(0.45, 0.75)
    if layout == "block":
        rate = float(np.round(rng.uniform(25, 80), 1))
        springs = int(rng.choice([1, 2, 4]))
        squeeze = load / (springs * rate)
        if not 5 < squeeze < 25:
            return None
        block = (float(round(squeeze + rng.uniform(18, 28), 1)), rate, springs, squeeze)
    else:
        signs = "((" if layout == "cover" else str(rng.choice(["(", "((", "()", "(())"], p=[0.45, 0.25, 0.22, 0.08]))
        count = len(signs)
        nested = len(groups_of(signs)[0])
        slender = rng.uniform(0.4, 1.3)
        outer = float(round(face[0] * rng.uniform(0.8, 0.98)))
        inner = float(round(outer * rng.uniform(0.58, 0.74)))
        trial = Disc(outer_mm=outer, inner_mm=inner, thickness_mm=1.0, free_mm=1.0 + slender)
        thick = (load / nested / float(disc_load_n(trial, share * slender))) ** 0.25
        thick = round(thick / 0.05) * 0.05
        cone = round(slender * thick / 0.05) * 0.05
        if not 1.2 <= thick <= 3.6 or not 0.7 <= cone <= 2.6:
            return None
        disc = Disc(outer_mm=outer, inner_mm=inner, thickness_mm=round(thick, 2), free_mm=round(thick + cone, 2))
        if layout == "cover":
            share = 1 - rng.uniform(0.15, 0.35) / cone
            if share < 0.4:
                return None
    half = _weighted(rng, WIDTHS)
    if block is not None:
        centre = design_mu * faces * radius * block[2] * block[1] * block[3]
    else:
        assert disc is not None
        centre = design_mu * faces * radius * nested * float(disc_load_n(disc, share * disc.cone_mm))
    centre *= 1 + rng.normal(0, 0.05)
    arrangement = "A"
    window_arrangement = "A"
    if layout not in ("cover", "block") and rng.random() < 0.06:
        arrangement = "B"
    ramp = rng.uniform(0, 0.10)
    low, high = float(round(centre * (1 - half))), float(round(centre * (1 + half)))
    if low < 8 or high - low < 4:
        return None
    first = said = arrangement
    if family == "mistaken":
        if layout in ("cover", "block"):
            return None
        arrangement = "A"
        first, said = ("B", "A") if rng.random() < 0.7 else ("A", "B")
    step = float(rng.choice([0.05, 0.1, 0.2], p=[0.4, 0.54, 0.06]))
    if family == "spoilt" and rng.random() < 0.25:
        step = 0.4
    sizes = [round(float(s), 3) for s in np.arange(0.1 if step < 0.2 else step, 1.001, step)]
    shelf = {s: int(rng.integers(2, 5)) for s in sizes}

    # the unit
    nominal = {"outer": float(rng.choice([1.9, 2.0, 2.1, 2.2])), "inner": float(rng.choice([1.6, 1.65, 1.7]))}
    lot = {"outer": rng.normal(0, 0.01), "inner": rng.normal(0, 0.01)}
    state = (
        str(rng.choice(["used", "run_in", "new"], p=[0.75, 0.12, 0.13]))
        if family != "free"
        else str(rng.choice(["new", "used"], p=[0.7, 0.3]))
    )
    worn = 0.06 if state == "used" or family == "free" else 0.01
    plates = {side: _plates(rng, kinds, nominal, lot, mark, worn) for side, mark in zip(SIDES, "LR", strict=True)}
    set_share = float(rng.choice([0.0, rng.uniform(0, 0.12)], p=[0.3, 0.7]))
    if family == "spoilt" and step != 0.4:
        set_share = rng.uniform(0.3, 0.5)
        if rng.random() < 0.3:
            set_share, hid = 0.05, replace(hid, mu=hid.mu * rng.uniform(0.4, 0.6))
    spring_lot = (hid.lot, rng.normal(0, 0.012), rng.normal(0, 0.02))
    discs: dict[str, tuple[tuple[str, Disc], ...]] = {"left": (), "right": ()}
    if disc is not None:
        for side, mark in zip(SIDES, ("SL", "SR"), strict=True):
            if layout != "cover" or side == "left":
                discs[side] = _discs(rng, disc, count, mark, spring_lot, set_share)
    new_excess = hid.new if state == "new" else 0.0
    now = Parts(plates=plates, discs=discs, signs=signs, sliding_mu=hid.mu, new_excess=new_excess)
    old = now
    old_state = state
    if family == "free":
        assert disc is not None
        gone = {
            side: _discs(rng, disc, count, mark, (hid.lot, rng.normal(0, 0.012), 0.0), rng.uniform(0.35, 0.7))
            for side, mark in zip(SIDES, ("OL", "OR"), strict=True)
        }
        share_new = rng.choice([1.0, rng.uniform(0.4, 1.0)])
        mixed = {}
        for side, mark in zip(SIDES, "LR", strict=True):
            fresh = _plates(rng, kinds, nominal, {k: rng.normal(0, 0.01) for k in nominal}, mark, 0.0, "n")
            mixed[side] = tuple(f if rng.random() < share_new else w for f, w in zip(fresh, plates[side], strict=True))
        inner = [p for side in SIDES for p in mixed[side] if p.kind == "inner"]
        share_new = sum(p.new for p in inner) / len(inner)
        other = _hidden(rng, oil, habits)
        fresh_lot = (other.lot, rng.normal(0, 0.012), rng.normal(0, 0.02))
        put = {side: _discs(rng, disc, count, mark, fresh_lot, 0.0) for side, mark in zip(SIDES, ("NL", "NR"), strict=True)}
        blend = share_new * (other.mu * other.breaks) / hid.breaks + (1 - share_new) * hid.mu
        old = replace(now, discs=gone, new_excess=0.0)
        now = Parts(plates=mixed, discs=put, signs=signs, sliding_mu=blend, new_excess=other.new * share_new)
        old_state = "used"
    variant = "one"
    if family == "heights":
        variant = str(rng.choice(["one", "swapped", "two"]))
        if variant != "one":
            thicker = float(rng.choice([0.05, 0.1, 0.1, -0.05]))
            changed = {}
            for side in SIDES:
                changed[side] = tuple(
                    p
                    if p.kind == "inner" or rng.random() < 0.4
                    else replace(p, name=p.name + "n", track_mm=tuple(p.unworn_mm + thicker + rng.normal(0, 0.004, 4)))
                    for p in plates[side]
                )
            now = replace(now, plates=changed)

    # as found: shims, and the space that makes the springs stand where they do
    per_side = int(rng.integers(2, 4))
    sides = SIDES if layout != "cover" else ("left",)
    on_shelf = [s for s in sizes if 0.2 <= s <= 0.9] or sizes
    yielding = Yielding(
        late=hid.late, late_power=hid.late_power, end_friction=hid.ends, nest_friction=hid.nest, plates_n_mm=hid.plates_n_mm
    )
    unit_error = {s: rng.normal(0, 0.004 * hid.error) for s in {*sizes, *np.round(np.arange(0.05, 1.05, 0.05), 3)}}
    closures: tuple[str | None, str | None] = (None, None)
    gap = 0.0
    if rng.random() < 0.25 and layout != "block":
        closures = [("final", "trial"), ("trial", "final"), ("trial", "trial")][int(rng.integers(3))]
        gap = rng.uniform(0, 0.03)

    one = float(rng.choice(on_shelf))
    left_right = float(rng.choice([0.05, 0.1])) if rng.random() < 0.7 and layout != "cover" else None
    clearance = (0.1, 0.4) if layout == "cover" else None
    if layout == "each" and disc is not None and rng.random() < 0.12:
        clearance = (0.1, round(disc.cone_mm * 0.8, 1))
    end_play = (0.06, 0.25) if layout == "block" else None
    if layout == "block" and rng.random() < 0.5:
        end_play = (0.05, 0.15)

    def stands(side: str) -> float:
        return sum(
            float(np.mean(p.track_mm)) + hid.stand * (max(p.track_mm) - float(np.mean(p.track_mm))) for p in old.plates[side]
        )

    fitted = Fit((one,), (one,) if layout != "cover" else ())
    if left_right is not None and abs(stands("left") - stands("right")) > left_right - 0.02:
        diff = stands("left") - stands("right")
        other_size = min(sizes, key=lambda s: abs(one + diff - s))
        fitted = Fit((one,), (other_size,))
    room: dict[str, float] = {}
    truth_block: dict[str, float] = {}
    found_share = rng.uniform(0.18, 0.92)
    if layout == "block":
        assert block is not None
        free, rate, springs, squeeze = block
        truth_block = {
            "count": float(springs),
            "rate": rate * hid.lot / 1.02,
            "free": free - abs(rng.normal(0, 0.2)),
            "fitted": 0.0,
        }
        truth_block["fitted"] = free - squeeze * rng.uniform(0.8, 1.2)
        for side in SIDES:
            room[side] = stands(side) + (one if side == "left" else sum(fitted.right)) + rng.uniform(0.0, 0.7)
        shift = rng.uniform(-0.05, 0.6)
        for side in SIDES:
            room[side] = stands(side) + sum(getattr(fitted, side)) + max(shift + rng.normal(0, 0.03), 0.02)
    else:
        assert disc is not None
        free_heights, cones = {}, {}
        reference = discs if family != "free" else now.discs
        for side in sides:
            groups = groups_of(signs)
            cones[side] = sum(float(np.mean([reference[side][i][1].cone_mm for i in g])) for g in groups)
            free_heights[side] = cones[side] + sum(d.thickness_mm for _, d in reference[side])
        if layout == "each":
            for side in SIDES:
                stack = stands(side) if family != "free" else sum(float(np.mean(p.track_mm)) for p in now.plates[side])
                room[side] = (
                    stack
                    + sum(getattr(fitted, side))
                    + free_heights[side]
                    - found_share * cones[side]
                    - hid.seat
                    + rng.normal(0, 0.02)
                )
        elif layout == "through":
            stack = sum(stands(s) if family != "free" else sum(float(np.mean(p.track_mm)) for p in now.plates[s]) for s in SIDES)
            room["all"] = (
                stack
                + sum(fitted.left)
                + sum(fitted.right)
                + sum(free_heights.values())
                - found_share * sum(cones.values())
                - 2 * hid.seat
            )
        else:
            room["all"] = free_heights["left"] - found_share * cones["left"]

    # the sheet
    err = hid.error
    fine = rng.random() < 0.25
    inch = rng.random() < 0.15
    grain = 0.001 if fine and not inch else 0.0001 * MM_PER_IN if inch else 0.01

    def read(value: float, u: float) -> float:
        return float(np.round((value + rng.normal(0, u * err)) / grain) * grain)

    zero = rng.normal(0, 0.003 * err)
    everything = {p.name: p for parts in (old, now) for side in SIDES for p in parts.plates[side]}
    track = {n: tuple(read(t + zero, 0.004) for t in p.track_mm) for n, p in everything.items()}
    unworn = {n: read(p.unworn_mm + zero, 0.004) for n, p in everything.items()}
    seen = {
        n: replace(d, thickness_mm=read(d.thickness_mm, 0.006), free_mm=read(d.free_mm, 0.02), strength=1.0)
        for parts in (old, now)
        for side in SIDES
        for n, d in parts.discs[side]
    }
    stacks: dict[str, dict[str, float]] = {}
    if family == "heights":
        tool = rng.normal(0, 0.0097 * err)
        for which, parts in (("old", old), ("now", now)):
            stacks[which] = {
                side: read(
                    sum(
                        float(np.mean(p.track_mm)) + hid.stand * (max(p.track_mm) - float(np.mean(p.track_mm)))
                        for p in parts.plates[side]
                    )
                    + tool,
                    0.00706,
                )
                for side in SIDES
            }
        if variant == "one":
            stacks["old"] = stacks["now"]
    spaces: dict[str, float] = {}
    if layout in ("each", "block"):
        for side in SIDES:
            gear = rng.uniform(20, 34)
            spaces[f"{side}.case_depth"], spaces[f"{side}.gear_height"] = read(room[side] + gear, 0.012), read(gear, 0.012)
    elif layout == "through":
        overlap, centre_mm = rng.uniform(4, 7), rng.uniform(38, 50)
        whole = room["all"] + overlap + centre_mm
        one_half = whole / 2 + rng.normal(0, 0.2)
        spaces = {
            "case_depth_1": read(one_half, 0.012),
            "case_depth_2": read(whole - one_half, 0.012),
            "overlap": read(overlap, 0.012),
            "centre": read(centre_mm, 0.012),
        }
    else:
        boss = rng.uniform(2, 4)
        spaces = {"edge_to_plate": read(room["all"] + boss, 0.012), "cover_boss": read(boss, 0.012)}
    no_space = family == "heights" and (seed % 2 == 0)
    blocks = {}
    if block is not None:
        blocks = {
            "count": truth_block["count"],
            "rate": block[1],
            "free_length": round(truth_block["free"] + rng.normal(0, 0.03), 1),
            "fitted_length": round(truth_block["fitted"] + rng.normal(0, 0.03), 1),
        }

    share_limit = float(rng.choice([0.9, 0.85], p=[0.85, 0.15]))
    card = Card(
        low_nm=low,
        high_nm=high,
        basis=basis,
        arrangement=window_arrangement,
        plate_state=state,
        layout="through" if layout == "cover" else layout,
        thicker={"cover": "less preload", "block": "less clearance"}.get(layout, "more preload"),
        shim_sides=("left",) if layout == "cover" else SIDES,
        shims_per_side=per_side,
        faces=faces,
        plates=len(kinds),
        share_limit=share_limit,
        share_told=share_limit != 0.9 or rng.random() < 0.7,
        left_right_mm=left_right,
        clearance_mm=clearance,
        end_play_mm=end_play,
        springs=None if disc is None else (count, signs, disc),
        block=None if block is None else (block[0], block[1]),
    )
    return PackUnit(
        seed=seed,
        family=family,
        habits=habits,
        card=card,
        parts={"old": old, "now": now},
        fitted=fitted,
        shelf=shelf,
        oil_said=oil if rng.random() < 0.92 else None,
        arrangement=arrangement,
        first_arrangement=first,
        said_arrangement=said,
        face_mm=face,
        room_mm=room,
        block_truth=truth_block,
        yielding=yielding,
        seat_mm=hid.seat,
        stand=hid.stand,
        shim_error_mm=unit_error,
        breaks=hid.breaks,
        side_mu=(1 + rng.normal(0, 0.01), 1 + rng.normal(0, 0.01)),
        ramp=ramp,
        gain=hid.gain,
        pull_sd=hid.pull_sd,
        rebuild_sd=hid.rebuild_sd,
        closing_sd_mm=hid.closing,
        pulls=int(rng.integers(3, 7)),
        closures=closures,
        closure_gap_mm=gap,
        run_in_kept=rng.uniform(0.3, 0.9),
        measured=Measured(
            track_mm=track, unworn_mm=unworn, discs=seen, stack_mm=stacks, space_mm={} if no_space else spaces, block=blocks
        ),
        sheet_style={
            "inch": bool(inch),
            "breakaway_only": bool(rng.random() < 0.12),
            "sliding_only": bool(rng.random() < 0.12),
            "uncertainty": bool(rng.random() < 0.6),
            "unworn": bool(rng.random() < 0.8),
            "flatness": bool(rng.random() < 0.8),
            "also": bool(rng.random() < 0.7),
        },
        found_alone=family == "free" or variant == "swapped",
        rebuild_z=_tails(rng, (SERIES,), habits),
        pull_z=_tails(rng, (SERIES, 80), habits),
        closing_z=rng.normal(size=(SERIES, 2)),
        play_z=rng.normal(size=(SERIES, 2)),
        tags={"oil": oil, "layout": layout, "variant": variant, "old_state": old_state, "width": f"{half:.2f}"},
    )


def _tails(rng: np.random.Generator, shape: tuple[int, ...], habits: str) -> np.ndarray:
    """Unit scatter: normal, or with heavier tails."""
    if habits == "told":
        return rng.normal(size=shape)
    return rng.standard_t(4, size=shape) / np.sqrt(2.0)
