"""Samples at the sensor's limit: beyond its capacity, stuck to the largest value, or under a flat top that no plates make."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d

from analysis.distributions import RECTANGULAR_WIDTH
from analysis.pull.noise import Flags, deviation, median, runs_of, smallest_step
from analysis.trace import Floats

ALIKE_TOPS = 0.3
"""A top below this share of the largest torque is no stop of the sensor."""
BEFORE_LEAST = 8
"""Samples before a held run by which it is told that the signal was alive."""
CAME_UP_STEPS, CAME_UP = 2.5, 0.002
"""The signal must have risen to the top by so many steps of it, and by this share of the top."""
ALIVE_STEPS, ALIVE_SPREAD = 0.7, 0.35
"""Standard deviation of the changes, and of the values about their course, in steps: less is a signal that stood still before."""
FLICKER = 0.15
"""Share of the samples that flicker between two steps in a signal that lives."""
BLOCKS_LEAST = 4
"""A flat top lies within so many times its own length."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ClipRules:
    """Thresholds of clipping, each with its reason."""

    run_s: float = 0.004  # a sensor at its limit stays exactly there for at least so long
    run: int = 10  # ... and so many samples
    dead_run: int = 40  # a sensor whose last digit flickers at rest cannot stand still for so many
    held_runs: float = 2.5  # where values are repeated anyway (a slow converter), a run this many times as long as theirs
    capacity_reach: float = 0.995  # so near to the sensor's capacity the reading is at its limit
    blocks: tuple[int, ...] = (4, 8, 16, 32)  # samples of a block mean; a flat top is looked for in these
    block_s: float = 0.05  # ... which last no longer than this: over more, plates that let go look as sudden
    flat_blocks: int = 12  # a flat top lasts so many blocks ...
    flat_s: float = 0.03  # ... and so long
    long_samples: int = 96  # ... and one of fewer samples ends in a fall, for even sliding begins as flat
    flat_trend: float = 3.5  # ... whose first and last third differ by no more than so many deviations of their means ...
    flat_chi: float = 1.25  # ... in which block means scatter by no more than so many times what the noise explains
    above: float = 5.0  # nothing stands above it by so many deviations of a block mean
    entry: float = 8.0  # the load climbs towards it by so many deviations of a block mean a block ...
    bent: float = 0.08  # ... in a straight line to this share of it, and is cut off as dead: plates that let go bend it
    noise_most: float = 0.0059  # where the noise is more than this share of the torque, a flat top cannot be told from sliding
    noise_least: float = 1.2  # a top as still as the sensor's step, times this, has no noise to be told by
    wound_samples: int = 10  # a lever that winds on under a top does so for so many samples at least ...
    wound_smooth: int = 5  # ... over a top even in means of so many ...
    wound_noise: float = 4.0  # ... to so many of their deviations,
    wound_ramp: tuple[float, float] = (0.6, 0.97)  # as fast as between these shares of the top ...
    wound_alike: float = 0.3  # ... to this share, or to the steps of the encoder:
    wound_steps: float = 1.5
    wound_lead: float = 0.1  # the ramp, gone on, would reach the top by so much of it where the top begins
    wound_s: float = 0.04  # a rotor that lets go needs up to half of this until the lever feels it
    wound_gain: float = 0.03  # by the ramp's climb the torque would have gained this share of the top: what a clipped top hides
    wound_gain_noise: float = 12.0  # ... and so many deviations of a sample
    stood: float = 0.4  # a lever that turns by less than this share of what it did on the ramp is held
    wound_faster: float = 2.0  # plates that slide let the lever turn so many times as fast: where it never does, this tells nothing
    wound_faster_s: float = 0.15  # ... seen over so long at least


@dataclass(frozen=True, kw_only=True, slots=True)
class HeldPeakRules:
    """By what an indicator left on peak memory is told."""

    top_share: float = 0.98  # what stands so near its largest value is its top
    climb: tuple[float, float] = (0.1, 0.9)  # between these shares of the top it climbs ...
    least_values: int = 10  # ... over so many values, for a coarse sensor without noise may climb without a step back
    held_s: float = 0.5  # the top stands to the last digit for so long, as no load does ...
    held_samples: int = 20  # ... and so many samples
    key_samples: int = 2  # a key clears it within so many samples; a lever let go falls more slowly


def find_held_peak(torque_nm: Floats, step_s: float, rules: HeldPeakRules) -> slice | None:
    """The samples that only repeat the highest torque so far, where the sensor holds its peak until it is cleared.

    Noise alone makes a live signal step back now and then; and a sensor at its limit comes down when the lever is let go.

    Parameters
    ----------
    torque_nm
        (n,) as the sensor sent it, N.m.
    step_s
        The usual time between samples, s.
    rules
        Thresholds.

    Returns
    -------
    slice or None
        From the sample after the top was reached to where it is cleared, or to the end; None: the signal is live.
    """
    away = torque_nm - torque_nm[0]
    away = away if away.max() >= -away.min() else -away
    top = float(away.max())
    high = np.flatnonzero(away >= rules.top_share * top)
    first, last = int(np.argmax(away)), int(high[-1]) + 1
    if top <= 0.0 or last - first < max(rules.held_samples, rules.held_s / step_s) or float(np.diff(away[:last]).min()) < 0.0:
        return None
    climbing = away[(away > rules.climb[0] * top) & (away < rules.climb[1] * top)]
    cleared = last == away.size or float(away[last : last + rules.key_samples].min()) < rules.climb[0] * top
    return slice(first + 1, last) if cleared and np.unique(climbing).size >= rules.least_values else None


