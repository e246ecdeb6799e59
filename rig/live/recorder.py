"""Recorder: each pull into a growing CSV of its own. Writing waits for nobody; what the disk refuses is kept and tried again.

    line's thread       add        puts a piece down, never waits
    disk's thread       write      writes what came, tries again what was refused
    sync's thread       sync       has it put on the disk for good, sees that the file is still there
    session's thread    begin, end, discard, amend, trim, restart, news

Without these threads (`in_background` False) `add` does all of it at once.

The session looks at a piece later than the disk has it: a pull's file may hold samples that come after its end for a moment,
and these are taken back when the session tells the end. So file, live reading and replay hold the very same numbers.
"""

from __future__ import annotations

import contextlib
import math
import os
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from analysis.errors import BenchError
from analysis.trace import Trace
from drivers.clock import SystemClock
from rig.errors import TraceFileError
from rig.files.metadata import TraceInfo
from rig.files.trace_csv import amend_info, info_path, write_info
from rig.live.left_behind import Mark, highest_number, mend
from rig.live.news import DiskBack, DiskRefuses, News, PullKept
from rig.live.pull_file import PullFile, sync, up_to

SYNC_EVERY_S = 0.15  # with the 20 ms of a piece and a slow disk, a power cut costs less than 0.25 s
TRY_AGAIN_S = 2.0
REMIND_S = 30.0
"""A disk that refuses is told again so often, as long as it does."""
MOST_WAITING = 20_000_000
"""Samples of pulls kept in memory while the disk refuses: some 500 MB. Beyond, the oldest pull is given up, and that is said."""
MOST_KEPT = 2_000_000
"""Samples before a pull that are remembered while the session does not look: more than 60 s of any line."""
MOST_KNOWN = 1000
"""So many of the last pulls can still be amended."""


@dataclass(slots=True)
class _Pull:
    """A pull that is written or was. `pieces` are let go once all is on the disk; `old` is a file that this one replaces.

    `late`: it was refused when it ended, and that it is kept is still to be told. `sure`: it is known for a pull, not just a load.
    """

    number: int
    info: TraceInfo
    stem: str
    with_angle: bool
    pieces: list[Trace]
    from_s: float = 0.0
    sure: bool = True
    file: PullFile | None = None
    old: PullFile | None = None
    over: bool = False
    kept: Path | None = None
    late: bool = False
    info_due: bool = True
    changed: dict[str, Any] = field(default_factory=dict)

    def amend(self, known: dict[str, Any]) -> None:
        """What was told later."""
        self.info, self.info_due = replace(self.info, **known), True
        self.changed |= known

    @property
    def path(self) -> Path | None:
        """Where its metadata belongs now; None while it is over and not all of it is written."""
        return self.kept if self.file is None or self.over else self.file.path

    @property
    def samples(self) -> int:
        return sum(map(len, self.pieces))


