"""The process that drains a port: every byte comes, and whatever ends it, the line goes on or says so."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from drivers import line as line_module
from drivers.errors import LineLostError
from drivers.line import MOST_BYTES, SerialLine
from drivers.port_reader import PORT_GONE, PortReader
from drivers.profile import DeviceProfile, Protocol
from drivers.source import opener

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="this system hands no port to another process")

EVERY = bytes(range(256))


class FarEnd:
    """The far end of a pseudo-terminal."""

    def __init__(self) -> None:
        import pty
        import tty

        self._end, slave = pty.openpty()
        tty.setraw(slave)
        self.port = os.ttyname(slave)
        os.close(slave)
        self._open = True

    def send(self, data: bytes) -> None:
        """All of it; waits until there is room."""
        while data:
            data = data[os.write(self._end, data) :]

    def take(self, most: int) -> bytes:
        return os.read(self._end, most)

    def unplug(self) -> None:
        if self._open:
            os.close(self._end)
        self._open = False


@pytest.fixture
def far() -> Iterator[FarEnd]:
    made = FarEnd()
    yield made
    made.unplug()


@pytest.fixture
def started(monkeypatch: pytest.MonkeyPatch) -> list[subprocess.Popen[bytes]]:
    """The processes that were started since."""
    made: list[subprocess.Popen[bytes]] = []
    start = subprocess.Popen.__init__

    def noted(self: subprocess.Popen[bytes], *args: object, **how: object) -> None:
        start(self, *args, **how)  # type: ignore[arg-type]
        made.append(self)

    monkeypatch.setattr(subprocess.Popen, "__init__", noted)
    return made


def read_all(line: SerialLine, count: int, most: int = MOST_BYTES) -> bytes:
    data = b""
    for _ in range(1000):  # a process that is about to start, or a busy machine, may let many a read end with nothing
        part = line.read(min(most, count - len(data)))
        assert len(part) <= most
        data += part
        if len(data) >= count:
            break
    return data


def test_every_byte_comes_both_ways(far: FarEnd, started: list[subprocess.Popen[bytes]]) -> None:
    line = SerialLine(far.port, 115200, streams=True)
    far.send(EVERY)
    assert read_all(line, 256) == EVERY
    line.write(EVERY)
    assert far.take(1000) == EVERY
    assert line.read() == b""
    assert len(started) == 1
    line.close()
    line.close()


def test_no_more_is_read_than_was_asked_for(far: FarEnd) -> None:
    line = SerialLine(far.port, 115200, streams=True)
    far.send(EVERY)
    assert read_all(line, 250, most=100) == EVERY[:250]
    assert read_all(line, 6) == EVERY[250:]
    line.close()


def test_a_program_that_is_busy_leaves_no_port_full(far: FarEnd) -> None:
    # 400 kB are far more than a pseudo-terminal holds: without anybody who drains it the far end would wait here for ever.
    line = SerialLine(far.port, 115200, streams=True)
    sent = EVERY * 1600
    far.send(sent)
    assert read_all(line, len(sent)) == sent
    line.close()


def test_what_came_before_the_plug_was_pulled_is_read_and_then_it_is_told(far: FarEnd) -> None:
    line = SerialLine(far.port, 115200, streams=True)
    far.send(EVERY)
    assert read_all(line, 1) == EVERY[:1]
    far.unplug()
    assert read_all_before_the_loss(line) == EVERY[1:]
    line.close()


def read_all_before_the_loss(line: SerialLine) -> bytes:
    data = bytearray()

    def read_on() -> None:
        for _ in range(200):
            data.extend(line.read())

    with pytest.raises(LineLostError, match="went away"):
        read_on()
    return bytes(data)


def test_a_closed_line_leaves_no_process_and_the_port_can_be_opened_again(
    far: FarEnd, started: list[subprocess.Popen[bytes]]
) -> None:
    for _ in range(2):
        SerialLine(far.port, 115200, streams=True).close()
    assert [each.returncode for each in started] == [-signal.SIGKILL] * 2


def test_somebody_ends_the_process_and_the_line_goes_on(far: FarEnd, started: list[subprocess.Popen[bytes]]) -> None:
    line = SerialLine(far.port, 115200, streams=True)
    far.send(EVERY)
    assert read_all(line, 256) == EVERY
    os.kill(started[0].pid, signal.SIGKILL)
    started[0].wait(30)
    far.send(EVERY)
    assert read_all(line, 256) == EVERY
    far.unplug()
    assert read_all_before_the_loss(line) == b""
    line.close()


@pytest.mark.parametrize("command", [("/no/such/program",), (sys.executable, "-c", "raise SystemExit(1)")])
def test_where_the_process_does_not_come_up_the_program_reads(
    far: FarEnd, monkeypatch: pytest.MonkeyPatch, command: tuple[str, ...]
) -> None:
    monkeypatch.setattr(PortReader, "command", command)
    line = SerialLine(far.port, 115200, streams=True)
    far.send(EVERY)
    assert read_all(line, 256) == EVERY
    line.close()


def test_the_process_ends_with_the_program_however_that_ends(far: FarEnd) -> None:
    port = os.open(far.port, os.O_RDWR | os.O_NOCTTY)
    process = subprocess.Popen([*PortReader.command, str(port)], stdin=-1, stdout=-1, pass_fds=(port,), start_new_session=True)
    assert process.stdin is not None
    process.stdin.close()  # all that a program that is killed leaves
    assert process.wait(30) == 0
    os.close(port)
    assert process.stdout is not None
    process.stdout.close()


def test_the_process_tells_that_the_port_went_away(far: FarEnd) -> None:
    port = os.open(far.port, os.O_RDWR | os.O_NOCTTY)
    process = subprocess.Popen([*PortReader.command, str(port)], stdin=-1, stdout=-1, pass_fds=(port,))
    os.close(port)
    far.unplug()
    assert process.wait(30) == PORT_GONE
    assert process.communicate()[0] == b""


def profile_of(protocol: Protocol, port: str) -> DeviceProfile:
    return DeviceProfile(name="x", port=port, protocol=protocol, capacity_nm=200.0)


@pytest.mark.parametrize(("protocol", "processes"), [("frames", 1), ("modbus", 0)])
def test_only_a_device_that_sends_by_itself_has_a_process(
    far: FarEnd, started: list[subprocess.Popen[bytes]], protocol: Protocol, processes: int
) -> None:
    # What a device answers is waited for; a late answer must be found in the port when that is emptied before the next question.
    profile = profile_of(protocol, far.port)
    opener(profile)(profile.port).close()
    assert len(started) == processes


def test_a_system_that_hands_on_no_ports_reads_as_it_always_did(
    far: FarEnd, started: list[subprocess.Popen[bytes]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(line_module, "can_be_had", lambda: False)
    line = SerialLine(far.port, 115200, streams=True)
    far.send(EVERY)
    assert read_all(line, 256) == EVERY
    assert not started
    line.close()


def test_the_process_needs_nothing_but_its_file(tmp_path: Path) -> None:
    # It starts without our packages and without those of the machine, so that it is there at once.
    done = subprocess.run([*PortReader.command, "0"], stdin=subprocess.DEVNULL, cwd=tmp_path, capture_output=True, timeout=30)
    assert (done.returncode, done.stderr) == (0, b"")