def find_clipped(
    torque_nm: Floats,
    angle_deg: Floats | None,
    step_deg: float,
    rest_nm: float,
    step_s: float,
    capacity_nm: float | None,
    noise_nm: float,
    repeats: float,
    rules: ClipRules,
) -> Flags:
    """Samples at the sensor's limit.

    `torque_nm` is as the sensor sent it, bridged, `rest_nm` its level at rest; a value usually comes `repeats` times.

    A run at the top counts only if a live sensor could not have made it: the curve came up steeply and stopped dead, or the noise
    that is there elsewhere is gone, or a flat top with noise on it ends a steep climb at a level that is never passed again, or
    the lever wound on under a flat top as it had on the ramp: plates that hold carry more the further they are wound. A top
    under which the lever stood is a hand's that held.

    Parameters
    ----------
    torque_nm
        (n,) as the sensor sent it, bridged.
    angle_deg
        (n,) of the lever, deg; None where the bench has none.
    step_deg
        The encoder's step, deg.
    rest_nm
        The sensor's level at rest, N.m.
    step_s
        The usual time between samples, s.
    capacity_nm
        Of the sensor, N.m; None: not known.
    noise_nm
        Standard deviation of one sample at rest, N.m.
    repeats
        How many samples a value is usually sent for; 1 for a converter as fast as the stream.
    rules
        Thresholds.

    Returns
    -------
    array of bool
        (n,) true where the sample is at the limit.
    """
    clipped = np.zeros(torque_nm.size, dtype=bool)
    if capacity_nm is not None:
        clipped |= np.abs(torque_nm) >= rules.capacity_reach * capacity_nm
    torque_nm = torque_nm - rest_nm
    least = max(rules.run, round(rules.run_s / step_s))
    step = smallest_step(torque_nm)
    largest = float(np.max(np.abs(torque_nm), initial=0.0))
    flickering = float(np.mean(np.diff(torque_nm[:400]) != 0.0)) if torque_nm.size > 1 else 0.0
    for side in (torque_nm, -torque_nm):
        top = float(side.max(initial=0.0))
        if top < ALIKE_TOPS * largest or top <= 0:
            continue
        at_top = side >= top - 1e-9 * top
        for first, last in runs_of(at_top):
            before = side[max(0, first - 24) : first]
            if last - first < max(least, rules.held_runs * repeats) or before.size < BEFORE_LEAST:
                continue
            came_up = top - before[-3] > max(CAME_UP_STEPS * step, CAME_UP * top)
            alive = float(np.std(np.diff(before))) > ALIVE_STEPS * step and deviation(before) > ALIVE_SPREAD * step and step > 0
            dead = last - first >= rules.dead_run and flickering > FLICKER
            if came_up or (alive and last - first >= 2 * least) or dead:
                clipped[first:last] = True
        if not clipped.any() and repeats <= 1:
            found = _flat_top(side, step_s, noise_nm, step, rules)
            if found is not None and angle_deg is not None and _stood(angle_deg, step_deg, *found, rules):
                found = None
            if found is None and angle_deg is not None:
                found = _wound_on(
                    side, angle_deg, step_deg, step_s, max(noise_nm, rules.noise_least * step / RECTANGULAR_WIDTH), rules
                )
            if found is not None:
                clipped[found[0] : found[1]] = True
    return clipped


def _flat_top(side: Floats, step_s: float, noise_nm: float, step_nm: float, rules: ClipRules) -> tuple[int, int] | None:
    """Span of a flat top with noise on it that ends a steep climb dead, at a level never passed again; None where there is none."""
    for block in rules.blocks:
        if block * step_s > rules.block_s:
            break
        found = _flat_top_in(side, step_s, noise_nm, step_nm, block, rules)
        if found is not None:
            return found
    return None


