"""ExerciseWatch: loads that exercise the sensor (preload cycles) are counted each way until there were enough."""

from __future__ import annotations

import numpy as np

from analysis.sensor.zero_history import QUIET_S, SensorLog
from analysis.trace import Trace
from rig.live.news import Exercised


class ExerciseWatch:
    """Whether an exercise is on, and what it has seen; the loads themselves stand in the sensor's log."""

    def __init__(self, log: SensorLog) -> None:
        self._log = log
        self._loaded_s = -np.inf
        self.on = False

    def begin(self) -> None:
        """From now on loads count; what was loaded before does not."""
        self.on = True
        self._log.forget_loads()

    def end(self) -> None:
        """Loads are pulls again."""
        self.on = False

    def load(self, trace: Trace, zero_nm: float) -> Exercised:
        """A load was put on and let go; `over` where each way has had enough."""
        torque_nm = trace.torque_nm - zero_nm
        direction = 1 if torque_nm.max() >= -torque_nm.min() else -1
        peak_nm = float(np.abs(torque_nm).max())
        times = self._log.add_load(direction, peak_nm)
        self._loaded_s = float(trace.time_s[-1])
        return Exercised(direction, peak_nm, times, self._log.exercised_both_ways())

    def over_one_way(self, now_s: float) -> bool:
        """Whether one way is done and nobody loads the other: not every bench can be loaded both ways."""
        return self.on and now_s - self._loaded_s > QUIET_S and any(map(self._log.exercised_one_way, (1, -1)))
