"""What the history says: friction by algebra, everything else by weighted draws.

Given a draw of dimensions, stiffness and scatter, the logarithm of every reading is linear in a few normal quantities
(friction, breakaway over sliding, spring lot, run-in, sensor gain, rebuild scatter, pull scatter), so that its likelihood and
the prediction are those of a joint normal distribution (JCGM 102 calls it the multivariate measurement model). The draws are
weighted by that likelihood. No step has a knob to tune.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from analysis.pack import priors
from analysis.pack.arrangement import Conversion, conversion_to_mean
from analysis.pack.context import Context, common_plates, common_springs, contexts, is_free
from analysis.pack.loads import gap_noise, loads_of, mean_torque_per_friction_nm
from analysis.pack.parts import Build, HistoryEntry
from analysis.pack.unit import Unit
from analysis.pack.unknowns import Floats, Unknowns, draw, stratified_normals
from analysis.window import Basis

FIRST_DRAWS = 4096
"""Draws before weighting: a probability is then good to 0.01 where a tenth of them count."""
MORE_DRAWS = 16384
"""Where fewer than `ENOUGH` count, as without a measured space."""
_LEAST_VARIANCE = 1e-8
"""Of a logarithm; what is smaller is rounding."""
ENOUGH = 250.0
KEPT = 1024
"""Draws kept after weighting, of equal weight."""
SEED = 20261
DRY = "dry"
"""The word for plates without oil."""
SLOPE_STEP_MM = 0.025
"""Change of shims, a side, over which a slope is taken: half a shim of the thinnest stock."""
LEAST_TORQUE_NM = 0.05
"""Torque per friction of 1 below which a pack counts as unloaded; only keeps logarithms finite."""


@dataclass(frozen=True, slots=True)
class Observation:
    """A mean that was read, in one basis. `entry` is its number in the history."""

    context: Context
    basis: Basis
    log_mean: float
    pulls: int
    entry: int


@dataclass(frozen=True, slots=True)
class Pattern:
    """Which entries were pulled in another arrangement than written, and how probable that is beforehand."""

    mistaken: frozenset[int]
    probability: float


@dataclass(frozen=True, slots=True, eq=False)
class Learnt:
    """What is known after the history: equally weighted draws.

    Parameters
    ----------
    unknowns
        The draws that are left.
    sd_pull, pulls_next
        Scatter of a pull, and how many the next series has.
    """

    unit: Unit
    unknowns: Unknowns
    basis: Basis
    factor: Floats
    """Reading in the window's arrangement over the mean of both packs."""
    observations: tuple[Observation, ...]
    residuals: Floats
    covariances: Floats
    pulls_next: int
    patterns: tuple[tuple[Pattern, float], ...]
    """With their probabilities after the history."""
    effective: float
    """Number of draws that counted before thinning."""
    not_converted: tuple[int, ...]

    def predict(self, context: Context) -> tuple[Floats, Floats]:
        """Mean and standard deviation of the log of (reading over torque per friction of 1), the unit itself, in each draw."""
        own = _State(context, self.basis)
        mean = _prior_mean(self.unit, own, self.unknowns) + self._oddness(own)
        variance = np.full(self.unknowns.size, _covariance(self.unit, own, own))
        return self._conditioned(mean, variance, [self._between(own, one) for one in self.observations])

    def friction(self, context: Context) -> tuple[Floats, Floats]:
        """Mean and standard deviation of the log of friction at the basis' moment, in each draw."""
        own = _State(context, self.basis)
        mean = _friction_mean(self.unit, context.oil, self.basis, self.unknowns) + self._oddness(own)
        variance = np.full(self.unknowns.size, _friction_covariance(self.unit, own, own))
        shared = [_friction_covariance(self.unit, own, _State(one.context, one.basis)) for one in self.observations]
        return self._conditioned(mean, variance, shared)

    def _oddness(self, own: _State) -> Floats:
        return _oddness(own, self.observations, self.unknowns)

    def _between(self, own: _State, seen: Observation) -> float:
        return _covariance(self.unit, own, _State(seen.context, seen.basis))

    def _conditioned(self, mean: Floats, variance: Floats, shared: Sequence[float]) -> tuple[Floats, Floats]:
        if not self.observations:
            return mean, np.sqrt(variance)
        k = np.asarray(shared)
        solved = np.linalg.solve(self.covariances, np.broadcast_to(k[None, :, None], (self.unknowns.size, k.size, 1)))[:, :, 0]
        mean = mean + np.sum(solved * self.residuals, axis=1)
        return mean, np.sqrt(np.maximum(variance - solved @ k, _LEAST_VARIANCE))

    def reading_sd(self, unit_sd: Floats, noise: Floats) -> Floats:
        """Standard deviation of the log of the next series' mean.

        Parameters
        ----------
        unit_sd
            Of the log of the unit itself, shape (draws,).
        noise
            Relative standard deviation from closing and shims, shape (draws, choices).

        Returns
        -------
        ndarray, shape (draws, choices)
            The root of the sum of the squares of unit, rebuild, gap and pulls.
        """
        pulls = self.unknowns.sd_pull**2 / self.pulls_next
        if self.basis is Basis.SLIDING:
            pulls = pulls + priors.PULL_BASIS_SD**2 / self.pulls_next
        total: Floats = np.sqrt((unit_sd**2 + self.unknowns.sd_rebuild**2 + pulls)[:, None] + noise**2)
        return total


