"""Conditioning: what the trace says of its own sensor, before anything is read off it. Arrays in, arrays out.

Nothing here changes the stored signal: spikes are bridged and the zero is taken off in a working copy.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from analysis.distributions import RECTANGULAR_WIDTH
from analysis.pull.angle import AngleRules, prepare_angle
from analysis.pull.bursts import BurstRules, find_blows, find_bursts, find_dropouts, find_rails
from analysis.pull.clipping import ClipRules, HeldPeakRules, find_clipped, find_held_peak
from analysis.pull.hum import HumRules, alternating_hum, hum_at_rest
from analysis.pull.noise import (
    GAP_STEPS,
    Flags,
    deviation,
    median,
    median_of_five,
    percentile,
    runs_of,
    smallest_step,
    usual_repeat,
)
from analysis.pull.rest import RestRules, Zero, find_zero, rest_after, rest_before, rest_while_ringing, zero_line
from analysis.results import Sensor
from analysis.trace import Floats, Trace

SMALLEST_ANGLE_DEG = 1e-6  # less is the rounding of an angle, no step of an encoder


BESIDE = 3
"""Samples on either side by which a spike is told."""
NEAR_SPIKE = 8
"""Samples before a spike by which it is judged whether the signal moved there anyway."""
NOISE_OF_REST = 0.2
"""Of the noise at the head of a trace: what is given later is never taken for less than this share of it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ConditionRules:
    """Thresholds of conditioning, each with its reason."""

    spike_noise: float = 8.0  # a spike stands out by so many deviations from what both its sides foretell
    spike_share: float = 0.012  # ... and by this share of the largest torque: less does no harm
    spike_longest_s: float = 0.012  # two samples that last longer could be a real peak of a slow sensor ...
    lone_peak: float = 4.0  # ... if they stand this many times above everything else: the one peak of a joint that came loose
    outlier: float = 3.0  # a leap of so many times all else is none of a mechanism's
    both_sides: float = 0.5  # of its height: a leap up and down beside so unrestful sides may be a lever that rings
    dips: int = 3  # so many low samples of a slow sensor are slips
    level_samples: int = 5  # ... unless much the same load stands for so many samples before and after: plates that slide
    climbs_noise: float = 5.0  # ... or the load climbs on by steps of so many deviations
    level_noise: float = 12.0  # a load is off rest by so many deviations
    idle_share: float = 0.25  # ... or nothing up to this share of what is carried later lies on the plates just before and after
    angle: AngleRules = field(default_factory=AngleRules)
    burst: BurstRules = field(default_factory=BurstRules)
    clip: ClipRules = field(default_factory=ClipRules)
    rest: RestRules = field(default_factory=RestRules)


@dataclass(frozen=True, slots=True, eq=False)
class Conditioned:
    """A trace made ready: torque zeroed, positive in the direction of the pull, spikes bridged; angle positive likewise.

    `step_s` is the usual time between samples, `held_s` how long a converter slower than the stream repeats a value (else 0).
    `noise_nm` is the deviation of one sample at rest, quantisation included; `hum_nm` the peak to peak of the mains hum that was
    taken off; `largest_nm` the torque that one sample in 200 surpasses; `resolution_nm` the sensor's step, `resolution_deg` the
    encoder's. `zero` is what the rests before and after prove. `spikes`, `bursts`, `gaps` (index before the gap) and `clipped`
    mark trouble; `angle_doubtful`: the encoder jumped, is dead or too coarse; `peak_held`: the indicator held its highest value.
    """

    time_s: Floats
    torque_nm: Floats
    angle_deg: Floats | None
    sign: int
    angle_reversed: bool
    angle_doubtful: bool
    step_s: float
    held_s: float
    zero: Zero
    noise_nm: float
    hum_nm: float
    largest_nm: float
    resolution_nm: float
    resolution_deg: float
    spikes: NDArray[np.intp]
    bursts: NDArray[np.intp]
    gaps: NDArray[np.intp]
    clipped: Flags
    peak_held: bool = False

    @property
    def rest_to(self) -> int:
        """Index where the rest before the pull ends; 0: there was none."""
        return 0 if self.zero.before is None else self.zero.before.last

    @property
    def rest_from(self) -> int:
        """Index where the rest after it begins; the number of samples: there was none."""
        return self.time_s.size if self.zero.after is None else self.zero.after.first

    @property
    def drift_nm(self) -> float | None:
        """Zero after minus zero before, in the direction of the pull; None where one is missing."""
        return None if self.zero.moved_nm is None else self.sign * self.zero.moved_nm

    @property
    def rate_hz(self) -> float:
        """Usual sampling rate."""
        return 1.0 / self.step_s

    @property
    def value_s(self) -> float:
        """Usual time between two new values: longer than between samples where a converter repeats its values."""
        return max(self.step_s, self.held_s)

    def samples_in(self, span_s: float, least: int = 1) -> int:
        """How many samples `span_s` holds, at least `least`.

        Parameters
        ----------
        span_s
            s.
        least
            The answer where the span holds fewer.

        Returns
        -------
        int
            The span over `step_s`, rounded.
        """
        return max(least, round(span_s / self.step_s))

    def smooth(self, span_s: float) -> Floats:
        """Torque averaged over `span_s`, zero phase; the torque itself where that is less than two samples."""
        width = self.samples_in(span_s) | 1
        return self.torque_nm if width < 3 else uniform_filter1d(self.torque_nm, width, mode="nearest")


