"""Bench: the threads behind every live view, and what a window or terminal may ask of them.

    line thread:     source.pieces() -> Session.take -> recorder's list, Inbox   (60 s; what does not fit is counted and told)
    disk thread:     recorder's list -> the pull's file; waits for nobody but the disk
    sync thread:     has the file put on the disk for good, metadata too
    ahead thread:    loads, once the window has been painted, what the first pull would have to load
    session thread:  Inbox -> Session.look -> news and scope

Everything public here returns at once and may be called from any one thread (the window's): nothing waits for the line, the disk or
the analysis. Only `close` waits, and only for the threads to end (the line stops within 50 ms).

    with Bench(source, Session(sensor=..., window=..., recorder=...)) as bench:
        every 33 ms:
            for item in bench.news(): ...          # rig.live.news.News, in order; `Ended` is the last there will ever be
            for piece in bench.scope(): ...        # analysis.trace.Trace pieces since the last call, in order
            bench.status                           # Status, a frozen picture of session and line
        bench.ask(SetWindow(Window.parse("35..60 N.m")))   # the last pull comes again in `news`, judged anew, under its number
        bench.ask(ZeroNow())
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import partial
from types import TracebackType
from typing import Protocol, Self, TypeVar

import numpy as np

from analysis.errors import BenchError
from analysis.pull.filters import Filter, seen_through
from analysis.trace import EMPTY, Trace
from drivers.codec import WireFaults
from drivers.items import ConnectionLost, LineUp, SourceItem
from drivers.source import Source
from rig.live.inbox import Close, Inbox
from rig.live.news import Ended, Failed, News, log_news
from rig.live.recorder import SYNC_EVERY_S, Recorder
from rig.live.session import Session
from rig.live.taken import Taken
from rig.live.wishes import WISHES, Wish
from rig.log import log_fault

T = TypeVar("T")

INBOX_PIECES = 3000  # 60 s of pieces of 20 ms
SCOPE_PIECES = 1500  # 30 s of them: it is only the picture, the oldest falls out
RATE_OVER_S = 2.0
LOAD_AFTER_S = 1.0
"""The window's first frame and the line come before what only a pull wants (it takes 0.7 s, on a busy machine 4 s)."""


@dataclass(frozen=True, slots=True)
class LineFigures:
    """The line at a glance.

    samples           received since the start
    rate_hz           over the last 2 s of device time; None before there is enough
    faults            what the decoder could not use
    queue_high_water  most pieces that ever waited between line and session
    dropped           samples lost because that queue was full (0 on a healthy bench)
    up                the line is open
    """

    samples: int = 0
    rate_hz: float | None = None
    faults: WireFaults = field(default_factory=WireFaults)
    queue_high_water: int = 0
    dropped: int = 0
    up: bool = False


@dataclass(frozen=True, slots=True)
class Status:
    """Session and line at a glance, as of the last item that the session took.

    pulling      a pull is under way
    exercising   loads are taken for exercise of the sensor
    pulls        pulls that are over
    zero_nm      torque at rest, N.m, as it is learnt from the stream; subtract it to show torque
    line         the line
    """

    pulling: bool = False
    exercising: bool = False
    pulls: int = 0
    zero_nm: float = 0.0
    line: LineFigures = field(default_factory=lambda: LineFigures())


class Listener(Protocol):
    """Hears the news as they come; must return at once."""

    def hear(self, item: News) -> None:
        """One piece of news."""

    def close(self) -> None:
        """There will be no more; may wait for what is under way."""


def load_ahead() -> None:
    """Have loaded what the reading of a slow sensor needs: the session would find no load while its first pull loads it."""
    seen_through(Filter.SECOND_ORDER, 0.1, np.zeros(2), 0.01)


