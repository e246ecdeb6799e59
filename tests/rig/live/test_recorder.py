"""The recorder: whole lines at every instant, on the disk in time, nothing but the pull in the file, whatever the disk does."""

import errno
import os
import shutil
import threading

import numpy as np
import pytest
from support.made import MOMENT, made_stream, pieces_of

from analysis.results import Sensor
from analysis.trace import Trace
from rig.errors import TraceFileError
from rig.files import trace_csv
from rig.files.metadata import UNFINISHED, TraceInfo
from rig.files.trace_csv import amend_info, info_path, read_info, read_trace
from rig.live import pull_file
from rig.live import recorder as recorder_module
from rig.live.news import DiskBack, DiskRefuses, PullJudged, PullKept
from rig.live.recorder import REMIND_S, TRY_AGAIN_S, Recorder
from rig.live.session import Session


class Ticks:
    """A rising time that only goes on when told."""

    def __init__(self):
        self.now_s = 0.0

    def __call__(self):
        return self.now_s


@pytest.fixture
def ticks():
    return Ticks()


@pytest.fixture
def recorder(tmp_path, ticks):
    made = Recorder(tmp_path / "pulls", TraceInfo(job="J-17"), lambda: MOMENT, ticks)
    yield made
    made.close()


def files(tmp_path):
    return sorted((tmp_path / "pulls").glob("*.csv"))


def only_file(tmp_path):
    (file,) = files(tmp_path)
    return file


def record(recorder, trace, number=1, to_s=1e9, *, step=10):
    """One pull, as the session tells it: it begins with the first piece."""
    pieces = pieces_of(trace, [step])
    recorder.add(pieces[0])
    recorder.begin(number, float(trace.time_s[0]), with_angle=trace.angle_deg is not None)
    for piece in pieces[1:]:
        recorder.add(piece)
    recorder.end(to_s)
    recorder.trim(1e9)


def same(trace, other):
    return np.array_equal(trace.time_s, other.time_s) and np.array_equal(trace.torque_nm, other.torque_nm)


def test_at_every_instant_the_file_reads_and_holds_all_that_came(recorder, tmp_path):
    pieces = pieces_of(made_stream(1), [10, 3, 40])
    recorder.add(pieces[0])
    recorder.begin(1, 0.0, with_angle=True)
    samples = len(pieces[0])
    for piece in pieces[1:40]:
        recorder.add(piece)
        samples += len(piece)
        assert len(read_trace(only_file(tmp_path))[0]) == samples


def test_on_the_disk_within_a_quarter_of_a_second(recorder, ticks, monkeypatch):
    synced = []
    real = os.fsync
    monkeypatch.setattr(pull_file.os, "fsync", lambda fd: (synced.append(ticks.now_s), real(fd)))
    pieces = pieces_of(made_stream(1), [10])
    recorder.begin(1, 0.0, with_angle=True)
    for piece in pieces[:200]:
        ticks.now_s += 0.02
        recorder.add(piece)
    assert np.diff(synced[1:]).max() <= 0.25


def test_the_file_begins_where_the_pull_does_and_what_came_after_its_end_is_taken_back(recorder, tmp_path):
    stream = made_stream(1)
    for number, to_s in ((1, 4.0), (2, 4.003)):
        for piece in pieces_of(stream.between(0.0, 3.0), [7]):
            recorder.add(piece)
        recorder.begin(number, 2.0, with_angle=True)
        for piece in pieces_of(stream.between(3.001, 4.1), [7]):
            recorder.add(piece)
        recorder.end(to_s)
        recorder.trim(1e9)
        assert same(read_trace(recorder.file_of(number))[0], stream.between(2.0, to_s))


