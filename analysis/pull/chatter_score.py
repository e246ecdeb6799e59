"""The probability that cycles are stick-slip: a logistic function of features, fitted to simulated pulls of known truth."""

from __future__ import annotations

import math
from dataclasses import dataclass

FAST_HZ, FAST_WIDTH_HZ = 16.0, 3.0
"""Where the slow regime of chatter passes into the fast one."""
STEEPNESS, OVER_NOISE, CYCLES = (0.5, 20.0), (5.0, 200.0), (3.0, 40.0)
"""From nothing to all that these features can say, on the logarithm: fall over rise, height over noise, number of cycles."""
SLIP_SHARES = (-0.2, 1.1)
"""From nothing to all that the share of the turning during falls can say."""
FARTHEST = 30.0
"""Of the logistic argument: no probability is nearer to nothing or all."""


@dataclass(frozen=True, slots=True)
class ChatterFeatures:
    """What the score is made of, each a number of its own.

    cycles          falls counted
    height          median fall over the sliding torque
    over_noise      median fall over the noise
    rate_hz         one over the median period
    mean_s          mean period, pauses and regrips left out
    fall_over_rise  the steepest falls over the steepest rises: a sawtooth falls faster than it climbs
    rise_share      share of the period spent rising
    irregular       median deviation of the periods from their median, over it
    coverage        share of the sliding time that lies in cycles
    rest_share      height of the wiggle at rest over the cycles' height: hum is there at rest too
    sinusoid        share of the variance in one line of the spectrum: tremor and hum are near-sinusoidal
    slip_share      share of the turning done during the falls, beyond what their time explains; nan without an angle.
                    Plates that stick turn only while the torque falls; a ripple turns all the time
    stuck           share of the time in which the unit (lever less wind-up) hardly turns; nan without an angle
    """

    cycles: int
    height: float
    over_noise: float
    rate_hz: float
    mean_s: float
    fall_over_rise: float
    rise_share: float
    period_jitter: float
    coverage: float
    rest_share: float
    sinusoid: float
    slip_share: float
    stuck: float


def terms(features: ChatterFeatures) -> tuple[float, ...]:
    """The terms of the logistic score, in the order of `WITHOUT_ANGLE`.

    With an angle come `slip_share`, `stuck` and how far a fast swing slips.
    """

    def log_between(value: float, low: float, high: float) -> float:
        return math.log(min(max(value, low), high))

    f = features
    # Nothing but stick-slip swings faster than a hand while sliding and not at rest; slower, a hand's tremor may.
    fast = 1.0 / (1.0 + math.exp(-(f.rate_hz - FAST_HZ) / FAST_WIDTH_HZ))
    rest = min(f.rest_share, 1.0)
    common = (
        1.0,
        log_between(f.fall_over_rise, *STEEPNESS),
        f.rise_share,
        rest,
        f.sinusoid,
        fast,
        fast * rest,
        (1.0 - fast) * f.sinusoid,
        log_between(f.over_noise, *OVER_NOISE),
        f.period_jitter,
        f.coverage,
        log_between(f.cycles, *CYCLES),
    )
    if math.isnan(f.slip_share):
        return common
    slip = min(max(f.slip_share, SLIP_SHARES[0]), SLIP_SHARES[1])
    return (*common, slip, f.stuck, fast * slip)


# Fitted to simulated pulls of known truth by tests/speed/chatter_fit.py, which prints them anew.
WITHOUT_ANGLE = (-24.36, 4.16, 2.94, -1.17, 0.79, 4.29, 0.36, -1.85, 1.23, -2.75, 1.19, 3.17)
WITH_ANGLE = (-15.87, 2.20, 1.86, -0.44, -0.33, -0.37, 0.10, 1.26, 0.61, -0.85, 1.12, 1.27, 5.82, 2.91, 1.35)


def score(features: ChatterFeatures) -> float:
    """Probability that these cycles are stick-slip: a logistic function of the terms."""
    values = terms(features)
    weights = WITHOUT_ANGLE if len(values) == len(WITHOUT_ANGLE) else WITH_ANGLE
    z = sum(weight * value for weight, value in zip(weights, values, strict=True))
    return 1.0 / (1.0 + math.exp(-max(-FARTHEST, min(FARTHEST, z))))
