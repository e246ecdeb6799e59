"""Recorder: each pull into a growing CSV of its own. Writing waits for nobody; what the disk refuses is kept and tried again.

    line's thread       add        puts a piece down, never waits
    disk's thread       write      writes what came, tries again what was refused
    sync's thread       sync       has it put on the disk for good, sees that the file is still there; metadata too
    session's thread    begin, end, discard, amend, trim, restart, file_of, news

Nobody but the sync's thread waits until the disk has something for good, and it holds no lock meanwhile: that may last seconds
while another program keeps the disk busy, and what comes then must be written all the same. Without these threads
(`in_background` False) `add`, `begin`, `end` and `amend` do all of it at once.

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
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from analysis.trace import Trace
from drivers.clock import SystemClock
from rig.errors import TraceFileError
from rig.files.metadata import TraceInfo
from rig.files.trace_csv import info_path
from rig.live.left_behind import Mark, highest_number, mend
from rig.live.news import DiskBack, DiskRefuses, News, PullKept
from rig.live.pull_file import PullFile, sync, up_to
from rig.live.pull_record import PullRecord, write_metadata

SYNC_EVERY_S = 0.15  # with the 20 ms of a piece and a slow disk, a power cut costs less than 0.25 s
TRY_AGAIN_S = 2.0
KEPT_WITHIN_S = 0.15
"""So long at most the session waits, so that a pull's file can be told with its verdict: a sync mostly takes some 10 ms. Where it
takes longer, `PullKept` tells the file later; loads that come meanwhile must be found in time."""
REMIND_S = 30.0
"""A disk that refuses is told again so often, as long as it does."""
MOST_WAITING = 20_000_000
"""Samples of pulls kept in memory while the disk refuses: some 500 MB. Beyond, the oldest pull is given up, and that is said."""
MOST_KEPT = 2_000_000
"""Samples before a pull that are remembered while the session does not look: more than 60 s of any line."""
MOST_KNOWN = 1000
"""So many of the last pulls can still be amended."""


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
        self._sync_due = threading.Event()
        self._lock = threading.RLock()
        self._synced = threading.Condition(self._lock)
        self._stream: deque[tuple[int, Trace]] = deque()
        self._kept = self._run = 0
        self._pull: PullRecord | None = None
        self._pulls: dict[int, PullRecord] = {}
        self._waiting: list[PullRecord] = []
        self._infos = threading.Lock()
        self._refusal: DiskRefuses | None = None
        self._told_s = self._infos_tried_s = self._synced_s = -math.inf
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
            self._catch_up()

    def wait_to_sync(self) -> None:
        """Wait until it is time to sync: as often as a power cut asks for, and at once when a pull is over."""
        self._sync_due.wait(SYNC_EVERY_S)
        self._sync_due.clear()

    def sync(self) -> None:
        """Have what was written put on the disk for good, metadata too; others may write meanwhile."""
        self._synced_s = self._ticks()
        if self._mark is not None:
            self._mark.beat()
        with self._lock:
            files = [(pull, pull.file) for pull in self._open_pulls() if pull.file is not None and (pull.whole or not pull.over)]
        for pull, file in files:
            self._sync_one(pull, file)
        if self._refusal is None or self._ticks() - self._infos_tried_s >= TRY_AGAIN_S:
            self._write_infos()
        with self._synced:
            self._synced.notify_all()

    def _sync_one(self, pull: PullRecord, file: PullFile) -> None:
        try:
            with self._lock:
                if pull.file is not file:
                    return
                descriptor, whole = file.another(), pull.whole
            try:
                sync(descriptor, file.path)
            finally:
                os.close(descriptor)
        except OSError as fault:
            with self._lock:
                if pull.file is file:
                    self._lost(pull)
                    # One under way is written anew at once: it may only have been moved away.
                    pull.refused_s = self._ticks() if pull.over else None
                    self._refuse(fault, file.path)
            return
        with self._lock:
            old = self._keep(pull, file) if whole and pull.file is file else None
        if old is not None:
            with contextlib.suppress(OSError):
                old.remove()

    # -- the session's thread -----------------------------------------------------------------------------------------------------

    @property
    def recording(self) -> bool:
        """Whether something is being written."""
        return self._pull is not None

    def begin(self, number: int, from_s: float, *, with_angle: bool, sure: bool = True) -> None:
        """A load began at that moment of the stream: open its file, with what came since. Begun again, it is `sure`."""
        unsure = self._pull
        if unsure is not None and not unsure.sure:
            if (unsure.number, unsure.from_s) == (number, from_s):
                unsure.sure = sure
                return
            self.discard()
        now = self._clock()
        info = replace(self.info, number=number, when=now.isoformat(timespec="milliseconds"), unfinished=True)
        with self._lock:
            self._take_in()
            pieces = [piece.between(from_s, math.inf) for run, piece in self._stream if run == self._run]
            stem = f"pull_{now:%Y%m%d_%H%M%S}_{number:03d}"
            pieces = [each for each in pieces if len(each)]
            self._pull = self._pulls[number] = PullRecord(number, info, stem, with_angle, pieces, from_s, sure)
            while len(self._pulls) > MOST_KNOWN:
                del self._pulls[min(self._pulls)]
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
            pull.refused_s = None  # it is tried at once
            self._waiting.append(pull)
            self._catch_up()
            self._give_up_the_oldest()
        self._sync_soon()

    def discard(self) -> None:
        """What is being written was no pull: take its files away again."""
        with self._lock:
            pull, self._pull = self._pull, None
            if pull is None:
                return
            del self._pulls[pull.number]
            files = [file for file in (pull.file, pull.old) if file is not None]
            pull.file = pull.old = None  # a sync under way misses no file that is gone on purpose
        for file in files:
            try:
                file.remove()
            except OSError as fault:
                with self._lock:
                    self._refuse(fault, file.path)

    def amend(self, number: int, **known: Any) -> None:
        """Add to the metadata of a pull what was told later: fields of TraceInfo by their names."""
        with self._lock:
            pull = self._pulls.get(number)
            if pull is None:
                return
            pull.amend(known)
        self._sync_soon()

    def amend_open(self, **known: Any) -> None:
        """The same to the pull that is being written, if there is one."""
        pull = self._pull
        if pull is not None:
            self.amend(pull.number, **known)

    def file_of(self, number: int) -> Path | None:
        """The file of a pull that is over, once it and all that is told of it is on the disk for good.

        Waits a moment for that. None where it is not yet or the disk refuses: then `PullKept` tells it.
        """
        with self._synced:
            pull = self._pulls.get(number)
            if pull is None or not pull.over:
                return None
            if self.in_background:
                self._synced.wait_for(lambda: pull.settled or self._refusal is not None, KEPT_WITHIN_S)
            if pull.settled:
                return pull.kept
            pull.late = True
            return None

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
        if self._pull is not None and not self._pull.sure:
            self.discard()
        self.in_background = False
        self.end(math.inf)
        with self._lock:
            for pull in self._waiting:
                pull.refused_s = None
            self._catch_up()
        self._infos_tried_s = -math.inf
        self.sync()
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

    def _open_pulls(self) -> list[PullRecord]:
        return [*self._waiting, *([self._pull] if self._pull is not None else [])]

    def _catch_up(self) -> None:
        """Bring all files to where they should be, as far as the disk lets us."""
        for pull in self._open_pulls():
            if pull.refused_s is None or self._ticks() - pull.refused_s >= TRY_AGAIN_S:
                self._bring_up(pull)
        self._see_whether_back()

    def _bring_up(self, pull: PullRecord) -> None:
        path = self.folder / f"{pull.stem}.csv" if pull.file is None else pull.file.path
        try:
            if pull.file is None:
                pull.file = PullFile(self.folder, pull.stem, with_angle=pull.with_angle)
            file = pull.file
            path = file.path
            if pull.over and not pull.whole:
                file.cut_back(pull.pieces)
                pull.whole = True
            elif not pull.over and file.pieces < len(pull.pieces):
                file.append(pull.pieces[file.pieces :])
            pull.refused_s = None
        except OSError as fault:
            pull.refused_s = self._ticks()
            self._refuse(fault, path)

    def _keep(self, pull: PullRecord, file: PullFile) -> PullFile | None:
        """All of a pull is on the disk for good: let go of it. The file that it replaces, to be taken away."""
        file.close()
        pull.kept, pull.pieces, pull.file = file.path, [], None
        pull.late |= self._refusal is not None
        self._waiting.remove(pull)
        old, pull.old = pull.old, None
        return old

    def _sync_soon(self) -> None:
        """Have the sync's thread look at once; without one do it here."""
        if self.in_background:
            self._sync_due.set()
        else:
            self.sync()

    def _lost(self, pull: PullRecord) -> None:
        """What stands in the file of a pull cannot be trusted any more: it goes anew into another one.

        The first such file stays until the new one is whole: something of the pull may stand in it.
        """
        if pull.old is None:
            pull.old = pull.file
        elif pull.file is not None:
            with contextlib.suppress(OSError):
                pull.file.remove()
        pull.file, pull.whole, pull.info_due = None, False, True

    def _write_infos(self) -> None:
        """Write metadata that is due. It waits for the disk, so the lock is let go meanwhile."""
        with self._infos:
            with self._lock:
                due = [(pull, path) for pull in self._pulls.values() if pull.info_due and (path := pull.path) is not None]
            for pull, path in due:
                with self._lock:
                    pull.info_due, pull.info_under_way = False, True
                    changed, pull.changed = pull.changed, {}
                try:
                    write_metadata(pull, path, changed)
                except OSError as fault:
                    with self._lock:
                        pull.info_due, pull.changed = True, changed | pull.changed
                        self._infos_tried_s = self._ticks()
                        self._refuse(fault, path)
                finally:
                    with self._lock:
                        pull.info_under_way = False
                        if pull.late and pull.settled and pull.kept is not None:
                            self._news.append(PullKept(pull.number, pull.kept))
                            pull.late = False
                        taken_away = pull.path != path
                if taken_away and not path.exists():  # meanwhile: it was no pull, or is written into another file
                    with contextlib.suppress(OSError):
                        info_path(path).unlink(missing_ok=True)
            with self._lock:
                self._see_whether_back()

    def _refuse(self, fault: OSError, path: Path) -> None:
        refusal = DiskRefuses(
            f"cannot be written ({fault.strerror or fault})",
            str(path),
            _MEND,
            sum(pull.refused_s is not None for pull in self._waiting),
        )
        known, self._refusal = self._refusal, refusal
        same = known is not None and (known.what, known.waiting) == (refusal.what, refusal.waiting)
        if not same or self._ticks() - self._told_s >= REMIND_S:
            self._news.append(refusal)
            self._told_s = self._ticks()

    def _see_whether_back(self) -> None:
        due = any(pull.info_due and pull.kept is not None for pull in self._pulls.values())
        refused = any(pull.refused_s is not None for pull in self._open_pulls())
        if self._refusal is not None and not refused and not self._waiting and not due:
            self._refusal = None
            self._news.append(DiskBack(str(self.folder)))

    def _give_up_the_oldest(self) -> None:
        while len(self._waiting) > 1 and sum(pull.samples for pull in self._waiting) > MOST_WAITING:
            self._give_up(self._waiting.pop(0))

    def _give_up(self, pull: PullRecord) -> None:
        for file in (pull.file, pull.old):
            if file is not None:
                file.close()
        what = f"pull {pull.number} could not be written and is lost"
        self._news.append(DiskRefuses(what, str(self.folder), _MEND, 0))


MARKS = "recorders"
"""Folder of their marks within the user's data."""
_MEND = "check the folder, its rights and the space left"


def recorder_into(folder: Path, info: TraceInfo, marks: Path | None = None) -> Recorder:
    """A recorder on the computer's own clocks."""
    return Recorder(folder, info, lambda: datetime.now().astimezone(), SystemClock().now, marks)
