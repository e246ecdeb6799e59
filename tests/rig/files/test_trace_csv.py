"""Trace files: what is written reads back the same; what cannot be read says file, row and fix."""

import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.trace import Trace
from analysis.window import Basis, Window
from drivers.errors import FileError
from rig.errors import DocumentError
from rig.files import trace_csv as tracefile
from rig.files.metadata import Calibration, TraceInfo, Transducer
from rig.files.trace_csv import info_path, read_trace, write_trace

HEADER = "time [s],torque [N.m],angle [deg]\n"


@pytest.fixture
def csv_of(tmp_path):
    def make(content, name="pull.csv"):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return make


finite = st.floats(-20_000, 20_000).filter(lambda value: value == 0 or abs(value) > 1e-9)  # what a bench could have sent


@settings(max_examples=50)
@given(
    steps=st.lists(st.floats(1e-6, 1e3), min_size=1, max_size=30),
    values=st.lists(st.tuples(finite, finite), min_size=30, max_size=30),
    with_angle=st.booleans(),
)
def test_what_is_written_reads_back_the_very_same(tmp_path_factory, steps, values, with_angle):
    time_s = np.cumsum(steps)
    if not (np.diff(time_s) > 0).all():
        return
    torque, angle = np.array(values[: len(steps)]).T
    path = tmp_path_factory.mktemp("round") / "pull.csv"
    write_trace(path, Trace(time_s, torque, angle if with_angle else None))
    trace, _ = read_trace(path)
    assert np.array_equal(trace.time_s, time_s)
    assert np.array_equal(trace.torque_nm, torque)
    assert (trace.angle_deg is not None) == with_angle
    if with_angle:
        assert np.array_equal(trace.angle_deg, angle)


def test_everything_known_of_a_trace_reads_back(tmp_path):
    info = TraceInfo(
        job="J-17",
        unit="QF-7 no. 12",
        customer="invented customer",
        series="as found",
        number=3,
        who="T.W.",
        when="2026-03-05T10:30:00+00:00",
        lubricant="gear oil 75W-90",
        temperature_c=21.5,
        window=Window.parse("25..45 lbf.ft", Basis.SLIDING),
        transducer=Transducer(name="bench 1", serial="0042", capacity_nm=200.0, u_relative=0.005),
        calibration=Calibration(certificate="C-1", made="2026-01-02", due="2027-01-02"),
        software="platepull 0.1.0",
    )
    path = tmp_path / "pull.csv"
    write_trace(path, Trace([0.0, 0.1], [1.0, 2.0]), info)
    _, back = read_trace(path)
    assert back.window.basis is Basis.SLIDING
    assert back.window.low_nm == pytest.approx(info.window.low_nm, rel=1e-9)
    assert back == TraceInfo(**{**{name: getattr(info, name) for name in info.__slots__}, "window": back.window})


def test_the_metadata_is_a_csvw_document_with_one_key_of_ours(tmp_path):
    # W3C Recommendation "Metadata Vocabulary for Tabular Data" (17 December 2015), 5.3 to 5.6: @context, url, tableSchema, columns.
    path = tmp_path / "pull.csv"
    write_trace(path, Trace([0.0, 0.1], [1.0, 2.0], [0.0, 1.0]), TraceInfo(job="J-17"))
    document = json.loads(info_path(path).read_text("utf-8"))
    assert document["@context"] == "http://www.w3.org/ns/csvw"
    assert document["url"] == "pull.csv"
    header = path.read_text("utf-8").splitlines()[0].split(",")
    assert [column["titles"] for column in document["tableSchema"]["columns"]] == header
    assert set(document) - {"@context", "url", "dialect", "tableSchema"} == {"platepull:bench"}
    assert document["platepull:bench"] == {"job": "J-17"}


