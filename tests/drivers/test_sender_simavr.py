"""The reference sender in C, compiled by avr-gcc, run on a simulated microcontroller (simavr) into our decoder.

The microcontroller, its timers, interrupts and UART are simavr's, not ours; the converter and the encoder are played by
tests/support/sender_bench.c at the level of pins.
"""

from __future__ import annotations

import ctypes
import math
import os
import shutil
import struct
import subprocess
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.emulated.bench import Bench
from drivers.emulated.scenarios import scenario
from drivers.frames import Description, FramesCodec, encode_description, encode_samples

ROOT = Path(__file__).resolve().parents[2]
SENDER, HARNESS = ROOT / "drivers" / "sender", ROOT / "tests" / "support" / "sender_bench.c"
AB = (0b00, 0b10, 0b11, 0b01)
"""Pins A and B for the counts 0, 1, 2, 3 ... of an encoder that turns forward: A leads."""


def absent(what: str) -> None:
    message = f"{what} is absent (Debian: gcc-avr avr-libc libsimavr-dev libelf-dev make gcc)"
    pytest.fail(message) if os.environ.get("CI") == "true" else pytest.skip(message)


def done(*command: object) -> None:
    result = subprocess.run([str(word) for word in command], capture_output=True, text=True, timeout=100)
    assert result.returncode == 0, result.stdout + result.stderr


@pytest.fixture(scope="module")
def harness(tmp_path_factory) -> Path:
    for tool in ("avr-gcc", "make", "cc"):
        if shutil.which(tool) is None:
            absent(tool)
    program = tmp_path_factory.mktemp("harness") / "sender_bench"
    probe = subprocess.run(["cc", "-E", "-"], input="#include <simavr/sim_avr.h>\n", capture_output=True, text=True, timeout=60)
    if probe.returncode != 0:
        absent("simavr's library")
    done("cc", "-O2", "-Wall", "-o", program, HARNESS, "-lsimavr", "-lelf")
    return program


@pytest.fixture(scope="module")
def firmware(harness, tmp_path_factory):
    built: dict[str, Path] = {}

    def build(defines: str) -> Path:
        if defines not in built:
            folder = tmp_path_factory.mktemp("firmware")
            done("make", "-s", "-C", SENDER, f"OUT={folder}", f"DEFINES={defines}", f"{folder}/sender.elf")
            built[defines] = folder / "sender.elf"
        return built[defines]

    return build


def sent(harness: Path, elf: Path, torques: list[int], angles: list[int], rate_hz: float) -> bytes:
    """What the UART sends when these conversions come at the rate, the encoder standing at these counts by then."""
    events, count, period_us = [], 0, 1e6 / rate_hz
    for number, (torque, angle) in enumerate(zip(torques, angles, strict=True)):
        ready_us = 20_000 + (number + 1) * period_us
        steps = abs(angle - count)
        for step in range(1, steps + 1):
            count += 1 if angle > count else -1
            events.append((ready_us - period_us / 2 + step * period_us / 2 / (steps + 1), "E", AB[count % 4]))
        events.append((ready_us, "C", torque))
    script = "".join(f"{at:.0f} {kind} {value}\n" for at, kind, value in events)
    result = subprocess.run([str(harness), str(elf)], input=script.encode(), capture_output=True, timeout=100)
    assert result.returncode == 0, result.stderr.decode()
    return result.stdout


FAST = "-DSAMPLES_PER_SECOND=320 -DTORQUE_PER_COUNT=4.0e-5f"


def test_a_pull_of_the_pretend_bench_arrives_sample_by_sample(harness, firmware):
    chosen = scenario("worn-low")
    bench = Bench(chosen.workday, chosen.sensor, 320.0, np.random.default_rng(1))
    bench.take(1200)
    pull = bench.take(900)
    torques = np.round(pull.torque_nm / 4.0e-5).astype(int).tolist()
    angles = np.round((pull.angle_deg - pull.angle_deg[0]) / 0.09).astype(int).tolist()
    assert max(torques) > 300_000
    codec = FramesCodec()
    readings = codec.feed(sent(harness, firmware(FAST), torques, angles, 320.0))
    # 900 conversions, six a frame.
    assert len(readings) == 900
    assert codec.faults.total == codec.faults.ignored == 0
    assert [round(reading.torque / 4.0e-5) for reading in readings] == torques
    assert [round(reading.angle / 0.09) for reading in readings] == angles
    stamps = np.array([reading.stamp for reading in readings])
    np.testing.assert_allclose(stamps - stamps[0], np.arange(900) / 320, atol=30e-6)


def test_it_says_what_it_is(harness, firmware):
    codec = FramesCodec()
    codec.feed(sent(harness, firmware(FAST), [0] * 6, [0] * 6, 320.0))
    what = codec.description
    assert (what.torque_unit, what.angle_unit, what.name) == ("N.m", "deg", "reference sender")
    assert what.period_ns == 3_125_000
    assert what.torque_per_count == pytest.approx(4.0e-5)
    assert what.angle_per_count == pytest.approx(0.09)


