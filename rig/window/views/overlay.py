"""Two sets of pulls side by side: overlaid with breakaway on breakaway, and listed. What the difference means is not told here."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from analysis.errors import BenchError
from analysis.judgement import DecisionRule, Verdict
from analysis.results import Breakaway, Sensor, Sliding
from analysis.verdict.judge import NOTHING_KNOWN, Known
from analysis.window import Window
from rig.files.metadata import TraceInfo
from rig.files.pull_file import read_recording
from rig.window.decimation import Curve, aligned
from rig.window.series import Pull, judged
from rig.window.views.verdict import chatter_text, verdict_word
from rig.words.language import say
from rig.words.numbers import way_mark, with_spread
from rig.words.units import UnitChoice

COLUMNS = 500


@dataclass(frozen=True, slots=True, eq=False)
class Member:
    """A pull in one of the sets, with the name it is listed under."""

    name: str
    pull: Pull


def members_of_series(pulls: Sequence[Pull]) -> list[Member]:
    """The pulls of the series that count, by their numbers."""
    return [Member(str(pull.number), pull) for pull in pulls if pull.excluded is None]


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
        yield Member(path.stem, replace(read, verdict=judged(read, window or recording.info.window, rule, known)))


def overlay(members: Sequence[Member], unit: UnitChoice) -> tuple[list[Curve], list[Curve]]:
    """Curves over time and over angle, breakaway at zero; of the pulls that count."""
    counting = [member.pull for member in members if member.pull.excluded is None]
    pairs = [aligned(pull.trace, pull.result, COLUMNS, unit.per_nm) for pull in counting]
    return [pair[0] for pair in pairs], [pair[1] for pair in pairs if pair[1].x.size]


def extent(curves: Sequence[Curve]) -> tuple[float, float, float, float] | None:
    """X from, x to, y from, y to that show all curves; None without any."""
    filled = [curve for curve in curves if curve.x.size]
    if not filled:
        return None
    left, right = min(float(curve.x.min()) for curve in filled), max(float(curve.x.max()) for curve in filled)
    low, high = min(float(curve.y.min()) for curve in filled), max(float(curve.y.max()) for curve in filled)
    room = 0.05 * (high - low) or 1.0
    return left, max(right, left + 0.1), low - room, high + room


def _word(pull: Pull, verdict: Verdict | None) -> str:
    if pull.excluded is not None:
        return say("set aside: {reason}", reason=pull.excluded)
    return "–" if verdict is None else verdict_word(verdict.state)


def row_of(member: Member, unit: UnitChoice) -> tuple[str, ...]:
    """A pull as a row: name with direction, breakaway, sliding, chatter, verdict."""
    result, verdict = member.pull.result, member.pull.verdict

    def reading(part: Breakaway | Sliding | None) -> str:
        return "–" if part is None else with_spread(part.torque_nm, part.budget.expanded_u_nm, unit.first).rpartition(" ")[0]

    return (
        f"{member.name} {way_mark(result.direction)}",
        _word(member.pull, verdict),
        reading(result.breakaway),
        reading(result.sliding),
        chatter_text(result, unit),
    )