@pytest.mark.parametrize(
    ("unit", "factor"),
    [
        ("N.m", 1.0),
        ("Nm", 1.0),
        ("N·m", 1.0),
        # NIST Special Publication 811 (2008), appendix B.8: pound-force foot, pound-force inch, kilogram-force meter.
        ("lbf.ft", 1.355818),
        ("lbf.in", 0.1129848),
        ("kgf.m", 9.80665),
    ],
)
def test_any_torque_unit_is_taken(csv_of, unit, factor):
    trace, _ = read_trace(csv_of(f"time [ms],torque [{unit}],angle [rad]\n0,10,0\n20,20,3.14159265358979\n"))
    assert trace.torque_nm == pytest.approx([10 * factor, 20 * factor], rel=1e-6)
    assert trace.time_s == pytest.approx([0.0, 0.02])
    assert trace.angle_deg == pytest.approx([0.0, 180.0])


def test_columns_may_come_in_any_order_and_others_are_ignored(csv_of):
    trace, _ = read_trace(csv_of('remark,torque [N.m],speed [rpm],time [s]\nfirst,1,9,0.0\n"a, b",2,,0.1\n'))
    assert trace.torque_nm.tolist() == [1.0, 2.0]
    assert trace.angle_deg is None


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_every_line_end_is_taken_and_a_byte_order_mark_too(csv_of, ending):
    text = ending.join(["time [s],torque [N.m]", "0,1", "0.1,2", ""])
    trace, _ = read_trace(csv_of(b"\xef\xbb\xbf" + text.encode()))
    assert trace.torque_nm.tolist() == [1.0, 2.0]


def test_a_header_alone_is_an_empty_trace(csv_of):
    trace, _ = read_trace(csv_of(HEADER))
    assert len(trace) == 0


@pytest.mark.parametrize("missing", ["", "nan", "NaN", "  "])
def test_a_missing_torque_is_a_gap_and_said(csv_of, missing):
    trace, info = read_trace(csv_of(HEADER + f"0,1,0\n0.1,{missing},1\n0.2,3,2\n"))
    assert trace.time_s.tolist() == [0.0, 0.2]
    assert info.notes == ("1 samples have no value and are left out",)


def test_without_most_angles_it_is_read_without_angle(csv_of):
    trace, info = read_trace(csv_of(HEADER + "0,1,\n0.1,2,\n0.2,3,2\n"))
    assert len(trace) == 3
    assert trace.angle_deg is None
    assert info.notes == ("most angles are missing; read without angle",)


def test_an_unfinished_last_line_is_left_out(csv_of):
    trace, info = read_trace(csv_of(HEADER + "0,1,0\n0.1,2,0\n0.2,3"))
    assert len(trace) == 2
    assert info.notes == ("the last line is unfinished and left out",)


def test_a_last_line_without_its_end_counts_in_a_foreign_file_but_not_in_ours(csv_of, tmp_path):
    path = csv_of(HEADER + "0,1,0\n0.1,2,0.5")
    assert len(read_trace(path)[0]) == 2
    for key in ("platepull:bench", "platepull"):  # the second as a person may write it
        info_path(path).write_text(json.dumps({key: {"software": "platepull 0.1.0"}}))
        assert len(read_trace(path)[0]) == 1


def test_zeros_that_a_power_cut_left_at_the_end_are_dropped(csv_of):
    trace, _ = read_trace(csv_of((HEADER + "0,1,0\n0.1,2,0\n").encode() + b"\0" * 500))
    assert len(trace) == 2


def test_force_and_position_are_read_on_an_arm(csv_of):
    path = csv_of("time [s],force [N],position [mm]\n0,10,0\n0.1,20,500\n")
    trace, info = read_trace(path)
    assert trace.torque_nm.tolist() == [10.0, 20.0]
    assert trace.angle_deg is None
    assert any("assumed" in note for note in info.notes)
    assert any("position left out" in note for note in info.notes)
    trace, info = read_trace(path, arm_m=0.5)
    assert trace.torque_nm.tolist() == [5.0, 10.0]
    assert trace.angle_deg == pytest.approx([0.0, math.degrees(1.0)])
    assert not any("assumed" in note for note in info.notes)


