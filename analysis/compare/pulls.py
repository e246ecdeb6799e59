"""What a comparison knows of a pull: its figures, how it was taken, and whether it counts."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from analysis.compare.speed import SpeedCourse
from analysis.results import PullResult, QualityCode
from analysis.verdict.apart import Apart, Side, after_long_rest, find_strays


class FigureName(StrEnum):
    """The figures that are compared, in the order of reading (the contract's keys)."""

    BREAKAWAY = "breakaway"
    SLIDING = "sliding"
    RATIO = "ratio"
    CHATTER_RATE = "chatter_rate"
    CHATTER_HEIGHT = "chatter_height"
    CHATTER_HEIGHT_SHARE = "chatter_height_share"
    CHATTER_SEVERITY = "chatter_severity"
    STUCK_TIME = "stuck_time"


ALL_FIGURES = tuple(FigureName)
CHATTER_FIGURES = ALL_FIGURES[3:]
TORQUE_FIGURES = (FigureName.BREAKAWAY, FigureName.SLIDING, FigureName.RATIO, FigureName.CHATTER_HEIGHT)
WITH_ZEROS = (FigureName.CHATTER_SEVERITY, FigureName.STUCK_TIME)
CORRECTED = (FigureName.BREAKAWAY, FigureName.SLIDING, FigureName.RATIO, FigureName.CHATTER_SEVERITY)
"""The figures that Holm's correction is over (contract)."""

_PACK = frozenset({FigureName.BREAKAWAY, FigureName.SLIDING, FigureName.RATIO})
SPOILED: dict[str, frozenset[FigureName]] = {
    QualityCode.NO_PULL: _PACK,
    # A clipped top is a lower bound; where the clipping reaches into the sliding, that is told by `clipped_sliding`.
    QualityCode.OVERLOAD: frozenset({FigureName.BREAKAWAY, FigureName.RATIO}),
    # The plates hardly slid: the mean of a few degrees is no level.
    QualityCode.SHORT_TRAVEL: frozenset({FigureName.SLIDING, FigureName.RATIO}),
    # The hand let go before the plates did: the highest torque is no breakaway.
    QualityCode.LET_GO: _PACK,
}
"""Which figures a code of quality spoils."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """What a person or the bench stated of a pull; None: unknown."""

    arrangement: str | None = None
    oil: str | None = None
    additive: str | None = None
    plates: str | None = None
    closure: str | None = None
    lever: str | None = None
    adapter: str | None = None
    sensor: str | None = None
    certificate: str | None = None
    unit: str | None = None
    temperature_c: float | None = None
    rest_s: float | None = None
    excluded: str | None = None
    when: str | None = None
    number: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ChatterOfPull:
    """Chatter of one pull. `score` is its probability; heights and shares are 0 or None for a pull without chatter."""

    assessable: bool = False
    present: bool | None = None
    score: float = 0.0
    rate_hz: float | None = None
    height_nm: float | None = None
    height_share: float | None = None
    severity: float | None = None
    stuck_time: float | None = None
    degrees_per_slip: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedPull:
    """One pull in a comparison. `trace` names its file without the folder, `fingerprint` tells its samples from others'."""

    trace: str
    fingerprint: str
    stated: Stated = Stated()
    direction: int | None = None
    breakaway_nm: float | None = None
    sliding_nm: float | None = None
    rate_hz: float | None = None
    chatter: ChatterOfPull = ChatterOfPull()
    speed: SpeedCourse | None = None
    stiffness_nm_per_deg: float | None = None
    sensor_u_relative: float | None = None
    quality: tuple[str, ...] = ()
    clipped_sliding: bool = False
    ends_loading: bool = False
    """The trace ends while the load still climbs: its highest torque is no breakaway."""
    apart: Apart | None = None

    @property
    def counted(self) -> bool:
        """Whether the pull counts in the figures of torque."""
        return self.apart is None

    @property
    def ratio(self) -> float | None:
        """Breakaway over sliding of this pull."""
        return None if self.breakaway_nm is None or self.sliding_nm is None else self.breakaway_nm / self.sliding_nm

    @property
    def speed_deg_s(self) -> float | None:
        """Median speed of the hand while sliding."""
        return None if self.speed is None else self.speed.median_deg_s

    @property
    def spoiled(self) -> frozenset[FigureName]:
        """The figures that the quality of this reading spoils."""
        own = _PACK if self.ends_loading else frozenset({FigureName.SLIDING} if self.clipped_sliding else ())
        return own.union(*(SPOILED.get(code, frozenset()) for code in self.quality))

    def value(self, figure: FigureName) -> float | None:
        """The value of a figure, in N.m, 1/s, percent or without a unit; None where the pull has none, or one that is spoiled."""
        if figure in self.spoiled:
            return None
        chatter = self.chatter
        if figure in CHATTER_FIGURES and not chatter.assessable:
            return None
        shares = {
            FigureName.CHATTER_HEIGHT_SHARE: chatter.height_share,
            FigureName.CHATTER_SEVERITY: chatter.severity,
            FigureName.STUCK_TIME: chatter.stuck_time,
        }
        if figure in shares:
            share = shares[figure]
            return None if share is None else 100 * share
        return {
            FigureName.BREAKAWAY: self.breakaway_nm,
            FigureName.SLIDING: self.sliding_nm,
            FigureName.RATIO: self.ratio,
            FigureName.CHATTER_RATE: chatter.rate_hz,
            FigureName.CHATTER_HEIGHT: chatter.height_nm,
        }[figure]


def chatter_of(result: PullResult) -> ChatterOfPull:
    """What a reading says of chatter, with its severity: height over sliding torque, times the share of the travel in cycles."""
    chatter = result.chatter
    if not chatter.assessable or not chatter.present:
        quiet = 0.0 if chatter.assessable else None
        return ChatterOfPull(
            assessable=chatter.assessable, present=chatter.present, score=chatter.score, severity=quiet, stuck_time=quiet
        )
    height, sliding = chatter.peak_to_peak_nm, result.sliding
    share = None if height is None or sliding is None else height / sliding.torque_nm
    return ChatterOfPull(
        assessable=True,
        present=True,
        score=chatter.score,
        rate_hz=chatter.frequency_hz,
        height_nm=height,
        height_share=share,
        severity=None if share is None or chatter.travel_share is None else share * chatter.travel_share,
        stuck_time=chatter.stuck_time_share,
        degrees_per_slip=chatter.degrees_per_slip,
    )


def in_order(pulls: Iterable[ComparedPull]) -> list[ComparedPull]:
    """In the order of pulling: by the moment where all have one, else by number where all have one, else as they were given."""
    given = list(pulls)
    for key in ("when", "number"):
        values = [getattr(pull.stated, key) for pull in given]
        if all(value is not None for value in values):
            return sorted(given, key=lambda pull: (getattr(pull.stated, key), pull.stated.number or 0, pull.trace))
    return given


def set_apart(before: Sequence[ComparedPull], after: Sequence[ComparedPull]) -> tuple[list[ComparedPull], list[ComparedPull]]:
    """Both sides with the reason at each pull that does not count; none is left out.

    Parameters
    ----------
    before, after
        The pulls of each side in the order of pulling.

    Returns
    -------
    before, after : list of ComparedPull
        As many as were given, in the same order, each with its `apart` newly set; None where the pull counts.
    """
    sides = [_plainly_apart(side) for side in (before, after)]
    looked_at = [[index for index, pull in enumerate(side) if pull.apart in (None, Apart.DOUBTFUL)] for side in sides]
    strays = find_strays([stray_side([side[index] for index in mine]) for side, mine in zip(sides, looked_at, strict=True)])
    for side, mine, found in zip(sides, looked_at, strays, strict=True):
        for at in found:
            side[mine[at]] = replace(side[mine[at]], apart=Apart.STRAY)
    return sides[0], sides[1]


def stray_side(pulls: Sequence[ComparedPull]) -> Side:
    """Sliding and breakaway of pulls, as the rule for strays takes them."""
    quantities = [[pull.value(figure) for pull in pulls] for figure in (FigureName.SLIDING, FigureName.BREAKAWAY)]
    return Side.of([pull.direction for pull in pulls], *quantities)


def _plainly_apart(pulls: Sequence[ComparedPull]) -> list[ComparedPull]:
    """Everything but strays. A pull that a person excluded, or that is there twice, is no measure of the others' rest either."""
    marked = []
    seen: set[str] = set()
    for pull in pulls:
        reason = None
        if pull.stated.excluded is not None:
            reason = Apart.EXCLUDED
        elif pull.fingerprint in seen:
            reason = Apart.DUPLICATE
        elif pull.breakaway_nm is None and pull.sliding_nm is None:
            reason = Apart.NO_READING
        seen.add(pull.fingerprint)
        marked.append(replace(pull, apart=reason))
    standing = [index for index, pull in enumerate(marked) if pull.apart is None]
    rested = {standing[at] for at in after_long_rest([marked[index].stated.rest_s for index in standing])}
    return [
        replace(pull, apart=Apart.FIRST_AFTER_REST)
        if index in rested
        else replace(pull, apart=Apart.DOUBTFUL)
        if pull.apart is None and pull.spoiled
        else pull
        for index, pull in enumerate(marked)
    ]


def values_of(pulls: Iterable[ComparedPull], figure: FigureName) -> tuple[np.ndarray, np.ndarray]:
    """Values and directions of the pulls that count for a figure.

    Figures of torque are over the counted pulls and those whose doubts do not spoil the figure. Figures of chatter are over every
    assessable pull, strays and first pulls too, as its rule is; only what a person excluded, and copies, are left out.

    Parameters
    ----------
    pulls
        Of one side, marked by `set_apart`.
    figure
        Which figure.

    Returns
    -------
    values : ndarray of float, shape (n,)
        In N.m, 1/s, percent or without a unit, as the figure has it.
    directions : ndarray of int, shape (n,)
        1 or -1; 0 where the direction is not known.
    """
    kept = [pull for pull in pulls if counts_for(pull, figure) and pull.value(figure) is not None]
    return np.array([pull.value(figure) for pull in kept], dtype=float), np.array([pull.direction or 0 for pull in kept], dtype=int)


def counts_for(pull: ComparedPull, figure: FigureName) -> bool:
    """Whether a pull counts for a figure.

    Parameters
    ----------
    pull
        Marked by `set_apart`.
    figure
        Which figure.

    Returns
    -------
    bool
        Whether the pull may count; a value of the figure it need not have.
    """
    if figure in CHATTER_FIGURES:
        return pull.apart not in (Apart.EXCLUDED, Apart.DUPLICATE)
    return pull.apart in (None, Apart.DOUBTFUL)


def median_or_none(values: Iterable[float | None]) -> float | None:
    """The median of what is known; None where nothing is."""
    known = [value for value in values if value is not None and math.isfinite(value)]
    return float(np.median(known)) if known else None
