"""What the history says: against a brute-force grid, and as laws that must hold."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from support import pack_values as made

from analysis.pack import inference, priors
from analysis.pack.arrangement import Layout
from analysis.pack.context import context_of, contexts
from analysis.pack.cup_springs import SpringShape, formula_load_n
from analysis.pack.inference import learn
from analysis.pack.parts import PlateState, Uncertainty
from analysis.pack.priors import Range
from analysis.pack.unit import Unit
from analysis.window import Basis

EXACT = Uncertainty(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


def learnt(pack, card=None, considered=()):
    return learn(Unit(pack, card or made.card()), Basis.BREAKAWAY, "A", considered)


def friction_of(found):
    mean, sd = found.friction(contexts(found.unit)[1])
    drawn = mean + sd * found.unknowns.normal_unit
    return float(np.median(drawn)), float(np.std(drawn))


@pytest.fixture
def nothing_but_share_friction_and_scatter(monkeypatch):
    """A world in which the springs' travel, friction and scatter are all that is not known; with many draws."""
    monkeypatch.setattr(inference, "FIRST_DRAWS", 32768)
    monkeypatch.setattr(inference, "KEPT", 16384)
    monkeypatch.setattr(priors, "STACK_STIFFNESS_N_PER_MM", Range(1e9, 1.001e9))
    for name in ("SEATING_MM", "STANDS_ON_HIGH_SPOTS", "LATE_RISE", "END_FRICTION", "NESTED_FRICTION"):
        monkeypatch.setattr(priors, name, Range(0.0, 1e-12))
    for name in ("CLOSING_REPEAT_MM", "SPRING_LOT_THICKNESS_MM", "WRONG_ARRANGEMENT", "ODD_FRICTION"):
        monkeypatch.setattr(priors, name, 1e-9)


@pytest.mark.parametrize("second", [None, (36.0, 37.5, 36.4)])
def test_share_and_friction_are_those_of_a_brute_force_grid(nothing_but_share_friction_and_scatter, second):
    through = made.card(layout=Layout.THROUGH)
    first = (24.0, 25.5, 24.6, 25.1)
    history = [made.entry(made.build((0.2,), (0.2,)), first)]
    if second is not None:
        history.append(made.entry(made.build((0.4,), (0.4,)), second))
    found = learnt(made.pack(*history, space=None, uncertainty=EXACT), through)

    # The grid: share of flat, log of friction times spring lot and run-in, both scatters; the spring law written out anew.
    cone, t, ratio = 1.85, 1.85, 90.0 / 62.0
    k1 = ((ratio - 1) / ratio) ** 2 / ((ratio + 1) / (ratio - 1) - 2 / np.log(ratio)) / np.pi
    radius_m = 2 / 3 * (47.5**3 - 33.0**3) / (47.5**2 - 33.0**2) / 1000

    def log_torque(deflection):  # four faces a side, for a friction of 1
        load = 4 * 206000 / 0.91 * t / (k1 * 90.0**2) * deflection * ((cone - deflection) * (cone - deflection / 2) + t * t)
        return np.log(4 * radius_m * load)

    share = np.linspace(0.25, 0.90, 131)
    centre = np.log(0.105) + np.log(1.02)
    spread = np.sqrt(0.14**2 + 0.045**2 + 0.02**2)
    factor = centre + np.linspace(-4, 4, 161) * spread
    pull, rebuild = np.linspace(0.03, 0.08, 11), np.linspace(0.02, 0.05, 7)
    grid = np.meshgrid(share, factor, pull, rebuild, indexing="ij")
    weight = stats.norm.logpdf(grid[1], centre, spread)
    for values, more_shim in ((first, 0.0), (second, 0.4)):
        if values is None:
            continue
        logs, n = np.log(values), len(values)
        sd = np.sqrt(grid[3] ** 2 + grid[2] ** 2 / n + priors.PULL_BASIS_SD**2 / n)
        # One line: both sides' shims together press both springs, half each.
        expected = log_torque(grid[0] * cone + more_shim / 2) + grid[1]
        weight += stats.norm.logpdf(np.log(np.mean(values)), expected, sd)
        weight += -(n - 1) * np.log(grid[2]) - np.sum((logs - logs.mean()) ** 2) / (2 * grid[2] ** 2)
    weight = np.exp(weight - weight.max())
    weight /= weight.sum()
    mean = float((weight * grid[0]).sum())
    sd = float(np.sqrt((weight * (grid[0] - mean) ** 2).sum()))
    centre_after = float((weight * grid[1]).sum())
    sd_after = float(np.sqrt((weight * (grid[1] - centre_after) ** 2).sum()))

    own_mean, own_sd = found.predict(contexts(found.unit)[1])
    drawn = own_mean + own_sd * found.unknowns.normal_unit
    assert float(found.unknowns.share.mean()) == pytest.approx(mean, abs=0.1 * sd)
    assert float(found.unknowns.share.std()) == pytest.approx(sd, rel=0.1)
    assert float(drawn.mean()) == pytest.approx(centre_after, abs=0.1 * sd_after)
    assert float(drawn.std()) == pytest.approx(sd_after, rel=0.1)


def test_free_tells_of_the_springs_and_never_of_friction():
    before = friction_of(learnt(made.pack()))
    free = learnt(made.pack(made.entry(breakaway=(0.0, 0.0, 0.0)), space=None))
    assert friction_of(free) == pytest.approx(before, rel=0.02)
    # ... and the shares at which such springs would have held are out.
    assert free.unknowns.share.mean() < learnt(made.pack(space=None)).unknowns.share.mean() + 0.02


