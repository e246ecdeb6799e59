"""SensorLog: what the sensor went through while its line is open: the zeros around its pulls, and how far it was exercised."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from analysis.results import Calibration, PullResult

EXERCISE_LOADS = 3
"""So often is a sensor loaded to its highest torque, each way, before it is used (common practice, no source; trade notes 6)."""
NEAR = 0.9
"""A load by hand counts as the same torque from this share on (common practice, no source)."""
FAR_OFF = 0.05
"""Share of capacity: a zero further off means something hangs on the sensor, or it was overloaded (common practice, no source)."""
SOON_DAYS = 30
"""So many days before a calibration is due it is said."""
QUIET_S = 8.0
"""After so long without a load an exercise one way counts as done: not every bench can be loaded both ways."""
ZERO_SHARE_OF_RESULT, ZERO_SHARE_OF_RANGE = 0.01, 0.005
"""A zero that moved by more than this over a series spoils it (trade notes 6; common practice, no source)."""


def zero_moved(zeros_nm: Sequence[float | None], result_nm: float, capacity_nm: float | None = None) -> bool:
    """Whether any two zeros, before and after the pulls of a series, differ by too much; unknown ones (None) say nothing.

    Parameters
    ----------
    zeros_nm
        Torques at rest, N.m, in any order.
    result_nm
        What the series gave, N.m; the sign does not matter.
    capacity_nm
        Of the sensor, N.m; None: not known, and only the result sets the limit.

    Returns
    -------
    bool
        True where the farthest two differ by more than 1 % of the result or 0.5 % of capacity, the smaller of them.
    """
    known = [zero for zero in zeros_nm if zero is not None]
    limit_nm = ZERO_SHARE_OF_RESULT * abs(result_nm)
    if capacity_nm is not None:
        limit_nm = min(limit_nm, ZERO_SHARE_OF_RANGE * capacity_nm)
    return len(known) > 1 and max(known) - min(known) > limit_nm


def far_off(zero_nm: float, capacity_nm: float | None) -> bool:
    """Whether a zero is so far off that the sensor should be looked at.

    Parameters
    ----------
    zero_nm
        Torque at rest, N.m, with its sign.
    capacity_nm
        Of the sensor, N.m; None: not known, and nothing is said.

    Returns
    -------
    bool
        True beyond 5 % of capacity.
    """
    return capacity_nm is not None and abs(zero_nm) > FAR_OFF * capacity_nm


@dataclass(slots=True)
class SensorLog:
    """Loads by direction, and zeros, since the line was opened (zeros: since the zero was last set). Torques as they are read."""

    capacity_nm: float | None = None
    calibration: Calibration | None = None
    zeros_nm: list[float | None] = field(default_factory=list)
    _loads_nm: dict[int, list[float]] = field(default_factory=lambda: {1: [], -1: []})

    def add_load(self, direction: int, torque_nm: float) -> int:
        """Note a load; how many there were as high as the highest of that direction, 0 where this one is not.

        Parameters
        ----------
        direction
            1 or -1.
        torque_nm
            The highest torque of the load, a magnitude in N.m.

        Returns
        -------
        int
            Loads of that direction from 90 % of its highest on, this one among them; 0 where this one is below that.
        """
        loads = self._loads_nm[direction]
        loads.append(torque_nm)
        enough_nm = NEAR * max(loads)
        return sum(load >= enough_nm for load in loads) if torque_nm >= enough_nm else 0

    def forget_loads(self) -> None:
        """An exercise begins: what was loaded before does not count towards it."""
        for loads in self._loads_nm.values():
            loads.clear()

    def exercised_nm(self, direction: int) -> float:
        """The torque that way which was reached often enough to count as exercised; 0 before that."""
        loads = sorted(self._loads_nm[direction], reverse=True)
        return loads[EXERCISE_LOADS - 1] if len(loads) >= EXERCISE_LOADS else 0.0

    def exercised_both_ways(self) -> bool:
        """Whether each direction was loaded often enough to its highest."""
        return all(self.exercised_one_way(direction) for direction in (1, -1))

    def exercised_one_way(self, direction: int) -> bool:
        """Whether this direction was loaded often enough to its highest."""
        loads = self._loads_nm[direction]
        return bool(loads) and self.exercised_nm(direction) >= NEAR * max(loads)

    def zero_has_moved(self, result_nm: float) -> bool:
        """Whether the zeros so far differ by more than a result of this size may bear."""
        return zero_moved(self.zeros_nm, result_nm, self.capacity_nm)

    def add_pull(self, result: PullResult) -> tuple[str, ...]:
        """Note a pull with its zeros; codes for what is to be said of the sensor (see `PullResult.calibration_flags`)."""
        self.zeros_nm += [result.zero_nm, result.zero_after_nm]
        reading = result.breakaway or result.sliding
        if reading is None or result.direction is None:
            return ()
        codes = ["zero_moved"] if self.zero_has_moved(reading.torque_nm) else []
        # Without a calibration the sensor's error is unknown by far more than exercise could change.
        if self.calibration is not None and self.exercised_nm(result.direction) < NEAR * reading.torque_nm:
            codes.append("not_exercised")
        self.add_load(result.direction, reading.torque_nm)
        return tuple(codes)
