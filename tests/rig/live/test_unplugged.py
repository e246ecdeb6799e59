"""The cable is pulled while a bench records: what came is kept, the gap is one in time, the pulls go on."""

import itertools
import threading

import numpy as np
import pytest
from support.made import MOMENT, made_stream

from analysis.results import QualityCode, Sensor
from analysis.window import Window
from drivers.codec import Reading
from drivers.errors import LineLostError
from drivers.items import ConnectionLost, LineUp
from drivers.line import READ_S
from drivers.profile import DeviceProfile
from drivers.source import LiveSource
from drivers.text import Column, TextFormat, encode_line
from rig.files.metadata import TraceInfo
from rig.files.trace_csv import read_trace
from rig.live.news import Failed, PullJudged
from rig.live.recorder import Recorder
from rig.live.session import Session

TEXT = TextFormat(columns=(Column("torque", "N.m"), Column("angle", "deg")), rate_hz=500.0)
A_READ = round(500 * READ_S)


class Cable:
    """A device that sends on whether it is heard or not; clock, port and line in one. Unplugged from one moment to another."""

    def __init__(self, stream, from_s, to_s):
        rows = zip(stream.torque_nm.tolist(), stream.angle_deg.tolist(), stream.time_s.tolist(), strict=True)
        self._lines = [encode_line(TEXT, Reading(*row), digits=4) for row in rows]
        self._from_s, self._to_s = from_s, to_s
        self.now_s, self.name, self.ended = 0.0, "cable", False

    @property
    def _away(self):
        return self._from_s <= self.now_s < self._to_s

    def now(self):
        return self.now_s

    def wait_until(self, moment_s, stop):
        self.now_s = max(self.now_s, moment_s)
        return stop.is_set()

    def open(self, port):
        if self._away:
            raise LineLostError("there is no such port", where=port, remedy="plug it in")
        return self

    def read(self, most=4096):
        at = round(self.now_s / READ_S)
        self.now_s = (at + 1) * READ_S
        if self._away:
            raise LineLostError("the line went away", where=self.name, remedy="check the plug")
        data = b"".join(self._lines[at * A_READ : (at + 1) * A_READ])
        self.ended = not data
        return data

    def write(self, data):
        pass

    def discard(self):
        pass

    def close(self):
        pass


def recorded(tmp_path, from_s, to_s, patience_s=10.0):
    cable = Cable(made_stream(2, rest_s=4.0), from_s, to_s)
    profile = DeviceProfile(name="b", port="cable", protocol="text", capacity_nm=200.0, patience_s=patience_s, text=TEXT)
    ticks = itertools.count(step=0.02)
    recorder = Recorder(tmp_path, TraceInfo(), lambda: MOMENT, lambda: next(ticks))
    session = Session(sensor=Sensor(capacity_nm=200.0, u_nm=0.1), window=Window.parse("40..80 N.m"), recorder=recorder)
    news, ended = [], None
    try:
        for item in LiveSource(profile, cable, cable.open, list).pieces(threading.Event()):
            news += session.step(item)
    except LineLostError as error:
        ended = error
    return news + session.finish(), ended


def finals(news):
    return [item for item in news if isinstance(item, PullJudged) and item.final]


def test_at_rest_nothing_but_the_rest_is_missing(tmp_path):
    news, ended = recorded(tmp_path, 8.9, 9.9)
    assert ended is None
    assert [type(item) for item in news if isinstance(item, LineUp | ConnectionLost | Failed)] == [LineUp, ConnectionLost, LineUp]
    assert [item.number for item in finals(news)] == [1, 2]
    for pull in finals(news):
        assert pull.result.breakaway.torque_nm == pytest.approx(60.0, rel=0.01)
        assert np.array_equal(read_trace(pull.file)[0].torque_nm, pull.trace.torque_nm)


@pytest.mark.parametrize("from_s", [4.5, 4.99, 5.5, 6.5])
def test_in_the_middle_of_a_pull_what_came_before_and_after_is_kept_and_the_gap_is_told(tmp_path, from_s):
    news, ended = recorded(tmp_path, from_s, from_s + 0.45)
    assert ended is None
    first, *others = finals(news)
    trace, info = read_trace(first.file)
    assert np.array_equal(trace.time_s, first.trace.time_s)
    assert np.array_equal(trace.torque_nm, first.trace.torque_nm)
    assert info.unfinished is None
    gap_s = np.diff(trace.time_s).max()
    assert gap_s == pytest.approx(0.45, abs=0.25)  # the port is looked for every 0.2 s
    assert QualityCode.GAPS in [flag.code for flag in first.result.quality]
    last = others[-1]  # the pull after it is as if nothing had been
    assert last.result.breakaway.torque_nm == pytest.approx(60.0, rel=0.01)
    assert QualityCode.GAPS not in [flag.code for flag in last.result.quality]


def test_a_cable_that_stays_out_ends_it_with_the_pull_kept(tmp_path):
    news, ended = recorded(tmp_path, 5.5, 1e9, patience_s=2.0)
    assert "did not come back" in ended.what
    (pull,) = finals(news)
    trace, info = read_trace(pull.file)
    assert trace.time_s[-1] == pytest.approx(5.5, abs=0.05)
    assert info.unfinished is None
