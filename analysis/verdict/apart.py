"""Which pulls stand apart from the others of their side: after a long rest, or as a stray. One rule for series and comparison.

A side is a group of pulls of one unit in one state: a series, or one side of a comparison. Nothing here deletes a pull; it is
told which ones do not count in a mean.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from analysis.distributions import t_quantile
from analysis.trace import Floats

Booleans = NDArray[np.bool_]


class Apart(StrEnum):
    """Why a pull does not count (the words of the contract)."""

    FIRST_AFTER_REST = "first_after_rest"
    EXCLUDED = "excluded"
    STRAY = "stray"
    DOUBTFUL = "doubtful"
    NO_READING = "no_reading"
    DUPLICATE = "duplicate"


@dataclass(frozen=True, kw_only=True, slots=True)
class ApartRules:
    """Limits of the rule (contract: COMPARE.md, Pulls), each with its reason."""

    rest_factor: float = 4.0  # plates that stood so many times longer than usual grip harder (trade notes 2.4)
    least_rest_s: float = 1.0  # the bench takes a pull about once a second at best: a shorter usual rest is no measure
    least_pulls: int = 4  # with three pulls nobody can tell which one is off
    least_company: int = 2  # of its own direction: of two pulls that differ either could be the stray
    least_distance: float = 0.12  # on the logarithm; closer than this a pull is ordinary scatter whatever the test says
    quantile: float = 0.9995  # two-sided 99.9 %: one false stray in a thousand pulls
    least_scatter: float = 0.02  # a handful of pulls can agree by chance; no bench repeats better than this
    share: int = 4  # at most one pull in four, at least one
    wide_gap: float = 0.15  # on the logarithm; three pulls with such a gap are worth a word


RULES = ApartRules()


@dataclass(frozen=True, slots=True)
class Scatter:
    """Scatter from pull to pull that is known from elsewhere: relative standard deviation and its degrees of freedom."""

    relative: float
    degrees_of_freedom: float


@dataclass(frozen=True, slots=True, eq=False)
class Side:
    """The pulls of one side that are looked at for strays, in any order.

    direction  (n,) 1 or -1 (0: unknown)
    logs       (q, n) natural logarithms of q quantities, such as sliding and breakaway; nan where a pull has no value
    """

    direction: NDArray[np.int_]
    logs: Floats

    @classmethod
    def of(cls, directions: Sequence[int | None], *quantities: Sequence[float | None]) -> Side:
        """A side from values in any unit above zero; what is None or not above zero has no value.

        Parameters
        ----------
        directions
            (n,) 1, -1 or None where it is not known.
        quantities
            q of them, each (n,), in any unit: distances on the logarithm do not depend on it.

        Returns
        -------
        Side
            `direction` (n,) with 0 for None, `logs` (q, n).

        Raises
        ------
        ValueError
            If there are no quantities, or they are not equally long.

        Examples
        --------
        >>> Side.of([1, 1], [50.0, None]).logs.round(3).tolist()
        [[3.912, nan]]
        """
        logs = [[math.log(value) if value is not None and value > 0 else math.nan for value in values] for values in quantities]
        return cls(np.array([way or 0 for way in directions], dtype=int), np.array(logs, dtype=float).reshape(len(logs), -1))


def after_long_rest(rest_s: Sequence[float | None], rules: ApartRules = RULES) -> tuple[int, ...]:
    """Indices of the pulls whose rest is over `rest_factor` times the median of the others' rests; unknown rests say nothing.

    Parameters
    ----------
    rest_s
        (n,) how long the unit rested before each pull, s; None: not known.
    rules
        Limits; `rest_factor` and `least_rest_s` count here.

    Returns
    -------
    tuple of int
        In rising order. A lone known rest has no others to be held against and is never named.

    Examples
    --------
    Never merely the first:

    >>> after_long_rest([7200, 30, 30, 30]), after_long_rest([30, 30, 30])
    ((0,), ())
    """
    known = [(index, rest) for index, rest in enumerate(rest_s) if rest is not None]
    found = []
    for index, rest in known:
        others = [other for at, other in known if at != index]
        if others and rest > rules.rest_factor * max(float(np.median(others)), rules.least_rest_s):
            found.append(index)
    return tuple(found)


def find_strays(sides: Sequence[Side], known: Scatter | None = None, rules: ApartRules = RULES) -> tuple[tuple[int, ...], ...]:
    """Indices of the strays of each side.

    A pull is a stray where the logarithm of one of its quantities lies further from the mean of the other m pulls of its side
    and direction than `least_distance` and than t s sqrt(1 + 1/m): a t interval for one more pull. s is the scatter about the
    means of side and direction, pooled over those m pulls, the other sides and what is `known`. Looked for from the farthest
    off the median inwards, at most one in `share` pulls: taken is the largest set of the farthest pulls each of which is a
    stray against all that are left, so that two strays cannot hide each other (as in Rosner's test, Technometrics 25, 1983).

    Parameters
    ----------
    sides
        Pulls that may be strays; those that stand apart already are left out by the caller. All sides have the same quantities.
    known
        Scatter known from elsewhere, pooled with that of the pulls.
    rules
        Limits.

    Returns
    -------
    tuple of tuple of int
        For each side the indices of its strays, in rising order.

    Examples
    --------
    >>> before, after = Side.of([1] * 4, [50, 51, 49, 50]), Side.of([1] * 5, [50, 52, 49, 77, 50])
    >>> find_strays([before, after])
    ((), (3,))
    """
    farthest = sorted((candidate for at, side in enumerate(sides) for candidate in _candidates(at, side, rules)), reverse=True)
    candidates = [(at, index) for _, at, index in farthest]
    for count in range(len(candidates), 0, -1):
        taken = candidates[:count]
        gone = set(taken)
        left = [
            np.array([(at, index) not in gone for index in range(side.direction.size)], dtype=bool) for at, side in enumerate(sides)
        ]
        # The nearest is the likeliest to fail.
        if all(_stands_off(sides, left, at, index, known, rules) for at, index in reversed(taken)):
            return tuple(tuple(sorted(index for where, index in taken if where == at)) for at in range(len(sides)))
    return tuple(() for _ in sides)


def widest_gap(logs: Sequence[float]) -> float:
    """The widest gap between neighbours on the logarithm; 0 for fewer than two."""
    return float(np.diff(np.sort(np.asarray(logs, dtype=float))).max()) if len(logs) > 1 else 0.0


def gap_hides_a_stray(logs: Sequence[float], rules: ApartRules = RULES) -> bool:
    """Whether these are too few pulls for a stray to be told, and lie so far apart that there may be one.

    Parameters
    ----------
    logs
        (n,) natural logarithms of the values of one direction.
    rules
        Limits; `least_pulls` and `wide_gap` count here.

    Returns
    -------
    bool
        True only for two or more values, fewer than `least_pulls`, with a wider gap than `wide_gap`.
    """
    return 1 < len(logs) < rules.least_pulls and widest_gap(logs) > rules.wide_gap


def _candidates(at: int, side: Side, rules: ApartRules) -> list[tuple[float, int, int]]:
    """Distance off the median of its direction, side and index of the pulls of a side that may be strays."""
    n = int(np.isfinite(side.logs).any(axis=0).sum())
    if n < rules.least_pulls:
        return []
    distance = np.zeros(side.direction.size)
    for row in side.logs:
        for mine in _directions(side, np.isfinite(row)):
            distance[mine] = np.maximum(distance[mine], np.abs(row[mine] - np.median(row[mine])))
    order = np.argsort(-distance, kind="stable")[: max(1, n // rules.share)]
    return [(float(distance[index]), at, int(index)) for index in order if distance[index] > 0]


def _stands_off(
    sides: Sequence[Side], left: Sequence[Booleans], at: int, index: int, known: Scatter | None, rules: ApartRules
) -> bool:
    """Whether a pull is a stray against the pulls that are left."""
    side = sides[at]
    for quantity, row in enumerate(side.logs):
        others = row[left[at] & (side.direction == side.direction[index]) & np.isfinite(row)]
        if not math.isfinite(row[index]) or others.size < rules.least_company:
            continue
        s, degrees = _pooled(sides, left, quantity, known)
        if degrees <= 0:
            continue
        reach = float(t_quantile(rules.quantile, degrees)) * max(s, rules.least_scatter) * math.sqrt(1 + 1 / others.size)
        if abs(row[index] - others.mean()) > max(rules.least_distance, reach):
            return True
    return False


def _pooled(sides: Sequence[Side], left: Sequence[Booleans], quantity: int, known: Scatter | None) -> tuple[float, float]:
    """Scatter about the means of side and direction, and its degrees of freedom (0: there are none)."""
    squares, degrees = (known.degrees_of_freedom * known.relative**2, known.degrees_of_freedom) if known is not None else (0.0, 0.0)
    for side, kept in zip(sides, left, strict=True):
        row = side.logs[quantity]
        for mine in _directions(side, kept & np.isfinite(row)):
            squares += float(np.sum((row[mine] - row[mine].mean()) ** 2))
            degrees += int(mine.sum()) - 1
    return (math.sqrt(squares / degrees), degrees) if degrees > 0 else (0.0, 0.0)


def _directions(side: Side, of: Booleans) -> Iterator[Booleans]:
    """The pulls `of` a side, those of one direction at a time."""
    for way in np.unique(side.direction[of]):
        yield of & (side.direction == way)
