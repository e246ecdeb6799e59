"""Pack sheet, spec card and shelf as files: what is read, what is refused with which sentence, and `platepull shim`."""

import json
import re
from datetime import date
from pathlib import Path

import jsonschema
import pytest

from analysis.errors import BenchError
from rig.calibration.sensor_in_use import SensorChoice
from rig.cli import main
from rig.files.pull_file import read_recording
from rig.pack import answer
from rig.pack.templates import TEMPLATES

SPEC, SHELF = TEMPLATES["spec"], TEMPLATES["shelf"]
SCHEMA = Path(__file__).resolve().parents[3] / "rig" / "schemas" / "shim.schema.json"

PACK = """
[pack]
unit = "demo"
spec = "SPEC.toml"
shelf = "SHELF.toml"
oil = "modified"
arrangement = "A"
[face]
outer_diameter = "95 mm"
inner_diameter = "2.598 in"
[[springs]]
id = "SL1"
outer_diameter = "90 mm"
inner_diameter = "62 mm"
thickness = "1.87 mm"
free_height = ["3.63 mm", "3.64 mm"]
[[springs]]
id = "SR1"
outer_diameter = "90 mm"
inner_diameter = "62 mm"
thickness = "1.86 mm"
free_height = "3.65 mm"
[left]
plates = ["outer", "inner", "outer"]
springs = ["SL1"]
stack = "("
shims = ["0.60 mm"]
[right]
plates = ["outer", "inner", "outer"]
springs = ["SR1"]
stack = "("
shims = "0.60 mm"
"""
HISTORY = """
[[history]]
breakaway = ["14.0 N.m", "14.2 N.m"]
"""


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "SPEC.toml").write_text(SPEC)
    (tmp_path / "SHELF.toml").write_text(SHELF)
    (tmp_path / "PACK.toml").write_text(PACK + HISTORY)
    return tmp_path


def shim(*words):
    return main(["shim", *map(str, words)])


def refused(folder, text, capsys, name="PACK.toml"):
    (folder / name).write_text(text)
    assert shim(folder / "PACK.toml", "--json") == 2
    out, err = capsys.readouterr()
    assert json.loads(out) == []
    assert err.count("\n") == 1
    return err


def test_the_least_sheet_is_answered_and_says_what_it_lacks(folder):
    said = answer(folder / "PACK.toml")
    assert {"space", "thickness", "closure", "plate_state"} <= {one["code"] for one in said["missing"]}
    assert said["candidates"]
    assert said["friction"]["low"] < said["friction"]["median"] < said["friction"]["high"]


@pytest.mark.parametrize(
    ("was", "becomes", "says"),
    [
        ('oil = "modified"', "", "'oil'"),
        ('thickness = "1.87 mm"', "thickness = 1.87", "'thickness'"),
        ('thickness = "1.87 mm"', 'thickness = "1.87 N.m"', "'thickness'"),
        ('shims = ["0.60 mm"]', "", "'shims'"),
        ('stack = "("', 'stack = "x"', "'stack'"),
        ('stack = "("', 'stack = "(("', "sign"),
        ('arrangement = "A"', 'arrangement = "Q"', "'arrangement'"),
        ('inner_diameter = "2.598 in"', 'inner_diameter = "96 mm"', "'inner_diameter'"),
        ('id = "SR1"', 'id = "SL1"', "twice"),
        ('breakaway = ["14.0 N.m", "14.2 N.m"]', "", "'breakaway'"),
        ('breakaway = ["14.0 N.m", "14.2 N.m"]', 'breakaway = ["fre"]', "'breakaway 1'"),
        ('spec = "SPEC.toml"', "", "--spec"),
        ('spec = "SPEC.toml"', 'spec = "NONE.toml"', "NONE.toml"),
        ("[pack]", "[pack", "TOML"),
    ],
)
def test_what_is_off_is_refused_in_one_line_with_file_and_key(folder, capsys, was, becomes, says):
    line = refused(folder, (PACK + HISTORY).replace(was, becomes, 1), capsys)
    assert says in line
    assert ".toml" in line


