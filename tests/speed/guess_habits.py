"""How often a pull tells torque from angle, over the simulated bench's scenarios and devices of many habits:

    python tests/speed/guess_habits.py [SEEDS]

Each device prints neither key nor unit; a person listens a second, then pulls twice (with both-ways scenarios: once each way).
Counted are guesses that name both columns rightly, that leave it open (named by place, and said so), and that name them wrongly.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT)]

from analysis.trace import Trace, join  # noqa: E402
from drivers.emulated.bench import Bench  # noqa: E402
from drivers.emulated.scenarios import SCENARIOS  # noqa: E402
from drivers.guess import Chunk, guess  # noqa: E402

HABITS = {
    "torque first": (lambda n, t, a, s: f"{t:.2f},{a:.2f}\r\n", ["torque", "angle"]),
    "angle first": (lambda n, t, a, s: f"{a:.1f};{t:.1f}\r\n", ["angle", "torque"]),
    "coarse": (lambda n, t, a, s: f"{a:.0f} {t:.0f}\r\n", ["angle", "torque"]),
    "decimal comma, clock": (
        lambda n, t, a, s: f"{s * 1e3:.0f}\t{a:.2f}\t{t:.2f}\n".replace(".", ","),
        ["time", "angle", "torque"],
    ),
    "count, temperature": (
        lambda n, t, a, s: f"{n % 65536},{23.4 + n % 3 * 0.1:.1f},{a:.2f},{t:.2f}\n",
        ["counter", "skip", "angle", "torque"],
    ),
    "raw counts": (lambda n, t, a, s: f"{a * 11.378:.0f},{8388608 + t * 21000:.0f}\n", ["angle", "torque"]),
    "status": (lambda n, t, a, s: f"{'S' if abs(t) < 1 else 'D'} {a:.2f} {t:.2f}\r\n", ["skip", "angle", "torque"]),
}
RATES_HZ = (20.0, 100.0, 500.0)
NEVER_TOLD = {"spins-free"}
"""Nothing holds there: no torque rises, so nothing can tell."""


def listened(scenario: str, rate_hz: float, seed: int) -> Trace:
    """A second of rest and two pulls."""
    chosen = SCENARIOS[scenario]
    bench = Bench(chosen.workday, chosen.sensor, rate_hz, np.random.default_rng(seed))
    pieces = [bench.take(round(rate_hz))]
    while len(bench.truths) < 2:
        pieces.append(bench.take(max(1, round(0.1 * rate_hz))))
    return join([*pieces, bench.take(round(rate_hz))])


def main() -> None:
    """Count and print."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 2
    counts: dict[str, Counter[str]] = {name: Counter() for name in HABITS}
    spent, guesses = 0.0, 0
    for scenario in SCENARIOS:
        if scenario in NEVER_TOLD:
            continue
        for rate_hz in RATES_HZ:
            for seed in range(seeds):
                trace = listened(scenario, rate_hz, seed)
                assert trace.angle_deg is not None
                rows = list(zip(trace.torque_nm.tolist(), trace.angle_deg.tolist(), trace.time_s.tolist(), strict=True))
                for name, (habit, kinds) in HABITS.items():
                    lines = [habit(at, t, a, s).encode() for at, (t, a, s) in enumerate(rows)]
                    step = max(1, round(0.1 * rate_hz))
                    chunks = [Chunk((at + step) / rate_hz, b"".join(lines[at : at + step])) for at in range(0, len(lines), step)]
                    began = time.process_time()
                    found = guess(chunks)
                    spent, guesses = spent + time.process_time() - began, guesses + 1
                    got = [] if found is None or found.layout is None else [column.kind for column in found.layout.columns]
                    verdict = "open" if found is None or found.wants_pull else "right" if got == kinds else "wrong"
                    counts[name][verdict] += 1
                    if verdict == "wrong":
                        print(f"wrong: {scenario}, {rate_hz:g} Hz, seed {seed}, {name}: {got}")
    for name, count in counts.items():
        print(f"{name:22} right {count['right']:4}  open {count['open']:4}  wrong {count['wrong']:4}")
    print(f"{1000 * spent / guesses:.0f} ms a guess")


if __name__ == "__main__":
    main()