@dataclass(frozen=True, slots=True)
class _State:
    context: Context
    basis: Basis


def _friction_mean(unit: Unit, oil: str, basis: Basis, unknowns: Unknowns) -> Floats:
    """Mean of the log of friction at the basis' moment, in every draw: an unknown oil is another one of the known in each."""
    known = [priors.OILS[oil]] if oil in priors.OILS else list(priors.OILS.values())
    which = unknowns.oil[oil] if len(known) > 1 else np.zeros(unknowns.size, dtype=np.intp)
    sliding, prior = basis is Basis.SLIDING, unit.shop.friction_prior(oil)
    breaks = [prior.log_mean if prior.known else math.log(one.friction) for one in known]
    logs = [log - (math.log(one.break_over_slide) if sliding else 0.0) for log, one in zip(breaks, known, strict=True)]
    return np.asarray(logs, dtype=np.float64)[which]


def _prior_mean(unit: Unit, state: _State, unknowns: Unknowns) -> Floats:
    new = state.context.renewed
    run_in = new * priors.RUN_IN_NEW[0] * _left_after(state.context) + (1.0 - new) * priors.RUN_IN_USED[0]
    return _friction_mean(unit, state.context.oil, state.basis, unknowns) + _lot(state.context)[0] + run_in


def _lot(context: Context) -> tuple[float, float]:
    """Mean and standard deviation of the log of the springs' load over what is reckoned."""
    if context.measured:
        return 0.0, priors.CURVE_SD
    return math.log1p(priors.SPRING_LOT_MEAN), priors.SPRING_LOT_SD


def _friction_covariance(unit: Unit, a: _State, b: _State) -> float:
    if a.context.oil != b.context.oil:
        return 0.0
    slides = a.basis is Basis.SLIDING and b.basis is Basis.SLIDING
    value = unit.shop.friction_prior(a.context.oil).variance + (priors.BREAK_OVER_SLIDE_SD**2 if slides else 0.0)
    return value * common_plates(a.context, b.context)


def _run_in_sd(context: Context) -> float:
    new = context.renewed
    return new * priors.RUN_IN_NEW[1] * _left_after(context) + (1.0 - new) * priors.RUN_IN_USED[1]


def _left_after(context: Context) -> float:
    """Share of the excess of new plates that is left after the series they have seen, on average."""
    return (1.0 - priors.RUN_IN_FADES.mean) ** context.series_before


def _fade_variance(a: Context, b: Context) -> float:
    """How far the excess that is left differs from that average: one pack runs in faster than another."""
    if a.series_before != b.series_before or not a.series_before:
        return 0.0
    kept = 1.0 - priors.RUN_IN_FADES.mean
    square = (kept**2 + priors.RUN_IN_FADES.sd**2) ** a.series_before - kept ** (2 * a.series_before)
    return square * (priors.RUN_IN_NEW[0] ** 2 + priors.RUN_IN_NEW[1] ** 2) * a.renewed * b.renewed


