"""Whole books: backup, restore, move between a file and a server, and a book made again from its recordings."""

import json
import shutil

import pytest
from support.jobs import START, write_pull

from rig import cli
from rig.book.book import Book
from rig.book.entries import read_pull_draft
from rig.book.events import Kind
from rig.book.place import Place
from rig.book.transfer import copy_book, count
from rig.book.verify import verify
from rig.book.waiting import Waiting
from rig.commands._book import waiting_room

pytestmark = pytest.mark.usefixtures("own_home")


def fill(url, folder):
    pulls = [write_pull(folder, f"p{n}.csv", seed=n, job="2026-0002") for n in range(2)]
    with open_book(url) as book:
        book.open_job({"unit": "demo 3", "steps": []}, "T.W.")
        job = book.open_job({"unit": "demo 4", "steps": []}, "T.W.").job
        for pull in pulls:
            draft = read_pull_draft(pull, lambda info: info.sensor(START.date()))
            book.append(job, "T.W.", lambda _, draft=draft: draft)
        book.append(job, "T.W.", lambda _: (Kind.STRUCK, {"entry": 2, "why": "a slip"}, []))
    return heads(url)


def open_book(url):
    return Book(Place.of(str(url)), lambda: START)


def heads(url):
    with open_book(url) as book:
        assert verify(book).holds, verify(book).document()
        return {line.job: (book.record(line.job).events, book.record(line.job).head) for line in book.jobs()}


def run(capsys, *words):
    status = cli.main(["book", *map(str, words)])
    out, err = capsys.readouterr()
    return status, json.loads(out) if "--json" in words else out, err


def test_a_book_moves_to_another_place_and_back(new_url, tmp_path, capsys):
    first, back = new_url(), tmp_path / "elsewhere" / "back.sqlite"
    before = fill(first, tmp_path)
    other = new_url()
    status, told, _ = run(capsys, "move", other, "--book", first, "--json")
    assert (status, told["jobs"], told["events"]) == (0, 2, 5)
    assert run(capsys, "move", back, "--book", other)[0] == 0
    assert heads(other) == heads(back) == heads(first) == before


def test_nothing_is_moved_onto_a_book_that_holds_a_job(new_url, tmp_path, capsys):
    first, other = new_url(), new_url()
    fill(first, tmp_path)
    with open_book(other) as book:
        book.open_job({"unit": "x", "steps": []}, "T.W.")
    before = heads(other)
    status, _, err = run(capsys, "move", other, "--book", first)
    assert status == 2
    assert "holds 1 jobs already" in err
    assert heads(other) == before


def test_a_backup_is_a_book_and_comes_back_into_an_empty_one(new_url, tmp_path, capsys):
    url, again, file = new_url(), new_url(), tmp_path / "far" / "backup.sqlite"
    file.parent.mkdir()
    before = fill(url, tmp_path)
    assert run(capsys, "backup", file, "--book", url)[0] == 0
    assert run(capsys, "backup", file, "--book", url)[0] == 2  # an older backup is not overwritten
    assert heads(file) == before
    assert run(capsys, "restore", file, "--book", again)[0] == 0
    assert heads(again) == before
    status, _, err = run(capsys, "restore", file, "--book", again)
    assert status == 2
    assert "holds 2 jobs already" in err
    assert run(capsys, "restore", tmp_path / "nix", "--book", new_url())[0] == 2


def test_a_copy_that_breaks_off_leaves_an_empty_book(new_url, tmp_path, monkeypatch):
    first, other = new_url(), new_url()
    fill(first, tmp_path)
    with open_book(first) as source, open_book(other) as target:
        monkeypatch.setattr(Place, "path_of", lambda self, path: 1 / 0)  # when files are on the way, the chains have been written
        with pytest.raises(ZeroDivisionError):
            copy_book(source, target)
        assert count(target).events == 0


def test_a_book_is_made_again_from_its_recordings(new_url, tmp_path, capsys):
    first, again = new_url(), new_url()
    folder = tmp_path / "pulls" / "day one"
    folder.mkdir(parents=True)
    fill(first, folder)
    write_pull(folder.parent, "q1.csv", seed=7, job="Quillfen 7", unit="QF-7")
    write_pull(folder.parent, "q2.csv", seed=8, job=None)
    (folder / "table.csv").write_text("deflection [mm],load [N]\n0,0\n")
    status, told, err = run(capsys, "rebuild", folder.parent, "--book", again, "--json")
    assert status == 0
    assert told["pulls"] == 4
    assert told["jobs"][0] == "2026-0002"
    assert len(told["left_out"]) == 1
    assert "table.csv" in err
    with open_book(again) as book:
        assert verify(book).holds
        assert [len(book.record(job).pulls) for job in told["jobs"]] == [2, 1, 1]
        assert {book.record(job).unit for job in told["jobs"]} >= {"QF-7"}
    assert run(capsys, "rebuild", folder, "--book", again)[0] == 2


def test_check_says_where_and_how_the_book_is(new_url, tmp_path, capsys):
    url = new_url()
    fill(url, tmp_path)
    status, told, _ = run(capsys, "check", "--book", url, "--json")
    assert status == 0
    assert (told["sound"], told["jobs"], told["events"], told["waiting"]) == (True, 2, 5, [])
    waiting_room().note(Waiting("another book", "2026-0007", "p7.csv", "T.W."))
    assert run(capsys, "check", "--book", url, "--json")[1]["waiting"][0]["path"] == "p7.csv"
    status, text, _ = run(capsys, "check", "--book", url)
    assert "sound" in text


def test_a_damaged_file_is_told(tmp_path, capsys):
    file = tmp_path / "book.sqlite"
    fill(file, tmp_path)
    data = bytearray(file.read_bytes())
    data[3 * 4096 : 5 * 4096] = bytes(2 * 4096)
    file.write_bytes(data)
    status, out, err = run(capsys, "check", "--book", file)
    assert status in (3, 4)
    assert "restore a backup" in out + err


def test_verify_tells_what_was_altered_with_status_4(new_url, tmp_path, capsys):
    url = new_url()
    fill(url, tmp_path)
    assert run(capsys, "verify", "--book", url)[0] == 0
    shutil.copy(tmp_path / "p0.csv", tmp_path / "p1.csv")
    status, told, _ = run(capsys, "verify", "--book", url, "--json")
    assert status == 4
    assert [(one["job"], one["file"].endswith("p1.csv")) for one in told["altered"]] == [("2026-0002", True)]
    with open_book(url) as book:
        head = book.record("2026-0002").head
    assert run(capsys, "verify", "--book", url, "--head", head)[0] == 0
    assert run(capsys, "verify", "--book", url, "--head", "f" * 64)[0] == 4
