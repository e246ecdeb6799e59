"""Which column is torque and which is angle, told by a pull: torque is what comes back to rest, angle is what goes on.

While the lever is turned the torque is away from its rest; where the angle stands still, the torque is back at it. So of the two
ways to name a pair of columns, the right one is that under which being loaded goes with the other one's moving.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from analysis.trace import Floats

LEAST_VALUES = 100
AT_REST_SHARE = 0.02
"""So much of the listening, at its beginning, is taken as rest: one listens first and pulls then."""
HAPPENED_NOISES = 10.0
"""A column in which something happened went so many times its own noise away from where it began."""
LOADED_SHARE, MOVING_SHARE = 0.25, 0.25
"""Loaded: this share of the largest distance from rest and more; moving: this share of the usual top speed and more."""
STEP_SHARE = 0.01
"""Speed is looked at over this share of the listening: some tenths of a second of it."""
LEAST_AGREEMENT, LEAST_LEAD = 0.4, 0.15
"""A pair is told where loaded and moving agree so well (phi coefficient, 1: always), so much better than the other way round."""


class Pair(NamedTuple):
    """Places of the two columns among those that were given."""

    torque: int
    angle: int


def told_by_pulls(columns: Sequence[Floats], torque: int | None = None, angle: int | None = None) -> Pair | None:
    """The pair of columns that a pull tells apart; None where nobody pulled, or it stays open.

    Parameters
    ----------
    columns
        Values of each column, (n,) each, over the whole listening at an even pace.
    torque, angle
        Places that are known already.
    """
    moved = [at for at, values in enumerate(columns) if happened(values)]
    ways = [
        (_agreement(columns[one], columns[other]), Pair(one, other))
        for one in moved
        for other in moved
        if one != other and torque in (None, one) and angle in (None, other)
    ]
    if not ways:
        return None
    best, pair = max(ways)
    turned_round = next((agreement for agreement, way in ways if way == Pair(pair.angle, pair.torque)), 0.0)
    return pair if best >= LEAST_AGREEMENT and best - turned_round >= LEAST_LEAD else None


def happened(values: Floats) -> bool:
    """Whether a column went clearly away from where it began."""
    if values.size < LEAST_VALUES:
        return False
    changes = np.abs(np.diff(values))
    steps = changes[changes > 0]
    if steps.size == 0:
        return False
    noise = max(float(np.median(changes)), float(steps.min()))
    return float(np.percentile(np.abs(values - _rest(values)), 98)) > HAPPENED_NOISES * noise


def at_rest_again(values: Floats) -> bool:
    """Whether a column is back where it began."""
    away = np.abs(values - _rest(values))
    return bool(np.median(away[-max(5, round(AT_REST_SHARE * values.size)) :]) < LOADED_SHARE * away.max())


def _rest(values: Floats) -> float:
    return float(np.median(values[: max(5, round(AT_REST_SHARE * values.size))]))


def _agreement(torque: Floats, angle: Floats) -> float:
    """Phi coefficient between 'the one is away from rest' and 'the other moves'."""
    away = np.abs(torque - _rest(torque))
    loaded = away > LOADED_SHARE * np.percentile(away, 98)
    wide = max(2, round(STEP_SHARE * angle.size))
    speed = np.zeros(angle.size)
    speed[wide // 2 : wide // 2 + angle.size - wide] = np.abs(angle[wide:] - angle[:-wide])
    usual = np.percentile(speed, 95)
    moving = speed > MOVING_SHARE * usual if usual > 0 else np.zeros(angle.size, bool)
    if loaded.all() or moving.all() or not loaded.any() or not moving.any():
        return 0.0
    return float(np.corrcoef(loaded, moving)[0, 1])
