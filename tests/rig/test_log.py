"""The log that a user can send: it tells what happened, and nobody's name."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.processes import platepull

from analysis.errors import BenchError
from drivers.errors import LineLostError
from rig.log import FILE, MOST_BYTES, OLD_FILES, log_event, log_fault, log_refusal, start_log, stop_log, without_names


@pytest.fixture
def log(tmp_path):
    start_log(tmp_path / "log")
    yield lambda: (tmp_path / "log" / FILE).read_text()
    stop_log()


def test_numbers_and_codes_go_in(log):
    log_event("pull", number=3, state="undecided", quality=None)
    assert log().endswith("pull number=3 state=undecided\n")


@pytest.mark.parametrize(
    ("error", "kept"),
    [
        (BenchError("torque 'Smith' is not a number", where="/srv/Smith/My Smith, 2.csv, row 3"), "where=(...).csv, row 3"),
        (BenchError("the file D:\\Kunden\\Smith\\p.csv is gone", where="Smith.csv-metadata.json"), "where=(...).csv-metadata.json"),
        (BenchError("job 'Smith' is not open", where="--job"), "where=--job"),
        (LineLostError("the port is in use", where="/dev/ttyUSB0"), "where=/dev/ttyUSB0"),
        (LineLostError("nobody answers there", where="socket://Smith:4000"), "where=(...)"),
    ],
)
def test_what_a_person_was_told_goes_in_without_names(log, error, kept):
    log_refusal(error)
    assert kept in log()
    assert "Smith" not in log()


def test_a_fault_of_ours_says_where_in_the_code_and_not_what_it_held(log):
    try:
        raise KeyError("Smith")
    except KeyError as fault:
        log_fault(fault)
    assert "fault kind=KeyError at=test_log.py:" in log()
    assert "Smith" not in log()


def test_it_stays_small(tmp_path):
    start_log(tmp_path)
    for number in range(12_000):
        log_event("pull", number=number, text="x" * 40)
    stop_log()
    files = list(tmp_path.iterdir())
    assert len(files) == 1 + OLD_FILES
    assert all(file.stat().st_size <= MOST_BYTES for file in files)


def test_a_folder_that_cannot_be_written_costs_nothing(tmp_path):
    (tmp_path / "taken").write_text("")
    start_log(tmp_path / "taken")
    log_event("pull")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no file that is always full")
def test_a_full_disk_costs_nothing_until_the_end(tmp_path):
    (tmp_path / FILE).symlink_to("/dev/full")
    start_log(tmp_path)
    log_event("pull")
    stop_log()


@given(st.text(alphabet="ab/\\'\".: ,;()"))
def test_no_quoted_text_and_no_path_is_left(text):
    left = without_names(text)
    assert "/" not in left.replace("/dev/tty", "")
    assert "\\" not in left


def test_a_run_is_logged_by_its_verb_alone(tmp_path):
    done = platepull(tmp_path, "analyse", tmp_path / "Smith.csv")
    assert done.returncode == 2
    (file,) = Path(tmp_path).rglob(FILE)
    text = file.read_text()
    assert "begin verb=analyse" in text
    assert "refused" in text or "end verb=analyse" in text
    assert "Smith" not in text
