"""The recorder under kill -9 at random instants: `python tests/speed/record_kills.py [--kills 500] [--at-once 4]`.

A device of ours sends a stream of pulls over a pseudo-terminal, in which every sample bears its number; a child reads, records and
judges them as `platepull record` does, and is killed at a random instant: at rest, while a pull begins, in a pull, while it is
judged, after it. What the child had not read is then still in the terminal, for the far end holds it open, and is counted there.
`--load N` lets N processes compute beside it, `--disk N` lets N write to the same disk, syncing all the time.

After each kill: the files are read; no sample that had been read more than 0.25 s before the kill may be missing from a pull that
was under way, nor any loaded sample from all files; the next recorder on the folder must tell the kill with the right pull and the
time since, leave no half metadata, and go on with the numbers. A pull that was over, but not yet synced, so that it counts as cut
off, must be there up to its end. Prints what was found; exit status 1 where anything of it failed.
"""

from __future__ import annotations

import argparse
import array
import contextlib
import fcntl
import multiprocessing
import os
import random
import signal
import subprocess
import sys
import tempfile
import termios
import threading
import time
import tty
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]
for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

import numpy as np  # noqa: E402

from analysis.results import Sensor  # noqa: E402
from analysis.trace import Trace  # noqa: E402
from analysis.window import Window  # noqa: E402
from drivers.clock import SystemClock  # noqa: E402
from drivers.codec import Reading  # noqa: E402
from drivers.line import MOST_BYTES, SerialLine  # noqa: E402
from drivers.profile import DeviceProfile  # noqa: E402
from drivers.source import LiveSource  # noqa: E402
from drivers.text import Column, TextFormat, encode_line  # noqa: E402
from rig.files.metadata import TraceInfo  # noqa: E402
from rig.files.trace_csv import info_path, read_trace  # noqa: E402
from rig.live.news import PullJudged  # noqa: E402
from rig.live.recorder import recorder_into  # noqa: E402
from rig.live.runner import Bench  # noqa: E402
from rig.live.session import Session  # noqa: E402

HOG = f"import os\nwhile os.getppid() == {os.getpid()}: pass"
"""What computes beside it, and ends with this program however that ends."""
DISK_HOG = f"""
import os, sys
file = os.open(sys.argv[1], os.O_RDWR | os.O_CREAT)
block, at = os.urandom(4_000_000), 0
while os.getppid() == {os.getpid()}:
    os.pwrite(file, block, at * len(block))
    os.fsync(file)
    at = (at + 1) % 50
"""
RATE_HZ = 1000
FIRST = b"\r\n"
TEXT = TextFormat(columns=(Column("time", "us"), Column("torque", "N.m"), Column("angle", "deg")))
SHAPE_S = np.array([0, 2.5, 3.1, 3.12, 4.4, 4.5, 6.0, 6.6, 6.62, 7.9, 8.0, 9.5])
SHAPE_NM = np.array([0, 0, 60, 48, 48, 0, 0, 60, 48, 48, 0, 0])
SHAPE_DEG = np.array([0, 0, 3, 5, 60, 60, 60, 63, 65, 120, 120, 120])
NOTES = (20_000, 2)
LATE_S = 0.25
"""What a power cut may cost (contract, 1)."""
LOADED_NM = 2.0
"""From here on a sample is of a load: far above the noise."""


def stream() -> tuple[list[bytes], np.ndarray]:
    """The lines of the stream; a sample's number stands in the last four of the six decimals of its angle."""
    time_s = np.arange(int(SHAPE_S[-1] * RATE_HZ)) / RATE_HZ
    noise = np.random.default_rng(1).normal(0, 0.05, time_s.size)
    torque_nm = np.interp(time_s, SHAPE_S, SHAPE_NM) + noise
    angle_deg = np.round(np.interp(time_s, SHAPE_S, SHAPE_DEG), 2) + np.arange(time_s.size) * 1e-6
    rows = zip(torque_nm.tolist(), angle_deg.tolist(), (time_s * 1e6).tolist(), strict=True)
    return [encode_line(TEXT, Reading(*row), digits=6) for row in rows], torque_nm


def ends_of_pulls() -> set[int]:
    """The numbers of the samples at which the pulls of the stream end, as a bench finds them."""
    _, torque_nm = stream()
    time_s = np.arange(torque_nm.size) / RATE_HZ
    whole = Trace(time_s, torque_nm, np.interp(time_s, SHAPE_S, SHAPE_DEG))
    session = Session(sensor=Sensor(capacity_nm=200.0))
    pieces = [whole.between(float(time_s[at]), float(time_s[min(at + 19, time_s.size - 1)])) for at in range(0, time_s.size, 20)]
    told = [news for piece in pieces for news in session.step(piece)] + session.finish()
    return {round(news.trace.time_s[-1] * RATE_HZ) for news in told if isinstance(news, PullJudged) and news.final}


