"""Every page of the real window, without a screen: structure, keys, focus, tooltips, languages, what is readable from afar."""

import dataclasses
import datetime

import pytest
from PySide6.QtCore import QPoint, QRect, Qt
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QAbstractButton, QComboBox, QLabel, QLineEdit, QScrollArea
from support.calibrated import made_certificate
from support.fed import FedBench
from support.made import made_loads, made_stream
from support.structure import compare, structure

from analysis.results import Sensor
from analysis.trace import Trace
from analysis.window import Window
from drivers.items import ConnectionLost, LineUp
from rig.files.metadata import Calibration, TraceInfo
from rig.files.profile import read_profile
from rig.live.line_tap import RawTap
from rig.live.session import Session
from rig.window.app import Opening, Shell
from rig.window.controller import Controller, Means
from rig.window.memory import Remembered
from rig.window.model import BenchModel, BenchState
from rig.window.openers import Opened
from rig.window.qt.main_window import MainWindow
from rig.window.qt.theme import THEMES
from rig.words.language import speak
from rig.words.units import UnitChoice

WINDOW = Window.parse("35..70 N.m")
PROFILE = """[device]
name = "bench 1"
port = "COM3"
protocol = "text"
capacity = "200 N.m"
[text]
columns = ["torque [N.m]", "angle [deg]"]
rate = "500 Hz"
"""


class Stage:
    """A window on a bench fed by hand; `after` shows what the bench has told."""

    def __init__(self, qtbot, remembered=None, cautions=False):
        self.bench = FedBench(WINDOW)
        self.model = BenchModel(self.bench, window=WINDOW, unit=UnitChoice("N.m", "lbf.ft"))
        self.kept = []
        means = Means(remember=self.kept.append, today=lambda: datetime.date(2026, 3, 5))
        self.controller = Controller(self.model, remembered or Remembered(), means)
        self.window = MainWindow(self.controller, cautions=cautions)
        self.window._timer.stop()
        qtbot.addWidget(self.window)
        self.window.resize(1280, 800)
        self.window.show()
        self.qtbot = qtbot
        self.tick()

    def tick(self):
        self.window.tick()
        self.qtbot.wait(1)

    def pull(self, *peaks, until_s=None):
        for peak_nm in peaks:
            self.bench.pull(abs(peak_nm), back=peak_nm < 0, until_s=until_s)
            self.tick()

    def key(self, key):
        self.qtbot.keyClick(self.window.focusWidget() or self.window, key)
        self.qtbot.wait(1)

    @property
    def page(self):
        return self.window.pages.currentWidget()


@pytest.fixture
def stage(qtbot):
    stage = Stage(qtbot)
    yield stage
    stage.window.close()
    speak("en")


@pytest.fixture
def opened(stage, tmp_path):
    """The stage with a line page that has something to show."""
    (tmp_path / "bench.toml").write_text(PROFILE)
    tap = RawTap()
    tap.note(b"x\n" + b"".join(b"%d.5,0.25\n" % n for n in range(9)))
    info = TraceInfo(calibration=Calibration(due="2026-03-01"))
    stage.controller.lines.opened = Opened(stage.bench, None, None, read_profile(tmp_path / "bench.toml"), info, tap)
    return stage


def test_each_page_has_the_structure_it_was_kept_with(opened, qtbot):
    stage, window = opened, opened.window
    compare(window, "bench_ready")
    stage.pull(60.0, -58.0, 20.0)
    compare(window, "bench_verdict")
    for page, name in ((window.conditions, "conditions"), (window.pull, "pull"), (window.line, "line"), (window.keys, "keys")):
        window.show_page(page)
        qtbot.wait(1)
        compare(window, name)
    window.sides.take_series(window.sides.before)
    qtbot.waitUntil(lambda: window.tick() or window.sides.left.table.rowCount() == 3)
    window.show_page(window.sides)
    compare(window, "sides")
    window.pull.show_spectrum.setChecked(True)
    window.show_page(window.pull)
    compare(window, "pull_spectrum")
    window.show_bench()
    stage.pull(60.0, until_s=3.9)
    compare(window, "bench_pulling")
    stage.bench.told.append(ConnectionLost("COM3", "the line went away", "check plug, cable and power"))
    stage.tick()
    compare(window, "bench_line_lost")


