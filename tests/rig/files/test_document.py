"""The reader of documents: typed values, sentences with file, key, found and expected, and no text that breaks it."""

from __future__ import annotations

import copy
import pickle
from pathlib import Path
from typing import Annotated, ClassVar, Literal

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.errors import FileError
from rig.errors import DocumentError
from rig.files.document import from_values, read_document, values_of
from rig.files.fields import (
    Closed,
    Day,
    LengthMm,
    LengthRangeMm,
    Name,
    OneOrMany,
    Open,
    Refusal,
    Share,
    TorqueNm,
    Words,
    between,
    says,
)


class Peak(TorqueNm):
    WORDS: ClassVar = {"free": 0.0, "-": -1.0}


class Spring(Open):
    id: Name
    thickness: LengthMm
    free_height: OneOrMany[LengthMm] = OneOrMany()
    curve: str | None = None


class Side(Closed):
    shims: tuple[LengthMm, ...]
    turned: Annotated[int, between(1, 20)] = 5


class Pack(Open):
    unit: Annotated[Name, says('the name of the unit, such as "demo 3"')]
    oil: Literal["plain", "modified"] = "plain"
    clearance: LengthRangeMm | None = None
    springs: tuple[Spring, ...] = ()
    left: Side | None = None
    breakaway: OneOrMany[Peak] = OneOrMany()
    share: Share | None = None
    made: Day | None = None
    remark: Words | None = None
    series: OneOrMany[Side] = OneOrMany()
    above: LengthMm | None = msgspec.field(default=None, name="from")

    def __post_init__(self) -> None:
        if self.above is not None and not self.springs:
            raise Refusal("from", "is given without springs", "springs too")


UNIT = {"unit": "demo 3"}
SPRING = {"id": "SL1", "thickness": "0.07 in"}


def test_the_example_of_the_docstring() -> None:
    sheet = from_values({**UNIT, "springs": [SPRING]}, Pack, "PACK.toml").value
    assert sheet.springs[0].thickness == pytest.approx(1.778)
    assert sheet.springs[0].thickness.text == "0.07 in"


def test_one_value_may_stand_without_brackets() -> None:
    one = from_values({**UNIT, "breakaway": "31.2 N.m", "series": {"shims": []}}, Pack, "").value
    many = from_values({**UNIT, "breakaway": ["31.2 N.m", "free", "-"], "series": [{"shims": ["0.1 mm"]}]}, Pack, "").value
    assert one.breakaway == (31.2,)
    assert many.breakaway == (31.2, 0.0, -1.0)
    assert many.breakaway[1].text == "free"
    assert (len(one.series), many.series[0].shims) == (1, (0.1,))


