"""The real window on the real simulated bench: a process of its own, a pseudo-terminal, the reader threads, files on disk."""

import os
from datetime import date

import pytest
from support.device import printing_device
from support.made import MOMENT, made_stream
from support.processes import pretend_bench

from analysis.window import Window
from drivers.clock import SystemClock
from drivers.replay import Replay
from rig.calibration.sensor_in_use import SensorChoice
from rig.files.metadata import TraceInfo, Transducer
from rig.files.profile import read_profile
from rig.files.trace_csv import info_path, read_trace, write_trace
from rig.live.runner import Bench
from rig.live.session import Session
from rig.window.controller import Controller, Means
from rig.window.memory import Remembered
from rig.window.model import BenchModel, BenchState
from rig.window.openers import Benches
from rig.window.qt.main_window import MainWindow
from rig.window.qt.replay_bar import ReplayBar
from rig.window.views.replay import SPEEDS

WINDOW = Window.parse("40..65 N.m")

needs_pty = pytest.mark.skipif(not hasattr(os, "openpty"), reason="this system has no pseudo-terminals")


def window_on(qtbot, out, remembered=None):
    benches = Benches(SensorChoice(MOMENT.date()), out, TraceInfo(who="T.W."))
    controller = Controller(BenchModel(window=WINDOW), remembered or Remembered(), Means(benches=benches))
    window = MainWindow(controller, cautions=False)
    qtbot.addWidget(window)
    window.show()
    return controller, window


@needs_pty
def test_a_pull_on_the_pretend_bench_comes_to_a_verdict_untouched(qtbot, tmp_path):
    controller, window = window_on(
        qtbot, tmp_path / "pulls", Remembered(conditions={"arrangement": "A", "oil": "QF oil"}, day=date.today().isoformat())
    )
    with pretend_bench(tmp_path, "--over", "pty", "--scenario", "good-pack") as (_, profile, _port):
        controller.lines.open_line(read_profile(profile))
        qtbot.waitUntil(lambda: controller.model.state is BenchState.PULLING, timeout=30_000)
        assert "PULLING" in window.bench.band.accessibleName()
        qtbot.waitUntil(lambda: bool(controller.model.pulls) and controller.model.pulls[0].final, timeout=30_000)
        qtbot.wait(80)
        assert window.bench.panel.accessibleName().startswith("IN WINDOW")
        window.show_page(window.line)
        qtbot.waitUntil(lambda: window.line.raw.item(0, 1).text().endswith("N·m"), timeout=5_000)
        assert controller.model.bench.status.line.rate_hz == pytest.approx(1000, rel=0.02)
        assert controller.model.bench.status.line.faults.lost == 0
        window.close()
    pull = controller.model.pulls[0]
    trace, info = read_trace(pull.file)
    assert (info.who, info.arrangement, info.lubricant, info.window) == ("T.W.", "A", "QF oil", WINDOW)
    assert (trace.torque_nm == pull.trace.torque_nm).all()


@needs_pty
def test_closing_the_window_during_a_pull_keeps_pull_and_file(qtbot, tmp_path):
    controller, window = window_on(qtbot, tmp_path / "pulls")
    with pretend_bench(tmp_path, "--over", "pty", "--scenario", "good-pack") as (_, profile, _port):
        controller.lines.open_line(read_profile(profile))
        qtbot.waitUntil(lambda: controller.model.state is BenchState.PULLING, timeout=30_000)
        qtbot.wait(300)
        window.close()
    (file,) = (tmp_path / "pulls").glob("*.csv")
    trace, _ = read_trace(file)
    assert len(controller.model.pulls) == 1
    assert trace.torque_nm[-1] > 1.0
    assert (trace.torque_nm == controller.model.pulls[0].trace.torque_nm).all()
    assert info_path(file).exists()


def test_a_line_that_cannot_be_opened_is_told_on_the_strip(qtbot, tmp_path):
    (tmp_path / "bench.toml").write_text(
        '[device]\nname = "bench 1"\nport = "socket://127.0.0.1:9"\nprotocol = "text"\ncapacity = "200 N.m"\n'
        '[text]\ncolumns = ["torque [N.m]"]\nrate = "500 Hz"\n'
    )
    controller, window = window_on(qtbot, None)
    controller.lines.open_profile(tmp_path / "bench.toml")
    qtbot.waitUntil(lambda: window.strip.property("kind") == "notice", timeout=10_000)
    assert "socket://127.0.0.1:9" in window.strip.accessibleName()
    assert controller.model.state is BenchState.LOST  # and it is tried again by itself
    window.close()


