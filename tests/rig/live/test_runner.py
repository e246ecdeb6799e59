"""The bench's two threads: nothing is lost silently, everything ends, errors are told."""

import os
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest
from support.made import ListSource, made_stream, pieces_of

from analysis.window import Window
from drivers.codec import WireFaults
from drivers.errors import LineLostError
from drivers.items import LineUp
from rig.files.metadata import TraceInfo
from rig.files.trace_csv import read_trace
from rig.live import runner as bench_module
from rig.live.inbox import Inbox
from rig.live.news import Ended, Failed, PullJudged
from rig.live.recorder import recorder_into
from rig.live.runner import Bench
from rig.live.session import Session
from rig.live.wishes import SetWindow


def all_news(bench, until=Ended, patience_s=20.0):
    news, deadline = [], time.monotonic() + patience_s
    while not any(isinstance(item, until) for item in news):
        assert time.monotonic() < deadline, f"no {until.__name__} came: {news}"
        news += bench.wait_for_news(0.2)
    return news


def test_a_source_that_ends_is_read_to_its_end_and_the_bench_still_answers():
    stream = made_stream(1)
    with Bench(ListSource(pieces_of(stream, [10])), Session(), patient=True) as bench:
        news = all_news(bench)
        assert isinstance(news[0], LineUp)
        assert isinstance(news[-1], Ended)
        assert bench.error is None
        assert bench.status.line.samples == len(stream)
        assert bench.status.line.rate_hz == pytest.approx(500.0)
        assert bench.status.line.dropped == 0
        assert not bench.status.line.up
        bench.ask(SetWindow(Window.parse("120.. N.m")))
        (again,) = all_news(bench, PullJudged)
        assert again.verdict.state == "below"


def test_the_picture_is_drained_in_order_and_bounded():
    stream = made_stream(1)
    with Bench(ListSource(pieces_of(stream, [1])), Session(), patient=True) as bench:
        all_news(bench)
        pieces = bench.scope()
    assert len(pieces) == min(len(stream), bench_module.SCOPE_PIECES)
    assert pieces[-1].time_s[-1] == stream.time_s[-1]
    assert bench.scope() == []


@pytest.mark.parametrize(
    "error", [LineLostError("the line went away", where="COM3", remedy="check the plug"), ZeroDivisionError("ours")]
)
def test_what_ends_the_line_is_told_and_kept(error):
    with Bench(ListSource([], error), Session()) as bench:
        news = all_news(bench)
    assert bench.error is error
    assert [type(item) for item in news] == [LineUp, Failed, Ended]


def test_a_fault_in_the_session_stops_the_line_and_is_told():
    class Broken(Session):
        def look(self, item):
            raise ZeroDivisionError("ours")

    with Bench(ListSource(pieces_of(made_stream(1), [10])), Broken()) as bench:
        news = all_news(bench)
    assert [type(item) for item in news] == [Failed, Ended]


class _Endless:
    """A source that goes on until it is stopped."""

    def __init__(self):
        self.faults = WireFaults(garbled=3)
        self._stream = pieces_of(made_stream(20), [10])

    def pieces(self, stop):
        yield LineUp("endless")
        for piece in self._stream:
            if stop.wait(0.0005):
                return
            yield piece
        stop.wait()


def test_closing_during_a_pull_keeps_it():
    bench = Bench(_Endless(), Session())
    deadline = time.monotonic() + 20
    while not bench.status.pulling:
        assert time.monotonic() < deadline
        time.sleep(0.002)
    bench.close()
    bench.close()
    news = bench.news()
    assert isinstance(news[-1], Ended)
    assert [item.final for item in news if isinstance(item, PullJudged)] == [True]
    assert bench.status.line.faults.garbled == 3


def test_a_full_inbox_is_counted_and_told(monkeypatch):
    monkeypatch.setattr(bench_module, "INBOX_PIECES", 4)
    gate = threading.Event()

    class Slow(Session):
        def look(self, item):
            gate.wait(20)
            return super().look(item)

    stream = made_stream(1)

    class Bursting(ListSource):
        def pieces(self, stop):
            yield from super().pieces(stop)
            gate.set()

    with Bench(Bursting(pieces_of(stream, [10])), Slow()) as bench:
        news = all_news(bench)
    assert bench.status.line.dropped > 0
    assert bench.status.line.samples + bench.status.line.dropped == len(stream)
    assert bench.status.line.queue_high_water == 4
    assert any(isinstance(item, Failed) and "lost" in item.what for item in news)


