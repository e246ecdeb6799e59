"""`compare`: the three shared sets through the command, refusals and exit statuses, the promised document."""

from __future__ import annotations

import json
import re
import shutil
from importlib import resources
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from support.shareddata import shared_data

from rig.cli import main

SCHEMA = json.loads(resources.files("rig").joinpath("schemas/compare.schema.json").read_text("utf-8"))
WITHIN = 0.005  # the sets' README: expect the values within 0.5 %, words exactly


def names(folder: Path, side: str) -> list[str]:
    return sorted(str(path) for path in folder.glob(f"{side}_*.csv"))


@pytest.fixture
def compared(capsys):
    """Run `compare --json` and give the exit status, the document and what was told on standard error."""

    def run(before: list[str], after: list[str], *words: str) -> tuple[int, dict[str, Any], str]:
        status = main(["compare", "--json", "--before", *before, "--after", *after, *words])
        out, err = capsys.readouterr()
        document = json.loads(out)
        jsonschema.validate(document, SCHEMA)
        return status, document, err

    return run


def expect(figure: dict[str, Any], ratio: float, low: float, high: float, word: str) -> None:
    found = [figure[f"after_over_before{end}"] for end in ("", "_low", "_high")]
    assert found == pytest.approx([ratio, low, high], rel=WITHIN)
    assert figure["conclusion"] == word


def test_the_shipped_schema_is_a_schema():
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


def test_an_additive_cures_and_its_price_is_told(compared):
    """Shared set `additive_cures`, values from its README."""
    folder = shared_data("pairs") / "additive_cures"
    status, document, err = compared(names(folder, "before"), names(folder, "after"))
    assert (status, err) == (0, "")
    assert (document["question"], document["question_from"], document["refused"]) == ("additive", "read_off", [])
    chatter = document["chatter"]
    assert (chatter["outcome"], chatter["before"]["chattering"], chatter["after"]["chattering"]) == ("cured", 5, 0)
    assert chatter["probability_cured"] == pytest.approx(0.918, abs=0.0006)
    figures = document["figures"]
    expect(figures["sliding"], 0.909, 0.873, 0.946, "fell")
    expect(figures["breakaway"], 0.739, 0.706, 0.775, "fell")
    expect(figures["ratio"], 0.814, 0.795, 0.832, "fell")
    assert figures["ratio"]["for_the_better"] is True
    assert figures["sliding"]["for_the_better"] is None
    by_field = {one["field"]: one for one in document["conditions"]}
    assert by_field["temperature"]["state"] == "alike"
    assert by_field["additive"]["is_question"]
    # True height over sliding before: 39 % (README).
    assert figures["chatter_severity"]["before"]["centre_percent"] == pytest.approx(39.0, abs=3.0)
    assert figures["chatter_severity"]["conclusion"] == "fell"
    assert figures["chatter_severity"]["interval"]["method"] == "one_side"
    assert figures["chatter_rate"] is None  # no pull after chatters
    # The customer pays on the word: five quiet pulls one way do not carry it.
    assert "cured" not in json.dumps(document["text"]) + chatter["text"]
    assert "up to 45 % of pulls not excluded" in chatter["text"]


def test_packs_alike_with_a_first_pull_after_rest_and_a_stray(compared):
    """Shared set `packs_alike`, values from its README."""
    folder = shared_data("pairs") / "packs_alike"
    status, document, _ = compared(names(folder, "before"), names(folder, "after"), "--question", "plates")
    assert (status, document["question_from"]) == (0, "asked")
    apart = {side: [pull["apart"] for pull in document["pulls"][side]] for side in ("before", "after")}
    assert apart == {"before": ["first_after_rest", None, None, None, None, None], "after": [None, None, None, "stray", None]}
    figures = document["figures"]
    expect(figures["sliding"], 1.006, 0.964, 1.049, "held")
    expect(figures["breakaway"], 0.993, 0.930, 1.060, "open")
    expect(figures["ratio"], 0.987, 0.937, 1.041, "open")
    assert figures["sliding"]["interval"]["method"] == "welch_t_log"
    assert document["chatter"]["outcome"] == "none_before"
    assert document["chatter"]["after"]["assessable"] == 5  # a stray still counts for chatter
    assert any("2 stand apart" in sentence for sentence in document["text"])


