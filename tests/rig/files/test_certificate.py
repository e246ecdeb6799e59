"""The certificate as a file, and in force on whatever is read: live, from a file, in the window's sets."""

import json
from dataclasses import replace
from datetime import date
from importlib import resources

import jsonschema
import pytest
from support.calibrated import made_certificate
from support.made import MOMENT, made_stream, pieces_of
from support.same import assert_same

from analysis.errors import BenchError
from analysis.results import OffsetAdapter, Sensor
from analysis.window import Window
from drivers.errors import FileError
from rig.calibration.sensor_in_use import SensorChoice
from rig.cli import main
from rig.files.certificate import certified, read_certificate, to_document, write_certificate
from rig.files.metadata import Calibration, TraceInfo, Transducer
from rig.files.profile import read_profile
from rig.files.pull_file import read_recording
from rig.files.trace_csv import read_trace, write_trace
from rig.live.news import PullJudged
from rig.live.recorder import Recorder
from rig.live.session import Session
from rig.window.controller import Controller, Means
from rig.window.memory import Remembered
from rig.window.model import BenchModel
from rig.window.openers import Benches
from rig.window.views.compare import load

DAY = MOMENT.date()
PROFILE = """
[device]
name = "bench 1"
port = "/dev/null"
protocol = "text"
capacity = "200 N.m"
u = "3%"
certificate = "bench1.json"
[offset_adapter]
lever = "500 mm"
length = "100 mm"
angle = "60 deg"
[text]
columns = ["torque [N.m]"]
rate = "500 Hz"
"""


@pytest.fixture
def certificate():
    return made_certificate()


def test_a_certificate_comes_back_from_its_file_as_it_was_and_keeps_its_schema(tmp_path, certificate):
    write_certificate(tmp_path / "c.json", certificate)
    assert_same(read_certificate(tmp_path / "c.json"), certificate)
    schema = json.loads(resources.files("rig").joinpath("schemas/certificate.schema.json").read_text("utf-8"))
    jsonschema.validate(json.loads((tmp_path / "c.json").read_text("utf-8")), schema)


def test_a_function_that_its_points_do_not_give_is_refused(tmp_path, certificate):
    document = to_document(certificate)
    document["forward"]["coefficients"][0] *= 1.01
    (tmp_path / "c.json").write_text(json.dumps(document))
    with pytest.raises(FileError, match="edited"):
        read_certificate(tmp_path / "c.json")


@pytest.mark.parametrize(
    "change",
    [
        {"kind": "sheet"}, {"version": 2}, {"number": ""}, {"due": "soon"}, {"made": None}, {"degree": 9}, {"u_relative": -1},
        {"forward": None, "back": None}, {"forward": []}, {"forward": {"coefficients": [1.0]}}, {"points": [{"torque_nm": "5"}]},
        {"extra": 1}, {"points": 3},
    ],
)  # fmt: skip
def test_an_odd_certificate_is_refused_with_its_name(tmp_path, certificate, change):
    (tmp_path / "c.json").write_text(json.dumps(to_document(certificate) | change))
    with pytest.raises(FileError) as caught:
        read_certificate(tmp_path / "c.json")
    assert "c.json" in caught.value.where
    assert caught.value.remedy


@pytest.mark.parametrize("content", [b"", b"\xff\xfe", b"{", b"[]", b"nonsense"])
def test_what_is_no_certificate_is_refused(tmp_path, content):
    (tmp_path / "c.json").write_bytes(content)
    with pytest.raises(FileError):
        read_certificate(tmp_path / "c.json")
    with pytest.raises(FileError, match="no such"):
        read_certificate(tmp_path / "none.json")


def live_pull(session):
    news = [item for piece in pieces_of(made_stream(1), [10]) for item in session.step(piece)] + session.finish()
    (judged,) = [item for item in news if isinstance(item, PullJudged) and item.final]
    return judged