def test_a_device_that_starts_anew_does_not_get_into_the_pull_before(recorder, tmp_path):
    stream = made_stream(1)
    recorder.add(stream.between(0.0, 2.0), 0)
    recorder.begin(1, 0.0, with_angle=True)
    recorder.add(stream.between(0.0, 1.0), 1)  # the disk's thread is ahead of the session, which has not seen this yet
    recorder.end(2.0)
    recorder.restart(1)
    recorder.begin(2, 0.5, with_angle=True)
    recorder.end(1.0)
    assert same(read_trace(recorder.file_of(1))[0], stream.between(0.0, 2.0))
    assert same(read_trace(recorder.file_of(2))[0], stream.between(0.5, 1.0))


def test_files_of_the_same_second_do_not_meet(recorder, tmp_path):
    piece = made_stream(1).between(0.0, 1.0)
    for _ in range(3):
        record(recorder, piece)
    assert len(files(tmp_path)) == 3


def test_two_recorders_on_one_folder_never_choose_the_same_name(tmp_path, ticks):
    # At the same instants, under the same numbers: each pull finds a file of its own, whole.
    stream, folder = made_stream(1).between(0.0, 1.0), tmp_path / "pulls"
    made = [Recorder(folder, TraceInfo(remark=f"recorder {n}"), lambda: MOMENT, ticks) for n in range(4)]
    gate = threading.Barrier(len(made))

    def work(recorder):
        for number in range(1, 7):
            gate.wait(10)
            record(recorder, stream, number, step=100)

    threads = [threading.Thread(target=work, args=(each,)) for each in made]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    told = [each.file_of(number) for each in made for number in range(1, 7)]
    assert len(set(told)) == len(files(tmp_path)) == 24
    for n, each in enumerate(made):
        for number in range(1, 7):
            trace, info = read_trace(each.file_of(number))
            assert (same(trace, stream), info.remark, info.number) == (True, f"recorder {n}", number)
        assert each.news() == []
        each.close()
    assert not list(folder.glob("*.part"))


def test_numbers_go_on_in_a_folder(tmp_path, ticks):
    first = Recorder(tmp_path / "pulls", TraceInfo(), lambda: MOMENT, ticks)
    assert first.next_number == 1
    record(first, made_stream(1).between(0.0, 1.0), 41)
    first.close()
    assert Recorder(tmp_path / "pulls", TraceInfo(), lambda: MOMENT, ticks).next_number == 42
    session = Session(recorder=Recorder(tmp_path / "pulls", TraceInfo(), lambda: MOMENT, ticks))
    began = [item.number for piece in pieces_of(made_stream(1), [10]) for item in session.step(piece) if hasattr(item, "from_s")]
    session.finish()
    assert began == [42]


def test_between_pulls_nothing_is_written(recorder, tmp_path):
    recorder.add(made_stream(1).between(0.0, 1.0))
    recorder.end(1.0)
    assert list((tmp_path / "pulls").iterdir()) == []
    assert recorder.file_of(1) is None


def test_what_was_no_pull_leaves_nothing(recorder, tmp_path):
    recorder.add(made_stream(1).between(0.0, 1.0))
    recorder.begin(1, 0.0, with_angle=True)
    assert len(list((tmp_path / "pulls").iterdir())) == 2
    recorder.discard()
    assert list((tmp_path / "pulls").iterdir()) == []


@pytest.mark.parametrize("after_s", [0.06, 0.1, 0.2, 0.4, 0.8])
def test_a_load_is_in_a_file_long_before_it_is_known_for_a_pull(recorder, tmp_path, after_s):
    """It begins at 3 s, at 60 N.m/s; a program killed at any moment leaves all of it that had come but for a block."""
    stream = made_stream(1, rate_hz=1000.0)
    session = Session(sensor=Sensor(capacity_nm=500.0), recorder=recorder)
    for piece in pieces_of(stream.between(0.0, 3.0 + after_s), [20]):
        session.step(piece)
    trace = read_trace(only_file(tmp_path))[0]
    assert trace.time_s[0] <= 1.0
    assert trace.time_s[-1] == pytest.approx(3.0 + after_s, abs=0.025)
    assert read_info(only_file(tmp_path)).unfinished


