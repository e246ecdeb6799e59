"""The pack page: stacks and choices in the chosen unit; a sheet is begun here, and the series in sight goes into its history."""

import tomllib

import pytest
from support.fed import FedBench
from support.made import MOMENT
from support.shareddata import shared_data

from analysis.errors import BenchError
from rig.book.knowledge import shop_history
from rig.pack import answer
from rig.window.conditions import Conditions
from rig.window.controller import Controller, Means
from rig.window.memory import Remembered
from rig.window.model import BenchModel, Source
from rig.window.qt.main_window import MainWindow
from rig.window.views.pack import PackView, Part, load_pack
from rig.words.units import UnitChoice

NEWTON, POUND = UnitChoice("N.m"), UnitChoice("lbf.ft")


def sheet(name):
    return shared_data("packs") / name / "PACK.toml"


def view(name, unit=NEWTON):
    (loaded,) = load_pack(sheet(name), unit)
    assert isinstance(loaded, PackView)
    return loaded


@pytest.mark.parametrize("name", ["1_low_torque_space_a_side", "3_cover_spacer_thicker_is_less", "7_stack_heights_only"])
def test_the_page_shows_what_the_answer_says(name):
    shown, said = view(name), answer(sheet(name))
    assert shown.reason == said["reason"]
    assert [choice.share for choice in shown.choices] == [
        one["probability_lands"] for one in said["candidates"][: len(shown.choices)]
    ]
    assert all(choice.low <= choice.median <= choice.high <= shown.end for choice in shown.choices)
    assert [stack.pieces[0].part for stack in shown.stacks] == [Part.WALL, Part.WALL]


def test_torques_are_in_the_chosen_unit():
    newton, pound = view("1_low_torque_space_a_side"), view("1_low_torque_space_a_side", POUND)
    ratio = newton.choices[0].median / pound.choices[0].median
    assert ratio == pytest.approx(1.3558179, rel=1e-6)  # NIST SP 811
    assert newton.low / pound.low == pytest.approx(1.3558179, rel=1e-6)


def test_a_part_beyond_its_limit_is_marked():
    marked = [piece.name for stack in view("2_high_torque_springs_in_line").stacks for piece in stack.pieces if piece.beyond]
    assert marked
    assert not [piece for stack in view("1_low_torque_space_a_side").stacks for piece in stack.pieces if piece.beyond]


def test_a_sheet_that_cannot_be_read_is_an_error_to_show(tmp_path):
    (tmp_path / "PACK.toml").write_text("[pack]\nunit = 3\n")
    (loaded,) = load_pack(tmp_path / "PACK.toml", NEWTON)
    assert isinstance(loaded, BenchError)
    (gone,) = load_pack(tmp_path / "gone.toml", NEWTON)
    assert isinstance(gone, BenchError)


def test_the_page_reads_a_sheet_in_the_background_and_paints_it(qtbot):
    controller = Controller(BenchModel(FedBench()), Remembered(), Means())
    window = MainWindow(controller, cautions=False)
    window._timer.stop()
    qtbot.addWidget(window)
    window.resize(1280, 800)
    window.show()
    window.show_page(window.pack)
    window.pack.sheet_wanted.emit(sheet("1_low_torque_space_a_side"))
    qtbot.waitUntil(lambda: (window.tick(), controller.reading.work is None)[1], timeout=60_000)
    assert "lands with" in window.pack.reason.text()
    window.grab()
    assert "L1" in window.pack.stacks.accessibleName()
    assert window.pack.choices.accessibleName()
    window.close()


@pytest.fixture
def begun(tmp_path):
    """A pack sheet that was begun in the window, and six pulls on its bench."""
    bench, opened = FedBench(), []
    controller = Controller(BenchModel(bench), Remembered(), Means(today=MOMENT.date, show_folder=opened.append))
    path = tmp_path / "PACK.toml"
    controller.pack.write_template("pack", path)
    assert opened == [path]
    controller.pack.path = path
    controller.entry.edit(Conditions(unit="demo 1", arrangement="A", closure="trial", oil="QF 75W-90"))
    for peak_nm in (47.0, 48.0, 46.5, -47.5, -48.0, -46.0):
        bench.pull(abs(peak_nm), back=peak_nm < 0)
    controller.model.poll()
    return controller


