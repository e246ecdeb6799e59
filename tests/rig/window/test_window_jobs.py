"""The job at the window: the day begins with it, its gates bar what cannot be undone, its sheets are made; the book may be away."""

import json
import subprocess
import sys
from dataclasses import replace

import pytest
from PySide6.QtCore import QCoreApplication, Qt
from PySide6.QtTest import QTest
from support.fed import FedBench
from support.jobs import OIL, START, write_pull
from support.shop import Shop

from rig import cli
from rig.book.gates import Missing
from rig.book.look import job_view
from rig.book.waiting import Waiting
from rig.window.app import QtWords
from rig.window.controller import Controller, Means
from rig.window.memory import Remembered
from rig.window.model import BenchModel
from rig.window.qt.main_window import MainWindow
from rig.window.views.job import shown_job
from rig.window.views.trend import UNITS
from rig.words.language import speak
from rig.words.units import UnitChoice

pytestmark = pytest.mark.usefixtures("own_home")


def page(window):
    return window.pages.currentWidget()


def test_the_day_begins_with_the_job(qtbot, tmp_path):
    shop = Shop(qtbot, tmp_path, cautions=True)
    shop.window.cautions.understood.emit()
    assert page(shop.window) is shop.window.of_job.jobs
    shop.settle()
    jobs = shop.window.of_job.jobs.page
    jobs.unit.setText("QF-7 no. 12")
    jobs.customer.setText("an invented one")
    jobs.open_new.click()
    shop.settle()
    assert page(shop.window) is shop.window.of_job.job
    assert (shop.desk.number, shop.desk.customer) == (f"{START.year}-0001", "an invented one")
    assert shop.controller.entry.now.unit == "QF-7 no. 12"
    assert shop.controller.preferences.now.job == shop.desk.number
    shop.window.show_bench()
    assert shop.window.bench.job.isVisible()
    assert "QF-7 no. 12" in shop.window.bench.job.text()
    shop.window.close()


def test_enter_in_the_last_field_opens_the_job(qtbot, tmp_path):
    shop = Shop(qtbot, tmp_path, cautions=True)
    shop.window.cautions.understood.emit()
    shop.settle()
    jobs = shop.window.of_job.jobs.page
    jobs.unit.setText("QF-7 no. 12")
    QTest.keyClick(jobs.complaint, Qt.Key.Key_Return)
    shop.settle()
    assert page(shop.window) is shop.window.of_job.job
    assert shop.controller.entry.now.unit == "QF-7 no. 12"
    shop.window.close()


def test_a_window_without_a_book_begins_at_the_bench(qtbot):
    window = MainWindow(Controller(BenchModel(FedBench()), Remembered(), Means()), cautions=True)
    window._timer.stop()
    qtbot.addWidget(window)
    window.cautions.understood.emit()
    assert page(window) is window.bench
    window._acts()["last job"]()
    assert "no job book" in window.model.notices.newest.what
    window.close()


def test_one_key_goes_on_with_the_last_job_and_its_window_judges(shop):
    number = shop.filled()
    shop.window._acts()["last job"]()
    shop.settle()
    assert shop.desk.number == number
    assert (shop.controller.model.window.low_nm, shop.controller.model.window.high_nm) == (40.0, 65.0)
    assert shop.controller.entry.now.arrangement == "A"
    assert page(shop.window) is shop.window.bench
    assert "no fasteners are entered" in shop.window.bench.job.text()


def test_each_line_is_told_which_job_its_pulls_belong_to(shop, tmp_path):
    number = shop.filled()
    shop.desk.take(number)
    shop.settle()

    class Told:
        described: list = []  # noqa: RUF012

        def describe(self, conditions, remark, job, customer):
            self.described.append((conditions.unit, job, customer))

    shop.controller._describe_line(Told())
    assert Told.described == [("demo 3", number, "an invented one")]


