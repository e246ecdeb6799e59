"""Three simple ways to choose shims, to compare with: what a good technician works out on paper, a slope from the trade's notes,
and a rule of thumb.

They see what stands on the sheet, never the truth.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from support.pack_physics import Yielding, column, faces_of, mean_radius_mm
from support.pack_units import CONVERTED, OILS, SIDES, Entry, Fit, PackUnit

HANDBOOK_MU = 0.12  # TRADE.md 3.3: slope at 75 % of flat of the card's springs, at this friction, whatever the unit reads
HANDBOOK_SHARE = 0.75
MIDDLE_SHARE = 0.575  # nothing known of the space: the middle of what is met
EVERY_SHIM_MM = 0.1

Way = Callable[[PackUnit, Fit, list[Entry]], Fit]


def _reading(unit: PackUnit, entry: Entry) -> float:
    """Mean of the judged values in the window's arrangement, as the sheet says it."""
    values = entry.breakaway_nm if unit.card.basis == "breakaway" else entry.sliding_nm
    values = values or entry.breakaway_nm or entry.sliding_nm
    mean = float(np.mean(values))
    if entry.said_arrangement == unit.card.arrangement:
        return mean
    return mean / CONVERTED if unit.card.arrangement == "A" else mean * CONVERTED


def _paper(unit: PackUnit, fits: list[Fit], which: str = "now") -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Spring load (mean of the sides), worst share of flat and plays, from the sheet and the plain spring equation."""
    card, sheet = unit.card, unit.measured
    shims = np.array([[sum(f.left) for f in fits], [sum(f.right) for f in fits]])
    plates = np.array([unit.sheet_plates_mm[which][s] for s in SIDES])
    n = len(fits)
    play = np.full((2, n), np.nan)
    if card.layout == "block":
        b = sheet.block
        shift = (shims - np.array([[sum(unit.fitted.left)], [sum(unit.fitted.right)]])).sum(axis=0)
        load = b["count"] * b["rate"] * (b["free_length"] - b["fitted_length"] + shift)
        room = np.array([sheet.space_mm[f"{s}.case_depth"] - sheet.space_mm[f"{s}.gear_height"] for s in SIDES])
        return load, np.zeros(n), room[:, None] - plates[:, None] - shims
    curves = {
        s: column(tuple(sheet.discs[name] for name, _ in unit.parts[which].discs[s]), unit.parts[which].signs, Yielding())
        for s in SIDES
        if unit.parts[which].discs[s]
    }
    old = np.array([unit.sheet_plates_mm["old"][s] for s in SIDES])
    was = np.array([sum(unit.fitted.left), sum(unit.fitted.right)])
    if card.layout == "each":
        loads, shares = [], []
        for i, side in enumerate(SIDES):
            curve = curves[side]
            if sheet.space_mm:
                closed = (
                    curve.free_mm
                    + plates[i]
                    + shims[i]
                    - (sheet.space_mm[f"{side}.case_depth"] - sheet.space_mm[f"{side}.gear_height"])
                )
            else:
                flat = float(curve.closing_mm[np.argmin(np.abs(curve.shares.max(axis=0) - MIDDLE_SHARE))])
                closed = flat + (plates[i] + shims[i]) - (old[i] + was[i])
            loads.append(np.interp(closed, curve.closing_mm, curve.load_n))
            shares.append(np.max([np.interp(loads[-1], curve.load_n, s) for s in curve.shares], axis=0))
            play[i] = curve.cone_mm - closed
        return (loads[0] + loads[1]) / 2, np.maximum(*shares), play
    forces = np.linspace(0, min(float(c.load_n[-1]) for c in curves.values()), 1200)
    closings = sum((np.interp(forces, c.load_n, c.closing_mm) for c in curves.values()), np.zeros_like(forces))
    free = sum(c.free_mm for c in curves.values())
    if not sheet.space_mm:
        index = int(
            np.argmin(
                np.abs(np.max([np.interp(forces, c.load_n, c.shares.max(axis=0)) for c in curves.values()], axis=0) - MIDDLE_SHARE)
            )
        )
        closed = closings[index] + (plates.sum() - old.sum()) + shims.sum(axis=0) - was.sum()
    elif card.thicker == "less preload":
        closed = free - (sheet.space_mm["edge_to_plate"] - sheet.space_mm["cover_boss"]) - (shims.sum(axis=0) - was.sum())
    else:
        s = sheet.space_mm
        closed = free + plates.sum() + shims.sum(axis=0) - (s["case_depth_1"] + s["case_depth_2"] - s["overlap"] - s["centre"])
    load = np.interp(closed, closings, forces)
    share = np.max([np.max([np.interp(load, c.load_n, s) for s in c.shares], axis=0) for c in curves.values()], axis=0)
    play[:] = (sum(c.cone_mm for c in curves.values()) - closed) / len(curves)
    return load, share, play


def _allowed(unit: PackUnit, fits: list[Fit], share: np.ndarray, play: np.ndarray) -> np.ndarray:
    ok = np.array([unit.matched(f) for f in fits]) & (share <= unit.card.share_limit)
    for limits in (unit.card.clearance_mm, unit.card.end_play_mm):
        if limits:
            ok &= (play.min(axis=0) >= limits[0]) & (play.max(axis=0) <= limits[1])
    return ok


def stands_right_on_paper(unit: PackUnit, fitted: Fit, history: list[Entry]) -> bool:
    """Whether the last series reads in the window and the sheet breaks no limit: nobody would open it."""
    _, share, play = _paper(unit, [fitted])
    if history[-1].end_play_mm is not None:
        play = np.array([[p] for p in history[-1].end_play_mm])
    return unit.card.low_nm <= _reading(unit, history[-1]) <= unit.card.high_nm and bool(_allowed(unit, [fitted], share, play)[0])


def _factor(unit: PackUnit, history: list[Entry]) -> float:
    """Reading over spring load on paper, from the last series; nothing pulled with springs in: the oil's friction from the book."""
    entry = history[-1]
    reading = _reading(unit, entry)
    load = float(_paper(unit, [entry.fit], entry.parts)[0][0])
    if (unit.family == "free" and entry.parts == "old") or reading < 1 or load < 1:
        radius = mean_radius_mm(*unit.face_mm) / 1000
        return OILS[unit.oil_said or "modified"][0] * faces_of(tuple(p.kind for p in unit.parts["now"].plates["left"])) * radius
    return reading / load