class Recorder:
    """Writes each pull to a trace pair of its own in `folder`, named by its moment and number.

    `info` is what is known of every pull of the series; the recorder adds number and moment. `clock` gives the wall time (for the
    name and `when`), `ticks` a rising time in seconds (for syncing and trying again). `marks` is where running recorders leave a
    mark, so that one that was killed is noticed by the next; None: nowhere. Raises TraceFileError where the folder cannot be made.
    A disk that refuses later is told in `news` and raises nothing.
    """

    def __init__(
        self,
        folder: Path,
        info: TraceInfo,
        clock: Callable[[], datetime],
        ticks: Callable[[], float],
        marks: Path | None = None,
    ) -> None:
        self.folder = folder
        self.info = info
        self.in_background = False
        self._clock, self._ticks = clock, ticks
        self._arrived: deque[tuple[int, Trace]] = deque()
        self._came = threading.Event()
        self._lock = threading.RLock()
        self._stream: deque[tuple[int, Trace]] = deque()
        self._kept = self._run = 0
        self._pull: _Pull | None = None
        self._pulls: dict[int, _Pull] = {}
        self._waiting: list[_Pull] = []
        self._infos = threading.Lock()
        self._blocked = False
        self._refusal: DiskRefuses | None = None
        self._told_s = self._tried_s = self._infos_tried_s = self._synced_s = -math.inf
        self._news: deque[News] = deque()
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as fault:
            raise TraceFileError(f"cannot be written ({fault.strerror or fault})", where=str(folder), remedy=_MEND) from fault
        self._news.extend(mend(folder, marks, clock()))
        self.next_number = 1 + highest_number(folder)
        """Of the pull to come, so that numbers go on in a folder."""
        self._mark = None if marks is None else Mark(marks, folder)

    # -- the line's thread --------------------------------------------------------------------------------------------------------

    def add(self, piece: Trace, run: int = 0) -> None:
        """A piece of the stream; `run` counts how often the device's time began anew."""
        self._arrived.append((run, piece))
        if self.in_background:
            self._came.set()
            return
        self.write()
        if self._ticks() - self._synced_s >= SYNC_EVERY_S:
            self.sync()

    # -- the disk's threads -------------------------------------------------------------------------------------------------------

    def wait(self, timeout_s: float) -> None:
        """Wait until a piece has come, at most so long."""
        self._came.wait(timeout_s)
        self._came.clear()

    def write(self) -> None:
        """Write what has come; try again what was refused, when it is time."""
        with self._lock:
            self._take_in()
            if not self._blocked or self._ticks() - self._tried_s >= TRY_AGAIN_S:
                self._catch_up()

    def sync(self) -> None:
        """Have what was written put on the disk for good, metadata too; others may write meanwhile."""
        self._synced_s = self._ticks()
        with self._lock:
            if self._mark is not None:
                self._mark.beat()
            pull = self._pull
            file = None if pull is None else pull.file
            descriptor = -1 if file is None else file.another()
        if pull is not None and file is not None:
            try:
                sync(descriptor, file.path)
            except OSError as fault:
                with self._lock:
                    if pull.file is file:
                        self._lost(pull)
                        self._refuse(fault, file.path)
            finally:
                os.close(descriptor)
        if self._refusal is None or self._ticks() - self._infos_tried_s >= TRY_AGAIN_S:
            self._write_infos()

    # -- the session's thread -----------------------------------------------------------------------------------------------------

    @property
    def recording(self) -> bool:
        """Whether something is being written."""
        return self._pull is not None

    def begin(self, number: int, from_s: float, *, with_angle: bool, sure: bool = True) -> None:
        """A load began at that moment of the stream: open its file, with what came since. Begun again, it is `sure`."""
        with self._lock:
            if self._pull is not None and not self._pull.sure:
                if (self._pull.number, self._pull.from_s) == (number, from_s):
                    self._pull.sure = sure
                    return
                self.discard()
        now = self._clock()
        info = replace(self.info, number=number, when=now.isoformat(timespec="milliseconds"), unfinished=True)
        with self._lock:
            self._take_in()
            pieces = [piece.between(from_s, math.inf) for run, piece in self._stream if run == self._run]
            stem = f"pull_{now:%Y%m%d_%H%M%S}_{number:03d}"
            pieces = [each for each in pieces if len(each)]
            self._pull = self._pulls[number] = _Pull(number, info, stem, with_angle, pieces, from_s, sure)
            while len(self._pulls) > MOST_KNOWN:
                del self._pulls[min(self._pulls)]
            self._blocked = False  # a new pull tries at once
            self._catch_up()
        if not self.in_background:
            self._write_infos()

    def end(self, to_s: float) -> None:
        """The pull is over; what came after that moment does not belong to it and is taken back."""
        with self._lock:
            self._take_in()
            pull, self._pull = self._pull, None
            if pull is None:
                return
            pull.pieces, pull.over = up_to(pull.pieces, to_s), True
            pull.amend({"unfinished": None})
            self._waiting.append(pull)
            self._catch_up()
            self._give_up_the_oldest()
        self._write_infos()

    def discard(self) -> None:
        """What is being written was no pull: take its files away again."""
        with self._lock:
            pull, self._pull = self._pull, None
            if pull is None:
                return
            del self._pulls[pull.number]
            files, pull.file, pull.old = (
                (pull.file, pull.old),
                None,
                None,
            )  # a sync under way misses no file that is gone on purpose
            for file in files:
                if file is not None:
                    try:
                        file.remove()
                    except OSError as fault:
                        self._refuse(fault, file.path)

    def amend(self, number: int, **known: Any) -> None:
        """Add to the metadata of a pull what was told later: fields of TraceInfo by their names."""
        with self._lock:
            pull = self._pulls.get(number)
            if pull is None:
                return
            pull.amend(known)
        self._write_infos()

    def amend_open(self, **known: Any) -> None:
        """The same to the pull that is being written, if there is one."""
        pull = self._pull
        if pull is not None:
            self.amend(pull.number, **known)

    def file_of(self, number: int) -> Path | None:
        """The file of a pull that is over; None while it is not on the disk."""
        pull = self._pulls.get(number)
        return None if pull is None else pull.kept

    def trim(self, keep_from_s: float) -> None:
        """No pull to come begins before that moment."""
        with self._lock:
            stream = self._stream
            while stream and (stream[0][0] < self._run or (stream[0][0] == self._run and stream[0][1].time_s[-1] < keep_from_s)):
                self._let_go()

    def restart(self, run: int) -> None:
        """From now on pulls are of that run of the device's time."""
        with self._lock:
            self._run = run

    def news(self) -> list[News]:
        """What is to be told since the last call."""
        news = []
        while self._news:
            news.append(self._news.popleft())
        return news

    @property
    def has_news(self) -> bool:
        """Whether there is something to be told."""
        return bool(self._news)

    @property
    def kept_samples(self) -> int:
        """Samples that are remembered for the pull to come."""
        return self._kept

    def close(self) -> None:
        """Try once more what was refused; what is not on the disk then is lost, and that is said."""
        with self._lock:
            if self._pull is not None and not self._pull.sure:
                self.discard()
            self.end(math.inf)
            self._catch_up()
        self._write_infos()
        with self._lock:
            for pull in self._waiting:
                self._give_up(pull)
            self._waiting.clear()
            if self._mark is not None:
                self._mark.remove()
                self._mark = None

    # -- within the lock ----------------------------------------------------------------------------------------------------------

    def _let_go(self) -> None:
        self._kept -= len(self._stream.popleft()[1])

    def _take_in(self) -> None:
        while self._arrived:
            run, piece = self._arrived.popleft()
            if not len(piece):
                continue
            self._stream.append((run, piece))
            self._kept += len(piece)
            while self._kept > MOST_KEPT:
                self._let_go()
            if self._pull is not None and run == self._run:
                self._pull.pieces.append(piece)

    def _catch_up(self) -> None:
        """Bring all files to where they should be, as far as the disk lets us."""
        self._tried_s = self._ticks()
        pulls = [*self._waiting, *([self._pull] if self._pull is not None else [])]
        self._blocked = not all(self._brought_up(pull) for pull in pulls)
        self._waiting = [pull for pull in self._waiting if pull.kept is None]
        self._see_whether_back()

    def _brought_up(self, pull: _Pull) -> bool:
        path = self.folder / f"{pull.stem}.csv" if pull.file is None else pull.file.path
        try:
            if pull.file is None:
                pull.file = PullFile(self.folder, pull.stem, with_angle=pull.with_angle)
            file = pull.file
            path = file.path
            if pull.over:
                file.cut_back(pull.pieces)
                self._keep(pull, file)
            elif file.pieces < len(pull.pieces):
                file.append(pull.pieces[file.pieces :])
        except OSError as fault:
            self._refuse(fault, path)
            return False
        return True

    def _keep(self, pull: _Pull, file: PullFile) -> None:
        """All of a pull is written: have it on the disk for good and let go of it."""
        try:
            file.sync()
        except OSError:
            self._lost(pull)
            raise
        file.close()
        pull.kept, pull.pieces, pull.file = file.path, [], None
        if pull.old is not None:
            with contextlib.suppress(OSError):
                pull.old.remove()
            pull.old = None
        pull.late = self._refusal is not None

    def _lost(self, pull: _Pull) -> None:
        """What stands in the file of a pull cannot be trusted any more: it goes anew into another one.

        The first such file stays until the new one is whole: something of the pull may stand in it.
        """
        if pull.old is None:
            pull.old = pull.file
        elif pull.file is not None:
            with contextlib.suppress(OSError):
                pull.file.remove()
        pull.file, pull.info_due = None, True

    def _write_infos(self) -> None:
        """Write metadata that is due. It waits for the disk, so the lock is let go meanwhile."""
        with self._infos:
            with self._lock:
                due = [(pull, path) for pull in self._pulls.values() if pull.info_due and (path := pull.path) is not None]
            for pull, path in due:
                pull.info_due = False
                changed, pull.changed = pull.changed, {}
                try:
                    _write_info(pull, path, changed)
                    if pull.late and pull.kept is not None:
                        self._news.append(PullKept(pull.number, pull.kept))
                        pull.late = False
                except OSError as fault:
                    with self._lock:
                        pull.info_due, pull.changed = True, changed | pull.changed
                        self._infos_tried_s = self._ticks()
                        self._refuse(fault, path)
            with self._lock:
                self._see_whether_back()

    def _refuse(self, fault: OSError, path: Path) -> None:
        refusal = DiskRefuses(f"cannot be written ({fault.strerror or fault})", str(path), _MEND, len(self._waiting))
        known, self._refusal = self._refusal, refusal
        same = known is not None and (known.what, known.waiting) == (refusal.what, refusal.waiting)
        if not same or self._ticks() - self._told_s >= REMIND_S:
            self._news.append(refusal)
            self._told_s = self._ticks()

    def _see_whether_back(self) -> None:
        due = any(pull.info_due and pull.kept is not None for pull in self._pulls.values())
        if self._refusal is not None and not self._blocked and not self._waiting and not due:
            self._refusal = None
            self._news.append(DiskBack(str(self.folder)))

    def _give_up_the_oldest(self) -> None:
        while len(self._waiting) > 1 and sum(pull.samples for pull in self._waiting) > MOST_WAITING:
            self._give_up(self._waiting.pop(0))

    def _give_up(self, pull: _Pull) -> None:
        if pull.file is not None:
            pull.file.close()
        what = f"pull {pull.number} could not be written and is lost"
        self._news.append(DiskRefuses(what, str(self.folder), _MEND, 0))


def _write_info(pull: _Pull, path: Path, changed: dict[str, Any]) -> None:
    """The metadata of a pull; once it is kept only what changed, for a person may have added to it since."""
    if pull.kept is not None and info_path(path).exists():
        with contextlib.suppress(BenchError):  # it was broken since then: written anew
            amend_info(path, **changed)
            return
    write_info(path, pull.info, with_angle=pull.with_angle)


MARKS = "recorders"
"""Folder of their marks within the user's data."""
_MEND = "check the folder, its rights and the space left"


def recorder_into(folder: Path, info: TraceInfo, marks: Path | None = None) -> Recorder:
    """A recorder on the computer's own clocks."""
    return Recorder(folder, info, lambda: datetime.now().astimezone(), SystemClock().now, marks)
