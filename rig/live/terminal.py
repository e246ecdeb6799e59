"""The terminal: news as plain lines, and a large plain verdict where a person watches."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TextIO

from analysis.errors import BenchError
from analysis.judgement import SeriesResult, Verdict
from analysis.verdict.votes import Pull, pull_of
from analysis.window import Basis
from drivers.clock import Clock
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
from rig.live.runner import Bench
from rig.live.wishes import CountFreeTurn, ExplainRest, Wish
from rig.words import sentences as wording
from rig.words.bench import (
    disk_refuses_text,
    ended_abruptly_text,
    free_turn_text,
    line_faults_text,
    not_a_pull_text,
    rest_explained_text,
    rest_moved_text,
)
from rig.words.language import say
from rig.words.retold import retold
from rig.words.verdicts import series_lines, verdict_text

LOOK_EVERY_S = 0.1
PULL, LEVER, ZERO = "p", "l", "z"
ANSWERS: dict[str, Wish] = {PULL: CountFreeTurn(), LEVER: ExplainRest(lever_on=True), ZERO: ExplainRest(lever_on=False)}
"""What a person may type, and what it wishes."""
LAST_PULLS = 5
MOST_ALONE = 1  # a pull alone is no series
_RULER = "=" * 78


@dataclass(slots=True)
class Terminal:
    """Shows news. Readings go to `out`, a line a pull; what concerns the line goes to `err`.

    together   how the pulls are judged as a series; None: they are not
    large   a banner for every verdict and a list of the last pulls, for a person who looks from some steps away
    """

    out: TextIO
    err: TextIO
    unit: str = "N.m"
    large: bool = False
    together: Callable[[Sequence[Pull]], SeriesResult] | None = None
    _votes: dict[int, Pull] = field(default_factory=dict)
    _last: deque[str] = field(default_factory=lambda: deque(maxlen=LAST_PULLS))

    def caution(self) -> None:
        """What can hurt, before anybody pulls."""
        print(say("Before you pull:"), *(f"  - {say(line)}" for line in wording.CAUTIONS), sep="\n", file=self.err, flush=True)

    def show(self, item: News) -> None:
        """One piece of news."""
        match item:
            case LineUp(name):
                self.note(say("line open: {name}", name=name))
            case ConnectionLost(name, what, remedy):
                self.note(say("line: {what}", what=f"{name}: {retold(what)}; {retold(remedy)}"))
            case LineWarning(what, remedy):
                self.note(say("line: {what}", what=f"{retold(what)}; {retold(remedy)}"))
            case PullBegan(number):
                if self.large:
                    self._say(say("pull {number} ...", number=number))
            case PullJudged(final=True):
                self._judged(item)
            case PullJudged():
                if self.large:  # at once for the person at the lever; the pull may still go on
                    self._say(wording.pull_line(item.number, item.result, item.verdict, self.unit) + f" ({say('first reading')})")
            case FreeTurnSeen():
                self._free_turn(item)
            case NotAPull(kind=kind, times=times):
                self.note(not_a_pull_text(kind, times))
            case RestLevelMoved(by_nm):
                self._say(rest_moved_text(by_nm, self.unit))
                self._hint(by_nm != 0.0, say("{lever} + Enter: lever hung on; {zero} + Enter: zero moved", lever=LEVER, zero=ZERO))
            case RestLevelExplained(by_nm, lever_on):
                self._say(rest_explained_text(by_nm, lever_on=lever_on, unit=self.unit))
            case ZeroFound(zero_nm, asked, far_off):
                self.note(wording.zero_text(zero_nm, asked=asked, far_off=far_off, unit=self.unit))
            case Exercised(direction, torque_nm, times, over):
                self._say(wording.exercised_text(direction, torque_nm, times, over=over, unit=self.unit))
            case SeriesOver(before_nm, after_nm, moved):
                self.note(wording.series_zero_text(before_nm, after_nm, moved=moved, unit=self.unit))
            case Failed(what, where, remedy):
                self.note(f"{where}: {retold(what)}; {retold(remedy)}" if where else f"{retold(what)}; {retold(remedy)}")
            case DiskRefuses(what, where, remedy, waiting):
                self.note(disk_refuses_text(what, where, remedy, waiting))
            case DiskBack(where):
                self.note(say("{where} can be written again", where=where))
            case PullKept(number, file):
                self._say("    " + say("pull {number} is kept after all in {file}", number=number, file=file))
            case EndedAbruptly(at, gap_s, number, file):
                self.note(ended_abruptly_text(at, gap_s, number, file))
            case Entered(number, job, entry):
                self._say(
                    "    " + say("a recording that waited is entry {entry} of job {job}", entry=entry, job=job)
                    if number is None
                    else "    " + say("pull {number} is entry {entry} of job {job}", number=number, entry=entry, job=job)
                )
            case Ended():
                pass

    def tell(self, line: str) -> None:
        """A line to the person who pulls."""
        self._say(line)

    def _free_turn(self, item: FreeTurnSeen) -> None:
        self._say(free_turn_text(item.number, item.travel_deg))
        self._say(*(["    " + say("kept in {file}", file=item.file)] if item.file is not None else []))
        if self.large:
            self._say("    " + say("{key} + Enter: yes, that was the pull", key=PULL))
        else:  # nobody is there to answer
            self._say("    " + say("not counted; if it was the pull: analyse the file, or record with --free-turns"))

    def _hint(self, due: bool, keys: str) -> None:
        if due and self.large:  # a person watches; without one, nobody presses a key
            self._say(f"    {keys}")

    def _judged(self, item: PullJudged) -> None:
        line = wording.pull_line(item.number, item.result, item.verdict, self.unit)
        if self.large:
            self._say("", _RULER, _banner(item.verdict, self.unit, chatters=item.result.chatter.present is True), _RULER)
        self._say(line)
        details = [say("excluded, it does not count: {excluded}", excluded=item.stated.excluded)] if item.stated.excluded else []
        details += [verdict_text(item.verdict, self.unit)] if item.verdict is not None else []
        details += [wording.quality_text(flag, self.unit) for flag in item.result.quality]
        details += [say("kept in {file}", file=item.file)] if item.file is not None else []
        self._say(*(f"    {detail}" for detail in details))
        self._votes[item.number] = pull_of(item.result, item.stated)
        if self.large and (rows := self.series()):
            self._say("", rows[0], rows[-1])
        if self.large:
            self._last.append(line)
            self._say("", say("last pulls:"), *(f"  {each}" for each in self._last), "")

    def series(self) -> list[str]:
        """What the pulls so far say together, as rows; none for a pull alone, or where they are not judged."""
        if self.together is None or len(self._votes) < MOST_ALONE + 1:
            return []
        series = self.together(list(self._votes.values()))
        basis = Basis.BREAKAWAY if series.verdict is None else series.verdict.basis
        return series_lines(series, [say("pull {number}", number=number) for number in self._votes], basis, self.unit)

    def _say(self, *lines: str) -> None:
        print(*lines, sep="\n", file=self.out, flush=True)

    def note(self, line: str) -> None:
        """A line on what the bench does, beside the readings."""
        print(line, file=self.err, flush=True)


def _banner(verdict: Verdict | None, unit: str, *, chatters: bool) -> str:
    if verdict is None:
        return "    " + " ".join(say("NO WINDOW SET"))
    # What chatters is never simply good: the word says so, as large as the verdict.
    state = say(wording.STATE_WORD[verdict.state])
    word = " ".join(f"{state}, {say('CHATTERS')}" if chatters else state).replace("   ", "    ")
    value = "" if verdict.value_nm is None else wording.torque_with_u(verdict.value_nm, verdict.expanded_u_nm, unit)
    return f"    {word}      {value}      ({wording.window(verdict.low_nm, verdict.high_nm, unit)})"


class Keys:
    """Lines that a person types while the bench runs; without a keyboard there are none."""

    def __init__(self, typed: TextIO) -> None:
        self._lines: deque[str] = deque(maxlen=16)
        if typed.isatty():
            # Reading blocks, and no system reads a terminal with a time limit alike: a thread that ends with the program does it.
            threading.Thread(target=self._read, args=(typed,), name="platepull keys", daemon=True).start()

    def _read(self, typed: TextIO) -> None:
        for line in typed:
            self._lines.append(line)

    def wishes(self) -> list[Wish]:
        """What was wished since the last call."""
        typed = []
        while self._lines:
            typed.append(self._lines.popleft().strip().lower())
        return [ANSWERS[line] for line in typed if line in ANSWERS]


def follow(
    bench: Bench,
    terminal: Terminal,
    clock: Clock,
    *,
    pulls: int | None,
    seconds: float | None,
    asked_to_end: Callable[[], bool],
    keys: Keys | None = None,
) -> None:
    """Show what the bench tells until so many pulls are over, so many seconds have passed, the source ends or it is asked to end.

    `keys`: what a person types answers the bench's questions.

    Raises what ended the source, if that was an error.
    """
    end_s = None if seconds is None else clock.now() + seconds
    ended = False
    while (
        not ended
        and not asked_to_end()
        and (pulls is None or bench.status.pulls < pulls)
        and (end_s is None or clock.now() < end_s)
    ):
        for wish in keys.wishes() if keys is not None else ():
            bench.ask(wish)
        for item in bench.wait_for_news(LOOK_EVERY_S):
            if not _told_at_the_end(item, bench.error):
                terminal.show(item)
            ended |= isinstance(item, Ended)
    bench.close()
    for item in bench.news():  # a pull that was under way is read and kept
        terminal.show(item)
    if unread := line_faults_text(bench.status.line.faults):
        terminal.note(unread)
    if bench.error is not None:
        raise bench.error


def _told_at_the_end(item: News, error: Exception | None) -> bool:
    """Whether it is what ended the line: raised when all else was told, it is not to be read twice."""
    return isinstance(item, Failed) and isinstance(error, BenchError) and (item.what, item.where) == (error.what, error.where)
