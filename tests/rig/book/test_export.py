"""A job as a folder, and back into another book with number, entries and head as they are."""

import csv
import io
import json

import pytest
from jsonschema import Draft202012Validator
from support.jobs import OIL, START, write_pull

from rig import cli
from rig.book.book import Book
from rig.book.export import table_bytes
from rig.book.place import Place
from rig.book.verify import verify
from rig.files.metadata import TraceInfo
from rig.files.trace_csv import read_trace

pytestmark = pytest.mark.usefixtures("own_home")


def run(capsys, url, *words):
    status = cli.main(["job", *map(str, words), "--book", url])
    out, err = capsys.readouterr()
    return status, json.loads(out) if "--json" in words else out, err


@pytest.fixture
def filled(new_url, tmp_path, capsys):
    """A book with a job, two recordings of one name in two folders, a spec card, a photo, texts that a spreadsheet would run."""
    url = new_url()
    spec, photo = tmp_path / "spec.toml", tmp_path / "plug.jpg"
    spec.write_text('[window]\ntorque = "40..65 N.m"\narrangement = "A"\n')
    photo.write_bytes(b"magnet")
    for day in ("one", "two"):
        (tmp_path / day).mkdir()
    pulls = [write_pull(tmp_path / "one", seed=1), write_pull(tmp_path / "two", seed=2, direction=-1)]
    _, answer, _ = run(capsys, url, "new", "--unit-id", "demo 3", "--spec", spec, "--json")
    job = answer["job"]
    for words in (
        ("pull", *pulls),
        ("photo", photo),
        ("note", "=HYPERLINK(evil)"),
        ("part", "-5 shims", "--batch", "@B"),
        ("oil", OIL, "--additive", "+ 4 %"),
    ):
        assert run(capsys, url, "add", job, *words)[0] == 0
    assert run(capsys, url, "strike", job, 4, "--why", "wrong way")[0] == 0
    return url, job


def test_what_is_shown_keeps_to_its_schema(filled, capsys):
    url, job = filled
    schema = json.loads((cli_schemas() / "job.schema.json").read_text())
    Draft202012Validator.check_schema(schema)
    shown = run(capsys, url, "show", job, "--json")[1]
    Draft202012Validator(schema).validate(shown)
    assert set(shown) == set(schema["properties"])  # whatever is added is described
    for name in ("pulls", "series", "parts", "oils", "notes", "photos", "steps"):
        assert set(shown[name][0]) == set(schema["properties"][name]["items"]["properties"]), name


def table(path):
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def without_paths(shown):
    def hook(one):
        return {key: value for key, value in one.items() if key not in ("path", "trace")}

    return json.loads(json.dumps(shown), object_hook=hook)


def cli_schemas():
    from importlib import resources

    return resources.files("rig") / "schemas"


def test_an_export_holds_the_job_its_files_tables_and_samples(filled, tmp_path, capsys):
    url, job = filled
    folder = tmp_path / "export"
    status, told, _ = run(capsys, url, "export", job, "--out", folder, "--json")
    assert (status, told["amiss"], told["left_out"]) == (0, [], [])
    document = json.loads((folder / "job.json").read_text("utf-8"))
    shown = run(capsys, url, "show", job, "--json")[1]
    assert {key: document[key] for key in shown} == shown
    recordings = sorted(path.relative_to(folder).as_posix() for path in folder.rglob("traces/**/*.csv"))
    assert recordings == ["traces/0004/p1.csv", "traces/p1.csv"]  # one name, two recordings
    assert (folder / "files" / "plug.jpg").read_bytes() == b"magnet"
    rows = {name: table(folder / f"{name}.csv") for name in ("pulls", "notes", "parts", "oils")}
    assert [row["text"] for row in rows["notes"]] == ["'=HYPERLINK(evil)"]
    assert [(row["text"], row["batch"]) for row in rows["parts"]] == [("'-5 shims", "'@B")]
    assert rows["oils"][0]["additive"] == "'+ 4 %"
    assert [row["direction"] for row in rows["pulls"]] == ["1", "-1"]  # a number stays one
    assert float(rows["pulls"][0]["breakaway_nm"]) == shown["pulls"][0]["breakaway_nm"]

    import pyarrow.parquet as pq

    samples = pq.read_table(folder / "samples.parquet").to_pydict()
    trace, _ = read_trace(tmp_path / "one" / "p1.csv")
    first = [at for at, entry in enumerate(samples["entry"]) if entry == 3]
    assert [samples["torque_nm"][at] for at in first] == trace.torque_nm.tolist()
    assert {samples["trace"][at] for at in first} == {"p1.csv"}
    assert set(samples["entry"]) == {3, 4}


