"""What the book knows of the bench beyond one job: its scatter from pull to pull, and whether that moves over the jobs."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final

import sqlalchemy as sa
from scipy.special import chdtri

from analysis.verdict.apart import Scatter
from analysis.window import Basis
from rig.book import schema
from rig.book.book import Book
from rig.book.index import rows_of
from rig.book.record import JobRecord

NEWEST_JOBS: Final = 200
"""How far back the history reaches: what the bench scatters now counts, and a look at it stays quick."""

LEAST_DEGREES: Final = 4
"""Degrees of freedom from which the history says more than the usual 4 % with 4 (contract CONTRACT.md 3)."""

LIMIT_SHARE: Final = 0.00135
"""Share beyond each control limit where nothing has changed: that of three standard deviations (ISO 7870-2; from memory)."""

RUN: Final = 8
"""So many in a row on one side of the centre are a shift (a further rule of ISO 7870-2, from memory; one in 128 by chance)."""

_ALIKE: Final = ("job", "phase", "arrangement", "closure", "lubricant", "additive", "plates", "plate_state", "direction")
"""Pulls with these in common are repeats of one state, one way round."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JobScatter:
    """What a job's repeats scatter: relative standard deviation within states and directions, and its degrees of freedom."""

    job: str
    relative: float
    degrees_of_freedom: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartPoint:
    """A job on the control chart: its scatter, the limits for its degrees of freedom, and the rules it breaks, by code.

    `beyond`: outside the limits; `run`: the last of `RUN` in a row on one side of the centre.
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


def known_scatter(book: Book, record: JobRecord, basis: Basis, otherwise: Scatter) -> Scatter:
    """The scatter from pull to pull that is known of the bench before a job: the book's, else `otherwise`.

    The history is that of the job's own sensor; the job itself does not count, for its own scatter is pooled with what is known.
    """
    sensors = {row["sensor"] for row in rows_of(record)["pulls"].values()}
    pooled = pool(scatters(book, basis, without=record.job, sensors=sensors))
    return otherwise if pooled is None or pooled.degrees_of_freedom < LEAST_DEGREES else pooled


def scatters(book: Book, basis: Basis, *, without: str | None = None, sensors: Iterable[str | None] = ()) -> list[JobScatter]:
    """What the newest jobs scatter, oldest first; only by these sensors, where any is named."""
    pulls, jobs = schema.pulls, schema.jobs
    value = pulls.c.breakaway_nm if basis is Basis.BREAKAWAY else pulls.c.sliding_nm
    newest = sa.select(jobs.c.job).order_by(jobs.c.year.desc(), jobs.c.counter.desc()).limit(NEWEST_JOBS)
    if without is not None:
        newest = newest.where(jobs.c.job != without)
    mean = sa.func.avg(value)
    squares = sa.func.sum(value * value) - sa.func.count() * mean * mean
    query = (
        sa.select(pulls.c.job, sa.func.count().label("n"), mean.label("mean"), squares.label("squares"))
        .where(pulls.c.votes, value > 0, pulls.c.direction.is_not(None), pulls.c.job.in_(newest.scalar_subquery()))
        .group_by(*(pulls.c[name] for name in _ALIKE))
        .having(sa.func.count() > 1)
    )
    named = [sensor for sensor in sensors if sensor is not None]
    if named:
        query = query.where(pulls.c.sensor.in_(named))
    sums: dict[str, tuple[float, int]] = {}
    with book.reading() as connection:
        for row in connection.execute(query):
            squares_so_far, degrees = sums.get(row.job, (0.0, 0))
            sums[row.job] = (squares_so_far + max(0.0, float(row.squares)) / float(row.mean) ** 2, degrees + row.n - 1)
    order = sorted(sums, key=lambda job: tuple(map(int, job.split("-"))))
    return [JobScatter(job=job, relative=math.sqrt(sums[job][0] / sums[job][1]), degrees_of_freedom=sums[job][1]) for job in order]


def pool(jobs: Sequence[JobScatter]) -> Scatter | None:
    """The scatter of all of them (variances by their degrees of freedom, JCGM 100, 4.2.4); None where nothing was repeated.

    >>> pool([JobScatter(job="a", relative=0.03, degrees_of_freedom=4), JobScatter(job="b", relative=0.04, degrees_of_freedom=4)])
    Scatter(relative=0.035355339059327376, degrees_of_freedom=8.0)
    """
    degrees = sum(job.degrees_of_freedom for job in jobs)
    if degrees == 0:
        return None
    return Scatter(math.sqrt(sum(job.degrees_of_freedom * job.relative**2 for job in jobs) / degrees), float(degrees))


def chart(jobs: Sequence[JobScatter]) -> Chart:
    """The control chart of the jobs' scatter.

    Limits of a job are those of a standard deviation of its degrees of freedom about the pooled one (chi-square), so that three
    pulls are not held to what thirty should show.
    """
    pooled = pool(jobs)
    if pooled is None:
        return Chart(centre=None, degrees_of_freedom=0)
    points = []
    side, length = 0, 0
    for job in jobs:
        degrees = job.degrees_of_freedom
        low, middle, high = (pooled.relative * _quantile(degrees, share) for share in (LIMIT_SHARE, 0.5, 1 - LIMIT_SHARE))
        now = (job.relative > middle) - (job.relative < middle)
        length = length + 1 if now == side and now != 0 else 1
        side = now
        rules = (*(("beyond",) if not low <= job.relative <= high else ()), *(("run",) if length >= RUN else ()))
        point = ChartPoint(job=job.job, relative=job.relative, degrees_of_freedom=degrees, low=low, high=high, rules=rules)
        points.append(point)
    return Chart(centre=pooled.relative, degrees_of_freedom=int(pooled.degrees_of_freedom), points=tuple(points))


def _quantile(degrees: int, share: float) -> float:
    """Of a standard deviation of so many degrees of freedom, over the true one: below it lies that share (chi-square)."""
    return math.sqrt(float(chdtri(degrees, 1 - share)) / degrees)  # chdtri takes the share above