def find_spikes(torque_nm: Floats, noise_nm: float, step_s: float, rules: ConditionRules) -> NDArray[np.intp]:
    """Indices of electrical spikes: one or two samples that leave the curve and come back, as no mechanism could.

    1. Candidates leave the median of five neighbours by more than the threshold.
    2. For each, foretell the place from both sides (straight lines through the two samples before and the two after).
       A mechanical corner, however sharp, agrees with at least one side; a spike agrees with neither.

    Parameters
    ----------
    torque_nm
        (n,) as sent, bursts bridged.
    noise_nm
        Standard deviation of one sample, N.m.
    step_s
        The usual time between samples, s.
    rules
        Thresholds.

    Returns
    -------
    array of int
        (k,) indices, both samples of a spike of two.
    """
    largest = percentile(np.abs(torque_nm), 99.5)
    threshold = max(rules.spike_noise * noise_nm, rules.spike_share * largest)
    middle = median_of_five(torque_nm)
    off = torque_nm - middle
    candidates = np.flatnonzero(np.abs(off) > threshold)
    if not candidates.size:
        return np.empty(0, dtype=np.intp)
    usual = percentile(np.abs(torque_nm[np.abs(off) <= threshold]), 98.0)
    # One or two samples that no mechanism could make at all must not pass for a swing beside another spike.
    far = np.abs(off) > rules.outlier * usual
    jumps = [run for run in runs_of(np.abs(off) > threshold) if run[1] - run[0] <= 2]
    outlier = {i: run for run in jumps if far[slice(*run)].any() for i in range(*run)}
    if not outlier:
        candidates = _standing_out(torque_nm, off, candidates, threshold)
    others_clipped = torque_nm.copy()
    others_clipped[list(outlier)] = middle[list(outlier)]
    slow = 2 * step_s > rules.spike_longest_s
    spikes: list[int] = []
    n = torque_nm.size
    for i in candidates.tolist():
        if i in spikes:
            continue
        first = max(0, i - NEAR_SPIKE)
        near = others_clipped[first : i + 10].copy()
        own = slice(*(at - first for at in outlier.get(i, (i, i))))
        near[own] = torque_nm[first : i + 10][own]
        for length in (1, 2):
            before, after = i - 1 - first, i + length - first
            if i < BESIDE or i + length + 1 >= n:
                continue
            body = torque_nm[i : i + length]
            left = near[before] + (near[before] - near[before - 2]) / 2
            right = near[after] - (near[after + 1] - near[after])
            low, high = min(left, right, near[before], near[after]), max(left, right, near[before], near[after])
            stands_out = min(body) - high if off[i] > 0 else low - max(body)
            if length == 2 and off[i] * off[i + 1] < 0:  # up and down: what leaps to both sides is no mechanism's
                stands_out = rules.both_sides * min(max(value - high, low - value) for value in (float(body[0]), float(body[1])))
            # Both sides must be calm compared with the leap itself: a slip's own swing is not.
            calm = max(abs(near[before] - near[after]), abs(near[after + 1] - near[after]))
            around = np.concatenate((np.diff(near[max(0, before - 5) : before + 1], 2), np.diff(near[after : after + 6], 2)))
            if around.size:
                calm = max(calm, float(np.max(np.abs(around))))
            lone = length == 2 and slow and abs(float(np.mean(body))) > rules.lone_peak * usual
            if lone and not _on_a_level(torque_nm, i, length, noise_nm, usual, rules):
                continue
            if stands_out > threshold and calm < 0.5 * stands_out:
                spikes.extend(range(i, i + length))
                break
    found = np.asarray(spikes, dtype=np.intp)
    # A slow sensor shows a slip of chattering plates as one low sample: several of them, none to the other side, are slips.
    dips = (off[found] * torque_nm[found] < 0) & (np.abs(off[found]) < 0.5 * usual)
    return found[~dips] if slow and int(dips.sum()) >= rules.dips else found


