"""`--job` and `--book` on `live` and `record`: what is looked up before, what goes into the metadata, what is loaded when."""

import subprocess
import sys

import pytest
from support.jobs import START, Chain

from rig.book.book import Book
from rig.book.entries import spec_draft
from rig.book.place import Place
from rig.cli import parser_for
from rig.commands._book import keeper_of, look_up_job
from rig.commands._chosen import job_info
from rig.errors import ArgumentError, BookError
from rig.settings import Settings


@pytest.fixture
def book_url(tmp_path):
    url = str(tmp_path / "book.sqlite")
    spec = tmp_path / "spec.toml"
    spec.write_text('[window]\ntorque = "36..54 lbf.ft"\nbasis = "sliding"\n')
    with Book(Place.of(url), lambda: START) as book:
        opened = Chain(customer="invented customer").events[0]
        job = book.open_job(opened.content, "T.W.").job
        book.append(job, "T.W.", lambda _: spec_draft(spec))
    return url


def asked(*words):
    return parser_for(["record"]).parse_args(["record", *words])


def test_what_the_job_says_stands_where_no_option_says_otherwise(book_url):
    notes = []
    args = asked("--job", "2026-0001", "--book", book_url)
    look_up_job(args, Settings(), notes.append)
    assert (args.unit_id, args.customer, args.window, args.basis) == ("demo 3", "invented customer", "36..54 lbf.ft", "sliding")
    args = asked("--job", "last", "--book", book_url, "--unit-id", "demo 9", "--window", "10.. N.m")
    look_up_job(args, Settings(), notes.append)
    assert (args.job, args.unit_id, args.window, args.basis) == ("2026-0001", "demo 9", "10.. N.m", None)
    assert notes == []


def test_a_card_that_says_how_the_unit_is_built_counts_as_a_whole(book_url, tmp_path):
    whole = tmp_path / "whole.toml"
    whole.write_text(
        '[window]\ntorque = "40..65 N.m"\narrangement = "A"\n[build]\nlayout = "each"\nthicker_shim = "more preload"\n'
    )
    with Book(Place.of(book_url), lambda: START) as book:
        book.append("2026-0001", "T.W.", lambda _: spec_draft(whole))
    args = asked("--job", "2026-0001", "--book", book_url)
    look_up_job(args, Settings(), print)
    assert (args.spec, args.window) == (str(whole), None)
    whole.write_text(whole.read_text().replace("65", "95"))  # not the card that was entered any more
    args = asked("--job", "2026-0001", "--book", book_url)
    look_up_job(args, Settings(), print)
    assert (args.spec, args.window) == (None, "40..65 N.m")


def test_a_job_that_is_not_in_the_book_is_refused_before_anything_is_recorded(book_url):
    with pytest.raises(BookError, match="there is no job 2026-0002"):
        look_up_job(asked("--job", "2026-0002", "--book", book_url), Settings(), print)


def test_a_book_that_cannot_be_reached_stops_nobody(tmp_path):
    notes = []
    look_up_job(asked("--job", "2026-0001", "--book", f"postgresql://u:s3cret@/b?host={tmp_path}"), Settings(), notes.append)
    [note] = notes
    assert "pulls are recorded all the same" in note
    assert "s3cret" not in note


def test_a_name_that_is_no_number_goes_into_the_metadata_alone():
    notes = []
    args = asked("--job", "QG-7")
    look_up_job(args, Settings(), notes.append)
    assert "no number of the job book" in notes[0]
    assert keeper_of(args, Settings()) is None
    assert job_info(args, Settings()).job == "QG-7"


def test_what_a_person_states_goes_into_the_metadata():
    words = "--customer C --unit-id U --series S --phase rebuilt --arrangement A --closure final --lubricant O --additive none"
    more = "--plates P1 --plate-state used --lever 0.6m --adapter X --who W --rest 120"
    args = asked(*words.split(), *more.split(), "--temperature", "70 degF")
    info = job_info(args, Settings())
    assert (info.customer, info.phase, info.closure, info.additive, info.plate_state) == ("C", "rebuilt", "final", "none", "used")
    assert info.temperature_c == pytest.approx(21.1, abs=0.05)
    assert info.rest_s == 120
    assert job_info(asked("--rest", "2 min", "--temperature", "21"), Settings()).rest_s == 120
    with pytest.raises(ArgumentError, match="--temperature"):
        job_info(asked("--temperature", "warm"), Settings())


def test_the_database_is_loaded_neither_for_a_window_with_a_job_nor_for_analyse():
    code = """
import sys
import rig.window.app, rig.commands.analyse, rig.commands.live, rig.commands._watch
from rig.cli import parser_for
from rig.commands._book import keeper_of
from rig.settings import Settings
keeper = keeper_of(parser_for(["record"]).parse_args(["record", "--job", "2026-0001", "--book", "nowhere.sqlite"]), Settings())
keeper(print).close()
print([name for name in ("sqlalchemy", "alembic", "psycopg") if name in sys.modules])
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
