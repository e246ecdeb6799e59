"""From what happened to what a bench records: sensor, interface, encoder and their faults. The truth learns what they hide."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt
from support.pull_hand import Plan
from support.pull_physics import RECORD_S, Motion
from support.pull_truth import Truth

from analysis.results import Sensor
from analysis.trace import Trace

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class SimPull:
    """A recorded pull with its truth.

    The sensor's calibration is off by `gain_error` (relative, drawn from N(0, sensor.u_relative)): the torque that really was is
    what a noise-free sensor would have read (the truth's figures) divided by 1 + gain_error. Only coverage counts that.
    """

    trace: Trace
    truth: Truth
    sensor: Sensor
    gain_error: float
    seed: int


def record(plan: Plan, motion: Motion, truth: Truth, rng: Generator, seed: int) -> SimPull:
    """Record a motion through a drawn sensor; directions are drawn too."""
    want, scale = plan.sensor, plan.scale_nm
    faults: list[str] = []
    rate = want.get("rate_hz", float(rng.choice([200, 250, 400, 480, 500, 1000, 1000, 1000, 2000])))
    time = np.arange(motion.torque_nm.size * RECORD_S * rate) / rate
    # An ideal clock in half of the benches, a stamp of whole microseconds with a little jitter in the rest.
    if rng.random() < 0.5:
        time = np.round(time + rng.uniform(-0.1, 0.1, time.size) / rate, 6)
    time = time[(time >= 0) & (time < (motion.torque_nm.size - 1) * RECORD_S)]
    clean = motion.torque_nm.astype(float)
    band = want.get("band_hz", float(np.exp(rng.uniform(np.log(300), np.log(2000)))))
    limited = np.asarray(sosfilt(butter(1, band, fs=1 / RECORD_S, output="sos"), clean)) if band < 4000 else clean
    torque = np.interp(time, motion.time_s, limited)
    known_b, known_s = _hidden_by_band(truth, band), 0.0
    peak_nm = truth.breakaway_nm or scale * 0.02
    if "tremor" in want:
        height = want["tremor"] * peak_nm
        torque = torque + _tremor(time, torque / peak_nm, height, rng)
        known_b, faults = known_b + height, [*faults, "tremor"]
        known_s += 0.02 * height
    noise = float(np.exp(rng.uniform(np.log(5e-5), np.log(1.5e-3)))) * scale
    # Where nothing resists, what drags is small against the sensor's capacity, or, where that is not told, near the noise: a drag
    # well above the noise of a sensor of unknown size is a unit that holds.
    told = bool(rng.random() < 0.7)
    noise = min(noise, 0.006 * peak_nm) if plan.resists else max(noise, want["drag_share"] * scale / (8 if told else 3))
    if "noise_of_torque" in want:
        noise, faults = want["noise_of_torque"] * peak_nm, [*faults, "noisy"]
    torque = torque + noise * rng.standard_normal(time.size)
    if "hum" in want:
        torque = torque + _hum(time, want["hum"] * peak_nm, want["hum_hz"] * rng.uniform(0.999, 1.001), rng)
        faults.append("hum")
    torque = torque + want.get("offset", rng.uniform(-0.01, 0.01)) * scale
    if "drift" in want:
        drift = np.clip(want["drift"] * scale, -0.05 * peak_nm, 0.05 * peak_nm) * _drift_shape(time, rng)
        torque = torque + drift
        faults.append("drift")
        known_b += abs(float(np.interp(truth.breakaway_time_s or 0, time, drift)) - float(drift[: max(1, int(0.3 * rate))].mean()))
        known_s += float(np.ptp(drift))
    if "clicks" in want:
        torque = torque + _clicks(time, torque, int(want["clicks"]), scale, peak_nm, rng)
        faults.append("clicks")
    spikes = int(want.get("spikes", rng.integers(1, 3) if rng.random() < 0.08 else 0))
    if spikes or "spike_at_peak" in want:
        torque = _with_spikes(time, torque, spikes, truth, "spike_at_peak" in want, scale, rng)
        faults.append("spikes")
    limit = want["clip"] * peak_nm if "clip" in want else 1.3 * scale
    if "clip" in want:
        faults.append("clipped")
    resolution = want.get("resolution", float(rng.choice([2e-5, 5e-5, 1e-4, 2.5e-4, 5e-4]))) * scale
    torque = np.round(np.clip(torque, -limit, limit) / resolution) * resolution
    if "resolution" in want:
        faults.append("coarse")
    known_b, known_s = known_b + resolution / 2, known_s + (resolution / 4 if noise < 0.5 * resolution else 0.0)
    keep = np.ones(time.size, bool)
    if "gaps" in want:
        keep = _gaps(time, int(want["gaps"]), truth, rng)
        faults.append("gaps")
    known_b += _hidden_between_samples(truth, time[keep])
    if truth.rate_hz and truth.sliding_by_time_nm and truth.sliding_nm and rate < 10 * truth.rate_hz:
        # Too few samples a cycle to tell how much of the turning happened at which torque.
        known_s += abs(truth.sliding_by_time_nm - truth.sliding_nm)
    angle = _angle(time, motion, want, rng)
    if angle is None:
        faults.append("no_angle")
        # The contract weighs sliding by time where there is no angle; by angle is what the words mean, and right too.
        truth = replace(truth, sliding_nm=truth.sliding_by_time_nm, sliding_other_nm=truth.sliding_nm)
    if rate <= 100:
        faults.append("low_rate")
    way = 1 if rng.random() < 0.6 else -1
    start = float(rng.choice([0.0, 12.5, 1000.0]))
    trace = Trace(time[keep] + start, way * torque[keep], None if angle is None else way * angle[keep])
    u_relative = float(rng.choice([0.001, 0.0025, 0.005, 0.01]))
    sensor = Sensor(u_relative=u_relative, capacity_nm=scale if told else None)
    return SimPull(
        trace, _shifted(truth, start, way, known_b, known_s, rate, noise, resolution, tuple(faults), band),
        sensor, float(u_relative * rng.standard_normal()), seed,
    )  # fmt: skip


def _shifted(
    truth: Truth, start: float, way: int, known_b: float, known_s: float, rate: float, noise: float, resolution: float,
    faults: tuple[str, ...], band: float,
) -> Truth:  # fmt: skip
    """The truth on the trace's own time axis, and what recording made a matter of taste."""
    if not truth.pull_found:
        return replace(truth, direction=way, faults=faults)
    height = truth.peak_to_peak_nm or np.inf
    hidden = height < max(5 * noise, 4 * resolution, 0.01 * (truth.breakaway_nm or 0)) or (truth.rate_hz or 0) > min(rate / 6, band)

    def later(at_s: float | None) -> float | None:
        return None if at_s is None else at_s + start

    return replace(
        truth, direction=way, faults=faults, marginal=truth.marginal or bool(hidden),
        breakaway_known_nm=truth.breakaway_known_nm + known_b, sliding_known_nm=truth.sliding_known_nm + known_s,
        slip_times_s=tuple(at + start for at in truth.slip_times_s),
        breakaway_time_s=later(truth.breakaway_time_s),
        sliding_from_s=later(truth.sliding_from_s), sliding_to_s=later(truth.sliding_to_s),
    )  # fmt: skip


def _hidden_by_band(truth: Truth, band_hz: float) -> float:
    """A first-order sensor lags a ramp by rate times its time constant; it cannot have seen the corner."""
    return (truth.ramp_nm_s or 0.0) / (2 * np.pi * band_hz)


def _hidden_between_samples(truth: Truth, time_s: Floats) -> float:
    """Half of what the ramp gains between the samples on either side of the peak (all of it in a gap)."""
    if truth.breakaway_time_s is None or truth.ramp_nm_s is None:
        return 0.0
    after = int(np.searchsorted(time_s, truth.breakaway_time_s))
    if not 0 < after < time_s.size:
        return 0.0
    hole = float(time_s[after] - time_s[after - 1])
    return truth.ramp_nm_s * hole * (1.0 if hole > 3 * float(np.median(np.diff(time_s))) else 0.5)


def _tremor(time: Floats, load: Floats, height: float, rng: Generator) -> Floats:
    """Near-sinusoidal, 6 to 12 Hz, waxing and waning, in proportion to the load held."""
    swell = 0.6 + 0.4 * np.sin(2 * np.pi * rng.uniform(0.2, 1.0) * time + rng.uniform(0, 6))
    phase = 2 * np.pi * rng.uniform(6, 12) * time + 0.5 * np.sin(2 * np.pi * rng.uniform(0.2, 0.8) * time)
    return np.asarray(height * swell * np.clip(load, 0, 1) * np.sin(phase))


def _hum(time: Floats, height: float, hertz: float, rng: Generator) -> Floats:
    wave = np.sin(2 * np.pi * hertz * time + rng.uniform(0, 6))
    return np.asarray(height * (wave + rng.uniform(0, 0.3) * np.sin(4 * np.pi * hertz * time) + rng.uniform(0, 0.4) * wave**3))


def _drift_shape(time: Floats, rng: Generator) -> Floats:
    share = (time - time[0]) / (time[-1] - time[0])
    return np.asarray(share if rng.random() < 0.6 else np.sin(0.5 * np.pi * share))


def _clicks(time: Floats, torque: Floats, count: int, scale: float, peak_nm: float, rng: Generator) -> Floats:
    """Ratchet clicks: short decaying bursts where the torque is near zero, rarely on the light end of the ramp."""
    light = np.flatnonzero(np.abs(torque - np.median(torque[:20])) < 0.05 * peak_nm)
    out = np.zeros_like(time)
    for at in rng.choice(light, size=min(count, light.size), replace=False):
        since = time - time[at]
        on = (since >= 0) & (since < 0.03)
        out[on] += (
            rng.uniform(0.01, 0.08) * peak_nm * np.exp(-since[on] / 0.004) * np.cos(2 * np.pi * rng.uniform(80, 300) * since[on])
        )
    return np.clip(out, -0.2 * scale, 0.2 * scale)


def _with_spikes(time: Floats, torque: Floats, count: int, truth: Truth, at_peak: bool, scale: float, rng: Generator) -> Floats:
    """One or two samples far off, either sign, anywhere; at, just before or just after the peak if asked."""
    out = torque.copy()
    places = list(rng.integers(0, time.size - 2, count))
    if at_peak and truth.breakaway_time_s is not None:
        places.append(int(np.searchsorted(time, truth.breakaway_time_s)) + int(rng.integers(-3, 4)))
    for at in places:
        wide = int(rng.integers(1, 3))
        out[max(0, at) : at + wide] += rng.choice([-1, 1]) * rng.uniform(0.05, 1.0) * scale
    return out


def _gaps(time: Floats, count: int, truth: Truth, rng: Generator) -> NDArray[np.bool_]:
    keep = np.ones(time.size, bool)
    for _ in range(count):
        if rng.random() < 0.15 and truth.breakaway_time_s is not None:
            at = truth.breakaway_time_s - rng.uniform(0, 0.05)
        else:
            at = rng.uniform(time[0] + 0.3, time[-1] - 0.3)
        keep &= ~((time > at) & (time < at + rng.uniform(0.02, 0.3)))
    return keep


def _angle(time: Floats, motion: Motion, want: dict[str, float], rng: Generator) -> Floats | None:
    if "no_angle" in want or rng.random() < 0.06:
        return None
    step = float(rng.choice([0.01, 0.045, 0.09, 0.1, 0.25, 0.36]))
    degrees = np.degrees(np.interp(time, motion.time_s, motion.lever_rad.astype(float)))
    return np.asarray(np.floor((degrees + rng.choice([0.0, rng.uniform(-180, 180)])) / step) * step)
