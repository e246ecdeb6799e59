"""Replay: the same samples at any pace, and its controls."""

from __future__ import annotations

import itertools
import math
import threading

import numpy as np
import pytest
from support.clocks import StepClock

from analysis.trace import EMPTY, Trace, join
from drivers.items import LineUp
from drivers.replay import PIECE_S, Replay

NEVER = threading.Event()


@pytest.fixture
def pull_of_3_s() -> Trace:
    time_s = np.arange(1500) / 500 + 7.0
    return Trace(time_s, np.sin(time_s), np.linspace(0, 40, 1500))


def played(replay: Replay, stop: threading.Event = NEVER) -> Trace:
    return join(item for item in replay.pieces(stop) if isinstance(item, Trace))


@pytest.mark.parametrize("speed", [0.5, 1.0, 2.0, 7.3, 100.0, math.inf])
def test_every_sample_comes_once_and_in_its_time(pull_of_3_s: Trace, speed: float) -> None:
    clock = StepClock()
    whole = played(Replay(pull_of_3_s, clock, speed=speed))
    assert (whole.time_s == pull_of_3_s.time_s).all()
    assert (whole.torque_nm == pull_of_3_s.torque_nm).all()
    assert (whole.angle_deg == pull_of_3_s.angle_deg).all()
    assert clock.moment == pytest.approx(3.0 / speed, abs=2 * PIECE_S)


def test_it_says_what_it_plays_and_has_no_faults(pull_of_3_s: Trace) -> None:
    replay = Replay(pull_of_3_s, StepClock(), name="pull 1")
    assert next(iter(replay.pieces(NEVER))) == LineUp("pull 1")
    assert replay.faults.total == 0


def test_an_empty_trace_ends_at_once() -> None:
    assert len(played(Replay(EMPTY, StepClock()))) == 0


def test_standing_still_gives_nothing_and_a_step_gives_one_piece(pull_of_3_s: Trace) -> None:
    stop = threading.Event()
    clock = StepClock(at_wait=lambda moment: stop.set() if moment > 5 else None)
    replay = Replay(pull_of_3_s, clock, paused=True)
    replay.step()
    replay.step()
    whole = played(replay, stop)
    assert len(whole) == 20
    assert replay.position_s == pytest.approx(7.04)
    assert replay.paused


def test_it_goes_on_at_its_pace_after_a_pause(pull_of_3_s: Trace) -> None:
    replay: list[Replay] = []
    clock = StepClock(at_wait=lambda moment: replay[0].go() if moment > 60 else None)
    replay.append(Replay(pull_of_3_s, clock, paused=True))
    assert len(played(replay[0])) == 1500
    assert clock.moment == pytest.approx(63.0, abs=0.1)


def test_time_rises_on_over_a_seek_back(pull_of_3_s: Trace) -> None:
    replay = Replay(pull_of_3_s, StepClock())
    pieces = replay.pieces(NEVER)
    before = [item for item in itertools.islice(pieces, 101) if isinstance(item, Trace)]
    replay.seek(8.0)
    after = [item for item in pieces if isinstance(item, Trace)]
    whole = join([*before, *after])
    assert len(whole) == 1000 + 1000
    assert np.diff(whole.time_s).max() == pytest.approx(Replay.SEEK_GAP_S)
    assert (join(after).torque_nm == pull_of_3_s.torque_nm[500:]).all()


def test_a_seek_beyond_the_ends_is_held_at_them_and_the_speed_may_change(pull_of_3_s: Trace) -> None:
    clock = StepClock()
    replay = Replay(pull_of_3_s, clock)
    replay.seek(1e9)
    assert replay.position_s == replay.to_s
    replay.seek(-1e9)
    replay.speed = 3.0
    assert len(played(replay)) == 1500
    assert clock.moment == pytest.approx(1.0, abs=0.1)
    with pytest.raises(ValueError, match="above zero"):
        replay.speed = 0.0


def test_stop_ends_it(pull_of_3_s: Trace) -> None:
    stop = threading.Event()
    clock = StepClock(at_wait=lambda moment: stop.set() if moment > 1 else None)
    assert 450 < len(played(Replay(pull_of_3_s, clock), stop)) < 550
