"""Before against after: the only composer of the parts (contract: COMPARE.md)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

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
from analysis.compare.figures import OF_TORQUE, Figure, figures_of
from analysis.compare.pulls import (
    ALL_FIGURES,
    CHATTER_FIGURES,
    TORQUE_FIGURES,
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
RUN_IN_LABEL = "run_in"
RULES = ConditionRules()


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
    before, after
        Pulls in the order of pulling, or with `when` or `number` to order them by.
    question
        What may differ; None: the one decisive field that differs.
    threshold
        Relative change below which a figure counts as held, 0.05 for 5 %.
    despite
        Refusals to override. That a pull is on both sides or that one side has no reading is never overridden.
    rules
        How near conditions have to be to count as alike.

    Returns
    -------
    Comparison
        With its figures, or with the refusals and without figures.
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
    """Whether a pull gives any torque that can be compared: one whose readings are all spoiled gives none."""
    return pull.apart is not Apart.EXCLUDED and any(pull.value(name) is not None for name in OF_TORQUE)


def _compared(common: Comparison, admission: Admission, rules: ConditionRules) -> Comparison:
    before, after, threshold = common.before, common.after, common.threshold
    run_in = tuple(_run_in(side, threshold) for side in (before, after))
    labels = _labels(admission.conditions, run_in)
    sensors = _sensor_variance(before, after, common.condition(Field.CERTIFICATE))
    figures = figures_of(before, after, threshold=threshold, sensor_variance=sensors, not_concluded=_not_concluded(common))
    not_settled = any(one.settled is False for one in run_in)
    for name, figure in figures.items():
        last = _at_last(name, before, after, sensors) if not_settled and name in OF_TORQUE else None
        figures[name] = replace(figure, labels=labels[name], at_last_pull=last)
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
    return any(gap_hides_a_stray(_logs(pulls, name)[0].tolist()) for name in OF_TORQUE)


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


LEAST_FOR_TREND = 5
"""Fewer pulls tell no settled level from scatter."""


def _at_last(
    name: FigureName, before: Sequence[ComparedPull], after: Sequence[ComparedPull], sensor_variance: float
) -> AtLastPull | None:
    trends: list[Trend] = []
    for side in (before, after):
        logs, direction, order = _ordered(side, name)
        trend = trend_of(logs, direction, order) if logs.size >= LEAST_FOR_TREND else None
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