def test_live_and_from_its_file_a_pull_reads_the_same_with_the_certificate_in_force(tmp_path, certificate):
    """The file holds what the sensor sent; reading, picture and verdict are set right, in its budget stands the certificate."""
    (tmp_path / "bench.toml").write_text(PROFILE)
    write_certificate(tmp_path / "bench1.json", certificate)
    profile = replace(read_profile(tmp_path / "bench.toml"), adapter=None)
    choice, window = SensorChoice(DAY, usual_u="5%"), Window.parse("50..70 N.m")
    sensor, info = choice.of_line(profile, TraceInfo())
    assert info.transducer.serial == "0042"
    recorder = Recorder(tmp_path / "pulls", info, lambda: MOMENT, lambda: 0.0)
    judged = live_pull(Session(sensor=sensor, window=window, recorder=recorder))
    assert judged.result.breakaway.torque_nm == pytest.approx(0.9 * 60.0, rel=5e-3)
    assert judged.trace.torque_nm.max() == pytest.approx(0.9 * 60.0, rel=0.01)
    raw, kept = read_trace(judged.file)
    assert raw.torque_nm.max() == pytest.approx(60.0, rel=0.01)
    assert (kept.calibration.certificate, kept.calibration.due) == ("QF-C-1", "2027-03-05")
    again = read_recording(judged.file, SensorChoice(date(2030, 1, 1)).of)  # valid then: the day of the pull counts
    assert_same(again.result, judged.result)
    (member,) = load([judged.file], SensorChoice(DAY).of, window, judged.verdict.rule)
    assert_same(member.pull.verdict, judged.verdict)
    session = Session(sensor=sensor)
    session.step(raw)
    assert (session.corrected.torque_nm == again.trace.torque_nm).all()
    (line,) = [line for line in judged.result.breakaway.budget.lines if line.source == "calibration"]
    assert line.u_nm < 0.01 * judged.result.breakaway.torque_nm  # neither the profile's 3 % nor the settings' 5 %


def test_what_counts_of_a_sensor_has_one_order(tmp_path, certificate):
    stated = TraceInfo(transducer=Transducer(u_relative=0.02))
    under = TraceInfo(calibration=Calibration.of(certificate))
    asked, usual = SensorChoice(DAY, u="0.5 N.m", usual_u="5%"), SensorChoice(DAY, usual_u="5%")
    for info in (stated, under, TraceInfo()):
        assert asked.of(info).u_nm == 0.5
    assert asked.of(under).calibration.forward is not None  # the reading is set right all the same
    assert (usual.of(stated).u_relative, usual.of(under).u_relative, usual.of(TraceInfo()).u_relative) == (0.02, None, 0.05)
    named = SensorChoice(DAY, certificate=certificate)
    assert (named.of(stated).u_relative, named.of(stated).calibration.certificate) == (None, "QF-C-1")
    with pytest.raises(BenchError):
        SensorChoice(DAY, u="much")


def test_a_certificate_that_has_run_out_or_does_not_reach_so_far_is_said(tmp_path, capsys, certificate):
    write_certificate(tmp_path / "c.json", certificate)
    write_certificate(tmp_path / "low.json", made_certificate(loads=(5.0, 10.0, 20.0), due=date(2026, 3, 4)))
    info = TraceInfo(when=MOMENT.isoformat(), transducer=Transducer(capacity_nm=200.0))
    write_trace(tmp_path / "p.csv", made_stream(1), info)
    said = []
    for name in ("c.json", "low.json"):
        assert main(["analyse", str(tmp_path / "p.csv"), "--window", "40..70 N.m", "--certificate", str(tmp_path / name)]) == 0
        said.append(capsys.readouterr().out)
    assert "calibrat" not in said[0]
    assert "out of date" in said[1]
    assert "outside the torque the sensor was calibrated for" in said[1]
    assert main(["analyse", str(tmp_path / "p.csv"), "--certificate", str(tmp_path / "none.json")]) == 2
    assert "no such certificate" in capsys.readouterr().err


def test_a_due_date_alone_is_judged_too(certificate):
    def expired(due):
        return (
            TraceInfo(when="2026-03-05T10:00:00+00:00", calibration=Calibration(due=due))
            .sensor(date(2020, 1, 1))
            .calibration.expired
        )

    assert [expired(due) for due in ("2026-03-05", "2026-03-04", "last spring")] == [False, True, True]
    assert TraceInfo().sensor(DAY).calibration is None


