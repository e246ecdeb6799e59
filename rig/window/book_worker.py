"""The job book at the window: tasks on a thread of their own, one after the other; what becomes of them is handed on at a tick.

A book on a server that is away may take seconds to say so: nobody at the window waits for it. SQLAlchemy is loaded there, at the
first task, and never on the way to the first painted frame.
"""

from __future__ import annotations

import importlib
import queue
import threading
from collections import deque
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

from analysis.errors import BenchError

if TYPE_CHECKING:
    from rig.book.book import Book

Result = TypeVar("Result")
Refused = Callable[[BenchError], None]


class BookWorker:
    """Does tasks on the book that `open_book` opens at the first of them; `failed` hears of a fault nobody else listens for."""

    def __init__(self, open_book: Callable[[], Book], failed: Refused) -> None:
        self._open_book, self._failed = open_book, failed
        self._book: Book | None = None
        self._tasks: queue.SimpleQueue[Callable[[], object] | None] = queue.SimpleQueue()
        self._done: deque[Callable[[], None]] = deque()
        self._open = 0
        self._thread: threading.Thread | None = None

    @property
    def busy(self) -> bool:
        """Whether something is under way."""
        return self._open > 0

    def warm(self, modules: Sequence[str]) -> None:
        """Import these on the thread."""
        self._begin()
        self._tasks.put(lambda: [importlib.import_module(name) for name in modules])

    def do(self, task: Callable[[Book], Result], then: Callable[[Result], None], refused: Refused | None = None) -> None:
        """Do `task` on the thread; `then` gets what it gave at a later tick, `refused` (else `failed`) what it failed with."""
        self._begin()
        self._open += 1

        def run() -> None:
            try:
                result: Any = task(self._opened())
            except BenchError as fault:
                self._let_go()
                told = fault
                self._done.append(lambda: (refused or self._failed)(told))
            except Exception as fault:  # noqa: BLE001  nobody above to catch it: it is told
                self._let_go()
                ours = BenchError(f"the job book: {fault!r}", remedy="report this")
                self._done.append(lambda: (refused or self._failed)(ours))
            else:
                self._done.append(lambda: then(result))

        self._tasks.put(run)

    def tick(self) -> bool:
        """Hand on what is finished; whether anything was."""
        any_done = bool(self._done)
        while self._done:
            self._open -= 1
            self._done.popleft()()
        return any_done

    def close(self) -> None:
        """Finish what was asked for and end."""
        if self._thread is not None:
            self._tasks.put(None)
            self._thread.join()
            self._thread = None

    def _begin(self) -> None:
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name="platepull book", daemon=True)
            self._thread.start()

    def _run(self) -> None:
        while (task := self._tasks.get()) is not None:
            task()
        self._let_go()

    def _opened(self) -> Book:
        if self._book is None:
            self._book = self._open_book()
        return self._book

    def _let_go(self) -> None:
        if self._book is not None:
            self._book.close()
            self._book = None
