"""What a bad cable, a tired bridge or a kicked plug does to bytes. Seeded, and kept apart from the bench: it knows bytes only."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from analysis.errors import BenchError


@dataclass(frozen=True, slots=True, kw_only=True)
class Faults:
    """How often what happens. Shares are of bytes for `drop` and `flip`, of handed-over chunks for the others; 0 is never.

    drop    a byte is lost                        flip    a bit of a byte is turned
    split   a chunk is cut, its rest comes later  merge   a chunk is held back and comes with the next
    double  a chunk comes twice                   burst   a run of random bytes is thrown in
    stall   nothing comes for 0.2 s, then all     unplug  mean number of unplugs a minute, each for about a second
    """

    drop: float = 0.0
    flip: float = 0.0
    split: float = 0.0
    merge: float = 0.0
    double: float = 0.0
    burst: float = 0.0
    stall: float = 0.0
    unplug: float = 0.0

    @classmethod
    def parse(cls, text: str) -> Faults:
        """Read 'drop=1e-4,stall=0.02,unplug=2'. Raises BenchError that names what there is."""
        known = [entry.name for entry in fields(cls)]
        remedy = f"write it like 'drop=1e-4,stall=0.02' with {', '.join(known)}"
        values: dict[str, float] = {}
        for part in filter(None, (piece.strip() for piece in text.split(","))):
            name, _, number = part.partition("=")
            try:
                values[name.strip()] = share = float(number)
            except ValueError:
                raise BenchError(f"'{part}' is not a fault with its share", remedy=remedy) from None
            highest = 60.0 if name.strip() == "unplug" else 1.0
            if name.strip() not in known or not 0 <= share <= highest:
                raise BenchError(f"'{part}' is not a fault with a share from 0 to {highest:g}", remedy=remedy)
        return cls(**values)


class BadCable:
    """Chunks go in with the time, what comes out at the far end comes out. `counts` tells what was done, truthfully."""

    STALL_S = 0.2
    UNPLUGGED_S = 1.0

    def __init__(self, faults: Faults, rng: np.random.Generator) -> None:
        self.faults = faults
        self.counts: dict[str, int] = {entry.name: 0 for entry in fields(faults)}
        self._rng = rng
        self._held = b""
        self._stalled_until_s = self._unplugged_until_s = -np.inf
        self._unplug_at_s: float | None = None

    def unplugged(self, now_s: float) -> bool:
        """Whether the plug is out now; asking it in order of time draws when it next comes out."""
        if not self.faults.unplug:
            return False
        if self._unplug_at_s is None:
            self._unplug_at_s = now_s + float(self._rng.exponential(60 / self.faults.unplug))
        if now_s >= self._unplug_at_s:
            self._happened("unplug")
            self._unplugged_until_s = now_s + self.UNPLUGGED_S * float(self._rng.uniform(0.5, 2.0))
            self._unplug_at_s = self._unplugged_until_s + float(self._rng.exponential(60 / self.faults.unplug))
            self._held = b""
        return now_s < self._unplugged_until_s

    def carry(self, chunk: bytes, now_s: float) -> bytes:
        """What arrives now after `chunk` was sent now."""
        if self.unplugged(now_s):
            return b""
        chunk = self._spoil(chunk)
        if self._strikes("double"):
            chunk += chunk
        if self._strikes("burst"):
            chunk += self._rng.bytes(int(self._rng.integers(3, 60)))
        held, self._held = self._held + chunk, b""
        if self._strikes("stall"):
            self._stalled_until_s = now_s + self.STALL_S
        if now_s < self._stalled_until_s or self._strikes("merge"):
            self._held = held
            return b""
        if len(held) > 1 and self._strikes("split"):
            cut = int(self._rng.integers(1, len(held)))
            held, self._held = held[:cut], held[cut:]
        return held

    def _spoil(self, chunk: bytes) -> bytes:
        if self.faults.drop and chunk:
            keep = self._rng.random(len(chunk)) >= self.faults.drop
            self.counts["drop"] += int((~keep).sum())
            chunk = np.frombuffer(chunk, np.uint8)[keep].tobytes()
        if self.faults.flip and chunk:
            hit = self._rng.random(len(chunk)) < self.faults.flip
            self.counts["flip"] += int(hit.sum())
            bits = (1 << self._rng.integers(0, 8, len(chunk))).astype(np.uint8)
            chunk = (np.frombuffer(chunk, np.uint8) ^ np.where(hit, bits, 0).astype(np.uint8)).tobytes()
        return chunk

    def _strikes(self, name: str) -> bool:
        share: float = getattr(self.faults, name)
        struck = share > 0 and float(self._rng.random()) < share
        if struck:
            self._happened(name)
        return struck

    def _happened(self, name: str) -> None:
        self.counts[name] += 1
