"""Who may import whom: the contracts in pyproject.toml hold, and each is seen to fail on an import planted against it."""

import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("analysis", "drivers", "rig")
VOCABULARY = {"errors", "bounds", "distributions", "units", "unit_symbols", "stated", "trace", "window", "results", "judgement"}


def contracts():
    return tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["importlinter"]["contracts"]


def linted(folder):
    """Names of contracts to whether they were kept."""
    command = [sys.executable, "-c", "from importlinter.cli import lint_imports_command; lint_imports_command()", "--no-cache"]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=100)
    told = dict(re.findall(r"^(.+?) (KEPT|BROKEN)\b", re.sub(r"\x1b\[[0-9;]*m", "", done.stdout), flags=re.MULTILINE))
    assert set(told) == {contract["name"] for contract in contracts()}, done.stdout + done.stderr
    return told


@pytest.fixture
def house(tmp_path):
    """A copy of the rooms in which imports may be planted."""
    for room in ROOMS:
        shutil.copytree(ROOT / room, tmp_path / room, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path


def test_every_contract_is_kept(house):
    assert set(linted(house).values()) == {"KEPT"}


def test_every_contract_is_broken_by_an_import_planted_against_it(house):
    plants = {
        "analysis/trace.py": "import serial",
        "drivers/clock.py": "import analysis.pull.finder",
        "rig/words/numbers.py": "import rig.live.news",
        "analysis/sensor/calibration.py": "import analysis.verdict.judge",
        "analysis/window.py": "import rig.live.news",
        "rig/window/qt/theme.py": "import scipy",
        "rig/window/views/verdict.py": "import PySide6",
        "rig/files/metadata.py": "import drivers.emulated.bench",
    }
    plant(house, plants)
    assert set(linted(house).values()) == {"BROKEN"}


@pytest.mark.parametrize("line", ["import numpy", "import drivers.line", "import rig.live.runner", "import rig.files.trace_csv"])
def test_a_widget_may_import_neither_arrays_nor_lines_nor_files(house, line):
    plant(house, {"rig/window/qt/theme.py": line})
    told = linted(house)
    assert [name for name, state in told.items() if state == "BROKEN"] == [
        "widgets show values: no computation, lines, samples or files"
    ]


def plant(house, plants):
    for path, line in plants.items():
        with (house / path).open("a", encoding="utf-8") as file:
            file.write(f"\n{line}\n")


def test_drivers_are_kept_from_every_folder_of_analysis():
    listed = {
        name for contract in contracts() if contract.get("source_modules") == ["drivers"] for name in contract["forbidden_modules"]
    }
    there = {f"analysis.{path.parent.name}" for path in (ROOT / "analysis").glob("*/__init__.py")}
    loose = {path.stem for path in (ROOT / "analysis").glob("*.py")} - {"__init__", *VOCABULARY}
    assert there <= listed, f"list in pyproject.toml: {sorted(there - listed)}"
    assert not loose, "beside the vocabulary, every module of analysis stands in a folder of its subject"


def test_only_the_line_imports_pyserial_and_only_the_window_imports_qt():
    users = {"serial": set(), "PySide6": set(), "pint": set()}
    for room in ROOMS:
        for path in (ROOT / room).rglob("*.py"):
            for name in re.findall(r"^\s*(?:import|from)\s+(serial|PySide6|pint)\b", path.read_text("utf-8"), flags=re.MULTILINE):
                users[name].add(path.relative_to(ROOT).as_posix())
    assert users["serial"] <= {"drivers/line.py"}
    assert users["pint"] == {"analysis/units.py"}
    assert all(path == "rig/window/app.py" or path.startswith("rig/window/qt/") for path in users["PySide6"])
