"""`analyse`: the promised document, one line for each bad file, the others still read."""

import json
from importlib import resources

import jsonschema
import pytest
from support.made import made_stream
from support.same import assert_same
from support.shareddata import shared_data

from analysis.trace import Trace
from analysis.window import Basis, Window
from rig.cli import main
from rig.commands import _reading
from rig.files import pull_file as recording
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
    assert set(SCHEMA["items"]["required"]) == {
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
    assert "nix.csv: there is no such file" in second


@pytest.mark.parametrize(
    "words", [["--window", "45..25 N.m"], ["--window", "25-45"], ["--u", "much"], ["--arm", "3 s"], ["--unit", "kg"]]
)
def test_a_bad_option_is_one_line_and_status_2(capsys, pull, words):
    assert main(["analyse", pull, *words]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert len(err.strip().splitlines()) == 1


def test_a_fault_of_ours_in_one_file_is_told_and_the_others_are_read(capsys, pull, tmp_path, monkeypatch):
    real = recording.read_pull

    def fails_without_angle(trace, sensor):
        if trace.angle_deg is None:
            raise ZeroDivisionError("ours")
        return real(trace, sensor)

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


def test_a_series_gives_one_verdict_over_all_traces(capsys, tmp_path):
    paths = []
    for number in range(5):
        path = tmp_path / f"pull_{number}.csv"
        stream = made_stream(1, seed=number, peak_nm=60.0 + number)
        write_trace(path, stream.mirrored() if number % 2 else stream)
        paths.append(str(path))
    words = [*paths, "--series", "--window", "50..70 N.m", "--u", "0.5%"]
    _, found, _ = documents(capsys, *words)
    series = found[0]["series"]
    assert all(document["series"] == series for document in found)
    values = [document["breakaway"]["torque_nm"] for document in found]
    assert series["apart"] == paths[0]
    assert series["counted"] == paths[1:]
    assert series["mean_nm"] == pytest.approx(sum(values[1:]) / 4)
    assert series["verdict"]["state"] == "in_window"
    assert main(["analyse", *words]) == 0
    assert "series of 5 pulls" in capsys.readouterr().out
    _, (alone,), _ = documents(capsys, paths[0], "--series", "--basis", "sliding")
    assert (alone["series"]["basis"], alone["series"]["verdict"]) == ("sliding", None)


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
