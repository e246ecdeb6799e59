"""The sensor of the simulated bench: everything that stands between the torque that is there and the number that is sent."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.trace import Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """A torque sensor with its amplifier, and an encoder at the hand side.

    `bandwidth_hz` None: so fast that it does not matter. `side_share`: how much of the shaking of the hand reaches the reading as
    side load without turning anything. `drift_nm_per_min` is the wander of the zero.
    """

    capacity_nm: float = 200.0
    noise_nm: float = 0.06
    resolution_nm: float = 0.01
    offset_nm: float = 0.0
    drift_nm_per_min: float = 0.0
    hum_nm: float = 0.0
    hum_hz: float = 50.0
    bandwidth_hz: float | None = None
    side_share: float = 0.0
    encoder_deg: float = 0.05


class SensorChain:
    """Turns true torque and angle on a grid of time into sampled numbers, piece by piece; keeps the filter's memory."""

    def __init__(self, sensor: Sensor, rng: np.random.Generator) -> None:
        self.sensor = sensor
        self._rng = rng
        self._filtered: float | None = None

    def slow_down(self, torque_nm: Floats, step_s: float) -> Floats:
        """The amplifier's low-pass of first order on the fine grid."""
        if self.sensor.bandwidth_hz is None:
            return torque_nm
        share = 1 - math.exp(-2 * math.pi * self.sensor.bandwidth_hz * step_s)
        level = float(torque_nm[0]) if self._filtered is None else self._filtered
        slowed = np.empty_like(torque_nm)
        for index, torque in enumerate(torque_nm.tolist()):
            level += share * (torque - level)
            slowed[index] = level
        self._filtered = level
        return slowed

    def read(self, time_s: Floats, torque_nm: Floats, angle_deg: Floats) -> tuple[Floats, Floats]:
        """Sampled torque (N.m) and angle (deg) as the device knows them."""
        sensor = self.sensor
        value = torque_nm + sensor.offset_nm + sensor.drift_nm_per_min * time_s / 60
        if sensor.hum_nm:
            # A third harmonic at a quarter: rectifiers and transformers never hum purely.
            phase = 2 * np.pi * sensor.hum_hz * time_s
            value = value + sensor.hum_nm * (np.sin(phase) + 0.25 * np.sin(3 * phase + 0.7))
        value = value + sensor.noise_nm * self._rng.standard_normal(time_s.size)
        value = np.clip(value, -sensor.capacity_nm, sensor.capacity_nm)
        torque = np.round(value / sensor.resolution_nm) * sensor.resolution_nm
        angle = np.floor(angle_deg / sensor.encoder_deg + 1e-9) * sensor.encoder_deg
        return np.round(torque, 6), np.round(angle, 6)  # decimal steps stay short in text
