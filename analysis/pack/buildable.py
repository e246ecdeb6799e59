"""Shims that can be laid in: every pair of totals that the stock allows."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement

import numpy as np
from numpy.typing import NDArray

from analysis.pack.parts import SIDES, Build, Shelf, SideBuild
from analysis.pack.unit import Unit

SIZE_STEP = 10_000
"""Shim totals are equal when they agree to 0.1 um."""
LISTS_A_TOTAL = 6
"""Ways to make a total that are tried against the stock, those with fewest shims first."""
DEFAULT_SHIMS_PER_SIDE = 3
"""Where the card does not say."""
DEFAULT_TOTAL_MAX_MM = 2.0
"""Where the card does not say: more than this is another plate (TRADE.md 3.2)."""
STILL_MM = 1e-6
"""Sums of decimal readings are exact to this: 0.05 is not more than 0.05."""


@dataclass(frozen=True, slots=True)
class ShimPair:
    """Shims of both sides. `moves`: sides that have to be opened."""

    left_mm: tuple[float, ...]
    right_mm: tuple[float, ...]
    change_left_mm: float
    change_right_mm: float
    moves: int


def size_key(total_mm: float) -> int:
    """A size or total as a whole number of 0.1 um, so that equal ones are equal."""
    return round(total_mm * SIZE_STEP)


def shim_stock(shelf: Shelf, fitted: Build) -> Counter[int]:
    """Sizes at hand, keyed in 0.1 um: the shelf's, and what is fitted now.

    Parameters
    ----------
    shelf
        Shims in stock, with their counts.
    fitted
        The build whose shims come on top.

    Returns
    -------
    Counter of int
        Number of shims by size in 0.1 um.
    """
    stock: Counter[int] = Counter()
    for one in shelf.shims:
        assert one.shim_mm is not None
        stock[size_key(one.shim_mm)] += one.count
    for side in fitted.sides:
        stock.update(size_key(mm) for mm in side.shims_mm)
    return stock


def side_totals(unit: Unit, side_name: str, fitted: SideBuild, stock: Counter[int]) -> dict[int, list[tuple[int, ...]]]:
    """Totals that can be built in a side, each with the lists that make it, fewest shims first.

    Parameters
    ----------
    unit
        Its card says which sides take shims, how many and how thick in all.
    side_name
        `left` or `right`.
    fitted
        What is in that side; its own shims are always among the totals.
    stock
        Sizes at hand, keyed in 0.1 um.

    Returns
    -------
    dict of int to list of tuple of int
        Totals in 0.1 um, each with at most `LISTS_A_TOTAL` lists of sizes in 0.1 um; a side that takes no shims has its own alone.
    """
    own = tuple(sorted(size_key(mm) for mm in fitted.shims_mm))
    totals: dict[int, list[tuple[int, ...]]] = {sum(own): [own]}
    if side_name not in unit.card.shim_sides:
        return totals
    most = unit.card.shims_per_side or DEFAULT_SHIMS_PER_SIDE
    limit = size_key(unit.card.shims_total_max_mm or DEFAULT_TOTAL_MAX_MM)
    sizes = sorted(stock)
    for count in range(most + 1):
        for made in combinations_with_replacement(sizes, count):
            total = sum(made)
            if total > limit or any(made.count(size) > stock[size] for size in set(made)):
                continue
            lists = totals.setdefault(total, [])
            if len(lists) < LISTS_A_TOTAL and made not in lists:
                lists.append(made)
    return totals


def shim_pairs(unit: Unit, build: Build, shelf: Shelf) -> list[ShimPair]:
    """Every pair of totals that can be built at once, with the fitted list for a total that stays.

    Parameters
    ----------
    unit
        Sheet and card.
    build
        The parts that are considered, with their shims.
    shelf
        Shims in stock; those fitted now come on top.

    Returns
    -------
    list of ShimPair
        Sizes in mm; changes are against the build's own shims, in mm. No shim is used more often than it is there.
    """
    stock = shim_stock(shelf, unit.pack.now)
    left, right = (side_totals(unit, name, side, stock) for name, side in zip(SIDES, build.sides, strict=True))
    fitted_left, fitted_right = (sum(size_key(mm) for mm in side.shims_mm) for side in build.sides)
    shown = [
        {made: _mm(made, side) for lists in totals.values() for made in lists}
        for totals, side in zip((left, right), build.sides, strict=True)
    ]
    pairs = []
    for total_left, lists_left in left.items():
        for total_right, lists_right in right.items():
            made = _first_in_stock(lists_left, lists_right, stock)
            if made is None:
                continue
            change = ((total_left - fitted_left) / SIZE_STEP, (total_right - fitted_right) / SIZE_STEP)
            moves = (total_left != fitted_left) + (total_right != fitted_right)
            pairs.append(ShimPair(shown[0][made[0]], shown[1][made[1]], *change, moves))
    return pairs


def _mm(made: tuple[int, ...], fitted: SideBuild) -> tuple[float, ...]:
    """Sizes in mm, largest first; the fitted list stays as it was written."""
    if sorted(made) == sorted(size_key(mm) for mm in fitted.shims_mm):
        return fitted.shims_mm
    return tuple(size / SIZE_STEP for size in sorted(made, reverse=True))


def _first_in_stock(
    lists_left: Sequence[tuple[int, ...]], lists_right: Sequence[tuple[int, ...]], stock: Counter[int]
) -> tuple[tuple[int, ...], tuple[int, ...]] | None:
    for left in lists_left:
        for right in lists_right:
            both = left + right
            if all(both.count(size) <= stock[size] for size in set(both)):
                return left, right
    return None


def left_right_mm(unit: Unit, build: Build) -> float | None:
    """Plates and shims of the left side less those of the right, by means; None where a height is not known.

    Parameters
    ----------
    unit
        Sheet and card.
    build
        With its own shims.

    Returns
    -------
    float or None
        mm, positive where the left side is taller.
    """
    left, right = unit.heights(build)
    if "unknown" in (left.source, right.source):
        return None
    return left.mm + build.left.shim_total_mm - right.mm - build.right.shim_total_mm


def keeps_left_right(unit: Unit, build: Build, pairs: Sequence[ShimPair]) -> NDArray[np.bool_]:
    """Which pairs keep left and right as alike as the card asks, by the sheet's own numbers.

    Parameters
    ----------
    unit
        Its card has the limit, in mm.
    build
        The build that the pairs change.
    pairs
        Choices of shims.

    Returns
    -------
    ndarray of bool, shape (pairs,)
        All True where the card has no limit or a height is not known.
    """
    limit = unit.card.limits.left_right_mm
    now = left_right_mm(unit, build)
    if limit is None or now is None:
        return np.ones(len(pairs), dtype=bool)
    return np.array([abs(now + p.change_left_mm - p.change_right_mm) <= limit + STILL_MM for p in pairs], dtype=bool)
