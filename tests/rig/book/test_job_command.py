"""`platepull job` as a person types it, on a file and on a server."""

import json

import pytest
from support.jobs import OIL, START, write_pull

from rig import cli
from rig.book.book import Book
from rig.book.gates import will_lack
from rig.book.place import Place
from rig.commands._book import the_clock

SPEC = '[card]\nunit = "demo 3"\npage = "sheet 12"\n[window]\ntorque = "40..65 N.m"\narrangement = "A"\n'


pytestmark = pytest.mark.usefixtures("own_home")


@pytest.fixture
def job(book_url, capsys):
    """Runs an action on the book; gives status, what was printed (JSON read) and what stood on standard error."""

    def run(*words):
        status = cli.main(["job", *map(str, words), "--book", book_url])
        out, err = capsys.readouterr()
        return status, json.loads(out) if "--json" in words else out, err

    return run


def opened(job, *words):
    status, answer, _ = job("new", "--unit-id", "demo 3", *words, "--json")
    assert status == 0
    return answer["job"]


def test_numbers_count_up_in_their_year_and_are_printed(job, tmp_path):
    first = opened(job)
    status, second, _ = job("new", "--unit-id", "demo 4")
    assert status == 0
    year, counter = first.split("-")
    assert second.strip() == f"{year}-{int(counter) + 1:04d}"


def test_a_job_is_opened_filled_shown_and_closed(job, tmp_path):
    spec = tmp_path / "spec.toml"
    spec.write_text(SPEC)
    number = opened(job, "--customer", "invented customer", "--complaint", "chatters in left turns", "--spec", spec)
    pulls = [write_pull(tmp_path, f"p{n}.csv", direction=1 if n % 2 else -1, seed=n) for n in range(2)]
    status, entered, _ = job("add", number, "pull", *pulls, pulls[0], "--json")
    assert (status, entered["entries"]) == (0, [3, 4])
    photo = tmp_path / "plug.jpg"
    photo.write_bytes(b"not really")
    for words in (
        ("oil", OIL, "--volume", "2.0 l", "--additive", "none"),
        ("part", "lock tab", "--single-use", "--batch", "B7"),
        ("note", "=glitter on the magnet"),
        ("photo", photo),
    ):
        assert job("add", number, *words)[0] == 0
    status, shown, _ = job("show", number, "--json")
    assert status == 0
    assert (shown["job"], shown["unit"], shown["customer"], shown["closed_at"]) == (number, "demo 3", "invented customer", None)
    assert [pull["entry"] for pull in shown["pulls"]] == [3, 4]
    assert {pull["direction"] for pull in shown["pulls"]} == {1, -1}
    assert shown["pulls"][0]["breakaway_nm"] == pytest.approx(52, rel=0.02)
    assert shown["pulls"][0]["verdict"] == "in_window"
    assert [(one["phase"], one["n"]) for one in shown["series"]] == [("rebuilt", 2)]
    assert shown["parts"][0] | {"single_use": True, "batch": "B7", "text": "lock tab"} == shown["parts"][0]
    assert shown["photos"][0]["name"] == "plug.jpg"
    assert shown["events"] == 8
    status, page, _ = job("show", number)
    assert "Next: intake" in page
    assert shown["head"] in page
    assert job("close", number)[0] == 0
    assert job("list", "--open", "--json")[1] == []
    assert job("list", "--json")[1][0]["closed_at"] is not None
    assert job("close", number)[0] == 2


def test_looking_writes_no_entry(job):
    number = opened(job)
    before = job("show", number, "--json")[1]
    job("list")
    job("show", number)
    assert job("show", number, "--json")[1] == before


@pytest.mark.parametrize("words", ["ÄXLE", "invented cust", "2026", "glitter magnet", "100%"])
def test_search_finds_words_in_texts_and_notes_whatever_the_case(job, words):
    other = opened(job)
    number = job("new", "--unit-id", "Äxle of 100% demo", "--customer", "Invented Customer", "--json")[1]["job"]
    job("add", number, "note", "Glitter on the magnet")
    found = {line["job"] for line in job("list", "--search", words, "--json")[1]}
    assert found == ({number, other} if words == "2026" else {number})


