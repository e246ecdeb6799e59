"""Severity and time stuck of a pull against the motion of the simulated bench itself."""

from __future__ import annotations

import numpy as np
import pytest

import drivers.emulated.bench as emulated
from analysis.compare.pulls import chatter_of
from analysis.pull.reading import read_pull
from analysis.trace import join
from drivers.emulated.scenarios import scenario
from drivers.emulated.truth import LET_GO_RAD, _steady, truth_of


@pytest.fixture
def pulled(monkeypatch):
    """A pull of a scenario, what is true of it, and the share of steady sliding in which every pack sticks."""

    def pull(name):
        stuck = []

        def spy(motion, *rest):
            slipped = np.flatnonzero(np.min([np.abs(pack - pack[0]) for pack in motion.pack_rad], axis=0) > LET_GO_RAD)
            stuck.append(float(motion.stuck[_steady(motion, int(slipped[0]))].mean()))
            return truth_of(motion, *rest)

        monkeypatch.setattr(emulated, "truth_of", spy)
        chosen = scenario(name)
        bench = emulated.Bench(chosen.workday, chosen.sensor, 1000.0, np.random.default_rng(3))
        pieces = []
        while not bench.truths:
            pieces.append(bench.take(100))
        pieces.append(bench.take(400))
        true = bench.truths[0]
        return read_pull(join(pieces).between(true.from_s - 1.3, true.to_s + 0.4)), true, stuck[0]

    return pull


@pytest.mark.parametrize("name", ["chattering-plates", "slow-chatter"])
def test_a_pull_that_chatters_all_along(pulled, name):
    result, true, stuck = pulled(name)
    chatter = chatter_of(result)
    assert chatter.height_share == pytest.approx(true.slip_height_nm / true.sliding_nm, rel=0.02)
    assert chatter.severity == pytest.approx(chatter.height_share, rel=0.02)  # every degree of the travel lies in a cycle
    assert chatter.stuck_time == pytest.approx(stuck, abs=0.08)


def test_a_quiet_pull_has_none(pulled):
    result, _, stuck = pulled("after-additive")
    chatter = chatter_of(result)
    assert (chatter.assessable, chatter.present, chatter.severity, chatter.stuck_time) == (True, False, 0.0, 0.0)
    assert stuck == 0.0