def test_a_case_held_by_mistake_is_refused(compared, capsys):
    """Shared set `case_held_by_mistake`, values from its README."""
    folder = shared_data("pairs") / "case_held_by_mistake"
    before, after = names(folder, "before"), names(folder, "after")
    status, document, err = compared(before, after)
    assert status == 4
    assert not document["made"]
    refused = {one["code"]: one for one in document["refused"]}
    assert (refused["arrangement_differs"]["before"], refused["arrangement_differs"]["after"]) == (["A"], ["B"])
    told = {"compare_version", "made", "refused", "conditions", "pulls"}
    assert {key for key, value in document.items() if value is not None} == told
    assert len(document["pulls"]["before"]) == 3
    assert err.count("\n") == len(document["refused"])
    assert main(["compare", "--before", *before, "--after", *after]) == 4
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("platepull compare: the arrangement differs: A before, B after")


def test_despite_makes_the_comparison_and_labels_it(compared):
    folder = shared_data("pairs") / "case_held_by_mistake"
    status, document, err = compared(names(folder, "before"), names(folder, "after"), "--despite", "arrangement_differs")
    assert (status, err, document["despite"]) == (0, "", ["arrangement_differs"])
    expect(document["figures"]["sliding"], 1.914, 1.647, 2.223, "rose")
    assert all("arrangement" in figure["labels"] for figure in document["figures"].values() if figure is not None)


def test_the_folder_changes_nothing_and_the_order_given_neither(compared, tmp_path):
    folder = shared_data("pairs") / "case_held_by_mistake"
    _, here, _ = compared(names(folder, "before"), names(folder, "after"), "--despite", "arrangement_differs")
    copy = tmp_path / "elsewhere"
    shutil.copytree(folder, copy)
    _, there, _ = compared(names(copy, "before")[::-1], names(copy, "after")[::-1], "--despite", "arrangement_differs")
    assert here == there


def test_the_same_pull_on_both_sides_is_refused_whatever_it_is_called(compared, tmp_path):
    folder = shared_data("pairs") / "case_held_by_mistake"
    before = names(folder, "before")
    copy = tmp_path / "renamed.csv"
    shutil.copy(before[0], copy)
    status, document, _ = compared(before, [str(copy)])
    assert status == 4
    assert "same_trace" in [one["code"] for one in document["refused"]]
    assert main(["compare", "--before", *before, "--after", str(copy), "--despite", "same_trace"]) == 2


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--despite", "nonsense"], "there is no code 'nonsense'"),
        (["--threshold", "lots"], "'lots' is not a threshold"),
        (["--threshold", "0%"], "is not a threshold"),
        (["--threshold", "0.05"], "is not a threshold"),  # 5 % or a twentieth of one?
    ],
)
def test_an_argument_that_is_off_ends_with_2(capsys, tmp_path, words, told):
    assert main(["compare", "--before", "a.csv", "--after", "b.csv", *words]) == 2
    assert told in capsys.readouterr().err


def test_a_file_that_cannot_be_read_ends_with_2_and_is_named(capsys, tmp_path):
    missing = str(tmp_path / "nix.csv")
    assert main(["compare", "--before", missing, "--after", missing, "--json"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "nix.csv" in err


def test_what_differs_at_once_is_told_by_name(compared):
    """Two causes: each with its values, so that a person sees which one to change back."""
    folder, other = shared_data("pairs") / "additive_cures", shared_data("pairs") / "packs_alike"
    status, document, err = compared(names(folder, "after"), names(other, "after"))
    assert status == 4
    (reason,) = (one["text"] for one in document["refused"] if one["code"] == "two_causes")
    assert "additive (invented friction modifier, 4 % before, none after)" in reason
    assert "plates (pack 1, run in before, pack 2, run in after)" in reason
    assert reason in err


def test_every_torque_of_the_text_is_in_the_unit_that_was_asked_for(capsys):
    """The lever's stiffness too: 33.6 N.m a degree are 24.8 lbf.ft a degree."""
    folder = shared_data("pairs") / "additive_cures"
    words = ["compare", "--before", *names(folder, "before"), "--after", *names(folder, "after"), "--unit", "lbf.ft"]
    assert main(words) == 0
    told = capsys.readouterr().out
    assert "24.8 lbf·ft/deg from hand to plates" in told
    assert not re.search(r"N.m\b", told)
