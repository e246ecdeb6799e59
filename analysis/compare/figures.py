"""One figure, before against after: values of the pulls that count, ratio with its interval, robust shift, corrected p, word."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from analysis.compare.effects import (
    CONFIDENCE,
    Conclusion,
    Estimate,
    Method,
    Sample,
    Shift,
    Spread,
    conclude,
    difference_of,
    further_pulls,
    further_pulls_of_one_side,
    hedges_g,
    holm,
    own_estimate,
    robust_shift,
    shared_ways,
)
from analysis.compare.pulls import ALL_FIGURES, CHATTER_FIGURES, CORRECTED, WITH_ZEROS, ComparedPull, FigureName, values_of
from analysis.compare.run_in import AtLastPull

OF_TORQUE = (FigureName.BREAKAWAY, FigureName.SLIDING)
"""Figures in N.m that two sensors would read differently; in a ratio of one pull the sensor cancels."""


class RobustWhyNot(StrEnum):
    """Why there is no robust shift."""

    TOO_FEW = "too_few"
    ZEROS = "zeros"


@dataclass(frozen=True, slots=True)
class SideOfFigure:
    """A figure on one side: number of pulls, centre, spread (deviation of the logs), and the 95 % interval of the centre."""

    n: int
    centre: float
    spread: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One figure, before against after. Ratios are after over before; None where there is none."""

    before: SideOfFigure
    after: SideOfFigure
    difference: float
    difference_low: float | None = None
    difference_high: float | None = None
    ratio: float | None = None
    ratio_low: float | None = None
    ratio_high: float | None = None
    together_low: float | None = None
    together_high: float | None = None
    method: Method | None = None
    degrees_of_freedom: float | None = None
    shift: Shift | None = None
    robust_why_not: RobustWhyNot | None = None
    effect_size_g: float | None = None
    p: float | None = None
    p_corrected: float | None = None
    probability_fell: float | None = None
    conclusion: Conclusion = Conclusion.OPEN
    for_the_better: bool | None = None
    further_pulls_each_side: int | None = None
    at_last_pull: AtLastPull | None = None
    labels: tuple[str, ...] = ()


def figures_of(
    before: Sequence[ComparedPull],
    after: Sequence[ComparedPull],
    *,
    threshold: float,
    sensor_variance: float = 0.0,
    not_concluded: frozenset[FigureName] = frozenset(),
) -> dict[FigureName, Figure]:
    """All figures that have a value on both sides, corrected together, each with its word.

    Parameters
    ----------
    before, after
        All pulls of each side, marked by `set_apart`; each figure takes those that count for it.
    threshold
        Relative change below which a figure counts as held.
    sensor_variance
        Of the logarithm of a torque ratio, where the sides had sensors of their own.
    not_concluded
        Figures that are shown, not concluded on.

    Returns
    -------
    dict of FigureName to Figure
        In the order of reading; a figure that one side has no value of is left out. Torques in N.m, rates in 1/s, shares in
        percent.
    """
    drafts: dict[FigureName, Figure] = {}
    for name in ALL_FIGURES:
        draft = _figure(name, before, after, threshold, sensor_variance if name in OF_TORQUE else 0.0)
        if draft is not None:
            drafts[name] = draft
    corrected = _corrected({name: figure.p for name, figure in drafts.items() if figure.p is not None})
    together = 1 - (1 - CONFIDENCE) / max(1, sum(name in CORRECTED for name in corrected))
    figures = {}
    for name, draft in drafts.items():
        concluded = _concluded(name, draft, corrected.get(name), threshold, not_concluded)
        extra = sensor_variance if name in OF_TORQUE else 0.0
        figures[name] = _with_ends_together(name, concluded, together, before, after, extra)
    return figures


def _samples(name: FigureName, before: Sequence[ComparedPull], after: Sequence[ComparedPull]) -> tuple[Sample, Sample] | None:
    """The values to compare, of the directions both sides have; None where a side has none."""
    first, second = Sample(*values_of(before, name)), Sample(*values_of(after, name))
    if not first.values.size or not second.values.size:
        return None
    ways, _ = shared_ways(first.direction, second.direction)
    if ways is not None:
        return first.of_ways(ways), second.of_ways(ways)
    # They share no direction: all pulls as they are.
    return tuple(Sample(one.values, np.ones_like(one.direction)) for one in (first, second))  # type: ignore[return-value]


def _figure(
    name: FigureName, before: Sequence[ComparedPull], after: Sequence[ComparedPull], threshold: float, sensor_variance: float
) -> Figure | None:
    """A figure without its corrected p, its word and its labels."""
    samples = _samples(name, before, after)
    if samples is None:
        return None
    if name in WITH_ZEROS and any((sample.values <= 0).any() for sample in samples):
        return _figure_with_zeros(*samples, threshold)
    spreads = [Spread.about_directions(np.log(sample.values), sample.direction) for sample in samples]
    sides = [_side(spread) for spread in spreads]
    difference = sides[1].centre - sides[0].centre
    ratio = math.exp(spreads[1].mean - spreads[0].mean)
    figure = Figure(before=sides[0], after=sides[1], difference=difference, ratio=ratio)
    logs = [Sample(np.log(sample.values), sample.direction) for sample in samples]
    shift = robust_shift(logs[0], logs[1])
    figure = replace(
        figure,
        shift=None if shift is None else Shift(math.exp(shift.value), math.exp(shift.low), math.exp(shift.high)),
        robust_why_not=RobustWhyNot.TOO_FEW if shift is None else None,
        effect_size_g=hedges_g(spreads[0], spreads[1]),
    )
    estimate = difference_of(spreads[0], spreads[1], extra_variance=sensor_variance)
    if estimate is None:
        return figure
    low, high = (math.exp(end) for end in estimate.interval())
    return replace(
        _with_estimate(figure, estimate),
        ratio_low=low,
        ratio_high=high,
        difference_low=sides[0].centre * (low - 1),
        difference_high=sides[0].centre * (high - 1),
        further_pulls_each_side=further_pulls(spreads[0], spreads[1], threshold, plain=False, extra_variance=sensor_variance),
    )


