"""Choices of shims: what can be built, in which order they come, and what is never offered."""

from collections import Counter
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support import pack_values as made

from analysis.pack.answer import answer_sheet
from analysis.pack.arrangement import Layout
from analysis.pack.buildable import ShimPair, shim_pairs
from analysis.pack.parts import CardLimits, Plate, PlateKind, PlateState, Sense, Stocked, Uncertainty
from analysis.pack.shim_choice import Choice, _boldest_first, ordered
from analysis.pack.unit import Unit
from analysis.window import Window

HELD = (30.0, 31.0, 30.5, 29.5)


def answered(pack, card=None, shelf=None):
    return answer_sheet(pack, card or made.card(), shelf or made.shelf())


def listed(answer):
    return answer.choices.choices


@given(
    st.lists(st.sampled_from([0.1, 0.15, 0.2, 0.3, 0.5]), min_size=1, max_size=4, unique=True),
    st.integers(0, 3),
    st.integers(1, 3),
    st.lists(st.sampled_from([0.2, 0.3, 0.4]), max_size=2),
)
def test_whatever_is_offered_can_be_built_at_once(sizes, count, per_side, fitted):
    now = made.build(tuple(fitted), (0.4,))
    unit = Unit(made.pack(now=now), made.card(shims_per_side=per_side))
    stock = Counter(dict.fromkeys(sizes, count)) + Counter([*fitted, 0.4])
    pairs = shim_pairs(unit, now, made.shelf(tuple(sizes), count))
    assert any(pair.moves == 0 for pair in pairs)
    totals = [(round(sum(p.left_mm), 4), round(sum(p.right_mm), 4)) for p in pairs]
    assert len(set(totals)) == len(totals)
    for pair in pairs:
        if pair.moves:
            assert not Counter(pair.left_mm) + Counter(pair.right_mm) - stock
            assert all(
                len(side) <= per_side or tuple(side) == own
                for side, own in ((pair.left_mm, tuple(fitted)), (pair.right_mm, (0.4,)))
            )
        assert pair.change_left_mm == pytest.approx(sum(pair.left_mm) - sum(fitted))


def test_only_sides_that_take_shims_get_some():
    unit = Unit(made.pack(), made.card(shim_sides=("left",)))
    assert {pair.right_mm for pair in shim_pairs(unit, unit.pack.now, made.shelf())} == {(0.4,)}


def choice(lands, moves, off, broken=(), solid=0.0):
    return Choice(ShimPair((), (), 0.0, 0.0, moves), 1.0, 1.0, 1.0, lands, solid, 0.0, lands, broken, off)


choices = st.lists(
    st.builds(
        choice,
        st.floats(0.0, 1.0),
        st.integers(0, 2),
        st.floats(0.0, 1.0),
        st.sampled_from([(), (), ("left_right",)]),
        st.sampled_from([0.0, 0.0, 0.5]),
    ),
    max_size=12,
)


@given(choices)
def test_the_order_is_the_one_promised(found):
    placed = ordered(found)
    assert sorted(map(id, placed)) == sorted(map(id, found))
    for place, one in enumerate(placed):
        rest = [o for o in placed[place:] if ("left_right" in o.broken) == ("left_right" in one.broken)]
        if place == 0:
            rest = [o for o in rest if o.probability_solid <= 0.02] or rest
        assert one.probability_lands >= max(o.probability_lands for o in rest) - 0.01
        near = [o for o in rest if o.probability_lands >= max(x.probability_lands for x in rest) - 0.01]
        assert one.shims.moves == min(o.shims.moves for o in near)
    apart = ["left_right" in o.broken for o in placed]
    assert apart == sorted(apart)


def test_a_low_reading_asks_for_more_shim_and_the_sense_turns_it_round():
    low = made.entry(breakaway=(22.0, 22.5, 21.5, 22.0))
    more = listed(answered(made.pack(low)))[0].shims
    assert more.change_left_mm > 0.0
    less = made.card(sense=Sense.LESS_PRELOAD)
    assert listed(answered(made.pack(low), less))[0].shims.change_left_mm < 0.0


