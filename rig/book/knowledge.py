"""What the book knows beyond one job: scatter of the bench, friction by oil, what shims did, zero and directions of the sensor."""

from __future__ import annotations

import itertools
import json
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import sqlalchemy as sa

from analysis.pack.shop import FrictionSeen, SensitivitySeen, ShopHistory, sensitivity
from analysis.verdict.apart import Scatter
from analysis.verdict.scatter import USUAL_SCATTER
from analysis.window import Basis
from rig.book import schema
from rig.book.book import Book
from rig.book.events import Kind
from rig.book.fitted import fitted, shims_mm
from rig.book.index import number_parts, rows_of
from rig.book.judging import folded, folded_additive
from rig.book.record import JobRecord

NEWEST_JOBS: Final = 200
"""How far back the history reaches: what the bench scatters now counts, and a look at it stays quick."""

LEAST_DEGREES: Final = 4
"""Degrees of freedom from which the history says more than the usual 4 % with 4 (contract CONTRACT.md 3)."""

_ALIKE: Final = ("job", "phase", "arrangement", "closure", "lubricant", "additive", "plates", "plate_state", "direction")
"""Pulls with these in common are repeats of one state, one way round."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JobScatter:
    """What a job's repeats scatter: relative standard deviation within states and directions, and its degrees of freedom."""

    job: str
    relative: float
    degrees_of_freedom: int


def known_scatter(book: Book, record: JobRecord, basis: Basis, otherwise: Scatter) -> Scatter:
    """The scatter from pull to pull that is known of the bench before a job: the book's, else `otherwise`.

    The history is that of the job's own sensor; the job itself does not count, for its own scatter is pooled with what is known.
    """
    sensors = {row["sensor"] for row in rows_of(record)["pulls"].values()}
    pooled = pool(scatters(book, basis, without=record.job, sensors=sensors))
    return otherwise if pooled is None or pooled.degrees_of_freedom < LEAST_DEGREES else pooled


def scatters(book: Book, basis: Basis, *, without: str | None = None, sensors: Iterable[str | None] = ()) -> list[JobScatter]:
    """What the newest jobs scatter, oldest first; only by these sensors, where any is named."""
    pulls = schema.pulls
    value = pulls.c.breakaway_nm if basis is Basis.BREAKAWAY else pulls.c.sliding_nm
    newest = _newest(without)
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
    return [
        JobScatter(job=job, relative=math.sqrt(sums[job][0] / sums[job][1]), degrees_of_freedom=sums[job][1])
        for job in sorted(sums, key=number_parts)
    ]


def pool(jobs: Sequence[JobScatter]) -> Scatter | None:
    """The scatter of all of them (variances by their degrees of freedom, JCGM 100, 4.2.4); None where nothing was repeated.

    >>> pool([JobScatter(job="a", relative=0.03, degrees_of_freedom=4), JobScatter(job="b", relative=0.04, degrees_of_freedom=4)])
    Scatter(relative=0.035355339059327376, degrees_of_freedom=8.0)
    """
    degrees = sum(job.degrees_of_freedom for job in jobs)
    if degrees == 0:
        return None
    return Scatter(math.sqrt(sum(job.degrees_of_freedom * job.relative**2 for job in jobs) / degrees), float(degrees))


# -- friction by oil, what shims did ---------------------------------------------------------------------------------------------


def shop_history(book: Book, *, without: str | None = None) -> ShopHistory:
    """What the newest jobs told of friction by oil and of what a change of shims does; `without` leaves a job out.

    Friction: the answer that each job's last pack sheet was given when it was entered. Sensitivity: pulls of one oil, arrangement
    and closure before and after a pack sheet that changed nothing but shims. Scatter: from pull to pull within an assembly, and
    of the mean between pack sheets that changed nothing.
    """
    with book.reading() as connection:
        jobs = schema.jobs
        units = {row.job: row.unit for row in connection.execute(sa.select(jobs.c.job, jobs.c.unit))}
        entries = _counting(connection, Kind.PACK, without)
        pulls = _pulls_by_job(connection, entries.keys())
    frictions: list[FrictionSeen] = []
    found: list[SensitivitySeen] = []
    rebuilt: list[float] = []
    scattered = [_scatter_within(job, entries[job], pulls.get(job, [])) for job in entries]
    pulled = pool([one for one in scattered if one is not None])
    for job in sorted(entries, key=number_parts):
        sheets = entries[job]
        last = _friction(job, sheets[max(sheets)])
        frictions += [] if last is None else [last]
        found += _sensitivities(job, units[job], sheets, pulls.get(job, []))
        rebuilt += _rebuilds(sheets, pulls.get(job, []), USUAL_SCATTER if pulled is None else pulled)
    rebuild = Scatter(math.sqrt(max(0.0, sum(rebuilt) / len(rebuilt))), float(len(rebuilt))) if rebuilt else None
    return ShopHistory(
        frictions=tuple(frictions), sensitivities=tuple(found), pull_scatter=_told(pulled), rebuild_scatter=_told(rebuild)
    )


