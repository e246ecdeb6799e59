"""A job from the complaint to the bent tabs, by the commands a technician types, on real files."""

import itertools
import json

import pytest
from support.jobs import OIL, write_pull

from rig import cli

SPEC = """
[card]
unit = "demo 3"
page = "invented sheet 12"
[window]
torque = "40..65 N.m"
arrangement = "A"
[build]
layout = "each"
thicker_shim = "more preload"
"""
PACK = """
[pack]
unit = "demo 3"
shelf = "shelf.toml"
oil = "modified"
arrangement = "A"
closure = "trial"
[face]
outer_diameter = "104 mm"
inner_diameter = "76 mm"
[[springs]]
id = "SL1"
outer_diameter = "94 mm"
inner_diameter = "64 mm"
thickness = "1.80 mm"
free_height = "2.61 mm"
[[springs]]
id = "SR1"
outer_diameter = "94 mm"
inner_diameter = "64 mm"
thickness = "1.80 mm"
free_height = "2.61 mm"
[left]
plates = ["outer", "inner", "outer"]
springs = ["SL1"]
stack = "("
shims = ["LEFT mm"]
[right]
plates = ["outer", "inner", "outer"]
springs = ["SR1"]
stack = "("
shims = ["0.30 mm"]
"""
SHELF = '[[shims]]\nthickness = "0.10 mm"\n[[shims]]\nthickness = "0.20 mm"\n'
REFIT = """
[refit]
unit = "demo 3"
[[drag]]
name = "side bearings"
torque = ["1.6 N.m", "1.7 N.m"]
window = "0.7..3.4 N.m"
sensor_u = "0.05 N.m"
[[backlash]]
name = "ring gear"
points = ["0.17 mm", "0.18 mm", "0.17 mm", "0.18 mm"]
window = "0.13..0.23 mm"
[[fasteners]]
name = "ring gear bolts"
count = 4
torque = "98 N.m"
locked_by = "tabs"
state = "new"
single_use = true
threads = "oiled"
peaks = ["98.2 N.m", "97.6 N.m", "98.4 N.m", "97.9 N.m"]
"""


@pytest.fixture
def job(own_home, tmp_path, capsys):
    def run(*words):
        status = cli.main(["job", *map(str, words), "--book", str(tmp_path / "book.sqlite")])
        out, err = capsys.readouterr()
        return status, json.loads(out) if "--json" in words else out, err

    return run


def wanted(job, step="lock_tabs"):
    shown = job("show", "--json")[1]
    return [one["code"] for one in next(one for one in shown["steps"] if one["step"] == step)["missing"]]


def test_a_job_from_the_complaint_to_the_bent_tabs(job, tmp_path):
    def written(name, text):
        path = tmp_path / name
        path.write_text(text)
        return path

    seeds = itertools.count()

    def series(name, **terms):
        ways = (1, -1, 1, -1, 1, -1)
        files = [write_pull(tmp_path, f"{name}{n}.csv", direction=way, seed=next(seeds), **terms) for n, way in enumerate(ways)]
        assert job("add", number, "pull", *files)[0] == 0

    number = job("new", "--unit-id", "demo 3", "--complaint", "chatters", "--spec", written("spec.toml", SPEC), "--json")[1]["job"]
    series("found", phase="as found", closure="final", peak_nm=21.0, lubricant="unknown")
    written("shelf.toml", SHELF)
    assert job("add", number, "pack", written("pack1.toml", PACK.replace("LEFT", "0.30")))[0] == 0
    assert job("add", number, "pack", written("pack2.toml", PACK.replace("LEFT", "0.50")))[0] == 0
    assert wanted(job) == ["after_pack_change", "oil", "fasteners", "drag", "backlash"]
    assert job("add", number, "oil", OIL, "--volume", "2.0 l")[0] == 0
    series("trial", phase="rebuilt", closure="trial")
    assert wanted(job) == ["closure", "fasteners", "drag", "backlash"]
    assert job("step", number, "bearings", "--done", "--who", "T.W.")[0] == 0  # a trial series is enough for these
    series("final", phase="rebuilt", closure="final")
    assert wanted(job) == ["fasteners", "drag", "backlash"]
    assert job("step", number, "lock_tabs", "--done", "--who", "T.W.")[0] == 4
    assert job("add", number, "refit", written("refit.toml", REFIT))[0] == 0
    assert wanted(job) == []
    status, said, _ = job("step", number, "lock_tabs", "--done", "--who", "T.W.")
    assert status == 0
    assert "Next: seals" in said
    shown = job("show", number, "--json")[1]
    assert [(one["phase"], one["closure"], one["n"], one["verdict"]) for one in shown["series"]] == [
        ("as found", "final", 6, "below"),
        ("rebuilt", "trial", 6, "in_window"),
        ("rebuilt", "final", 6, "in_window"),
    ]
    assert [step["state"] for step in shown["steps"] if step["step"] == "lock_tabs"] == ["done"]
    assert shown["although"] == []
    changed = shown["packs"][1]  # answered with the job's card, for the sheet names none
    assert changed["answer"]["friction"]["low"] < changed["answer"]["friction"]["high"]
    assert changed["answer"]["candidates"]
    assert changed["answer"]["reason"]
