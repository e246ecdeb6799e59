"""Keeper: enters the pulls of a bench into the book as they land, from a thread of its own: nobody at the lever waits for it.

A pull is on the disk before it comes here. It is noted as waiting first, then entered, then no longer noted: a book that cannot
be reached, or a program that ends on the way, costs nothing. What waits is entered with the next pull that gets through, or by
the next program that enters something.

What is heavy (SQLAlchemy) is imported in the keeper's thread, not on the way to the first painted frame.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.errors import BenchError
from drivers.items import LineUp
from rig.book.index import is_number
from rig.book.waiting import Waiting, WaitingRoom
from rig.errors import BookUnreachableError
from rig.live.news import Entered, Failed, News, PullAmended, PullJudged, PullKept

if TYPE_CHECKING:
    from analysis.results import Sensor
    from rig.book.book import Book
    from rig.files.metadata import TraceInfo

Heard = PullJudged | PullAmended | PullKept | LineUp

LATER = "it is recorded and waits: it is entered with the next pull that gets through, or by the next 'platepull job add'"


class Keeper:
    """Hears the news of a bench and enters its pulls.

    Parameters
    ----------
    open_book
        Opens the book.
    where
        Tells how the book is shown, without a password; asked in the keeper's thread.
    job, who
        The number of the job, and who pulls; None: each recording says which job it is of, and one that names none is not entered.
    room
        Where recordings are noted that wait.
    tell
        Takes `Entered` and `Failed` news; called from the keeper's thread.
    """

    def __init__(
        self,
        open_book: Callable[[], Book],
        where: Callable[[], str],
        job: str | None,
        who: str,
        room: WaitingRoom,
        tell: Callable[[News], None],
    ) -> None:
        self._open_book = open_book
        self._book: Book | None = None
        self._where, self._job, self._who = where, job, who
        self._room = room
        self._tell = tell
        self._heard: queue.SimpleQueue[Heard | None] = queue.SimpleQueue()
        self._ended = False
        self._thread = threading.Thread(target=self._run, name="platepull keeper", daemon=True)
        self._thread.start()

    def hear(self, item: News) -> None:
        """One piece of news, in order; returns at once."""
        if isinstance(item, LineUp | PullAmended | PullKept) or (
            isinstance(item, PullJudged) and item.final and item.file is not None
        ):
            self._heard.put(item)

    def close(self) -> None:
        """Enter what is left and end; may be called twice."""
        if not self._ended:
            self._ended = True
            self._heard.put(None)
            self._thread.join()

    def _run(self) -> None:
        while (item := self._heard.get()) is not None:
            try:
                if isinstance(item, LineUp):
                    self._look()
                else:
                    self._enter(item)
            except Exception as error:  # noqa: BLE001  a fault of ours too must cost no later pull its entry
                self._let_go()
                self._complain(item, error)
        self._let_go()

    def _complain(self, item: Heard, error: Exception) -> None:
        what = error.what if isinstance(error, BenchError) else f"{error!r}"
        where = self._where()
        if isinstance(item, LineUp):
            remedy = error.remedy if isinstance(error, BenchError) else "check the book"
            told = f"job {self._job} cannot be looked up: {what}; pulls are recorded all the same"
            self._tell(Failed(told, where, remedy))
        else:
            self._tell(Failed(f"pull {item.number} is not entered in its job: {what}", where, LATER))

    def _look(self) -> None:
        """Once the line stands: is the job there, and does something wait? So the first pull finds everything loaded."""
        if self._job is None:
            return  # nobody has said yet which job, and no book is made for want of one
        book = self._open()
        book.record(self._job)
        enter_waiting(book, self._room, self._tell)

    def _enter(self, item: PullJudged | PullAmended | PullKept) -> None:
        from rig.book.entries import Outcome, enter_pull, pull_draft, read_pull_draft

        assert item.file is not None
        draft = pull_draft(item.file, item.result) if isinstance(item, PullJudged) else read_pull_draft(item.file, _stated_sensor)
        if draft[1]["terms"].get("free_turn") is True:
            return  # nothing held: no pull until somebody says that it was one, and then it is told again
        job = self._job or str(draft[1]["terms"].get("job") or "")
        if not is_number(job):
            return  # of no job
        one = Waiting(self._where(), job, str(item.file.absolute()), str(draft[1]["terms"].get("who") or self._who))
        self._room.note(one)
        book = self._open()
        _, entry, outcome = enter_pull(book, job, one.who, draft)
        self._room.done(one)
        if outcome is Outcome.NEW:
            self._tell(Entered(item.number, job, entry.entry))
        enter_waiting(book, self._room, self._tell)

    def _open(self) -> Book:
        if self._book is None:
            self._book = self._open_book()
        return self._book

    def _let_go(self) -> None:
        if self._book is not None:
            self._book.close()
            self._book = None


def _stated_sensor(info: TraceInfo) -> Sensor:
    """The sensor as the recording states it, on the day of the pull."""
    return info.sensor(date.fromisoformat((info.when or "")[:10]))


def enter_waiting(book: Book, room: WaitingRoom, tell: Callable[[News], None]) -> int:
    """Enter what waits for this book; how many were. What is gone or refused is told once and waits no longer.

    Raises BookUnreachableError, and then what is left waits on.
    """
    entered = 0
    for one in room.of(str(book.place)):
        from rig.book.entries import Outcome, enter_pull, read_pull_draft

        path = Path(one.path)
        try:
            draft = read_pull_draft(path, _stated_sensor)
            _, entry, outcome = enter_pull(book, one.job, one.who, draft)
            if outcome is Outcome.NEW:
                entered += 1
                tell(Entered(None, one.job, entry.entry))
        except BookUnreachableError:
            raise
        except (BenchError, ValueError) as error:
            what = error.what if isinstance(error, BenchError) else str(error)
            remedy = f"enter it by hand: platepull job add {one.job} pull FILE"
            tell(Failed(f"a recording that waited for job {one.job} cannot be entered: {what}", one.path, remedy))
        room.done(one)
    return entered
