"""End play of a unit whose shims set it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from analysis.pack import priors
from analysis.pack.buildable import ShimPair
from analysis.pack.inference import Learnt
from analysis.pack.parts import Build, SpaceForm
from analysis.pack.stack import room_mm
from analysis.pack.unit import Unit
from analysis.pack.unknowns import Floats


@dataclass(frozen=True, slots=True)
class EndPlay:
    """End play of one side with the shims fitted now: mean, and standard deviation of what will be read and of the unit itself."""

    mm: float
    sd_mm: float
    own_sd_mm: float


def end_play_kept(unit: Unit, pairs: Sequence[ShimPair], end_play: tuple[EndPlay, EndPlay] | None) -> Floats:
    """Probability that the end play read afterwards is within the card's limits, a pair.

    Parameters
    ----------
    unit
        Its card has the limits in mm.
    pairs
        Choices of shims; a thicker one takes away as much end play.
    end_play
        That will be read on either side with nothing changed; None: not known.

    Returns
    -------
    ndarray, shape (pairs,)
        Probabilities 0 to 1, both sides together; 1 where there is no limit or no end play is known.
    """
    limits = unit.card.limits.end_play_mm
    if limits is None or end_play is None:
        return np.ones(len(pairs))
    low, high = limits
    kept = np.ones(len(pairs))
    for n, one in enumerate(end_play):
        change = np.array([(p.change_left_mm, p.change_right_mm)[n] for p in pairs])
        read = one.mm - change
        sd = np.hypot(one.sd_mm, np.where(change == 0.0, 0.0, unit.pack.uncertainty.shim_mm))
        kept = kept * (ndtr((high - read) / sd) - ndtr((low - read) / sd))
    return kept


def end_play_itself(
    unit: Unit, pairs: Sequence[ShimPair], end_play: tuple[EndPlay, EndPlay] | None, normals: tuple[Floats, Floats]
) -> NDArray[np.bool_]:
    """Whether the end play of the unit itself, without the next reading's error, is within the limits.

    Parameters
    ----------
    unit
        Its card has the limits in mm.
    pairs
        Choices of shims.
    end_play
        Of either side with nothing changed; None: not known.
    normals
        Standard normal, shape (draws,) for each side: every pair of shims moves the same end play.

    Returns
    -------
    ndarray of bool, shape (draws, pairs)
        True on both sides; all True where there is no limit or no end play is known.
    """
    limits = unit.card.limits.end_play_mm
    kept = np.ones((normals[0].size, len(pairs)), dtype=bool)
    if limits is None or end_play is None:
        return kept
    for n, one in enumerate(end_play):
        change = np.array([(p.change_left_mm, p.change_right_mm)[n] for p in pairs])
        play = (one.mm + one.own_sd_mm * normals[n])[:, None] - change[None, :]
        kept &= (play >= limits[0]) & (play <= limits[1])
    return kept


def end_play_to_read(learnt: Learnt, build: Build) -> tuple[EndPlay, EndPlay] | None:
    """End play that will be read of a build with its own shims: from what was read, and from the space where that was measured.

    The mean of the readings carries on through changes of shims and stacks; the next reading has an error of its own.

    Parameters
    ----------
    learnt
        Its draws give the spread of what the space says.
    build
        With its own shims.

    Returns
    -------
    tuple of EndPlay, or None
        Left and right, in mm; None where a side has neither a reading nor a measured space.

    Notes
    -----
    Readings and space are weighted by their inverse variances.
    """
    unit, u = learnt.unit, learnt.unit.pack.uncertainty
    now = build
    found = []
    for n in (0, 1):
        height_now = unit.heights(now)[n]
        known: list[tuple[float, float]] = []
        for entry in unit.pack.history:
            if entry.end_play_mm is None:
                continue
            height, side = unit.heights(entry.build)[n], entry.build.sides[n]
            read = entry.end_play_mm[n] - (height_now.mm - height.mm) - (now.sides[n].shim_total_mm - side.shim_total_mm)
            changed = height.key != height_now.key or side.shims_mm != now.sides[n].shims_mm
            sd = math.hypot(u.end_play_mm, priors.CLOSING_REPEAT_MM, u.shim_mm * 2.0 if changed else 0.0)
            known.append((read, sd))
        sheet = _sheet_end_play(learnt, build, n)
        if sheet is not None:
            known.append(sheet)
        if not known:
            return None
        weights = [1.0 / sd**2 for _, sd in known]
        mean = sum(w * mm for w, (mm, _) in zip(weights, known, strict=True)) / sum(weights)
        own_sd = 1.0 / math.sqrt(sum(weights))
        found.append(EndPlay(mean, math.hypot(own_sd, u.end_play_mm, priors.CLOSING_REPEAT_MM), own_sd))
    return found[0], found[1]


def _sheet_end_play(learnt: Learnt, build: Build, n: int) -> tuple[float, float] | None:
    """Room less plates and shims: mean and standard deviation."""
    unit, unknowns = learnt.unit, learnt.unknowns
    space = unit.pack.space
    height = unit.heights(build)[n]
    if not unit.block or space is None or space.form is not SpaceForm.PER_SIDE or height.source == "unknown":
        return None
    stack = height.mm + unknowns.height_error_mm[height.key] + unknowns.stands_on * height.high_spots_mm
    play = room_mm(space, n) + unknowns.room_error_mm[n] - stack - build.sides[n].shim_total_mm + unknowns.seating_mm[n]
    return float(play.mean()), float(play.std())