def test_a_line_that_is_away_for_longer_than_the_profile_s_patience_is_waited_for(qtbot, tmp_path):
    """A window stands and waits: nothing has to be started again, and the pulls stay."""
    with printing_device() as device:
        port = device.port
        (tmp_path / "bench.toml").write_text(
            f'[device]\nname = "bench 1"\nport = "socket://127.0.0.1:{port}"\nprotocol = "text"\ncapacity = "200 N.m"\n'
            'patience = "500 ms"\n[text]\ncolumns = ["torque [N.m]", "counter"]\nrate = "200 Hz"\n'
        )
        controller, window = window_on(qtbot, None)
        controller.lines.open_profile(tmp_path / "bench.toml")
        qtbot.waitUntil(
            lambda: controller.model.state is BenchState.WAITING and controller.model.bench.status.line.samples > 100,
            timeout=20_000,
        )
    qtbot.waitUntil(lambda: controller.model.state is BenchState.LOST, timeout=20_000)
    qtbot.wait(2000)
    assert controller.model.state is BenchState.LOST
    with printing_device(port=port):
        qtbot.waitUntil(lambda: controller.model.state is BenchState.WAITING, timeout=20_000)
        before = controller.model.bench.status.line.samples
        qtbot.waitUntil(lambda: controller.model.bench.status.line.samples > before + 100, timeout=20_000)
        window.close()


def test_a_recording_plays_in_the_same_window_with_pause_step_and_speed(qtbot, tmp_path):
    path = tmp_path / "kept.csv"
    write_trace(path, made_stream(peak_nm=52.0), TraceInfo(unit="QF-7", transducer=Transducer(u_relative=0.005)))
    controller, window = window_on(qtbot, None)
    controller.lines.open_recording(path)
    window.tick()
    bar, replay = window.replay, controller.lines.replayed.replay
    assert bar.isVisible()
    bar.turn()
    assert replay.paused
    assert bar.go.text() == "Go on (P)"
    bar.step()
    for _ in range(len(SPEEDS)):
        bar.change_speed(1)
    assert replay.speed == SPEEDS[-1]
    assert bar.speed.text() == "× 20"
    bar.turn()
    qtbot.waitUntil(lambda: bool(controller.model.pulls) and controller.model.pulls[0].final, timeout=20_000)
    qtbot.wait(80)
    assert window.bench.panel.accessibleName().startswith("IN WINDOW")
    qtbot.waitUntil(lambda: controller.model.state is BenchState.ENDED, timeout=20_000)
    window.close()
    assert not bar.isVisible()


def test_a_replayed_pull_is_read_as_it_was_recorded(qtbot):
    trace = made_stream()
    replay = Replay(trace, SystemClock(), speed=float("inf"))
    model = BenchModel(Bench(replay, Session(window=WINDOW), patient=True), window=WINDOW)
    qtbot.waitUntil(lambda: bool(model.poll()) and model.state is BenchState.ENDED, timeout=20_000)
    assert model.last.result.breakaway.torque_nm == pytest.approx(60.0, abs=0.6)
    model.close()


def test_a_bar_without_a_replay_does_nothing(qtbot):
    bar = ReplayBar()
    qtbot.addWidget(bar)
    bar.turn()
    bar.step()
    bar.change_speed(1)
    assert not bar.isVisible()


def test_many_recordings_are_read_with_progress_and_can_be_stopped(qtbot, tmp_path):
    path = tmp_path / "kept.csv"
    write_trace(path, made_stream())
    paths = [path] * 400
    controller, window = window_on(qtbot, None)
    window._timer.stop()
    window.sides.recordings_wanted.emit(paths, window.sides.adder(window.sides.before))
    window.tick()
    assert window.strip.property("kind") == "work"
    qtbot.waitUntil(lambda: controller.reading.work.share > 0, timeout=20_000)
    window._escape()
    assert controller.reading.work is None
    window.tick()
    assert window.strip.property("kind") == ""
    assert 1 <= len(window.sides.before) < 400
    qtbot.waitUntil(lambda: window.sides.left.table.rowCount() == len(window.sides.before))
    window.close()
