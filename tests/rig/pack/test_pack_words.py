"""The sentences of a pack's answer."""

import copy
import json
import pickle
import re
from dataclasses import replace

import pytest
from support import pack_values as made

from analysis.pack.answer import answer_sheet
from analysis.pack.buildable import ShimPair
from analysis.pack.parts import CardLimits
from analysis.pack.told import Told
from rig.pack.answers import answer_document
from rig.pack.words import answer_lines, change_text, percent, reason, spoken
from rig.words.language import speak


def said(pack, card=None):
    return answer_sheet(pack, card or made.card(), made.shelf())


@pytest.mark.parametrize(
    ("pair", "text"),
    [
        (ShimPair((0.4,), (0.4,), 0.0, 0.0, 0), "change no shim"),
        (ShimPair((0.5, 0.1), (0.5, 0.1), 0.2, 0.2, 2), "fit 0.50 + 0.10 mm on each side (+0.20 mm each)"),
        (ShimPair((0.6,), (0.4,), 0.2, 0.0, 1), "fit left 0.60 mm (+0.20 mm)"),
        (ShimPair((), (), -0.4, -0.4, 2), "fit no shim on each side (-0.40 mm each)"),
        (ShimPair((0.125,), (0.3,), 0.025, -0.1, 2), "fit left 0.125 mm (+0.03 mm), right 0.30 mm (-0.10 mm)"),
    ],
)
def test_what_to_change(pair, text):
    assert change_text(pair) == text


def test_no_probability_is_nought_or_certain():
    assert [percent(p) for p in (0.0, 0.004, 0.5, 0.994, 1.0)] == ["under 1 %", "under 1 %", "50 %", "over 99 %", "over 99 %"]


def test_the_reason_begins_with_what_comes_first():
    inside = made.pack(made.entry(breakaway=(37.0, 37.3, 36.8, 37.1, 36.9)))
    assert reason(said(inside)).startswith("leave it alone")
    worn = replace(inside, plates={**inside.plates, "L3": replace(inside.plates["L3"], flatness_mm=0.2)})
    assert reason(said(worn)).startswith("renew L3 first")
    low = made.pack(made.entry(breakaway=(22.0, 22.5, 21.5)))
    assert "N.m" in reason(said(low))
    assert "lands with" in reason(said(low))


def test_why_no_shim_will_do_it_says_which_way():
    weak = reason(said(made.pack(made.entry()), made.card(low=90.0, high=99.0)))
    strong = reason(said(made.pack(made.entry(breakaway=(60.0, 61.0, 59.0))), made.card(low=1.0, high=2.0, limits=CardLimits())))
    assert "no shim" in weak
    assert "too little" in weak
    assert "too much" in strong or "too high" in strong


def test_a_mistaken_arrangement_is_to_be_made_sure_of_first():
    assert "first make sure how it was pulled" in reason(said(made.pack(made.entry(breakaway=(67.0, 66.0, 68.0, 67.0)))))


def test_a_unit_that_held_nothing_without_a_reason_on_the_sheet_is_to_be_made_sure_of_first():
    text = reason(said(made.pack(made.entry(breakaway=(0.0, 0.0)))))
    assert "first make sure how it was pulled: series 1 held nothing" in text
    assert "held side not engaged" in text


def test_the_terminal_has_the_five_best_and_all_that_is_off():
    uneven = made.pack(made.entry(), now=made.build((0.6,), (0.4,)))
    lines = answer_lines("PACK.toml", said(uneven))
    assert lines[0] == "PACK.toml"
    assert any(line.startswith("  limit") for line in lines)
    start = next(n for n, line in enumerate(lines) if "left shims" in line)
    rows = [line for line in lines[start + 1 :] if line.startswith("            ")]
    assert len(rows) == 5


def test_the_window_says_it_in_its_language_and_json_stays_english():
    answer = answer_sheet(made.pack(made.entry(made.build((0.2,), (0.3,)), (24.0, 25.5))), made.card(), made.shelf())
    before = reason(answer)
    speak("de")
    try:
        german = reason(answer, spoken)
        assert reason(answer) == before
        assert answer_document("x", answer)["reason"] == before
    finally:
        speak("en")
    assert reason(answer, spoken) == before
    assert "im Fenster" in german
    assert re.search(r"\d,\d\d mm", german)
    assert not re.search(r"\d\.\d\d mm", german)
    assert re.findall(r"\d+(?= %)", german) == re.findall(r"\d+(?= %)", before)


def test_a_sentence_of_the_analysis_is_copied_and_sent_as_it_is():
    sentence = Told("{name} is {lost:.2f} mm lower", name="L1", lost=0.123)
    assert sentence == "L1 is 0.12 mm lower"
    assert copy.deepcopy(sentence).template == sentence.template
    assert pickle.loads(pickle.dumps(sentence)) == sentence
    assert json.loads(json.dumps(sentence)) == sentence
