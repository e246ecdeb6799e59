"""A day at the bench: the line comes by itself, earlier series stay selectable, notes are kept, no tune comes late."""

import dataclasses

import numpy as np
import pytest
from PySide6.QtCore import Qt
from support.device import free_port, printing_device
from support.fed import FedBench
from support.made import MOMENT, made_stream

from analysis.window import Window
from rig.calibration.sensor_in_use import SensorChoice
from rig.files.metadata import TraceInfo
from rig.files.trace_csv import read_info, write_trace
from rig.window.conditions import Conditions
from rig.window.controller import Controller, Means
from rig.window.memory import Remembered, recall, remember
from rig.window.model import BenchModel, BenchState
from rig.window.openers import Benches, Opened
from rig.window.qt.main_window import MainWindow
from rig.window.series import THINNED_POINTS, WHOLE_TRACES
from rig.window.sounds import Sounds
from rig.window.views.series import series_title

WINDOW = Window.parse("35..70 N.m")


def profile_text(port):
    return (
        f'[device]\nname = "bench 1"\nport = "socket://127.0.0.1:{port}"\nprotocol = "text"\ncapacity = "200 N.m"\n'
        '[text]\ncolumns = ["torque [N.m]", "counter"]\nrate = "200 Hz"\n'
    )


def controller_on(bench=None, remembered=None, *, whole_traces=WHOLE_TRACES, **means):
    benches = Benches(SensorChoice(MOMENT.date()), None, TraceInfo())
    model = BenchModel(bench, window=WINDOW, whole_traces=whole_traces)
    return Controller(model, remembered or Remembered(), Means(benches=benches, **means))


@pytest.fixture
def window(qtbot):
    window = MainWindow(controller_on(FedBench(WINDOW)), cautions=False)
    window._timer.stop()
    qtbot.addWidget(window)
    window.resize(1280, 800)
    window.show()
    window.tick()
    yield window
    window.close()


def pull(window, peak_nm=60.0):
    window.model.line.bench.pull(peak_nm)
    window.tick()


def test_a_line_that_is_not_there_at_the_start_is_waited_for(qtbot, tmp_path):
    port = free_port()
    (tmp_path / "bench.toml").write_text(profile_text(port))
    controller = controller_on()
    controller.lines.open_profile(tmp_path / "bench.toml")
    model = controller.model
    qtbot.waitUntil(lambda: bool(model.poll()) and model.state is BenchState.LOST, timeout=10_000)
    assert [notice.of_line for notice in model.notices.standing] == [True]
    with printing_device(port=port):
        qtbot.waitUntil(lambda: (model.poll(), model.state is BenchState.WAITING)[1], timeout=20_000)
        assert model.notices.standing == []
        controller.close()


def test_the_profile_opened_last_is_opened_again_by_itself(tmp_path):
    (tmp_path / "bench.toml").write_text(profile_text(free_port()))
    path = tmp_path / "window.json"
    first = controller_on(remember=lambda what: remember(path, what))
    first.lines.open_profile(tmp_path / "bench.toml")
    first.close()
    second = controller_on(remembered=recall(path))
    assert not second.lines.can_reopen
    second.lines.open_remembered()
    assert second.lines.opened.profile.name == "bench 1"
    second.close()
    (tmp_path / "bench.toml").unlink()
    third = controller_on(remembered=recall(path))
    third.lines.open_remembered()
    assert third.lines.opened is None
    assert third.model.notices.standing == []


def test_opening_the_line_again_goes_on_with_the_series(tmp_path):
    (tmp_path / "bench.toml").write_text(profile_text(free_port()))
    controller = controller_on(FedBench(WINDOW))
    controller.model.line.bench.pull(60.0)
    controller.model.poll()
    controller.lines.open_profile(tmp_path / "bench.toml")
    before = controller.lines.opened
    controller.lines.reopen()
    assert controller.lines.opened is not before
    assert [each.number for each in controller.model.pulls] == [1]
    controller.close()


