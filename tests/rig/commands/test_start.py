"""What a start loads: the libraries that are slow to import stay out where nothing asks for them."""

import json
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
