"""Bursts of interference: more than two samples of wild noise that come back to the curve they left."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.pull.noise import Flags, joined_runs, median, percentile, runs_of, slope_of
from analysis.trace import Floats

ENDS_IN_PIECE = 4
"""A piece that is shorter than so many of its ends has no middle."""
BACK_NOISE = 3.0
"""Standard deviations of the noise within which two values are the same."""


@dataclass(frozen=True, kw_only=True, slots=True)
class BurstRules:
    """What tells a burst from plates that slip, each with its reason."""

    window_s: float = 0.25  # the usual unrest of the signal is that of this span ...
    factor: float = 6.0  # ... and a burst's second differences are so many times it,
    noise: float = 8.0  # ... so many times that of the noise at rest,
    share: float = 0.04  # ... and this share of the largest torque
    loaded: float = 0.3  # under load: above this share of the largest torque
    common: float = 96.0  # so many percent of the load's second differences are common in it ...
    over_common: float = 2.5  # ... and a burst's are so many times as large
    join_s: float = 0.006  # unrest this near together is one burst
    join: int = 4  # ... or so many samples
    longest_s: float = 0.08  # longer is no burst but a bad line, which is not bridged
    least: int = 3  # one or two samples are spikes
    zigzag: float = 0.5  # this share of its samples are turning points; what plates and levers do turns less often
    slowest_hz: float = 150.0  # below this rate a ringing lever zigzags too, and nothing is told apart
    ends: int = 6  # samples on either side that show the curve it left and comes back to
    drop: float = (
        0.2  # a converter that drops out leaves the curve by this share of the largest torque from one sample to the next,
    )
    drop_even: float = 0.02  # ... stays as even as this share of it,
    drop_level: float = 0.1  # ... as near as this share to the level the trace begins at,
    drop_longest: int = 12  # ... for at most so many samples, and is back as suddenly: plates that slip are taken up again slowly
    rail: float = 1.03  # beyond this share of the capacity nothing is measured ...
    rail_leap: float = 0.2  # ... and a leap there and back by this share of it within one sample is a wire's ...
    rail_longest_s: float = 0.5  # ... if it lasts no longer
    blow_hz: float = (
        400.0  # from this rate on a load that leaps up within one sample is no hand's: it takes a tenth of a second ...
    )
    fall_hz: float = 800.0  # ... and a fall only from this on: a lever that rings, seen coarsely, falls as suddenly
    blow_s: float = 0.02  # ... and a blow is over within this time,
    blow_calm: float = 0.25  # ... out of a curve whose own steps were no larger than this share of the leap,
    blow_dies: float = 0.85  # ... dying away: the second sample is below this share of the first
    blow_back: float = 0.04  # ... back on the curve it left but for this share of its height
    back: float = 0.35  # what its sides leave between them, drawn on, is less than this share of the burst's height


def find_bursts(torque_nm: Floats, noise_nm: float, step_s: float, rules: BurstRules) -> NDArray[np.intp]:
    """Indices of samples in bursts.

    1. Unrest: second differences far above the noise at rest and above their own usual size around.
    2. Joined to runs of three samples and more, that zigzag from sample to sample as no mechanism does.
    3. The curve before and the one after, drawn on, meet: a fall that stays is a slip, however wild.

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
        (k,) in rising order; empty below `slowest_hz`, where a ringing lever zigzags too.
    """
    n = torque_nm.size
    if n < ENDS_IN_PIECE * rules.ends or 1.0 / step_s < rules.slowest_hz:
        return np.empty(0, dtype=np.intp)
    second = np.abs(np.diff(torque_nm, 2))
    largest = percentile(np.abs(torque_nm), 99.0)
    least = max(rules.noise * noise_nm, rules.share * largest)
    if not (second > least).any():
        return np.empty(0, dtype=np.intp)
    # Slips of chattering plates are as sudden, but there are many of them: what is common in the load is no burst.
    loaded = second[np.abs(torque_nm[1:-1]) > rules.loaded * largest]
    least = max(least, rules.over_common * percentile(loaded, rules.common) if loaded.size else 0.0)
    join = max(rules.join, round(rules.join_s / step_s))
    high = _long_enough(second > least, join, rules)
    if not high.size:
        return np.empty(0, dtype=np.intp)
    wild = np.zeros(n, dtype=bool)
    wild[1 + high[second[high] > rules.factor * _usual(second, high, max(8, round(rules.window_s / step_s)))]] = True
    found: list[int] = []
    for first, last in joined_runs(wild, join):
        # The second difference reaches one sample beyond what is wild on either side.
        if last - first < rules.least + 2 or (last - first) * step_s > rules.longest_s:
            continue
        if _is_dirt(torque_nm, first, last, noise_nm, rules):
            found.extend(range(first, last))
    return np.asarray(found, dtype=np.intp)


def find_dropouts(torque_nm: Floats, level_nm: float, noise_nm: float, rules: BurstRules) -> NDArray[np.intp]:
    """Indices of samples that a converter sent as 'nothing' for a moment: gone to the level without load and back, at once.

    Runs of `least` samples and more, even, near `level_nm`, between two leaps against each other, and the curve before and the one
    after, drawn on, meet.

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
    if torque_nm.size < ENDS_IN_PIECE * rules.ends:
        return np.empty(0, dtype=np.intp)
    largest = percentile(np.abs(torque_nm - level_nm), 99.0)
    leaps = np.diff(torque_nm)
    at = np.flatnonzero(np.abs(leaps) > max(rules.drop * largest, rules.noise * noise_nm))
    even = max(rules.noise * noise_nm, rules.drop_even * largest)
    found: list[int] = []
    for i, j in itertools.pairwise(at.tolist()):
        body = torque_nm[i + 1 : j + 1]
        if leaps[i] * leaps[j] >= 0 or not rules.least <= body.size <= rules.drop_longest or float(np.ptp(body)) > even:
            continue
        if abs(float(body.mean()) - level_nm) <= rules.drop_level * largest and _meets(torque_nm, i + 1, j + 1, noise_nm, rules):
            found.extend(range(i + 1, j + 1))
    return np.asarray(found, dtype=np.intp)


