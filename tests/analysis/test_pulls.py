"""Finding pulls in streams: what is a pull, what is none, and the zero that rest alone can teach."""

import numpy as np
import pytest
from support import busy_bench as bench
from support.busy_bench import NO_PULLS, busy_bench
from support.made import made_loads, made_stream, pieces_of

from analysis.pull.events import NoPull, NoPullKind, PullEnded, PullStarted, RestMoved, TurnedFree
from analysis.pull.finder import PullFinder, find_pulls
from analysis.trace import Trace, join


def held(level_nm, for_s, rate_hz=500.0):
    count = int(for_s * rate_hz)
    return Trace(np.arange(count) / rate_hz, level_nm + np.random.default_rng(3).normal(0, 0.05, count), np.zeros(count))


def events(stream, capacity_nm=200.0):
    finder = PullFinder(capacity_nm)
    return [*finder.feed(stream), *finder.finish()]


def of(kind, found):
    return [event for event in found if isinstance(event, kind)]


def after(trace, start_s):
    return Trace(trace.time_s - trace.time_s[0] + start_s, trace.torque_nm, trace.angle_deg)


@pytest.mark.parametrize("level_nm", [45.0, -45.0, 12.0])
@pytest.mark.parametrize("capacity_nm", [None, 200.0])
def test_a_stream_that_begins_under_load_finds_its_zero_when_it_is_let_go(level_nm, capacity_nm):
    """The load was taken for zero; that it went is told, and two pulls later on are two pulls all the same."""
    stream = join([held(level_nm, 4.0), made_stream(2, start_s=4.0)])
    found = events(stream, capacity_nm)
    first, second = of(PullEnded, found)
    assert first.from_s < 8.0 < first.to_s < 11.0
    assert second.from_s < 14.0 < second.to_s
    (moved,) = of(RestMoved, found)
    assert moved.to_nm - moved.from_nm == pytest.approx(-level_nm, abs=0.2)
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


@pytest.mark.parametrize("begins_s", np.arange(3.0, 4.0, 0.09))
def test_a_stream_that_begins_on_the_ramp_learns_its_zero_after_the_pull(begins_s):
    """The line is opened while the lever is being loaded (0 to 60 N.m from 3 s to 4 s): no zero is learnt on the way."""
    stream = made_stream(1).between(begins_s, 100.0)
    finder = PullFinder(200.0)
    finder.feed(stream.between(begins_s, 6.0))
    assert finder.zero_nm == 0.0
    finder.feed(stream.between(6.001, 100.0))
    assert finder.zero_nm == pytest.approx(0.0, abs=0.05)
    assert len(find_pulls(stream, 200.0)) == 1


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("step_deg", [0.1, 2.0])
def test_a_busy_bench_makes_no_pull_and_every_free_turn_is_told(seed, step_deg):
    """Each happening twice and six free turns between them, in any order: no pull, six free turns."""
    rng = np.random.default_rng(seed)
    kinds = [*NO_PULLS, *NO_PULLS, *[bench.turned_free] * 6]
    stream = busy_bench([kinds[i](rng) for i in rng.permutation(len(kinds))], rng, step_deg=step_deg)
    found = events(stream)
    assert not of(PullEnded, found)
    assert len(of(TurnedFree, found)) == 6
    assert all(40 - 4 < turn.travel_deg < 204 for turn in of(TurnedFree, found))


@pytest.mark.parametrize("kind", NO_PULLS)
def test_the_pull_after_a_happening_is_found(kind):
    rng = np.random.default_rng(5)
    before = busy_bench([kind(rng), kind(rng)], rng)
    pull = after(made_stream(1, rest_s=3.0), float(before.time_s[-1]) + 0.002)
    level, angle = float(np.median(before.torque_nm[-500:])), float(before.angle_deg[-1])
    moved = Trace(pull.time_s, pull.torque_nm + level, pull.angle_deg + angle)
    (found,) = of(PullEnded, events(join([before, moved])))
    assert found.from_s > before.time_s[-1] - 1.5


def test_a_step_of_the_level_at_rest_is_told_with_its_size_and_is_no_pull():
    rng = np.random.default_rng(1)
    step = bench.Piece(np.where(np.arange(200) > 100, 6.0, 0.0), np.zeros(200), moved_nm=6.0)
    found = events(busy_bench([step], rng))
    (moved,) = of(RestMoved, found)
    assert moved.to_nm - moved.from_nm == pytest.approx(6.0, abs=0.1)
    assert not of(PullEnded, found)


def test_a_load_that_turns_nothing_is_a_pull_that_was_let_go():
    """60 N.m and back, the plates held: that is worth keeping. 8 N.m is a lever leaned on."""
    assert len(of(PullEnded, events(made_loads([60.0])))) == 1
    found = events(made_loads([8.0]))
    assert not of(PullEnded, found)
    assert [event.kind for event in of(NoPull, found)] == [NoPullKind.LEANED_ON]


@pytest.mark.parametrize("jump_deg", [12.0, 90.0, -360.0])
def test_an_encoder_that_jumps_is_no_turn(jump_deg):
    rng = np.random.default_rng(1)
    jump = bench.Piece(np.zeros(200), np.where(np.arange(200) > 100, jump_deg, 0.0), moved_deg=jump_deg)
    found = events(busy_bench([jump, jump], rng))
    assert not of(PullEnded | TurnedFree | PullStarted, found)
    assert {event.kind for event in of(NoPull, found)} <= {NoPullKind.ANGLE_JUMP}


def test_a_jump_of_the_encoder_across_a_gap_is_no_turn():
    rng = np.random.default_rng(1)
    whole = busy_bench([], rng, rest_s=(8.0, 8.1))
    count = len(whole)
    angle = np.where(np.arange(count) > count // 2, 50.0, 0.0)
    gap = Trace(whole.time_s + np.where(angle > 0, 2.0, 0.0), whole.torque_nm, angle)
    assert not of(PullEnded | TurnedFree, events(gap))


def test_what_is_found_does_not_depend_on_where_the_stream_is_cut():
    rng = np.random.default_rng(4)
    kinds = [*NO_PULLS, bench.turned_free]
    stream = join([busy_bench([kind(rng) for kind in kinds], rng), after(made_stream(1), 200.0)])
    whole = events(stream)
    finder = PullFinder(200.0)
    cut = [event for piece in pieces_of(stream, [7, 300, 11]) for event in finder.feed(piece)]
    assert [*cut, *finder.finish()] == whole
