"""The course of a pull: where the load is taken up, where the plates first let go for good, where they slide, pause, let go.

Every figure of a reading is read off this course; `stretches` gives its parts their names.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import minimum_filter1d

from analysis.pull.angle import COARSE_DEG
from analysis.pull.conditioning import Conditioned
from analysis.pull.first_slip import CourseRules, find_first_slip
from analysis.pull.noise import UNDER_LOAD, Span, joined_runs, median, percentile, runs_of
from analysis.results import Label, Stretch
from analysis.trace import Floats

THINNED = 50_000
"""The working level is found on so many samples of a longer trace: it is a percentile."""
LEAST_AT_REST = 20
"""Samples at rest whose deviation tells the noise."""
ALTERNATES = 0.65
"""White noise has a deviation as large as its differences tell, to within a third; one that alternates has half of it."""
SLIDES = 75.0
"""Without an angle: this percentile of the torque is that of sliding."""
HOLDS_SOMETHING = 1.5
"""A top so many times the detection limit is a pull, even if its level is not."""
SLIP_ENDS_S, SLIP_ENDS_DEG = 0.8, 8.0
"""The first slip is over after so long, or after the unit turned so far: what comes then is sliding."""
HALF_PAUSE = 0.3
"""The turning is taken over so much of the shortest pause either way ..."""
PAUSE_LEAST = 0.4
"""... and a stretch of standing that is shorter than this share of it is none."""
STILL_STEPS = 1.2
"""Turning by less than so many steps of the encoder is standing."""
CLIMB_NOISE, CLIMB = 4, 0.02
"""A torque that climbs by more than so many deviations of noise and this share of the top while the lever stands is loading."""
TAIL_S, TAIL_LEAST, TAILS = 0.1, 5, 3
"""The release is looked for in the last three windows of so long."""
BEFORE_RELEASE_S = 0.004
"""Sliding ends so long before the torque drops."""
LEAST_STRETCH = 3
"""Samples: a shorter stretch is not named."""


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
    rival         another release, higher or lower, that may be the breakaway; None if there is none
    knee          the samples between which plates in cold oil let go, None if oil does not hide it
    """

    load_segments: tuple[Span, ...]
    load_from: int
    peak: int
    slip_to: int
    sliding: tuple[Span, ...]
    pauses: tuple[Span, ...]
    first_step: int | None
    let_go: int | None
    smooth_nm: Floats
    rival: int | None = None
    knee: Span | None = None


