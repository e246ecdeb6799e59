"""Fits the weights of the chatter score to simulated pulls of known truth and prints them: python tests/speed/chatter_fit.py

Every pull with an angle is also read without it, so that both scores see the same plates. Pulls whose truth is marginal are
left out. The prior of the fit is that of the set, about as many chattering stretches with cycles as others.
"""

from __future__ import annotations

import argparse
import dataclasses
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
from scipy.optimize import minimize
from scipy.signal import fftconvolve

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from support.pull_makes import makes  # noqa: E402
from support.pullset import SimPull, simulate_cached  # noqa: E402

from analysis.pull.chatter import ChatterRules, measure  # noqa: E402
from analysis.pull.chatter_score import WITH_ANGLE, WITHOUT_ANGLE, terms  # noqa: E402
from analysis.pull.conditioning import condition  # noqa: E402
from analysis.pull.course import find_course, holds_nothing, working_level  # noqa: E402
from analysis.pull.first_slip import CourseRules  # noqa: E402
from analysis.results import Sensor  # noqa: E402
from analysis.trace import Trace  # noqa: E402

LOOK_ALIKES = (
    "chatter_weak", "chatter_strong", "chatter_fast", "chatter_slow_rig", "chatter_dies", "tremor_force", "tremor_sensor",
    "ripple_tooth", "hum", "no_angle_chatter", "low_ratio", "combo", "noisy", "vice_slip", "hesitate",
)  # fmt: skip
# Plates whose contact is a field of bristles, more inertias, a hand that reacts: other physics than the sets above.
OTHER_MAKES = (
    "bristle", "bristle_reacting", "bristle_heavy", "bristle_light", "bristle_lash", "bristle_ratio", "bristle_chatter",
    "bristle_chatter_reacting", "soft_knee", "ripple_bristle", "big_ripple", "soft_lever", "squeal", "part_chatter", "heavy_unit",
)  # fmt: skip
RIDGE = 1.0


def terms_of(pull: SimPull) -> tuple[tuple[float, ...], bool] | None:
    """Terms of the score and truth of one pull; None where there is nothing to score."""
    if pull.truth.marginal or not pull.truth.pull_found:
        return None
    c = condition(pull.trace, pull.sensor)
    rules = CourseRules()
    smooth = c.smooth(rules.smooth_s)
    level = working_level(c, smooth)
    if c.rate_hz < 199 or holds_nothing(c, level, float(smooth.max()), pull.sensor.capacity_nm, rules):
        return None
    course = find_course(c, level, smooth, rules)
    measured = None if course is None or not course.sliding else measure(c, course, level, ChatterRules())
    return None if measured is None else (terms(measured[0]), pull.truth.chatter)


def vibrating(pull: SimPull, rng: np.random.Generator) -> SimPull | None:
    """The same pull with a vibration of the bench on its torque while it slides, which the unit does not take part in.

    None where the pull has no angle (then nothing tells it from fast stick-slip), no sliding, or chatters itself.
    """
    truth, trace = pull.truth, pull.trace
    if (
        trace.angle_deg is None
        or truth.chatter
        or truth.sliding_nm is None
        or truth.sliding_from_s is None
        or truth.sliding_to_s is None
    ):
        return None
    rate = 1.0 / float(np.median(np.diff(trace.time_s)))
    centre = float(np.exp(rng.uniform(np.log(14.0), np.log(max(15.0, min(110.0, rate / 6))))))
    white = rng.standard_normal((2, trace.time_s.size))
    width = max(3, round(rate / (centre * rng.uniform(0.02, 0.2))))
    slow = np.array([fftconvolve(part, np.hanning(width), "same") for part in white])
    slow /= np.sqrt(np.mean(slow**2)) * np.sqrt(2)
    phase = 2 * np.pi * centre * trace.time_s
    wave = slow[0] * np.cos(phase) + slow[1] * np.sin(phase)
    sliding = (trace.time_s >= truth.sliding_from_s) & (trace.time_s <= truth.sliding_to_s)
    height = float(np.exp(rng.uniform(np.log(0.01), np.log(0.08)))) * truth.sliding_nm
    return dataclasses.replace(pull, trace=Trace(trace.time_s, trace.torque_nm + height * wave * sliding, trace.angle_deg))


