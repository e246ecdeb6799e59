"""Makes written by somebody who did not work on the reading, unseen by those who did: other filters, other faults.

Importing this joins them to `pull_makes`; `makes(n, seed, tuple(FRESH))` draws them.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.random import Generator
from scipy.ndimage import median_filter
from scipy.signal import cheby1, lfilter, sosfilt, sosfilt_zi
from support import pull_kinds as usual
from support.pull_hand import Draft
from support.pull_makes import Make, Seen, _log, big_ripple, join, slow_chatter


def sharp_filter(s: Seen) -> None:
    """A steep filter that overshoots."""
    band_hz = _log(s.rng, 6.0, 40.0)
    if band_hz < 0.4 * s.rate:
        sos = cheby1(4, 0.5, band_hz, fs=s.rate, output="sos")
        gain = float(np.prod(sos[:, :3].sum(axis=1) / sos[:, 3:].sum(axis=1)))
        s.torque = np.asarray(sosfilt(sos, s.torque, zi=sosfilt_zi(sos) * s.torque[0])[0]) / gain


def running_median(s: Seen) -> None:
    """An indicator that sends the median of the last 30 to 80 ms."""
    width = max(3, round(_log(s.rng, 0.03, 0.08) * s.rate) | 1)
    s.torque = np.asarray(median_filter(s.torque, width, mode="nearest", origin=width // 2))


def sensor_hysteresis(s: Seen) -> None:
    """What loads up reads less than what loads down (a play of 0.1 to 0.4 % of the load)."""
    play = s.rng.uniform(0.001, 0.004) * s.peak
    out, at = np.empty_like(s.torque), s.torque[0]
    for i, value in enumerate(s.torque.tolist()):
        at = min(max(at, value - play), value + play)
        out[i] = at
    s.torque = out
    s.known_b += play
    s.known_s += play


def drops_out(s: Seen) -> None:
    """The converter sends zero for 3 to 10 samples, now and then."""
    for at in s.rng.integers(20, s.torque.size - 20, int(s.rng.integers(2, 7))):
        s.torque[at : at + int(s.rng.integers(3, 11))] = 0.0
    s.faults.append("burst")


def warm_hand(s: Seen) -> None:
    """A warm hand on the sensor: the zero goes off and settles elsewhere within seconds."""
    begin = s.rng.uniform(0.0, 1.0)
    s.torque = s.torque + s.rng.choice([-1, 1]) * s.rng.uniform(0.005, 0.03) * s.peak * (
        1 - np.exp(-np.maximum(s.time - s.time[0] - begin, 0) / s.rng.uniform(1.0, 4.0))
    )
    s.faults.append("drift")


def sticks_at_top(s: Seen) -> None:
    """An amplifier at its end that needs 20 to 60 ms to come back."""
    top = s.rng.uniform(0.75, 0.97) * s.peak
    over = np.convolve(s.torque > top, np.ones(max(1, round(s.rng.uniform(0.02, 0.06) * s.rate))))[: s.torque.size] > 0
    s.torque = np.where(over, top, s.torque)
    s.faults.append("clipped")


def bends_over(s: Seen) -> None:
    """A sensor that softens into its end: no edge, the last quarter is lost by and by."""
    knee = s.rng.uniform(0.6, 0.8) * s.peak
    s.torque = np.where(s.torque > knee, knee + 0.15 * s.peak * np.tanh((s.torque - knee) / (0.15 * s.peak)), s.torque)
    s.faults.append("clipped")


def lost_counts(s: Seen) -> None:
    """An encoder that misses counts whenever it turns fast."""
    if s.angle is not None:
        step = np.diff(s.angle, prepend=s.angle[0])
        limit = np.quantile(np.abs(step), s.rng.uniform(0.6, 0.95))
        s.angle = s.angle[0] + np.cumsum(np.clip(step, -limit, limit))
    s.faults.append("angle")


def host_stamps(s: Seen) -> None:
    """Stamps by the computer: samples come in bunches of 4 to 20 ms, their times spread anew with an error of their own."""
    bunch = max(2, round(s.rng.uniform(0.004, 0.02) * s.rate))
    shift = np.repeat(s.rng.uniform(0, 0.8 / s.rate, s.time.size // bunch + 1), bunch)[: s.time.size]
    s.time = s.time + shift


def slow_hum(s: Seen) -> None:
    """A machine in the house: 10 to 30 Hz, 0.3 to 1.5 % of the peak, at rest as under load."""
    height = _log(s.rng, 0.003, 0.015) * s.peak
    s.torque = s.torque + height * np.sin(2 * np.pi * s.rng.uniform(10, 30) * s.time + s.rng.uniform(0, 6))
    s.known_b += height
    s.faults.append("hum")


def rings_on(s: Seen) -> None:
    """A sensor with a resonance of its own, hardly damped, of 15 to 60 Hz."""
    hz, damping = _log(s.rng, 15, 60), s.rng.uniform(0.02, 0.1)
    if hz < 0.2 * s.rate:
        w = 2 * np.pi * hz / s.rate
        r = np.exp(-damping * w)
        a = [1.0, -2 * r * np.cos(w * np.sqrt(1 - damping**2)), r * r]
        s.torque = s.torque[0] + np.asarray(lfilter([sum(a)], a, s.torque - s.torque[0]))
    s.known_b += 0.01 * s.peak


def wavy_chatter(d: Draft, rng: Generator) -> None:
    slow_chatter(d, rng)
    d.orders = ((float(rng.integers(2, 6)), rng.uniform(0.05, 0.12)),)


def short_way(d: Draft, rng: Generator) -> None:
    """A man in a narrow corner: 15 to 30 degrees, then he lets go."""
    d.speed_deg_s, d.slide_s = rng.uniform(15, 30), rng.uniform(0.7, 1.2)


def eager(d: Draft, rng: Generator) -> None:
    d.ramp_s, d.rest_s, d.speed_deg_s, d.slide_s = (
        rng.uniform(0.12, 0.3),
        rng.uniform(0.5, 0.8),
        rng.uniform(60, 120),
        rng.uniform(0.6, 1.2),
    )


NEW_FAULTS: dict[str, Callable[[Seen], None]] = {
    f.__name__: f
    for f in (sharp_filter, running_median, sensor_hysteresis, drops_out, warm_hand, sticks_at_top, bends_over, lost_counts,
              host_stamps, slow_hum, rings_on)
}  # fmt: skip
FRESH: dict[str, Make] = {
    **{f"fresh_{name}": Make(faults=(name,)) for name in NEW_FAULTS},
    "fresh_bristle_sharp": Make(faults=("sharp_filter",), bristles=True, reacts=True),
    "fresh_chatter_median": Make((slow_chatter,), ("running_median",)),
    "fresh_wavy_chatter": Make((wavy_chatter,)),
    "fresh_ripple_lost_counts": Make((big_ripple,), ("lost_counts",)),
    "fresh_slow_stream": Make(rate_hz=(50, 80, 100)),
    "fresh_slow_stream_bristle": Make(bristles=True, rate_hz=(50, 80, 100)),
    "fresh_short_way": Make((short_way,)),
    "fresh_eager": Make((eager,)),
    "fresh_eager_sharp": Make((eager,), ("sharp_filter",)),
    "fresh_lash_warm_hand": Make((usual._lash,), ("warm_hand",)),
}
join(NEW_FAULTS, FRESH)
