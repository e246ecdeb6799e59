"""The simulated bench as a stream, its scenarios, its sensor and the truth it states."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from itertools import islice

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.errors import BenchError
from analysis.trace import Trace, join
from drivers.emulated.bench import Bench
from drivers.emulated.hand import Hand, Pause
from drivers.emulated.plant import Pack
from drivers.emulated.scenarios import DEFAULT, SCENARIOS, scenario
from drivers.emulated.sensor import Sensor, SensorChain
from drivers.emulated.truth import PullTruth

PERFECT = Sensor(noise_nm=0.0, resolution_nm=1e-6, encoder_deg=1e-6)
SHORT = Hand(travel_deg=15.0, slide_deg_s=20.0, load_deg_s=15.0)


def bench_of(name: str, *, rate_hz: float = 1000.0, seed: int = 5, sensor: Sensor | None = None) -> Bench:
    chosen = scenario(name)
    return Bench(chosen.workday, sensor or chosen.sensor, rate_hz, np.random.default_rng(seed))


@cache
def first_pull(name: str, sensor: Sensor | None = None, pull: int = 0) -> tuple[Trace, PullTruth]:
    bench = bench_of(name, sensor=sensor)
    pieces = []
    while len(bench.truths) <= pull:
        pieces.append(bench.take(100))
    truth = bench.truths[pull]
    return join(pieces).between(truth.from_s - 1.0, truth.to_s), truth


def short_bench(seed: int = 1) -> Bench:
    setup = replace(SCENARIOS[DEFAULT].setups[0], hand=SHORT, rest_s=0.3)
    return Bench(lambda rng: iter([setup, setup]), Sensor(bandwidth_hz=100.0), 480.0, np.random.default_rng(seed))


def taken(bench: Bench, sizes: list[int]) -> Trace:
    return join([bench.take(size) for size in sizes])


@settings(max_examples=10, deadline=None)
@given(cuts=st.lists(st.integers(1, 400), min_size=1, max_size=12))
def test_how_many_are_taken_at_a_time_does_not_matter(cuts):
    total = 1200
    sizes = []
    while sum(sizes) < total:
        sizes.append(min(cuts[len(sizes) % len(cuts)], total - sum(sizes)))
    whole, cut = taken(short_bench(), [total]), taken(short_bench(), sizes)
    np.testing.assert_array_equal(whole.time_s, cut.time_s)
    np.testing.assert_array_equal(whole.torque_nm, cut.torque_nm)
    np.testing.assert_array_equal(whole.angle_deg, cut.angle_deg)


def test_the_seed_decides():
    one, same, other = (taken(short_bench(seed), [600]).torque_nm for seed in (1, 1, 2))
    np.testing.assert_array_equal(one, same)
    assert (one != other).any()


def test_a_workday_that_ends_ends_the_stream():
    bench = short_bench()
    trace = taken(bench, [5000, 100])
    assert len(trace) < 5000
    assert len(bench.truths) == 2
    assert trace.time_s[-1] == pytest.approx(bench.truths[-1].to_s, abs=0.01)


def test_samples_stand_exactly_at_the_rate():
    np.testing.assert_allclose(np.diff(taken(short_bench(), [500]).time_s), 1 / 480, rtol=1e-9)


def test_a_rate_beyond_the_bench_is_refused():
    with pytest.raises(ValueError, match="10000 Hz"):
        bench_of(DEFAULT, rate_hz=20_000)


def test_an_unknown_scenario_names_those_there_are():
    with pytest.raises(BenchError) as refusal:
        scenario("nonsense")
    assert all(name in str(refusal.value) for name in SCENARIOS)


@pytest.mark.parametrize(
    ("name", "low_nm", "high_nm"),
    [
        ("good-pack", 45, 65),
        ("worn-low", 14, 22),
        ("over-shimmed", 100, 140),
        ("chattering-plates", 55, 75),
        ("after-additive", 40, 52),
        ("spline-slack", 45, 60),
        ("hesitating-hand", 45, 65),
        ("other-way", 50, 68),
        ("unequal-packs", 48, 60),
        ("case-held", 58, 72),
        ("small-sensor", 55, 68),
    ],
)
def test_scenarios_let_go_where_they_say(name, low_nm, high_nm):
    _, truth = first_pull(name)
    assert truth.breakaway_nm is not None
    assert truth.sliding_nm is not None
    assert low_nm < truth.breakaway_nm < high_nm
    assert truth.sliding_nm <= truth.breakaway_nm * 1.02
    assert truth.scenario == name


@pytest.mark.parametrize(
    ("name", "chatters"),
    [
        ("chattering-plates", True),
        ("slow-chatter", True),
        ("fast-chatter", True),
        ("ragged-chatter", True),
        ("after-additive", False),
        ("good-pack", False),
        ("shaky-hand", False),
        ("wavy-plate", False),
        ("hesitating-hand", False),
        ("spins-free", False),
    ],
)
def test_only_grabby_plates_chatter(name, chatters):
    _, truth = first_pull(name)
    assert truth.chatters is chatters


def test_a_free_unit_holds_nothing():
    trace, truth = first_pull("spins-free", PERFECT)
    assert truth.breakaway_nm is None
    assert truth.sliding_nm is None
    assert np.abs(trace.torque_nm).max() < 1.0
    assert np.ptp(trace.angle_deg) > 60


@pytest.mark.parametrize("name", ["good-pack", "other-way", "chattering-plates", "unequal-packs"])
def test_truth_is_what_a_perfect_sensor_reads(name):
    trace, truth = first_pull(name, PERFECT)
    sign = truth.direction
    at = int(np.argmax(sign * trace.torque_nm))
    assert sign * trace.torque_nm[at] == pytest.approx(truth.breakaway_nm, rel=1e-3)
    assert trace.time_s[at] == pytest.approx(truth.breakaway_s, abs=2e-3)
    assert trace.angle_deg[at] == pytest.approx(truth.breakaway_deg, abs=0.1)
    steady = trace.between(truth.sliding_from_s, truth.sliding_to_s)
    turn = np.diff(sign * steady.angle_deg)
    mean = (sign * steady.torque_nm[1:] * turn).sum() / turn.sum()
    assert mean == pytest.approx(truth.sliding_nm, rel=5e-3)
    assert turn.sum() == pytest.approx(truth.travel_deg, abs=0.5)


def test_pauses_are_left_out_of_sliding():
    trace, truth = first_pull("hesitating-hand", PERFECT)
    moving = np.abs(np.diff(trace.between(truth.sliding_from_s, truth.sliding_to_s).angle_deg)) > 1e-3
    assert (~moving).sum() > 500  # the pause lies within the span of sliding
    assert truth.travel_deg == pytest.approx(np.ptp(trace.angle_deg), abs=12)


def test_the_other_way_is_negative_throughout():
    trace, truth = first_pull("other-way", PERFECT)
    assert truth.direction == -1
    # Springing back after letting go may swing a little past nothing.
    assert trace.torque_nm.max() < 0.1 * truth.breakaway_nm
    assert trace.angle_deg[-1] < trace.angle_deg[0] - 60


def test_unequal_packs_state_their_first_step():
    _, truth = first_pull("unequal-packs")
    assert truth.first_step_nm is not None
    assert 32 < truth.first_step_nm < 40  # the weaker pack, 34 N.m and its bond
    assert 2 * truth.sliding_nm - truth.first_step_nm == pytest.approx(66, rel=0.08)  # trade notes, 2.2: the other pack


def test_a_hand_that_leaves_brings_the_torque_to_nothing():
    trace, _ = first_pull("hesitating-hand", PERFECT, pull=1)
    middle = trace.between(trace.time_s[0] + 3, trace.time_s[-1] - 2)
    off = np.abs(middle.torque_nm) < 1.0
    assert off.sum() > 150
    assert np.ptp(middle.angle_deg[off]) < 1.0


def test_the_truth_is_json_in_the_keys_of_the_contract():
    _, truth = first_pull("chattering-plates")
    document = json.loads(json.dumps(truth.document(truth.from_s)))
    assert document["breakaway"]["torque_nm"] == pytest.approx(truth.breakaway_nm, abs=1e-3)
    assert document["breakaway"]["time_s"] == pytest.approx(truth.breakaway_s - truth.from_s, abs=1e-4)
    assert document["chatter"]["present"] is True
    slips = document["chatter"]["slip_times_s"]
    assert document["chatter"]["frequency_hz"] == pytest.approx((len(slips) - 1) / (slips[-1] - slips[0]), rel=1e-3)


def test_the_workday_brings_several():
    day = SCENARIOS["workday"].workday(np.random.default_rng(1))
    assert len({setup.name for setup in islice(day, 12)}) >= 9


def test_pulls_of_a_scenario_differ_a_little():
    bench = bench_of("worn-low")
    while len(bench.truths) < 3:
        bench.take(1000)
    peaks = [truth.breakaway_nm for truth in bench.truths]
    assert len(set(peaks)) == 3
    assert max(peaks) / min(peaks) < 1.2


def read_by(sensor: Sensor, torque_nm: np.ndarray, angle_deg: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
    time_s = np.arange(torque_nm.size) / 1000
    return SensorChain(sensor, np.random.default_rng(3)).read(
        time_s, torque_nm, np.zeros(torque_nm.size) if angle_deg is None else angle_deg
    )


def test_the_sensor_clips_at_its_capacity():
    torque, _ = read_by(Sensor(capacity_nm=50.0, noise_nm=0.0), np.array([-80.0, 20.0, 50.0, 90.0]))
    assert torque.tolist() == [-50.0, 20.0, 50.0, 50.0]


def test_the_sensor_has_steps():
    rng = np.random.default_rng(1)
    torque, angle = read_by(
        replace(PERFECT, resolution_nm=0.25, encoder_deg=0.5), rng.uniform(-9, 9, 200), np.sort(rng.uniform(-9, 9, 200))
    )
    assert np.allclose(torque / 0.25, np.round(torque / 0.25))
    assert np.allclose(angle / 0.5, np.round(angle / 0.5))


def test_the_sensor_hums_at_the_mains():
    torque, _ = read_by(Sensor(noise_nm=0.0, resolution_nm=1e-6, hum_nm=0.8), np.zeros(1000))
    spectrum = np.abs(np.fft.rfft(torque)) / 500
    assert spectrum[50] == pytest.approx(0.8, rel=0.01)
    assert np.argmax(spectrum) == 50


def test_the_sensor_drifts_and_is_off():
    torque, _ = read_by(replace(PERFECT, offset_nm=0.7, drift_nm_per_min=0.6), np.zeros(10_001))
    assert torque[0] == pytest.approx(0.7)
    assert torque[-1] - torque[0] == pytest.approx(0.1)


def test_noise_has_the_stated_deviation():
    torque, _ = read_by(replace(PERFECT, noise_nm=0.3), np.zeros(20_000))
    assert torque.std() == pytest.approx(0.3, rel=0.03)


def test_a_slow_amplifier_answers_a_step_like_a_low_pass_of_first_order():
    """63.2 % after 1 / (2 pi f): the definition of the time constant."""
    chain = SensorChain(replace(PERFECT, bandwidth_hz=10.0), np.random.default_rng(1))
    chain.slow_down(np.zeros(10), 1e-4)
    answer = chain.slow_down(np.full(2000, 100.0), 1e-4)
    assert answer[round(1e4 / (2 * np.pi * 10)) - 1] == pytest.approx(63.2, rel=0.01)


def test_tremor_grows_with_force_and_has_its_frequency():
    """8 to 12 Hz, amplitude with force (trade notes, 5.2)."""
    shaking = replace(SCENARIOS["shaky-hand"].setups[0], rest_s=0.2)
    heights = []
    for nm in (20.0, 80.0):
        pack = Pack(kinetic_nm=nm)
        setup = replace(shaking, left=pack, right=pack, hand=replace(shaking.hand, tremor_hz=10.0, travel_deg=60.0))
        bench = Bench(lambda rng, only=setup: iter([only]), replace(PERFECT, side_share=2.0), 1000.0, np.random.default_rng(2))
        trace = taken(bench, [20_000])
        truth = bench.truths[0]
        steady = trace.between(truth.sliding_from_s, truth.sliding_to_s).torque_nm
        heights.append(steady.std())
        spectrum = np.abs(np.fft.rfft(steady - steady.mean()))
        strongest = np.argmax(spectrum) * 1000 / steady.size
        assert 8 < strongest < 12
    assert heights[1] / heights[0] == pytest.approx(4, rel=0.5)


def test_a_pause_before_the_plates_let_go_is_no_breakaway():
    setup = SCENARIOS[DEFAULT].setups[0]
    waiting = replace(setup, hand=replace(setup.hand, travel_deg=30.0, pauses=(Pause(0.8, 0.5),)), rest_s=0.2)
    bench = Bench(lambda rng: iter([waiting]), PERFECT, 1000.0, np.random.default_rng(1))
    trace = taken(bench, [10_000])
    truth = bench.truths[0]
    assert truth.breakaway_nm == pytest.approx(trace.torque_nm.max(), rel=1e-3)
    assert truth.breakaway_s - truth.from_s > 0.8
