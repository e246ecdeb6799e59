"""The hand on the lever of the simulated bench: it winds up, feels the slip, follows, may pause, and lets go."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum, auto

import numpy as np

TICK_S = 1e-3  # the hand decides a thousand times a second, far faster than a person


@dataclass(frozen=True, slots=True)
class Pause:
    """A stop of the hand once the lever has turned `at_deg`. `off`: the hand leaves the lever and grips again."""

    at_deg: float
    lasts_s: float
    off: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Hand:
    """How somebody pulls. Speeds are those of the hand; the arm's own spring lies between it and the lever."""

    direction: int = 1
    load_deg_s: float = 7.0
    slide_deg_s: float = 14.0
    travel_deg: float = 100.0
    reaction_s: float = 0.18
    unevenness: float = 0.05  # of the speed, slowly wandering
    wander_s: float = 0.5
    pauses: tuple[Pause, ...] = ()
    let_go_s: float = 0.16
    tremor_share: float = 0.004  # of the force, as a deviation; tremor grows with force (trade notes, 5.2)
    tremor_hz: float = 9.5


class Phase(Enum):
    """What the hand is doing."""

    LOAD = auto()
    SLIDE = auto()
    PAUSE = auto()
    STOP = auto()
    LET_GO = auto()
    AWAY = auto()


@dataclass(frozen=True, slots=True)
class Grasp:
    """What the hand does for the next tick."""

    speed_rad_s: float
    grip: float
    shake_nm: float
    regrips: bool = False


class HandMotion:
    """One pull by one hand, tick by tick. `mark` names the present phase, for those who write down the truth."""

    def __init__(self, hand: Hand, rng: np.random.Generator) -> None:
        self.hand = hand
        self.mark = Phase.LOAD
        self._rng = rng
        self._speed = self._wander = 0.0
        self._tremor = (0.0, 0.0)
        self._pauses = list(hand.pauses)
        self._pause: Pause | None = None
        self._since_s = 0.0
        self._felt_s = 0.0

    def tick(self, lever_rad: float, slipped_rad: float, torque_nm: float) -> Grasp:
        """Decide for the next tick from what the hand feels: lever and rotor turned since the start, torque."""
        hand = self.hand
        turned_deg = abs(math.degrees(lever_rad))
        self._since_s += TICK_S
        if self.mark is Phase.LOAD and abs(slipped_rad) > 0.02:
            self._felt_s += TICK_S
            if self._felt_s >= hand.reaction_s:
                self._begin(Phase.SLIDE)
        if self.mark in (Phase.LOAD, Phase.SLIDE):
            if self._pauses and turned_deg >= self._pauses[0].at_deg:
                self._pause = self._pauses.pop(0)
                self._begin(Phase.PAUSE)
            elif turned_deg >= hand.travel_deg:
                self._begin(Phase.STOP)
        regrips = self._advance()
        return Grasp(hand.direction * self._move(), self._grip(), self._shake(torque_nm), regrips)

    def _begin(self, phase: Phase) -> None:
        self.mark, self._since_s = phase, 0.0

    def _advance(self) -> bool:
        """Let stops and pauses end; True where the hand takes the lever afresh."""
        if self.mark is Phase.PAUSE and self._pause is not None and self._since_s >= self._pause.lasts_s:
            was_off, self._pause = self._pause.off, None
            self._begin(Phase.SLIDE if self._felt_s else Phase.LOAD)
            return was_off
        if self.mark is Phase.STOP and self._since_s >= 0.1:
            self._begin(Phase.LET_GO)
        elif self.mark is Phase.LET_GO and self._since_s >= self.hand.let_go_s:
            self._begin(Phase.AWAY)
        return False

    def _move(self) -> float:
        """Speed of the hand, rad/s: it follows what is wanted within some 80 ms and wanders a little."""
        hand = self.hand
        wanted = {Phase.LOAD: hand.load_deg_s, Phase.SLIDE: hand.slide_deg_s}.get(self.mark, 0.0)
        self._wander += -self._wander * TICK_S / hand.wander_s
        self._wander += hand.unevenness * math.sqrt(2 * TICK_S / hand.wander_s) * self._rng.standard_normal()
        follow_s = 0.08 if wanted else 0.03
        self._speed += (wanted * max(0.2, 1 + self._wander) - self._speed) * TICK_S / follow_s
        return math.radians(self._speed)

    def _grip(self) -> float:
        """Share of the arm's stiffness that reaches the lever."""
        if self.mark is Phase.AWAY:
            return 0.0
        if self.mark is Phase.LET_GO:
            return 0.5 + 0.5 * math.cos(math.pi * min(1.0, self._since_s / self.hand.let_go_s))
        if self.mark is Phase.PAUSE and self._pause is not None and self._pause.off:
            return 0.5 + 0.5 * math.cos(math.pi * min(1.0, self._since_s / self.hand.let_go_s))
        return 1.0

    def _shake(self, torque_nm: float) -> float:
        """Tremor torque: noise through a narrow resonance (about 1.5 Hz wide), as strong as the force times the share."""
        omega, width = 2 * math.pi * self.hand.tremor_hz, 2 * math.pi * 0.75
        place, speed = self._tremor
        # The kick gives the resonance a deviation of 1: variance = kick² / (4 width omega²).
        kick = 2 * omega * math.sqrt(width / TICK_S) * self._rng.standard_normal()
        speed += (kick - 2 * width * speed - omega * omega * place) * TICK_S
        place += speed * TICK_S
        self._tremor = (place, speed)
        return self.hand.tremor_share * abs(torque_nm) * place