def numbers_of(angle_deg: np.ndarray) -> np.ndarray:
    """The samples' numbers, out of their angles."""
    return np.round((angle_deg * 100 % 1) * 1e4).astype(int) % 10000


class NotedLine(SerialLine):
    """A line that notes in a file shared with the far end when it had read how many bytes."""

    notes: np.memmap
    count = 0

    def read(self, most: int = MOST_BYTES) -> bytes:
        """What came."""
        data = super().read(most)
        if data:
            self.count += len(data)
            at = int(self.notes[0, 0]) + 1
            self.notes[at] = time.monotonic(), self.count
            self.notes[0, 0] = at
        return data


def record(port: str, folder: str, marks: str, notes: str) -> None:
    """The child: as `platepull record`, until it is killed."""
    profile = DeviceProfile(name="kills", port=port, protocol="text", capacity_nm=200.0, text=TEXT)
    recorder = recorder_into(Path(folder), TraceInfo(software="platepull"), Path(marks))
    session = Session(sensor=Sensor(capacity_nm=200.0), window=Window.parse("35..60 N.m"), recorder=recorder)

    def opened(name: str) -> NotedLine:
        line = NotedLine(name, profile.baud, streams=True)
        line.notes = np.memmap(notes, dtype=np.float64, mode="r+", shape=NOTES)
        return line

    with Bench(LiveSource(profile, SystemClock(), opened), session) as bench:
        while True:
            bench.wait_for_news(0.1)
            bench.scope()


@dataclass(slots=True)
class Found:
    """What the kills showed."""

    kills: int = 0
    in_a_pull: int = 0
    over: int = 0
    files: int = 0
    unread_samples: int = 0
    late_s: list[float] = field(default_factory=list)
    lost: list[str] = field(default_factory=list)
    unwritten: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    drafts: int = 0


def one(
    number: int,
    after_s: float,
    folder: Path,
    context: multiprocessing.context.BaseContext,
    ends_found: set[int],
    found: Found,
    lock: threading.Lock,
) -> None:
    """One child, killed `after_s` after its first byte was sent."""
    lines, _ = stream()
    ends = np.cumsum([len(line) for line in lines])
    data = b"".join(lines)
    far, near = os.openpty()
    tty.setraw(near)
    os.set_blocking(far, False)
    marks = folder / "marks"
    notes = np.memmap(folder / "notes", dtype=np.float64, mode="w+", shape=NOTES)
    child = context.Process(target=record, args=(os.ttyname(near), str(folder / "pulls"), str(marks), str(folder / "notes")))
    child.start()
    while not list(marks.glob("*.json")):
        time.sleep(0.01)
    time.sleep(0.3)  # the port is open then; what is sent before would be thrown away by opening it
    os.write(far, FIRST)
    began, sent = time.monotonic(), 0
    while (now := time.monotonic() - began) < after_s:
        due = int(ends[min(len(lines) - 1, int(now * RATE_HZ))])
        if due > sent:
            with contextlib.suppress(BlockingIOError):
                sent += os.write(far, data[sent:due])
        time.sleep(0.002)
    assert child.pid is not None
    os.kill(child.pid, signal.SIGKILL)
    killed_s, killed_at = time.monotonic() - began, datetime.now().astimezone()
    child.join()
    waiting = array.array("i", [0])
    fcntl.ioctl(near, termios.FIONREAD, waiting)
    os.close(far)
    os.close(near)
    read_to = int(np.searchsorted(ends, sent - waiting[0], "right")) - 1  # the last sample that was read whole
    reads = np.array(notes[1 : 1 + int(notes[0, 0])]) - (began, len(FIRST))  # when it had read how many bytes of the stream
    early = reads[reads[:, 0] < killed_s - LATE_S]
    owed_to = min(read_to, int(np.searchsorted(ends, early[-1, 1] if early.size else 0, "right")) - 1)
    with lock:
        found.kills += 1
        found.unread_samples += int(np.searchsorted(ends, sent, "right")) - 1 - read_to
    look(number, folder, marks, lines, read_to, owed_to, reads, ends, killed_s, killed_at, ends_found, found, lock)