def test_another_job_begins_another_series(shop):
    number = shop.filled()
    shop.run("new", "--unit-id", "demo 3")  # the same type of unit, another one
    shop.desk.take(number)
    shop.settle()
    series = shop.controller.model.line.series
    shop.controller.model.line.series.take(next(iter(made_pulls())))
    shop.desk.take(number)  # the same again: the series goes on
    shop.settle()
    assert shop.controller.model.line.series is series
    shop.desk.take(number.replace("0001", "0002"))
    shop.settle()
    assert shop.controller.model.line.series is not series


def made_pulls():
    from support.made import made_stream

    from analysis.pull.reading import read_pull
    from analysis.results import Sensor
    from rig.window.series import Pull

    trace = made_stream()
    yield Pull(1, trace, read_pull(trace, Sensor(u_nm=0.4, capacity_nm=200.0)), None, None, True, lacks=())


def test_a_step_that_may_not_be_done_says_what_is_missing_and_a_reason_stays_visible(shop):
    shop.desk.take(shop.filled())
    shop.settle()
    shop.window.show_page(shop.window.of_job.job)
    steps = shop.window.of_job.job.page.steps
    keys = [row.key for row in steps._rows]
    steps.steps.setCurrentRow(keys.index("lock_tabs"))
    assert not steps.done.isEnabled()
    for words in ("fasteners", "drag", "backlash"):
        assert words in steps.missing.text()
    steps.although.setText("shown to the customer")
    assert steps.done.isEnabled()
    steps.done.click()
    shop.settle()
    row = next(row for row in shop.desk.shown.steps if row.key == "lock_tabs")
    assert (row.done, row.although) == (True, "shown to the customer")
    assert "fasteners" in " ".join(row.missing)
    steps.steps.setCurrentRow(keys.index("lock_tabs"))
    assert "shown to the customer" in steps.told.text()
    shop.desk.mark("seals")  # the gate stands in the way, whoever asks
    shop.settle()
    assert "cannot be undone" in shop.controller.model.notices.newest.what
    assert "drag" in shop.controller.model.notices.newest.what


def test_series_pulls_and_entries_are_shown_in_the_chosen_unit(shop):
    shop.desk.take(shop.filled())
    shop.settle()
    shop.window.show_page(shop.window.of_job.job)
    shown = shop.desk.shown
    assert [(row.count, row.word) for row in shown.series] == [("6 pulls", "IN WINDOW")]
    assert "N·m" in shown.pulls[0].cells[3]
    shop.window._turn_unit()
    shop.settle()
    assert "lbf·ft" in shop.desk.shown.pulls[0].cells[3]
    assert shown.head in shop.window.of_job.job.page.head.text()


def test_the_oil_is_asked_in_one_form_and_left_enters_nothing(shop, monkeypatch):
    number = shop.filled()
    shop.desk.take(number)
    shop.settle()
    before = len(shop.desk.shown.entries)
    sheets = shop.window.of_job.job.page.sheets

    def answered(*texts, taken):
        def run(dialog):
            for field, text in zip(dialog.fields, texts, strict=True):
                field.setText(text)
            ok = dialog._buttons.button(dialog._buttons.StandardButton.Ok)
            assert ok.isEnabled() is bool(texts[0])
            return dialog.DialogCode.Accepted if taken else dialog.DialogCode.Rejected

        monkeypatch.setattr("rig.window.qt.form_dialog.FormDialog.exec", run)
        sheets._add_oil()
        shop.settle()

    answered("75W-90", "2.0 l", "", taken=False)
    answered("", "", "", taken=False)
    assert len(shop.desk.shown.entries) == before
    answered("75W-90", "", "2.0 l", taken=True)
    with shop.open() as book:
        content = book.record(number).entries[-1].content
    assert content.items() >= {"text": "75W-90", "additive": None}.items()
    assert len(shop.desk.shown.entries) == before + 1


