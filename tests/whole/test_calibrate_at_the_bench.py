"""A calibration as a person makes it: the program asks, weights are hung on a device on a line, and later pulls are set right."""

import json
import subprocess
import threading
import time

import pytest
from support.device import printing_device
from support.made import made_stream
from support.processes import PATIENCE_S, PLATEPULL, environment, platepull

from rig.files.trace_csv import write_trace

GAIN, OFFSET_NM = 1.025, 0.6

PROFILE = """
[device]
name = "bench 1"
port = "socket://127.0.0.1:{port}"
protocol = "text"
capacity = "200 N.m"
[text]
columns = ["torque [N.m]", "counter"]
rate = "200 Hz"
"""

PLAN = """
[certificate]
number = "W-1"
sensor = "bench 1"
serial = "7"
capacity = "200 N.m"
[weights]
arm = "500 mm"
arm_within = "0.5 mm"
level_within = "1 deg"
masses_within = "0.05%"
gravity = "9.81 m/s^2"
loads = ["5 kg", "10 kg", "20 kg"]
[run]
directions = "first"
series = 1
"""


@pytest.fixture
def scales():
    with printing_device(GAIN, OFFSET_NM) as device:
        yield device


def question(out):
    """Read to the end of the next question (the program waits for an answer then); empty when there is none any more."""
    text = ""
    while not text.endswith("] "):
        char = out.read(1)
        if not char:
            return ""
        text += char
    return text.splitlines()[-1]


def test_weights_hung_as_they_are_asked_for_make_a_certificate_that_sets_a_pull_right(tmp_path, scales):
    (tmp_path / "bench.toml").write_text(PROFILE.format(port=scales.port))
    (tmp_path / "plan.toml").write_text(PLAN)
    words = ["calibrate", str(tmp_path / "plan.toml"), "--device", str(tmp_path / "bench.toml")]
    child = subprocess.Popen(
        [*PLATEPULL, *words], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, bufsize=0,
        env=environment(tmp_path) | {"PYTHONUNBUFFERED": "1"},
    )  # fmt: skip
    killer = threading.Timer(PATIENCE_S, child.kill)
    killer.start()
    try:
        asked = []
        while asked_now := question(child.stdout):
            asked.append(asked_now)
            if "kg," in asked_now:
                scales.load_nm = float(asked_now.split(": ")[1].split(" kg")[0]) * 9.81 * 0.5
            elif "no load" in asked_now:
                scales.load_nm = 0.0
            time.sleep(0.4)  # a hand is slower than this; what is still on its way must not count
            child.stdin.write("\n")
            child.stdin.flush()
        _, err = child.communicate(timeout=PATIENCE_S)
    finally:
        killer.cancel()
        child.kill()
    assert child.returncode == 0, err
    assert len(asked) == 1 + 7  # the exercise, and seven loads, none of them in doubt
    assert (tmp_path / "certificate_W-1.pdf").read_bytes().startswith(b"%PDF-")
    certificate = json.loads((tmp_path / "certificate_W-1.json").read_text())
    assert certificate["forward"]["coefficients"][0] == pytest.approx(1 / GAIN, rel=2e-4)

    pull = made_stream(1)
    write_trace(tmp_path / "pull.csv", type(pull)(pull.time_s, OFFSET_NM + GAIN * pull.torque_nm, pull.angle_deg))
    told = platepull(tmp_path, "analyse", tmp_path / "pull.csv", "--json", "--certificate", tmp_path / "certificate_W-1.json")
    assert json.loads(told.stdout)[0]["breakaway"]["torque_nm"] == pytest.approx(60.0, rel=4e-3)