def _standing_out(torque_nm: Floats, off: Floats, candidates: NDArray[np.intp], threshold: float) -> NDArray[np.intp]:
    """Those candidates that, alone or with the next sample, stand out from what both sides foretell: all at once, most do not."""
    n, out = torque_nm.size, np.zeros(candidates.size, dtype=bool)
    inner = (candidates >= BESIDE) & (candidates + BESIDE < n)
    at = candidates[inner]
    side = np.where(off[at] > 0, 1.0, -1.0)
    y = [side * torque_nm[at + k] for k in range(-BESIDE, BESIDE + 1)]  # y[3] is the sample itself
    passes = np.zeros(at.size, dtype=bool)
    for length in (1, 2):
        body = np.minimum(y[3], y[2 + length])
        left, right = y[2] + (y[2] - y[0]) / 2, y[3 + length] - (y[4 + length] - y[3 + length])
        passes |= body - np.maximum(np.maximum(left, right), np.maximum(y[2], y[3 + length])) > threshold
    out[inner], out[~inner] = passes, True
    return candidates[out]


def _on_a_level(torque_nm: Floats, at: int, length: int, noise_nm: float, usual_nm: float, rules: ConditionRules) -> bool:
    """Whether much the same load, and not rest, stands before and after the samples from `at`: what slides there cannot leap.

    Or the load that climbed before them climbs on as if nothing had been, or is yet to be taken up: no joint came loose.
    """
    before, after = torque_nm[max(0, at - rules.level_samples) : at], torque_nm[at + length : at + length + rules.level_samples]
    if min(before.size, after.size) < rules.level_samples:
        return False
    climbs = np.concatenate((np.diff(before)[-2:], np.diff(after)[:2])) * np.sign(after[0] - before[-1])
    if (climbs > rules.climbs_noise * noise_nm).all():
        return True
    rest = median(torque_nm[: 2 * rules.level_samples])
    level, both = median(before) - rest, np.concatenate((before, after)) - rest
    idle = rules.idle_share * usual_nm
    if idle > rules.level_noise * noise_nm and max(float(np.max(np.abs(before - rest))), abs(float(after[0]) - rest)) < idle:
        return True
    return abs(level) > rules.level_noise * noise_nm and bool((np.abs(both - level) < 0.5 * abs(level)).all())


def bridge(torque_nm: Floats, spikes: NDArray[np.intp]) -> Floats:
    """A copy with the spiked samples drawn straight from neighbour to neighbour.

    Parameters
    ----------
    torque_nm
        (n,).
    spikes
        (k,) indices, at least one sample not among them. Those at an end take the nearest good sample.

    Returns
    -------
    array
        (n,) N.m; `torque_nm` itself where there are no spikes.
    """
    if not spikes.size:
        return torque_nm
    good = np.ones(torque_nm.size, dtype=bool)
    good[spikes] = False
    index = np.arange(torque_nm.size)
    return np.where(good, torque_nm, np.interp(index, index[good], torque_nm[good]))


