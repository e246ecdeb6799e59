"""The curves of the guide's gallery, made anew: python tests/speed/guide_pictures.py [FOLDER]

Each is a pull of the simulated bench, read by the program as any other (invented unit; what the bench was told stands in PULLS).
FOLDER is rig/guide/pictures. The same seeds give the same pictures. Look at them before keeping them.
"""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT)]

from analysis.pull.reading import read_pull  # noqa: E402
from analysis.results import Sensor  # noqa: E402
from analysis.trace import Floats, Trace, join  # noqa: E402
from drivers.emulated.bench import Bench, Setup  # noqa: E402
from drivers.emulated.hand import Hand, Pause  # noqa: E402
from drivers.emulated.plant import Frame, Pack  # noqa: E402
from drivers.emulated.scenarios import SCENARIOS  # noqa: E402
from drivers.emulated.sensor import Sensor as BenchSensor  # noqa: E402
from rig.sheets.drawings import decimated, nice_ticks  # noqa: E402

RATE_HZ = 1000.0
WINDOW_NM = (40.0, 65.0)
"""The invented window of the invented unit, drawn as a band."""
WIDE, HIGH, LEFT, FOOT, HEAD = 700, 300, 62, 44, 14
QUIET = Pack(kinetic_nm=52.0, static_over_kinetic=0.97, stribeck_rad_s=0.04, viscous_nm_s=3.0, ageing_share=0.018)
TIGHT = Frame(lash_rad=math.radians(0.05))


@dataclass(frozen=True)
class Shown:
    """A picture: what lies on the bench, and the sensor that looks on."""

    setup: Setup
    sensor: BenchSensor = field(default_factory=BenchSensor)
    seed: int = 5


def like(scenario: str, **changed: object) -> Shown:
    """A pull of a scenario of the simulated bench."""
    chosen = SCENARIOS[scenario]
    return Shown(replace(chosen.setups[0], **changed), chosen.sensor)  # type: ignore[arg-type]


def unit(left: Pack, right: Pack | None = None, frame: Frame = TIGHT, hand: Hand | None = None) -> Shown:
    """A pull of a unit of these packs."""
    return Shown(Setup(name="", hand=hand or Hand(), left=left, right=right or left, frame=frame))


DRY = replace(QUIET, kinetic_nm=84.0, static_over_kinetic=1.22, stribeck_rad_s=0.015, viscous_nm_s=0.5, ageing_share=0.03)
"""No oil between the plates: higher, and higher still at rest (trade notes, 2.4 and 2.6; figures from memory)."""
GLAZED = replace(QUIET, kinetic_nm=29.0, static_over_kinetic=0.93, viscous_nm_s=4.0, ageing_share=0.0)
"""Faces without pores: low, and lowest at the beginning (figures from memory)."""
NOTHING = replace(QUIET, kinetic_nm=0.5, ageing_share=0.0, viscous_nm_s=0.1)

PULLS: dict[str, Shown] = {
    "good": like("good-pack"),
    "springless": like("spins-free"),
    "worn": like("worn-low"),
    "dry": unit(DRY, hand=Hand(slide_deg_s=11.0, travel_deg=70.0)),
    "glazed": unit(GLAZED),
    "one_sided": unit(QUIET, NOTHING, Frame(lash_rad=math.radians(1.2)), Hand(load_deg_s=5.0)),
    "unequal": like("unequal-packs"),
    "chattering": like("chattering-plates"),
    "slow_chatter": like("slow-chatter"),
    "over_shimmed": like("over-shimmed"),
    "wavy": like("wavy-plate"),
    "slack": like("spline-slack"),
    "hesitated": unit(QUIET, hand=Hand(travel_deg=120.0, pauses=(Pause(45.0, 1.3),))),
    "shaky": like("shaky-hand"),
    "clipped": like("small-sensor"),
}


def pull_of(shown: Shown) -> Trace:
    """The trace of the pull, from the rest before it to the rest after it."""
    bench = Bench(lambda _: iter([shown.setup] * 2), shown.sensor, RATE_HZ, np.random.default_rng(shown.seed))
    pieces = [bench.take(100)]
    while not bench.truths:
        pieces.append(bench.take(100))
    pieces.append(bench.take(500))
    truth = bench.truths[0]
    trace = join(pieces).between(truth.from_s - 1.0, truth.to_s + 0.5)
    return Trace(trace.time_s - trace.time_s[0], trace.torque_nm, trace.angle_deg)