def test_a_touch_that_comes_to_no_pull_leaves_no_file(recorder, tmp_path):
    stream = made_stream(0, rest_s=8.0)
    touch = np.where((stream.time_s > 3) & (stream.time_s < 3.3), 2.0, 0.0)
    session = Session(sensor=Sensor(capacity_nm=200.0), recorder=recorder)
    seen = 0
    for piece in pieces_of(Trace(stream.time_s, stream.torque_nm + touch, stream.angle_deg), [10]):
        session.step(piece)
        seen = max(seen, len(files(tmp_path)))
    session.finish()
    assert seen == 1
    assert list((tmp_path / "pulls").iterdir()) == []


def test_a_touch_under_way_when_the_program_ends_leaves_no_file(recorder, tmp_path):
    stream = made_stream(0, rest_s=5.0)
    touch = np.where(stream.time_s > 4.8, 2.0, 0.0)
    session = Session(sensor=Sensor(capacity_nm=200.0), recorder=recorder)
    for piece in pieces_of(Trace(stream.time_s, stream.torque_nm + touch, stream.angle_deg), [10]):
        session.step(piece)
    assert len(files(tmp_path)) == 1
    recorder.close()
    assert list((tmp_path / "pulls").iterdir()) == []


def test_what_is_taken_away_while_it_is_synced_is_no_trouble(recorder, monkeypatch):
    recorder.in_background = True
    recorder.add(made_stream(1).between(0.0, 1.0))
    recorder.begin(1, 0.0, with_angle=True)
    real = recorder_module.sync

    def meanwhile(descriptor, path):
        recorder.discard()
        real(descriptor, path)

    monkeypatch.setattr(recorder_module, "sync", meanwhile)
    recorder.sync()
    assert recorder.news() == []


def test_an_angle_that_comes_and_goes_leaves_cells_empty(recorder, tmp_path):
    recorder.add(Trace([0.0, 0.1], [1.0, 2.0], [5.0, 6.0]))
    recorder.begin(1, 0.0, with_angle=True)
    recorder.add(Trace([0.2], [3.0]))
    recorder.end(1.0)
    assert only_file(tmp_path).read_text().splitlines()[-1] == "0.2,3.0,"


def test_the_metadata_is_there_from_the_first_instant_and_says_that_it_is_not_finished(recorder, tmp_path):
    recorder.add(made_stream(1).between(0.0, 1.0))
    recorder.begin(7, 0.0, with_angle=True)
    _, info = read_trace(only_file(tmp_path))
    assert (info.number, info.job, info.unfinished, info.stated().excluded) == (7, "J-17", True, UNFINISHED)
    recorder.end(1.0)
    _, info = read_trace(only_file(tmp_path))
    assert (info.unfinished, info.stated().excluded) == (None, None)
    assert not list((tmp_path / "pulls").glob("*.part"))


def test_what_a_person_adds_to_the_metadata_is_kept_when_more_is_told_later(recorder):
    record(recorder, made_stream(1).between(0.0, 1.0))
    file = recorder.file_of(1)
    amend_info(file, excluded="the vice slipped")
    recorder.amend(1, zero_after_nm=0.5)
    info = read_info(file)
    assert (info.excluded, info.zero_after_nm, info.job) == ("the vice slipped", 0.5, "J-17")
    info_path(file).write_text("broken by somebody")
    recorder.amend(1, zero_before_nm=0.25)
    assert read_info(file).zero_before_nm == 0.25
    assert recorder.news() == []


def test_a_note_on_the_series_reaches_the_pull_under_way_and_those_to_come(recorder, tmp_path):
    session = Session(recorder=recorder, first_number=1)
    recorder.begin(1, 0.0, with_angle=False)
    session.describe(TraceInfo(job="J-18", series_remark="vice let go once"))
    recorder.add(made_stream(1).between(0.0, 1.0))
    recorder.end(1.0)
    info = read_info(recorder.file_of(1))
    assert (info.job, info.series_remark) == ("J-17", "vice let go once")
    record(recorder, made_stream(2).between(0.0, 1.0), number=2)
    info = read_info(recorder.file_of(2))
    assert (info.job, info.series_remark) == ("J-18", "vice let go once")


