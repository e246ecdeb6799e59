"""What is shown is readable and plain: long lines go on or leave out the middle of a path, an empty form says what it wants."""

from datetime import UTC, datetime
from pathlib import Path

import pytest
from PySide6.QtGui import QFontMetricsF
from support.made import made_stream

from analysis.pull.reading import read_pull
from analysis.results import Sensor
from analysis.verdict.judge import judge_pull
from analysis.window import Window
from rig.live.news import EndedAbruptly, PullJudged
from rig.window.notices import Notice, Notices
from rig.window.qt.elided import ElidedLabel
from rig.window.qt.series_row import SMALLEST, all_rows_of, rows_of
from rig.window.qt.shapes import fitted
from rig.window.refit_form import BEARINGS, PARTS
from rig.window.views.panel import panel_of
from rig.window.views.refit import refit_view
from rig.window.views.series import series_of
from rig.window.views.verdict import Tone

NEXT = "pull 2 of 3, this way; then move the lever over and pull 3 the other way"


pytestmark = pytest.mark.usefixtures("own_home")


def test_a_long_path_keeps_its_ends_and_the_words_before_it(qtbot):
    label = ElidedLabel()
    qtbot.addWidget(label)
    path = "/where/it/is/" + "a_folder_with_a_long_name/" * 12 + "2026-03-05_pull_007.csv"
    label.setText(f"kept up to there in {path}")
    label.resize(500, 20)
    shown = label.shown()
    assert shown.startswith("kept up to there in /where")
    assert shown.endswith("pull_007.csv")
    assert label.fontMetrics().horizontalAdvance(shown) <= 500
    label.grab()
    assert label.toolTip().endswith(path)
    label.setText("short")
    assert label.shown() == "short"


def test_the_next_instruction_of_the_series_goes_on_in_the_next_row_at_its_size(qtbot):
    width, cap = 0.91 * 330, 0.078 * 132
    rows = rows_of((NEXT, "n = 2"), width, cap)
    assert " ".join(rows) == f"{NEXT} n = 2"
    assert len(rows) <= 4
    metrics = QFontMetricsF(fitted("", width, cap, bold=False))
    assert all(metrics.horizontalAdvance(row) <= width for row in rows)


def test_the_last_line_of_the_series_is_seen_too_all_become_smaller(qtbot):
    lines = (
        NEXT,
        "first 61.3 ± 2.6 N·m  n = 3",
        "other 68.4 ± 2.6 N·m  n = 3",
        "the directions differ: look for bind, a spline",
        "no chatter",
    )
    rows, share = all_rows_of(lines, 0.91 * 330, 0.078 * 132)
    assert " ".join(rows) == " ".join(lines)
    assert SMALLEST - 0.05 < share < 1
    assert all_rows_of(lines[1:3], 0.91 * 330, 0.078 * 132) == (list(lines[1:3]), 1.0)


def test_what_is_wrong_is_shown_before_good_news_and_read_first():
    notices = Notices()
    notices.add(Notice("the program ended abruptly"))
    notices.add(Notice("a new series begins", good=True))
    assert notices.first.what == "the program ended abruptly"
    notices.read()
    assert notices.first.what == "a new series begins"
    notices.read()
    assert notices.first is None


def test_the_notice_of_an_abrupt_end_ends_with_its_file(shop):
    at = datetime(2026, 3, 5, 10, 30, tzinfo=UTC)
    shop.window.model.line._take(EndedAbruptly(at, 4.0, 7, Path("/somewhere/p.csv")))
    shop.window.tick()
    assert "in pull 7 (2026-03-05 10:30:00): it does not count" in shop.window.strip._what.text()
    assert shop.window.strip._remedy.text().endswith("/somewhere/p.csv")


@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.section)
def test_an_empty_form_says_what_it_wants_in_the_words_of_its_fields(shop, part):
    view = refit_view(shop.controller.refit, part)
    assert (view.word, view.tone) == ("not yet", Tone.NONE)
    assert "key" not in view.refused
    assert part.readings[0].name in view.refused
    shop.controller.refit.texts[part.section]["name"] = "x"
    assert "what the maker's page states" not in refit_view(shop.controller.refit, part).refused


def test_a_form_begun_names_the_field_that_is_missing_as_it_is_called(shop):
    shop.controller.refit.texts[BEARINGS.section].update({"gap.0": "0.11", "wanted": "0.15..0.21"})
    assert refit_view(shop.controller.refit, BEARINGS).refused == "still wanted: name"


def judged(shop):
    trace, window = made_stream(), Window.parse("40..65 N.m")
    shop.window.model.set_window(window)
    result = read_pull(trace, Sensor(u_nm=0.4, capacity_nm=200.0))
    from analysis.verdict.votes import pull_of

    shop.window.model.line._take(PullJudged(1, trace, result, judge_pull(pull_of(result), window), None, final=True))
    return shop.window.model


def test_a_pull_that_was_set_aside_is_not_shown_as_in_the_window(shop):
    model = judged(shop)
    before = panel_of(model, model.last, series_of(model))
    assert "± of the unit" in before.about
    shop.controller.exclude(1, "clamp moved")
    after = panel_of(model, model.last, series_of(model))
    assert (after.tone, after.word, after.spoiler, after.margin) == (Tone.NONE, "SET ASIDE", "clamp moved", "")
    shop.window.show_page(shop.window.pull)
    assert shop.window.pull.reason.lineEdit().placeholderText() == "why it does not count"