def test_an_earlier_series_can_be_looked_at_and_is_judged_by_its_own_window(window):
    model, controller = window.model, window.controller
    window._after(controller.entry.edit, Conditions(window="35..70 N.m", unit="QF-7", phase="as found"))
    pull(window, 60.0)
    window._after(controller.entry.edit, dataclasses.replace(controller.entry.now, phase="rebuilt", window="10..20 N.m"))
    pull(window, 50.0)
    assert window.bench.panel.accessibleName().startswith("ABOVE")
    window._after(model.step_series, -1)
    assert [each.number for each in model.pulls] == [1]
    assert series_title(model.series) == "QF-7 · as found"
    assert window.bench.panel.accessibleName().startswith("IN WINDOW")
    assert "EARLIER SERIES" in window.bench.band.accessibleName()
    assert "35.0" in window.bench.band.accessibleName()
    pull(window, 51.0)  # whoever pulls sees that pull
    assert model.looking_back is None
    assert [each.number for each in model.pulls] == [2, 3]


def test_space_and_escape_lead_from_an_earlier_series_to_the_bench(window, qtbot):
    pull(window)
    window._new_series()
    for key in (Qt.Key.Key_Space, Qt.Key.Key_Escape):
        window.model.notices.read()
        window._after(window.model.step_series, -1)
        assert window.model.looking_back is not None
        qtbot.keyClick(window.bench, key)
        assert window.model.looking_back is None


def test_the_list_of_series_names_them_and_counts_in_plain_grammar(window):
    pull(window)
    window._after(window.controller.new_series)
    window.model.line.bench.pull(50.0)
    pull(window)
    assert [window.bench.which.itemText(at).split("   ")[1] for at in range(2)] == ["2 pulls", "1 pull"]
    window.bench.which.activated.emit(1)
    assert [each.number for each in window.model.pulls] == [1]


def test_a_pull_of_the_line_judged_while_a_recording_was_in_sight_is_not_played_later(tmp_path):
    path, played = tmp_path / "kept.csv", []
    write_trace(path, made_stream(peak_nm=50.0), TraceInfo())
    bench = FedBench(WINDOW)
    controller = controller_on(bench, sounds=Sounds("list", played.append))
    controller.lines.open_recording(path)
    bench.pull(61.0)
    controller.model.poll()
    controller.sound()
    controller.lines.back_to_bench()
    controller.sound()
    assert played == []
    bench.pull(61.0)
    controller.model.poll()
    controller.sound()
    assert len(played) == 1
    controller.close()


def test_the_sensor_s_end_is_heard_while_a_recording_is_in_sight(tmp_path):
    path, played = tmp_path / "kept.csv", []
    write_trace(path, made_stream(peak_nm=50.0), TraceInfo())
    bench = FedBench(WINDOW)
    controller = controller_on(bench, sounds=Sounds("list", played.append))
    controller.lines.open_recording(path)
    controller.model.line.capacity_nm = 64.0
    bench.pull(60.0, until_s=3.9)
    controller.model.poll()
    controller.sound()
    assert [str(tone) for tone in played] == ["stop"]
    controller.close()


def test_a_note_on_a_pull_is_kept_with_its_recording_and_shown(window, tmp_path):
    pull(window)
    file = tmp_path / "pull.csv"
    kept = window.model.pulls[0]
    write_trace(file, kept.trace, TraceInfo(number=1))
    window.model.series.pulls[0] = dataclasses.replace(kept, file=file)
    window.show_page(window.pull)
    window.pull.note.setText("clamp slipped a little")
    window.pull.note.editingFinished.emit()
    assert read_info(file).remark == "clamp slipped a little"
    assert window.model.pulls[0].remark == "clamp slipped a little"
    assert "clamp slipped a little" in " ".join(label.text() for pair in window.pull._labels for label in pair)


def recorded(window, at, folder):
    """Put a pull of the series on the disk, as the recorder does."""
    kept = window.model.line.series.pulls[at]
    file = folder / f"pull_{kept.number}.csv"
    write_trace(file, kept.trace, TraceInfo(number=kept.number))
    window.model.line.series.kept(kept.number, file)
    return file


