"""How often the port is drained and how late samples are on the disk: `python tests/speed/drain.py [--load 20] [--seconds 60]`.

A far end in a process of its own sends 5,000 samples a second as frames, a pull every 8 s. The near end reads, records and judges
them as `platepull record` does, while LOAD processes compute beside it. Prints how long the port waited between two reads by the
process that drains it, and for comparison between two turns of the program's own thread and of a bare loop that does nothing but
look, without precedence; how late pieces were written after they had been taken; how many samples came of those that were sent.
With `--here` the thread itself drains the port, as where no process can be had.
Exit status 1 where the port was drained later than every 50 ms in more than one of a thousand times.
"""

from __future__ import annotations

import argparse
import array
import os
import subprocess
import sys
import tempfile
import time
from datetime import datetime
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]
for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

import numpy as np  # noqa: E402

from analysis.results import Sensor  # noqa: E402
from analysis.window import Window  # noqa: E402
from drivers.clock import SystemClock  # noqa: E402
from drivers.line import MOST_BYTES, READ_S, SerialLine  # noqa: E402
from drivers.port_reader import PortReader  # noqa: E402
from drivers.profile import DeviceProfile  # noqa: E402
from drivers.source import LiveSource  # noqa: E402
from rig.files.metadata import TraceInfo  # noqa: E402
from rig.live.pull_file import PullFile  # noqa: E402
from rig.live.recorder import Recorder  # noqa: E402
from rig.live.runner import Bench  # noqa: E402
from rig.live.session import Session  # noqa: E402

HOG = f"import os\nwhile os.getppid() == {os.getpid()}: pass"
"""What computes beside it, and ends with this program however that ends."""
DRAIN_S = 0.05
SHARE = 0.999
MOST_NOTES = 200_000
LOADED_NM = 1.0
"""From here on the pull is under way: far above the noise of the far end."""


NOTING = f"""
import os, sys, time
sys.path.insert(0, {str(ROOT / "drivers")!r})
import port_reader
import mmap
notes = mmap.mmap(os.open(sys.argv[1], os.O_RDWR), 0)
moments, at = memoryview(notes).cast("d"), 0
def note():
    global at
    moments[at] = time.monotonic()
    at += 1
if sys.argv[2] == "bare":
    while True:
        note()
        port_reader.select.select([0], [], [], {READ_S})
port_reader.ask_for_precedence()
port_reader.take_off(int(sys.argv[2]), at_least_every_s={READ_S}, looking=note)
"""
"""The very process that drains a port, noting when it reads; or a bare loop."""


def noting(file: Path) -> tuple[str, ...]:
    """The command of it; it notes into memory that is shared, for a file's write may wait for the disk."""
    file.write_bytes(bytes(8 * MOST_NOTES))
    return (sys.executable, "-I", "-S", "-c", NOTING, str(file))


def noted(file: Path) -> list[float]:
    """What it noted."""
    moments = array.array("d", file.read_bytes())
    return [moment for moment in moments if moment]


class WatchedLine(SerialLine):
    """A line that notes when it was read by the program."""

    def __init__(self, port: str, baud: int, *, streams: bool) -> None:
        super().__init__(port, baud, streams=streams)
        self.moments: list[float] = []

    def read(self, most: int = MOST_BYTES) -> bytes:
        """What came; noted at the begin of the read, which takes at once what is there."""
        self.moments.append(time.monotonic())
        return super().read(most)


