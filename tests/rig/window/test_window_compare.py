"""The page of before and after: words large, refusals, exclusion by hand, the page for the customer. Sets of known values."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from support.compared import LIKE, QUIET, WITH_ADDITIVE, chattering
from support.compared import pull as compared
from support.fed import FedBench
from support.made import made_stream

from analysis.errors import BenchError
from analysis.pull.reading import read_pull
from analysis.results import Chatter
from analysis.window import Window
from rig.files.metadata import TraceInfo
from rig.window.background import Work
from rig.window.model import BenchModel
from rig.window.qt.compare_page import ComparePage
from rig.window.qt.theme import DARK
from rig.window.series import Pull
from rig.window.views.compare import Member, save_page, view_of
from rig.window.views.verdict import Tone
from rig.words.units import UnitChoice

UNIT = UnitChoice()
TRACE = made_stream(1)
RESULT = read_pull(TRACE)


def member(number, sliding_nm, stated=LIKE, chatter=QUIET):
    pull = Pull(number, TRACE, replace(RESULT, chatter=Chatter(assessable=True, score=0.0)), None, None, final=True)
    of = Member.of(str(number), pull, TraceInfo())
    return replace(of, compared=compared(sliding_nm, stated=stated, chatter=chatter))


@pytest.fixture
def sides():
    before = [member(k, 50.0 + k / 5, chatter=chattering(0.25 + k / 100)) for k in range(1, 6)]
    return before, [member(k, 45.0 + k / 5, WITH_ADDITIVE) for k in range(1, 6)]


@pytest.fixture
def page(qtbot, sides):
    model = BenchModel(FedBench(Window.parse("35..70 N.m")))
    page = ComparePage(model)
    qtbot.addWidget(page)
    page.before += sides[0]
    page.after += sides[1]
    page.dress(DARK, 1.0)
    return page


def test_the_words_stand_large_with_what_they_cost(sides):
    view = view_of(*sides, UNIT)
    tiles = {tile.title: tile for tile in view.tiles}
    assert (tiles["chatter"].word, tiles["chatter"].tone) == ("QUIET SO FAR", Tone.GOOD)
    assert tiles["sliding"].word == "FELL  −9.9 %"
    assert tiles["sliding"].line == "50.6 N·m → 45.6 N·m"
    assert len(view.drawings) % 2 == 0
    assert "cured" not in " ".join(view.texts).lower()


def test_how_many_pulls_are_still_wanted_stands_under_the_word():
    before, after = ([member(k, level * (1 + 0.03 * (-1) ** k)) for k in range(4)] for level in (50.0, 51.0))
    tile = next(tile for tile in view_of(before, after, UNIT).tiles if tile.title == "sliding")
    assert (tile.tone, tile.word.startswith("OPEN")) == (Tone.UNDECIDED, True)
    assert "pulls wanted on each side: " in tile.line


def test_what_is_not_comparable_says_so_and_may_be_compared_all_the_same(page, sides):
    page.after[:] = [replace(one, compared=replace(one.compared, stated=replace(LIKE, arrangement="B"))) for one in sides[1]]
    page.redraw()
    assert "the arrangement differs" in page.texts.toPlainText()
    assert not page.save.isEnabled()
    assert not page.override.isHidden()
    page.override.setChecked(True)
    assert "not alike" in page.texts.toPlainText()
    assert page.save.isEnabled()


def test_asking_another_question_refuses_what_was_the_question(page):
    at = page.question.findText("the oil")
    page.question.setCurrentIndex(at)
    assert "the additive differs" in page.texts.toPlainText()


def test_a_pull_is_excluded_on_the_page_and_counted_again(page):
    assert page.left.table.item(1, 4).text() == ""
    page.left.table.setCurrentCell(1, 0)
    page.left._turn()
    assert page.left.table.item(1, 4).text() == "excluded by a person: excluded on this page"
    assert page.left.table.item(1, 0).font().strikeOut()
    assert "4 pulls counted before, 5 after" in page.texts.toPlainText()
    page.left.turned.emit(1)
    assert "5 pulls counted before, 5 after" in page.texts.toPlainText()


def test_an_empty_side_compares_nothing(page):
    page.right.emptied.emit()
    assert "Five pulls a side" in page.texts.toPlainText()
    assert all(tile.isHidden() for tile in page.tiles)


def test_the_page_is_written_and_a_bad_folder_is_told(tmp_path, sides):
    view = view_of(*sides, UNIT)

    def steps(path):
        save_page([*sides[0], *sides[1]], view.comparison, path, UNIT, date(2026, 11, 26))
        yield path

    save_page([*sides[0], *sides[1]], view.comparison, tmp_path / "page.svg", UNIT, date(2026, 11, 26))
    assert (tmp_path / "page.svg").read_bytes().startswith(b"<svg")
    work = Work("writing", steps(tmp_path / "nix" / "page.pdf"), 1)
    work._thread.join()
    assert work.take() == []
    assert isinstance(work.troubles[0], BenchError)


def test_every_drawing_is_painted(page, qtbot):
    page.resize(1180, 800)
    page.show()
    qtbot.waitExposed(page)
    assert not page.grab().isNull()
    shown = [view for view in page.drawings if not view.isHidden()]
    assert len(shown) >= 4
    assert all(view.accessibleName() for view in shown)
