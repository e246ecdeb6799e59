"""From the byte to the painted verdict: how long after the lever is let go the window shows what the pull was.

    python tests/speed/verdict_latency.py [--pulls 20] [--rate 1000] [--book]

A pseudo-terminal is the line; the real window reads it, records into a folder and judges. A thread of its own writes the lines of
made pulls at their times and notes when each was written. Two waits are told for each pull, to the end of the panel's painting:

    release   from the byte of the first sample at rest after the let-go; in it the finder waits until the rest has lasted
              (`FinderRules.early_s`, in blocks of `block_s`), which no speed of the program can shorten
    path      from the byte of the sample with which that rest was long enough: line, decoder, finder, reading, judging, painting

The second is the program's own. Wanted: release within 100 ms on a quiet machine. The load of the machine is printed beside it.
With `--book` every pull is entered in a job of the book as well, as it lands.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
import threading
import time
import tty
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import numpy as np  # noqa: E402
from PySide6.QtGui import QPaintEvent  # noqa: E402
from PySide6.QtWidgets import QApplication  # noqa: E402
from support.made import made_stream  # noqa: E402

from analysis.pull.events import PullAtRest  # noqa: E402
from analysis.pull.finder import PullFinder  # noqa: E402
from analysis.trace import Trace  # noqa: E402
from analysis.window import Window  # noqa: E402
from rig.book.book import Book  # noqa: E402
from rig.book.keeper import Keeper  # noqa: E402
from rig.book.place import Place  # noqa: E402
from rig.book.waiting import WaitingRoom  # noqa: E402
from rig.calibration.sensor_in_use import SensorChoice  # noqa: E402
from rig.files.metadata import TraceInfo  # noqa: E402
from rig.live.news import News  # noqa: E402
from rig.live.runner import Listener  # noqa: E402
from rig.live.session import LIVE_RULES  # noqa: E402
from rig.window.controller import Controller, Means  # noqa: E402
from rig.window.memory import Remembered  # noqa: E402
from rig.window.model import BenchModel  # noqa: E402
from rig.window.openers import Benches  # noqa: E402
from rig.window.qt.main_window import MainWindow  # noqa: E402
from rig.window.qt.verdict_panel import VerdictPanel  # noqa: E402

CAPACITY_NM = 200.0
PROFILE = """[device]
name = "pseudo-terminal"
port = "{port}"
protocol = "text"
capacity = "200 N.m"
u = "0.5 % of range"
[text]
columns = ["torque [N.m]", "angle [deg]"]
rate = "{rate} Hz"
"""
AT_REST_NM = 0.5


class Painted:
    """`shown`: by pulls so far, the end of the painting that first showed a verdict with the newest of them."""

    def __init__(self, panel: VerdictPanel, model: BenchModel) -> None:
        self.shown: dict[int, float] = {}
        paint = panel.paintEvent

        def paint_and_note(event: QPaintEvent) -> None:
            paint(event)
            if panel._view is not None:
                self.shown.setdefault(len(model.pulls), time.perf_counter())

        panel.paintEvent = paint_and_note  # type: ignore[method-assign]


class Sender(threading.Thread):
    """Writes the lines of a trace to a pseudo-terminal, each at its time; `written` are those moments."""

    def __init__(self, trace: Trace, line: int) -> None:
        super().__init__(daemon=True)
        self.trace, self.line = trace, line
        self.written = np.zeros(len(trace))

    def run(self) -> None:
        rows = [
            f"{torque:.3f},{angle:.2f}\n".encode() for torque, angle in zip(self.trace.torque_nm, self.trace.angle_deg, strict=True)
        ]
        began = time.perf_counter() - self.trace.time_s[0]
        at = 0
        while at < len(rows):
            now = time.perf_counter() - began
            due = int(np.searchsorted(self.trace.time_s, now, side="right"))
            if due > at:
                os.write(self.line, b"".join(rows[at:due]))
                self.written[at:due] = time.perf_counter()
                at = due
            time.sleep(0.001)


def long_enough(trace: Trace) -> list[tuple[int, int]]:
    """For each pull: the first sample at rest after the let-go, and the one with which the finder's rest was long enough."""
    finder, found = PullFinder(CAPACITY_NM, LIVE_RULES), []
    for at in range(len(trace)):
        for event in finder.feed(trace.cut(at, at + 1)):
            if isinstance(event, PullAtRest):
                loaded = np.flatnonzero(np.abs(trace.torque_nm[:at]) > AT_REST_NM)
                found.append((int(loaded[-1]) + 1, at))
    return found


def in_book(folder: Path) -> tuple[TraceInfo, Callable[[Callable[[News], None]], Listener]]:
    """A job in a book in the folder: what recordings name it by, and the keeper that enters them."""
    place = Place.of(str(folder / "book.sqlite"))

    def clock() -> datetime:
        return datetime.now().astimezone()

    with Book(place, clock) as book:
        job = book.open_job({"unit": "made", "steps": []}, "T.W.").job
    room = WaitingRoom(folder / "waiting")
    return TraceInfo(job=job), lambda tell: Keeper(lambda: Book(place, clock), lambda: str(place), None, "T.W.", room, tell)


def main() -> None:
    """Pull, wait for the paint, print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--pulls", type=int, default=20)
    parser.add_argument("--rate", type=float, default=1000.0)
    parser.add_argument("--book", action="store_true", help="enter every pull in a job of a book on the disk")
    args = parser.parse_args()
    trace = made_stream(args.pulls, rate_hz=args.rate, rest_s=2.0)
    ends = long_enough(trace)
    app = QApplication([])
    ours, theirs = os.openpty()
    tty.setraw(ours)
    tty.setraw(theirs)
    with tempfile.TemporaryDirectory() as folder:
        profile = Path(folder) / "bench.toml"
        profile.write_text(PROFILE.format(port=os.ttyname(theirs), rate=args.rate))
        info, keeper = in_book(Path(folder)) if args.book else (TraceInfo(), None)
        benches = Benches(SensorChoice(date.today()), Path(folder) / "pulls", info, keeper=keeper)
        controller = Controller(BenchModel(window=Window.parse("35..70 N.m")), Remembered(), Means(benches=benches))
        window = MainWindow(controller, cautions=False)
        window.resize(1280, 800)
        window.show()
        controller.lines.open_profile(profile)
        painted = Painted(window.bench.panel, controller.model)
        sender = Sender(trace, ours)
        sender.start()
        while sender.is_alive() or controller.model.state.value == "reading":
            app.processEvents()
            time.sleep(0.0005)
        window.close()
    shown = [painted.shown[number] for number in sorted(painted.shown) if number]
    if len(shown) != len(ends):
        sys.exit(f"{len(ends)} pulls sent, {len(shown)} shown")
    written = sender.written
    waits = np.array([[at - written[rest], at - written[told]] for at, (rest, told) in zip(shown, ends, strict=True)])
    print(f"{len(shown)} pulls at {args.rate:g} Hz, load of the machine {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    for name, column in zip(("release to painted verdict", "of that the program's path"), 1e3 * waits.T, strict=True):
        low, high = np.percentile(column, (10, 95))
        spread = f"10 % {low:6.1f}   95 % {high:6.1f}   worst {column.max():6.1f}"
        print(f"{name:28s} median {statistics.median(column):6.1f} ms   {spread}")


if __name__ == "__main__":
    main()