def _scatter_within(job: str, sheets: Mapping[int, Mapping[str, Any]], pulls: Sequence[sa.Row[Any]]) -> JobScatter | None:
    """Scatter of a job's breakaways within one assembly, state and direction; None where nothing was repeated."""
    squares, degrees = 0.0, 0
    for start, stop in itertools.pairwise((-math.inf, *sorted(sheets), math.inf)):
        for direction in (1, -1):
            for kept in _by_state([pull for pull in pulls if pull.direction == direction], start, stop).values():
                mean = sum(kept) / len(kept)
                squares += sum((value / mean - 1.0) ** 2 for value in kept)
                degrees += len(kept) - 1
    return None if degrees == 0 else JobScatter(job=job, relative=math.sqrt(squares / degrees), degrees_of_freedom=degrees)


def _told(scatter: Scatter | None) -> Scatter | None:
    return None if scatter is None or scatter.degrees_of_freedom < LEAST_DEGREES or scatter.relative <= 0.0 else scatter


def _rebuilds(sheets: Mapping[int, Mapping[str, Any]], pulls: Sequence[sa.Row[Any]], scatter: Scatter) -> Iterator[float]:
    """Variance from assembly to assembly, one estimate each time a unit was closed again with nothing changed.

    Half the square of the difference of the logs of the two means, less what the pulls scatter themselves; single ones may be
    negative, their mean is not biased.
    """
    numbers = sorted(sheets)
    for place, (first, second) in enumerate(itertools.pairwise(numbers)):
        if fitted(sheets[first]["sheet"]) != fitted(sheets[second]["sheet"]):
            continue
        end = numbers[place + 2] if place + 2 < len(numbers) else math.inf
        series = [_by_state(pulls, start, stop) for start, stop in ((first, second), (second, end))]
        for state in series[0].keys() & series[1].keys():
            one, other = (kept[state] for kept in series)
            if min(len(one), len(other)) >= LEAST_PULLS:
                apart = math.log((sum(other) / len(other)) / (sum(one) / len(one)))
                yield 0.5 * (apart**2 - scatter.relative**2 * (1 / len(one) + 1 / len(other)))


def _friction(job: str, content: Mapping[str, Any]) -> FrictionSeen | None:
    answer, oil = content.get("answer"), (content["sheet"].get("pack") or {}).get("oil")
    if not answer or not answer.get("friction") or not oil:
        return None
    friction = answer["friction"]
    numbers = {key: float(friction[key]) for key in ("low", "high")}
    return FrictionSeen(job=job, oil=str(oil), basis=Basis(answer["basis"]), friction=float(friction["median"]), **numbers)


def _sensitivities(
    job: str, unit: str, sheets: Mapping[int, Mapping[str, Any]], pulls: Sequence[sa.Row[Any]]
) -> Iterator[SensitivitySeen]:
    numbers = sorted(sheets)
    for place, (first, second) in enumerate(itertools.pairwise(numbers)):
        before, after = (sheets[number]["sheet"] for number in (first, second))
        old, new = shims_mm(before), shims_mm(after)
        if old is None or new is None or round(new - old, 4) == 0 or fitted(before, shims=False) != fitted(after, shims=False):
            continue
        end = numbers[place + 2] if place + 2 < len(numbers) else math.inf
        series = [_by_state(pulls, start, stop) for start, stop in ((first, second), (second, end))]
        for state in series[0].keys() & series[1].keys():
            one, other = (kept[state] for kept in series)
            if min(len(one), len(other)) >= LEAST_PULLS:
                change, u = sensitivity(one, other, new - old, USUAL_SCATTER.relative)
                yield SensitivitySeen(
                    job=job, unit=unit, oil=state[1], arrangement=state[0].upper(),
                    nm_per_mm=change, u_nm_per_mm=u, torque_nm=sum([*one, *other]) / len([*one, *other]),
                )  # fmt: skip


LEAST_PULLS: Final = 2
"""So many pulls each before and after a change of shims tell something of it: one alone may be a stray."""


def _by_state(pulls: Sequence[sa.Row[Any]], start: float, stop: float) -> dict[tuple[str, ...], list[float]]:
    """Breakaway of the pulls entered between two pack sheets, by arrangement, oil, additive, closure."""
    found: dict[tuple[str, ...], list[float]] = {}
    for pull in pulls:
        if start < pull.entry < stop:
            state = (folded(pull.arrangement), folded(pull.lubricant), folded_additive(pull.additive), folded(pull.closure))
            found.setdefault(state, []).append(pull.breakaway_nm)
    return found


# -- zero and directions of the sensor -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class JobLevel:
    """One figure of a job: its mean over so many readings."""

    job: str
    value: float
    n: int


