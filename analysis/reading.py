"""Reading one pull: the only composer of the parts."""

from __future__ import annotations

import numpy as np

from analysis.results import Breakaway, BudgetLine, Chatter, Doubt, DoubtCode, PullResult, Sensor, Sliding
from analysis.trace import Trace
from analysis.uncertainty import calibration_line, combine

UNKNOWN_SENSOR = Sensor()


def read_pull(trace: Trace, sensor: Sensor = UNKNOWN_SENSOR) -> PullResult:
    """Read one pull: labels, breakaway, sliding, chatter, doubts. Never raises on a Trace, whatever it holds."""
    n = len(trace)
    rate = None if n < 2 else 1.0 / float(np.median(np.diff(trace.time_s)))
    nothing = Chatter(assessable=False, score=0.0, why_not="no_sliding")
    if n < 10:
        return PullResult(n, trace.duration_s, rate, None, (), None, None, nothing, (Doubt(DoubtCode.NO_PULL),))
    rest = max(3, int(0.05 * n))
    zero, noise = float(np.median(trace.torque_nm[:rest])), float(np.std(trace.torque_nm[:rest]))
    torque = trace.torque_nm - zero
    sign = 1 if torque.max() >= -torque.min() else -1
    torque = torque * sign
    peak = int(np.argmax(torque))
    if torque[peak] < max(20 * noise, 1e-9):
        return PullResult(n, trace.duration_s, rate, None, (), None, None, nothing, (Doubt(DoubtCode.NO_PULL),), zero, noise)
    lines = [line for line in (calibration_line(float(torque[peak]), sensor),) if line]
    budget = combine([*lines, BudgetLine("noise", noise)])
    angle = trace.angle_deg
    held = torque > 0.5 * torque[peak]
    after = np.flatnonzero(held & (np.arange(n) > peak + n // 20))
    sliding = None
    if after.size > 10:
        span = after[: after.size * 9 // 10]
        sliding = Sliding(
            float(torque[span].mean()),
            float(trace.time_s[span[0]]),
            float(trace.time_s[span[-1]]),
            None if angle is None else float(abs(angle[span[-1]] - angle[span[0]])),
            budget,
        )
    return PullResult(
        n,
        trace.duration_s,
        rate,
        sign,
        (),
        Breakaway(float(torque[peak]), float(trace.time_s[peak]), None if angle is None else float(angle[peak]), budget),
        sliding,
        nothing,
        (),
        zero,
        noise,
    )