def test_an_export_comes_back_into_another_book_as_it_was(filled, new_url, tmp_path, capsys):
    url, job = filled
    folder, other = tmp_path / "export", new_url()
    assert run(capsys, url, "export", job, "--out", folder)[0] == 0
    before = run(capsys, url, "show", job, "--json")[1]
    for name in ("one", "two"):  # the other book stands on its own files
        (tmp_path / name / "p1.csv").unlink()
    status, told, _ = run(capsys, other, "import", folder, "--json")
    assert (status, told["job"], told["head"]) == (0, job, before["head"])
    after = run(capsys, other, "show", job, "--json")[1]
    assert without_paths(after) == without_paths(before)
    with Book(Place.of(other), lambda: START) as book:
        assert verify(book).holds
        assert book.open_job({"unit": "next", "steps": []}, "T.W.", number=None).job != job
    status, _, err = run(capsys, other, "import", folder)
    assert status == 2
    assert "this number is there already" in err


@pytest.mark.parametrize("what", ["chain", "file", "gone", "outside"])
def test_an_export_that_was_altered_is_refused(filled, new_url, tmp_path, capsys, what):
    url, job = filled
    folder, other = tmp_path / "export", new_url()
    run(capsys, url, "export", job, "--out", folder)
    document = json.loads((folder / "job.json").read_text("utf-8"))
    if what == "chain":
        document["chain"][2]["who"] = "somebody else"
    elif what == "file":
        (folder / "traces" / "p1.csv").write_bytes(b"time [s],torque [N.m]\r\n0,0\r\n")
    elif what == "gone":
        (folder / "files" / "plug.jpg").unlink()
    else:
        [place] = [place for place in document["files"] if place["name"] == "plug.jpg"]
        place["path"] = "../plug.jpg"
    (folder / "job.json").write_text(json.dumps(document), "utf-8")
    status, _, err = run(capsys, other, "import", folder)
    assert status == 4
    assert "does not hold" in err
    assert run(capsys, other, "list", "--json")[1] == []


def test_what_is_no_export_is_refused(new_url, tmp_path, capsys):
    assert run(capsys, new_url(), "import", tmp_path / "nix")[0] == 2
    (tmp_path / "job.json").write_text("{}")
    status, _, err = run(capsys, new_url(), "import", tmp_path)
    assert status == 2
    assert "not an exported job" in err


def test_a_record_that_does_not_hold_is_exported_and_said_so(filled, tmp_path, capsys):
    url, job = filled
    (tmp_path / "plug.jpg").unlink()
    status, _, err = run(capsys, url, "export", job, "--out", tmp_path / "export")
    assert status == 4
    assert "plug.jpg" in err
    assert (tmp_path / "export" / "job.json").is_file()


def test_nothing_is_written_over(filled, tmp_path, capsys):
    url, job = filled
    (tmp_path / "there").mkdir()
    (tmp_path / "there" / "letter").write_text("dear customer")
    assert run(capsys, url, "export", job, "--out", tmp_path / "there")[0] == 2
    assert (tmp_path / "there" / "letter").read_text() == "dear customer"


@pytest.mark.parametrize("text", ["=1", "+1", "-1", "@a", "\tx", "\rx"])
def test_no_text_is_taken_for_a_formula(text):
    (row,) = csv.DictReader(io.StringIO(table_bytes([{"text": text}]).decode(), newline=""))
    assert row["text"] == "'" + text


def test_numbers_stay_and_other_texts_too():
    assert table_bytes([{"a": -1.5, "b": -1, "c": "1-2", "d": None}]) == b"a,b,c,d\r\n-1.5,-1,1-2,\r\n"


def test_metadata_is_part_of_an_export(filled, tmp_path, capsys):
    url, job = filled
    run(capsys, url, "export", job, "--out", tmp_path / "export")
    _, info = read_trace(tmp_path / "export" / "traces" / "p1.csv")
    assert isinstance(info, TraceInfo)
    assert info.closure == "final"
