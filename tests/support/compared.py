"""Pulls for comparisons made of known values, without traces: what is true of them is known exactly."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np

from analysis.compare.pulls import ChatterOfPull, ComparedPull, Stated
from analysis.compare.speed import SpeedCourse

LIKE = Stated(
    arrangement="A",
    oil="invented oil",
    additive="none",
    plates="pack 1",
    closure="final",
    lever="0.6 m",
    adapter="short",
    sensor="S-1",
    certificate="C-1",
    unit="invented unit",
    temperature_c=20.0,
    rest_s=30.0,
)
WITH_ADDITIVE = replace(LIKE, additive="invented modifier")
QUIET = ChatterOfPull(assessable=True, present=False, score=0.02, severity=0.0, stuck_time=0.0)
_numbers = itertools.count()


def chattering(height_share: float, sliding_nm: float = 50.0, rate_hz: float = 5.0, stuck_time: float = 0.8) -> ChatterOfPull:
    return ChatterOfPull(
        assessable=True,
        present=True,
        score=0.99,
        rate_hz=rate_hz,
        height_nm=height_share * sliding_nm,
        height_share=height_share,
        severity=height_share,
        stuck_time=stuck_time,
    )


def steady(speed_deg_s: float) -> SpeedCourse:
    """A pull at one speed."""
    one = np.ones(4)
    return SpeedCourse(
        angle_deg=np.arange(4.0),
        speed_deg_s=speed_deg_s * one,
        duration_s=one,
        torque_nm=50 * one,
        chatters=np.zeros(4, dtype=bool),
        median_deg_s=speed_deg_s,
        low_deg_s=0.95 * speed_deg_s,
        high_deg_s=1.05 * speed_deg_s,
    )


def pull(
    sliding_nm: float | None,
    breakaway_nm: float | None = None,
    *,
    stated: Stated = LIKE,
    direction: int = 1,
    chatter: ChatterOfPull = QUIET,
    speed_deg_s: float | None = 12.0,
    **more: object,
) -> ComparedPull:
    """A pull with these values; every pull has samples of its own."""
    number = next(_numbers)
    return replace(
        ComparedPull(
            trace=f"pull_{number}.csv",
            fingerprint=str(number),
            stated=stated,
            direction=direction,
            breakaway_nm=breakaway_nm if breakaway_nm is not None or sliding_nm is None else 1.05 * sliding_nm,
            sliding_nm=sliding_nm,
            rate_hz=1000.0,
            chatter=chatter,
            speed=None if speed_deg_s is None else steady(speed_deg_s),
        ),
        **more,  # type: ignore[arg-type]
    )
