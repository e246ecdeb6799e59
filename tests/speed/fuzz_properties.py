"""The decoders' property tests over and over, each time with another seed: python tests/speed/fuzz_properties.py [NAME] [SECONDS]

NAME is text, frames, modbus, timebase, wirefile, guess or all (each for SECONDS, 600). Ends at the first failure, which it shows
with the seed that brings it back; else prints how many examples were tried. The coverage-guided counterpart: fuzz_decoders.py.
"""

from __future__ import annotations

import re
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
NAMES = ("text", "frames", "modbus", "timebase", "wirefile", "guess")


def property_tests(name: str) -> list[str]:
    """The tests of a decoder that hypothesis drives, as pytest names them."""
    file = f"tests/drivers/test_{name}.py"
    source = (ROOT / file).read_text("utf-8")
    found = re.findall(r"@given\(.*?\n(?:class \w+\W+)?\s*def (test_\w+)", source, flags=re.DOTALL)
    return [f"{file} -k {' or '.join(found)}"] if found else []


def fuzz(name: str, seconds: float) -> int:
    """Examples tried in that time. Raises SystemExit with the output of the run that failed."""
    file, _, chosen = property_tests(name)[0].partition(" -k ")
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", file, "-k", chosen, "--hypothesis-show-statistics"]
    end, seed, examples = time.monotonic() + seconds, 1, 0
    while time.monotonic() < end:
        done = subprocess.run([*command, f"--hypothesis-seed={seed}"], cwd=ROOT, capture_output=True, text=True, check=False)
        if done.returncode:
            raise SystemExit(f"{name}, seed {seed}:\n{done.stdout[-6000:]}")
        examples += sum(map(int, re.findall(r"(\d+) passing,", done.stdout)))
        seed += 1
    print(f"{name:10} {examples} examples, {seed - 1} seeds, {seconds:.0f} s: no failure", flush=True)
    return examples


def main() -> None:
    """Fuzz one decoder or all."""
    name = sys.argv[1] if len(sys.argv) > 1 else "all"
    seconds = float(sys.argv[2]) if len(sys.argv) > 2 else 600.0
    for each in NAMES if name == "all" else (name,):
        fuzz(each, seconds)


if __name__ == "__main__":
    main()
