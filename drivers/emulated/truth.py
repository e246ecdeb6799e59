"""What a pull on the simulated bench really was: the contract's definitions applied to the motion itself, before any sensor."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np

from analysis.trace import Floats
from drivers.emulated.hand import Phase
from drivers.emulated.plant import STEP_S

LET_GO_RAD = np.radians(0.2)  # every pack has slipped so far: the plates have let go for good
DIED_AWAY_RAD = np.radians(2.0)  # and so far after the first slip has ended, sliding is steady
RESUMED_RAD = np.radians(1.5)  # after a pause the plates break away again; so much is left out
LEAST_SLIPS = 5


@dataclass(frozen=True, slots=True)
class Motion:
    """A pull on the fine grid, signs turned so that the pull is positive; `phase` is the hand's, one entry a step."""

    from_s: float
    torque_nm: Floats
    lever_rad: Floats
    rotor_rad: Floats
    pack_rad: tuple[Floats, ...]  # how far each pack has slipped
    stuck: np.ndarray
    phase: np.ndarray


@dataclass(frozen=True, slots=True)
class PullTruth:
    """The truth of one pull: torques are magnitudes, times and angles are those of the stream. None: there was no such thing."""

    scenario: str
    direction: int
    from_s: float
    to_s: float
    rest_deg: float = 0.0  # where the lever stood before
    breakaway_nm: float | None = None
    breakaway_s: float | None = None
    breakaway_deg: float | None = None
    first_step_nm: float | None = None
    sliding_nm: float | None = None
    sliding_from_s: float | None = None
    sliding_to_s: float | None = None
    travel_deg: float | None = None
    slip_times_s: tuple[float, ...] = field(default=())
    slip_height_nm: float | None = None

    @property
    def chatters(self) -> bool:
        """Whether the plates stuck and slipped again and again while sliding."""
        return len(self.slip_times_s) >= LEAST_SLIPS

    @property
    def slips_per_s(self) -> float | None:
        """Mean number of slips a second."""
        if not self.chatters:
            return None
        return (len(self.slip_times_s) - 1) / (self.slip_times_s[-1] - self.slip_times_s[0])

    def document(self, earlier_s: float = 0.0) -> dict[str, Any]:
        """As JSON, in the keys of the contract's analysis document; `earlier_s` is taken off every time."""

        def at(time_s: float | None) -> float | None:
            return None if time_s is None else round(time_s - earlier_s, 5)

        def number(value: float | None) -> float | None:
            return None if value is None else round(value, 4)

        return {
            "scenario": self.scenario,
            "direction": self.direction,
            "from_s": at(self.from_s),
            "to_s": at(self.to_s),
            "breakaway": {
                "found": self.breakaway_nm is not None,
                "torque_nm": number(self.breakaway_nm),
                "time_s": at(self.breakaway_s),
                "angle_deg": number(self.breakaway_deg),
                "first_step_nm": number(self.first_step_nm),
            },
            "sliding": {
                "found": self.sliding_nm is not None,
                "torque_nm": number(self.sliding_nm),
                "from_s": at(self.sliding_from_s),
                "to_s": at(self.sliding_to_s),
                "travel_deg": number(self.travel_deg),
            },
            "chatter": {
                "present": self.chatters,
                "frequency_hz": number(self.slips_per_s),
                "peak_to_peak_nm": number(self.slip_height_nm if self.chatters else None),
                "slip_times_s": [at(time_s) for time_s in self.slip_times_s] if self.chatters else [],
            },
        }


