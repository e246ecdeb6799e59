"""What is known before a pull, what the window remembers, and what the desk does with it."""

import dataclasses
import datetime
import json

import pytest
from support.fed import FedBench
from support.made import MOMENT, made_stream

from analysis.judgement import DecisionRule, VerdictState
from analysis.window import Window
from drivers.codec import WireFaults
from rig.calibration.sensor_in_use import SensorChoice
from rig.files.metadata import Calibration, TraceInfo
from rig.files.profile import read_profile
from rig.files.trace_csv import info_path, write_trace
from rig.live.line_tap import RawTap
from rig.live.runner import LineFigures, Status
from rig.window.conditions import Conditions, lacking, window_of_parts, window_parts
from rig.window.controller import Controller, Means
from rig.window.memory import Remembered, recall, remember
from rig.window.model import BenchModel, BenchState
from rig.window.openers import Benches
from rig.window.sounds import Sounds
from rig.window.views.line import figures, row_texts
from rig.window.views.verdict import Tone, view_of
from rig.words.arrangements import ARRANGEMENTS
from rig.words.units import UnitChoice

FULL = Conditions(
    arrangement="A", window="25..45 lbf.ft", plate_state="used", oil="QF oil", temperature="70 degF", rest="1 min", who="T.W."
)


def test_conditions_go_into_the_metadata_in_si():
    info = FULL.into(TraceInfo(job="7"))
    assert (info.job, info.arrangement, info.who, info.plate_state) == ("7", "A", "T.W.", "used")
    assert info.rest_s == 60.0
    assert info.temperature_c == pytest.approx((70 - 32) / 1.8)  # definition of the degree Fahrenheit
    assert info.window.low_nm == pytest.approx(25 * 1.3558179, rel=1e-6)  # NIST SP 811


def test_nothing_filled_in_is_fine():
    assert Conditions().into(TraceInfo(unit="QF-7")) == TraceInfo(unit="QF-7")
    assert Conditions().spec_window() is None
    assert set(lacking(Conditions())) == {"arrangement", "window", "plate_state", "oil", "temperature", "rest"}
    assert lacking(FULL) == ()


@pytest.mark.parametrize(("name", "text"), [("window", "25 to 45"), ("temperature", "warm"), ("rest", "5 N.m")])
def test_a_field_that_cannot_be_read_says_so_and_stays_out(name, text):
    spoilt = dataclasses.replace(FULL, **{name: text})
    assert spoilt.refusal(name) is not None
    assert name in lacking(spoilt)
    info = spoilt.into(TraceInfo())
    assert {"window": info.window, "temperature": info.temperature_c, "rest": info.rest_s}[name] is None


def test_plain_numbers_take_the_usual_unit_and_a_decimal_comma():
    info = Conditions(temperature="21,5", rest="45").into(TraceInfo())
    assert (info.temperature_c, info.rest_s) == (21.5, 45.0)


def test_changed_fields_are_named():
    assert FULL.changed_from(FULL) == frozenset()
    assert dataclasses.replace(FULL, oil=" QF oil ", rest="2 min").changed_from(FULL) == {"rest"}


def test_conditions_come_back_from_their_texts():
    assert Conditions.from_texts(FULL.texts() | {"of another version": "x"}) == FULL


def test_arrangement_codes_are_those_of_the_trade_and_differ():
    assert [one.code for one in ARRANGEMENTS] == ["A", "B", "D", "E", "F", "G", "V", "V2"]


def test_what_is_remembered_comes_back_and_a_spoilt_file_gives_the_defaults(tmp_path):
    path = tmp_path / "deep" / "window.json"
    assert recall(path) == Remembered()
    kept = Remembered(theme="light", second_unit="lbf.ft", sound=False, conditions=FULL.texts())
    remember(path, kept)
    assert recall(path) == kept
    path.write_text(json.dumps({"theme": 5, "sound": "yes", "language": "de", "conditions": {"oil": 3}}))
    assert recall(path) == Remembered(language="de", conditions={"oil": "3"})
    path.write_text("{ cut off")
    assert recall(path) == Remembered()


@pytest.fixture
def controller():
    bench = FedBench()
    return Controller(BenchModel(bench), Remembered(), Means())


TODAY = datetime.date(2026, 3, 5)