def working_level(c: Conditioned, smooth: Floats) -> float:
    """The torque the pack works at: the median over angle turned under load, over time where there is no angle.

    Parameters
    ----------
    c
        The conditioned trace.
    smooth
        (n,) its smoothed torque, N.m.

    Returns
    -------
    float
        N.m, not below 0.
    """
    thin = max(1, smooth.size // THINNED)
    smooth = smooth[::thin]
    top = percentile(smooth, 99.0)
    under = smooth > UNDER_LOAD * top
    if not under.any():
        return max(top, 0.0)
    values = smooth[under]
    if c.angle_deg is None:
        return median(values)
    angle = c.angle_deg[::thin]
    turned = np.maximum(np.diff(angle, prepend=angle[0])[under], 0.0)
    if turned.sum() <= 1.0:
        return median(values)
    order = np.argsort(values)
    weight = np.cumsum(turned[order])
    return float(values[order][np.searchsorted(weight, 0.5 * weight[-1])])


def holds_nothing(c: Conditioned, level_nm: float, top_nm: float, capacity_nm: float | None, rules: CourseRules) -> bool:
    """Whether the unit spun free: no torque that stands out from the noise and from the sensor's range.

    Parameters
    ----------
    c
        The conditioned trace; its noise and resolution count.
    level_nm
        The working level, N.m.
    top_nm
        The highest smoothed torque, N.m.
    capacity_nm
        Of the sensor, N.m; None: not known.
    rules
        Thresholds.

    Returns
    -------
    bool
        True where the level is below 1 % of capacity, or where level and top both stand too little above noise and resolution.
    """
    if capacity_nm is not None and level_nm < rules.capacity_share * capacity_nm:
        return True
    # A pack that lets go high and slides low has held all the same: the peak counts too.
    least = _above_noise(c, rules)
    return level_nm < least and top_nm < HOLDS_SOMETHING * least


def detection_limit(c: Conditioned, capacity_nm: float | None, rules: CourseRules) -> float:
    """The least torque, N.m, that is told from a unit that spins free (see `holds_nothing`).

    Parameters
    ----------
    c
        The conditioned trace; its noise and resolution count.
    capacity_nm
        Of the sensor, N.m; None: not known.
    rules
        Thresholds.

    Returns
    -------
    float
        N.m.
    """
    return max(_above_noise(c, rules), rules.capacity_share * (capacity_nm or 0.0))


def _above_noise(c: Conditioned, rules: CourseRules) -> float:
    # Noise that changes sign from sample to sample (aliased hum) looks larger in its differences than it is.
    at_rest = c.torque_nm[: c.rest_to]
    spread = float(np.std(at_rest)) if at_rest.size >= LEAST_AT_REST else c.noise_nm
    noise = spread if spread < ALTERNATES * c.noise_nm else c.noise_nm
    return max(rules.signal_over_noise * noise, rules.signal_over_step * c.resolution_nm)


def find_load_segments(c: Conditioned, smooth: Floats, level_nm: float, rules: CourseRules) -> list[Span]:
    """Stretches under load: from the low threshold over the high one and back to the low one (hysteresis).

    Parameters
    ----------
    c
        The conditioned trace.
    smooth
        (n,) its smoothed torque, N.m.
    level_nm
        The working level, N.m, of which the thresholds are shares.
    rules
        Thresholds; dips shorter than `segment_gap_s` are passed over.

    Returns
    -------
    list of (first, last)
        Indices first <= i < last, in order of time; empty where no load was taken up.
    """
    low = joined_runs(smooth > rules.segment_low * level_nm, c.samples_in(rules.segment_gap_s))
    return [(a, b) for a, b in low if float(smooth[a:b].max()) > rules.segment_high * level_nm]


def _slip_end(c: Conditioned, smooth: Floats, peak: int, last: int, rules: CourseRules) -> int:
    """Where the fall after the peak has died away: so little is left of it above the low that follows within some degrees."""
    if c.angle_deg is None:
        end = min(last, peak + c.samples_in(SLIP_ENDS_S))
    else:
        beyond = c.angle_deg[peak:last] - c.angle_deg[peak] > SLIP_ENDS_DEG
        end = peak + int(np.argmax(beyond)) if beyond.any() else last
    part = smooth[peak : max(end, peak + 2)]
    low = float(part.min())
    small = part <= low + max(rules.died_share * (part[0] - low), 2 * c.noise_nm)
    return peak + int(np.argmax(small))


def find_pauses(c: Conditioned, smooth: Floats, span: Span, rules: CourseRules) -> list[Span]:
    """Stretches of at least `pause_s` in which the lever hardly turns and the torque does not climb.

    A stretch of sticking plates also stands still, but there the hand goes on and the torque climbs.

    Parameters
    ----------
    c
        The conditioned trace.
    smooth
        (n,) its smoothed torque, N.m.
    span
        Indices first <= i < last that are searched.
    rules
        Thresholds.

    Returns
    -------
    list of (first, last)
        Indices into the whole trace, in order of time, without overlap; none with a coarse encoder. Without an angle only a hand
        that held back at a level lower load, and came back, is told.
    """
    first, last = span
    if c.angle_deg is None:
        return _held_back(c, smooth, span, rules)
    # Between two steps of a coarse encoder the lever seems to stand: its pauses weigh nothing, for it does not turn in them.
    if c.resolution_deg >= COARSE_DEG:
        return []
    angle = c.angle_deg[first:last]
    half = max(1, round(HALF_PAUSE * c.samples_in(rules.pause_s)))
    if angle.size <= 2 * half + 2:
        return []
    turned = angle[2 * half :] - angle[: -2 * half]
    # Against the lowest torque in the window: right after a slip the net change is small, yet the plates already load.
    lowest = minimum_filter1d(smooth[first:last], 2 * half + 1, mode="nearest")[half : angle.size - half]
    top = float(smooth[first:last].max())
    climbed = smooth[first + 2 * half : last] - lowest
    usual = percentile(turned, 60)
    still = (turned < max(rules.pause_share * usual, STILL_STEPS * c.resolution_deg)) & (turned < 0.5 * usual)
    still &= climbed < max(CLIMB_NOISE * c.noise_nm, CLIMB * top)
    joined: list[Span] = []
    for a, b in runs_of(still):
        if b - a < PAUSE_LEAST * c.samples_in(rules.pause_s):
            continue  # the instant of a slip, in which the lever has not moved yet
        # Each centre stands for the window around it.
        begin, end = first + a, first + b + 2 * half
        if joined and begin <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((begin, end))
    return joined


def _held_back(c: Conditioned, smooth: Floats, span: Span, rules: CourseRules) -> list[Span]:
    """Stretches of a load well below that of sliding, level for a while, with sliding before and after: the plates stood."""
    first, last = span
    torque = smooth[first:last]
    slides = percentile(torque, SLIDES)
    found: list[Span] = []
    for a, b in runs_of(torque < rules.back_share * slides):
        level = torque[a + (b - a) // 4 : b - (b - a) // 4]
        held = b - a >= 2 * c.samples_in(rules.pause_s) and float(np.ptp(level)) < max(CLIMB_NOISE * c.noise_nm, CLIMB * slides)
        before, after = np.flatnonzero(torque[:a] > rules.on_share * slides), np.flatnonzero(torque[b:] > rules.on_share * slides)
        if held and before.size and after.size:
            found.append((first + int(before[-1]), first + b + int(after[0])))
    return found


def _turned(c: Conditioned, span: Span) -> float:
    assert c.angle_deg is not None
    return float(c.angle_deg[span[1] - 1] - c.angle_deg[span[0]])


def _backed_off(c: Conditioned, smooth: Floats, span: Span, rules: CourseRules) -> list[Span]:
    """Stretches in which the hand took load off for another stroke and loaded again: the plates stood, the lever only wound up.

    Plates that chatter turn on while the torque falls; a hand that backs off lets the lever come back.
    """
    if c.angle_deg is None or c.resolution_deg >= COARSE_DEG:
        return []
    first, last = span
    torque = smooth[first:last]
    slides = percentile(torque, SLIDES)
    near = np.flatnonzero(torque > rules.on_share * slides)
    found: list[Span] = []
    for a, b in runs_of(torque < rules.back_share * slides):
        before, after = near[near < a], near[near >= b]
        if not before.size or not after.size:
            continue
        begin, low, end = int(before[-1]), a + int(np.argmin(torque[a:b])), int(after[0])
        came_back = c.angle_deg[first + low] - c.angle_deg[first + begin] < -max(rules.back_deg, 2 * c.resolution_deg)
        if came_back and low - begin >= c.samples_in(rules.back_s):
            found.append((first + begin, first + end))
    return found


def _let_go(c: Conditioned, segment: Span, rules: CourseRules) -> int:
    """Index where the final fall of a bite begins."""
    first, last = segment
    width = c.samples_in(TAIL_S, TAIL_LEAST)
    tail_from = max(first, last - TAILS * width)
    before = median(c.torque_nm[max(first, last - 4 * width) : max(last - width // 2, first + 1)])
    high = np.flatnonzero(c.torque_nm[tail_from:last] > rules.let_go_share * before)
    at = tail_from + int(high[-1]) if high.size else last - 1
    return max(first + 1, at - c.samples_in(BEFORE_RELEASE_S))


def find_course(c: Conditioned, level_nm: float, smooth: Floats, rules: CourseRules) -> Course | None:
    """The course of a pull at this working level; None where no load was ever taken up.

    Parameters
    ----------
    c
        The conditioned trace.
    level_nm
        The working level, N.m.
    smooth
        (n,) the smoothed torque, N.m.
    rules
        Thresholds.

    Returns
    -------
    Course or None
        Where the plates never slipped for good it has the highest torque as its peak, and no sliding.
    """
    load_segments = find_load_segments(c, smooth, level_nm, rules)
    if not load_segments:
        return None
    slips = ((number, find_first_slip(c, smooth, segment, level_nm, rules)) for number, segment in enumerate(load_segments))
    index, found = next(((number, slip) for number, slip in slips if slip is not None), (0, None))
    if found is None:
        # Never slipped for good: the highest torque is all there is; the quality says so.
        segment = max(load_segments, key=lambda span: float(smooth[span[0] : span[1]].max()))
        peak = segment[0] + int(np.argmax(smooth[segment[0] : segment[1]]))
        return Course(
            tuple(load_segments),
            segment[0],
            peak,
            segment[1],
            (),
            (),
            None,
            segment[1] if segment[1] < smooth.size else None,
            smooth,
        )
    load_from, peak = found.load_from, found.peak
    sliding: list[Span] = []
    pauses: list[Span] = []
    slip_to = peak
    for number, segment in enumerate(load_segments[index:]):
        end = _let_go(c, segment, rules) if segment[1] < smooth.size else segment[1]
        top = peak
        if number:
            again = find_first_slip(c, smooth, segment, level_nm, rules)
            if again is None:
                continue
            top = again.peak
        died = _slip_end(c, smooth, top, end, rules)
        if not number:
            slip_to = died
        begin = _after_slip(c, died, end, rules)
        if end - begin < LEAST_STRETCH:
            continue
        stops = find_pauses(c, smooth, (begin, end), rules)
        pauses += stops
        parts = _without((begin, end), [*stops, *_backed_off(c, smooth, (begin, end), rules)])
        # What follows a last pause and hardly turns on is the lever let go, no sliding.
        while len(parts) > 1 and c.angle_deg is not None and _turned(c, parts[-1]) < rules.after_slip_deg:
            parts.pop()
        sliding += parts
    last_bite = load_segments[-1]
    let_go = _let_go(c, last_bite, rules) if last_bite[1] < smooth.size else None
    return Course(
        tuple(load_segments),
        load_from,
        peak,
        slip_to,
        tuple(sliding),
        tuple(pauses),
        found.first_step,
        let_go,
        smooth,
        found.rival,
        found.knee,
    )


def _after_slip(c: Conditioned, died: int, end: int, rules: CourseRules) -> int:
    if c.angle_deg is None:
        return min(end, died + c.samples_in(rules.after_slip_s))
    on = c.angle_deg[died:end] - c.angle_deg[died] >= rules.after_slip_deg
    return died + int(np.argmax(on)) if on.any() else end


def _without(span: Span, holes: list[Span]) -> list[Span]:
    parts: list[Span] = []
    at = span[0]
    for a, b in sorted(holes):
        if a - at >= LEAST_STRETCH:
            parts.append((at, a))
        at = max(at, b)
    if span[1] - at >= LEAST_STRETCH:
        parts.append((at, span[1]))
    return parts


def name_stretches(c: Conditioned, course: Course | None) -> tuple[Stretch, ...]:
    """A name for every stretch of the trace, without holes or overlaps, from first to last sample.

    Parameters
    ----------
    c
        The conditioned trace.
    course
        None: rest throughout, but for what is clipped.

    Returns
    -------
    tuple of Stretch
        In order of time, s; each ends where the next begins. Empty for fewer than two samples.
    """
    n = c.time_s.size
    names: NDArray[np.int8] = np.zeros(n, dtype=np.int8)
    order = list(Label)
    code = {label: index for index, label in enumerate(order)}
    if course is not None:
        names[c.rest_to : c.rest_from] = code[Label.SLACK]
        for number, (first, last) in enumerate(course.load_segments):
            names[first:last] = code[Label.LOAD]
            if number and course.load_segments[number - 1][1] < first:
                names[course.load_segments[number - 1][1] : first] = code[Label.PAUSE]
        names[course.peak : course.slip_to] = code[Label.SLIP]
        if course.sliding:
            for first, last in course.load_segments:
                parts = [s for s in course.sliding if first <= s[0] < last]
                if parts:
                    names[min(parts[0][0], max(course.slip_to, first)) : parts[-1][1]] = code[Label.SLIDING]
        for first, last in course.pauses:
            names[first:last] = code[Label.PAUSE]
        if course.let_go is not None:
            names[course.let_go : max(c.rest_from, course.let_go)] = code[Label.RELEASE]
    names[c.clipped] = code[Label.CLIPPED]
    starts = np.flatnonzero(np.diff(names, prepend=names[:1] - 1))
    ends = np.append(starts[1:], n - 1)
    return tuple(
        Stretch(order[int(names[a])], float(c.time_s[a]), float(c.time_s[b])) for a, b in zip(starts, ends, strict=True) if b > a
    )