def test_a_step_that_cannot_be_undone_is_refused_line_by_line_until_a_reason_is_given(job):
    number = opened(job)
    status, _, err = job("step", number, "lock_tabs", "--done", "--who", "T.W.")
    lines = err.strip().splitlines()
    assert status == 4
    steps = {step["step"]: step for step in job("show", number, "--json")[1]["steps"]}
    texts = [one["text"] for one in steps["lock_tabs"]["missing"]]
    assert [line.strip().split(": ", 1)[1] for line in lines[1:]] == texts
    assert steps["lock_tabs"]["state"] == "open"
    assert job("step", number, "lock_tabs", "--done", "--although", "the car must go", "--who", "T.W.")[0] == 0
    shown = job("show", number, "--json")[1]
    [step] = [step for step in shown["steps"] if step["step"] == "lock_tabs"]
    assert (step["state"], step["who"], step["reason"]) == ("although", "T.W.", "the car must go")
    assert job("strike", number, step["entry"], "--why", "was not bent after all")[0] == 0
    shown = job("show", number, "--json")[1]
    assert [step["state"] for step in shown["steps"] if step["step"] == "lock_tabs"] == ["open"]
    assert shown["although"][0]["reason"] == "the car must go"  # for good


def test_a_step_that_can_be_undone_is_done_and_what_is_missing_is_told(job):
    number = opened(job)
    status, _, err = job("step", number, "final_series", "--done")
    assert status == 0
    assert "missing: no spec card" in err
    [step] = [step for step in job("show", number, "--json")[1]["steps"] if step["step"] == "final_series"]
    assert step["state"] == "done"


def test_a_pull_whose_metadata_names_another_unit_is_entered_and_told(job, tmp_path):
    write_pull(tmp_path, unit="DEMO  3")
    write_pull(tmp_path, "p2.csv", seed=2, unit="another unit")
    job("new", "--unit-id", "demo 3")
    assert "metadata says unit" not in job("add", "last", "pull", tmp_path / "p1.csv")[2]
    status, _, err = job("add", "last", "pull", tmp_path / "p2.csv")
    assert status == 0
    assert "p2.csv: its metadata says unit 'another unit', the job is of 'demo 3'" in err


def test_a_struck_entry_stays_visible_and_does_not_count(job, tmp_path):
    number = opened(job)
    job("add", number, "pull", write_pull(tmp_path))
    assert job("strike", number, 2, "--why", "wrong unit on the bench")[0] == 0
    shown = job("show", number, "--json")[1]
    assert shown["pulls"][0]["struck"] == "wrong unit on the bench"
    assert shown["series"] == []
    status, _, err = job("add", number, "pull", tmp_path / "p1.csv")
    assert status == 0
    assert "strike entry 3" in err
    assert job("strike", number, 3, "--why", "it was the right one")[0] == 0
    assert job("show", number, "--json")[1]["series"][0]["n"] == 1


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("show", "2026-9999"), "there is no job 2026-9999"),
        (("add", "2026-9999", "note", "x"), "there is no job 2026-9999"),
        (("show", "last"), "holds no job yet"),
        (("new", "--unit-id", " "), "needs a unit"),
        (("new", "--unit-id", "x", "--spec", "nix.toml"), "nix.toml"),
        (("new", "--unit-id", "x", "--steps", "nix.toml"), "nix.toml"),
    ],
)
def test_what_is_off_is_one_line_and_status_2(job, words, said, book_url):
    Book(Place.of(book_url), the_clock).close()
    status, _, err = job(*words)
    assert status == 2
    assert said in err
    assert len(err.strip().splitlines()) == 1


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("step", "NUMBER", "lock_tab", "--done"), "did you mean 'lock_tabs'"),
        (("step", "NUMBER", "lock_tabs", "--done", "--although", " "), "a reason is needed"),
        (("step", "NUMBER", "lock_tabs", "--done", "--acknowledge", "chatter_not_assessable"), "needs a name"),
        (("step", "NUMBER", "lock_tabs", "--done", "--acknowledge", "rust", "--who", "W"), "cannot be acknowledged"),
        (("strike", "NUMBER", "1", "--why", "x"), "cannot be struck"),
        (("strike", "NUMBER", "9", "--why", "x"), "there is no entry 9"),
        (("add", "NUMBER", "note", "  "), "there is nothing in it"),
        (("add", "NUMBER", "photo", "nix.jpg"), "nix.jpg"),
        (("add", "NUMBER", "pull", "nix.csv"), "nix.csv"),
    ],
)
def test_what_cannot_be_entered_is_said_and_nothing_is(job, words, said):
    number = opened(job)
    status, _, err = job(*(number if word == "NUMBER" else word for word in words))
    assert status == 2
    assert said in err
    assert job("show", number, "--json")[1]["events"] == 1


