"""Stand: one open bench as the window sees it: its state, its live picture, the series that its pulls go into. No Qt, no thread."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import Flag, StrEnum, auto
from typing import TYPE_CHECKING

from analysis.judgement import Verdict
from analysis.pull.events import NoPullKind
from analysis.window import Window
from drivers.items import ConnectionLost, LineUp, LineWarning
from rig.live.news import (
    DiskBack,
    DiskRefuses,
    Ended,
    EndedAbruptly,
    Entered,
    Exercised,
    Failed,
    FreeTurnSeen,
    News,
    NotAPull,
    PullBegan,
    PullJudged,
    PullKept,
    RestLevelExplained,
    RestLevelMoved,
    SeriesOver,
    ZeroFound,
)
from rig.live.wishes import CountFreeTurn, ExplainRest, Wish
from rig.window.live_picture import LivePicture
from rig.window.notices import Notice, Notices
from rig.window.series import Pull, SeriesOfPulls, Source
from rig.words.bench import disk_refuses_text, ended_abruptly_parts
from rig.words.language import say
from rig.words.numbers import torque
from rig.words.verdicts import other_unit_text

if TYPE_CHECKING:
    from rig.live.runner import Bench


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
    NOTICES = auto()


Question = FreeTurnSeen | RestLevelMoved


@dataclass(slots=True)
class Stand:
    """The bench and what it has told. `bench` None: no line is open.

    looking_at   number of the pull on the screen; None: the live picture
    announced    a pull that came while another one was being looked at, not yet looked at itself
    """

    series: SeriesOfPulls
    notices: Notices
    bench: Bench | None = None
    state: BenchState = BenchState.NO_LINE
    line_name: str = ""
    live: LivePicture = field(default_factory=LivePicture)
    exercised: Exercised | None = None
    looking_at: int | None = None
    held: bool = False
    announced: int | None = None
    lacks: tuple[str, ...] = ()
    unit: str = "N.m"
    own_window: Window | None = None
    capacity_nm: float | None = None
    judged: list[Pull] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    """What the bench asked and nobody has answered, the newest last; `asked`: one came that nobody has heard yet."""
    asked: bool = False
    not_pulls: dict[NoPullKind, int] = field(default_factory=dict)
    """What moved the bench without being a pull, and how often."""
    entered: int = 0
    """How many pulls were entered in the job book."""
    _told: set[int] = field(default_factory=set)
    _doubted: set[str] = field(default_factory=set)
    _highest: int = 0
    _over: list[SeriesOfPulls] = field(default_factory=list)

    @property
    def source(self) -> Source:
        """Where its pulls come from."""
        return self.series.source

    @property
    def next_number(self) -> int:
        """The number of the pull to come: numbers go on from series to series."""
        return 1 + self._highest

    def connect(self, bench: Bench) -> None:
        """Listen to this bench from now on."""
        self.bench = bench
        self.state = BenchState.SEARCHING
        self.looking_at = None
        self.live.clear()
        self.notices.line_is_back()

    def disconnect(self) -> None:
        """Close the bench and take its last news, so that a pull under way is not lost."""
        if self.bench is not None:
            self.bench.close()
            self.poll()
            self.bench = None

    def begin(self, series: SeriesOfPulls) -> None:
        """Pulls go into this series from now on; one told again goes where it was."""
        if len(self.series):
            self._over.append(self.series)
        self.series = series
        self.looking_at = self.announced = None

    def poll(self) -> Changed:
        """Take what the bench has told since the last call."""
        if self.bench is None:
            return Changed.NOTHING
        status = self.bench.status
        changed = self._see_exercise(status.exercising)
        for item in self.bench.news():
            changed |= self._take(item)
        pieces = self.bench.scope()
        for piece in pieces:
            self.live.add(piece, status.zero_nm)
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

    def _take(self, item: News) -> Changed:
        match item:
            case LineUp(name):
                self.line_name, self.state = name, BenchState.WAITING
                self.notices.line_is_back()
                return Changed.STATE | Changed.NOTICES
            case ConnectionLost(name, what, remedy):
                self.state = BenchState.LOST
                return self._notice(Notice(what, name, remedy, of_line=True)) | Changed.STATE
            case LineWarning(what, remedy):
                return self._notice(Notice(what, self.line_name, remedy))
            case Failed(what, where, remedy):
                return self._notice(Notice(what, where, remedy))
            case ZeroFound(zero_nm, asked, far_off):
                return self._zero_found(zero_nm, asked=asked, far_off=far_off)
            case Exercised():
                self.exercised = item
                return Changed.STATE
            case PullBegan(from_s=from_s):
                self.state = BenchState.PULLING
                self.live.pull_began(from_s)
                if not self.held:
                    self.looking_at = None
                return Changed.STATE
            case PullJudged():
                self.questions = [each for each in self.questions if getattr(each, "number", None) != item.number]
                return self._judged(item)
            case FreeTurnSeen():
                self._highest = max(self._highest, item.number)
                self.live.pull_ended()
                self.state = BenchState.WAITING if self.state in (BenchState.PULLING, BenchState.READING) else self.state
                return self._ask(item)
            case RestLevelMoved(by_nm):
                self.questions = [each for each in self.questions if not isinstance(each, RestLevelMoved)]
                return self._ask(item) if by_nm else Changed.STATE | Changed.PULLS
            case RestLevelExplained(by_nm, lever_on):
                self.questions = [each for each in self.questions if not isinstance(each, RestLevelMoved)]
                size = torque(abs(by_nm), self.unit)
                load, zero = (
                    say("{torque} at rest count as a load on the plates", torque=size),
                    say("the zero moved by {torque}", torque=size),
                )
                return self._notice(Notice(load if lever_on else zero, good=True)) | Changed.PULLS
            case NotAPull(kind=kind, times=times):
                self.not_pulls[kind] = times
                self.state = BenchState.WAITING if self.state in (BenchState.PULLING, BenchState.READING) else self.state
                self.live.pull_ended()
                return Changed.STATE
            case DiskRefuses(what, where, remedy, waiting):
                self.notices.disk_is_back()
                return self._notice(Notice(disk_refuses_text(what, where, remedy, waiting), of_disk=True))
            case DiskBack(where):
                self.notices.disk_is_back()
                return self._notice(Notice(say("{folder} can be written again", folder=where), good=True))
            case PullKept(number, file):
                for series in (self.series, *self._over):
                    series.kept(number, file)
                return Changed.PULLS
            case EndedAbruptly(at, gap_s, number, file):
                what, kept = ended_abruptly_parts(at, gap_s, number, file)
                return self._notice(Notice(what, remedy=kept))
            case Entered(job=job, entry=entry):
                self.entered += 1
                return self._notice(Notice(say("entered in job {job}, entry {entry}", job=job, entry=entry), good=True))
            case SeriesOver(zero_before_nm, zero_after_nm, moved):
                if moved:
                    change = torque(abs(zero_after_nm - zero_before_nm), self.unit)
                    return self._notice(Notice(say("the zero moved by {torque} over the series", torque=change), self.line_name))
            case Ended():
                self.state = BenchState.ENDED
                return Changed.STATE
        return Changed.NOTHING

    def _zero_found(self, zero_nm: float, *, asked: bool, far_off: bool) -> Changed:
        shown = torque(zero_nm, self.unit)
        if far_off:
            remedy = say("something hangs on the sensor, or it was overloaded: check it first")
            return self._notice(Notice(say("the zero is far off: {torque}", torque=shown), self.line_name, remedy))
        return self._notice(Notice(say("new zero: {torque}", torque=shown), good=True)) if asked else Changed.NOTHING

    def _judged(self, news: PullJudged) -> Changed:
        pull = Pull(news.number, news.trace, news.result, news.verdict, news.file, news.final, lacks=self.lacks)
        pull = replace(pull, stated=news.stated, excluded=news.stated.excluded)
        if (over := next((each for each in self._over if each.get(news.number) is not None), None)) is not None:
            over.take_again(pull)
            return Changed.PULLS
        if self.series.take(pull):
            if self.held and self.looking_at not in (None, news.number):
                self.announced = news.number
            else:
                self.looking_at = news.number
        self._highest = max(self._highest, news.number)
        self.live.pull_ended()
        if self.state in (BenchState.PULLING, BenchState.READING):
            self.state = BenchState.WAITING if news.final else BenchState.READING
        if news.final and news.number not in self._told:
            self._told.add(news.number)
            self._doubt_window(news.verdict)
            self.judged.append(pull)
        return Changed.PULLS | Changed.STATE

    def _doubt_window(self, verdict: Verdict | None) -> None:
        """Ask once whether a window that is missed by far was typed in the unit that was meant."""
        text = "" if verdict is None else other_unit_text(verdict)
        if text and text not in self._doubted:
            self._doubted.add(text)
            self._notice(Notice(text, remedy=say("the unit stands beside the window: before a pull (F3)")))

    def _ask(self, question: Question) -> Changed:
        self.questions.append(question)
        self.asked = True
        if not self.held:
            self.looking_at = None
        return Changed.STATE | Changed.PULLS

    def answer(self, *, first: bool) -> None:
        """Answer the newest question: first or second of the two answers that the panel shows."""
        if not self.questions or self.bench is None:
            return
        question = self.questions.pop()
        wish: Wish = ExplainRest(lever_on=first)
        if isinstance(question, FreeTurnSeen):
            wish = CountFreeTurn(counts=first, number=question.number)
        self.bench.ask(wish)

    @property
    def question(self) -> Question | None:
        """The newest question, while no pull is under way."""
        return self.questions[-1] if self.questions and self.state is not BenchState.PULLING else None

    def _notice(self, notice: Notice) -> Changed:
        self.notices.add(notice)
        return Changed.NOTICES
