"""What a killed program left behind: told at the next start, put right, and nothing of a living one touched."""

import os
import subprocess
import sys
from datetime import timedelta

import pytest
from support.made import MOMENT, made_stream, pieces_of

from rig.files.atomic import clear_drafts, write_whole
from rig.files.held import is_held
from rig.files.metadata import TraceInfo
from rig.files.trace_csv import info_path, read_trace, write_trace
from rig.live.left_behind import highest_number
from rig.live.news import EndedAbruptly, PullBegan
from rig.live.recorder import Recorder
from rig.live.session import Session

STREAM = made_stream(1)


def recorder_in(tmp_path, *, clock=lambda: MOMENT):
    return Recorder(tmp_path / "pulls", TraceInfo(unit="demo"), clock, lambda: 0.0, tmp_path / "marks")


def killed(recorder):
    """As after a kill: its files are let go by the system, and nothing else happens."""
    for descriptor in (recorder._mark._descriptor, *([recorder._pull.file._descriptor] if recorder._pull else [])):
        os.close(descriptor)
    recorder._mark = recorder._pull = None


def begun(recorder, to_s=3.5):
    session = Session(recorder=recorder)
    told = [item for piece in pieces_of(STREAM.between(0.0, to_s), [10]) for item in session.step(piece)]
    assert any(isinstance(item, PullBegan) for item in told)


def test_a_pull_that_was_cut_off_is_told_kept_and_set_aside(tmp_path):
    first = recorder_in(tmp_path)
    begun(first)
    (file,) = (tmp_path / "pulls").glob("*.csv")
    killed(first)
    with file.open("ab") as torn:
        torn.write(b"3.50")
    (tmp_path / "pulls" / f"{file.name}-metadata.json.77_0.part").write_text("{")
    os.utime(file, (MOMENT.timestamp(), MOMENT.timestamp()))
    for mark in (tmp_path / "marks").iterdir():
        os.utime(mark, (MOMENT.timestamp(), MOMENT.timestamp()))

    after = recorder_in(tmp_path, clock=lambda: MOMENT + timedelta(seconds=35))
    assert after.news() == [EndedAbruptly(MOMENT, 35.0, 1, file.absolute())]
    trace, info = read_trace(file)
    assert trace.time_s[-1] == 3.5
    assert (info.unfinished, info.unit) == (None, "demo")
    assert info.stated().excluded == "cut off: the program ended at 2026-03-05 10:30:00"
    assert sorted(path.name for path in (tmp_path / "pulls").iterdir()) == [file.name, info_path(file).name]
    assert after.next_number == 2
    after.close()
    assert list((tmp_path / "marks").iterdir()) == []
    again = recorder_in(tmp_path)
    assert again.news() == []  # told once
    again.close()


def test_a_kill_between_pulls_is_told_as_a_time_in_which_nobody_read(tmp_path):
    first = recorder_in(tmp_path)
    killed(first)
    (mark,) = (tmp_path / "marks").iterdir()
    os.utime(mark, (MOMENT.timestamp(), MOMENT.timestamp()))
    after = recorder_in(tmp_path, clock=lambda: MOMENT + timedelta(seconds=7))
    assert after.news() == [EndedAbruptly(MOMENT, 7.0, None, None)]
    after.close()


def test_the_folder_of_another_day_is_put_right_too(tmp_path):
    first = recorder_in(tmp_path)
    begun(first)
    killed(first)
    after = Recorder(tmp_path / "tomorrow", TraceInfo(), lambda: MOMENT, lambda: 0.0, tmp_path / "marks")
    (told,) = after.news()
    assert told.file.parent == tmp_path / "pulls"
    after.close()


def test_a_living_recorder_is_left_alone(tmp_path):
    first = recorder_in(tmp_path)
    begun(first)
    (file,) = (tmp_path / "pulls").glob("*.csv")
    before = file.read_bytes(), info_path(file).read_bytes()
    second = recorder_in(tmp_path)
    assert second.news() == []
    assert (file.read_bytes(), info_path(file).read_bytes()) == before
    assert len(list((tmp_path / "marks").iterdir())) == 2
    second.close()
    first.close()
    assert list((tmp_path / "marks").iterdir()) == []


def test_a_pull_killed_before_its_first_sample_or_its_metadata(tmp_path):
    first = recorder_in(tmp_path)
    folder = tmp_path / "pulls"
    (folder / "pull_20260305_103000_001.csv").write_bytes(b"")
    (folder / "pull_20260305_103001_002.csv").write_bytes(b"time [s],torque [N.m]\r\n0.0,1.5\r\n0.1,1.")
    killed(first)
    after = recorder_in(tmp_path)
    (told,) = after.news()
    assert (told.number, told.file.name) == (2, "pull_20260305_103001_002.csv")
    trace, info = read_trace(told.file)
    assert trace.torque_nm.tolist() == [1.5]  # half a number at its end is not believed
    assert info.stated().excluded.startswith("cut off")
    assert not (folder / "pull_20260305_103000_001.csv").exists()
    after.close()


def test_traces_of_other_people_are_left_alone(tmp_path):
    folder = tmp_path / "pulls"
    folder.mkdir()
    write_trace(folder / "pull_of_mine.csv", STREAM)
    write_trace(folder / "pull_20200101_000000_009.csv", STREAM)  # bare, and long finished
    os.utime(folder / "pull_20200101_000000_009.csv", (1e9, 1e9))
    (folder / "letter.part").write_text("mine")
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    first = recorder_in(tmp_path)
    killed(first)
    recorder_in(tmp_path).close()
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


@pytest.mark.parametrize("text", [b"", b"{", b"[]", b'{"folder": 7}', b'{"folder": "a\\u0000b"}', b"[" * 20000, b"\xff\xfe"])
def test_a_broken_mark_is_taken_away(tmp_path, text):
    (tmp_path / "marks").mkdir()
    (tmp_path / "marks" / "1_0.json").write_bytes(text)
    recorder_in(tmp_path).close()
    assert list((tmp_path / "marks").iterdir()) == []


def test_numbers_are_read_off_names_alone(tmp_path):
    names = ("pull_20260305_103000_007.csv", "pull_20260305_103000_012_2.csv", "pull_20260305_999.csv", "pull_x.csv", "x.csv")
    for name in names:
        (tmp_path / name).write_text("")
    assert highest_number(tmp_path) == 12
    assert highest_number(tmp_path / "nowhere") == 0


def test_a_program_that_is_killed_lets_go_of_what_it_holds(tmp_path):
    file = tmp_path / "held.csv"
    script = (
        "import os,sys,time\nfrom rig.files.held import hold\n"
        f"fd=os.open({str(file)!r}, os.O_RDWR|os.O_CREAT)\nprint(hold(fd), flush=True)\nsys.stdin.read()\n"
    )
    child = subprocess.Popen([sys.executable, "-c", script], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert child.stdout.readline().strip() == "True"
    assert is_held(file)
    child.kill()
    child.communicate()
    assert not is_held(file)
    assert not is_held(tmp_path / "none")


def test_a_draft_of_a_killed_program_goes_and_one_in_work_stays(tmp_path):
    (tmp_path / "x.json.1_1.part").write_text("half")
    clear_drafts(tmp_path, "*.json")
    write_whole(tmp_path / "x.json", "whole")
    assert [path.name for path in tmp_path.iterdir()] == ["x.json"]


def test_a_disk_that_refuses_a_draft_leaves_none(tmp_path, monkeypatch):
    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        write_whole(tmp_path / "x.json", "whole")
    assert list(tmp_path.iterdir()) == []
