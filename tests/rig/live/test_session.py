"""The session: pulls are recorded, read and judged however the stream is cut, and a failure costs one pull at most."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.made import MOMENT, ListSource, made_stream, pieces_of
from support.same import assert_same

import rig.live.session
from analysis.results import Sensor
from analysis.trace import EMPTY, Trace
from analysis.verdict.votes import Stated
from analysis.window import Window
from drivers.items import ConnectionLost, LineUp
from rig.files.metadata import TraceInfo
from rig.files.trace_csv import read_trace
from rig.live import pull_file
from rig.live.news import DiskRefuses, Failed, PullBegan, PullJudged, PullKept
from rig.live.recorder import Recorder
from rig.live.session import Session
from rig.live.taken import kept

WINDOW = Window.parse("50..70 N.m")


def run(session, pieces):
    news = [item for piece in pieces for item in session.step(piece)]
    return news + session.finish()


def finals(news):
    return [item for item in news if isinstance(item, PullJudged) and item.final]


def recorder_in(folder):
    return Recorder(folder, TraceInfo(job="J-17"), lambda: MOMENT, lambda: 0.0)


def test_each_pull_is_told_when_it_begins_and_judged_when_it_ends():
    news = run(Session(window=WINDOW, sensor=Sensor(capacity_nm=200.0)), pieces_of(made_stream(2), [10]))
    assert [item.number for item in news if isinstance(item, PullBegan)] == [1, 2]
    assert [item.number for item in finals(news)] == [1, 2]
    for pull in finals(news):
        assert pull.result.breakaway.torque_nm == pytest.approx(60.0, rel=0.02)
        assert pull.verdict is not None
        assert pull.trace.time_s[0] <= pull.result.breakaway.time_s - 1.0 - 1.0  # the ramp takes 1 s, and 1 s of rest before it


def test_an_early_reading_comes_before_the_pull_is_over():
    news = run(Session(), pieces_of(made_stream(1), [10]))
    judged = [item for item in news if isinstance(item, PullJudged)]
    assert [item.final for item in judged] == [False, True]
    assert judged[0].result.breakaway.torque_nm == pytest.approx(judged[1].result.breakaway.torque_nm, rel=1e-3)


@settings(max_examples=15, deadline=None)
@given(sizes=st.lists(st.integers(1, 400), min_size=1, max_size=20))
def test_where_the_stream_is_cut_does_not_matter(tmp_path_factory, sizes):
    stream = made_stream(1)
    folder = tmp_path_factory.mktemp("cut")
    whole = finals(run(Session(), [stream]))
    cut = finals(run(Session(recorder=recorder_in(folder)), pieces_of(stream, sizes)))
    assert len(cut) == len(whole) == 1
    assert_same(cut[0].result, whole[0].result)
    assert np.array_equal(read_trace(cut[0].file)[0].torque_nm, whole[0].trace.torque_nm)


def test_the_file_holds_the_very_samples_that_were_judged_and_what_is_known(tmp_path):
    news = run(Session(window=WINDOW, recorder=recorder_in(tmp_path)), pieces_of(made_stream(2), [10, 7]))
    for number, pull in enumerate(finals(news), start=1):
        trace, info = read_trace(pull.file)
        for column in ("time_s", "torque_nm", "angle_deg"):
            assert np.array_equal(getattr(trace, column), getattr(pull.trace, column))
        assert (info.job, info.number, info.when) == ("J-17", number, MOMENT.isoformat(timespec="milliseconds"))
        assert info.window.low_nm == pytest.approx(50.0)
    assert len(list(tmp_path.iterdir())) == 4


def test_a_replayed_recording_gives_the_very_reading_it_gave_live(tmp_path):
    live = finals(run(Session(window=WINDOW, recorder=recorder_in(tmp_path)), pieces_of(made_stream(1, rest_s=4.0), [10])))
    trace, info = read_trace(live[0].file)
    again = finals(run(Session(window=info.window), pieces_of(trace, [13])))
    assert_same(again[0].result, live[0].result)
    assert_same(again[0].verdict, live[0].verdict)


def test_two_pulls_close_together_share_no_sample_of_pulling():
    first, second = finals(run(Session(), pieces_of(made_stream(2, rest_s=1.2), [10])))
    assert second.trace.time_s[0] > first.result.breakaway.time_s + 2.0
    assert np.abs(second.trace.torque_nm[:100]).max() < 1.0


def test_numbers_go_on_where_the_series_stood():
    news = run(Session(first_number=5), pieces_of(made_stream(1), [50]))
    assert finals(news)[0].number == 5


def test_a_new_window_judges_the_last_pull_anew_under_its_number(tmp_path):
    recorder = recorder_in(tmp_path)
    session = Session(recorder=recorder)
    assert session.set_window(None) == []
    before = finals(run(session, pieces_of(made_stream(1), [10])))[0]
    assert before.verdict is None
    (after,) = session.set_window(Window.parse("120.. N.m"))
    assert (after.number, after.final, after.file) == (1, True, before.file)
    assert after.verdict.state == "below"
    assert recorder.info.window.low_nm == 120.0


def test_a_pull_cut_short_by_the_end_of_the_line_is_still_read():
    stream = made_stream(1)
    news = run(Session(), pieces_of(stream.between(0.0, 5.0), [10]))
    assert len(finals(news)) == 1


def test_when_time_goes_back_the_pull_is_closed_and_a_new_one_found():
    stream = made_stream(1, start_s=100.0)
    session = Session()
    pieces = pieces_of(stream.between(100.0, 104.5), [10]) + pieces_of(made_stream(1), [10])
    assert len(finals(run(session, pieces))) == 2


def test_line_news_pass_through_and_nothing_comes_of_nothing():
    session = Session()
    assert session.step(LineUp("port")) == [LineUp("port")]
    assert session.step(ConnectionLost("port", "gone", "plug it")) == [ConnectionLost("port", "gone", "plug it")]
    assert session.step(EMPTY) == []
    assert session.finish() == []


def test_zero_now_is_refused_during_a_pull_and_learns_anew_at_rest():
    session = Session()
    for piece in pieces_of(made_stream(1).between(0.0, 5.0), [10]):
        session.step(piece)
    assert session.pulling
    assert isinstance(session.zero_now()[0], Failed)
    idle = Session()
    idle.step(Trace(np.arange(1000) / 500, np.full(1000, 3.0)))
    assert idle.zero_now() == []
    idle.step(Trace(2.0 + np.arange(1000) / 500, np.full(1000, -1.0)))
    assert idle.zero_nm == pytest.approx(-1.0)


def test_a_failing_analysis_is_told_and_the_file_stays(tmp_path, monkeypatch):
    def fails(trace, sensor):
        raise ZeroDivisionError("a fault of ours")

    monkeypatch.setattr(rig.live.session, "read_pull", fails)
    news = run(Session(recorder=recorder_in(tmp_path)), pieces_of(made_stream(2), [10]))
    assert len([item for item in news if isinstance(item, PullBegan)]) == 2
    assert len([item for item in news if isinstance(item, Failed)]) >= 2
    assert not finals(news)
    files = sorted(tmp_path.glob("*.csv"))
    assert [len(read_trace(file)[0]) > 1000 for file in files] == [True, True]


def test_a_disk_that_refuses_is_told_and_the_pull_is_still_judged_and_kept_when_there_is_room(tmp_path, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    # The time to try again comes with every look at the clock.
    ticks = itertools.count(step=10.0)
    session = Session(recorder=Recorder(tmp_path, TraceInfo(), lambda: MOMENT, lambda: next(ticks)))
    with monkeypatch.context() as patch:
        patch.setattr(pull_file.os, "write", full)
        news = [each for piece in pieces_of(made_stream(1), [10]) for each in session.step(piece)]
        refused = [item for item in news if isinstance(item, DiskRefuses)]
        assert refused[0].waiting == 0  # told when the pull began
        assert refused[-1].waiting == 1
        (judged,) = finals(news)
        assert judged.file is None
        assert not list(tmp_path.glob("*.csv"))
    news = [each for piece in pieces_of(made_stream(1, start_s=100.0), [10]) for each in session.step(piece)]
    (kept_later,) = [item for item in news if isinstance(item, PullKept)]
    assert kept_later.number == judged.number
    assert np.array_equal(read_trace(kept_later.file)[0].torque_nm, judged.trace.torque_nm)


def test_samples_are_kept_to_a_millionth_but_never_merged():
    piece = kept(Trace([0.12345678, 0.5], [1.23456789, -0.00000001]))
    assert piece.time_s.tolist() == [0.123457, 0.5]
    assert piece.torque_nm.tolist() == [1.234568, 0.0]
    close = Trace([1e-8, 2e-8], [0.0, 0.0])
    assert kept(close).time_s.tolist() == [1e-8, 2e-8]
    assert not math.copysign(1, kept(close).torque_nm[0]) < 0


def test_a_source_of_nothing_is_nothing():
    assert list(ListSource([]).pieces(None)) == [LineUp("made")]


def test_what_is_stated_of_a_pull_counts_in_its_verdict_and_is_told_with_it():
    """A window in A, a pull in B: nothing converts it, so it decides nothing; described anew, the next pull does."""
    sensor, stream = Sensor(u_relative=0.005), made_stream(2)
    window = Window.parse("40..80 N.m", arrangement="A")
    session = Session(sensor=sensor, window=window, stated=Stated(arrangement="B", excluded="tried out"))
    half = float(stream.time_s[-1]) / 2
    first = finals(run(session, pieces_of(stream.between(0.0, half + 1.0), [10])))[0]
    assert (first.verdict.state, first.verdict.missing) == ("undecided", ("arrangement",))
    assert first.stated.excluded == "tried out"
    session.describe(TraceInfo(arrangement="A"))
    second = finals(run(session, pieces_of(stream.between(half + 1.0, np.inf), [10])))[0]
    assert (second.verdict.state, second.verdict.missing) == ("in_window", ())
    assert second.stated == Stated(arrangement="A")