def test_the_cautions_have_the_structure_they_were_kept_with(qtbot):
    stage = Stage(qtbot, cautions=True)
    compare(stage.window, "cautions")
    words = " ".join(label.text() for label in stage.window.cautions.findChildren(QLabel))
    assert "maker's manual" in words
    assert "qualified persons" in words
    stage.key(Qt.Key.Key_Space)
    assert stage.page is stage.window.bench
    stage.window.close()


def test_the_cautions_wait_for_a_key_and_lose_no_pull(qtbot):
    stage = Stage(qtbot, cautions=True)
    stage.pull(60.0)
    assert stage.page is stage.window.cautions
    stage.key(Qt.Key.Key_Space)
    assert stage.page is stage.window.bench
    assert [pull.number for pull in stage.model.pulls] == [1]
    stage.window.close()


@pytest.mark.parametrize("size", [(1280, 800), (1920, 1080)])
@pytest.mark.parametrize("theme", THEMES)
def test_every_page_fits_the_window_and_paints_in_both_themes(opened, size, theme):
    stage, window = opened, opened.window
    stage.pull(60.0, 20.0)
    if stage.controller.preferences.now.theme != theme:
        window._turn_theme()
    window.resize(*size)
    for page in window.all_pages():
        window.show_page(page)
        stage.qtbot.wait(1)
        assert (window.width(), window.height()) == size, page.objectName()
        grab = window.grab().toImage().convertToFormat(QImage.Format.Format_RGB32)
        colours = {grab.pixelColor(x, y).name() for x in range(0, size[0], 31) for y in range(0, size[1], 17)}
        assert THEMES[theme].ground.lower() in colours
        assert len(colours) > 3
        inside = QRect(0, 0, *size)
        for child in page.findChildren(QLabel):
            scrolled = any(area.isAncestorOf(child) for area in page.findChildren(QScrollArea))
            if child.isVisible() and child.text() and not scrolled:
                assert inside.contains(QRect(child.mapTo(window, QPoint(0, 0)), child.size())), child.text()


# Height of capitals that is read at three metres: 20 minutes of arc (ISO 9241-303:2011 wants 16, prefers 20 to 22; from memory)
# at 3 m is 17.5 mm, wished for word and value; 15 minutes, 13 mm, is what the workshop asked for of all that decides.
@pytest.mark.parametrize(("size", "inches"), [((1280, 800), 13.0), ((1920, 1080), 24.0)])
@pytest.mark.parametrize("peaks", [(60.0,), (20.0,), (95.0,), (47.0, 48.0, 46.5), (47.0, 48.0, 46.5, -47.0, -48.0, -46.0), (69.0,)])
def test_all_that_decides_is_readable_from_three_metres(stage, size, inches, peaks):
    stage.window.resize(*size)
    stage.pull(*peaks)
    stage.window.grab()
    pixel_mm = inches * 25.4 / (size[0] ** 2 + size[1] ** 2) ** 0.5
    heights_mm = {name: height * pixel_mm for name, height in stage.window.bench.panel.cap_heights.items()}
    assert heights_mm["value"] >= 17.45
    decides = {name: height for name, height in heights_mm.items() if name in ("word", "value", "margin", "spoiler", "guide")}
    assert len(decides) >= 3
    assert min(decides.values()) >= 13.0, decides
    assert stage.window.bench.band.cap_height * pixel_mm >= 13.0


def test_the_panel_says_word_value_margin_and_uncertainty(stage):
    stage.pull(20.0)
    said = stage.window.bench.panel.accessibleName()
    assert said.startswith("BELOW. 20.")
    assert "lbf·ft" in said
    assert "15.0 SHORT" in said
    assert "±" in said
    assert "READY" in stage.window.bench.band.accessibleName()


def test_every_page_has_its_key_and_space_goes_back(stage):
    window = stage.window
    keys = {
        "F3": window.conditions,
        "F4": window.pull,
        "F5": window.sides,
        "F6": window.line,
        "F1": window.guide,
        "F2": window.bench,
    }
    for name, page in keys.items():
        stage.key(getattr(Qt.Key, f"Key_{name}"))
        assert stage.page is page
        assert [act for act, button in window.rail.buttons.items() if button.isChecked()] == [window.in_sight]
    stage.key(Qt.Key.Key_F6)
    stage.key(Qt.Key.Key_Space)
    assert stage.page is window.bench


