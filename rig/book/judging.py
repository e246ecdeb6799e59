"""Series of a job and their verdicts, from the readings in the entries."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from analysis.errors import BenchError
from analysis.judgement import DecisionRule, Missing, SeriesResult, Verdict
from analysis.pack.arrangement import Conversions, Layout
from analysis.verdict.apart import Scatter
from analysis.verdict.judge import judge_pull
from analysis.verdict.scatter import USUAL_SCATTER
from analysis.verdict.series import read_series
from analysis.verdict.votes import Convert, Stated, not_converted, pull_of
from analysis.window import Basis, Window
from rig.book.reading import result_of
from rig.book.record import Pull
from rig.files.document import from_values
from rig.files.fields import OneOrMany, Open
from rig.pack.spec_card import BuildTable, WindowTable

ALIKE = ("phase", "arrangement", "closure", "lubricant", "additive", "plates", "plate_state")
"""What pulls of one series have in common, by the names of their metadata; the phase first."""

NO_ADDITIVE = frozenset(("", "none", "-"))
"""How people write that there is no additive; the same as saying nothing."""


class CardWindows(Open, frozen=True):
    """What the book wants of a spec card: windows that can be read."""

    window: OneOrMany[WindowTable]
    build: BuildTable | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CardWindow:
    """The window of a spec card that judges.

    Parameters
    ----------
    window
        Limits with their basis.
    arrangement
        The arrangement it is stated in; None: that of the pulls.
    plates_fit
        Whether it is stated for the plates' state; False where the card has none for it.
    convert
        How pulls in another arrangement are converted: by the card's build; without one they are not.
    """

    window: Window
    arrangement: str | None
    plates_fit: bool = True
    convert: Convert = not_converted


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
    try:
        read = from_values(card, CardWindows, "spec card").value
    except BenchError:
        return None
    tables, build, state = read.window, read.build, _worn(plate_state)
    fitting = [table for table in tables if state is None or _worn(table.plate_state) in (None, state)] or list(tables)
    fitting.sort(key=lambda table: table.basis != "breakaway")
    if not fitting:
        return None
    found = fitting[0]
    fits = found.plate_state is None or state in (None, _worn(found.plate_state))
    convert = not_converted if build is None else Conversions(Layout(build.layout), build.ramps, build.ratio)
    return CardWindow(window=found.window().window, arrangement=found.arrangement, plates_fit=fits, convert=convert)


def _worn(plate_state: str | None) -> str | None:
    """A state of plates as it is compared: plates that have run in are used ones with no wear."""
    plain = (plate_state or "").strip().casefold().replace(" ", "_")
    return "used" if plain == "run_in" else plain or None


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Judging:
    """What a job's pulls are judged by: the window of its card (None: none), and the scatter known of the bench.

    Series are judged once however often they are asked for: several steps ask for the same.
    """

    card: CardWindow | None
    known: Scatter = USUAL_SCATTER
    _done: dict[tuple[int, ...], JobSeries] = field(default_factory=dict, repr=False, compare=False)

    def series(self, pulls: Sequence[Pull]) -> JobSeries:
        """The pulls as one series."""
        key = tuple(pull.entry.entry for pull in pulls)
        if key not in self._done:
            self._done[key] = judged(pulls, self.card, self.known)
        return self._done[key]

    def all_series(self, pulls: Sequence[Pull]) -> tuple[JobSeries, ...]:
        """The pulls that vote, by what they have in common, in the order of their first pull."""
        groups: dict[tuple[str, ...], list[Pull]] = {}
        for pull in pulls:
            if pull.votes:
                groups.setdefault(common_of(pull), []).append(pull)
        return tuple(self.series(group) for group in groups.values())

    def pull(self, pull: Pull) -> Verdict | None:
        """The verdict on the unit from one pull; None without a card."""
        return None if self.card is None else judged_pull(pull, self.card, self.known)


def judged(pulls: Sequence[Pull], card: CardWindow | None, known: Scatter = USUAL_SCATTER) -> JobSeries:
    """The pulls as one series, judged under the guarded rule; `known` is the scatter that is known of the bench."""
    ordered = in_time(pulls)
    window = None if card is None else _stated_window(card)
    votes = [pull_of(result_of(pull.reading), _stated(pull)) for pull in ordered]
    missing = () if card is None or card.plates_fit else (Missing.PLATE_STATE,)
    convert = not_converted if card is None else card.convert
    series = read_series(votes, window, rule=DecisionRule.GUARDED, known=known, missing=missing, convert=convert)
    basis = Basis.BREAKAWAY if window is None else window.basis
    common = {name: ordered[0].term(name) for name in ALIKE}
    return JobSeries(common=common, pulls=tuple(ordered), basis=basis, result=series, verdict=series.verdict)


def judged_pull(pull: Pull, card: CardWindow, known: Scatter = USUAL_SCATTER) -> Verdict:
    """The verdict on the unit from one pull, under the guarded rule."""
    vote = pull_of(result_of(pull.reading), _stated(pull))
    verdict = judge_pull(vote, _stated_window(card), DecisionRule.GUARDED, known=known, convert=card.convert)
    return verdict if card.plates_fit else replace(verdict, missing=(*verdict.missing, Missing.PLATE_STATE))


def _stated(pull: Pull) -> Stated:
    return Stated(arrangement=pull.term("arrangement"), rest_s=pull.rest_s)


def _stated_window(card: CardWindow) -> Window:
    """The card's window with its arrangement; whether it fits the plates' state is the card's own answer."""
    return replace(card.window, arrangement=card.arrangement, plate_state=None)
