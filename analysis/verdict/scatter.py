"""Scatter from pull to pull: what is known of it before a series, pooled with what the series itself shows.

Source: JCGM 100:2008, 4.2.4 (a pooled experimental standard deviation of well-characterised repeats); F test of two variances: any
textbook of statistics.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.distributions import f_quantile
from analysis.judgement import ScatterUsed
from analysis.verdict.apart import Scatter

USUAL_SCATTER = Scatter(0.04, 4.0)
"""Where nothing is known of the bench: 4 % of the reading, as well as five pulls would tell it (contract, section 3; the trade's
4 to 10 %, TRADE.md 12, is common practice without a source)."""

NO_SCATTER = Scatter(0.0, math.inf)
"""A verdict on these pulls alone: their mean, not that of many more."""

TEST_LEVEL = 0.95
"""Of the F test: a series that scatters no more than was known is taken for one that does in one case of twenty."""

TESTED_FROM = 2
"""Own degrees of freedom from which on the test is made: two pulls alone tell so little that the answer would jump."""


@dataclass(frozen=True, slots=True)
class OwnScatter:
    """Relative squares of deviations about the means of the directions, and their degrees of freedom."""

    squares: float = 0.0
    degrees_of_freedom: int = 0

    @classmethod
    def of(cls, directions: Iterable[Sequence[float]]) -> OwnScatter:
        """From values, those of each direction by themselves.

        >>> OwnScatter.of([[49.0, 51.0], [40.0]])
        OwnScatter(squares=0.0008, degrees_of_freedom=1)
        """
        squares, degrees = 0.0, 0
        for values in directions:
            if len(values) > 1 and (mean := float(np.mean(values))) != 0:
                squares += float(np.sum(((np.asarray(values) - mean) / mean) ** 2))
                degrees += len(values) - 1
        return cls(squares, degrees)


def pool(own: OwnScatter, known: Scatter = USUAL_SCATTER) -> ScatterUsed:
    """The scatter to count with.

    The variances are pooled by their degrees of freedom (JCGM 100, 4.2.4 and H.3.6), unless the series' own is larger than the
    known one by an F test: then it stands alone.

    Parameters
    ----------
    own
        What the series shows of its own scatter; nothing for single pulls.
    known
        What was known before; relative 0: no scatter is counted with.

    Returns
    -------
    ScatterUsed
        Relative standard deviation as a share of the reading, its degrees of freedom, and both that it comes from.

    Examples
    --------
    >>> used = pool(OwnScatter(squares=2 * 0.03**2, degrees_of_freedom=2))
    >>> round(100 * used.relative, 2), used.degrees_of_freedom, used.pooled
    (3.7, 6.0, True)
    """
    own_relative = math.sqrt(own.squares / own.degrees_of_freedom) if own.degrees_of_freedom else None
    if known.relative == 0:
        return ScatterUsed(0.0, None, 0.0, None, own_relative, own.degrees_of_freedom)
    known_degrees = known.degrees_of_freedom
    if own_relative is not None and scatters_more(own_relative, own.degrees_of_freedom, known):
        return ScatterUsed(
            own_relative, own.degrees_of_freedom, known.relative, known_degrees, own_relative, own.degrees_of_freedom, pooled=False
        )
    degrees = known_degrees + own.degrees_of_freedom
    pooled = math.sqrt((known_degrees * known.relative**2 + own.squares) / degrees)
    return ScatterUsed(pooled, degrees, known.relative, known_degrees, own_relative, own.degrees_of_freedom)


def scatters_more(own_relative: float, own_degrees: int, known: Scatter) -> bool:
    """Whether a series scatters more than was known: F test of the two variances, one-sided, at `TEST_LEVEL`.

    Parameters
    ----------
    own_relative
        Relative standard deviation that the series shows, as a share of the reading.
    own_degrees
        Its degrees of freedom; below `TESTED_FROM` the answer is always no.
    known
        What was known before; relative 0 is not tested against.

    Returns
    -------
    bool
        True where the ratio of the variances exceeds the quantile of F.
    """
    if own_degrees < TESTED_FROM or known.relative == 0:
        return False
    return (own_relative / known.relative) ** 2 > f_quantile(TEST_LEVEL, float(own_degrees), known.degrees_of_freedom)
