"""The book itself: made where there is none, refused where it is not ours, and never without a sentence."""

import os
import sqlite3

import pytest
from support.jobs import START

from rig.book.book import Book
from rig.book.events import Kind
from rig.book.place import Place
from rig.errors import BookError, BookUnreachableError


def open_book(url):
    return Book(Place.of(url), lambda: START)


def content(unit="demo"):
    return {"unit": unit, "steps": []}


def test_a_book_that_is_not_there_is_made(book_url):
    with open_book(book_url) as book:
        assert book.jobs() == []
        assert book.open_job(content(), "T.W.").job == "2026-0001"
    with open_book(book_url) as book:
        assert [line.job for line in book.jobs()] == ["2026-0001"]


def test_what_fails_on_the_way_leaves_nothing(book_url):
    with open_book(book_url) as book:
        job = book.open_job(content(), "T.W.").job

        def fails(record):
            raise BookError("no")

        with pytest.raises(BookError):
            book.append(job, "T.W.", fails)
        with pytest.raises(KeyError):  # the index cannot be made from this body: then the entry is not made either
            book.append(job, "T.W.", lambda record: (Kind.PULL, {"files": [{"name": "a", "sha256": "0"}]}, []))
        assert len(book.events(job)) == 1


def test_a_clock_set_back_changes_no_order_and_no_number(book_url):
    moments = iter([START.replace(year=2026), START.replace(year=2025), START.replace(year=2025), START.replace(year=2026)])
    with Book(Place.of(book_url), lambda: next(moments)) as book:
        first = book.open_job(content(), "T.W.")
        second = book.open_job(content(), "T.W.")
        book.append(first.job, "T.W.", lambda record: (Kind.NOTE, {"text": "earlier by the clock"}, []))
        third = book.open_job(content(), "T.W.")
        assert [first.job, second.job, third.job] == ["2026-0001", "2025-0001", "2026-0002"]
        assert [event.number for event in book.events(first.job)] == [1, 2]


def test_a_file_that_is_no_book_is_refused(tmp_path):
    other = tmp_path / "letter.txt"
    other.write_text("dear customer, " * 100)
    with pytest.raises(BookUnreachableError, match="not a job book"):
        open_book(str(other))
    foreign = tmp_path / "foreign.sqlite"
    connection = sqlite3.connect(foreign)
    connection.execute("CREATE TABLE invoices (a)")
    connection.close()
    with pytest.raises(BookUnreachableError, match="something else"):
        open_book(str(foreign))


def test_a_newer_book_is_refused(book_url):
    import sqlalchemy as sa

    with open_book(book_url) as book, book.writing() as connection:
        connection.execute(sa.text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(BookUnreachableError, match="newer than this program"):
        open_book(book_url)


@pytest.mark.parametrize("url", ["mysql://u@h/b", "postgresql://h", "http://example.org/book", "postgresql://u:pw@h:port/x"])
def test_what_is_no_place_for_a_book_is_refused_without_its_password(url):
    with pytest.raises(BookError) as error:
        Place.of(url)
    assert "pw" not in str(error.value)


def test_a_server_that_is_away_is_said_without_its_password(tmp_path):
    url = f"postgresql://tw:s3cret@/jobs?host={tmp_path}&password=s3cret2"
    with pytest.raises(BookUnreachableError) as error:
        open_book(url)
    assert "s3cret" not in str(error.value)
    assert "check that it runs" in str(error.value)


def test_files_lie_relative_to_the_book_where_they_lie_below_it(tmp_path):
    place = Place.of(str(tmp_path / "jobs" / "book.sqlite"))
    assert place.path_of(tmp_path / "jobs" / "pulls" / "p1.csv") == "pulls/p1.csv"
    assert place.path_of(tmp_path / "elsewhere" / "p1.csv") == (tmp_path / "elsewhere" / "p1.csv").as_posix()
    assert place.file_at("pulls/p1.csv") == tmp_path / "jobs" / "pulls" / "p1.csv"
    server = Place.of("postgresql://u@h/jobs")
    assert os.path.isabs(server.path_of(tmp_path / "p1.csv"))
