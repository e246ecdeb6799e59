"""Faces, stacks and bench arrangements."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.pack.arrangement import Layout, conversion_to_mean
from analysis.pack.parts import PlateKind, SideBuild
from analysis.pack.stack import count_faces, spring_groups

O, I = PlateKind.OUTER, PlateKind.INNER  # noqa: E741

kinds = st.lists(st.sampled_from([O, I]), min_size=1, max_size=12)


@given(kinds)
def test_faces_are_even_and_the_order_may_be_turned_over(order):
    # Every run of inner plates between parts that turn with the case rubs on both its ends.
    assert count_faces(order) % 2 == 0
    assert count_faces(order) == count_faces(order[::-1])


@given(kinds, st.integers(0, 11))
def test_a_like_plate_beside_its_like_adds_no_face(order, at):
    at %= len(order)
    assert count_faces([*order[: at + 1], *order[at:]]) == count_faces(order)


def test_paired_inner_plates_lose_faces():
    # TRADE.md 0: eight, six, four faces give 100, 75, 50 %.
    assert count_faces([O, I, O, I, O, I, O, I, O]) == 8
    assert count_faces([O, I, I, O, I, O, I, O, O]) == 6
    assert count_faces([O, I, I, O, I, I, O, O, O]) == 4


def test_springs_are_grouped_as_they_stand():
    groups = spring_groups(SideBuild(plates=(), springs=("a", "b", "c", "d"), stack="(())"))
    assert groups == [("a", "b"), ("c", "d")]
    assert len(spring_groups(SideBuild(plates=(), springs=("a", "b", "c", "d"), stack="()()"))) == 4


@given(st.floats(5.0, 200.0), st.floats(5.0, 200.0))
def test_factors_follow_from_the_balance_of_energy(left_nm, right_nm):
    # Kinematics of the bevel gears: the case turns at the mean of both outputs; what goes in is what both packs turn into heat.
    turned = 1.0
    cases = {
        "A": (turned / 2.0, turned, 0.0, turned),  # case speed, left, right, speed of the shaft that is turned
        "B": (0.0, turned, -turned, turned),
        "D": (turned, 2.0 * turned, 0.0, turned),
    }
    mean = 0.5 * (left_nm + right_nm)
    for code, (case, left, right, shaft) in cases.items():
        assert case == pytest.approx(0.5 * (left + right))
        torque = (left_nm * abs(left - case) + right_nm * abs(right - case)) / shaft
        found = conversion_to_mean(code, Layout.EACH, ramps_deg=None, ratio=None)
        assert torque == pytest.approx(found.factor * mean)


def test_what_is_not_converted():
    for code in ("C", "F", "G", "V", "V2"):
        assert conversion_to_mean(code, Layout.EACH, ramps_deg=None, ratio=4.1) is None
    assert conversion_to_mean("B", Layout.BLOCK, ramps_deg=None, ratio=None) is None
    assert conversion_to_mean("B", Layout.EACH, ramps_deg=30.0, ratio=None) is None
    assert conversion_to_mean("E", Layout.EACH, ramps_deg=None, ratio=None) is None
    assert conversion_to_mean("E", Layout.THROUGH, ramps_deg=60.0, ratio=4.0).factor == pytest.approx(0.5)
