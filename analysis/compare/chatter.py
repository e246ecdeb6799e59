"""What became of the chatter: a rule of its own over every assessable pull (contract: COMPARE.md, Chatter).

Quiet pulls are counted, not averaged: after m quiet pulls a chatter in up to 1 - 0.05^(1/m) of the pulls is not excluded.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from analysis.compare.conditions import ConditionRules
from analysis.compare.effects import CONFIDENCE, Conclusion
from analysis.compare.pulls import ComparedPull, FigureName, counts_for
from analysis.distributions import beta_probability, beta_quantile
from analysis.verdict.apart import RULES as APART


class Outcome(StrEnum):
    """What became of the chatter (the words of the contract)."""

    NONE_BEFORE = "none_before"
    NOT_ASSESSABLE = "not_assessable"
    CURED = "cured"
    QUIET_SO_FAR = "quiet_so_far"
    LESS = "less"
    MORE = "more"
    AS_BEFORE = "as_before"
    OPEN = "open"


@dataclass(frozen=True, kw_only=True, slots=True)
class CureRules:
    """When quiet pulls count as a cure (contract)."""

    rare_share: float = 0.25  # a unit that chatters in less than a quarter of its pulls is called cured ...
    least_probability: float = 0.9  # ... where that is so probable; with no chatter seen it takes five pulls
    least_before: int = 2  # one pull that chattered may have been the hand's
    quiet_pulls: int = 5
    said_pulls: int = 10  # the word itself is printed from so many quiet pulls in both directions on


RULES = CureRules()


@dataclass(frozen=True, slots=True)
class Count:
    """Pulls that chatter among the assessable ones, with the exact 95 % interval of their share (Clopper & Pearson)."""

    assessable: int
    chattering: int
    share_low: float | None
    share_high: float | None

    @classmethod
    def of(cls, chattering: int, assessable: int) -> Count:
        """The count of so many pulls, with the interval of their share.

        Parameters
        ----------
        chattering, assessable
            Number of pulls that chatter, and of those in which chatter can be told at all; 0 <= `chattering` <= `assessable`.

        Returns
        -------
        Count
            Ends of the share's interval as fractions 0 to 1, None where no pull is assessable.
        """
        low, high = clopper_pearson(chattering, assessable) if assessable else (None, None)
        return cls(assessable, chattering, low, high)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChatterOutcome:
    """What became of the chatter. `may_say_cured`: the word itself may be printed, on which a customer pays.

    speeds_deg_s  speeds of the quiet pulls after, lowest and highest; None where no angle was
    """

    outcome: Outcome
    before: Count
    after: Count
    probability_cured: float | None = None
    further_pulls_after: int = 0
    not_excluded: float | None = None
    may_say_cured: bool = False
    chattering_excluded: int = 0
    speeds_deg_s: tuple[float, float] | None = None
    temperature_c: float | None = None
    rest_s: float | None = None


def clopper_pearson(successes: int, trials: int, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """The exact interval of a share, from quantiles of the beta distribution.

    Parameters
    ----------
    successes, trials
        Counts, 0 <= `successes` <= `trials`.
    confidence
        Probability of the two-sided interval, between 0 and 1.

    Returns
    -------
    low, high : float
        Ends of the share, 0 to 1; 0 without a success and 1 without a failure exactly.

    Notes
    -----
    Clopper & Pearson, Biometrika 26 (1934).

    Examples
    --------
    >>> [round(end, 3) for end in clopper_pearson(0, 5)], [round(end, 3) for end in clopper_pearson(5, 5)]
    ([0.0, 0.522], [0.478, 1.0])
    """
    tail = (1 - confidence) / 2
    low = 0.0 if successes == 0 else beta_quantile(tail, successes, trials - successes + 1)
    high = 1.0 if successes == trials else beta_quantile(1 - tail, successes + 1, trials - successes)
    return low, high


def probability_rare(chattering: int, assessable: int, rules: CureRules = RULES) -> float:
    """P(share of pulls that chatter < `rare_share`) under Jeffreys' Beta(l + 1/2, m - l + 1/2).

    Parameters
    ----------
    chattering, assessable
        The counts l and m of pulls, 0 <= l <= m.
    rules
        `rare_share` is the share below which a unit is called cured.

    Returns
    -------
    float
        Probability, 0 to 1.

    Examples
    --------
    >>> round(probability_rare(0, 5), 3), round(probability_rare(0, 4), 2)
    (0.918, 0.88)
    """
    return beta_probability(rules.rare_share, chattering + 0.5, assessable - chattering + 0.5)


def not_excluded(quiet_pulls: int) -> float:
    """The share of chattering pulls that so many quiet ones do not exclude at 95 %.

    >>> round(not_excluded(5), 2), round(not_excluded(10), 2)
    (0.45, 0.26)
    """
    return float(1.0 - (1 - CONFIDENCE) ** (1 / quiet_pulls))


def outcome_of(
    before: Sequence[ComparedPull],
    after: Sequence[ComparedPull],
    severity: Conclusion | None,
    *,
    lever_differs: bool,
    conditions: ConditionRules,
    rules: CureRules = RULES,
) -> ChatterOutcome:
    """What became of the chatter, from counts where it went away and else from its severity.

    Parameters
    ----------
    before, after
        All pulls of each side; those that a person excluded, copies and those that are not assessable do not vote.
    severity
        The word of the figure `chatter_severity` over the same pulls, None where there is none.
    lever_differs
        Whether lever or adapter differ between the sides or vary within one: then nothing is said of a chatter that was there.
    conditions
        `speed_fold` is the factor within which speeds count as alike.
    rules
        When quiet pulls count as a cure.

    Returns
    -------
    ChatterOutcome
        Always one; where nothing can be said its outcome is `not_assessable` or `open`.
    """
    first, second = ([pull for pull in side if _votes(pull)] for side in (before, after))
    count_before = Count.of(sum(bool(pull.chatter.present) for pull in first), len(first))
    count_after = Count.of(sum(bool(pull.chatter.present) for pull in second), len(second))
    k, n, l_after, m = count_before.chattering, count_before.assessable, count_after.chattering, count_after.assessable
    probability = probability_rare(l_after, m, rules) if k and m else None
    speeds = [pull.speed for pull in second if pull.speed is not None]
    further = 0
    outcome = Outcome.OPEN
    if n == 0 or m == 0:
        outcome = Outcome.NOT_ASSESSABLE
    elif k == 0:
        outcome = Outcome.NONE_BEFORE
    elif lever_differs or not _same_speeds(first, second, conditions.speed_fold):
        outcome = Outcome.NOT_ASSESSABLE
    elif k >= rules.least_before and k >= n / 2 and l_after == 0:
        cured = probability is not None and probability >= rules.least_probability
        outcome = Outcome.CURED if cured else Outcome.QUIET_SO_FAR
        further = 0 if cured else max(0, rules.quiet_pulls - m)
    elif severity is not None:
        outcome = {
            Conclusion.FELL: Outcome.LESS,
            Conclusion.ROSE: Outcome.MORE,
            Conclusion.HELD: Outcome.AS_BEFORE,
            Conclusion.OPEN: Outcome.OPEN,
        }[severity]
    temperatures = [pull.stated.temperature_c for pull in second if pull.stated.temperature_c is not None]
    rests = [pull.stated.rest_s for pull in second if pull.counted and pull.stated.rest_s is not None]
    return ChatterOutcome(
        outcome=outcome,
        before=count_before,
        after=count_after,
        probability_cured=probability,
        further_pulls_after=further,
        not_excluded=not_excluded(m) if m and l_after == 0 else None,
        may_say_cured=outcome is Outcome.CURED and _said(first, second, conditions.speed_fold, rules),
        chattering_excluded=sum(bool(pull.chatter.present) for pull in after if not counts_for(pull, FigureName.CHATTER_SEVERITY)),
        speeds_deg_s=(min(one.low_deg_s for one in speeds), max(one.high_deg_s for one in speeds)) if speeds else None,
        temperature_c=float(np.mean(temperatures)) if temperatures else None,
        rest_s=float(np.median(rests)) if rests else None,
    )


def _votes(pull: ComparedPull) -> bool:
    return pull.chatter.assessable and counts_for(pull, FigureName.CHATTER_SEVERITY)


def _chattered_at(pulls: Sequence[ComparedPull]) -> list[float]:
    return [pull.speed.median_deg_s for pull in pulls if pull.chatter.present and pull.speed is not None]


def _passes(pull: ComparedPull, speed_deg_s: float, fold: float) -> bool:
    """Whether a pull went through a speed, within the fold that counts as alike."""
    return pull.speed is not None and pull.speed.low_deg_s / fold <= speed_deg_s <= pull.speed.high_deg_s * fold


def _same_speeds(before: Sequence[ComparedPull], after: Sequence[ComparedPull], fold: float) -> bool:
    """Whether the speeds are alike, or some pull after passes the speed at which it chattered before."""
    medians = [[pull.speed.median_deg_s for pull in side if pull.speed is not None] for side in (before, after)]
    if not medians[0] or not medians[1]:
        return True
    low, high = sorted(float(np.median(side)) for side in medians)
    if high <= fold * low:
        return True
    chattered = _chattered_at(before)
    if not chattered:
        return True
    typical = math.exp(float(np.mean(np.log(chattered))))
    return any(_passes(pull, typical, fold) for pull in after)


def _said(before: Sequence[ComparedPull], after: Sequence[ComparedPull], fold: float, rules: CureRules) -> bool:
    """Whether the quiet pulls are so many and so varied that the word may be printed."""
    rests = [pull.stated.rest_s for pull in after if pull.stated.rest_s is not None]
    rested = any(rest > APART.rest_factor * max(float(np.median(rests)), APART.least_rest_s) for rest in rests)
    speeds = _chattered_at(before)
    passed = bool(speeds) and all(any(_passes(pull, speed, fold) for pull in after) for speed in (min(speeds), max(speeds)))
    return len(after) >= rules.said_pulls and len({pull.direction for pull in after}) > 1 and rested and passed