def _covariance(unit: Unit, a: _State, b: _State) -> float:
    """Of the logs of two readings: what the unit and the sensor have in common."""
    lot = _lot(a.context)[1] * _lot(b.context)[1] * common_springs(a.context, b.context)
    run_in = 0.0
    if a.context.new == b.context.new:
        run_in = _run_in_sd(a.context) * _run_in_sd(b.context) + _fade_variance(a.context, b.context)
        run_in *= common_plates(a.context, b.context)
    return _friction_covariance(unit, a, b) + lot + run_in + unit.pack.uncertainty.torque**2


def _oddness(state: _State, observations: Sequence[Observation], unknowns: Unknowns) -> Floats:
    """The odd friction of the plates pulled last, as far as a state has their plates and their oil."""
    if not observations:
        return np.zeros(unknowns.size)
    last = observations[-1].context
    share = common_plates(state.context, last) if state.context.oil == last.oil else 0.0
    return share * unknowns.odd_friction


def _observed(unit: Unit, before: Sequence[Context], conversions: Sequence[Conversion | None]) -> list[Observation]:
    seen = []
    for number, (entry, context) in enumerate(zip(unit.pack.history, before, strict=True)):
        if conversions[number] is None or is_free(entry) or context.oil == DRY:
            continue  # dry plates read high and scatter: such a series tells nothing of oiled ones
        for basis, values in ((Basis.BREAKAWAY, entry.breakaway_nm), (Basis.SLIDING, entry.sliding_nm)):
            if values:
                seen.append(Observation(context, basis, math.log(sum(values) / len(values)), len(values), number))
    return seen


def _patterns(entries: Sequence[int], chance: float) -> list[Pattern]:
    """Ways in which the arrangement may have been mistaken: nowhere, in one series, in all of them."""
    if not entries or chance == 0.0:
        return [Pattern(frozenset(), 1.0)]
    sets = {frozenset(entries), *(frozenset([one]) for one in entries)}
    each = chance / 2.0
    wrong = [Pattern(one, each * (2.0 if len(entries) == 1 else 1.0)) for one in sorted(sets, key=sorted)]
    return [Pattern(frozenset(), 1.0 - sum(one.probability for one in wrong)), *wrong]


def _scatter_log_likelihood(history: Sequence[HistoryEntry], sd_pull: Floats) -> Floats:
    """Of the scatter within the series, pooled."""
    squares, freedom = 0.0, 0
    for entry in history:
        values = entry.breakaway_nm or entry.sliding_nm
        if is_free(entry) or len(values) < 2:
            continue
        logs = np.log(values)
        squares += float(np.sum((logs - logs.mean()) ** 2))
        freedom += len(values) - 1
    likelihood: Floats = -freedom * np.log(sd_pull) - 0.5 * squares / sd_pull**2
    return likelihood


def _slope_log_likelihood(unit: Unit, unknowns: Unknowns) -> Floats:
    """Of what a mm of shim did on the shop's units of this kind; only where no space tells how far the springs are pressed."""
    seen = unit.shop.slope_of(unit.pack.unit)
    if seen is None or unit.space_counts or unit.block:
        return np.zeros(unknowns.size)
    slope, sd, _ = seen
    ends = np.array([-SLOPE_STEP_MM, SLOPE_STEP_MM])
    loads = loads_of(unit, unknowns, unit.reference, ends, ends)
    torque = np.maximum(mean_torque_per_friction_nm(unit, unit.reference, loads), LEAST_TORQUE_NM)
    # Both sides together take twice the step, either way.
    own = np.log(torque[:, 1] / torque[:, 0]) / (4.0 * SLOPE_STEP_MM)  # formula: a step either way on both sides
    likelihood: Floats = -0.5 * ((own - slope) / sd) ** 2
    return likelihood


