"""The recorder: whole lines at every instant, on the disk in time, nothing but the pull in the file."""

import os

import numpy as np
import pytest
from support.made import MOMENT, made_stream, pieces_of

from analysis.trace import Trace
from rig.errors import TraceFileError
from rig.files.metadata import TraceInfo
from rig.files.trace_csv import info_path, read_trace
from rig.live import recorder as recorder_module
from rig.live.recorder import Recorder


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
    made.end(1e9)


def only_file(tmp_path):
    (file,) = (tmp_path / "pulls").glob("*.csv")
    return file


def test_at_every_instant_the_file_reads_and_holds_all_that_came(recorder, tmp_path):
    pieces = pieces_of(made_stream(1), [10, 3, 40])
    recorder.begin(1, pieces[0])
    samples = len(pieces[0])
    for piece in pieces[1:40]:
        recorder.add(piece)
        samples += len(piece)
        assert len(read_trace(only_file(tmp_path))[0]) == samples


def test_on_the_disk_within_a_quarter_of_a_second(recorder, ticks, monkeypatch):
    synced = []
    monkeypatch.setattr(recorder_module.os, "fsync", lambda _: synced.append(ticks.now_s))
    pieces = pieces_of(made_stream(1), [10])
    recorder.begin(1, pieces[0])
    for piece in pieces[1:200]:
        ticks.now_s += 0.02
        recorder.add(piece)
    assert np.diff(synced[1:]).max() <= 0.25


def test_what_came_after_the_end_is_taken_back(recorder, tmp_path):
    stream = made_stream(1)
    for to_s in (4.0, 4.003):
        recorder.begin(1, stream.between(2.0, 3.0))
        for piece in pieces_of(stream.between(3.001, 4.1), [7]):
            recorder.add(piece)
        recorder.end(to_s)
        trace, _ = read_trace(recorder.last_file)
        assert np.array_equal(trace.time_s, stream.between(2.0, to_s).time_s)
        assert np.array_equal(trace.torque_nm, stream.between(2.0, to_s).torque_nm)


def test_files_of_the_same_second_do_not_meet(recorder, tmp_path):
    piece = made_stream(1).between(0.0, 1.0)
    for _ in range(3):
        recorder.begin(1, piece)
        recorder.end(1.0)
    assert len(list((tmp_path / "pulls").glob("*.csv"))) == 3


def test_between_pulls_nothing_is_written(recorder, tmp_path):
    recorder.add(made_stream(1).between(0.0, 1.0))
    recorder.end(1.0)
    assert list((tmp_path / "pulls").iterdir()) == []
    assert recorder.last_file is None


def test_an_angle_that_comes_and_goes_leaves_cells_empty(recorder, tmp_path):
    recorder.begin(1, Trace([0.0, 0.1], [1.0, 2.0], [5.0, 6.0]))
    recorder.add(Trace([0.2], [3.0]))
    recorder.end(1.0)
    assert only_file(tmp_path).read_text().splitlines()[-1] == "0.2,3.0,"


def test_the_metadata_is_there_from_the_first_instant(recorder, tmp_path):
    recorder.begin(7, made_stream(1).between(0.0, 1.0))
    _, info = read_trace(only_file(tmp_path))
    assert (info.number, info.job) == (7, "J-17")
    assert not list((tmp_path / "pulls").glob("*.part"))
    assert info_path(only_file(tmp_path)).exists()


def test_a_disk_that_refuses_is_told_and_the_next_pull_may_try_again(recorder, monkeypatch, tmp_path):
    piece = made_stream(1).between(0.0, 1.0)
    real = os.fsync

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(recorder_module.os, "fsync", full)
    with pytest.raises(TraceFileError, match="No space left"):
        recorder.begin(1, piece)
    recorder.add(piece)
    monkeypatch.setattr(recorder_module.os, "fsync", real)
    recorder.begin(2, piece)
    recorder.end(1.0)
    assert read_trace(recorder.last_file)[1].number == 2
