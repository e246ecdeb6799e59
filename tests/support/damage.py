"""What a bad cable does to frames, and a count of what the decoder makes of it. Seeded."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import dataclass, field

from drivers.frames import Description, FramesCodec, encode_description, encode_samples

WHAT = Description(torque_bytes=4, angle_bytes=4, period_ns=100_000, torque_per_count=1.0, angle_per_count=1.0, name="damage")
A_FRAME = 4


@dataclass
class Result:
    """`wrong`: samples never sent so; `accepted`: damaged frames that gave samples, by their damage; `good_lost`: intact ones that
    did not; `counted`: damaged frames that the decoder counted as faults.
    """

    wrong: int = 0
    accepted: Counter[str] = field(default_factory=Counter)
    good_lost: int = 0
    counted: int = 0


def flip(stuffed: bytes, rng: random.Random, bits: int) -> bytes:
    """So many different bits flipped, the end mark spared."""
    damaged = bytearray(stuffed)
    for at in rng.sample(range(8 * (len(stuffed) - 1)), bits):
        damaged[at // 8] ^= 1 << at % 8
    return bytes(damaged)


def drop(stuffed: bytes, rng: random.Random) -> bytes:
    """One byte missing; not the end mark, which is 'merged'."""
    at = rng.randrange(len(stuffed) - 1)
    return stuffed[:at] + stuffed[at + 1 :]


def double(stuffed: bytes, rng: random.Random) -> bytes:
    """One byte twice; not the end mark, which does no harm."""
    at = rng.randrange(len(stuffed) - 1)
    return stuffed[: at + 1] + stuffed[at:]


def burst(stuffed: bytes, rng: random.Random) -> bytes:
    """Two to twelve bytes in a row replaced by noise."""
    size = rng.randint(2, 12)
    at = rng.randrange(len(stuffed) - 1 - size)
    return stuffed[:at] + rng.randbytes(size) + stuffed[at + size :]


def half(stuffed: bytes, rng: random.Random) -> bytes:
    """Cut short, then the end mark."""
    return stuffed[: rng.randrange(1, len(stuffed) - 2)] + b"\0"


def merged(stuffed: bytes, rng: random.Random) -> bytes:
    """The end mark missing: the frame runs into a second one (sent as a copy, so that only this pair is damaged)."""
    return stuffed[:-1] + stuffed


def noise(stuffed: bytes, rng: random.Random) -> bytes:
    """All of it noise."""
    return rng.randbytes(len(stuffed) - 1) + b"\0"


KINDS = {
    "1 bit": lambda stuffed, rng: flip(stuffed, rng, 1),
    "2 bits": lambda stuffed, rng: flip(stuffed, rng, 2),
    "3 bits": lambda stuffed, rng: flip(stuffed, rng, 3),
    "8 bits": lambda stuffed, rng: flip(stuffed, rng, 8),
    "dropped": drop,
    "doubled": double,
    "burst": burst,
    "half": half,
    "merged": merged,
    "noise": noise,
}


def damaged_frames(count: int, seed: int) -> tuple[Counter[str], Result]:
    """Send `count` damaged frames, an intact one after each; every sample carries its own number in torque and angle."""
    rng = random.Random(seed)
    codec = FramesCodec()
    codec.feed(b"\0" + encode_description(WHAT))
    sent: Counter[str] = Counter()
    result = Result()
    names = list(KINDS)
    for number in range(0, 2 * count * A_FRAME, 2 * A_FRAME):
        counts = [(at * 7919 % 2**31 - 2**30, -at) for at in range(number, number + 2 * A_FRAME)]
        stuffed = encode_samples(WHAT, number, number * 100, counts[:A_FRAME])
        name = names[number // (2 * A_FRAME) % len(names)]
        damaged = KINDS[name](stuffed, rng)
        if damaged == stuffed:
            damaged = flip(stuffed, rng, 1)
        sent[name] += 1
        before = codec.faults.garbled + codec.faults.overlong
        readings = codec.feed(damaged)
        result.accepted[name] += bool(readings)
        true = {(float(torque), float(angle)) for torque, angle in counts}
        result.wrong += sum((reading.torque, reading.angle) not in true for reading in readings)
        result.counted += codec.faults.garbled + codec.faults.overlong > before
        good = codec.feed(b"\0" + encode_samples(WHAT, number + A_FRAME, (number + A_FRAME) * 100, counts[A_FRAME:]))
        result.good_lost += [(reading.torque, reading.angle) for reading in good] != [(t, a) for t, a in counts[A_FRAME:]]
    return sent, result
