"""Recording the last pass over a group of bolts from the sensor: says which bolt is next, keeps each pull, moves on when it stands.

Every tightening is written as a trace as the sensor sent it, with its sensor's metadata, and read back from there: what is said at
the bolt is what the sheet will say later.
"""

from __future__ import annotations

import re
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from analysis.errors import BenchError
from analysis.refit.bolt_pass import BoltPass, TighteningCatcher
from analysis.refit.fasteners import BoltReading, judge_bolts
from analysis.refit.limits import State
from analysis.trace import Trace
from drivers.clock import Clock
from rig.errors import TraceFileError
from rig.files.metadata import TraceInfo
from rig.files.trace_csv import write_trace
from rig.live.news import Ended, News
from rig.live.runner import Status
from rig.refit import words
from rig.refit.document import Fasteners
from rig.refit.traces import read_bolt_trace

LOOK_EVERY_S = 0.05
AGAIN = "b"
"""What a person types to pull the last bolt again."""


class Stream(Protocol):
    """What is asked of a running bench."""

    @property
    def status(self) -> Status:
        """Its zero among other things."""

    @property
    def error(self) -> Exception | None:
        """What ended it."""

    def scope(self) -> list[Trace]:
        """Pieces since the last call."""

    def news(self) -> list[News]:
        """News since the last call."""


@dataclass(frozen=True, slots=True)
class Keeper:
    """Where tightenings are kept, and how they are read."""

    folder: Path
    part: Fasteners
    info: TraceInfo

    def path(self, number: int) -> Path:
        """The trace of a bolt."""
        plain = re.sub(r"[^\w-]+", "_", self.part.name).strip("_") or "bolts"
        return self.folder / f"{plain}_{number:02d}.csv"

    def take(self, number: int, trace: Trace) -> tuple[BoltReading, State]:
        """Keep a tightening and say how the bolt stands. Raises TraceFileError."""
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as fault:
            raise TraceFileError(f"cannot be made ({fault.strerror})", where=str(self.folder), remedy="check rights") from fault
        write_trace(self.path(number), trace, self.info)
        reading = read_bolt_trace(self.path(number), None if self.part.angle is None else float(self.part.torque))
        (bolt,) = judge_bolts(
            [reading],
            torque_nm=float(self.part.torque),
            tolerance=self.part.share,
            angle_deg=self.part.angle,
            angle_tolerance_deg=self.part.angle_tolerance or 0.0,
        )
        return reading, bolt.state

    def names(self, done: BoltPass, beside: Path) -> list[str]:
        """The traces as the sheet names them, "-" for a bolt that was not recorded."""
        recorded = [number in done.taken for number in range(1, self.part.count + 1)]
        return [_relative(self.path(number), beside) if taken else "-" for number, taken in enumerate(recorded, start=1)]


def _relative(path: Path, beside: Path) -> str:
    try:
        return path.resolve().relative_to(beside.resolve()).as_posix()
    except ValueError:
        return path.resolve().as_posix()


class PassRecorder:
    """A pass being recorded: pieces of the stream go in, `done` holds how far it is."""

    def __init__(self, keeper: Keeper) -> None:
        part = keeper.part
        self.keeper = keeper
        self.done = BoltPass.of(part.count)
        self._catcher = TighteningCatcher(float(part.torque), with_angle=part.angle is not None)

    @property
    def tightening(self) -> bool:
        """Whether a bolt is being pulled now."""
        return self._catcher.tightening

    def feed(self, pieces: Sequence[Trace], zero_nm: float) -> list[tuple[int, BoltReading, State]]:
        """Take the next pieces; the bolts that were pulled with them, each kept and judged. Raises TraceFileError."""
        found: list[tuple[int, BoltReading, State]] = []
        for piece in pieces:
            for trace in self._catcher.feed(piece, zero_nm):
                if (number := self.done.next_bolt) is None:
                    return found
                reading, state = self.keeper.take(number, trace)
                self.done = self.done.noted(number, reading, state)
                found.append((number, reading, state))
        return found

    def back(self) -> None:
        """The bolt taken last is pulled again."""
        self.done = self.done.without_last()


def record_pass(
    stream: Stream,
    keeper: Keeper,
    clock: Clock,
    *,
    say: Callable[[str], None],
    tell: Callable[[News], None],
    asked_to_end: Callable[[], bool],
    typed: Callable[[], Sequence[str]] = tuple,
) -> BoltPass:
    """Take bolt after bolt until the pass is over, the line ends or it is asked to end; what was taken is kept either way.

    Parameters
    ----------
    say : told each bolt and how it stands
    tell : told the news of the line
    typed : what a person typed since the last call; `AGAIN` takes the last bolt back

    Raises
    ------
    BenchError
        What ended the line.
    """
    part, recorder = keeper.part, PassRecorder(keeper)
    say(words.next_bolt_text(part, recorder.done))
    while recorder.done.next_bolt is not None and not asked_to_end():
        for item in stream.news():
            tell(item)
            if isinstance(item, Ended):
                if isinstance(stream.error, BenchError):
                    raise stream.error
                return recorder.done
        if AGAIN in typed() and recorder.done.taken:
            recorder.back()
            say(words.next_bolt_text(part, recorder.done))
        taken = recorder.feed(stream.scope(), stream.status.zero_nm)
        for number, reading, state in taken:
            say(words.bolt_text(part, number, reading, state))
        if taken and recorder.done.next_bolt is not None:
            say(words.next_bolt_text(part, recorder.done))
        clock.wait_until(clock.now() + LOOK_EVERY_S, threading.Event())
    return recorder.done
