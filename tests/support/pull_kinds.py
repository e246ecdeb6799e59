"""The kinds of pull: for each a seeded draw of unit, rig and hand.

Values spread round the trade's (trade notes 2, 5, 6), and well past them.
"""

from __future__ import annotations

import numpy as np
from numpy.random import Generator
from support.pull_hand import Draft, Plan, plan_of


def _log(rng: Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _usual(rng: Generator) -> Draft:
    return Draft(
        share_of_scale=_log(rng, 0.08, 0.85),
        excess=rng.uniform(0.03, 0.25),
        memory_deg=_log(rng, 0.6, 4.0),
        ageing_s=_log(rng, 4.0, 40.0),
        adapter=_log(rng, 1000, 8000),
        arm=_log(rng, 300, 1500),
        rotor=_log(rng, 0.002, 0.006),
        lever=rng.uniform(0.05, 0.15),
        slack_deg=rng.choice([0.0, rng.uniform(0.1, 1.0), rng.uniform(1.0, 8.0)]),
        rest_s=rng.uniform(0.5, 2.0),
        ramp_s=_log(rng, 0.6, 2.5),
        speed_deg_s=_log(rng, 8, 60),
        slide_s=rng.uniform(2.0, 6.0),
        viscous_s=rng.uniform(0.0, 0.04),
        blend_s=rng.uniform(0.1, 0.5),
        holds_at_end=bool(rng.random() < 0.4),
    )


def _sticky(d: Draft, rng: Generator) -> None:
    """A contact that weakens with speed and heals fast: it sticks and slips if the rig is soft enough for its speed."""
    d.excess = rng.uniform(0.02, 0.1)
    d.memory_deg, d.ageing_s = _log(rng, 0.02, 0.2), _log(rng, 0.05, 0.5)
    d.stribeck, d.stribeck_deg_s = rng.uniform(0.08, 0.45), _log(rng, 5, 40)
    d.viscous_s = rng.uniform(0.0, 0.02)
    d.wobble = rng.uniform(0.02, 0.15)


def _clean(d: Draft, rng: Generator) -> None:
    """As drawn."""


def _high_ratio(d: Draft, rng: Generator) -> None:
    d.excess, d.memory_deg = rng.uniform(0.3, 0.7), _log(rng, 1.0, 5.0)


def _low_ratio(d: Draft, rng: Generator) -> None:
    d.excess = rng.uniform(0.008, 0.03)


def _chatter_strong(d: Draft, rng: Generator) -> None:
    _sticky(d, rng)
    d.adapter, d.arm, d.speed_deg_s = _log(rng, 700, 2500), _log(rng, 300, 900), _log(rng, 6, 30)


def _chatter_slow_rig(d: Draft, rng: Generator) -> None:
    _sticky(d, rng)
    d.adapter, d.arm, d.speed_deg_s = _log(rng, 150, 400), _log(rng, 300, 900), _log(rng, 5, 25)
    d.slide_s = rng.uniform(3, 8)


def _chatter_fast(d: Draft, rng: Generator) -> None:
    _sticky(d, rng)
    d.stribeck = rng.uniform(0.1, 0.3)
    d.adapter, d.arm, d.speed_deg_s = _log(rng, 1000, 3500), _log(rng, 500, 1500), _log(rng, 15, 60)


def _chatter_weak(d: Draft, rng: Generator) -> None:
    _sticky(d, rng)
    d.excess, d.stribeck, d.stribeck_deg_s = 0.01, rng.uniform(0.015, 0.06), _log(rng, 1.5, 10)
    d.speed_deg_s = _log(rng, 4, 15)


def _chatter_dies(d: Draft, rng: Generator) -> None:
    _chatter_strong(d, rng)
    d.faster, d.slide_s = rng.uniform(3, 6), rng.uniform(4, 8)


def _tremor_force(d: Draft, rng: Generator) -> None:
    d.tremor_share, d.speed_deg_s = rng.uniform(0.01, 0.05), _log(rng, 25, 60)


def _tremor_sensor(d: Draft, rng: Generator) -> None:
    d.sensor["tremor"] = rng.uniform(0.01, 0.06)


def _lash(d: Draft, rng: Generator) -> None:
    d.second_share, d.lash_deg = rng.uniform(0.2, 0.7), rng.uniform(0.2, 2.0)
    d.ramp_s = _log(rng, 1.0, 3.0)


def _slack(d: Draft, rng: Generator) -> None:
    d.slack_deg = rng.uniform(5.0, 30.0)


def _free(d: Draft, rng: Generator) -> None:
    d.resists, d.share_of_scale = False, _log(rng, 0.0003, 0.003)
    d.sensor["drag_share"] = d.share_of_scale


def _hesitate(d: Draft, rng: Generator) -> None:
    d.pauses, d.slide_s = int(rng.integers(1, 4)), rng.uniform(3, 7)


def _regrip(d: Draft, rng: Generator) -> None:
    d.regrips, d.slide_s = int(rng.integers(1, 4)), rng.uniform(3, 7)


def _bites(d: Draft, rng: Generator) -> None:
    d.regrips, d.slide_s, d.regrip_s = int(rng.integers(1, 4)), rng.uniform(4, 8), (0.3, 0.55)
    d.sensor["clicks"] = float(rng.integers(2, 8))


def _ripple_runout(d: Draft, rng: Generator) -> None:
    d.orders = ((0.5, rng.uniform(0.02, 0.08)),) if rng.random() < 0.5 else ((1.0, rng.uniform(0.02, 0.08)),)
    d.speed_deg_s, d.slide_s = _log(rng, 40, 110), rng.uniform(4, 9)


def _ripple_tooth(d: Draft, rng: Generator) -> None:
    d.orders = ((float(rng.integers(7, 37)), rng.uniform(0.005, 0.04)), (1.0, rng.uniform(0, 0.03)))
    d.speed_deg_s, d.slide_s = _log(rng, 20, 110), rng.uniform(3, 8)


def _hum(d: Draft, rng: Generator) -> None:
    d.sensor.update(hum=_log(rng, 0.003, 0.04), hum_hz=float(rng.choice([50, 60])))


def _ratchet(d: Draft, rng: Generator) -> None:
    d.sensor["clicks"] = float(rng.integers(3, 20))


def _vice_slip(d: Draft, rng: Generator) -> None:
    if rng.random() < 0.5:
        d.vice_load_deg = rng.uniform(0.1, 0.5)
    d.vice_slide = int(rng.integers(0 if d.vice_load_deg else 1, 3))


def _single_slip(d: Draft, rng: Generator) -> None:
    d.excess, d.memory_deg = rng.uniform(0.4, 0.9), _log(rng, 0.15, 0.6)
    d.ageing_s = 60.0
    d.adapter = _log(rng, 300, 1500)


def _spikes(d: Draft, rng: Generator) -> None:
    d.sensor["spikes"] = float(rng.integers(1, 7))


def _spike_at_peak(d: Draft, rng: Generator) -> None:
    d.sensor.update(spikes=float(rng.integers(0, 3)), spike_at_peak=1.0)


def _clipped(d: Draft, rng: Generator) -> None:
    d.sensor["clip"] = rng.uniform(0.7, 0.97)


def _gaps(d: Draft, rng: Generator) -> None:
    d.sensor["gaps"] = float(rng.integers(1, 4))


def _low_rate(d: Draft, rng: Generator) -> None:
    d.sensor["rate_hz"] = _log(rng, 40, 100)
    d.ramp_s = _log(rng, 1.2, 3.0)


def _low_rate_chatter(d: Draft, rng: Generator) -> None:
    _chatter_slow_rig(d, rng) if rng.random() < 0.5 else _chatter_strong(d, rng)
    _low_rate(d, rng)


def _high_rate(d: Draft, rng: Generator) -> None:
    d.sensor["rate_hz"] = _log(rng, 4000, 10000)


def _no_angle(d: Draft, rng: Generator) -> None:
    d.sensor["no_angle"] = 1.0


def _no_angle_chatter(d: Draft, rng: Generator) -> None:
    _chatter_strong(d, rng)
    _no_angle(d, rng)


def _coarse(d: Draft, rng: Generator) -> None:
    d.sensor["resolution"] = _log(rng, 0.002, 0.01)
    d.share_of_scale = rng.uniform(0.2, 0.85)


def _noisy(d: Draft, rng: Generator) -> None:
    d.sensor["noise_of_torque"] = _log(rng, 0.006, 0.02)


def _drift(d: Draft, rng: Generator) -> None:
    d.sensor["drift"] = rng.choice([-1, 1]) * _log(rng, 0.002, 0.012)


def _jerk(d: Draft, rng: Generator) -> None:
    d.ramp_s, d.speed_deg_s = _log(rng, 0.1, 0.35), _log(rng, 60, 150)
    d.slide_s = rng.uniform(0.7, 2.0)


def _slow_pull(d: Draft, rng: Generator) -> None:
    d.ramp_s, d.speed_deg_s, d.slide_s = rng.uniform(3, 6), _log(rng, 2.5, 6), rng.uniform(5, 9)


def _short_travel(d: Draft, rng: Generator) -> None:
    d.slide_s = rng.uniform(6, 18) / d.speed_deg_s


def _short_rest(d: Draft, rng: Generator) -> None:
    d.rest_s = rng.uniform(0.3, 0.45)


def _long_rest(d: Draft, rng: Generator) -> None:
    d.rest_s = rng.uniform(2.5, 6.0)


def _narrow_band(d: Draft, rng: Generator) -> None:
    d.sensor["band_hz"] = _log(rng, 15, 60)
    d.ramp_s = rng.uniform(1.0, 3.0)


def _slip_then_offset(d: Draft, rng: Generator) -> None:
    d.sensor["offset"] = rng.choice([-1, 1]) * rng.uniform(0.02, 0.1)


def _combo(d: Draft, rng: Generator) -> None:
    """Several things at once, half of them chattering."""
    (_chatter_strong, _chatter_slow_rig, _clean, _high_ratio, _ripple_tooth, _lash)[rng.integers(6)](d, rng)
    knobs = (_spikes, _gaps, _hum, _ratchet, _no_angle, _hesitate, _slip_then_offset, _short_rest, _slack, _drift)
    for i in rng.choice(len(knobs), size=int(rng.integers(2, 5)), replace=False):
        knobs[i](d, rng)


def _chatter_with_tremor(d: Draft, rng: Generator) -> None:
    _chatter_strong(d, rng)
    d.sensor["tremor"] = rng.uniform(0.005, 0.03)


def _chatter_with_runout(d: Draft, rng: Generator) -> None:
    _chatter_strong(d, rng)
    d.orders, d.slide_s = ((1.0, rng.uniform(0.02, 0.1)), (float(rng.integers(12, 36)), rng.uniform(0.0, 0.02))), rng.uniform(4, 8)


def _chatter_with_lash(d: Draft, rng: Generator) -> None:
    _chatter_strong(d, rng)
    _lash(d, rng)


def _chatter_hesitating(d: Draft, rng: Generator) -> None:
    _chatter_strong(d, rng)
    _hesitate(d, rng)


def _spiky_clicking_regrip(d: Draft, rng: Generator) -> None:
    _bites(d, rng)
    _spikes(d, rng)


def _two_vice_slips(d: Draft, rng: Generator) -> None:
    d.vice_load_deg, d.vice_slide = rng.uniform(0.1, 0.4), 2
    d.excess = rng.uniform(0.15, 0.4)


def _restart_ages(d: Draft, rng: Generator) -> None:
    d.excess, d.ageing_s = rng.uniform(0.2, 0.5), rng.uniform(0.5, 2.0)
    d.memory_deg = rng.uniform(0.8, 2.0)
    _hesitate(d, rng)


def _low_rate_jerk(d: Draft, rng: Generator) -> None:
    _low_rate(d, rng)
    d.ramp_s = rng.uniform(0.4, 0.8)


def _hum_and_tremor(d: Draft, rng: Generator) -> None:
    _hum(d, rng)
    _tremor_sensor(d, rng)


def _two_speeds(d: Draft, rng: Generator) -> None:
    d.faster, d.slide_s, d.orders = rng.uniform(2, 5), rng.uniform(4, 7), ((float(rng.integers(10, 36)), rng.uniform(0.01, 0.03)),)


def _soft_adapter(d: Draft, rng: Generator) -> None:
    d.adapter = _log(rng, 100, 250)


_KINDS = {
    "clean": _clean, "high_ratio": _high_ratio, "low_ratio": _low_ratio, "chatter_strong": _chatter_strong,
    "chatter_slow_rig": _chatter_slow_rig, "chatter_fast": _chatter_fast, "chatter_weak": _chatter_weak,
    "chatter_dies": _chatter_dies, "tremor_force": _tremor_force, "tremor_sensor": _tremor_sensor, "lash": _lash,
    "slack": _slack, "free": _free, "hesitate": _hesitate, "regrip": _regrip, "bites": _bites,
    "ripple_runout": _ripple_runout, "ripple_tooth": _ripple_tooth, "hum": _hum, "ratchet": _ratchet,
    "vice_slip": _vice_slip, "single_slip": _single_slip, "spikes": _spikes, "spike_at_peak": _spike_at_peak,
    "clipped": _clipped, "gaps": _gaps, "low_rate": _low_rate, "low_rate_chatter": _low_rate_chatter,
    "high_rate": _high_rate, "no_angle": _no_angle, "no_angle_chatter": _no_angle_chatter, "coarse": _coarse,
    "noisy": _noisy, "drift": _drift, "jerk": _jerk, "slow_pull": _slow_pull, "short_travel": _short_travel,
    "short_rest": _short_rest, "long_rest": _long_rest, "narrow_band": _narrow_band, "offset": _slip_then_offset,
    "combo": _combo,
}  # fmt: skip
_HELD_OUT = {
    "chatter_with_tremor": _chatter_with_tremor, "chatter_with_runout": _chatter_with_runout,
    "chatter_with_lash": _chatter_with_lash, "chatter_hesitating": _chatter_hesitating,
    "spiky_clicking_regrip": _spiky_clicking_regrip, "two_vice_slips": _two_vice_slips, "restart_ages": _restart_ages,
    "low_rate_jerk": _low_rate_jerk, "hum_and_tremor": _hum_and_tremor, "two_speeds": _two_speeds, "soft_adapter": _soft_adapter,
}  # fmt: skip

WIDE_KINDS = tuple(_KINDS)
# Kinds that the reading was not tuned on, and a few it was, for comparison.
HELD_OUT_KINDS = (*_HELD_OUT, "clean", "chatter_slow_rig", "combo", "free", "lash", "ripple_tooth")


def plan(kind: str, rng: Generator) -> Plan:
    """Draw one pull of a kind."""
    draft = _usual(rng)
    (_KINDS | _HELD_OUT)[kind](draft, rng)
    return plan_of(kind, draft, rng)
