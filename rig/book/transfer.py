"""A whole book into another: backup, restore, move between a file and a server; and a book made again from its recordings."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import closing
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import sqlalchemy as sa

from analysis.results import Sensor
from rig.book import schema
from rig.book.book import Book
from rig.book.entries import Outcome, enter_pull, read_pull_draft, stated_terms, tidy
from rig.book.events import Kind
from rig.book.index import is_number
from rig.book.place import Place
from rig.book.steps import own_steps
from rig.book.versions import copy_file
from rig.errors import BookError
from rig.files.metadata import TraceInfo

_ROWS_AT_ONCE = 2000
"""How many rows are on the way at a time: enough to be quick, few enough for any computer."""


@dataclass(frozen=True, slots=True)
class Counted:
    """How much was taken over."""

    jobs: int
    events: int


def copy_book(source: Book, target: Book) -> Counted:
    """Copy everything into an empty book, in one transaction; places of files are written as the target writes them.

    Rows are taken as they are, chains and what is made from them, so that `verify` finds in the copy what it finds in the source.

    Raises
    ------
    BookError
        Where the target holds a job already.
    """
    with source.reading() as taking, target.writing() as giving:
        must_be_empty(giving, target)
        for name in ("numbers", "events", *schema.INDEXES):
            table = schema.metadata.tables[name]
            result = taking.execution_options(yield_per=_ROWS_AT_ONCE).execute(sa.select(table))
            with closing(result):
                for part in result.mappings().partitions():
                    rows = [dict(row) for row in part]
                    if name == "files":
                        rows = [row | {"path": target.place.path_of(source.place.file_at(row["path"]))} for row in rows]
                    giving.execute(table.insert(), rows)
        return _counted(giving)


def must_be_empty(connection: sa.Connection, book: Book) -> None:
    """Raises BookError where the book holds a job."""
    jobs = _counted(connection).jobs
    if jobs:
        raise BookError(
            f"holds {jobs} jobs already", where=str(book.place), remedy="name a book that is not there yet, or an empty one"
        )


def _counted(connection: sa.Connection) -> Counted:
    return Counted(
        *(connection.scalar(sa.select(sa.func.count()).select_from(table)) or 0 for table in (schema.numbers, schema.events))
    )


def count(book: Book) -> Counted:
    """How many jobs and entries a book holds."""
    with book.reading() as connection:
        return _counted(connection)


def back_up(book: Book, file: Path, clock: Callable[[], datetime]) -> Counted:
    """Copy the book, wherever it is, into a new file; what stands under the name in the end is whole. Raises BookError."""
    if file.exists():
        raise BookError("is there already", where=str(file), remedy="name a file that is not there yet")
    draft = file.with_name(file.name + ".part")
    draft.unlink(missing_ok=True)
    with Book(Place.of(str(draft)), clock) as target:
        counted = copy_book(book, target)
    draft.replace(file)
    return counted


def restore(book: Book, file: Path, clock: Callable[[], datetime]) -> Counted:
    """Copy a backup into an empty book; the backup itself is not touched, whatever its version. Raises BookError."""
    if not file.is_file():
        raise BookError("there is no such backup", where=str(file), remedy="check the path")
    with book.reading() as connection:
        must_be_empty(connection, book)
    with TemporaryDirectory(prefix="platepull_") as folder:
        copy = Path(folder) / file.name
        copy_file(file, copy)
        place = replace(Place.of(str(copy)), folder=Place.of(str(file)).folder)
        with Book(place, clock) as source:
            return copy_book(source, book)


# -- from recordings --------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Rebuilt:
    """What came of a folder of recordings: jobs, pulls entered, and files that were left out, with why."""

    jobs: tuple[str, ...]
    pulls: int
    left_out: tuple[tuple[Path, str], ...]


def rebuild(book: Book, folder: Path, who: str, sensor_of: Callable[[TraceInfo], Sensor]) -> Rebuilt:
    """Enter every recording below a folder into an empty book, grouped by the job that its metadata names.

    A job keeps its number where it is one of a book's; else (a name, or nothing) its pulls come under a new number. Only the pulls
    come back, with new chains: what else a job held stood in the book alone.

    Raises
    ------
    BookError
        Where the book holds a job already, or the folder is not there.
    """
    from analysis.errors import BenchError

    if not folder.is_dir():
        raise BookError("there is no such folder", where=str(folder), remedy="check the path")
    with book.reading() as connection:
        must_be_empty(connection, book)
    groups, left_out = _grouped(sorted(folder.rglob("*.csv")))
    pulls, jobs = 0, []
    for stated, files in sorted(groups.items(), key=lambda group: (not is_number(group[0]), group[0])):
        drafts = []
        for _, path in sorted(files):
            try:
                drafts.append(read_pull_draft(path, sensor_of))
            except BenchError as error:
                left_out.append((path, " ".join(str(error).split())))
        if not drafts:
            continue
        terms = drafts[0][1]["terms"]
        content = {
            "unit": tidy(str(terms.get("unit") or stated or "not stated")),
            "customer": terms.get("customer"),
            "complaint": None,
            "steps": [step.document() for step in own_steps()],
        }
        job = book.open_job(content, who, number=stated if is_number(stated) else None).job
        text = "opened again from recordings" + ("" if is_number(stated) or not stated else f" that name the job '{stated}'")
        book.append(job, who, lambda _, text=text: (Kind.NOTE, {"text": text}, []))  # type: ignore[misc]
        pulls += sum(enter_pull(book, job, who, draft)[2] is Outcome.NEW for draft in drafts)
        jobs.append(job)
    return Rebuilt(tuple(jobs), pulls, tuple(left_out))


def _grouped(files: Iterable[Path]) -> tuple[dict[str, list[tuple[str, Path]]], list[tuple[Path, str]]]:
    """Recordings by the job their metadata names, each with its moment; and what could not be read, with why."""
    groups: dict[str, list[tuple[str, Path]]] = {}
    left_out: list[tuple[Path, str]] = []
    for path in files:
        try:
            terms = stated_terms(path)
        except (ValueError, OSError, AttributeError, TypeError) as fault:
            left_out.append((path, f"its metadata cannot be read ({fault})"))
            continue
        groups.setdefault(str(terms.get("job") or ""), []).append((str(terms.get("when") or ""), path))
    return groups, left_out
