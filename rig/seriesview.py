"""The series as the window shows it: a small card a pull, and what all pulls together say so far. No Qt.

No statistics beyond count, mean, range and sample standard deviation: what a difference means is not told here.
"""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from analysis.results import VerdictState
from analysis.units import in_unit
from analysis.window import Basis
from rig.benchmodel import Pull
from rig.language import number, say
from rig.picture import Curve, aligned
from rig.shown import digits, torque, unit_name, way_mark
from rig.unitchoice import UnitChoice
from rig.verdictview import TONES, Tone, verdict_word, view_of

CARD_COLUMNS = 60


@dataclass(frozen=True, slots=True, eq=False)
class Card:
    """One pull of the row. `apart` is the first pull of the series; `aside` the reason why it does not count."""

    number: int
    way: str
    value: str
    tone: Tone
    word: str
    curve: Curve
    apart: bool
    aside: str | None


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
    return Card(pull.number, way_mark(pull.result.direction), view.value, view.tone, view.word, curve, apart, pull.aside)


def counted(pulls: Sequence[Pull]) -> list[Pull]:
    """The pulls that count: not set aside, and without the first (after a long rest it stands apart), unless it is alone."""
    standing = [pull for pull in pulls if pull.aside is None]
    later = [pull for pull in standing if pull is not pulls[0]]
    return later or standing


def value_nm(pull: Pull, basis: Basis) -> float | None:
    """The judged quantity of a pull; None where it has none."""
    reading = pull.result.breakaway if basis is Basis.BREAKAWAY else pull.result.sliding
    if reading is not None:
        return reading.torque_nm
    return 0.0 if pull.result.held_nothing else None


def running_verdict(pulls: Sequence[Pull]) -> VerdictState | None:
    """The state all counted pulls agree on; undecided where they do not; None where nothing is judged yet."""
    states = {pull.verdict.state for pull in counted(pulls) if pull.verdict is not None}
    if not states:
        return None
    return states.pop() if len(states) == 1 else VerdictState.UNDECIDED


def summary_of(pulls: Sequence[Pull], unit: UnitChoice, basis: Basis) -> Summary:
    """The running verdict of the series."""
    if not pulls:
        return Summary(Tone.NONE, say("SERIES"), say("no pull yet"), ())
    state = running_verdict(pulls)
    group = counted(pulls)
    inside = sum(pull.verdict is not None and pull.verdict.state is VerdictState.IN_WINDOW for pull in group)
    word = say("SERIES") if state is None else verdict_word(state)
    states = {pull.verdict.state for pull in group if pull.verdict is not None}
    if len(states) > 1:
        word = say("PULLS DISAGREE")
    count = say("{inside} of {all} in the window", inside=inside, all=len(group)) if state else say("{all} pulls", all=len(group))
    lines = tuple(line for way in (1, -1) if (line := _direction_line(group, way, unit, basis)))
    if len({pull.result.direction for pull in group} & {1, -1}) == 1:
        lines = (*lines, say("the other way is missing"))
    return Summary(Tone.NONE if state is None else TONES[state], word, count, lines)


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