def test_what_is_entered_at_the_window_is_in_the_book(shop):
    number = shop.filled()
    shop.desk.take(number)
    shop.settle()
    shop.desk.add_text("note", "glitter on the magnet")
    shop.desk.add_text("part", "lock tab", single_use=True, batch="B7")
    photo = shop.folder / "plug.jpg"
    photo.write_bytes(b"not really")
    shop.desk.add_file("photo", photo)
    shop.desk.add_pulls([write_pull(shop.folder, "late.csv", seed=9)])
    shop.settle()
    shop.desk.strike(3, "wrong lever")
    shop.settle()
    with shop.open() as book:
        record = book.record(number)
    assert [str(entry.kind) for entry in record.entries[-5:]] == ["note", "part", "photo", "pull", "struck"]
    assert record.entries[-1].who == "T.W."
    struck = next(row for row in shop.desk.shown.entries if row.entry == 3)
    assert (struck.counts, "wrong lever" in struck.why) == (False, True)
    shop.desk.close_job()
    shop.settle()
    assert shop.desk.shown.closed


def test_a_text_that_is_refused_is_a_notice_and_enters_nothing(shop):
    number = shop.filled()
    shop.desk.take(number)
    shop.settle()
    before = len(shop.desk.shown.entries)
    shop.desk.add_text("oil", OIL, volume="a bucket")
    shop.settle()
    assert "bucket" in shop.controller.model.notices.newest.what
    assert len(shop.desk.shown.entries) == before


def test_the_history_of_a_unit_is_found_and_a_word_in_a_note_too(shop):
    shop.filled()
    for unit in ("other 9", "demo 3"):
        shop.run("new", "--unit-id", unit)
    shop.run("add", "last", "note", "came back for noise")
    shop.window.show_page(shop.window.of_job.jobs)
    shop.settle()
    shop.window.tick()
    jobs = shop.window.of_job.jobs.page
    jobs.refresh(0)
    assert jobs.jobs.rowCount() == 3
    jobs.jobs.selectRow(0)
    jobs.history.click()
    shop.settle()
    assert [row[2] for row in shop.desk.listed.rows] == ["demo 3", "demo 3"]
    jobs.search.setText("NOISE")
    jobs._find()
    shop.settle()
    assert shop.desk.listed.jobs == (f"{START.year}-0003",)


@pytest.mark.parametrize(("kind", "language"), [("hand-over", "en"), ("label", "de")])
def test_a_sheet_is_made_and_opened(shop, kind, language):
    shop.desk.take(shop.filled())
    shop.settle()
    shop.desk.write_sheet(kind, shop.desk.sheet_path(kind), language=language, unit="N.m")
    shop.settle()
    [made] = shop.opened
    assert made.read_bytes().startswith(b"%PDF")
    assert made.parent == shop.folder / "out"


def test_a_comparison_is_made_of_the_series_before_and_after(shop):
    number = shop.filled()
    found = [
        write_pull(shop.folder, f"f{n}.csv", peak_nm=30, direction=1 if n % 2 else -1, seed=20 + n, phase="as found")
        for n in range(6)
    ]
    shop.run("add", number, "pull", *found)
    shop.desk.take(number)
    shop.settle()
    assert shop.desk.shown.comparable
    shop.desk.write_sheet("comparison", shop.folder / "c.pdf", language="en", unit="N.m")
    shop.settle()
    assert shop.opened == [shop.folder / "c.pdf"]
    (shop.folder / "f0.csv").write_text("another\n")
    shop.desk.write_sheet("comparison", shop.folder / "d.pdf", language="en", unit="N.m")
    shop.settle()
    assert "no longer what was entered" in shop.controller.model.notices.newest.what


def test_a_book_that_is_away_stops_nothing_and_says_what_to_do(shop):
    number = shop.filled()
    shop.desk.take(number)
    shop.settle()
    shop.away = True
    shop.desk._worker._let_go()
    shop.desk.add_text("note", "while it is away")
    shop.settle()
    notice = shop.controller.model.notices.newest
    assert "recorded all the same" in notice.remedy
    assert shop.desk.away
    assert shop.desk.number == number  # pulls go on naming their job
    shop.away = False
    shop.desk.look_again()
    shop.settle()
    assert not shop.desk.away


def test_recordings_that_waited_are_entered_when_a_job_is_taken(shop):
    number = shop.filled()
    pull = write_pull(shop.folder, "waited.csv", seed=8)
    with shop.open() as book:
        shop.means.waiting.note(Waiting(str(book.place), number, str(pull), "T.W."))
    shop.desk.take(number)
    shop.settle()
    shop.window.tick()
    assert "waited is entered" in " ".join(notice.what for notice in shop.controller.model.notices.standing)
    assert len(shop.desk.shown.pulls) == 7


