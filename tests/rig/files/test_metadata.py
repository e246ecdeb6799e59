"""Metadata of a trace: what is out of bounds is refused with its key, what is unknown is kept, and the schema tells all keys."""

import json
from dataclasses import fields
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.calibrated import made_certificate

from analysis.results import OffsetAdapter
from analysis.window import Window
from rig.errors import DocumentError
from rig.files.metadata import KEY, Calibration, TraceInfo, Transducer, from_document, info_of, to_document
from rig.files.trace_csv import amend_info, info_path, read_info

ROOT = Path(__file__).resolve().parents[3]
SCHEMA = json.loads((ROOT / "rig" / "schemas" / "metadata.schema.json").read_text())
BENCH = SCHEMA["$defs"]["bench"]["properties"]
FULL = TraceInfo(
    job="1",
    number=3,
    temperature_c=21.0,
    closure="final",
    free_turn=True,
    unfinished=True,
    excluded="lever slipped",
    window=Window.parse("25 to 45 ft-lbs", "sliding", "A"),
    transducer=Transducer(name="bench 1", capacity_nm=200.0, u_relative=0.002, resolution_nm=0.1, filter_hz=5.0),
    calibration=Calibration.of(made_certificate()),
    offset_adapter=OffsetAdapter(lever_m=0.5, length_m=0.1),
)


def info(**terms: object) -> TraceInfo:
    return info_of({KEY: terms}, "p.csv-metadata.json")


def test_what_is_written_reads_back_and_keeps_its_schema() -> None:
    text = to_document(FULL, "p.csv", with_angle=True)
    jsonschema.validate(json.loads(text), SCHEMA)
    assert from_document(text.encode(), "p") == FULL
    assert json.loads(text)[KEY]["window"] == {"limits": "25 to 45 ft-lbs", "basis": "sliding", "arrangement": "A"}


def test_the_schema_tells_every_key_and_no_other() -> None:
    assert BENCH.keys() == {entry.name for entry in fields(TraceInfo)} - {"notes"}
    assert BENCH["transducer"]["properties"].keys() == {entry.name for entry in fields(Transducer)}
    assert BENCH["calibration"]["properties"].keys() == {entry.name for entry in fields(Calibration)}
    assert BENCH["offset_adapter"]["properties"].keys() == {entry.name for entry in fields(OffsetAdapter)}


@pytest.mark.parametrize("path", sorted((ROOT / "recordings").glob("*-metadata.json")), ids=lambda path: path.name)
def test_the_recordings_keep_the_schema(path: Path) -> None:
    jsonschema.validate(json.loads(path.read_text()), SCHEMA)


@pytest.mark.parametrize(
    ("terms", "said"),
    [
        ({"transducer": {"u_nm": -1}}, "[transducer]: key 'u_nm' is -1; expected a number above 0"),
        ({"transducer": {"u_nm": 500, "capacity_nm": 200}}, "key 'u_nm' is 500, more than the sensor's range"),
        ({"transducer": {"u_relative": 1.5}}, "key 'u_relative' is 1.5"),
        ({"transducer": {"resolution_nm": 1e9}}, "key 'resolution_nm' is 1e+09, most of the sensor's range"),
        ({"transducer": {"capacity_nm": 1e30}}, "key 'capacity_nm' is 1e+30"),
        ({"transducer": 3}, "[transducer] is 3; expected a table of keys"),
        ({"number": -3}, "key 'number' is -3; expected a whole number from 1"),
        ({"number": 1.5}, "key 'number' is 1.5"),
        ({"temperature_c": -300}, "key 'temperature_c' is -300"),
        ({"rest_s": -5}, "key 'rest_s' is -5"),
        ({"zero_before_nm": 1e30}, "key 'zero_before_nm' is 1e+30"),
        ({"job": ["x"]}, "key 'job' is a list; expected a text in quotes"),
        ({"free_turn": "yes"}, "key 'free_turn' is 'yes'; expected true or false"),
        ({"window": "much"}, "key 'window' is 'much'"),
        ({"window": {"limits": "25..45 N.m", "basis": "odd"}}, "'odd' is not what a window applies to"),
        ({"window": {"limits": 5}}, "has parts that are no texts"),
        (
            {"calibration": {"forward": {"coefficients": [1e6]}}},
            "[calibration.forward]: key 'covariance' is missing",
        ),
        ({"offset_adapter": {"lever_m": 0.1, "length_m": 0.2, "angle_deg": 180}}, "longer than an adapter"),
        ({"offset_adapter": {"lever_m": 0.1}}, "key 'length_m' is missing"),
    ],
)
def test_what_is_out_of_bounds_is_refused_with_its_key(terms: dict[str, object], said: str) -> None:
    """Findings 7.5: `u_nm = -1` was judged in window, a resolution of 1e9 believed; -300 degrees and a rest of -5 accepted."""
    with pytest.raises(DocumentError) as told:
        info(**terms)
    assert said in str(told.value)
    assert str(told.value).startswith("p.csv-metadata.json")


