"""Every demo recording, read as a user's trace is, against what the simulated bench says it really was.

Bench and analysis share no formula: the bench integrates a mechanism, the truth is taken off its motion before the sensor.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from support.made import MOMENT

from analysis.pull.events import PullEnded, TurnedFree
from analysis.pull.finder import PullFinder
from analysis.pull.reading import read_pull
from analysis.results import PullResult, QualityCode
from rig.files.trace_csv import read_trace

RECORDINGS = Path(__file__).resolve().parents[2] / "recordings"
NAMES = sorted(path.stem for path in RECORDINGS.glob("*.csv"))

BREAKAWAY = dict.fromkeys(NAMES, 0.01) | {
    "shaky_hand": 0.06,  # known only to within the tremor's own height on the sensor (contract: pulls of known truth)
    "slow_indicator": 0.03,  # 40 Hz and a 10 Hz filter take off the peak: trade notes, 6
}
SLIDING = dict.fromkeys(NAMES, 0.01)
BEYOND_THE_SENSOR = {"clipped"}
NOT_READ_RIGHT_YET: dict[str, str] = {}


def read(name: str) -> tuple[PullResult, dict[str, Any]]:
    trace, info = read_trace(RECORDINGS / f"{name}.csv")
    expected = json.loads((RECORDINGS / f"{name}.expected.json").read_text(encoding="utf-8"))
    return read_pull(trace, info.sensor(MOMENT.date())), expected


def test_there_are_recordings():
    assert len(NAMES) >= 10


@pytest.mark.parametrize("name", NAMES)
def test_it_is_marked_invented_and_complete(name):
    _, info = read_trace(RECORDINGS / f"{name}.csv")
    assert "invented" in (info.unit or "")
    assert "invented" in (info.customer or "")
    assert info.window is not None
    assert (RECORDINGS / f"{name}.csv").stat().st_size < 400_000
    assert f"({name}.csv)" in (RECORDINGS / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", NAMES)
def test_it_holds_one_pull_in_the_stated_direction(name):
    trace, info = read_trace(RECORDINGS / f"{name}.csv")
    result, expected = read(name)
    finder = PullFinder(info.transducer.capacity_nm)
    ends = [event for event in [*finder.feed(trace), *finder.finish()] if isinstance(event, PullEnded | TurnedFree)]
    assert [type(event) for event in ends] == [TurnedFree if name == "spins_free" else PullEnded]
    assert result.direction == expected["direction"]


@pytest.mark.parametrize("name", sorted(set(NAMES) - BEYOND_THE_SENSOR))
def test_breakaway_is_what_it_was(name):
    result, expected = read(name)
    truth = expected["breakaway"]
    assert (result.breakaway is not None) == truth["found"]
    if result.breakaway is not None:
        assert result.breakaway.torque_nm == pytest.approx(truth["torque_nm"], rel=BREAKAWAY[name])
        assert result.breakaway.time_s == pytest.approx(truth["time_s"], abs=0.1)
        assert result.breakaway.angle_deg == pytest.approx(truth["angle_deg"], abs=0.6)


@pytest.mark.parametrize("name", sorted(set(NAMES) - BEYOND_THE_SENSOR))
def test_sliding_is_what_it_was(name):
    result, expected = read(name)
    truth = expected["sliding"]
    assert (result.sliding is not None) == truth["found"]
    if result.sliding is not None:
        assert result.sliding.torque_nm == pytest.approx(truth["torque_nm"], rel=SLIDING[name])


def each_name_with_what_fails():
    for name in NAMES:
        reason = NOT_READ_RIGHT_YET.get(name)
        marks = [pytest.mark.xfail(strict=True, reason=reason)] if reason else []
        yield pytest.param(name, marks=marks)


@pytest.mark.parametrize("name", list(each_name_with_what_fails()))
def test_chatter_is_told_from_what_looks_like_it(name):
    result, expected = read(name)
    truth = expected["chatter"]
    if result.chatter.assessable:
        assert result.chatter.present == truth["present"]
    if result.chatter.present:
        assert result.chatter.frequency_hz == pytest.approx(truth["frequency_hz"], rel=0.02)
        assert result.chatter.peak_to_peak_nm == pytest.approx(truth["peak_to_peak_nm"], rel=0.1)


@pytest.mark.parametrize("name", ["chatter_new_plates", "chatter_slow", "chatter_fast"])
def test_chatter_is_not_missed(name):
    result, _ = read(name)
    assert result.chatter.present


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("clipped", QualityCode.OVERLOAD),
        ("hesitating_hand", QualityCode.HESITATED),
        ("slow_indicator", QualityCode.LOW_RATE),
        ("slow_indicator", QualityCode.COARSE),
    ],
)
def test_what_makes_it_doubtful_is_said(name, code):
    result, _ = read(name)
    assert code in {flag.code for flag in result.quality}


def test_a_good_pull_leaves_no_doubt():
    result, _ = read("rebuilt_good")
    assert result.quality == ()
