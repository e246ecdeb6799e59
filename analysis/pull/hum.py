"""Mains hum: found at rest, followed through the pull, to be taken off."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import median_filter, uniform_filter1d

from analysis.pull.noise import fast_length
from analysis.trace import Floats

FINER = 4
"""The spectrum is padded to so many times the rest, so that a line lies near one of its own."""
FINE_TURNS, MOST_TRIED, FEWEST_TRIED = 0.2, 161, 9
"""The frequency is sought in steps that turn the phase over the whole trace by this share; at so many frequencies at a time."""
NYQUIST = 0.499
"""Of the sampling rate: hum is told up to here."""
ALTERNATES_SHARE, ALTERNATES_LEAST, ALTERNATES_OVER = 0.93, 100, 11
"""Hum at half the rate changes sign in this share of the samples, of so many at least; its height stands still over so many."""
GOOD_SHARE = 0.3
"""Hum that can be followed through less of the pull than this is not taken out."""


@dataclass(frozen=True, kw_only=True, slots=True)
class HumRules:
    """When a line at rest is hum, and how it is followed."""

    least_hz: float = 15.0  # slower wiggle at rest is no mains hum
    share: float = 0.3  # a line this strong in the rest's variance is hum, to be taken off
    rest_s: float = 0.15  # less rest than this cannot tell hum's phase
    follow_s: float = 0.12  # hum's phase is followed through the pull over this span ...
    alike: float = 0.35  # ... where its amplitude is that at rest to within this share
    rate_hz: float = 600.0  # the rest is looked at at about this rate: enough for the mains and two harmonics
    rest_most_s: float = 2.0  # and no more of it than this
    lines: int = 3  # the mains and two harmonics


def hum_at_rest(time_s: Floats, torque_nm: Floats, step_s: float, rests: list[slice], rules: HumRules) -> Floats:
    """Mains hum as it stood at rest, carried on through the pull; zeros where there is none.

    1. A line of the spectrum at rest that holds a good share of the variance is hum.
    2. Its frequency comes from that spectrum, then, where there is rest before and after the pull, from the phase that both
       share, which pins it to a small part of a hertz; amplitude by least squares over the rests alone, so that nothing
       the plates do is taken for hum.

    Parameters
    ----------
    time_s
        (n,) rising.
    torque_nm
        (n,) counted from rest.
    step_s
        The usual time between samples, s.
    rests
        The stretches at rest, as slices of the trace; those shorter than `rest_s` are left out.
    rules
        Thresholds.

    Returns
    -------
    array
        (n,) N.m, to be taken off.
    """
    hum = np.zeros(torque_nm.size)
    rests = [r for r in rests if (r.stop - r.start) * step_s >= rules.rest_s]
    if not rests:
        return hum
    thin = max(1, int(1.0 / (rules.rate_hz * step_s)))
    most = max(1, round(rules.rest_most_s / step_s))
    # The samples nearest the pull tell most of the hum in it.
    cut = [
        slice(max(r.start, r.stop - most), r.stop) if r.start == 0 else slice(r.start, min(r.stop, r.start + most)) for r in rests
    ]
    times = [_thinned(time_s[r], thin) for r in cut]
    parts = [_thinned(torque_nm[r], thin) for r in cut]
    parts = [part - part.mean() for part in parts]
    time, left = np.concatenate(times), np.concatenate(parts)
    longest = max(range(len(parts)), key=lambda k: parts[k].size)
    first = sum(part.size for part in parts[:longest])
    for _ in range(rules.lines):
        rest = left[first : first + parts[longest].size]
        near = _line(rest, step_s * thin, rules)
        if near is None:
            break
        width = 1.0 / (rest.size * step_s * thin)
        best = _sharpened(time - time[0], left, near, width)
        angle = 2 * np.pi * best * (time - time[0])
        design = np.column_stack([np.cos(angle), np.sin(angle)])
        weight, *_ = np.linalg.lstsq(design, left, rcond=None)
        line = design @ weight
        if float(line @ line) < rules.share * float(left @ left):
            break
        hum += _carried_on(time_s - time[0], torque_nm, step_s, best, complex(weight[0], -weight[1]), rules)
        left = left - line
    return hum


def alternating_hum(torque_nm: Floats) -> Floats:
    """Hum so near to half the sampling rate that it changes sign from sample to sample, with a height that waxes and wanes slowly.

    Its amplitude at rest says little of its height elsewhere, and it hides where the rest ends: it is told by each sample's
    distance from its neighbours' mean, which alternates, and its height by the median of that: a slip is not taken for hum.

    Parameters
    ----------
    torque_nm
        (n,) evenly spaced, spikes bridged.

    Returns
    -------
    array
        (n,) N.m, to be taken off; zeros where nothing alternates so. Noise alone changes sign in 73 of 100 samples.
    """
    n = torque_nm.size
    if n < ALTERNATES_LEAST:
        return np.zeros(n)
    apart = np.zeros(n)
    apart[1:-1] = torque_nm[1:-1] - 0.5 * (torque_nm[2:] + torque_nm[:-2])
    apart[[0, -1]] = -apart[[1, -2]]
    if np.count_nonzero(apart[1:] * apart[:-1] < 0.0) < ALTERNATES_SHARE * (n - 1):
        return np.zeros(n)
    sign = np.where(np.arange(n) % 2 == 0, 1.0, -1.0)
    height = median_filter(0.5 * sign * apart, ALTERNATES_OVER, mode="nearest")
    return sign * uniform_filter1d(height, ALTERNATES_OVER, mode="nearest")


def _thinned(values: Floats, by: int) -> Floats:
    """Means of `by` neighbours; the odd ones at the end are dropped."""
    if by == 1:
        return values
    return np.asarray(values[: values.size // by * by].reshape(-1, by).mean(axis=1))


def _line(rest: Floats, step_s: float, rules: HumRules) -> float | None:
    """Frequency of the strongest line of the spectrum, if hum could be that strong in it; None otherwise."""
    window = np.hanning(rest.size)
    size = fast_length(FINER * rest.size)
    power = np.abs(np.fft.rfft(rest * window, size)) ** 2
    frequency = np.fft.rfftfreq(size, step_s)
    total = float(power.sum())
    power[(frequency < rules.least_hz) | (frequency > NYQUIST / step_s)] = 0.0
    top = int(np.argmax(power))
    share = float(power[max(0, top - 8) : top + 9].sum()) / total if total > 0 else 0.0
    return float(frequency[top]) if share >= rules.share else None


def _sharpened(time_s: Floats, values: Floats, near_hz: float, width_hz: float) -> float:
    """The frequency within half a line's width that fits the values best: a coarse search, then two finer ones about the best."""
    best, reach = near_hz, 0.5 * width_hz
    fine = FINE_TURNS / max(float(time_s[-1]), 1e-9)
    while True:
        count = min(MOST_TRIED, max(FEWEST_TRIED, 2 * math.ceil(reach / fine) + 1))
        grid = np.linspace(best - reach, best + reach, count)
        phase = 2 * np.pi * np.outer(grid, time_s)
        best = float(grid[int(np.argmax(np.hypot(np.cos(phase) @ values, np.sin(phase) @ values)))])
        if count < MOST_TRIED and reach <= FINER * fine:
            return best
        reach = 2 * reach / (count - 1)


