"""Whatever is altered by hand is found: an entry, a cell of any table, a byte of a file (contract BOOK.md 5)."""

import pytest
import sqlalchemy as sa
from support.jobs import START, reading, write_pull

from rig.book import schema
from rig.book.book import Book
from rig.book.entries import file_draft, read_pull_draft, spec_draft
from rig.book.events import Kind, sealed
from rig.book.place import Place
from rig.book.verify import find_head, verify

TABLES = ["numbers", "events", *schema.INDEXES]


@pytest.fixture
def filled(new_url, tmp_path):
    """A book with two jobs, a kept photo, pulls, a strike."""
    url = new_url()
    photo = tmp_path / "plug.jpg"
    photo.write_bytes(b"magnet with glitter")
    (tmp_path / "spec.toml").write_text('[window]\ntorque = "40..65 N.m"\n')
    pull = {
        "files": file_draft(Kind.PHOTO, photo)[1]["files"],
        "terms": {"phase": "rebuilt", "closure": "final", "when": "2026-03-05"},
        "reading": reading(),
    }
    with Book(Place.of(url), lambda: START) as book:
        for unit in ("demo 3", "demo 4"):
            content = {"unit": unit, "customer": "invented", "complaint": "chatters", "steps": []}
            job = book.open_job(content, "T.W.").job
            entries = [
                file_draft(Kind.PHOTO, photo),
                (Kind.OIL, {"text": "gear oil", "additive": "modifier", "volume": None, "dose": None}, []),
                (Kind.PULL, pull, [photo]),
                (Kind.NOTE, {"text": "glitter"}, []),
                (Kind.STRUCK, {"entry": 5, "why": "wrong job"}, []),
                spec_draft(tmp_path / "spec.toml"),
            ]
            for entry in entries:
                book.append(job, "T.W.", lambda _, entry=entry: entry)
        yield book


def by_hand(book, statement, **values):
    """As somebody does it who looks into the database: no rule between tables stands in the way."""
    with book.writing() as connection:
        if connection.dialect.name == "sqlite":
            connection.exec_driver_sql("COMMIT")  # the rules can be turned off between transactions only
            connection.exec_driver_sql("PRAGMA foreign_keys = OFF")
            connection.exec_driver_sql("BEGIN")
        else:
            connection.exec_driver_sql("SET LOCAL session_replication_role = replica")
        return connection.execute(sa.text(statement), values)


def test_a_book_as_it_was_written_holds(filled):
    told = verify(filled)
    assert told.holds
    assert told.document() == {"events": 14, "files": 6, "altered": [], "missing": []}


@pytest.mark.parametrize("table", TABLES)
def test_a_cell_of_any_table_altered_by_hand_is_found(filled, table):
    columns = schema.metadata.tables[table].columns
    keys = [one.name for one in schema.metadata.tables[table].primary_key.columns]
    with filled.reading() as connection:
        query = sa.select(columns).where(columns["job"] == "2026-0002").order_by(*(columns[key].desc() for key in keys))
        rows = [dict(row) for row in connection.execute(query).mappings()]
    for column in columns:
        row = next((row for row in rows if row[column.name] is not None), rows[0])
        name, was = column.name, row[column.name]
        new = other_than(was, column.type)
        for before, after in ((was, new), (new, was)):  # altered, and put back again
            where = " AND ".join(f"{key} = :{'before' if key == name else key}" for key in keys)
            done = by_hand(filled, f"UPDATE {table} SET {name} = :after WHERE {where}", **{**row, "before": before, "after": after})
            assert done.rowcount == 1
            told = verify(filled)
            assert told.holds is (after == was), name
            assert {one.job for one in told.altered + told.missing} <= {"2026-0002", "2026-0002x"}


def other_than(value, kind):
    if isinstance(kind, sa.Boolean):
        return not value
    if isinstance(kind, sa.Integer | sa.Float):
        return (value or 0) + 7
    return f"{value or ''}x"


@pytest.mark.parametrize("table", ["numbers", *schema.INDEXES])
def test_a_row_removed_by_hand_is_found(filled, table):
    by_hand(filled, f"DELETE FROM {table} WHERE job = '2026-0001'")
    assert {one.job for one in verify(filled).altered} == {"2026-0001"}


@pytest.mark.parametrize("number", [1, 3, 7])
def test_an_entry_removed_is_found_the_last_one_too(filled, number):
    by_hand(filled, "DELETE FROM events WHERE job = '2026-0001' AND number = :number", number=number)
    assert not verify(filled).holds


def test_all_entries_of_a_job_removed_are_found(filled):
    by_hand(filled, "DELETE FROM events WHERE job = '2026-0001'")
    assert {one.job for one in verify(filled).altered} == {"2026-0001"}


def test_entries_out_of_order_are_found(filled):
    for old, new in ((3, 99), (4, 3), (99, 4)):
        by_hand(filled, "UPDATE events SET number = :new WHERE job = '2026-0001' AND number = :old", old=old, new=new)
    assert not verify(filled).holds


def test_an_entry_added_by_hand_is_found_even_with_a_right_hash(filled):
    last = filled.events("2026-0001")[-1]
    event = sealed("2026-0001", 8, START, "somebody", Kind.NOTE, {"text": "slipped in"}, last.hash)
    with filled.writing() as connection:
        connection.execute(schema.events.insert(), {name: getattr(event, name) for name in type(event).__slots__})
    assert not verify(filled).holds  # the head in the table of jobs is another


def test_a_body_that_is_no_json_is_found_and_does_not_break_off(filled):
    by_hand(filled, "UPDATE events SET body = '{' WHERE job = '2026-0001' AND number = 2")
    by_hand(filled, "UPDATE jobs SET unit = 'x' WHERE job = '2026-0002'")
    assert {one.job for one in verify(filled).altered} == {"2026-0001", "2026-0002"}


def test_a_byte_of_a_kept_file_is_found_and_a_missing_file_too(filled, tmp_path):
    photo = tmp_path / "plug.jpg"
    photo.write_bytes(b"magnet with glitteR")
    told = verify(filled)
    assert {(one.job, one.event) for one in told.altered} == {(f"2026-000{n}", entry) for n in (1, 2) for entry in (2, 4)}
    assert not told.missing
    photo.unlink()
    told = verify(filled)
    assert len(told.missing) == 4
    assert not told.altered


def test_a_byte_of_a_recording_or_of_its_metadata_is_found(new_url, tmp_path):
    path = write_pull(tmp_path)
    with Book(Place.of(new_url()), lambda: START) as book:
        job = book.open_job({"unit": "demo", "steps": []}, "T.W.").job
        book.append(job, "T.W.", lambda _: read_pull_draft(path, lambda info: info.sensor(START.date())))
        assert verify(book).files == 2
        beside = path.with_name(path.name + "-metadata.json")
        for target in (path, beside):
            data = target.read_bytes()
            target.write_bytes(data.replace(b"0", b"1", 1))
            [one] = verify(book).altered
            assert one.file.endswith(target.name)
            target.write_bytes(data)
        assert verify(book).holds


def test_a_head_from_a_sheet_is_found_in_the_chain_it_belongs_to(filled):
    event = filled.events("2026-0001")[3]
    assert find_head(filled, event.hash) == event
    assert find_head(filled, event.hash[:12].upper()) == event
    assert find_head(filled, "0" * 64) is None
    by_hand(filled, "UPDATE events SET who = 'somebody' WHERE job = '2026-0001' AND number = 2")
    assert find_head(filled, event.hash) is None  # it stands there, but not in a chain that holds