def test_torque_rises_with_shim_and_probabilities_are_ones():
    found = [one for one in listed(answered(made.pack(made.entry()))) if one.shims.change_left_mm == one.shims.change_right_mm]
    found.sort(key=lambda one: one.shims.change_left_mm)
    medians = [one.torque_median_nm for one in found if "share_of_flat" not in one.broken]
    assert medians == sorted(medians)
    assert len(medians) > 3
    for one in found:
        assert 0.0 <= one.probability_lands <= one.probability_in_window + 1e-9 <= 1.0 + 2e-9
        assert one.torque_low_nm < one.torque_median_nm < one.torque_high_nm


def test_what_goes_solid_is_never_the_best():
    # A window only solid springs would reach.
    answer = answered(made.pack(made.entry()), made.card(low=70.0, high=90.0))
    assert not answer.feasible
    assert listed(answer)[0].probability_solid <= 0.02
    assert "springs" in answer.why_not


def test_sides_that_would_differ_come_last_and_land_nowhere():
    answer = answered(made.pack(made.entry()), made.card(limits=CardLimits(left_right_mm=0.02)))
    broken = [one for one in listed(answer) if "left_right" in one.broken]
    assert broken
    assert all(one.probability_lands == 0.0 for one in broken)
    assert "left_right" not in listed(answer)[0].broken


def test_two_lines_in_one_add_their_shims():
    through = made.card(layout=Layout.THROUGH, limits=CardLimits())
    found = {
        (round(sum(o.shims.left_mm), 2), round(sum(o.shims.right_mm), 2)): o.torque_median_nm
        for o in listed(answered(made.pack(made.entry()), through))
    }
    pairs = [(found[a, b], found[b, a]) for a, b in found if a < b and (b, a) in found]
    assert pairs
    for one, other in pairs:
        assert one == pytest.approx(other, rel=1e-6)


def test_where_it_stands_right_it_is_left_alone_and_near_an_edge_pulled_again():
    inside = answered(made.pack(made.entry(breakaway=(37.0, 37.3, 36.8, 37.1, 36.9))))
    assert inside.standing.leave_alone
    assert listed(inside)[0].shims.moves == 0
    near = answered(made.pack(made.entry(breakaway=(31.5, 33.2, 30.6)), uncertainty=Uncertainty(torque=0.003)))
    assert not near.standing.leave_alone
    assert near.standing.pull_more > 0
    assert listed(near)[0].shims.moves == 0
    below = answered(made.pack(made.entry(breakaway=(27.0, 27.5, 26.5))))
    assert not below.standing.reads_in_window


def test_a_series_with_other_shims_says_nothing_of_leaving_alone():
    other = made.entry(made.build((0.3,), (0.3,)), (37.0, 37.3, 36.8, 37.1, 36.9))
    assert not answered(made.pack(other)).standing.reads_in_window


def test_a_worn_plate_is_named_first_and_never_bridged():
    sheet = made.pack(made.entry(breakaway=(37.0, 37.3, 36.8, 37.1, 36.9)))
    worn = Plate("L3", PlateKind.OUTER, (1.90, 1.78, 1.90, 1.90), 1.91, 0.02)
    answer = answered(replace(sheet, plates={**sheet.plates, "L3": worn}))
    # One reading off the rest by a tenth is not believed ...
    assert [one.code for one in answer.problems] == ["implausible_thickness"]
    worn = replace(worn, thickness_mm=(1.80, 1.79, 1.80, 1.79))
    answer = answered(replace(sheet, plates={**sheet.plates, "L3": worn}))
    # ... a plate worn all round is, and stands in the way of leaving it alone.
    assert [(one.code, one.part) for one in answer.limits][:1] == [("wear", "L3")]
    assert answer.worn == ("L3",)
    assert not answer.standing.leave_alone
    assert answer.parts_choices[0].left_plates == ("L1", "L2", "new L3", "L4", "L5")


def test_a_spring_told_to_be_cracked_is_renewed():
    sheet = made.pack(made.entry())
    cracked = made.spring("SL1", told=("cracked",))
    answer = answered(replace(sheet, springs={**sheet.springs, "SL1": cracked}))
    assert answer.worn == ("SL1",)
    assert answer.parts_choices[0].left_springs == ("new SL1",)


