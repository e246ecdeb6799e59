"""The sensor page on the real desk: points taken from a device on a socket to a certificate, a guess, checks of the machine."""

import pytest
from support.device import printing_device
from support.made import MOMENT

from rig.calibration import point_taker
from rig.calibration.sensor_in_use import SensorChoice
from rig.files.certificate import read_certificate
from rig.files.metadata import TraceInfo
from rig.files.profile import read_profile
from rig.window.controller import Controller, Means
from rig.window.memory import Remembered
from rig.window.model import BenchModel
from rig.window.openers import Benches
from rig.window.qt.main_window import MainWindow

PLAN = """[certificate]
number = "2026-1"
sensor = "bench 1"
capacity = "200 N.m"
by = "T.W."
[reference]
name = "reference 7"
expanded_u = "0.2%"
loads = ["20 N.m", "40 N.m", "60 N.m"]
[run]
directions = "first"
series = 2
"""
PROFILE = """[device]
name = "bench 1"
port = "socket://127.0.0.1:{port}"
protocol = "text"
capacity = "200 N.m"
[text]
columns = ["torque [N.m]", "counter"]
rate = "200 Hz"
"""
CAPTURE = "".join(f"T={20 + at % 7}.{at % 10} N.m\r\n" for at in range(60))


@pytest.fixture
def window(qtbot):
    means = Means(benches=Benches(SensorChoice(MOMENT.date()), None, TraceInfo()), today=MOMENT.date)
    window = MainWindow(Controller(BenchModel(), Remembered(), means), cautions=False)
    window._timer.stop()
    qtbot.addWidget(window)
    window.resize(1280, 800)
    window.show()
    window.show_page(window.sensor)
    yield window
    window.close()


def wait(qtbot, window, until, timeout=20_000):
    qtbot.waitUntil(lambda: (window.tick(), bool(until()))[1], timeout=timeout)


def test_a_calibration_is_led_point_by_point_to_a_certificate(window, qtbot, tmp_path, monkeypatch):
    monkeypatch.setattr(point_taker, "STRETCH_S", 0.2)
    (tmp_path / "plan.toml").write_text(PLAN)
    desk, page = window.controller.sensor, window.sensor
    with printing_device() as device:
        (tmp_path / "bench.toml").write_text(PROFILE.format(port=device.port))
        page.plan.entry.setText(str(tmp_path / "plan.toml"))
        page.device.entry.setText(str(tmp_path / "bench.toml"))
        page._calibrate()
        shares = []
        while desk.busy:
            wait(qtbot, window, lambda: desk.task.question or not desk.busy)
            window.tick()
            question = desk.task.question
            shares.append(desk.task.share)
            assert question in ("", page.question.text())
            if "the reference shows" in question:
                page.answer.setText(f"{device.load_nm:g} N.m")
            elif "N.m," in question:
                device.load_nm = float(question.split(": ")[1].split(" ")[0])
            elif "no load" in question:
                device.load_nm = 0.0
            page._take()
    window.tick()
    assert desk.task.fault is None
    assert shares == sorted(shares)
    assert page.bar.value() == page.bar.maximum()
    certificate = read_certificate(desk.certificate)
    assert certificate.number == "2026-1"
    assert len(certificate.points) == 14
    assert "written" in page.log.toPlainText()


def test_a_calibration_that_is_stopped_keeps_its_whole_series_and_opens_no_line(window, qtbot, tmp_path):
    (tmp_path / "plan.toml").write_text(PLAN)
    desk = window.controller.sensor
    with printing_device() as device:
        (tmp_path / "bench.toml").write_text(PROFILE.format(port=device.port))
        desk.calibrate(tmp_path / "plan.toml", tmp_path / "bench.toml")
        wait(qtbot, window, lambda: desk.task.question)
        desk.stop()
    assert not desk.busy
    assert "broken off" in desk.task.lines[-1]
    assert desk.certificate is None
    assert window.model.notices.standing == []


def test_what_goes_wrong_is_told_once_and_stands_in_the_page(window, qtbot, tmp_path):
    window.controller.sensor.calibrate(tmp_path / "none.toml", None)
    wait(qtbot, window, lambda: bool(window.model.notices.standing))
    window.tick()
    assert len(window.model.notices.standing) == 1
    assert "none.toml" in window.sensor.log.toPlainText()


def test_a_device_is_guessed_from_what_it_sent_and_its_profile_saved(window, qtbot, tmp_path):
    (tmp_path / "sent.txt").write_bytes(CAPTURE.encode())
    page = window.sensor
    page.show_part(1)
    page.port.setEditText(str(tmp_path / "sent.txt"))
    page.capacity.setText("200 N.m")
    page._listen()
    wait(qtbot, window, lambda: bool(page.profile.toPlainText()))
    assert "% sure" in page.heard.toPlainText()
    assert page.save.isEnabled()
    path = tmp_path / "guessed.toml"
    window.controller.sensor.save_profile(path, page.profile.toPlainText().replace("wire:", "wire:"))
    assert read_profile(path).name == "bench 1"
    window.model.notices.read()
    window.controller.sensor.save_profile(path, "other")
    assert window.model.notices.newest.where == str(path)


def test_a_unit_that_no_line_says_is_asked_for_and_never_made_up(window, qtbot, tmp_path):
    (tmp_path / "sent.txt").write_bytes("".join(f"{20 + at % 7}.{at % 10}\r\n" for at in range(60)).encode())
    page = window.sensor
    page.port.setEditText(str(tmp_path / "sent.txt"))
    page._listen()
    wait(qtbot, window, lambda: not window.controller.sensor.busy)
    window.tick()
    assert page.profile.toPlainText() == ""
    assert "none is made up" in page.heard.toPlainText()
    page.units[0].setEditText("lbf.ft")
    page._listen()
    wait(qtbot, window, lambda: bool(page.profile.toPlainText()))
    assert "torque [lbf.ft]" in page.profile.toPlainText()


def test_the_machine_is_checked_one_thing_after_the_other(window, qtbot):
    page = window.sensor
    page.show_part(2)
    window.controller.sensor.look_at_machine()
    wait(qtbot, window, lambda: not window.controller.sensor.busy, timeout=60_000)
    window.tick()
    assert page.table.rowCount() >= 10
    looked_at = {page.table.item(row, 1).text() for row in range(page.table.rowCount())}
    assert {"versions", "ports", "clock", "room on the disk"} <= looked_at
    assert page.bar.value() == page.bar.maximum()
