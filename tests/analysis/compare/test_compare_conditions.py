"""Like with like: every row of the contract's table, the question, what refuses and what is overridden."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.compared import LIKE, QUIET, chattering, pull

from analysis.compare.comparison import Comparison, compare
from analysis.compare.conditions import Field, Question, Refused, State
from analysis.compare.pulls import CHATTER_FIGURES, TORQUE_FIGURES, FigureName
from analysis.results import QualityCode
from analysis.verdict.apart import Apart

ALL = set(FigureName)


def sides(after: dict | None = None, before: dict | None = None, pulls: int = 3, **more):
    first = [pull(50.0 + k, stated=replace(LIKE, **(before or {})), chatter=chattering(0.2)) for k in range(pulls)]
    return first, [pull(48.0 + k, stated=replace(LIKE, **(after or {})), chatter=chattering(0.2), **more) for k in range(pulls)]


def made(*args, **kwargs) -> Comparison:
    options = {key: kwargs.pop(key) for key in ("question", "despite") if key in kwargs}
    return compare(*sides(*args, **kwargs), **options)


def codes(one: Comparison) -> list[Refused]:
    return [refusal.code for refusal in one.refused]


def labelled(one: Comparison, label: str) -> set[FigureName]:
    return {name for name, figure in one.figures.items() if label in figure.labels}


def test_all_alike_asks_nothing_and_labels_nothing():
    one = made()
    assert one.made
    assert (one.question, one.asked) == (Question.NONE, False)
    assert {condition.state for condition in one.conditions} == {State.ALIKE}
    assert all(figure.labels == () for figure in one.figures.values())


@pytest.mark.parametrize(
    ("field", "question"), [("oil", Question.OIL), ("additive", Question.ADDITIVE), ("plates", Question.PLATES)]
)
def test_the_one_decisive_field_that_differs_is_the_question(field, question):
    one = made({field: "another"})
    assert (one.made, one.question, one.asked) == (True, question, False)
    assert all(figure.labels == () for figure in one.figures.values())


@pytest.mark.parametrize(
    ("field", "code"),
    [
        ("oil", Refused.OIL_DIFFERS),
        ("additive", Refused.ADDITIVE_DIFFERS),
        ("plates", Refused.PLATES_DIFFER),
        ("arrangement", Refused.ARRANGEMENT_DIFFERS),
    ],
)
def test_a_decisive_field_that_is_not_the_question_refuses_unless_overridden(field, code):
    assert codes(made({field: "another"}, question=Question.NONE)) == [code]
    despite = made({field: "another"}, question=Question.NONE, despite=[code])
    assert despite.made
    assert despite.despite == (code,)
    assert labelled(despite, field) == set(despite.figures)


def test_case_and_blanks_do_not_make_an_oil_another():
    assert made({"oil": "INVENTED  oil"}).condition(Field.OIL).state is State.ALIKE


def test_two_causes_are_refused_and_naming_one_is_not_enough():
    two = {"oil": "another", "additive": "another"}
    assert codes(made(two)) == [Refused.TWO_CAUSES]
    assert codes(made(two, question=Question.OIL)) == [Refused.ADDITIVE_DIFFERS]
    one = made(two, question=Question.OIL, despite=[Refused.ADDITIVE_DIFFERS])
    assert one.made
    assert labelled(one, "additive") == set(one.figures)
    assert labelled(one, "oil") == set()
    # Overriding one cause leaves the other as the question that is read off.
    assert made(two, despite=[Refused.ADDITIVE_DIFFERS]).question is Question.OIL
    both = made(two, despite=[Refused.TWO_CAUSES])
    assert both.made
    assert labelled(both, "oil") == labelled(both, "additive") == set(both.figures)


def test_a_side_of_two_arrangements_is_refused():
    before, after = sides()
    after[1] = replace(after[1], stated=replace(LIKE, arrangement="B"))
    assert codes(compare(before, after)) == [Refused.ARRANGEMENT_MIXED]


def test_what_is_asked_labels_the_figures_where_it_varies_within_a_side():
    """Two oils among the pulls after: the question is the oil, but no figure tells one oil from the other."""
    before, after = sides()
    after[1] = replace(after[1], stated=replace(LIKE, oil="another oil"))
    one = compare(before, after)
    assert (one.question, one.condition(Field.OIL).state) == (Question.OIL, State.VARIES)
    assert labelled(one, "oil") == ALL


@pytest.mark.parametrize(
    ("celsius", "state", "refused"),
    [(24.9, State.ALIKE, []), (25.1, State.DIFFERS, []), (35.1, State.DIFFERS, [Refused.TEMPERATURE_FAR])],
)
def test_temperature_is_alike_within_5_degrees_and_refuses_beyond_15(celsius, state, refused):
    one = made({"temperature_c": celsius})
    assert (one.condition(Field.TEMPERATURE).state, codes(one)) == (state, refused)
    if state is State.DIFFERS:
        assert labelled(made({"temperature_c": celsius}, despite=[Refused.TEMPERATURE_FAR]), "temperature") == ALL
        asked = made({"temperature_c": celsius}, question=Question.TEMPERATURE)
        assert asked.made
        assert labelled(asked, "temperature") == set()


def test_two_causes_are_not_made_of_a_temperature():
    """A temperature far off refuses by itself; the additive stays the question."""
    far = {"additive": "another", "temperature_c": 40.0}
    assert codes(made(far)) == [Refused.TEMPERATURE_FAR]
    one = made(far, despite=[Refused.TEMPERATURE_FAR])
    assert (one.made, one.question) == (True, Question.ADDITIVE)


@pytest.mark.parametrize(
    ("after", "label", "touched"),
    [
        ({"rest_s": 61.0}, "rest", {FigureName.BREAKAWAY, FigureName.RATIO}),
        ({"closure": "trial"}, "closure", set(TORQUE_FIGURES)),
        ({"lever": "1 m"}, "lever", set(CHATTER_FIGURES)),
        ({"adapter": "long"}, "lever", set(CHATTER_FIGURES)),
        ({"certificate": "C-2"}, "certificate", {FigureName.BREAKAWAY, FigureName.SLIDING}),
        ({"sensor": "S-2"}, "certificate", {FigureName.BREAKAWAY, FigureName.SLIDING}),
        ({"unit": "another"}, "unit", ALL),
        ({"closure": None}, "closure", set(TORQUE_FIGURES)),  # known on one side only
    ],
)
def test_a_lesser_field_labels_the_figures_it_touches(after, label, touched):
    one = made(after)
    assert one.made
    assert labelled(one, label) == touched


def test_what_nobody_stated_is_told_and_labels_nothing():
    one = made({"closure": None}, {"closure": None})
    assert one.condition(Field.CLOSURE).state is State.UNKNOWN
    assert labelled(one, "closure") == set()


def test_speed_counts_from_a_quarter_on():
    assert made(speed_deg_s=14.9).condition(Field.SPEED).state is State.ALIKE
    one = made(speed_deg_s=15.1)
    assert labelled(one, "speed") == {FigureName.SLIDING, FigureName.RATIO, *CHATTER_FIGURES}
    assert str(one.figures[FigureName.CHATTER_RATE].conclusion) == "open"
    assert made(speed_deg_s=None).condition(Field.SPEED).state is State.PARTLY_UNKNOWN


def test_another_lever_shows_chatter_and_concludes_nothing_on_it():
    before, after = sides({"lever": "1 m"}, pulls=5)
    after = [replace(one, chatter=chattering(0.02)) for one in after]
    one = compare(before, after)
    assert all(str(one.figures[name].conclusion) == "open" for name in CHATTER_FIGURES)
    assert str(one.chatter.outcome) == "not_assessable"


def test_two_sensors_widen_the_intervals_of_torque_alone():
    before, after = sides({"certificate": "C-2"})
    plain = compare(*sides())
    two = compare(*([replace(one, sensor_u_relative=0.02) for one in side] for side in (before, after)))
    for name in (FigureName.SLIDING, FigureName.BREAKAWAY):
        assert two.figures[name].ratio_high > plain.figures[name].ratio_high
        assert two.figures[name].degrees_of_freedom > plain.figures[name].degrees_of_freedom
    assert two.figures[FigureName.RATIO].ratio_high == pytest.approx(plain.figures[FigureName.RATIO].ratio_high)


def test_a_side_without_a_reading_is_refused_and_the_same_pull_twice_counts_once():
    before, after = sides()
    assert codes(compare(before, [pull(None) for _ in range(3)])) == [Refused.NO_READING]
    # From four pulls on strays are looked for; a side that spins free then has none to look at.
    assert codes(compare(sides(pulls=5)[0], [pull(None)])) == [Refused.NO_READING]
    spoiled = [replace(one, quality=(str(QualityCode.LET_GO),)) for one in after]
    assert codes(compare(before, spoiled)) == [Refused.NO_READING]
    assert codes(compare(before, [*after, before[0]])) == [Refused.SAME_TRACE]
    one = compare(before, [*after, replace(after[0], trace="copy.csv")])
    assert [entry.apart for entry in one.after] == [None, None, None, Apart.DUPLICATE]
    assert one.figures[FigureName.SLIDING].after.n == 3


def test_excluded_pulls_count_for_nothing_and_doubtful_ones_for_what_is_not_spoiled():
    before, after = sides(pulls=4)
    after[0] = replace(after[0], stated=replace(LIKE, excluded="hand slipped", arrangement="B"))
    after[1] = replace(after[1], quality=(str(QualityCode.OVERLOAD),))
    one = compare(before, after)
    assert one.made  # an excluded pull's arrangement does not matter
    assert [entry.apart for entry in one.after] == [Apart.EXCLUDED, Apart.DOUBTFUL, None, None]
    assert (one.figures[FigureName.SLIDING].after.n, one.figures[FigureName.BREAKAWAY].after.n) == (3, 2)


def test_the_first_pull_after_a_rest_and_a_stray_still_count_for_chatter():
    before = [pull(50.0, stated=replace(LIKE, rest_s=7200.0 if k == 0 else 30.0), chatter=chattering(0.2)) for k in range(5)]
    after = [pull(50.0 + 0.2 * k, chatter=QUIET) for k in range(4)] + [pull(90.0, chatter=chattering(0.2, 90.0))]
    one = compare(before, after)
    assert [entry.apart for entry in one.after][-1] is Apart.STRAY
    assert (one.chatter.before.chattering, one.chatter.after.chattering, one.chatter.after.assessable) == (5, 1, 5)
    assert str(one.chatter.outcome) not in ("cured", "quiet_so_far")