def _flat_top_in(
    side: Floats, step_s: float, noise_nm: float, step_nm: float, block: int, rules: ClipRules
) -> tuple[int, int] | None:
    """The same in means of so many samples."""
    size = side.size // block * block
    if size < BLOCKS_LEAST * rules.flat_blocks * block:
        return None
    means = side[:size].reshape(-1, block).mean(axis=1)
    highest = float(means.max())
    sigma = max(noise_nm, rules.noise_least * step_nm) / math.sqrt(block)
    if max(noise_nm, step_nm) > rules.noise_most * highest:
        return None
    level = median(means[means >= highest - 2 * rules.above * sigma])
    if highest - level > rules.above * sigma:
        return None
    near = np.abs(means - level) <= rules.above * sigma
    if np.count_nonzero(near) < rules.flat_blocks:
        return None
    for first, last in runs_of(near):
        blocks = means[first:last]
        if last - first < max(rules.flat_blocks, rules.flat_s / (step_s * block)) or first < 4:
            continue
        third = max(2, blocks.size // 3)
        trend = abs(float(blocks[:third].mean()) - float(blocks[-third:].mean()))
        if float(np.std(blocks)) > rules.flat_chi * sigma or trend > rules.flat_trend * sigma * math.sqrt(2.0 / third):
            continue
        long = (last - first) * block >= rules.long_samples
        if _stops_dead(means[first - 4 : first], level, sigma, rules) and (
            long or _falls_off(means[last : last + 4], level, sigma, rules)
        ):
            return first * block, last * block
    return None


def _falls_off(after: Floats, level: float, sigma: float, rules: ClipRules) -> bool:
    """Whether the top ends in a fall: one so short could else be the begin of even sliding."""
    return bool(after.size) and level - float(after[-1]) > rules.entry * sigma + rules.bent * level


def _stops_dead(before: Floats, level: float, sigma: float, rules: ClipRules) -> bool:
    """Whether the climb in these blocks went on unbent to the level: a straight ramp cut off, block by block."""
    climb = 0.5 * float(before[2] - before[0])
    if (
        climb <= 0.0
        or climb < rules.entry * sigma
        or abs(float(before[2] - 2 * before[1] + before[0])) > rules.bent * climb + rules.above * sigma
    ):
        return False
    # The ramp's value at the begin of the last block; from there it goes on until the level cuts it.
    begin = float(before[2]) + 0.5 * climb
    reached = min(max((level - begin) / climb, 0.0), 1.0)
    cut = reached * (begin + 0.5 * reached * climb) + (1.0 - reached) * level
    return abs(float(before[3]) - cut) <= rules.bent * climb + 2.0 * sigma


def _wound_on(
    side: Floats, angle_deg: Floats, step_deg: float, step_s: float, noise_nm: float, rules: ClipRules
) -> tuple[int, int] | None:
    """Span of a flat top under which the lever wound on as on the ramp, and turned faster only later; None where there is none."""
    width = rules.wound_smooth
    smooth = uniform_filter1d(side, width, mode="nearest")
    band = rules.wound_noise * noise_nm / math.sqrt(width)
    level = float(np.median(side[smooth >= float(smooth.max()) - band]))
    low, high = (share * level for share in rules.wound_ramp)
    encoder_deg = rules.wound_steps * step_deg
    for begin, last in runs_of(np.abs(smooth - level) <= band):
        first = begin + width // 2
        below = np.flatnonzero(smooth[:first] < low)
        if last - first < rules.wound_samples or not below.size:
            continue
        foot = int(below[-1]) + 1
        ramp = np.arange(foot, foot + int(np.argmax(smooth[foot : first + 1] > high)))
        if ramp.size < rules.wound_samples:
            continue
        climb, turn = (float(np.polyfit(ramp, along[ramp], 1)[0]) for along in (side, angle_deg))
        on = np.arange(last - first)
        alike = np.abs(angle_deg[first:last] - angle_deg[first] - turn * on) <= np.maximum(
            encoder_deg, rules.wound_alike * abs(turn) * on
        )
        wound = on.size if alike.all() else int(np.argmin(alike))
        gain = max(rules.wound_gain * level, rules.wound_gain_noise * noise_nm)
        # The straight ramp runs into the top, and the lever turned on under it by more than the encoder leaves open.
        led_in = climb * (first - ramp[-1]) <= rules.wound_lead * level
        least = max(rules.wound_samples, rules.wound_s / step_s)
        if not led_in or wound < least or climb * wound < gain or abs(turn) * wound <= encoder_deg:
            continue
        span = max(wound, round(rules.wound_faster_s / step_s))
        faster = np.diff(angle_deg[first + wound :: span]) * np.sign(turn) >= rules.wound_faster * abs(turn) * span
        if faster.any() and _is_level(side[first : first + wound], noise_nm, rules):
            return first, last
    return None


def _stood(angle_deg: Floats, step_deg: float, first: int, last: int, rules: ClipRules) -> bool:
    """Whether the lever, which had turned as long before the top, hardly turned under it."""
    before = abs(float(angle_deg[first] - angle_deg[max(0, 2 * first - last)]))
    return (
        before > rules.wound_steps * step_deg / rules.stood
        and abs(float(angle_deg[last - 1] - angle_deg[first])) < rules.stood * before
    )


def _is_level(top: Floats, noise_nm: float, rules: ClipRules) -> bool:
    """Whether these samples lie on one level: no slope and no more scatter than the noise makes."""
    third = max(2, top.size // 3)
    trend = abs(float(top[:third].mean()) - float(top[-third:].mean()))
    return float(np.std(top)) <= rules.flat_chi * noise_nm and trend <= rules.flat_trend * noise_nm * math.sqrt(2.0 / third)