def test_a_series_narrows_friction_and_another_narrows_it_further():
    spreads = [friction_of(learnt(made.pack(*([made.entry()] * count))))[1] for count in (0, 1, 3)]
    assert spreads[0] > 1.5 * spreads[1] > 1.5 * spreads[2] * 0.9
    assert spreads[1] > spreads[2]


def test_after_a_change_of_oil_friction_is_independent():
    high = made.entry(breakaway=(37.0, 38.0, 36.0))
    same = friction_of(learnt(made.pack(high)))[0]
    changed = made.pack(replace(high, build=made.build(oil="plain")))
    assert same > np.log(0.105) + 0.1
    # Plain oil's high reading says nothing of the modified oil that is in now.
    assert friction_of(learnt(changed))[0] == pytest.approx(np.log(0.105), abs=0.03)


def test_new_plates_open_friction_by_the_share_renewed():
    old = made.entry(breakaway=(38.0, 39.0, 37.0))
    fresh = {**made.plates("L", "n"), **made.plates("R", "n")}
    sheet = made.pack(old)
    sheet = replace(sheet, plates={**sheet.plates, **fresh})

    def moved(left_new, right_new):
        left = replace(sheet.now.left, plates=tuple(made.plates("L", "n" if left_new else "")))
        right = replace(sheet.now.right, plates=tuple(made.plates("R", "n" if right_new else "")))
        state = PlateState.NEW if left_new or right_new else PlateState.USED
        return friction_of(learnt(replace(sheet, now=replace(sheet.now, left=left, right=right, plate_state=state))))[0]

    none, half, both = moved(False, False), moved(True, False), moved(True, True)
    assert both == pytest.approx(np.log(0.105), abs=0.03)
    assert both < half - 0.03 < none - 0.06


def test_a_reading_in_b_counts_as_half_and_a_mistaken_one_is_found_out():
    expected = friction_of(learnt(made.pack(made.entry())))
    told = friction_of(learnt(made.pack(made.entry(breakaway=(63.0, 65.1, 64.0, 62.0), arrangement="B"))))
    assert told[0] == pytest.approx(expected[0], abs=0.02)
    untold = learnt(made.pack(made.entry(breakaway=(67.0, 66.0, 68.0, 67.0))))
    wrong = sum(probability for pattern, probability in untold.patterns if pattern.mistaken)
    assert wrong > 0.3
    right = learnt(made.pack(made.entry()))
    assert sum(probability for pattern, probability in right.patterns if pattern.mistaken) < 0.02


def test_a_known_difference_of_stack_heights_teaches_where_the_springs_stand():
    # The torque at two places of the load curve, 0.3 mm apart, tells the place; at one it does not.
    sheet = made.pack(space=None, plates={})
    kinds = ("outer", "inner", "outer", "inner", "outer")

    def with_heights(height, shims=(0.4,)):
        sides = [replace(made.side(s, shims), plates=kinds, stack_height_mm=height) for s in "LR"]
        return made.build(left_shims=shims, right_shims=shims, left=sides[0], right=sides[1])

    low, high = with_heights(8.9), with_heights(9.4)
    at = np.array([0.5, 0.5 + 0.5 / 1.85]) * 1.85  # the low stack leaves the springs at half of flat
    loads = formula_load_n(SpringShape(90.0, 62.0, 1.85, 1.85), at)
    first, second = (tuple(0.105 * 4 * 0.0407 * load * scatter for scatter in (0.99, 1.0, 1.01)) for load in loads)
    one = learnt(replace(sheet, now=high, history=(made.entry(low, first),)))
    two = learnt(replace(sheet, now=high, history=(made.entry(low, first), made.entry(high, second))))
    assert two.unknowns.share.std() < 0.8 * one.unknowns.share.std()
    assert two.unknowns.share.mean() == pytest.approx(0.5, abs=0.1)


def test_what_is_not_converted_tells_nothing_of_torque():
    found = learnt(made.pack(made.entry(breakaway=(80.0, 82.0), arrangement="G")))
    assert found.not_converted == (0,)
    assert friction_of(found)[0] == pytest.approx(np.log(0.105), abs=0.02)


def test_the_same_sheet_gets_the_same_answer():
    first, second = (friction_of(learnt(made.pack(made.entry()))) for _ in range(2))
    assert first == second


def test_plates_from_the_shelf_are_new_ones():
    sheet = made.pack(made.entry())
    unit = Unit(replace(sheet, plates={**sheet.plates, "N2": replace(sheet.plates["L2"], name="N2")}), made.card())
    other = replace(sheet.now, left=replace(sheet.now.left, plates=("L1", "N2", "L3", "L4", "L5")))
    context = context_of(other, unit, frozenset({"N2"}))
    assert context.renewed == pytest.approx(0.25)
    assert context.new


def test_dry_plates_tell_nothing_of_oiled_ones():
    dry = made.entry(made.build(oil="dry"), (48.0, 55.0, 51.0))
    assert friction_of(learnt(made.pack(dry)))[0] == pytest.approx(np.log(0.105), abs=0.02)


def test_a_measured_curve_leaves_less_open_than_the_formula():
    curve = ((0.0, 0.5, 1.0, 1.5), (0.0, 1300.0, 2100.0, 2500.0))
    springs = {name: made.spring(name, curve=curve) for name in ("SL1", "SR1")}

    def open_after(sheet):
        found = learnt(sheet)
        return float(np.median(found.predict(contexts(found.unit)[1])[1]))

    assert open_after(made.pack(springs=springs)) < open_after(made.pack())
