"""The table of keys does what it promises; a series begins and ends; a recording stands beside the line, never in its series."""

import dataclasses

import pytest
from PySide6.QtCore import QEvent
from PySide6.QtGui import QKeyEvent, QKeySequence
from PySide6.QtWidgets import QToolButton
from support.fed import FedBench
from support.made import MOMENT, made_stream

from analysis.window import Window
from rig.calibration.sensor_in_use import SensorChoice
from rig.files.metadata import TraceInfo
from rig.files.trace_csv import write_trace
from rig.gauge.fields import Field, FieldList
from rig.live.news import RestLevelMoved
from rig.window.conditions import Conditions
from rig.window.controller import Controller, Means
from rig.window.keys import KEYS, Act, Place, key_name
from rig.window.memory import Remembered
from rig.window.model import BenchModel, Source
from rig.window.openers import Benches
from rig.window.views.panel import panel_of
from rig.window.views.series import series_of
from rig.words.language import speak

WINDOW = Window.parse("35..70 N.m")


def controller_on(bench, **means):
    return Controller(BenchModel(bench, window=WINDOW), Remembered(), Means(**means))


@pytest.fixture
def window(qtbot):
    from rig.window.qt.main_window import MainWindow

    bench = FedBench(WINDOW)
    window = MainWindow(controller_on(bench), cautions=False)
    window._timer.stop()
    qtbot.addWidget(window)
    window.resize(1280, 800)
    window.show()
    window.tick()
    bench.pull(60.0)
    window.tick()
    yield window
    window.close()


def pressed(window, key):
    """Send a key of the table as a keyboard would, to whatever has the focus."""
    combination = QKeySequence(key.key)[0]
    text = key.key if len(key.key) == 1 else " " if key.key == "Space" else ""
    target = window.focusWidget() or window
    event = QKeyEvent(QEvent.Type.KeyPress, combination.key(), combination.keyboardModifiers(), text)
    return window._filter.eventFilter(target, event)


@pytest.mark.parametrize("key", KEYS, ids=lambda key: f"{key.place}-{key.key}")
def test_every_key_of_the_table_does_what_it_promises_in_its_place(window, key):
    called = []
    window._filter._acts = {act: (lambda act=act: called.append(act)) for act in Act}
    page = {Place.PULL: window.pull, Place.GUIDE: window.guide, Place.LENGTHS: window.pack}.get(
        key.place, window.bench if key.place in (Place.BENCH, Place.QUESTION) else window.line
    )
    window.pages.setCurrentWidget(page)
    page.setFocus()
    if key.place is Place.REPLAY:
        assert not pressed(window, key)  # without a replay the key is free for others
        window.model.replay = window.model.line
    if key.place is Place.QUESTION:
        window.model.line.questions.append(RestLevelMoved(6.0, 0.0, 6.0))
    if key.place is Place.LENGTHS:
        window.controller.lengths.begin("made up", FieldList.of((Field(key=("a",), name="a"),)), lambda new: None)
    assert pressed(window, key)
    assert called == [key.act]
    window.model.replay = None


def test_letters_are_typed_and_function_keys_act_while_a_field_has_the_focus(window):
    called = []
    window._filter._acts = {act: (lambda act=act: called.append(act)) for act in Act}
    window.pages.setCurrentWidget(window.conditions)
    window.conditions.inputs["unit"].setFocus()
    for key in KEYS:
        typed = len(key.key) == 1 or key.key in ("Space", "Left", "Right", "Del")
        if key.place is Place.ANYWHERE:
            assert pressed(window, key) is not typed or not key.key.startswith(("F", "Ctrl", "Esc"))
    assert Act.PEDAL not in called
    assert Act.ZERO in called


def test_the_pedal_wins_over_a_button_that_has_the_focus(window):
    window.show_page(window.pull)
    window.pull.show_spectrum.setFocus()
    space = next(key for key in KEYS if key.act is Act.PEDAL)
    assert pressed(window, space)
    assert window.pages.currentWidget() is window.bench
    assert not window.pull.show_spectrum.isChecked()


def test_plus_and_minus_change_the_stretch_of_the_live_picture(window):
    window.show_bench()
    before = window.bench.span_s
    pressed(window, next(key for key in KEYS if key.act is Act.SHORTER))
    assert window.bench.span_s < before
    pressed(window, next(key for key in KEYS if key.act is Act.LONGER))
    assert window.bench.span_s == before


def test_the_closer_look_stays_on_its_pull_and_announces_a_new_one(window):
    window.show_page(window.pull)
    assert window.model.looking_at == 1
    window.model.line.bench.pull(58.0)
    window.tick()
    assert window.model.looking_at == 1
    assert "2" in window.pull.title.text().split("●")[1]
    window._after(window.model.step, 1)
    assert window.model.looking_at == 2
    assert "●" not in window.pull.title.text()


def test_setting_aside_asks_for_a_reason_and_can_be_taken_back(window):
    window.show_page(window.pull)
    window.pull.exclude_or_count()
    assert window.model.pulls[0].excluded is None  # nobody chose a reason yet
    window.pull.reason.setEditText("clamp moved")
    window.pull.exclude_or_count()
    assert window.model.pulls[0].excluded == "clamp moved"
    pressed(window, next(key for key in KEYS if key.act is Act.UNDO))
    assert window.model.pulls[0].excluded is None
    assert "counts again" in window.strip.accessibleName()