def test_a_bad_recording_does_not_cost_the_others(job, tmp_path):
    number = opened(job)
    bad = tmp_path / "bad.csv"
    bad.write_text("time [s],torque [N.m]\nx,y\n")
    status, entered, err = job("add", number, "pull", bad, write_pull(tmp_path), "--json")
    assert (status, len(entered["entries"])) == (2, 1)
    assert "bad.csv" in err


def test_the_steps_of_a_shop_stand_in_place_of_ours(job, tmp_path):
    steps = tmp_path / "steps.toml"
    wash, glue = '[[step]]\nkey = "wash"\nname = "Wash it"\n', '[[step]]\nkey = "glue"\nname = "Glue it"\n'
    steps.write_text(wash + glue + 'one_way = true\nneeds = ["step:wash"]\n')
    number = opened(job, "--steps", steps)
    assert job("step", number, "glue", "--done")[0] == 4
    steps.unlink()  # a job keeps the list it was opened with
    assert job("step", number, "wash", "--done")[0] == 0
    assert job("step", number, "glue", "--done")[0] == 0


def test_letters_that_no_database_takes_are_left_out(job):
    number = opened(job)
    assert job("add", number, "note", "a\udcffb")[0] == 0
    assert job("show", number, "--json")[1]["notes"][0]["text"] == "a?b"


def test_a_clock_set_back_is_said_and_the_entry_stands(job, monkeypatch):
    number = opened(job)
    monkeypatch.setattr("rig.commands._book.the_clock", lambda: START)  # some day in March
    status, _, err = job("add", number, "note", "later, and earlier by the clock")
    assert status == 0
    assert "set it right" in err
    assert job("show", number, "--json")[1]["events"] == 2


@pytest.mark.parametrize("place", ["letter.txt/book.sqlite", "letter.txt", ".", "postgresql://tw:s3cret@/jobs?host=FOLDER"])
def test_a_book_that_cannot_be_opened_is_status_3_and_one_line(place, tmp_path, capsys):
    (tmp_path / "letter.txt").write_text("dear customer")
    where = place.replace("FOLDER", str(tmp_path)) if "://" in place else str(tmp_path / place)
    status = cli.main(["job", "list", "--book", where])
    err = capsys.readouterr().err
    assert status == 3
    assert len(err.strip().splitlines()) == 1
    assert "s3cret" not in err


def test_a_volume_that_is_none_and_a_sheet_that_is_no_pdf_are_refused(job, tmp_path):
    number = opened(job)
    status, _, err = job("add", number, "oil", OIL, "--volume", "2 kg")
    assert status == 2
    assert "kg" in err
    assert job("add", number, "oil", OIL, "--volume", "2.0 l")[0] == 0
    status, _, err = job("sheet", number, "--out", tmp_path / "sheet.txt")
    assert status == 2
    assert ".pdf" in err
    assert not (tmp_path / "sheet.txt").exists()


