"""News: immutable messages from the session to whoever listens (window, sound, terminal, job book)."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from analysis.judgement import Verdict
from analysis.pull.events import NoPullKind
from analysis.results import PullResult
from analysis.trace import Trace
from analysis.verdict.votes import NOTHING_STATED, Stated
from drivers.items import ConnectionLost, LineUp, LineWarning
from rig.log import log_event, without_names


@dataclass(frozen=True, slots=True)
class PullBegan:
    """A pull is under way."""

    number: int
    from_s: float


@dataclass(frozen=True, slots=True)
class PullJudged:
    """A pull was read. `final` False: an early reading, the pull may still go on and will be told again under its number.

    `verdict` is None where no window is set; `file` is None where nothing is recorded;
    `stated` is what a person states of it.
    """

    number: int
    trace: Trace
    result: PullResult
    verdict: Verdict | None
    file: Path | None
    final: bool
    stated: Stated = NOTHING_STATED


@dataclass(frozen=True, slots=True)
class FreeTurnSeen:
    """The unit was turned one way and nothing held; kept under its number, without a vote until a person says that it was the pull.

    The bench asks: nothing held, was that the pull? `CountFreeTurn` answers; where it counts, `PullJudged` follows.
    """

    number: int
    trace: Trace
    result: PullResult
    travel_deg: float
    file: Path | None


@dataclass(frozen=True, slots=True)
class NotAPull:
    """What began like a pull was none, and nothing of it is kept. `times`: so many of its kind since the line was opened."""

    kind: NoPullKind
    torque_nm: float
    times: int


@dataclass(frozen=True, slots=True)
class RestLevelMoved:
    """The level at rest stepped, and torque alone cannot tell why: the bench asks whether a lever was hung on or the zero moved.

    `by_nm` 0: it is back where it was, there is nothing left to ask. Until `ExplainRest` answers, pulls are read from the new
    level, carry `rest_moved` and decide nothing.
    """

    by_nm: float
    from_nm: float
    to_nm: float


@dataclass(frozen=True, slots=True)
class RestLevelExplained:
    """A person said why the level at rest moved: `lever_on` a load of `by_nm` that the plates carry too, else the zero."""

    by_nm: float
    lever_on: bool


@dataclass(frozen=True, slots=True)
class ZeroFound:
    """The zero was learnt: when the line was opened, or because it was asked for. `far_off`: something hangs on the sensor."""

    zero_nm: float
    asked: bool
    far_off: bool


@dataclass(frozen=True, slots=True)
class Exercised:
    """A load of an exercise was seen: direction, torque, how many as high there were that way (0: too low to count).

    `over`: it was the last; the exercise is done.
    """

    direction: int
    torque_nm: float
    times: int
    over: bool


@dataclass(frozen=True, slots=True)
class SeriesOver:
    """The line is closed after pulls: the sensor's zero before the first and after the last, N.m, and whether it moved too far."""

    zero_before_nm: float
    zero_after_nm: float
    moved: bool


@dataclass(frozen=True, slots=True)
class Failed:
    """Something went wrong that the person should know; the bench goes on where it can."""

    what: str
    where: str
    remedy: str


@dataclass(frozen=True, slots=True)
class DiskRefuses:
    """Nothing can be written; told at once, with every pull and again and again as long as it lasts.

    Pulls are judged all the same. `waiting` of them are in memory and are written when the disk takes them (`PullKept`).
    """

    what: str
    where: str
    remedy: str
    waiting: int


@dataclass(frozen=True, slots=True)
class DiskBack:
    """The disk takes everything again, and all that waited is written. `where`: the folder."""

    where: str


@dataclass(frozen=True, slots=True)
class PullKept:
    """A pull that could not be written when it ended is on the disk now."""

    number: int
    file: Path


@dataclass(frozen=True, slots=True)
class EndedAbruptly:
    """The program before this one was killed, or the power went: when, and how long nobody has read the line since then.

    `file`: the pull of that `number` was under way; it is kept up to there and does not count. None: it was between pulls.
    """

    at: datetime
    gap_s: float
    number: int | None
    file: Path | None


@dataclass(frozen=True, slots=True)
class Entered:
    """A pull stands in the job book: its number here (None: one that waited from before), the job, its entry there."""

    number: int | None
    job: str
    entry: int


@dataclass(frozen=True, slots=True)
class PullAmended:
    """The metadata of a recorded pull was changed afterwards: a person let it not count, or count again."""

    number: int
    file: Path


@dataclass(frozen=True, slots=True)
class Ended:
    """The source has ended; no more news will come."""

    why: str = ""


News = (
    LineUp
    | ConnectionLost
    | LineWarning
    | PullBegan
    | PullJudged
    | FreeTurnSeen
    | NotAPull
    | RestLevelMoved
    | RestLevelExplained
    | ZeroFound
    | Exercised
    | SeriesOver
    | Failed
    | DiskRefuses
    | DiskBack
    | PullKept
    | EndedAbruptly
    | Entered
    | PullAmended
    | Ended
)


def log_news(news: list[News]) -> None:
    """What the bench did, into the log that a user can send: numbers and codes."""
    for item in news:
        match item:
            case PullJudged(final=True):
                quality = ",".join(str(flag.code) for flag in item.result.quality)
                state = None if item.verdict is None else str(item.verdict.state)
                log_event("pull", number=item.number, samples=len(item.trace), state=state, quality=quality or None)
            case Failed():
                log_event("failed", what=repr(without_names(item.what)))
            case DiskRefuses():
                log_event("disk", refuses=repr(without_names(item.what)), waiting=item.waiting)
            case PullKept():
                log_event("disk", kept=item.number)
            case EndedAbruptly():
                log_event("ended_abruptly", number=item.number, gap_s=round(item.gap_s))
            case LineWarning():
                log_event("line", warning=repr(without_names(str(item.what))))
            case ConnectionLost() | LineUp() | Ended() | DiskBack():
                log_event("line", news=type(item).__name__)
