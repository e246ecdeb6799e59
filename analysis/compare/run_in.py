"""Whether a side is still running in: the trend of its sliding torque from pull to pull."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.compare.effects import CONFIDENCE, INFINITE_DEGREES
from analysis.distributions import t_quantile
from analysis.trace import Floats

LEAST_FOR_A_LINE = 3  # through two pulls any line goes
LEAST_PULLS = 5  # contract: with fewer a trend says nothing
WINDOW_PULLS = 5  # the change that counts is that over the last pulls, at least so many ...
WINDOW_SHARE = 0.5  # ... and this share of all
SETTLED_CONFIDENCE = 0.90  # two one-sided tests of 5 % each: that the change is small must be shown, not failed to be denied
SETTLED_THRESHOLDS = 2.0  # the change may be up to so many thresholds either way
TOO_FEW = "too_few"


@dataclass(frozen=True, slots=True)
class Trend:
    """A straight line through log values over the order of pulling, each direction with a level of its own.

    slope        change of the logarithm a pull
    slope_share  variance of the slope over that of one pull
    at_last      the line's value at the last pull, mean of the directions
    last_share   variance of `at_last` over that of one pull
    squares      sum of squares of what is left
    """

    slope: float
    slope_share: float
    at_last: float
    last_share: float
    squares: float
    degrees_of_freedom: int

    def interval(self, confidence: float) -> tuple[float, float]:
        """Ends of the t interval of the slope."""
        error = math.sqrt(self.squares / self.degrees_of_freedom * self.slope_share)
        reach = float(t_quantile(0.5 + confidence / 2, self.degrees_of_freedom)) * error
        return self.slope - reach, self.slope + reach


@dataclass(frozen=True, slots=True)
class RunIn:
    """Run-in of one side: the trend in percent a pull with its 95 % interval, whether it has settled (None: open), why not."""

    pulls: int
    trend_percent: float | None = None
    low_percent: float | None = None
    high_percent: float | None = None
    settled: bool | None = None
    why_not: str | None = None


def trend_of(logs: Floats, direction: np.ndarray, order: Floats) -> Trend | None:
    """The trend of log values over `order` (the pulls' places in the series); None without a degree of freedom.

    Parameters
    ----------
    logs
        Natural logarithms of a figure, shape (n,).
    direction
        Direction of each pull, shape (n,); each direction has a level of its own.
    order
        Place of each pull in the series, shape (n,), in pulls.

    Returns
    -------
    Trend or None
        None also with fewer than `LEAST_FOR_A_LINE` pulls, or where all stand at one place.
    """
    if logs.size < LEAST_FOR_A_LINE:
        return None
    ways = np.unique(direction)
    columns = np.column_stack([*((direction == way).astype(float) for way in ways), order - order.mean()])
    degrees = logs.size - columns.shape[1]
    if degrees < 1 or np.ptp(order) == 0:
        return None
    found, _, rank, _ = np.linalg.lstsq(columns, logs, rcond=None)
    if rank < columns.shape[1]:
        return None
    residual = logs - columns @ found
    shares = np.linalg.inv(columns.T @ columns)
    last = np.append(np.full(ways.size, 1 / ways.size), order.max() - order.mean())
    return Trend(
        slope=float(found[-1]),
        slope_share=float(shares[-1, -1]),
        at_last=float(last @ found),
        last_share=float(last @ shares @ last),
        squares=float(residual @ residual),
        degrees_of_freedom=degrees,
    )


def run_in_of(logs: Floats, direction: np.ndarray, order: Floats, threshold: float) -> RunIn:
    """Run-in from the logarithms of sliding of the counted pulls in the order of pulling.

    Not settled where the trend's 95 % interval excludes 0; settled where the 90 % interval of the change over the last pulls lies
    within twice the threshold; else open.

    Parameters
    ----------
    logs
        Natural logarithms of the sliding torque, shape (n,).
    direction, order
        Direction and place of each pull, shape (n,).
    threshold
        Relative change below which a figure counts as held.

    Returns
    -------
    RunIn
        The trend in percent a pull; `why_not` instead where there are fewer than `LEAST_PULLS` or no trend can be fitted.
    """
    trend = trend_of(logs, direction, order)
    if logs.size < LEAST_PULLS or trend is None:
        return RunIn(int(logs.size), why_not=TOO_FEW)
    low, high = trend.interval(CONFIDENCE)
    span = max(float(WINDOW_PULLS), WINDOW_SHARE * logs.size) - 1
    narrow_low, narrow_high = (end * span for end in trend.interval(SETTLED_CONFIDENCE))
    reach = math.log1p(SETTLED_THRESHOLDS * threshold)
    settled = False if low > 0 or high < 0 else True if -reach <= narrow_low and narrow_high <= reach else None
    return RunIn(
        pulls=int(logs.size),
        trend_percent=100 * math.expm1(trend.slope),
        low_percent=100 * math.expm1(low),
        high_percent=100 * math.expm1(high),
        settled=settled,
    )


@dataclass(frozen=True, slots=True)
class AtLastPull:
    """The ratio of both sides' levels at their last pulls, with its interval."""

    ratio: float
    low: float
    high: float


def at_last_pull(before: Trend, after: Trend, extra_variance: float = 0.0) -> AtLastPull:
    """After over before at the last pulls, from an own trend on each side and their pooled scatter.

    Parameters
    ----------
    before, after
        Trends of the logarithms of one figure.
    extra_variance
        Of the difference, known with infinite degrees of freedom.

    Returns
    -------
    AtLastPull
        Ratio with its 95 % interval.

    Notes
    -----
    The extra variance enters by Welch-Satterthwaite (JCGM 100, G.4.1).
    """
    degrees = float(before.degrees_of_freedom + after.degrees_of_freedom)
    difference = after.at_last - before.at_last
    variance = (before.squares + after.squares) / degrees * (before.last_share + after.last_share)
    if extra_variance > 0:
        degrees = degrees * ((variance + extra_variance) / variance) ** 2 if variance > 0 else INFINITE_DEGREES
    reach = float(t_quantile(0.5 + CONFIDENCE / 2, min(degrees, INFINITE_DEGREES))) * math.sqrt(variance + extra_variance)
    return AtLastPull(math.exp(difference), math.exp(difference - reach), math.exp(difference + reach))