def condition(trace: Trace, sensor: Sensor, rules: ConditionRules | None = None, load_at_rest_nm: float = 0.0) -> Conditioned:
    """Make a trace of at least ten samples ready for reading. Never changes the trace itself.

    `load_at_rest_nm` is what lay on the plates at rest already, signed as the trace: torque is counted from that much below rest.

    Parameters
    ----------
    trace
        At least ten samples.
    sensor
        Its resolution and capacity count here, where they are stated, N.m.
    rules
        Thresholds; None: the usual ones.
    load_at_rest_nm
        A load that the plates carried at rest, N.m, signed as the trace.

    Returns
    -------
    Conditioned
        Torque in N.m from zero and angle in deg from its first sample, both positive in the direction of the pull, as many
        samples as the trace; noise, zero and what is troubled.
    """
    rules = rules or ConditionRules()
    steps = np.diff(trace.time_s)
    # Rounded, so that a later start of the clock, whose last digits differ, makes no window a sample wider.
    step_s = float(f"{median(steps):.6g}")
    gaps = np.flatnonzero(steps > GAP_STEPS * step_s)
    raw = trace.torque_nm
    resolution = sensor.resolution_nm or smallest_step(raw)
    step_deg = 0.0 if trace.angle_deg is None else smallest_step(trace.angle_deg, SMALLEST_ANGLE_DEG)
    head = raw[: max(10, min(raw.size, round(rules.rest.window_s / step_s)))]
    quantised, of_head = resolution / RECTANGULAR_WIDTH, deviation(head)
    of_rest, at_rest_nm = max(of_head, quantised), median(head)
    bursts = find_rails(raw, sensor.capacity_nm, step_s, rules.burst)
    raw = bridge(raw, bursts)
    bursts = np.union1d(bursts, find_dropouts(raw, at_rest_nm, of_rest, rules.burst))
    raw = bridge(raw, bursts)
    bursts = np.union1d(bursts, find_blows(raw, at_rest_nm, of_rest, step_s, rules.burst))
    raw = bridge(raw, bursts)
    bursts = np.union1d(bursts, find_bursts(raw, of_rest, step_s, rules.burst))
    raw = bridge(raw, bursts)
    of_all = deviation(raw)
    spikes = find_spikes(raw, max(of_head, quantised, 0.5 * of_all), step_s, rules)
    raw = bridge(raw, spikes)
    alternates = alternating_hum(raw)
    if alternates.any():
        raw = raw - alternates
        of_head, of_all = deviation(raw[: head.size]), deviation(raw)
    calm = Trace(trace.time_s, raw, trace.angle_deg)
    largest = percentile(np.abs(calm.torque_nm), 99.5)
    noise = max(min(of_head, max(of_all, NOISE_OF_REST * of_head)), quantised)
    before = rest_before(calm, noise, resolution, step_deg, step_s, largest, rules.rest)
    if before is not None:
        noise = max(deviation(calm.torque_nm[: before.last]), quantised)
    level = 0.0 if before is None else before.level_nm
    after = rest_after(calm.torque_nm - level, trace.angle_deg, noise, step_deg, step_s, largest, rules.rest)
    if before is not None and after is None:
        after = rest_while_ringing(calm.torque_nm - level, trace.angle_deg, noise, step_s, largest, rules.rest)
    held_peak = find_held_peak(trace.torque_nm, step_s, HeldPeakRules())
    if held_peak is not None and held_peak.stop == len(trace):
        after = None  # what stands at the end is the peak
    rest_nm = level if before is not None or after is None else after.level_nm
    repeats = usual_repeat(calm.torque_nm - rest_nm)
    clipped = find_clipped(
        calm.torque_nm, trace.angle_deg, step_deg, rest_nm, step_s, sensor.capacity_nm, noise, repeats, rules.clip
    )
    if held_peak is not None:
        clipped = np.zeros(len(trace), dtype=bool)
    rests = [slice(0, 0 if before is None else before.last), slice(len(trace) if after is None else after.first, len(trace))]
    hum = hum_at_rest(trace.time_s, calm.torque_nm - level, step_s, rests, HumRules())
    if hum.any():
        calm = Trace(trace.time_s, calm.torque_nm - hum, trace.angle_deg)
        noise = max(deviation(calm.torque_nm[rests[0] if before is not None else rests[1]]), quantised)
    if after is not None:
        after = replace(after, level_nm=float(np.mean(calm.torque_nm[after.first :])))
    zero = find_zero(calm, before, after, noise, step_deg, step_s, largest, rules.rest)
    torque = calm.torque_nm - zero_line(calm, zero, noise, largest, rules.rest) + load_at_rest_nm
    # The direction is that of the greater impulse: transients at the let-go are short.
    sign = 1 if float(np.sum(torque)) >= 0 else -1
    torque = sign * torque
    found = prepare_angle(trace.time_s, trace.angle_deg, step_deg, step_s, torque, rules.angle)
    angle, reversed_angle = None, False
    if found.angle_deg is not None:
        angle = sign * (found.angle_deg - found.angle_deg[0])
        work = float(np.sum(0.5 * (torque[1:] + torque[:-1]) * np.diff(angle)))
        reversed_angle = work < 0
        angle = -angle if reversed_angle else angle
    return Conditioned(
        time_s=trace.time_s,
        torque_nm=torque,
        angle_deg=angle,
        sign=sign,
        angle_reversed=reversed_angle,
        angle_doubtful=found.doubtful,
        step_s=step_s,
        held_s=repeats * step_s if repeats > 1 else 0.0,
        zero=zero,
        noise_nm=noise,
        hum_nm=float(np.ptp(hum + alternates)),
        largest_nm=percentile(torque, 99.5),
        resolution_nm=resolution,
        resolution_deg=0.0 if angle is None else smallest_step(angle, SMALLEST_ANGLE_DEG) if found.jumps else step_deg,
        spikes=spikes,
        bursts=bursts,
        gaps=gaps,
        clipped=clipped,
        peak_held=held_peak is not None,
    )