def test_what_is_entered_after_the_close_counts_and_is_told_for_what_it_is(job, tmp_path):
    number = opened(job)
    assert job("close", number)[0] == 0
    status, _, err = job("add", number, "note", "oil level held after 500 km")
    assert (status, "after the close" in err, "strike entry 2" in err) == (0, True, True)
    assert job("show", number, "--json")[1]["after_close"] == [3]
    assert "500 km  (after the close)" in job("show", number)[1]
    assert job("strike", number, 2, "--why", "not over yet")[0] == 0  # the job is open again
    assert job("show", number, "--json")[1]["after_close"] == []
    assert "after the close" not in job("add", number, "note", "more")[2]


def test_one_pull_is_no_plural(job, tmp_path):
    number = opened(job)
    job("add", number, "pull", write_pull(tmp_path))
    assert ": 1 pull, " in job("show", number)[1]


def test_series_of_the_book_are_compared_by_job_and_phase(job, book_url, tmp_path, capsys):
    number = opened(job)
    sides = {"as found": 45.0, "rebuilt": 55.0}
    for phase, torque in sides.items():
        pulls = [write_pull(tmp_path, f"{phase[:2]}{n}.csv", peak_nm=torque + 0.2 * n, seed=n, phase=phase) for n in range(3)]
        assert job("add", number, "pull", *pulls)[0] == 0
    words = ["compare", "--before", f"{number}:as_found", "--after", f"{number}:rebuilt", "--book", book_url, "--json"]
    assert cli.main(words) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["figures"]["breakaway"]["after_over_before"] == pytest.approx(55.2 / 45.2, rel=0.02)
    words[2] = f"{number}:as_fund"
    assert cli.main(words) == 2
    assert f"{number}:as found" in capsys.readouterr().err
    (tmp_path / "as1.csv").write_text("nothing\n")
    words[2] = f"{number}:as found"
    assert cli.main(words) == 2
    assert "no longer what was entered" in capsys.readouterr().err


def test_what_only_looks_makes_no_book_and_names_the_one_beside_it(tmp_path, capsys):
    assert cli.main(["job", "new", "--unit-id", "demo 3", "--book", str(tmp_path / "shop.sqlite")]) == 0
    assert "a new job book" in capsys.readouterr().err
    wrong = tmp_path / "shpo.sqlite"
    for words in (["job", "show"], ["job", "list"], ["book", "trend"], ["book", "check"], ["job", "add", "last", "note", "x"]):
        assert cli.main([*words, "--book", str(wrong)]) == 2
        err = capsys.readouterr().err
        assert "there is no job book; did you mean shop.sqlite?" in err
        assert err.count("\n") == 1
    assert not wrong.exists()
    # The book that nobody has begun yet is empty: that is no mistake of who asks.
    assert cli.main(["job", "list", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == []


def test_a_step_is_done_without_saying_so_and_what_it_lacks_is_told(job):
    number = opened(job)
    status, out, err = job("step", number, "as_found")
    assert status == 0
    assert "as_found is done" in out
    assert "None" not in out
    assert "3 pulls each way are needed; that count: none" in err
    shown = job("show", number, "--json")[1]
    assert next(each for each in shown["steps"] if each["step"] == "as_found")["state"] == "done"


def test_what_was_not_done_is_told_loudly_when_a_job_is_closed(job):
    number = opened(job)
    status, out, _ = job("close", number)
    assert status == 0
    assert "NOT DONE when it was closed: threadlock, bearings, lock_tabs, seals" in out


def test_what_pulls_will_lack_is_known_before_the_first(job, book_url):
    number = opened(job)
    with Book(Place.of(book_url), the_clock) as book:
        assert will_lack(book.record(number), {}, "2026-11-26T10:00:00+01:00") == ("", ())  # as found: nothing is wanted yet
        job("add", number, "oil", "75W-90")
        stated = {"closure": "final", "lubricant": "75w-90", "calibration": {"due": "2026-11-01"}}
        step, lacks = will_lack(book.record(number), stated, "2026-11-26T10:00:00+01:00")
        assert step == "final_series"
        assert [text[:40] for text in lacks] == ["pulls by a sensor in calibration are nee"]
        due = {"calibration": {"due": "2026-11-26"}}
        assert will_lack(book.record(number), stated | due, "2026-11-26T10:00:00+01:00")[1] == ()
