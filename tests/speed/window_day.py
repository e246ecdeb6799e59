"""A working day of the real window, offscreen: memory, threads and open files at each hour of the day.

    python tests/speed/window_day.py [--hours 8] [--pulls 120] [--rate 1000]

What is real: window, reader, decoder, recorder, session and judge on their own threads, every sample decoded and looked at, every
pull recorded, read, judged and painted; a new series at every sixth pull, every page shown once an hour, both themes.
What is compressed: the clock of the line, which goes on with every read as fast as the bench keeps up (some 100 times real time).
So the window paints 30 frames a second of ours, not of the day's: far fewer than in a day. A read brings 100 ms instead of 20.
There is no port, no job book and no sound.
Exit status 1 where memory at the end is above that after the first quarter by more than 15 % and 20 MB, or threads or files grow.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import threading
import time
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import numpy as np
from PySide6.QtCore import QEventLoop, QTimer
from PySide6.QtWidgets import QApplication
from soak import PEAK_NM, StreamClock, resident_mb

from analysis.judgement import DecisionRule
from analysis.window import Window
from drivers.codec import Reading
from drivers.line import MOST_BYTES
from drivers.profile import DeviceProfile
from drivers.source import LiveSource
from drivers.text import Column, TextFormat, encode_line
from rig.calibration.sensor_in_use import SensorChoice
from rig.files.metadata import TraceInfo
from rig.live.line_tap import RawTap
from rig.live.recorder import Recorder
from rig.live.runner import Bench
from rig.live.session import Session
from rig.window.controller import Controller
from rig.window.means import Means
from rig.window.memory import Remembered
from rig.window.model import BenchModel, BenchState
from rig.window.openers import Benches, Opened
from rig.window.qt.main_window import MainWindow

A_READ_S = 0.1
PULL_S = 16.0
AHEAD_READS = 40
"""So many reads may be under way: the bench keeps up, and none is dropped."""
SERIES_OF = 6
CAPACITY_NM = 200.0


def reads_of(torque: np.ndarray, angle: np.ndarray, layout: TextFormat, a_read: int) -> list[bytes]:
    """What the device sends, read by read."""
    lines = [encode_line(layout, Reading(t, a, 0.0), digits=4) for t, a in zip(torque.tolist(), angle.tolist(), strict=True)]
    return [b"".join(lines[first : first + a_read]) for first in range(0, len(lines), a_read)]


@dataclass
class Day:
    """The far end and the line to it: rest, and a pull at even distances."""

    clock: StreamClock
    rate_hz: float
    hours: float
    pulls: int
    bench: Bench | None = None
    name: str = "a day"
    ended: bool = False
    sent: int = 0
    reads: int = 0
    _pull: list[bytes] = field(default_factory=list)
    _rest: list[bytes] = field(default_factory=list)

    def __post_init__(self) -> None:
        layout = self.layout
        dice = np.random.default_rng(1)
        self.a_read = round(self.rate_hz * A_READ_S)
        time_s = np.arange(int(PULL_S * self.rate_hz)) / self.rate_hz
        torque = np.interp(time_s, [0, 3, 4, 4.01, 5.5, 5.7, PULL_S], [0, 0, PEAK_NM, 48, 48, 0, 0])
        angle = np.interp(time_s, [0, 3, 4, 4.01, 5.5, 8, 10, PULL_S], [0, 0, 2, 3, 60, 60, 0, 0])
        self._pull = reads_of(torque + dice.normal(0, 0.05, time_s.size), angle, layout, self.a_read)
        calm = np.zeros(20 * self.a_read)
        self._rest = reads_of(dice.normal(0, 0.05, calm.size), calm, layout, self.a_read)

    @property
    def layout(self) -> TextFormat:
        """How a line of it is laid out."""
        return TextFormat(columns=(Column("torque", "N.m"), Column("angle", "deg")), rate_hz=self.rate_hz)

    @property
    def all_reads(self) -> int:
        """Reads of the whole day."""
        return round(self.hours * 3600 / A_READ_S)

    def read(self, most: int = MOST_BYTES) -> bytes:
        """The next bytes; waits while the bench has too many of them before it."""
        while self.bench is None or self.sent - self.bench.status.line.samples > AHEAD_READS * self.a_read:
            time.sleep(0.001)
        if self.reads >= self.all_reads:
            self.ended = True
            return b""
        every = self.all_reads // self.pulls
        at = self.reads % every - (every - len(self._pull)) // 2
        data = self._pull[at] if 0 <= at < len(self._pull) else self._rest[self.reads % len(self._rest)]
        self.reads += 1
        self.clock.now_s += A_READ_S
        self.sent += self.a_read
        return data

    def write(self, data: bytes) -> None:
        """Nobody listens."""

    def discard(self) -> None:
        """There is nothing to throw away."""

    def close(self) -> None:
        """A second time does nothing."""


@dataclass(frozen=True, slots=True)
class DayBenches(Benches):
    """Opens the day instead of a port."""

    day: Day | None = None

    def line(self, profile: DeviceProfile, window: Window | None, rule: DecisionRule, first_number: int = 1) -> Opened:
        """As a line, on the day's clock."""
        day = self.day
        assert day is not None
        assert self.out is not None
        sensor, info = self.sensors.of_line(profile, self.info)
        recorder = Recorder(self.out, info, lambda: datetime_of(day.clock), time.monotonic)
        session = Session(sensor=sensor, window=window, rule=rule, known=self.known, recorder=recorder, first_number=first_number)
        source = LiveSource(profile, day.clock, lambda port: day, list)
        day.bench = Bench(source, session)
        return Opened(day.bench, None, recorder, profile, info, RawTap())