def _with_estimate(figure: Figure, estimate: Estimate) -> Figure:
    return replace(
        figure,
        method=estimate.method,
        degrees_of_freedom=estimate.degrees_of_freedom,
        p=estimate.p,
        probability_fell=estimate.probability_below,
    )


def _figure_with_zeros(before: Sample, after: Sample, threshold: float) -> Figure:
    """Severity and time stuck where some pull does not chatter: plain values, for zero has no logarithm."""
    spreads = [Spread.about_directions(sample.values, sample.direction) for sample in (before, after)]
    sides = [_side(spread, plain=True) for spread in spreads]
    zero = [bool((sample.values <= 0).all()) for sample in (before, after)]
    figure = Figure(
        before=sides[0], after=sides[1], difference=sides[1].centre - sides[0].centre, robust_why_not=RobustWhyNot.ZEROS
    )
    if all(zero):
        return figure
    if any(zero):
        return _against_zero(figure, spreads[1] if zero[0] else spreads[0], rose=zero[0])
    figure = replace(figure, ratio=sides[1].centre / sides[0].centre)
    estimate = difference_of(spreads[0], spreads[1], plain=True)
    if estimate is None:
        return figure
    low, high = estimate.interval()
    return replace(
        _with_estimate(figure, estimate),
        difference_low=low,
        difference_high=high,
        ratio_low=1 + low / sides[0].centre,
        ratio_high=1 + high / sides[0].centre,
        further_pulls_each_side=further_pulls(spreads[0], spreads[1], threshold, plain=True),
    )


def _against_zero(figure: Figure, side: Spread, *, rose: bool) -> Figure:
    """One side is all zero: the other's own interval, and a ratio only where it is the side after that is zero."""
    figure = replace(figure, ratio=None if rose else 0.0)
    estimate = own_estimate(side)
    if estimate is None:
        return figure
    low, high = estimate.interval()
    below = estimate.probability_below
    return replace(
        _with_estimate(figure, estimate),
        difference_low=low if rose else -high,
        difference_high=high if rose else -low,
        ratio_low=None if rose else 0.0,
        probability_fell=below if rose else 1 - below,
        further_pulls_each_side=further_pulls_of_one_side(side),
    )


def _side(spread: Spread, *, plain: bool = False) -> SideOfFigure:
    estimate = own_estimate(spread)
    ends = (None, None) if estimate is None else estimate.interval()
    deviation = None if estimate is None else math.sqrt(spread.variance)
    if plain:
        return SideOfFigure(spread.pulls, spread.mean, None, *ends)
    low, high = (None if end is None else math.exp(end) for end in ends)
    return SideOfFigure(spread.pulls, math.exp(spread.mean), deviation, low, high)


def _corrected(p: Mapping[FigureName, float]) -> dict[FigureName, float]:
    """Holm over the figures that decide; the other figures of chatter by Bonferroni over all that have an interval.

    Left uncorrected, four more figures would call something changed in too many sets in which nothing did.
    """
    deciding = holm({name: value for name, value in p.items() if name in CORRECTED})
    return {name: deciding[name] if name in deciding else min(1.0, value * len(p)) for name, value in p.items()}


def _concluded(
    name: FigureName, figure: Figure, p_corrected: float | None, threshold: float, not_concluded: frozenset[FigureName]
) -> Figure:
    """The figure with its word, whether that is for the better, and how many pulls are still wanted."""
    word = Conclusion.OPEN
    if p_corrected is not None and name not in not_concluded:
        word = conclude(figure.ratio_low, figure.ratio_high, figure.difference, p_corrected, threshold)
    better = None
    if (name in CHATTER_FIGURES or name is FigureName.RATIO) and word in (Conclusion.ROSE, Conclusion.FELL):
        better = word is Conclusion.FELL
    further = 0 if word is not Conclusion.OPEN else None if name in not_concluded else figure.further_pulls_each_side
    return replace(figure, p_corrected=p_corrected, conclusion=word, for_the_better=better, further_pulls_each_side=further)


def _with_ends_together(
    name: FigureName,
    figure: Figure,
    confidence: float,
    before: Sequence[ComparedPull],
    after: Sequence[ComparedPull],
    sensor_variance: float,
) -> Figure:
    """The figure with the ends that hold for all corrected figures together."""
    samples = _samples(name, before, after)
    if figure.method is None or name not in CORRECTED or samples is None:
        return figure
    plain = figure.method in (Method.WELCH_T, Method.ONE_SIDE)
    if figure.method is Method.ONE_SIDE:
        return replace(figure, together_low=figure.ratio_low)
    spreads = [Spread.about_directions(sample.values if plain else np.log(sample.values), sample.direction) for sample in samples]
    estimate = difference_of(spreads[0], spreads[1], plain=plain, extra_variance=sensor_variance)
    assert estimate is not None
    low, high = estimate.interval(confidence)
    if plain:
        return replace(figure, together_low=1 + low / spreads[0].mean, together_high=1 + high / spreads[0].mean)
    return replace(figure, together_low=math.exp(low), together_high=math.exp(high))
