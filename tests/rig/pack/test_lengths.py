"""Lengths of a pack sheet: which fields there are, and what is filled goes into the file beside its remarks."""

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.errors import FileError
from rig.errors import DocumentError
from rig.gauge.fields import Entered
from rig.pack.lengths import read_fields, with_lengths, write_lengths
from rig.pack.templates import PACK


@pytest.fixture
def sheet(tmp_path):
    path = tmp_path / "PACK.toml"
    path.write_text(PACK)
    return path


def test_every_length_of_the_template_is_a_field_with_what_stands_there(sheet):
    document, lengths = read_fields(sheet)
    by_key = dict(zip((field.key for field in lengths.fields), lengths.values, strict=True))
    assert by_key["plates", 0, "thickness", 1].text == "1.91 mm"
    assert by_key["plates", 0, "thickness", 2] is None  # four places are better than two
    assert by_key["plates", 1, "unworn"] is None
    assert by_key["springs", 1, "free_height", 0].length_mm == 3.65
    assert by_key["left", "stack_height"].length_mm == 5.41
    assert by_key["space", "right", "gear_height"].length_mm == 33.0
    assert lengths.current.key == ("plates", 0, "thickness", 2)
    assert document.pack.unit == "demo 1"


def test_what_is_filled_is_read_again_and_remarks_stay(sheet):
    new = {
        ("plates", 0, "thickness", 0): Entered(1.905, "1.905 mm"),
        ("plates", 0, "thickness", 2): Entered(1.92, "1.92 mm"),
        ("plates", 0, "thickness", 3): Entered(1.91, "0.0752 in"),
        ("plates", 1, "unworn"): Entered(1.62, "1.62 mm"),
        ("space", "left", "case_depth"): Entered(41.58, "41.58 mm"),
        ("springs", 0, "free_height", 0): Entered(3.61, "3.61 mm"),
    }
    write_lengths(sheet, new)
    document, _ = read_fields(sheet)
    assert [one.text for one in document.plates[0].thickness] == ["1.905 mm", "1.91 mm", "1.92 mm", "0.0752 in"]
    assert (document.plates[1].unworn, document.space.left.case_depth) == (1.62, 41.58)
    assert document.springs[0].free_height[0] == 3.61
    text = sheet.read_text()
    assert text.count("#") == PACK.count("#")
    assert "# on the rubbed track, at several places" in text


def test_a_thickness_without_brackets_becomes_a_list():
    text = '[[plates]]\nid = "L1"\nkind = "outer"\nthickness = "2.01 mm"  # one place\n'
    made = tomllib.loads(with_lengths(text, {("plates", 0, "thickness", 1): Entered(2.0, "2.00 mm")}))
    assert made["plates"][0]["thickness"] == ["2.01 mm", "2.00 mm"]


@settings(max_examples=25, deadline=None)
@given(st.dictionaries(st.sampled_from(range(40)), st.floats(0.7, 5.9), max_size=12))
def test_whatever_is_filled_stands_in_the_file_and_nothing_else_changes(tmp_path_factory, filled):
    path = tmp_path_factory.mktemp("sheet") / "PACK.toml"
    path.write_text(PACK)
    _, lengths = read_fields(path)
    new = {lengths.fields[at].key: Entered(mm, f"{mm:.3f} mm") for at, mm in filled.items() if at < len(lengths.fields)}
    write_lengths(path, new)
    _, again = read_fields(path)
    stands = {field.key: value.text for field, value in zip(again.fields, again.values, strict=True) if value is not None}
    stood = {field.key: value.text for field, value in zip(lengths.fields, lengths.values, strict=True) if value is not None}
    texts = {key: value.text for key, value in new.items()}
    # A third track point without a second closes up: of lists only what stands there counts, not at which place.
    assert sorted(stands.values()) == sorted((stood | texts).values())


def test_a_sheet_that_cannot_be_written_stays_as_it_was(sheet, monkeypatch):
    with pytest.raises(DocumentError):
        write_lengths(sheet, {("plates", 0, "unworn"): Entered(-1.0, "-1 mm")})
    assert sheet.read_text() == PACK

    def full(path, text):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("rig.pack.lengths.write_whole", full)
    with pytest.raises(FileError, match="could not be written"):
        write_lengths(sheet, {("plates", 0, "unworn"): Entered(1.9, "1.9 mm")})
    assert sheet.read_text() == PACK


def test_json_is_not_measured_into(tmp_path):
    with pytest.raises(DocumentError, match=r"write it as PACK\.toml"):
        read_fields(tmp_path / "PACK.json")
