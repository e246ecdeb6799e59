"""Rising seconds out of stamps, counters and arrivals; truth is the made device's own clock."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.timebase import TimeBase
from drivers.unwrap import RULES, StampKind

Floats = np.ndarray


def rows_of(stamps: Floats, torque: Floats | None = None) -> Floats:
    values = np.arange(len(stamps), dtype=float) if torque is None else torque
    return np.column_stack([values, np.full(len(stamps), np.nan), stamps])


def run(base: TimeBase, stamps: Floats, arrivals: Floats, torque: Floats | None = None) -> tuple[Floats, Floats]:
    """Feed samples grouped by equal arrival; back come times and torques (by default the samples' numbers)."""
    times, kept = [np.empty(0)], [np.empty(0)]
    starts = np.flatnonzero(np.diff(arrivals, prepend=-1.0))
    for arrival_s, rows in zip(arrivals[starts], np.split(rows_of(stamps, torque), starts[1:]), strict=True):
        out, out_rows = base.feed(rows, float(arrival_s))
        times.append(out)
        kept.append(out_rows[:, 0] if len(out) else np.empty(0))
    return np.concatenate(times), np.concatenate(kept)


def handed_over(true_s: Floats, every_s: float, rng: np.random.Generator, jitter_s: float = 0.0) -> Floats:
    """Arrivals through a bridge that hands over at multiples of `every_s`, up to `jitter_s` late, never out of order."""
    slots = np.ceil(true_s / every_s + 1e-9) * every_s
    late = {slot: rng.uniform(0, jitter_s) for slot in np.unique(slots)}
    return np.maximum.accumulate(np.array([slot + late[slot] for slot in slots]))


class TestStamps:
    def test_device_time_is_taken_as_it_is(self) -> None:
        true_s = np.arange(1000) / 500
        times, kept = run(TimeBase("time", 1e-3), 7000 + true_s * 1e3, np.ceil(true_s / 0.02) * 0.02)
        assert times == pytest.approx(true_s, abs=1e-9)
        assert len(kept) == 1000

    @pytest.mark.parametrize(
        ("modulus", "scale_s", "rate_hz"),
        [(2.0**16, 1e-3, 500), (2.0**32, 1e-6, 1000), (2.0**32, 1e-3, 100), (2.0**16, 1e-6, 1000), (2.0**32 / 1e3, 1e-3, 500)],
    )
    def test_a_roll_over_is_no_jump(self, modulus: float, scale_s: float, rate_hz: int) -> None:
        true_s = np.arange(2 * rate_hz) / rate_hz
        stamps = (true_s / scale_s + modulus - rate_hz / rate_hz / scale_s) % modulus
        base = TimeBase("time", scale_s)
        times, _ = run(base, stamps, np.ceil(true_s / 0.02 + 1) * 0.02)
        assert times == pytest.approx(true_s, abs=1e-6)
        assert (base.dropped, base.jumps) == (0, 0)

    def test_a_gap_stays_a_gap(self) -> None:
        true_s = np.arange(1000) / 500
        true_s[500:] += 3.0
        base = TimeBase("time", 1e-3)
        times, kept = run(base, true_s * 1e3, np.ceil(true_s / 0.02 + 1) * 0.02)
        assert times == pytest.approx(true_s, abs=1e-9)
        assert len(kept) == 1000
        assert base.dropped == 0

    @pytest.mark.parametrize("wrong", [5.0, -400.0, 800.0, 1e5, -1e5, 1e300])
    def test_one_changed_stamp_is_dropped_and_counted(self, wrong: float) -> None:
        """Except where the change is so small that the order still holds: nobody could tell."""
        true_s = np.arange(1000) / 500
        stamps = true_s * 1e3
        stamps[500] += wrong
        base = TimeBase("time", 1e-3)
        times, kept = run(base, stamps, np.ceil(true_s / 0.02 + 1) * 0.02)
        good = kept != 500
        assert times[good] == pytest.approx(true_s[kept[good].astype(int)], abs=1e-9)
        assert base.dropped + len(times) == 1000
        assert len(times) >= 997

    def test_a_device_that_restarts_goes_on_by_the_arrivals(self) -> None:
        true_s = np.arange(2000) / 500
        true_s[1000:] += 2.5
        stamps = true_s * 1e3 + 90_000
        stamps[1000:] = (true_s[1000:] - true_s[1000]) * 1e3 + 120
        base = TimeBase("time", 1e-3)
        times, kept = run(base, stamps, np.ceil(true_s / 0.02 + 1) * 0.02)
        assert (base.jumps, base.dropped, len(kept)) == (1, 0, 2000)
        assert times == pytest.approx(true_s, abs=0.025)

    def test_lines_sent_twice_are_dropped(self) -> None:
        true_s = np.arange(1000) / 500
        number = np.insert(np.arange(1000), [100, 200, 300], [99, 199, 299])
        stamps = true_s[number] * 1e3
        base = TimeBase("time", 1e-3)
        times, _ = run(base, stamps, np.ceil(stamps / 20 + 1) * 0.02, number.astype(float))
        assert times == pytest.approx(true_s, abs=1e-9)
        assert base.dropped == 3

    @pytest.mark.parametrize("block", [2, 3, 7, 40])
    @pytest.mark.parametrize(
        ("kind", "scale_s", "modulus"), [("time", 1e-6, 2.0**32), ("time", 1e-3, 2.0**16), ("counter", 0.002, 256)]
    )
    def test_a_block_sent_twice_is_dropped(self, kind: StampKind, scale_s: float, modulus: float, block: int) -> None:
        """Not taken for a clock that was set back, nor for one that rolled over."""
        number = np.arange(2000)
        order = np.concatenate([number[:1500], number[1500 - block : 1500], number[1500:]])
        stamps = np.round(order * 0.002 / scale_s) % modulus
        arrivals = np.ceil((np.arange(len(order)) + 1) * 0.002 / 0.02) * 0.02
        base = TimeBase(kind, scale_s)
        times, kept = run(base, stamps, arrivals, order.astype(float))
        assert kept == pytest.approx(number)
        assert (base.dropped, base.jumps, base.lost) == (block, 0, 0)
        assert times[-1] - times[0] == pytest.approx(1999 * 0.002, rel=0.01)

    def test_a_clock_set_back_a_little_has_not_rolled_over(self) -> None:
        """Microseconds in the millions have no 16 bits: going back by 10 ms is no step of 55 ms onwards."""
        true_s = np.arange(1000) / 500
        stamps = 5e6 + true_s * 1e6
        stamps[500:] -= 10_001
        base = TimeBase("time", 1e-6)
        times, kept = run(base, stamps, np.ceil(true_s / 0.02 + 1) * 0.02)
        assert (len(kept), base.jumps) == (1000, 1)
        assert np.diff(times).max() < 0.025

    def test_a_coarse_clock_is_spread_evenly(self) -> None:
        """2 kHz stamped in whole milliseconds: two samples a stamp."""
        true_s = np.arange(4000) / 2000
        base = TimeBase("time", 1e-3)
        times, kept = run(base, np.arange(4000) // 2, np.ceil(true_s / 0.02 + 1) * 0.02)
        assert len(kept) > 3990
        assert np.diff(times)[-3000:] == pytest.approx(0.0005, abs=1e-9)

    def test_a_tick_that_is_not_quite_a_millisecond_costs_no_sample(self) -> None:
        """A board at 16 MHz counts milliseconds by ticks of 1.024 ms and skips one now and then (timer 0, prescaler 64, 8 bits)."""
        true_s = np.arange(1, 5001) / 1000
        ticks = np.floor(true_s / 1.024e-3)
        stamps = ticks + np.floor(ticks * 0.024)
        base = TimeBase("time", 1e-3)
        times, kept = run(base, stamps, np.ceil(true_s / 0.02 + 1) * 0.02)
        assert (np.diff(stamps) == 0).sum() > 100
        assert kept == pytest.approx(np.arange(5000))
        assert (base.dropped, base.jumps) == (0, 0)
        assert times == pytest.approx(true_s - true_s[0], abs=0.003)

    def test_after_the_line_came_back_time_goes_on_by_the_arrivals(self) -> None:
        true_s = np.arange(500) / 500
        base = TimeBase("time", 1e-3)
        first, _ = run(base, true_s * 1e3, np.ceil(true_s / 0.02 + 1) * 0.02)
        base.restart()
        later_s = true_s + 6.0
        second, kept = run(base, true_s * 1e3 + 40, np.ceil(later_s / 0.02 + 1) * 0.02)
        assert second == pytest.approx(later_s, abs=0.025)
        assert (len(kept), base.jumps) == (500, 0)
        assert second[0] > first[-1]

    @settings(max_examples=60)
    @given(data=st.data())
    def test_time_rises_strictly_whatever_is_sent(self, data: st.DataObject) -> None:
        kind = data.draw(st.sampled_from(["time", "counter", "place"]))
        base = TimeBase(kind, 0.002)
        numbers = st.one_of(st.integers(0, 300), st.floats(-1e18, 1e18), st.floats(0, 300))
        newest, arrival_s = -np.inf, 0.0
        for _ in range(data.draw(st.integers(1, 8))):
            arrival_s += data.draw(st.floats(0.001, 5))
            stamps = np.array(data.draw(st.lists(numbers, max_size=30)), dtype=float)
            if data.draw(st.booleans()):
                stamps = np.sort(stamps)
            times, rows = base.feed(rows_of(stamps), arrival_s)
            assert len(times) == len(rows)
            assert np.isfinite(times).all()
            assert (np.diff(times, prepend=newest) > 0).all()
            newest = times[-1] if len(times) else newest


class TestCounters:
    @pytest.mark.parametrize("modulus", [2.0**8, 2.0**16])
    def test_missing_samples_are_counted_and_leave_their_gap(self, modulus: float) -> None:
        number = np.arange(5000)
        there = (number < 2000) | (number >= 2040)
        true_s = number[there] / 500
        base = TimeBase("counter", 1 / 500)
        times, _ = run(base, number[there] % modulus, np.ceil(true_s / 0.02 + 1) * 0.02)
        assert base.lost == 40
        assert np.diff(times)[1999] == pytest.approx(41 / 500, rel=0.02)

    @pytest.mark.parametrize("drift", [0.0005, -0.003, 0.008])
    @pytest.mark.parametrize(("every_s", "jitter_s"), [(0.008, 0.0), (0.016, 0.004), (0.02, 0.02)])
    def test_the_rate_is_right_within_a_thousandth_over_30_s(self, drift: float, every_s: float, jitter_s: float) -> None:
        """A crystal (or resonator) that drifts against its nominal rate, a bridge that hands over in bursts."""
        true_s = np.arange(60 * 500) / (500 * (1 + drift))
        rng = np.random.default_rng(5)
        times, kept = run(TimeBase("counter", 1 / 500), np.arange(len(true_s)), handed_over(true_s, every_s, rng, jitter_s))
        assert len(kept) == len(true_s)
        for from_s in (0.0, 14.0):
            there = (true_s >= from_s) & (true_s <= from_s + 30)
            assert np.ptp(times[there]) == pytest.approx(np.ptp(true_s[there]), rel=1e-3)
        steps = np.diff(times) * 500 * (1 + drift)
        assert abs(steps - 1).max() < abs(drift) + 2 * RULES.slew


class TestPlaces:
    """Nothing but the samples themselves: a uniform clock fitted to the arrivals."""

    def test_a_stall_with_a_backlog_is_no_gap(self) -> None:
        true_s = np.arange(20 * 500) / 500
        arrivals = np.ceil(true_s / 0.02 + 1) * 0.02
        arrivals[(true_s > 8) & (true_s < 8.2)] = 8.22
        base = TimeBase("place", 1 / 500)
        times, kept = run(base, np.arange(len(true_s)), arrivals)
        assert len(kept) == len(true_s)
        assert np.diff(times) == pytest.approx(0.002, rel=0.006)

    def test_a_stall_that_lost_samples_is_a_gap(self) -> None:
        true_s = np.arange(20 * 500) / 500
        true_s = true_s[(true_s <= 8) | (true_s >= 8.5)]
        base = TimeBase("place", 1 / 500)
        times, kept = run(base, np.arange(len(true_s)), np.ceil(true_s / 0.02 + 1) * 0.02)
        assert len(kept) == len(true_s)
        gap = np.argmax(np.diff(times))
        assert np.diff(times)[gap] == pytest.approx(0.5, abs=0.03)
        assert true_s[gap] == pytest.approx(8.0, abs=0.002)
        assert abs(times - true_s).max() < 0.03
        rest = np.delete(np.diff(times), gap)
        assert rest == pytest.approx(0.002, rel=0.006)

    def test_a_gap_and_a_backlog_with_jitter_in_a_long_run(self) -> None:
        rng = np.random.default_rng(11)
        true_s = np.arange(40 * 400) / (400 * 1.004)
        there = (true_s < 15) | (true_s > 15.3)
        arrivals = handed_over(true_s, 0.016, rng, 0.006)
        arrivals[(true_s > 25) & (true_s < 25.2)] = arrivals[true_s > 25.2][0]
        base = TimeBase("place", 1 / 400)
        times, _ = run(base, np.arange(int(there.sum())), arrivals[there])
        steps = np.diff(times)
        assert (steps > 0.1).sum() == 1
        assert steps.max() == pytest.approx(0.3, abs=0.03)
        assert abs((times - times[0]) - true_s[there]).max() < 0.04

    @pytest.mark.parametrize("drift", [0.0, -0.003, 0.008])
    @pytest.mark.parametrize(("every_s", "jitter_s"), [(0.016, 0.004), (0.02, 0.015)])
    def test_bursts_of_a_bridge_are_no_gaps_and_the_rate_is_right(self, drift: float, every_s: float, jitter_s: float) -> None:
        true_s = np.arange(45 * 500) / (500 * (1 + drift))
        rng = np.random.default_rng(9)
        base = TimeBase("place", 1 / 500)
        times, kept = run(base, np.arange(len(true_s)), handed_over(true_s, every_s, rng, jitter_s))
        assert len(kept) == len(true_s)
        assert np.diff(times).max() < 0.0022
        there = (true_s >= 12) & (true_s <= 42)
        assert np.ptp(times[there]) == pytest.approx(np.ptp(true_s[there]), rel=1e-3)

    def test_a_wrong_rate_in_the_profile_is_noticed_and_overcome(self) -> None:
        true_s = np.arange(60 * 480) / 480
        base = TimeBase("place", 1 / 500)
        times, _ = run(base, np.arange(len(true_s)), np.ceil(true_s / 0.02 + 1) * 0.02)
        assert base.off_rate == pytest.approx(480 / 500, rel=0.01)
        late = true_s > 30
        assert np.ptp(times[late]) == pytest.approx(np.ptp(true_s[late]), rel=1e-3)

    def test_slow_devices_have_no_false_gaps(self) -> None:
        true_s = np.arange(300) / 10
        rng = np.random.default_rng(3)
        times, kept = run(TimeBase("place", 1 / 10), np.arange(300), handed_over(true_s, 0.02, rng, 0.03))
        assert len(kept) == 300
        assert np.diff(times) == pytest.approx(0.1, rel=0.02)


def test_a_wrong_time_unit_is_noticed() -> None:
    true_s = np.arange(20 * 500) / 500
    base = TimeBase("time", 1e-3)
    run(base, true_s * 1e6, np.ceil(true_s / 0.02 + 1) * 0.02)
    assert base.off_rate == pytest.approx(1000, rel=0.01)
