"""The series, the closer look and the two sets: what is shown of several pulls."""

import dataclasses
import re

import numpy as np
import pytest
from support.fed import FedBench
from support.made import MOMENT, made_stream

from analysis.errors import BenchError
from analysis.judgement import DecisionRule, VerdictState
from analysis.results import Chatter, Label
from analysis.verdict.judge import Known, judge
from analysis.verdict.scatter import NO_SCATTER
from analysis.verdict.series import read_series
from analysis.verdict.votes import pull_of
from analysis.window import Basis, Window
from rig.calibration.sensor_in_use import SensorChoice
from rig.files.metadata import TraceInfo
from rig.files.trace_csv import write_trace
from rig.window.background import Work
from rig.window.decimation import aligned
from rig.window.model import BenchModel, SeriesOfPulls
from rig.window.views.compare import load, members_of_series
from rig.window.views.compare import view_of as compared
from rig.window.views.pull import cursor_text, figures_of, label_name, picture_of, torque_spectrum
from rig.window.views.series import card_of, counted, series_title, summary_of
from rig.window.views.verdict import Tone, view_of
from rig.words.numbers import with_spread
from rig.words.units import UnitChoice
from rig.words.verdicts import settling_text

WINDOW = Window.parse("35..70 N.m")
UNIT = UnitChoice()


def model_after(*pulls):
    """A model after pulls of these peaks; negative: the other way."""
    bench = FedBench(WINDOW)
    model = BenchModel(bench, window=WINDOW)
    for peak_nm in pulls:
        bench.pull(abs(peak_nm), back=peak_nm < 0)
    model.poll()
    assert len(model.pulls) == len(pulls)
    return model


@pytest.fixture(scope="module")
def four():
    return model_after(68.0, 60.0, -58.0, 62.0)


def test_mean_and_uncertainty_are_told_for_each_direction_and_none_is_left_out_for_being_first(four):
    summary = summary_of(four.pulls, UNIT, WINDOW, known=Known(NO_SCATTER))
    assert (summary.tone, summary.word) == (Tone.GOOD, "IN WINDOW")
    assert re.fullmatch(r"60\.\d+ ± \d\.\d+ N·m   4 of 4 pulls counted", summary.count)
    first, second = (line for line in summary.lines if "n = " in line)
    assert first.startswith("↻ 63.")
    assert first.endswith("n = 3")
    assert second.startswith("↺ 58.")


def test_a_pull_alone_is_the_series_and_what_to_do_next_is_the_first_line():
    summary = summary_of(model_after(50.0).pulls, UNIT, WINDOW)
    assert summary.tone is Tone.GOOD
    assert summary.lines[0].startswith("pull 2 of 3, this way; then move the lever over")


def test_a_pull_set_aside_does_not_count():
    model = model_after(60.0, 60.0, 20.0)
    assert summary_of(model.pulls, UNIT, WINDOW).tone is Tone.UNDECIDED
    model.exclude(3, "slipped off the lever")
    assert [pull.number for pull in counted(model.pulls, Basis.BREAKAWAY)] == [1, 2]
    assert card_of(model.pulls[2], UNIT, apart=False).excluded == "slipped off the lever"
    assert "2 of 3 pulls counted" in summary_of(model.pulls, UNIT, WINDOW).count


def test_a_series_is_judged_as_the_command_line_judges_it():
    model = model_after(60.0, 35.4, 35.9, 35.6)
    summary = summary_of(model.pulls, UNIT, WINDOW)
    verdict = read_series([pull_of(pull.result) for pull in model.pulls], WINDOW).verdict
    assert verdict.state is VerdictState.UNDECIDED
    assert summary.tone is Tone.UNDECIDED
    assert summary.lines[0] == settling_text(verdict)
    assert summary.count.startswith(with_spread(verdict.value_nm, verdict.expanded_u_nm, "N.m"))


def test_a_series_that_chatters_never_looks_good(four):
    chattering = Chatter(assessable=True, score=0.9, frequency_hz=8.0, peak_to_peak_nm=14.0, cycles=9)
    pulls = [dataclasses.replace(pull, result=dataclasses.replace(pull.result, chatter=chattering)) for pull in four.pulls]
    summary = summary_of(pulls, UNIT, WINDOW, known=Known(NO_SCATTER))
    assert (summary.tone, summary.word) == (Tone.CHATTER, "CHATTERS")
    assert summary.lines[0] == "CHATTERS in 4 of 4 pulls"
    verdict = judge(pulls[1].result, WINDOW, known=NO_SCATTER)
    view = view_of(dataclasses.replace(pulls[1], verdict=verdict), UNIT)
    assert (view.tone, view.word) == (Tone.CHATTER, "CHATTERS")
    assert view.margin.startswith("CHATTERS · ")
    assert "14.0 N·m" in view.notes[0]


def test_a_recording_that_is_excluded_does_not_count_in_the_sets_and_says_why(tmp_path):
    for name, excluded in (("a", None), ("b", "slipped off the lever")):
        write_trace(tmp_path / f"{name}.csv", made_stream(1), TraceInfo(excluded=excluded))
    sensor_of = SensorChoice(MOMENT.date()).of
    members = list(load([tmp_path / "a.csv", tmp_path / "b.csv"], sensor_of, WINDOW, DecisionRule.GUARDED))
    assert [member.pull.excluded for member in members] == [None, "slipped off the lever"]
    first, second = compared(members, [], UNIT).before
    assert (first.counts, second.counts) == (True, False)
    other = [dataclasses.replace(members[0], compared=dataclasses.replace(members[0].compared, fingerprint="other"))]
    assert "slipped off the lever" in compared(members, other, UNIT).before[1].cells[-1]


