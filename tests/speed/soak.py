"""Hours of pulls with everything that goes wrong on a line: `python tests/speed/soak.py [--hours 2] [--seed 1]`.

A device at 5,000 samples a second that is read, recorded and judged by the bench's own threads, in compressed time: its clock goes
on as fast as the bench keeps up. At random instants the cable is pulled for some seconds, garbage comes, the line stalls, or the
session stands still until its queue is full. A pull that nothing of this met, its rests included, must be caught, once, with its
breakaway right to a hundredth and a file that holds the very same numbers. The others may be cut or missing, but what was lost must
be told.
Prints what was found and how memory, threads and open files went; exit status 1 where anything does not agree.
"""

from __future__ import annotations

import argparse
import contextlib
import ctypes
import gc
import os
import random
import sys
import tempfile
import threading
import time
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]
for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

import numpy as np  # noqa: E402
import scipy.optimize  # noqa: E402  the analysis loads these where a pull first needs them: 50 MB that are none of the pulls'
import scipy.signal  # noqa: E402
import scipy.stats  # noqa: E402, F401

from analysis.results import Sensor  # noqa: E402
from analysis.window import Window  # noqa: E402
from drivers.codec import Reading  # noqa: E402
from drivers.errors import LineLostError  # noqa: E402
from drivers.items import ConnectionLost  # noqa: E402
from drivers.line import MOST_BYTES, READ_S  # noqa: E402
from drivers.profile import DeviceProfile  # noqa: E402
from drivers.source import LiveSource  # noqa: E402
from drivers.text import Column, TextFormat, encode_line  # noqa: E402
from rig.files.metadata import TraceInfo  # noqa: E402
from rig.files.trace_csv import info_path, read_trace  # noqa: E402
from rig.live.news import DiskRefuses, Failed, PullJudged  # noqa: E402
from rig.live.recorder import Recorder  # noqa: E402
from rig.live.runner import INBOX_PIECES, Bench  # noqa: E402
from rig.live.session import Session  # noqa: E402

RATE_HZ = 5000
TEXT = TextFormat(columns=(Column("torque", "N.m"), Column("angle", "deg")), rate_hz=RATE_HZ)
A_READ = round(RATE_HZ * READ_S)
TURN_S = 16.0
PEAKS_S = (4.0, 12.0)
"""Of a turn: one pull each way. What must not be met by a fault is the pull with the rests before and after it."""
BEFORE_S, AFTER_S = 4.0, 3.5
PEAK_NM = 60.0
AHEAD = 40 * A_READ
"""So many samples may be under way: the queue is filled on purpose only."""


def turn() -> list[bytes]:
    """What the device sends in a turn, read by read."""
    time_s = np.arange(int(TURN_S * RATE_HZ)) / RATE_HZ
    at = [0.0, 3, 4, 4.01, 5.5, 5.7, 11, 12, 12.01, 13.5, 13.7, TURN_S]
    torque = np.interp(time_s, at, [0, 0, PEAK_NM, 48, 48, 0, 0, -PEAK_NM, -48, -48, 0, 0])
    torque += np.random.default_rng(1).normal(0, 0.05, time_s.size)
    angle = np.interp(time_s, at, [0, 0, 2, 3, 60, 60, 60, 58, 57, 0, 0, 0])
    rows = zip(torque.tolist(), angle.tolist(), time_s.tolist(), strict=True)
    lines = [encode_line(TEXT, Reading(*row), digits=4) for row in rows]
    return [b"".join(lines[first : first + A_READ]) for first in range(0, len(lines), A_READ)]