def find_rails(torque_nm: Floats, capacity_nm: float | None, step_s: float, rules: BurstRules) -> NDArray[np.intp]:
    """Indices of samples at the rail of an amplifier whose wire is open: beyond the capacity and back, within one sample each.

    What really overloads a sensor climbs there.

    Parameters
    ----------
    torque_nm
        (n,) as sent.
    capacity_nm
        Of the sensor, N.m; None: not known, and nothing is found.
    step_s
        The usual time between samples, s.
    rules
        Thresholds.

    Returns
    -------
    array of int
        (k,) in rising order.
    """
    if capacity_nm is None:
        return np.empty(0, dtype=np.intp)
    found: list[int] = []
    for first, last in runs_of(np.abs(torque_nm) > rules.rail * capacity_nm):
        if first == 0 or last == torque_nm.size or (last - first) * step_s > rules.rail_longest_s:
            continue
        leaps = abs(torque_nm[first] - torque_nm[first - 1]), abs(torque_nm[last] - torque_nm[last - 1])
        if min(leaps) > rules.rail_leap * capacity_nm:
            found.extend(range(first, last))
    return np.asarray(found, dtype=np.intp)


def find_blows(torque_nm: Floats, level_nm: float, noise_nm: float, step_s: float, rules: BurstRules) -> NDArray[np.intp]:
    """Indices of samples of blows from outside (a relay): off the curve under load within one sample, and back on it soon.

    Out of a calm curve, rare, and over before plates that slipped could be taken up again; a fall is at its deepest at once.

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
    if torque_nm.size < ENDS_IN_PIECE * rules.ends or 1.0 / step_s < rules.blow_hz:
        return np.empty(0, dtype=np.intp)
    load = torque_nm - level_nm
    load = load if float(load.sum()) >= 0 else -load
    largest = percentile(np.abs(load), 99.0)
    leaps = np.diff(load)
    least = max(rules.noise * noise_nm, rules.share * largest)
    at = np.flatnonzero(np.abs(leaps) > least)
    if not at.size:
        return np.empty(0, dtype=np.intp)
    sudden = np.abs(leaps[load[1:] > rules.loaded * largest])
    least = max(least, rules.over_common * percentile(sudden, rules.common) if sudden.size else 0.0)
    longest = max(rules.least, round(rules.blow_s / step_s))
    place = np.arange(float(rules.ends))
    found: list[int] = []
    for i in at[np.abs(leaps[at]) > least].tolist():
        if (found and i < found[-1]) or i + 1 < rules.ends:
            continue
        before, height = load[i + 1 - rules.ends : i + 1], abs(float(leaps[i]))
        if float(before.mean()) < rules.loaded * largest or float(np.abs(np.diff(before)).max()) > rules.blow_calm * height:
            continue
        after = load[i + 1 : i + 1 + longest + rules.ends]
        line = float(before.mean()) + slope_of(place, before) * (np.arange(after.size) + 0.5 * (rules.ends + 1))
        over = math.copysign(1.0, leaps[i]) * (after - line)
        back = np.flatnonzero(over <= max(rules.blow_back * height, BACK_NOISE * noise_nm))
        length = int(back[0]) if back.size else 0
        # One sample, or two alike, are spikes. Plates that slip take longer to fall, and are taken up again later still.
        alike = length == 2 and over[1] >= rules.blow_dies * over[0]
        at_once = leaps[i] > 0 or (1.0 / step_s >= rules.fall_hz and int(np.argmax(over[: length + 1])) == 0)
        if at_once and not alike and 2 <= length <= longest and _meets(load, i + 1, i + 1 + length, noise_nm, rules):
            found.extend(range(i + 1, i + 1 + length))
    return np.asarray(found, dtype=np.intp)


def _long_enough(high: Flags, join: int, rules: BurstRules) -> NDArray[np.intp]:
    """Places of those high second differences that joined are long enough for a burst: a slip's few need no closer look."""
    at = np.flatnonzero(high)
    ends = np.flatnonzero(np.diff(at, append=high.size + join + 2) > join + 1)
    sizes = np.diff(ends, prepend=-1)
    first = ends - sizes + 1
    return at[np.repeat(at[ends] - at[first] + 1 >= rules.least + 2, sizes)]