def test_in_the_guide_page_keys_turn_its_screens_and_leave_the_pulls_alone(stage):
    stage.pull(60.0, 50.0)
    stage.window.show_page(stage.window.guide)
    stage.window.guide.open("verdict")
    stage.key(Qt.Key.Key_PageDown)
    bar = stage.window.guide.text.verticalScrollBar()
    assert bar.value() > 0
    stage.key(Qt.Key.Key_PageUp)
    assert bar.value() == 0
    stage.key(Qt.Key.Key_Space)
    assert stage.page is stage.window.bench
    assert stage.window.bench.caption.text() == "pull 2 of 2"


def test_the_foot_pedal_goes_through_the_pulls(stage):
    stage.pull(60.0, 50.0, 20.0)
    caption = stage.window.bench.caption
    assert caption.text() == "pull 3 of 3"
    stage.key(Qt.Key.Key_PageUp)
    assert caption.text() == "pull 2 of 3"
    assert "50." in stage.window.bench.panel.accessibleName()
    stage.key(Qt.Key.Key_PageDown)
    stage.key(Qt.Key.Key_Space)
    assert caption.text() == "live: the last 20 s"
    stage.key(Qt.Key.Key_Space)
    assert caption.text() == "pull 3 of 3"


def test_typed_text_is_text_not_a_pedal(stage):
    window = stage.window
    window.show_page(window.conditions)
    entry = window.conditions.inputs["oil"]
    entry.setFocus()
    stage.qtbot.keyClicks(entry, "QF oil p.")
    stage.qtbot.keyClick(entry, Qt.Key.Key_Return)
    assert stage.page is window.conditions
    assert stage.controller.entry.now.oil == "QF oil p."
    assert stage.kept[-1].conditions["oil"] == "QF oil p."


def test_choices_by_key_are_remembered(stage):
    stage.key(Qt.Key.Key_F8)
    stage.key(Qt.Key.Key_F9)
    stage.key(Qt.Key.Key_F10)
    assert stage.kept[-1] == Remembered(theme="light", sound=False, unit="N.m", second_unit=None)
    assert "off" in stage.window._mute.text()
    stage.key(Qt.Key.Key_F7)
    assert stage.bench.zeroed == 1


def test_a_changed_or_unreadable_field_is_marked_until_the_next_pull(stage):
    page = stage.window.conditions
    stage.window.show_page(page)
    page.pictures[1].click()
    entry = page.inputs["temperature"]
    entry.setFocus()
    stage.qtbot.keyClicks(entry, "warm")
    stage.qtbot.keyClick(entry, Qt.Key.Key_Return)
    assert page.pictures[1].marked
    assert page.pictures[1].isChecked()
    assert not page.pictures[0].isChecked()
    assert "temperature: 'warm' is not a number" in page.refusals.text()  # the reason stands in sight
    entry.setText("21")
    stage.qtbot.keyClick(entry, Qt.Key.Key_Return)
    assert "changed" in page._marks["temperature"].text()
    stage.pull(60.0)
    assert page._marks["temperature"].text() == ""
    assert not page.back.isEnabled()


def test_a_second_press_on_the_arrangement_makes_sure_of_it_and_takes_nothing_away(stage):
    page = stage.window.conditions
    stage.window.show_page(page)
    for _ in range(2):
        page.pictures[0].click()
        assert stage.controller.entry.now.arrangement == page.pictures[0].arrangement.code
        assert page.pictures[0].isChecked()
    page.pictures[1].click()
    assert stage.controller.entry.now.arrangement == page.pictures[1].arrangement.code


def test_nothing_typed_is_erased_when_a_pull_is_judged(stage):
    page = stage.window.conditions
    stage.window.show_page(page)
    page.inputs["oil"].setFocus()
    stage.qtbot.keyClicks(page.inputs["oil"], "QF oi")
    stage.pull(60.0)
    assert page.inputs["oil"].text() == "QF oi"
    page.inputs["window"].low.setFocus()
    stage.qtbot.keyClicks(page.inputs["window"].low, "4")
    typed = page.inputs["window"].low.text()
    stage.pull(58.0)
    assert page.inputs["window"].low.text() == typed


def test_pulls_are_set_aside_with_a_reason_and_counted_again(stage):
    stage.pull(60.0, 20.0)
    stage.window.show_page(stage.window.pull)
    stage.window.pull.reason.setCurrentText("clamp moved")
    stage.key(Qt.Key.Key_Delete)
    assert stage.model.pulls[1].excluded == "clamp moved"
    assert len(stage.model.pulls) == 2
    stage.key(Qt.Key.Key_Delete)
    assert stage.model.pulls[1].excluded is None