# -- a disk that is slow ----------------------------------------------------------------------------------------------------------

NEXT = Trace([10.0, 10.1], [1.0, 2.0])


def in_another_thread(what):
    """Done while the disk is waited for; it hangs where somebody holds what it needs."""
    thread = threading.Thread(target=what, daemon=True)
    thread.start()
    thread.join(10)
    assert not thread.is_alive(), "it waits for the disk"


def slow(monkeypatch, meanwhile):
    """The next sync takes as long as `meanwhile`."""
    real, done = os.fsync, []

    def fsync(descriptor):
        if not done:
            done.append(True)
            in_another_thread(meanwhile)
        real(descriptor)

    monkeypatch.setattr(os, "fsync", fsync)
    return done


@pytest.mark.parametrize("under_way", ["its metadata", "the pull"])
def test_while_the_disk_is_slow_with_a_pull_that_is_over_the_next_one_is_written(recorder, tmp_path, monkeypatch, under_way):
    recorder.in_background = True

    def the_next_one():
        recorder.add(NEXT.between(0.0, 10.0))
        recorder.trim(0.0)
        recorder.begin(2, 10.0, with_angle=False)
        recorder.write()
        recorder.add(NEXT.between(10.1, 11.0))
        recorder.write()

    if under_way == "its metadata":
        monkeypatch.setattr(recorder_module, "sync", lambda *_: None)
    done = slow(monkeypatch, the_next_one)
    record(recorder, made_stream(1).between(0.0, 1.0))
    recorder.write()
    assert not done  # nobody waits for the disk but the sync's thread
    recorder.sync()
    assert done
    assert same(read_trace(files(tmp_path)[1])[0], NEXT)


def test_the_session_waits_for_no_sync(recorder, tmp_path):
    # The sync's thread is stuck in the first pull's file for good.
    recorder.in_background = True
    session = Session(sensor=Sensor(capacity_nm=200.0), recorder=recorder)
    stream = made_stream(2)
    told = []
    for piece in pieces_of(stream, [20]):
        told += session.step(piece)
        recorder.write()
    assert [item.file for item in told if isinstance(item, PullJudged) and item.final] == [None, None]
    recorder.sync()
    told = session.finish()
    assert {item.number for item in told if isinstance(item, PullKept)} == {1, 2}
    assert [read_info(file).unfinished for file in files(tmp_path)] == [None, None]


def test_what_came_after_a_sync_began_is_not_taken_for_synced(recorder, tmp_path, monkeypatch):
    recorder.in_background = True
    stream = made_stream(1).between(0.0, 1.0)
    recorder.add(stream)
    recorder.begin(1, 0.0, with_angle=True)
    slow(monkeypatch, lambda: recorder.end(0.5))
    recorder.sync()
    assert recorder.file_of(1) is None
    recorder.sync()
    assert same(read_trace(recorder.file_of(1))[0], stream.between(0.0, 0.5))


def test_metadata_that_are_written_while_their_pull_turns_out_to_be_none_are_taken_away(recorder, tmp_path, monkeypatch):
    recorder.in_background = True
    recorder.add(made_stream(1).between(0.0, 1.0))
    recorder.begin(1, 0.0, with_angle=True, sure=False)
    monkeypatch.setattr(recorder_module, "sync", lambda *_: None)
    assert slow(monkeypatch, recorder.discard) == []
    recorder.sync()
    assert list((tmp_path / "pulls").iterdir()) == []


