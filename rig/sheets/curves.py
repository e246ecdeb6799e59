"""The curves of a job's pulls: as found and as it goes out, on the same axes, against the window."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from analysis.units import in_unit
from analysis.window import Window
from rig.files.pull_file import Recording
from rig.sheets import drawings
from rig.sheets.blocks import Block, Columns
from rig.sheets.phrases import Phrases

BEFORE_DEG, LEAST_DEG, MOST_DEG = 25.0, 30.0, 120.0
"""Of a curve by angle: so much before breakaway is drawn, and between these much after it."""
BEFORE_S, LEAST_S, MOST_S = 3.0, 3.0, 12.0
"""The same of a curve by time, where no angle was measured."""
HEAD_ROOM = 1.08
"""The torque axis ends this much above the highest value."""
NO_CURVE_NM = 100.0
"""Height of the axis where there is neither curve nor window."""
MOST_CURVES = 6
"""Of one state, each way: more only cover each other."""


def curves_of(
    found: Mapping[str, Any] | None,
    final: Mapping[str, Any] | None,
    recordings: Mapping[int, Recording],
    window: Window | None,
    phrases: Phrases,
) -> Block:
    """As found and as it goes out, side by side on the same axes, against the window."""
    say, unit = phrases.say, phrases.unit
    panels = [(say("as found"), _of_series(found, recordings)), (say("as it goes out"), _of_series(final, recordings))]
    by_angle = all(one.trace.angle_deg is not None for _, pulls in panels for one in pulls)
    curves = [(title, [curve for one in pulls if (curve := _curve(one, by_angle, unit)) is not None]) for title, pulls in panels]
    ends_nm = (None, None) if window is None else (window.low_nm, window.high_nm)
    low, high = (None if end is None else in_unit(end, unit) for end in ends_nm)
    limits = None if window is None else (low, high)
    tops = [float(curve.torque.max()) for _, those in curves for curve in those if curve.torque.size]
    tops += [end for end in (low, high) if end is not None]
    top = max(tops, default=in_unit(NO_CURVE_NM, unit)) * HEAD_ROOM
    ends = [float(curve.along[-1]) for _, those in curves for curve in those]
    before, least, most = (BEFORE_DEG, LEAST_DEG, MOST_DEG) if by_angle else (BEFORE_S, LEAST_S, MOST_S)
    frame = drawings.Frame(86.0, 50.0, (-before, min(most, max(least, *ends, least))), (0.0, top))
    legend = ((say("first direction"), False), (say("other way"), True))
    plots = tuple(
        drawings.plot(
            frame,
            those,
            title=title if those else say("{state}: no curve", state=title),
            x_label=say("angle of the lever after breakaway [°]") if by_angle else say("time after breakaway [s]"),
            y_label=say("torque [{unit}]", unit=phrases.torque_unit()),
            band=limits,
            legend=legend,
            alt=say("Torque of {n} pulls, {state}, with the window as a band.", n=len(those), state=title),
        )
        for title, those in curves
    )
    return Columns(tuple((plot,) for plot in plots), (1.0, 1.0))


def _of_series(series: Mapping[str, Any] | None, recordings: Mapping[int, Recording]) -> list[Recording]:
    """Recordings of a series, a few each way."""
    entries = [] if series is None else list(series.get("entries") or ())
    read = [recordings[entry] for entry in entries if entry in recordings]
    ways = ([one for one in read if one.result.direction != -1], [one for one in read if one.result.direction == -1])
    return [one for way in ways for one in way[:MOST_CURVES]]


def _curve(one: Recording, by_angle: bool, unit: str) -> drawings.Curve | None:
    """A pull from its breakaway on, as a magnitude; None where it has none."""
    breakaway = one.result.breakaway
    if breakaway is None or one.result.direction is None:
        return None
    sign = one.result.direction
    along = one.trace.time_s - breakaway.time_s
    if by_angle and one.trace.angle_deg is not None:
        at = int(np.searchsorted(one.trace.time_s, breakaway.time_s))
        turned = one.trace.angle_deg - one.trace.angle_deg[min(at, len(one.trace) - 1)]
        along = turned * (-1.0 if float(turned[-1] - turned[0]) < 0 else 1.0)
    zero = one.result.zero_nm or 0.0
    torque = sign * (one.trace.torque_nm - zero)
    scale = in_unit(1.0, unit)
    return drawings.Curve(np.asarray(along), np.asarray(torque * scale), sign == -1)
