"""How long an answer to a pack sheet takes: python tests/speed/shim_time.py [SHEETS] [SEED]

SHEETS (40) sheets of simulated units, half of them pulled as found and half with stack heights only, in one call of
`platepull shim --json` after a first one that loads what the program needs. Prints the processor time a sheet and for all, wall
time beside it, and the same in units of a job that only numpy does, so that machines can be compared.
"""

from __future__ import annotations

import contextlib
import io
import os
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(ROOT / "tests" / "speed")]
for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

import numpy as np  # noqa: E402
from shims import units_of  # noqa: E402
from support.pack_sheets import write_sheets  # noqa: E402

from rig.cli import main as platepull  # noqa: E402

WANTED_S = 0.3


def main() -> None:
    """Make the sheets, ask one by one and all at once."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 4_000_000
    with tempfile.TemporaryDirectory() as folder:
        sheets = []
        for family, share in (("found", count - count // 2), ("heights", count // 2)):
            for unit, history, _ in units_of(family, "told", seed, share):
                place = Path(folder) / f"{family}_{unit.seed}"
                write_sheets(place, unit, unit.fitted, history)
                sheets.append(str(place / "PACK.toml"))
        asked(sheets[:1])
        unit_s = numpy_job()
        times = np.array([asked([sheet])[0] for sheet in sheets])
        whole_s, wall_s = asked(sheets)
    print(f"| a sheet, {len(times)} of them | median | 95 % | longest |\n|---|---|---|---|")
    for name, values in (("processor time, s", times), ("over the numpy job", times / unit_s)):
        print(f"| {name} | {np.median(values):.3g} | {np.quantile(values, 0.95):.3g} | {values.max():.3g} |")
    print(f"\nall in one call: {whole_s:.2f} s of a core, {wall_s:.2f} s on the wall, {whole_s / len(times):.3f} s a sheet")
    print(f"within {WANTED_S} s: {100 * np.mean(times <= WANTED_S):.0f} %; the numpy job takes {unit_s:.3f} s")


def asked(sheets: list[str]) -> tuple[float, float]:
    """Processor and wall time of one call."""
    wall, own = time.perf_counter(), time.process_time()
    with contextlib.redirect_stdout(io.StringIO()):
        platepull(["shim", *sheets, "--json"])
    return time.process_time() - own, time.perf_counter() - wall


def numpy_job() -> float:
    """Processor time of exponentials and a sort of a million numbers, the least of five."""
    numbers = np.random.default_rng(1).random(1_000_000)
    taken = []
    for _ in range(5):
        start = time.process_time()
        np.sort(np.exp(numbers))
        taken.append(time.process_time() - start)
    return min(taken)


if __name__ == "__main__":
    main()
