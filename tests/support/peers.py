"""Other ways to read a pull, for comparison: what a practised person writes with scipy, and the same round `ruptures`.

Neither knows anything of ours; both get the same trace, and the sensor's capacity where it is known.
"""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.signal import detrend, medfilt, welch
from support.scoring import Answer

from analysis.trace import Trace

Floats = NDArray[np.floating[Any]]


def scipy_script(trace: Trace, capacity_nm: float | None = None) -> Answer:
    """Median filter against spikes, maximum for breakaway, mean after it for sliding, Welch's peak for chatter."""
    torque, rate, noise = _levelled(trace)
    if torque.size < 20:
        return Answer(found=False)
    peak = int(np.argmax(torque))
    if torque[peak] < max(20 * noise, 0.02 * (capacity_nm or 0.0)):
        return Answer(found=False)
    after = np.flatnonzero((torque > 0.5 * torque[peak]) & (np.arange(torque.size) > peak + 0.5 * rate))
    if after.size < 20:
        return Answer(found=True, breakaway_nm=float(torque[peak]), assessable=False)
    span = torque[after[0] : after[after.size * 95 // 100] + 1]
    return _with_chatter(float(torque[peak]), span, rate)


def ruptures_script(trace: Trace, capacity_nm: float | None = None) -> Answer:
    """Change points of level and slope cut the pull; the longest high piece is sliding, the maximum before it breakaway."""
    import ruptures  # type: ignore[import-untyped]

    torque, rate, noise = _levelled(trace)
    if torque.size < 20 or torque.max() < max(20 * noise, 0.02 * (capacity_nm or 0.0)):
        return Answer(found=False)
    thin = max(1, torque.size // 400)
    signal = torque[: torque.size // thin * thin].reshape(-1, thin).mean(axis=1)
    high = float(signal.max())
    model = ruptures.KernelCPD(kernel="linear", min_size=4).fit((signal / high).reshape(-1, 1))
    ends = [0, *model.predict(pen=0.05 * np.log(signal.size))]
    pieces = [(a, b) for a, b in itertools.pairwise(ends) if signal[a:b].mean() > 0.5 * high]
    if not pieces:
        return Answer(found=True, breakaway_nm=float(torque.max()), assessable=False)
    first, last = max(pieces, key=lambda piece: piece[1] - piece[0])
    edge = (last - first) // 10
    span = torque[(first + edge) * thin : (last - edge) * thin]
    before = torque[: max(last * thin // 2 + first * thin // 2, 1)]
    return _with_chatter(float(before.max()), span, rate)


def _levelled(trace: Trace) -> tuple[Floats, float, float]:
    """Torque against the mean of the first 0.25 s, median filtered, positive; rate and noise."""
    if len(trace) < 20:
        return trace.torque_nm, 0.0, 0.0
    rate = 1.0 / float(np.median(np.diff(trace.time_s)))
    rest = max(5, int(0.25 * rate))
    torque = medfilt(trace.torque_nm, 5)
    torque = torque - torque[:rest].mean()
    noise = float(torque[:rest].std())
    return (torque if torque.max() > -torque.min() else -torque), rate, noise


def _with_chatter(peak: float, span: Floats, rate: float) -> Answer:
    level = float(span.mean())
    if span.size < 64:
        return Answer(found=True, breakaway_nm=peak, sliding_nm=level, assessable=False)
    hertz, power = welch(detrend(span), fs=rate, nperseg=min(span.size, int(2 * rate)))
    band = (hertz >= 1.5) & (hertz <= 150)
    if not band.any():
        return Answer(found=True, breakaway_nm=peak, sliding_nm=level, assessable=False)
    at = int(np.argmax(np.where(band, power, 0)))
    # Height of the line at the peak, relative to the level, if it stands out of the rest of the band.
    height = float(np.sqrt(2 * power[max(0, at - 1) : at + 2].sum() * (hertz[1] - hertz[0]))) / max(level, 1e-12)
    stands_out = bool(power[at] > 20 * np.median(power[band]))
    return Answer(
        found=True, breakaway_nm=peak, sliding_nm=level, score=height if stands_out else 0.0,
        present=stands_out and height > 0.02, rate_hz=float(hertz[at]),
    )  # fmt: skip
