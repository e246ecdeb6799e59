"""Whatever stands in a refit sheet: an answer that the schema knows, or a sentence; never anything else."""

import json
from importlib import resources

import jsonschema
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.errors import BenchError
from rig.files.document import from_values
from rig.refit import answer, exit_status
from rig.refit.answers import answer_of
from rig.refit.document import RefitSheet

LENGTH = st.one_of(
    st.floats(-0.2, 2.0).map(lambda value: f"{value:.3f} mm"),
    st.sampled_from(["0 mm", "0.12 in", "1e3 mm", "-1 mm", "9999 mm", "0,12 mm", "5 thou"]),
)
ODD = st.sampled_from(["0.1", "1 kg", "nan mm", "1e999 mm", "x" * 500, "", 3, None, [], {}])
TORQUE = st.one_of(
    st.floats(-2, 120).map(lambda value: f"{value:.2f} N.m"), st.sampled_from(["0 N.m", "17 kgf.cm", "90 lbf.ft", "1e9 N.m", "-"])
)
WINDOW = st.one_of(
    st.tuples(st.floats(0, 1), st.floats(0, 1)).map(lambda ends: f"{min(ends):.3f}..{max(ends):.3f} mm"),
    st.sampled_from(["0.15..0.21 mm", "0.1.. mm", "..0.2 mm", "0.2..0.1 mm", "x", "0.2..0.2 mm"]),
)
TORQUES = st.one_of(
    st.tuples(st.floats(0, 100), st.floats(0, 100)).map(lambda ends: f"{min(ends):.2f}..{max(ends):.2f} N.m"),
    st.sampled_from(["..3 N.m", "1.. N.m"]),
)
VOLUME = st.one_of(
    st.floats(-1, 5).map(lambda value: f"{value:.2f} l"), st.sampled_from(["2 qt", "0 l", "80 ml", "1 m3", "4 fl oz"])
)


def texts(of, most=5):
    return st.lists(of, min_size=1, max_size=most)


def table(needed, **others):
    return st.fixed_dictionaries({"name": st.just("part"), **needed}, optional=others)


def plain(value):
    """Whether a value is of the types that JSON has, and of no class of ours."""
    if isinstance(value, dict):
        return type(value) is dict and all(type(key) is str and plain(each) for key, each in value.items())
    if isinstance(value, list):
        return type(value) is list and all(map(plain, value))
    return value is None or type(value) in (str, float, int, bool)


SHEETS = st.fixed_dictionaries(
    {},
    optional={
        "bearing": table(
            {
                "form": st.sampled_from(["gap", "end_play", "depths"]),
                "gap": texts(LENGTH),
                "end_play": texts(LENGTH),
                "depth_case": texts(LENGTH),
                "depth_bearing": texts(LENGTH),
                "wanted": WINDOW,
                "shims_now": texts(LENGTH),
                "thicker_shim": st.sampled_from(["more preload", "less preload"]),
            },
            shelf=texts(LENGTH, 12),
            shims_max=st.integers(-1, 5),
            turned=st.integers(0, 9),
        ),
        "drag": table({"torque": texts(TORQUE)}, window=TORQUES, sensor_u=TORQUE, variation_max=TORQUE),
        "backlash": table(
            {"points": texts(LENGTH)},
            window=WINDOW,
            variation_max=LENGTH,
            dial_radius=LENGTH,
            gear_radius=LENGTH,
            per_shim=st.sampled_from(["0.07 mm per 0.1 mm", "0 mm per 1 mm", "1 mm", "1e-9 mm per 9e3 mm"]),
        ),
        "fasteners": table(
            {"count": st.integers(0, 12), "torque": TORQUE},
            tolerance=st.sampled_from(["4 %", "0 %", "100 %", "4"]),
            angle=st.sampled_from(["90 deg", "0 deg", "1 rad"]),
            angle_tolerance=st.sampled_from(["5 deg", "0 deg"]),
            state=st.sampled_from(["new", "reused"]),
            single_use=st.booleans(),
            peaks=texts(TORQUE, 8),
            angles=texts(st.sampled_from(["90 deg", "-", "-88 deg"]), 8),
        ),
        "fill": table(
            {"filled": VOLUME},
            drained=VOLUME,
            wanted=st.sampled_from(["1.9..2.1 l", "..2 l"]),
            additive=st.sampled_from(["4 %", "80 ml", "0 %"]),
            additive_added=VOLUME,
        ),
    },
)
SCHEMA = json.loads((resources.files("rig") / "schemas" / "refit.schema.json").read_text("utf-8"))


ANSWERED = []
"""Whether each sheet was answered: a test that only sees refusals says nothing."""


def answered(path, sheet):
    """The answer, or None where the sheet was refused in a sentence."""
    path.write_text(json.dumps(sheet), "utf-8")
    try:
        found = answer(path)
    except BenchError as error:
        said = str(error)
    else:
        return found
    assert said.startswith(str(path))
    assert "\n" not in said
    return None


@settings(max_examples=90, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(SHEETS)
def test_any_sheet_is_answered_or_refused_in_a_sentence(tmp_path, sheet):
    found = answered(tmp_path / "REFIT.json", sheet)
    ANSWERED.append(found is not None)
    if found is None:
        return
    assert plain(found)  # whoever keeps it, in JSON or a database, meets no class of ours
    jsonschema.validate([found], SCHEMA)
    assert json.loads(json.dumps(found, allow_nan=False)) == found
    stopped = any(problem["severity"] == "stop" for problem in found["problems"])
    assert exit_status(found) == (4 if stopped else 0)
    for entry in (*found["bearings"], *found["drags"], *found["backlashes"]):
        if entry["state"] == "no_reading":
            assert entry["text"].startswith(f"{entry['name']}: no reading")


def test_some_of_those_sheets_were_answered():
    assert sum(ANSWERED) >= 5  # drawn anew each time: some fifth of them on the average


@given(SHEETS, st.sampled_from(["gap", "wanted", "points", "torque", "filled", "window", "count", "shelf", "peaks"]), ODD)
@settings(max_examples=50, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
def test_an_odd_value_anywhere_is_a_sentence(tmp_path, sheet, key, odd):
    for part in sheet.values():
        part[key] = odd
    answered(tmp_path / "REFIT.json", sheet)


def test_a_fill_below_zero_is_told_and_its_dose_is_none(tmp_path):
    sheet = {"fill": {"name": "part", "filled": "-1.00 l", "additive": "4 %", "additive_added": "0.00 l"}}
    answered = answer_of(from_values(sheet, RefitSheet, "sheet"), "REFIT.toml", tmp_path)
    assert answered["fills"][0]["state"] == "no_reading"
    assert "below zero" in answered["problems"][0]["text"]
