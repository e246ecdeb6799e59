"""Drag torque of bearings, by single readings or over whole turns of a trace.

A start-up peak is no drag, and one turn is the least that holds the runout once. Torque is averaged over the angle, so that an
uneven hand does not weigh one place more than another.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.refit.limits import COVERAGE_FACTOR, ROUNDING, Finding, FindingCode, Limits, State, mean_of, variation_state
from analysis.trace import Floats

LARGEST_NM = 50.0
"""More than this is no drag of bearings: another unit, or the pack's own torque."""
START_DEG = 45.0
"""Left out at the beginning: the start-up peak and the taking up of slack."""
TURN_DEG = 360.0
SLIDING_DEG = 10
"""The variation is looked for under a mean of so many degrees: less is the rollers' own noise and the hand's."""
GRID_DEG = 1
"""Step of the sliding mean."""
SHARE_OF_WIDTH = 1 / 3
"""A sensor whose U is over this share of what is allowed cannot judge it (one to three, common in gauging, no source)."""


@dataclass(frozen=True, slots=True)
class Turns:
    """What was read over whole turns: their number, the mean torque and the largest variation within one of them."""

    turns: int
    mean_nm: float
    variation_nm: float


@dataclass(frozen=True, slots=True)
class DragAnswer:
    """How the drag stands. `expanded_u_nm` is None where the sensor's uncertainty is not known; states are None without a limit."""

    mean_nm: float
    variation_nm: float | None
    turns: int | None
    expanded_u_nm: float | None
    state: State | None
    variation_state: State | None


def read_turns(angle_deg: Floats, torque_nm: Floats) -> Turns | None:
    """Mean and variation over the whole turns of a trace; None where there is not one after the beginning.

    Parameters
    ----------
    angle_deg
        Shape (n,), degrees, either way of turning.
    torque_nm
        Shape (n,), N.m counted from rest, either sign.

    Returns
    -------
    Turns or None
        Mean of the torque over the angle as a magnitude, and the largest variation of its mean over `SLIDING_DEG` within one turn.

    Notes
    -----
    Only turning on into new ground counts: where the hand stands or goes back the angle gains nothing and the torque there weighs
    nothing. The integral of torque over angle, read at even steps of angle, gives every mean as a difference of two of its values.
    """
    turned = np.abs(angle_deg - angle_deg[0]) if angle_deg.size else angle_deg
    progress = np.maximum.accumulate(turned) if turned.size else turned
    whole = math.floor((float(progress[-1]) - START_DEG) / TURN_DEG + ROUNDING) if progress.size else 0
    if whole < 1:
        return None
    work = np.concatenate(([0.0], np.cumsum(0.5 * (torque_nm[1:] + torque_nm[:-1]) * np.diff(progress))))
    new_ground = np.concatenate(([True], np.diff(progress) > 0))
    grid = START_DEG + np.arange(0.0, whole * TURN_DEG + GRID_DEG, GRID_DEG)
    work_at = np.interp(grid, progress[new_ground], work[new_ground])
    steps = round(TURN_DEG / GRID_DEG)
    span = SLIDING_DEG // GRID_DEG
    variation = 0.0
    for turn in range(whole):
        of_turn = work_at[turn * steps : (turn + 1) * steps + 1]
        sliding = (of_turn[span:] - of_turn[:-span]) / SLIDING_DEG
        variation = max(variation, float(np.ptp(sliding)))
    mean = float(work_at[whole * steps] - work_at[0]) / (whole * TURN_DEG)
    return Turns(whole, abs(mean), variation)


def find_in_drag(readings_nm: Sequence[float]) -> tuple[Finding, ...]:
    """Readings that are no drag of bearings."""
    odd = [reading for reading in readings_nm if abs(reading) > LARGEST_NM + ROUNDING]
    return (Finding(FindingCode.IMPLAUSIBLE, "torque", odd[0], LARGEST_NM),) if odd else ()


def judge_drag(
    readings_nm: Sequence[float],
    *,
    window: Limits | None,
    sensor_u_nm: float | None,
    variation_max_nm: float | None = None,
    traces: Sequence[Turns] = (),
) -> DragAnswer:
    """Hold drag readings against the window.

    Parameters
    ----------
    readings_nm
        At least one, N.m, either sign; of traces their means.
    window
        Of the page, N.m; None: the mean is not judged.
    sensor_u_nm
        Standard uncertainty of the sensor at such a torque, N.m; None: not known, nothing is decided.
    variation_max_nm
        Most that the torque may vary within a turn, N.m; None: not judged.
    traces
        What the readings were read from, where they come from traces.

    Returns
    -------
    DragAnswer
        Torques in N.m as magnitudes; `sensor_too_large` where the expanded uncertainty is over a third of what is allowed.

    Raises
    ------
    ValueError
        Without a reading.
    """
    sizes = [abs(reading) for reading in readings_nm]
    mean = mean_of(sizes, sensor_u_nm or 0.0)
    expanded_u = None if sensor_u_nm is None else mean.expanded_u
    variation = max((trace.variation_nm for trace in traces), default=None)
    of_variation = None
    if variation is not None and variation_max_nm is not None:
        of_variation = State.UNDECIDED
        if sensor_u_nm is not None:
            its_u = math.sqrt(2) * COVERAGE_FACTOR * sensor_u_nm
            too_large = its_u > SHARE_OF_WIDTH * variation_max_nm + ROUNDING
            of_variation = State.SENSOR_TOO_LARGE if too_large else variation_state(variation, variation_max_nm, its_u)
    return DragAnswer(
        mean_nm=mean.value,
        variation_nm=variation,
        turns=sum(trace.turns for trace in traces) if traces else None,
        expanded_u_nm=expanded_u,
        state=_state(mean.value, expanded_u, window),
        variation_state=of_variation,
    )


def _state(mean_nm: float, expanded_u_nm: float | None, window: Limits | None) -> State | None:
    if window is None:
        return None
    if expanded_u_nm is None:
        return State.UNDECIDED
    if window.width is not None and expanded_u_nm > SHARE_OF_WIDTH * window.width + ROUNDING:
        return State.SENSOR_TOO_LARGE
    return window.state(mean_nm, expanded_u_nm)
