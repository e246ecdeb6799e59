"""Thinning for the screen: no peak is lost, memory is bounded, a spectrum shows what is there."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.made import pieces_of

from analysis.pull.reading import read_pull
from analysis.trace import Trace
from rig.window.decimation import LiveRing, aligned, extremes, nearest, run_for, spectrum, thin

values = st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=400).map(np.array)


@given(values, st.integers(1, 50))
def test_thinning_keeps_true_samples_in_order_and_both_extremes(y, run):
    kept = extremes(y, run)
    assert (np.diff(kept) > 0).all()
    assert y[kept].max() == y.max()
    assert y[kept].min() == y.min()


@given(st.integers(1, 10**6), st.integers(10, 2000))
def test_thinned_to_about_two_points_a_column(count, columns):
    run = run_for(count, columns)
    points = count if run <= 2 else 2 * (count // run) + count % run
    assert points <= 4 * columns + run


def test_a_single_spike_in_a_minute_at_10_khz_stays_in_the_picture():
    y = np.zeros(600_000)
    y[314_159] = 7.0
    curve = thin(np.arange(y.size) / 1e4, y, 900)
    assert curve.x.size < 4000
    assert curve.x[curve.y.argmax()] == 31.4159


@pytest.mark.parametrize("rate_hz", [100.0, 1000.0, 10_000.0])
def test_the_ring_holds_its_span_in_bounded_memory_at_any_rate(rate_hz):
    ring = LiveRing(span_s=5.0)
    time_s = np.arange(int(20 * rate_hz)) / rate_hz
    stream = Trace(time_s, np.sin(time_s), time_s * 3)
    for piece in pieces_of(stream, [int(0.02 * rate_hz)]):
        ring.add(piece)
    whole = ring.over_time(0.0, 10**6)
    assert whole.x[-1] == pytest.approx(time_s[-1])
    assert whole.x[0] <= time_s[-1] - 5.0
    assert len(ring) <= 5.0 * 1500
    assert (np.diff(whole.x) > 0).all()


def test_the_ring_shows_torque_in_the_unit_asked_for_and_only_the_part_asked_for():
    ring = LiveRing(10.0)
    ring.add(Trace(np.arange(100) / 100, np.full(100, 2.0), np.arange(100) * 0.5))
    curve = ring.over_angle(0.5, 900, per_nm=3.0)
    assert curve.y == pytest.approx(6.0)
    assert curve.x[0] == pytest.approx(25.0)
    assert ring.over_time(2.0, 900).x.size == 0


def test_a_stream_that_starts_anew_starts_a_new_picture():
    ring = LiveRing(10.0)
    ring.add(Trace([5.0, 6.0], [1.0, 1.0]))
    ring.add(Trace([0.0, 0.5], [2.0, 3.0]))
    assert ring.over_time(-1.0, 100).y.tolist() == [2.0, 3.0]
    assert ring.over_angle(-1.0, 100).x.size == 0


def test_the_spectrum_of_a_sine_is_its_amplitude_at_its_frequency():
    # Amplitude of a windowed sine on a line of the transform: the sine's own (definition of coherent gain; Harris 1978).
    time_s = np.arange(4000) / 1000
    lines = spectrum(Trace(time_s, 40 + 1.5 * np.sin(2 * np.pi * 25 * time_s)), 0.0, 4.0)
    top = int(lines.y.argmax())
    assert lines.x[top] == pytest.approx(25.0, abs=0.3)
    assert lines.y[top] == pytest.approx(1.5, rel=0.02)


def test_too_little_signal_has_no_spectrum():
    assert spectrum(Trace([0.0, 1.0], [1.0, 2.0]), 0.0, 1.0).x.size == 0


@given(st.floats(-1, 12))
def test_nearest_is_nearest(moment):
    trace = Trace(np.arange(10.0), np.zeros(10))
    assert abs(trace.time_s[nearest(trace, moment)] - moment) == min(abs(trace.time_s - moment))


def test_missing_samples_are_a_hole_and_no_line():
    time_s = np.concatenate([np.arange(500) / 500, 3.0 + np.arange(500) / 500])
    trace = Trace(time_s, np.full(1000, 20.0), np.linspace(0, 40, 1000))
    for curve in aligned(trace, read_pull(trace), 100):
        assert curve.broken
        holes = np.isnan(curve.y)
        assert holes.sum() == 1
        before, after = curve.x[np.flatnonzero(holes)[0] - 1], curve.x[np.flatnonzero(holes)[0] + 1]
        assert after > before
    even = Trace(np.arange(1000) / 500, np.full(1000, 20.0), None)
    assert not aligned(even, read_pull(even), 100)[0].broken


def test_the_live_picture_has_a_hole_where_the_line_was_away():
    ring = LiveRing(60.0)
    for start in (0.0, 5.0):
        for at in range(50):
            ring.add(Trace(start + 0.02 * at + np.arange(10) / 500, np.full(10, 3.0), None))
    curve = ring.over_time(0.0, 900)
    assert int(np.isnan(curve.y).sum()) == 1
