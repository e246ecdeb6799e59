"""The seven shared examples, within the tolerances of their README."""

import json

import pytest
from support.shareddata import shared_data

from rig.pack import answer

EXAMPLES = {
    # name: relative tolerances of median and of the interval's ends, absolute ones of the probabilities (window, lands, feasible)
    "1_low_torque_space_a_side": (0.03, 0.05, 0.05, 0.05, 0.05),
    "2_high_torque_springs_in_line": (0.03, 0.05, 0.05, 0.05, 0.05),
    "3_cover_spacer_thicker_is_less": (0.03, 0.05, 0.05, 0.10, 0.05),
    "4_end_play_only": (0.03, 0.05, 0.05, 0.10, 0.05),
    "5_springs_gone": (0.03, 0.05, 0.05, 0.05, 0.05),
    "6_found_free_springs_renewed": (0.08, 0.10, 0.08, 0.08, 0.10),
    "7_stack_heights_only": (0.05, 0.08, 0.08, 0.08, 0.10),
}


@pytest.fixture(scope="module", params=EXAMPLES)
def example(request):
    folder = shared_data("packs") / request.param
    expected = json.loads((folder / "expected.json").read_text("utf-8"))
    return EXAMPLES[request.param], answer(folder / "PACK.toml"), expected


def totals(choice):
    return tuple(round(sum(choice[side]["shims_mm"]), 3) for side in ("left", "right"))


def test_faces_limits_and_verdicts_are_the_same(example):
    _, said, expected = example
    assert said["problems"] == expected["problems"]
    assert said["faces"] == expected["faces"]
    assert (said["feasible"], said["why_not"]) == (expected["feasible"], expected["why_not"])
    assert (said["leave_alone"], said["pull_more"]) == (expected["leave_alone"], expected["pull_more"])
    assert [(one["code"], one["part"]) for one in said["limits"]] == [(one["code"], one["part"]) for one in expected["limits"]]
    for mine, theirs in zip(said["limits"], expected["limits"], strict=True):
        assert mine.get("value_mm", mine.get("value")) == pytest.approx(theirs["value"], abs=0.005 if "value" in mine else 0.01)


def test_each_listed_choice_is_told_as_the_reference_tells_it(example):
    (median, ends, in_window, lands, _), said, expected = example
    mine = {totals(one): one for one in said["candidates"]}
    for one in expected["best_listed"] + expected["acceptable"]:
        key = (round(one["shims_left_total_mm"], 3), round(one["shims_right_total_mm"], 3))
        found = mine[key]
        assert found["torque_median_nm"] == pytest.approx(one["torque_median_nm"], rel=median)
        assert found["torque_low_nm"] == pytest.approx(one["torque_low_nm"], rel=ends)
        assert found["torque_high_nm"] == pytest.approx(one["torque_high_nm"], rel=ends)
        assert found["probability_in_window"] == pytest.approx(one["probability_in_window"], abs=in_window)
        assert found["probability_lands"] == pytest.approx(one["probability_lands"], abs=max(lands, 0.10))


def test_the_best_is_an_acceptable_one_and_feasible_is_as_probable(example):
    tolerances, said, expected = example
    assert said["probability_feasible"] == pytest.approx(expected["probability_feasible"], abs=tolerances[4])
    acceptable = {(round(o["shims_left_total_mm"], 3), round(o["shims_right_total_mm"], 3)) for o in expected["acceptable"]}
    if acceptable:
        assert totals(said["candidates"][0]) in acceptable