def test_lost_faces_are_put_in_order():
    sheet = made.pack(made.entry())
    muddled = replace(sheet.now.left, plates=("L1", "L2", "L4", "L3", "L5"))
    answer = answered(replace(sheet, now=replace(sheet.now, left=muddled)))
    assert answer.faces == (2, 4)
    assert "faces_lost" in [one.code for one in answer.hints]
    assert any(one.left_plates == ("L1", "L2", "L3", "L4", "L5") for one in answer.parts_choices)


def test_soft_springs_are_renewed_from_the_shelf():
    flat = {name: made.spring(name, free_height_mm=2.6) for name in ("SL1", "SR1")}
    sheet = made.pack(made.entry(breakaway=(0.0, 0.0)), springs=flat)
    shelf = replace(made.shelf(), springs=(Stocked(2, spring=made.spring("NS1")),))
    answer = answered(sheet, shelf=shelf)
    assert answer.why_not[:1] == ("springs",)
    renewed = [one for one in answer.parts_choices if one.left_springs == ("NS1",)]
    assert renewed
    assert renewed[0].right_springs == ("NS1 (2)",)
    assert renewed[0].choice.probability_lands > 0.5


def test_end_play_is_set_and_torque_hardly_moves():
    card = made.card(
        layout=Layout.BLOCK, sense=Sense.LESS_CLEARANCE, limits=CardLimits(end_play_mm=(0.05, 0.15)), low=25.0, high=45.0
    )
    sheet = made.block_pack()
    sheet = replace(sheet, history=(made.entry(sheet.now, (32.0, 33.0, 32.5), end_play_mm=(0.40, 0.30)),))
    best = listed(answered(sheet, card))[0]
    assert 0.40 - best.shims.change_left_mm == pytest.approx(0.10, abs=0.03)
    assert 0.30 - best.shims.change_right_mm == pytest.approx(0.10, abs=0.03)
    assert best.torque_median_nm == pytest.approx(33.0, rel=0.08)
    assert best.probability_lands > 0.9


def test_closing_every_bolt_presses_more():
    trial = made.entry(made.build(closure="trial"))
    as_trial = answered(made.pack(trial, now=made.build(closure="trial"))).choices.nothing
    as_final = answered(made.pack(trial, now=made.build(closure="final"))).choices.nothing
    assert as_final.torque_median_nm > 1.004 * as_trial.torque_median_nm


def test_new_plates_are_expected_to_read_higher_before_they_run_in():
    used = answered(made.pack()).choices.nothing
    new = answered(made.pack(now=made.build(plate_state=PlateState.NEW))).choices.nothing
    assert new.torque_median_nm == pytest.approx(1.05 * used.torque_median_nm, rel=0.01)
    codes = [one.code for one in answered(made.pack(now=made.build(plate_state=PlateState.NEW))).missing]
    assert "plate_state" in codes


def test_it_learns_after_each_reassembly():
    first = made.entry(made.build((0.2,), (0.2,)), (24.0, 24.5, 23.8, 24.2))
    again = made.entry(made.build((0.4,), (0.4,)), (33.0, 33.5, 32.8, 33.2))
    spans = []
    for history in ((), (first,), (first, again)):
        one = answered(made.pack(*history)).choices.nothing
        spans.append(one.torque_high_nm / one.torque_low_nm)
    assert spans[0] > spans[1] > spans[2]


def test_where_all_that_would_land_may_go_solid_the_boldest_safe_choice_comes_first():
    window = Window(40.0, 60.0)
    bold, still, best = choice(0.01, 2, 0.5), choice(0.02, 0, 0.9), choice(0.8, 2, 0.0, solid=0.1)
    bold, still = replace(bold, torque_median_nm=38.0), replace(still, torque_median_nm=30.0)
    assert _boldest_first(ordered([still, bold, best]), window)[0] is bold
    # Where something safe lands, the order stands.
    safe = choice(0.3, 2, 0.2)
    assert _boldest_first(ordered([still, safe, best]), window)[0] is safe
