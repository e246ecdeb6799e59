"""A replay takes the whole way of the bytes and gives the very reading the pull gave live."""

import os

import numpy as np
import pytest
from support.made import MOMENT, made_stream, pieces_of
from support.same import assert_same

from analysis.results import Sensor
from analysis.trace import EMPTY, Trace
from analysis.window import Window
from drivers.clock import SystemClock
from drivers.replay import Replay
from rig.files.metadata import TraceInfo
from rig.files.trace_csv import read_trace
from rig.live.loopback import LineReplay
from rig.live.news import Ended, PullJudged
from rig.live.recorder import Recorder
from rig.live.runner import Bench
from rig.live.session import Session

needs_pty = pytest.mark.skipif(not hasattr(os, "openpty"), reason="this system has no pseudo-terminals")
over = pytest.mark.parametrize("over", [pytest.param("pty", marks=needs_pty), "socket"])
SENSOR = Sensor(capacity_nm=200.0, u_relative=0.005)
WINDOW = Window.parse("50..70 N.m")


def judged(source):
    news = []
    with Bench(source, Session(sensor=SENSOR, window=WINDOW), patient=True) as bench:
        while not any(isinstance(item, Ended) for item in news):
            news += bench.wait_for_news(1.0)
        assert bench.error is None, news
        return [item for item in news if isinstance(item, PullJudged) and item.final], bench.status.line


@pytest.fixture(params=[True, False], ids=["with angle", "torque alone"])
def recorded(request, tmp_path):
    """A pull caught live and its file. The device had run for long, so its clock is far from zero."""
    stream = made_stream(1, rest_s=4.0, start_s=12_345.678)
    if not request.param:
        stream = Trace(stream.time_s, stream.torque_nm)
    session = Session(sensor=SENSOR, window=WINDOW, recorder=Recorder(tmp_path, TraceInfo(), lambda: MOMENT, lambda: 0.0))
    news = [item for piece in pieces_of(stream, [10]) for item in session.step(piece)]
    return next(item for item in news if isinstance(item, PullJudged) and item.final)


@over
def test_over_the_line_it_gives_the_very_reading_it_gave_live(recorded, over):
    trace, _ = read_trace(recorded.file)
    (again,), wire = judged(LineReplay(trace, SENSOR, speed=50.0, over=over))
    assert_same(again.result, recorded.result)
    assert_same(again.verdict, recorded.verdict)
    assert (wire.samples, wire.faults.total, wire.dropped) == (len(trace), 0, 0)


def test_what_was_recorded_beyond_the_sensors_capacity_comes_back_too():
    """A spike of five times the capacity: on a live line it would be taken for damage, in a recording it stands as it is."""
    time_s = np.arange(1000) / 1000
    trace = Trace(time_s, np.where(np.arange(1000) == 500, 1000.0, 0.0))
    source = LineReplay(trace, SENSOR, speed=50.0, over="socket")
    _, wire = judged(source)
    assert (wire.samples, wire.faults.total) == (1000, 0)


def test_at_the_pieces_too(recorded):
    trace, _ = read_trace(recorded.file)
    (again,), _ = judged(Replay(trace, SystemClock(), speed=float("inf")))
    assert_same(again.result, recorded.result)
    assert_same(again.verdict, recorded.verdict)


@over
def test_every_sample_comes_back_as_it_was(over):
    stream = made_stream(1, rate_hz=200.0)
    rounded = Trace(np.round(stream.time_s, 6), np.round(stream.torque_nm, 6), np.round(stream.angle_deg, 6))
    with Bench(LineReplay(rounded, SENSOR, speed=100.0, over=over), Session(), patient=True) as bench:
        while not any(isinstance(item, Ended) for item in bench.wait_for_news(1.0)):
            pass
        back = bench.scope()
    assert np.concatenate([piece.time_s for piece in back]) == pytest.approx(rounded.time_s, abs=1e-9)
    assert np.array_equal(np.concatenate([piece.torque_nm for piece in back]), rounded.torque_nm)


def test_a_gap_stays_a_gap():
    stream = made_stream(1, rate_hz=200.0)
    holed = Trace(*(np.delete(column, slice(300, 420)) for column in (stream.time_s, stream.torque_nm, stream.angle_deg)))
    with Bench(LineReplay(holed, SENSOR, speed=20.0, over="socket"), Session(), patient=True) as bench:
        while not any(isinstance(item, Ended) for item in bench.wait_for_news(1.0)):
            pass
        assert bench.status.line.samples == len(holed)
        back = np.concatenate([piece.time_s for piece in bench.scope()])
    assert np.diff(back).max() == pytest.approx(121 / 200, abs=1e-6)


def test_nothing_to_replay_ends_at_once_and_a_stop_is_heard():
    pulls, wire = judged(LineReplay(EMPTY, SENSOR, over="socket"))
    assert (pulls, wire.samples) == ([], 0)
    bench = Bench(LineReplay(made_stream(1), SENSOR, speed=1.0, over="socket"), Session(), patient=True)
    bench.wait_for_news(5.0)
    bench.close()


def test_a_speed_must_be_one():
    for speed in (0.0, -1.0, float("inf"), float("nan")):
        with pytest.raises(ValueError, match="speed"):
            LineReplay(EMPTY, SENSOR, speed=speed)
