"""Before against after: the only composer of the parts (contract: COMPARE.md)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum

import numpy as np

from analysis.compare.chatter import ChatterOutcome, outcome_of
from analysis.compare.conditions import (
    NEVER_OVERRIDDEN,
    Admission,
    Condition,
    ConditionRules,
    Field,
    Question,
    Refusal,
    Refused,
    State,
    admit,
    conditions_of,
)
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
from analysis.compare.pulls import (
    ALL_FIGURES,
    CHATTER_FIGURES,
    CORRECTED,
    TORQUE_FIGURES,
    WITH_ZEROS,
    ComparedPull,
    FigureName,
    in_order,
    median_or_none,
    set_apart,
    values_of,
)
from analysis.compare.run_in import AtLastPull, RunIn, Trend, at_last_pull, run_in_of, trend_of
from analysis.compare.speed import FrictionAgainstSpeed, friction_against_speed
from analysis.verdict.apart import Apart, gap_hides_a_stray

DEFAULT_THRESHOLD = 0.05
AT_LAST_FIGURES = (FigureName.BREAKAWAY, FigureName.SLIDING)
RUN_IN_LABEL = "run_in"
RULES = ConditionRules()


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Two sides compared, or why they are not: then `figures` is empty and the parts behind it are None."""

    question: Question
    asked: bool
    threshold: float
    conditions: tuple[Condition, ...]
    refused: tuple[Refusal, ...]
    despite: tuple[Refused, ...]
    before: tuple[ComparedPull, ...]
    after: tuple[ComparedPull, ...]
    figures: dict[FigureName, Figure] = field(default_factory=dict)
    chatter: ChatterOutcome | None = None
    speed_before: FrictionAgainstSpeed | None = None
    speed_after: FrictionAgainstSpeed | None = None
    run_in_before: RunIn | None = None
    run_in_after: RunIn | None = None
    gap_before: bool = False
    """Three pulls or fewer lie so far apart that one of them may be a stray, which three cannot tell."""
    gap_after: bool = False

    @property
    def made(self) -> bool:
        """Whether the sides were compared."""
        return not self.refused

    def condition(self, name: Field) -> Condition:
        """One field of the conditions."""
        return next(one for one in self.conditions if one.field is name)


def compare(
    before: Sequence[ComparedPull],
    after: Sequence[ComparedPull],
    *,
    question: Question | None = None,
    threshold: float = DEFAULT_THRESHOLD,
    despite: Sequence[Refused] = (),
    rules: ConditionRules = RULES,
) -> Comparison:
    """Compare two sides.

    1. Order the pulls and find which stand apart.
    2. Hold the conditions against each other; what is not alike labels the figures it touches, or refuses.
    3. Compare every figure, correct the p values together, and say a word each.

    Parameters
    ----------
    before, after : pulls in the order of pulling, or with `when` or `number` to order them by
    question : what may differ; None: the one decisive field that differs
    threshold : relative change below which a figure counts as held
    despite : refusals to override
    """
    first, second = set_apart(in_order(before), in_order(after))
    admission = admit(conditions_of(first, second, rules), question, despite, rules)
    refused = (*_cannot(first, second), *admission.refused)
    common = Comparison(
        question=admission.question,
        asked=admission.asked,
        threshold=threshold,
        conditions=admission.conditions,
        refused=refused,
        despite=admission.despite,
        before=tuple(first),
        after=tuple(second),
    )
    return common if refused else _compared(common, admission, rules)


def _cannot(before: Sequence[ComparedPull], after: Sequence[ComparedPull]) -> list[Refusal]:
    """Refusals that nobody can override."""
    found = []
    twice = {pull.fingerprint for pull in before} & {pull.fingerprint for pull in after}
    if twice:
        names = [tuple(pull.trace for pull in side if pull.fingerprint in twice) for side in (before, after)]
        found.append(Refusal(Refused.SAME_TRACE, None, names[0], names[1]))
    readable = [sum(_is_readable(pull) for pull in side) for side in (before, after)]
    if not all(readable):
        found.append(Refusal(Refused.NO_READING, None, (readable[0],), (readable[1],)))
    assert all(one.code in NEVER_OVERRIDDEN for one in found)
    return found


def _is_readable(pull: ComparedPull) -> bool:
    return pull.apart not in (Apart.EXCLUDED, Apart.NO_READING)


def _compared(common: Comparison, admission: Admission, rules: ConditionRules) -> Comparison:
    before, after, threshold = common.before, common.after, common.threshold
    run_in = tuple(_run_in(side, threshold) for side in (before, after))
    labels = _labels(admission.conditions, run_in)
    sensors = _sensor_variance(before, after, common.condition(Field.CERTIFICATE))
    drafts = {
        name: draft
        for name in ALL_FIGURES
        if (draft := _figure(name, before, after, threshold, sensors if name in AT_LAST_FIGURES else 0.0)) is not None
    }
    corrected = _corrected({name: figure.p for name, figure in drafts.items() if figure.p is not None})
    together = 1 - (1 - CONFIDENCE) / max(1, sum(name in CORRECTED for name in corrected))
    held_back = _not_concluded(common)
    not_settled = any(one.settled is False for one in run_in)
    figures = {}
    for name, draft in drafts.items():
        concluded = _concluded(name, draft, corrected.get(name), threshold, held_back)
        figures[name] = replace(
            _with_ends_together(name, concluded, together, before, after, sensors),
            labels=labels[name],
            at_last_pull=_at_last(name, before, after, sensors) if not_settled and name in AT_LAST_FIGURES else None,
        )
    severity = figures.get(FigureName.CHATTER_SEVERITY)
    lever = common.condition(Field.LEVER)
    counted = [[pull for pull in side if pull.counted] for side in (before, after)]
    return replace(
        common,
        figures=figures,
        chatter=outcome_of(
            before,
            after,
            None if severity is None else severity.conclusion,
            lever_differs=lever.state in (State.DIFFERS, State.VARIES),
            conditions=rules,
        ),
        speed_before=_speed(before),
        speed_after=_speed(after),
        run_in_before=run_in[0],
        run_in_after=run_in[1],
        gap_before=_has_gap(counted[0]),
        gap_after=_has_gap(counted[1]),
    )


