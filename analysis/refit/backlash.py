"""Backlash at points round the ring gear: the worst point, the variation, and how much shim to move from side to side.

Moving shim from one side to the other keeps their sum, so the bearings' preload stays (TRADE.md 7, common practice).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from analysis.refit.limits import (
    COVERAGE_FACTOR,
    ROUNDING,
    Finding,
    FindingCode,
    Limits,
    State,
    variation_state,
)

LARGEST_MM = 2.0
"""More than this is no backlash of a final drive: inch for mm, or a slipped point."""
LEAST_POINTS = 4
"""Fewer points round the gear can miss its runout (common practice, no source)."""

_WORST_FIRST = (State.ABOVE, State.BELOW, State.UNDECIDED, State.IN_WINDOW)


@dataclass(frozen=True, slots=True)
class BacklashAnswer:
    """What the points mean, at the pitch radius.

    worst_point      number of the point that stands worst, from 1
    state            of that point, guarded; None without a window
    variation_state  None without a limit
    move_mm          shim to move so that the mean comes to the middle; positive: to the side that gives more backlash
    """

    mean_mm: float
    lowest_mm: float
    highest_mm: float
    expanded_u_mm: float
    worst_point: int
    worst_mm: float
    state: State | None
    variation_state: State | None
    move_mm: float | None

    @property
    def variation_mm(self) -> float:
        """Highest less lowest."""
        return self.highest_mm - self.lowest_mm


def find_in_points(points_mm: Sequence[float]) -> tuple[Finding, ...]:
    """What is wrong with the points, as the dial showed them."""
    odd = [point for point in points_mm if point < 0 or point > LARGEST_MM + ROUNDING]
    if odd:
        return (Finding(FindingCode.IMPLAUSIBLE, "points", odd[0], LARGEST_MM if odd[0] > 0 else 0.0),)
    if len(points_mm) < LEAST_POINTS:
        return (Finding(FindingCode.TOO_FEW_POINTS, "points", len(points_mm), LEAST_POINTS),)
    return ()


def judge_backlash(
    points_mm: Sequence[float],
    *,
    window: Limits | None,
    u_mm: float,
    variation_max_mm: float | None = None,
    gear_over_dial: float = 1.0,
    backlash_per_shim: float | None = None,
) -> BacklashAnswer:
    """Hold the points against the window.

    Parameters
    ----------
    points_mm
        At least one reading of the dial, mm, at equal steps round the gear.
    window
        Of the page, mm at the pitch radius; None: the points are not judged.
    u_mm
        Standard uncertainty of a reading, mm.
    variation_max_mm
        Most that highest and lowest point may differ, mm; None: not judged.
    gear_over_dial
        Pitch radius of the gear over the radius the dial stands at; readings and their u grow with it.
    backlash_per_shim
        mm of backlash for a mm of shim moved across; None: no move is proposed.

    Returns
    -------
    BacklashAnswer
        Lengths in mm at the pitch radius; states are guarded.

    Notes
    -----
    A point is one reading, so its U is k u; the variation is a difference of two points, so its U is the root of two times that.
    """
    points = [point * gear_over_dial for point in points_mm]
    expanded_u = COVERAGE_FACTOR * u_mm * gear_over_dial
    mean, lowest, highest = math.fsum(points) / len(points), min(points), max(points)
    worst, state = _worst(points, window, expanded_u)
    of_variation = None
    if variation_max_mm is not None:
        of_variation = variation_state(highest - lowest, variation_max_mm, math.sqrt(2) * expanded_u)
    middle = None if window is None else window.middle
    move = None if middle is None or backlash_per_shim is None else (middle - mean) / backlash_per_shim
    return BacklashAnswer(mean, lowest, highest, expanded_u, worst + 1, points[worst], state, of_variation, move)


def _worst(points: Sequence[float], window: Limits | None, expanded_u: float) -> tuple[int, State | None]:
    """Place and state of the point that stands worst; of equal states the one that lies farthest out."""
    if window is None:
        return 0, None

    def standing(at: int) -> tuple[int, float]:
        out = (
            -math.inf if window.low is None else window.low - points[at],
            -math.inf if window.high is None else points[at] - window.high,
        )
        return _WORST_FIRST.index(window.state(points[at], expanded_u)), -max(out)

    worst = min(range(len(points)), key=standing)
    return worst, window.state(points[worst], expanded_u)
