"""The integrator behind the third set of pulls, held against statics and the textbook's stick-slip; and its truths.

Stick-slip of a body on a spring drawn at constant speed W (classical, from memory; as in test_outside_pullset): the torque falls by
2 dT, dT = Ts - Tk, every 2 dT/(k W) + 2/w (pi - atan(dT w/(k W))). A body at rest that a spring takes along at W overshoots by at
most W sqrt(k J) (energy).
"""

import numpy as np
import pytest
from support.pull_third import Draft, Kind, third, truth_of, turn_all


def quiet(**changed: float) -> Draft:
    """An ordinary unit without play or excess but what is asked for."""
    drawn = {"slide_nm": 40.0, "excess": 0.1, "memory_deg": 0.5} | changed
    return Draft(np.random.default_rng(3), **drawn)  # type: ignore[arg-type]


def briefly(d: Draft, travel_deg: float = 12.0, deg_s: float = 12.0) -> None:
    d.rest(0.2)
    d.load(0.9, 0.5, play=True)
    d.turn(travel_deg, deg_s)
    d.let_go()
    d.rest(0.2)


def test_breakaway_and_sliding_are_those_of_the_plates() -> None:
    drafts = [quiet(slide_nm=slide) for slide in (20.0, 90.0)] + [quiet(second=0.4, lash_deg=1.0)]
    for d in drafts:
        briefly(d)
    for d, moved in zip(drafts, turn_all(drafts), strict=True):
        truth = truth_of("quiet", d, moved, turns=True)
        over = np.radians(15.0) * np.sqrt(d.adaptor_nm_rad * d.rotor_kg_m2)
        assert 0.995 * 1.1 * d.slide_nm <= truth.breakaway_nm <= 1.1 * d.slide_nm + over
        assert truth.sliding_nm == pytest.approx(d.slide_nm, rel=0.003)
        assert not truth.chatter


def test_plates_that_stick_fall_twice_the_difference_at_the_textbook_rate() -> None:
    k, j, step = 700.0, 0.004, 8.0
    d = quiet(excess=0.0, fall=step / 40, fall_deg_s=0.02, hand_nm_rad=1e5, adaptor_nm_rad=k, lever_kg_m2=0.02, rotor_kg_m2=j)
    briefly(d, travel_deg=16.0, deg_s=10.0)
    truth = truth_of("sticks", d, turn_all([d])[0], turns=True)
    pull, w = k * np.radians(10.0), np.sqrt(k / j)
    assert truth.chatter
    assert truth.peak_to_peak_nm == pytest.approx(2 * step, rel=0.15)
    assert 1 / truth.rate_hz == pytest.approx(2 * step / pull + 2 / w * (np.pi - np.arctan(step * w / pull)), rel=0.15)


def test_nothing_breaks_away_where_the_case_is_held_and_the_same_seed_gives_the_same_pull() -> None:
    def held(d: Draft) -> None:
        d.slide_nm = 5000.0
        d.rest(0.2)
        d.load(0.01, 0.5)
        d.let_go()
        d.rest(0.2)

    kinds = {"held": Kind(held, turns=False), "turned": Kind(briefly)}
    pulls, again = third(2, 4, kinds), third(2, 4, kinds)
    assert [p.truth.pull_found for p in pulls] == [False, True]
    assert np.abs(pulls[0].trace.torque_nm).max() > 20.0
    for one, other in zip(pulls, again, strict=True):
        assert np.array_equal(one.trace.torque_nm, other.trace.torque_nm)
        assert one.truth == other.truth
