"""What cannot be right is not believed; what is merely worn is."""

from dataclasses import replace

import pytest
from support import pack_values as made

from analysis.pack.parts import CardWindow, PlateState, Shelf, Space, SpaceForm
from analysis.pack.plausible import problems_of
from analysis.window import Window


def codes(pack=None, card=None, shelf=None):
    found = problems_of(pack or made.pack(made.entry()), card or made.card(), shelf or made.shelf())
    assert all(one.text and one.where for one in found)
    return {one.code for one in found if one.severity == "stop"}


def with_plate(**changed):
    sheet = made.pack(made.entry())
    return replace(sheet, plates={**sheet.plates, "L3": replace(sheet.plates["L3"], **changed)})


def with_spring(**changed):
    return made.pack(made.entry(), springs={"SL1": made.spring("SL1", **changed), "SR1": made.spring("SR1")})


def with_heights(left, right):
    sides = [replace(made.side(s), stack_height_mm=mm) for s, mm in (("L", left), ("R", right))]
    return made.pack(now=made.build(left=sides[0], right=sides[1]))


def test_a_sound_sheet_has_no_problem():
    assert codes() == set()


@pytest.mark.parametrize(
    ("sheet", "code"),
    [
        (with_plate(thickness_mm=(0.0748, 0.0748)), "implausible_thickness"),  # inches read as mm
        (with_plate(thickness_mm=(19.0, 19.0)), "implausible_thickness"),  # a slipped point
        (with_plate(thickness_mm=(1.90, 1.91, 1.09, 1.90)), "implausible_thickness"),  # two figures changed places
        (with_plate(thickness_mm=(1.90, 1.91, 1.99, 1.90)), "implausible_thickness"),  # one reading off the rest
        (with_plate(unworn_mm=2.91), "implausible_thickness"),
        (with_heights(0.353, 8.96), "implausible_thickness"),
        (with_heights(8.96, 10.96), "implausible_thickness"),
        (made.pack(now=made.build(left_shims=(0.0157,))), "implausible_shim"),
        (made.pack(now=made.build(left_shims=(4.0,))), "implausible_shim"),
        (with_spring(free_height_mm=4.30), "implausible_spring"),
        (with_spring(free_height_mm=1.80), "implausible_spring"),
        (with_spring(thickness_mm=2.85), "implausible_spring"),
        (made.pack(space=Space(SpaceForm.PER_SIDE, (40.0, 50.0), (36.0, 37.0))), "implausible_space"),
        (made.pack(now=made.build(left=made.side("L", plates=("L1", "L2", "L3")))), "plate_missing"),
        (made.pack(now=made.build(left=made.side("L", plates=("L1", "L2", "X", "L4", "L5")))), "plate_missing"),
        (made.pack(now=made.build(left=made.side("L", springs=("X",)))), "spring_missing"),
        (made.pack(now=made.build(oil="dry")), "dry"),
    ],
)
def test_typed_mistakes_stop(sheet, code):
    assert code in codes(sheet)


def test_a_spring_left_out_is_missing_where_the_card_has_two():
    card = made.card()
    assert "spring_missing" in codes(card=replace(card, springs=replace(card.springs, per_side=2)))


def test_an_old_flat_spring_in_the_history_is_a_finding_and_no_mistake():
    old = made.spring("OL1", free_height_mm=1.85)
    then = made.build(left=made.side("L", springs=("OL1",)))
    sheet = made.pack(made.entry(then, (0.0, 0.0)), springs={**made.pack().springs, "OL1": old})
    assert codes(sheet) == set()


def test_a_window_printed_twice_must_agree():
    def card(also):
        return made.card(windows=(CardWindow(Window(30.0, 45.0), "A", PlateState.USED, also),))

    assert codes(card=card((30.2, 44.8))) == set()
    assert codes(card=card((30.0, 43.0))) == {"window_misprint"}
    assert codes(card=card((30.0, None))) == {"window_misprint"}


def test_nothing_to_choose_from():
    bare = made.pack(now=made.build((), ()))
    assert codes(bare, shelf=Shelf()) == {"shelf_empty"}
    assert codes(shelf=Shelf()) == {"shelf_empty"}


def test_an_old_series_with_a_plate_left_out_is_a_finding_too():
    short = made.build(left=made.side("L", plates=("L1", "L2", "L3")))
    assert codes(made.pack(made.entry(short))) == set()