def test_a_note_on_a_series_is_kept_with_its_pulls_shown_and_ends_with_it(window, tmp_path):
    bench, page = window.model.line.bench, window.bench
    window.controller.lines.opened = Opened(bench, None, None, None, TraceInfo(), None)
    pull(window)
    file = recorded(window, 0, tmp_path)
    page.note.setText("vice let go once")
    page.note.editingFinished.emit()
    assert read_info(file).series_remark == "vice let go once"
    assert read_info(file).remark is None
    assert bench.described[-1].series_remark == "vice let go once"  # the pulls to come
    window._after(window.controller.new_series)
    assert page.note.text() == ""
    assert bench.described[-1].series_remark is None
    window._after(window.model.step_series, -1)
    assert page.note.text() == "vice let go once"


def test_a_note_typed_while_another_series_comes_into_sight_goes_to_its_own(window):
    pull(window)
    window._after(window.controller.new_series)
    first, second = window.model.all_series
    window._after(window.model.look_back, first)
    window.bench.note.setText("the first")  # no Enter
    window._after(window.model.look_back, None)
    assert (first.remark, second.remark, window.bench.note.text()) == ("the first", "", "")


def test_of_a_day_of_short_series_only_the_newest_traces_stay_whole_and_an_earlier_one_comes_back_from_its_file(tmp_path):
    bench = FedBench(WINDOW)
    controller = controller_on(bench, whole_traces=2)
    model, whole = controller.model, []
    for number in range(1, 6):  # five series of one pull each
        bench.pull(60.0)
        model.poll()
        pull = model.series.get(number)
        whole.append(pull.trace)
        file = tmp_path / f"pull_{number}.csv"
        write_trace(file, pull.trace, TraceInfo(number=number))
        model.series.kept(number, file)
        controller.new_series()
    bench.pull(60.0)
    model.poll()
    pulls = [pull for series in model.all_series for pull in series.pulls]
    assert [pull.thinned for pull in pulls] == [True, True, True, True, False, False]
    assert all(len(pull.trace) < 1.1 * THINNED_POINTS for pull in pulls[:4])
    for series, as_pulled in zip(model.earlier[:2], whole, strict=False):
        model.look_back(series)
        assert model.shown.thinned
        while not controller.read_back():
            controller.reading_back.work.stop()
        assert not model.shown.thinned
        np.testing.assert_array_equal(model.shown.trace.torque_nm, as_pulled.torque_nm)
        assert model.shown.result.breakaway.torque_nm == model.last.result.breakaway.torque_nm
    assert model.earlier[0].pulls[0].thinned  # the one before is thin again: to leaf through a day fills no memory
    controller.close()


def test_an_earlier_pull_whose_file_is_gone_keeps_its_thin_curve_and_that_is_told_once(tmp_path):
    bench = FedBench(WINDOW)
    controller = controller_on(bench, whole_traces=1)
    model = controller.model
    for _ in range(2):
        bench.pull(60.0)
        model.poll()
    model.series.kept(1, tmp_path / "gone.csv")
    model.look_at(1)
    for _ in range(4):
        controller.read_back()
        if controller.reading_back.work is not None:
            controller.reading_back.work.stop()
    assert model.shown.thinned
    assert [notice.where for notice in model.notices.standing] == [str(tmp_path / "gone.csv")]
    controller.close()


def test_what_is_noted_of_a_pull_before_it_is_on_the_disk_is_written_then(window, tmp_path):
    pull(window)
    window.controller.note(1, "clamp slipped")
    window.controller.exclude(1, "clamp moved")
    window.controller.note_series(window.model.series, "second try")
    file = recorded(window, 0, tmp_path)
    window.controller.write_late()
    info = read_info(file)
    assert (info.remark, info.excluded, info.series_remark) == ("clamp slipped", "clamp moved", "second try")


def test_a_pull_that_is_told_again_stays_in_the_series_it_was_made_in(window):
    """Another window makes the bench tell its last pull again: it must neither join the new series nor be judged by its window."""
    model, controller = window.model, window.controller
    window._after(controller.entry.edit, Conditions(window="35..70 N.m", unit="QF-7", phase="as found"))
    pull(window, 60.0)
    window._after(controller.entry.edit, dataclasses.replace(controller.entry.now, phase="rebuilt", window="10..20 N.m"))
    window.tick()
    assert model.pulls == []
    assert [each.verdict.state for each in model.earlier[0].pulls] == ["in_window"]
    assert model.bench.session.window.high_nm == pytest.approx(20.0)
