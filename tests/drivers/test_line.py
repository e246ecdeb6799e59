"""The port itself: pseudo-terminals and sockets, and a sentence for whatever is wrong."""

from __future__ import annotations

import errno
import os
import socket
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
import serial

from drivers import line as line_module
from drivers.errors import LineLostError
from drivers.line import PortInfo, SerialLine, list_ports

unix_only = pytest.mark.skipif(sys.platform == "win32", reason="this system has no pseudo-terminals")


@pytest.fixture
def pseudo_terminal():
    import pty
    import tty

    master, slave = pty.openpty()
    tty.setraw(slave)
    name = os.ttyname(slave)
    os.close(slave)
    open_ends = [master]
    yield name, open_ends
    for end in open_ends:
        os.close(end)


def read_all(line: SerialLine, count: int) -> bytes:
    data = b""
    for _ in range(100):
        data += line.read()
        if len(data) >= count:
            break
    return data


def until_lost(use: Callable[[], object]) -> None:
    for _ in range(10):
        use()


@unix_only
def test_bytes_go_both_ways_over_a_pseudo_terminal(pseudo_terminal) -> None:
    name, (master,) = pseudo_terminal
    line = SerialLine(name, 115200)
    every = bytes(range(256))
    os.write(master, every)
    assert read_all(line, 256) == every
    line.write(every)
    assert os.read(master, 1000) == every
    assert line.read() == b""
    line.close()
    line.close()


@unix_only
def test_a_line_that_goes_away_says_so(pseudo_terminal) -> None:
    name, ends = pseudo_terminal
    line = SerialLine(name, 115200)
    os.close(ends.pop())
    with pytest.raises(LineLostError, match="went away"):
        until_lost(line.read)
    with pytest.raises(LineLostError, match="went away"):
        until_lost(lambda: line.write(b"x"))
    line.close()


@unix_only
def test_a_busy_port_is_told(pseudo_terminal) -> None:
    name, _ = pseudo_terminal
    line = SerialLine(name, 115200)
    with pytest.raises(LineLostError, match="in use by another program"):
        SerialLine(name, 115200)
    line.close()


def test_a_socket_is_a_line_too() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        line = SerialLine(f"socket://127.0.0.1:{server.getsockname()[1]}", 115200)
        peer, _ = server.accept()
        with peer:
            peer.sendall(b"1,2\n")
            assert read_all(line, 4) == b"1,2\n"
        with pytest.raises(LineLostError, match="went away"):
            until_lost(line.read)
        line.close()


def test_nobody_behind_the_url_is_told() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    with pytest.raises(LineLostError, match="nobody answers there"):
        SerialLine(f"socket://127.0.0.1:{port}", 115200)


def test_a_loop_gives_back_what_it_was_given() -> None:
    line = SerialLine("loop://", 115200)
    line.write(b"12.5,3\r\n")
    assert read_all(line, 8) == b"12.5,3\r\n"
    line.close()


@pytest.mark.parametrize("port", ["sockte://127.0.0.1:1", "socket://", "rfc2217://"])
def test_a_url_that_is_none_is_told_with_examples(port: str) -> None:
    with pytest.raises(LineLostError) as refusal:
        SerialLine(port, 115200)
    assert port in str(refusal.value)


def test_a_missing_port_names_those_that_are_there(monkeypatch: pytest.MonkeyPatch) -> None:
    there = [PortInfo("/dev/ttyACM3", "invented converter"), PortInfo("/dev/ttyUSB7", "")]
    monkeypatch.setattr(line_module, "list_ports", lambda: there)
    missing = "COM98" if sys.platform == "win32" else "/dev/ttyNOT_THERE"
    with pytest.raises(LineLostError) as refusal:
        SerialLine(missing, 115200)
    sentence = str(refusal.value)
    for word in (missing, "no such port", "/dev/ttyACM3 (invented converter)", "/dev/ttyUSB7"):
        assert word in sentence
    monkeypatch.setattr(line_module, "list_ports", list)
    with pytest.raises(LineLostError, match="no serial port is plugged in"):
        SerialLine(missing, 115200)


