"""The simulated bench as a child process, for whoever wants to use platepull without hardware."""

from __future__ import annotations

import contextlib
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from drivers.emulated.scenarios import scenario
from drivers.errors import LineLostError
from drivers.profile import DeviceProfile
from rig.files.profile import read_profile

PRETEND_WINDOW = "40..65 N.m"  # the invented specification of the invented unit QF-7
DEFAULT_SCENARIO = "both-ways"  # one unit in one state: a series of several would be judged as one


@contextlib.contextmanager
def pretend_bench(name: str, *, seed: int = 1, rate: str = "1000 Hz", over: str | None = None) -> Iterator[DeviceProfile]:
    """Run the simulated bench as a process of its own for as long as the block lasts; its profile is what to open.

    Raises BenchError where there is no such scenario, LineLostError where the process does not come up.
    """
    scenario(name)
    with tempfile.TemporaryDirectory(prefix="platepull-") as folder:
        profile = Path(folder) / "pretend.toml"
        command = [sys.executable, "-m", "rig", "emulate", "--scenario", name, "--seed", str(seed), "--rate", rate]
        command += ["--profile", str(profile), "--until-eof", *(["--over", over] if over else [])]
        child = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        try:
            assert child.stdout is not None
            if not child.stdout.readline():
                _, said = child.communicate()
                raise LineLostError(
                    "the simulated bench did not come up", where="simulated bench", remedy=said.strip() or "try again"
                )
            yield read_profile(profile)
        finally:
            child.terminate()
            child.communicate()
