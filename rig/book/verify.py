"""Whether the record still holds: every chain, every table made from the entries, every kept file.

This finds accident and casual editing. It is no seal against the owner of the book, who can write a new chain; a head that was
printed or sent to somebody binds it, for that hash must then stand in the chain.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from rig.book import schema
from rig.book.book import Book
from rig.book.entries import digest
from rig.book.events import Event, chain_faults
from rig.book.index import Row, number_parts, rows_of
from rig.book.record import record_of
from rig.errors import BookError, DocumentError

_SHORTEST_HEAD = 8
"""Letters of a head that are enough to look for it: one in four thousand million by chance."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something that does not hold: the job, the entry or the file, what is wrong."""

    job: str
    what: str
    event: int | None = None
    file: str | None = None

    def document(self) -> dict[str, Any]:
        """As `book verify --json` tells it."""
        where = {"event": self.event} if self.file is None else {"event": self.event, "file": self.file}
        return {"job": self.job, **where, "what": self.what}


@dataclass(slots=True)
class Verification:
    """What was gone through, and what does not hold."""

    events: int = 0
    files: int = 0
    altered: list[Finding] = field(default_factory=list)
    missing: list[Finding] = field(default_factory=list)

    @property
    def holds(self) -> bool:
        """Whether all does."""
        return not self.altered and not self.missing

    def document(self) -> dict[str, Any]:
        """As `book verify --json` tells it."""
        lists = {"altered": self.altered, "missing": self.missing}
        return {
            "events": self.events,
            "files": self.files,
            **{name: [one.document() for one in found] for name, found in lists.items()},
        }


def verify(book: Book, job: str | None = None) -> Verification:
    """Go through the whole book, or one job of it. Looks only; writes nothing."""
    found = Verification()
    for name in [job] if job is not None else _all_jobs(book):
        with book.reading() as connection:  # one job at a time, so that nobody waits long to enter something
            rows = {table: _raw(connection, table, name) for table in ("numbers", "events", *schema.INDEXES)}
        _chain_and_tables(name, rows, found)
        _files(book, name, rows["files"], found)
    return found


def find_head(book: Book, head: str) -> Event | None:
    """The entry whose hash is `head` (or begins so, from eight letters on) in a chain that holds; None where there is none."""
    with book.reading() as connection:
        events = schema.events
        query = sa.select(*events.c).where(events.c.hash.startswith(head.strip().lower(), autoescape=True))
        found = [Event(**row._mapping) for row in connection.execute(query.limit(2))] if len(head.strip()) >= _SHORTEST_HEAD else []
    if len(found) != 1 or chain_faults(book.events(found[0].job)):
        return None
    return found[0]


def _all_jobs(book: Book) -> list[str]:
    """Every job that any table names, in the order of numbers."""
    with book.reading() as connection:
        tables = (schema.numbers, schema.events, *schema.INDEXES.values())
        return sorted({str(row[0]) for table in tables for row in connection.execute(sa.select(table.c.job).distinct())})


def _raw(connection: Connection, table: str, job: str) -> list[Row]:
    """The rows of a job as they lie in the database, without the conversions that would hide an edited cell."""
    order = {"events": " ORDER BY number"}.get(table, "")
    names = [column.name for column in schema.metadata.tables[table].columns]
    columns = ", ".join(f'"{name}"' for name in names)
    return [
        dict(zip(names, row, strict=True))  # SQLite takes the name of a column that is gone for a text, under a name of its own
        for row in connection.execute(sa.text(f"SELECT {columns} FROM {table} WHERE job = :job{order}"), {"job": job})
    ]


def _chain_and_tables(job: str, rows: dict[str, list[Row]], found: Verification) -> None:
    events = [Event(**row) for row in rows["events"]]
    found.events += len(events)

    def altered(what: str, event: int | None = None) -> None:
        found.altered.append(Finding(job=job, event=event, what=what))

    try:
        for number, what in chain_faults(events):
            altered(what, number)
        made = _made(events)
    except (ValueError, KeyError, TypeError, IndexError, DocumentError) as fault:
        altered(f"the entries cannot be read: one is not as it was written ({fault!r})")
        return
    for table, wanted in made.items():
        key_columns = [column.name for column in schema.metadata.tables[table].primary_key.columns]
        there = {tuple(row[name] for name in key_columns): row for row in rows[table]}
        for key in wanted.keys() | there.keys():
            event = next((row.get("entry") for row in (wanted.get(key), there.get(key)) if row), None)
            if key not in there:
                altered(f"a row of the table '{table}' is gone", event)
            elif key not in wanted:
                altered(f"a row of the table '{table}' was added by hand", event)
            else:
                for column, value in wanted[key].items():
                    if not _same(there[key][column], value):
                        altered(f"'{column}' in the table '{table}' is {there[key][column]!r}, the entries say {value!r}", event)


def _made(events: list[Event]) -> dict[str, dict[tuple[Any, ...], Row]]:
    """What the tables beside the chain are to hold."""
    if not events:
        return {name: {} for name in ("numbers", *schema.INDEXES)}
    year, counter = number_parts(events[0].job)
    number = {"job": events[0].job, "year": year, "counter": counter, "first_hash": events[0].hash}
    return {"numbers": {(events[0].job,): number}, **rows_of(record_of(events))}


def _same(there: object, wanted: object) -> bool:
    if isinstance(wanted, bool):
        return there in (0, 1) and bool(there) is wanted
    return there == wanted and isinstance(there, str) == isinstance(wanted, str)


def _files(book: Book, job: str, rows: list[Row], found: Verification) -> None:
    for event, path, sha256 in _sorted(rows):
        found.files += 1
        file = book.place.file_at(path)
        try:
            if not file.is_file():
                found.missing.append(Finding(job=job, event=event, file=path, what="is not where the book says"))
            elif digest(file) != sha256:
                found.altered.append(Finding(job=job, event=event, file=path, what="is not the file that was entered"))
        except (BookError, OSError, ValueError) as fault:
            found.missing.append(Finding(job=job, event=event, file=path, what=f"cannot be read ({fault})"))


def _sorted(rows: list[Row]) -> Iterator[tuple[Any, str, str]]:
    for row in sorted(rows, key=lambda row: (str(row["entry"]).rjust(9), str(row["part"]))):
        yield row["entry"], str(row["path"]), str(row["sha256"])
