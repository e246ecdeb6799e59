"""BenchModel: what the bench screen shows now. Drains the bench when asked; knows no Qt, starts no thread.

A window calls `poll()` at its own pace (30 times a second) and then asks: the state, the pulls, the trouble, the live curves.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import Flag, StrEnum, auto
from pathlib import Path

from analysis.judgement import DecisionRule, Verdict
from analysis.results import PullResult
from analysis.trace import Trace
from analysis.verdict.apart import Scatter
from analysis.verdict.judge import judge
from analysis.verdict.scatter import USUAL_SCATTER
from analysis.window import Window
from drivers.source import ConnectionLost, LineUp, LineWarning
from rig.live.news import Ended, Exercised, Failed, News, PullBegan, PullJudged, ZeroFound
from rig.live.runner import Bench
from rig.live.wishes import SetWindow
from rig.window.axes import angle_range, scaled, torque_range
from rig.window.decimation import NO_CURVE, Curve, LiveRing, extremes
from rig.words.language import say
from rig.words.numbers import torque
from rig.words.units import NEWTON_METRES, UnitChoice

WHOLE_TRACES = 16
"""So many newest pulls keep every sample in memory; of older ones the file holds them, and the picture is thinned."""

THIN_POINTS = 2000


class BenchState(StrEnum):
    """What the bench is doing."""

    NO_LINE = "no line"
    SEARCHING = "searching"
    WAITING = "waiting"
    PULLING = "pulling"
    READING = "reading"
    EXERCISING = "exercising"
    LOST = "line lost"
    ENDED = "ended"


class Changed(Flag):
    """What a poll brought."""

    NOTHING = 0
    STATE = auto()
    PULLS = auto()
    SCOPE = auto()
    TROUBLE = auto()


@dataclass(frozen=True, slots=True, eq=False)
class Pull:
    """A pull of the present series. `excluded`: the reason why it does not count; None: it counts. Nothing is ever deleted.

    `lacks` names the conditions that were not stated when it was pulled.
    """

    number: int
    trace: Trace
    result: PullResult
    verdict: Verdict | None
    file: Path | None
    final: bool
    excluded: str | None = None
    lacks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something the person should know and can fix.

    `of_line` goes away by itself when the line is back. `good`: nothing to fix, only to know.
    """

    what: str
    where: str
    remedy: str
    of_line: bool = False
    good: bool = False


@dataclass(frozen=True, slots=True)
class Live:
    """The live picture. Times in s before the newest sample (0 or less), torque in the chosen unit, zero offset taken off."""

    over_time: Curve
    over_angle: Curve
    low: float
    high: float
    turned: tuple[float, float] = (-5.0, 95.0)


