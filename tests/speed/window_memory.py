"""Ten minutes of the real window on the real simulated bench at 5 kHz: memory, losses, the pace of the ticks.

    python tests/speed/window_memory.py [--minutes 10] [--rate 5000]

The bench is a process of its own on a pseudo-terminal (a socket where there is none); pulls are recorded. Prints a row a minute.
Memory should be flat once the pulls that are kept whole are many enough (16), which takes some minutes.
"""

from __future__ import annotations

import argparse
import datetime
import os
import sys
import tempfile
import time
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication

from analysis.window import Window
from rig.calibration.sensor_in_use import SensorChoice
from rig.files.metadata import TraceInfo
from rig.live.emulator import PRETEND_WINDOW, pretend_bench
from rig.window.controller import Controller, Means
from rig.window.memory import Remembered
from rig.window.model import BenchModel
from rig.window.openers import Benches
from rig.window.qt.main_window import MainWindow


def resident_mb() -> float:
    """Memory held by this process, in MB."""
    statm = Path("/proc/self/statm")
    if statm.exists():
        return int(statm.read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1e6 if sys.platform == "darwin" else 1e3)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--minutes", type=float, default=10)
    parser.add_argument("--rate", type=float, default=5000)
    args = parser.parse_args()
    app = QApplication([])
    with tempfile.TemporaryDirectory() as folder, pretend_bench("workday", rate=f"{args.rate:g} Hz") as profile:
        benches = Benches(SensorChoice(datetime.date.today()), Path(folder), TraceInfo())
        controller = Controller(BenchModel(window=Window.parse(PRETEND_WINDOW)), Remembered(), Means(benches=benches))
        window = MainWindow(controller, cautions=False)
        window.resize(1280, 800)
        window.bench.span_s = 60.0
        window.show()
        controller.lines.open_line(profile)
        waits, last = [0.0], [time.perf_counter()]
        tick = window.tick

        def timed() -> None:
            now = time.perf_counter()
            waits.append(now - last[0])
            last[0] = now
            tick()

        window._timer.timeout.disconnect()
        window._timer.timeout.connect(timed)
        began, used = time.perf_counter(), time.process_time()

        def report() -> None:
            nonlocal used
            wire = controller.model.bench.status.line
            cpu = (time.process_time() - used) / 60
            used = time.process_time()
            ordered = sorted(waits)
            pace = f"median {1e3 * ordered[len(ordered) // 2]:.0f} ms, 99 % {1e3 * ordered[int(0.99 * len(ordered))]:.0f} ms"
            line = (
                f"{wire.samples} samples, lost {wire.faults.total}, dropped {wire.dropped}, waiting at most {wire.queue_high_water}"
            )
            minutes, pulls = (time.perf_counter() - began) / 60, len(controller.model.pulls)
            print(f"{minutes:5.1f} min  {resident_mb():7.1f} MB  {pulls} pulls  {line}", end="  ")
            print(f"{len(waits)} ticks, {pace}, longest {1e3 * ordered[-1]:.0f} ms  cpu {100 * cpu:.0f} %", flush=True)
            waits.clear()
            waits.append(0.0)

        beat = QTimer()
        beat.timeout.connect(report)
        beat.start(60_000)
        QTimer.singleShot(round(60_000 * args.minutes + 500), window.close)
        app.exec()
        files = len(list(Path(folder).glob("*.csv")))
        print(f"{files} files, {len(controller.model.pulls)} pulls")


if __name__ == "__main__":
    main()
