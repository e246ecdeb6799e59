"""The whole house as processes: the simulated bench on a port, recorded, analysed, replayed."""

import json
import os
from importlib import resources

import jsonschema
import numpy as np
import pytest
from support.processes import kill_at_once, platepull, pretend_bench, running, wait_until

from rig.files.trace_csv import read_trace

needs_pty = pytest.mark.skipif(not hasattr(os, "openpty"), reason="this system has no pseudo-terminals")


def recordings(folder):
    return sorted(folder.glob("*.csv"))


@pytest.mark.parametrize("over", [pytest.param("pty", marks=needs_pty), "socket"])
def test_a_pull_comes_from_the_line_to_the_verdict_and_nothing_is_lost(tmp_path, over):
    truth_file = tmp_path / "truth.jsonl"
    folder = tmp_path / "pulls"
    with pretend_bench(tmp_path, "--over", over, "--truth", truth_file) as (_, profile, _port):
        done = platepull(
            tmp_path, "record", "--device", profile, "--out", folder, "--pulls", 1, "--window", "40..65 N.m", "--who", "T.W."
        )
        wait_until(lambda: truth_file.exists() and truth_file.read_text(), "the truth of the pull")
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("pull 1: ")
    assert "IN WINDOW" in done.stdout
    assert "maker's manual" in done.stderr
    truth = json.loads(truth_file.read_text().splitlines()[0])

    (file,) = recordings(folder)
    trace, info = read_trace(file)
    assert (info.who, info.number, info.transducer.capacity_nm) == ("T.W.", 1, 200.0)
    # The device stamps its samples, so a lost one would leave a step of two milliseconds.
    assert np.diff(trace.time_s) == pytest.approx(0.001, abs=1e-6)

    analysed = platepull(tmp_path, "analyse", "--json", file)
    (document,) = json.loads(analysed.stdout)
    jsonschema.validate([document], json.loads(resources.files("rig").joinpath("schemas/analysis.schema.json").read_text("utf-8")))
    assert analysed.returncode == 0
    assert document["verdict"]["state"] == "in_window"
    for reading in ("breakaway", "sliding"):
        assert document[reading]["torque_nm"] == pytest.approx(truth[reading]["torque_nm"], rel=0.02)

    replayed = platepull(tmp_path, "replay", file, "--speed", 20, "--over", over)
    assert replayed.returncode == 0, replayed.stderr
    line = done.stdout.splitlines()[0]
    assert line in replayed.stdout.splitlines()
    assert f"{len(trace)} samples replayed, {len(trace)} received, 1 pull" in replayed.stderr


def test_a_power_cut_leaves_whole_lines_that_read(tmp_path):
    folder = tmp_path / "pulls"
    with (
        pretend_bench(tmp_path, "--over", "socket") as (_, profile, _port),
        running(tmp_path, "record", "--device", profile, "--out", folder) as recorder,
    ):
        wait_until(lambda: any(file.stat().st_size > 120_000 for file in recordings(folder)), "a growing recording")
        kill_at_once(recorder)
    (file,) = recordings(folder)
    assert file.read_bytes().endswith(b"\r\n")
    trace, info = read_trace(file)
    assert np.diff(trace.time_s) == pytest.approx(0.001, abs=1e-6)
    assert info.notes == ()
    assert info.number == 1
    assert platepull(tmp_path, "analyse", file).returncode == 0


def test_a_line_that_goes_away_for_good_is_status_3_and_the_pull_is_kept(tmp_path):
    folder = tmp_path / "pulls"
    with pretend_bench(tmp_path, "--over", "socket") as (bench, profile, _port):
        profile.write_text(profile.read_text().replace("[text]", 'patience = "1 s"\n[text]'))
        with running(tmp_path, "record", "--device", profile, "--out", folder) as recorder:
            wait_until(lambda: any(file.stat().st_size > 120_000 for file in recordings(folder)), "a growing recording")
            kill_at_once(bench)
            out, err = recorder.communicate(timeout=60)
    assert recorder.returncode == 3
    assert out.startswith("pull 1: ")
    assert "Traceback" not in err
    assert "did not come back" in err
    (file,) = recordings(folder)
    assert len(read_trace(file)[0]) > 2000


@pytest.mark.skipif(os.name != "posix", reason="polite signals to a child are a matter of POSIX")
def test_ctrl_c_ends_a_recording_in_good_order(tmp_path):
    import signal

    folder = tmp_path / "pulls"
    with (
        pretend_bench(tmp_path, "--over", "socket") as (_, profile, _port),
        running(tmp_path, "record", "--device", profile, "--out", folder) as recorder,
    ):
        wait_until(lambda: any(file.stat().st_size > 60_000 for file in recordings(folder)), "a growing recording")
        recorder.send_signal(signal.SIGINT)
        out, err = recorder.communicate(timeout=60)
    assert recorder.returncode == 0
    assert "Traceback" not in err
    assert out.startswith("pull 1: ")


def test_live_on_the_pretend_bench_ends_by_itself_where_nobody_watches(tmp_path):
    done = platepull(tmp_path, "live", "--pretend", "worn-low", "--pulls", 1)
    assert done.returncode == 0, done.stderr
    assert "B E L O W" in done.stdout
    assert "last pulls:" in done.stdout
    assert "maker's manual" in done.stderr
    assert "Traceback" not in done.stderr