class Bench:
    """Runs a source through a session on threads of its own. Starts when made; `close` it (or use `with`).

    When the source ends by itself, `Ended` comes in the news; the bench still answers (another window, the news) until closed.

    patient    the source can wait (a replay), so a full inbox makes it wait instead of dropping samples
    listener   makes somebody who hears all news in the session thread (the keeper of the job book), given a way to add to them
    """

    def __init__(
        self,
        source: Source,
        session: Session,
        *,
        patient: bool = False,
        listener: Callable[[Callable[[News], None]], Listener] | None = None,
    ) -> None:
        self._source = source
        self._session = session
        self._stop = threading.Event()
        self._inbox: Inbox[Taken | SourceItem | Failed | Wish | Close] = Inbox(INBOX_PIECES, patient=patient)
        self._news: deque[News] = deque()
        self._fresh = threading.Event()
        self.wake: Callable[[], None] = lambda: None
        """Called in the session thread when there are news, so that who polls need not wait for the next turn; returns at once."""
        self._scope: deque[Trace] = deque(maxlen=SCOPE_PIECES)
        self._recent: deque[tuple[float, int]] = deque()
        self._dropped = 0
        self._status = Status(zero_nm=session.zero_nm)
        self._error: Exception | None = None
        self._listener = None if listener is None else listener(lambda item: self._add([item]))
        self._closed = threading.Event()
        self._recorder = session.recorder
        self._fault = ""
        runs: dict[str, Callable[[], None]] = {"line": self._run_line, "session": self._run_session, "ahead": self._run_ahead}
        if self._recorder is not None:
            self._recorder.in_background = True
            runs["disk"] = partial(self._run_disk, self._recorder)
            runs["sync"] = partial(self._run_sync, self._recorder)
        self._threads = {name: threading.Thread(target=run, name=f"platepull {name}", daemon=True) for name, run in runs.items()}
        for thread in self._threads.values():
            thread.start()

    def news(self) -> list[News]:
        """All news since the last call, in order."""
        return _drain(self._news)

    def wait_for_news(self, timeout_s: float) -> list[News]:
        """News as soon as there is some, or nothing after `timeout_s`. For the terminal; a window polls `news`."""
        self._fresh.wait(timeout_s)
        self._fresh.clear()
        return self.news()

    def scope(self) -> list[Trace]:
        """Pieces of the stream since the last call, oldest first; at most the newest 30 s or so."""
        return _drain(self._scope)

    @property
    def status(self) -> Status:
        """How session and line do, as of the last item taken."""
        return self._status

    @property
    def error(self) -> Exception | None:
        """What ended the source; None while it runs or when it ended in good order."""
        return self._error

    def ask(self, wish: Wish) -> None:
        """Pass a wish to the session; what comes of it is in the news, a refusal as `Failed`."""
        self._inbox.tell(wish)

    def inform(self, item: News) -> None:
        """Tell the listener what happened outside the session."""
        if self._listener is not None:
            self._listener.hear(item)

    def close(self) -> None:
        """Stop the threads; a pull under way is closed, its file kept, and its news can still be drained. May be called twice."""
        self._stop.set()
        self._threads["line"].join()
        self._inbox.tell(Close())
        self._threads["session"].join()
        self._closed.set()
        for thread in self._threads.values():
            thread.join()
        if self._recorder is not None:
            self._recorder.close()
            self._tell(self._recorder.news())
        if self._listener is not None:
            self._listener.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.close()

    def _run_line(self) -> None:
        last: Exception | None = None
        try:
            for item in self._source.pieces(self._stop):
                taken = self._session.take(item)
                if not isinstance(taken, Taken):
                    self._inbox.tell(taken)
                elif not self._inbox.offer(taken, self._stop):
                    self._dropped += len(taken.piece)
        except Exception as error:  # noqa: BLE001  nobody above to catch it: it goes down the queue and is told
            last = error
        self._inbox.tell(Close(last))

    def _run_ahead(self) -> None:
        if not self._stop.wait(LOAD_AFTER_S):
            load_ahead()

    def _run_disk(self, recorder: Recorder) -> None:
        while not self._closed.is_set():
            recorder.wait(SYNC_EVERY_S)
            self._do(recorder.write)
            if recorder.has_news:
                self._inbox.tell(EMPTY)

    def _run_sync(self, recorder: Recorder) -> None:
        while not self._closed.is_set():
            recorder.wait_to_sync()
            self._do(recorder.sync)

    def _do(self, what: Callable[[], None]) -> None:
        try:
            what()
        except Exception as error:  # noqa: BLE001  a fault of ours: told and logged, and tried again, for pulls must be kept
            if repr(error) != self._fault:
                self._fault = repr(error)
                self._inbox.tell(Failed(f"recording met a fault of ours ({error!r})", "recorder", "report this"))
                log_fault(error)

    def _run_session(self) -> None:
        try:
            self._step_all()
        except Exception as error:  # noqa: BLE001  a fault of ours: told, and the line is stopped instead of filling a dead queue
            self._stop.set()
            self._end(error)

    def _step_all(self) -> None:
        ended = False
        while True:
            item = self._inbox.take()
            if isinstance(item, Close):
                if ended:
                    return
                ended = True
                self._tell(self._session.finish())
                self._end(item.error)
                continue  # wishes (another window for the last pull) are still met until the bench is closed
            if isinstance(item, WISHES):
                self._tell(self._session.carry_out(item))
                self._note_session()
                continue
            self._tell(self._session.look(item))
            self._note_line(item.piece if isinstance(item, Taken) else item)
            self._note_dropped()

    def _note_dropped(self) -> None:
        dropped, line = self._dropped, self._status.line
        if dropped > line.dropped:
            lost = dropped - line.dropped
            self._tell([Failed(f"{lost} samples came faster than they could be taken and are lost", "line", "lower the rate")])
            self._note_session(replace(line, dropped=dropped))

    def _note_session(self, line: LineFigures | None = None) -> None:
        session = self._session
        self._status = Status(
            session.pulling, session.exercising, session.pulls, session.zero_nm, self._status.line if line is None else line
        )

    def _end(self, error: Exception | None) -> None:
        self._error = error
        self._note_dropped()
        self._note_session(replace(self._status.line, up=False, faults=replace(self._source.faults)))
        if isinstance(error, BenchError):
            self._tell([Failed(error.what, error.where, error.remedy), Ended(error.what)])
        elif error is not None:
            self._tell(
                [Failed(f"the bench stopped on a fault of ours ({error!r})", "bench", "report this"), Ended("a fault of ours")]
            )
        else:
            self._tell([Ended()])

    def _tell(self, news: list[News]) -> None:
        self._add(news)
        log_news(news)
        if self._listener is not None:
            for item in news:
                self._listener.hear(item)

    def _add(self, news: list[News]) -> None:
        if news:
            self._news.extend(news)
            self._fresh.set()
            self.wake()

    def _note_line(self, item: SourceItem | Failed) -> None:
        figures = self._status.line
        if isinstance(item, Trace) and len(item):
            self._scope.append(self._session.corrected)
            samples = figures.samples + len(item)
            self._recent.append((float(item.time_s[-1]), samples))
            while self._recent[-1][0] - self._recent[0][0] > RATE_OVER_S:
                self._recent.popleft()
            span_s = self._recent[-1][0] - self._recent[0][0]
            rate_hz = (self._recent[-1][1] - self._recent[0][1]) / span_s if span_s > 0 else None
            figures = replace(figures, samples=samples, rate_hz=rate_hz)
        elif isinstance(item, LineUp | ConnectionLost):
            figures = replace(figures, up=isinstance(item, LineUp))
        self._note_session(replace(figures, faults=replace(self._source.faults), queue_high_water=self._inbox.high_water))


def _drain(queue: deque[T]) -> list[T]:
    items: list[T] = []
    while queue:
        items.append(queue.popleft())
    return items
