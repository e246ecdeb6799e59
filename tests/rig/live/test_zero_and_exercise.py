"""Zero before and after, its drift over a series, and exercise: what the session says of its sensor."""

import pytest
from support.calibrated import made_certificate
from support.made import MOMENT, made_loads, made_stream, pieces_of

from analysis.results import Sensor
from analysis.sensor.zero_history import SensorLog
from analysis.trace import Trace
from analysis.window import Window
from rig.files.metadata import TraceInfo
from rig.files.trace_csv import read_trace
from rig.live.news import Exercised, Failed, PullBegan, PullJudged, SeriesOver, ZeroFound
from rig.live.recorder import Recorder
from rig.live.session import Session

SENSOR = Sensor(capacity_nm=200.0)
WINDOW = Window.parse("50..70 N.m")
UNDER = Sensor(capacity_nm=200.0, calibration=made_certificate(gain=1.0, back_gain=1.0).on(MOMENT.date()))


def run(session, stream):
    return [item for piece in pieces_of(stream, [10]) for item in session.step(piece)]


def of(kind, news):
    return [item for item in news if isinstance(item, kind)]


def finals(news):
    return [item for item in of(PullJudged, news) if item.final]


def offset(stream, by_nm):
    return Trace(stream.time_s, stream.torque_nm + by_nm, stream.angle_deg)


def test_the_zero_is_told_when_the_line_opens_and_when_it_was_asked_for():
    session = Session(sensor=SENSOR)
    (found,) = of(ZeroFound, run(session, offset(made_stream(1), 1.2)))
    assert found.zero_nm == pytest.approx(1.2, abs=0.05)
    assert (found.asked, found.far_off) == (False, False)
    session.zero_now()
    (found,) = of(ZeroFound, run(session, offset(made_stream(1, start_s=100.0), -0.7)))
    assert found.zero_nm == pytest.approx(-0.7, abs=0.05)
    assert found.asked


def test_a_zero_far_off_is_told():
    (found,) = of(ZeroFound, run(Session(sensor=SENSOR), offset(made_stream(1), 12.0)))
    assert found.far_off


def test_zero_before_and_after_goes_into_each_file_and_over_the_series_it_is_judged(tmp_path):
    recorder = Recorder(tmp_path, TraceInfo(), lambda: MOMENT, lambda: 0.0)
    session = Session(sensor=SENSOR, window=WINDOW, recorder=recorder)
    news = run(session, made_stream(1)) + run(session, offset(made_stream(1, start_s=9.0), 2.0))
    first, second = finals(news)
    assert first.verdict.missing == ("sensor",)
    assert "zero" in second.verdict.missing
    (over,) = of(SeriesOver, session.finish())
    assert (over.zero_before_nm, over.zero_after_nm) == (pytest.approx(0.0, abs=0.05), pytest.approx(2.0, abs=0.05))
    assert over.moved
    info = read_trace(second.file)[1]
    assert (info.zero_before_nm, info.zero_after_nm) == (pytest.approx(2.0, abs=0.05), pytest.approx(2.0, abs=0.05))
    assert info.calibration_flags == "zero_moved"
    # A new zero begins a new series of zeros.
    session.zero_now()
    (third,) = finals(run(session, offset(made_stream(1, start_s=40.0), 2.0)))
    assert "zero" not in third.verdict.missing


def test_a_steady_zero_is_not_said_to_have_moved():
    session = Session(sensor=SENSOR, window=WINDOW)
    news = run(session, offset(made_stream(2), 1.0))
    assert all("zero" not in pull.verdict.missing for pull in finals(news))
    assert not of(SeriesOver, session.finish())[0].moved


def test_loads_of_an_exercise_are_counted_neither_recorded_nor_judged_and_end_with_a_new_zero(tmp_path):
    recorder = Recorder(tmp_path, TraceInfo(), lambda: MOMENT, lambda: 0.0)
    session = Session(sensor=UNDER, window=WINDOW, recorder=recorder)
    session.exercise()
    news = run(session, made_loads([70, 69, 71, -70, -68, -72]))
    told = of(Exercised, news)
    assert [(item.direction, item.times) for item in told] == [(1, 1), (1, 2), (1, 3), (-1, 1), (-1, 2), (-1, 3)]
    assert [item.over for item in told] == [False] * 5 + [True]
    assert told[2].torque_nm == pytest.approx(71, abs=0.5)
    assert not of(PullBegan, news)
    assert not of(PullJudged, news)
    assert not list(tmp_path.iterdir())
    assert not session.exercising
    after = run(session, made_stream(1, start_s=60.0))
    assert [item.asked for item in of(ZeroFound, news + after)] == [False, True]
    (pull,) = finals(after)
    assert pull.number == 1
    assert pull.verdict.missing == ()
    assert read_trace(pull.file)[1].exercised_nm == pytest.approx(69, abs=0.5)


def test_one_way_alone_is_over_after_some_quiet():
    session = Session(sensor=SENSOR)
    session.exercise()
    news = run(session, made_loads([70, 69, 71]))
    assert session.exercising
    news += run(session, made_stream(1, start_s=30.0, rest_s=12.0))
    assert not session.exercising
    assert [item.number for item in finals(news)] == [1]


def test_lower_loads_do_not_count_as_exercise_to_the_highest():
    log = SensorLog()
    assert [log.add_load(1, torque) for torque in (30.0, 31.0, 60.0, 58.0, 20.0)] == [1, 2, 1, 2, 0]
    assert not log.exercised_one_way(1)
    assert log.add_load(1, 59.0) == 3
    assert log.exercised_one_way(1)
    assert log.exercised_nm(1) == 58.0
    assert log.exercised_nm(-1) == 0.0


def test_under_a_certificate_a_pull_says_that_the_sensor_was_not_exercised_until_it_is():
    """Pulls exercise the sensor too: after three of them nothing is said any more. Without a certificate it never is."""
    said = [
        ["not_exercised" in pull.verdict.missing for pull in finals(run(Session(sensor=sensor, window=WINDOW), made_stream(4)))]
        for sensor in (UNDER, SENSOR)
    ]
    assert said == [[True, True, True, False], [False] * 4]


def test_neither_zero_nor_exercise_begins_during_a_pull():
    session = Session(sensor=SENSOR)
    run(session, made_stream(1).cut(0, 2000))
    assert session.pulling
    for refused in (session.exercise(), session.zero_now()):
        assert isinstance(refused[0], Failed)
    assert not session.exercising


def test_an_exercise_begins_anew_whatever_was_pulled_before():
    session = Session(sensor=SENSOR)
    pulls = made_stream(4)
    run(session, pulls)
    session.exercise()
    loads = made_loads([70, -70], start_s=60.0)
    told = of(Exercised, run(session, Trace(loads.time_s, loads.torque_nm, loads.angle_deg + pulls.angle_deg[-1])))
    assert [(item.times, item.over) for item in told] == [(1, False), (1, False)]
    assert session.exercising


def test_a_recording_says_what_the_bench_said_of_the_sensor_then():
    judged = [
        finals(run(Session(sensor=UNDER, window=WINDOW, calibration_flags=calibration_flags), made_stream(1)))[0].verdict.missing
        for calibration_flags in ((), ("zero_moved",), None)
    ]
    assert judged == [(), ("zero",), ("not_exercised",)]
