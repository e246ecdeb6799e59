"""Samples at the sensor's limit: beyond its capacity, stuck to the largest value, or under a flat top that no plates make."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.pull.noise import Flags, deviation, median, runs_of, smallest_step
from analysis.trace import Floats


@dataclass(frozen=True, kw_only=True, slots=True)
class ClipRules:
    """Thresholds of clipping, each with its reason."""

    run_s: float = 0.004  # a sensor at its limit stays exactly there for at least so long
    run: int = 10  # ... and so many samples
    dead_run: int = 40  # a sensor whose last digit flickers at rest cannot stand still for so many
    held_runs: float = 2.5  # where values are repeated anyway (a slow converter), a run this many times as long as theirs
    held_share: float = 0.6  # ... which they are where this share of the load's samples equal their neighbour
    capacity_reach: float = 0.995  # so near to the sensor's capacity the reading is at its limit
    blocks: tuple[int, ...] = (8, 16, 32)  # samples of a block mean; a flat top is looked for in these
    block_s: float = 0.05  # ... which last no longer than this: over more, plates that let go look as sudden
    flat_blocks: int = 12  # a flat top lasts so many blocks ...
    flat_s: float = 0.03  # ... and so long
    flat_trend: float = 3.5  # ... whose first and last third differ by no more than so many deviations of their means ...
    flat_chi: float = 1.25  # ... in which block means scatter by no more than so many times what the noise explains
    above: float = 5.0  # nothing stands above it by so many deviations of a block mean
    entry: float = 8.0  # the load climbs towards it by so many deviations of a block mean a block ...
    bent: float = 0.08  # ... in a straight line to this share of it, and is cut off as dead: plates that let go bend it
    noise_most: float = 0.0059  # where the noise is more than this share of the torque, a flat top cannot be told from sliding
    noise_least: float = 1.2  # a top as still as the sensor's step, times this, has no noise to be told by


def find_clipped(torque_nm: Floats, step_s: float, capacity_nm: float | None, noise_nm: float, rules: ClipRules) -> Flags:
    """Samples at the sensor's limit; `torque_nm` as the sensor sent it, bridged.

    A run at the top counts only if a live sensor could not have made it: the curve came up steeply and stopped dead, or the noise
    that is there elsewhere is gone, or a flat top with noise on it ends a steep climb at a level that is never passed again.
    """
    clipped = np.zeros(torque_nm.size, dtype=bool)
    if capacity_nm is not None:
        clipped |= np.abs(torque_nm) >= rules.capacity_reach * capacity_nm
    least = max(rules.run, round(rules.run_s / step_s))
    step = smallest_step(torque_nm)
    largest = float(np.max(np.abs(torque_nm), initial=0.0))
    flickering = float(np.mean(np.diff(torque_nm[:400]) != 0.0)) if torque_nm.size > 1 else 0.0
    repeats = _usual_repeat(torque_nm, largest, rules)
    for side in (torque_nm, -torque_nm):
        top = float(side.max(initial=0.0))
        if top < 0.3 * largest or top <= 0:
            continue
        at_top = side >= top - 1e-9 * top
        for first, last in runs_of(at_top):
            before = side[max(0, first - 24) : first]
            if last - first < max(least, rules.held_runs * repeats) or before.size < 8:
                continue
            came_up = top - before[-3] > max(2.5 * step, 0.002 * top)
            alive = float(np.std(np.diff(before))) > 0.7 * step and deviation(before) > 0.35 * step and step > 0
            dead = last - first >= rules.dead_run and flickering > 0.15
            if came_up or (alive and last - first >= 2 * least) or dead:
                clipped[first:last] = True
        if not clipped.any() and repeats <= 1:
            found = _flat_top(side, step_s, noise_nm, step, rules)
            if found is not None:
                clipped[found[0] : found[1]] = True
    return clipped


def _usual_repeat(torque_nm: Floats, largest_nm: float, rules: ClipRules) -> float:
    """How many samples a value is usually repeated for while the torque changes; 1 for a converter as fast as the stream."""
    under = np.abs(torque_nm) > 0.2 * largest_nm
    same = np.diff(torque_nm) == 0.0
    loaded = under[1:] & under[:-1]
    if not loaded.any() or float(same[loaded].mean()) < rules.held_share:
        return 1.0
    ends = np.flatnonzero(~same & loaded)
    return median(np.diff(ends)) if ends.size > 3 else 1.0


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
    if size < 4 * rules.flat_blocks * block:
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
        if _stops_dead(means[first - 4 : first], level, sigma, rules):
            return first * block, last * block
    return None


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
