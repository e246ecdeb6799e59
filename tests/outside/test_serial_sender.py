"""A sender written from the words of the specification (top of drivers/frames.py) alone, with nothing of ours: it is understood."""

from __future__ import annotations

import math
import random
import re
import struct
from itertools import pairwise

import pytest

from drivers import frames
from drivers.frames import FramesCodec

LBF_FT = 0.3048 * 0.45359237 * 9.80665  # N.m, exact


def crc(data: bytes) -> int:
    """Polynomial 0x1021, initial value 0xFFFF, most significant bit first, no final exclusive-or."""
    register = 0xFFFF
    for byte in data:
        register ^= byte << 8
        for _ in range(8):
            register = (register << 1) ^ 0x1021 if register & 0x8000 else register << 1
            register &= 0xFFFF
    return register


def stuffed(data: bytes) -> bytes:
    """COBS as its paper says it: each run without a zero is led by its length plus one; a run has at most 254 bytes."""
    out, run = bytearray(), bytearray()
    for byte in data:
        if byte:
            run.append(byte)
        if not byte or len(run) == 254:
            out += bytes((len(run) + 1,)) + run
            run.clear()
    return bytes(out + bytes((len(run) + 1,)) + run)


def on_the_wire(body: bytes) -> bytes:
    check = crc(body)
    return stuffed(body + bytes((check & 0xFF, check >> 8))) + b"\0"


def description(torque_bytes: int, angle_bytes: int, period_ns: int, torque: float, angle: float, text: str) -> bytes:
    head = bytes((0x44, 1, torque_bytes, angle_bytes)) + struct.pack("<I", period_ns) + struct.pack("<ff", torque, angle)
    return on_the_wire(head + text.encode("ascii"))


def samples(number: int, last_us: int, counts: list[tuple[int, int]], torque_bytes: int, angle_bytes: int) -> bytes:
    body = b"\x53" + (number % 65536).to_bytes(2, "little") + (last_us % 2**32).to_bytes(4, "little")
    for torque, angle in counts:
        body += torque.to_bytes(torque_bytes, "little", signed=True)
        body += angle.to_bytes(angle_bytes, "little", signed=True) if angle_bytes else b""
    return on_the_wire(body)


def test_the_example_of_the_specification() -> None:
    assert frames.__doc__ is not None
    rows = [bytes.fromhex(row) for row in re.findall(r"^    ((?:[0-9a-f]{2} )+00)$", frames.__doc__, re.MULTILINE)]
    assert rows == [
        description(2, 2, 2_000_000, 0.0625, 0.25, "N.m;deg;bench 1"),
        samples(0, 4000, [(160, 4), (-16, 0)], 2, 2),
    ]
    readings = FramesCodec().feed(b"\0" + b"".join(rows))
    assert [(reading.torque, reading.angle) for reading in readings] == [(10.0, 1.0), (-1.0, 0.0)]


@pytest.mark.parametrize("angle_bytes", [0, 2, 4])
@pytest.mark.parametrize("torque_bytes", [2, 4])
def test_every_sample_is_understood_over_both_roll_overs(torque_bytes: int, angle_bytes: int) -> None:
    rng = random.Random(3)
    top, end = 2 ** (8 * torque_bytes - 1) - 2, 2 ** (8 * max(angle_bytes, 1) - 1) - 1
    unit = "lbf.ft;deg;odd" if angle_bytes else "lbf.ft;;odd"
    codec, sent, got, number, now_us = FramesCodec(), [], [], 65_500, 2**32 - 50_000
    codec.feed(b"\0")
    for frame in range(200):
        if frame % 40 == 0:
            codec.feed(description(torque_bytes, angle_bytes, 1_000_000, 0.01, 0.25, unit))
        most = min(20, (252 - 7) // (torque_bytes + angle_bytes))
        counts = [
            (rng.choice((0, rng.randint(-top, top))), rng.choice((0, rng.randint(-end, end)))) for _ in range(rng.randint(1, most))
        ]
        now_us += 1000 * len(counts)
        got += codec.feed(samples(number, now_us, counts, torque_bytes, angle_bytes))
        number += len(counts)
        sent += counts
    assert codec.faults.total == 0
    assert [reading.torque for reading in got] == pytest.approx([torque * 0.01 * LBF_FT for torque, _ in sent], rel=1e-6)
    assert all(reading.angle == (angle * 0.25 if angle_bytes else None) for reading, (_, angle) in zip(got, sent, strict=True))
    stamps = [reading.stamp for reading in got if reading.stamp is not None]
    assert all(math.isclose(later - sooner, 0.001, abs_tol=1e-9) for sooner, later in pairwise(stamps))
