"""Laws that every reading obeys, whatever the pull: scale, mirror, shifts, resampling, added rest, cutting; and bad input."""

import itertools
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.pullset import SimPull, simulate_cached

from analysis.pull.events import PullEnded
from analysis.pull.finder import PullFinder, find_pulls
from analysis.pull.reading import read_pull
from analysis.results import Label, PullResult, QualityCode, Sensor
from analysis.trace import Trace

KINDS = ("clean", "high_ratio", "chatter_strong", "chatter_slow_rig", "tremor_sensor", "lash", "free", "hesitate", "ripple_tooth",
         "spikes", "no_angle", "regrip")  # fmt: skip
PULLS = simulate_cached(len(KINDS), 501, KINDS, workers=1)
each_pull = pytest.mark.parametrize("pull", PULLS, ids=KINDS)


def figures(result: PullResult) -> tuple[float | bool | None, ...]:
    first, then, chatter = result.breakaway, result.sliding, result.chatter
    return (
        first and first.torque_nm, first and first.budget.u_nm, then and then.torque_nm, then and then.budget.u_nm,
        chatter.present, chatter.frequency_hz, chatter.peak_to_peak_nm,
    )  # fmt: skip


def assert_same(found: PullResult, expected: PullResult, rel: float, torque_factor: float = 1.0) -> None:
    factors = (torque_factor, torque_factor, torque_factor, torque_factor, 1.0, 1.0, torque_factor)
    for one, other, factor in zip(figures(found), figures(expected), factors, strict=True):
        if other is None or isinstance(other, bool):
            assert one is other or one == other
        else:
            assert one == pytest.approx(other * factor, rel=rel)
    assert found.held_nothing is expected.held_nothing


@each_pull
@pytest.mark.parametrize("factor", [2.0**-5, 2.0**4, 1.3558179483314])
def test_scales_with_torque(pull: SimPull, factor: float) -> None:
    """A sensor of another size or in another unit: every torque scales, everything else stays."""
    trace = pull.trace
    scaled = read_pull(Trace(trace.time_s, factor * trace.torque_nm, trace.angle_deg))
    assert_same(scaled, read_pull(trace), 1e-6, factor)


@each_pull
def test_the_other_way_round_is_the_same(pull: SimPull) -> None:
    found, expected = read_pull(pull.trace.mirrored()), read_pull(pull.trace)
    assert_same(found, expected, 1e-9)
    if expected.direction is not None:
        assert found.direction == -expected.direction
    assert found.stretches == expected.stretches


@each_pull
def test_time_and_angle_may_start_anywhere(pull: SimPull) -> None:
    """A later start rounds the times: a window may gain or lose a sample, which moves a torque by a part of its uncertainty."""
    trace = pull.trace
    angle = None if trace.angle_deg is None else trace.angle_deg + 64.0
    found = read_pull(Trace(trace.time_s - trace.time_s[0] + 4096.0, trace.torque_nm, angle))
    expected = read_pull(Trace(trace.time_s - trace.time_s[0], trace.torque_nm, trace.angle_deg))
    assert found.chatter.present == expected.chatter.present
    assert found.held_nothing == expected.held_nothing
    for one, other in ((found.sliding, expected.sliding), (found.breakaway, expected.breakaway)):
        assert (one is None) is (other is None)
        if one is not None and other is not None:
            assert one.torque_nm == pytest.approx(other.torque_nm, rel=1e-5, abs=0.3 * other.budget.u_nm)
            assert one.budget.u_nm == pytest.approx(other.budget.u_nm, rel=0.25)
    if found.breakaway is not None and expected.breakaway is not None:
        assert found.breakaway.time_s == pytest.approx(expected.breakaway.time_s + 4096.0, abs=0.02)


@each_pull
def test_an_offset_of_the_sensor_does_not_matter(pull: SimPull) -> None:
    trace = pull.trace
    offset = 0.1 * float(np.abs(trace.torque_nm).max())
    found = read_pull(Trace(trace.time_s, trace.torque_nm + offset, trace.angle_deg))
    assert_same(found, read_pull(trace), 2e-3)


