"""A recording as a comparison takes it: copies are known, moments sort, what is not known of a sensor widens."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from support.made import made_stream

from analysis.compare.pulls import FigureName, in_order
from analysis.pull.reading import read_pull
from analysis.results import Sensor
from rig.files.compared_pull import compared_pull, read_compared
from rig.files.metadata import TraceInfo, Transducer
from rig.files.trace_csv import write_trace

TRACE = made_stream(1)


def test_a_copy_is_the_same_pull_whatever_its_metadata_say(tmp_path):
    for name, u in (("a", 0.01), ("b", 0.02)):
        write_trace(tmp_path / f"{name}.csv", TRACE, TraceInfo(transducer=Transducer(serial=name, u_relative=u)))
    sensor_of = lambda info: info.sensor(date(2026, 11, 26))  # noqa: E731
    (one, curve, _), (two, none, _) = (read_compared(tmp_path / f"{name}.csv", sensor_of, with_curve=name == "a") for name in "ab")
    assert one.fingerprint == two.fingerprint
    assert (one.trace, one.stated.sensor, two.stated.sensor) == ("a.csv", "a", "b")
    assert one.sensor_u_relative == pytest.approx(0.01)
    assert curve is not None
    assert none is None


def test_moments_sort_across_offsets():
    result = read_pull(TRACE)
    moments = ("2026-05-11T10:30:00+02:00", "2026-05-11T09:00:00+00:00", "2026-05-11T08:00:00Z")
    pulls = [compared_pull(when, TRACE, TraceInfo(when=when), result) for when in moments]
    assert [pull.trace for pull in in_order(pulls)] == [moments[2], moments[0], moments[1]]


def test_a_sensor_of_which_nothing_is_known_counts_with_the_widest_limits():
    pull = compared_pull("a.csv", TRACE, TraceInfo(), read_pull(TRACE))
    assert pull.sensor_u_relative == pytest.approx(0.40 / 3**0.5)  # 40 %, rectangular (contract, section 3)


def test_a_sensor_at_its_limit_while_sliding_gives_no_sliding_either():
    torque = TRACE.torque_nm.clip(max=45.0)
    clipped = replace(TRACE, torque_nm=torque)
    result = read_pull(clipped, Sensor(capacity_nm=45.0))
    pull = compared_pull("a.csv", clipped, TraceInfo(), result)
    assert "overload" in pull.quality
    assert pull.value(FigureName.BREAKAWAY) is None
    assert pull.value(FigureName.SLIDING) is None