def learn(unit: Unit, basis: Basis, arrangement: str, considered: Sequence[Build] = ()) -> Learnt:
    """What the history says of the unit.

    Parameters
    ----------
    unit
        Sheet and card.
    basis, arrangement
        Of the window: predictions are readings of that kind.
    considered
        Builds with other parts that predictions will be asked for.

    Returns
    -------
    Learnt
        `KEPT` draws of equal weight; the same sheet gives the same draws.
    """
    builds = [entry.build for entry in unit.pack.history] + [unit.pack.now, unit.reference, *considered]
    size = FIRST_DRAWS if unit.space_counts or unit.block else priors.WITHOUT_SPACE * FIRST_DRAWS
    while True:
        unknowns = draw(unit, builds, size, SEED)
        weighed = _weigh(unit, unknowns, basis, arrangement)
        if weighed.effective >= ENOUGH or size >= MORE_DRAWS:
            return weighed
        size = MORE_DRAWS


def _weigh(unit: Unit, unknowns: Unknowns, basis: Basis, arrangement: str) -> Learnt:
    card, history = unit.card, unit.pack.history
    before, _ = contexts(unit)
    target = conversion_to_mean(arrangement, card.layout, ramps_deg=card.ramps_deg, ratio=card.ratio)
    conversions = [
        Conversion(1.0)
        if entry.arrangement == arrangement and target is None
        else conversion_to_mean(entry.arrangement, card.layout, ramps_deg=card.ramps_deg, ratio=card.ratio)
        for entry in history
    ]
    if target is None:
        # Readings in the card's own arrangement are compared among themselves; friction then takes the factor in.
        conversions = [one if entry.arrangement == arrangement else None for one, entry in zip(conversions, history, strict=True)]
        target = Conversion(1.0)
    observations = _observed(unit, before, conversions)
    log_model, noise, weights = _entries(unit, unknowns, before, conversions)
    logs = weights + unknowns.log_weight + _slope_log_likelihood(unit, unknowns)
    logs = logs + _scatter_log_likelihood(history, unknowns.sd_pull)
    entries = sorted({one.entry for one in observations})
    possible = all(e.arrangement in ("A", "B", "D", "E", "V", "V2") for e in history)
    patterns = _patterns(entries, priors.WRONG_ARRANGEMENT * unit.tails if possible else 0.0)
    residuals, covariances = _joint(unit, unknowns, observations, log_model, noise)
    density = _NormalDensity.of(covariances)
    table = np.tile(logs[:, None], (1, len(patterns)))
    shifted = []
    for column, pattern in enumerate(patterns):
        shift = np.array([_shift(history[one.entry].arrangement) if one.entry in pattern.mistaken else 0.0 for one in observations])
        moved = residuals - shift[None, :]
        shifted.append(moved)
        table[:, column] += math.log(pattern.probability) + density.log_of(moved)
    table -= table.max()
    weight = np.exp(table)
    total = weight.sum(axis=0)
    weight /= weight.sum()
    effective = 1.0 / float(np.sum(weight.sum(axis=1) ** 2))
    picked = _resample(weight.ravel(), KEPT)
    rows, columns = np.divmod(picked, len(patterns))
    kept = replace(
        unknowns.taken(rows), normal_unit=stratified_normals(KEPT, SEED + 1), normal_reading=stratified_normals(KEPT, SEED + 2)
    )
    own = np.stack(shifted, axis=2)[rows, :, columns] if observations else np.zeros((KEPT, 0))
    last = next((e for e in reversed(history) if not is_free(e) and (e.breakaway_nm or e.sliding_nm)), None)
    return Learnt(
        unit=unit,
        unknowns=kept,
        basis=basis,
        factor=target.factor * (1.0 + target.excess_max * kept.ramp_excess),
        observations=tuple(observations),
        residuals=own,
        covariances=covariances[rows],
        pulls_next=priors.USUAL_PULLS if last is None else len(last.breakaway_nm or last.sliding_nm),
        patterns=tuple((p, float(t / total.sum())) for p, t in zip(patterns, total, strict=True)),
        effective=effective,
        not_converted=tuple(n for n, one in enumerate(conversions) if one is None),
    )


