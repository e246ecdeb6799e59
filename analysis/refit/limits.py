"""What the parts of a refit share: limits, the mean of a few readings, guarded states and findings.

The rule for the mean is the contract's (`refit`): the scatter of the readings averages, the instrument's own error does not.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

COVERAGE_FACTOR = 2.0
"""k of every expanded uncertainty of a refit: about 95 % of a normal distribution (JCGM 100, 6.3.3)."""

ROUNDING = 1e-9
"""In mm, N.m or litres: what the conversion of units may leave; far below any reading, so that exactly the limit is not over it."""


class State(StrEnum):
    """How a figure of a refit stands."""

    IN_WINDOW = "in_window"
    BELOW = "below"
    ABOVE = "above"
    UNDECIDED = "undecided"
    NO_CHOICE = "no_choice"
    NO_READING = "no_reading"
    SENSOR_TOO_LARGE = "sensor_too_large"
    IN_TOLERANCE = "in_tolerance"
    NOT_RECORDED = "not_recorded"
    ANGLE_BELOW = "angle_below"
    ANGLE_ABOVE = "angle_above"


class FindingCode(StrEnum):
    """What is to be said of the readings themselves."""

    IMPLAUSIBLE = "implausible"
    NOT_SEATED = "not_seated"
    NOT_SQUARE = "not_square"
    SHORT_TRACE = "short_trace"
    TOO_FEW_POINTS = "too_few_points"
    SINGLE_USE_REUSED = "single_use_reused"
    FILLED_LESS_THAN_DRAINED = "filled_less_than_drained"


STOPS = frozenset({FindingCode.IMPLAUSIBLE, FindingCode.SINGLE_USE_REUSED})
"""Findings that forbid a judgement of the part; the others are warnings."""


@dataclass(frozen=True, slots=True)
class Finding:
    """A finding and the figures behind it; `of` names the reading, in the words of the sheet."""

    code: FindingCode
    of: str = ""
    value: float | None = None
    limit: float | None = None

    @property
    def stops(self) -> bool:
        """Whether the part cannot be judged."""
        return self.code in STOPS


@dataclass(frozen=True, slots=True)
class Limits:
    """A window of the maker's page; None: no limit on that side. The ends belong to it. Raises ValueError where there is none.

    >>> Limits(0.15, 0.21).holds(0.21)
    True
    """

    low: float | None
    high: float | None

    def __post_init__(self) -> None:
        if self.low is None and self.high is None:
            raise ValueError("a window needs at least one limit")
        if self.low is not None and self.high is not None and self.low > self.high:
            raise ValueError("the lower limit is above the upper one")

    @property
    def middle(self) -> float | None:
        """Half way between the limits; None where one is missing."""
        return None if self.low is None or self.high is None else (self.low + self.high) / 2

    @property
    def width(self) -> float | None:
        """Distance of the limits; None where one is missing."""
        return None if self.low is None or self.high is None else self.high - self.low

    def state(self, value: float, guard: float = 0.0) -> State:
        """Guarded acceptance: undecided where a limit lies within the guard; never without a guard.

        Parameters
        ----------
        value
            In the unit of the limits.
        guard
            Guard band on either side of each limit, in the same unit, not negative: mostly the expanded uncertainty.

        Returns
        -------
        State
            `in_window`, `below`, `above` or `undecided`.

        Notes
        -----
        JCGM 106:2012, 8.3.

        Examples
        --------
        >>> window = Limits(0.15, 0.21)
        >>> [str(window.state(value, 0.01)) for value in (0.13, 0.155, 0.18)]
        ['below', 'undecided', 'in_window']
        """
        if self.low is not None and value < self.low - guard - ROUNDING:
            return State.BELOW
        if self.high is not None and value > self.high + guard + ROUNDING:
            return State.ABOVE
        above_low = self.low is None or value >= self.low + guard - ROUNDING
        below_high = self.high is None or value <= self.high - guard + ROUNDING
        return State.IN_WINDOW if above_low and below_high else State.UNDECIDED

    def holds(self, value: float) -> bool:
        """Whether the value lies within, without a guard."""
        return self.state(value) is State.IN_WINDOW

    def probability(self, value: float, u: float) -> float:
        """Conformance probability of a normal measurand.

        Parameters
        ----------
        value, u
            Best value and its standard uncertainty, in the unit of the limits; with `u` not above 0 the value is exact.

        Returns
        -------
        float
            Probability that the measurand lies within the limits, 0 to 1.

        Notes
        -----
        JCGM 106:2012, 7.2.
        """
        if u <= 0:
            return float(self.holds(value))
        normal = statistics.NormalDist(value, u)
        below_high = 1.0 if self.high is None else normal.cdf(self.high)
        return max(0.0, below_high - (0.0 if self.low is None else normal.cdf(self.low)))


@dataclass(frozen=True, slots=True)
class Mean:
    """Mean of some readings and its standard uncertainty."""

    value: float
    u: float

    @property
    def expanded_u(self) -> float:
        """Expanded uncertainty, k = 2."""
        return COVERAGE_FACTOR * self.u


def mean_of(readings: Sequence[float], u: float) -> Mean:
    """Mean of some readings by one instrument, with its standard uncertainty.

    Parameters
    ----------
    readings
        At least one, in any unit.
    u
        Standard uncertainty of the instrument in that unit.

    Returns
    -------
    Mean
        In the same unit.

    Raises
    ------
    ValueError
        Without a reading.

    Notes
    -----
    Of several the larger of `u` and their standard deviation averages, and `u` counts once more: the instrument's own error is
    the same in each. A single reading has `u` alone.

    Examples
    --------
    >>> four = mean_of([0.11, 0.13, 0.12, 0.12], 0.006)
    >>> f"{four.value:.2f} {four.u:.4f}"
    '0.12 0.0073'
    """
    if not readings:
        raise ValueError("there is no reading")
    value = math.fsum(readings) / len(readings)
    if len(readings) == 1:
        return Mean(value, u)
    scatter = max(u, statistics.stdev(readings))
    return Mean(value, math.hypot(scatter / math.sqrt(len(readings)), u))


def variation_state(variation: float, limit: float, expanded_u: float) -> State:
    """Guarded state of a variation against its upper limit: in window, above or undecided.

    Parameters
    ----------
    variation, limit
        In the same unit, not negative.
    expanded_u
        Expanded uncertainty of the variation, in that unit.

    Returns
    -------
    State
        `in_window`, `above` or `undecided`.
    """
    return Limits(None, limit).state(variation, expanded_u)