def zero_moves(book: Book) -> list[JobLevel]:
    """How far the zero moved within a pull, N.m: mean over each of the newest jobs, oldest first."""
    with book.reading() as connection:
        entries = _counting(connection, Kind.PULL, None)
    moves = {job: [_zero_move(content["reading"]) for content in pulls.values()] for job, pulls in entries.items()}
    told = {job: [move for move in found if move is not None] for job, found in moves.items()}
    return [
        JobLevel(job=job, value=sum(told[job]) / len(told[job]), n=len(told[job]))
        for job in sorted(told, key=number_parts)
        if told[job]
    ]


def _zero_move(reading: Mapping[str, Any]) -> float | None:
    before, after = reading.get("zero_nm"), reading.get("zero_after_nm")
    return None if before is None or after is None else float(after) - float(before)


def directions_apart(book: Book, basis: Basis) -> list[JobLevel]:
    """How far one direction reads above the other, as a share of both: mean of each of the newest jobs, oldest first.

    A unit may be uneven; a bench that reads one way high in every unit has an offset, a lever that binds or a bent adapter.
    """
    pulls = schema.pulls
    value = pulls.c.breakaway_nm if basis is Basis.BREAKAWAY else pulls.c.sliding_nm
    states = [pulls.c[name] for name in _ALIKE]
    query = (
        sa.select(*states, sa.func.count().label("n"), sa.func.avg(value).label("mean"))
        .where(pulls.c.votes, value > 0, pulls.c.direction.is_not(None), pulls.c.job.in_(_newest(None).scalar_subquery()))
        .group_by(*states)
    )
    ways: dict[tuple[Any, ...], dict[int, tuple[float, int]]] = {}
    with book.reading() as connection:
        for row in connection.execute(query):
            ways.setdefault(tuple(row[: len(_ALIKE) - 1]), {})[row.direction] = (float(row.mean), row.n)
    told: dict[str, list[tuple[float, int]]] = {}
    for state, means in ways.items():
        if means.keys() >= {1, -1}:
            (one, n), (other, m) = means[1], means[-1]
            told.setdefault(state[0], []).append(((one - other) / (0.5 * (one + other)), n + m))
    return [
        JobLevel(job=job, value=sum(v * n for v, n in told[job]) / sum(n for _, n in told[job]), n=sum(n for _, n in told[job]))
        for job in sorted(told, key=number_parts)
    ]


def shims_did(history: ShopHistory) -> list[JobLevel]:
    """What a mm of shim did to the torque, as a share of it, job by job: a unit of another kind is another level."""
    told: dict[str, list[float]] = {}
    for one in history.sensitivities:
        told.setdefault(one.job, []).append(one.nm_per_mm / one.torque_nm)
    return [
        JobLevel(job=job, value=sum(told[job]) / len(told[job]), n=len(told[job])) for job in sorted(told, key=number_parts)
    ]  # fmt: skip


# -- looking ---------------------------------------------------------------------------------------------------------------------


def _newest(without: str | None) -> sa.Select[tuple[str]]:
    jobs = schema.jobs
    newest = sa.select(jobs.c.job).order_by(jobs.c.year.desc(), jobs.c.counter.desc()).limit(NEWEST_JOBS)
    return newest if without is None else newest.where(jobs.c.job != without)


def _counting(connection: sa.Connection, kind: Kind, without: str | None) -> dict[str, dict[int, dict[str, Any]]]:
    """Contents of the entries of a kind in the newest jobs that are not struck, by job and number, amendments taken in."""
    events = schema.events
    kinds = (kind, Kind.STRUCK, Kind.AMENDED)
    query = (
        sa.select(events.c.job, events.c.number, events.c.kind, events.c.body)
        .where(events.c.kind.in_(kinds), events.c.job.in_(_newest(without).scalar_subquery()))
        .order_by(events.c.job, events.c.number.desc())
    )
    found: dict[str, dict[int, dict[str, Any]]] = {}
    struck: set[tuple[str, int]] = set()
    amended: dict[tuple[str, int], dict[str, Any]] = {}
    for row in connection.execute(query):  # newest first, so that a strike that was struck strikes nothing
        content, place = json.loads(row.body), (row.job, row.number)
        if row.kind == Kind.STRUCK and place not in struck:
            struck.add((row.job, content["entry"]))
        elif row.kind == Kind.AMENDED:
            amended.setdefault((row.job, content["entry"]), content["now"])
        elif row.kind == kind and place not in struck:
            found.setdefault(row.job, {})[row.number] = content | amended.get(place, {})
    return found


def _pulls_by_job(connection: sa.Connection, jobs: Iterable[str]) -> dict[str, list[sa.Row[Any]]]:
    """Rows of the pulls that vote and have a breakaway, in the order entered."""
    pulls = schema.pulls
    query = sa.select(pulls).where(pulls.c.votes, pulls.c.breakaway_nm > 0, pulls.c.job.in_(list(jobs)))
    found: dict[str, list[sa.Row[Any]]] = {}
    for row in connection.execute(query.order_by(pulls.c.job, pulls.c.entry)):
        found.setdefault(row.job, []).append(row)
    return found
