"""Before against after as the window shows it: the pulls of both sides, the words large, the drawings of the page. No Qt."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from analysis.compare.chatter import Outcome
from analysis.compare.comparison import Comparison, compare
from analysis.compare.conditions import NEVER_OVERRIDDEN, Question
from analysis.compare.curves import PullCurve, curve_of
from analysis.compare.effects import Conclusion
from analysis.compare.pulls import ComparedPull, FigureName
from analysis.errors import BenchError
from analysis.judgement import DecisionRule
from analysis.results import Breakaway, Sensor, Sliding
from analysis.trace import Trace
from analysis.verdict.judge import NOTHING_KNOWN, Known
from analysis.window import Window
from rig.files.compared_pull import compared_pull
from rig.files.metadata import TraceInfo
from rig.files.pull_file import read_recording
from rig.files.trace_csv import read_info
from rig.sheets.blocks import Drawing
from rig.sheets.comparison import draw
from rig.sheets.comparison_drawings import drawings_of
from rig.window.series import Pull, judged
from rig.window.views.verdict import Tone, chatter_text
from rig.words import comparison as words
from rig.words.language import say
from rig.words.numbers import way_mark, with_spread
from rig.words.units import UnitChoice

EXCLUDED_HERE = "excluded on this page"


@dataclass(frozen=True, slots=True, eq=False)
class Member:
    """A pull on one of the sides: the name it is listed under, the pull, and what the comparison takes of it."""

    name: str
    pull: Pull
    compared: ComparedPull
    curve: PullCurve | None

    @classmethod
    def of(cls, name: str, pull: Pull, info: TraceInfo, raw: Trace | None = None) -> Member:
        """A pull that was read; what a person excluded stays listed and does not count."""
        file = name if pull.file is None else pull.file.name
        stated = replace(info, excluded=pull.excluded or info.excluded)
        return cls(name, pull, compared_pull(file, pull.trace, stated, pull.result, raw=raw), curve_of(pull.trace, pull.result))

    def turned(self) -> Member:
        """The same excluded, or counted again."""
        reason = say(EXCLUDED_HERE) if self.compared.stated.excluded is None else None
        return replace(self, compared=replace(self.compared, stated=replace(self.compared.stated, excluded=reason)))


def members_of_series(pulls: Sequence[Pull]) -> Iterator[Member | BenchError]:
    """The pulls of a series, by their numbers, with what their files say of them. For `rig.window.background.Work`."""
    for pull in pulls:
        info = TraceInfo(number=pull.number)
        if pull.file is not None:
            try:
                info = read_info(pull.file)
            except BenchError as fault:
                yield fault
        yield Member.of(str(pull.number), pull, info)


def load(
    paths: Sequence[Path],
    sensor_of: Callable[[TraceInfo], Sensor],
    window: Window | None,
    rule: DecisionRule,
    known: Known = NOTHING_KNOWN,
) -> Iterator[Member | BenchError]:
    """Read recordings one by one; one that cannot be read comes as its error. For `rig.window.background.Work`."""
    for path in paths:
        try:
            recording = read_recording(path, sensor_of)
        except BenchError as fault:
            yield fault
            continue
        stated, number = recording.info.stated(), recording.info.number or 0
        read = Pull(number, recording.trace, recording.result, None, path, final=True, excluded=stated.excluded, stated=stated)
        pull = replace(read, verdict=judged(read, window or recording.info.window, rule, known))
        yield Member.of(path.stem, pull, recording.info, recording.raw)


@dataclass(frozen=True, slots=True)
class Tile:
    """One word large: what it speaks of, the word, a line beneath it."""

    title: str
    word: str
    line: str
    tone: Tone


@dataclass(frozen=True, slots=True)
class Row:
    """A pull as a row: its cells, and whether it counts."""

    cells: tuple[str, ...]
    counts: bool


@dataclass(frozen=True, slots=True)
class CompareView:
    """All that the page shows. `refused` True: the sides are not compared, and `texts` say why."""

    comparison: Comparison | None
    tiles: tuple[Tile, ...]
    drawings: tuple[Drawing, ...]
    texts: tuple[str, ...]
    before: tuple[Row, ...]
    after: tuple[Row, ...]
    refused: bool = False
    may_override: bool = False
    """Whether a person may have the sides compared all the same."""


HINT = (
    "Put pulls of the same unit on both sides: recordings, or the series on the bench. Five pulls a side tell a change of a fifth; "
    "for friction against speed sweep slow, fast, slow, twice, between 3 and 60 deg/s, with nothing loose on the lever."
)


def view_of(
    before: Sequence[Member], after: Sequence[Member], unit: UnitChoice, *, question: Question | None = None, override: bool = False
) -> CompareView:
    """Compare both sides; `override` compares although the conditions refuse."""
    made = _compared(before, after, question, override=override)
    rows = tuple(_rows(members, made, unit, at) for at, members in enumerate((before, after)))
    if made is None:
        return CompareView(None, (), (), (say(HINT),), rows[0], rows[1])
    texts = tuple(words.comparison_texts(made, unit.first))
    overridable = any(one.code not in NEVER_OVERRIDDEN for one in made.refused)
    if not made.made:
        tile = Tile(say("comparison"), say("NOT COMPARED"), words.refusal_text(made.refused[0]), Tone.UNDECIDED)
        return CompareView(made, (tile,), (), texts, rows[0], rows[1], refused=True, may_override=overridable)
    curves = {member.compared.fingerprint: member.curve for member in (*before, *after) if member.curve is not None}
    drawings = tuple(drawings_of(made, curves, unit.first))
    return CompareView(made, _tiles(made, unit), drawings, texts, rows[0], rows[1], may_override=bool(made.despite))


def _compared(before: Sequence[Member], after: Sequence[Member], question: Question | None, *, override: bool) -> Comparison | None:
    if not before or not after:
        return None
    sides = [[member.compared for member in side] for side in (before, after)]
    made = compare(sides[0], sides[1], question=question)
    despite = [one.code for one in made.refused if one.code not in NEVER_OVERRIDDEN]
    return compare(sides[0], sides[1], question=question, despite=despite) if override and despite else made


def save_page(members: Sequence[Member], comparison: Comparison, path: Path, unit: UnitChoice, day: date) -> None:
    """Write the comparison as one page, by the file's ending. Raises SheetError."""
    curves = {member.compared.fingerprint: member.curve for member in members if member.curve is not None}
    draw(comparison, curves, path, unit.first, day=day)


