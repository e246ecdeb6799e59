"""The simulated packs that shim choice is measured on: their physics against tables, textbook numbers and work done; never against
`analysis`."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.pack_physics import Disc, Yielding, balance_nm, column, disc_load_n, faces_of, mean_radius_mm
from support.pack_sheets import MISTAKES, NotHereError, card_table, pack_table, write_sheets
from support.pack_units import Fit, PackUnit, draw_unit

# Load at about 75 % of flat: EN 16983 (DIN 2093), series A, B and C; from memory, each recomputed by the equation of EN 16984.
TABLE = (
    (8.0, 4.2, 0.4, 0.2, 0.15, 210.0),
    (12.5, 6.2, 0.7, 0.3, 0.23, 673.0),
    (25.0, 12.2, 1.5, 0.55, 0.41, 2910.0),
    (35.5, 18.3, 2.0, 0.8, 0.60, 5190.0),
    (40.0, 20.4, 1.0, 1.3, 0.98, 1020.0),
    (50.0, 25.4, 1.25, 1.6, 1.20, 1550.0),
    (71.0, 36.0, 2.0, 2.6, 1.95, 5140.0),
)


@pytest.mark.parametrize(("outer", "inner", "thick", "cone", "bent", "load"), TABLE)
def test_spring_load_is_the_tables(outer: float, inner: float, thick: float, cone: float, bent: float, load: float) -> None:
    disc = Disc(outer_mm=outer, inner_mm=inner, thickness_mm=thick, free_mm=thick + cone)
    assert float(disc_load_n(disc, bent)) == pytest.approx(load, rel=0.005)


def test_nested_discs_add_load_and_opposed_ones_add_travel() -> None:
    # EN 16983 B 40 at 0.6 mm: 2017.26 N a disc by the equation; stacking rule of EN 16984, friction neglected.
    disc = Disc(outer_mm=40, inner_mm=20.4, thickness_mm=1.5, free_mm=2.65)
    nested, opposed = column((disc, disc), "((", Yielding()), column((disc,) * 3, "()(", Yielding())
    assert float(np.interp(0.6, nested.closing_mm, nested.load_n)) == pytest.approx(4034.53, rel=1e-3)
    assert float(np.interp(1.8, opposed.closing_mm, opposed.load_n)) == pytest.approx(2017.26, rel=1e-3)
    assert (nested.free_mm, opposed.free_mm) == pytest.approx((4.15, 7.95))


def test_mean_radius_is_that_of_even_pressure() -> None:
    radii = np.linspace(33.0, 47.5, 20_001)
    middle = (radii[1:] + radii[:-1]) / 2
    assert mean_radius_mm(95, 66) == pytest.approx(np.sum(middle**2) / np.sum(middle), rel=1e-6)


@pytest.mark.parametrize(
    ("row", "faces"),
    [("oioioioio", 8), ("oioio", 4), ("ioioio", 6), ("iooi", 4), ("oiio", 2), ("oioo", 2), ("ii", 2), ("o", 0)],
)
def test_faces_are_where_an_inner_plate_meets_what_turns_with_the_case(row: str, faces: int) -> None:
    assert faces_of(tuple({"o": "outer", "i": "inner"}[k] for k in row)) == faces


@given(left=st.floats(1, 200), right=st.floats(1, 200), lever=st.floats(0.01, 1.0))
def test_work_put_in_is_work_rubbed_away(left: float, right: float, lever: float) -> None:
    # Bevel gears: the case turns at the mean of the outputs. A: right output held, case free. B: case held. D: one output held,
    # case turned.
    for arrangement, (w_left, w_right, w_case, driven) in {
        "A": (lever, 0.0, lever / 2, lever),
        "B": (lever, -lever, 0.0, lever),
        "D": (2 * lever, 0.0, lever, lever),
    }.items():
        assert w_case == pytest.approx((w_left + w_right) / 2)
        rubbed = left * abs(w_left - w_case) + right * abs(w_right - w_case)
        assert balance_nm(left, right, arrangement) * driven == pytest.approx(rubbed)


def _unit(layout: str, family: str = "found") -> PackUnit:
    for seed in range(1, 400):
        unit = draw_unit(seed, family)
        if unit is not None and unit.tags["layout"] == layout and unit.arrangement == "A":
            return unit
    raise AssertionError(f"no unit of layout {layout} in 400 draws")


@pytest.mark.parametrize(("layout", "sign"), [("each", 1), ("through", 1), ("cover", -1), ("block", 1)])
def test_a_thicker_shim_moves_the_load_the_way_the_drawing_says(layout: str, sign: int) -> None:
    unit = _unit(layout)
    size = unit.fitted.left[0]
    near = [Fit((size,), unit.fitted.right), Fit((size, 0.1), unit.fitted.right)]
    loads = replace(unit, shim_error_mm={}).truth(near).load_n[0]
    assert (loads[1] - loads[0]) * sign > 0


def test_end_play_shrinks_by_the_shim() -> None:
    unit = replace(_unit("block"), shim_error_mm={})
    play = unit.truth([unit.fitted, Fit((*unit.fitted.left, 0.1), unit.fitted.right)]).play_mm
    assert play[0, 0] - play[0, 1] == pytest.approx(0.1)
    assert play[1, 0] == pytest.approx(play[1, 1])


def test_the_same_seed_is_the_same_unit_and_the_same_pulls() -> None:
    one, two = _unit("each"), _unit("each")
    assert one.pull(one.fitted, 0, "old", as_found=True) == two.pull(two.fitted, 0, "old", as_found=True)


def test_many_rebuilds_read_in_the_window_as_often_as_the_truth_says() -> None:
    unit = _unit("each")
    chances = unit.chance(unit.choices, None, unit.still_new(1))
    fit = unit.choices[int(np.argmin(abs(chances["lands"] - 0.6)))]
    rng = np.random.default_rng(3)
    landed = []
    for _ in range(400):
        again = replace(unit, rebuild_z=rng.normal(size=8), pull_z=rng.normal(size=(8, 80)), closing_z=rng.normal(size=(8, 2)))
        landed.append(again.pull(fit, 1)[1])
    expected = float(unit.chance([fit], unit.closures[1], unit.still_new(1))["lands"][0])
    assert np.mean(landed) == pytest.approx(expected, abs=4 * np.sqrt(expected * (1 - expected) / 400) + 0.01)


def test_sheets_say_what_was_measured_and_never_the_truth(tmp_path) -> None:  # type: ignore[no-untyped-def]
    unit = _unit("each")
    entry, _ = unit.pull(unit.fitted, 0, "old", as_found=True)
    sheet, card = pack_table(unit, unit.fitted, [entry]), card_table(unit)
    assert len(sheet["left"]["plates"]) == card["build"]["plates_per_side"]
    assert {row["id"] for row in sheet["plates"]} >= set(sheet["left"]["plates"])
    import tomllib

    path = write_sheets(tmp_path, unit, unit.fitted, [entry])
    assert tomllib.loads(path.read_text()) == sheet
    truth = [f"{d.thickness_mm:g}" for _, d in unit.parts["now"].discs["left"]]
    assert not any(t in path.read_text() for t in truth)


@pytest.mark.parametrize("name", sorted(MISTAKES))
def test_a_mistake_changes_the_sheets(name: str, tmp_path) -> None:  # type: ignore[no-untyped-def]
    unit = _unit("each")
    entry, _ = unit.pull(unit.fitted, 0, "old", as_found=True)
    write_sheets(tmp_path / "right", unit, unit.fitted, [entry])
    try:
        write_sheets(tmp_path / "wrong", unit, unit.fitted, [entry], name)
    except NotHereError:
        pytest.fail(f"{name}: a sheet with everything on it has room for every mistake")
    texts = [
        [(tmp_path / folder / f"{file}.toml").read_text() for file in ("PACK", "SPEC", "SHELF")] for folder in ("right", "wrong")
    ]
    assert texts[0] != texts[1]
