"""Several pulls of one unit in one state, taken together: the one rule for a verdict, of one pull or of many.

Each direction of turning has its own mean, for a unit may bind one way; the scatter from pull to pull is that within
directions, pooled with what is known of the bench. The direction that stands worse decides.

>>> pulls = [Pull.of(47.0), Pull.of(48.5), Pull.of(47.6), Pull.of(46.1, direction=-1), Pull.of(47.2, direction=-1)]
>>> series = read_series(pulls, Window(35.0, 60.0))
>>> series.verdict.state.value, round(series.verdict.value_nm, 1), series.verdict.deciding.direction
('in_window', 47.2, -1)
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import replace

import numpy as np

from analysis.judgement import (
    Deciding,
    DecisionRule,
    DirectionMean,
    Missing,
    ScatterUsed,
    SeriesFigure,
    SeriesResult,
    Settling,
    SettlingCode,
    Verdict,
    VerdictState,
)
from analysis.results import OF_ONE_PULL, Budget, BudgetLine, BudgetSource
from analysis.sensor.zero_history import zero_moved
from analysis.verdict.apart import Apart, Scatter, Side, after_long_rest, find_strays, gap_hides_a_stray
from analysis.verdict.decide import judge_value, standing
from analysis.verdict.scatter import USUAL_SCATTER, OwnScatter, pool
from analysis.verdict.settling import outlook
from analysis.verdict.uncertainty import CONFIDENCE, combine
from analysis.verdict.votes import Convert, Pull, Reading, held_against, not_converted, taken_for
from analysis.window import Basis, Window

PULLS_EACH_WAY = 3
"""What the trade asks for (TRADE.md 2.4, common practice): fewer say nothing of scatter."""

ASYMMETRY_WORTH_A_WORD = 0.10
"""Share of the mean by which the directions may differ before it is a finding: bind, spline edge, sensor offset (TRADE.md 2.4)."""

FREE_TURN = "free_turn"
"""Why a turn in which nothing held stands apart: nobody has said that it was the pull."""


def read_series(
    pulls: Sequence[Pull],
    window: Window | None = None,
    *,
    basis: Basis = Basis.BREAKAWAY,
    rule: DecisionRule = DecisionRule.GUARDED,
    known: Scatter = USUAL_SCATTER,
    missing: Sequence[Missing] = (),
    convert: Convert = not_converted,
) -> SeriesResult:
    """Take pulls together and judge them; the one rule behind every verdict.

    Parameters
    ----------
    pulls
        In the order of pulling, each as a person or its file has it. The caller sees to it that they are of one unit in one state.
    window
        What the unit is held against; None: not judged. Its basis counts before `basis`.
    basis
        The quantity by which a pull is asked for a reading where there is no window.
    rule
        Guarded or simple acceptance.
    known
        Scatter from pull to pull that is known of the bench, pooled with that of the pulls.
    missing
        What else the verdict lacks, beyond what the pulls say of themselves.
    convert
        How a pull in another arrangement than the window's is converted, where it is.

    Returns
    -------
    SeriesResult
        Which pulls count and which stand apart, by index; means in N.m with their budgets; the verdict, None without a window.

    Notes
    -----
    - A pull does not count where a person excluded it, where its rest was far longer than the others', as a stray, or where it has
      no reading. None is left out for being the first.
    - A clipped pull makes the mean a lower bound. Some pulls free and some not: undecided. All free: the value is 0.
    """
    basis = basis if window is None else window.basis
    if window is not None:
        pulls = [held_against(pull, window, convert) for pull in pulls]
    excluded = tuple((index, pull.excluded) for index, pull in enumerate(pulls) if pull.excluded is not None)
    standing_in = [index for index, pull in enumerate(pulls) if pull.excluded is None]
    apart = _apart(pulls, standing_in, basis, known)
    counted = tuple(index for index in standing_in if index not in dict(apart))
    kept = [pulls[index] for index in counted]
    logs = _logs([pull for pull in kept if not pull.free], basis)
    series = SeriesResult(
        n=len(pulls),
        counted=counted,
        apart=apart,
        excluded=excluded,
        free=tuple(index for index in counted if pulls[index].free),
        breakaway=_figure(kept, Basis.BREAKAWAY, known),
        sliding=_figure(kept, Basis.SLIDING, known),
        chattering=sum(pulls[index].chatters is True for index in standing_in),
        assessable=sum(pulls[index].chatters is not None for index in standing_in),
        gap_hides_a_stray=any(gap_hides_a_stray(each) for each in logs),
    )
    return series if window is None else replace(series, verdict=_judge(series, kept, window, rule, tuple(missing)))


def _apart(pulls: Sequence[Pull], standing_in: Sequence[int], basis: Basis, known: Scatter) -> tuple[tuple[int, str], ...]:
    """Which pulls stand apart and why, in their order: no vote or reading, a long rest, strays among what is left."""
    reasons: dict[int, str] = {}
    for index in standing_in:
        pull = pulls[index]
        if not pull.has_vote:
            reasons[index] = FREE_TURN
        elif not pull.free and pull.reading(basis) is None:
            reasons[index] = str(Apart.NO_READING)
    voting = [index for index in standing_in if index not in reasons]
    for at in after_long_rest([pulls[index].rest_s for index in voting]):
        reasons[voting[at]] = str(Apart.FIRST_AFTER_REST)
    left = [pulls[index] for index in voting if index not in reasons]
    where = [index for index in voting if index not in reasons]
    whole = [(index, pull) for index, pull in zip(where, left, strict=True) if not pull.free and not _is_bound(pull)]
    side = Side.of(
        [pull.direction for _, pull in whole],
        *([_value(pull, each) for _, pull in whole] for each in (Basis.BREAKAWAY, Basis.SLIDING)),
    )
    (strays,) = find_strays([side], known if known.relative else None)
    reasons.update({whole[at][0]: str(Apart.STRAY) for at in strays})
    return tuple(sorted(reasons.items()))


def _value(pull: Pull, basis: Basis) -> float | None:
    reading = pull.reading(basis)
    return None if reading is None else reading.torque_nm


def _is_bound(pull: Pull) -> bool:
    return any(reading is not None and reading.at_least for reading in (pull.breakaway, pull.sliding))


def _logs(pulls: Sequence[Pull], basis: Basis) -> list[list[float]]:
    """Logarithms of the values, a list for each direction."""
    return [
        [math.log(value) for pull in pulls if pull.direction == way and (value := _value(pull, basis)) is not None and value > 0]
        for way in (1, -1)
    ]


# -- mean and scatter -------------------------------------------------------------------------------------------------------------


def _figure(pulls: Sequence[Pull], basis: Basis, known: Scatter) -> SeriesFigure | None:
    readings = {
        way: [reading for pull in pulls if pull.direction == way and not pull.free and (reading := pull.reading(basis)) is not None]
        for way in (1, -1)
    }
    readings = {way: mine for way, mine in readings.items() if mine}
    if not readings:
        return None
    own = OwnScatter.of([[reading.torque_nm for reading in mine if not reading.at_least] for mine in readings.values()])
    scatter = pool(own, known)
    ways = tuple((way, _mean_of(mine, scatter)) for way, mine in readings.items())
    mean_nm = math.fsum(way.mean_nm for _, way in ways) / len(ways)
    lines = _mean_lines([way.budget.lines for _, way in ways], own_sources=OF_ONE_PULL | {BudgetSource.REPEATABILITY})
    return SeriesFigure(mean_nm, combine(lines, each_by_its_own_t=True), ways, scatter)


def _mean_of(readings: Sequence[Reading], scatter: ScatterUsed) -> DirectionMean:
    n = len(readings)
    mean_nm = float(np.mean([reading.torque_nm for reading in readings]))
    lines = _mean_lines([reading.lines for reading in readings], own_sources=OF_ONE_PULL)
    lines.append(BudgetLine(BudgetSource.REPEATABILITY, scatter.relative * mean_nm / math.sqrt(n), scatter.degrees_of_freedom))
    at_least = any(reading.at_least for reading in readings)
    return DirectionMean(n, mean_nm, combine(lines, each_by_its_own_t=True), at_least)


def _mean_lines(of_each: Sequence[Sequence[BudgetLine]], own_sources: Collection[str]) -> list[BudgetLine]:
    """The lines of a mean: what is anew in each shrinks by the root of their number, what they share does not (GUM 5.2.4)."""
    n = len(of_each)
    lines = []
    for source in dict.fromkeys(line.source for each in of_each for line in each):
        mine = [line for each in of_each for line in each if line.source == source]
        mean_square = math.fsum(line.u_nm**2 for line in mine) / n
        u = math.sqrt(mean_square / n) if source in own_sources else math.sqrt(mean_square)
        lines.append(BudgetLine(source, u, mine[0].degrees_of_freedom))
    return lines


# -- verdict ----------------------------------------------------------------------------------------------------------------------


def _judge(series: SeriesResult, kept: Sequence[Pull], window: Window, rule: DecisionRule, beside: tuple[Missing, ...]) -> Verdict:
    figure = series.figure(window.basis)
    if series.free:
        free = _judge_free([pull for pull in kept if pull.free], window, rule)
        if len(series.free) == len(series.counted):
            return replace(free, missing=(*beside, *_other_direction(kept)))
        settling = Settling(SettlingCode.STOP_AND_LOOK, so_far=len(kept))
        missing = tuple(dict.fromkeys((*_missing(kept, window.basis), *beside, Missing.HELD_AT_TIMES)))
        if figure is None:
            return replace(free, state=VerdictState.UNDECIDED, probability_in_window=None, missing=missing, settling=settling)
        mean = judge_value(figure.mean_nm, figure.budget, window, rule=rule)
        return replace(
            mean,
            state=VerdictState.UNDECIDED,
            probability_in_window=None,
            missing=missing,
            settling=settling,
            scatter=figure.scatter,
        )
    if figure is None:
        return _without_reading(window, rule)
    missing = tuple(dict.fromkeys((*_missing(kept, window.basis), *beside, *_other_direction(kept))))
    if zero_moved([zero for pull in kept for zero in pull.zeros_nm], figure.mean_nm) and Missing.ZERO not in missing:
        missing = (*missing, Missing.ZERO)
    if any(way.at_least for _, way in figure.ways):
        missing = (*missing, Missing.LOWER_BOUND)
    verdict = judge_value(figure.mean_nm, figure.budget, window, rule=rule, missing=missing)
    state, deciding = _worse(figure, window, rule)
    verdict = replace(
        verdict,
        state=state,
        probability_in_window=deciding.probability_in_window,
        deciding=deciding,
        scatter=figure.scatter,
        converted=next((pull.converted for pull in kept if pull.converted is not None), None),
        taken_for=taken_for(kept, window),
    )
    waits = next((pull.unsettled for pull in kept if pull.unsettled is not None), None)
    if waits is not None:
        verdict = replace(
            verdict,
            state=VerdictState.UNDECIDED,
            probability_in_window=None,
            deciding=replace(deciding, probability_in_window=None),
        )
        return replace(verdict, settling=Settling(waits, so_far=len(kept), ways=len(figure.ways)))
    return replace(verdict, settling=_settling(verdict, figure, kept, window))


_WORST_FIRST = {
    VerdictState.BELOW: 0,
    VerdictState.ABOVE: 0,
    VerdictState.UNDECIDED: 1,
    VerdictState.IN_WINDOW: 2,
    VerdictState.NO_READING: 3,
}


def _worse(figure: SeriesFigure, window: Window, rule: DecisionRule) -> tuple[VerdictState, Deciding]:
    """State and figures of the direction that stands worse: out before undecided before in, then the smaller probability."""

    def held(direction: int, way: DirectionMean) -> tuple[VerdictState, Deciding]:
        found = standing(way.mean_nm, way.budget, window, rule, at_least=way.at_least)
        return found.state, Deciding(direction, way.mean_nm, way.budget.expanded_u_nm, found.probability)

    each = [held(direction, way) for direction, way in figure.ways]
    return min(each, key=lambda pair: (_WORST_FIRST[pair[0]], pair[1].probability_in_window or 0.0))


def _missing(kept: Sequence[Pull], basis: Basis) -> tuple[Missing, ...]:
    readings = [reading for pull in kept if (reading := pull.reading(basis)) is not None]
    return (*(code for reading in readings for code in reading.missing), *(code for pull in kept for code in pull.missing))


def _other_direction(kept: Sequence[Pull]) -> tuple[Missing, ...]:
    return (Missing.OTHER_DIRECTION,) if len({pull.direction for pull in kept}) == 1 else ()


def _judge_free(pulls: Sequence[Pull], window: Window, rule: DecisionRule) -> Verdict:
    """A unit that turned freely: its torque is less than the detection limit, and that is all that is known."""
    limits = [pull.detection_nm for pull in pulls]
    known = [limit for limit in limits if limit is not None]
    detection_nm = max(known) if len(known) == len(limits) else None
    low, high = window.low_nm, window.high_nm
    state, probability = VerdictState.UNDECIDED, None
    if detection_nm is not None and low is not None and low > detection_nm:
        state, probability = VerdictState.BELOW, 0.0
    elif detection_nm is not None and low is None and high is not None and detection_nm < high:
        state, probability = VerdictState.IN_WINDOW, 1.0
    undecided = state is VerdictState.UNDECIDED
    return Verdict(
        state=state,
        basis=window.basis,
        value_nm=0.0,
        expanded_u_nm=detection_nm,
        coverage_factor=None,
        low_nm=low,
        high_nm=high,
        probability_in_window=probability,
        rule=rule,
        held_nothing=True,
        settling=Settling(SettlingCode.BETTER_SENSOR, so_far=len(pulls)) if undecided else None,
        confidence=CONFIDENCE,
        window_text=window.text,
        window_unit=window.unit,
    )


def _without_reading(window: Window, rule: DecisionRule) -> Verdict:
    return Verdict(
        state=VerdictState.NO_READING,
        basis=window.basis,
        value_nm=None,
        expanded_u_nm=None,
        coverage_factor=None,
        low_nm=window.low_nm,
        high_nm=window.high_nm,
        probability_in_window=None,
        rule=rule,
        confidence=CONFIDENCE,
        window_text=window.text,
        window_unit=window.unit,
    )


def _settling(verdict: Verdict, figure: SeriesFigure, kept: Sequence[Pull], window: Window) -> Settling | None:
    """What to do next; None where the verdict is decided and complete."""
    assert verdict.deciding is not None
    ways = len(figure.ways)
    decides = figure.way(verdict.deciding.direction)
    assert decides is not None
    so_far = decides.n
    if any(pull.stuck for pull in kept):
        return Settling(SettlingCode.STOP_AND_LOOK, so_far=so_far, ways=ways)
    if verdict.state is VerdictState.IN_WINDOW and ways == 1:
        return Settling(SettlingCode.OTHER_WAY, PULLS_EACH_WAY, so_far, ways)
    if verdict.state is not VerdictState.UNDECIDED:
        return None
    if Missing.LOWER_BOUND in verdict.missing:
        return Settling(SettlingCode.BETTER_SENSOR, so_far=so_far, ways=ways)
    means = [way for _, way in figure.ways]
    found = outlook(means, figure.scatter, window, [_shared_u(way.budget) for way in means])
    if found.pulls is not None:
        return Settling(SettlingCode.MORE_PULLS, found.pulls, so_far, ways)
    if found.by_sensor:
        unknown = {Missing.SENSOR, Missing.CERTIFICATE_EXPIRED} & set(verdict.missing)
        return Settling(SettlingCode.KNOWN_WEIGHTS if unknown else SettlingCode.BETTER_SENSOR, so_far=so_far, ways=ways)
    if figure.scatter.own_degrees_of_freedom == 0 and found.on_limit:
        return Settling(
            SettlingCode.MORE_PULLS, None, so_far, ways
        )  # one pull tells neither place nor scatter well enough to give up
    return Settling(SettlingCode.TOO_NARROW, None, so_far, ways, found.on_limit)


def _shared_u(budget: Budget) -> float:
    return math.sqrt(
        math.fsum(line.u_nm**2 for line in budget.lines if line.source not in OF_ONE_PULL | {BudgetSource.REPEATABILITY})
    )
