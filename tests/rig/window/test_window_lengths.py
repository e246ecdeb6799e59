"""Lengths of a pack sheet measured in the window: bytes of a gauge, pedal, keys, keypad fill fields; the sheet is written."""

import json

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QPushButton
from support.clocks import StepClock
from support.fed import FedBench
from support.wires import ScriptedLine

from drivers.line import READ_S
from rig.gauge.reader import GaugeReader
from rig.pack.pack_sheet import read_pack_document
from rig.pack.templates import PACK, SHELF, SPEC
from rig.window.controller import Controller, Means
from rig.window.lengths import Lengths
from rig.window.memory import Remembered
from rig.window.model import BenchModel
from rig.window.pack_desk import PackDesk
from rig.window.qt.main_window import MainWindow

GAUGE = '[device]\nname = "micrometer"\nport = "made up"\n[text]\ncolumns = ["length [mm]"]\n'
PAUSE = [b""] * round(1.0 / READ_S)


class Stage:
    """The window on the template's sheets, with a gauge whose bytes a test gives."""

    def __init__(self, qtbot, folder, remembered=None):
        for name, text in (("PACK", PACK), ("SPEC", SPEC), ("SHELF", SHELF)):
            (folder / f"{name}.toml").write_text(text)
        (folder / "micrometer.toml").write_text(GAUGE)
        self.sheet, self.profile = folder / "PACK.toml", folder / "micrometer.toml"
        self.clock, self.script, self.reader = StepClock(), [], None
        self.controller = Controller(BenchModel(FedBench()), remembered or Remembered(), Means())
        of = self.controller
        of.lengths = Lengths(of.model, of.preferences, self._open, self.clock)
        of.pack = PackDesk(of.model, of.means, of.reading, of.lengths, None)
        self.window = MainWindow(self.controller, cautions=False)
        self.window._timer.stop()
        qtbot.addWidget(self.window)
        self.window.resize(1280, 800)
        self.window.show()
        self.window.show_page(self.window.pack)
        self.qtbot = qtbot
        self.answer(self.sheet)

    def _open(self, profile):
        self.reader = GaugeReader(profile, self.clock, lambda: ScriptedLine(self.clock, iter(self.script)))
        return self.reader

    def answer(self, path=None):
        if path is not None:
            self.window.pack.sheet_wanted.emit(path)
        self.qtbot.waitUntil(lambda: (self.window.tick(), self.controller.reading.work is None)[1], timeout=60_000)

    def measure(self, *script):
        self.script = [*PAUSE, *script]
        self.window.pack.measuring_wanted.emit()
        self.window.pack.panel.gauge_wanted.emit(self.profile)
        self.hear()

    def hear(self, steps=None):
        for _ in range(steps or len(self.script)):
            self.reader.step()
            self.window.tick()

    def press(self, key):
        self.qtbot.keyClick(self.window.focusWidget() or self.window, key)

    @property
    def lengths(self):
        return self.controller.lengths.entry.list


def test_bytes_of_a_gauge_fill_fields_and_the_sheet_is_written_and_answered(qtbot, tmp_path):
    stage = Stage(qtbot, tmp_path)
    before = stage.window.pack.title.text()
    stage.measure(b"1.905\r\n", *PAUSE, b"1.9\xff\r\n", *PAUSE, b"1.915\r\n")
    assert stage.lengths.current.key == ("plates", 0, "flatness") or stage.lengths.at == 4
    stage.window.pack.panel.done.emit()
    stage.answer()
    thickness = read_pack_document(stage.sheet).value.plates[0].thickness
    assert [one.text for one in thickness] == ["1.90 mm", "1.91 mm", "1.905 mm", "1.915 mm"]
    assert stage.window.pack.title.text() == before
    assert stage.controller.lengths.gauge == ""
    stage.window.close()


