"""What a noise-free sensor would have read, by the contract's definitions, from the motion itself (never from the noisy curve)."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from support.pull_physics import COMMAND_S, RECORD_S, Hand, Motion, Unit

SUSTAINED_RAD = float(np.radians(0.1))
SUSTAINED_SECOND_RAD = float(np.radians(0.5))
BOUNCE_S = 0.03
SETTLED_RAD = float(np.radians(2.0))
STUCK_S = 5e-4
FULL_FALL = 0.6  # of the large ones: nobody would leave such a fall out
STANDS_SHARE = 0.05  # of the mean speed: plates that turn so slowly only creep


@dataclass(frozen=True, kw_only=True)
class Truth:
    """Magnitudes; None where there is nothing to know. `*_known_nm`: how closely definition and sensor let it be known.

    `marginal`: whether it chatters is a matter of taste (too small to see, sticking without cycles, swinging without sticking).
    `rate_steady`: the cycles fill the sliding stretch, so that a rate means something. `sliding_other_nm`: a second fair answer
    (all bites instead of the first). `rate_fair_hz`: between counting the full falls of plates that stood, and every full fall in
    which they turned on: after a large slip a ringing lever drags them on in leaps, and some nearly stand between.
    """

    kind: str
    pull_found: bool
    direction: int = 1
    breakaway_nm: float | None = None
    breakaway_time_s: float | None = None
    breakaway_known_nm: float = 0.0
    sliding_nm: float | None = None
    sliding_other_nm: float | None = None
    sliding_by_time_nm: float | None = None
    sliding_known_nm: float = 0.0
    sliding_from_s: float | None = None
    sliding_to_s: float | None = None
    travel_deg: float | None = None
    chatter: bool = False
    marginal: bool = False
    slip_times_s: tuple[float, ...] = ()
    rate_hz: float | None = None
    rate_fair_hz: tuple[float, float] | None = None
    rate_steady: bool = False
    peak_to_peak_nm: float | None = None
    first_step_nm: float | None = None
    ramp_nm_s: float | None = None
    faults: tuple[str, ...] = field(default=())


def truth_of(kind: str, unit: Unit, hand: Hand, motion: Motion, nominal_rad_s: float, resists: bool) -> Truth:
    """Truth of one pull in the pulled direction; the sensor's part is added in pull_sensor."""
    if not resists:
        return Truth(kind=kind, pull_found=False)
    slip = _first_slip(unit, motion)
    if slip is None:
        raise RuntimeError(f"a pull of kind {kind} never broke away: draw it otherwise")
    torque = motion.torque_nm.astype(float)
    settle = slip + int(np.argmax(motion.rotor_rad[slip:] >= motion.rotor_rad[slip] + np.radians(0.1)))
    peak = int(np.argmax(torque[: settle + 1]))
    rising = np.flatnonzero(torque[: peak + 1] < 0.9 * torque[peak])[-1]
    ramp = 0.1 * torque[peak] / max((peak - rising) * RECORD_S, RECORD_S)
    moving = _hand_moves(hand, nominal_rad_s, torque.size)
    ends = _ends_of_sliding(moving, hand, slip)
    start = _settled(unit, motion, slip)
    common = {
        "kind": kind,
        "pull_found": True,
        "breakaway_nm": float(torque[peak]),
        "breakaway_time_s": peak * RECORD_S,
        "ramp_nm_s": float(ramp),
        "first_step_nm": _first_step(unit, motion, slip),
    }
    if start is None or ends[0] - start < 0.1 / RECORD_S or motion.lever_rad[ends[0]] - motion.lever_rad[start] < SETTLED_RAD:
        return Truth(**common)  # type: ignore[arg-type]
    sliding = _work_over_angle(motion, moving, start, ends[0])
    by_time = float(torque[start : ends[0]][moving[start : ends[0]]].mean())
    other = _work_over_angle(motion, moving & _slides_again(hand, motion, 0.0), start, ends[-1]) if ends[-1] != ends[0] else None
    steady = moving & _slides_again(hand, motion, 3 * unit.memory_rad)
    fair = [_work_over_angle(motion, steady, start, ends[0])]
    for degrees, earlier in itertools.product((-1, 0, 1, 3), (0, 500, 1000)):
        fair.append(_work_over_angle(motion, moving, _at_angle(motion, start, degrees), ends[0] - earlier))
    slips, heights = _slips(motion, moving & ~_vice_moves(hand, torque.size), start, ends[0])
    leaps, falls = _slips(motion, moving & ~_vice_moves(hand, torque.size), start, ends[0], stuck_s=0.0)
    chatter = len(slips) >= 3
    shaken = bool(hand.tremor_nm.any()) and len(slips) > 0
    swings = not chatter and unit.stribeck > 0 and _swings(motion, moving, start, ends[0])
    steady, rate = _rate(slips, moving, start, ends[0])
    full = FULL_FALL * float(np.percentile(heights, 90)) if heights else 0.0
    counts = (slips, [at for at, fall in zip(slips, heights, strict=False) if fall >= full],
              [at for at, fall in zip(leaps, falls, strict=False) if fall >= full])  # fmt: skip
    rates = [hz for at in counts if (hz := _rate(at, moving, start, ends[0])[1]) is not None]
    return Truth(
        **common,  # type: ignore[arg-type]
        sliding_nm=sliding,
        sliding_other_nm=other,
        sliding_by_time_nm=by_time,
        sliding_known_nm=max(abs(f - sliding) for f in fair if np.isfinite(f)),
        sliding_from_s=start * RECORD_S,
        sliding_to_s=ends[0] * RECORD_S,
        travel_deg=float(np.degrees(motion.lever_rad[ends[0]] - motion.lever_rad[start])),
        chatter=chatter,
        marginal=len(slips) in (2, 3) or shaken or swings or (chatter and not steady),
        slip_times_s=tuple(float(i * RECORD_S) for i in slips),
        rate_hz=rate if chatter else None,
        rate_fair_hz=(min(rates), max(rates)) if chatter else None,
        rate_steady=steady,
        peak_to_peak_nm=float(np.median(heights)) if chatter else None,
    )


