"""The refit at the window: fields make the sheet that a file would, readings come from a gauge, bolts move on with each peak."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.shareddata import shared_data

from analysis.trace import Trace
from rig.files.document import from_values
from rig.refit.answers import answer, answer_of
from rig.refit.document import RefitSheet
from rig.window.bolt_run import BoltRun
from rig.window.refit_form import BACKLASH, BEARINGS, BOLTS, DRAG, FILL, PARTS, sheet_of, texts_of
from rig.window.views.refit import LISTS, refit_view
from rig.window.views.verdict import Tone
from rig.words.language import catalogue

GAP = {
    "name": "side bearings",
    "gap.0": "0,11",
    "gap.1": "0.13",
    "gap.2": "0.12 mm",
    "gap.3": "0.12",
    "wanted": "0.15-0.21",
    "shims_now": "1.10",
    "thicker_shim": "more preload",
    "shelf": "0.05, 0.10, 1.10, 1.20",
}


def answered(part, texts):
    return answer_of(from_values(sheet_of(part, texts, "demo"), RefitSheet, "page"), "page", Path())[LISTS[part.section]][0]


def test_the_worked_gap_of_the_contract_in_fields():
    told = answered(BEARINGS, GAP)
    assert (round(told["needed_mm"], 6), sorted(told["choice_mm"]), told["state"]) == (1.16, [0.05, 1.10], "in_window")
    assert told["expanded_u_mm"] == pytest.approx(2 * np.hypot(0.008165 / 2, 0.006), rel=1e-3)  # REFIT.md, 'Worked'


def test_depths_and_end_play_use_their_own_fields_alone():
    depths = {
        "name": "b",
        "form": "depths",
        "depth_case.0": "18.43",
        "depth_bearing.0": "17.31",
        "wanted": "0.16..0.20",
        "gap.0": "9",
    }
    assert answered(BEARINGS, depths)["needed_mm"] == pytest.approx(1.30)
    play = {"name": "b", "form": "end_play", "end_play.0": "0.12", "wanted": "0.16..0.20", "shims_now": "0.50"}
    assert answered(BEARINGS, play | {"thicker_shim": "less preload"})["needed_mm"] == pytest.approx(0.50 - 0.12 - 0.18)


@pytest.mark.parametrize(
    ("part", "texts", "said"),
    [
        (BEARINGS, {**GAP, "thicker_shim": ""}, "a thicker shim gives"),
        (BEARINGS, {**GAP, "name": ""}, "name"),
        (BEARINGS, {**GAP, "gap.0": "wide"}, "wide"),
        (DRAG, {"name": "b"}, "drag"),
        (BOLTS, {"name": "b", "torque": "98"}, "bolts"),
        (FILL, {"name": "oil", "filled.0": "a bucket"}, "bucket"),
    ],
)
def test_what_is_missing_or_off_is_named(shop, part, texts, said):
    shop.controller.refit.texts[part.section] = dict(texts)
    view = refit_view(shop.controller.refit, part)
    assert said in view.refused
    assert view.tone is Tone.NONE


@given(st.lists(st.floats(0.0, 1.9).map(lambda value: f"{value:.3f}"), min_size=1, max_size=8))
def test_readings_typed_with_comma_or_point_are_the_same(points):
    plain = {"name": "gear", **{f"points.{at}": text for at, text in enumerate(points)}}
    comma = {key: text.replace(".", ",") if key.startswith("points") else text for key, text in plain.items()}
    assert answered(BACKLASH, plain)["points_mm"] == answered(BACKLASH, comma)["points_mm"] == [float(text) for text in points]


@pytest.mark.parametrize("name", ["1_gap_and_retainer", "2_depths_in_inches", "4_backlash_and_bolts", "5_stops_warnings_fill"])
def test_the_worked_sheets_come_through_the_fields_unchanged(name):
    path = shared_data("refits") / f"{name}.toml"
    whole = answer(path)
    sheet = tomllib.loads(path.read_text("utf-8"))
    seen = 0
    for part in PARTS:
        sections = sheet.get(part.section, [])
        for at, section in enumerate(sections if isinstance(sections, list) else [sections]):
            if section.get("traces") or "angles" in section or "u" in section or "spread_max" in section:
                continue  # these have no field at the window
            told = answered(part, texts_of(part, section, with_readings=True))
            expected = whole[LISTS[part.section]][at]
            assert {key: told[key] for key in told if key != "text"} == {key: expected[key] for key in told if key != "text"}
            seen += 1
    assert seen


def test_every_word_of_the_fields_has_its_german_line():
    words = {entry.name for part in PARTS for entry in part.entries} | {part.name for part in PARTS}
    words |= {text for part in PARTS for entry in part.entries for _, text in entry.choices if text}
    assert sorted(words - catalogue("de").keys()) == []


def test_a_part_is_entered_in_the_job_and_its_gate_opens(shop):
    shop.desk.take(shop.filled())
    shop.settle()
    window = shop.window
    window.show_page(window.of_job.refit)
    page = window.of_job.refit.page
    drag = page.parts[PARTS.index(DRAG)]
    for key, text in {"name": "side bearings", "torque.0": "1.6", "window": "0.7..3.4", "sensor_u": "0.1"}.items():
        field = drag.readings.get(key) or drag.stated[key]
        field.setText(text)
        field.textEdited.emit(text)
    assert drag.word.text() == "in the window"
    drag.enter.click()
    shop.settle()
    assert "bearing drag" not in " ".join(shop.desk.shown.wanted)
    [file] = (shop.folder / "out").glob("*_drag_1.toml")
    assert answer(file)["drags"][0]["state"] == "in_window"
    drag.enter.click()
    shop.settle()
    assert len(list((shop.folder / "out").glob("*_drag_*.toml"))) == 2  # nothing is written over


def test_what_the_page_stated_stands_in_the_fields_of_the_next_sheet_and_readings_do_not(shop):
    number = shop.filled()
    sheet = shop.folder / "refit.toml"
    sheet.write_text(
        '[refit]\nunit = "demo 3"\n[[backlash]]\nname = "gear"\npoints = ["0.15 mm", "0.16 mm"]\nwindow = "0.13..0.23 mm"\n'
    )
    shop.run("add", number, "refit", sheet)
    shop.desk.take(number)
    shop.settle()
    shop.window.tick()
    texts = shop.controller.refit.texts["backlash"]
    assert (texts["window"], texts["name"], "points.0" in texts) == ("0.13..0.23 mm", "gear", False)


def test_lengths_from_a_gauge_fill_the_readings(shop):
    window = shop.window
    window.show_page(window.of_job.refit)
    desk, lengths = shop.controller.refit, shop.controller.lengths
    desk.texts["bearing"] = {key: text for key, text in GAP.items() if not key.startswith("gap")}
    desk.measure(BEARINGS)
    window.of_job.refit.refresh(0)
    page = window.of_job.refit.page
    assert page.stack.currentWidget() is page.panel
    for length in (0.11, 0.13, 0.12, 0.12):
        lengths.entry.list = lengths.entry.list.taken(length, f"{length} mm")
    assert lengths.end()
    window.of_job.refit.refresh(0)
    assert page.parts[0].word.text() == "in the window"
    desk.measure(BEARINGS)
    lengths.entry.list = lengths.entry.list.taken(1.4, "1.4 mm")
    assert lengths.entry.list.word is not None  # over 1 mm of gap is no gap (REFIT.md)


# -- bolts ----------------------------------------------------------------------------------------------------------------------


class FedLine:
    """A bench for bolts fed by hand."""

    def __init__(self):
        self.pieces, self.told, self.closed = [], [], False
        self.status = type("Status", (), {"zero_nm": 0.0})()

    def news(self):
        told, self.told = self.told, []
        return told

    def scope(self):
        pieces, self.pieces = self.pieces, []
        return pieces

    def close(self):
        self.closed = True


def pull_of(peak_nm, start_s):
    """A tightening: rest, up to the peak in a second, let go in a fifth, rest long enough to end it."""
    torque = np.concatenate([np.zeros(400), np.linspace(0, peak_nm, 200), np.linspace(peak_nm, 0, 40), np.zeros(560)])
    return Trace(start_s + np.arange(torque.size) / 200.0, torque, None)


@pytest.fixture
def run(monkeypatch, tmp_path):
    import rig.window.bolt_run as module
    from rig.files.metadata import TraceInfo

    line = FedLine()
    monkeypatch.setattr(module, "Bench", lambda source, session: line)
    monkeypatch.setattr(module, "source_of", lambda profile, tap: None)

    class Sensors:
        def of_line(self, profile, info):
            return None, TraceInfo()

    benches = type("Benches", (), {"sensors": Sensors(), "info": TraceInfo()})()
    sheet = from_values(sheet_of(BOLTS, {"name": "ring gear bolts", "count": "4", "torque": "98"}, ""), RefitSheet, "page")
    return BoltRun(sheet.value.fasteners[0], _profile(), benches, tmp_path), line


def _profile():
    return type("Profile", (), {"capacity_nm": 200.0})()


def feed(run, line, peak_nm, at):
    line.pieces.append(pull_of(peak_nm, 10.0 * at))
    return run.tick()


def test_the_circle_moves_on_with_each_recorded_peak_and_stays_at_a_bolt_that_is_too_loose(run):
    run, line = run
    assert run.done.next_bolt == 1
    assert feed(run, line, 98.0, 1)
    assert (run.done.next_bolt, round(run.last[1].peak_nm)) == (3, 98)
    feed(run, line, 80.0, 2)  # too low: the same bolt again
    assert run.done.next_bolt == 3
    feed(run, line, 97.0, 3)
    assert run.done.next_bolt == 2
    run.recorder.back()
    assert run.done.next_bolt == 3
    for at in (4, 5, 6):
        feed(run, line, 98.5, at)
    assert run.done.next_bolt is None
    assert all(Path(name).name.startswith("ring_gear_bolts") for name in run.names())


def test_a_recorded_pass_makes_a_sheet_of_traces_and_the_bench_gets_its_sensor_back(shop, run, monkeypatch):
    made, line = run
    desk = shop.controller.refit
    desk.texts["fasteners"] = {"name": "ring gear bolts", "count": "4", "torque": "98", "locked_by": "tabs"}
    made._folder = desk.folder  # names are relative to the folder of the sheet
    reopened = []
    monkeypatch.setattr(shop.controller.lines, "reopen", lambda: reopened.append(True))
    desk.run = made
    shop.window.show_page(shop.window.of_job.refit)
    page = shop.window.of_job.refit.page
    page.show_part(PARTS.index(BOLTS))
    for at in range(1, 5):
        line.pieces.append(pull_of(98.0, 10.0 * at))
        shop.window.tick()
        if at < 4:
            following = next(bolt.number for bolt in page.parts[3]._view.bolts if bolt.next)
            assert following == (3, 2, 4)[at - 1]
            assert page.parts[3].word.text() == f"pull bolt {following}"
    assert (desk.run, reopened, line.closed) == (None, [True], True)
    assert page.parts[3].word.text() == "complete"
    section = desk.sheet(BOLTS)["fasteners"][0]
    assert len(section["traces"]) == 4
    assert "peaks" not in section
    desk.put(BOLTS, "peaks.0", "97 N.m")  # a hand at a field: peaks count, not the traces
    assert "traces" not in desk.sheet(BOLTS)["fasteners"][0]


def test_without_a_sensor_no_pass_is_recorded_and_said_so(shop):
    desk = shop.controller.refit
    desk.texts["fasteners"] = {"name": "b", "count": "4", "torque": "98"}
    desk.record_bolts()
    assert desk.run is None
    assert "no sensor is open" in shop.controller.model.notices.newest.what
    desk.texts["fasteners"] |= {"state": "reused", "single_use": "yes"}
    desk.record_bolts()
    assert "fit new ones" in shop.controller.model.notices.newest.what
