"""Limits of the card, and findings from sheet and pulls together."""

from dataclasses import replace

import pytest
from support import pack_values as made

from analysis.pack.answer import answer_sheet, window_for
from analysis.pack.limits import beyond_limits, play_now_mm
from analysis.pack.parts import CardLimits, CardWindow, PlateState
from analysis.pack.unit import Unit
from analysis.window import Basis, Window


def hints(pack, card=None):
    return {one.code: one for one in answer_sheet(pack, card or made.card(), made.shelf()).hints}


def limits(pack, **card_limits):
    unit = Unit(pack, made.card(limits=CardLimits(**card_limits)))
    return {(one.code, one.part): one.value for one in beyond_limits(unit, play_now_mm(unit))}


def with_plate(**changed):
    sheet = made.pack()
    return replace(sheet, plates={**sheet.plates, "L2": replace(sheet.plates["L2"], **changed)})


def test_wear_is_told_by_the_thinnest_reading():
    worn = with_plate(thickness_mm=(1.58, 1.52, 1.56, 1.57), unworn_mm=1.61)
    assert limits(worn, wear_mm=0.08, thickness_min_inner_mm=1.55) == {
        ("wear", "L2"): pytest.approx(0.09),
        ("thickness_min", "L2"): pytest.approx(1.52),
    }
    # Just at the limit is within it, whatever the arithmetic of decimals says.
    assert limits(worn, wear_mm=0.09) == {}


def test_flatness_and_difference_of_sides():
    assert limits(with_plate(flatness_mm=0.09), flatness_mm=0.08) == {("flatness", "L2"): 0.09}
    uneven = made.pack(now=made.build((0.5,), (0.4,)))
    assert limits(uneven, left_right_mm=0.05) == {("left_right", "left"): pytest.approx(0.1)}
    assert limits(uneven, left_right_mm=0.1) == {}


def test_springs_pressed_too_far_and_clearance():
    far = made.pack(now=made.build((1.4,), (0.4,)))
    assert limits(far) == {("share_of_flat", "left"): pytest.approx(1.75 / 1.85, abs=1e-6)}
    found = limits(made.pack(), clearance_mm=(0.1, 0.4))
    assert found == {("clearance", "left"): pytest.approx(1.10), ("clearance", "right"): pytest.approx(1.10)}


def test_a_sound_unit_gets_no_hint():
    assert hints(made.pack(made.entry())) == {}


def test_springs_that_have_set_and_springs_turned_over():
    low = {name: made.spring(name, free_height_mm=3.40) for name in ("SL1", "SR1")}
    assert hints(made.pack(made.entry(breakaway=(19.0, 19.5)), springs=low))["springs_set"].confidence > 0.9
    two = {name: made.spring(name) for name in ("SL1", "SL2", "SR1", "SR2")}
    sides = [made.side(s, springs=(f"S{s}1", f"S{s}2"), stack=stack) for s, stack in (("L", "()"), ("R", "(("))]
    card = made.card()
    card = replace(card, springs=replace(card.springs, per_side=2, stack="(("))
    sheet = made.pack(now=made.build(left=sides[0], right=sides[1]), springs=two, space=None)
    assert hints(sheet, card)["springs_reversed"].confidence > 0.9


def test_a_unit_that_held_nothing_although_its_springs_carry_by_the_sheet_is_a_finding():
    found = hints(made.pack(made.entry(breakaway=(0.0, 0.0, 0.0))))["spring_missing"]
    assert found.confidence > 0.9
    assert found.first
    assert "series 1 held nothing" in found.evidence
    # Springs that stand nearly flat on the sheet are reason enough.
    flat = {name: made.spring(name, free_height_mm=1.86) for name in ("SL1", "SR1")}
    assert "spring_missing" not in hints(made.pack(made.entry(breakaway=(0.0,)), springs=flat))
    # A later series that held something has settled it.
    assert "spring_missing" not in hints(made.pack(made.entry(breakaway=(0.0,)), made.entry()))


def test_friction_far_off_the_oils():
    assert hints(made.pack(made.entry(breakaway=(43.0, 44.0, 42.0))))["friction_high"].confidence > 0.5
    assert hints(made.pack(made.entry(breakaway=(16.0, 16.3, 15.8))))["friction_low"].confidence > 0.5


def test_a_first_step_tells_of_one_sided_packs():
    stepped = made.entry(breakaway=(30.0, 30.5, 29.5), first_step_nm=(12.0, 12.4, 11.8))
    assert hints(made.pack(stepped))["one_sided"].confidence > 0.9
    even = made.entry(breakaway=(30.0, 30.5, 29.5), first_step_nm=(28.0, 28.4, 27.8))
    assert "one_sided" not in hints(made.pack(even))


def test_new_plates_that_fall_from_pull_to_pull_run_in():
    fresh = made.build(plate_state=PlateState.NEW)
    falling = made.entry(fresh, (34.0, 32.8, 31.9, 30.6, 29.8))
    assert hints(made.pack(falling, now=fresh))["runs_in"].confidence > 0.5


def test_the_window_that_fits_the_plates_judges():
    def one(low, state, basis=Basis.BREAKAWAY):
        return CardWindow(Window(low, 60.0, basis), "A", state)

    card = made.card(
        windows=(one(10.0, PlateState.NEW, Basis.SLIDING), one(20.0, PlateState.NEW), one(30.0, PlateState.USED)),
    )
    assert window_for(card, PlateState.NEW) == (card.windows[1], True)
    assert window_for(card, PlateState.USED) == (card.windows[2], True)
    assert window_for(card, PlateState.RUN_IN) == (card.windows[2], False)


def test_another_closure_or_arrangement_than_that_of_the_pulls_is_said():
    def answered(**sheet):
        return answer_sheet(made.pack(**sheet), made.card(), made.shelf())

    def missing(**sheet):
        return {one.code: one.text for one in answered(**sheet).missing}

    trial = made.entry(made.build(closure="trial"))
    assert "0.03 mm" in missing(history=(trial,), now=made.build(closure="final"))["closure"]
    assert "closure" not in missing(history=(trial,), now=made.build(closure="trial"))
    turned = made.entry(breakaway=(64.0, 65.0), arrangement="B")
    assert [one.code for one in answered(history=(turned,)).problems] == ["arrangement_converted"]
