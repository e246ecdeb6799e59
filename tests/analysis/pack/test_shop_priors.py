"""What the shop's own history does to an answer: it moves what it tells of, by how well it is known, and nothing else."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support import pack_values as made

from analysis.pack import priors
from analysis.pack.answer import FromShopCode, answer_sheet
from analysis.pack.context import contexts
from analysis.pack.inference import learn
from analysis.pack.shop import FrictionSeen, SensitivitySeen, ShopHistory, prior_of
from analysis.pack.unit import Unit
from analysis.verdict.apart import Scatter
from analysis.window import Basis

ENTRY = made.entry(made.build((0.2,), (0.2,)), (24.0, 25.5, 24.6, 25.1))


def frictions(value, count, oil="modified", own_sd=0.06):
    low, high = (value * math.exp(sign * 1.96 * own_sd) for sign in (-1, 1))
    return tuple(FrictionSeen(job=str(n), oil=oil, basis=Basis.BREAKAWAY, friction=value, low=low, high=high) for n in range(count))


def friction_of(pack, shop):
    unit = Unit(pack, made.card(), shop)
    found = learn(unit, Basis.BREAKAWAY, "A")
    mean, sd = found.friction(contexts(unit)[1])
    drawn = np.exp(mean + sd * found.unknowns.normal_unit)
    return float(np.median(drawn)), float(np.quantile(drawn, 0.975) / np.quantile(drawn, 0.025))


@given(st.floats(0.07, 0.16), st.integers(1, 60))
def test_the_prior_lies_between_table_and_shop_nearer_the_shop_the_more_units_and_never_wider(value, count):
    prior = ShopHistory(frictions=frictions(value, count)).friction_prior("modified")
    more = ShopHistory(frictions=frictions(value, 2 * count)).friction_prior("modified")
    table, sd = prior_of("modified", Basis.BREAKAWAY)
    told = math.log(ShopHistory(frictions=frictions(value, count)).friction_of("modified", Basis.BREAKAWAY).friction)
    assert min(table, told) - 1e-12 <= prior.log_mean <= max(table, told) + 1e-12
    assert abs(more.log_mean - told) <= abs(prior.log_mean - told) + 1e-12
    assert more.variance <= prior.variance <= sd**2 + 1e-12
    assert prior.variance > (1 - priors.BETWEEN_OILS) * sd**2  # a pack is never as well known as the oil
    assert prior.units == count


def test_without_a_history_the_answer_is_the_very_same():
    pack = made.pack(ENTRY)
    assert answer_sheet(pack, made.card(), made.shelf()) == answer_sheet(pack, made.card(), made.shelf(), ShopHistory())


def test_a_shop_whose_oil_grips_more_expects_so_before_the_first_pull():
    pack = made.pack()
    usual, usual_width = friction_of(pack, ShopHistory())
    shop, width = friction_of(pack, ShopHistory(frictions=frictions(0.125, 20)))
    assert usual < 1.08 * usual < shop < 0.13
    assert width < usual_width


def test_an_oil_of_the_shops_own_name_is_known_by_its_units():
    pack = made.pack(now=made.build(oil="our blend"))
    _, unknown = friction_of(pack, ShopHistory())
    shop, known = friction_of(pack, ShopHistory(frictions=frictions(0.11, 12, oil="Our Blend")))
    assert known < 0.8 * unknown
    assert shop == pytest.approx(0.11, rel=0.06)
    other, _ = friction_of(made.pack(now=made.build(oil="plain")), ShopHistory(frictions=frictions(0.09, 12, oil="our blend")))
    assert other == pytest.approx(0.130, rel=0.05)  # of another oil it tells nothing


def test_the_units_own_pulls_outweigh_the_shop():
    shop = ShopHistory(frictions=frictions(0.14, 30))

    def moved(pack):
        usual, told = (answer_sheet(pack, made.card(), made.shelf(), one).choices.nothing for one in (None, shop))
        return math.log(told.torque_median_nm / usual.torque_median_nm)

    assert moved(made.pack()) > 0.15
    assert abs(moved(made.pack(ENTRY, ENTRY, ENTRY))) < 0.02


@pytest.mark.parametrize("relative", [0.015, 0.12])
def test_a_shop_that_scatters_otherwise_widens_or_narrows_what_is_expected(relative):
    pack, card, shelf = made.pack(made.entry(made.build((0.2,), (0.2,)), (24.6,))), made.card(), made.shelf()

    def width(shop):
        nothing = answer_sheet(pack, card, shelf, shop).choices.nothing
        return math.log(nothing.torque_high_nm / nothing.torque_low_nm)

    shop = width(ShopHistory(pull_scatter=Scatter(relative, 60.0), rebuild_scatter=Scatter(relative, 12.0)))
    assert (shop > width(ShopHistory())) is (relative > 0.05)


def test_what_a_shim_did_on_like_units_tells_how_far_springs_stand_without_a_space():
    pack, card = made.pack(ENTRY, space=None), made.card()

    def slope(shop):
        answered = answer_sheet(pack, card, made.shelf(), shop)
        return answered.sensitivity_nm_per_mm.median

    def seen(share_per_mm):
        return ShopHistory(
            sensitivities=tuple(
                SensitivitySeen(
                    job=str(n),
                    unit=pack.unit,
                    oil="modified",
                    arrangement="A",
                    nm_per_mm=share_per_mm * 25.0,
                    u_nm_per_mm=1.0,
                    torque_nm=25.0,
                )
                for n in range(6)
            )
        )

    usual = slope(ShopHistory())
    assert slope(seen(0.15)) < usual < slope(seen(2.0))
    measured = made.pack(ENTRY)
    told = answer_sheet(measured, card, made.shelf(), seen(2.0))
    assert told.sensitivity_nm_per_mm == answer_sheet(measured, card, made.shelf()).sensitivity_nm_per_mm


def test_the_answer_says_what_comes_from_the_shop():
    shop = ShopHistory(frictions=frictions(0.11, 7), pull_scatter=Scatter(0.03, 40.0), rebuild_scatter=Scatter(0.02, 9.0))
    told = {one.code: one for one in answer_sheet(made.pack(ENTRY), made.card(), made.shelf(), shop).from_shop}
    assert (told[FromShopCode.FRICTION].count, told[FromShopCode.FRICTION].oil) == (7, "modified")
    assert told[FromShopCode.PULL_TO_PULL].value == 0.03
    assert told[FromShopCode.REBUILD_TO_REBUILD].count == 9
    assert FromShopCode.SHIM not in told