def _logs(pulls: Sequence[ComparedPull], name: FigureName) -> tuple[np.ndarray, np.ndarray]:
    values, direction = values_of(pulls, name)
    return np.log(values), direction


def _has_gap(pulls: Sequence[ComparedPull]) -> bool:
    return any(gap_hides_a_stray(_logs(pulls, name)[0].tolist()) for name in AT_LAST_FIGURES)


def _labels(conditions: Sequence[Condition], run_in: Sequence[RunIn]) -> dict[FigureName, tuple[str, ...]]:
    labels: dict[FigureName, list[str]] = {name: [] for name in ALL_FIGURES}
    for condition in conditions:
        if condition.labels:
            for name in condition.touches:
                labels[name].append(condition.field.value)
    if any(one.settled is False for one in run_in):
        for name in TORQUE_FIGURES:
            labels[name].append(RUN_IN_LABEL)
    return {name: tuple(mine) for name, mine in labels.items()}


def _not_concluded(common: Comparison) -> frozenset[FigureName]:
    """Figures that are shown, not concluded on: chatter on another lever, its rate at another speed."""
    held: set[FigureName] = set()
    differs = (State.DIFFERS, State.VARIES)
    if common.condition(Field.LEVER).state in differs:
        held.update(CHATTER_FIGURES)
    speed = common.condition(Field.SPEED)
    if speed.state in differs and not speed.is_question:
        held.add(FigureName.CHATTER_RATE)
    return frozenset(held)


def _sensor_variance(before: Sequence[ComparedPull], after: Sequence[ComparedPull], certificate: Condition) -> float:
    """Variance that two sensors bring into the logarithm of a torque ratio; one and the same sensor cancels."""
    if certificate.state not in (State.DIFFERS, State.VARIES):
        return 0.0
    shares = [median_or_none(pull.sensor_u_relative for pull in side) for side in (before, after)]
    return sum(share**2 for share in shares if share is not None)


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


def _corrected(p: dict[FigureName, float]) -> dict[FigureName, float]:
    """Holm over the figures that decide; the other figures of chatter by Bonferroni over all that have an interval.

    Left uncorrected, four more figures would call something changed in too many sets in which nothing did.
    """
    deciding = holm({name: value for name, value in p.items() if name in CORRECTED})
    return {name: deciding[name] if name in deciding else min(1.0, value * len(p)) for name, value in p.items()}


def _concluded(
    name: FigureName, figure: Figure, p_corrected: float | None, threshold: float, held_back: frozenset[FigureName]
) -> Figure:
    """The figure with its word, whether that is for the better, and how many pulls are still wanted."""
    word = Conclusion.OPEN
    if p_corrected is not None and name not in held_back:
        word = conclude(figure.ratio_low, figure.ratio_high, figure.difference, p_corrected, threshold)
    better = None
    if (name in CHATTER_FIGURES or name is FigureName.RATIO) and word in (Conclusion.ROSE, Conclusion.FELL):
        better = word is Conclusion.FELL
    further = 0 if word is not Conclusion.OPEN else None if name in held_back else figure.further_pulls_each_side
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
    extra = sensor_variance if name in AT_LAST_FIGURES else 0.0
    estimate = difference_of(spreads[0], spreads[1], plain=plain, extra_variance=extra)
    assert estimate is not None
    low, high = estimate.interval(confidence)
    if plain:
        return replace(figure, together_low=1 + low / spreads[0].mean, together_high=1 + high / spreads[0].mean)
    return replace(figure, together_low=math.exp(low), together_high=math.exp(high))


def _ordered(pulls: Sequence[ComparedPull], name: FigureName) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Logarithms, directions and places in the order of pulling of the counted pulls that have the figure."""
    rows = [
        (math.log(value), pull.direction or 0, float(place))
        for place, pull in enumerate(pulls)
        if pull.counted and (value := pull.value(name)) is not None
    ]
    logs, ways, places = zip(*rows, strict=True) if rows else ((), (), ())
    return np.array(logs, dtype=float), np.array(ways, dtype=int), np.array(places, dtype=float)


def _run_in(pulls: Sequence[ComparedPull], threshold: float) -> RunIn:
    return run_in_of(*_ordered(pulls, FigureName.SLIDING), threshold)


def _at_last(
    name: FigureName, before: Sequence[ComparedPull], after: Sequence[ComparedPull], sensor_variance: float
) -> AtLastPull | None:
    trends: list[Trend] = []
    for side in (before, after):
        logs, direction, order = _ordered(side, name)
        trend = trend_of(logs, direction, order) if logs.size >= 5 else None
        if trend is None:
            return None
        trends.append(trend)
    return at_last_pull(trends[0], trends[1], sensor_variance)


def _speed(pulls: Sequence[ComparedPull]) -> FrictionAgainstSpeed | None:
    """Friction against speed of one side; None where no counted pull has an angle."""
    known = [
        (pull.speed, pull.sliding_nm) for pull in pulls if pull.counted and pull.speed is not None and pull.sliding_nm is not None
    ]
    if not known:
        return None
    stiffness = median_or_none(pull.stiffness_nm_per_deg for pull in pulls if pull.counted)
    return friction_against_speed([course for course, _ in known], [torque for _, torque in known], stiffness)