@pytest.mark.parametrize(
    ("was", "becomes", "says"),
    [
        ('torque = "20..28 N.m"  ', 'torque = "60..85 mm"  ', "'torque'"),
        ('layout = "each"  ', 'layout = "eech"  ', "'layout'"),
        ('thicker_shim = "more preload"', "", "'thicker_shim'"),
        ('share_of_flat = "90 %"', 'share_of_flat = "90 mm"', "'share_of_flat'"),
    ],
)
def test_a_card_that_is_off_is_refused(folder, capsys, was, becomes, says):
    assert was in SPEC
    (folder / "SPEC.toml").write_text(SPEC.replace(was, becomes, 1))
    assert shim(folder / "PACK.toml") == 2
    line = capsys.readouterr().err
    assert says in line
    assert "SPEC.toml" in line


def test_unknown_keys_are_kept_and_ignored(folder):
    (folder / "PACK.toml").write_text((PACK + HISTORY).replace("[face]", 'customer = "demo"\n[face]'))
    assert answer(folder / "PACK.toml")["candidates"]


def test_units_may_be_mixed(folder):
    mm = answer(folder / "PACK.toml")
    (folder / "PACK.toml").write_text(
        (PACK + HISTORY).replace('"1.87 mm"', '"0.073622 in"').replace('"14.0 N.m"', '"10.3259 lbf.ft"')
    )
    inches = answer(folder / "PACK.toml")
    assert inches["candidates"][0]["torque_median_nm"] == pytest.approx(mm["candidates"][0]["torque_median_nm"], rel=1e-3)


def test_several_sheets_with_the_highest_status_and_only_those_read_in_the_answer(folder, capsys):
    (folder / "WRONG.toml").write_text(PACK.replace('oil = "modified"', ""))
    (folder / "DRY.toml").write_text((PACK + HISTORY).replace('oil = "modified"', 'oil = "dry"'))
    names = [folder / name for name in ("PACK.toml", "WRONG.toml", "DRY.toml")]
    assert shim(*names[:1], "--json") == 0
    capsys.readouterr()
    assert shim(*names[:2], "--json") == 2
    capsys.readouterr()
    assert shim(*names, "--json") == 4
    out, err = capsys.readouterr()
    said = json.loads(out)
    assert [one["pack"] for one in said] == [str(names[0]), str(names[2])]
    assert said[1]["candidates"] == []
    assert said[1]["feasible"] is None
    assert "oil the plates" in said[1]["reason"]
    assert "WRONG.toml" in err


def test_options_stand_in_for_the_named_card_and_shelf(folder, tmp_path):
    (tmp_path / "narrow.toml").write_text(
        SPEC.replace("20..28 N.m", "15..18 N.m").replace('also_printed = "14.8..20.7 lbf.ft"', "")
    )
    said = answer(folder / "PACK.toml", spec=tmp_path / "narrow.toml")
    assert said["feasible"]
    (tmp_path / "bare.toml").write_text('[[shims]]\nthickness = "0.60 mm"\ncount = 1\n')
    few = answer(folder / "PACK.toml", shelf=tmp_path / "bare.toml")
    assert {mm for one in few["candidates"] for mm in one["left"]["shims_mm"]} == {0.6}


def test_history_takes_over_what_it_does_not_say_and_reads_free(folder):
    text = PACK + '[[history]]\nleft.shims = ["0.30 mm"]\noil = "plain"\nbreakaway = "free"\n'
    (folder / "PACK.toml").write_text(text)
    said = answer(folder / "PACK.toml")
    assert said["problems"] == []
    assert said["friction"]["median"] == pytest.approx(0.105, rel=0.05)


