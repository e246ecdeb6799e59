"""What a start loads: the libraries that are slow to import stay out where nothing asks for them."""

import json
import os
import subprocess
import sys
from pathlib import Path

RECORDINGS = Path(__file__).resolve().parents[3] / "recordings"

LOADED = """
import json, sys
from rig.cli import main
status = main(sys.argv[1:])
print(json.dumps([status, sorted(sys.modules)]))
"""


def loaded_by(*words):
    done = subprocess.run([sys.executable, "-c", LOADED, *words], capture_output=True, text=True, check=True)
    status, modules = json.loads(done.stdout.splitlines()[-1])
    assert status == 0
    return set(modules)


def test_analyse_loads_nothing_slow_that_it_does_not_use():
    loaded = loaded_by("analyse", str(RECORDINGS / "as_found_low.csv"), "--window", "25..45 lbf.ft", "--budget")
    assert {"numpy", "scipy.ndimage", "analysis.pull.reading"} <= loaded
    slow = {"scipy.stats", "scipy.signal", "scipy.optimize", "scipy.interpolate", "pint", "sqlalchemy", "alembic", "PySide6"}
    slow |= {"pyqtgraph", "pymodbus", "serial", "jsonschema", "typst", "concurrent.futures.process"}
    assert not slow & loaded


FIRST_FRAME = """
import json, sys
from PySide6.QtWidgets import QApplication
from rig.window.app import Shell
from rig.window.controller import Controller, Means
from rig.window.memory import Remembered
from rig.window.model import BenchModel
app = QApplication([])
shell = Shell(Controller(BenchModel(), Remembered(), Means()))
shell.window.painted.connect(app.quit)
app.exec()
print(json.dumps(sorted(sys.modules)))
"""


def test_the_first_frame_waits_for_no_analysis_line_or_book():
    done = subprocess.run(
        [sys.executable, "-c", FIRST_FRAME],
        capture_output=True,
        text=True,
        check=True,
        env=os.environ | {"QT_QPA_PLATFORM": "offscreen"},
    )
    loaded = set(json.loads(done.stdout.splitlines()[-1]))
    assert {"PySide6.QtWidgets", "rig.window.qt.cautions_page"} <= loaded
    slow = {"scipy", "analysis.pull.reading", "analysis.compare.comparison", "analysis.pack.inference", "rig.live.session"}
    slow |= {"serial", "pymodbus", "pint", "sqlalchemy", "alembic", "typst"}
    assert not slow & loaded
