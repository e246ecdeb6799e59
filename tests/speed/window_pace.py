"""Frames a second of the bench window against a bare pyqtgraph plot of the same points, in one run; and what a frame costs.

    python tests/speed/window_pace.py [--seconds 6]

The window shows 60 s of signal at 5 kHz and at 10 kHz while the stream goes on; the bare plots draw the very points that the window
draws (same thinning, pen and size) in a window of their own. Both are driven as fast as they go, turn and turn about; a frame
counts by the processor time that it takes, so that what else runs on the machine weighs on neither. Then a bare plot draws all
samples, unthinned, as a plot without our picture would have to. The ratio wanted is at least 0.8.
"""

from __future__ import annotations

import argparse
import os
import statistics
import time

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QEvent, QEventLoop, QObject, Qt, QTimer
from PySide6.QtWidgets import QApplication

from analysis.trace import Trace
from analysis.window import Window
from drivers.items import LineUp
from rig.live.news import PullBegan
from rig.live.runner import LineFigures, Status
from rig.window.controller import Controller, Means
from rig.window.memory import Remembered
from rig.window.model import BenchModel
from rig.window.qt.bench_page import LIVE_COLUMNS
from rig.window.qt.main_window import TICK_MS, MainWindow
from rig.window.qt.theme import DARK

SPAN_S = 60.0
FRAME_S = 0.033


class Stream:
    """A bench that has a pull under way for ever, a piece of 20 ms at a time."""

    def __init__(self, rate_hz: float) -> None:
        self.rate_hz, self.at = rate_hz, 0
        time_s = np.arange(round(7 * rate_hz)) / rate_hz
        self.torque = 45 + 6 * np.abs((time_s * 7) % 1.0 - 0.2) + np.random.default_rng(7).normal(0, 0.2, time_s.size)
        self.told: list[object] = [LineUp("stream"), PullBegan(1, 0.0)]
        self.status = Status(pulling=True, line=LineFigures(rate_hz=rate_hz, up=True))
        self.due = 0
        self.pieces: list[Trace] = []

    def owe(self, seconds: float) -> None:
        """Make the pieces of the next seconds, which is the sensor's work and not the window's."""
        self.due += round(seconds * self.rate_hz)
        size = round(0.02 * self.rate_hz)
        while self.due >= size:
            time_s = (self.at + np.arange(size)) / self.rate_hz
            self.pieces.append(Trace(time_s, self.torque[(self.at + np.arange(size)) % self.torque.size], time_s * 20))
            self.at, self.due = self.at + size, self.due - size

    def news(self) -> list[object]:
        told, self.told = self.told, []
        return told

    def scope(self) -> list[Trace]:
        pieces, self.pieces = self.pieces, []
        return pieces

    def ask(self, wish: object) -> None: ...
    def close(self) -> None: ...


def frames(app: QApplication, draw, seconds: float, before=lambda: None) -> list[float]:
    """Seconds of processor time of each frame: draw, then let Qt paint all of it; what comes `before` does not count."""
    taken = []
    end = time.perf_counter() + seconds
    while time.perf_counter() < end:
        before()
        began = time.process_time()
        draw()
        app.processEvents()
        taken.append(time.process_time() - began)
    return taken


def told(name: str, taken: list[float]) -> float:
    rate = len(taken) / sum(taken)
    worst = sorted(taken)[int(0.99 * len(taken))]
    print(f"{name:58s} {rate:7.1f} frames/s   median {1e3 * statistics.median(taken):6.2f} ms   99 % {1e3 * worst:6.2f} ms")
    return rate


