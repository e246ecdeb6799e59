"""A series: pulls of one unit in one state. The one owner of their list; what they say together is judged elsewhere."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path

from analysis.judgement import DecisionRule, Verdict
from analysis.results import PullResult
from analysis.trace import Trace
from analysis.verdict.judge import NOTHING_KNOWN, Known, judge_pull
from analysis.verdict.votes import NOTHING_STATED, Stated, pull_of
from analysis.verdict.votes import Pull as Vote
from analysis.window import Window
from rig.window.decimation import extremes

WHOLE_TRACES = 16
"""So many newest pulls of all series keep every sample in memory; of older ones the file holds them, and the curve is thinned."""

THINNED_POINTS = 1000
"""What is kept of a thinned curve, 24 KB: a day of a thousand pulls stays small, and a curve 500 columns wide shows every peak."""


class Source(StrEnum):
    """Where the pulls of a series come from. Series of different sources never join."""

    BENCH = "bench"
    SIMULATED = "simulated"
    REPLAY = "replay"


@dataclass(frozen=True, slots=True, eq=False)
class Pull:
    """A pull of a series. `excluded`: the reason why it does not count; None: it counts. Nothing is ever deleted.

    `lacks` names the conditions that were not stated when it was pulled; `remark` is what the person noted,
    `stated` what is stated for the verdict. `thinned`: the trace is a thinned one, `file` holds every sample.
    """

    number: int
    trace: Trace
    result: PullResult
    verdict: Verdict | None
    file: Path | None
    final: bool
    excluded: str | None = None
    lacks: tuple[str, ...] = ()
    remark: str = ""
    stated: Stated = NOTHING_STATED
    thinned: bool = False

    def vote(self) -> Vote:
        """The pull as the rule for a verdict sees it."""
        return pull_of(self.result, replace(self.stated, excluded=self.excluded))


def judged(pull: Pull, window: Window | None, rule: DecisionRule, known: Known) -> Verdict | None:
    """The verdict on the unit from one pull; None without a window."""
    if window is None:
        return None
    return judge_pull(pull.vote(), window, rule, known=known.scatter, convert=known.convert)


class SeriesOfPulls:
    """The pulls of one series, in order of pulling.

    name        as the bench page shows it; "" where nobody named it
    conditions  what held when it began (`rig.window.conditions`), as texts by name
    remark      what the person noted of the whole series
    window      what its pulls are judged against, by `rule` and what is `known`; it stays when the series is over
    """

    def __init__(self, name: str = "", source: Source = Source.BENCH, conditions: dict[str, str] | None = None) -> None:
        self.name, self.source = name, source
        self.conditions = dict(conditions or {})
        self.remark = ""
        self.window: Window | None = None
        self.rule, self.known = DecisionRule.GUARDED, NOTHING_KNOWN
        self.pulls: list[Pull] = []

    def __len__(self) -> int:
        return len(self.pulls)

    def get(self, number: int | None) -> Pull | None:
        """The pull of that number; None where there is none."""
        return next((pull for pull in self.pulls if pull.number == number), None)

    @property
    def last(self) -> Pull | None:
        """The newest pull."""
        return self.pulls[-1] if self.pulls else None

    def take(self, pull: Pull) -> bool:
        """Add a pull, or put it in place of its earlier reading; whether it was new to the screen (new, or not final before)."""
        at = next((i for i, known in enumerate(self.pulls) if known.number == pull.number), None)
        if at is None:
            self.pulls.append(pull)
        else:
            before = self.pulls[at]
            self.pulls[at] = replace(pull, excluded=before.excluded, lacks=before.lacks, remark=before.remark)
        return at is None or not before.final

    def judge_by(self, window: Window | None, rule: DecisionRule, known: Known) -> None:
        """Judge pulls to come against this window."""
        self.window, self.rule, self.known = window, rule, known

    def take_again(self, pull: Pull) -> None:
        """A pull of a series that is over was read again: judged as its series is."""
        self.take(replace(pull, verdict=judged(pull, self.window, self.rule, self.known)))

    def judge_anew(self, window: Window | None, rule: DecisionRule, known: Known) -> None:
        """Judge every pull against this window; `known` is what is known before anybody pulls."""
        self.judge_by(window, rule, known)
        self.pulls = [replace(pull, verdict=judged(pull, window, rule, known)) for pull in self.pulls]

    def exclude(self, number: int, reason: str | None) -> None:
        """Let a pull not count, with the reason; None counts it again. The pull and its file stay."""
        self.pulls = [replace(pull, excluded=reason) if pull.number == number else pull for pull in self.pulls]

    def kept(self, number: int, file: Path) -> None:
        """A pull is on the disk now."""
        self.pulls = [replace(pull, file=file) if pull.number == number else pull for pull in self.pulls]

    def note(self, number: int, remark: str) -> None:
        """What the person noted of a pull."""
        self.pulls = [replace(pull, remark=remark) if pull.number == number else pull for pull in self.pulls]

    def thin_all_but(self, newest: int, looked_at: Pull | None) -> None:
        """Thin the traces of all but so many of the newest pulls, and of the one that is looked at."""
        for at, pull in enumerate(self.pulls[: max(0, len(self.pulls) - newest)]):
            if pull is not looked_at and not pull.thinned and len(pull.trace) > THINNED_POINTS:
                self.pulls[at] = replace(pull, trace=thinned(pull.trace), thinned=True)

    def put_back(self, number: int, trace: Trace) -> None:
        """A thinned pull has every sample again, as its file holds them."""
        self.pulls = [replace(pull, trace=trace, thinned=False) if pull.number == number else pull for pull in self.pulls]


def thinned(trace: Trace) -> Trace:
    """Lowest and highest of each of some 500 runs of samples."""
    keep = extremes(trace.torque_nm, math.ceil(2 * len(trace) / THINNED_POINTS))
    return Trace(trace.time_s[keep], trace.torque_nm[keep], None if trace.angle_deg is None else trace.angle_deg[keep])