FUNCTION = {"u_nm": 0.1, "u_relative": 0.001, "low_nm": 1.0, "high_nm": 100.0, "end_nm": 100.0}


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"coefficients": [1e6], "covariance": [0.0]}, "key 'coefficients' is [1000000.0]"),
        ({"coefficients": [-1.0], "covariance": [0.0]}, "key 'coefficients' is [-1.0]"),
        ({"coefficients": [1.0], "covariance": [-1.0]}, "key 'covariance' is no covariance"),
        ({"coefficients": [1.0, 0.0], "covariance": [1.0, 2.0, 2.0, 1.0]}, "key 'covariance' is no covariance"),
        ({"coefficients": [1.0, 0.0], "covariance": [1.0]}, "key 'covariance' holds 1 numbers; expected 4"),
        ({"coefficients": [1.0], "covariance": [0.0], "u_nm": 500.0}, "key 'u_nm' is 500.0; expected less than"),
        ({"coefficients": [1.0], "covariance": [0.0], "high_nm": 0.5}, "key 'high_nm' is 0.5"),
    ],
)
def test_a_calibration_function_out_of_bounds(changed: dict[str, object], said: str) -> None:
    """Findings 7.5: a factor of 1e6 and a negative covariance were believed."""
    with pytest.raises(DocumentError) as told:
        info(calibration={"forward": FUNCTION | changed})
    assert said in str(told.value)


@pytest.mark.parametrize(
    "text", ['{"platepull": {"number": NaN}}', '{"platepull": {"transducer": {"u_nm": 1e999}}}', "[]", "{", '{"platepull": 3}']
)
def test_numbers_that_are_none_and_other_documents(text: str) -> None:
    """Findings 7.4: a traceback each, which lost every other file of the call."""
    with pytest.raises(DocumentError):
        from_document(text.encode(), "p")


def test_numbers_may_stand_for_texts_and_null_for_nothing() -> None:
    found = info(job=107, unit=None, transducer={"serial": 42}, number=3.0, lapses="expired")
    assert (found.job, found.unit, found.transducer.serial, found.number) == ("107", None, "42", 3)
    assert found.calibration_flags == "expired"


def test_a_key_that_was_probably_meant_is_hinted_at() -> None:
    (hint,) = info(job="1", temprature_c=21).notes
    assert "'temprature_c' is not known and ignored, did you mean 'temperature_c'?" in hint


def test_a_person_s_keys_survive_a_change(tmp_path: Path) -> None:
    path = tmp_path / "p.csv"
    document = {
        "dc:title": "mine",
        "platepull": {
            "job": "1",
            "colour": "red",
            "excluded": "x",
            "transducer": {"name": "a", "bolt": "M8"},
            "window": "25..45 N.m",
        },
    }
    info_path(path).write_text(json.dumps(document))
    amend_info(path, excluded=None, remark="again")
    stands = json.loads(info_path(path).read_text())
    assert stands["dc:title"] == "mine"
    assert stands[KEY] == {
        "colour": "red",
        "job": "1",
        "remark": "again",
        "window": {"limits": "25..45 N.m", "basis": "breakaway"},
        "transducer": {"bolt": "M8", "name": "a"},
    }
    assert read_info(path) == TraceInfo(job="1", remark="again", window=Window(25.0, 45.0), transducer=Transducer(name="a"))


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5), lambda inner: st.lists(inner, max_size=2)
)


@given(
    st.dictionaries(
        st.sampled_from(sorted(BENCH)), JSON | st.dictionaries(st.text(max_size=5) | st.just("limits"), JSON, max_size=3)
    )
)
def test_any_terms_are_read_or_refused_in_a_sentence(terms: dict[str, object]) -> None:
    try:
        info(**terms)
    except DocumentError as refusal:
        said = str(refusal)
    else:
        said = ""
    assert said.isprintable()
