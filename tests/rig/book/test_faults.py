"""Faults, injected: killed, full, read-only, gone and back, several at once. No confirmed entry is lost, nothing stands by half."""

import functools
import os
import random
import sqlite3
import stat
import sys
import tempfile
from contextlib import closing
from pathlib import Path

import pytest
import sqlalchemy as sa
from support.jobs import START
from support.kills import at_once, confirmed_by_a_killed_child
from support.postgres import cluster

from rig.book.book import Book
from rig.book.events import Kind
from rig.book.place import Place
from rig.book.verify import verify
from rig.errors import BookUnreachableError

KILLS = 20
needs_fork = pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork a process")


def open_book(url):
    return Book(Place.of(str(url)), lambda: START)


def note(book, job, text):
    return book.append(job, "T.W.", lambda _: (Kind.NOTE, {"text": text}, []))


@needs_fork
def test_killed_at_any_instant_every_confirmed_entry_is_there(book_url):
    with open_book(book_url) as book:
        job = book.open_job({"unit": "demo", "steps": []}, "T.W.").job
    dice = random.Random(11)
    confirmed = []
    for number in range(KILLS):
        confirmed += confirmed_by_a_killed_child(
            book_url, job, f"{number}", after=dice.randrange(3), wait_s=dice.uniform(0.0, 0.03)
        )
        with open_book(book_url) as book:
            texts = [entry.content["text"] for entry in book.record(job).of(Kind.NOTE)]
            assert verify(book).holds
        assert set(confirmed) <= set(texts)
        assert len(texts) == len(set(texts))
    assert confirmed  # some were confirmed, so that the test says something


@needs_fork
def test_several_benches_at_once_use_no_number_twice_and_lose_no_entry(book_url):
    with open_book(book_url) as book:
        shared = book.open_job({"unit": "shared", "steps": []}, "T.W.").job

    def bench(name):
        numbers = []
        with open_book(book_url) as book:
            for number in range(5):
                numbers.append(book.open_job({"unit": name, "steps": []}, name).job)
                note(book, shared, f"{name} {number}")
        return numbers

    names = ["bench one", "bench two", "bench three"]
    told = at_once([functools.partial(bench, name) for name in names])
    assert sorted(number for own in told for number in own) == [f"2026-{counter:04d}" for counter in range(2, 17)]
    with open_book(book_url) as book:
        texts = {entry.content["text"] for entry in book.record(shared).of(Kind.NOTE)}
        assert texts == {f"{name} {number}" for name in names for number in range(5)}
        assert verify(book).holds


@needs_fork
def test_programs_that_meet_an_empty_place_make_one_book(book_url):
    def bench():
        with open_book(book_url) as book:
            return [line.job for line in book.jobs()]

    assert at_once([bench] * 4) == [[]] * 4


def test_a_full_disk_costs_the_entry_that_is_refused_and_no_other(tmp_path):
    with open_book(tmp_path / "book.sqlite") as book:
        job = book.open_job({"unit": "demo", "steps": []}, "T.W.").job
        with book.reading() as connection:
            pages = connection.exec_driver_sql("PRAGMA page_count").scalar()

        def full(connection, _):
            connection.execute(f"PRAGMA max_page_count = {pages + 2}")

        sa.event.listen(book._engine, "connect", full)

        def fill():
            for _ in range(100):
                note(book, job, "x" * 2000)

        with pytest.raises(BookUnreachableError) as error:
            fill()
        assert "the disk is full" in str(error.value)
        assert "free some space" in str(error.value)
        sa.event.remove(book._engine, "connect", full)
        kept = book.record(job).events
        note(book, job, "there is room again")
        assert verify(book).holds
        assert book.record(job).events == kept + 1


@needs_fork
def test_in_a_folder_that_cannot_be_written_a_book_can_be_looked_at():
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "book.sqlite"
        with open_book(file) as book:
            job = book.open_job({"unit": "demo", "steps": []}, "T.W.").job
        file.chmod(0o444)
        os.chmod(folder, 0o555)

        def look():
            with open_book(file) as book:
                assert book.record(job).unit == "demo"
                assert verify(book).holds
                with pytest.raises(BookUnreachableError, match="cannot be written"):
                    note(book, job, "x")
            with pytest.raises(BookUnreachableError, match="cannot be opened or made"):
                open_book(Path(folder) / "another.sqlite")

        try:
            as_nobody(look)
        finally:
            os.chmod(folder, stat.S_IRWXU)


def as_nobody(act):
    """Run it without root's rights, in a child; what fails there fails here."""
    child = os.fork()
    if child == 0:
        try:
            if os.geteuid() == 0:
                os.setgroups([])
                os.setgid(65534)
                os.setuid(65534)
            act()
        except BaseException as error:  # noqa: BLE001  the child's own end
            print(repr(error), file=sys.stderr, flush=True)
            os._exit(1)
        os._exit(0)
    assert os.waitpid(child, 0)[1] == 0


def test_a_server_that_goes_and_comes_back_has_every_confirmed_entry():
    with cluster() as server, open_book(server.url) as book:
        job = book.open_job({"unit": "demo", "steps": []}, "T.W.").job
        note(book, job, "before")
        server.stop()
        for _ in range(2):
            with pytest.raises(BookUnreachableError) as error:
                note(book, job, "while it is away")
            assert "cannot be reached or went away" in str(error.value)
            assert "check that it runs" in str(error.value)
        with pytest.raises(BookUnreachableError):
            book.record(job)
        server.start()
        note(book, job, "after")
        assert [entry.content["text"] for entry in book.record(job).of(Kind.NOTE)] == ["before", "after"]
        assert verify(book).holds


@pytest.mark.parametrize(
    ("damage", "said"),
    [
        ("UPDATE alembic_version SET version_num = char(0) || 'x'", "its version is none"),
        ("UPDATE alembic_version SET version_num = '../../x'", "its version is none"),
        ("UPDATE events SET who = CAST(X'5494' AS TEXT)", "cannot be used"),
    ],
)
def test_a_book_damaged_inside_is_refused_in_a_sentence(tmp_path, damage, said):
    with open_book(tmp_path / "b.sqlite") as book:
        job = note(book, book.open_job({"unit": "demo", "steps": []}, "T.W.").job, "x").job
    with closing(sqlite3.connect(tmp_path / "b.sqlite")) as raw:
        raw.execute(damage)
        raw.commit()
    with pytest.raises(BookUnreachableError, match=said), open_book(tmp_path / "b.sqlite") as book:
        book.record(job)


def test_a_column_that_is_gone_is_an_altered_book_and_no_fault_of_ours(tmp_path):
    with open_book(tmp_path / "b.sqlite") as book:
        job = note(book, book.open_job({"unit": "demo", "steps": []}, "T.W.").job, "x").job
    with closing(sqlite3.connect(tmp_path / "b.sqlite")) as raw:
        raw.execute("ALTER TABLE jobs RENAME COLUMN opened_at TO opened_to")
        raw.commit()
    with open_book(tmp_path / "b.sqlite") as book:
        assert not verify(book, job).holds
