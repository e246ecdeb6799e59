"""How much of the sliding lies in stick-slip cycles, and for how much of the time the plates stick."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from analysis.pull.conditioning import Conditioned
from analysis.pull.course import Course
from analysis.pull.noise import median
from analysis.trace import Floats

if TYPE_CHECKING:
    from analysis.pull.chatter import ChatterRules, Cycles, Indices


FULL_CYCLE = 0.2
"""A cycle that rose by less than this share of the median height is none to take shares of."""


def cycle_shares(c: Conditioned, course: Course, cycles: Cycles, rules: ChatterRules) -> tuple[float, float]:
    """Share of the sliding travel that lies in cycles (of the time, without an angle); of the sliding time in which plates stick.

    A cycle reaches from the trough before its peak to the trough after it. One longer than `longest_cycle` medians holds quiet
    sliding: of it a median cycle counts. Before the first trough and after the last the same holds. Plates stick from where they
    have stopped (`_stopped`) to the next peak.

    Parameters
    ----------
    c
        The conditioned trace.
    course
        Its spans of steady sliding count.
    cycles
        Found in them, with indices into the whole trace.
    rules
        Thresholds of the search for cycles.

    Returns
    -------
    float
        Share of the travel in cycles, 0 to 1; 0 where the lever did not turn.
    float
        Share of the time in which the plates stick, 0 to 1; nan where there was no sliding.
    """
    way = c.time_s if c.angle_deg is None else c.angle_deg
    plates = _plates_deg(c, course, cycles)
    inside = stuck_s = travel = total_s = 0.0
    for first, last in course.sliding:
        travel += float(way[last - 1] - way[first])
        total_s += float(c.time_s[last - 1] - c.time_s[first])
        mine = (cycles.peak >= first) & (cycles.peak < last)
        peaks, troughs = cycles.peak[mine], cycles.trough[mine]
        if peaks.size < 2:
            continue
        # Rises from the stretch's beginning or a trough to a peak, and the last one, cut off by the stretch's end.
        begin, top, end = np.append(first, troughs), np.append(peaks, last - 1), np.append(troughs, last - 1)
        usual, usual_s = median(np.diff(way[troughs])), median(np.diff(c.time_s[troughs]))
        length = way[end] - way[begin]
        whole = length <= rules.longest_cycle * usual
        inside += float(np.sum(np.where(whole, length, usual)))
        stopped = (
            begin if plates is None else np.append(first, _stopped(plates, peaks, top[1:], begin[1:], c.resolution_deg, rules))
        )
        rise_s = c.time_s[top] - c.time_s[stopped]
        stuck_s += float(np.sum(np.where(whole, rise_s, np.minimum(rise_s, usual_s))))
    share = inside / travel if travel > 0 else math.nan
    return min(1.0, max(0.0, share)), min(1.0, stuck_s / total_s) if total_s > 0 else math.nan


def _plates_deg(c: Conditioned, course: Course, cycles: Cycles) -> Floats | None:
    """How far the plates turned: the lever less the wind-up between; None without an angle or where the wind-up is not known.

    The wind-up is that of the cycles: in the second half of a rise the plates surely stick, and the lever turns by it alone.
    """
    if c.angle_deg is None or cycles.peak.size < 2:
        return None
    top = cycles.peak[1:]
    middle = (cycles.trough[:-1] + top) // 2
    torque = course.smooth_nm
    risen = torque[top] - torque[middle]
    usable = risen > FULL_CYCLE * median(cycles.height_nm)
    if np.count_nonzero(usable) < 2:
        return None
    compliance = median((c.angle_deg[top] - c.angle_deg[middle])[usable] / risen[usable])
    return c.angle_deg - compliance * torque if compliance > 0 else None


def _stopped(plates: Floats, peaks: Indices, ends: Indices, troughs: Indices, step_deg: float, rules: ChatterRules) -> Indices:
    """Where the plates have stopped after each peak, by their angle; the trough of the torque where that does not tell.

    While the plates slip the torque has long fallen and may ring; what tells is that they have turned nearly all of the slip.
    """
    found = troughs.copy()
    for at, (peak, end) in enumerate(zip(peaks, ends, strict=True)):
        # Where they stand in the second half of the rise; at the peak itself they creep already.
        middle = (troughs[at] + end) // 2
        stand = median(plates[middle : max(middle, end - (end - middle) // 4) + 1])
        slip = stand - float(plates[peak])
        short = max(rules.slip_left * slip, rules.steps_left * step_deg)
        there = np.flatnonzero(plates[peak : end + 1] >= stand - short)
        if slip > 2 * short and there.size:
            found[at] = max(troughs[at], peak + int(there[0]))
    return found