class BenchModel:
    """The present series on one bench. `bench` None: no line is open (the window can then open one)."""

    def __init__(
        self,
        bench: Bench | None = None,
        *,
        window: Window | None = None,
        rule: DecisionRule = DecisionRule.GUARDED,
        scatter: Scatter = USUAL_SCATTER,
        unit: UnitChoice = NEWTON_METRES,
        span_s: float = 60.0,
        whole_traces: int = WHOLE_TRACES,
    ) -> None:
        self.bench = bench
        self.window = window
        self.rule = rule
        self.scatter = scatter
        self.unit = unit
        self.state = BenchState.NO_LINE if bench is None else BenchState.SEARCHING
        self.line_name = ""
        self.lacks: tuple[str, ...] = ()
        """Names of the conditions that are not stated now; each pull keeps those of its moment."""
        self.pulls: list[Pull] = []
        self.troubles: list[Trouble] = []
        self.ring = LiveRing(span_s)
        self._whole_traces = whole_traces
        self.looking_at: int | None = None
        """Number of the pull on the screen; None: the live picture."""
        self._judged_anew: list[Pull] = []
        self._told: set[int] = set()
        self.now_nm: float | None = None
        self.peak_nm: float | None = None
        self.exercised: Exercised | None = None
        self._pull_from_s: float | None = None

    # what comes in

    def open(self, make: Callable[[int], Bench]) -> None:
        """Listen to another bench from now on; the pulls stay. The one before is closed first, its last news taken.

        `make` gets the number of the next pull. What it raises leaves the model without a bench.
        """
        self.close()
        self.bench = None
        self.state = BenchState.NO_LINE
        bench = make(1 + max((pull.number for pull in self.pulls), default=0))
        bench.ask(SetWindow(self.window, self.rule))
        self.bench = bench
        self.state = BenchState.SEARCHING
        self.looking_at = None
        self.ring.clear()
        self.troubles = [trouble for trouble in self.troubles if not trouble.of_line]
        self.now_nm = self.peak_nm = self._pull_from_s = None

    def close(self) -> None:
        """Close the bench and take its last news, so that a pull under way is not lost."""
        if self.bench is not None:
            self.bench.close()
            self.poll()

    def poll(self) -> Changed:
        """Take what the bench has told since the last call."""
        if self.bench is None:
            return Changed.NOTHING
        changed = self._see_exercise(self.bench.status.exercising)
        for item in self.bench.news():
            changed |= self._take(item)
        pieces = self.bench.scope()
        for piece in pieces:
            self.ring.add(piece)
            self._watch(piece)
        return changed | (Changed.SCOPE if pieces else Changed.NOTHING)

    def _see_exercise(self, on: bool) -> Changed:
        """An exercise is begun and ended by the session; the state follows it."""
        if on and self.state is BenchState.WAITING:
            self.state, self.exercised, self.looking_at = BenchState.EXERCISING, None, None
            return Changed.STATE | Changed.PULLS
        if not on and self.state is BenchState.EXERCISING:
            self.state = BenchState.WAITING
            return Changed.STATE
        return Changed.NOTHING

    def _watch(self, piece: Trace) -> None:
        zero_nm = 0.0 if self.bench is None else self.bench.status.zero_nm
        self.now_nm = float(piece.torque_nm[-1]) - zero_nm
        if self.state is BenchState.PULLING:
            highest = max(abs(float(piece.torque_nm.max()) - zero_nm), abs(float(piece.torque_nm.min()) - zero_nm))
            self.peak_nm = highest if self.peak_nm is None else max(self.peak_nm, highest)

    def _take(self, item: News) -> Changed:
        match item:
            case LineUp(name):
                self.line_name, self.state = name, BenchState.WAITING
                self.troubles = [trouble for trouble in self.troubles if not trouble.of_line]
                return Changed.STATE | Changed.TROUBLE
            case ConnectionLost(name, what, remedy):
                self.state = BenchState.LOST
                return self._trouble(Trouble(what, name, remedy, of_line=True)) | Changed.STATE
            case LineWarning(what, remedy):
                return self._trouble(Trouble(what, self.line_name, remedy))
            case Failed(what, where, remedy):
                return self._trouble(Trouble(what, where, remedy))
            case ZeroFound(zero_nm, asked, far_off):
                return self._zero_found(zero_nm, asked=asked, far_off=far_off)
            case Exercised():
                self.exercised = item
                return Changed.STATE
            case PullBegan(from_s=from_s):
                self.state, self._pull_from_s, self.peak_nm = BenchState.PULLING, from_s, None
                self.looking_at = None
                return Changed.STATE
            case PullJudged():
                return self._judged(item)
            case Ended():
                self.state = BenchState.ENDED
                return Changed.STATE
        return Changed.NOTHING

    def _zero_found(self, zero_nm: float, *, asked: bool, far_off: bool) -> Changed:
        shown = torque(zero_nm, self.unit.first)
        if far_off:
            remedy = say("something hangs on the sensor, or it was overloaded: check it first")
            return self._trouble(Trouble(say("the zero is far off: {torque}", torque=shown), self.line_name, remedy))
        return self._trouble(Trouble(say("new zero: {torque}", torque=shown), "", "", good=True)) if asked else Changed.NOTHING

    def _judged(self, news: PullJudged) -> Changed:
        pull = Pull(news.number, news.trace, news.result, news.verdict, news.file, news.final, lacks=self.lacks)
        at = next((i for i, known in enumerate(self.pulls) if known.number == news.number), None)
        if at is None or not self.pulls[at].final:
            self.looking_at = news.number
        if at is None:
            self.pulls.append(pull)
        else:
            self.pulls[at] = replace(pull, excluded=self.pulls[at].excluded, lacks=self.pulls[at].lacks)
        if len(self.pulls) > self._whole_traces:
            self._thin(len(self.pulls) - self._whole_traces - 1)
        if self.state in (BenchState.PULLING, BenchState.READING):
            self.state = BenchState.WAITING if news.final else BenchState.READING
        if news.final and news.number not in self._told:
            self._told.add(news.number)
            self._judged_anew.append(pull)
        return Changed.PULLS | Changed.STATE

    def _thin(self, at: int) -> None:
        trace = self.pulls[at].trace
        if len(trace) > 2 * THIN_POINTS:
            keep = extremes(trace.torque_nm, math.ceil(2 * len(trace) / THIN_POINTS))
            angle = None if trace.angle_deg is None else trace.angle_deg[keep]
            self.pulls[at] = replace(self.pulls[at], trace=Trace(trace.time_s[keep], trace.torque_nm[keep], angle))

    def _trouble(self, trouble: Trouble) -> Changed:
        if trouble not in self.troubles:
            self.troubles.append(trouble)
        return Changed.TROUBLE

    # what the person wants

    def dismiss(self) -> None:
        """The person has read the newest trouble."""
        if self.troubles:
            self.troubles.pop()

    def tell(self, what: str, where: str = "", remedy: str = "") -> None:
        """Show a trouble that arose in the window itself."""
        self._trouble(Trouble(what, where, remedy))

    def set_window(self, window: Window | None, rule: DecisionRule | None = None) -> None:
        """Judge every pull of the series against this window, and those to come."""
        self.window, self.rule = window, rule or self.rule
        if self.bench is not None:
            self.bench.ask(SetWindow(window, self.rule))
        self.pulls = [
            replace(pull, verdict=None if window is None else judge(pull.result, window, self.rule, known=self.scatter))
            for pull in self.pulls
        ]

    def exclude(self, number: int, reason: str | None) -> None:
        """Let a pull not count, with the reason; None counts it again. The pull and its file stay."""
        self.pulls = [replace(pull, excluded=reason) if pull.number == number else pull for pull in self.pulls]

    def new_series(self) -> None:
        """Start a series of its own; the files of the pulls so far stay where they are."""
        self.pulls = []
        self.looking_at = None

    def look_at(self, number: int | None) -> None:
        """Put this pull on the screen; None: the live picture."""
        self.looking_at = number

    def step(self, by: int) -> None:
        """Go so many pulls on (or back) and look at that one."""
        if self.pulls:
            numbers = [pull.number for pull in self.pulls]
            at = numbers.index(self.looking_at) if self.looking_at in numbers else len(numbers) - (by > 0)
            self.looking_at = numbers[min(len(numbers) - 1, max(0, at + by))]

    def turn_over(self) -> None:
        """From the live picture to the newest pull, and back."""
        self.looking_at = None if self.looking_at is not None or not self.pulls else self.pulls[-1].number

    # what is shown

    @property
    def shown(self) -> Pull | None:
        """The pull looked at; None while the live picture is."""
        return next((pull for pull in self.pulls if pull.number == self.looking_at), None)

    def take_judged(self) -> list[Pull]:
        """Pulls whose final verdict came since the last call, each once: for the sound."""
        judged, self._judged_anew = self._judged_anew, []
        return judged

    @property
    def last(self) -> Pull | None:
        """The newest pull."""
        return self.pulls[-1] if self.pulls else None

    def live(self, span_s: float, columns: int, *, with_angle: bool = True) -> Live:
        """The live curves over the last `span_s`; over angle only the pull under way (or the last one), empty if not wished."""
        newest = self.ring.newest_s
        if newest is None:
            return Live(NO_CURVE, NO_CURVE, *self.range_of(NO_CURVE))
        per_nm = self.unit.per_nm
        zero = 0.0 if self.bench is None else self.bench.status.zero_nm * per_nm
        raw = self.ring.over_time(newest - span_s, columns, per_nm)
        over_time = Curve(raw.x - newest, raw.y - zero)
        over_angle = NO_CURVE
        if with_angle and self._pull_from_s is not None:
            turned = self.ring.over_angle(self._pull_from_s, columns, per_nm)
            if turned.x.size:
                over_angle = Curve(turned.x - turned.x[0], turned.y - zero)
        return Live(over_time, over_angle, *self.range_of(over_time), turned=angle_range(over_angle))

    def range_of(self, curve: Curve) -> tuple[float, float]:
        """Calm limits of the torque axis that show the curve and the window."""
        lowest, highest = (float(curve.y.min()), float(curve.y.max())) if curve.y.size else (0.0, 0.0)
        return torque_range(lowest, highest, self.window, self.unit.per_nm)

    def band(self) -> tuple[float | None, float | None] | None:
        """The window's limits in the chosen unit, for drawing; None without a window."""
        return None if self.window is None else scaled(self.window, self.unit.per_nm)