def test_a_file_is_told_when_what_was_said_last_of_its_pull_is_on_the_disk(recorder, monkeypatch):
    recorder.in_background = True
    record(recorder, made_stream(1).between(0.0, 1.0))
    recorder.sync()
    assert recorder.file_of(1) is not None
    recorder.amend(1, remark="a")
    slow(monkeypatch, lambda: (recorder.amend(1, zero_after_nm=0.5), told.append(recorder.file_of(1))))
    told = []
    recorder.sync()
    assert told == [None]
    recorder.sync()
    info = read_info(recorder.file_of(1))
    assert (info.remark, info.zero_after_nm) == ("a", 0.5)
    assert recorder.news() == [PullKept(1, recorder.file_of(1))]


# -- a disk that refuses -----------------------------------------------------------------------------------------------------------


def full(*_, **__):
    raise OSError(errno.ENOSPC, "No space left on device")


def broken(*_):
    raise OSError(errno.EIO, "Input/output error")


def no_inodes(path, flags, mode=0o777, *, real=os.open):
    if flags & os.O_CREAT:
        raise OSError(errno.ENOSPC, "No space left on device")
    return real(path, flags, mode)


FAULTS = {
    "full": (pull_file.os, "write", full),
    "failing sync": (pull_file.os, "fsync", broken),
    "no inodes": (pull_file.os, "open", no_inodes),
    "metadata refused": (trace_csv, "write_whole", full),
}


def waited(recorder, ticks, seconds=TRY_AGAIN_S + 0.01):
    """Time goes on and an empty piece comes, as from a line at rest."""
    ticks.now_s += seconds
    recorder.add(Trace([], []))
    return recorder.news()


@pytest.mark.parametrize(
    ("fault", "from_the"),
    # A file that is open needs no new inode.
    [(fault, moment) for fault in FAULTS for moment in ("start", "middle") if (fault, moment) != ("no inodes", "middle")],
)
def test_a_refusing_disk_is_told_at_once_and_as_long_as_it_lasts_and_the_pull_is_written_when_there_is_room(
    recorder, ticks, tmp_path, monkeypatch, fault, from_the
):
    stream = made_stream(1).between(0.0, 3.0)
    pieces = pieces_of(stream, [10])
    told = []
    with monkeypatch.context() as patch:
        if from_the == "start":
            patch.setattr(*FAULTS[fault])
        recorder.add(pieces[0])
        recorder.begin(1, 0.0, with_angle=True)
        told += recorder.news()
        for number, piece in enumerate(pieces[1:]):
            if number == 40:
                assert bool(told) is (from_the == "start")  # at once
                patch.setattr(*FAULTS[fault])
            ticks.now_s += 0.02
            recorder.add(piece)
            told += recorder.news()
        recorder.end(2.5)
        told += recorder.news()
        refused = [item for item in told if isinstance(item, DiskRefuses)]
        metadata_only = fault == "metadata refused"
        assert refused
        assert all(str(tmp_path) in item.where and item.remedy for item in refused)
        if not metadata_only:
            assert refused[-1].waiting == 1
            assert recorder.file_of(1) is None  # never told as kept while it is not
            reminders = [item for _ in range(20) for item in waited(recorder, ticks) if isinstance(item, DiskRefuses)]
            assert len(reminders) >= 20 * TRY_AGAIN_S / REMIND_S - 1
            assert recorder.file_of(1) is None
    told = waited(recorder, ticks)
    file = recorder.file_of(1)
    if not metadata_only:
        assert PullKept(1, file) in told
    assert any(isinstance(item, DiskBack) for item in told)
    trace, info = read_trace(file)
    assert same(trace, stream.between(0.0, 2.5))
    assert (info.number, info.unfinished) == (1, None)
    assert files(tmp_path) == [file]  # what was replaced is gone
    assert sorted(path.name for path in file.parent.iterdir()) == [file.name, info_path(file).name]
    assert waited(recorder, ticks, 100.0) == []


