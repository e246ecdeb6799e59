"""Bursts of interference: more than two samples of wild noise that come back to the curve they left."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.pull.noise import UNDER_LOAD, joined_runs, percentile, slope_of
from analysis.trace import Floats

BACK_NOISE = 3.0
"""Standard deviations of the noise within which two values are the same."""


@dataclass(frozen=True, kw_only=True, slots=True)
class BurstRules:
    """What tells a burst from plates that slip, each with its reason."""

    noise: float = 8.0  # a leap is so many deviations of the noise at rest,
    share: float = 0.04  # ... unrest this share of the largest torque
    common: float = 96.0  # so many percent of the load's second differences are common in it ...
    over_common: float = 2.5  # ... and a burst's are so many times as large
    join_s: float = 0.006  # unrest this near together is one burst
    least: int = 3  # one or two samples are spikes
    zigzag: float = 0.5  # this share of its samples are turning points; what plates and levers do turns less often
    ends: int = 6  # samples on either side that show the curve it left and comes back to
    drop: float = 0.2  # a converter that drops out leaves the curve by this share of the largest torque within a sample,
    drop_level: float = 0.1  # ... stands as near as this share to the level the trace begins at,
    drop_longest: int = 12  # ... for at most so many samples, and is back as suddenly: plates that slip are taken up again slowly
    blow_hz: float = 400.0  # from this rate on a load that leaps up within one sample is no hand's, which takes 0.1 s ...
    blow_s: float = 0.02  # ... and a blow is over within this time,
    blow_calm: float = 0.25  # ... out of a curve whose own steps were no larger than this share of the leap,
    blow_dies: float = 0.85  # ... dying away: the second sample is below this share of the first
    blow_back: float = 0.04  # ... back on the curve it left but for this share of its height
    back: float = 0.35  # the curve goes on beside where it was left by less than this share of the burst's height


def find_bursts(torque_nm: Floats, noise_nm: float, step_s: float, rules: BurstRules) -> NDArray[np.intp]:
    """Indices of samples in bursts.

    1. Unrest: second differences far above the noise at rest and above what is common in the load.
    2. Joined to runs of three samples and more, that zigzag from sample to sample as no mechanism does.
    3. The curve goes on where it was left: a fall that stays is a slip, however wild.

    Parameters
    ----------
    torque_nm
        (n,) as sent.
    noise_nm
        Standard deviation of one sample at rest, N.m.
    step_s
        The usual time between samples, s.
    rules
        Thresholds.

    Returns
    -------
    array of int
        (k,) in rising order.
    """
    second = np.abs(np.diff(torque_nm, 2))
    largest = percentile(np.abs(torque_nm), 99.0)
    least = max(rules.noise * noise_nm, rules.share * largest)
    if not (second > least).any():
        return np.empty(0, dtype=np.intp)
    # Slips of chattering plates are as sudden, but there are many of them: what is common in the load is no burst.
    loaded = second[np.abs(torque_nm[1:-1]) > UNDER_LOAD * largest]
    least = max(least, rules.over_common * percentile(loaded, rules.common) if loaded.size else 0.0)
    found: list[int] = []
    for first, last in joined_runs(second > least, max(4, round(rules.join_s / step_s))):
        # The second difference of one sample that is off is wild on either side of it too.
        if last - first >= rules.least + 2 and _is_dirt(torque_nm, first + 1, last + 1, noise_nm, rules):
            found.extend(range(first + 1, last + 1))
    return np.asarray(found, dtype=np.intp)


def find_dropouts(torque_nm: Floats, level_nm: float, noise_nm: float, rules: BurstRules) -> NDArray[np.intp]:
    """Indices of samples that a converter sent as 'nothing' for a moment: gone to the level without load and back, at once.

    Runs of `least` samples and more near `level_nm`, between two leaps, and the curve goes on where it was left.

    Parameters
    ----------
    torque_nm
        (n,) as sent.
    level_nm
        The level without load, N.m.
    noise_nm
        Standard deviation of one sample at rest, N.m.
    rules
        Thresholds.

    Returns
    -------
    array of int
        (k,) in rising order.
    """
    largest = percentile(np.abs(torque_nm - level_nm), 99.0)
    leaps = np.diff(torque_nm)
    at = np.flatnonzero(np.abs(leaps) > max(rules.drop * largest, rules.noise * noise_nm))
    found: list[int] = []
    for i, j in itertools.pairwise(at.tolist()):
        body = torque_nm[i + 1 : j + 1]
        if not rules.least <= body.size <= rules.drop_longest:
            continue
        if abs(float(body.mean()) - level_nm) <= rules.drop_level * largest and _meets(torque_nm, i + 1, j + 1, noise_nm, rules):
            found.extend(range(i + 1, j + 1))
    return np.asarray(found, dtype=np.intp)


def find_blows(torque_nm: Floats, level_nm: float, noise_nm: float, step_s: float, rules: BurstRules) -> NDArray[np.intp]:
    """Indices of samples of blows from outside (a relay): up from the curve under load within one sample, and back on it soon.

    Out of a calm curve and rare. A blow that takes load off is not looked for: plates that slip fall as suddenly.

    Parameters
    ----------
    torque_nm
        (n,) as sent, or with dropouts bridged.
    level_nm
        The level without load, N.m.
    noise_nm
        Standard deviation of one sample at rest, N.m.
    step_s
        The usual time between samples, s.
    rules
        Thresholds.

    Returns
    -------
    array of int
        (k,) in rising order; empty below `blow_hz`, where a slip looks as sudden.
    """
    if 1.0 / step_s < rules.blow_hz:
        return np.empty(0, dtype=np.intp)
    load = torque_nm - level_nm
    load = load if float(load.sum()) >= 0 else -load
    largest = percentile(np.abs(load), 99.0)
    leaps = np.diff(load)
    sudden = np.abs(leaps[load[1:] > UNDER_LOAD * largest])
    common = rules.over_common * percentile(sudden, rules.common) if sudden.size else 0.0
    at = np.flatnonzero(leaps > max(rules.share * largest, common))
    longest = max(rules.least, round(rules.blow_s / step_s))
    place = np.arange(float(rules.ends))
    found: list[int] = []
    for i in at.tolist():
        if (found and i < found[-1]) or i + 1 < rules.ends:
            continue
        before, height = load[i + 1 - rules.ends : i + 1], float(leaps[i])
        if float(before.mean()) < UNDER_LOAD * largest or float(np.abs(np.diff(before)).max()) > rules.blow_calm * height:
            continue
        after = load[i + 1 : i + 1 + longest + rules.ends]
        line = float(before.mean()) + slope_of(place, before) * (np.arange(after.size) + 0.5 * (rules.ends + 1))
        over = after - line
        back = np.flatnonzero(over <= max(rules.blow_back * height, BACK_NOISE * noise_nm))
        length = int(back[0]) if back.size else 0
        # One sample, or two alike, are spikes.
        dies = length >= 2 and over[1] < rules.blow_dies * over[0]
        if dies and _meets(load, i + 1, i + 1 + length, noise_nm, rules):
            found.extend(range(i + 1, i + 1 + length))
    return np.asarray(found, dtype=np.intp)


def _is_dirt(torque_nm: Floats, first: int, last: int, noise_nm: float, rules: BurstRules) -> bool:
    steps = np.diff(torque_nm[max(0, first - 1) : last + 1])
    turns = float(np.mean(np.sign(steps[1:]) != np.sign(steps[:-1])))
    return turns >= rules.zigzag and _meets(torque_nm, first, last, noise_nm, rules)


def _meets(torque_nm: Floats, first: int, last: int, noise_nm: float, rules: BurstRules) -> bool:
    """Whether the last sample before and the first one after stand near each other against what stands out."""
    before, after = torque_nm[max(0, first - rules.ends) : first], torque_nm[last : last + rules.ends]
    if min(before.size, after.size) < 3:
        return False
    body = torque_nm[first:last]
    line = np.linspace(float(before.mean()), float(after.mean()), body.size)
    height = float(np.max(np.abs(body - line)))
    return abs(float(before[-1] - after[0])) <= max(rules.back * height, BACK_NOISE * noise_nm)
