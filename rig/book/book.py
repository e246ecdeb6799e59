"""The book: opening it (made, migrated or refused), appending entries, looking. The one place that talks to the database."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import sqlalchemy as sa
from sqlalchemy.engine import Connection
from sqlalchemy.exc import DBAPIError

from rig.book import schema
from rig.book.events import FIRST_PREVIOUS, Event, Kind, sealed
from rig.book.index import Rows, number_parts, rows_of
from rig.book.place import Place
from rig.book.record import JobRecord, record_of
from rig.errors import BookError, BookUnreachableError

BUSY_S = 30.0
"""How long an entry waits while another program writes to the same file."""

CONNECT_S = 5
"""How long a database server may take to answer before it counts as away."""

_NUMBERS_LOCK = 0x706C6174
"""Key of the server's advisory lock that is held while numbers are handed out or the book is migrated; any fixed number will do."""

Draft = tuple[Kind, Mapping[str, Any], Sequence[Path]]
"""What is to be entered: kind, content, and the files it names, in the order of `content['files']`."""


@dataclass(frozen=True, slots=True)
class JobLine:
    """A job as a list shows it. Moments are ISO 8601 with offset."""

    job: str
    unit: str
    customer: str | None
    complaint: str | None
    opened_at: str
    closed_at: str | None