def _first_slip(unit: Unit, motion: Motion) -> int | None:
    """The step at which the plates let go for good: all packs slide, and go on for `SUSTAINED_RAD` but for short stops.

    A blow at the end of slack may turn the rotor by a hair, one at the end of lash the second pack by more; that is not yet a slip
    if all stick again: the load then goes on to where the packs let go together.
    """
    two = unit.second_share > 0
    turned, enough = (motion.second_rad, SUSTAINED_SECOND_RAD) if two else (motion.rotor_rad, SUSTAINED_RAD)
    slides = np.diff(turned, prepend=turned[0]) > 0
    edges = np.flatnonzero(np.diff(slides.astype(np.int8), prepend=0, append=0))
    begins, ends = edges[::2], edges[1::2]
    joined = np.flatnonzero(begins[1:] - ends[:-1] > BOUNCE_S / RECORD_S) + 1
    for run in np.split(np.arange(begins.size), joined):
        if run.size and turned[ends[run[-1]] - 1] - turned[max(0, begins[run[0]] - 1)] >= enough:
            return int(begins[run[0]])
    return None


def _settled(unit: Unit, motion: Motion, slip: int) -> int | None:
    """2 degrees of lever after the first slip died away: static excess down to 5 % (three memory lengths), or stuck again."""
    gone = motion.rotor_rad >= motion.rotor_rad[slip] + 3 * unit.memory_rad
    late = motion.stands & (motion.rotor_rad >= motion.rotor_rad[slip] + np.radians(0.05))
    over = np.flatnonzero((gone | late)[slip:])
    if not over.size:
        return None
    died = slip + int(over[0])
    after = np.flatnonzero(motion.lever_rad[died:] >= motion.lever_rad[died] + SETTLED_RAD)
    return died + int(after[0]) if after.size else None