def remembering(day, **conditions):
    remembered = Remembered(conditions={"window": "35..70 N.m", "basis": "sliding", **conditions}, day=day)
    return Controller(BenchModel(FedBench()), remembered, Means(today=lambda: TODAY))


def test_what_held_today_counts_from_the_start_but_temperature_and_rest_are_asked_anew():
    controller = remembering("2026-03-05", oil="QF oil", temperature="21 degC", rest="60 s")
    assert controller.model.window == Window.parse("35..70 N.m", "sliding")
    assert (controller.entry.now.oil, controller.entry.now.temperature, controller.entry.now.rest) == ("QF oil", "", "")
    assert controller.entry.asking == ""


def test_what_held_on_another_day_waits_for_an_answer():
    controller = remembering("2026-03-04", oil="QF oil", who="T.W.")
    assert controller.model.window is None
    assert controller.entry.now == Conditions(who="T.W.")
    assert "2026-03-04" in controller.entry.asking
    assert controller.entry.shown.oil == "QF oil"
    controller.entry.still_holds()
    assert (controller.entry.now.oil, controller.entry.asking) == ("QF oil", "")
    assert controller.model.window == Window.parse("35..70 N.m", "sliding")


def test_what_is_typed_while_an_answer_is_waited_for_counts_at_once_and_stays_in_sight():
    remembered = Remembered(conditions={"oil": "QF oil", "arrangement": "A"}, day="2026-03-04")
    entry = Controller(BenchModel(FedBench()), remembered, Means(today=MOMENT.date)).entry
    entry.edit(dataclasses.replace(entry.shown, plates="set 2"))
    assert (entry.now.plates, entry.now.oil, entry.now.arrangement) == ("set 2", "", "")
    assert (entry.shown.plates, entry.shown.oil, entry.shown.arrangement) == ("set 2", "QF oil", "A")
    assert entry.asking
    entry.still_holds()
    assert (entry.now.plates, entry.now.oil, entry.now.arrangement) == ("set 2", "QF oil", "A")


def test_what_held_on_another_day_can_be_cleared():
    controller = remembering("2026-03-04", oil="QF oil", who="T.W.")
    controller.entry.clear()
    assert controller.entry.now == controller.entry.shown == Conditions(who="T.W.")


def test_for_another_unit_only_what_cannot_have_changed_is_taken_over(controller):
    controller.entry.edit(dataclasses.replace(FULL, unit="QF-7 no. 1", lever="0.6 m"))
    controller.model.bench.pull()
    controller.model.poll()
    controller.entry.edit(dataclasses.replace(controller.entry.now, unit="QF-7 no. 2"))
    assert "QF-7 no. 1" in controller.entry.asking
    assert (controller.entry.now.unit, controller.entry.now.oil, controller.entry.now.lever) == ("QF-7 no. 2", "", "0.6 m")
    controller.entry.still_holds()
    assert (controller.entry.now.unit, controller.entry.now.oil) == ("QF-7 no. 2", "QF oil")


def test_an_edited_window_judges_the_pulls_so_far_and_a_refused_one_rules_nothing(controller):
    controller.model.bench.pull()
    controller.model.poll()
    controller.entry.edit(Conditions(window="80..90 N.m"))
    assert controller.model.last.verdict.state is VerdictState.BELOW
    controller.entry.edit(Conditions(window="80 to"))
    assert controller.model.window is None
    assert controller.model.last.verdict is None
    assert "nothing is judged" in controller.model.notices.standing[-1].what
    controller.entry.edit(Conditions(window="80 to 60 N.m"))
    controller.entry.edit(Conditions(window="60 to 80 N.m"))
    assert not controller.model.notices.standing, "what was said of the window that could not be read stays although it is mended"


@pytest.mark.parametrize("text", ["25..45 lbf.ft", "10.. N.m", "..25 N.m", "25,5..45,5 Nm", ""])
def test_a_window_is_taken_apart_and_put_together_again(text):
    low, high, unit = window_parts(text)
    back = window_of_parts(low, high, unit)
    assert (Window.parse(back) if back else None) == (Window.parse(text) if text else None)


@pytest.mark.parametrize("typed", ["25-45 Nm", "25 to 45 Nm", ">= 40 Nm"])
def test_a_whole_window_may_be_typed_into_one_field(typed):
    assert Window.parse(window_of_parts(typed, "", "lbf.ft")) == Window.parse(typed)