@each_pull
def test_every_other_sample_reads_alike(pull: SimPull) -> None:
    """Half the rate: breakaway within what half a sample of ramp and the noise allow, sliding within half a percent."""
    trace = pull.trace
    if np.median(np.diff(trace.time_s)) > 1 / 450:
        pytest.skip("already slow")
    half = Trace(trace.time_s[::2], trace.torque_nm[::2], None if trace.angle_deg is None else trace.angle_deg[::2])
    found, expected = read_pull(half), read_pull(trace)
    assert (found.breakaway is None) is (expected.breakaway is None)
    if found.breakaway is not None and expected.breakaway is not None:
        room = float(np.hypot(found.breakaway.budget.expanded_u_nm, expected.breakaway.budget.expanded_u_nm))
        assert found.breakaway.torque_nm == pytest.approx(expected.breakaway.torque_nm, rel=0.01, abs=room)
    if found.sliding is not None and expected.sliding is not None:
        assert found.sliding.torque_nm == pytest.approx(expected.sliding.torque_nm, rel=0.005)
    if found.chatter.assessable:
        assert found.chatter.present == expected.chatter.present


@each_pull
def test_more_rest_before_changes_nothing(pull: SimPull) -> None:
    trace = pull.trace
    step = float(np.median(np.diff(trace.time_s)))
    early = trace.torque_nm[: round(0.25 / step)]
    count = round(4.0 / step)
    rest = np.random.default_rng(3).choice(early, count)
    time = np.concatenate([trace.time_s[0] - step * np.arange(count, 0, -1), trace.time_s])
    angle = None if trace.angle_deg is None else np.concatenate([np.full(count, trace.angle_deg[0]), trace.angle_deg])
    found, expected = read_pull(Trace(time, np.concatenate([rest, trace.torque_nm]), angle)), read_pull(trace)
    assert (found.breakaway is None) is (expected.breakaway is None)
    if found.breakaway is not None and expected.breakaway is not None:
        assert found.breakaway.torque_nm == pytest.approx(expected.breakaway.torque_nm, rel=0.004)
    if found.sliding is not None and expected.sliding is not None:
        assert found.sliding.torque_nm == pytest.approx(expected.sliding.torque_nm, rel=0.002)
    assert found.chatter.present == expected.chatter.present


@each_pull
def test_stretches_follow_each_other_without_holes(pull: SimPull) -> None:
    stretches = read_pull(pull.trace).stretches
    assert stretches, "a pull is cut into named stretches"
    for before, after in itertools.pairwise(stretches):
        assert before.to_s == after.from_s
        assert before.label != after.label or Label.CLIPPED in (before.label, after.label)
    assert all(one.from_s < one.to_s for one in stretches)
    assert stretches[0].from_s <= pull.trace.time_s[0] + 1e-9
    assert stretches[-1].to_s >= pull.trace.time_s[-1] - 1e-9


@settings(max_examples=25, deadline=None)
@given(number=st.integers(0, len(PULLS) - 1), cuts=st.lists(st.integers(1, 4000), max_size=30))
def test_pulls_are_found_alike_however_the_stream_is_cut(number: int, cuts: list[int]) -> None:
    trace = PULLS[number].trace
    finder, events, at = PullFinder(), [], 0
    for size in cuts:
        events += finder.feed(trace.cut(at, at + size))
        at += size
    events += [*finder.feed(trace.cut(at, len(trace))), *finder.finish()] if at < len(trace) else finder.finish()
    assert [event for event in events if isinstance(event, PullEnded)] == list(find_pulls(trace))


@each_pull
def test_an_angle_of_the_wrong_sign_is_survived(pull: SimPull) -> None:
    """Encoder mounted the other way: the torques are the same."""
    if pull.trace.angle_deg is None:
        pytest.skip("no angle")
    wrong = read_pull(Trace(pull.trace.time_s, pull.trace.torque_nm, -pull.trace.angle_deg))
    assert_same(wrong, read_pull(pull.trace), 1e-6)