def test_a_new_series_begins_by_key_and_the_one_before_stays():
    bench = FedBench(WINDOW)
    controller = controller_on(bench)
    bench.pull(60.0)
    controller.model.poll()
    controller.new_series()
    assert controller.model.pulls == []
    assert [len(series) for series in controller.model.earlier] == [1]
    bench.pull(50.0)
    controller.model.poll()
    assert [pull.number for pull in controller.model.pulls] == [2]


@pytest.mark.parametrize(
    ("field", "begins"), [("unit", True), ("arrangement", True), ("plates", True), ("oil", True), ("rest", False), ("who", False)]
)
def test_another_unit_or_state_begins_a_new_series_with_a_word(field, begins):
    bench = FedBench(WINDOW)
    controller = controller_on(bench)
    controller.entry.edit(Conditions(window="35..70 N.m", unit="QF-7", arrangement="A"))
    bench.pull(60.0)
    controller.model.poll()
    other = {"arrangement": "B", "plates": "new", "rest": "60 s"}.get(field, "other")
    controller.entry.edit(dataclasses.replace(controller.entry.now, **{field: other}))
    assert (controller.model.pulls == []) is begins
    told = [notice.what for notice in controller.model.notices.standing]
    assert any("new series" in what for what in told) is begins


def test_a_recording_stands_beside_the_line_and_never_joins_its_series(tmp_path):
    path = tmp_path / "kept.csv"
    write_trace(path, made_stream(peak_nm=50.0), TraceInfo())
    bench = FedBench(WINDOW)
    benches = Benches(SensorChoice(MOMENT.date()), None, TraceInfo())
    controller = controller_on(bench, benches=benches)
    bench.pull(60.0)
    controller.model.poll()
    controller.lines.open_recording(path)
    assert controller.model.series.source is Source.REPLAY
    assert controller.model.pulls == []
    assert not bench.closed
    bench.pull(61.0)  # somebody pulls while the recording is in sight: it is counted where it belongs
    controller.model.poll()
    assert [pull.number for pull in controller.model.line.series.pulls] == [1, 2]
    controller.lines.back_to_bench()
    assert controller.model.series.source is Source.BENCH
    assert [pull.number for pull in controller.model.pulls] == [1, 2]
    controller.close()


def test_a_line_of_the_simulated_bench_begins_a_series_of_its_own():
    bench = FedBench(WINDOW)
    model = BenchModel(bench, window=WINDOW)
    bench.pull(60.0)
    model.poll()
    model.open(lambda number: FedBench(WINDOW, number), Source.SIMULATED)
    assert model.series.source is Source.SIMULATED
    assert model.pulls == []
    assert len(model.earlier) == 1


def test_a_pull_made_while_no_pull_is_looked_at_comes_on_the_screen_by_itself(window):
    window.show_page(window.pull)
    window.controller.new_series()
    window.model.line.bench.pull(58.0)
    window.tick()
    assert window.model.looking_at == 2


def test_the_live_picture_of_a_series_does_not_say_that_nothing_was_pulled(window):
    window.show_bench()
    window.model.look_at(None)
    window.bench.refresh(window.model.poll() | type(window.model.poll()).PULLS)
    assert window.bench.panel.accessibleName().startswith("TORQUE NOW")


def test_the_panel_of_a_series_shows_value_and_uncertainty_of_the_direction_that_decides(window):
    model, bench = window.model, window.model.line.bench
    for back, peak_nm in ((False, 60.3), (False, 59.7), (True, 28.0), (True, 28.6), (True, 27.4)):
        bench.pull(peak_nm, back=back)
        window.tick()
    verdict = series_of(model).verdict
    assert verdict.deciding.direction == -1
    view = panel_of(model, model.last, series_of(model))
    assert float(view.value) == pytest.approx(verdict.deciding.value_nm, rel=0.01) == pytest.approx(28.0, rel=0.02)
    assert abs(verdict.expanded_u_nm - verdict.deciding.expanded_u_nm) > 0.1
    assert 0.0 <= float(view.spread.lstrip("± ")) - verdict.deciding.expanded_u_nm < 0.1  # an uncertainty is rounded up
    assert view.scale.value == pytest.approx(verdict.deciding.value_nm)
    assert view.about == "series: 6 of 6 pulls counted · ± of the unit · ↺ decides"


def test_the_rail_leads_to_every_page_and_names_its_key(window):
    buttons = window.rail.findChildren(QToolButton, "rail")
    leads = {button.text().split("\n")[0] for button in buttons}
    pages = {Act.PAGE_BENCH, Act.PAGE_CONDITIONS, Act.PAGE_PULL, Act.PAGE_SIDES, Act.PAGE_PACK, Act.PAGE_LINE, Act.PAGE_KEYS}
    assert {key.key for key in KEYS if key.act in pages} <= leads
    assert all(button.geometry().bottom() < window.height() for button in buttons)


def test_keys_are_named_as_the_keyboard_of_the_language_names_them():
    assert key_name("Ctrl+N") == "Ctrl+N"
    speak("de")
    try:
        assert [key_name(key) for key in ("Ctrl+N", "Space", "Shift+Left", "Del", "+", "F5")] == [
            "Strg+N", "Leertaste", "Umschalt+←", "Entf", "+", "F5",
        ]  # fmt: skip
    finally:
        speak("en")
