"""Pulls of other makes than `pull_kinds`: bristles, more inertias, a hand that reacts, slow and failing sensors and encoders.

`makes(n, seed, kinds)` gives pulls with known truth, seeded. KINDS are to work with, ASIDE is for the end.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.random import Generator
from scipy.signal import butter, sosfilt, sosfilt_zi
from support import pull_kinds as usual
from support.pull_bristle import Bristles, run_bristles
from support.pull_hand import Draft, Plan, plan_of
from support.pull_physics import RECORD_S, Floats, Motion, run
from support.pull_sensor import SimPull
from support.pull_truth import Truth, truth_of

from analysis.results import Sensor
from analysis.trace import Trace


@dataclass(kw_only=True)
class Seen:
    """A pull as it is being recorded: samples, what is known of them, what a fault has hidden."""

    time: Floats
    torque: Floats
    angle: Floats | None
    peak: float
    truth: Truth
    noise: float
    rate: float
    scale: float
    rng: Generator
    faults: list[str] = field(default_factory=list)
    known_b: float = 0.0
    known_s: float = 0.0
    limits: list[float] = field(default_factory=list)
    """What the sensor's data sheet states beside its calibration, as limits, shares of the reading: no reading can know it."""


Fault = Callable[[Seen], None]
Knob = Callable[[Draft, Generator], None]


