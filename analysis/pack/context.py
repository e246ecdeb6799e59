"""What friction, springs and readings of two builds of a unit have in common: their plates, springs, oil and age."""

from __future__ import annotations

from dataclasses import dataclass, replace

from analysis.pack import priors
from analysis.pack.parts import Build, HistoryEntry, PlateState
from analysis.pack.shop import UNKNOWN_OIL
from analysis.pack.stack import inner_plates
from analysis.pack.unit import Unit


@dataclass(frozen=True, slots=True)
class Context:
    """What friction, springs and readings of two series have in common is told by these."""

    build: Build
    oil: str
    era: int
    renewed: float
    """Share of the inner plates that is new."""
    new: bool
    series_before: int = 0
    """Series that were pulled with these plates since they were new: they ran in a part each time."""
    inner: frozenset[str] = frozenset()
    """Names of the inner plates, where they have any."""
    measured: bool = False
    """Whether every spring has a measured curve."""


def contexts(unit: Unit) -> tuple[list[Context], Context]:
    """Contexts of the history's entries, and of what is fitted now."""
    found: list[Context] = []
    era, pulled = 0, 0
    last_new = False
    worn: set[str] = set()
    for number, build in enumerate([*(entry.build for entry in unit.pack.history), unit.pack.now]):
        new = build.plate_state is PlateState.NEW
        if new and not last_new:
            era, pulled = era + (number > 0), 0
        inner = inner_plates(build, unit.pack)
        if new and found and inner and not set(inner) & found[-1].inner:
            pulled = 0  # new plates in place of new ones
        renewed = sum(name not in worn for name in inner) / len(inner) if inner else 1.0
        share, series = (renewed, pulled) if new else (0.0, 0)
        oil = build.oil or UNKNOWN_OIL
        found.append(Context(build, oil, era, share, new, series, frozenset(inner), _measured(build, unit)))
        pulled += number < len(unit.pack.history) and not is_free(unit.pack.history[number])
        if not new:
            worn.update(inner)
        last_new = new
    return found[:-1], found[-1]


def context_of(build: Build, unit: Unit, fresh: frozenset[str] = frozenset()) -> Context:
    """Context of a build that is considered now, some of its plates fresh from the shelf.

    Parameters
    ----------
    build
        The build that is considered.
    unit
        Sheet and card.
    fresh
        Names of plates in the build that have not run yet.

    Returns
    -------
    Context
        That of what is fitted now, with the build's own parts; with fresh inner plates counted as new.
    """
    _, now = contexts(unit)
    inner = inner_plates(build, unit.pack)
    renewed = sum(name in fresh for name in inner) / len(inner) if inner else float(bool(fresh))
    if renewed:
        now = replace(now, era=now.era + (0 if inner else 1), renewed=renewed, new=True, series_before=0)
    return replace(now, build=build, inner=frozenset(inner), measured=_measured(build, unit))


def _measured(build: Build, unit: Unit) -> bool:
    """Whether every spring of a build has a measured curve."""
    names = [name for side in build.sides for name in side.springs]
    return bool(names) and all(unit.pack.springs[name].curve is not None for name in names)


def common_plates(a: Context, b: Context) -> float:
    """Share of the friction faces that two builds have in common.

    Parameters
    ----------
    a, b
        Contexts of the two builds.

    Returns
    -------
    float
        0 to 1; where the plates have no names 1 within one era (no new plates in between), else 0.
    """
    if not a.inner or not b.inner:
        return float(a.era == b.era)
    return len(a.inner & b.inner) / max(len(a.inner), len(b.inner))


def common_springs(a: Context, b: Context) -> float:
    """Share of the springs that two builds have in common.

    Parameters
    ----------
    a, b
        Contexts of the two builds.

    Returns
    -------
    float
        0 to 1; 1 where neither has any.
    """
    mine = {name for side in a.build.sides for name in side.springs}
    theirs = {name for side in b.build.sides for name in side.springs}
    return len(mine & theirs) / max(len(mine), len(theirs)) if mine or theirs else 1.0


def is_free(entry: HistoryEntry) -> bool:
    """Whether a series counts as free: one pull in which nothing held is enough."""
    return any(value < priors.FREE_BELOW_NM for value in (*entry.breakaway_nm, *entry.sliding_nm))