class WatchedRecorder(Recorder):
    """A recorder that notes how late a piece is written after it was taken."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder, TraceInfo(), lambda: datetime.now().astimezone(), time.monotonic)
        self.taken: dict[float, float] = {}
        self.late_s: list[float] = []
        self.unwritten_s: list[float] = []

    def add(self, piece, run=0):  # type: ignore[no-untyped-def]
        """Noted."""
        self.taken[float(piece.time_s[-1])] = time.monotonic()
        super().add(piece, run)


def watch_writing(recorder: WatchedRecorder) -> None:
    """Note when a piece stands in the file; those of the pre-roll were not late."""
    append = PullFile.append

    def noted(file, pieces):  # type: ignore[no-untyped-def]
        first = file.pieces == 0
        append(file, pieces)
        now = time.monotonic()
        if first:
            # Until here a kill leaves nothing of the pull: from its first loaded piece on.
            taken = [recorder.taken.get(float(one.time_s[-1])) for one in pieces if abs(one.torque_nm).max() > LOADED_NM]
            recorder.unwritten_s += [now - moment for moment in taken if moment is not None][:1]
        else:
            # A piece counts once: the last one is written again, cut, when the pull's end is known.
            moments = [recorder.taken.pop(float(piece.time_s[-1]), now) for piece in pieces]
            recorder.late_s += [now - moment for moment in moments]

    PullFile.append = noted  # type: ignore[method-assign]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--load", type=int, default=20)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--rate", type=int, default=5000)
    parser.add_argument("--here", action="store_true", help="the thread drains the port, no process of its own")
    args = parser.parse_args()
    far = subprocess.Popen(
        [sys.executable, str(Path(__file__).with_name("fast_frames.py")), "--send", "--rate", str(args.rate)],
        stdin=-1,
        stdout=-1,
        text=True,
    )
    assert far.stdin is not None
    assert far.stdout is not None
    profile = DeviceProfile(name="fast", port=far.stdout.readline().strip(), protocol="frames", capacity_nm=200.0)
    lines: list[WatchedLine] = []

    def opened(port: str) -> WatchedLine:
        lines.append(WatchedLine(port, profile.baud, streams=not args.here))
        return lines[-1]

    with tempfile.TemporaryDirectory() as folder:
        PortReader.command = noting(Path(folder) / "drained")
        bare = subprocess.Popen([*noting(Path(folder) / "bare"), "bare"], stdin=subprocess.PIPE)
        recorder = WatchedRecorder(Path(folder) / "pulls")
        watch_writing(recorder)
        session = Session(sensor=Sensor(capacity_nm=200.0), window=Window.parse("35..60 N.m"), recorder=recorder)
        with Bench(LiveSource(profile, SystemClock(), opened), session) as bench:
            time.sleep(1.0)
            hogs = [subprocess.Popen([sys.executable, "-c", HOG]) for _ in range(args.load)]
            far.stdin.write("go\n")
            far.stdin.flush()
            began = time.monotonic()
            while time.monotonic() < began + args.seconds:
                bench.wait_for_news(0.1)
                bench.scope()
            load = os.getloadavg()[0]
            far.stdin.write("end\n")
            far.stdin.flush()
            sent = int(far.stdout.read())
            ended = time.monotonic()
            for hog in hogs:
                hog.kill()
            while bench.status.line.samples < sent and time.monotonic() < ended + 5.0:
                bench.wait_for_news(0.1)
            bare.kill()
            bare.communicate()
            samples, pulls, high = bench.status.line.samples, bench.status.pulls, bench.status.line.queue_high_water
        who = {"thread": lines[0].moments, "process": noted(Path(folder) / "drained"), "bare loop": noted(Path(folder) / "bare")}
    waits = {name: np.diff([moment for moment in moments if began < moment < ended]) for name, moments in who.items()}
    drained = waits["thread" if args.here else "process"]
    in_time = float((drained <= DRAIN_S).mean())
    late_ms = 1000 * np.percentile(recorder.late_s, [50, 99.9, 100])
    print(
        f"load {load:.1f}; {drained.size} reads; drained within 50 ms: {100 * in_time:.3f} %, longest {1000 * drained.max():.0f} ms"
    )
    for name, each in waits.items():
        if each.size:
            print(f"  {name:9} within 50 ms {100 * (each <= DRAIN_S).mean():.3f} %, longest {1000 * each.max():.0f} ms")
    print(f"written after taken, ms: median {late_ms[0]:.1f}, 99.9 % {late_ms[1]:.0f}, worst {late_ms[2]:.0f}")
    begun_ms = ", ".join(f"{1000 * each:.0f}" for each in recorder.unwritten_s)
    print(f"from {LOADED_NM:g} N.m on until the pull's first samples are in its file, ms: {begun_ms}")
    print(f"{sent} samples sent, {samples} received; {pulls} pulls; most pieces that waited for the session: {high}")
    return 0 if in_time >= SHARE and samples == sent else 1


if __name__ == "__main__":
    sys.exit(main())
