"""The comparison as one page: it can be written in all three forms, stays one page, and says what the document says."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from pypdf import PdfReader
from support.compared import LIKE, QUIET, WITH_ADDITIVE, chattering, pull
from support.shareddata import shared_data

from analysis.compare.comparison import compare
from analysis.compare.curves import PullCurve, band_of
from rig.cli import main
from rig.errors import SheetError
from rig.sheets.comparison import draw, page_of

DAY = date(2026, 11, 26)
_ALONG = np.linspace(0.0, 60.0, 300)
CURVE = PullCurve(_ALONG, 50 + _ALONG, _ALONG, 50 + _ALONG, _ALONG[:5], _ALONG[:5] + 1, _ALONG + 1, _ALONG)


def whole(path):
    return " ".join(" ".join(part.extract_text() for part in PdfReader(path).pages).split())


def cured(pulls=5):
    before = [pull(50.0 + k, stated=LIKE, chatter=chattering(0.3)) for k in range(pulls)]
    return before, [pull(45.0 + k, stated=WITH_ADDITIVE, chatter=QUIET) for k in range(pulls)]


def test_it_is_written_by_its_ending_and_says_what_was_found(tmp_path, capsys):
    folder = shared_data("pairs") / "additive_cures"
    sides = {side: sorted(str(path) for path in folder.glob(f"{side}_*.csv")) for side in ("before", "after")}
    for ending, head in (("pdf", b"%PDF"), ("png", b"\x89PNG"), ("svg", b"<svg")):
        path = tmp_path / f"page.{ending}"
        assert main(["compare", "--before", *sides["before"], "--after", *sides["after"], "--picture", str(path)]) == 0
        assert path.read_bytes().startswith(head)
    text = whole(tmp_path / "page.pdf")
    assert len(PdfReader(tmp_path / "page.pdf").pages) == 1
    for part in ("sliding: FELL −9.1", "breakaway: FELL −26", "invented unit 13", "the question", "up to 45"):
        assert part in text
    assert "cured" not in text.lower()


def test_another_ending_ends_with_2(capsys):
    assert main(["compare", "--before", "a.csv", "--after", "b.csv", "--picture", "page.bmp"]) == 2
    assert "page.bmp" in capsys.readouterr().err


def test_a_folder_that_is_not_there_is_told(tmp_path):
    made = compare(*cured())
    with pytest.raises(SheetError, match="cannot be written"):
        draw(made, {}, tmp_path / "nix" / "page.pdf", "N.m", day=DAY)


def test_twenty_pulls_that_differ_in_much_still_fit_on_one_page(tmp_path):
    before, after = cured(10)
    stated = replace(WITH_ADDITIVE, temperature_c=27.0, lever="1 m", rest_s=None)
    after = [replace(one, stated=replace(stated, excluded="slipped" if k < 5 else None)) for k, one in enumerate(after)]
    path = tmp_path / "page.pdf"
    curves = {one.fingerprint: CURVE for one in (*before, *after)}
    draw(compare(before, after), curves, path, "lbf.ft", day=DAY)
    assert len(PdfReader(path).pages) == 1
    text = whole(path)
    assert "lbf·ft" in text
    assert "not alike" in text


def test_the_same_comparison_gives_the_same_bytes(tmp_path):
    made = compare(*cured())
    for name in ("one.pdf", "two.pdf"):
        draw(made, {}, tmp_path / name, "N.m", day=DAY)
    assert (tmp_path / "one.pdf").read_bytes() == (tmp_path / "two.pdf").read_bytes()


def test_the_word_stands_large_only_where_the_sentence_says_it_too():
    before = [pull(50.0, chatter=chattering(0.3)) for _ in range(5)]
    after = [
        pull(
            45.0 + 0.1 * k,
            stated=replace(WITH_ADDITIVE, rest_s=7200.0 if k == 0 else 30.0),
            chatter=QUIET,
            direction=1 if k % 2 else -1,
        )
        for k in range(10)
    ]
    few, many = compare(before, after[:9]), compare(before, after)
    assert not few.chatter.may_say_cured
    assert many.chatter.may_say_cured
    for made, said in ((few, False), (many, True)):
        assert ("cured" in str(page_of(made, {})).lower()) is said


def test_a_band_holds_the_mean_of_its_curves():
    x = np.linspace(0.0, 10.0, 50)
    band = band_of([(x, np.full(50, 49.0)), (x, np.full(50, 51.0)), (x[:10], np.full(10, 50.0))])
    assert np.isnan(band_of([(x, x), (x, x)]).low).sum() == 0
    assert band.mean[0] == pytest.approx(50.0)
    assert band.low[0] < 50.0 < band.high[0]
    assert np.isnan(band.mean[-1])  # two of three reach so far
