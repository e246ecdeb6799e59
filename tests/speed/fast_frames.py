"""Frames at 10 kHz through the whole pipeline: samples sent and received, processor time, and decoding against mere reading.

    python tests/speed/fast_frames.py                 10 minutes at 10 kHz over a pseudo-terminal (Unix), then the ratios
    python tests/speed/fast_frames.py --seconds 60 --rate 10000
    python tests/speed/fast_frames.py --ratios        only the ratios: the same bytes read raw, and read and decoded

The far end is a process of its own, started by this one; only the near end (line, decoder, time base, session with its pull
finder and reading, and the recorder writing files) is measured. Every sample's angle is its number, so a wrong one is noticed.
"""

from __future__ import annotations

import argparse
import math
import os
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]
for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

import numpy as np  # noqa: E402

from analysis.results import Sensor  # noqa: E402
from drivers.clock import SystemClock  # noqa: E402
from drivers.codec import Reading  # noqa: E402
from drivers.frames import Description, encode_description, encode_samples  # noqa: E402
from drivers.profile import DeviceProfile  # noqa: E402
from drivers.source import open_source  # noqa: E402
from drivers.text import Column, TextFormat, encode_line  # noqa: E402
from drivers.wiring import wiring_for  # noqa: E402

A_FRAME = 25
TURN_S = 8.0
STEP_DEG = 2.0**-16
TEXT = TextFormat(columns=(Column("time", "us"), Column("torque", "N.m"), Column("angle", "deg")))


def description(rate_hz: int) -> Description:
    """Torque in thousandths, angle in steps so fine that it can count samples."""
    return Description(
        torque_bytes=4, angle_bytes=4, period_ns=10**9 // rate_hz, torque_per_count=2.0**-10, angle_per_count=STEP_DEG, name="fast"
    )


def torque_counts(rate_hz: int) -> list[int]:
    """One turn of 8 s: rest, a rise to 60 N.m, a drop, sliding at 48 N.m, rest. Its shape is of no matter here."""
    time_s = np.arange(int(TURN_S * rate_hz)) / rate_hz
    shape = np.interp(time_s, [0, 3, 4, 4.02, 5.5, 5.8, TURN_S], [0, 0, 60, 48, 48, 0, 0])
    noise = np.random.default_rng(1).normal(0, 0.05, time_s.size)
    return [int(value) for value in np.round((shape + noise) * 1024)]


def send(rate_hz: int) -> None:
    """The far end: serve on a pseudo-terminal until standard input closes; say the port first and the count last."""
    import pty
    import select
    import tty

    end, slave = pty.openpty()
    tty.setraw(slave)
    print(os.ttyname(slave), flush=True)
    sys.stdin.readline()
    what, turn = description(rate_hz), torque_counts(rate_hz)
    sent, began_s = 0, time.monotonic()
    os.write(end, b"\0" + encode_description(what))
    while not select.select([sys.stdin], [], [], 0)[0]:
        frames = []
        while sent < (time.monotonic() - began_s) * rate_hz - A_FRAME:
            counts = [(turn[at % len(turn)], at) for at in range(sent, sent + A_FRAME)]
            last_us = (sent + A_FRAME - 1) * 10**6 // rate_hz
            frames.append(encode_samples(what, sent, last_us, counts))
            sent += A_FRAME
        if frames:
            os.write(end, b"".join(frames) + (encode_description(what) if sent % rate_hz < A_FRAME * len(frames) else b""))
        time.sleep(0.004)
    time.sleep(0.5)
    print(sent, flush=True)