def look(number, folder, marks, lines, read_to, owed_to, reads, ends, killed_s, killed_at, ends_found, found, lock) -> None:  # type: ignore[no-untyped-def]
    """What the kill left, and what the next recorder makes of it."""
    pulls = folder / "pulls"
    cut: list[Path] = []
    kept: set[int] = set()
    for file in sorted(pulls.glob("*.csv")):
        with lock:
            found.files += 1
        if not file.stat().st_size:
            continue
        trace, info = read_trace(file)
        if not len(trace):
            continue
        at = numbers_of(trace.angle_deg)
        kept |= set(at.tolist())
        if (np.diff(at) != 1).any():
            with lock:
                found.lost.append(f"kill {number}: {file.name} has a hole")
        finished = info_path(file).exists() and not info.unfinished
        if not finished:
            cut.append(file)
            last = int(at[-1])
            moment = next((moment for moment, count in reads if count >= ends[min(last + 1, len(lines) - 1)]), killed_s)
            with lock:
                found.in_a_pull += 1
                if last in ends_found:  # it is over, and what came later belongs to no pull
                    found.over += 1
                    continue
                found.late_s.append(killed_s - moment if last < read_to else 0.0)
                if last < owed_to:
                    found.lost.append(
                        f"kill {number} after {killed_s:.3f} s: {owed_to - last} samples read and lost in {file.name}"
                    )
    owed = np.flatnonzero(stream()[1][: owed_to + 1] > LOADED_NM)
    if missing := [each for each in owed.tolist() if each not in kept]:
        with lock:
            found.unwritten.append(
                f"kill {number} after {killed_s:.3f} s: {len(missing)} loaded samples in no file, from {missing[0]} on"
            )
    before = len(list(pulls.glob("*.part")))
    highest = max(
        (int(file.name.split("_")[3].split(".")[0]) for file in pulls.glob("*.csv") if file.stat().st_size > 60), default=0
    )
    after = recorder_into(pulls, TraceInfo(), marks)
    told = after.news()
    after.close()
    with lock:
        found.drafts += before
        if list(pulls.glob("*.part")) or list(marks.iterdir()):
            found.wrong.append(f"kill {number}: something half is left")
        right_moment = all(abs((each.at - killed_at).total_seconds()) < 1.5 for each in told)
        if [each.file for each in told] != (cut or [None]) or not right_moment:
            found.wrong.append(f"kill {number}: told {told}, cut was {cut}, killed at {killed_at}")
        elif any(not read_trace(file)[1].stated().excluded for file in cut):
            found.wrong.append(f"kill {number}: the cut pull is not marked")
        if after.next_number != highest + 1:
            found.wrong.append(f"kill {number}: the numbers go on with {after.next_number} after {highest}")
        if any(not info_path(file).exists() for file in pulls.glob("*.csv")):
            found.wrong.append(f"kill {number}: a recording without metadata is left")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=500)
    parser.add_argument("--at-once", type=int, default=4)
    parser.add_argument("--load", type=int, default=0)
    parser.add_argument("--disk", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    dice, ends_found, found, lock = random.Random(args.seed), ends_of_pulls(), Found(), threading.Lock()
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["record_kills"])
    sys.path.insert(0, str(Path(__file__).parent))
    began = time.monotonic()
    hogs = [subprocess.Popen([sys.executable, "-c", HOG]) for _ in range(args.load)]
    scratch = tempfile.TemporaryDirectory()
    hogs += [subprocess.Popen([sys.executable, "-c", DISK_HOG, f"{scratch.name}/{n}"]) for n in range(args.disk)]
    plan = iter([(number, dice.uniform(0.2, SHAPE_S[-1])) for number in range(args.kills)])
    try:
        with tempfile.TemporaryDirectory() as folder:

            def work() -> None:
                while True:
                    with lock:
                        number, after_s = next(plan, (-1, 0.0))
                    if number < 0:
                        return
                    mine = Path(folder) / str(number)
                    mine.mkdir()
                    try:
                        one(number, after_s, mine, context, ends_found, found, lock)
                    except Exception as fault:  # noqa: BLE001  told, and the other kills go on
                        with lock:
                            found.wrong.append(f"kill {number}: {fault!r}")

            workers = [threading.Thread(target=work) for _ in range(args.at_once)]
            for worker in workers:
                worker.start()
            for worker in workers:
                worker.join()
    finally:
        for hog in hogs:
            hog.kill()
            hog.wait()
        scratch.cleanup()
    late_ms = 1000 * np.percentile(found.late_s or [0.0], [50, 99, 100])
    print(f"{found.kills} kills, {found.in_a_pull} in a pull ({found.over} of them over, not yet synced)")
    print(f"{found.files} files, all readable; {found.drafts} half metadata cleared")
    print(f"kills that lost a sample read over {LATE_S} s before: {len(found.lost)} of a pull, {len(found.unwritten)} of a load")
    print(f"samples left in the port: {found.unread_samples}")
    print(f"read and not on the disk, age in ms: median {late_ms[0]:.0f}, 99 % {late_ms[1]:.0f}, worst {late_ms[2]:.0f}")
    print(f"wrong at the next start: {len(found.wrong)}; load {os.getloadavg()[0]:.1f}, {time.monotonic() - began:.0f} s")
    for line in [*found.lost, *found.unwritten, *found.wrong][:20]:
        print("  " + line)
    return 1 if found.lost or found.unwritten or found.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
