"""Readings against simulated pulls of known truth, two of every kind: the reach that `tests/speed/readings.py` measures in full.

What counts for which figure stands in support.scoring. Bounds are those the project set itself for 2,000 pulls; a few score of
pulls cannot show a 95th percentile sharply, so that one is loosened by half.
"""

import numpy as np
import pytest
from support.pullset import SimPull, simulate_cached
from support.scoring import Answer, Line, area_under_curve, score

from analysis.pull.reading import read_pull

KINDS_TWICE = 84


def answer(pull: SimPull) -> Answer:
    result = read_pull(pull.trace, pull.sensor)
    first, then, chatter = result.breakaway, result.sliding, result.chatter
    return Answer(
        found=first is not None,
        breakaway_nm=first and first.torque_nm,
        sliding_nm=then and then.torque_nm,
        assessable=chatter.assessable,
        score=chatter.score,
        present=bool(chatter.present),
        rate_hz=chatter.frequency_hz,
        codes=tuple(flag.code.value for flag in result.quality),
    )


@pytest.fixture(scope="module")
def lines() -> list[Line]:
    pulls = simulate_cached(KINDS_TWICE, 202, workers=1)
    return [score(i, p.truth, answer(p), 1 / float(np.median(np.diff(p.trace.time_s)))) for i, p in enumerate(pulls)]


def told(lines: list[Line]) -> str:
    return "; ".join(f"{x.number} {x.truth.kind} {x.truth.faults}: {x.answer}" for x in lines[:5])


@pytest.mark.timeout(400)
def test_what_holds_is_found_and_what_does_not_is_not(lines: list[Line]) -> None:
    wrong = [line for line in lines if not line.found_right]
    assert not wrong, told(wrong)


@pytest.mark.parametrize(("figure", "worst"), [("breakaway", 0.05), ("sliding", 0.03)])
def test_torques_are_near_the_truth(lines: list[Line], figure: str, worst: float) -> None:
    errors = {line.number: error for line in lines if (error := getattr(line, figure)) is not None}
    assert len(errors) > 60
    assert np.percentile(list(errors.values()), 95) <= 0.015
    far = [line for line in lines if errors.get(line.number, 0.0) > worst]
    assert not far, told(far)


def test_chatter_is_told_from_its_look_alikes(lines: list[Line]) -> None:
    counted = [line for line in lines if line.counts_for_chatter and line.answer.assessable]
    yes = [line for line in counted if line.truth.chatter]
    no = [line for line in counted if not line.truth.chatter]
    area = area_under_curve([x.answer.score for x in yes], [x.answer.score for x in no])
    assert area is not None
    assert area >= 0.995
    assert sum(not x.answer.present for x in yes) <= 1, told([x for x in yes if not x.answer.present])
    assert sum(x.answer.present for x in no) <= 1, told([x for x in no if x.answer.present])
    rates = [x.answer.rate_hz / x.truth.rate_hz - 1 for x in yes if x.answer.rate_hz and x.truth.rate_hz and x.truth.rate_steady]
    assert np.median(np.abs(rates)) <= 0.02


def test_what_could_be_assessed_is(lines: list[Line]) -> None:
    silent = [x for x in lines if x.counts_for_chatter and x.can_be_assessed and not x.answer.assessable]
    assert not silent, told(silent)


def test_a_clipped_sensor_is_said(lines: list[Line]) -> None:
    clipped = [x for x in lines if "clipped" in x.truth.faults]
    assert clipped
    assert all("overload" in x.answer.codes for x in clipped), told(clipped)