def _log(rng: Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


# -- sensors and their faults ---------------------------------------------------------------------------------------------------


def _filtered(s: Seen, order: int, band_hz: float) -> None:
    sos = butter(order, band_hz, fs=s.rate, output="sos") if band_hz < 0.45 * s.rate else None
    if sos is not None:
        s.torque = np.asarray(sosfilt(sos, s.torque, zi=sosfilt_zi(sos) * s.torque[0])[0])


def low_pass(s: Seen) -> None:
    _filtered(s, 1, _log(s.rng, 1.0, 20.0))


def low_pass_2(s: Seen) -> None:
    _filtered(s, 2, _log(s.rng, 2.0, 20.0))


def moving_mean(s: Seen) -> None:
    width = max(1, round(_log(s.rng, 0.03, 0.3) * s.rate))
    padded = np.concatenate([np.full(width - 1, s.torque[0]), s.torque])
    s.torque = np.convolve(padded, np.ones(width) / width, mode="valid")


def held_values(s: Seen) -> None:
    """A converter slower than the stream repeats its values."""
    every = max(2, round(s.rate / _log(s.rng, 20.0, 100.0)))
    s.torque = np.repeat(s.torque[::every], every)[: s.torque.size]


def saturates(s: Seen) -> None:
    """An amplifier at its end, below the stated capacity; the noise of what follows stays on the flat top."""
    top = s.rng.uniform(0.7, 0.97) * s.peak
    s.torque = np.minimum(s.torque, top)
    s.faults.append("clipped")


def burst(s: Seen) -> None:
    """Interference of 3 to 40 ms anywhere, or beside the peak."""
    for _ in range(int(s.rng.integers(1, 3))):
        length = max(3, round(_log(s.rng, 0.003, 0.04) * s.rate))
        at_s = s.rng.uniform(s.time[0] + 0.2, s.time[-1] - 0.2)
        if s.rng.random() < 0.3 and s.truth.breakaway_time_s is not None:
            at_s = s.truth.breakaway_time_s + s.rng.uniform(-0.1, 0.3)
        at = int(np.searchsorted(s.time, at_s))
        s.torque[at : at + length] += s.rng.uniform(0.1, 0.9) * s.peak * s.rng.standard_normal(s.torque[at : at + length].size)
    s.faults.append("burst")


def aliased_hum(s: Seen) -> None:
    s.torque = s.torque + _log(s.rng, 0.003, 0.02) * s.peak * np.sin(
        2 * np.pi * (50 * s.rng.uniform(0.998, 1.002)) * s.time + s.rng.uniform(0, 6)
    )
    s.known_b, s.faults = 0.01 * s.peak, [*s.faults, "hum"]


def creeps(s: Seen) -> None:
    """The sensor's own creep: part of the load comes late and goes late."""
    share, lag = s.rng.uniform(0.001, 0.004), s.rng.uniform(1.0, 6.0)
    late = sosfilt(butter(1, 1 / (2 * np.pi * lag), fs=s.rate, output="sos"), s.torque)
    s.torque = s.torque + share * np.asarray(late)
    s.limits.append(0.004)
    s.known_b += share * s.peak
    s.known_s += share * s.peak


def cross_talk(s: Seen) -> None:
    """A side load that turns with the lever: a slow wave on the torque in proportion to it."""
    if s.angle is not None:
        share = s.rng.uniform(0.001, 0.004)
        s.torque = s.torque * (1 + share * np.cos(np.radians(s.angle) + s.rng.uniform(0, 6)))
        s.limits.append(0.004)
        s.known_b += share * s.peak
        s.known_s += share * s.peak


def warms(s: Seen) -> None:
    s.torque = s.torque + s.rng.uniform(0.004, 0.03) * s.peak * (s.time - s.time[0]) / (s.time[-1] - s.time[0])
    s.faults.append("drift")


def coarse_encoder(s: Seen) -> None:
    if s.angle is not None:
        step = s.rng.uniform(2.0, 5.0)
        s.angle = np.floor(s.angle / step) * step
    s.faults.append("angle")


def zeroed_encoder(s: Seen) -> None:
    if s.angle is not None:
        at = int(s.rng.uniform(0.3, 0.8) * s.angle.size)
        s.angle = s.angle - np.where(np.arange(s.angle.size) >= at, s.angle[at], 0.0)
    s.faults.append("angle")


def rolling_encoder(s: Seen) -> None:
    if s.angle is not None:
        start = s.rng.uniform(340, 359)
        s.angle = (s.angle - s.angle[0] + start) % 360.0
    s.faults.append("angle")


def slipping_encoder(s: Seen) -> None:
    """The coupling of the encoder slips now and then by some degrees."""
    if s.angle is not None:
        for at in s.rng.uniform(0.35, 0.85, int(s.rng.integers(1, 4))):
            s.angle = s.angle - np.where(np.arange(s.angle.size) >= at * s.angle.size, s.rng.uniform(3, 15), 0.0)
    s.faults.append("angle")


def dead_encoder(s: Seen) -> None:
    if s.angle is not None:
        from_s = 0 if s.rng.random() < 0.5 else int(s.rng.uniform(0.2, 0.7) * s.angle.size)
        s.angle = np.where(np.arange(s.angle.size) >= from_s, s.angle[from_s], s.angle)
    # What is left to weigh by is time.
    s.truth = replace(s.truth, sliding_nm=s.truth.sliding_by_time_nm, sliding_other_nm=s.truth.sliding_nm)
    s.faults.append("angle")


def stepped_zero(s: Seen) -> None:
    """The level at rest stepped some time before the pull, or in it."""
    begin = s.truth.breakaway_time_s or s.time[-1] / 2
    at = s.rng.choice([s.rng.uniform(0.05, 0.15), s.rng.uniform(0.3, 0.9) * begin, s.rng.uniform(begin, s.time[-1] - 0.3)])
    s.torque = s.torque + np.where(s.time >= at, s.rng.choice([-1, 1]) * s.rng.uniform(0.02, 0.2) * s.peak, 0.0)
    s.faults.append("zero")


def begins_late(s: Seen) -> None:
    cut = s.time >= s.rng.uniform(0.3, 1.02) * (s.truth.breakaway_time_s or 0.5)
    offset = s.rng.choice([0.0, s.rng.uniform(-0.3, 0.3) * s.peak])
    s.time, s.torque = s.time[cut], s.torque[cut] + offset
    s.angle = None if s.angle is None else s.angle[cut]
    s.faults.append("zero")


def ends_early(s: Seen) -> None:
    begins_late(s)
    end = s.truth.sliding_to_s or s.time[-1]
    cut = s.time <= end - 0.05
    if np.count_nonzero(cut) > 50:
        s.time, s.torque = s.time[cut], s.torque[cut]
        s.angle = None if s.angle is None else s.angle[cut]


def gains_in_load(s: Seen) -> None:
    """A peak memory that holds the highest value for a while, as indicators do."""
    hold = max(1, round(0.02 * s.rate))
    out = s.torque.copy()
    for k in range(1, hold):
        out[k:] = np.maximum(out[k:], s.torque[:-k] - 0.002 * s.peak * k / hold)
    s.torque = out
    s.known_b += 0.004 * s.peak


def relay(s: Seen) -> None:
    """Something switches nearby, again and again: 3 to 9 ms of a third of the peak."""
    every, length = s.rng.uniform(0.25, 1.0), max(1, round(s.rng.uniform(0.003, 0.009) * s.rate))
    for at_s in np.arange(s.time[0] + s.rng.uniform(0, every), s.time[-1], every):
        at = int(np.searchsorted(s.time, at_s))
        here = s.torque[at : at + length]
        here += s.rng.choice([-1, 1]) * s.rng.uniform(0.1, 0.5) * s.peak * np.exp(-np.arange(here.size) / max(1.0, length / 3))
    s.faults.append("burst")


def late_angle(s: Seen) -> None:
    """The angle is sent 30 to 120 ms after the torque it belongs to."""
    if s.angle is not None:
        late = s.rng.uniform(0.03, 0.12)
        s.angle = np.interp(s.time - late, s.time, s.angle)
    s.faults.append("angle")


def flickers(s: Seen) -> None:
    """The last digit of the encoder flickers by a quarter to one degree."""
    if s.angle is not None:
        s.angle = s.angle + s.rng.uniform(0.25, 1.0) * s.rng.integers(-1, 2, s.angle.size)
    s.faults.append("angle")


def leaned_on(s: Seen) -> None:
    """Somebody leans on the lever before the pull: the level before is load, the one after is the zero."""
    begin = s.truth.breakaway_time_s or s.time[-1] / 2
    level = s.rng.uniform(0.03, 0.15) * s.peak
    s.torque = np.where(s.time < begin, np.maximum(s.torque, level), s.torque)
    s.faults.append("zero")


FAULTS: dict[str, Fault] = {
    "low_pass": low_pass, "low_pass_2": low_pass_2, "moving_mean": moving_mean, "held_values": held_values, "saturates": saturates,
    "burst": burst, "aliased_hum": aliased_hum, "creeps": creeps, "cross_talk": cross_talk, "warms": warms,
    "coarse_encoder": coarse_encoder, "zeroed_encoder": zeroed_encoder, "rolling_encoder": rolling_encoder,
    "slipping_encoder": slipping_encoder, "dead_encoder": dead_encoder, "stepped_zero": stepped_zero, "begins_late": begins_late,
    "ends_early": ends_early, "gains_in_load": gains_in_load, "relay": relay, "late_angle": late_angle, "flickers": flickers,
    "leaned_on": leaned_on,
}  # fmt: skip


# -- units, hands, rigs ---------------------------------------------------------------------------------------------------------


def plain(d: Draft, rng: Generator) -> None:
    """As drawn."""


def squeal(d: Draft, rng: Generator) -> None:
    """Stiff and light: stick-slip of 20 to 60 Hz."""
    d.excess, d.memory_deg, d.ageing_s = rng.uniform(0.02, 0.05), _log(rng, 0.02, 0.05), _log(rng, 0.02, 0.1)
    d.stribeck, d.stribeck_deg_s, d.viscous_s = rng.uniform(0.15, 0.35), _log(rng, 20, 60), 0.0
    d.adapter, d.arm, d.speed_deg_s, d.wobble = _log(rng, 3000, 7000), _log(rng, 800, 1500), _log(rng, 15, 50), 0.03


def soft_lever(d: Draft, rng: Generator) -> None:
    """Slow stick-slip behind a soft adapter and a heavy lever, which rings after each slip."""
    usual._chatter_slow_rig(d, rng)
    d.adapter, d.lever, d.arm = _log(rng, 100, 300), rng.uniform(0.15, 0.4), _log(rng, 200, 500)


def part_chatter(d: Draft, rng: Generator) -> None:
    """Chatter while the hand is slow, a quarter of the way or so."""
    usual._chatter_strong(d, rng)
    d.faster, d.slide_s = rng.uniform(4, 8), rng.uniform(3, 6)


def runs_in(d: Draft, rng: Generator) -> None:
    d.sensor["runs_in"] = rng.uniform(0.03, 0.15)
    d.slide_s, d.speed_deg_s = rng.uniform(4, 7), _log(rng, 20, 60)


def big_ripple(d: Draft, rng: Generator) -> None:
    d.orders = ((float(rng.integers(2, 14)), rng.uniform(0.04, 0.12)), (1.0, rng.uniform(0.0, 0.04)))
    d.excess, d.speed_deg_s, d.slide_s = rng.uniform(0.01, 0.08), _log(rng, 20, 80), rng.uniform(3, 7)


def heavy_unit(d: Draft, rng: Generator) -> None:
    d.rotor, d.lever = _log(rng, 0.01, 0.05), rng.uniform(0.1, 0.3)


def light_stiff(d: Draft, rng: Generator) -> None:
    d.rotor, d.lever, d.adapter = _log(rng, 0.0005, 0.002), rng.uniform(0.02, 0.05), _log(rng, 5000, 15000)


def slow_load(d: Draft, rng: Generator) -> None:
    d.ramp_s, d.rest_s = rng.uniform(3.0, 8.0), rng.uniform(0.6, 2.0)


def slow_chatter(d: Draft, rng: Generator) -> None:
    usual._chatter_strong(d, rng)


@dataclass(frozen=True)
class Make:
    """A kind: what is drawn, what fails, which physics."""

    knobs: tuple[Knob, ...] = (plain,)
    faults: tuple[str, ...] = ()
    bristles: bool = False
    reacts: bool = False
    bend_deg: tuple[float, float] = (0.02, 0.2)
    rate_hz: tuple[float, ...] = (200, 400, 500, 1000, 1000, 2000)


def _makes() -> dict[str, Make]:
    out: dict[str, Make] = {name: Make(faults=(name,)) for name in FAULTS}
    out |= {
        "bristle": Make(bristles=True),
        "bristle_reacting": Make(bristles=True, reacts=True),
        "soft_knee": Make(bristles=True, bend_deg=(0.4, 1.5)),
        "soft_knee_reacting": Make(bristles=True, reacts=True, bend_deg=(0.4, 1.5)),
        "bristle_heavy": Make((heavy_unit,), bristles=True, reacts=True),
        "bristle_light": Make((light_stiff,), bristles=True),
        "bristle_chatter": Make((slow_chatter,), bristles=True),
        "bristle_chatter_reacting": Make((slow_chatter,), bristles=True, reacts=True),
        "bristle_ratio": Make((usual._high_ratio,), bristles=True, reacts=True),
        "bristle_low_pass": Make(faults=("low_pass",), bristles=True),
        "bristle_lash": Make((usual._slack,), bristles=True),
        "heavy_unit": Make((heavy_unit,)),
        "light_stiff": Make((light_stiff,)),
        "slow_load": Make((slow_load,)),
        "squeal": Make((squeal,), rate_hz=(1000, 2000)),
        "soft_lever": Make((soft_lever,)),
        "part_chatter": Make((part_chatter,), rate_hz=(500, 1000, 2000)),
        "chatter_low_pass": Make((slow_chatter,), ("low_pass",)),
        "chatter_moving_mean": Make((slow_chatter,), ("moving_mean",)),
        "chatter_burst": Make((slow_chatter,), ("burst",)),
        "chatter_coarse_encoder": Make((slow_chatter,), ("coarse_encoder",)),
        "chatter_dead_encoder": Make((slow_chatter,), ("dead_encoder",)),
        "chatter_unequal": Make((usual._chatter_with_lash,)),
        "runs_in": Make((runs_in,)),
        "big_ripple": Make((big_ripple,)),
        "ripple_bristle": Make((big_ripple,), bristles=True),
        "tremor_low_pass": Make((usual._tremor_force,), ("low_pass_2",)),
        "hesitate_warms": Make((usual._hesitate,), ("warms",)),
        "regrip_zeroed": Make((usual._regrip,), ("zeroed_encoder",)),
        "lash_held": Make((usual._lash,), ("held_values",)),
        "vice_burst": Make((usual._vice_slip,), ("burst",)),
        "short_step": Make((usual._short_rest,), ("stepped_zero",)),
        "jerk_low_pass": Make((usual._jerk,), ("low_pass",)),
        "chatter_relay": Make((slow_chatter,), ("relay",)),
        "chatter_late_angle": Make((slow_chatter,), ("late_angle",)),
        "chatter_leaned_on": Make((slow_chatter,), ("leaned_on",)),
    }
    return out


_ASIDE = {
    "aside_bristle_moving_mean": Make(faults=("moving_mean",), bristles=True, reacts=True),
    "aside_soft_knee_hum": Make(faults=("aliased_hum",), bristles=True, bend_deg=(0.3, 1.0)),
    "aside_saturates_ratio": Make((usual._high_ratio,), ("saturates",)),
    "aside_burst_ripple": Make((big_ripple,), ("burst",)),
    "aside_squeal_runs_in": Make((squeal, runs_in), rate_hz=(1000, 2000)),
    "aside_soft_lever_reacting": Make((soft_lever,), bristles=True, reacts=True),
    "aside_step_rolling": Make(faults=("stepped_zero", "rolling_encoder")),
    "aside_late_held": Make(faults=("held_values", "begins_late")),
    "aside_slipping_chatter": Make((slow_chatter,), ("slipping_encoder",)),
    "aside_creep_cross_warm": Make(faults=("creeps", "cross_talk", "warms")),
}
KINDS = _makes()
ASIDE = _ASIDE
ALL = KINDS | ASIDE


def join(faults: dict[str, Fault], kinds: dict[str, Make]) -> None:
    """Kinds of another module, with the faults they name, are drawn here too."""
    FAULTS.update(faults)
    ALL.update(kinds)


def _plan(kind: str, rng: Generator) -> Plan:
    draft = usual._usual(rng)
    draft.share_of_scale = _log(rng, 0.12, 0.85)
    for knob in ALL[kind].knobs:
        knob(draft, rng)
    return plan_of(kind, draft, rng)


def makes(n: int, seed: int, kinds: Sequence[str] | None = None) -> list[SimPull]:
    """`n` pulls, kinds in turn. The same n, seed and kinds give the same pulls.

    One that never broke away, or too stiff for the step of the simulation, is left out.
    """
    names = tuple(kinds or KINDS)
    drawn = [(i, names[i % len(names)]) for i in range(n)]
    plans = {i: _plan(kind, np.random.default_rng([seed, i, 11])) for i, kind in drawn}
    motions: dict[int, Motion] = {}
    for bristles in (False, True):
        mine = [i for i, kind in drawn if ALL[kind].bristles is bristles]
        mine.sort(key=lambda i: -plans[i].hand.speed.size)
        for at in range(0, len(mine), 200):
            part = mine[at : at + 200]
            units, rigs, hands = ([getattr(plans[i], name) for i in part] for name in ("unit", "rig", "hand"))
            with np.errstate(over="ignore", invalid="ignore"):
                found = (
                    run_bristles(units, rigs, hands, [_bristles(plans[i], seed, i) for i in part])
                    if bristles
                    else run(units, rigs, hands)
                )
            motions |= dict(zip(part, found, strict=True))
    return [pull for i, kind in drawn if (pull := _record(kind, plans[i], motions[i], seed, i)) is not None]


def _bristles(plan: Plan, seed: int, number: int) -> Bristles:
    rng, make = np.random.default_rng([seed, number, 12]), ALL[plan.kind]
    inertia = plan.unit.rotor_kg_m2 * rng.uniform(0.3, 1.5)
    return Bristles(
        bend_rad=float(np.radians(_log(rng, *make.bend_deg))), case_kg_m2=inertia,
        spline_nm_rad=plan.rig.adapter_nm_rad * rng.uniform(3, 10), reacts=rng.uniform(0.2, 0.8) if make.reacts else 0.0,
    )  # fmt: skip


def _over_the_knee(truth: Truth, motion: Motion, bend_rad: float) -> Truth:
    """The breakaway of bristles: they creep some of their bend before they let go, so the highest torque of that way."""

    def highest(bends: float) -> int:
        on = motion.rotor_rad >= np.radians(0.1) + bends * bend_rad
        end = int(np.argmax(on)) if on.any() else motion.rotor_rad.size - 1
        return int(np.argmax(motion.torque_nm[: end + 1]))

    at, less = highest(5.0), highest(3.0)
    known = abs(float(motion.torque_nm[at] - motion.torque_nm[less]))
    return replace(
        truth,
        breakaway_nm=float(motion.torque_nm[at]),
        breakaway_time_s=at * RECORD_S,
        breakaway_known_nm=truth.breakaway_known_nm + known,
    )


def _record(kind: str, plan: Plan, motion: Motion, seed: int, number: int) -> SimPull | None:
    rng, make = np.random.default_rng([seed, number, 13]), ALL[kind]
    # Stick-slip of bristles is memory-free: the settled stretch begins where the first slip is over.
    unit = replace(plan.unit, memory_rad=min(plan.unit.memory_rad, 0.02)) if make.bristles else plan.unit
    if "runs_in" in plan.sensor:
        turned = np.maximum(motion.rotor_rad - 0.05, 0.0)
        worn = 1 - plan.sensor["runs_in"] * (1 - np.exp(-turned / 0.6))
        motion = replace(motion, torque_nm=(motion.torque_nm * worn).astype(np.float32))
    if not (np.isfinite(motion.torque_nm).all() and np.isfinite(motion.rotor_rad).all()):
        return None
    try:
        truth = truth_of(kind, unit, plan.hand, motion, plan.nominal_rad_s, plan.resists)
    except RuntimeError:
        return None
    if make.bristles and truth.breakaway_nm is not None:
        truth = _over_the_knee(truth, motion, _bristles(plan, seed, number).bend_rad)
    rate = float(rng.choice(make.rate_hz))
    time = np.arange((motion.torque_nm.size - 1) * RECORD_S * rate) / rate
    time = time[time < (motion.torque_nm.size - 1) * RECORD_S]
    peak = float(truth.breakaway_nm or 0.1 * plan.scale_nm)
    band = _log(rng, 300, 2000)
    clean = np.asarray(sosfilt(butter(1, band, fs=1 / RECORD_S, output="sos"), motion.torque_nm.astype(float)))
    noise = min(_log(rng, 5e-5, 1e-3) * plan.scale_nm, 0.005 * peak)
    degrees = np.degrees(np.interp(time, motion.time_s, motion.lever_rad.astype(float)))
    encoder = float(rng.choice([0.01, 0.045, 0.1, 0.25]))
    seen = Seen(
        time=time, torque=np.interp(time, motion.time_s, clean), angle=None if rng.random() < 0.08 else degrees, peak=peak,
        truth=truth, noise=noise, rate=rate, scale=plan.scale_nm, rng=rng,
    )  # fmt: skip
    for name in make.faults:
        FAULTS[name](seen)
    # What the converter adds comes after what the sensor does; a filter in the indicator has been before it.
    torque = seen.torque + noise * rng.standard_normal(seen.torque.size) + rng.uniform(-0.01, 0.01) * plan.scale_nm
    if "held_values" in make.faults:
        torque = seen.torque + rng.uniform(-0.01, 0.01) * plan.scale_nm
    resolution = float(rng.choice([2e-5, 1e-4, 2.5e-4])) * plan.scale_nm
    torque = np.round(torque / resolution) * resolution
    angle = None if seen.angle is None else np.floor(seen.angle / encoder) * encoder
    way = 1 if rng.random() < 0.6 else -1
    trace = Trace(seen.time, way * torque, None if angle is None else way * angle)
    known = truth.ramp_nm_s / (2 * np.pi * band) + 0.5 * truth.ramp_nm_s / rate if truth.ramp_nm_s else 0.0
    hidden = (truth.peak_to_peak_nm or np.inf) < max(5 * noise, 4 * resolution, 0.01 * peak) or (truth.rate_hz or 0) > rate / 8
    full = replace(
        seen.truth, direction=way, faults=tuple(seen.faults), marginal=truth.marginal or bool(hidden),
        breakaway_known_nm=truth.breakaway_known_nm + seen.known_b + known + resolution / 2,
        sliding_known_nm=truth.sliding_known_nm + seen.known_s + resolution / 4,
        **({"sliding_nm": truth.sliding_by_time_nm, "sliding_other_nm": truth.sliding_nm} if angle is None else {}),
    )  # fmt: skip
    u = float(rng.choice([0.001, 0.0025, 0.005]))
    stated = float(np.sqrt(u**2 + sum(limit**2 / 3 for limit in seen.limits)))
    return SimPull(trace, full, Sensor(u_relative=stated, capacity_nm=1.3 * plan.scale_nm), float(u * rng.standard_normal()), seed)
