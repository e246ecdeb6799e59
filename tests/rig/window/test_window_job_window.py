"""Opening a job and going on with one treat the window alike: the card's where there is one, else what was typed; it is said."""

import json
from dataclasses import replace

import pytest
from support.jobs import write_pull
from support.shop import SPEC, Shop

from analysis.window import Window
from drivers.emulated.devices import device_for, profile_text
from drivers.emulated.scenarios import scenario
from rig.files.metadata import SIMULATED_DEVICE
from rig.sheets.hand_over import hand_over
from rig.sheets.label import label
from rig.sheets.phrases import Phrases
from rig.window.job_desk import NewJob
from rig.window.series import Source

pytestmark = pytest.mark.usefixtures("own_home")


def typed(shop, **fields):
    shop.controller.entry.edit(replace(shop.controller.entry.now, **fields))


def opened(shop, unit, *, card=False):
    spec = None
    if card:
        spec = shop.folder / "spec.toml"
        spec.write_text(SPEC)
    shop.desk.open_new(NewJob(unit=unit, spec=spec))
    shop.settle()


def told(shop):
    return " / ".join(notice.what for notice in shop.window.model.notices.standing)


@pytest.mark.parametrize("unit_before", ["", "QF-7 no. 11"])
def test_a_job_without_a_card_keeps_the_window_typed_and_says_so(shop, unit_before):
    typed(shop, window="50..65 N.m", arrangement="A", unit=unit_before)
    opened(shop, "QF-7 no. 12")
    assert (shop.window.model.window.low_nm, shop.window.model.window.high_nm) == (50.0, 65.0)
    assert "judged by the window set, 50..65 N.m" in told(shop)
    # what else was typed: kept with the first unit that is named, asked about where it held for another
    assert shop.controller.entry.shown.arrangement == "A"
    assert ("QF-7 no. 11" in shop.controller.entry.asking) is bool(unit_before)


def test_after_a_restart_going_on_with_the_job_judges_by_the_same_window(shop, qtbot, tmp_path):
    typed(shop, window="50..65 N.m")
    opened(shop, "QF-7 no. 12")
    remembered = shop.controller.preferences.now
    shop.window.close()
    again = Shop(qtbot, tmp_path, remembered=remembered)
    again.controller.entry.take_usual(Window.parse("40..65 N.m"))  # as the simulated bench does
    again.desk.take_last()
    again.settle()
    assert again.window.model.window.low_nm == 50.0
    assert "judged by the window set, 50..65 N.m" in told(again)
    again.window.close()


def test_a_card_entered_into_the_job_in_hand_is_the_benchs_window_too(shop):
    typed(shop, window="50..70 N.m")
    opened(shop, "QF-7 no. 12")
    card = shop.folder / "spec.toml"
    card.write_text(SPEC)
    shop.desk.add_file("spec", card)
    shop.settle()
    assert (shop.window.model.window.low_nm, shop.window.model.window.high_nm) == (40.0, 65.0)
    assert shop.controller.entry.now.arrangement == "A"
    assert "50..70 N.m was set before" in told(shop)
    typed(shop, window="45..60 N.m")  # what is typed after it stays until the job has another card
    shop.desk.add_text("note", "glitter on the magnet")
    shop.settle()
    assert shop.window.model.window.low_nm == 45.0
    card.write_text(SPEC.replace("40..65", "30..50"))
    shop.desk.add_file("spec", card)
    shop.settle()
    assert (shop.window.model.window.low_nm, shop.window.model.window.high_nm) == (30.0, 50.0)


def test_going_on_with_a_job_where_there_is_none_points_to_the_page_of_jobs(shop):
    shop.desk.take_last()
    shop.settle()
    [notice] = shop.window.model.notices.standing
    assert "no job yet" in notice.what
    assert "Jobs (Ctrl+J)" in notice.remedy


def test_a_card_brings_its_window_and_says_what_it_replaces_and_another_job_does_not_inherit_it(shop):
    typed(shop, window="50..70 N.m")
    opened(shop, "QF-7 no. 12", card=True)
    assert (shop.window.model.window.low_nm, shop.window.model.window.high_nm) == (40.0, 65.0)
    assert "50..70 N.m was set before" in told(shop)
    opened(shop, "QF-9 no. 1")
    assert shop.window.model.window is None
    assert "40..65 N.m was another job's" in told(shop)


def test_a_window_of_another_day_waits_for_its_answer_when_the_job_is_taken(qtbot, tmp_path, shop):
    typed(shop, window="50..65 N.m")
    opened(shop, "QF-7 no. 12")
    remembered = replace(shop.controller.preferences.now, day="2026-03-04")
    again = Shop(qtbot, tmp_path, remembered=remembered)
    again.controller.entry.take_usual(Window.parse("40..65 N.m"))
    again.desk.take_last()
    again.settle()
    assert again.window.model.window is None
    assert "no window" in told(again)
    again.controller.entry.still_holds()
    assert again.window.model.window.low_nm == 50.0
    again.window.close()


def test_the_arrangement_that_a_jobs_card_brings_is_seen_before_a_pull_and_nothing_waits_behind_it(shop):
    shop.filled()
    shop.window._acts()["last job"]()
    shop.settle()
    shop.window.show_page(shop.window.conditions)
    assert shop.controller.entry.shown == shop.controller.entry.now
    assert [button.arrangement.code for button in shop.window.conditions.pictures if button.isChecked()] == ["A"]


def test_a_job_taken_on_the_simulated_bench_is_told_that_simulated_pulls_go_into_it(shop):
    shop.window.model.line.series.source = Source.SIMULATED
    opened(shop, "QF-7 no. 12")
    assert "SIMULATED pulls go into job" in told(shop)


def test_a_simulated_pull_is_marked_on_the_job_its_pages_and_its_sheets(shop, capsys):
    opened(shop, "QF-7 no. 12")
    shop.run("add", shop.desk.number, "pull", write_pull(shop.folder, device=SIMULATED_DEVICE))
    shop.run("add", shop.desk.number, "pull", write_pull(shop.folder, "p2.csv", seed=2, device="bench 1"))
    shop.desk.look_again()
    shop.settle()
    assert "SIMULATED pulls: 1 of 2" in shop.desk.shown.title
    assert "SIMULATED pulls: 1 of 2" in shop.desk.bench_line[1]
    capsys.readouterr()
    shop.run("show", shop.desk.number)
    page = capsys.readouterr().out
    assert "1 of 2 pulls come from the simulated bench" in page
    assert page.count("SIMULATED, ") == 1  # its entry, and only its
    shop.run("show", shop.desk.number, "--json")
    document = json.loads(capsys.readouterr().out)
    assert [pull["simulated"] for pull in document["pulls"]] == [True, False]
    phrases = Phrases("en", "N.m")
    sheet = hand_over(document, {}, phrases, window=None, printed="2026-03-05")
    assert sheet.blocks[0].word == "SIMULATED"
    assert "SIMULATED" in label(document, phrases, window=None, printed="2026-03-05").blocks[0].word


def test_the_simulated_bench_names_itself_as_pulls_are_told_by():
    assert f'"{SIMULATED_DEVICE}"' in profile_text(device_for("text", 500.0), "socket://x", scenario("both-ways").sensor)


def test_a_complaint_that_was_given_is_not_asked_for_again(shop):
    shop.desk.open_new(NewJob(unit="QF-7 no. 12", complaint="chatters when hot"))
    shop.settle()
    assert "what the complaint does not say yet" in shop.desk.shown.next
    opened(shop, "QF-7 no. 13")
    assert shop.desk.shown.next == "next: Take down the complaint"