def truth_of(motion: Motion, scenario: str, direction: int, lash_rad: float) -> PullTruth:
    """Read the truth off the motion of a unit that resists.

    1. Breakaway: the highest torque until every pack has slipped; a first step on the way, while one pack still holds, is not it.
    2. The first slip has died away when the rotor sticks again or follows the lever; steady sliding begins 2 degrees later.
    3. Sliding: work over angle at the lever, to where the hand stops, without its pauses.
    4. A slip: the rotor, having stuck, turns again. Not counted: restarts after a pause.
    """
    to_s = motion.from_s + motion.torque_nm.size * STEP_S
    rest_deg = direction * float(np.degrees(motion.lever_rad[0]))
    slipped = np.min([np.abs(pack - pack[0]) for pack in motion.pack_rad], axis=0)
    beyond = np.flatnonzero(slipped > LET_GO_RAD)
    if not beyond.size:
        return PullTruth(scenario, direction, motion.from_s, to_s, rest_deg)
    first = int(beyond[0])
    broke = int(np.argmax(motion.torque_nm[: first + 1]))
    values: dict[str, Any] = {
        "breakaway_nm": float(motion.torque_nm[broke]),
        "breakaway_s": motion.from_s + broke * STEP_S,
        "breakaway_deg": direction * float(np.degrees(motion.lever_rad[broke])),
        "first_step_nm": _first_step_nm(motion, lash_rad, first),
    }
    steady = _steady(motion, first)
    if steady.any():
        values |= _sliding(motion, steady) | _slips(motion, steady)
    return PullTruth(scenario, direction, motion.from_s, to_s, rest_deg, **values)


def _first_step_nm(motion: Motion, lash_rad: float, first: int) -> float | None:
    """Torque while the rotor crosses the lash of the bevel gears (half of it, as it may have stood in the middle), or None."""
    if lash_rad < np.radians(0.2):
        return None
    turned = motion.rotor_rad - motion.rotor_rad[0]
    crossing = ~motion.stuck[:first] & (turned[:first] > 0.1 * lash_rad) & (turned[:first] < 0.45 * lash_rad)
    return float(np.median(motion.torque_nm[:first][crossing])) if crossing.sum() > 20 else None


def _steady(motion: Motion, first: int) -> np.ndarray:
    """Which steps belong to steady sliding."""
    steps = np.arange(motion.torque_nm.size)
    sliding = np.isin(motion.phase, (Phase.LOAD.value, Phase.SLIDE.value)) & (steps > first)
    span = int(0.03 / STEP_S)
    lever = np.gradient(motion.lever_rad)
    behind = np.abs(np.convolve(lever - np.gradient(motion.rotor_rad), np.ones(span), "same"))
    follows = behind < 0.1 * np.abs(np.convolve(lever, np.ones(span), "same"))
    died = np.flatnonzero((motion.stuck | follows) & (steps > first + span))
    if not died.size:
        return np.zeros(steps.size, dtype=bool)
    sliding &= motion.lever_rad >= motion.lever_rad[died[0]] + DIED_AWAY_RAD
    sliding &= steps > died[0]
    for resumed in np.flatnonzero(np.diff(np.isin(motion.phase, (Phase.PAUSE.value,)).astype(int)) == -1):
        sliding &= ~((steps > resumed) & (motion.rotor_rad < motion.rotor_rad[resumed] + RESUMED_RAD))
    return sliding


def _sliding(motion: Motion, steady: np.ndarray) -> dict[str, Any]:
    turn = np.diff(motion.lever_rad, prepend=motion.lever_rad[0])
    work, angle = float((motion.torque_nm * turn)[steady].sum()), float(turn[steady].sum())
    at = np.flatnonzero(steady)
    return {
        "sliding_nm": work / angle,
        "sliding_from_s": motion.from_s + at[0] * STEP_S,
        "sliding_to_s": motion.from_s + at[-1] * STEP_S,
        "travel_deg": float(np.degrees(angle)),
    }


def _slips(motion: Motion, steady: np.ndarray) -> dict[str, Any]:
    """Moments at which the rotor lets go after having stuck for a millisecond or more, and the median fall of torque at each."""
    ends = np.flatnonzero(motion.stuck[:-1] & ~motion.stuck[1:] & steady[:-1])
    long_enough = int(1e-3 / STEP_S)
    lets_go = [int(step) for step in ends if motion.stuck[max(0, step - long_enough) : step + 1].all()]
    falls = [float(motion.torque_nm[here] - motion.torque_nm[here:there].min()) for here, there in pairwise(lets_go)]
    return {
        "slip_times_s": tuple(motion.from_s + step * STEP_S for step in lets_go),
        "slip_height_nm": float(np.median(falls)) if falls else None,
    }
