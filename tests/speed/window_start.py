"""From the command to a usable window, and what the imports cost of it.

    python tests/speed/window_start.py [--times 5]

A child process starts `platepull live --device PROFILE` on a simulated bench that runs already; it reports when the window was
painted for the first time and when the line was up. Then one child tells what each library cost to import (python -X importtime).
"""

from __future__ import annotations

import argparse
import os
import re
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

CHILD = """
import os, sys, time
began = float(sys.argv[1])
import rig.window.app
from PySide6.QtCore import QTimer
class Told(rig.window.app.Shell):
    def __init__(self, desk):
        super().__init__(desk)
        self.window.grab()
        print("painted", time.time() - began, flush=True)
        def look():
            if desk.model.line_name:
                print("line", time.time() - began, flush=True)
                self.window.close()
        self.timer = QTimer()
        self.timer.timeout.connect(look)
        self.timer.start(5)
rig.window.app.Shell = Told
from rig.cli import main
sys.exit(main(["live", "--device", sys.argv[2]]))
"""
PARTS = ("numpy", "scipy", "pint", "PySide6", "pyqtgraph", "serial", "rig.window.app")


def main() -> None:
    import time

    from rig.live.emulator import pretend_bench

    parser = argparse.ArgumentParser()
    parser.add_argument("--times", type=int, default=5)
    times = parser.parse_args().times
    told: dict[str, list[float]] = {"painted": [], "line": []}
    with tempfile.TemporaryDirectory() as folder:
        environ = os.environ | {"QT_QPA_PLATFORM": "offscreen", "DISPLAY": ":0", "XDG_CONFIG_HOME": folder, "APPDATA": folder}
        for _ in range(times):
            with pretend_bench("workday") as profile:
                path = Path(folder) / "bench.toml"
                path.write_text(
                    f'[device]\nname = "start"\nport = "{profile.port}"\nprotocol = "text"\ncapacity = "200 N.m"\n'
                    '[text]\ncolumns = ["time [us]", "torque [N.m]", "angle [deg]"]\n'
                )
                command = [sys.executable, "-c", CHILD, str(time.time()), str(path)]
                done = subprocess.run(command, capture_output=True, text=True, env=environ, timeout=60)
                for name, seconds in re.findall(r"^(painted|line) ([\d.]+)$", done.stdout, re.MULTILINE):
                    told[name].append(float(seconds))
        for name, words in (("painted", "command to painted window"), ("line", "command to open line in the window")):
            values = told[name]
            print(
                f"{words:38s} median {statistics.median(values):.2f} s   of {len(values)}: {min(values):.2f} to {max(values):.2f} s"
            )
        imported = subprocess.run(
            [sys.executable, "-X", "importtime", "-c", "import rig.window.app"], capture_output=True, text=True, env=environ
        )
    own: dict[str, int] = dict.fromkeys(PARTS, 0)
    total = 0
    for self_us, name in re.findall(r"import time:\s+(\d+) \|\s+\d+ \| +(\S+)", imported.stderr):
        total += int(self_us)
        for part in PARTS[:-1]:
            if name == part or name.startswith(part + "."):
                own[part] += int(self_us)
    print(
        f"imports of rig.window.app: {total / 1e6:.2f} s; of that "
        + ", ".join(f"{part} {own[part] / 1e6:.2f} s" for part in PARTS[:-1])
    )


if __name__ == "__main__":
    main()
