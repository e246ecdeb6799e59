"""Samples that came in packets and were stamped as they came: their own times are even again."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.trace import Floats, Trace


@dataclass(frozen=True, kw_only=True, slots=True)
class PacketRules:
    """When the stamps of a trace are arrivals of packets, each with its reason."""

    pause: float = 4.0  # between packets so many times the mean step passes ...
    within: float = 0.25  # ... and within them less than this share of it
    share: float = 0.6  # this share of all steps at least lies within packets ...
    fewest: int = 10  # ... and there are so many of them
    longest: float = 4.0  # a packet of more samples than so many times the usual one is none: a gap in even samples
    off_line_s: float = 0.2  # an arrival later than this is not a radio's delay: samples were lost


def spread_packets(trace: Trace, rules: PacketRules | None = None) -> Trace:
    """The trace with even times where its samples came in packets; else the trace itself.

    A radio or a USB port hands over several samples at once. Where a file holds the moments of arrival, the samples of a packet
    lie a fraction of a millisecond apart, and slopes, rate and rests are wrong by a factor. The sensor itself sampled evenly: its
    times are the straight line through the arrivals of the packets' last samples, or from one to the next where samples were lost.

    Parameters
    ----------
    trace
        (n,) as it was stamped.
    rules
        Thresholds; None: the usual ones.

    Returns
    -------
    Trace
        With the torque and angle of the one given; times in s.
    """
    rules = rules or PacketRules()
    steps = np.diff(trace.time_s)
    if steps.size < rules.fewest:
        return trace
    mean_s = float(steps.mean())
    within, pause = steps < rules.within * mean_s, np.flatnonzero(steps > rules.pause * mean_s)
    sizes = np.diff(pause)
    if within.mean() < rules.share or pause.size < rules.fewest or sizes.max() > rules.longest * float(np.median(sizes)):
        return trace
    last = np.append(pause, steps.size)
    arrival_s = trace.time_s[last]
    rate, begin_s = np.polyfit(last, arrival_s, 1)
    index = np.arange(trace.time_s.size)
    time_s: Floats = begin_s + rate * index
    if float(np.abs(arrival_s - time_s[last]).max()) > rules.off_line_s:
        time_s = np.interp(index, last, arrival_s)
        first = last[0]
        time_s[:first] = arrival_s[0] - rate * (first - index[:first])
    return Trace(time_s, trace.torque_nm, trace.angle_deg)
