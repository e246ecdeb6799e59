"""platepull as a person starts it: child processes, with nothing of this process inside."""

import contextlib
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

PLATEPULL = [sys.executable, "-m", "rig"]
PATIENCE_S = 90


def environment(home):
    """An environment with a home of its own and no screen, so that nothing of the user's settings matters."""
    kept = {name: value for name, value in os.environ.items() if name not in ("DISPLAY", "WAYLAND_DISPLAY")}
    return {
        **kept,
        "HOME": str(home),
        "XDG_CONFIG_HOME": str(home),
        "XDG_DATA_HOME": str(home),
        "APPDATA": str(home),
        "PYTHONWARNINGS": "error",
    }


def platepull(home, *words, cwd=None):
    """Run to the end; returns the finished process with its text."""
    return subprocess.run(
        [*PLATEPULL, *map(str, words)],
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=PATIENCE_S,
        env=environment(home),
        cwd=cwd,
        stdin=subprocess.DEVNULL,
    )


@contextlib.contextmanager
def running(home, *words):
    """Run for as long as the block lasts, then end it politely; the process is given."""
    child = subprocess.Popen(
        [*PLATEPULL, *map(str, words)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
        env=environment(home),
        stdin=subprocess.DEVNULL,
    )
    try:
        yield child
    finally:
        if child.poll() is None:
            child.terminate()
        child.communicate(timeout=PATIENCE_S)


@contextlib.contextmanager
def pretend_bench(home, *words):
    """The simulated bench in a process of its own; gives (process, profile path, port)."""
    profile = Path(home) / "pretend.toml"
    with running(home, "emulate", "--profile", profile, *words) as child:
        port = child.stdout.readline().strip()
        assert port, child.stderr.read()
        yield child, profile, port


def wait_until(condition, what, patience_s=60.0):
    """Wait for something a child process does."""
    deadline = time.monotonic() + patience_s
    while not condition():
        assert time.monotonic() < deadline, f"waited in vain for {what}"
        time.sleep(0.02)


def kill_at_once(child):
    """End it as a power cut would: no time for a last word."""
    child.send_signal(signal.SIGKILL) if hasattr(signal, "SIGKILL") else child.kill()
    child.wait()
