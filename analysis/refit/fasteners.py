"""Groups of bolts: the order of a pass, its stages, and what the last pass read, bolt by bolt.

A peak is the torque applied, not the force in the bolt: most of it turns against friction under the head and in the thread.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.refit.limits import ROUNDING, Finding, FindingCode, Limits, State
from analysis.trace import Floats

NEW_STROKE_SHARE = 0.5
"""A torque that falls below this share of the bolt's is a new grip of the hand: what the lever then goes back is not turned off."""


@dataclass(frozen=True, slots=True)
class BoltReading:
    """The last pass of one bolt; None: not recorded."""

    peak_nm: float | None = None
    angle_deg: float | None = None


@dataclass(frozen=True, slots=True)
class Bolt:
    """A bolt as read and how it stands."""

    number: int
    peak_nm: float | None
    angle_deg: float | None
    state: State


def order_of_pass(count: int) -> tuple[int, ...]:
    """Bolt numbers of a circle in the order they are tightened.

    Even counts: opposite pairs; the next pair is the one farthest in angle from all pairs done, the lowest number of equals.
    Odd counts: steps of (count - 1) / 2 round the circle. Up to three: as numbered.

    >>> order_of_pass(8)
    (1, 5, 3, 7, 2, 6, 4, 8)
    >>> order_of_pass(5)
    (1, 3, 5, 2, 4)
    """
    if count <= 3:
        return tuple(range(1, count + 1))
    if count % 2:
        step = (count - 1) // 2
        return tuple(at * step % count + 1 for at in range(count))
    pairs = count // 2
    done = [0]
    while len(done) < pairs:

        def nearest_done(pair: int) -> int:
            return min(min((pair - other) % pairs, (other - pair) % pairs) for other in done)

        done.append(max((pair for pair in range(pairs) if pair not in done), key=lambda pair: (nearest_done(pair), -pair)))
    return tuple(number for pair in done for number in (pair + 1, pair + 1 + pairs))


def find_in_group(*, single_use: bool, reused: bool) -> tuple[Finding, ...]:
    """Whether fasteners that hold only once are used again.

    Parameters
    ----------
    single_use
        Whether the page wants new fasteners each time.
    reused
        Whether old ones are put in.

    Returns
    -------
    tuple of Finding
        One that stops, or none.
    """
    return (Finding(FindingCode.SINGLE_USE_REUSED, "state"),) if single_use and reused else ()


def judge_bolts(
    readings: Sequence[BoltReading],
    *,
    torque_nm: float,
    tolerance: float,
    angle_deg: float | None = None,
    angle_tolerance_deg: float = 0.0,
    stopped: bool = False,
) -> tuple[Bolt, ...]:
    """Each bolt against torque and, where the page states one, angle; without a guard.

    Parameters
    ----------
    readings
        One a bolt, bolt 1 first.
    torque_nm
        Of the page, N.m.
    tolerance
        Share of the torque either way, 0.1 for 10 %; both limits belong to it.
    angle_deg
        Of the page, degrees from that torque on; None: it states none.
    angle_tolerance_deg
        Degrees either way.
    stopped
        Whether nothing of the group is judged: every bolt is `no_reading`.

    Returns
    -------
    tuple of Bolt
        One a reading, numbered from 1. The angle is looked at only where the torque is in tolerance.
    """
    torque = Limits(torque_nm * (1 - tolerance), torque_nm * (1 + tolerance))
    angle = None if angle_deg is None else Limits(angle_deg - angle_tolerance_deg, angle_deg + angle_tolerance_deg)
    return tuple(
        Bolt(number, each.peak_nm, each.angle_deg, State.NO_READING if stopped else _bolt_state(each, torque, angle))
        for number, each in enumerate(readings, start=1)
    )


def _bolt_state(reading: BoltReading, torque: Limits, angle: Limits | None) -> State:
    if reading.peak_nm is None:
        return State.NOT_RECORDED
    of_torque = torque.state(reading.peak_nm)
    if of_torque is not State.IN_WINDOW:
        return of_torque
    if angle is None:
        return State.IN_TOLERANCE
    if reading.angle_deg is None:
        return State.NOT_RECORDED
    of_angle = angle.state(reading.angle_deg)
    return {State.BELOW: State.ANGLE_BELOW, State.ABOVE: State.ANGLE_ABOVE}.get(of_angle, State.IN_TOLERANCE)


def complete(bolts: Sequence[Bolt]) -> bool:
    """Whether every bolt was recorded and lies in tolerance."""
    return bool(bolts) and all(bolt.state is State.IN_TOLERANCE for bolt in bolts)


def read_bolt(torque_nm: Floats, angle_deg: Floats | None, *, then_angle_from_nm: float | None = None) -> BoltReading:
    """What the trace of one bolt shows.

    Parameters
    ----------
    torque_nm
        Shape (n,), N.m counted from rest, positive while tightening.
    angle_deg
        Shape (n,), degrees, positive while tightening; None: not measured.
    then_angle_from_nm
        The torque from which an angle is turned, where the page says so; the torque beyond it is not judged.

    Returns
    -------
    BoltReading
        Without a following angle the highest torque. With one: the torque at which the angle begins (the highest torque where it
        was never reached) and the angle turned from there. Where the hand grips again, the turning of each stroke counts from
        where the torque stands again.
    """
    highest = float(torque_nm.max(initial=0.0))
    if then_angle_from_nm is None or highest < then_angle_from_nm - ROUNDING:
        return BoltReading(highest)
    if angle_deg is None:
        return BoltReading(then_angle_from_nm)
    turned = 0.0
    loaded = np.flatnonzero(torque_nm >= then_angle_from_nm - ROUNDING)
    at = int(loaded[0])
    while True:
        released = np.flatnonzero(torque_nm[at:] < NEW_STROKE_SHARE * then_angle_from_nm)
        end = at + int(released[0]) if released.size else torque_nm.size
        turned += float(angle_deg[at:end].max()) - _angle_at_crossing(torque_nm, angle_deg, at, then_angle_from_nm)
        later = loaded[loaded >= end]
        if not later.size:
            return BoltReading(then_angle_from_nm, turned)
        at = int(later[0])


def _angle_at_crossing(torque_nm: Floats, angle_deg: Floats, at: int, from_nm: float) -> float:
    """The angle where the torque is reached, between the sample before and the first that has it."""
    if at == 0 or torque_nm[at] <= torque_nm[at - 1]:
        return float(angle_deg[at])
    share = (from_nm - torque_nm[at - 1]) / (torque_nm[at] - torque_nm[at - 1])
    return float(angle_deg[at - 1] + share * (angle_deg[at] - angle_deg[at - 1]))