class StreamClock:
    """The compressed time: it goes on with every read."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def now(self) -> float:
        """The present moment."""
        return self.now_s

    def wait_until(self, moment_s: float, stop: threading.Event) -> bool:
        """Jump there."""
        self.now_s = max(self.now_s, moment_s)
        return stop.is_set()


@dataclass
class Fault:
    """Something that goes wrong from a moment on, for so long."""

    kind: str
    from_s: float
    to_s: float


@dataclass
class Device:
    """The far end and the line to it; faults come in the order of time."""

    clock: StreamClock
    faults: list[Fault]
    until_s: float
    dice: random.Random
    bench: Bench | None = None
    reads: list[bytes] = field(default_factory=turn)
    gate: threading.Event = field(default_factory=threading.Event)
    sent: int = 0
    garbage: int = 0
    unplugged: int = 0
    name: str = "soak"
    ended: bool = False
    done: threading.Event = field(default_factory=threading.Event)

    def open(self, port: str) -> Device:
        """Plug the cable in, if it is there."""
        if self._fault("unplugged") is not None:
            raise LineLostError("there is no such port", where=port, remedy="wait")
        return self

    def read(self, most: int = MOST_BYTES) -> bytes:
        """The next 20 ms."""
        at = round(self.clock.now_s / READ_S)
        self.clock.now_s = (at + 1) * READ_S
        if self.clock.now_s >= self.until_s:
            self.done.set()
            self.gate.set()
            time.sleep(0.01)
            return b""
        if self._fault("unplugged") is not None:
            self.unplugged += 1
            raise LineLostError("the line went away", where=self.name, remedy="check the plug")
        full = self._fault("full")
        (self.gate.clear if full is not None else self.gate.set)()
        if full is None:
            self._wait_for_the_session()
        if self._fault("stalled") is not None:
            return b""
        self.sent += A_READ
        data = self.reads[at % len(self.reads)]
        if self._fault("garbage") is not None:
            junk = self.dice.randbytes(self.dice.randrange(20, 2000))
            self.garbage += len(junk)
            data = data[:500] + junk + data[500:]
        return data

    def _wait_for_the_session(self) -> None:
        while not self.done.is_set():
            if self.bench is not None:
                line = self.bench.status.line
                # A cable that is pulled may cut a line in two; what garbage met is counted by the decoder.
                if self.sent - line.samples - line.dropped - line.faults.garbled - 3 * self.unplugged < AHEAD:
                    return
            time.sleep(0.0005)

    def _fault(self, kind: str) -> Fault | None:
        return next((one for one in self.faults if one.kind == kind and one.from_s <= self.clock.now_s < one.to_s), None)

    def write(self, data: bytes) -> None:
        """Nobody listens."""

    def discard(self) -> None:
        """Nothing waits."""

    def close(self) -> None:
        """Nothing to close."""


def faults_of(hours: float, dice: random.Random) -> list[Fault]:
    """About one fault in 20 s."""
    made, at = [], 10.0
    while at < 3600 * hours:
        kind = dice.choices(("unplugged", "garbage", "stalled", "full"), (4, 4, 4, 0.3))[0]
        full_s = (INBOX_PIECES + 100) * READ_S
        lasts = {"unplugged": dice.uniform(0.3, 6), "garbage": READ_S, "stalled": dice.uniform(0.2, 5), "full": full_s}[kind]
        made.append(Fault(kind, at, at + lasts))
        at += lasts + dice.expovariate(1 / 25)
    return made


def resident_mb() -> float:
    """Memory that is held: what the allocator kept after a burst (60 s of a full queue, read at once) is given back first."""
    gc.collect()
    with contextlib.suppress(OSError, AttributeError):  # the C library of most Linux systems has it
        ctypes.CDLL(None).malloc_trim(0)
    return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6


def _check(item: PullJudged, wrong: list[str]) -> None:
    """Its file holds the very numbers that were judged; then it is taken away."""
    if item.file is None or not item.file.exists():
        wrong.append(f"pull {item.number} has no file")
        return
    trace, _ = read_trace(item.file)
    # Where the queue was full the disk has what the session missed, and that it missed something is told; none may be other.
    judged = np.isin(trace.time_s, item.trace.time_s) if len(trace) > len(item.trace) + INBOX_PIECES else np.ones(len(trace), bool)
    same = np.array_equal(trace.time_s[judged], item.trace.time_s) and np.array_equal(trace.torque_nm[judged], item.trace.torque_nm)
    if not same:
        wrong.append(f"the file of pull {item.number} holds other numbers: {len(trace)} samples, {len(item.trace)} judged")
    item.file.unlink()
    info_path(item.file).unlink()


def _count(item: PullJudged, caught: dict[float, int]) -> None:
    """Which pull of the stream it is, by the time of its breakaway; one that is read wrong is none."""
    breakaway = item.result.breakaway
    if breakaway is None or abs(breakaway.torque_nm / PEAK_NM - 1) > 0.01:
        return
    turn_s = breakaway.time_s // TURN_S * TURN_S
    for peak_s in PEAKS_S:
        if abs(turn_s + peak_s - breakaway.time_s) < 1.0:
            caught[turn_s + peak_s] = caught.get(turn_s + peak_s, 0) + 1


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=2.0)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    dice, clock = random.Random(args.seed), StreamClock()
    device = Device(clock, faults_of(args.hours, dice), 3600 * args.hours, dice)
    profile = DeviceProfile(name="soak", port="soak", protocol="text", capacity_nm=200.0, patience_s=60.0, text=TEXT)
    wrong: list[str] = []
    caught: dict[int, int] = {}
    told_lost = told_away = 0
    memory: list[float] = []
    began = time.monotonic()
    threads, files = threading.active_count(), len(os.listdir("/proc/self/fd"))

    class Held(Session):
        def look(self, item):  # type: ignore[no-untyped-def]
            device.gate.wait()
            return super().look(item)

    with tempfile.TemporaryDirectory() as folder:
        recorder = Recorder(Path(folder), TraceInfo(), lambda: datetime.now().astimezone(), time.monotonic)
        session = Held(sensor=Sensor(capacity_nm=200.0), window=Window.parse("35..70 N.m"), recorder=recorder)
        device.gate.set()
        source = LiveSource(profile, clock, device.open, list)  # type: ignore[arg-type]
        device.bench = bench = Bench(source, session)
        marks = iter(np.arange(0, 3600 * args.hours, 360 * args.hours).tolist())
        mark_s = next(marks)
        while not device.done.is_set():
            news = bench.wait_for_news(0.05)
            bench.scope()
            for item in news:
                if isinstance(item, PullJudged) and item.final:
                    _check(item, wrong)
                    _count(item, caught)
                told_lost += isinstance(item, Failed) and "lost" in item.what
                told_away += isinstance(item, ConnectionLost)
                if isinstance(item, DiskRefuses) or (isinstance(item, Failed) and "lost" not in item.what):
                    wrong.append(f"at {clock.now_s:.0f} s: {item}")
            if clock.now_s >= mark_s:
                memory.append(resident_mb())
                mark_s = next(marks, float("inf"))
        bench.close()
        for item in bench.news():
            if isinstance(item, PullJudged) and item.final:
                _check(item, wrong)
                _count(item, caught)
        line = bench.status.line
        left = [path.name for path in Path(folder).iterdir()]
    due = [turn_s + peak_s for turn_s in np.arange(0.0, device.until_s - TURN_S, TURN_S).tolist() for peak_s in PEAKS_S]
    clean = [at_s for at_s in due if not any(one.from_s < at_s + AFTER_S and one.to_s > at_s - BEFORE_S for one in device.faults)]
    missed = [at_s for at_s in clean if caught.get(at_s, 0) == 0]
    twice = [at_s for at_s, times in caught.items() if times > 1]
    others = sum(times for at_s, times in caught.items() if at_s not in set(clean))
    kinds = {kind: sum(one.kind == kind for one in device.faults) for kind in ("unplugged", "garbage", "stalled", "full")}
    print(f"{args.hours:g} h at {RATE_HZ} samples a second in {time.monotonic() - began:.0f} s; faults: {kinds}")
    print(f"{len(due)} pulls, {len(clean)} met by no fault: {len(missed)} missed, {len(twice)} told twice; {others} others caught")
    print(f"{device.sent} samples sent, {line.samples} taken, {line.dropped} dropped (told {told_lost} times)")
    print(f"{line.faults.garbled} lines garbled; line lost {device.unplugged} times, told {told_away}")
    open_files = len(os.listdir("/proc/self/fd"))
    print(f"memory MB {', '.join(f'{mb:.0f}' for mb in memory)}; threads {threads}, {threading.active_count()} after")
    print(f"open files {files}, {open_files} after; files left {left[:3]}")
    # Each burst of garbage costs the lines it falls into, and may look like one or two.
    short = device.sent - line.samples - line.dropped
    if short > 6 * (kinds["garbage"] + kinds["unplugged"]) + 2 * A_READ:
        wrong.append(f"{short} samples are missing without a word")
    if memory[-1] > 1.15 * memory[len(memory) // 3] + 20:
        wrong.append("memory grows")
    if missed or twice or left or threading.active_count() > threads or open_files > files:
        wrong.append(f"missed {missed[:5]}, twice {twice[:5]}, left {left[:3]}")
    for each in wrong[:10]:
        print("  " + each)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