def test_a_spec_card_gives_window_basis_and_arrangement(controller, tmp_path):
    (tmp_path / "SPEC.toml").write_text(
        '[card]\nunit = "QF-7"\npage = "sheet 1"\nversion = 1\n'
        '[window]\ntorque = "36..54 lbf.ft"\nbasis = "sliding"\narrangement = "A"\n'
        '[build]\nlayout = "each"\nthicker_shim = "more preload"\n'
    )
    controller.entry.take_card(tmp_path / "SPEC.toml")
    assert controller.model.window == Window.parse("36..54 lbf.ft", "sliding", "A")
    assert controller.entry.now.arrangement == "A"
    controller.entry.take_card(tmp_path / "gone.toml")
    assert "gone.toml" in controller.model.notices.standing[-1].where


def test_the_verdict_says_what_was_not_stated_when_it_was_pulled(controller):
    controller.entry.edit(dataclasses.replace(FULL, oil="", rest=""))
    controller.model.bench.pull()
    controller.model.poll()
    controller.entry.edit(FULL)
    controller.model.bench.pull()
    controller.model.poll()
    # Another oil is another state: the first pull stays in the series before.
    (first,) = [view_of(pull, controller.model.unit) for pull in controller.model.earlier[-1].pulls]
    (second,) = [view_of(pull, controller.model.unit) for pull in controller.model.pulls]
    assert first.notes[-1] == "not stated: oil, rest before the pull"
    assert not [note for note in second.notes if note.startswith("not stated")]


def test_the_sound_follows_the_verdict_and_can_be_muted():
    played = []
    bench = FedBench(Window.parse("35..70 N.m"))
    controller = Controller(
        BenchModel(bench, window=bench.session.window), Remembered(), Means(sounds=Sounds("list", played.append))
    )
    for peak_nm in (60.0, 20.0):
        bench.pull(peak_nm)
        controller.model.poll()
        controller.sound()
    controller.looks.turn_sound()
    bench.pull(90.0)
    controller.model.poll()
    controller.sound()
    assert played == [Tone.GOOD, Tone.LOW]


def test_what_cannot_be_remembered_is_told():
    def refuse(what):
        raise OSError(28, "no space left")

    controller = Controller(BenchModel(), Remembered(), Means(remember=refuse))
    controller.looks.turn_theme()
    assert controller.preferences.now.theme == "light"
    assert "could not be kept" in controller.model.notices.standing[-1].what


def test_a_missing_profile_is_told_on_the_strip(controller, tmp_path):
    controller.lines.open_profile(tmp_path / "none.toml")
    assert "none.toml" in controller.model.notices.standing[-1].where


def test_a_recording_opens_as_a_bench_and_its_own_window_counts(tmp_path):
    path = tmp_path / "kept.csv"
    write_trace(path, made_stream(), TraceInfo(window=Window.parse("35..70 N.m")))
    controller = Controller(BenchModel(), Remembered(), Means(benches=Benches(SensorChoice(MOMENT.date()), None, TraceInfo())))
    controller.lines.open_recording(path)
    try:
        assert controller.lines.replayed.replay.to_s == pytest.approx(9.1, abs=0.1)
        assert controller.model.window == Window.parse("35..70 N.m")
        assert controller.model.state is not BenchState.NO_LINE
    finally:
        controller.close()
    controller.lines.open_recording(tmp_path / "gone.csv")
    assert "no such trace" in controller.model.notices.standing[-1].what


def test_a_pull_set_aside_says_so_in_its_file(tmp_path):
    path = tmp_path / "pull.csv"
    controller = Controller(BenchModel(FedBench()), Remembered(), Means())
    controller.model.bench.pull()
    controller.model.poll()
    write_trace(path, controller.model.last.trace, TraceInfo(job="7", remark="mine"))
    controller.model.pulls[0] = dataclasses.replace(controller.model.pulls[0], file=path)
    samples = path.read_bytes()
    controller.exclude(1, "clamp moved")
    kept = json.loads(info_path(path).read_text())["platepull:bench"]
    assert kept == {"job": "7", "remark": "mine", "excluded": "clamp moved"}
    controller.exclude(1, None)
    assert json.loads(info_path(path).read_text())["platepull:bench"] == {"job": "7", "remark": "mine"}
    assert path.read_bytes() == samples
    assert controller.model.rule is DecisionRule.GUARDED