def test_a_session_that_is_stuck_keeps_nothing_from_the_disk(tmp_path):
    # The analysis hangs in the middle of a pull; all that comes after it is on the disk all the same, before the session goes on.
    gate, stuck = threading.Event(), threading.Event()

    class Stuck(Session):
        def look(self, item):
            if self.pulling and not gate.is_set():
                stuck.set()
                gate.wait(60)
            return super().look(item)

    stream = made_stream(1, peak_nm=70.0)
    recorder = recorder_into(tmp_path, TraceInfo())
    with Bench(ListSource(pieces_of(stream, [10])), Stuck(recorder=recorder)) as bench:
        assert stuck.wait(30)
        deadline, newest_s = time.monotonic() + 30, 0.0
        while newest_s < stream.time_s[-1]:
            assert time.monotonic() < deadline, newest_s
            time.sleep(0.01)
            (file,) = tmp_path.glob("*.csv")
            if len(file.read_bytes()) > 100:
                newest_s = read_trace(file)[0].time_s[-1]
        gate.set()
        (judged,) = [item for item in all_news(bench) if isinstance(item, PullJudged) and item.final]
    trace, _ = read_trace(judged.file)
    assert np.array_equal(trace.time_s, judged.trace.time_s)  # what is not the pull's was taken back
    assert np.array_equal(trace.torque_nm, judged.trace.torque_nm)
    assert trace.time_s[-1] < stream.time_s[-1]


def test_a_fault_of_ours_in_recording_is_told_and_the_pull_is_judged(tmp_path, monkeypatch):
    recorder = recorder_into(tmp_path, TraceInfo())

    def broken():
        raise ZeroDivisionError("ours")

    monkeypatch.setattr(recorder, "write", broken)
    with Bench(ListSource(pieces_of(made_stream(1), [10])), Session(recorder=recorder), patient=True) as bench:
        news = all_news(bench)
    assert [item.where for item in news if isinstance(item, Failed)] == ["recorder"]
    assert [item.final for item in news if isinstance(item, PullJudged)][-1]


def test_a_patient_inbox_waits_for_room_or_gives_up():
    inbox, give_up = Inbox(1, patient=True), threading.Event()
    assert inbox.offer("a", give_up)
    give_up.set()
    assert not inbox.offer("b", give_up)
    inbox.tell("word")
    assert [inbox.take(), inbox.take()] == ["a", "word"]


def test_no_thread_is_left(threads):
    with Bench(ListSource([]), Session()):
        pass
    assert threads() == []


FIRST_PULL = """
import sys
from support.made import made_stream, pieces_of
from analysis.results import Sensor
from analysis.window import Window
from rig.live.runner import load_ahead
from rig.live.session import Session

session = Session(sensor=Sensor(capacity_nm=200.0), window=Window.parse("35..60 N.m"))
load_ahead()
loaded = set(sys.modules)
told = [type(item).__name__ for piece in pieces_of(made_stream(1, rate_hz=1000.0), [20]) for item in session.step(piece)]
assert "PullJudged" in told, told
print(*sorted(set(sys.modules) - loaded))
"""


def test_the_first_pull_finds_loaded_what_its_reading_needs():
    tests = Path(__file__).resolve().parents[2]
    done = subprocess.run(
        [sys.executable, "-c", FIRST_PULL],
        capture_output=True,
        text=True,
        check=True,
        cwd=tests.parent,
        env={**os.environ, "PYTHONPATH": str(tests)},
    )
    assert done.stdout.split() == []


def test_a_bench_loads_ahead_what_the_first_pull_needs(monkeypatch):
    loaded = threading.Event()
    monkeypatch.setattr(bench_module, "LOAD_AFTER_S", 0.0)
    monkeypatch.setattr(bench_module, "load_ahead", loaded.set)
    with Bench(ListSource([]), Session()):
        assert loaded.wait(20)