def test_a_profile_names_certificate_and_adapter_and_the_reading_goes_through_both(tmp_path, certificate):
    (tmp_path / "bench.toml").write_text(PROFILE)
    profile = read_profile(tmp_path / "bench.toml")
    with pytest.raises(FileError, match=r"bench1\.json"):
        SensorChoice(DAY).of_line(profile, TraceInfo())
    write_certificate(tmp_path / "bench1.json", certificate)
    sensor, info = SensorChoice(DAY).of_line(profile, TraceInfo())
    assert sensor.adapter == OffsetAdapter(lever_m=0.5, length_m=0.1, angle_deg=60.0)
    recorder = Recorder(tmp_path, info, lambda: MOMENT, lambda: 0.0)
    judged = live_pull(Session(sensor=sensor, recorder=recorder))
    assert judged.result.breakaway.torque_nm == pytest.approx(1.1 * 0.9 * 60.0, rel=5e-3)
    assert_same(read_recording(judged.file, SensorChoice(DAY).of).result, judged.result)


@pytest.mark.parametrize(
    ("old", "new", "key"),
    [
        ('lever = "500 mm"', 'lever = "500 N"', "lever"),
        ('lever = "500 mm"', "", "lever"),
        ('angle = "60 deg"', 'angle = "-5 deg"', "angle"),
        ('length = "100 mm"\nangle = "60 deg"', 'length = "600 mm"\nangle = "180 deg"', "lever"),
        ('length = "100 mm"', 'length = "100 mm"\nlenght = "1 mm"', "lenght"),
        ('certificate = "bench1.json"', 'certificate = ""', "certificate"),
    ],
)
def test_an_odd_adapter_or_certificate_key_is_told(tmp_path, old, new, key):
    (tmp_path / "bench.toml").write_text(PROFILE.replace(old, new))
    with pytest.raises(BenchError, match=f"'{key}'"):
        read_profile(tmp_path / "bench.toml")


@pytest.mark.parametrize(("due", "said"), [(date(2026, 3, 4), "was due on 2026-03-04"), (date(2099, 1, 1), "due on 2099-01-01")])
def test_the_certificate_in_force_is_told_when_a_line_is_opened(tmp_path, capsys, due, said):
    (tmp_path / "bench.toml").write_text(PROFILE)
    write_certificate(tmp_path / "bench1.json", made_certificate(due=due))
    assert main(["record", "--device", str(tmp_path / "bench.toml"), "--out", str(tmp_path)]) == 3  # /dev/null is no port
    assert said in capsys.readouterr().err


def test_a_window_tells_of_a_certificate_that_has_run_out(tmp_path):
    (tmp_path / "bench.toml").write_text(PROFILE)
    write_certificate(tmp_path / "bench1.json", made_certificate(due=date(2026, 3, 4)))
    means = Means(benches=Benches(SensorChoice(DAY), None, TraceInfo()), today=lambda: DAY)
    controller = Controller(BenchModel(), Remembered(), means)
    controller.lines.open_profile(tmp_path / "bench.toml")
    controller.close()
    assert any("overdue" in trouble.what for trouble in controller.model.notices.standing)


def test_a_window_tells_of_a_certificate_that_is_not_there(tmp_path):
    (tmp_path / "bench.toml").write_text(PROFILE)
    controller = Controller(BenchModel(), Remembered(), Means(benches=Benches(SensorChoice(DAY), None, TraceInfo())))
    controller.lines.open_profile(tmp_path / "bench.toml")
    assert any("bench1.json" in trouble.where for trouble in controller.model.notices.standing)
    assert controller.lines.opened is None


def test_a_pull_is_judged_on_what_the_calibrated_sensor_reads(tmp_path):
    """60 N.m indicated are 54."""
    sensor = Sensor(capacity_nm=200.0)
    under = replace(sensor, calibration=made_certificate().on(DAY))
    window = Window.parse("50..57 N.m")
    values_nm = [live_pull(Session(sensor=one, window=window)).verdict.value_nm for one in (sensor, under)]
    assert values_nm == [pytest.approx(60, rel=0.01), pytest.approx(54, rel=0.01)]


@pytest.mark.parametrize("factor", [1000.0, 0.001])
def test_a_factor_that_only_a_wrong_unit_makes_is_refused_when_the_certificate_is_made(factor):
    """Findings 7.5: a factor of 1e6 was believed. Here kilonewton metres or millinewton metres stand for newton metres."""
    draft = made_certificate()
    points = tuple(replace(point, indication_nm=point.indication_nm * factor) for point in draft.points)
    with pytest.raises(BenchError, match="check the units"):
        certified(replace(draft, points=points))