def _at_angle(motion: Motion, start: int, degrees: float) -> int:
    """The step at which the lever is so many degrees from where it is at `start`."""
    aim = motion.lever_rad[start] + np.radians(degrees)
    if degrees < 0:
        return int(np.flatnonzero(motion.lever_rad[: start + 1] <= aim)[-1])
    later = np.flatnonzero(motion.lever_rad[start:] >= aim)
    return start + int(later[0]) if later.size else start


def _hand_moves(hand: Hand, nominal_rad_s: float, size: int) -> NDArray[np.bool_]:
    moves = (hand.speed > 0.1 * nominal_rad_s) & (hand.grip > 0.5)
    return np.repeat(moves, round(COMMAND_S / RECORD_S))[:size]


def _ends_of_sliding(moving: NDArray[np.bool_], hand: Hand, slip: int) -> tuple[int, int]:
    """Where the hand lets go or stops for good: at the end of the first bite, and of the last."""
    each = round(COMMAND_S / RECORD_S)
    loose = np.repeat(hand.grip < 0.5, each)[: moving.size]
    released = np.flatnonzero(loose[slip:])
    first_end = slip + int(released[0]) if released.size else moving.size
    last_of = np.flatnonzero(moving[:first_end])
    return int(last_of[-1]), int(np.flatnonzero(moving)[-1])


def _work_over_angle(motion: Motion, moving: NDArray[np.bool_], start: int, stop: int) -> float:
    """Work at the sensor over angle at the hand side, pauses left out (signed work, so a bounce of the lever cancels)."""
    if stop <= start:
        return float("nan")
    torque = motion.torque_nm[start : stop + 1].astype(float)
    turned = np.diff(motion.lever_rad[start : stop + 1].astype(float))
    keep = moving[start:stop]
    turned_in_all = float(turned[keep].sum())
    return float(((torque[1:] + torque[:-1]) / 2 * turned)[keep].sum() / turned_in_all) if turned_in_all > 0 else float("nan")


def _slides_again(hand: Hand, motion: Motion, memory_rad: float) -> NDArray[np.bool_]:
    """False from each letting go (with a memory: from each stop) until the rotor has turned that and `SETTLED_RAD` further.

    A contact that has rested breaks away anew: whether that still is steady sliding is a matter of taste.
    """
    each = round(COMMAND_S / RECORD_S)
    still = (hand.grip < 0.5) | ((hand.speed <= 0) & (memory_rad > 0))
    loose = np.repeat(still, each)[: motion.rotor_rad.size]
    steady = np.ones(loose.size, bool)
    for at in (np.flatnonzero(loose[1:] & ~loose[:-1]) + 1).tolist():
        steady[at:] &= motion.rotor_rad[at:] >= motion.rotor_rad[at] + SETTLED_RAD + memory_rad
    return steady


def _vice_moves(hand: Hand, size: int) -> NDArray[np.bool_]:
    """True while the vice slips and a moment after: what sticks then does so because the load fell away."""
    moves = np.diff(hand.vice_rad, append=hand.vice_rad[-1]) > 0
    return np.repeat(np.convolve(moves, np.ones(30))[: moves.size] > 0, round(COMMAND_S / RECORD_S))[:size]


