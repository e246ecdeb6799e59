"""The live picture: the last minute of the stream, the torque now, the highest of the pull under way. No Qt."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.trace import Trace
from analysis.window import Window
from rig.window.axes import angle_range, torque_range
from rig.window.decimation import NO_CURVE, Curve, LiveRing


@dataclass(frozen=True, slots=True)
class Live:
    """The live curves. Times in s before the newest sample (0 or less), torque in the chosen unit, zero offset taken off."""

    over_time: Curve
    over_angle: Curve
    low: float
    high: float
    turned: tuple[float, float] = (-5.0, 95.0)


class LivePicture:
    """Fed with the pieces of the stream as the session corrected them."""

    def __init__(self, span_s: float = 60.0) -> None:
        self.ring = LiveRing(span_s)
        self.zero_nm = 0.0
        self.now_nm: float | None = None
        self.peak_nm: float | None = None
        self._pull_from_s: float | None = None
        self._pulling = False

    def clear(self) -> None:
        """Another line: nothing of the one before is shown."""
        self.ring.clear()
        self.zero_nm, self.now_nm, self.peak_nm, self._pull_from_s, self._pulling = 0.0, None, None, None, False

    def pull_began(self, from_s: float) -> None:
        """From now on the highest torque is that of this pull."""
        self._pull_from_s, self.peak_nm, self._pulling = from_s, None, True

    def pull_ended(self) -> None:
        """The highest torque stays as it is."""
        self._pulling = False

    def add(self, piece: Trace, zero_nm: float) -> None:
        """A piece of the stream, and the torque at rest as it is known now."""
        self.ring.add(piece)
        self.zero_nm = zero_nm
        self.now_nm = float(piece.torque_nm[-1]) - zero_nm
        if self._pulling:
            highest = max(abs(float(piece.torque_nm.max()) - zero_nm), abs(float(piece.torque_nm.min()) - zero_nm))
            self.peak_nm = highest if self.peak_nm is None else max(self.peak_nm, highest)

    def curves(self, span_s: float, columns: int, window: Window | None, per_nm: float, *, with_angle: bool = True) -> Live:
        """The live curves over the last `span_s`; over angle only the pull under way (or the last one), empty if not wished."""
        newest = self.ring.newest_s
        if newest is None:
            return Live(NO_CURVE, NO_CURVE, *range_of(NO_CURVE, window, per_nm))
        zero = self.zero_nm * per_nm
        raw = self.ring.over_time(newest - span_s, columns, per_nm)
        over_time = Curve(raw.x - newest, raw.y - zero, raw.broken)
        over_angle = NO_CURVE
        if with_angle and self._pull_from_s is not None:
            turned = self.ring.over_angle(self._pull_from_s, columns, per_nm)
            if turned.x.size:
                over_angle = Curve(turned.x - turned.x[0], turned.y - zero)
        return Live(over_time, over_angle, *range_of(over_time, window, per_nm), turned=angle_range(over_angle))


def range_of(curve: Curve, window: Window | None, per_nm: float) -> tuple[float, float]:
    """Steady limits of the torque axis that show the curve and the window."""
    lowest, highest = (float(np.nanmin(curve.y)), float(np.nanmax(curve.y))) if curve.y.size else (0.0, 0.0)
    return torque_range(lowest, highest, window, per_nm)
