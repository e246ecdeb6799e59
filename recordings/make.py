"""Makes every recording of this folder, its metadata, its truth and the index: `python recordings/make.py`.

All of it is invented: the workshop Quillfen Gearworks, its transaxle QF-7, every pull. Same seeds, same recordings.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np

from analysis.trace import Trace, join
from analysis.window import Window
from drivers.emulated.bench import Bench
from drivers.emulated.scenarios import Scenario, scenario
from drivers.emulated.truth import PullTruth
from rig.calibration.plan import load_plan
from rig.calibration.points import points_header, points_row
from rig.files.metadata import TraceInfo, Transducer
from rig.files.trace_csv import write_trace
from rig.live.emulator import PRETEND_WINDOW

HERE = Path(__file__).resolve().parent
REST_BEFORE_S, REST_AFTER_S = 1.3, 0.4


@dataclass(frozen=True, slots=True)
class Demo:
    """One recording: which pull of which scenario, sampled how, and what it is there to show."""

    name: str
    scenario: str
    phase: str
    shows: str
    rate_hz: float = 500.0
    pull: int = 0
    seed: int = 7


DEMOS = (
    Demo("as_found_low", "worn-low", "as found", "a worn pack that lets go far below the window"),
    Demo("spins_free", "spins-free", "as found", "a unit that nothing holds: no breakaway at all"),
    Demo("over_shimmed", "over-shimmed", "rebuilt", "too thick a shim: far above the window"),
    Demo("chatter_new_plates", "chattering-plates", "rebuilt", "stick-slip of new plates in plain oil", 1000.0),
    Demo("chatter_slow", "slow-chatter", "rebuilt", "stick-slip on a slow pull by a soft arm: few, large steps", 1000.0),
    Demo("chatter_fast", "fast-chatter", "rebuilt", "stick-slip on a fast pull: a buzz", 1000.0),
    Demo("after_additive", "after-additive", "after additive", "those plates with friction modifier: quiet, a bit lower", 1000.0),
    Demo("rebuilt_good", "good-pack", "rebuilt", "a good pack inside the window"),
    Demo("rebuilt_good_other_way", "other-way", "rebuilt", "pulled the other way: negative throughout", seed=8),
    Demo("spline_slack", "spline-slack", "rebuilt", "free play of worn splines before the load is taken up", pull=1),
    Demo("hesitating_hand", "hesitating-hand", "rebuilt", "the hand stops on the way: one pull with a pause"),
    Demo("hand_left_lever", "hesitating-hand", "rebuilt", "the hand leaves the lever and grips again", pull=1),
    Demo("unequal_packs", "unequal-packs", "rebuilt", "packs differ: a first step across the bevel lash, then the mean", pull=1),
    Demo("case_held", "case-held", "rebuilt", "the case held: first the turned side alone, then the sum of both packs", pull=1),
    Demo("shaky_hand", "shaky-hand", "rebuilt", "tremor of the hand as side load on the sensor: no chatter", 1000.0),
    Demo("wavy_plate", "wavy-plate", "rebuilt", "runout of a plate and tooth ripple, both locked to the angle"),
    Demo("clipped", "small-sensor", "rebuilt", "a sensor too small: torque clipped at 50 N.m"),
    Demo("humming_sensor", "humming-sensor", "rebuilt", "mains hum, an offset and a wandering zero", 1000.0),
    Demo("slow_indicator", "slow-indicator", "rebuilt", "40 samples a second, a slow filter, coarse steps", 40.0),
)  # fmt: skip


def pull_of(demo: Demo) -> tuple[Trace, PullTruth, float]:
    """The trace of a demo with a little rest around it, its truth, and the stream time at which the trace begins."""
    chosen = scenario(demo.scenario)
    bench = Bench(chosen.workday, chosen.sensor, demo.rate_hz, np.random.default_rng(demo.seed))
    pieces: list[Trace] = []
    while len(bench.truths) <= demo.pull:
        pieces.append(bench.take(max(1, round(0.1 * demo.rate_hz))))
    pieces.append(bench.take(round(REST_AFTER_S * demo.rate_hz)))
    truth = bench.truths[demo.pull]
    stream = join(pieces).between(truth.from_s - REST_BEFORE_S, truth.to_s + REST_AFTER_S)
    zero_s, zero_deg = float(stream.time_s[0]), 0.0 if stream.angle_deg is None else float(stream.angle_deg[0])
    angle_deg = None if stream.angle_deg is None else np.round(stream.angle_deg - zero_deg, 6)
    return Trace(np.round(stream.time_s - zero_s, 6), stream.torque_nm, angle_deg), truth, zero_s


def info_of(demo: Demo, chosen: Scenario) -> TraceInfo:
    """What the metadata says."""
    setup = chosen.setups[demo.pull]
    return TraceInfo(
        job="QG-0107 (invented)",
        unit="QF-7 transaxle, plated differential (invented)",
        customer="invented customer",
        series=demo.phase,
        number=1,
        who="T.W.",
        when="2026-01-15T09:00:00.000+00:00",
        phase=demo.phase,
        arrangement=setup.frame.arrangement.value,
        lubricant="invented gear oil",
        additive="invented friction modifier, full dose" if setup.additive else "none",
        temperature_c=21.0,
        rest_s=setup.bonded_s,
        lever="0.6 m",
        device="simulated bench",
        scenario=demo.scenario,
        remark="Invented: made by the simulated bench of platepull for the invented workshop Quillfen Gearworks. No real unit.",
        window=Window.parse(PRETEND_WINDOW),
        transducer=Transducer(
            name="pretend sensor",
            capacity_nm=chosen.sensor.capacity_nm,
            u_relative=0.002,
            resolution_nm=chosen.sensor.resolution_nm,
        ),
    )


def make(demo: Demo, folder: Path) -> PullTruth:
    """Write one recording into `folder`: CSV, metadata, expected reading."""
    chosen = scenario(demo.scenario)
    trace, truth, zero_s = pull_of(demo)
    path = folder / f"{demo.name}.csv"
    write_trace(path, trace, info_of(demo, chosen))
    expected = {"invented": True, **truth.document(zero_s), "seed": demo.seed, "pull": demo.pull, "rate_hz": demo.rate_hz}
    # The stream's angle runs on from pull to pull, the recording's starts at nought.
    if truth.breakaway_deg is not None:
        expected["breakaway"]["angle_deg"] = round(truth.breakaway_deg - truth.rest_deg, 4)
    path.with_suffix(".expected.json").write_text(json.dumps(expected, indent=1) + "\n", encoding="utf-8")
    return truth


CALIBRATION = "calibration"
PLAN = """\
# Invented, like all of this folder: Quillfen Gearworks calibrates its bench sensor with dead weights.
# Try:  platepull calibrate recordings/calibration/plan.toml --out demo.json
[certificate]
number = "QG-C-7"
workshop = "Quillfen Gearworks (invented)"
sensor = "bench 1 (invented)"
serial = "0042"
capacity = "200 N.m"
by = "T.W."
made = 2026-01-12
temperature = "21 degC"
points = "points.csv"

