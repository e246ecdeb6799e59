"""A verdict on the unit from one pull: the rule of a series (`analysis.verdict.series`) for a series of one."""

from __future__ import annotations

from dataclasses import dataclass, replace

from analysis.judgement import DecisionRule, Missing, SettlingCode, Verdict
from analysis.results import PullResult
from analysis.verdict.apart import Scatter
from analysis.verdict.scatter import USUAL_SCATTER
from analysis.verdict.series import read_series
from analysis.verdict.votes import Convert, Pull, not_converted, pull_of
from analysis.window import Window


@dataclass(frozen=True, slots=True)
class Known:
    """What is known before anybody pulls.

    scatter   from pull to pull, of the bench
    convert   how a pull in another arrangement than the window's becomes one in it
    """

    scatter: Scatter = USUAL_SCATTER
    convert: Convert = not_converted


NOTHING_KNOWN = Known()


def judge(
    result: PullResult, window: Window, rule: DecisionRule = DecisionRule.GUARDED, *, known: Scatter = USUAL_SCATTER
) -> Verdict:
    """Verdict on the unit from one pull of which nothing else is stated; `known` is the scatter from pull to pull.

    Parameters
    ----------
    result
        The pull as it was read.
    window
        Limits in N.m.
    rule
        Guarded or simple acceptance.
    known
        Relative standard deviation from pull to pull, and its degrees of freedom.

    Returns
    -------
    Verdict
        Value and uncertainty in N.m.
    """
    return judge_pull(pull_of(result), window, rule, known=known)


def judge_pull(
    pull: Pull,
    window: Window,
    rule: DecisionRule = DecisionRule.GUARDED,
    *,
    known: Scatter = USUAL_SCATTER,
    convert: Convert = not_converted,
) -> Verdict:
    """The same from a pull as the rule sees it. What only a series can lack (the other direction) is not said of one pull.

    Parameters
    ----------
    pull
        Counts here even where a person excluded it or it has no vote in a series.
    window
        Limits in N.m.
    rule
        Guarded or simple acceptance.
    known
        Relative standard deviation from pull to pull, and its degrees of freedom.
    convert
        How a pull in another arrangement than the window's is converted, where it is.

    Returns
    -------
    Verdict
        Value and uncertainty in N.m; no direction is named as the deciding one.
    """
    alone = replace(pull, excluded=None, has_vote=True)
    verdict = read_series([alone], window, rule=rule, known=known, convert=convert).verdict
    assert verdict is not None
    settling = verdict.settling
    if settling is not None and settling.code is SettlingCode.OTHER_WAY:
        settling = None
    missing = tuple(code for code in verdict.missing if code is not Missing.OTHER_DIRECTION)
    return replace(verdict, missing=missing, settling=settling, deciding=None)
