"""How long the program takes to start, as a ratio to a bare script that imports the same libraries and does nothing.

    python tests/speed/start.py [--times 9] [--imports] [--book]

`analyse`: the whole command on one recording of 8 s, against `import numpy, scipy.special, scipy.ndimage`. `live`: the command
until the window was painted for the first time (the cautions), until its bench page was made and its line was up, against
`import numpy, pyqtgraph, PySide6.QtWidgets`.
Bare script and program take turns in one run, so that a busy machine slows both; the ratio is that of the medians, of the time by
the clock and of the processor's. `--book` sets the window with the job book against the same without one. `--imports`
tells what the imports cost by package (python -X importtime).
"""

from __future__ import annotations

import argparse
import os
import re
import statistics
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from rig.live.emulator import pretend_bench

ROOT = Path(__file__).resolve().parents[2]
TRACE = ROOT / "recordings" / "as_found_low.csv"
BARE_ARRAYS = "import numpy, scipy.special, scipy.ndimage"
BARE_PLOTS = "import numpy, pyqtgraph, PySide6.QtWidgets"
ANALYSE = "import sys; from rig.cli import main; sys.exit(main())"

WINDOW = """
import sys, time
began = float(sys.argv.pop(1))
from PySide6.QtCore import QEvent, QObject, QTimer
from PySide6.QtWidgets import QApplication
app = QApplication(sys.argv[:1])
class Watch(QObject):
    def eventFilter(self, seen, event):
        if event.type() == QEvent.Type.Paint and seen.isWidgetType():
            app.removeEventFilter(self)
            QTimer.singleShot(0, self.painted)  # comes after all of this frame
        return False
    def painted(self):
        print("painted", time.time() - began, time.process_time(), flush=True)
        self.timer = QTimer(interval=5)
        self.timer.timeout.connect(self.look)
        self.timer.start()
    def look(self):
        for window in app.topLevelWidgets():
            model = getattr(window, "model", None)
            if model is not None and model.line_name and window.bench:
                print("line", time.time() - began, time.process_time(), flush=True)
                self.timer.stop()
                window.close()
watch = Watch()
app.installEventFilter(watch)
from rig.cli import main
sys.exit(main())
"""


Took = tuple[float, float]
"""Seconds by the clock and of the processor."""


def took(code: str, *words: str) -> Took:
    """From the command to its end."""
    began, before = time.perf_counter(), os.times()
    subprocess.run([sys.executable, "-c", code, *words], stdout=subprocess.DEVNULL, check=True, timeout=60)
    after = os.times()
    used = after.children_user + after.children_system - before.children_user - before.children_system
    return time.perf_counter() - began, used


WITHOUT_BOOK = """
import rig.commands._book
rig.commands._book.book_means = lambda *known: None
"""


def window_took(profile: Path, *, before: str = "") -> dict[str, Took]:
    """From the command to the first painted frame, and to the open line; `before` is code that runs first."""
    command = [sys.executable, "-c", before + WINDOW, str(time.time()), "live", "--device", str(profile)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60)
    rows = re.findall(r"^(painted|line) ([\d.]+) ([\d.]+)$", done.stdout, re.MULTILINE)
    found = {name: (float(clock), float(used)) for name, clock, used in rows}
    if found.keys() != {"painted", "line"}:
        raise SystemExit(f"the window did not start:\n{done.stdout}{done.stderr}")
    return found


def told(name: str, own: list[Took], bare: list[Took]) -> None:
    """One row: medians, their ratio by the clock and by the processor, and the range."""
    (clock, used), (bare_clock, bare_used) = ([statistics.median(each) for each in zip(*of, strict=True)] for of in (own, bare))
    least, most = min(own)[0], max(own)[0]
    print(
        f"{name:36s} {clock:5.2f} s, bare {bare_clock:5.2f} s: ratio {clock / bare_clock:4.2f}"
        f"   of the processor {used:5.2f} s, {bare_used:5.2f} s: {used / bare_used:4.2f}   (clock {least:.2f} to {most:.2f})"
    )


def imports(code: str) -> None:
    """What the imports of a piece of code cost by package, the dearest first."""
    done = subprocess.run([sys.executable, "-X", "importtime", "-c", code], capture_output=True, text=True)
    own: Counter[str] = Counter()
    for self_us, name in re.findall(r"import time:\s+(\d+) \|\s+\d+ \| +(\S+)", done.stderr):
        top = name.split(".")[0]
        ours = top in ("analysis", "drivers", "rig", "scipy")
        own["the standard library" if top in sys.stdlib_module_names else ".".join(name.split(".")[:2]) if ours else top] += int(
            self_us
        )
    print(f"{code}: {sum(own.values()) / 1e3:.0f} ms; " + ", ".join(f"{name} {us / 1e3:.0f}" for name, us in own.most_common(14)))


def compare_with_book(folder: Path, times: int) -> None:
    """The window with the job book against the same without, in turns."""
    with pretend_bench("workday") as profile:
        path = profile_in(folder, profile.port)
        found: dict[str, list[dict[str, Took]]] = {WITHOUT_BOOK: [], "": []}
        for _ in range(times):
            for before, kept in found.items():
                kept.append(window_took(path, before=before))
    for name, words in (("painted", "first painted frame"), ("line", "bench page made, line up")):
        without, with_book = ([one[name] for one in found[before]] for before in (WITHOUT_BOOK, ""))
        told(f"with the book: {words}", with_book, without)


def profile_in(folder: Path, port: str) -> Path:
    """The profile of a bench at this port, in a file."""
    path = folder / "bench.toml"
    path.write_text(
        f'[device]\nname = "start"\nport = "{port}"\nprotocol = "text"\ncapacity = "200 N.m"\n'
        '[text]\ncolumns = ["time [us]", "torque [N.m]", "angle [deg]"]\n'
    )
    return path


def main() -> None:
    """Measure, and print a row each."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--times", type=int, default=9)
    parser.add_argument("--imports", action="store_true")
    parser.add_argument("--book", action="store_true")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        os.environ |= {"QT_QPA_PLATFORM": "offscreen", "DISPLAY": ":0"}
        os.environ |= {"XDG_CONFIG_HOME": folder, "XDG_DATA_HOME": folder, "APPDATA": folder, "HOME": folder}
        if args.imports:
            for code in (BARE_ARRAYS, "import rig.commands.analyse, rig.files.pull_file", BARE_PLOTS, "import rig.window.app"):
                imports(code)
            return
        if args.book:
            compare_with_book(Path(folder), args.times)
            return
        bare, own = [], []
        for _ in range(args.times):
            bare.append(took(BARE_ARRAYS))
            own.append(took(ANALYSE, "analyse", str(TRACE)))
        told("analyse ONE.csv", own, bare)
        bare, painted, line = [], [], []
        with pretend_bench("workday") as profile:
            path = profile_in(Path(folder), profile.port)
            for _ in range(args.times):
                bare.append(took(BARE_PLOTS))
                window = window_took(path)
                painted.append(window["painted"])
                line.append(window["line"])
        told("live: first painted frame", painted, bare)
        told("live: bench page made, line up", line, bare)


if __name__ == "__main__":
    main()
