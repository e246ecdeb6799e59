"""Friction against speed and run-in of one side, in words."""

from __future__ import annotations

from analysis.compare.run_in import RunIn
from analysis.compare.speed import Criterion, FrictionAgainstSpeed, WhyNot
from rig.words.language import number, say

CRITERION_WORDS = {
    Criterion.FALLS: "friction falls with speed: this can excite stick-slip",
    Criterion.RISES: "friction rises with speed: this damps stick-slip",
    Criterion.OPEN: "whether friction rises or falls with speed is open",
}


def speed_text(speed: FrictionAgainstSpeed) -> str:
    """Friction against speed of one side, as a sentence without its side."""
    if speed.slope is None or speed.slope_low is None or speed.slope_high is None:
        if speed.why_not is WhyNot.CHATTERS:
            return say("friction against speed: not to be read, all of the sliding chatters")
        return say("friction against speed: not to be read at one speed; sweep slow, fast, slow, twice, from 3 to 60 deg/s")
    interval = " … ".join(number(end, 1, sign=True) for end in (speed.slope_low, speed.slope_high))
    return say(
        "{criterion}: {slope} % for ten times the speed ({interval})",
        criterion=say(CRITERION_WORDS[speed.criterion]),
        slope=number(speed.slope, 1, sign=True),
        interval=interval,
    )


def speed_limits(speed: FrictionAgainstSpeed) -> list[str]:
    """What the slope does not say."""
    limits = []
    if speed.speed_low_deg_s is not None and speed.speed_high_deg_s is not None:
        low, high = number(speed.speed_low_deg_s, 1), number(speed.speed_high_deg_s, 1)
        limits.append(say("holds from {low} to {high} deg/s at the lever", low=low, high=high))
    limits.append(say("the car turns the plates faster than a hand can"))
    if not speed.within_pulls and speed.slope is not None:
        limits.append(say("between pulls: what else differed from pull to pull is in it"))
    if speed.stiffness_nm_per_deg is not None:
        limits.append(
            say(
                "rate and height of chatter belong to this bench too: {stiffness} N.m/deg from hand to plates",
                stiffness=number(speed.stiffness_nm_per_deg, 1),
            )
        )
    return limits


def run_in_text(run_in: RunIn) -> str:
    """Run-in of one side, as a sentence without its side."""
    if run_in.trend_percent is None:
        return say("run-in: too few pulls to tell a trend ({n} counted, 5 wanted)", n=run_in.pulls)
    low, high = run_in.low_percent or 0.0, run_in.high_percent or 0.0
    trend = f"{number(run_in.trend_percent, 2, sign=True)} %"
    interval = f"{number(low, 2, sign=True)} … {number(high, 2, sign=True)}"
    if run_in.settled is False:
        return say("still running in: sliding changes by {trend} a pull ({interval})", trend=trend, interval=interval)
    if run_in.settled:
        return say("settled: sliding changes by {trend} a pull ({interval})", trend=trend, interval=interval)
    return say("whether it has settled is open: sliding changes by {trend} a pull ({interval})", trend=trend, interval=interval)
