"""What the screen shows: the model on the real session, fed by hand."""

from pathlib import Path

import pytest
from support.fed import FedBench
from support.made import MOMENT

from analysis.judgement import VerdictState
from analysis.window import Window
from drivers.items import ConnectionLost, LineUp, LineWarning
from rig.live.news import DiskBack, DiskRefuses, Ended, EndedAbruptly, Failed, PullKept
from rig.window.axes import calm, torque_range
from rig.window.model import BenchModel, BenchState, Changed
from rig.window.series import THINNED_POINTS
from rig.window.views.verdict import Tone, live_view, scale_of_verdict, view_of, window_text
from rig.words.units import UnitChoice

WINDOW = Window.parse("35..70 N.m")


@pytest.fixture
def bench():
    return FedBench(WINDOW)


@pytest.fixture
def model(bench):
    return BenchModel(bench, window=WINDOW)


def test_without_a_bench_there_is_no_line():
    model = BenchModel()
    assert model.state is BenchState.NO_LINE
    assert model.poll() is Changed.NOTHING
    assert model.live(20.0, 900).over_time.x.size == 0


def test_the_state_follows_the_pull(bench, model):
    assert model.state is BenchState.SEARCHING
    model.poll()
    assert model.state is BenchState.WAITING
    bench.pull(until_s=3.9)
    assert Changed.STATE in model.poll()
    assert model.state is BenchState.PULLING
    assert model.looking_at is None
    assert 30 < model.peak_nm < 61
    assert model.now_nm == pytest.approx(model.peak_nm, abs=2)


def test_a_pull_is_read_early_then_for_good_and_told_to_the_sound_once(bench, model):
    bench.pull(until_s=6.3)
    model.poll()
    assert model.state is BenchState.READING
    assert not model.last.final
    assert "first reading" in view_of(model.last, model.unit).spoken()
    assert model.take_judged() == []
    bench._at_s = 0.0
    bench.close()
    model.poll()
    assert model.state is BenchState.WAITING
    assert [pull.number for pull in model.take_judged()] == [1]
    model.set_window(WINDOW)
    model.poll()
    assert model.take_judged() == []
    assert len(model.pulls) == 1


def test_the_verdict_comes_up_by_itself_with_value_margin_and_uncertainty(bench, model):
    bench.pull()
    model.poll()
    view = view_of(model.shown, model.unit)
    assert (view.tone, view.word, view.unit) == (Tone.GOOD, "IN WINDOW", "N·m")
    assert float(view.value) == pytest.approx(60.0, abs=0.6)
    assert view.margin.endswith("below upper limit")
    assert view.uncertainty.startswith("± ")
    scale = scale_of_verdict(model.shown.verdict, model.unit)
    assert scale.low == 35
    assert scale.value + scale.spread < scale.end


def test_both_units_are_shown_if_wished(bench, model):
    model.unit = UnitChoice("N.m", "lbf.ft")
    bench.pull()
    model.poll()
    view = view_of(model.shown, model.unit)
    assert float(view.second.split()[0]) == pytest.approx(60.0 / 1.3558179, abs=0.5)  # NIST SP 811: 1 lbf.ft = 1.3558179 N.m
    assert window_text(WINDOW, model.unit) == "pack breakaway\n35.0 – 70.0 N·m\n25.8 – 51.6 lbf·ft"


def test_without_a_window_the_reading_is_shown_and_what_it_lacks():
    bench = FedBench()
    model = BenchModel(bench)
    bench.pull()
    model.poll()
    view = view_of(model.last, model.unit)
    assert (view.tone, view.word) == (Tone.NONE, "NO WINDOW")
    assert float(view.value) == pytest.approx(60.0, abs=0.6)
    assert "no window set" in view.notes[0]
    assert scale_of_verdict(model.last.verdict, model.unit) is None


def test_another_window_judges_every_pull_of_the_series_anew(bench, model):
    for _ in range(3):
        bench.pull()
    model.poll()
    model.set_window(Window.parse("80..90 N.m"))
    model.poll()
    assert {pull.verdict.state for pull in model.pulls} == {VerdictState.BELOW}
    assert view_of(model.pulls[0], model.unit).margin.startswith("short by")
    model.set_window(None)
    model.poll()
    assert {pull.verdict for pull in model.pulls} == {None}


def test_a_pull_set_aside_stays_and_stays_aside_when_judged_anew(bench, model):
    bench.pull()
    bench.pull()
    model.poll()
    model.exclude(2, "clamp moved")
    model.set_window(Window.parse("80..90 N.m"))
    model.poll()
    assert [pull.excluded for pull in model.pulls] == [None, "clamp moved"]
    assert "set aside: clamp moved" in view_of(model.pulls[1], model.unit).spoken()
    model.exclude(2, None)
    assert model.pulls[1].excluded is None


