"""Books of an older version: brought up to date after a backup, all or nothing; and the tables are those of the schema."""

import sqlite3

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from support.jobs import START, ready_chain

from rig.book import schema
from rig.book.book import Book, _engine
from rig.book.index import rows_of
from rig.book.migrations import migrate, scripts
from rig.book.place import Place
from rig.book.record import record_of
from rig.book.verify import verify
from rig.book.versions import VERSION, version_of


def older_book(url, version="0001"):
    """A book as an older program left it: its tables, with a whole job in them."""
    engine = _engine(Place.of(url))
    migrate(engine, version)
    events = ready_chain().events
    rows = {name: list(rows.values()) for name, rows in rows_of(record_of(events)).items()}
    rows["files"] = [row | {"path": row["name"]} for row in rows["files"]]
    rows["numbers"] = [{"job": "2026-0001", "year": 2026, "counter": 1, "first_hash": events[0].hash}]
    rows["events"] = [{name: getattr(event, name) for name in type(event).__slots__} for event in events]
    with engine.connect() as connection:
        connection.execution_options(writing=True)
        with connection.begin():
            for name in ("numbers", "events", *schema.INDEXES):
                columns = {column["name"] for column in sa.inspect(connection).get_columns(name)}
                kept = [{key: value for key, value in row.items() if key in columns} for row in rows[name]]
                there = sa.table(name, *(sa.column(key) for key in kept[0]))
                connection.execute(there.insert(), kept)
    engine.dispose()
    return events[-1].hash


def version_at(url):
    engine = _engine(Place.of(url))
    with engine.connect() as connection:
        found = version_of(connection)
    engine.dispose()
    return found


def faults(told):
    return [one.document() for one in told.altered]  # the files of a made-up job are nowhere


def test_an_older_book_is_brought_up_to_date_with_all_that_was_in_it(book_url):
    head = older_book(book_url)
    with Book(Place.of(book_url), lambda: START) as book:
        assert book.record("2026-0001").head == head
        assert faults(verify(book)) == []  # the new columns are filled from the entries
        assert set(book.paths("2026-0001").values()) >= {"spec.toml"}  # only the book knows where files lie
    assert version_at(book_url) == VERSION


def test_a_backup_lies_beside_a_file_before_anything_is_changed(tmp_path):
    file = tmp_path / "book.sqlite"
    older_book(str(file))
    Book(Place.of(str(file)), lambda: START).close()
    [backup] = tmp_path.glob("book.sqlite.version-0001-*")
    assert version_at(str(backup)) == "0001"
    connection = sqlite3.connect(backup)
    assert connection.execute("SELECT count(*) FROM events").fetchone()[0] > 5
    connection.close()


def test_a_migration_that_fails_leaves_the_older_book_as_it_was(book_url, monkeypatch):
    older_book(book_url)
    monkeypatch.setattr("rig.book.migrations.make_indexes_again", lambda connection: 1 / 0)  # the tables have been changed by then
    with pytest.raises(ZeroDivisionError):
        Book(Place.of(book_url), lambda: START)
    assert version_at(book_url) == "0001"
    engine = _engine(Place.of(book_url))
    with engine.connect() as connection:
        assert "plates" not in {column["name"] for column in sa.inspect(connection).get_columns("pulls")}
    engine.dispose()
    monkeypatch.undo()
    with Book(Place.of(book_url), lambda: START) as book:
        assert faults(verify(book)) == []


def test_the_migrations_make_the_tables_of_the_schema(book_url):
    with Book(Place.of(book_url), lambda: START) as book, book.reading() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, schema.metadata) == []


def test_the_version_is_that_of_the_newest_migration():
    assert scripts().get_current_head() == VERSION
