"""The angle made ready: jumps of the encoder taken out, an encoder that is dead left out."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.pull.noise import GAP_STEPS, UNDER_LOAD, median, percentile, runs_of
from analysis.trace import Floats

COARSE_DEG = 1.9
"""Steps of an encoder as long as this hide where the plates let go, and pauses."""
FALL_LEAST = 4
"""Samples of the release that show a line."""
JUMPS_AT_LEAST = 3
"""A leap of so many jumps is one, however fast the lever may have turned."""


@dataclass(frozen=True, kw_only=True, slots=True)
class AngleRules:
    """What no lever in a hand does, each with its reason."""

    jump_deg: float = 1.5  # less than this does no harm
    jump_steps: float = 2.5  # a jump is more than so many steps of the encoder ...
    jump_over: float = 6.0  # ... and so many times what the lever does in the samples around: a slip swings over several
    around: int = 4  # samples on either side
    farthest_deg_s: float = 3000.0  # ... or faster than any lever flies back
    hand_deg_s: float = 600.0  # in a gap a hand turns the lever no faster than this
    gone_share: float = 0.1  # the release is over below this share of the largest torque ...
    fall_s: float = 0.1  # ... and began within this time before, at the highest
    late_least_s: float = 0.015  # an angle sent later than this is late ...
    late_most_s: float = 0.25  # ... but not later than this
    late_step_s: float = 2.5e-4  # the delay is told to this: a million samples a second would fill the memory
    along_least: float = 0.9  # as it was sent its correlation with the torque's fall is below this ...
    along_clear: float = 0.98  # ... and sent earlier it is above this
    load_s: float = 0.05  # shorter than this is a blow, not a load
    dead_s: float = 0.5  # an encoder that stands so long under load, and still while the torque falls away, is dead


@dataclass(frozen=True, slots=True, eq=False)
class Angle:
    """The angle as it can be used, None where it cannot; `jumps` taken out, and whether it is doubtful."""

    angle_deg: Floats | None
    jumps: int
    doubtful: bool


def prepare_angle(
    time_s: Floats, angle_deg: Floats | None, step_deg: float, step_s: float, torque_nm: Floats, rules: AngleRules
) -> Angle:
    """Take the encoder's jumps (set to zero, rolled over, slipped) out, and leave a dead one out; `torque_nm` counted from rest.

    Parameters
    ----------
    time_s
        (n,) rising.
    angle_deg
        (n,) as the encoder sent it; None where the bench has no angle.
    step_deg
        The encoder's step, deg; 0: not known.
    step_s
        The usual time between samples, s.
    torque_nm
        (n,) counted from rest, positive in the direction of the pull.
    rules
        Thresholds.

    Returns
    -------
    Angle
        (n,) deg, or None for a dead encoder; how many jumps were taken out; whether jumps, delay, coarse steps or death make it
        doubtful. An angle that is sent late is moved earlier, its last value repeated at the end.
    """
    if angle_deg is None:
        return Angle(None, 0, False)
    change = np.diff(angle_deg)
    size = np.abs(change)
    candidates = np.flatnonzero(size > max(rules.jump_deg, rules.jump_steps * step_deg))
    took = np.diff(time_s)
    gap_s = GAP_STEPS * step_s
    jumps = [int(i) for i in candidates if _jumps(size, int(i), float(took[i]), gap_s, rules)]
    if jumps:
        change = change.copy()
        for i in jumps:
            near = [k for k in range(i - rules.around, i + rules.around + 1) if 0 <= k < change.size and k not in jumps]
            change[i] = float(np.mean(change[near])) if near else 0.0
        angle_deg = angle_deg[0] + np.concatenate([[0.0], np.cumsum(change)])
    late = _late_by(time_s, angle_deg, torque_nm, step_s, rules)
    if late:
        angle_deg = np.concatenate([angle_deg[late:], np.full(late, angle_deg[-1])])
    if _is_dead(time_s, angle_deg, torque_nm, step_deg >= COARSE_DEG, rules):
        return Angle(None, len(jumps), True)
    return Angle(angle_deg, len(jumps), bool(jumps) or late > 0 or step_deg >= COARSE_DEG)


def _jumps(size: Floats, at: int, took_s: float, gap_s: float, rules: AngleRules) -> bool:
    if took_s > gap_s:  # the lever may have turned while samples were missing
        return bool(size[at] > rules.hand_deg_s * took_s)
    if size[at] > max(rules.farthest_deg_s * took_s, JUMPS_AT_LEAST * rules.jump_deg) and took_s > 0:
        return True
    near = np.concatenate([size[max(0, at - rules.around) : at], size[at + 1 : at + 1 + rules.around]])
    return bool(near.size and size[at] > rules.jump_over * float(near.max()))


def _is_dead(time_s: Floats, angle_deg: Floats, torque_nm: Floats, coarse: bool, rules: AngleRules) -> bool:
    """Whether the angle stands under load, and while the load falls away too: a live one springs back by the wind-up.

    Coarse steps hide that, and a hand that holds before it lets go is common: such an encoder is dead only if it never moved.
    """
    size = np.abs(torque_nm)
    largest = percentile(size, 99.0)
    loads = [run for run in runs_of(size > UNDER_LOAD * largest) if time_s[run[1] - 1] - time_s[run[0]] >= rules.load_s]
    if not loads:
        return False
    moved = np.flatnonzero(np.abs(angle_deg - angle_deg[-1]) > 0)
    since = int(moved[-1]) + 1 if moved.size else 0
    begin, end = loads[0][0], loads[-1][1] - 1
    if coarse and since > begin:
        return False
    return since < end and float(time_s[end] - time_s[max(since, begin)]) >= rules.dead_s


def _late_by(time_s: Floats, angle_deg: Floats, torque_nm: Floats, step_s: float, rules: AngleRules) -> int:
    """By how many samples the angle comes behind the torque it belongs to; 0 unless the release shows it.

    When the hand lets go the lever springs back by the wind-up, in proportion to the torque, at the same time: where the fall
    of the torque goes along a straight line with a later angle only, the angle is sent late.
    """
    largest = percentile(torque_nm, 99.0)
    loads = [run for run in runs_of(torque_nm > rules.gone_share * largest) if time_s[run[1] - 1] - time_s[run[0]] >= rules.load_s]
    if not loads:
        return 0
    most, last = round(rules.late_most_s / step_s), loads[-1][1] + 1
    before = torque_nm[max(0, last - max(FALL_LEAST, round(rules.fall_s / step_s))) : last]
    first = last - 1 - int(np.argmax(before[::-1] >= median(before)))
    if last - first < FALL_LEAST or last + most > torque_nm.size:
        return 0
    way = math.copysign(1.0, float(angle_deg[first] - angle_deg[0]))
    thin = max(1, math.floor(rules.late_step_s / step_s))
    fall = torque_nm[first:last:thin] - torque_nm[first:last:thin].mean()
    shifted = np.lib.stride_tricks.sliding_window_view(angle_deg[first : last + most : thin], fall.size)
    shifted = shifted - shifted.mean(axis=1, keepdims=True)
    size = np.sqrt(np.sum(shifted * shifted, axis=1) * float(fall @ fall))
    along = np.where(size > 0, way * (shifted @ fall) / np.where(size > 0, size, 1.0), 0.0)
    best = int(np.argmax(along))
    late = best * thin * step_s >= rules.late_least_s and along[0] < rules.along_least and along[best] > rules.along_clear
    return best * thin if late else 0
