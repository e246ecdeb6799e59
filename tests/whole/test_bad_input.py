"""Bad input on purpose: one sentence that says what to fix, the right exit status, no traceback."""

import contextlib
import json
import os
import random
import socket
import threading

import pytest
from support.processes import platepull

PROFILE = """
[device]
name = "bench 1"
port = "{port}"
protocol = "text"
capacity = "200 N.m"
[text]
columns = ["torque [N.m]"]
rate = "500 Hz"
"""
HEADER = "time [s],torque [N.m]\n"


def profile(tmp_path, port, change=("", "")):
    path = tmp_path / "bench.toml"
    path.write_text(PROFILE.format(port=port).replace(*change))
    return path


def one_sentence(done, status, *said):
    assert done.returncode == status, done.stderr
    assert "Traceback" not in done.stderr
    told = [line for line in done.stderr.splitlines() if line.startswith("platepull ")]
    assert len(told) == 1, done.stderr
    for words in said:
        assert words in told[0]


@pytest.mark.parametrize(
    ("port", "said"),
    [
        (os.path.join(os.sep, "dev", "nix"), "no such port"),
        ("socket://127.0.0.1:1", "nobody answers there"),
        ("nix://port", "no port that can be opened"),
    ],
)
def test_a_missing_port_is_status_3(tmp_path, port, said):
    done = platepull(tmp_path, "record", "--device", profile(tmp_path, port), "--out", tmp_path / "pulls")
    one_sentence(done, 3, port, said)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("capacity", "capasity"), "'capasity'"),
        (("torque [N.m]", "torque [kg]"), "'kg' is not a unit of torque"),
        (('protocol = "text"', 'protocol = "morse"'), "'protocol' is 'morse'"),
        (("[text]", "[text"), "not TOML"),
    ],
)
def test_a_bad_profile_is_told_with_file_and_key(tmp_path, change, said):
    done = platepull(tmp_path, "record", "--device", profile(tmp_path, "COM9", change), "--out", tmp_path / "pulls")
    one_sentence(done, 2, "bench.toml", said)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["emulate", "--scenario", "nix"], "there is no scenario 'nix'"),
        (["live", "--pretend", "nix"], "there is no scenario 'nix'"),
        (["live"], "no device profile"),
        (["record", "--out", "pulls"], "no device profile"),
        (["record", "--device", "nix.toml"], "no folder to record into"),
        (["record", "--device", "nix.toml", "--out", "pulls"], "there is no such profile"),
        (["replay", "nix.csv"], "there is no such trace"),
        (["replay", "nix.csv", "--speed", "never"], "'never' is not a speed"),
        (["analyse", "nix.csv"], "there is no such trace"),
        (["analyse", "nix.csv", "--window", "much"], "'much' is not a window"),
    ],
)
def test_what_is_not_there_is_status_2(tmp_path, words, said):
    one_sentence(platepull(tmp_path, *words, cwd=tmp_path), 2, said)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is empty"),
        (random.Random(1).randbytes(5000), "is not a text file in UTF-8"),
        (b"just some words\n", "has no header row"),
        (HEADER.replace("N.m", "kg").encode() + b"0,1\n", "'kg' is not a unit of torque"),
        (HEADER.encode() + b"0,1\n0.1,oops\n", "row 3: torque 'oops' is not a number"),
    ],
)
def test_a_file_that_is_no_trace_is_status_2_and_the_other_is_still_analysed(tmp_path, content, said):
    bad, good = tmp_path / "bad.csv", tmp_path / "good.csv"
    bad.write_bytes(content)
    good.write_text(HEADER + "".join(f"{n / 100},0\n" for n in range(200)))
    done = platepull(tmp_path, "analyse", bad, good)
    one_sentence(done, 2, str(bad), said)
    assert str(good) in done.stdout


def test_an_out_folder_that_is_a_file_is_told(tmp_path):
    taken = tmp_path / "taken"
    taken.write_text("")
    done = platepull(tmp_path, "record", "--device", profile(tmp_path, "COM9"), "--out", taken)
    one_sentence(done, 2, str(taken), "cannot be written")


@contextlib.contextmanager
def sending(chunk):
    """A device on a loopback socket that sends the same bytes over and over."""
    over = threading.Event()
    with socket.create_server(("127.0.0.1", 0)) as listener:
        listener.settimeout(30)

        def send():
            with contextlib.suppress(OSError):
                client, _ = listener.accept()
                with client:
                    while not over.wait(0.01):
                        client.sendall(chunk)

        sender = threading.Thread(target=send, name="platepull test sender")
        sender.start()
        try:
            yield f"socket://127.0.0.1:{listener.getsockname()[1]}"
        finally:
            over.set()
            sender.join()


@pytest.mark.parametrize(
    ("chunk", "said"),
    [(random.Random(2).randbytes(200), "check the baud rate"), (b"hello, world\r\n", "no line fits the profile")],
    ids=["wrong baud", "another text"],
)
def test_garbage_on_the_line_is_told_while_the_bench_goes_on(tmp_path, chunk, said):
    with sending(chunk) as port:
        done = platepull(
            tmp_path, "record", "--device", profile(tmp_path, port), "--out", tmp_path / "pulls", "--seconds", 4, cwd=tmp_path
        )
    assert done.returncode == 0, done.stderr
    assert said in done.stderr
    assert "Traceback" not in done.stderr


def test_files_made_to_break_it_cost_none_of_the_others(tmp_path):
    """Findings 7.2 to 7.6: each hung, ate the memory, ended with a traceback or lost the good file of the same call."""
    trace = HEADER + "0,1\n1,2\n"
    made = {
        "commas.csv": "," * 3_000_000,
        "columns.csv": "time [s]," + "x," * 100_000 + "torque [N.m]\n0,1\n",
        "power.csv": "time [s],torque [9**9**9*N.m]\n0,1\n",
        "return.csv": "time [s]\rtorque [N.m]\n0,1\n",
        "escape.csv": "time [s],torque [\x1b[2J]\n0,1\n",
        "huge.csv": HEADER + "0,1\n1,1e30\n",
        "cell.csv": HEADER + "0," + "9" * 200_000 + "\n",
        "nan.csv": trace,
        "nan.csv-metadata.json": '{"platepull": {"number": NaN}}',
        "deep.csv": trace,
        "deep.csv-metadata.json": "[" * 100_000,
        "long.csv": trace,
        "long.csv-metadata.json": '{"platepull": {"number": ' + "9" * 5000 + "}}",
    }
    for name, text in made.items():
        (tmp_path / name).write_text(text, newline="")
    (tmp_path / "sparse.csv").write_bytes(b"time [s]\0" + b"\0" * 100_000 + b",")
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.csv")
        (tmp_path / "device.csv").symlink_to("/dev/zero")
    good = tmp_path / "good.csv"
    good.write_text(HEADER + "".join(f"{n / 100},0\n" for n in range(200)))
    traces = sorted(tmp_path.glob("*.csv"))
    done = platepull(tmp_path, "analyse", "--json", *traces, "a\x1b[2J.csv")
    told = [line for line in done.stderr.splitlines() if line.startswith("platepull analyse: ")]
    assert done.returncode == 2
    assert len(told) == len(traces)  # all but the good one, and the one that is not there
    assert [one["trace"] for one in json.loads(done.stdout)] == [str(good)]
    assert "Traceback" not in done.stderr
    assert "\x1b" not in done.stderr + done.stdout
    assert max(map(len, told)) < 600 + len(str(tmp_path))
