"""By how much a figure differs between two sides of pulls: ratio with its 95 % interval, p, and how many pulls are still wanted.

A figure is compared on its logarithm, so that the interval of a ratio is symmetric and a change of unit changes nothing. With
three pulls a side no resampling and no ranks hold 95 %: Student's t does where scatters are alike, Welch's where they are not
(contract: COMPARE.md, Figures).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import product

import numpy as np

from analysis.distributions import t_probability, t_quantile
from analysis.trace import Floats

CONFIDENCE = 0.95
SIGNIFICANT_P = 1 - CONFIDENCE
POOLED_BELOW_RATIO = 3.0  # scatters that differ less are pooled: at equal numbers the pooled t then still holds its level
MOST_FURTHER_PULLS = 40  # nobody pulls more than this for one answer
INFINITE_DEGREES = 1e9  # where Student's t still returns the normal quantile


class Method(StrEnum):
    """How an interval was found (the words of the contract)."""

    POOLED_T_LOG = "pooled_t_log"
    WELCH_T_LOG = "welch_t_log"
    WELCH_T = "welch_t"
    ONE_SIDE = "one_side"


class Conclusion(StrEnum):
    """What the difference of a figure amounts to (the words of the contract)."""

    ROSE = "rose"
    FELL = "fell"
    HELD = "held"
    OPEN = "open"


@dataclass(frozen=True, slots=True, eq=False)
class Sample:
    """One figure on one side: a value a pull, above zero or zero, and the direction of each pull (1 or -1)."""

    values: Floats
    direction: np.ndarray

    @classmethod
    def of(cls, values: Iterable[float], directions: Iterable[int] | None = None) -> Sample:
        """A sample from plain numbers; without directions all pulls went the same way.

        Parameters
        ----------
        values
            One a pull, in the figure's own unit.
        directions
            1 or -1, one a pull; None: all 1.

        Returns
        -------
        Sample
            Both as arrays of shape (n,).
        """
        array = np.array(list(values), dtype=float)
        return cls(array, np.ones(array.size, dtype=int) if directions is None else np.array(list(directions), dtype=int))

    def of_ways(self, ways: Sequence[int]) -> Sample:
        """The pulls of these directions."""
        mine = np.isin(self.direction, ways)
        return Sample(self.values[mine], self.direction[mine])


@dataclass(frozen=True, slots=True)
class Spread:
    """The pulls of a side about the means of their directions, on one scale.

    n            number of pulls in each direction
    mean         mean of the directions' means
    squares      sum of squares about the directions' means
    """

    n: tuple[int, ...]
    mean: float
    squares: float

    @property
    def pulls(self) -> int:
        """Number of pulls."""
        return sum(self.n)

    @property
    def degrees_of_freedom(self) -> int:
        """Pulls less one for each direction."""
        return self.pulls - len(self.n)

    @property
    def variance(self) -> float:
        """Variance of one pull about the mean of its direction; nan without a degree of freedom."""
        return self.squares / self.degrees_of_freedom if self.degrees_of_freedom > 0 else math.nan

    @property
    def share(self) -> float:
        """Variance of `mean` over that of one pull: the mean of the directions' 1/n, over their number."""
        return self.share_with(0)

    def share_with(self, further: int) -> float:
        """The same with `further` pulls spread evenly over the directions."""
        ways = len(self.n)
        return sum(1 / (count + further / ways) for count in self.n) / ways**2

    @classmethod
    def about_directions(cls, values: Floats, direction: np.ndarray) -> Spread:
        """Of values on any scale; each is taken about the mean of its own direction (a block).

        Parameters
        ----------
        values
            Shape (n,), at least one; mostly the logarithms of a figure.
        direction
            Shape (n,), the direction of each pull.

        Returns
        -------
        Spread
            `mean` on the scale of the values and `squares` on its square.
        """
        groups = [values[direction == way] for way in np.unique(direction)]
        means = [float(group.mean()) for group in groups]
        squares = sum(float(np.sum((group - mean) ** 2)) for group, mean in zip(groups, means, strict=True))
        return cls(tuple(group.size for group in groups), float(np.mean(means)), squares)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A difference with its standard error and degrees of freedom; on the logarithm or plain, as `method` says."""

    difference: float
    standard_error: float
    degrees_of_freedom: float
    method: Method

    def interval(self, confidence: float = CONFIDENCE) -> tuple[float, float]:
        """Ends of the t interval of the difference."""
        reach = float(t_quantile(0.5 + confidence / 2, min(self.degrees_of_freedom, INFINITE_DEGREES))) * self.standard_error
        return self.difference - reach, self.difference + reach

    @property
    def p(self) -> float:
        """Two-sided p against no difference."""
        if self.standard_error == 0:
            return 1.0 if self.difference == 0 else 0.0
        return 2 * float(t_probability(-abs(self.difference) / self.standard_error, self.degrees_of_freedom))

    @property
    def probability_below(self) -> float:
        """Probability of a difference below zero, under the t of the interval."""
        if self.standard_error == 0:
            return 0.5 if self.difference == 0 else float(self.difference < 0)
        return float(t_probability(-self.difference / self.standard_error, self.degrees_of_freedom))


def shared_ways(before: np.ndarray, after: np.ndarray) -> tuple[tuple[int, ...] | None, bool]:
    """Directions to compare in (None: all pulls as they are), and whether the sides differ in their directions.

    Parameters
    ----------
    before, after
        Directions of the pulls of each side, shapes (n,) and (m,).

    Returns
    -------
    ways : tuple of int or None
        The directions that both sides have, 1 before -1.
    differ : bool
        Whether one side has a direction that the other has not.

    Examples
    --------
    >>> shared_ways(np.array([1, 1]), np.array([1, -1])), shared_ways(np.array([1]), np.array([-1]))
    (((1,), True), (None, True))
    """
    first, second = set(before.tolist()), set(after.tolist())
    both = tuple(sorted(first & second, reverse=True))
    return (both or None), first != second


def difference_of(before: Spread, after: Spread, *, plain: bool = False, extra_variance: float = 0.0) -> Estimate | None:
    """The difference of two means: pooled t at equal numbers and scatters within `POOLED_BELOW_RATIO`, else Welch's.

    Parameters
    ----------
    before, after
        The sides, on the logarithm, or `plain` (then always Welch).
    plain
        Whether values are taken as they are, because zero has no logarithm.
    extra_variance
        Of the difference, known with infinite degrees of freedom (a certificate that differs).

    Returns
    -------
    Estimate or None
        After less before, on the scale of the sides; None where a side has no degree of freedom.

    Notes
    -----
    Welch, Biometrika 34 (1947) 28-35; with the extra variance by Welch-Satterthwaite (JCGM 100, G.4.1).
    """
    if before.degrees_of_freedom < 1 or after.degrees_of_freedom < 1:
        return None
    deviations = math.sqrt(before.variance), math.sqrt(after.variance)
    alike = max(deviations) < POOLED_BELOW_RATIO * min(deviations) or max(deviations) == 0
    if not plain and before.pulls == after.pulls and alike:
        degrees = float(before.degrees_of_freedom + after.degrees_of_freedom)
        variance = (before.squares + after.squares) / degrees * (before.share + after.share)
        method = Method.POOLED_T_LOG
    else:
        first, second = before.variance * before.share, after.variance * after.share
        variance = first + second
        parts = first**2 / before.degrees_of_freedom + second**2 / after.degrees_of_freedom
        degrees = variance**2 / parts if parts > 0 else float(before.degrees_of_freedom + after.degrees_of_freedom)
        method = Method.WELCH_T if plain else Method.WELCH_T_LOG
    if extra_variance > 0:
        degrees = degrees * ((variance + extra_variance) / variance) ** 2 if variance > 0 else INFINITE_DEGREES
    return Estimate(after.mean - before.mean, math.sqrt(variance + extra_variance), min(degrees, INFINITE_DEGREES), method)


def own_estimate(side: Spread) -> Estimate | None:
    """The mean of one side against zero, by its own t; None without a degree of freedom."""
    if side.degrees_of_freedom < 1:
        return None
    error = math.sqrt(side.variance * side.share)
    return Estimate(side.mean, error, float(side.degrees_of_freedom), Method.ONE_SIDE)


def further_pulls(before: Spread, after: Spread, threshold: float, *, plain: bool, extra_variance: float = 0.0) -> int | None:
    """The fewest further pulls on each side with which, at today's difference and scatter, the interval settles to a word.

    None where `MOST_FURTHER_PULLS` would not do. Holm's correction is left out.

    Parameters
    ----------
    before, after
        The sides as they are, on the logarithm, or on plain values with `plain`: ratios are then taken to the mean of `before`.
    threshold
        Relative change below which a figure counts as held.
    plain, extra_variance
        As for `difference_of`; further pulls do not make the extra variance smaller.

    Returns
    -------
    int or None
        Pulls to add on each side, at least 1.
    """
    for count in range(1, MOST_FURTHER_PULLS + 1):
        more = [_grown(side, count) for side in (before, after)]
        estimate = difference_of(more[0], more[1], plain=plain, extra_variance=extra_variance)
        if estimate is not None and _settles(estimate, before.mean if plain else None, threshold):
            return count
    return None


def further_pulls_of_one_side(side: Spread) -> int | None:
    """The same where the other side is all zero and stays so."""
    for count in range(1, MOST_FURTHER_PULLS + 1):
        estimate = own_estimate(_grown(side, count))
        if estimate is not None and estimate.p < SIGNIFICANT_P:
            return count
    return None


def _grown(side: Spread, further: int) -> Spread:
    """The side with `further` pulls of the same mean and scatter, spread over the directions as evenly as they go."""
    ways = len(side.n)
    numbers = list(side.n)
    for _ in range(further):
        numbers[numbers.index(min(numbers))] += 1
    variance = side.variance if side.degrees_of_freedom > 0 else math.nan
    return Spread(tuple(numbers), side.mean, variance * (sum(numbers) - ways))


def _settles(estimate: Estimate, plain_before: float | None, threshold: float) -> bool:
    low, high = estimate.interval()
    ratio_low, ratio_high = (
        (math.exp(low), math.exp(high)) if plain_before is None else (1 + low / plain_before, 1 + high / plain_before)
    )
    return holds(ratio_low, ratio_high, threshold) or low > 0 or high < 0


def holds(ratio_low: float, ratio_high: float, threshold: float) -> bool:
    """Whether a ratio's interval lies within 1/(1 + threshold) .. 1 + threshold.

    Parameters
    ----------
    ratio_low, ratio_high, threshold
        Ends of the interval of after over before, and the relative change, 0.05 for 5 %.

    Returns
    -------
    bool
        True where the whole interval lies within, ends included.
    """
    return 1 / (1 + threshold) <= ratio_low and ratio_high <= 1 + threshold


def conclude(
    ratio_low: float | None, ratio_high: float | None, difference: float, p_corrected: float, threshold: float
) -> Conclusion:
    """The word of a figure: `held` before `rose` and `fell`, which need a corrected p below 0.05.

    Parameters
    ----------
    ratio_low, ratio_high
        Ends of the 95 % interval of after over before, uncorrected; None where there is no ratio.
    difference, p_corrected
        After less before, of which only the sign counts; two-sided p against no difference, corrected for the number of figures.
    threshold
        Relative change below which a figure counts as held.

    Returns
    -------
    Conclusion
        `open` where neither is shown.
    """
    if ratio_low is not None and ratio_high is not None and holds(ratio_low, ratio_high, threshold):
        return Conclusion.HELD
    if p_corrected < SIGNIFICANT_P and difference != 0:
        return Conclusion.ROSE if difference > 0 else Conclusion.FELL
    return Conclusion.OPEN


def holm(p: Mapping[str, float]) -> dict[str, float]:
    """Holm's step-down correction: the chance to call any of them changed wrongly stays at the level (Scand. J. Stat. 6, 1979).

    >>> holm({"a": 0.01, "b": 0.04, "c": 0.03})
    {'a': 0.03, 'b': 0.06, 'c': 0.06}
    """
    corrected: dict[str, float] = {}
    highest = 0.0
    for rank, name in enumerate(sorted(p, key=lambda key: p[key])):
        highest = max(highest, min(1.0, p[name] * (len(p) - rank)))
        corrected[name] = highest
    return {name: corrected[name] for name in p}


def hedges_g(before: Spread, after: Spread) -> float | None:
    """Hedges' g: the difference over the pooled deviation, with the correction for few pulls (J. Educ. Stat. 6, 1981).

    Parameters
    ----------
    before, after
        The sides, both on the same scale.

    Returns
    -------
    float or None
        After less before in standard deviations of one pull; None with fewer than two degrees of freedom or without any scatter.
    """
    degrees = before.degrees_of_freedom + after.degrees_of_freedom
    if degrees < 2 or before.squares + after.squares == 0:
        return None
    few = 1 - 3 / (4 * degrees - 1)  # formula
    return few * (after.mean - before.mean) / math.sqrt((before.squares + after.squares) / degrees)


@dataclass(frozen=True, slots=True)
class Shift:
    """The Hodges-Lehmann shift with its exact interval."""

    value: float
    low: float
    high: float


def robust_shift(before: Sample, after: Sample) -> Shift | None:
    """The median of all differences between pulls of one direction, with the exact interval of the rank-sum test.

    None where the pulls are too few for an interval of 95 % to exist. With two directions the differences are those within
    each, and the null distribution is that of the sum of both rank sums.

    Parameters
    ----------
    before, after
        The sides, both on the same scale (the logarithm, where ratios are wanted).

    Returns
    -------
    Shift or None
        After less before on that scale.

    Notes
    -----
    Hodges & Lehmann, Ann. Math. Stat. 34 (1963) 598-611; interval after Lehmann, Nonparametrics (1975), 2.7.
    """
    differences: list[float] = []
    ways = [np.ones(1)]
    for way in np.unique(before.direction):
        first, second = before.values[before.direction == way], after.values[after.direction == way]
        if not first.size or not second.size:
            continue
        differences += [b - a for a, b in product(first.tolist(), second.tolist())]
        ways.append(rank_sum_distribution(first.size, second.size))
    if not differences:
        return None
    null = ways[0]
    for part in ways[1:]:
        null = np.convolve(null, part)
    below = np.cumsum(null)
    # The largest number of outer differences that may be cut off on either side.
    cut = int(np.searchsorted(below, (1 - CONFIDENCE) / 2, side="right"))
    if cut == 0:
        return None
    ordered = sorted(differences)
    return Shift(float(np.median(ordered)), ordered[cut - 1], ordered[-cut])


def rank_sum_distribution(n: int, m: int) -> Floats:
    """Probabilities of the rank-sum statistic U = 0 .. n m without a difference (Mann & Whitney, Ann. Math. Stat. 18, 1947).

    Parameters
    ----------
    n, m
        Number of pulls in either sample, at least 1.

    Returns
    -------
    ndarray, shape (n m + 1,)
        Probabilities that add up to 1, without ties.

    Examples
    --------
    >>> rank_sum_distribution(2, 2).round(4).tolist()
    [0.1667, 0.1667, 0.3333, 0.1667, 0.1667]
    """
    row = [np.ones(1)] * (m + 1)  # for each b: how often each value of U comes of a pulls against b; none at first
    for a in range(1, n + 1):
        before, row = row, [np.ones(1)]
        for b in range(1, m + 1):
            total = np.zeros(a * b + 1)
            total[b:] += before[b]  # the largest is of the first sample: it beats all b
            total[: a * (b - 1) + 1] += row[b - 1]
            row.append(total)
    return np.asarray(row[m] / row[m].sum(), dtype=np.float64)