PROFILE = """[device]
name = "bench 1"
port = "COM3"
protocol = "text"
capacity = "200 N.m"
[text]
columns = ["torque [lbf.ft]", "angle [deg]"]
rate = "500 Hz"
"""


def test_raw_rows_stand_beside_what_is_read_in_them(tmp_path):
    (tmp_path / "bench.toml").write_text(PROFILE)
    profile = read_profile(tmp_path / "bench.toml")
    tap = RawTap()
    tap.note(b"half a li")
    tap.note(b"ne\r\n10.0,1.5\r\nboot v2\r\n20.0,2.5\r\n30.")
    rows = tap.rows(profile, 12)
    assert [row.raw for row in rows] == ["10.0,1.5", "boot v2", "20.0,2.5"]
    assert [row.read for row in rows] == [True, False, True]
    assert rows[0].torque_nm == pytest.approx(13.558179, rel=1e-6)  # NIST SP 811
    assert row_texts(rows[2], UnitChoice("lbf.ft")) == ("20.0,2.5", "20.0 lbf·ft", "2.50°")
    assert row_texts(rows[1], UnitChoice())[1] == "not readable"


@pytest.mark.parametrize(
    ("due", "words", "amiss"),
    [
        (None, "not stated", False),
        ("2026-01-01", "overdue", True),
        ("2026-03-20", "in 15 days", True),
        ("2027-03-05", "365", False),
    ],
)
def test_the_line_page_tells_when_calibration_is_due(due, words, amiss):
    rows = figures(Status(zero_nm=0.4), TraceInfo(calibration=Calibration(due=due)), datetime.date(2026, 3, 5), UnitChoice("N.m"))
    assert words in rows[-1].value
    assert rows[-1].amiss is amiss


def test_lost_and_bad_samples_are_marked():
    wire = LineFigures(samples=9, rate_hz=998.4, faults=WireFaults(garbled=2, lost=1), dropped=4, up=True)
    rows = {
        row.name: row for row in figures(Status(zero_nm=0.4, line=wire), TraceInfo(), datetime.date(2026, 3, 5), UnitChoice("N.m"))
    }
    assert rows["samples a second"].value == "998 Hz"
    assert {name for name, row in rows.items() if row.amiss} == {"lost on the wire", "not readable", "dropped by this computer"}


@pytest.mark.parametrize(("field", "text"), [("temperature", "-300"), ("rest", "-5"), ("rest", "3 years")])
def test_what_no_bench_has_is_refused_and_stays_out(field, text):
    """Findings 2.5: -300 degrees and a rest of -5 s were accepted, and went into every pull's metadata."""
    conditions = Conditions(**{field: text})
    assert conditions.refusal(field) is not None
    assert conditions.into(TraceInfo()) == TraceInfo()


def test_answers_come_in_the_unit_in_which_the_window_was_typed_and_it_stays_in_reach_of_the_unit_key():
    model = BenchModel(FedBench(None), unit=UnitChoice("N.m"))
    kept = []
    controller = Controller(model, Remembered(), Means(remember=kept.append, today=lambda: datetime.date(2026, 3, 5)))
    controller.entry.edit(Conditions(window="300..540 in-lbs"))
    assert model.unit == UnitChoice("in-lbs")
    assert kept[-1].unit == "in-lbs"
    seen = []
    for _ in range(4):
        controller.looks.turn_unit()
        seen.append(model.unit.first)
    assert seen == ["N.m", "lbf.ft", "N.m", "in-lbs"]
    controller.entry.edit(Conditions(window="300..540 in-lbs", oil="QF oil"))
    controller.looks.turn_unit()
    controller.entry.edit(Conditions(window="300..540 in-lbs", oil="another"))
    assert model.unit.first == "N.m"  # who chose another unit keeps it until another window is typed
    controller.entry.edit(Conditions(window="35..60 Nm"))
    assert model.unit.first == "N.m"  # another spelling is no other unit


def test_a_window_that_a_pull_misses_by_far_is_asked_about_once():
    window = Window.parse("25..45 lbf.in")
    bench = FedBench(window)
    model = BenchModel(bench, window=window, unit=UnitChoice("lbf.in"))
    for _ in range(2):
        bench.pull(60.0)
        model.poll()
    asked = [notice for notice in model.notices.standing if "is lbf.in its unit" in notice.what]
    assert len(asked) == 1
    assert "25..45 lbf.ft" in asked[0].what
