"""The course of a pull: where the load is taken up, where the plates first let go for good, where they slide, pause, let go.

Every figure of a reading is read off this course; `stretches` gives its parts their names.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import minimum_filter1d

from analysis.condition import Conditioned, Flags
from analysis.results import Label, Stretch
from analysis.trace import Floats

Span = tuple[int, int]


@dataclass(frozen=True, kw_only=True, slots=True)
class CourseRules:
    """Thresholds of the course, each with its reason."""

    signal_over_noise: float = 20.0  # a pack that holds stands this far above the noise; free units read 2 to 10
    signal_over_step: float = 10.0  # ... and this many steps of a coarse sensor
    capacity_share: float = 0.01  # below this share of the sensor's capacity nothing held
    bite_high: float = 0.5  # a bite begins where the torque passes this share of the working level ...
    bite_low: float = 0.15  # ... and reaches back and forth to where it falls below this
    bite_gap_s: float = 0.12  # a dip to zero shorter than this is chatter, not a regrip
    sustained_deg: float = 3.0  # slipped this far: for good. Bevel lash lets a single pack slip 0.2 to 2 degrees (trade notes 2.2)
    look_on_deg: float = 6.0  # so far on, a reload well above the first peak shows that it was only a step
    step_rise: float = 0.04  # ... by this share
    onset_deg: float = 0.25  # slipped this far (or two encoder steps): the plates have let go, if nothing reloads them
    stuck_deg: float = 0.6  # a reload with less plastic turning than this was elastic: the plates stuck again
    sustained_s: float = 0.25  # without an angle: not surpassed for so long
    surpass: float = 0.03  # ... by this share
    sudden: float = 1.0  # a fall steeper than the load's climb ...
    sudden_share: float = 0.015  # ... and of this share of the peak is a slip
    reload_share: float = 0.3  # ... nor later on by a climb this steep against the load's: the hand had only held
    died_share: float = 0.1  # the first slip has died away where so little of its fall is left
    after_slip_deg: float = 2.0  # steady sliding starts so far after it (definition of the known-truth pulls)
    after_slip_s: float = 0.15  # the same without an angle
    pause_s: float = 0.2  # a hand that stops for so long pauses; chatter's sticking is shorter or has rising torque
    pause_share: float = 0.1  # ... turning at less than this share of the usual speed
    let_go_share: float = 0.75  # the last fall counts as let go from below this share of the torque before
    smooth_s: float = 0.012
    fine_s: float = 0.003  # the peak is sought on a trace smoothed only this much: fast chatter must not be averaged away


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """Indices into the conditioned trace. Spans are first <= i < last.

    bites         the stretches under load, a regrip between them
    load_from     where the load that ends in the first slip is taken up
    peak          the highest sample (smoothed) from there to the first sustained slip
    slip_to       where that slip has died away
    sliding       spans of steady sliding, pauses and regrips left out
    pauses        spans in which the hand stopped
    first_step    index in the middle of a lower first plateau, None if there is none
    let_go        where the last bite's torque falls away, None if the trace ends under load
    smooth_nm     the smoothed torque the course was found on
    """

    bites: tuple[Span, ...]
    load_from: int
    peak: int
    slip_to: int
    sliding: tuple[Span, ...]
    pauses: tuple[Span, ...]
    first_step: int | None
    let_go: int | None
    smooth_nm: Floats


def runs_of(flags: Flags) -> list[Span]:
    """Spans in which `flags` is true."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flags.view(np.int8), [0]))))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]