def drawn(pull: SimPull, rng: np.random.Generator) -> SimPull:
    """A chattering pull's place taken by the textbook's cycle: a mass drawn through a spring at constant speed.

    Linear rise while it sticks, half a cosine while it slips (as long as the mass is heavy), angle that of the drawing end.
    """
    rate, static = 10 ** rng.uniform(2.4, 3.3), 10 ** rng.uniform(0.5, 2.5)
    trough = static * (1 - 10 ** rng.uniform(-1.2, -0.05))
    slip_s = 10 ** rng.uniform(-2.0, -0.5)
    stick_s = slip_s * 10 ** rng.uniform(-0.1, 1.3)
    count = int(np.clip(6.0 / (slip_s + stick_s), 5, 60))
    rise = np.linspace(trough, static, max(3, round(stick_s * rate)), endpoint=False)
    fall = 0.5 * (static + trough) + 0.5 * (static - trough) * np.cos(
        np.linspace(0, np.pi, max(3, round(slip_s * rate)), endpoint=False)
    )
    load = np.linspace(0.0, static, max(5, round(static / (static - trough) * stick_s * rate)), endpoint=False)
    rest = np.zeros(round(rate))
    pulled = np.concatenate([load, np.tile(np.concatenate([fall, rise]), count)])
    turned = np.arange(pulled.size) / rate * rng.uniform(3, 30)
    torque = np.concatenate([rest, pulled, rest])
    torque = torque + 10 ** rng.uniform(-4, -2.3) * static * rng.standard_normal(torque.size)
    step = rng.choice([0.01, 0.09, 0.25])
    angle = np.round(np.concatenate([rest, turned, np.full(rest.size, turned[-1])]) / step) * step
    return dataclasses.replace(pull, trace=Trace(np.arange(torque.size) / rate, torque, angle), sensor=Sensor())


def without_angle(pull: SimPull) -> SimPull:
    """The same pull on a bench that has no angle."""
    return dataclasses.replace(pull, trace=Trace(pull.trace.time_s, pull.trace.torque_nm))


def fit(rows: list[tuple[tuple[float, ...], bool]]) -> np.ndarray:
    """Weights of a ridge-penalised logistic regression (the constant is not penalised)."""
    x = np.array([row[0] for row in rows])
    y = np.array([row[1] for row in rows], dtype=float)

    def loss(w: np.ndarray) -> tuple[float, np.ndarray]:
        z = x @ w
        p = 1 / (1 + np.exp(-z))
        value = float(np.sum(np.logaddexp(0, z) - y * z)) + 0.5 / RIDGE * float(w[1:] @ w[1:])
        return value, x.T @ (p - y) + np.concatenate(([0.0], w[1:] / RIDGE))

    return np.asarray(minimize(loss, np.zeros(x.shape[1]), jac=True, method="L-BFGS-B", options={"maxiter": 5000}).x)


def main() -> None:
    """Simulate, measure, fit, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--n", type=int, default=2016)
    parser.add_argument("--seed", type=int, default=2)
    args = parser.parse_args()
    pulls = simulate_cached(args.n, args.seed) + simulate_cached(args.n * 6 // 10, args.seed + 1, LOOK_ALIKES)
    pulls += makes(args.n // 5, args.seed, OTHER_MAKES)
    rng = np.random.default_rng(args.seed)
    shaken = [shaking for p in pulls[::4] if (shaking := vibrating(p, rng)) is not None]
    shaken += [drawn(p, rng) for p in [p for p in pulls if p.truth.chatter and not p.truth.marginal][::3]]
    pulls += [without_angle(p) for p in pulls if p.trace.angle_deg is not None]
    with ProcessPoolExecutor() as pool:
        rows = [row for row in pool.map(terms_of, pulls, chunksize=25) if row is not None]
        # Only an angle tells a vibration from fast stick-slip, or a heavy mass that sticks from a tremor.
        riding = [row for row in pool.map(terms_of, shaken, chunksize=25) if row is not None and len(row[0]) == len(WITH_ANGLE)]
    for name, size, old in (("WITHOUT_ANGLE", len(WITHOUT_ANGLE), WITHOUT_ANGLE), ("WITH_ANGLE", len(WITH_ANGLE), WITH_ANGLE)):
        # A pull whose turning cannot be told by its encoder falls back to the score without an angle.
        mine = [(values[:size], truth) for values, truth in rows if len(values) >= size] + (
            riding if size == len(WITH_ANGLE) else []
        )
        weights = fit(mine)
        print(f"{name} = ({', '.join(f'{w:.2f}' for w in weights)})")
        for label, w in (("in force", np.array(old)), ("fitted anew", weights)):
            wrong = sum((float(np.dot(w, v)) > 0) != truth for v, truth in mine)
            print(f"  {label}: {wrong} of {len(mine)} on the wrong side of one half")


if __name__ == "__main__":
    main()