[weights]
identity = "set 3, discs 1 to 6 (invented)"
arm = "800 mm"
arm_within = "0.5 mm"
level_within = "2 deg"
masses_within = "0.05%"
latitude = "52 deg"
height = "60 m"
loads = ["2 kg", "4 kg", "6 kg", "8 kg", "10 kg", "12 kg"]

[run]
mountings = 2
"""


def calibrate(folder: Path) -> None:
    """Write a plan and its points: a sensor that shows 1.2 % too much one way, 0.8 % the other, with a little of every fault."""
    home = folder / CALIBRATION
    home.mkdir(exist_ok=True)
    (home / "plan.toml").write_text(PLAN, encoding="utf-8")
    plan = load_plan(home / "plan.toml", date(2026, 1, 12))
    draws = np.random.default_rng(7)
    rows = []
    for load in plan.all_loads():
        torque_nm = plan.reference.torque_nm(load.size)
        shown_nm = torque_nm * (1.012 if load.direction == 1 else 1.008) * (1 + 1e-5 * (torque_nm - 50))
        shown_nm += 0.02 * (load.mounting - 1) + (0.0 if load.rising else 0.03 * (load.size > 0))
        rows.append(points_row(load, load.size, 0.31 + load.direction * shown_nm + draws.normal(0, 0.015)))
    (home / "points.csv").write_text(points_header(plan.reference) + "".join(rows), encoding="utf-8")


REFIT = "refit"
SHEET = """\
# Invented, like all of this folder: Quillfen Gearworks puts the QF-7 back together. No figure here is any maker's.
# Try:  platepull refit recordings/refit/REFIT.toml
[refit]
unit = "QF-7 transaxle (invented)"
page = "invented sheet 14"

[[bearing]]
name = "side bearings"
form = "gap"
gap = ["0.10 mm", "0.12 mm", "0.11 mm", "0.11 mm"]
wanted = "0.14..0.20 mm"
shims_now = ["1.10 mm"]
thicker_shim = "more preload"
shelf = ["0.05 mm", "0.10 mm", "1.00 mm", "1.20 mm"]
shims_max = 2
turned = 6

[[drag]]
name = "side bearings"
traces = ["drag.csv"]              # turned slowly by hand: a second of rest, then two turns and a half
window = "1.2..2.6 N.m"
variation_max = "0.9 N.m"

