"""Damaged frames by the million: how many the decoder counts, and how many slip through as samples.

    python tests/speed/corrupt_frames.py            1 000 000 damaged frames, an intact one after each
    python tests/speed/corrupt_frames.py 5000000 2  so many, with another seed

A 16-bit CRC misses one in 65 536 of those errors that it does not surely find (all of up to three flipped bits, and bursts of
up to 16 bits, it finds). The last lines hold what slipped through against that expectation.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from support.damage import damaged_frames  # noqa: E402


def main() -> None:
    """Damage, count, print."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    began = time.process_time()
    sent, result = damaged_frames(count, seed)
    print(f"{count} damaged frames, seed {seed}, {time.process_time() - began:.0f} s of processor time")
    print("  damage     frames  gave samples")
    for name, number in sent.items():
        print(f"  {name:8} {number:8} {result.accepted[name]:13}")
    print(f"counted as faults: {result.counted}")
    print(f"intact frames after a damaged one that were not read: {result.good_lost}")
    print(f"damaged frames that gave samples: {result.accepted.total()}, with {result.wrong} samples that were never sent so")
    unsure = sent["8 bits"] + sent["burst"]
    print(
        f"expected, with a CRC of 16 bits: {unsure / 65536:.1f} ({unsure} frames with 8 bits or a burst wrong, 1 in 65536 of them;"
    )
    print("up to 3 bits are always found; the other damage changes the length too, which the CRC need not find)")


if __name__ == "__main__":
    main()
