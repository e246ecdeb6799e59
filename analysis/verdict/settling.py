"""What would settle a verdict that is not decided: how many more pulls, or why no number of pulls would do.

Foretold from what the series says so far. Given a scatter sigma the unit's mean is normal about the mean m of n pulls, and the mean
after N more is normal about m with the variance sigma^2 N / (n (n + N)); sigma^2 itself is nu s^2 over a chi-squared of nu
degrees of freedom (the posterior that goes with the t of the verdict; JCGM 101:2008, 6.4.9). Advice is given where the verdict
would then be decided, either way, with `SURE` probability.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.distributions import chi_square_quantile, f_quantile, normal_probability, t_quantile
from analysis.judgement import DirectionMean, ScatterUsed
from analysis.trace import Floats
from analysis.verdict.scatter import TEST_LEVEL, TESTED_FROM
from analysis.verdict.uncertainty import CONFIDENCE, student
from analysis.window import Window

MOST_PULLS = 20
"""Nobody pulls a unit more often than that to decide (contract, section 3)."""

SURE = 0.90
"""Probability from which on a number is foretold: four in five must come true, also on a bench that scatters twice as much."""

SURE_WITHOUT_OWN = 0.93
"""The same where the pulls so far say nothing of their scatter: what was known of the bench may be half of it."""

_NODES = (np.arange(40) + 0.5) / 40
"""Probabilities at which the distribution of the scatter is taken, evenly: 40 give the result to a hundredth."""


@dataclass(frozen=True, slots=True)
class Outlook:
    """Whether more pulls would settle it.

    pulls        the fewest that would, shared by the directions; None: up to `MOST_PULLS` would not
    by_sensor    with None: what all pulls share (sensor, zero) alone reaches across a limit, and without it they would
    on_limit     with None: a unit in the middle of this window would be decided, so it is the place and not the window
    """

    pulls: int | None
    by_sensor: bool = False
    on_limit: bool = False


def outlook(ways: Sequence[DirectionMean], scatter: ScatterUsed, window: Window, shared_u_nm: Sequence[float]) -> Outlook:
    """How many more pulls would settle it; `shared_u_nm` is what all pulls share, for each of the `ways`.

    Parameters
    ----------
    ways
        Mean of each direction that was pulled, N.m.
    scatter
        From pull to pull, as a share of the reading.
    window
        Limits in N.m.
    shared_u_nm
        Standard uncertainty of each direction's mean that further pulls do not lessen, N.m; as many as `ways`.

    Returns
    -------
    Outlook
        How many more pulls in all would settle it, or why none would.
    """
    if scatter.relative == 0 or scatter.degrees_of_freedom is None:
        return Outlook(None, by_sensor=True)
    each = np.arange(1, MOST_PULLS // len(ways) + 1)
    wanted = SURE if scatter.own_degrees_of_freedom else SURE_WITHOUT_OWN
    enough = np.flatnonzero(chance_decided(ways, scatter, window, shared_u_nm, each) >= wanted)
    if enough.size:
        return Outlook(int(each[enough[0]]) * len(ways))
    limits = [limit for limit in (window.low_nm, window.high_nm) if limit is not None]
    reaches = any(
        student(None) * shared >= min(abs(way.mean_nm - limit) for limit in limits)
        for way, shared in zip(ways, shared_u_nm, strict=True)
    )
    by_sensor = reaches and bool((chance_decided(ways, scatter, window, [0.0] * len(ways), each) >= SURE).any())
    return Outlook(None, by_sensor=by_sensor, on_limit=_has_room(ways, scatter, window, shared_u_nm))


def chance_decided(
    ways: Sequence[DirectionMean], scatter: ScatterUsed, window: Window, shared_u_nm: Sequence[float], each: np.ndarray
) -> Floats:
    """Probability that the series is decided, either way, after so many more pulls each: (k,) numbers to (k,).

    Parameters
    ----------
    ways
        Mean of each direction that was pulled, N.m.
    scatter
        From pull to pull, as a share of the reading; its degrees of freedom must be known.
    window
        Limits in N.m.
    shared_u_nm
        Standard uncertainty of each direction's mean that further pulls do not lessen, N.m; as many as `ways`.
    each
        (k,) numbers of further pulls in each direction, 1 and more.

    Returns
    -------
    array
        (k,) between 0 and 1.

    Notes
    -----
    All directions in, or one out, decides. The distribution of the scatter is taken at `_NODES`; the directions are taken as
    independent given the scatter. The law is in the head of this module.
    """
    degrees = scatter.degrees_of_freedom
    assert degrees is not None
    sigma = scatter.relative * np.sqrt(degrees / chi_square_quantile(1 - _NODES, degrees))[:, None]
    after = _scatter_after(scatter, sigma, each * len(ways))
    all_in = np.ones((_NODES.size, each.size))
    none_out = np.ones_like(all_in)
    low, high = window.low_nm, window.high_nm
    for way, shared in zip(ways, shared_u_nm, strict=True):
        spread = sigma * way.mean_nm * np.sqrt(each / (way.n * (way.n + each)))
        guard = np.hypot(after * way.mean_nm / np.sqrt(way.n + each), student(None) * shared)
        below = 0.0 if low is None else normal_probability((low - guard - way.mean_nm) / spread)
        above = 0.0 if high is None else normal_probability((way.mean_nm - high - guard) / spread)
        up_to_low = 0.0 if low is None else normal_probability((low + guard - way.mean_nm) / spread)
        up_to_high = 1.0 if high is None else normal_probability((high - guard - way.mean_nm) / spread)
        all_in *= np.maximum(0.0, up_to_high - up_to_low)
        none_out *= np.maximum(0.0, 1 - below - above)
    # Decided is a series with all its directions in, or with one of them out.
    decided = all_in + 1 - none_out
    return np.asarray(decided.mean(axis=0), dtype=np.float64)


def _scatter_after(scatter: ScatterUsed, sigma: Floats, more: np.ndarray) -> Floats:
    """T times the scatter that will be counted with after so many more pulls, at its most likely; as a share of the reading."""
    own_degrees = scatter.own_degrees_of_freedom + more
    own = (scatter.own_degrees_of_freedom * (scatter.own_relative or 0.0) ** 2 + more * sigma**2) / own_degrees
    known_degrees = scatter.known_degrees_of_freedom or 0.0
    degrees = known_degrees + own_degrees
    pooled = (known_degrees * scatter.known_relative**2 + own_degrees * own) / degrees
    alone = (own_degrees >= TESTED_FROM) & (own > scatter.known_relative**2 * f_quantile(TEST_LEVEL, own_degrees, known_degrees))
    tail = 0.5 + CONFIDENCE / 2
    after = np.where(alone, t_quantile(tail, own_degrees) * np.sqrt(own), t_quantile(tail, degrees) * np.sqrt(pooled))
    return np.asarray(after, dtype=np.float64)


def _has_room(ways: Sequence[DirectionMean], scatter: ScatterUsed, window: Window, shared_u_nm: Sequence[float]) -> bool:
    """Whether the window is wider than the expanded uncertainty that the most pulls would reach, on both sides of its middle."""
    if window.low_nm is None or window.high_nm is None:
        return True
    for way, shared in zip(ways, shared_u_nm, strict=True):
        n = way.n + MOST_PULLS // len(ways)
        reach = math.hypot(
            student(scatter.degrees_of_freedom) * scatter.relative * way.mean_nm / math.sqrt(n), student(None) * shared
        )
        if window.high_nm - window.low_nm <= 2 * reach:
            return False
    return True
