"""Means: what the window needs of the computer it runs on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # the book loads SQLAlchemy, which no start of the window waits for
    from analysis.verdict.apart import Scatter
    from rig.book.book import Book
    from rig.book.waiting import WaitingRoom
    from rig.window.memory import Remembered
    from rig.window.openers import Benches
    from rig.window.sounds import Sounds


@dataclass(frozen=True, slots=True)
class BookMeans:
    """What the window needs of the job book, opened by none of it until a task asks.

    open      opens the book, on the thread that asks
    scatter   from pull to pull, where the book knows none
    who       who enters, where nobody is named on the page
    workshop  what stands on printed sheets
    waiting   where recordings are noted that wait to be entered
    folder    where sheets and pages that are made go, unless a person says where
    """

    open: Callable[[], Book]
    scatter: Scatter
    who: str
    workshop: str | None
    software: str
    waiting: WaitingRoom
    folder: Path


@dataclass(frozen=True, slots=True)
class Means:
    """How to open benches, the sounds, the window's memory, the day, whether to end, the system's viewer of folders."""

    benches: Benches | None = None
    sounds: Sounds | None = None
    remember: Callable[[Remembered], None] = lambda what: None
    today: Callable[[], date] = date.today
    now: Callable[[], datetime] = field(default_factory=lambda: partial(datetime.now, UTC))
    asked_to_end: Callable[[], bool] = lambda: False
    show_folder: Callable[[Path], object] | None = None
    """Opens a folder, or a file that was made, in the system's own viewer."""
    book: BookMeans | None = None