def test_traces_are_read_as_analyse_reads_them(folder):
    demo = next(Path(__file__).resolve().parents[3].glob("recordings/**/*.csv"))
    read = read_recording(demo, SensorChoice(date(2026, 11, 25)).of).result
    assert read.breakaway is not None
    (folder / "PACK.toml").write_text(PACK + f'[[history]]\ntraces = ["{demo.as_posix()}"]\n')
    by_trace = answer(folder / "PACK.toml")
    sliding = "" if read.sliding is None else f'sliding = "{read.sliding.torque_nm} N.m"\n'
    (folder / "PACK.toml").write_text(PACK + f'[[history]]\nbreakaway = "{read.breakaway.torque_nm} N.m"\n{sliding}')
    by_value = answer(folder / "PACK.toml")
    assert by_trace["candidates"] == by_value["candidates"]


def test_a_measured_curve_of_a_spring_counts_instead_of_the_formula(folder):
    (folder / "soft.csv").write_text("deflection [mm],load [N]\n0.2,100\n0.8,400\n1.5,700\n")
    text = PACK.replace('thickness = "1.87 mm"', 'thickness = "1.87 mm"\ncurve = "soft.csv"').replace(
        'thickness = "1.86 mm"', 'thickness = "1.86 mm"\ncurve = "soft.csv"'
    )
    (folder / "PACK.toml").write_text(text)
    said = answer(folder / "PACK.toml")
    assert said["springs_now"]["left"]["load_n"] < 750.0
    (folder / "soft.csv").write_text("load [N]\n1\n2\n3\n")
    with pytest.raises(BenchError, match=re.escape("deflection [mm]")):
        answer(folder / "PACK.toml")


def test_the_templates_are_answered_as_they_stand(tmp_path, capsys):
    for name, file in (("pack", "PACK.toml"), ("spec", "SPEC.toml"), ("shelf", "SHELF.toml")):
        assert shim("--template", name) == 0
        (tmp_path / file).write_text(capsys.readouterr().out)
    assert shim(tmp_path / "PACK.toml") == 0
    out = capsys.readouterr().out
    assert "answer" in out
    assert "qualified persons decide" in out


def test_no_sheet_is_an_argument_that_is_off(capsys):
    assert shim() == 2
    assert "--template" in capsys.readouterr().err


def test_the_answer_is_what_the_schema_says(folder):
    schema = json.loads(SCHEMA.read_text("utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate([answer(folder / "PACK.toml")], schema)
    (folder / "PACK.toml").write_text((PACK + HISTORY).replace('oil = "modified"', 'oil = "dry"'))
    jsonschema.validate([answer(folder / "PACK.toml")], schema)


def test_the_shops_own_history_is_used_when_asked_for_and_said(tmp_path, capsys):
    for name, text in TEMPLATES.items():
        (tmp_path / f"{name.upper()}.toml").write_text(text)
    book = str(tmp_path / "book.sqlite")
    for number in range(1, 4):
        assert main(["job", "new", "--unit-id", f"demo {number}", "--book", book, "--who", "T.W."]) == 0
        assert main(["job", "add", "last", "pack", str(tmp_path / "PACK.toml"), "--book", book, "--who", "T.W."]) == 0
    capsys.readouterr()
    sheet = str(tmp_path / "PACK.toml")
    assert main(["shim", sheet, "--json"]) == 0
    usual = json.loads(capsys.readouterr().out)[0]
    assert main(["shim", sheet, "--json", "--shop", "--book", book]) == 0
    told = json.loads(capsys.readouterr().out)[0]
    jsonschema.validate([told], json.loads(SCHEMA.read_text()))
    assert "from_shop" not in usual
    assert [(one["code"], one["count"]) for one in told["from_shop"]] == [("friction", 3)]
    assert main(["shim", sheet, "--shop", "--book", book]) == 0
    assert "with 3 of this shop's units" in capsys.readouterr().out


@pytest.mark.parametrize(("name", "what"), [("SPEC.toml", "this is a spec card"), ("SHELF.toml", "this is a shelf")])
def test_another_document_in_place_of_the_pack_sheet_is_called_by_its_name(folder, capsys, name, what):
    assert shim(folder / name) == 2
    err = capsys.readouterr().err
    assert what in err
    assert "give the pack sheet (PACK.toml)" in err
