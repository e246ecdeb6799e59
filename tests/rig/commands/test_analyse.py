"""`analyse`: the promised document, one line for each bad file, the others still read."""

import json
import re
from importlib import resources

import jsonschema
import numpy as np
import pytest
from support.jobs import write_pull
from support.made import made_stream
from support.same import assert_same
from support.shareddata import shared_data

from analysis.compare.pulls import FigureName
from analysis.results import Sensor
from analysis.trace import Trace
from analysis.window import Basis, Window
from rig.cli import main
from rig.commands import _reading
from rig.files import pull_file as recording
from rig.files.compared_pull import read_compared
from rig.files.metadata import TraceInfo, Transducer
from rig.files.trace_csv import write_trace

SCHEMA = json.loads(resources.files("rig").joinpath("schemas/analysis.schema.json").read_text("utf-8"))


@pytest.fixture(autouse=True)
def no_settings(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setenv("APPDATA", str(tmp_path / "config"))
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    return tmp_path / "config" / "platepull" / "settings.toml"


@pytest.fixture
def pull(tmp_path):
    path = tmp_path / "pull.csv"
    write_trace(path, made_stream(1))
    return str(path)


def documents(capsys, *words):
    status = main(["analyse", "--json", *words])
    out, err = capsys.readouterr()
    found = json.loads(out)
    jsonschema.validate(found, SCHEMA)
    return status, found, err


def test_the_shipped_schema_is_a_schema_and_asks_for_all_that_is_promised():
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    assert set(SCHEMA["$defs"]["trace"]["required"]) == {
        "trace", "samples", "duration_s", "rate_hz", "direction", "breakaway", "sliding", "chatter", "quality", "verdict",
    }  # fmt: skip


def test_the_shipped_schema_keeps_every_promise_of_the_contract():
    contract = json.loads((shared_data("pulls").parents[1] / "contract" / "analysis.schema.json").read_text("utf-8"))

    def kept(promised, ours):
        if isinstance(promised, dict):
            return all(key in ours and kept(value, ours[key]) for key, value in promised.items())
        return promised == ours

    assert kept(contract, SCHEMA)


@pytest.mark.parametrize("extra", [[], ["--window", "50..70 N.m"], ["--window", "..25 lbf.ft", "--basis", "sliding"], ["--budget"]])
def test_the_document_is_as_promised(capsys, pull, extra):
    status, (document,), err = documents(capsys, pull, *extra)
    assert (status, err) == (0, "")
    assert document["trace"] == pull
    assert document["breakaway"]["torque_nm"] == pytest.approx(60.0, rel=0.02)
    assert (document["verdict"] is not None) == ("--window" in extra)
    assert ("budget" in document["breakaway"]) == ("--budget" in extra)


@pytest.mark.parametrize(
    "trace",
    [
        Trace([], []),
        Trace([0.0], [1.0]),
        Trace([0.0, 0.1], [1.0, 1.0]),
        Trace([n / 100 for n in range(500)], [0.0] * 500),
        Trace([n / 100 for n in range(500)], [0.01 * (-1) ** n for n in range(500)], [n / 5 for n in range(500)]),
        made_stream(1).mirrored(),
        Trace(made_stream(1).time_s, made_stream(1).torque_nm),
    ],
    ids=["header only", "one sample", "two samples", "constant", "free", "other way", "torque only"],
)
def test_odd_traces_still_give_a_document_that_fits(capsys, tmp_path, trace):
    path = tmp_path / "odd.csv"
    write_trace(path, trace)
    status, (document,), _ = documents(capsys, str(path), "--window", "35..60 N.m", "--budget")
    assert status == 0
    assert document["samples"] == len(trace)


def test_bad_files_are_told_one_line_each_and_the_others_are_read(capsys, pull, tmp_path):
    bad = tmp_path / "bad.csv"
    bad.write_text("time [s],torque [N.m]\n0,1\n0.1,x\n")
    status, found, err = documents(capsys, str(bad), pull, str(tmp_path / "nix.csv"))
    assert status == 2
    assert [document["trace"] for document in found] == [pull]
    first, second = err.strip().splitlines()
    assert "bad.csv, row 3: torque 'x' is not a number" in first
    assert "nix.csv: there is no such" in second


@pytest.mark.parametrize(
    "words", [["--window", "45..25 N.m"], ["--window", "25-45"], ["--u", "much"], ["--arm", "3 s"], ["--unit", "kg"]]
)
def test_a_bad_option_is_one_line_and_status_2(capsys, pull, words):
    assert main(["analyse", pull, *words]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert len(err.strip().splitlines()) == 1


def test_a_share_of_a_range_that_a_trace_does_not_state_is_told_of_that_trace(capsys, pull):
    status, found, err = documents(capsys, pull, "--u", "0.5 % of range")
    assert (status, found) == (2, [])
    assert err.startswith(f"platepull analyse: {pull}: '0.5 % of range' is a share of the sensor's range")


def test_a_fault_of_ours_in_one_file_is_told_and_the_others_are_read(capsys, pull, tmp_path, monkeypatch):
    real = recording.read_pull

    def fails_without_angle(trace, *more, **by_name):
        if trace.angle_deg is None:
            raise ZeroDivisionError("ours")
        return real(trace, *more, **by_name)

    monkeypatch.setattr(recording, "read_pull", fails_without_angle)
    bare = tmp_path / "bare.csv"
    write_trace(bare, Trace([0.0, 0.1], [0.0, 0.0]))
    status, found, err = documents(capsys, str(bare), pull)
    assert (status, len(found)) == (2, 1)
    assert "bare.csv: not read by a fault of ours" in err


def test_the_traces_own_window_and_sensor_count_where_none_is_given(capsys, tmp_path, no_settings):
    path = tmp_path / "told.csv"
    info = TraceInfo(window=Window.parse("70..90 N.m", Basis.SLIDING), transducer=Transducer(u_relative=0.01))
    write_trace(path, made_stream(1), info)
    _, (document,), _ = documents(capsys, str(path), "--budget")
    assert document["verdict"]["basis"] == "sliding"
    assert document["verdict"]["low_nm"] == pytest.approx(70.0)
    calibration = next(line for line in document["breakaway"]["budget"]["lines"] if line["source"] == "calibration")
    assert calibration["u_nm"] == pytest.approx(0.6, rel=0.02)
    _, (document,), _ = documents(capsys, str(path), "--basis", "breakaway", "--u", "2 N.m")
    assert document["verdict"]["basis"] == "breakaway"
    assert document["breakaway"]["u_nm"] >= 2.0
    no_settings.parent.mkdir(parents=True)
    no_settings.write_text('window = "1..2 N.m"\n')
    _, (document,), _ = documents(capsys, str(path))
    assert document["verdict"]["low_nm"] == pytest.approx(70.0)


def test_the_rule_decides_near_a_limit(capsys, pull):
    near = ["--window", "59.5.. N.m", "--u", "1 N.m"]
    _, (guarded,), _ = documents(capsys, pull, *near)
    _, (simple,), _ = documents(capsys, pull, *near, "--rule", "simple")
    assert guarded["verdict"]["state"] == "undecided"
    assert simple["verdict"]["state"] in ("in_window", "below")


def test_the_table_speaks_the_chosen_unit(capsys, pull):
    assert main(["analyse", pull, "--window", "25..45 lbf.ft", "--unit", "lbf.ft", "--budget"]) == 0
    out = capsys.readouterr().out
    assert "25..45 lbf.ft" in out
    assert "combined" in out
    assert out.splitlines()[0] == pull


@pytest.fixture
def five(tmp_path):
    """Five pulls of a unit, every other one the other way, with what their metadata says."""

    def made(*infos):
        paths = []
        for number in range(5):
            path = tmp_path / f"pull_{number}.csv"
            stream = made_stream(1, seed=number, peak_nm=60.0 + number)
            info = infos[number % len(infos)] if infos else TraceInfo()
            write_trace(path, stream.mirrored() if number % 2 else stream, info)
            paths.append(str(path))
        return paths

    return made


def test_a_series_gives_one_verdict_over_all_traces(capsys, five):
    paths = five()
    words = [*paths, "--series", "--window", "50..76 N.m", "--u", "0.5%"]
    _, found, _ = documents(capsys, *words)
    series, traces = found["series"], found["traces"]
    values = [document["breakaway"]["torque_nm"] for document in traces]
    assert series["counted"] == paths
    assert (series["apart"], series["excluded"]) == ([], [])
    forward, back = sum(values[::2]) / 3, sum(values[1::2]) / 2
    assert series["breakaway"]["mean_nm"] == pytest.approx((forward + back) / 2)
    assert series["breakaway"]["by_direction"] == {
        "1": {"n": 3, "mean_nm": pytest.approx(forward)},
        "-1": {"n": 2, "mean_nm": pytest.approx(back)},
    }
    verdict = series["verdict"]
    assert verdict["state"] == "in_window"
    assert verdict["value_nm"] == series["breakaway"]["mean_nm"]
    assert verdict["deciding"]["direction"] == -1
    assert verdict["probability_in_window"] == verdict["deciding"]["probability_in_window"]
    assert series["chatter"] == {"chattering": 0, "assessable": 5}
    assert main(["analyse", *words]) == 0
    assert "series of 5 pulls" in capsys.readouterr().out
    _, alone, _ = documents(capsys, paths[0], "--series", "--basis", "sliding")
    assert alone["series"]["verdict"] is None
    assert alone["series"]["sliding"]["by_direction"]["-1"] == {"n": 0, "mean_nm": None}


def test_a_verdict_holds_the_scatter_from_pull_to_pull_unless_it_is_told_not_to(capsys, pull):
    words = [pull, "--window", "45..75 N.m", "--u", "0.5 %"]
    _, (usual,), _ = documents(capsys, *words)
    _, (bench,), _ = documents(capsys, *words, "--scatter", "2 % (12)")
    _, (alone,), _ = documents(capsys, *words, "--scatter", "0 %")
    assert usual["verdict"]["expanded_u_nm"] / usual["verdict"]["value_nm"] == pytest.approx(0.112, abs=0.002)  # 2.78 times 4 %
    assert bench["verdict"]["expanded_u_nm"] < 0.5 * usual["verdict"]["expanded_u_nm"]
    assert alone["verdict"]["expanded_u_nm"] == pytest.approx(1.96 * alone["breakaway"]["u_nm"], rel=1e-3)
    assert usual["breakaway"]["u_nm"] == alone["breakaway"]["u_nm"]


def test_the_bench_s_scatter_stands_in_the_settings(capsys, pull, no_settings):
    no_settings.parent.mkdir(parents=True)
    no_settings.write_text('scatter = "2 % (12)"\n')
    _, (document,), _ = documents(capsys, pull, "--window", "45..75 N.m")
    assert (document["verdict"]["scatter"]["percent"], document["verdict"]["scatter"]["degrees_of_freedom"]) == (2.0, 12.0)


@pytest.mark.parametrize(
    ("field", "first", "second", "option"),
    [
        ("arrangement", "A", "B", "arrangement"),
        ("unit", "demo 1", "demo 2", "unit"),
        ("series", "as found", "rebuilt", "series"),
        ("lubricant", "plain", "modified", "oil"),
        ("additive", "none", "one bottle", "additive"),
    ],
)
def test_a_mixed_series_is_refused_by_the_field_that_differs(capsys, five, field, first, second, option):
    paths = five(TraceInfo(**{field: first}), TraceInfo(**{field: second}))
    status, found, err = documents(capsys, *paths, "--series", "--window", "50..76 N.m")
    assert status == 4
    assert [document["trace"] for document in found] == paths  # each is still read
    (line,) = err.strip().splitlines()
    assert all(word in line for word in (option, first, second, "pull_0.csv", "pull_1.csv", f"--despite {option}"))
    status, found, err = documents(capsys, *paths, "--series", "--window", "50..76 N.m", "--u", "0.5%", "--despite", option)
    assert (status, err) == (0, "")
    assert found["series"]["verdict"]["state"] == "in_window"


def turned_freely() -> Trace:
    """A second of rest, then 90 degrees in which nothing holds."""
    time_s = np.arange(3250) / 500
    noise_nm = np.random.default_rng(4).normal(0.0, 0.02, time_s.size)
    return Trace(time_s, noise_nm, np.clip(20 * (time_s - 1), 0.0, 90.0))


def test_a_series_says_which_direction_decides_and_null_where_none_does(capsys, tmp_path):
    """A unit that spins free has no direction that stands worse; the key is there all the same."""
    path = tmp_path / "free.csv"
    write_trace(path, turned_freely())
    _, found, _ = documents(capsys, str(path), "--series", "--window", "50..76 N.m", "--u", "0.5 %")
    assert found["series"]["verdict"]["state"] == "below"
    assert found["series"]["verdict"]["deciding"] is None


def test_a_free_turn_of_the_bench_counts_where_a_person_gives_it_and_that_is_told(capsys, tmp_path):
    path = tmp_path / "free.csv"
    write_trace(path, turned_freely(), TraceInfo(free_turn=True))
    _, (document,), _ = documents(capsys, str(path), "--window", "10.. N.m")
    assert document["verdict"]["state"] == "below"
    assert any("given here, it counts as one" in note for note in document["notes"])


def test_case_and_blanks_do_not_make_a_series_mixed(capsys, five):
    paths = five(TraceInfo(lubricant="Service  oil"), TraceInfo(lubricant="service oil "))
    assert documents(capsys, *paths, "--series")[0] == 0


def test_what_is_stated_of_some_pulls_only_is_missing(capsys, five):
    paths = five(TraceInfo(lubricant="service oil"), TraceInfo())
    _, found, _ = documents(capsys, *paths, "--series", "--window", "50..76 N.m")
    assert "conditions" in found["series"]["verdict"]["missing"]


def test_a_field_that_is_none_cannot_be_waved_through(capsys, pull):
    assert main(["analyse", pull, "--series", "--despite", "weather"]) == 2
    assert "'weather' is not a field of a series" in capsys.readouterr().err


def test_a_series_that_is_refused_is_told_beneath_the_table_too(capsys, pull, tmp_path):
    other = write_pull(tmp_path, "other.csv", arrangement="B")
    assert main(["analyse", str(write_pull(tmp_path, arrangement="A")), str(other), "--series"]) == 4
    last = capsys.readouterr().out.strip().splitlines()[-1]
    assert last.startswith("no series, no verdict on the unit: ")
    assert "arrangement" in last


def test_a_pull_s_spread_and_the_unit_s_are_told_apart(capsys, pull):
    main(["analyse", pull, "--window", "40..65 N.m", "--u", "0.5%"])
    found = capsys.readouterr().out
    assert re.search(r"pack breakaway  .*\+/- .* \(this pull\)", found)
    assert re.search(r"the unit: pack breakaway .*\+/-", found)


def test_many_files_over_all_cores_read_the_same_in_the_same_order(capsys, tmp_path, monkeypatch):
    paths = []
    for number in range(6):
        path = tmp_path / f"pull_{number}.csv"
        write_trace(path, made_stream(1, seed=number, peak_nm=40.0 + number))
        paths.append(str(path))
    _, alone, _ = documents(capsys, *paths)
    monkeypatch.setattr(_reading, "PARALLEL_FROM_BYTES", 0)
    _, together, _ = documents(capsys, *paths, str(tmp_path / "nix.csv"))
    assert_same(together, alone)


def test_a_wildcard_that_no_shell_has_spread_is_spread(capsys, pull, tmp_path):
    _, found, _ = documents(capsys, str(tmp_path / "pu*.csv"))
    assert [document["trace"] for document in found] == [pull]


def test_force_and_position_are_judged_on_an_arm(capsys, tmp_path):
    path = tmp_path / "force.csv"
    stream = made_stream(1)
    rows = zip(stream.time_s, stream.torque_nm / 0.6, strict=True)
    path.write_text("time [s],force [N]\n" + "".join(f"{t:.4f},{f:.4f}\n" for t, f in rows))
    _, (document,), _ = documents(capsys, str(path), "--arm", "0.6 m")
    assert document["breakaway"]["torque_nm"] == pytest.approx(60.0, rel=0.02)
    assert document["notes"] == ["force read as torque on an arm of 0.6 m"]


CARD = """
[window]
torque = "{window}"
arrangement = "{arrangement}"
basis = "breakaway"
{more}

[build]
layout = "{layout}"
thicker_shim = "more preload"
{build}
"""


@pytest.fixture
def card(tmp_path):
    """A spec card of that window."""

    def made(window="50..76 N.m", arrangement="A", layout="each", more="", build=""):
        path = tmp_path / "spec.toml"
        path.write_text(CARD.format(window=window, arrangement=arrangement, layout=layout, more=more, build=build))
        return str(path)

    return made


def pull_in(tmp_path, peak_nm=60.0, **stated):
    path = tmp_path / "stated.csv"
    write_trace(path, made_stream(1, peak_nm=peak_nm), TraceInfo(transducer=Transducer(u_relative=0.005), **stated))
    return str(path)


def test_a_spec_card_judges_in_its_own_arrangement_and_another_is_converted_with_a_word(capsys, tmp_path, card):
    _, (same,), _ = documents(capsys, pull_in(tmp_path, arrangement="A"), "--spec", card())
    assert (same["verdict"]["state"], same["verdict"]["missing"], same["verdict"]["converted"]) == ("in_window", [], None)
    # PACK.md 2: the case held reads twice and 0 to 10 % more, rectangular: the middle is 2.1, its standard uncertainty 2.75 %.
    _, (other,), _ = documents(capsys, pull_in(tmp_path, 126.0, arrangement="B"), "--spec", card(), "--scatter", "0 %", "--budget")
    verdict = other["verdict"]
    assert verdict["value_nm"] == pytest.approx(60.0, rel=0.01)
    assert other["breakaway"]["torque_nm"] == pytest.approx(126.0, rel=0.01)  # the reading stays what the sensor felt
    (line,) = [line for line in verdict["budget"]["lines"] if line["source"] == "arrangement converted"]
    assert line["u_nm"] == pytest.approx(60.0 * 0.1 / 12**0.5 / 1.05, rel=0.01)
    assert "converted from B (case held" in verdict["text"]
    assert verdict["state"] == "in_window"


@pytest.mark.parametrize(
    ("pulled", "more"),
    [
        ({"arrangement": "V"}, {}),
        ({"arrangement": "F"}, {}),
        ({"arrangement": "B"}, {"layout": "block"}),
        ({"arrangement": "B"}, {"build": 'ramps = "30 deg"'}),
        ({"arrangement": "E"}, {}),
        ({"arrangement": "D"}, {"arrangement": "B"}),
    ],
    ids=["in the vehicle", "one pack", "springs between the gears", "steep ramps", "ratio not stated", "neither is A"],
)
def test_what_is_not_converted_is_undecided(capsys, tmp_path, card, pulled, more):
    _, (document,), _ = documents(capsys, pull_in(tmp_path, 63.0, **pulled), "--spec", card(**more))
    verdict = document["verdict"]
    assert (verdict["state"], verdict["probability_in_window"]) == ("undecided", None)
    assert verdict["missing"] == ["arrangement"]
    assert "not converted" in verdict["settling"]["text"]
    assert "is not stated" not in verdict["text"]  # it is: it is another one


def test_an_arrangement_nobody_stated_is_missing_and_can_be_stated(capsys, tmp_path, card):
    path = pull_in(tmp_path, 63.0)
    _, (document,), _ = documents(capsys, path, "--spec", card())
    assert document["verdict"]["missing"] == ["arrangement"]
    assert "who was held and who turned is not stated" in document["verdict"]["text"]
    assert documents(capsys, path, "--spec", card(), "--arrangement", "a")[1][0]["verdict"]["missing"] == []


def test_an_option_that_the_trace_s_own_metadata_contradicts_does_not_count_and_is_told(capsys, tmp_path, card):
    path = pull_in(tmp_path, arrangement="A")
    _, [held], _ = documents(capsys, "--spec", card(), path)
    _, [told], _ = documents(capsys, "--spec", card(), "--arrangement", "B", path)
    assert told["verdict"]["state"] == held["verdict"]["state"]
    [note] = set(told["notes"]) - set(held["notes"])
    assert "'A'" in note
    assert "'B'" in note
    _, [same], _ = documents(capsys, "--spec", card(), "--arrangement", "a", path)
    assert same["notes"] == held["notes"]


def test_of_several_windows_the_one_for_these_plates_judges(capsys, tmp_path, card):
    spec = tmp_path / "two.toml"
    text = CARD.format(window="50..76 N.m", arrangement="A", layout="each", more='plate_state = "used"', build="")
    new = '[[window]]\ntorque = "20..40 N.m"\narrangement = "A"\nplate_state = "new"\n'
    spec.write_text(new + text.replace("[window]", "[[window]]"))
    used = pull_in(tmp_path, 63.0, arrangement="A", plate_state="used")
    assert documents(capsys, used, "--spec", str(spec))[1][0]["verdict"]["low_nm"] == pytest.approx(50.0)
    fresh = pull_in(tmp_path, 63.0, arrangement="A", plate_state="new")
    assert documents(capsys, fresh, "--spec", str(spec))[1][0]["verdict"]["high_nm"] == pytest.approx(40.0)
    unstated = pull_in(tmp_path, 63.0, arrangement="A")
    assert documents(capsys, unstated, "--spec", card(more='plate_state = "used"'))[1][0]["verdict"]["missing"] == ["plate_state"]


def test_a_card_whose_units_disagree_is_not_believed(capsys, pull, card):
    assert main(["analyse", pull, "--spec", card(more='also_printed = "36..66 lbf.ft"')]) == 4
    assert "in its other unit" in capsys.readouterr().err


def test_answers_come_in_the_unit_of_the_window_as_it_was_typed(capsys, pull):
    assert main(["analyse", pull, "--window", "30 to 60 lbf.ft"]) == 0
    out = capsys.readouterr().out
    assert "44.2" in out
    assert "30 to 60 lbf.ft" in out
    assert " N.m" not in out.replace("N.m)", "")


def test_the_same_pull_twice_is_one_pull(capsys, five):
    paths = five()
    again = [paths[0], *paths]
    _, found, _ = documents(capsys, *again, "--series", "--window", "50..76 N.m", "--u", "0.5 %")
    series = found["series"]
    assert len(series["counted"]) == 5
    assert series["excluded"] == [{"trace": paths[0], "reason": f"the same pull as {paths[0]}"}]


def test_traces_held_against_different_windows_get_no_verdict_together(capsys, five):
    paths = five(TraceInfo(window=Window.parse("50..76 N.m")), TraceInfo(window=Window.parse("20..30 N.m")))
    assert documents(capsys, *paths, "--series")[1]["series"]["verdict"] is None
    assert main(["analyse", *paths, "--series"]) == 0
    assert "the traces state different windows" in capsys.readouterr().out


def test_an_excluded_pull_has_no_vote_and_its_reason_is_told(capsys, five):
    paths = five(TraceInfo(), TraceInfo(excluded="slipped off the lever"))
    _, found, _ = documents(capsys, *paths, "--series", "--window", "50..76 N.m")
    series = found["series"]
    assert series["counted"] == paths[::2]
    assert "marked as not to count: slipped off the lever" in found["traces"][1]["notes"]
    assert series["excluded"] == [{"trace": path, "reason": "slipped off the lever"} for path in paths[1::2]]


def test_the_text_of_a_document_speaks_the_unit_of_the_window(capsys, pull):
    _, (document,), _ = documents(capsys, pull, "--window", "30..60 lbf.ft", "--u", "0.5 %")
    assert "30..60 lbf.ft" in document["verdict"]["text"]
    assert "44.3 +/- 5.0 lbf.ft" in document["verdict"]["text"]
    assert document["verdict"]["low_nm"] == pytest.approx(30 * 1.3558179, rel=1e-6)


def let_go_on_the_ramp(at_s: float) -> Trace:
    """The made pull up to a moment of its ramp (3 s to 4 s, to 60 N.m); then the hand lets go and the lever springs back."""
    held, rest = made_stream(1).between(0.0, at_s), made_stream(0, seed=2, start_s=at_s + 0.1)
    assert held.angle_deg is not None
    assert rest.angle_deg is not None
    back = np.linspace(1.0, 0.0, 50)[1:]
    return Trace(
        np.concatenate([held.time_s, at_s + 0.002 * np.arange(1, 50), rest.time_s]),
        np.concatenate([held.torque_nm, back * held.torque_nm[-1], rest.torque_nm]),
        np.concatenate([held.angle_deg, back * held.angle_deg[-1], rest.angle_deg]),
    )


@pytest.mark.parametrize("at_s", [3.4, 3.6, 3.9])
@pytest.mark.parametrize("ended", [lambda at_s: made_stream(1).between(0.0, at_s), let_go_on_the_ramp], ids=["cut", "let go"])
def test_plates_that_did_not_let_go_hold_at_least_what_was_reached(capsys, tmp_path, ended, at_s):
    """A power cut on the ramp, or a hand that lets go: the unit may hold any torque above, and is never called too low."""
    path = tmp_path / "held.csv"
    write_trace(path, ended(at_s))
    reached = 60.0 * (at_s - 3.0)
    for limits, state in ((f"{reached + 20}..200 N.m", "undecided"), (f"{reached / 3}..{reached / 2} N.m", "above")):
        _, (document,), _ = documents(capsys, str(path), "--window", limits, "--u", "0.5 %")
        assert (document["verdict"]["state"], document["verdict"]["missing"]) == (state, ["lower_bound"])
    _, found, _ = documents(capsys, str(path), "--series", "--window", f"{reached + 20}..200 N.m", "--u", "0.5 %")
    assert found["series"]["verdict"]["state"] == "undecided"


def test_a_pull_cut_on_the_ramp_counts_for_no_figure_of_a_comparison(tmp_path):
    path = tmp_path / "held.csv"
    write_trace(path, made_stream(1).between(0.0, 3.6))
    pull, _, _ = read_compared(path, lambda info: Sensor(capacity_nm=200.0), with_curve=False)
    assert pull.breakaway_nm is not None
    assert pull.value(FigureName.BREAKAWAY) is None