def receive(rate_hz: int, seconds: float) -> None:
    """The near end, measured."""
    from rig.files.metadata import TraceInfo
    from rig.live.recorder import Recorder
    from rig.live.runner import Bench
    from rig.live.session import Session

    far = subprocess.Popen([sys.executable, __file__, "--send", "--rate", str(rate_hz)], stdin=-1, stdout=-1, text=True)
    assert far.stdin is not None
    assert far.stdout is not None
    profile = DeviceProfile(name="fast", port=far.stdout.readline().strip(), protocol="frames", capacity_nm=200.0)
    pieces = wrong = 0
    next_number: int | None = None
    with tempfile.TemporaryDirectory() as folder:
        recorder = Recorder(Path(folder), TraceInfo(), lambda: datetime.now(UTC), time.monotonic)
        session = Session(sensor=Sensor(capacity_nm=profile.capacity_nm), recorder=recorder)
        with Bench(open_source(profile, SystemClock()), session) as bench:
            time.sleep(0.5)
            far.stdin.write("go\n")
            far.stdin.flush()
            wall_s, processor_s = time.monotonic(), time.process_time()
            ending = False
            while not ending or time.monotonic() < wall_s + seconds + 1.5:
                bench.wait_for_news(0.033)
                for piece in bench.scope():
                    assert piece.angle_deg is not None
                    numbers = np.round(piece.angle_deg / STEP_DEG).astype(int)
                    wrong += int((np.diff(numbers) != 1).sum()) + (next_number is not None and numbers[0] != next_number)
                    next_number, pieces = int(numbers[-1]) + 1, pieces + 1
                if not ending and time.monotonic() > wall_s + seconds:
                    processor_s, wall_s_taken = time.process_time() - processor_s, time.monotonic() - wall_s
                    far.stdin.write("end\n")
                    far.stdin.flush()
                    ending = True
            wire, pulls = bench.status.line, bench.status.pulls
        sent = int(far.stdout.readline())
        far.stdin.close()
        far.wait(10)
    print(f"{sent} samples sent at {rate_hz} Hz in {wall_s_taken:.0f} s, {wire.samples} received, lost {sent - wire.samples}")
    print(f"faults: {wire.faults}; out of order or wrong: {wrong}; dropped in the queue: {wire.dropped}")
    print(f"queue at most {wire.queue_high_water} pieces; {pulls} pulls found, read and written; {pieces} pieces shown")
    print(f"processor time of the near end: {100 * processor_s / wall_s_taken:.1f} % of one core")


def chunks(data: bytes, size: int) -> Iterator[bytes]:
    """The data in reads of that size, through a pipe, as a port would give them."""
    near, far = os.pipe()

    def fill() -> None:
        view = memoryview(data)
        while view:
            view = view[os.write(far, view[:65536]) :]
        os.close(far)

    filler = threading.Thread(target=fill)
    filler.start()
    while part := os.read(near, size):
        yield part
    filler.join()
    os.close(near)


def ratios(rate_hz: int) -> None:
    """The same bytes read and thrown away, and read and made pieces, in reads of 20 ms; least of seven runs each."""
    count = 200_000
    what = description(rate_hz)
    frames = [encode_description(what)]
    for at in range(0, count, A_FRAME):
        counts = [(n % 60_000, n) for n in range(at, at + A_FRAME)]
        frames += [encode_samples(what, at, (at + A_FRAME - 1) * 10**6 // rate_hz, counts)]
    lines = [encode_line(TEXT, Reading(n % 60_000 / 1024, n / 100, n * 10**6 // rate_hz)) for n in range(count)]
    for protocol, data in (("frames", b"\0" + b"".join(frames)), ("text", b"\r\n" + b"".join(lines))):
        text = TEXT if protocol == "text" else None
        profile = DeviceProfile(name="x", port="P", protocol=protocol, capacity_nm=200.0, text=text)  # type: ignore[arg-type]
        size = len(data) * rate_hz // count // 50
        raw_s = decoded_s = piece_s = math.inf
        for _ in range(7):
            began_s = time.process_time()
            for _part in chunks(data, size):
                pass
            raw_s = min(raw_s, time.process_time() - began_s)
            codec, began_s = wiring_for(profile).codec, time.process_time()
            got = sum(len(codec.feed(part)) for part in chunks(data, size))
            decoded_s = min(decoded_s, time.process_time() - began_s)
            assert got == count
            wiring, began_s, got = wiring_for(profile), time.process_time(), 0
            for at, part in enumerate(chunks(data, size)):
                rows = np.array(wiring.codec.feed(part), dtype=float).reshape(-1, 3)
                got += len(wiring.timebase.feed(rows, at * 0.02)[0])
            piece_s = min(piece_s, time.process_time() - began_s)
            assert got == count
        print(
            f"{protocol}: {len(data) / count:.1f} bytes a sample in reads of {size}; raw {raw_s / count * 1e6:.3f} us a sample, "
            f"decoded {decoded_s / count * 1e6:.2f} us ({decoded_s / raw_s:.0f} times raw), "
            f"with times {piece_s / count * 1e6:.2f} us ({piece_s / raw_s:.0f} times raw)"
        )


def main() -> None:
    """Read the arguments."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, default=600.0)
    parser.add_argument("--rate", type=int, default=10_000)
    parser.add_argument("--ratios", action="store_true")
    parser.add_argument("--send", action="store_true", help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.send:
        send(args.rate)
        return
    if not args.ratios:
        receive(args.rate, args.seconds)
    ratios(args.rate)


if __name__ == "__main__":
    main()
