"""The series as the window shows it: a small card a pull, and what all pulls together say so far. No Qt.

Mean, scatter and verdict are those of `analysis.verdict.series`; what it means is worded in `rig.words.verdicts`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.judgement import DecisionRule, DirectionMean, SeriesFigure, SeriesResult
from analysis.verdict.judge import NOTHING_KNOWN, Known
from analysis.verdict.series import read_series
from analysis.window import Basis, Window
from rig.window.decimation import Curve, aligned, closed
from rig.window.model import BenchModel, Pull, SeriesOfPulls
from rig.window.views.verdict import Tone, tone_of, view_of, word_of
from rig.words.language import say, say_n
from rig.words.numbers import torque, way_mark, with_spread
from rig.words.units import UnitChoice
from rig.words.verdicts import asymmetry_text, series_chatter_text, settling_text

CARD_COLUMNS = 60


@dataclass(frozen=True, slots=True, eq=False)
class Card:
    """One pull of the row. `apart`: it stands apart from the others; `excluded` the reason why it does not count."""

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


def series_title(series: SeriesOfPulls) -> str:
    """What a series is called: its name, else what it is of."""
    if series.name:
        return series.name
    held = series.conditions.get
    phase = held("phase", "")
    additive = held("additive", "")
    if additive.strip().lower() == "none":
        additive = say("no additive")
    parts = (held("unit", ""), say(phase) if phase else "", held("arrangement", ""), additive)
    return " · ".join(part for part in parts if part) or say("series without a name")


def series_entry(series: SeriesOfPulls) -> str:
    """A series as a row of a list: what it is called and how many pulls it has."""
    return f"{series_title(series)}   {say_n('1 pull', '{n} pulls', len(series))}"


def card_of(pull: Pull, unit: UnitChoice, *, apart: bool) -> Card:
    """The card of one pull."""
    view = view_of(pull, unit)
    curve, _ = aligned(pull.trace, pull.result, CARD_COLUMNS, unit.per_nm)
    return Card(pull.number, way_mark(pull.result.direction), view.value, view.tone, view.word, closed(curve), apart, pull.excluded)


def counted(pulls: Sequence[Pull], basis: Basis) -> list[Pull]:
    """The pulls that count."""
    return [pulls[index] for index in together(pulls, None, basis=basis).counted]


def together(
    pulls: Sequence[Pull],
    window: Window | None,
    rule: DecisionRule = DecisionRule.GUARDED,
    known: Known = NOTHING_KNOWN,
    *,
    basis: Basis = Basis.BREAKAWAY,
) -> SeriesResult:
    """The pulls as a series, by the one rule of `analysis.verdict.series`."""
    votes = [pull.vote() for pull in pulls]
    return read_series(votes, window, basis=basis, rule=rule, known=known.scatter, convert=known.convert)


def series_of(model: BenchModel) -> SeriesResult:
    """The series in sight, judged as it stands now."""
    basis = Basis.BREAKAWAY if model.window is None else model.window.basis
    return together(model.pulls, model.window, model.rule, model.known, basis=basis)


def summary_of(
    pulls: Sequence[Pull],
    unit: UnitChoice,
    window: Window | None,
    rule: DecisionRule = DecisionRule.GUARDED,
    known: Known = NOTHING_KNOWN,
    *,
    series: SeriesResult | None = None,
) -> Summary:
    """What the pulls say together so far: the verdict on the unit, what to do next, each direction, chatter.

    `series`: the same, where it was judged already.
    """
    if not pulls:
        return Summary(Tone.NONE, say("SERIES"), say("no pull yet"), ())
    basis = Basis.BREAKAWAY if window is None else window.basis
    series = together(pulls, window, rule, known, basis=basis) if series is None else series
    verdict = series.verdict
    figure = series.figure(basis)
    lines = [] if verdict is None else [settling_text(verdict)]
    if figure is not None:
        lines += [_direction_line(direction, way, unit) for direction, way in figure.ways]
        lines += [asymmetry_text(figure.asymmetry or 0.0)]
    if len(pulls) > len(series.excluded):
        # What chatters is said before the figures; that nothing does, after them.
        lines.insert(0 if series.chattering else len(lines), series_chatter_text(series))
    if series.gap_hides_a_stray:
        lines.append(say("too few pulls to tell a stray: pull again"))
    if verdict is None:
        return Summary(Tone.NONE, say("SERIES"), _count(series, figure, unit), tuple(filter(None, lines)))
    tone, word = tone_of(verdict, chatters=series.chattering > 0), word_of(verdict, chatters=series.chattering > 0)
    return Summary(tone, word, _count(series, figure, unit), tuple(filter(None, lines)))


def _count(series: SeriesResult, figure: SeriesFigure | None, unit: UnitChoice) -> str:
    count = say_n("{counted} of 1 pull counted", "{counted} of {n} pulls counted", series.n, counted=len(series.counted))
    if figure is None:
        return count
    return f"{with_spread(figure.mean_nm, figure.budget.expanded_u_nm, unit.first)}   {count}"


def _direction_line(direction: int, way: DirectionMean, unit: UnitChoice) -> str:
    mean = f"{way_mark(direction)} {with_spread(way.mean_nm, way.budget.expanded_u_nm, unit.first)}"
    return mean + "  " + say("n = {n}", n=way.n)


def list_line(pull: Pull, unit: UnitChoice) -> str:
    """A pull in one line, for lists."""
    view = view_of(pull, unit)
    sliding = pull.result.sliding
    slide = "" if sliding is None else "  " + say("sliding {torque}", torque=torque(sliding.torque_nm, unit.first))
    return f"{pull.number} {way_mark(pull.result.direction)}  {view.value} {view.unit}  {view.word}{slide}"