[[backlash]]
name = "ring gear"
points = ["0.15 mm", "0.17 mm", "0.18 mm", "0.16 mm"]
window = "0.13..0.23 mm"
variation_max = "0.07 mm"
per_shim = "0.07 mm per 0.10 mm"

[[fasteners]]
name = "ring gear bolts"
count = 10
torque = "98 N.m"
locked_by = "tabs"
state = "new"
single_use = true
threads = "oiled"
peaks = ["97.6 N.m", "98.4 N.m", "98.1 N.m", "97.9 N.m", "98.8 N.m", "98.0 N.m", "97.2 N.m", "98.3 N.m", "-", "98.6 N.m"]

[[fill]]
name = "gear oil"
drained = "1.9 l"
filled = "2.0 l"
wanted = "1.9..2.1 l"
additive = "4 %"
additive_added = "80 ml"
"""


def put_back(folder: Path) -> None:
    """Write a refit sheet and the drag of its bearings: a start-up peak, runout once and twice a turn, slow warming."""
    home = folder / REFIT
    home.mkdir(exist_ok=True)
    (home / "REFIT.toml").write_text(SHEET, encoding="utf-8")
    rate, speed = 50.0, 60.0
    turned = np.arange(0.0, 945.0, speed / rate)
    angle = np.concatenate((np.zeros(int(rate)), turned))
    runout = 0.20 * np.sin(np.radians(turned)) + 0.06 * np.sin(np.radians(2 * turned + 40))
    drag = 1.85 + runout + 1.1 * np.exp(-turned / 6) - 0.04 * turned / 945
    torque = np.concatenate((np.zeros(int(rate)), drag)) + np.random.default_rng(11).normal(0, 0.01, angle.size) + 0.12
    trace = Trace(np.arange(angle.size) / rate, np.round(torque, 4), np.round(angle, 3))
    info = TraceInfo(
        unit="QF-7 transaxle (invented)",
        who="T.W.",
        remark="Invented: computed, measured on nothing.",
        transducer=Transducer(name="small sensor (invented)", capacity_nm=10.0, u_nm=0.04),
    )
    write_trace(home / "drag.csv", trace, info)


def index(truths: dict[str, PullTruth]) -> str:
    """The README of the folder."""
    rows = []
    for demo in DEMOS:
        truth = truths[demo.name]
        figures = [
            "nothing holds" if truth.breakaway_nm is None else f"{truth.breakaway_nm:.1f}",
            "-" if truth.sliding_nm is None else f"{truth.sliding_nm:.1f}",
            "-" if truth.slips_per_s is None else f"{truth.slips_per_s:.1f} Hz, {truth.slip_height_nm:.1f} N.m",
        ]
        rows.append(f"| [{demo.name}]({demo.name}.csv) | {demo.shows} | {demo.rate_hz:g} | " + " | ".join(figures) + " |")
    return "\n".join([_HEAD, *rows, _FOOT])


_HEAD = f"""# Recordings

Demo pulls of the one invented scenario: workshop *Quillfen Gearworks*, transaxle *QF-7* with plated differential, technician T.W.,
"invented customer". **Everything here is invented**: computed by the simulated bench, measured on nothing. The window in the
metadata is {PRETEND_WINDOW} breakaway, invented too; a real window comes from the maker's manual of the real unit.

Each recording is `NAME.csv`, `NAME.csv-metadata.json` beside it, and `NAME.expected.json`: what the pull really was, before any
sensor, by the definitions of `analyse`. Try `platepull analyse recordings/*.csv` or `platepull replay recordings/rebuilt_good.csv`.

| recording | shows | samples/s | breakaway N.m | sliding N.m | chatter |
|---|---|---|---|---|---|"""

_FOOT = """
In `case_held` the case is held instead of free, so the packs read twice what they would in the other arrangement. In `clipped` the
truth lies beyond what the sensor could tell.

[calibration](calibration/plan.toml) holds an invented calibration of the bench's sensor by dead weights, plan and points:
`platepull calibrate recordings/calibration/plan.toml --out demo.json`.

[refit](refit/REFIT.toml) holds an invented refit sheet with the drag of its bearings:
`platepull refit recordings/refit/REFIT.toml`.

All of it, this page included, is made by `python recordings/make.py` (seeded: the same each time), under the project's licence.
A trace that once broke the program joins as `issue_NNN.csv`, with its story here.
"""


def main() -> None:
    """Make them all."""
    truths = {demo.name: make(demo, HERE) for demo in DEMOS}
    calibrate(HERE)
    put_back(HERE)
    (HERE / "README.md").write_text(index(truths), encoding="utf-8")


if __name__ == "__main__":
    main()
