"""What is handed out: a source archive that is whole, and a wheel that works without it, in an environment and folder of its own.

The libraries are those of this environment: no network is needed. `.ci/run` installs them anew.
"""

import json
import os
import subprocess
import sys
import sysconfig
import tarfile
import venv
import zipfile
from pathlib import Path

import pytest
from support.processes import PATIENCE_S, environment

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def dist(tmp_path_factory):
    """The folder with both; the wheel is made from the unpacked source archive, so that nothing in it can be missing there."""
    folder = tmp_path_factory.mktemp("dist")
    command = [sys.executable, "-m", "build", "--no-isolation", "--outdir", str(folder), str(ROOT)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE_S)
    assert done.returncode == 0, done.stdout + done.stderr
    return folder


def python_of(home):
    return home / "env" / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


@pytest.fixture(scope="module")
def installed(dist, tmp_path_factory):
    """Runs platepull out of the wheel in a folder outside the source."""
    home = tmp_path_factory.mktemp("outside")
    venv.create(home / "env", symlinks=os.name != "nt")
    paths = sysconfig.get_paths(vars={"base": str(home / "env"), "platbase": str(home / "env")})
    packages = Path(paths["purelib"])
    with zipfile.ZipFile(next(dist.glob("*.whl"))) as wheel:
        wheel.extractall(packages)
    (packages / "libraries.pth").write_text(sysconfig.get_paths()["purelib"] + "\n", encoding="utf-8")
    python = python_of(home)

    def run(*words, status=0):
        command = [str(python), "-m", "rig", *map(str, words)]
        done = subprocess.run(
            command,
            capture_output=True,
            text=True,
            encoding="utf-8",
            timeout=PATIENCE_S,
            env=environment(home),
            cwd=home,
            stdin=subprocess.DEVNULL,
        )
        assert done.returncode == status, done.stdout + done.stderr
        return done.stdout

    run.home = home
    return run


def kept():
    try:
        done = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True)
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("not a git checkout, or no git")
    return {name for name in done.stdout.split("\0") if name and (ROOT / name).is_file()}


def test_the_source_archive_is_whole(dist):
    with tarfile.open(next(dist.glob("*.tar.gz"))) as archive:
        names = {name.partition("/")[2] for name in archive.getnames()}
    assert not kept() - names


def test_the_wheel_carries_everything_that_lies_in_its_packages_and_nothing_else(dist):
    with zipfile.ZipFile(next(dist.glob("*.whl"))) as wheel:
        names = {name for name in wheel.namelist() if ".dist-info/" not in name}
    wanted = {name for name in kept() if name.partition("/")[0] in ("analysis", "drivers", "rig", "recordings")}
    left_out = {name for name in wanted if name == "recordings/make.py" or name.startswith("rig/window/qt/pictures/")}
    assert not wanted - left_out - names
    assert not {name for name in names if name.partition("/")[0] not in ("analysis", "drivers", "rig", "recordings")}


def test_the_program_runs_from_the_wheel_alone(installed):
    command = [python_of(installed.home), "-c", "import rig, recordings, drivers, analysis; print(rig.__file__)"]
    where = subprocess.run(command, capture_output=True, text=True, cwd=installed.home, check=True, timeout=PATIENCE_S)
    assert str(installed.home) in where.stdout
    assert installed("--version").startswith("platepull ")


def test_demo_analyse_schema_and_guide_of_the_wheel(installed):
    assert "invented" in installed("demo", "demo")
    assert (installed.home / "demo" / "sender" / "main.c").is_file()
    document = json.loads(installed("analyse", "demo/rebuilt_good.csv", "--window", "40..65 N.m", "--json"))
    assert document[0]["verdict"]["state"] == "in_window"
    assert "calibration" in json.loads(installed("schema", "certificate"))["title"]
    assert installed("guide", "bench", "--language", "de").startswith("# ")
    assert "pictures" in installed("guide", "gallery")
    installed("calibrate", "demo/calibration/plan.toml", "--out", "certificate.json")
    assert "side bearings" in installed("refit", "demo/refit/REFIT.toml")


def test_the_simulated_bench_of_the_wheel_is_watched_in_the_terminal(installed):
    said = installed("live", "--pretend", "--terminal", "--pulls", "1", "--arrangement", "A")
    assert "pull 1: breakaway" in said
    assert "IN WINDOW" in said.replace("I N   W I N D O W", "IN WINDOW")
