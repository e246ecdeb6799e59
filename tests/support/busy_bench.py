"""A busy bench at rest: what happens to sensor and encoder between pulls, none of it a pull. Shares nothing with analysis.

Each happening gives torque (N.m) and angle (deg) on its own time axis, counted from the level and the angle before it; what stays
(a lever hung on, a zero pressed, an encoder that was set) is carried on. Sizes are those that were seen (FINDINGS 6: blows of 4 to
23 N.m, wavings of 3 N.m, tare of 4 N.m, drift of 8 N.m in 3 to 15 s) and a little beyond; common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from analysis.trace import Trace

Floats = NDArray[np.float64]
RATE_HZ = 500.0


@dataclass(frozen=True)
class Piece:
    """A happening: torque and angle against what was before; the last values stay where `stays`."""

    torque_nm: Floats
    angle_deg: Floats
    moved_nm: float = 0.0
    moved_deg: float = 0.0


def _time(length_s: float) -> Floats:
    return np.arange(round(length_s * RATE_HZ)) / RATE_HZ


def _smooth(time: Floats, length_s: float) -> Floats:
    """From 0 to 1 in `length_s`, with soft ends."""
    share = np.clip(time / length_s, 0.0, 1.0)
    return np.asarray(share * share * (3 - 2 * share))


def tap(rng: Generator) -> Piece:
    """A knock on vice or lever: a few rings of a light structure; the lever twitches at most."""
    time = _time(0.5)
    ring = np.exp(-time / rng.uniform(0.005, 0.05)) * np.sin(2 * np.pi * rng.uniform(15, 120) * time)
    twitch = np.exp(-time / 0.05) * np.sin(2 * np.pi * 12 * time) * rng.uniform(0, 0.4)
    return Piece(rng.choice([-1, 1]) * rng.uniform(2, 25) * ring, twitch)


def rattle(rng: Generator) -> Piece:
    """Several blows in a row, as when a bolt is driven on the same bench."""
    time = _time(rng.uniform(1.0, 4.0))
    torque = np.zeros_like(time)
    for at in np.sort(rng.uniform(0, time[-1] - 0.3, int(rng.integers(3, 12)))):
        since = np.maximum(time - at, 0.0)
        torque += rng.choice([-1, 1]) * rng.uniform(4, 23) * np.exp(-since / 0.02) * np.sin(2 * np.pi * rng.uniform(20, 90) * since)
    return Piece(torque, rng.normal(0, 0.05, time.size).cumsum() * 0.02)


def push(rng: Generator) -> Piece:
    """A body against the lever: a soft load of either sign that winds it up and comes back."""
    length = rng.uniform(0.2, 3.0)
    time = _time(length)
    torque = rng.choice([-1, 1]) * rng.uniform(1, 12) * np.sin(np.pi * time / length)
    return Piece(torque, torque / rng.uniform(20, 60))


def waved(rng: Generator) -> Piece:
    """The sensor carried about with its lever: some N.m as it swings, the angle to and fro."""
    time = _time(rng.uniform(2.0, 8.0))
    swing = rng.uniform(15, 60) * np.sin(2 * np.pi * rng.uniform(0.3, 1.2) * time) * _smooth(time, 0.5)
    torque = rng.uniform(1, 4.5) * np.sin(2 * np.pi * rng.uniform(0.3, 1.2) * time + rng.uniform(0, 6)) * _smooth(time, 0.5)
    torque *= _smooth(time[-1] - time, 0.5)
    return Piece(torque, swing, moved_deg=float(swing[-1]))


def laid_down(rng: Generator) -> Piece:
    """The sensor laid elsewhere: turned some way once, its torque not quite what it was."""
    time = _time(1.5)
    turned, level = rng.uniform(-25, 25), rng.uniform(-1.0, 1.0)
    torque = level * _smooth(time, 0.8) + rng.uniform(-3, 3) * np.sin(np.pi * np.clip(time / 0.8, 0, 1))
    return Piece(torque, turned * _smooth(time, 0.8), moved_nm=level, moved_deg=turned)


def encoder_set(rng: Generator) -> Piece:
    """The encoder zeroed, rolled over, or jumped at its index."""
    time = _time(0.4)
    jump = rng.choice([rng.uniform(5, 40), 360.0, rng.uniform(40, 300)]) * rng.choice([-1, 1])
    return Piece(np.zeros_like(time), np.where(time > 0.2, jump, 0.0), moved_deg=jump)


def tared(rng: Generator) -> Piece:
    """A tare key pressed, or a plug that sits otherwise: the torque steps and stays, the angle is still."""
    time = _time(0.4)
    step = rng.choice([-1, 1]) * rng.uniform(3, 12)
    return Piece(np.where(time > 0.2, step, 0.0), np.zeros_like(time), moved_nm=step)


def lever_hung(rng: Generator) -> Piece:
    """A lever hung on or taken off: a soft step with a bounce, wound up a little."""
    time = _time(1.5)
    step = rng.choice([-1, 1]) * rng.uniform(3, 6)
    bounce = 0.4 * step * np.exp(-time / 0.15) * np.sin(2 * np.pi * 5 * time)
    torque = step * _smooth(time, 0.3) + bounce
    return Piece(torque, torque / 40, moved_nm=step, moved_deg=step / 40)


def drifts(rng: Generator) -> Piece:
    """Something warms: up to 8 N.m within 3 to 15 s."""
    length = rng.uniform(3, 15)
    time = _time(length)
    by = rng.choice([-1, 1]) * rng.uniform(2, 8)
    return Piece(by * time / length, np.zeros_like(time), moved_nm=by)


def plug_knocked(rng: Generator) -> Piece:
    """A plug knocked: the torque jumps about for a moment, then stands as before or a little beside it."""
    time = _time(rng.uniform(0.3, 1.5))
    torque = np.repeat(rng.uniform(-11, 11, time.size // 20 + 1), 20)[: time.size]
    stays = rng.choice([0.0, rng.uniform(-1, 1)])
    torque[-20:] = stays
    return Piece(torque, np.zeros_like(time), moved_nm=stays)


def turned_free(rng: Generator) -> Piece:
    """The free unit turned one way by hand: next to no torque. A free turn, never a pull."""
    length = rng.uniform(1.0, 4.0)
    time = _time(length)
    turned = rng.choice([-1, 1]) * rng.uniform(40, 200)
    drag = rng.uniform(0.1, 1.2) * np.sign(turned)
    return Piece(drag * _smooth(time, 0.1) * _smooth(length - time, 0.1), turned * _smooth(time, length), moved_deg=turned)


NO_PULLS: tuple[Callable[[Generator], Piece], ...] = (
    tap, rattle, push, waved, laid_down, encoder_set, tared, lever_hung, drifts, plug_knocked,
)  # fmt: skip


def busy_bench(
    happenings: Sequence[Piece], rng: Generator, *, rest_s: tuple[float, float] = (3.0, 8.0), noise_nm: float = 0.05,
    step_deg: float = 0.1, start_s: float = 0.0,
) -> Trace:  # fmt: skip
    """The happenings in a row with rests between them, seen by a sensor of some noise and an encoder of some step."""
    torque, angle = [np.zeros(round(4 * RATE_HZ))], [np.zeros(round(4 * RATE_HZ))]
    level, at = 0.0, 0.0
    for piece in happenings:
        torque.append(level + piece.torque_nm)
        angle.append(at + piece.angle_deg)
        level, at = level + piece.moved_nm, at + piece.moved_deg
        rest = np.zeros(round(rng.uniform(*rest_s) * RATE_HZ))
        torque.append(rest + level)
        angle.append(rest + at)
    whole = np.concatenate(torque)
    time = start_s + np.arange(whole.size) / RATE_HZ
    read = np.round((whole + noise_nm * rng.standard_normal(whole.size)) / 0.01) * 0.01
    return Trace(time, read, np.floor(np.concatenate(angle) / step_deg) * step_deg)
