"""The series as the window shows it: a small card a pull, and what all pulls together say so far. No Qt.

Mean, scatter and verdict are those of `analysis.verdict.series`; what a difference means is not told here.
"""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from analysis.results import DecisionRule, SeriesResult, Settling, VerdictState
from analysis.units import in_unit
from analysis.verdict.judge import judge_series
from analysis.verdict.series import read_series
from analysis.window import Basis, Window
from rig.window.decimation import Curve, aligned
from rig.window.model import Pull
from rig.window.views.verdict import TONES, Tone, verdict_word, view_of
from rig.words.language import number, say
from rig.words.numbers import digits, torque, unit_name, way_mark, with_spread
from rig.words.units import UnitChoice

CARD_COLUMNS = 60


@dataclass(frozen=True, slots=True, eq=False)
class Card:
    """One pull of the row. `apart` is the first pull of the series; `excluded` the reason why it does not count."""

    number: int
    way: str
    value: str
    tone: Tone
    word: str
    curve: Curve
    apart: bool
    excluded: str | None


@dataclass(frozen=True, slots=True)
class Summary:
    """What the counted pulls say so far: word and tone, how many are in the window, a line for each direction."""

    tone: Tone
    word: str
    count: str
    lines: tuple[str, ...]


def card_of(pull: Pull, unit: UnitChoice, *, apart: bool) -> Card:
    """The card of one pull."""
    view = view_of(pull, unit)
    curve, _ = aligned(pull.trace, pull.result, CARD_COLUMNS, unit.per_nm)
    return Card(pull.number, way_mark(pull.result.direction), view.value, view.tone, view.word, curve, apart, pull.excluded)


def counted(pulls: Sequence[Pull], basis: Basis) -> list[Pull]:
    """The pulls that count: not set aside, and without the first where it stands apart."""
    standing, series = _together(pulls, basis)
    return [pull for at, pull in enumerate(standing) if at != series.apart]


def _together(pulls: Sequence[Pull], basis: Basis) -> tuple[list[Pull], SeriesResult]:
    standing = [pull for pull in pulls if pull.excluded is None]
    # The first stands apart for the long rest before it; another one that is the first left over does not.
    began = bool(standing) and standing[0] is pulls[0]
    return standing, read_series([pull.result for pull in standing], basis, first_apart=began)


def value_nm(pull: Pull, basis: Basis) -> float | None:
    """The judged quantity of a pull; None where it has none."""
    reading = pull.result.breakaway if basis is Basis.BREAKAWAY else pull.result.sliding
    if reading is not None:
        return reading.torque_nm
    return 0.0 if pull.result.held_nothing else None


def summary_of(
    pulls: Sequence[Pull], unit: UnitChoice, window: Window | None, rule: DecisionRule = DecisionRule.GUARDED
) -> Summary:
    """What the pulls say together so far: the verdict on their mean with its uncertainty, unless they contradict each other."""
    if not pulls:
        return Summary(Tone.NONE, say("SERIES"), say("no pull yet"), ())
    basis = Basis.BREAKAWAY if window is None else window.basis
    standing, series = _together(pulls, basis)
    group = [pull for at, pull in enumerate(standing) if at != series.apart]
    verdict = None if window is None else judge_series(series, window, rule)
    states = {pull.verdict.state for pull in group if pull.verdict is not None}
    state = None if verdict is None else verdict.state
    if state is VerdictState.NO_READING and len(states) == 1:
        (state,) = states  # a unit that spins free gives no mean, and a verdict all the same
    disagree = len(states - {VerdictState.UNDECIDED}) > 1
    if disagree:
        state = VerdictState.UNDECIDED
    word = say("SERIES") if state is None else say("PULLS DISAGREE") if disagree else verdict_word(state)
    lines = [line for way in (1, -1) if (line := _direction_line(group, way, unit, basis))]
    if verdict is not None and verdict.settling is not None and not disagree:
        lines.append(settling_text(verdict.settling))
    if len({pull.result.direction for pull in group} & {1, -1}) == 1:
        lines.append(say("the other way is missing"))
    count = _count(series, group, unit, judged=state is not None)
    return Summary(Tone.NONE if state is None else TONES[state], word, count, tuple(lines))


def settling_text(settling: Settling) -> str:
    """What would settle an undecided series."""
    if settling.better_sensor:
        return say("only a better sensor settles it")
    if settling.more_pulls is None:
        return say("it lies on the limit")
    return say("pulls that should settle it: {n}", n=settling.more_pulls)


def _count(series: SeriesResult, group: Sequence[Pull], unit: UnitChoice, *, judged: bool) -> str:
    inside = sum(pull.verdict is not None and pull.verdict.state is VerdictState.IN_WINDOW for pull in group)
    count = say("{inside} of {all} in the window", inside=inside, all=len(group)) if judged else say("{all} pulls", all=len(group))
    if series.mean_nm is None or series.budget is None:
        return count
    return f"{with_spread(series.mean_nm, series.budget.expanded_u_nm, unit.first)}   {count}"


def _direction_line(group: Sequence[Pull], way: int, unit: UnitChoice, basis: Basis) -> str:
    values = [
        in_unit(value, unit.first)
        for pull in group
        if pull.result.direction == way and (value := value_nm(pull, basis)) is not None
    ]
    if not values:
        return ""
    places = digits(unit.first, max(values))
    mean = f"{way_mark(way)} {number(statistics.fmean(values), places)} {unit_name(unit.first)}"
    if len(values) < 2:
        return mean
    spread = number(statistics.stdev(values), places)
    return mean + "  " + say("n = {n}  s = {spread}", n=len(values), spread=spread)


def list_line(pull: Pull, unit: UnitChoice) -> str:
    """A pull in one line, for lists."""
    view = view_of(pull, unit)
    sliding = pull.result.sliding
    slide = "" if sliding is None else "  " + say("sliding {torque}", torque=torque(sliding.torque_nm, unit.first))
    return f"{pull.number} {way_mark(pull.result.direction)}  {view.value} {view.unit}  {view.word}{slide}"