def _swings(motion: Motion, moving: NDArray[np.bool_], start: int, stop: int) -> bool:
    """Whether the rotor's speed swings by more than half without sticking: neither smooth nor stick-slip."""
    turned = np.diff(motion.rotor_rad[start : stop + 1 : 20].astype(float))[moving[start:stop:20][: (stop - start) // 20]]
    blocks = turned[: turned.size // 50 * 50].reshape(-1, 50)
    return bool(blocks.size and np.median(np.std(blocks, axis=1) / np.maximum(blocks.mean(axis=1), 1e-9)) > 0.3)


def _slips(
    motion: Motion, counts: NDArray[np.bool_], start: int, stop: int, stuck_s: float = STUCK_S
) -> tuple[list[int], list[float]]:
    """Slips of plates that stood for `stuck_s` while the hand moved on, and their heights; the last has none if it is cut off.

    What counts is how the plates turn, not what a model calls standing: they have stood where they turned at less than
    `STANDS_SHARE` of their mean speed, and slipped where they turned faster than that mean. A lever that rings over plates that
    stand makes no slip. One that falls less than a fifth of the large ones is a bounce within a cycle, not a cycle.
    """
    torque, turned = motion.torque_nm[start:stop].astype(float), motion.rotor_rad[start:stop].astype(float)
    width = round(2 * STUCK_S / RECORD_S)
    speed = np.convolve(np.diff(turned, append=turned[-1:]), np.ones(width) / width, "same")
    mean = float(speed.mean())
    if turned.size < 2 * width or mean <= 0:
        return [], []
    fast, stands = speed > mean, speed < STANDS_SHARE * mean
    edges = np.flatnonzero(np.diff(fast.astype(np.int8), prepend=0, append=0))
    first, last = edges[::2], edges[1::2]
    standing = np.concatenate(([0], np.cumsum(stands)))
    stood = standing[first] - standing[np.concatenate(([0], last[:-1]))]
    slipped = (stood * RECORD_S >= stuck_s) & counts[start + first]
    begins = first[slipped].tolist()
    # Bristles let go in stutters: between two slips the torque has risen again.
    large = float(np.percentile([np.ptp(torque[at:upto]) for at, upto in itertools.pairwise([*begins, turned.size])] or [0.0], 90))
    apart = begins[:1]
    for at in begins[1:]:
        low = apart[-1] + int(np.argmin(torque[apart[-1] : at + 1]))
        if torque[low : at + width].max() - torque[low] >= 0.2 * large:
            apart.append(at)
    seen: list[tuple[int, float]] = []
    for at, upto in itertools.pairwise([*apart, turned.size]):
        # Plates creep before they leap: the torque is highest a little before they turn fast.
        top = max(0, at - round(0.05 / RECORD_S))
        if seen:
            top = max(top, seen[-1][0] + int(np.argmin(torque[seen[-1][0] : at + width])))
        high = top + int(np.argmax(torque[top : at + width]))
        seen.append((high, float(torque[high] - torque[at:upto].min())))
    # The last drop may be cut off by the end; it counts as a slip, not as a height.
    heights = [height for _, height in seen[:-1]] or [height for _, height in seen]
    tall = 0.2 * float(np.percentile(heights, 90)) if heights else 0.0
    return [start + at for at, height in seen if height >= tall], [h for h in heights if h >= tall]


def _rate(slips: list[int], moving: NDArray[np.bool_], start: int, stop: int) -> tuple[bool, float | None]:
    """Whether the slips fill the stretch (no hole of more than a fifth of it), and slips a second of moving hand."""
    if len(slips) < 3:
        return False, None
    clock = np.cumsum(moving) * RECORD_S
    times = clock[np.array(slips)]
    lone = np.diff(times)
    holes = np.diff([clock[start], *times, clock[stop]])
    steady = bool(holes.max() < max(0.2 * (clock[stop] - clock[start]), 2.5 * float(np.median(lone))))
    return steady, float((len(slips) - 1) / (times[-1] - times[0]))


def _first_step(unit: Unit, motion: Motion, slip: int) -> float | None:
    """The lower plateau: torque while only the first pack slides through the lash."""
    if unit.second_share == 0:
        return None
    inside = (motion.rotor_rad[:slip] > 0.1 * unit.lash_rad) & (motion.rotor_rad[:slip] < 0.9 * unit.lash_rad)
    return float(np.median(motion.torque_nm[:slip][inside])) if inside.sum() > 3 else None