BAD = {
    "no such file": (None, "there is no such trace"),
    "empty": (b"", "is empty"),
    "blank": (b"  \n\n", "is empty"),
    "binary": (bytes(range(256)) * 8, "is not a text file"),
    "UTF-16": (HEADER.encode("utf-16"), "is not a text file"),
    "Latin 1": ("time [s],torque [N.m],angle [°]\n".encode("latin-1"), "is not a text file"),
    "prose": (b"Dear reader,\nthis is a letter.\n", "has no header row"),
    "no header": (b"0,1,2\n0.1,2,3\n", "has no header row"),
    "semicolons": (HEADER.replace(",", ";") + "0;1;2\n", "row 1: the columns are not separated by commas"),
    "no torque": (b"time [s],friction [-]\n0,1\n", "neither torque nor force (its columns are 'time [s]', 'friction [-]')"),
    "no time": (b"torque [N.m],angle [deg]\n1,2\n", "has no time column"),
    "no unit": (b"time [s],torque\n0,1\n", "the column 'torque' has no unit"),
    "wrong unit": (b"time [s],torque [kg]\n0,1\n", "'kg' is not a unit of torque"),
    "unknown unit": (b"time [s],torque [blah]\n0,1\n", "unit 'blah' is not known"),
    "text in torque": (HEADER + "0,1,0\n\n0.1,x,0\n", "row 4: torque 'x' is not a number"),
    "decimal comma": (HEADER + '0,"1,5",0\n', "row 2: torque '1,5' is not a number"),
    "underscore": (HEADER + "0,1_0,0\n", "row 2: torque '1_0' is not a number"),
    "infinite": (HEADER + "0,1,0\n0.1,inf,0\n", "row 3: torque is not finite"),
    "time missing": (HEADER + "0,1,0\n,2,0\n", "row 3: time is missing"),
    "time repeated": (HEADER + "0,1,0\n\n0.1,2,0\n0.1,2,0\n", "row 5: time does not rise"),
    "time back": (HEADER + "0,1,0\n0.2,2,0\n0.1,2,0\n", "row 4: time does not rise"),
    "short row": (HEADER + "0,1,0\n0.1\n0.2,3,0\n", "row 3: the row ends before its torque"),
}


@pytest.mark.parametrize("case", BAD)
def test_a_bad_file_is_told_with_its_place_and_the_mend(csv_of, tmp_path, case):
    content, expected = BAD[case]
    path = tmp_path / "nix.csv" if content is None else csv_of(content)
    with pytest.raises(FileError) as told:
        read_trace(path)
    assert expected in str(told.value)
    assert str(path) in str(told.value)
    assert told.value.remedy


def test_an_odd_cell_far_down_a_long_file_is_found_at_its_row(csv_of, monkeypatch):
    monkeypatch.setattr(tracefile, "_PORTION_BYTES", 100)
    rows = [f"{n / 1000},{n % 7},{n / 10}" for n in range(500)]
    trace, _ = read_trace(csv_of(HEADER + "\n".join([*rows, ""])))
    assert trace.torque_nm.tolist() == [n % 7 for n in range(500)]
    trace, info = read_trace(csv_of(HEADER + "\n".join([*rows[:321], "0.321,,1", *rows[322:], ""])))
    assert len(trace) == 499
    assert info.notes
    with pytest.raises(FileError, match="row 325: torque 'x' is not a number"):
        read_trace(csv_of(HEADER + "\n\n" + "\n".join([*rows[:321], "0.321,x,1", *rows[322:]])))


@settings(max_examples=300)
@given(data=st.binary(max_size=300), headed=st.booleans())
def test_whatever_the_file_holds_it_reads_or_is_told(tmp_path_factory, data, headed):
    path = tmp_path_factory.mktemp("any") / "any.csv"
    path.write_bytes(HEADER.encode() * headed + data)
    try:
        trace, _ = read_trace(path)
    except FileError:
        return
    assert np.isfinite(trace.torque_nm).all()