@each_pull
def test_torque_alone_is_less_sure_but_not_wrong(pull: SimPull) -> None:
    bare, full = read_pull(Trace(pull.trace.time_s, pull.trace.torque_nm)), read_pull(pull.trace)
    assert (bare.breakaway is None) is (full.breakaway is None)
    if bare.breakaway is not None and full.breakaway is not None:
        room = bare.breakaway.budget.expanded_u_nm + full.breakaway.budget.expanded_u_nm
        assert bare.breakaway.torque_nm == pytest.approx(full.breakaway.torque_nm, rel=0.01, abs=room)
        assert bare.breakaway.angle_deg is None


FLAT = np.arange(2000) / 1000.0
DEGENERATE: dict[str, Callable[[], Trace]] = {
    "empty": lambda: Trace(np.empty(0), np.empty(0)),
    "one sample": lambda: Trace([0.0], [3.0]),
    "two samples": lambda: Trace([0.0, 0.001], [3.0, 4.0], [0.0, 1.0]),
    "zeros": lambda: Trace(FLAT, np.zeros(2000), np.zeros(2000)),
    "constant": lambda: Trace(FLAT, np.full(2000, 42.0)),
    "constant, turning": lambda: Trace(FLAT, np.zeros(2000), 90 * FLAT),
    "noise": lambda: Trace(FLAT, np.random.default_rng(1).standard_normal(2000) * 0.1, np.zeros(2000)),
    "one spike": lambda: Trace(FLAT, np.where(np.arange(2000) == 900, 80.0, 0.0)),
    "one step of the resolution": lambda: Trace(FLAT, np.where(FLAT > 1, 0.1, 0.0), np.zeros(2000)),
    "two values by turns": lambda: Trace(FLAT, np.arange(2000) % 2 * 0.05),
}  # fmt: skip


@pytest.mark.parametrize("name", DEGENERATE)
def test_bad_input_is_no_pull_and_says_so(name: str) -> None:
    result = read_pull(DEGENERATE[name]())
    assert result.breakaway is None
    assert result.sliding is None
    assert result.chatter.present is None
    if name != "constant, turning":
        assert QualityCode.NO_PULL in {flag.code for flag in result.quality}


@settings(max_examples=60, deadline=None)
@given(
    torque=st.lists(st.floats(-1e6, 1e6), min_size=0, max_size=60),
    with_angle=st.booleans(),
    capacity=st.one_of(st.none(), st.floats(0.1, 500)),
)
def test_any_short_trace_is_read_without_an_error(torque: list[float], with_angle: bool, capacity: float | None) -> None:
    time = np.arange(len(torque)) / 200.0
    result = read_pull(Trace(time, torque, 5 * time if with_angle else None), Sensor(capacity_nm=capacity))
    for value in (result.breakaway and result.breakaway.torque_nm, result.sliding and result.sliding.torque_nm):
        assert value is None or np.isfinite(value)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), jumps=st.integers(0, 6))
def test_any_rough_trace_is_read_without_an_error(seed: int, jumps: int) -> None:
    """Random walks, jumps, uneven times: whatever comes out is finite, and its interval is not negative."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(20, 3000))
    time = np.cumsum(rng.exponential(0.002, n) + 1e-6)
    torque = np.cumsum(rng.standard_normal(n)) * rng.uniform(0, 1) + rng.standard_normal(n) * 0.05
    for at in rng.integers(0, n, jumps):
        torque[at:] += rng.uniform(-80, 80)
    result = read_pull(Trace(time, torque, np.cumsum(rng.standard_normal(n)) if rng.random() < 0.5 else None))
    for part in (result.breakaway, result.sliding):
        assert part is None or (np.isfinite(part.torque_nm) and part.budget.expanded_u_nm >= 0)