_CHATTER_TONES = {
    Outcome.CURED: Tone.GOOD,
    Outcome.QUIET_SO_FAR: Tone.GOOD,
    Outcome.LESS: Tone.GOOD,
    Outcome.MORE: Tone.CHATTER,
    Outcome.AS_BEFORE: Tone.CHATTER,
    Outcome.OPEN: Tone.UNDECIDED,
    Outcome.NOT_ASSESSABLE: Tone.UNDECIDED,
    Outcome.NONE_BEFORE: Tone.NONE,
}
_TONES = {Conclusion.ROSE: Tone.HIGH, Conclusion.FELL: Tone.LOW, Conclusion.HELD: Tone.GOOD, Conclusion.OPEN: Tone.UNDECIDED}


def _tiles(made: Comparison, unit: UnitChoice) -> tuple[Tile, ...]:
    tiles = []
    if made.chatter is not None:
        chatter = made.chatter
        line = say("{k} of {n} before, {l} of {m} after", k=chatter.before.chattering, n=chatter.before.assessable,
                   l=chatter.after.chattering, m=chatter.after.assessable)  # fmt: skip
        tone = Tone.CHATTER if words.is_new(chatter) else _CHATTER_TONES[chatter.outcome]
        tiles.append(Tile(say("chatter"), words.chatter_word(chatter), line, tone))
    for name in (FigureName.SLIDING, FigureName.BREAKAWAY, FigureName.RATIO):
        figure = made.figures.get(name)
        if figure is None:
            continue
        change = "" if figure.ratio is None else words.rough_change(figure.ratio)
        before, after = (words.value_text(name, side.centre, unit.first) for side in (figure.before, figure.after))
        line = f"{before} → {after}"
        further = figure.further_pulls_each_side
        if further:
            line += "; " + say("pulls wanted on each side: {n}", n=further)
        word = f"{words.conclusion_word(figure)}  {change}".strip()
        tone = _TONES[figure.conclusion]
        if figure.for_the_better is not None:
            tone = Tone.GOOD if figure.for_the_better else Tone.CHATTER
        tiles.append(Tile(say(words.FIGURE_NAMES[name]), word, line, tone))
    return tuple(tiles)


def _rows(members: Sequence[Member], made: Comparison | None, unit: UnitChoice, side: int) -> tuple[Row, ...]:
    """The pulls in the order they were put in, with why one stands apart."""
    standing = {} if made is None else {pull.trace: pull for pull in (made.before, made.after)[side]}
    return tuple(_row(member, standing.get(member.compared.trace, member.compared), unit) for member in members)


def _row(member: Member, standing: ComparedPull, unit: UnitChoice) -> Row:
    result = member.pull.result

    def reading(part: Breakaway | Sliding | None) -> str:
        return "–" if part is None else with_spread(part.torque_nm, part.budget.expanded_u_nm, unit.first).rpartition(" ")[0]

    excluded = standing.stated.excluded is not None
    apart = words.apart_reason(standing) if standing.apart is not None else say(EXCLUDED_HERE) if excluded else ""
    return Row(
        (
            f"{member.name} {way_mark(result.direction)}",
            reading(result.breakaway),
            reading(result.sliding),
            chatter_text(result, unit),
            apart,
        ),
        counts=standing.apart is None and not excluded,
    )
