"""`platepull emulate` as a process of its own, read with pyserial as a user would."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import time
from itertools import pairwise

import pytest
import serial
from support.clocks import StepClock

from drivers.emulated.devices import TEXT_LAYOUT
from drivers.emulated.scenarios import SCENARIOS
from drivers.text import TextCodec
from rig.cli import parser_for
from rig.commands import emulate
from rig.files.profile import read_profile

needs_pty = pytest.mark.skipif(not hasattr(os, "openpty"), reason="this system has no pseudo-terminals")
OVER = [pytest.param("pty", marks=needs_pty), "socket"]


def start(*options: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "rig", "emulate", *options], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )


def read_samples(port: str, at_least: int) -> tuple[list, TextCodec]:
    codec, readings = TextCodec(TEXT_LAYOUT), []
    patience = time.monotonic() + 30
    with serial.serial_for_url(port, timeout=0.05) as line:
        while len(readings) < at_least:
            assert time.monotonic() < patience, "no samples came"
            readings += codec.feed(line.read(512))
    return readings, codec


@pytest.mark.parametrize("over", OVER)
def test_a_reader_gets_every_sample_in_step_and_the_process_ends_when_told(over, tmp_path):
    process = start("--over", over, "--rate", "2 kHz", "--scenario", "spins-free", "--profile", str(tmp_path / "bench.toml"))
    try:
        port = process.stdout.readline().strip()
        assert port.startswith("socket://127.0.0.1:" if over == "socket" else "/dev/")
        readings, codec = read_samples(port, 2000)
        steps = {round(after.stamp - before.stamp) for before, after in pairwise(readings)}
        assert steps == {500}
        assert codec.faults.total == 0
        again, _ = read_samples(port, 200)
        assert again[0].stamp > readings[-1].stamp
        assert read_profile(tmp_path / "bench.toml").port == port
    finally:
        process.terminate()
        rest, said = process.communicate(timeout=20)
    assert rest == ""  # the port's name is all that stands on standard output
    if os.name == "posix":
        assert process.returncode == 0
        assert "samples sent" in said


def test_it_ends_after_the_pulls_asked_for_and_writes_their_truth(tmp_path, capsys):
    truth = tmp_path / "truth.jsonl"
    words = ["emulate", "--over", "socket", "--scenario", "spins-free", "--rate", "50", "--pulls", "2", "--at-once"]
    words += ["--truth", str(truth)]
    assert emulate.serve_until(threading.Event(), StepClock(), parser_for(words).parse_args(words)) == 0
    said = capsys.readouterr()
    assert said.out.startswith("socket://")
    assert "2 pulls" in said.err
    told = [json.loads(line) for line in truth.read_text(encoding="utf-8").splitlines()]
    assert [each["breakaway"]["found"] for each in told] == [False, False]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--scenario", "nonsense"), "workday"),
        (("--rate", "100 kHz"), "10000 Hz"),
        (("--rate", "5 N.m"), "unit of rate"),
        (("--seed", "-1"), "below zero"),
        (("--faults", "drop=2"), "from 0 to 1"),
        (("--over", "air"), "choose from"),
    ],
)
def test_what_makes_no_sense_is_one_sentence_and_status_2(options, said):
    done = subprocess.run([sys.executable, "-m", "rig", "emulate", *options], capture_output=True, text=True, timeout=60)
    assert done.returncode == 2
    assert done.stdout == ""
    assert said in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1


def test_help_names_every_scenario():
    done = subprocess.run([sys.executable, "-m", "rig", "emulate", "--help"], capture_output=True, text=True, timeout=60)
    assert all(name in done.stdout for name in SCENARIOS)