class Book:
    """An open book.

    Parameters
    ----------
    place
        Where it is; made if it is not there, migrated if it is of an older version.
    clock
        Tells the moment of an entry, with its offset.

    Raises
    ------
    BookUnreachableError
        Where it cannot be opened.
    """

    def __init__(self, place: Place, clock: Callable[[], datetime]) -> None:
        self.place = place
        self._clock = clock
        self._engine = _engine(place)
        try:
            from rig.book.versions import bring_up_to_date

            with self._told():
                bring_up_to_date(self._engine, place, self._clock)
        except BaseException:
            self._engine.dispose()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    # -- entering -----------------------------------------------------------------------------------------------------------------

    def open_job(self, content: Mapping[str, Any], who: str, files: Sequence[Path] = (), *, number: str | None = None) -> JobRecord:
        """A new job under a number of its own: year of the clock and counter, or the `number` it had in another book.

        Raises BookUnreachableError; BookError where that number is taken.
        """
        with self.writing() as connection:
            lock_numbers(connection)
            moment = self._clock()
            if number is None:
                used = sa.select(sa.func.max(schema.numbers.c.counter)).where(schema.numbers.c.year == moment.year)
                job = f"{moment.year:04d}-{(connection.scalar(used) or 0) + 1:04d}"
            else:
                job = number
                must_be_free(connection, job)
            event = sealed(job, 1, moment, who, Kind.OPENED, content, FIRST_PREVIOUS)
            take_number(connection, event)
            return self._store(connection, (), event, files, None)

    def append(self, job: str, who: str, draft: Callable[[JobRecord], Draft | None]) -> JobRecord:
        """Append an entry to a job.

        Parameters
        ----------
        job
            Its number.
        who
            Who enters it.
        draft
            Given the job's record as it stands in the same transaction, what to enter; None: nothing is. What it raises undoes all.

        Returns
        -------
        JobRecord
            The record with the entry; as it was where nothing was entered.

        Raises
        ------
        BookError
            Where there is no such job.
        BookUnreachableError
            Where the database does not take it.
        """
        with self.writing() as connection:
            held = sa.select(schema.jobs.c.job).where(schema.jobs.c.job == job).with_for_update()
            connection.execute(held)  # several benches on one job: one after the other
            events = events_of(connection, job)
            record = _whole(job, events)
            drafted = draft(record)
            if drafted is None:
                return record
            kind, content, files = drafted
            event = sealed(job, len(events) + 1, self._clock(), who, kind, content, events[-1].hash)
            return self._store(connection, events, event, files, record)

    def adopt(self, events: Sequence[Event], places: Mapping[tuple[int, int], Path]) -> JobRecord:
        """Take over a whole job with its number and chain as they are, which hold; `places` by entry and part says where files lie.

        Raises BookError where the number is taken.
        """
        with self.writing() as connection:
            lock_numbers(connection)
            must_be_free(connection, events[0].job)
            take_number(connection, events[0])
            record = record_of(events)
            connection.execute(schema.events.insert(), [_row(event) for event in events])
            paths = {key: self.place.path_of(path) for key, path in places.items()}
            write_rows(connection, {}, rows_of(record), lambda row: paths[row["entry"], row["part"]])
            return record

    def _store(
        self, connection: Connection, events: Sequence[Event], event: Event, files: Sequence[Path], then: JobRecord | None
    ) -> JobRecord:
        before: Rows = {} if then is None else rows_of(then)
        record = record_of([*events, event])
        paths = {part: self.place.path_of(path) for part, path in enumerate(files)}
        connection.execute(schema.events.insert(), _row(event))
        write_rows(connection, before, rows_of(record), lambda row: paths[row["part"]])
        if event.kind == Kind.AMENDED:  # the files may have moved with their new metadata
            put_files(connection, event.job, event.content["entry"], paths)
        return record

    # -- looking ------------------------------------------------------------------------------------------------------------------

    def jobs(self, search: str | None = None, *, open_only: bool = False, limit: int | None = None) -> list[JobLine]:
        """The jobs, newest first; with `search` those that hold all of its words in number, texts, notes, parts or oils."""
        table = schema.jobs
        query = sa.select(*(table.c[name] for name in JobLine.__slots__)).order_by(table.c.year.desc(), table.c.counter.desc())
        if open_only:
            query = query.where(table.c.closed_at.is_(None))
        if search is not None and search.strip():
            words = search.casefold().split()
            for word in words:
                texts = sa.select(schema.texts.c.job).where(schema.texts.c.folded.contains(word, autoescape=True))
                query = query.where(table.c.job.in_(texts) | table.c.job.contains(word, autoescape=True))
        if limit is not None:
            query = query.limit(limit)
        with self.reading() as connection:
            return [JobLine(*row) for row in connection.execute(query)]

    def last_job(self) -> str:
        """The number of the job opened last. Raises BookError where there is none."""
        lines = self.jobs(limit=1)
        if not lines:
            raise BookError("the book holds no job yet", where=str(self.place), remedy="open one: platepull job new --unit-id TEXT")
        return lines[0].job

    def record(self, job: str) -> JobRecord:
        """The record of a job. Raises BookError where there is none or its chain was edited into nonsense."""
        return _whole(job, self.events(job))

    def events(self, job: str) -> list[Event]:
        """The entries of a job in order; empty where there is no such job."""
        with self.reading() as connection:
            return events_of(connection, job)

    def paths(self, job: str) -> dict[tuple[int, int], str]:
        """Where the files of a job lie, as the book writes it, by entry and place in the entry."""
        table = schema.files
        with self.reading() as connection:
            rows = connection.execute(sa.select(table.c.entry, table.c.part, table.c.path).where(table.c.job == job))
            return {(row.entry, row.part): row.path for row in rows}

    def where_else(self, sha256: str, job: str) -> list[tuple[str, int]]:
        """Pulls of the same bytes in other jobs: number and entry."""
        table = schema.pulls
        query = sa.select(table.c.job, table.c.entry).where(table.c.sha256 == sha256, table.c.job != job)
        with self.reading() as connection:
            return [(row.job, row.entry) for row in connection.execute(query.order_by(table.c.job, table.c.entry))]

    def faults(self) -> list[str]:
        """What the database itself finds wrong with its file; a server looks after its own."""
        if self.place.file is None:
            return []
        with self.reading() as connection:
            told = [str(row[0]) for row in connection.exec_driver_sql("PRAGMA integrity_check")]
            return [] if told == ["ok"] else told

    # -- transactions -------------------------------------------------------------------------------------------------------------

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A transaction that only looks."""
        with self._told(), self._engine.connect() as connection:
            if self.place.file is None:  # one moment, whatever others enter meanwhile, as a file gives it
                connection.execution_options(isolation_level="REPEATABLE READ")
            with connection.begin():
                yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A transaction that writes: all of it or nothing stands when the block is left."""
        with self._told(), self._engine.connect() as connection:
            connection.execution_options(writing=True)
            with connection.begin():
                yield connection

    @contextmanager
    def _told(self) -> Iterator[None]:
        """Turns the database's own errors into a sentence."""
        try:
            yield
        except DBAPIError as fault:
            raise _unreachable(self.place, fault) from fault
        except UnicodeDecodeError as fault:  # a text in the file, or SQLite's own message about it, is none any more
            _, what, remedy = next(row for row in _SQLITE_REMEDIES if row[0] == "malformed")
            raise BookUnreachableError(what, where=str(self.place), remedy=remedy) from fault


def events_of(connection: Connection, job: str) -> list[Event]:
    """The entries of a job in order; empty where there is no such job."""
    query = sa.select(*schema.events.c).where(schema.events.c.job == job).order_by(schema.events.c.number)
    return [Event(**row._mapping) for row in connection.execute(query)]


def write_rows(connection: Connection, before: Rows, after: Rows, path_of: Callable[[dict[str, Any]], str]) -> None:
    """Bring the tables made from the events from `before` to `after`; `path_of` tells where a new file lies."""
    for name, rows in after.items():
        table = schema.INDEXES[name]
        old = before.get(name, {})
        new = [row | ({"path": path_of(row)} if name == "files" else {}) for key, row in rows.items() if key not in old]
        if new:
            connection.execute(table.insert(), new)
        for key in old.keys() - rows.keys():  # an amended pull may have fewer files
            primary = zip(table.primary_key.columns, key, strict=True)
            connection.execute(table.delete().where(*(column == part for column, part in primary)))
        for key, row in rows.items():
            changed = {column: value for column, value in row.items() if key in old and old[key][column] != value}
            if changed:
                primary = zip(table.primary_key.columns, key, strict=True)
                connection.execute(table.update().where(*(column == part for column, part in primary)).values(changed))