def test_ranges_shares_days_and_words() -> None:
    pack = from_values({**UNIT, "clearance": "0,10 to 0.40 mm", "share": "4 %", "made": "2026-11-25", "remark": 12}, Pack, "").value
    assert pack.clearance == LengthRangeMm(0.1, pytest.approx(0.4))
    assert pack.clearance is not None
    assert 0.2 in pack.clearance
    assert 0.5 not in pack.clearance
    assert (pack.share, pack.made, pack.remark) == (pytest.approx(0.04), Day(2026, 11, 25), "12")


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        ({**UNIT, "springs": [{"id": "SL1", "thickness": 1.8}]},
         "P.toml, [springs 1]: key 'thickness' is 1.8; expected a length with its unit in quotes, such as \"2.01 mm\""),
        ({**UNIT, "springs": [SPRING, {"id": "SL1", "thickness": "1.8"}]},
         "P.toml, [springs 2]: key 'thickness' is '1.8': has no unit; expected"),
        ({**UNIT, "springs": [{"id": "SL1", "thickness": "1.8 N.m"}]},
         "key 'thickness' is '1.8 N.m': 'N.m' is not a unit of length; expected"),
        ({**UNIT, "springs": [{"id": "SL1", "thickness": "-1 mm"}]},
         "key 'thickness' is '-1 mm', which is below zero; expected a length"),
        ({**UNIT, "springs": [{**SPRING, "free_height": ["1 mm", 3]}]},
         "P.toml, [springs 1]: key 'free_height 2' is 3; expected a length"),
        ({**UNIT, "springs": [{**SPRING, "free_height": "x"}]}, "P.toml, [springs 1]: key 'free_height' is 'x'; expected a length"),
        ({}, "P.toml: key 'unit' is missing; expected the name of the unit, such as \"demo 3\""),
        ({"unitt": "demo 3"}, "key 'unit' is missing (is 'unitt' meant for it?); expected the name"),
        ({"unit": " "}, "key 'unit' is empty; expected the name of the unit"),
        ({**UNIT, "oil": "modifed"}, "key 'oil' is 'modifed', did you mean 'modified'?; expected one of \"plain\", \"modified\""),
        ({**UNIT, "oil": 3}, "key 'oil' is 3; expected one of \"plain\", \"modified\""),
        ({**UNIT, "springs": 3}, "key 'springs' is 3; expected a list"),
        ({**UNIT, "left": 3}, "section [left] is 3; expected a table of keys"),
        ({**UNIT, "left": {"shims": [], "turned": 40}}, "P.toml, [left]: key 'turned' is 40; expected a whole number from 1 to 20"),
        ({**UNIT, "left": {"shims": [], "turned": True}}, "key 'turned' is true; expected a whole number from 1 to 20"),
        ({**UNIT, "left": {"shims": [], "turnd": 4}},
         "key 'turnd' is not known, did you mean 'turned'?; expected one of shims, turned"),
        ({**UNIT, "series": [{"shims": ["1"]}]}, "P.toml, [series 1]: key 'shims 1' is '1': has no unit; expected a length"),
        ({**UNIT, "share": "150 %"}, "key 'share' is '150 %', which is not between 0 and 100 %; expected"),
        ({**UNIT, "made": "9999-12-31"}, "key 'made' is 9999-12-31, which is no day of our time; expected a day"),
        ({**UNIT, "made": "yesterday"}, "key 'made' is 'yesterday'; expected a day such as"),
        ({**UNIT, "clearance": "0.4..0.1 mm"},
         "key 'clearance' is '0.4..0.1 mm', the lower end above the upper one; expected a range"),
        ({**UNIT, "breakaway": "31 lbf"}, "key 'breakaway' is '31 lbf': 'lbf' is not a unit of torque; expected"),
        ({**UNIT, "breakaway": "1e9 N.m"}, "which is above 20000 N.m; expected"),
        ({**UNIT, "from": "1 mm"}, "key 'from' is given without springs; expected springs too"),
        ({"unit": "x\x1b[2J", "oil": "\x1b[2J" + "y" * 999}, "key 'oil' is '?[2Jyyyy"),
        ([], "P.toml: this is a list; expected a table of keys"),
    ],
)  # fmt: skip
def test_refusals_name_file_key_found_and_expected(content: object, sentence: str) -> None:
    with pytest.raises(DocumentError) as caught:
        from_values(content, Pack, "P.toml")
    assert sentence in str(caught.value)
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 300


def test_what_an_open_document_ignores_is_hinted_at_where_it_was_probably_meant() -> None:
    read = from_values({**UNIT, "sprngs": [], "maker": "x", "springs": [{**SPRING, "thicknes": "2 mm"}]}, Pack, "P.toml")
    assert read.unknown == ("sprngs", "maker", "springs 1.thicknes") or set(read.unknown) == {
        "sprngs",
        "maker",
        "springs 1.thicknes",
    }
    assert all("maker" not in hint for hint in read.hints)


