"""`platepull wire` and `platepull guess` over the pseudo-line of files: what they print, write and refuse."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.clocks import StepClock
from support.wires import ScriptedLine

from analysis.errors import BenchError
from drivers.errors import LineLostError
from drivers.wirefile import WireTape
from rig.cli import main
from rig.commands import guess
from rig.files.profile import read_profile
from rig.live.listening import BAUDS, SLOW_S, Pulls, listen

PROFILE = """
[device]
name = "strange"
port = "loop://"
protocol = "text"
capacity = "200 N.m"
[text]
columns = ["torque [N.m]", "angle [deg]"]
rate = "500 Hz"
"""


@pytest.fixture
def profile(tmp_path: Path) -> Path:
    path = tmp_path / "strange.toml"
    path.write_text(PROFILE, encoding="utf-8")
    return path


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    """200 reads of ten lines, one of them garbled."""
    path = tmp_path / "strange.wire"
    clock = StepClock()
    tape = WireTape(path, clock, {"port": "P"})
    for at in range(200):
        clock.moment += 0.02
        tape.note("r", b"".join(b"%d.25 N.m,%d.5 deg\r\n" % (at, at) for _ in range(10)) + (b"?7\r\n" if at == 100 else b""))
    tape.close()
    return path


def test_a_recording_is_read_and_told(recording: Path, profile: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "trace.csv"
    assert main(["wire", "read", str(recording), "--device", str(profile), "--out", str(out)]) == 0
    said = capsys.readouterr().out
    assert "1999 samples" in said
    assert "with angle" in said
    assert "torque 0.25 to 199.2 N.m" in said
    assert "garbled 1," in said
    assert len(out.read_text(encoding="utf-8").splitlines()) == 2000


def test_a_line_is_recorded(profile: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A loop hears only itself: nothing arrives, but the recording is whole."""
    path = tmp_path / "empty.wire"
    assert main(["wire", "record", str(path), "--device", str(profile), "--seconds", "0.2"]) == 0
    assert "Recorded to" in capsys.readouterr().out
    assert path.read_text(encoding="ascii").splitlines()[1].endswith("o loop://")