def must_be_free(connection: Connection, job: str) -> None:
    """Raises BookError where a job's number was handed out."""
    if connection.scalar(sa.select(schema.numbers.c.job).where(schema.numbers.c.job == job)) is not None:
        raise BookError("this number is there already", where=job, remedy="nothing was changed; look with 'platepull job show'")


def put_files(connection: Connection, job: str, entry: int, paths: Mapping[int, str]) -> None:
    """Note where the files of an entry lie now."""
    files = schema.files
    for part, path in paths.items():
        row = (files.c.job == job, files.c.entry == entry, files.c.part == part)
        connection.execute(files.update().where(*row).values(path=path))


def take_number(connection: Connection, first: Event) -> None:
    """Note a job's number as handed out, with its first entry."""
    year, counter = number_parts(first.job)
    row = {"job": first.job, "year": year, "counter": counter, "first_hash": first.hash}
    connection.execute(schema.numbers.insert(), row)


def lock_numbers(connection: Connection) -> None:
    """Until the transaction ends nobody else hands out a number (a file is locked by the write as a whole)."""
    if connection.dialect.name == "postgresql":
        connection.execute(sa.select(sa.func.pg_advisory_xact_lock(_NUMBERS_LOCK)))


def _row(event: Event) -> dict[str, Any]:
    return {name: getattr(event, name) for name in Event.__slots__}


def _whole(job: str, events: Sequence[Event]) -> JobRecord:
    if not events:
        raise BookError(f"there is no job {job} in the book", where=job, remedy="see 'platepull job list'")
    try:
        return record_of(events)
    except (ValueError, KeyError, TypeError, IndexError) as fault:
        raise BookError(
            f"the entries of the job cannot be read ({fault!r})", where=job, remedy="see 'platepull book verify'; restore a backup"
        ) from fault


def _engine(place: Place) -> sa.Engine:
    if place.file is not None:
        engine = sa.create_engine(place.url, connect_args={"timeout": BUSY_S}, poolclass=sa.NullPool)
        sa.event.listen(engine, "connect", _set_up_sqlite)
        sa.event.listen(engine, "begin", _begin_sqlite)
        return engine
    try:
        return sa.create_engine(place.url, connect_args={"connect_timeout": CONNECT_S}, pool_pre_ping=True)
    except ModuleNotFoundError as fault:
        raise BookError(
            "a book on a database server needs psycopg", where=str(place), remedy="install it: pip install 'platepull[postgres]'"
        ) from fault


def _set_up_sqlite(connection: sqlite3.Connection, _: object) -> None:
    connection.isolation_level = None  # BEGIN is ours: the driver's own would leave out statements that change tables
    try:
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA synchronous = FULL")  # what was confirmed is on the disk
    except sqlite3.Error:
        connection.close()  # the file is no database; older engines would leave it open
        raise


def _begin_sqlite(connection: Connection) -> None:
    writing = connection.get_execution_options().get("writing", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")


_SQLITE_REMEDIES = (
    ("locked", "another program holds the book", "wait for it to end and enter it again"),
    ("full", "the disk is full, nothing was entered", "free some space and enter it again"),
    ("readonly", "the book cannot be written", "check the rights of the file and its folder"),
    ("not a database", "this is not a job book", "name another file with --book, or restore a backup"),
    ("malformed", "the file is damaged", "restore a backup, or rebuild the book from its traces: platepull book rebuild"),
    ("unable to open", "the book cannot be opened or made there", "check path, rights and space, or name another with --book"),
    ("disk i/o", "the disk refuses, nothing was entered", "check the disk and its space and enter it again"),
)
"""By what SQLite's message holds: what happened, what to do."""


def _unreachable(place: Place, fault: DBAPIError) -> BookUnreachableError:
    said = str(fault.orig or fault).lower()
    if place.file is not None:
        for mark, what, remedy in _SQLITE_REMEDIES:
            if mark in said:
                return BookUnreachableError(what, where=str(place), remedy=remedy)
        return BookUnreachableError(
            f"the book cannot be used ({fault.orig})", where=str(place), remedy="see 'platepull book check'"
        )
    if "authentication failed" in said or "no password" in said:
        remedy = "check user and password (URL, PGPASSWORD or the server's password file)"
        return BookUnreachableError("the database server refuses the user", where=str(place), remedy=remedy)
    if "does not exist" in said and "database" in said:
        return BookUnreachableError("there is no such database on the server", where=str(place), remedy="make it: createdb NAME")
    kind = type(fault.orig).__name__
    return BookUnreachableError(
        f"the database server cannot be reached or went away ({kind}); nothing was entered",
        where=str(place),
        remedy="check that it runs and the network holds, then enter it again",
    )