def test_a_quantity_survives_a_copy_and_another_process() -> None:
    thickness = LengthMm.parse("2.01 mm")
    for again in (copy.deepcopy(thickness), pickle.loads(pickle.dumps(thickness))):
        assert (again, again.text) == (2.01, "2.01 mm")


@pytest.mark.parametrize(
    ("name", "text", "sentence"),
    [
        ("a.toml", "a = " + "[" * 20_000, "nested too deep"),
        ("a.toml", "a = " + "[" * 30 + "]" * 30, "nested too deep"),
        ("a.toml", "[" + "a." * 9_000 + "b]\nc = 1", "nested too deep"),
        ("a.json", "[" * 50_000, "nested too deep"),
        ("a.json", '{"a":' * 50_000, "nested too deep"),
        ("a.toml", "unit = " + "9" * 5_000, "this is not TOML"),
        ("a.json", '{"unit": ' + "9" * 5_000 + "}", "this is not JSON"),
        ("a.toml", "unit = 99999999999999999999", "key 'unit' is a number beyond all bounds"),
        ("a.json", '{"unit": 99999999999999999999}', "key 'unit' is a number beyond all bounds"),
        ("a.toml", "[left]\nx = nan", "a.toml, [left]: key 'x' is nan"),
        ("a.toml", "x = 1e999", "key 'x' is inf"),
        ("a.json", '{"x": NaN}', "this is not JSON"),
        ("a.json", '{"x": 1e999}', "this is not JSON"),
        ("a.toml", 'x = "\\u0000"', "holds a character that no text has"),
        ("a.json", '{"x": "\\ud800"}', "JSON"),
        ("a.toml", "x = \"" + "y" * 20_000 + '"', "is a text of 20000 characters"),
        ("a.toml", "x", "this is not TOML"),
        ("a.toml", "x = 1\n[[fasteners]\n", "this is not TOML: Expected ']]' at the end of an array declaration (at line 2"),
        ("a.json", '{"a": 1,\n"b" 2}', "this is not JSON: expected ':' (at line 2)"),
        ("a.json", "3", "holds 3 and no keys"),
        ("a.json", "", "this is not JSON"),
        ("a.toml", "x = 1\rz = 2", "this is not TOML"),
    ],
)  # fmt: skip
def test_a_file_made_to_break_a_reader(tmp_path: Path, name: str, text: str, sentence: str) -> None:
    """Findings 7.4: each of these ended with a traceback."""
    path = tmp_path / name
    path.write_text(text, newline="")
    with pytest.raises(DocumentError) as caught:
        read_document(path, Pack, "pack sheet")
    assert sentence in str(caught.value)
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 300 + len(str(tmp_path))


def test_a_missing_document_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="there is no such pack sheet; ask"):
        read_document(tmp_path / "none.toml", Pack, "pack sheet", if_missing="ask")


KEYS = [*Pack.__struct_fields__, "id", "thickness", "shims", "x"]
VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20) | st.dates() | st.just("2 mm") | st.just("free"),
    lambda inside: st.lists(inside, max_size=3) | st.dictionaries(st.sampled_from(KEYS), inside),
    max_leaves=12,
)  # fmt: skip


@given(st.dictionaries(st.sampled_from([*Pack.__struct_fields__, "from", "other"]), VALUES))
def test_any_values_are_a_document_or_a_sentence(content: dict[str, object]) -> None:
    try:
        from_values(content, Pack, "P.toml")
    except DocumentError as refusal:
        said = str(refusal)
    else:
        said = ""
    assert said.isprintable()
    assert len(said) < 500


@given(st.binary(max_size=200) | st.text("[]{}=.\"'\\#\n abu0129-:,e_+", max_size=60).map(str.encode), st.booleans())
def test_any_bytes_are_values_or_a_sentence(data: bytes, is_json: bool) -> None:
    try:
        values_of(data, "f", is_json=is_json)
    except DocumentError as refusal:
        said = str(refusal)
    else:
        said = ""
    assert said.isprintable()
