"""A piece of the stream as it is kept."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.trace import Trace, rises

_DECIMALS = 6
"""A sample is kept to a microsecond, a millionth of a N.m and of a degree: far below any sensor, and short in the file."""


def kept(piece: Trace) -> Trace:
    """The piece as it is kept: rounded once, so that the file, the live reading and a replay hold the very same numbers."""
    time_s = np.round(piece.time_s, _DECIMALS)
    if not rises(time_s):
        time_s = piece.time_s
    angle_deg = None if piece.angle_deg is None else np.round(piece.angle_deg, _DECIMALS)
    return Trace(time_s, np.round(piece.torque_nm, _DECIMALS), angle_deg)


@dataclass(frozen=True, slots=True)
class Taken:
    """A piece as it is kept and as the recorder has it. `run` counts how often the device's time began anew."""

    piece: Trace
    run: int
