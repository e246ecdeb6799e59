"""Knees without a peak: where plates that creep, or that slide in cold oil, have let go, told by how the lever turns."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.pull.conditioning import Conditioned
from analysis.pull.noise import Span, median, slope_of
from analysis.trace import Floats

LEAST_SAMPLES = 6
"""Fewer give no compliance."""
NEAR_S = 0.02
"""So long after the torque rises again the peak is looked for."""
KNEE = 0.8
"""Share of the peak from which the ramp is straight."""
UPPER = 0.4
"""Share of the rise above which the load goes on after a step."""
NEVER_FELL_NOISE, NEVER_FELL, NEVER_FELL_SHARE = 3, 0.3, 0.03
"""A step is one where the torque never fell below it by so many deviations of noise, by this share of the rise, or of itself."""
CREPT_STEPS, CREPT_TOP = 4, 0.9
"""So many steps of the encoder on it is seen whether a climb winds the lever up, at this share of it: its top may be flat."""
FINE_STEP_DEG = 0.2
"""Between steps of the encoder finer than this nothing is drawn in."""


@dataclass(frozen=True, kw_only=True, slots=True)
class KneeRules:
    """Thresholds of the knee, each with its reason."""

    onset_deg: float = 0.25  # turned this far beyond winding up, or by a step of the encoder, plates creep ...
    onset_noise: float = 5.0  # ... or by what so many deviations of the noise wind up
    climb_share: float = 0.03  # ... and have let go where torque climbs with the angle by less than this share of the load's ...
    span_s: float = 0.03  # ... over so long, ...
    oil_deg: tuple[float, float] = (3.0, 6.0)  # ... above what oil adds with speed, taken so far past where they began to creep ...
    oil_least: float = 0.04  # ... where that is more than a soft knee still gains there ...
    oil_share: float = 0.2  # ... and no more than this share
    climb_noise: float = 2.0  # ... or no more than so many deviations of the noise
    wound_share: float = 0.25  # a reload in which less than this share of the turning wound anything up was none at all


def between_steps(c: Conditioned, rules: KneeRules) -> Floats:
    """The angle drawn straight from each step of the encoder to the next.

    Parameters
    ----------
    c
        The conditioned trace, with an angle.
    rules
        Thresholds.

    Returns
    -------
    array
        (n,) deg; as it is where the steps are fine, or where a value stands for a while: nothing is known between two of them.
    """
    assert c.angle_deg is not None
    steps = np.flatnonzero(np.diff(c.angle_deg)) + 1
    if c.resolution_deg < FINE_STEP_DEG or c.value_s >= rules.span_s or steps.size < 2:
        return c.angle_deg
    index = np.arange(c.angle_deg.size)
    return np.interp(index, steps, 0.5 * (c.angle_deg[steps] + c.angle_deg[steps - 1]))


def creeps(c: Conditioned, fine: Floats, span: Span, compliance: float, rules: KneeRules) -> bool:
    """Whether the lever turned far more than winding up by the torque's rise takes, whatever the encoder's step hides.

    Parameters
    ----------
    c
        The conditioned trace, with an angle.
    fine
        (n,) its torque, hardly smoothed, N.m.
    span
        Indices first <= i < last in which the torque rises again.
    compliance
        Of adapter and unit, deg per N.m; 0: not known.
    rules
        Thresholds.

    Returns
    -------
    bool
        False where the compliance is not known, or a value stands for a while.
    """
    assert c.angle_deg is not None
    first, last = span
    if c.value_s >= rules.span_s:
        return False
    turned = c.angle_deg[first:last] - c.angle_deg[first]
    far = turned > CREPT_STEPS * max(c.resolution_deg, FINE_STEP_DEG)
    part = fine[first : first + (int(np.argmax(far)) if far.any() else turned.size)]
    if part.size < 2:
        return False
    rise = float(part.max() - part[0])
    top = int(np.argmax(part >= part[0] + CREPT_TOP * rise))
    return rules.wound_share * (float(turned[top]) - c.resolution_deg) > compliance * (CREPT_TOP * rise) > 0.0


def before_creep(
    c: Conditioned, fine: Floats, plastic: Floats, load_from: int, peak: int, onset_deg: float, rules: KneeRules
) -> tuple[int, Span | None]:
    """The peak before the plates began to turn, where the torque only crept up while they turned; else the peak as it is.

    Oil that carries friction up with speed lets the torque rise on after the plates have let go: that rise is sliding.

    Parameters
    ----------
    c
        The conditioned trace, with an angle.
    fine, plastic
        (n,) its torque, hardly smoothed, N.m, and its angle less the wind-up, deg.
    load_from, peak
        Indices where the load is taken up, and of the highest sample before the plates had slipped for good.
    onset_deg
        Turned so far beyond winding up, the plates creep.
    rules
        Thresholds.

    Returns
    -------
    int
        Index of the peak before they began to turn.
    Span or None
        Where oil hides the knee: first and last sample between which it lies.
    """
    knee = load_from + int(np.argmax(fine[load_from : peak + 1] > KNEE * fine[peak]))
    reference = slice(max(load_from, knee - max(3, c.samples_in(NEAR_S))), knee + 1)
    limit = median(plastic[reference]) + onset_deg
    turning = plastic[knee : peak + 1] > limit
    if not turning.any():
        return peak, None
    creeps = knee + int(np.argmax(turning))
    over, in_oil = _over_the_knee(c, fine, plastic, load_from, creeps, peak, rules)
    # In oil both where they begin to creep and where the lever winds up no more are guesses at the knee.
    half = 0.5 * float(fine[creeps] + fine[over])
    onset = creeps + int(np.argmax(fine[creeps : over + 1] >= half)) if in_oil else over
    hidden = (creeps, over) if in_oil and over > creeps else None
    first = load_from + int(np.argmax(fine[load_from : onset + 1]))
    rise = float(fine[peak] - fine[first])
    if rise <= 0 or first >= peak:
        return first, hidden
    upper = onset + int(np.argmax(fine[onset : peak + 1] >= fine[first] + UPPER * rise))
    crept = plastic[peak] - plastic[upper] > onset_deg
    least = fine[first] - max(NEVER_FELL_NOISE * c.noise_nm, NEVER_FELL * rise, NEVER_FELL_SHARE * float(fine[first]))
    never_fell = float(c.smooth(rules.span_s)[first + c.samples_in(rules.span_s) : peak + 1].min(initial=np.inf)) > least
    return (first, hidden) if crept and never_fell else (peak, None)


def _over_the_knee(
    c: Conditioned, fine: Floats, plastic: Floats, load_from: int, onset: int, peak: int, rules: KneeRules
) -> tuple[int, bool]:
    """Where plates that began to creep at `onset` have let go: the lever winds up no more, against how it did under the load.

    And whether oil goes on adding to the torque.

    A soft knee creeps by degrees while the hand still winds the lever up: what it carries goes on rising with the lever's angle.
    What cold oil adds, as the hand gets faster, rises with the angle too, but goes on long after the knee, and is no winding up.
    """
    if c.angle_deg is None:
        return onset, False
    rising = load_from + np.flatnonzero(
        (fine[load_from : onset + 1] > 0.5 * fine[onset]) & (fine[load_from : onset + 1] < KNEE * fine[onset])
    )
    if rising.size < 2 or c.angle_deg[rising[-1]] - c.angle_deg[rising[0]] <= 2 * c.resolution_deg:
        return onset, False
    stiff = float((fine[rising[-1]] - fine[rising[0]]) / (c.angle_deg[rising[-1]] - c.angle_deg[rising[0]]))
    if stiff <= 0.0:
        return onset, False
    angle, turned = between_steps(c, rules), plastic[onset:] - plastic[onset]
    later = slice(*(onset + int(np.argmax(turned > way)) for way in rules.oil_deg))
    oil = 0.0
    if later.stop - later.start > LEAST_SAMPLES and c.value_s < rules.span_s:
        oil = min(slope_of(angle[later], fine[later]) / stiff, rules.oil_share)
        oil = oil if oil > rules.oil_least else 0.0
    span = c.samples_in(rules.span_s, 3)
    at = np.arange(onset, max(onset + 1, peak - span + 1))
    ahead = np.minimum(at + span, fine.size - 1)
    climbed = c.smooth(rules.span_s)[ahead] - c.smooth(rules.span_s)[at]
    wound = (rules.climb_share + oil) * stiff * np.maximum(angle[ahead] - angle[at], 0.0)
    over = climbed <= wound + rules.climb_noise * c.noise_nm / math.sqrt(span)
    last = int(at[int(np.argmax(over))]) + span // 2 if over.any() else peak
    return min(last, fine.size - 1), oil > 0.0