def datetime_of(clock: StreamClock):  # type: ignore[no-untyped-def]
    """The wall time of the day."""
    from datetime import datetime, timedelta

    return datetime(2026, 1, 5, 8).astimezone() + timedelta(seconds=clock.now_s)


def main() -> int:
    """Live through a day."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--hours", type=float, default=8.0)
    parser.add_argument("--pulls", type=int, default=120)
    parser.add_argument("--rate", type=float, default=1000.0)
    args = parser.parse_args()
    app = QApplication([])
    with tempfile.TemporaryDirectory() as folder:
        day = Day(StreamClock(), args.rate, args.hours, args.pulls)
        profile = DeviceProfile(name="a day", port="day", baud=115200, protocol="text", text=day.layout, capacity_nm=CAPACITY_NM)
        benches = DayBenches(SensorChoice(date.today()), Path(folder), TraceInfo(), day=day)
        controller = Controller(BenchModel(window=Window.parse("40..65 N.m")), Remembered(), Means(benches=benches))
        window = MainWindow(controller, cautions=False)
        window.resize(1280, 800)
        window.show()
        for page in window.all_pages():  # what each page loads when it is made first is none of the day's
            window.show_page(page)
            app.processEvents()
        window.show_bench()
        controller.lines.open_line(profile)
        loop, began = QEventLoop(), time.perf_counter()
        table: list[tuple[float, int, int]] = []

        def pulls() -> int:
            return sum(len(series.pulls) for series in controller.model.all_series)

        def tell() -> None:
            table.append((resident_mb(), threading.active_count(), len(os.listdir("/proc/self/fd"))))
            mb, threads, files = table[-1]
            spent = time.perf_counter() - began
            dropped = day.bench.status.line.dropped if day.bench else 0
            made = f"{pulls()} pulls in {len(controller.model.all_series)} series, dropped {dropped}"
            at = f"hour {day.clock.now_s / 3600:5.2f}"
            print(f"{at}: {mb:6.1f} MB, {threads} threads, {files} open files, {made}, {spent:.0f} s", flush=True)

        def look() -> None:
            made = len([pull for pull in controller.model.series.pulls if pull.final])
            if made >= SERIES_OF:
                controller.new_series()
            if day.clock.now_s >= 3600 * len(table) * args.hours / 8:
                for page in (*window.all_pages(), window.bench):
                    window.show_page(page)
                    app.processEvents()
                controller.looks.turn_theme()
                window.dress()
                tell()
            if controller.model.line.state is BenchState.ENDED:
                loop.quit()

        timer = QTimer()
        timer.timeout.connect(look)
        timer.start(50)
        loop.exec()
        timer.stop()
        tell()
        window.close()
    after = threading.active_count(), len(os.listdir("/proc/self/fd"))
    print(f"after the window is closed: {after[0]} threads, {after[1]} open files")
    first, last = table[len(table) // 4], table[-1]
    grown = last[0] > 1.15 * first[0] + 20 or last[1] > first[1] or last[2] > first[2] + 2
    print("GROWS" if grown else "flat")
    return 1 if grown else 0


if __name__ == "__main__":
    sys.exit(main())
