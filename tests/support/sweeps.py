"""Pulls whose speed sweeps slow, fast, slow, with friction that changes with the speed by a known law."""

from __future__ import annotations

import math

import numpy as np

from analysis.trace import Trace


def sweep(
    rng: np.random.Generator,
    *,
    slope: float,
    level_nm: float = 50.0,
    slow_deg_s: float = 3.0,
    fast_deg_s: float = 60.0,
    sweeps: float = 2.0,
    seconds: float = 16.0,
    drift: float = 0.0,
    once_a_turn: float = 0.0,
    noise_nm: float = 0.08,
    wander: float = 0.0,
    rate_hz: float = 500.0,
    stiffness_nm_deg: float = 12.0,
) -> Trace:
    """A pull at rest, loaded through a spring, then sliding at a speed that goes from slow to fast and back `sweeps` times.

    Torque is `level_nm` (1 + slope log10(v / middle)) at speed v: `slope` is the share of the level for a tenfold speed. `drift`
    is its change over the whole travel, `once_a_turn` a ripple of the turning lever, `wander` a slow wander, all as shares.
    """
    step = 1 / rate_hz
    middle = math.sqrt(slow_deg_s * fast_deg_s)
    t = np.arange(0.0, seconds, step)
    half_span = 0.5 * math.log(fast_deg_s / slow_deg_s)
    speed = middle * np.exp(-half_span * np.cos(2 * np.pi * sweeps * t / seconds))
    angle = np.cumsum(speed) * step
    torque = level_nm * (1 + slope * np.log10(speed / middle))
    torque *= 1 + drift * (angle / angle[-1] - 0.5) + once_a_turn * np.sin(np.radians(angle) + rng.uniform(0, 2 * np.pi))
    if wander:
        keep = math.exp(-step / 1.0)  # it forgets in a second
        steps = rng.standard_normal(t.size) * wander * math.sqrt(1 - keep**2)
        walk = np.empty(t.size)
        value = wander * float(rng.standard_normal())
        for k, one in enumerate(steps.tolist()):
            value = keep * value + one
            walk[k] = value
        torque *= 1 + walk
    load_nm = float(torque[0]) * 1.03
    load_s = load_nm / stiffness_nm_deg / slow_deg_s
    up = np.arange(0.0, load_s, step)
    rest = np.zeros(int(1.2 * rate_hz))
    fall = np.linspace(float(torque[-1]), 0.0, int(0.15 * rate_hz))
    away = np.zeros(int(0.4 * rate_hz))
    torques = np.concatenate([rest, load_nm * up / load_s, torque, fall, away])
    at_slip = slow_deg_s * load_s
    last = at_slip + angle[-1]
    back = last - (torque[-1] - fall) / stiffness_nm_deg
    angles = np.concatenate([rest, slow_deg_s * up, at_slip + angle, back, np.full(away.size, back[-1])])
    time_s = np.arange(torques.size) * step
    return Trace(time_s, np.round(torques + noise_nm * rng.standard_normal(torques.size), 2), np.round(angles / 0.05) * 0.05)
