"""Series of a job and their verdicts, from the readings in the entries."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from analysis.errors import BenchError
from analysis.judgement import DecisionRule, SeriesResult, Verdict
from analysis.verdict.judge import judge
from analysis.verdict.series import read_series
from analysis.verdict.votes import pull_of
from analysis.window import Basis, Window
from rig.book.reading import result_of
from rig.book.record import Pull

ALIKE = ("phase", "arrangement", "closure", "lubricant", "additive", "plates", "plate_state")
"""What pulls of one series have in common, by the names of their metadata; the phase first."""

NO_ADDITIVE = frozenset(("", "none", "-"))
"""How people write that there is no additive; the same as saying nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CardWindow:
    """The window of a spec card that judges: limits with their basis, the arrangement and the plate state it is stated in."""

    window: Window
    arrangement: str | None
    plate_state: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class JobSeries:
    """Pulls of a job in one state: what they have in common, and what they say together."""

    common: Mapping[str, str | None]
    pulls: tuple[Pull, ...]
    basis: Basis
    result: SeriesResult
    verdict: Verdict | None


def card_window(card: Mapping[str, Any], plate_state: str | None) -> CardWindow | None:
    """The window of a card that fits the plate state; of several breakaway's. None where the card holds none that can be read."""
    tables = card.get("window")
    found = [table for table in (tables if isinstance(tables, list) else [tables]) if isinstance(table, Mapping)]
    fitting = [table for table in found if plate_state is None or table.get("plate_state") in (None, plate_state)] or found
    fitting.sort(key=lambda table: table.get("basis", "breakaway") != "breakaway")
    if not fitting:
        return None
    table = fitting[0]
    try:
        window = Window.parse(str(table.get("torque", "")), Basis(table.get("basis", "breakaway")))
    except (BenchError, ValueError):
        return None
    return CardWindow(window=window, arrangement=table.get("arrangement"), plate_state=table.get("plate_state"))


def folded(text: str | None) -> str:
    """A text as it is compared: case and blanks aside."""
    return "".join((text or "").split()).casefold()


def folded_additive(text: str | None) -> str:
    """An additive as it is compared: none and missing are alike."""
    plain = folded(text)
    return "" if plain in NO_ADDITIVE else plain


def common_of(pull: Pull) -> tuple[str, ...]:
    """What the pull has in common with the others of its series, as it is compared."""
    return tuple(folded_additive(pull.term(name)) if name == "additive" else folded(pull.term(name)) for name in ALIKE)


def in_time(pulls: Sequence[Pull]) -> list[Pull]:
    """The pulls in the order they were made where all say when, else in the order they were entered."""
    moments = [pull.term("when") for pull in pulls]
    if all(moments):
        return [pull for _, pull in sorted(zip(moments, pulls, strict=True), key=lambda pair: (pair[0], pair[1].entry.entry))]
    return list(pulls)


def series_of(pulls: Sequence[Pull], window: Window | None) -> list[JobSeries]:
    """The pulls that vote, by what they have in common, in the order of their first pull."""
    groups: dict[tuple[str, ...], list[Pull]] = {}
    for pull in pulls:
        if pull.votes:
            groups.setdefault(common_of(pull), []).append(pull)
    return [judged(group, window) for group in groups.values()]


def judged(pulls: Sequence[Pull], window: Window | None) -> JobSeries:
    """The pulls as one series, judged under the guarded rule."""
    ordered = in_time(pulls)
    votes = [pull_of(result_of(pull.reading), rest_s=pull.rest_s) for pull in ordered]
    series = read_series(votes, window, rule=DecisionRule.GUARDED)
    common = {name: ordered[0].term(name) for name in ALIKE}
    basis = Basis.BREAKAWAY if window is None else window.basis
    return JobSeries(common=common, pulls=tuple(ordered), basis=basis, result=series, verdict=series.verdict)


def judged_pull(pull: Pull, window: Window) -> Verdict:
    """The verdict on one pull under the guarded rule."""
    return judge(result_of(pull.reading), window, DecisionRule.GUARDED)