def test_who_comes_late_is_told_within_a_second(harness, firmware):
    whole = sent(harness, firmware(FAST), [7] * 640, [0] * 640, 320.0)
    codec = FramesCodec()
    readings = codec.feed(whole[len(whole) // 2 :])
    assert codec.description is not None
    assert len(readings) > 120


def test_a_converter_at_its_stops_is_beyond_its_range(harness, firmware):
    torques = [0x7FFFFF, 0x7FFFFE, -0x800000, -0x7FFFFF, 0, 5]
    codec = FramesCodec()
    readings = codec.feed(sent(harness, firmware(FAST), torques, [0] * 6, 320.0))
    assert readings[0].torque == math.inf
    assert readings[2].torque == -math.inf
    assert [round(readings[at].torque / 4.0e-5) for at in (1, 3, 4, 5)] == [0x7FFFFE, -0x7FFFFF, 0, 5]
    assert codec.faults.overload == 2


def test_the_encoder_counts_to_and_fro(harness, firmware):
    rng = np.random.default_rng(5)
    angles = np.cumsum(rng.integers(-40, 41, 300)).tolist()  # up to 25 600 counts a second
    codec = FramesCodec()
    readings = codec.feed(sent(harness, firmware(FAST), [0] * 300, angles, 320.0))
    assert [round(reading.angle / 0.09) for reading in readings] == angles


def test_slow_converters_send_a_sample_a_frame(harness, firmware):
    codec = FramesCodec()
    readings = codec.feed(sent(harness, firmware("-DSAMPLES_PER_SECOND=10"), [100, 200, 300], [1, 2, 3], 10.0))
    assert [round(reading.torque / 4.0e-5) for reading in readings] == [100, 200, 300]
    assert np.diff([reading.stamp for reading in readings]) == pytest.approx(0.1, abs=1e-4)


def test_what_a_slow_line_cannot_carry_is_told_as_lost(harness, firmware):
    codec = FramesCodec()
    torques = list(range(900))
    readings = codec.feed(sent(harness, firmware(FAST + " -DBAUD=19200UL"), torques, [0] * 900, 320.0))
    got = [round(reading.torque / 4.0e-5) for reading in readings]
    assert 200 < len(got) < 800
    assert codec.faults.garbled == codec.faults.overlong == 0
    # Every value is right, in order, and the numbers tell of each that is missing up to the last that came.
    assert got == sorted(set(got))
    assert codec.faults.lost == got[-1] - got[0] + 1 - len(got)


@pytest.fixture(scope="module")
def portable(tmp_path_factory) -> ctypes.CDLL:
    """The part of the sender that knows no hardware, compiled for this machine."""
    if shutil.which("cc") is None:
        absent("cc")
    library = tmp_path_factory.mktemp("portable") / "frames.so"
    done("cc", "-std=c11", "-Wall", "-Wextra", "-Werror", "-shared", "-fPIC", "-o", library, SENDER / "frames.c")
    loaded = ctypes.CDLL(str(library))
    loaded.frames_describe.argtypes = [ctypes.c_char_p, ctypes.c_uint32, ctypes.c_float, ctypes.c_float, ctypes.c_char_p]
    loaded.frames_samples.argtypes = [ctypes.c_char_p, ctypes.c_uint16, ctypes.c_uint32, ctypes.c_char_p, ctypes.c_uint8]
    return loaded


INT32 = st.integers(-(2**31), 2**31 - 1)


@settings(deadline=None)
@given(
    number=st.integers(0, 2**16 - 1),
    last_us=st.integers(0, 2**32 - 1),
    counts=st.lists(st.tuples(INT32 | st.just(0), INT32 | st.just(0)), min_size=1, max_size=30),
)
def test_c_and_python_write_the_same_frames(portable, number, last_us, counts):
    what = Description(torque_bytes=4, angle_bytes=4, period_ns=1000, torque_per_count=1.0, angle_per_count=1.0)
    wire = ctypes.create_string_buffer(300)
    packed = b"".join(struct.pack("=ii", *pair) for pair in counts)
    length = portable.frames_samples(wire, number, last_us, packed, len(counts))
    assert wire.raw[:length] == encode_samples(what, number, last_us, counts)


@settings(deadline=None)
@given(period_ns=st.integers(1, 2**32 - 1), scale=st.floats(2**-20, 8, width=32))
def test_c_and_python_describe_alike(portable, period_ns, scale):
    what = Description(
        torque_bytes=4, angle_bytes=4, period_ns=period_ns, torque_per_count=scale, angle_per_count=scale, name="bench 1"
    )
    wire = ctypes.create_string_buffer(300)
    length = portable.frames_describe(wire, period_ns, scale, scale, b"N.m;deg;bench 1")
    assert wire.raw[:length] == encode_description(what)
