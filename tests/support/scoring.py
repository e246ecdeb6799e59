"""Scores of a way of reading pulls against known truth: one line a pull, and the figures over a set.

What counts for which figure, for every method alike:

- found: all pulls.
- breakaway: pulls that hold something, without a clipped sensor (there the peak is not in the trace; the reading must say
  `overload`). The error is what exceeds the half-width within which the truth can be known at all (tremor riding on the sensor: its
  height; half a step of the resolution; half a sample of the ramp; what a gap or the sensor's bandwidth swallowed; zero drift). The
  raw error is printed beside it.
- sliding: pulls that slide by the contract's definition, sensor not clipped; error likewise (half-width: where a fair reader may
  begin and end; with fewer than ten samples a cycle, the difference of the means over time and angle). With several bites the
  first or all of them, without an angle the mean over time or angle is a right answer.
- chatter: pulls that slide and are not marginal, as far as the method calls them assessable; how many it does not is printed.
- rate: chatter that fills the sliding stretch and was called present; the error is what lies outside what may fairly be counted.
- coverage: share of truths within value +- expanded uncertainty; the truth divided by the calibration error drawn for the sensor.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from support.pull_truth import Truth


@dataclass(frozen=True, kw_only=True)
class Answer:
    """What a method says of one pull; None where it says nothing. `*_u_nm` are expanded uncertainties."""

    found: bool
    breakaway_nm: float | None = None
    breakaway_u_nm: float | None = None
    sliding_nm: float | None = None
    sliding_u_nm: float | None = None
    assessable: bool = True
    score: float = 0.0
    present: bool = False
    rate_hz: float | None = None
    codes: tuple[str, ...] = ()
    seconds: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Line:
    """One pull's score; errors as shares of the truth, None where the pull does not count for the figure."""

    number: int
    truth: Truth
    answer: Answer
    rate_hz: float
    breakaway: float | None = None
    breakaway_raw: float | None = None
    sliding: float | None = None
    sliding_raw: float | None = None
    breakaway_covered: bool | None = None
    sliding_covered: bool | None = None
    breakaway_covered_known: bool | None = None
    sliding_covered_known: bool | None = None

    @property
    def found_right(self) -> bool:
        return self.answer.found == self.truth.pull_found

    @property
    def counts_for_chatter(self) -> bool:
        return self.truth.sliding_nm is not None and not self.truth.marginal

    @property
    def can_be_assessed(self) -> bool:
        """By the trade's own limits: 500 samples a second, 20 degrees of sliding (trade notes 5.1), sensor not clipped."""
        return self.rate_hz >= 480 and (self.truth.travel_deg or 90.0) >= 20 and "clipped" not in self.truth.faults

    @property
    def silent(self) -> bool:
        """Off by more than 3 %, beyond its own interval, and no quality code says so: what must not happen."""
        pairs = ((self.breakaway, self.breakaway_covered_known), (self.sliding, self.sliding_covered_known))
        return not self.answer.codes and any(off is not None and off > 0.03 and not held for off, held in pairs)

    @property
    def worst(self) -> float:
        return max(self.breakaway or 0.0, self.sliding or 0.0, 9.0 if not self.found_right else 0.0)


def score(number: int, truth: Truth, answer: Answer, rate_hz: float, gain_error: float = 0.0) -> Line:
    """Hold an answer against the truth."""
    clipped = "clipped" in truth.faults
    line: dict[str, float | bool] = {}
    if truth.breakaway_nm is not None and answer.breakaway_nm is not None and not clipped:
        true, known = truth.breakaway_nm, truth.breakaway_known_nm
        off = abs(answer.breakaway_nm - true)
        line["breakaway_raw"], line["breakaway"] = off / true, max(0.0, off - known) / true
        if answer.breakaway_u_nm is not None:
            off = abs(answer.breakaway_nm - true / (1 + gain_error))
            line["breakaway_covered"] = off <= answer.breakaway_u_nm
            line["breakaway_covered_known"] = off <= answer.breakaway_u_nm + known
    if truth.sliding_nm is not None and answer.sliding_nm is not None and not clipped:
        fair = [truth.sliding_nm] + ([truth.sliding_other_nm] if truth.sliding_other_nm else [])
        true = min(fair, key=lambda one: abs(one - answer.sliding_nm))  # type: ignore[operator]
        known, off = truth.sliding_known_nm, abs(answer.sliding_nm - true)
        line["sliding_raw"], line["sliding"] = off / true, max(0.0, off - known) / true
        if answer.sliding_u_nm is not None:
            off = abs(answer.sliding_nm - true / (1 + gain_error))
            line["sliding_covered"] = off <= answer.sliding_u_nm
            line["sliding_covered_known"] = off <= answer.sliding_u_nm + known
    return Line(number=number, truth=truth, answer=answer, rate_hz=rate_hz, **line)  # type: ignore[arg-type]


