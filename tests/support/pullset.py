"""Simulated pulls with known truth, seeded and cached: `simulate(n, seed, kinds)`.

Independent of analysis/ and of the simulated bench in drivers/emulated: own physics (pull_physics), own draws (pull_kinds), own
truth (pull_truth), own sensor (pull_sensor). Nothing computed here is ever committed.
"""

from __future__ import annotations

import hashlib
import os
import pickle
import tempfile
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
from support.pull_kinds import HELD_OUT_KINDS, WIDE_KINDS, plan
from support.pull_physics import run
from support.pull_sensor import SimPull, record
from support.pull_truth import Truth, truth_of

__all__ = ["HELD_OUT_KINDS", "HELD_OUT_SEEDS", "WIDE_KINDS", "SimPull", "Truth", "held_out", "simulate", "simulate_cached"]

# Never tuned on: figures on these seeds are only ever reported.
HELD_OUT_SEEDS = range(9000, 9100)
BATCH = 250
SOURCES = ("pull_physics", "pull_hand", "pull_kinds", "pull_truth", "pull_sensor", "pullset")


def simulate(n: int, seed: int, kinds: Sequence[str] | None = None, workers: int = 1) -> list[SimPull]:
    """`n` pulls, kinds in turn (all of WIDE_KINDS if None). The same n, seed and kinds give the same pulls, whatever `workers`."""
    names = tuple(kinds or WIDE_KINDS)
    drawn = [(i, names[i % len(names)], seed) for i in range(n)]
    # Pulls of like length share a batch, for the batch runs as long as its longest.
    order = sorted(range(n), key=lambda i: -_plan_of(drawn[i]).hand.speed.size)
    batches = [[drawn[i] for i in order[at : at + BATCH]] for at in range(0, n, BATCH)]
    if workers > 1:
        with ProcessPoolExecutor(workers) as pool:
            done = list(pool.map(_batch, batches))
    else:
        done = [_batch(batch) for batch in batches]
    pulls: list[SimPull | None] = [None] * n
    for indices, found in zip((order[at : at + BATCH] for at in range(0, n, BATCH)), done, strict=True):
        for i, pull in zip(indices, found, strict=True):
            pulls[i] = pull
    return [pull for pull in pulls if pull is not None]


def simulate_cached(n: int, seed: int, kinds: Sequence[str] | None = None, workers: int = 2) -> list[SimPull]:
    """As `simulate`, kept in PLATEPULL_PULLSET (else the system's temporary folder) until the simulator's source changes."""
    folder = Path(os.environ.get("PLATEPULL_PULLSET") or Path(tempfile.gettempdir()) / "platepull-pullset")
    digest = hashlib.sha256(repr((n, seed, tuple(kinds or WIDE_KINDS))).encode())
    for name in SOURCES:
        digest.update((Path(__file__).parent / f"{name}.py").read_bytes())
    for name in ("trace", "results"):  # pickled types of ours: an old pickle does not fit a new field
        digest.update((Path(__file__).parents[2] / "analysis" / f"{name}.py").read_bytes())
    path = folder / f"{n}-{seed}-{digest.hexdigest()[:16]}.pickle"
    if path.exists():
        return list(pickle.loads(path.read_bytes()))
    pulls = simulate(n, seed, kinds, workers)
    folder.mkdir(parents=True, exist_ok=True)
    part = path.with_suffix(f".{os.getpid()}")
    part.write_bytes(pickle.dumps(pulls))
    part.replace(path)
    return pulls


def held_out(n: int, seed: int = HELD_OUT_SEEDS[0], workers: int = 2) -> list[SimPull]:
    """Pulls of kinds and seeds that nothing was tuned on."""
    if seed not in HELD_OUT_SEEDS:
        raise ValueError(f"held-out seeds are {HELD_OUT_SEEDS}")
    return simulate_cached(n, seed, HELD_OUT_KINDS, workers)


def _plan_of(drawn: tuple[int, str, int]):  # type: ignore[no-untyped-def]
    number, kind, seed = drawn
    return plan(kind, np.random.default_rng([seed, number, 1]))


def _batch(drawn: list[tuple[int, str, int]]) -> list[SimPull]:
    plans = [_plan_of(one) for one in drawn]
    motions = run([p.unit for p in plans], [p.rig for p in plans], [p.hand for p in plans])
    out = []
    for (number, _, seed), p, motion in zip(drawn, plans, motions, strict=True):
        truth = truth_of(p.kind, p.unit, p.hand, motion, p.nominal_rad_s, p.resists)
        out.append(record(p, motion, truth, np.random.default_rng([seed, number, 2]), seed))
    return out