@pytest.mark.parametrize(
    "content",
    ["no json", "[]", '{"platepull": 1}', '{"platepull": {"job": []}}', '{"platepull": {"window": "x"}}',
     '{"platepull": {"transducer": {"capacity_nm": "big"}}}', '{"platepull": {"number": "one"}}'],
)  # fmt: skip
def test_bad_metadata_is_told_with_its_file(csv_of, content):
    path = csv_of(HEADER + "0,1,0\n")
    info_path(path).write_text(content)
    with pytest.raises(DocumentError, match="metadata"):
        read_trace(path)


def test_a_folder_or_a_full_path_to_nowhere_is_told(tmp_path):
    with pytest.raises(FileError, match=r"is a folder|cannot be read"):
        read_trace(tmp_path)
    with pytest.raises(FileError, match="cannot be written"):
        write_trace(tmp_path / "no" / "where.csv", Trace([0.0], [0.0]))


@pytest.mark.parametrize(
    ("rows", "capacity", "said"),
    [
        ("0,0,0\n1,1e30,1\n", None, "torque reaches 1e+30 N.m"),
        ("0,0,0\n1,700,1\n", 200, "3 times the sensor's capacity"),
        ("0,0,0\n1e9,5,1\n", None, "over a week"),
        ("0,0,0\n1,5,1e30\n", None, "the angle reaches 1e+30 deg"),
    ],
)
def test_numbers_that_no_bench_could_have_sent_are_not_believed(csv_of, rows, capacity, said):
    """Findings 7.5: a torque of 1e30 was 'above'."""
    path = csv_of(HEADER + rows)
    if capacity:
        csv_of(json.dumps({"platepull": {"transducer": {"capacity_nm": capacity}}}), "pull.csv-metadata.json")
    with pytest.raises(FileError, match="is not believed") as told:
        read_trace(path)
    assert said in str(told.value)


def test_a_torque_too_small_for_any_sensor_is_none(csv_of):
    """Findings 7.4: at 1e-300 a library printed into the JSON document."""
    trace, _ = read_trace(csv_of(HEADER + "0,1e-300,0\n1,-1e-300,1\n"))
    assert (trace.torque_nm == 0).all()


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"time [s],torque [N.m]" + b",x" * 100_000 + b"\n0,1\n", "has a line of over 20000 characters"),
        (HEADER.encode() + b"0,1," + b"9" * 200_000 + b"\n", "has a line of over 20000 characters"),
        (b"time [s]\rtorque [N.m]\n0,1\n", "no header row"),
        (b"time [s],torque [9**9**9*N.m]\n0,1\n", "is not known"),
        (b"time [s],torque [N.m]\n0,1\n" + b"\0" * 100 + b"0,1\n", "is not a text file"),
        (b"time [s],torque [\x1b[2J]\n0,1\n", "'?[2J' is not known"),
    ],
)
def test_a_trace_made_to_break_a_reader(csv_of, content, said):
    """Findings 7.2 to 7.4 and 7.6."""
    with pytest.raises(FileError) as told:
        read_trace(csv_of(content))
    assert said in str(told.value)
    assert str(told.value).isprintable()


def test_rows_are_counted_whatever_ends_them(csv_of):
    """A lone carriage return ends a row too; once the row that was to be named was not found (seen by the guided fuzzer)."""
    with pytest.raises(FileError, match="row 4: time does not rise"):
        read_trace(csv_of("time [s],torque [N.m]\n0,1\r1,2\r0.5,3\n2,4\n"))


def test_a_name_that_leaves_no_room_for_metadata_is_a_trace_all_the_same(tmp_path):
    """255 bytes are the longest name of most disks: the CSV has one, its metadata could not."""
    path = tmp_path / f"{'n' * 245}.csv"
    path.write_text("time [s],torque [N.m]\n0,0\n1,1\n")
    assert len(read_trace(path)[0]) == 2