class Paints(QObject):
    """Notes the moments at which a plot is painted."""

    def __init__(self, plot: pg.GraphicsView) -> None:
        super().__init__()
        self.moments: list[float] = []
        plot.viewport().installEventFilter(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802
        if event.type() == QEvent.Type.Paint:
            self.moments.append(time.perf_counter())
        return False


def at_the_screens_pace(name: str, plot: pg.GraphicsView, seconds: float) -> float:
    """Frames a second and the longest wait for one, while timers pace the drawing."""
    paints, loop = Paints(plot), QEventLoop()
    QTimer.singleShot(round(1000 * seconds), loop.quit)
    loop.exec()
    gaps = np.diff(paints.moments)
    rate = len(gaps) / gaps.sum()
    print(f"{name:58s} {rate:7.1f} frames/s   longest wait {1e3 * gaps.max():6.1f} ms   (timer: {TICK_MS} ms)")
    return rate


def run(app: QApplication, rate_hz: float, size: tuple[int, int], seconds: float) -> None:
    window_limits = Window.parse("35..60 N.m")
    stream = Stream(rate_hz)
    model = BenchModel(stream, window=window_limits)
    main = MainWindow(Controller(model, Remembered(), Means()), cautions=False)
    main._timer.stop()
    main.resize(*size)
    main.show()
    main.bench.span_s = SPAN_S
    stream.owe(SPAN_S)
    main.tick()

    def arrives() -> None:
        stream.owe(FRAME_S)

    frames(app, main.tick, 1.0, arrives)
    print(f"\n{rate_hz:.0f} Hz, {SPAN_S:.0f} s on screen, {size[0]} x {size[1]}")
    columns = min(LIVE_COLUMNS, main.bench.over_time.width())
    live = model.live(SPAN_S, columns)
    began = time.perf_counter()
    for _ in range(50):
        model.live(SPAN_S, columns)
    print(f"{'   of that, making the picture (thinning both curves)':58s} {1e3 * (time.perf_counter() - began) / 50:26.1f} ms")

    bare = pg.GraphicsLayoutWidget()
    bare.resize(main.bench.over_time.width(), main.bench.over_time.height() + main.bench.over_angle.height())
    curves = []
    for curve, span in ((live.over_time, (-SPAN_S, 0.0)), (live.over_angle, live.turned)):
        plot = bare.addPlot()
        bare.nextRow()
        plot.setRange(xRange=span, yRange=(live.low, live.high), padding=0)
        item = pg.PlotCurveItem(pen=pg.mkPen(DARK.curve, width=2), skipFiniteCheck=True)
        plot.addItem(item)
        curves.append((item, curve))
    for row, stretch in enumerate((main.bench.over_time.height(), main.bench.over_angle.height())):
        bare.ci.layout.setRowStretchFactor(row, stretch)
    bare.show()

    def bare_frame() -> None:
        for item, curve in curves:
            item.setData(curve.x, curve.y)

    frames(app, bare_frame, 1.0)
    of_window: list[float] = []
    of_bare: list[float] = []
    for _ in range(round(2 * seconds)):  # turn and turn about, so that what else runs on the machine weighs on both alike
        of_window += frames(app, main.tick, 0.5, arrives)
        of_bare += frames(app, bare_frame, 0.5)
    whole = told("the bench window (ring, two plots, panel, band, rail)", of_window)
    same = told(f"bare plots of the same {live.over_time.x.size} + {live.over_angle.x.size} points", of_bare)
    print(f"{'ratio window / bare':58s} {whole / same:7.2f}   (wanted: at least 0.8)")
    timer, last = QTimer(), [time.perf_counter()]

    def arrive() -> None:
        now = time.perf_counter()
        stream.owe(now - last[0])
        last[0] = now

    timer.timeout.connect(arrive)
    timer.start(10)
    main._timer.start()
    paced = at_the_screens_pace("the bench window at the screen's pace, stream in real time", main.bench.over_time, seconds)
    main._timer.stop()
    timer.stop()
    main.hide()
    beat = QTimer()
    beat.setTimerType(Qt.TimerType.PreciseTimer)
    beat.timeout.connect(bare_frame)
    beat.start(TICK_MS)
    print(f"{'ratio at the screens pace':58s} {paced / at_the_screens_pace('the bare plots at the same pace', bare, seconds):7.2f}")
    beat.stop()
    count = int(SPAN_S * rate_hz)
    x = np.linspace(-SPAN_S, 0, count)
    y = 45 + 6 * np.abs((x * 7) % 1.0 - 0.2)
    raw = told(f"a bare plot of all {count} samples", frames(app, lambda: curves[0][0].setData(x, y), min(seconds, 4.0)))
    print(f"{'ratio window / bare plot of all samples':58s} {whole / raw:7.1f}")
    bare.close()
    main.close()


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--seconds", type=float, default=6.0)
    seconds = parser.parse_args().seconds
    app = QApplication([])
    for rate_hz in (5000.0, 10_000.0):
        run(app, rate_hz, (1280, 800), seconds)
    run(app, 10_000.0, (1920, 1080), seconds)


if __name__ == "__main__":
    main()