def test_a_new_pull_takes_the_screen_from_an_old_one(bench, model):
    bench.pull()
    bench.pull()
    model.poll()
    model.step(-1)
    assert model.shown.number == 1
    model.step(-1)
    assert model.shown.number == 1
    model.turn_over()
    assert model.shown is None
    model.turn_over()
    assert model.shown.number == 2
    bench.pull(until_s=3.9)
    model.poll()
    assert model.shown is None


def test_old_pulls_keep_their_picture_and_lose_only_memory(bench):
    model = BenchModel(bench, window=WINDOW, whole_traces=1)
    for _ in range(3):
        bench.pull(rate_hz=2000.0)
        model.poll()
    assert [len(pull.trace) > 8000 for pull in model.pulls] == [False, False, True]
    assert len(model.pulls[0].trace) < 1.1 * THINNED_POINTS
    assert model.pulls[0].trace.torque_nm.max() == pytest.approx(60.0, abs=0.6)


def test_a_disk_that_refuses_stands_once_until_it_is_back_and_the_pull_gets_its_file(bench, model):
    bench.pull()
    model.poll()
    bench.told += [DiskRefuses("no space left", "folder", "make room", 0), DiskRefuses("no space left", "folder", "make room", 1)]
    model.poll()
    (notice,) = model.notices.standing
    assert "no space left" in notice.what
    assert "until there is room: 1" in notice.what
    bench.told += [PullKept(1, Path("p.csv")), DiskBack("folder")]
    model.poll()
    assert [notice.what for notice in model.notices.standing] == ["folder can be written again"]
    assert model.pulls[0].file == Path("p.csv")


def test_a_kill_before_this_start_is_a_notice(bench, model):
    bench.told += [EndedAbruptly(MOMENT, 35.0, 7, Path("p.csv")), EndedAbruptly(MOMENT, 300.0, None, None)]
    model.poll()
    first, second = model.notices.standing
    assert "in pull 7" in first.what
    assert "p.csv" in first.remedy
    assert "nothing was read for 35 s" in first.remedy
    assert "between pulls" in second.what
    assert "a gap of 5 min" in second.what


def test_line_troubles_go_when_the_line_is_back_others_stay_until_read(bench, model):
    bench.told += [ConnectionLost("port", "the line went away", "check the plug"), Failed("disk full", "folder", "make room")]
    assert Changed.NOTICES in model.poll()
    assert model.state is BenchState.LOST
    assert len(model.notices.standing) == 2
    bench.told += [LineUp("port"), LineWarning("a counter jumped", "")]
    model.poll()
    assert [trouble.what for trouble in model.notices.standing] == ["disk full", "a counter jumped"]
    model.notices.read()
    assert [trouble.what for trouble in model.notices.standing] == ["disk full"]
    bench.told.append(Ended())
    model.poll()
    assert model.state is BenchState.ENDED


def test_closing_during_a_pull_loses_nothing(bench, model):
    bench.pull(until_s=5.5)
    model.poll()
    assert model.pulls == []
    model.close()
    assert [pull.final for pull in model.pulls] == [True]
    assert model.last.result.breakaway.torque_nm == pytest.approx(60.0, abs=0.6)


def test_another_bench_goes_on_numbering_and_judging(bench, model):
    bench.pull()
    other = []
    model.open(lambda number: other.append(FedBench(first_number=number)) or other[0])
    assert bench.closed
    other[0].pull()
    model.poll()
    assert [pull.number for pull in model.pulls] == [1, 2]
    assert model.last.verdict.state is VerdictState.IN_WINDOW


def test_the_live_picture_is_zeroed_and_ends_now(bench, model):
    bench.pull(until_s=5.0)
    model.poll()
    live = model.live(3.0, 900)
    assert live.over_time.x[-1] == 0.0
    assert live.over_time.x[0] >= -3.1
    assert live.over_time.y.max() == pytest.approx(60.0, abs=1.0)
    assert live.low < 0 < live.over_time.y.max() < live.high
    assert live.over_angle.x[0] == 0.0
    assert live.turned[0] < 0 < live.over_angle.x.max() <= live.turned[1]


def test_while_pulling_the_panel_shows_the_torque_now(bench, model):
    bench.pull(until_s=3.9)
    model.poll()
    view = live_view(model.now_nm, model.peak_nm, model.state, UnitChoice("lbf.ft"))
    assert view.word == "TORQUE NOW"
    assert view.unit == "lbf·ft"
    assert float(view.value) == pytest.approx(model.now_nm / 1.3558179, abs=0.06)
    assert "highest so far" in view.note


@pytest.mark.parametrize(("value", "expected"), [(0.0, 1.0), (7.0, 8.0), (8.0, 8.0), (0.012, 0.015), (1e3 + 1, 1.5e3)])
def test_axes_end_on_calm_numbers(value, expected):
    assert calm(value) == pytest.approx(expected)


def test_a_pull_the_other_way_shows_the_window_on_its_own_side():
    low, high = torque_range(-50.0, 0.5, WINDOW, 1.0)
    assert low <= -70
    assert 0 < high < 20