def working_level(c: Conditioned, smooth: Floats) -> float:
    """The torque the pack works at: the median over angle turned under load, over time where there is no angle."""
    thin = max(1, smooth.size // 50_000)
    smooth = smooth[::thin]
    top = float(np.percentile(smooth, 99.0))
    under = smooth > 0.25 * top
    if not under.any():
        return max(top, 0.0)
    values = smooth[under]
    if c.angle_deg is None:
        return float(np.median(values))
    angle = c.angle_deg[::thin]
    turned = np.maximum(np.diff(angle, prepend=angle[0])[under], 0.0)
    if turned.sum() <= 1.0:
        return float(np.median(values))
    order = np.argsort(values)
    weight = np.cumsum(turned[order])
    return float(values[order][np.searchsorted(weight, 0.5 * weight[-1])])


def holds_nothing(c: Conditioned, level_nm: float, top_nm: float, capacity_nm: float | None, rules: CourseRules) -> bool:
    """Whether the unit spun free: no torque that stands out from the noise and from the sensor's range."""
    if capacity_nm is not None and level_nm < rules.capacity_share * capacity_nm:
        return True
    if level_nm < rules.signal_over_step * c.resolution_nm:
        return True
    return level_nm < rules.signal_over_noise * max(c.noise_nm, 1e-12) and top_nm < 1.5 * rules.signal_over_noise * c.noise_nm


def find_bites(c: Conditioned, smooth: Floats, level_nm: float, rules: CourseRules) -> list[Span]:
    """Stretches under load: from the low threshold over the high one and back to the low one (hysteresis)."""
    low = runs_of(smooth > rules.bite_low * level_nm)
    gap = c.samples_in(rules.bite_gap_s)
    merged: list[Span] = []
    for first, last in low:
        if merged and first - merged[-1][1] <= gap:
            merged[-1] = (merged[-1][0], last)
        else:
            merged.append((first, last))
    return [(a, b) for a, b in merged if float(smooth[a:b].max()) > rules.bite_high * level_nm]


def wind_up(c: Conditioned, smooth: Floats, load: Span) -> float:
    """Elastic wind-up of adapter and unit in degrees per N.m, from the rising load; 0 where it cannot be told."""
    first, last = load
    if c.angle_deg is None or last - first < 6:
        return 0.0
    torque, angle = smooth[first:last], c.angle_deg[first:last]
    top = float(torque.max())
    part = (torque > 0.35 * top) & (torque < 0.9 * top)
    if np.count_nonzero(part) < 5 or np.ptp(torque[part]) < 0.2 * top:
        return 0.0
    slope = float(np.polyfit(torque[part], angle[part], 1)[0])
    return max(slope, 0.0)


def _plastic(c: Conditioned, smooth: Floats, compliance: float) -> Floats | None:
    return None if c.angle_deg is None else c.angle_deg - compliance * smooth


def _first_slip_by_angle(
    c: Conditioned, smooth: Floats, bite: Span, level_nm: float, rules: CourseRules
) -> tuple[int, int, int | None] | None:
    """(load_from, peak, first_step) of the first sustained slip in a bite; None if the plates never slip for good in it.

    1. Elastic wind-up is taken off the angle: what is left turns only when something slips.
    2. The peak is the highest torque before the plates have slipped `sustained_deg` beyond where the load was taken up.
    3. If the torque falls to nearly zero after it (a pawl or vice that slipped), or soon climbs well above it while the
       plates stick again (a first step), that was not the slip: go on from there.
    """
    first, last = bite
    load_from = first
    step: int | None = None
    fine = c.smooth(rules.fine_s)
    while last - load_from > 4:
        rising = load_from + int(np.argmax(smooth[load_from:last] > 0.5 * level_nm))
        near = min(last, rising + max(3, c.samples_in(0.02)))
        top_first = load_from + int(np.argmax(smooth[load_from:near])) + 1
        compliance = wind_up(c, smooth, (load_from, max(top_first, near)))
        plastic = _plastic(c, smooth, compliance)
        assert plastic is not None
        base = float(np.median(plastic[rising : min(rising + 3, last)]))
        slipped = plastic[rising:last] - base > rules.sustained_deg
        if not slipped.any():
            return None
        at = rising + int(np.argmax(slipped))
        peak = load_from + int(np.argmax(fine[load_from : at + 1]))
        compliance = wind_up(c, smooth, (load_from, peak + 1))
        plastic = _plastic(c, smooth, compliance)
        assert plastic is not None
        peak = _before_creep(c, fine, plastic, load_from, peak, rules)
        on = plastic[at:last] - plastic[at] < rules.look_on_deg
        end = at + (int(np.argmin(on)) if not on.all() else on.size)
        trough = peak + int(np.argmin(fine[peak : max(end, peak + 2)]))
        if fine[trough] < 0.1 * fine[peak] and trough < last - 1 and (fine[trough:last] > 0.8 * fine[peak]).any():
            load_from = trough
            continue
        higher = np.flatnonzero(fine[peak:end] > (1 + rules.step_rise) * fine[peak])
        if higher.size:
            again = peak + int(higher[0])
            low = peak + int(np.argmin(fine[peak : again + 1]))
            middle = low + int(np.argmax(fine[low : again + 1] > 0.5 * (fine[low] + fine[again])))
            if plastic[again] - plastic[middle] < rules.stuck_deg + 2 * c.resolution_deg:
                step = step if step is not None else peak
                load_from = low
                continue
        return load_from, peak, step
    return None


def _before_creep(c: Conditioned, fine: Floats, plastic: Floats, load_from: int, peak: int, rules: CourseRules) -> int:
    """The peak before the plates began to turn, where the torque only crept up while they turned; else the peak as it is.

    Oil that carries friction up with speed lets the torque rise on after the plates have let go: that rise is sliding.
    """
    knee = load_from + int(np.argmax(fine[load_from : peak + 1] > 0.8 * fine[peak]))
    reference = slice(max(load_from, knee - max(3, c.samples_in(0.02))), knee + 1)
    limit = float(np.median(plastic[reference])) + max(rules.onset_deg, 2 * c.resolution_deg)
    turning = plastic[knee : peak + 1] > limit
    if not turning.any():
        return peak
    onset = knee + int(np.argmax(turning))
    first = load_from + int(np.argmax(fine[load_from : onset + 1]))
    rise = float(fine[peak] - fine[first])
    if rise <= 0 or first >= peak:
        return first
    upper = onset + int(np.argmax(fine[onset : peak + 1] >= fine[first] + 0.4 * rise))
    crept = plastic[peak] - plastic[upper] > max(rules.onset_deg, 2 * c.resolution_deg)
    never_fell = float(fine[first : peak + 1].min()) > fine[first] - max(3 * c.noise_nm, 0.3 * rise)
    return first if crept and never_fell else peak


def _first_slip_by_torque(c: Conditioned, smooth: Floats, bite: Span, rules: CourseRules) -> tuple[int, int, int | None] | None:
    """The same without an angle: the first peak that is not surpassed for a while, and above which nobody loads later on.

    A hand that hesitates before the plates let go holds its torque for a while too, but then goes on loading: the torque
    climbs well above the hold, about as steeply as before it. Sliding torque wanders up far more slowly.
    """
    first, last = bite
    hold = c.samples_in(rules.sustained_s, 3)
    fine = c.smooth(rules.fine_s)
    start = first
    while last - start > 2:
        running = np.maximum.accumulate(smooth[start:last])
        size = running.size
        ahead = running[np.minimum(np.arange(size) + hold, size - 1)]
        calm = (ahead <= (1 + rules.surpass) * running) & (running > 0.5 * float(running[-1]))
        if not calm.any():
            return None
        at = start + int(np.argmax(calm))
        peak = at + int(np.argmax(fine[at : min(last, at + hold)]))
        higher = np.flatnonzero(smooth[peak:last] > (1 + rules.step_rise) * fine[peak])
        if not higher.size:
            return first, peak, None
        again = peak + int(higher[0])
        foot = peak + int(
            np.flatnonzero(smooth[peak : again + 1] <= (1 - rules.step_rise / 2) * fine[peak] + 0.02 * fine[peak])[-1]
        )
        load_from = first + int(np.argmax(smooth[first : peak + 1] > 0.3 * fine[peak]))
        loading = 0.5 * fine[peak] / max(peak - load_from, 1)
        climbing = (smooth[again] - smooth[foot]) / max(again - foot, 1)
        if climbing < rules.reload_share * loading or _fell(fine[peak : again + 1], loading, c.samples_in(0.01), rules):
            return first, peak, None
        start = again
    return None


def _fell(after_peak: Floats, loading_nm: float, span: int, rules: CourseRules) -> bool:
    """Whether the torque fell suddenly after the peak, against the load's climb: plates that slip, not a hand that holds."""
    if after_peak.size <= span:
        return False
    falls = after_peak[:-span] - after_peak[span:]
    return bool(np.any((falls > rules.sudden * loading_nm * span) & (falls > rules.sudden_share * after_peak[0])))


def find_first_slip(
    c: Conditioned, smooth: Floats, bite: Span, level_nm: float, rules: CourseRules
) -> tuple[int, int, int | None] | None:
    """(load_from, peak, first_step) of a bite, by angle where there is one."""
    if c.angle_deg is not None:
        return _first_slip_by_angle(c, smooth, bite, level_nm, rules)
    return _first_slip_by_torque(c, smooth, bite, rules)


def _slip_end(c: Conditioned, smooth: Floats, peak: int, last: int, rules: CourseRules) -> int:
    """Where the fall after the peak has died away: so little is left of it above the low that follows within some degrees."""
    if c.angle_deg is None:
        end = min(last, peak + c.samples_in(0.8))
    else:
        beyond = c.angle_deg[peak:last] - c.angle_deg[peak] > 8.0
        end = peak + int(np.argmax(beyond)) if beyond.any() else last
    part = smooth[peak : max(end, peak + 2)]
    low = float(part.min())
    small = part <= low + max(rules.died_share * (part[0] - low), 2 * c.noise_nm)
    return peak + int(np.argmax(small))


def find_pauses(c: Conditioned, smooth: Floats, span: Span, rules: CourseRules) -> list[Span]:
    """Stretches of at least `pause_s` in which the lever hardly turns and the torque does not climb.

    A stretch of sticking plates also stands still, but there the hand goes on and the torque climbs.
    """
    first, last = span
    if c.angle_deg is None or last - first < 10:
        return []
    angle = c.angle_deg[first:last]
    half = max(1, c.samples_in(rules.pause_s) // 2)
    if angle.size <= 2 * half + 2:
        return []
    turned = angle[2 * half :] - angle[: -2 * half]
    # Against the lowest torque in the window: right after a slip the net change is small, yet the plates already load.
    lowest = minimum_filter1d(smooth[first:last], 2 * half + 1, mode="nearest")[half : angle.size - half]
    climbed = smooth[first + 2 * half : last] - lowest
    usual = float(np.percentile(turned, 60))
    still = (turned < max(rules.pause_share * usual, 1.2 * c.resolution_deg)) & (turned < 0.5 * usual)
    still &= climbed < max(4 * c.noise_nm, 0.02 * float(smooth[first:last].max()))
    spans: list[Span] = []
    for a, b in runs_of(still):
        # Each centre stands for the window around it.
        spans.append((first + a, first + b + 2 * half))
    joined: list[Span] = []
    for a, b in spans:
        if joined and a <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(b, joined[-1][1]))
        else:
            joined.append((a, b))
    return joined


def _let_go(c: Conditioned, smooth: Floats, bite: Span, rules: CourseRules) -> int:
    """Index where the final fall of a bite begins."""
    first, last = bite
    width = c.samples_in(0.1, 5)
    tail_from = max(first, last - 3 * width)
    before = float(np.median(c.torque_nm[max(first, last - 4 * width) : max(last - width // 2, first + 1)]))
    high = np.flatnonzero(c.torque_nm[tail_from:last] > rules.let_go_share * before)
    at = tail_from + int(high[-1]) if high.size else last - 1
    return max(first + 1, at - c.samples_in(0.004))


def find_course(c: Conditioned, level_nm: float, smooth: Floats, rules: CourseRules) -> Course | None:
    """The course of a pull at this working level; None where no load was ever taken up."""
    bites = find_bites(c, smooth, level_nm, rules)
    if not bites:
        return None
    slips = ((number, find_first_slip(c, smooth, bite, level_nm, rules)) for number, bite in enumerate(bites))
    index, found = next(((number, slip) for number, slip in slips if slip is not None), (0, None))
    if found is None:
        # Never slipped for good: the highest torque is all there is; the quality says so.
        bite = max(bites, key=lambda span: float(smooth[span[0] : span[1]].max()))
        peak = bite[0] + int(np.argmax(smooth[bite[0] : bite[1]]))
        return Course(tuple(bites), bite[0], peak, bite[1], (), (), None, bite[1] if bite[1] < smooth.size else None, smooth)
    load_from, peak, step = found
    sliding: list[Span] = []
    pauses: list[Span] = []
    slip_to = peak
    for number, bite in enumerate(bites[index:]):
        end = _let_go(c, smooth, bite, rules) if bite[1] < smooth.size else bite[1]
        top = peak
        if number:
            again = find_first_slip(c, smooth, bite, level_nm, rules)
            if again is None:
                continue
            top = again[1]
        died = _slip_end(c, smooth, top, end, rules)
        if not number:
            slip_to = died
        begin = _after_slip(c, died, end, rules)
        if end - begin < 3:
            continue
        stops = find_pauses(c, smooth, (begin, end), rules)
        pauses += stops
        sliding += _without((begin, end), stops)
    last_bite = bites[-1]
    let_go = _let_go(c, smooth, last_bite, rules) if last_bite[1] < smooth.size else None
    return Course(tuple(bites), load_from, peak, slip_to, tuple(sliding), tuple(pauses), step, let_go, smooth)


def _after_slip(c: Conditioned, died: int, end: int, rules: CourseRules) -> int:
    if c.angle_deg is None:
        return min(end, died + c.samples_in(rules.after_slip_s))
    on = c.angle_deg[died:end] - c.angle_deg[died] >= rules.after_slip_deg
    return died + int(np.argmax(on)) if on.any() else end


def _without(span: Span, holes: list[Span]) -> list[Span]:
    parts: list[Span] = []
    at = span[0]
    for a, b in holes:
        if a - at >= 3:
            parts.append((at, a))
        at = max(at, b)
    if span[1] - at >= 3:
        parts.append((at, span[1]))
    return parts


def name_stretches(c: Conditioned, course: Course | None) -> tuple[Stretch, ...]:
    """A name for every stretch of the trace, without holes or overlaps, from first to last sample."""
    n = c.time_s.size
    names: NDArray[np.int8] = np.zeros(n, dtype=np.int8)
    order = list(Label)
    code = {label: index for index, label in enumerate(order)}
    if course is not None:
        names[c.rest_to : c.rest_from] = code[Label.SLACK]
        for number, (first, last) in enumerate(course.bites):
            names[first:last] = code[Label.LOAD]
            if number and course.bites[number - 1][1] < first:
                names[course.bites[number - 1][1] : first] = code[Label.PAUSE]
        names[course.peak : course.slip_to] = code[Label.SLIP]
        if course.sliding:
            for first, last in course.bites:
                parts = [s for s in course.sliding if first <= s[0] < last]
                if parts:
                    names[min(parts[0][0], max(course.slip_to, first)) : parts[-1][1]] = code[Label.SLIDING]
        for first, last in course.pauses:
            names[first:last] = code[Label.PAUSE]
        if course.let_go is not None:
            names[course.let_go : max(c.rest_from, course.let_go)] = code[Label.LET_GO]
    names[c.clipped] = code[Label.CLIPPED]
    starts = np.flatnonzero(np.diff(names, prepend=names[:1] - 1))
    ends = np.append(starts[1:], n - 1)
    return tuple(
        Stretch(order[int(names[a])], float(c.time_s[a]), float(c.time_s[b])) for a, b in zip(starts, ends, strict=True) if b > a
    )