def test_without_a_window_a_series_has_its_mean(four):
    summary = summary_of(four.pulls, UNIT, None)
    assert (summary.tone, summary.word) == (Tone.NONE, "SERIES")
    assert summary.count.endswith("4 of 4 pulls counted")


def test_an_empty_series_says_so():
    assert summary_of([], UNIT, WINDOW).count == "no pull yet"


def test_a_card_holds_a_small_curve_the_value_and_the_direction(four):
    card = card_of(four.pulls[2], UNIT, apart=False)
    assert card.way == "↺"
    assert card.curve.x.size < 300
    assert card.curve.y.max() == pytest.approx(58.0, abs=0.6)
    assert float(card.value) == pytest.approx(58.0, abs=0.6)


def test_the_closer_look_places_marks_stretches_and_uncertainty_on_the_curve(four):
    picture = picture_of(four.pulls[2], UNIT)
    mark = picture.over_time.breakaway
    assert mark.from_x == mark.to_x == 0.0
    assert mark.level == pytest.approx(58.0, abs=0.6)
    assert mark.spread > 0
    slide = picture.over_angle.sliding
    assert 0 < slide.from_x < slide.to_x
    assert slide.level == pytest.approx(0.8 * 58.0, abs=0.6)
    names = [part.name for part in picture.over_time.stretches]
    assert {"rest", "load", "sliding"} <= set(names)
    joints = [(a.to_x, b.from_x) for a, b in zip(picture.over_time.stretches, picture.over_time.stretches[1:], strict=False)]
    assert all(left == pytest.approx(right) for left, right in joints)


def test_every_label_of_the_analysis_has_a_name():
    assert len({label_name(label) for label in Label}) == len(Label)


def test_the_cursor_tells_the_sample_under_it(four):
    text = cursor_text(four.pulls[1], 1.0, UNIT)
    assert text.split()[0] == "+1.000"
    assert float(text.split()[2]) == pytest.approx(48.0, abs=0.4)
    assert text.endswith("sliding")


def test_figures_and_spectrum_of_a_pull_are_at_hand(four):
    names = [name for name, _ in figures_of(four.pulls[1], UnitChoice("N.m", "lbf.ft"))]
    assert names[:3] == ["verdict", "breakaway", "sliding"]
    assert "±" in names
    lines = torque_spectrum(four.pulls[1], UNIT)
    assert lines.x.size > 20
    assert (lines.y >= 0).all()


def test_members_list_what_was_read_and_what_does_not_count():
    model = model_after(60.0, -60.0)
    model.exclude(1, "trial pull")
    view = compared(list(members_of_series(model.pulls)), [], UNIT)
    first, second = view.before
    assert (first.counts, first.cells[0]) == (False, "1 ↻")
    assert second.counts
    assert second.cells[0] == "2 ↺"
    assert second.cells[1].startswith("60.")
    assert view.comparison is None  # one side is empty
    assert "sweep slow, fast, slow, twice" in view.texts[0]


def test_recordings_are_read_on_a_thread_and_bad_ones_told(tmp_path, four):
    good, bad = tmp_path / "good.csv", tmp_path / "bad.csv"
    write_trace(good, four.pulls[1].trace)
    bad.write_text("nothing of the kind")
    work = Work("reading", load([good, bad], lambda info: info.sensor(MOMENT.date()), WINDOW, four.rule), 2)
    work._thread.join()
    assert work.share == 1.0
    assert not work.running
    (member,) = work.take()
    assert member.name == "good"
    assert member.pull.result.breakaway.torque_nm == pytest.approx(60.0, abs=0.6)
    assert "bad.csv" in work.troubles[0].where
    work.stop()


def test_work_can_be_stopped_between_steps_and_keeps_what_is_done():
    asked = []

    def steps():
        for i in range(10**9):
            asked.append(i)
            yield i

    work = Work("counting", steps(), 10**9)
    while not asked:
        pass
    work.stop()
    done = work.take()
    assert done == list(range(len(done)))
    assert not work.running


def test_work_that_breaks_is_told_not_lost():
    def steps():
        yield 1
        raise ZeroDivisionError("of all things")

    work = Work("dividing", steps(), 2)
    work._thread.join()
    assert work.take() == [1]
    (trouble,) = work.troubles
    assert isinstance(trouble, BenchError)
    assert "of all things" in str(trouble)


def test_aligned_takes_the_zero_offset_off(four):
    pull = four.pulls[1]
    over_time, _ = aligned(pull.trace, pull.result, 10**6)
    assert np.median(over_time.y[:200]) == pytest.approx(0.0, abs=0.05)


def test_a_series_without_an_additive_is_called_so():
    held = {"unit": "QF-7", "arrangement": "A"}
    assert series_title(SeriesOfPulls("", conditions=held | {"additive": "none"})) == "QF-7 · A · no additive"
    assert series_title(SeriesOfPulls("", conditions=held | {"additive": "4 %"})) == "QF-7 · A · 4 %"
    assert series_title(SeriesOfPulls("", conditions=held)) == "QF-7 · A"
