"""The pack page: the stacks as they are built, what is beyond a limit marked, the choices over the window, in the chosen unit."""

import pytest
from support.fed import FedBench
from support.shareddata import shared_data

from analysis.errors import BenchError
from rig.pack import answer
from rig.window.controller import Controller, Means
from rig.window.memory import Remembered
from rig.window.model import BenchModel
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