def test_a_new_series_leaves_no_figures_of_the_last_pull_on_the_closer_look(stage):
    stage.pull(60.0)
    page = stage.window.pull
    stage.window.show_page(page)
    page.show_spectrum.setChecked(True)
    shown = [page.readout, page.figures.itemAtPosition(0, 1).widget(), page.over_time, page.spectrum]
    assert all(widget.isVisible() for widget in shown)
    stage.window._new_series()
    stage.tick()
    assert page.title.text() == "No pull yet"
    assert not any(widget.isVisible() for widget in shown)
    stage.pull(50.0)
    assert page.title.text() == "Pull 2"
    assert all(widget.isVisible() for widget in shown)


def test_the_cursor_moves_by_arrows_and_tells_its_values(stage):
    stage.pull(60.0)
    page = stage.window.pull
    stage.window.show_page(page)
    at_breakaway = page.readout.text()
    assert at_breakaway.startswith(("0.000 s", "+0.00"))
    for _ in range(3):
        stage.key(Qt.Key.Key_Right)
    assert page.readout.text() != at_breakaway
    assert page.readout.text().startswith("+0.")
    before = page.over_time.visible_span()
    stage.key(Qt.Key.Key_Plus)
    assert page.over_time.visible_span() == pytest.approx(0.7 * before)
    stage.key(Qt.Key.Key_0)
    assert page.over_time.visible_span() == pytest.approx(before)


def test_errors_are_a_strip_that_blocks_nothing_and_goes_when_read(stage):
    stage.bench.told.append(ConnectionLost("COM3", "the line went away", "check plug, cable and power"))
    stage.tick()
    strip = stage.window.strip
    assert strip.property("kind") == "notice"
    assert strip.accessibleName() == "COM3: the line went away → check plug, cable and power"
    stage.key(Qt.Key.Key_F4)
    assert stage.page is stage.window.pull
    stage.bench.told.append(LineUp("COM3"))
    stage.tick()
    assert strip.property("kind") == ""
    stage.model.tell("the disk is full", remedy="make room")
    stage.tick()
    stage.key(Qt.Key.Key_Escape)
    assert strip.property("kind") == ""


def test_an_exercise_is_seen_from_afar_counted_and_leaves_no_pull(stage):
    stage.window.line.exercise_wanted.emit()
    stage.tick()
    assert stage.model.state is BenchState.EXERCISING
    stage.window.show_bench()
    stage.bench.feed(made_loads([60.0, 61.0]))
    stage.tick()
    assert "load 2 of 3" in stage.window.bench.panel.accessibleName()
    assert "three times each way" in stage.window.bench.band.accessibleName()
    stage.window.line.exercise_wanted.emit()
    stage.tick()
    assert stage.model.state is BenchState.WAITING
    assert stage.model.pulls == []


def test_a_new_zero_is_told_but_not_as_a_trouble(stage):
    stage.key(Qt.Key.Key_F7)
    stage.bench.feed(made_stream(1), until_s=2.5)
    stage.tick()
    strip = stage.window.strip
    assert (strip.property("kind"), strip.property("good")) == ("notice", True)
    assert "new zero" in strip.accessibleName()
    stage.key(Qt.Key.Key_Escape)
    assert strip.property("kind") == ""


def test_a_zero_far_off_is_a_trouble(stage):
    stream = made_stream(1)
    stage.bench.feed(Trace(stream.time_s, stream.torque_nm + 15.0, stream.angle_deg), until_s=2.5)
    stage.tick()
    assert "far off" in stage.window.strip.accessibleName()
    assert stage.window.strip.property("good") is not True


def test_a_certificate_that_ran_out_is_said_on_the_verdict_and_large_enough(stage):
    expired = made_certificate(gain=1.0, due=datetime.date(2026, 1, 1)).on(datetime.date(2026, 3, 5))
    stage.bench.session = Session(sensor=Sensor(capacity_nm=200.0, calibration=expired), window=WINDOW)
    stage.pull(60.0)
    panel = stage.window.bench.panel
    assert "calibration is out of date" in panel.accessibleName()
    stage.window.grab()
    assert "OUT OF DATE" in panel.accessibleName()
    assert panel.cap_heights["spoiler"] > 0.8 * panel.cap_heights["margin"]