@unix_only
def test_a_file_that_is_no_port_is_told(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_text("x", encoding="utf-8")
    with pytest.raises(LineLostError, match="not a usable serial port"):
        SerialLine(str(path), 115200)


@unix_only
def test_a_forbidden_port_says_which_group_to_join(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The fault is put in by hand: whoever runs the tests as root is never refused."""
    import grp

    name = next((group.gr_name for group in grp.getgrall() if group.gr_gid == 20), None) or pytest.skip("no group 20 here")
    port = tmp_path / "port"
    port.touch()
    real = os.stat
    monkeypatch.setattr(
        line_module.os,
        "stat",
        lambda path: os.stat_result((*real(path)[:5], 20, *real(path)[6:10])) if path == str(port) else real(path),
    )

    def refuse(*_: object, **__: object) -> None:
        raise serial.SerialException(errno.EACCES, f"could not open port {port}: [Errno 13] Permission denied: '{port}'")

    monkeypatch.setattr(line_module.serial, "serial_for_url", refuse)
    with pytest.raises(LineLostError) as refusal:
        SerialLine(str(port), 115200)
    assert f"join group {name}" in str(refusal.value)
    assert "log out and in again" in str(refusal.value)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("could not open port 'COM3': PermissionError(13, 'Access is denied.', None, 5)", "in use by another program"),
        ("could not open port 'COM9': FileNotFoundError(2, 'The system cannot find the file specified.', None, 2)", "no such port"),
    ],
)
def test_the_words_of_another_system_are_understood(monkeypatch: pytest.MonkeyPatch, text: str, expected: str) -> None:
    """pyserial on Windows has no error number, only this text (its serialwin32.py)."""

    def refuse(*_: object, **__: object) -> None:
        raise serial.SerialException(text)

    monkeypatch.setattr(line_module.serial, "serial_for_url", refuse)
    with pytest.raises(LineLostError, match=expected):
        SerialLine("COM3", 115200)


def test_a_baud_rate_that_the_port_cannot_do_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """pyserial on Linux says so with a ValueError (its serialposix.py)."""

    def refuse(*_: object, **__: object) -> None:
        raise ValueError("Failed to set custom baud rate (123457): [Errno 22] Invalid argument")

    monkeypatch.setattr(line_module.serial, "serial_for_url", refuse)
    with pytest.raises(LineLostError, match=r"cannot be set to this baud rate.*set baud"):
        SerialLine("/dev/ttyUSB0", 123457)


def test_ports_are_listed_in_order_with_an_identity_that_outlives_the_name(monkeypatch: pytest.MonkeyPatch) -> None:
    from serial.tools.list_ports_common import ListPortInfo

    second, first = ListPortInfo("/dev/ttyUSB1"), ListPortInfo("/dev/ttyUSB0")
    first.vid, first.pid, first.serial_number, first.description = 0x1234, 0xABCD, "S1", "invented converter"
    monkeypatch.setattr(line_module, "comports", lambda: [second, first])
    assert list_ports() == [PortInfo("/dev/ttyUSB0", "invented converter", "1234:abcd:S1"), PortInfo("/dev/ttyUSB1", "", "")]
    first.serial_number, first.location = None, "1-2.4"
    assert list_ports()[0].identity == "1234:abcd:at 1-2.4"


@pytest.mark.parametrize(
    "url",
    [
        "spy://loop://?file={file}",
        "SPY://loop://?file={file}",
        "sPy://socket://127.0.0.1:1?file={file}",
        "socket://spy://loop://?file={file}",
        "loop://spy://loop://?file={file}",
        "alt://loop://?class=Serial",
        "hwgrep://.*",
        "cp2110://0",
        " spy://loop://?file={file}",
    ],
)
def test_no_port_can_touch_a_file(tmp_path, url):
    """Findings 7.1: `spy` in a profile created or emptied the file it named."""
    kept, new = tmp_path / "kept.txt", tmp_path / "new.txt"
    kept.write_text("kept")
    for file in (kept, new):
        with pytest.raises(LineLostError, match="no port that can be opened"):
            SerialLine(url.format(file=file), 115200)
    assert kept.read_text() == "kept"
    assert not new.exists()