def test_a_sheet_is_begun_in_the_window_with_what_it_names_and_nothing_is_written_over(begun, tmp_path):
    assert sorted(each.name for each in tmp_path.iterdir()) == ["PACK.toml", "SHELF.toml", "SPEC.toml"]
    (loaded,) = load_pack(tmp_path / "PACK.toml", NEWTON)
    assert isinstance(loaded, PackView)
    (tmp_path / "PACK.toml").write_text("mine")
    begun.pack.write_template("pack", tmp_path / "PACK.toml")
    assert (tmp_path / "PACK.toml").read_text() == "mine"
    assert "such a file already" in begun.model.notices.first.what


def test_the_series_in_sight_becomes_the_newest_try_of_the_sheets_history(begun):
    path = begun.pack.path
    before, (view_before,) = tomllib.loads(path.read_text()), load_pack(path, NEWTON)
    begun.model.exclude(3, "clamp moved")
    assert begun.pack.enter_series()
    after, (view_after,) = tomllib.loads(path.read_text()), load_pack(path, NEWTON)
    assert {key: each for key, each in after.items() if key != "history"} == {
        key: each for key, each in before.items() if key != "history"
    }
    *earlier, newest = after["history"]
    assert earlier == before["history"]
    assert newest["note"] == f"pulled {MOMENT.date()}, pulls 1, 2, 4, 5, 6"
    read = [pull.result.breakaway.torque_nm for pull in begun.model.pulls if pull.number != 3]
    assert [float(each.removesuffix(" N.m")) for each in newest["breakaway"]] == pytest.approx(read, rel=5e-4)
    assert len(newest["sliding"]) == 5
    assert (newest["arrangement"], newest["closure"]) == ("A", "trial")
    assert "oil" not in newest  # the sheet's own words of oil are those that friction is known for
    assert [newest[side]["shims"] for side in ("left", "right")] == [before[side]["shims"] for side in ("left", "right")]
    assert "# *" in path.read_text()  # remarks stay
    assert len(view_after.pulled) == len(view_before.pulled) + 10
    said = begun.model.notices.newest
    assert newest["breakaway"][0] in said.what
    assert said.good
    assert not begun.pack.enter_series()
    assert tomllib.loads(path.read_text()) == after
    assert "stands in its history already" in begun.model.notices.first.what


def test_a_series_of_another_unit_is_entered_with_a_question_and_a_simulated_one_says_so(begun):
    begun.model.series.conditions["unit"], begun.model.series.source = "QF-7 no. 9", Source.SIMULATED
    assert begun.pack.enter_series()
    assert tomllib.loads(begun.pack.path.read_text())["history"][-1]["note"].startswith("SIMULATED ")
    assert "'QF-7 no. 9'" in begun.model.notices.first.remedy


def test_where_nothing_counts_nothing_is_entered(tmp_path):
    controller = Controller(BenchModel(FedBench()), Remembered(), Means())
    assert not controller.pack.enter_series()
    assert "open a pack sheet first" in controller.model.notices.newest.what
    controller.pack.write_template("pack", tmp_path / "PACK.toml")
    controller.pack.path, before = tmp_path / "PACK.toml", (tmp_path / "PACK.toml").read_text()
    assert not controller.pack.enter_series()
    assert controller.pack.path.read_text() == before


def test_the_shops_own_jobs_count_only_where_they_are_asked_for(own_home, shop, monkeypatch):
    asked = []
    history = shop_history
    monkeypatch.setattr("rig.book.knowledge.shop_history", lambda book: asked.append(1) or history(book))
    shop.filled()
    desk, page = shop.controller.pack, shop.window.pack
    desk.write_template("pack", shop.folder / "PACK.toml")

    def answered():
        page._view = None
        page.sheet_wanted.emit(shop.folder / "PACK.toml")
        shop.settle()
        while page._view is None:
            shop.window.tick()
        return page._view.reason

    usual = answered()
    assert asked == []
    page.shop.setChecked(True)
    shop.settle()
    assert answered() == usual  # a book without pack sheets tells nothing else
    assert asked