def test_a_guess_from_a_recording_reads_that_recording(recording: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "guessed.toml"
    assert main(["guess", str(recording), "--out", str(out), "--capacity", "300 N.m"]) == 0
    assert "% sure" in capsys.readouterr().err
    found = read_profile(out)
    assert found.port == f"wire:{recording.as_posix()}"
    assert found.text is not None
    assert [(column.kind, column.unit) for column in found.text.columns] == [("torque", "N.m"), ("angle", "deg")]
    assert found.text.rate_hz == 500.0
    assert main(["wire", "read", str(recording), "--device", str(out)]) == 0
    assert "1999 samples" in capsys.readouterr().out
    assert main(["guess", str(recording), "--out", str(out)]) == 2
    assert "such a file already" in capsys.readouterr().err


def test_a_guess_from_bare_text_is_printed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "capture.txt"
    path.write_bytes(b"".join(b"%d.5;%d\n" % (at * 37 % 11, at // 9) for at in range(50)))
    assert main(["guess", str(path)]) == 2  # nothing says the unit of torque, and none is made up
    said = capsys.readouterr()
    assert said.out == ""
    assert "no line says the unit of torque and angle" in said.err
    assert "--torque-unit" in said.err
    assert main(["guess", str(path), "--torque-unit", "lbf.in", "--angle-unit", "deg"]) == 0
    said = capsys.readouterr()
    assert 'delimiter = ";"' in said.out
    assert 'port = "PORT"' in said.out
    assert "made up" in said.err
    assert "port: a file does not tell" in said.err
    assert main(["guess", str(path), "--torque-unit", "0.01 N.m", "--angle-unit", "0.1 deg"]) == 0  # it sends counts
    assert '"torque [0.01 N.m]", "angle [0.1 deg]"' in capsys.readouterr().out


@pytest.mark.parametrize(
    ("option", "value", "said"),
    [
        ("--capacity", "lots", "'lots' is not a number with a unit"),
        ("--capacity", "200", "'200' has no unit"),
        ("--capacity", "-200 N.m", "above zero"),
        ("--capacity", "20 kg", "'kg' is not a unit of torque"),
        ("--torque-unit", "deg", "'deg' is not a unit of torque"),
    ],
)
def test_an_option_that_would_make_a_bad_profile_is_refused(
    recording: Path, capsys: pytest.CaptureFixture[str], option: str, value: str, said: str
) -> None:
    assert main(["guess", str(recording), f"{option}={value}"]) == 2
    printed = capsys.readouterr()
    assert said in printed.err
    assert printed.out == ""


@pytest.mark.parametrize("words", [["--seconds", "0"], ["--baud", "0"], ["--seconds", "nan"]])
def test_a_number_that_is_none_is_refused(recording: Path, capsys: pytest.CaptureFixture[str], words: list[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["guess", str(recording), *words])
    assert ended.value.code == 2
    assert "is not above zero" in capsys.readouterr().err


def test_nonsense_gives_no_profile(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "noise.bin"
    path.write_bytes(bytes(range(256)) * 4)
    assert main(["guess", str(path)]) == 2
    assert "nothing that came makes sense as text lines or frames; it must hold 8 whole lines" in capsys.readouterr().err
    assert main(["guess", str(tmp_path / "none")]) == 3


def test_the_baud_rate_is_found_by_trying() -> None:
    clock = StepClock()
    tried: list[int] = []
    told: list[int] = []

    def open_line(baud: int) -> ScriptedLine:
        tried.append(baud)
        line = [b"%d.5 N.m\r\n" % at for at in range(100)] if baud == 19200 else [b"\xf3\x0c\x80\xe1" * 3] * 100
        return ScriptedLine(clock, line)

    baud, found = listen(open_line, BAUDS, clock, 2.0, told.append)
    assert (baud, tried, told) == (19200, [115200, 9600, 19200], tried)
    assert found is not None
    assert found.sureness > 0.9


def test_a_device_without_a_profile_is_recorded_and_read_later(
    profile: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "unknown.wire"
    assert main(["wire", "record", str(path), "--port", "loop://", "--baud", "9600", "--seconds", "0.2"]) == 0
    said = capsys.readouterr().out
    assert "Recorded to" in said
    assert "samples" not in said
    assert '"baud": 9600, "protocol": "unknown"' in path.read_text(encoding="ascii")
    assert main(["wire", "read", str(path), "--device", str(profile)]) == 0
    assert main(["wire", "record", str(path), "--port", "loop://", "--seconds", "0.2"]) == 2
    assert "such a file already" in capsys.readouterr().err


def test_a_silent_device_is_told_at_the_first_baud_rate() -> None:
    clock = StepClock()
    tried: list[int] = []

    def open_line(baud: int) -> ScriptedLine:
        tried.append(baud)
        return ScriptedLine(clock, [])

    with pytest.raises(LineLostError, match=r"nothing arrives.*send by itself"):
        listen(open_line, BAUDS, clock, 2.0, lambda baud: None)
    assert tried == [115200]


def test_a_board_that_restarts_when_its_port_is_opened_is_waited_for() -> None:
    clock = StepClock()
    lines = [b"%d.5 N.m\r\n" % at for at in range(100)]
    _, found = listen(lambda baud: ScriptedLine(clock, [b""] * 120 + lines), (115200,), clock, 2.0, lambda baud: None)
    assert found is not None
    assert found.layout is not None
    assert found.layout.rate_hz == 50.0


def test_a_slow_indicator_is_listened_to_for_longer() -> None:
    """Two lines a second."""
    clock = StepClock()
    script = [b"%d.5 N.m\r\n" % at if at % 25 == 0 else b"" for at in range(1000)]
    _, found = listen(lambda baud: ScriptedLine(clock, script), (115200,), clock, 2.0, lambda baud: None)
    assert found is not None
    assert found.layout is not None
    assert found.layout.rate_hz == pytest.approx(2.0, rel=0.1)
    assert clock.moment < SLOW_S


def test_what_only_a_pull_tells_is_waited_for_and_no_longer() -> None:
    """Ten minutes of script: rest, a pull of four seconds, rest; the listening ends soon after the pull."""
    clock = StepClock()
    asked: list[float] = []

    def lines() -> Iterator[bytes]:
        for at in range(30_000):
            moved = min(max(at - 500, 0), 200)
            torque = 40.0 if 500 < at < 700 else 0.0
            yield b"%.1f,%.2f\r\n" % (30 + 0.3 * moved, torque + 0.01 * (at % 3))

    pulls = Pulls(lambda _: asked.append(clock.moment), 60.0)
    _, found = listen(lambda baud: ScriptedLine(clock, lines()), (115200,), clock, 2.0, lambda baud: None, pulls)
    assert len(asked) == 1
    assert clock.moment < 20.0
    assert found is not None
    assert found.layout is not None
    assert [column.kind for column in found.layout.columns] == ["angle", "torque"]
    assert not found.wants_pull


def test_nobody_is_asked_to_pull_where_the_lines_say_it_themselves() -> None:
    clock = StepClock()
    asked: list[float] = []
    script = [b"%d.5 N.m %d deg\r\n" % (at % 7, at) for at in range(200)]
    pulls = Pulls(lambda _: asked.append(clock.moment), 60.0)
    listen(lambda baud: ScriptedLine(clock, script), (115200,), clock, 2.0, lambda baud: None, pulls)
    assert asked == []
    assert clock.moment < 5.0


def test_who_is_asked_to_pull_hears_what_no_line_says() -> None:
    clock = StepClock()
    heard: list[tuple[str, ...]] = []
    script = [b"%d.5,%d.25\r\n" % (at % 3, at % 5) for at in range(10_000)]
    pulls = Pulls(lambda known: heard.append(known.wanted), 1.0)
    listen(lambda baud: ScriptedLine(clock, script), (115200,), clock, 2.0, lambda baud: None, pulls)
    assert heard == [("torque", "angle")]


def test_where_nobody_pulls_the_waiting_ends_and_the_doubt_stays() -> None:
    clock = StepClock()
    script = [b"%d.5,%d.25\r\n" % (at % 3, at % 5) for at in range(10_000)]
    _, found = listen(
        lambda baud: ScriptedLine(clock, script), (115200,), clock, 2.0, lambda baud: None, Pulls(lambda _: None, 10.0)
    )
    assert 10.0 < clock.moment < 14.0
    assert found is not None
    assert found.wants_pull


def test_an_unreadable_file_is_told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def refuse(*_: object) -> int:
        raise PermissionError(13, "Permission denied")

    path = tmp_path / "x"
    path.touch()
    monkeypatch.setattr("drivers.opening.os.open", refuse)
    with pytest.raises(BenchError, match="cannot be opened"):
        guess.run(argparse.Namespace(what=str(path), torque_unit=None, angle_unit=None, time_unit=None, baud=None, capacity=None))
