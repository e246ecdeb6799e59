"""The README's pictures of the window, made anew: python tests/speed/window_pictures.py [FOLDER]

The real window, without a screen, on a bench that is fed the demo recordings (invented workshop, invented unit). FOLDER is
rig/window/qt/pictures. Look at them before keeping them.
"""

from __future__ import annotations

import datetime
import os
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PySide6.QtGui import QImage  # noqa: E402
from PySide6.QtWidgets import QApplication  # noqa: E402
from support.fed import FedBench  # noqa: E402

from analysis.trace import Trace  # noqa: E402
from analysis.window import Window  # noqa: E402
from rig.files.trace_csv import read_trace  # noqa: E402
from rig.window.controller import Controller, Means  # noqa: E402
from rig.window.memory import Remembered  # noqa: E402
from rig.window.model import BenchModel  # noqa: E402
from rig.window.qt.main_window import MainWindow  # noqa: E402
from rig.words.units import UnitChoice  # noqa: E402

SERIES = ("rebuilt_good", "unequal_packs", "rebuilt_good_other_way", "chatter_new_plates", "as_found_low", "after_additive")
GOOD_SERIES_NM = (47.1, 48.6, 46.4, -46.9, -48.0, -47.2)
"""Peaks of the series on the bench page, three each way."""
CONDITIONS = {"arrangement": "A", "unit": "QF-7 (invented)", "phase": "rebuilt", "plate_state": "new", "oil": "invented gear oil"}


def main() -> None:
    """Feed, show, grab."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / "rig" / "window" / "qt" / "pictures"
    app = QApplication([])
    window = Window.parse("35..60 N.m")
    bench = FedBench(window)
    model = BenchModel(bench, window=window, unit=UnitChoice("N.m", "lbf.ft"))
    controller = Controller(
        model, Remembered(conditions=CONDITIONS, day="2026-03-05"), Means(today=lambda: datetime.date(2026, 3, 5))
    )
    shown = MainWindow(controller, cautions=False)
    shown.resize(1280, 800)
    shown.show()
    at_s = at_deg = 0.0
    for name in SERIES:
        trace, _ = read_trace(ROOT / "recordings" / f"{name}.csv")
        assert trace.angle_deg is not None
        bench.feed(Trace(trace.time_s + at_s, trace.torque_nm, trace.angle_deg + at_deg))
        at_s, at_deg = at_s + float(trace.time_s[-1]) + 0.002, at_deg + float(trace.angle_deg[-1])
        shown.tick()
        app.processEvents()
    model.look_at(4)
    shown.show_page(shown.pull)
    grab(app, shown, folder / "closer_look.png")
    shown.show_bench()
    controller.new_series()
    model.notices.read()
    for peak_nm in GOOD_SERIES_NM:
        bench.pull(abs(peak_nm), back=peak_nm < 0)
        shown.tick()
    for page, name in ((shown.bench, "bench"), (shown.conditions, "before_a_pull")):
        shown.show_page(page)
        grab(app, shown, folder / f"{name}.png")
    shown.let_go()


def grab(app: QApplication, shown: MainWindow, path: Path) -> None:
    """Let Qt paint, then keep the picture."""
    app.processEvents()
    shown.grab().toImage().convertToFormat(QImage.Format.Format_RGB888).save(str(path), quality=0)


if __name__ == "__main__":
    main()