def test_everything_that_can_be_pressed_has_a_tooltip_and_can_be_reached_by_keyboard(opened):
    window = opened.window
    for page in window.all_pages():
        window.show_page(page)
        for widget in window.findChildren(QAbstractButton):
            if widget.isVisible() and not widget.inherits("QScrollBar") and widget.objectName() != "qt_toolbar_ext_button":
                where = f"{page.objectName()}: {widget.text() or widget.accessibleName()}"
                if type(widget).__name__ in ("QTableCornerButton",):
                    continue
                assert widget.toolTip() or widget.parent() is window.strip, where
                assert widget.focusPolicy() & Qt.FocusPolicy.TabFocus, where
        for entry in [*page.findChildren(QLineEdit), *page.findChildren(QComboBox)]:
            if entry.objectName() in ("which series", "note on the series"):  # have keys: Space is the pedal's
                continue
            assert entry.focusPolicy() & Qt.FocusPolicy.TabFocus


def test_the_focus_is_seen(stage):
    window = stage.window
    window.show_page(window.keys)
    button = window.keys.findChildren(QAbstractButton)[0]
    plain = button.grab().toImage()
    button.setFocus()
    stage.qtbot.wait(1)
    focused = button.grab().toImage()
    assert focused != plain
    edge = focused.pixelColor(focused.width() // 2, 1).name()
    assert edge == THEMES["dark"].focus.lower()


def test_another_language_is_another_window_on_the_same_desk(qtbot):
    bench = FedBench(WINDOW)
    controller = Controller(BenchModel(bench, window=WINDOW), Remembered(), Means())
    shell = Shell(controller)
    first = shell.window
    bench.pull(60.0)
    first.tick()
    first.language_wanted.emit("de")
    second = shell.window
    second.show_bench()
    assert second is not first
    assert controller.preferences.now.language == "de"
    assert second.bench.panel.accessibleName().startswith("IM FENSTER. 60,")
    assert "BEREIT" in second.bench.band.accessibleName()
    english = {row[3] for row in structure(second)} & {"Bench", "Line", "Keys"}
    assert not english
    second.close()
    assert bench.closed
    speak("en")


def test_the_bench_says_what_a_conditions_edit_changed(stage):
    stage.pull(60.0)
    stage.window._after(stage.controller.entry.edit, dataclasses.replace(stage.controller.entry.now, window="75..90 N.m"))
    stage.tick()
    assert stage.window.bench.panel.accessibleName().startswith("BELOW")
    assert "75.0 – 90.0" in stage.window.bench.band.accessibleName()


def test_closing_the_window_closes_the_bench_and_keeps_the_pull_under_way(qtbot):
    stage = Stage(qtbot)
    stage.pull(60.0, until_s=5.5)
    stage.window.close()
    assert stage.bench.closed
    assert [pull.number for pull in stage.model.pulls] == [1]


def test_a_line_is_opened_after_the_first_frame_and_once(qtbot):
    stage = Stage(qtbot, cautions=True)
    opened = []
    opening = Opening(stage.window.painted, lambda: opened.append(stage.window.isVisible()))
    stage.window.painted.emit()
    stage.window.painted.emit()
    qtbot.waitUntil(lambda: bool(opened), timeout=20_000)
    opening.give_up()
    qtbot.wait(30)
    assert opened == [True]
    stage.window.close()


def test_a_window_that_is_never_painted_opens_its_line_all_the_same_and_a_closed_one_none(qtbot, monkeypatch):
    monkeypatch.setattr("rig.window.app.UNSEEN_MS", 1)
    window = MainWindow(Controller(BenchModel(), Remembered(), Means()))
    qtbot.addWidget(window)
    opened = []
    opening = Opening(window.painted, lambda: opened.append("unseen"))
    qtbot.waitUntil(lambda: bool(opened), timeout=20_000)
    opening.give_up()
    closed = Opening(window.painted, lambda: opened.append("closed"))
    closed.give_up()
    window.painted.emit()
    qtbot.wait(30)
    assert opened == ["unseen"]
    window.close()


def test_pages_that_nobody_wanted_are_made_after_the_first_frame(qtbot):
    stage = Stage(qtbot, cautions=True)
    stage.window.grab()
    for _ in range(9):
        stage.tick()
    made = {stage.window.pages.widget(at).objectName() for at in range(stage.window.pages.count())}
    assert made == {"cautions page", *(page.objectName() for page in stage.window.all_pages())}
    stage.window.close()
