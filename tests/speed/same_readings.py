"""One digest of every reading of the recordings, the shared pulls and the wide simulated set, to the last digit.

    python tests/speed/same_readings.py [--pulls 1050] [--list FILE]

Run before and after a change that must not touch a reading: the digests are the same, or --list shows which readings differ.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]
for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

import numpy as np  # noqa: E402
from support.pullset import WIDE_KINDS, simulate_cached  # noqa: E402

from analysis.pull.reading import read_pull  # noqa: E402
from analysis.results import PullResult, Sensor  # noqa: E402
from analysis.trace import Trace  # noqa: E402

SHARED_PULLS = Path(os.environ.get("PLATEPULL_SHARED_DATA") or ROOT.parent / "shared" / "data") / "pulls"
FIELDS = ("breakaway", "sliding", "chatter", "quality", "direction")


def fingerprint(result: PullResult) -> str:
    """What was read, every float in full."""
    return repr([getattr(result, field) for field in FIELDS])


def from_csv(path: Path) -> Trace:
    """A CSV with the three columns in SI, as recordings and shared pulls are."""
    return Trace(*np.loadtxt(path, delimiter=",", skiprows=1, ndmin=2).T)


def main() -> None:
    """Read the sets and print a digest of each."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pulls", type=int, default=1050, help="of the wide simulated set (0 leaves it out)")
    parser.add_argument("--seed", type=int, default=101)
    parser.add_argument("--list", type=Path, help="write a line a reading to this file")
    args = parser.parse_args()
    lines: list[str] = []
    sets = {
        "recordings": [(p.name, from_csv(p), Sensor()) for p in sorted((ROOT / "recordings").glob("*.csv"))],
        "shared pulls": [(p.name, from_csv(p), Sensor()) for p in sorted(SHARED_PULLS.glob("*.csv"))],
    }
    if args.pulls:
        pulls = simulate_cached(args.pulls, args.seed, list(WIDE_KINDS), 1)
        sets["wide"] = [(str(number), pull.trace, pull.sensor) for number, pull in enumerate(pulls)]
    for name, members in sets.items():
        prints = [fingerprint(read_pull(trace, sensor)) for _, trace, sensor in members]
        print(f"{name}: {len(prints)} readings, {hashlib.sha256(chr(10).join(prints).encode()).hexdigest()[:16]}")
        lines += [f"{name} {label}: {text}" for (label, _, _), text in zip(members, prints, strict=True)]
    if args.list:
        args.list.write_text("\n".join(lines) + "\n", "utf-8")


if __name__ == "__main__":
    main()