def test_an_impossible_length_is_refused_with_a_word_and_the_field_stays(qtbot, tmp_path):
    stage = Stage(qtbot, tmp_path)
    stage.measure(b"190.5\r\n")
    panel = stage.window.pack.panel
    assert stage.lengths.current.key == ("plates", 0, "thickness", 2)
    assert "too large" in panel.word.text()
    assert "track 3" in panel.asked.text()
    stage.window.close()


def test_the_pedal_takes_what_a_running_gauge_shows_and_one_key_back_corrects_it(qtbot, tmp_path):
    stage = Stage(qtbot, tmp_path)
    stage.measure(*[b"1.905\r\n", *[b""] * 4] * 6)
    assert "by itself" in stage.window.pack.panel.word.text()
    at = stage.lengths.at
    stage.press(Qt.Key.Key_Space)
    assert stage.lengths.at == at + 1
    stage.press(Qt.Key.Key_Backspace)
    assert stage.lengths.at == at
    assert stage.window.pages.currentWidget() is stage.window.pack
    stage.window.close()


def test_numbers_are_typed_in_either_unit_by_keys_or_thumbs(qtbot, tmp_path):
    stage = Stage(qtbot, tmp_path)
    stage.window.pack.measuring_wanted.emit()
    panel = stage.window.pack.panel
    for key in (Qt.Key.Key_1, Qt.Key.Key_Comma, Qt.Key.Key_9, Qt.Key.Key_2):
        stage.press(key)
    assert panel.large.text() == "1,92 mm"
    stage.press(Qt.Key.Key_Return)
    assert stage.lengths.new["plates", 0, "thickness", 2].length_mm == pytest.approx(1.92)
    keys = {button.text(): button for button in panel.findChildren(QPushButton)}
    for name in ("mm", "0", ".", "0", "7", "5", "6", "Take"):
        qtbot.mouseClick(keys[name], Qt.MouseButton.LeftButton)
    assert stage.lengths.new["plates", 0, "thickness", 3].text == "0.0756 in"
    assert (panel.large.text(), panel.other.text()) == ("0.0756 in", "1.920 mm")
    stage.window.close()


def test_fields_and_keys_are_as_large_as_a_thumb_in_the_smallest_window(qtbot, tmp_path):
    stage = Stage(qtbot, tmp_path)
    stage.window.resize(1024, 600)
    stage.window.pack.measuring_wanted.emit()
    stage.window.grab()
    inside = [
        button for button in stage.window.pack.panel.findChildren(QPushButton) if button.focusPolicy() == Qt.FocusPolicy.NoFocus
    ]
    assert inside
    assert min(button.height() for button in inside) >= 40
    assert min(button.width() for button in inside) >= 60
    stage.window.close()


def test_leaving_the_page_or_the_window_writes_what_was_measured(qtbot, tmp_path):
    stage = Stage(qtbot, tmp_path)
    stage.measure(b"1.905\r\n")
    stage.press(Qt.Key.Key_F2)
    assert len(read_pack_document(stage.sheet).value.plates[0].thickness) == 3
    stage.window.show_page(stage.window.pack)
    stage.controller.lengths.type("1")
    for char in ".91":
        stage.controller.lengths.type(char)
    stage.controller.lengths.take()
    stage.window.close()
    assert len(read_pack_document(stage.sheet).value.plates[0].thickness) == 4


def test_the_gauge_used_last_is_opened_again(qtbot, tmp_path):
    kept = []
    stage = Stage(qtbot, tmp_path)
    stage.measure(b"1.905\r\n")
    kept.append(stage.controller.preferences.now)
    stage.window.pack.panel.done.emit()
    stage.answer()
    assert kept[0].gauge == str(stage.profile)
    assert json.loads(json.dumps(kept[0].gauge))
    stage.window.pack.measuring_wanted.emit()
    assert stage.controller.lengths.gauge == "micrometer"
    stage.window.close()


def test_without_a_sheet_there_is_nothing_to_measure_and_it_is_said(qtbot):
    controller = Controller(BenchModel(FedBench()), Remembered(), Means())
    assert not controller.pack.measure()
    assert "pack sheet" in controller.model.notices.newest.what