def picture(shown: Shown) -> str:
    """The pull as SVG: torque over time, the window as a band, breakaway and sliding as they are read."""
    trace = pull_of(shown)
    result = read_pull(trace, Sensor(capacity_nm=shown.sensor.capacity_nm, u_relative=0.002))
    sign = -1.0 if result.direction == -1 else 1.0
    torque = sign * trace.torque_nm
    top = 1.12 * max(float(torque.max()), WINDOW_NM[1])
    ends = (0.0, float(trace.time_s[-1]))

    def x(time_s: float) -> float:
        return LEFT + (WIDE - LEFT - 12) * (time_s - ends[0]) / (ends[1] - ends[0])

    def y(nm: float) -> float:
        return HIGH - FOOT - (HIGH - FOOT - HEAD) * (nm + 0.04 * top) / (1.04 * top)

    rows = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDE}" height="{HIGH}" viewBox="0 0 {WIDE} {HIGH}" '
        'font-family="DejaVu Sans, sans-serif" font-size="15">',
        f'<rect width="{WIDE}" height="{HIGH}" fill="#ffffff"/>',
        f'<rect x="{LEFT}" y="{y(WINDOW_NM[1]):.1f}" width="{WIDE - LEFT - 12}" '
        f'height="{y(WINDOW_NM[0]) - y(WINDOW_NM[1]):.1f}" fill="#d5e8f9"/>',
    ]
    for tick in nice_ticks(0, top):
        rows.append(f'<line x1="{LEFT}" x2="{WIDE - 12}" y1="{y(tick):.1f}" y2="{y(tick):.1f}" stroke="#d9dde0"/>')
        rows.append(f'<text x="{LEFT - 8}" y="{y(tick) + 5:.1f}" text-anchor="end">{tick:g}</text>')
    rows += [
        f'<text x="{x(tick):.1f}" y="{HIGH - FOOT + 22}" text-anchor="middle">{tick:g}</text>'
        for tick in nice_ticks(*ends, about=8)
    ]
    rows.append(f'<text x="16" y="{HEAD + 14}">N·m</text><text x="{WIDE - 12}" y="{HIGH - 6}" text-anchor="end">s</text>')
    if result.sliding is not None:
        level, span = result.sliding.torque_nm, (result.sliding.from_s, result.sliding.to_s)
        rows.append(
            f'<line x1="{x(span[0]):.1f}" x2="{x(span[1]):.1f}" y1="{y(level):.1f}" y2="{y(level):.1f}" stroke="#45094d" '
            'stroke-width="3" stroke-dasharray="9 5"/>'
        )
    rows.append(f'<polyline fill="none" stroke="#0b5cb0" stroke-width="1.6" points="{_points(trace.time_s, torque, x, y)}"/>')
    if result.breakaway is not None:
        at = (x(result.breakaway.time_s), y(result.breakaway.torque_nm))
        rows.append(f'<circle cx="{at[0]:.1f}" cy="{at[1]:.1f}" r="7" fill="none" stroke="#a33000" stroke-width="3"/>')
    return "\n".join([*rows, "</svg>", ""])


def _points(time_s: Floats, torque: Floats, x, y) -> str:  # type: ignore[no-untyped-def]
    kept = decimated(time_s, torque, 320)
    return " ".join(f"{x(t):.1f},{y(nm):.1f}" for t, nm in zip(*(part.tolist() for part in kept), strict=True))


def main() -> None:
    """Make them all, and say what was read in each."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / "rig" / "guide" / "pictures"
    for name, shown in PULLS.items():
        (folder / f"{name}.svg").write_text(picture(shown), encoding="utf-8")
        result = read_pull(pull_of(shown), Sensor(capacity_nm=shown.sensor.capacity_nm, u_relative=0.002))
        told = ["-" if figure is None else f"{figure.torque_nm:.1f}" for figure in (result.breakaway, result.sliding)]
        slips = (
            "-"
            if not result.chatter.cycles
            else f"{result.chatter.frequency_hz:.1f} slips/s, {result.chatter.peak_to_peak_nm:.1f} N.m"
        )
        print(f"{name:14} breakaway {told[0]:>6}  sliding {told[1]:>6}  chatter {slips}")


if __name__ == "__main__":
    main()
