"""A pull as the rule for a verdict sees it: what was read, what stands behind it, whether it has a vote."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.judgement import Missing, SettlingCode
from analysis.results import Breakaway, BudgetLine, PullResult, QualityCode, Sliding
from analysis.verdict.ground import ground_of
from analysis.window import Basis


@dataclass(frozen=True, slots=True)
class Reading:
    """A torque read off one pull, N.m, and the lines of its uncertainty. `at_least`: it is a lower bound."""

    torque_nm: float
    lines: tuple[BudgetLine, ...] = ()
    at_least: bool = False
    missing: tuple[Missing, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Pull:
    """One pull of a series as the rule sees it.

    direction      1 or -1
    breakaway, sliding   what was read; both None and not free: no reading
    free           the unit turned and nothing held; `detection_nm` is the least torque that would have been told
    has_vote       False: kept and shown, but nobody has said that it was the pull (a free turn at the bench)
    stuck          the torque rose and nothing slipped
    unsettled      the reading waits for something (an answer, a rest to take its zero from): it decides nothing before
    rest_s         how long the unit rested before; None: not known
    excluded       why a person has it not count; None: it counts
    chatters       None: not assessable
    zeros_nm       torque at rest before and after, as far as it is known
    """

    direction: int = 1
    breakaway: Reading | None = None
    sliding: Reading | None = None
    free: bool = False
    detection_nm: float | None = None
    has_vote: bool = True
    stuck: bool = False
    unsettled: SettlingCode | None = None
    rest_s: float | None = None
    excluded: str | None = None
    chatters: bool | None = None
    missing: tuple[Missing, ...] = ()
    zeros_nm: tuple[float | None, ...] = ()

    @classmethod
    def of(
        cls,
        breakaway_nm: float | None = None,
        *,
        sliding_nm: float | None = None,
        direction: int = 1,
        u_relative: float = 0.005,
        rest_s: float | None = None,
    ) -> Pull:
        """A pull from plain values, N.m; `u_relative` is the sensor's, the same in every pull. Without a value it turned freely."""

        def reading(torque_nm: float | None) -> Reading | None:
            return None if torque_nm is None else Reading(torque_nm, (BudgetLine("calibration", u_relative * torque_nm),))

        free = breakaway_nm is None and sliding_nm is None
        return cls(
            direction=direction,
            breakaway=reading(breakaway_nm),
            sliding=reading(sliding_nm),
            free=free,
            detection_nm=0.0 if free else None,
            rest_s=rest_s,
        )

    def reading(self, basis: Basis) -> Reading | None:
        """What was read of that quantity."""
        return self.breakaway if basis is Basis.BREAKAWAY else self.sliding


def pull_of(result: PullResult, *, rest_s: float | None = None, excluded: str | None = None, has_vote: bool = True) -> Pull:
    """A pull of a series from its reading, with what only its metadata or a person says."""
    codes = [flag.code for flag in result.quality]
    clipped = QualityCode.OVERLOAD in codes
    # Load that rises and falls again with no sliding in between: the plates never let go, or not for long enough to tell.
    stuck = result.sliding is None and result.breakaway is not None and (clipped or QualityCode.LET_GO in codes)

    def reading(of: Breakaway | Sliding | None) -> Reading | None:
        if of is None:
            return None
        ground = ground_of(result, of)
        return Reading(of.torque_nm, (*of.budget.lines, *ground.lines), clipped, ground.missing)

    unsettled = None
    if "rest_moved" in codes:
        unsettled = SettlingCode.ANSWER_NEEDED
    elif "zero_unproven" in codes:
        unsettled = SettlingCode.PULL_AGAIN
    return Pull(
        direction=result.direction or 1,
        breakaway=reading(result.breakaway),
        sliding=reading(result.sliding),
        free=result.held_nothing,
        detection_nm=result.detection_nm,
        has_vote=has_vote,
        stuck=stuck,
        unsettled=unsettled,
        rest_s=rest_s,
        excluded=excluded,
        chatters=result.chatter.present,
        zeros_nm=(result.zero_nm, result.zero_after_nm),
    )
