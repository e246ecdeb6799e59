"""Finding pulls in streams that begin oddly."""

import numpy as np
import pytest
from support.made import made_stream

from analysis.pull.finder import PullFinder, find_pulls
from analysis.trace import Trace, join


def held(level_nm, for_s, rate_hz=500.0):
    count = int(for_s * rate_hz)
    return Trace(np.arange(count) / rate_hz, level_nm + np.random.default_rng(3).normal(0, 0.05, count), np.zeros(count))


@pytest.mark.parametrize("level_nm", [45.0, -45.0, 12.0])
@pytest.mark.parametrize("capacity_nm", [None, 200.0])
def test_a_stream_that_begins_under_load_finds_its_zero_when_it_is_let_go(level_nm, capacity_nm):
    """The load was taken for zero; two pulls later on must be two pulls all the same."""
    stream = join([held(level_nm, 4.0), made_stream(2, start_s=4.0)])
    _, first, second = find_pulls(stream, capacity_nm)
    assert first.from_s < 8.0 < first.to_s < 11.0
    assert second.from_s < 14.0 < second.to_s
    finder = PullFinder(capacity_nm)
    finder.feed(stream)
    assert finder.zero_nm == pytest.approx(0.0, abs=0.05)


@pytest.mark.parametrize("offset_nm", [30.0, -30.0])
def test_a_pull_held_for_seconds_is_one_pull_on_a_sensor_off_zero(offset_nm):
    """Off zero by 30 N.m, held at 60 N.m above that for 4 s: nothing there looks like the sensor's own zero."""
    points_s, torque = [0, 3, 4, 8, 8.1, 12], [0, 0, 60, 60, 0, 0]
    time_s = np.arange(6000) / 500
    noise = np.random.default_rng(2).normal(0, 0.05, time_s.size)
    angle = np.interp(time_s, points_s, [0, 0, 2, 3, 3, 3])
    stream = Trace(time_s, offset_nm + np.interp(time_s, points_s, torque) + noise, angle)
    assert len(find_pulls(stream, 200.0)) == 1
