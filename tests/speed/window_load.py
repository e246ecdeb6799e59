"""What the window takes of a processor: with no line, and with the simulated bench at 1 kHz, each for a minute.

    python tests/speed/window_load.py [--seconds 60] [--rate 1000]

Wanted: idle under 1 % of a core, 1 kHz under 8 %. The simulated bench is a process of its own and does not count.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import time
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PySide6.QtCore import QEventLoop, QTimer
from PySide6.QtWidgets import QApplication

from analysis.window import Window
from rig.calibration.sensor_in_use import SensorChoice
from rig.files.metadata import TraceInfo
from rig.live.emulator import PRETEND_WINDOW, pretend_bench
from rig.window.controller import Controller, Means
from rig.window.memory import Remembered
from rig.window.model import BenchModel, Source
from rig.window.openers import Benches
from rig.window.qt.main_window import MainWindow

SETTLING_S = 3.0


def share(seconds: float) -> float:
    """Share of a core that this process takes over so many seconds of Qt's loop."""
    loop = QEventLoop()
    QTimer.singleShot(round(1000 * seconds), loop.quit)
    began, used = time.perf_counter(), time.process_time()
    loop.exec()
    return (time.process_time() - used) / (time.perf_counter() - began)


def main() -> None:
    """Measure both."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--rate", type=float, default=1000.0)
    args = parser.parse_args()
    app = QApplication([])
    with TemporaryDirectory() as folder, contextlib.ExitStack() as tidy:
        benches = Benches(SensorChoice(date.today()), Path(folder), TraceInfo())
        controller = Controller(BenchModel(window=Window.parse(PRETEND_WINDOW)), Remembered(), Means(benches=benches))
        window = MainWindow(controller, cautions=False)
        window.resize(1280, 800)
        window.show()
        share(SETTLING_S)
        print(f"idle, no line: {100 * share(args.seconds):5.2f} % of a core   (wanted: under 1)")
        controller.lines.open_line(tidy.enter_context(pretend_bench("both-ways", rate=f"{args.rate:g} Hz")), Source.SIMULATED)
        while not any(pull.final for pull in controller.model.pulls):  # what is loaded once, for the first pull, does not count
            share(1.0)
        told = share(args.seconds)
        pulls = len(controller.model.pulls)
        print(f"{args.rate:g} Hz, {pulls} pulls: {100 * told:5.2f} % of a core   (wanted at 1 kHz: under 8)")
        window.close()
    del app


if __name__ == "__main__":
    main()
