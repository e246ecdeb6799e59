"""The bench over the jobs: control charts of its scatter and of its levels, with the rules that say when something has moved."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final

from analysis.distributions import chi_square_quantile
from rig.book.knowledge import JobLevel, JobScatter, pool

LIMIT_SHARE: Final = 0.00135
"""Share beyond each control limit where nothing has changed: that of three standard deviations (ISO 7870-2; from memory)."""

RUN: Final = 8
"""So many in a row on one side of the centre are a shift (a further rule of ISO 7870-2, from memory; one in 128 by chance)."""

TREND: Final = 6
"""So many in a row, each above the one before (or each below), are a drift (the same source; one in 360 by chance)."""

LEAST_JOBS: Final = 5
"""With fewer levels the limits say nothing."""

MOVING_RANGE_LIMITS: Final = 2.66
"""Limits about the mean level in mean moving ranges: three standard deviations, 3 / 1.128 (ISO 7870-2; from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartPoint:
    """A job on the control chart: its scatter, the limits for its degrees of freedom, and the rules it breaks, by code.

    `beyond`: outside the limits; `run`: the last of `RUN` in a row on one side of the centre; `trend`: of `TREND` in a row that
    rise, or that fall.
    """

    job: str
    relative: float
    degrees_of_freedom: int
    low: float
    high: float
    rules: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """A control chart of the scatter, oldest job first. `centre` is the pooled scatter; None where nothing was repeated."""

    centre: float | None
    degrees_of_freedom: int
    points: tuple[ChartPoint, ...] = field(default=())


def chart(jobs: Sequence[JobScatter]) -> Chart:
    """The control chart of the jobs' scatter.

    Limits of a job are those of a standard deviation of its degrees of freedom about the pooled one (chi-square), so that three
    pulls are not held to what thirty should show.
    """
    pooled = pool(jobs)
    if pooled is None:
        return Chart(centre=None, degrees_of_freedom=0)
    points: list[ChartPoint] = []
    side, length = 0, 0
    for job in jobs:
        degrees = job.degrees_of_freedom
        low, middle, high = (pooled.relative * _quantile(degrees, share) for share in (LIMIT_SHARE, 0.5, 1 - LIMIT_SHARE))
        now = (job.relative > middle) - (job.relative < middle)
        length = length + 1 if now == side and now != 0 else 1
        side = now
        rules = (*(("beyond",) if not low <= job.relative <= high else ()), *(("run",) if length >= RUN else ()))
        rules += ("trend",) if _steady([one.relative for one in jobs[: len(points) + 1]]) else ()
        point = ChartPoint(job=job.job, relative=job.relative, degrees_of_freedom=degrees, low=low, high=high, rules=rules)
        points.append(point)
    return Chart(centre=pooled.relative, degrees_of_freedom=int(pooled.degrees_of_freedom), points=tuple(points))


def _quantile(degrees: int, share: float) -> float:
    """Of a standard deviation of so many degrees of freedom, over the true one: below it lies that share (chi-square)."""
    return math.sqrt(float(chi_square_quantile(share, float(degrees))) / degrees)


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelPoint:
    """A job's level on the chart, over how many readings, and the rules it breaks."""

    job: str
    value: float
    n: int
    rules: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelChart:
    """A control chart of single values, oldest job first; centre and limits None where there are too few."""

    centre: float | None
    low: float | None
    high: float | None
    points: tuple[LevelPoint, ...] = field(default=())


def level_chart(levels: Sequence[JobLevel]) -> LevelChart:
    """The control chart of single values: centre their mean, limits by the mean moving range."""
    if len(levels) < LEAST_JOBS:
        points = tuple(LevelPoint(job=one.job, value=one.value, n=one.n) for one in levels)
        return LevelChart(centre=None, low=None, high=None, points=points)
    values = [one.value for one in levels]
    centre = sum(values) / len(values)
    reach = MOVING_RANGE_LIMITS * sum(abs(b - a) for a, b in pairwise(values)) / (len(values) - 1)
    sides = [math.copysign(1.0, value - centre) if value != centre else 0.0 for value in values]
    points = tuple(
        LevelPoint(
            job=one.job,
            value=one.value,
            n=one.n,
            rules=(
                *(("beyond",) if abs(one.value - centre) > reach else ()),
                *(("run",) if at + 1 >= RUN and sides[at] and len(set(sides[at + 1 - RUN : at + 1])) == 1 else ()),
                *(("trend",) if _steady(values[: at + 1]) else ()),
            ),
        )
        for at, one in enumerate(levels)
    )
    return LevelChart(centre=centre, low=centre - reach, high=centre + reach, points=points)


def _steady(values: Sequence[float]) -> bool:
    """Whether the last `TREND` values each rise, or each fall."""
    last = values[-TREND:]
    steps = [b - a for a, b in pairwise(last)]
    return len(last) == TREND and (all(step > 0 for step in steps) or all(step < 0 for step in steps))
