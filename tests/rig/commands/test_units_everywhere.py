"""The unit of the window as it was typed is the unit of every answer: no N.m shows where somebody works in lbf.ft or lbf.in."""

import json
from pathlib import Path

import pytest
from support.clocks import StepClock

from analysis.results import QualityCode, QualityFlag
from analysis.window import Window
from drivers.wirefile import WireTape
from rig.cli import main
from rig.words.sentences import quality_text
from rig.words.units import same_unit

RECORDINGS = Path(__file__).resolve().parents[3] / "recordings"
DEMOS = ("rebuilt_good", "as_found_low", "chatter_new_plates", "clipped", "humming_sensor", "slow_indicator", "spins_free")


@pytest.fixture
def said(capsys):
    """Runs a command, and gives all that it printed, without what only quotes the recording."""

    def run(*words, status=0):
        assert main([str(word) for word in words]) == status
        out, err = capsys.readouterr()
        return out + err

    return run


@pytest.mark.parametrize("demo", DEMOS)
@pytest.mark.parametrize("window", ["25..45 lbf.ft", "300..540 in-lbs", "3,5 to 6 kgf.m"])
def test_analyse_answers_in_the_unit_of_the_window(said, demo, window):
    text = said("analyse", RECORDINGS / f"{demo}.csv", "--window", window, "--budget")
    assert Window.parse(window).unit in text
    assert "N.m" not in text


def test_a_series_does_too(said):
    pulls = [RECORDINGS / f"{name}.csv" for name in ("rebuilt_good", "rebuilt_good_other_way")]
    text = said("analyse", *pulls, "--series", "--window", "25..45 lbf.ft", "--despite", "series")
    assert "series of 2" in text
    assert "N.m" not in text


def test_a_comparison_answers_in_the_unit_of_the_windows_stated_with_the_pulls(said, tmp_path):
    for at, demo in enumerate(("chatter_new_plates", "after_additive")):
        for number in range(2):
            copy = tmp_path / f"{at}_{number}.csv"
            rows = (RECORDINGS / f"{demo}.csv").read_text().splitlines(keepends=True)
            copy.write_text("".join([*rows[: len(rows) - 1 - number]]))  # another pull has other samples
            terms = json.loads((RECORDINGS / f"{demo}.csv-metadata.json").read_text())
            terms["platepull:bench"]["window"]["limits"] = "25..45 lbf.ft"
            terms["url"] = copy.name
            copy.with_name(copy.name + "-metadata.json").write_text(json.dumps(terms))
    sides = [[tmp_path / f"{at}_{number}.csv" for number in range(2)] for at in range(2)]
    text = said("compare", "--before", *sides[0], "--after", *sides[1]).replace("·", ".")
    assert "lbf.ft" in text
    assert "N.m" not in text.replace("N.m/deg", "")  # a stiffness has no unit of its own in that trade
    assert "N·m" in said("compare", "--before", *sides[0], "--after", *sides[1], "--unit", "N.m")


def test_two_weights_are_told_as_they_were_typed(said):
    words = ("calibrate", "--check", "--weights", "5 kg, 10 kg", "--arm", "600 mm", "--shown", "21.7 lbf.ft, 43.4 lbf.ft")
    text = said(*words)
    assert "5 kg: 21.7 lbf.ft" in text
    assert "N.m" not in text


def test_a_recording_of_the_wire_is_told_as_the_device_sends_it(said, tmp_path):
    (tmp_path / "bench.toml").write_text(
        '[device]\nname = "b"\nport = "loop://"\nprotocol = "text"\ncapacity = "150 lbf.ft"\n'
        '[text]\ncolumns = ["torque [lbf.in]"]\nrate = "50 Hz"\n'
    )
    clock = StepClock()
    tape = WireTape(tmp_path / "a.wire", clock, {"port": "P"})
    for torque in range(100, 301):
        clock.moment += 0.02
        tape.note("r", b"%s%d.0\n" % (b"\n" if torque == 100 else b"", torque))
    tape.close()
    assert "torque 100 to 300 lbf.in" in said("wire", "read", tmp_path / "a.wire", "--device", tmp_path / "bench.toml")


@pytest.mark.parametrize("code", list(QualityCode))
def test_a_doubt_tells_its_torque_in_the_unit_asked_for(code):
    text = quality_text(QualityFlag(code, 2 * 13.5581795), "lbf.ft")  # NIST SP 811: 1 lbf.ft is 1.35581795 N.m
    assert "N.m" not in text
    if "lbf.ft" in text:
        assert "20.0 lbf.ft" in text


@pytest.mark.parametrize(
    ("window", "torque_nm", "meant"),
    [
        ("25..45 lbf.in", 47.0, "lbf.ft"),
        ("40..65 N.cm", 50.0, "N.m"),
        ("4..7 N.m", 50.0, "kgf.m"),
        ("300..540 lbf.ft", 45.0, "lbf.in"),
        ("25..45 lbf.ft", 16.0, None),  # a worn pack
        ("25..45 lbf.ft", 122.0, None),  # a case held: twice as high
        ("10.. N.m", 2.0, None),  # with one limit any smaller unit would do
        ("25..45 lbf.in", 0.0, None),  # nothing held
    ],
)
def test_a_window_that_is_missed_by_far_is_asked_about(window, torque_nm, meant):
    assert Window.parse(window).other_unit(torque_nm) == meant


def test_the_question_is_put_where_it_is_due_and_only_there(said):
    pull = RECORDINGS / "rebuilt_good.csv"
    assert "is lbf.in its unit, or should it be 25..45 lbf.ft?" in said("analyse", pull, "--window", "25..45 lbf.in")
    assert "its unit" not in said("analyse", pull, "--window", "25..45 lbf.ft")


def test_spellings_of_one_unit_are_one_unit():
    assert same_unit("Nm", "N.m")
    assert same_unit("in-lbs", "lbf.in")
    assert not same_unit("N.m", "lbf.ft")