def _shift(arrangement: str) -> float:
    """Log by which a reading is off where A was written for B or the other way round."""
    twice = math.log(2.0 * (1.0 + priors.TWICE_EXCESS))
    return -twice if arrangement in ("B", "D", "E", "V2") else twice


def _entries(
    unit: Unit, unknowns: Unknowns, before: Sequence[Context], conversions: Sequence[Conversion | None]
) -> tuple[list[Floats], list[Floats], Floats]:
    """Log of the reading per friction of 1 and its gap noise for every entry; and the log weight of those that were free."""
    models, noises = [], []
    weights = np.zeros(unknowns.size)
    still = np.zeros(1)
    for entry, context, conversion in zip(unit.pack.history, before, conversions, strict=True):
        loads = loads_of(unit, unknowns, entry.build, still, still)
        factor = conversion or Conversion(1.0)
        torque = mean_torque_per_friction_nm(unit, entry.build, loads)[:, 0]
        model = np.log(np.maximum(torque * factor.factor * (1.0 + factor.excess_max * unknowns.ramp_excess), LEAST_TORQUE_NM))
        models.append(model)
        noises.append(gap_noise(unit, entry.build, loads)[:, 0])
        if is_free(entry):
            state = _State(context, Basis.BREAKAWAY if entry.breakaway_nm else Basis.SLIDING)
            sd = math.sqrt(_covariance(unit, state, state))
            nothing = ndtr((math.log(priors.FREE_BELOW_NM) - model - _prior_mean(unit, state, unknowns)) / sd)
            weights += np.log(priors.FREE_OTHER_CAUSE + (1.0 - priors.FREE_OTHER_CAUSE) * nothing)
    return models, noises, weights


def _joint(
    unit: Unit, unknowns: Unknowns, observations: Sequence[Observation], log_model: Sequence[Floats], noise: Sequence[Floats]
) -> tuple[Floats, Floats]:
    """Residuals of the observations and their covariance, in every draw: shapes (draws, n) and (draws, n, n)."""
    n = len(observations)
    residuals = np.zeros((unknowns.size, n))
    covariances = np.zeros((unknowns.size, n, n))
    states = [_State(one.context, one.basis) for one in observations]
    for i, one in enumerate(observations):
        residuals[:, i] = one.log_mean - log_model[one.entry] - _prior_mean(unit, states[i], unknowns)
        residuals[:, i] -= _oddness(states[i], observations, unknowns)
        for j, other in enumerate(observations):
            covariances[:, i, j] = _covariance(unit, states[i], states[j])
            if one.entry == other.entry:
                shared_pulls = max(one.pulls, other.pulls)
                covariances[:, i, j] += unknowns.sd_rebuild**2 + unknowns.sd_pull**2 / shared_pulls + noise[one.entry] ** 2
        covariances[:, i, i] += priors.PULL_BASIS_SD**2 / one.pulls
    return residuals, covariances


@dataclass(frozen=True, slots=True, eq=False)
class _NormalDensity:
    """A joint normal density about nought in every draw, turned over once for all patterns."""

    precision: Floats
    log_determinant: Floats

    @classmethod
    def of(cls, covariances: Floats) -> _NormalDensity:
        if covariances.shape[1] == 0:
            return cls(covariances, np.zeros(covariances.shape[0]))
        _, log_determinant = np.linalg.slogdet(covariances)
        return cls(np.asarray(np.linalg.inv(covariances)), np.asarray(log_determinant))

    def log_of(self, residuals: Floats) -> Floats:
        """Log density, but for a constant; shape (draws,)."""
        squares = np.einsum("di,dij,dj->d", residuals, self.precision, residuals)
        log: Floats = -0.5 * (squares + self.log_determinant)
        return log


def _resample(weights: Floats, count: int) -> NDArray[np.intp]:
    """Systematic resampling: each draw comes as often as its weight says, to within one."""
    places = (np.arange(count) + 0.5) / count
    return np.minimum(np.searchsorted(np.cumsum(weights), places), weights.size - 1)