def plain_algebra(unit: PackUnit, fitted: Fit, history: list[Entry]) -> Fit:
    """Spring equation on the measured values, one factor fitted to the last series: the choice nearest the window's middle that
    keeps the limits."""
    fits = unit.choices
    load, share, play = _paper(unit, fits)
    torque = np.maximum(_factor(unit, history) * load, 1e-3)
    off = np.abs(np.log(torque / unit.card.middle_nm))
    if unit.card.layout == "block":
        middle = np.mean(unit.card.end_play_mm or (0.0, 0.0))
        off = off * 0.2 + np.abs(play - middle).max(axis=0)
    ok = _allowed(unit, fits, share, play)
    off = np.where(ok, off, off + 10)
    return fits[int(np.argmin(off))]


def _near(unit: PackUnit, left: float, right: float) -> Fit:
    return min(unit.choices, key=lambda f: (not unit.matched(f)) + abs(f.totals[0] - left) + abs(f.totals[1] - right))


def _direction(unit: PackUnit, missing_nm: float) -> float:
    return float(np.sign(missing_nm)) * (-1 if unit.card.thicker == "less preload" else 1)


def _handbook_slope_nm_per_mm(unit: PackUnit) -> float:
    """N.m per mm of shim on one side with the other side changed as much."""
    assert unit.card.springs is not None
    _, signs, disc = unit.card.springs
    curve = column((disc,) * len(signs), signs, Yielding())
    rate = float(np.interp(HANDBOOK_SHARE, curve.shares[0], np.gradient(curve.load_n, curve.closing_mm)))
    return HANDBOOK_MU * unit.card.faces * mean_radius_mm(*unit.face_mm) / 1000 * rate


def handbook_slope(unit: PackUnit, fitted: Fit, history: list[Entry]) -> Fit:
    """The slope of TRADE.md 3.3 from the card, the same change on each side; end play where shims only set that."""
    if unit.card.layout == "block":
        return plain_algebra(unit, fitted, history)
    missing = unit.card.middle_nm - _reading(unit, history[-1])
    change = abs(missing) / _handbook_slope_nm_per_mm(unit) * _direction(unit, missing)
    both = len(unit.card.shim_sides) == 2
    return _near(unit, fitted.totals[0] + change, fitted.totals[1] + (change if both else 0.0))


def add_a_tenth(unit: PackUnit, fitted: Fit, history: list[Entry]) -> Fit:
    """0.1 mm more, or less, on each side."""
    if unit.card.layout == "block":
        return plain_algebra(unit, fitted, history)
    change = EVERY_SHIM_MM * _direction(unit, unit.card.middle_nm - _reading(unit, history[-1]))
    return _near(unit, fitted.totals[0] + change, fitted.totals[1] + (change if len(unit.card.shim_sides) == 2 else 0.0))


SIMPLE_WAYS: dict[str, Way] = {"plain algebra": plain_algebra, "handbook slope": handbook_slope, "add 0.1 mm": add_a_tenth}

__all__ = ["SIMPLE_WAYS", "add_a_tenth", "handbook_slope", "plain_algebra", "stands_right_on_paper"]