def test_several_pulls_wait_in_memory_and_all_are_written(recorder, ticks, tmp_path, monkeypatch):
    stream = made_stream(1).between(0.0, 1.0)
    with monkeypatch.context() as patch:
        patch.setattr(pull_file.os, "write", full)
        for number in (1, 2, 3):
            record(recorder, stream, number)
        assert [item.waiting for item in recorder.news() if isinstance(item, DiskRefuses)][-1] == 3
    kept = [item.number for item in waited(recorder, ticks) if isinstance(item, PullKept)]
    assert kept == [1, 2, 3]
    assert all(same(read_trace(recorder.file_of(number))[0], stream) for number in (1, 2, 3))


def test_memory_is_bounded_and_what_is_given_up_is_told(recorder, tmp_path, monkeypatch):
    monkeypatch.setattr(recorder_module, "MOST_WAITING", 1200)
    monkeypatch.setattr(pull_file.os, "write", full)
    for number in (1, 2, 3):
        record(recorder, made_stream(1).between(0.0, 1.0), number)
    lost = [item.what for item in recorder.news() if isinstance(item, DiskRefuses) and "lost" in item.what]
    assert lost == ["pull 1 could not be written and is lost"]


def test_what_is_still_refused_at_the_end_is_said_to_be_lost(recorder, monkeypatch):
    monkeypatch.setattr(pull_file.os, "write", full)
    record(recorder, made_stream(1).between(0.0, 1.0))
    recorder.close()
    assert "pull 1 could not be written and is lost" in [item.what for item in recorder.news() if isinstance(item, DiskRefuses)]


@pytest.mark.skipif(os.name != "posix", reason="an open file cannot be removed on this system")
@pytest.mark.parametrize("gone", ["file", "folder", "replaced", "renamed"])
@pytest.mark.parametrize("sees", ["while it runs", "at the end"])
def test_a_file_that_is_removed_while_the_pull_runs_is_noticed_and_written_anew(recorder, ticks, tmp_path, gone, sees):
    stream = made_stream(1).between(0.0, 3.0)
    pieces = pieces_of(stream, [10])
    recorder.add(pieces[0])
    recorder.begin(1, 0.0, with_angle=True)
    for piece in pieces[1:100]:
        recorder.add(piece)
    file = only_file(tmp_path)
    if gone == "folder":
        shutil.rmtree(file.parent)
    elif gone == "renamed":
        file.rename(tmp_path / "elsewhere.csv")
    else:
        file.unlink()
    if gone == "replaced":
        file.write_text("somebody else's\n")
    told = []
    for piece in pieces[100:]:
        ticks.now_s += 0.02 if sees == "while it runs" else 0.0
        recorder.add(piece)
        told += recorder.news()
    assert bool(told) is (sees == "while it runs")
    recorder.end(2.5)
    told += recorder.news() + waited(recorder, ticks)
    assert any("removed or replaced" in item.what for item in told if isinstance(item, DiskRefuses))
    kept = recorder.file_of(1)
    assert same(read_trace(kept)[0], stream.between(0.0, 2.5))
    if gone == "replaced":
        assert file.read_text() == "somebody else's\n"
        assert kept != file


@pytest.mark.skipif(os.name != "posix", reason="an open file cannot be removed on this system")
def test_a_folder_that_cannot_be_made_again_keeps_the_pull_in_memory(recorder, ticks, tmp_path):
    folder, stream = tmp_path / "pulls", made_stream(1).between(0.0, 1.0)
    shutil.rmtree(folder)
    folder.write_text("a file where the folder was")
    record(recorder, stream)
    assert any(isinstance(item, DiskRefuses) for item in recorder.news())
    folder.unlink()
    told = waited(recorder, ticks)
    assert PullKept(1, recorder.file_of(1)) in told
    assert same(read_trace(recorder.file_of(1))[0], stream)


def test_a_folder_that_cannot_be_made_is_refused_at_the_start(tmp_path, ticks):
    (tmp_path / "pulls").write_text("a file")
    with pytest.raises(TraceFileError, match="cannot be written"):
        Recorder(tmp_path / "pulls", TraceInfo(), lambda: MOMENT, ticks)