def test_a_pull_that_was_entered_is_seen_without_asking(shop):
    number = shop.filled()
    shop.desk.take(number)
    shop.settle()
    shop.run("add", number, "pull", write_pull(shop.folder, "new.csv", seed=7))
    shop.controller.model.line.entered += 1  # the keeper's news
    shop.window.tick()
    shop.settle()
    assert len(shop.desk.shown.pulls) == 7


def test_german_steps_gates_and_entries(shop):
    number = shop.filled()
    speak("de")
    shop.desk.take(number)
    shop.settle()
    shown = shop.desk.shown
    assert "Sicherungsbleche umlegen" in [row.name for row in shown.steps]
    assert "keine Schrauben eingetragen" in " ".join(shown.wanted)
    assert "Auftrag geöffnet" in shown.entries[0].cells[3]


def test_the_database_is_loaded_by_no_start_of_a_window_with_a_book():
    code = """
import sys
import rig.window.app, rig.window.job_desk, rig.window.qt.main_window, rig.window.means
from rig.commands._book import book_means, keeper_of
print([name for name in ("sqlalchemy", "alembic", "psycopg", "typst", "rig.window.qt.job_page") if name in sys.modules])
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_qt_speaks_the_language_of_the_window_in_its_own_dialogs(qapp):
    words = QtWords()
    assert words.speak("de")
    assert QCoreApplication.translate("QPlatformTheme", "Cancel") == "Abbrechen"
    words.speak("en")
    assert QCoreApplication.translate("QPlatformTheme", "Cancel") == "Cancel"


def test_without_any_job_the_last_one_cannot_be_gone_on_with(qtbot, tmp_path):
    shop = Shop(qtbot, tmp_path)
    shop.window.show_page(shop.window.of_job.jobs)
    shop.settle()
    last = shop.window.of_job.jobs.page.last
    assert not last.isEnabled()
    shop.filled()
    shop.desk.find("")
    shop.settle()
    assert last.isEnabled()
    shop.window.close()


def test_at_the_lever_what_this_pull_must_be_like_comes_before_what_is_written_down(shop):
    number = shop.filled()
    with shop.open() as book:
        view = job_view(book, number, shop.means.scatter)
    about_pulls = Missing("closure", "pulls with the case closed are needed", "")
    on_paper = Missing("fasteners", "no fasteners are entered", "")
    gates = {key: replace(gate, missing=(on_paper, about_pulls)) for key, gate in view.gates.items()}
    line = shown_job(replace(view, gates=gates), UnitChoice()).bench
    assert line.wanted == f"still wanted: {about_pulls.what}; {on_paper.what}"


@pytest.mark.parametrize("figure", ["scatter", "zero", "directions", "shims"])
def test_the_bench_over_the_jobs_has_the_figures_of_the_command_line(shop, capsys, figure):
    shop.filled()
    shop.filled()
    page = shop.window.of_job.jobs
    shop.window.show_page(page)
    shop.settle()
    page.page.show_part(1)
    part = page.page.trend
    part.figure.setCurrentIndex(part.figure.findData(figure))
    part.ask()
    shop.settle()
    capsys.readouterr()
    assert cli.main(["book", "trend", "--of", figure, "--json", "--book", shop.url]) == 0
    told = json.loads(capsys.readouterr().out)
    unit, scale = UNITS[figure]
    key = "relative" if figure == "scatter" else "value"
    assert [point.job for point in part._view.points] == [point["job"] for point in told["points"]]
    assert [point.value for point in part._view.points] == pytest.approx([scale * point[key] for point in told["points"]])
    assert (part._view.centre is None) is (told["centre"] is None)
    assert part.table.rowCount() == len(told["points"])
    shop.window.grab()
    if figure == "scatter":
        assert len(told["points"]) == 2
        assert f"{100 * told['centre']:.1f} {unit}" in part.head.text()