def _usual(second: Floats, at: NDArray[np.intp], width: int) -> Floats:
    """Median size of the second differences around the samples `at`, drawn straight between windows half a width apart."""
    half = max(1, width // 2)
    window = np.clip((at - half // 2) // half, 0, (second.size - 1) // half)
    needed = np.unique(np.concatenate([window, np.minimum(window + 1, (second.size - 1) // half)]))
    medians = [median(second[max(0, (k - 1) * half) : (k + 2) * half]) for k in needed.tolist()]
    return np.asarray(np.interp(at, (needed + 0.5) * half, medians))


def _is_dirt(torque_nm: Floats, first: int, last: int, noise_nm: float, rules: BurstRules) -> bool:
    before, after = torque_nm[max(0, first - rules.ends) : first], torque_nm[last : last + rules.ends]
    if min(before.size, after.size) < 3:
        return False
    body = torque_nm[first:last]
    steps = np.diff(np.concatenate([before[-1:], body, after[:1]]))
    turns = float(np.mean(np.sign(steps[1:]) != np.sign(steps[:-1])))
    return turns >= rules.zigzag and _meets(torque_nm, first, last, noise_nm, rules)


def _meets(torque_nm: Floats, first: int, last: int, noise_nm: float, rules: BurstRules) -> bool:
    """Whether the curve before and the one after, drawn on, leave little between them against what stands out."""
    before, after = torque_nm[max(0, first - rules.ends) : first], torque_nm[last : last + rules.ends]
    if min(before.size, after.size) < 3:
        return False
    body = torque_nm[first:last]
    middle = 0.5 * body.size
    left = _drawn_on(np.arange(-before.size, 0.0), before, middle)
    right = _drawn_on(np.arange(float(body.size), body.size + after.size), after, middle)
    line = np.linspace(float(before.mean()), float(after.mean()), body.size)
    height = float(np.max(np.abs(body - line)))
    meets = min(abs(left - right), abs(float(before[-1] - after[0])))
    return meets <= max(rules.back * height, BACK_NOISE * noise_nm)


def _drawn_on(place: Floats, torque_nm: Floats, to: float) -> float:
    """The straight line through these samples, drawn on to a place."""
    return float(torque_nm.mean()) + slope_of(place, torque_nm) * (to - float(place.mean()))
