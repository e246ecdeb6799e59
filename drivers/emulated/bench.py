"""The simulated bench as a stream: rest, a pull, rest, a pull, sampled by a sensor at a rate; and the truth of every pull."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np

from analysis.trace import EMPTY, Trace
from drivers.emulated.hand import Grasp, Hand, HandMotion, Phase
from drivers.emulated.plant import STEP_S, STEPS_PER_MS, Arrangement, Frame, Pack, Plant, Record
from drivers.emulated.sensor import Sensor, SensorChain
from drivers.emulated.truth import Motion, PullTruth, truth_of

HIGHEST_RATE_HZ = 1 / STEP_S
_SETTLES_TICKS = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """One pull on the simulated bench: who pulls, on what, and how long the bench rested before. `additive` 0..1 is in the oil.

    `resists` False: nothing presses the plates, the little friction is that of seals. `rest_s` is what the stream shows;
    `bonded_s` is how long the plates had stuck before, which may be longer.
    """

    name: str
    hand: Hand
    left: Pack
    right: Pack
    frame: Frame = field(default_factory=Frame)
    additive: float = 0.0
    resists: bool = True
    rest_s: float = 4.0
    bonded_s: float = 30.0


Workday = Callable[[np.random.Generator], Iterator[Setup]]


class Bench:
    """An endless stream of pulls. The result does not depend on how many samples are taken at a time.

    `rng` seeds hand and sensor apart. `lash` and slack start where the last pull left them. Raises ValueError above 10 kHz.
    """

    def __init__(self, workday: Workday, sensor: Sensor, rate_hz: float, rng: np.random.Generator) -> None:
        if not 0 < rate_hz <= HIGHEST_RATE_HZ:
            raise ValueError(f"the simulated bench samples at up to {HIGHEST_RATE_HZ:g} Hz")
        plans, self._hand_rng, noise = rng.spawn(3)
        self.rate_hz, self.sensor = rate_hz, sensor
        self.truths: list[PullTruth] = []
        self._chain = SensorChain(sensor, noise)
        self._record = Record()
        self._side: list[float] = []
        self._ticks = self._work(workday(plans))
        self._torque = np.empty(0)
        self._lever = np.empty(0)
        self._first_step = 0
        self._taken = 0
        self._ended_at_step: int | None = None

    def take(self, samples: int) -> Trace:
        """The next samples, as the device sends them; fewer where the workday has ended."""
        wanted = (self._taken + np.arange(samples)) / self.rate_hz
        self._advance_to(int(np.ceil(wanted[-1] / STEP_S)) + 2)
        if self._ended_at_step is not None:
            wanted = wanted[wanted <= (self._ended_at_step - 1) * STEP_S]
        if not wanted.size:
            return EMPTY
        grid = wanted / STEP_S - self._first_step
        steps = np.arange(self._torque.size)
        torque, angle = self._chain.read(
            wanted, np.interp(grid, steps, self._torque), np.degrees(np.interp(grid, steps, self._lever))
        )
        self._taken += wanted.size
        self._forget(int(self._taken / self.rate_hz / STEP_S) - 2)
        return Trace(wanted, torque, angle)

    def _advance_to(self, step: int) -> None:
        while self._first_step + self._torque.size < step and self._ended_at_step is None:
            torque: list[float] = []
            lever: list[float] = []
            side: list[float] = []
            for _ in range(10):
                tick = next(self._ticks, None)
                if tick is None:
                    self._ended_at_step = self._first_step + self._torque.size + len(torque)
                    break
                torque += tick[0]
                lever += tick[1]
                side += tick[2]
            if torque:
                seen = np.array(torque) + self.sensor.side_share * np.array(side)
                self._torque = np.append(self._torque, self._chain.slow_down(seen, STEP_S))
                self._lever = np.append(self._lever, lever)

    def _forget(self, step: int) -> None:
        drop = max(0, min(step - self._first_step, self._torque.size))
        self._torque, self._lever = self._torque[drop:], self._lever[drop:]
        self._first_step += drop

    def _work(self, setups: Iterator[Setup]) -> Iterator[tuple[list[float], list[float], list[float]]]:
        """Ticks of a millisecond: torque, lever angle and shaking of the hand on the fine grid."""
        step = 0
        plant: Plant | None = None
        still = [0.0] * STEPS_PER_MS
        for setup in setups:
            left, right = setup.left.in_oil(setup.additive), setup.right.in_oil(setup.additive)
            if plant is None:
                plant = Plant(setup.frame, left, right)
            plant.fit(setup.frame, left, right)
            for _ in range(round(setup.rest_s * 1000)):
                step += STEPS_PER_MS
                yield still, [plant.lever_rad] * STEPS_PER_MS, still
            plant.rest(max(setup.bonded_s, setup.rest_s))
            plant.regrip()
            record, phases = Record(), []
            for tick, phase in self._pull(setup, plant, record):
                step += STEPS_PER_MS
                phases += [phase.value] * STEPS_PER_MS
                yield tick
            self._tell(setup, record, phases, (step - len(phases)) * STEP_S)
            plant.rest(0.0)

    def _pull(
        self, setup: Setup, plant: Plant, record: Record
    ) -> Iterator[tuple[tuple[list[float], list[float], list[float]], Phase]]:
        motion = HandMotion(setup.hand, self._hand_rng)
        lever, rotor = plant.lever_rad, plant.rotor_rad
        away = 0
        while away < _SETTLES_TICKS:
            grasp: Grasp = motion.tick(plant.lever_rad - lever, plant.rotor_rad - rotor, plant.torque_nm)
            if grasp.regrips:
                plant.regrip()
            plant.run(STEPS_PER_MS, grasp.speed_rad_s, grasp.grip, grasp.shake_nm, record)
            away += motion.mark is Phase.AWAY
            latest = slice(-STEPS_PER_MS, None)
            yield (record.torque_nm[latest], record.lever_rad[latest], [grasp.shake_nm] * STEPS_PER_MS), motion.mark

    def _tell(self, setup: Setup, record: Record, phases: list[int], from_s: float) -> None:
        sign = setup.hand.direction
        if not setup.resists:
            to_s = from_s + len(phases) * STEP_S
            self.truths.append(PullTruth(setup.name, sign, from_s, to_s))
            return
        rotor, other = sign * np.array(record.rotor_rad), sign * np.array(record.other_rad)
        packs = {
            Arrangement.CASE_FREE: (rotor - other, other),
            Arrangement.CASE_HELD: (rotor, other),
            Arrangement.ONE_PACK: (rotor,),
        }[setup.frame.arrangement]
        torque, lever = sign * np.array(record.torque_nm), sign * np.array(record.lever_rad)
        motion = Motion(from_s, torque, lever, rotor, packs, np.array(record.stuck), np.array(phases))
        self.truths.append(truth_of(motion, setup.name, sign, setup.frame.lash_rad))