def area_under_curve(positive: Sequence[float], negative: Sequence[float]) -> float | None:
    """Chance that a chattering pull scores above a quiet one, ties half (Mann and Whitney's statistic over its range)."""
    if not positive or not negative:
        return None
    p, n = np.sort(np.asarray(positive)), np.sort(np.asarray(negative))
    below = np.searchsorted(n, p, "left")
    up_to = np.searchsorted(n, p, "right")
    return float((below + (up_to - below) / 2).sum() / (p.size * n.size))


def _outside(value: float, fair: tuple[float, float]) -> float:
    return max(fair[0] - value, value - fair[1], 0.0)


def figures(lines: Sequence[Line]) -> dict[str, str]:
    """The rows of the table for one method over one set."""
    wrong = [x for x in lines if not x.found_right]
    counted = [x for x in lines if x.counts_for_chatter]
    assessed = [x for x in counted if x.answer.assessable]
    yes = [x for x in assessed if x.truth.chatter]
    no = [x for x in assessed if not x.truth.chatter]
    auc = area_under_curve([x.answer.score for x in yes], [x.answer.score for x in no])
    rates = [
        _outside(x.answer.rate_hz, x.truth.rate_fair_hz or (x.truth.rate_hz, x.truth.rate_hz)) / x.truth.rate_hz
        for x in yes
        if x.answer.present and x.answer.rate_hz and x.truth.rate_hz and x.truth.rate_steady
    ]
    hidden = [x for x in counted if not x.answer.assessable]
    slides = [x for x in lines if x.truth.sliding_nm is not None and "clipped" not in x.truth.faults]
    overload = [x for x in lines if "clipped" in x.truth.faults]
    return {
        "pulls": f"{len(lines)}",
        "found or not: wrong": f"{len(wrong)}",
        "breakaway error, median / p95 / worst %": _spread([x.breakaway for x in lines]),
        "the same, raw": _spread([x.breakaway_raw for x in lines]),
        "sliding error, median / p95 / worst %": _spread([x.sliding for x in lines]),
        "the same, raw ": _spread([x.sliding_raw for x in lines]),
        "slides, but no sliding read": f"{sum(x.answer.sliding_nm is None for x in slides)} of {len(slides)}",
        "chatter AUC": "-" if auc is None else f"{auc:.4f}",
        "chatter recall": _share([x.answer.present for x in yes]),
        "chatter false alarms": _share([x.answer.present for x in no]),
        "chatter called not assessable": f"{len(hidden)} of {len(counted)}; {sum(x.can_be_assessed for x in hidden)} that could be",
        "slips a second, error median / p95 %": _spread(rates, worst=False),
        "clipped without a word": f"{sum('overload' not in x.answer.codes for x in overload)} of {len(overload)}",
        "95 % interval holds breakaway / sliding": " / ".join(
            _share([c for x in lines if (c := getattr(x, name)) is not None]) for name in ("breakaway_covered", "sliding_covered")
        ),
        "the same, widened by what cannot be known": " / ".join(
            _share([c for x in lines if (c := getattr(x, name)) is not None])
            for name in ("breakaway_covered_known", "sliding_covered_known")
        ),
        "silent errors over 3 %": f"{sum(x.silent for x in lines)} of {len(lines)}",
        "time a pull, median / worst ms": _times([x.answer.seconds for x in lines]),
    }


def _spread(shares: Sequence[float | None], worst: bool = True) -> str:
    values = 100 * np.asarray([s for s in shares if s is not None])
    if not values.size:
        return "-"
    head = f"{np.median(values):.2f} / {np.percentile(values, 95):.2f}"
    return f"{head} / {values.max():.2f}" if worst else head


def _share(flags: Sequence[bool]) -> str:
    return f"{100 * float(np.mean(flags)):.1f} % ({sum(flags)} of {len(flags)})" if flags else "-"


def _times(seconds: Sequence[float]) -> str:
    return f"{1e3 * float(np.median(seconds)):.1f} / {1e3 * max(seconds):.0f}" if seconds else "-"