def _carried_on(time_s: Floats, torque_nm: Floats, step_s: float, frequency_hz: float, at_rest: complex, rules: HumRules) -> Floats:
    """A line of hum through the whole trace: amplitude as at rest, phase followed wherever the amplitude found is that at rest.

    Mains frequency wanders; what swings with another amplitude is not followed, for it is the plates' own.
    """
    carrier = np.exp(-2j * np.pi * frequency_hz * time_s)
    amplitude = abs(at_rest)
    period = max(3, round(1.0 / (frequency_hz * step_s)))
    fast = torque_nm - uniform_filter1d(torque_nm, period | 1, mode="nearest")
    width = max(period, round(rules.follow_s / step_s)) | 1
    base = fast * carrier
    found = 2.0 * (uniform_filter1d(base.real, width, mode="nearest") + 1j * uniform_filter1d(base.imag, width, mode="nearest"))
    good = np.abs(np.abs(found) - amplitude) < rules.alike * amplitude
    if np.count_nonzero(good) < GOOD_SHARE * good.size:
        return np.asarray((at_rest * carrier.conj()).real)
    index = np.flatnonzero(good)
    phase = np.interp(np.arange(time_s.size), index, np.unwrap(np.angle(found[index])))
    return np.asarray(amplitude * np.cos(2 * np.pi * frequency_hz * time_s + phase))
