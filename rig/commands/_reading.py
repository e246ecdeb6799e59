"""Reading many files: names with wildcards, and all cores where that pays."""

from __future__ import annotations

import glob
import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Protocol, TypeVar

from analysis.errors import BenchError
from rig.words.retold import fault_text

PARALLEL_FROM_BYTES = 8_000_000  # below about a second of work, starting more processes costs more than it saves


class OfFile(Protocol):
    """A task about one file."""

    @property
    def path(self) -> str:
        """The file."""


Task = TypeVar("Task", bound=OfFile)
Outcome = TypeVar("Outcome")


def spread(names: Sequence[str]) -> list[str]:
    """The files named, with wildcards spread where the shell did not (as on Windows)."""
    found: list[str] = []
    for name in names:
        matches = sorted(glob.glob(name)) if any(mark in name for mark in "*?[") and not Path(name).exists() else []
        found += matches or [name]
    return found


def told_of(path: str, error: BenchError) -> str:
    """What is wrong with a file as one line that names it, even where the fault itself does not know of which file it is."""
    line = " ".join(fault_text(error).split())
    return line if error.where else f"{path}: {line}"


@contextmanager
def mapped(work: Callable[[Task], Outcome], tasks: Sequence[Task]) -> Iterator[Iterator[Outcome]]:
    """Do the work on each file in order, over all cores where that pays."""
    cores = os.cpu_count() or 1
    size = sum(os.path.getsize(task.path) for task in tasks if os.path.isfile(task.path))
    if cores < 2 or len(tasks) < 2 or size < PARALLEL_FROM_BYTES:
        yield map(work, tasks)
        return
    from concurrent.futures import ProcessPoolExecutor  # not for the one file of most runs

    with ProcessPoolExecutor(min(cores, len(tasks))) as pool:
        yield pool.map(work, tasks, chunksize=max(1, min(16, len(tasks) // (4 * cores))))
