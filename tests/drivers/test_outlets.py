"""Outlets of the simulated bench on real pseudo-terminals and sockets; time is handed in, so that nobody waits."""

from __future__ import annotations

import os
import select
import socket
import time
from collections.abc import Callable, Iterator

import pytest

from drivers.outlets import LARGEST_BACKLOG, PATIENCE_S, Outlet, PtyOutlet, SocketOutlet, open_outlet

needs_pty = pytest.mark.skipif(not hasattr(os, "openpty"), reason="this system has no pseudo-terminals")
KINDS = [pytest.param("pty", marks=needs_pty), "socket"]


class Reader:
    """A reader of either kind."""

    def __init__(self, name: str) -> None:
        self.wait_s = 0.05
        self.socket: socket.socket | None = None
        if name.startswith("socket://"):
            host, port = name.removeprefix("socket://").split(":")
            self.socket = socket.create_connection((host, int(port)), timeout=5)
            self.socket.setblocking(False)
            self.file = self.socket.fileno()
        else:
            self.file = os.open(name, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)

    def read(self) -> bytes:
        """All that is there now."""
        data = b""
        while select.select([self.file], [], [], self.wait_s)[0]:
            part = self.socket.recv(65536) if self.socket else os.read(self.file, 65536)
            if not part:
                break
            data += part
        return data

    def write(self, data: bytes) -> None:
        if self.socket:
            self.socket.sendall(data)
        else:
            os.write(self.file, data)

    def close(self) -> None:
        if self.socket:
            self.socket.close()
        else:
            os.close(self.file)


@pytest.fixture(params=KINDS)
def outlet(request) -> Iterator[Outlet]:
    made = open_outlet(request.param, unplugs=True)
    yield made
    made.close()


@pytest.fixture
def opened() -> Iterator[Callable[[str], Reader]]:
    readers: list[Reader] = []

    def open_reader(name: str) -> Reader:
        readers.append(Reader(name))
        return readers[-1]

    yield open_reader
    for reader in readers:
        reader.close()


def until(done: Callable[[], bool]) -> None:
    """The operating system hands over in its own time."""
    patience = time.monotonic() + 5
    while not done():
        assert time.monotonic() < patience, "never happened"


def lines(first: int, last: int) -> bytes:
    return b"".join(b"%08d\r\n" % number for number in range(first, last))


def test_every_byte_value_comes_out_unchanged(outlet, opened):
    reader = opened(outlet.name)
    outlet.offer(bytes(range(256)) * 4, 0.0)
    assert reader.read() == bytes(range(256)) * 4


def test_what_the_reader_writes_arrives(outlet, opened):
    reader = opened(outlet.name)
    outlet.offer(b"", 0.0)
    reader.write(b"\x01\x03\x00\x00")
    got = b""

    def all_there() -> bool:
        nonlocal got
        outlet.offer(b"", 0.0)
        got += outlet.receive()
        return len(got) == 4

    until(all_there)
    assert got == b"\x01\x03\x00\x00"


def test_a_slow_reader_loses_nothing(outlet, opened):
    reader = opened(outlet.name)
    outlet.offer(b"", 0.0)
    got = b""
    for step in range(200):  # two seconds of 10 000 lines each, read only now and then
        outlet.offer(lines(step * 100, step * 100 + 100), step * 0.01)
        if step % 50 == 49:
            got += reader.read()

    def all_there() -> bool:
        nonlocal got
        outlet.offer(b"", 2.0)
        got += reader.read()
        return len(got) >= 200_000

    until(all_there)
    assert got == lines(0, 20_000)
    assert outlet.dropped == 0


def test_nobody_reading_neither_blocks_nor_keeps_old_data(outlet, opened):
    for step in range(3000):
        outlet.offer(lines(step * 10, step * 10 + 10), step * 0.01)
        if step % 10 == 9:
            select.select([], [], [], 0.001)  # the operating system moves bytes in its own time
    assert outlet.dropped > 0
    reader = opened(outlet.name)
    reader.wait_s = 0.02
    got = b""
    for step in range(3000, 3050):
        outlet.offer(lines(step * 10, step * 10 + 10), step * 0.01)
        got += reader.read()
    *whole, rest = got.split(b"\r\n")
    assert rest == b""
    # Before the first line end there may be the rest of an old line, as on any port that is opened while the device speaks.
    numbers = [int(line) for line in whole[1:]]
    assert all(len(line) == 8 for line in whole[1:])
    assert numbers[0] >= 30_000 - PATIENCE_S * 1000 - 7_000  # what the system's own buffer holds comes on top
    assert numbers == sorted(set(numbers))
    assert numbers[-300:] == list(range(30_200, 30_500))


def test_a_reader_may_leave_and_come_back(outlet, opened):
    first = opened(outlet.name)
    outlet.offer(lines(0, 10), 0.0)
    assert first.read() == lines(0, 10)
    again = opened(outlet.name) if outlet.name.startswith("/") else None
    if again is None:
        first.socket.shutdown(socket.SHUT_RDWR)
    until(lambda: outlet.offer(b"", 1.0) is None)
    second = again or opened(outlet.name)
    outlet.offer(lines(20, 30), 1.0)
    assert second.read().endswith(lines(20, 30))


def test_a_reader_that_hangs_costs_no_memory(outlet, opened):
    reader = opened(outlet.name)
    big = lines(0, 2000)
    for step in range(1500):
        outlet.offer(big, step * 0.01)
    assert outlet.dropped > 0
    rest = reader.read()
    assert len(rest) < LARGEST_BACKLOG + 8_000_000  # ours and the system's own buffers


def test_the_plug_comes_out_and_goes_back_under_the_same_name(outlet, opened):
    reader = opened(outlet.name)
    outlet.offer(b"before\r\n", 0.0)
    assert reader.read() == b"before\r\n"
    outlet.unplug()
    with pytest.raises(OSError):  # noqa: PT011 - a socket that is refused, a port that is no more: different errors
        opened(outlet.name)
    name = outlet.name
    outlet.plug()
    assert outlet.name == name
    back = opened(name)
    outlet.offer(b"after\r\n", 1.0)
    assert back.read() == b"after\r\n"


def test_a_second_reader_of_a_socket_is_turned_away(opened):
    outlet = SocketOutlet()
    first = opened(outlet.name)
    outlet.offer(b"", 0.0)
    second = opened(outlet.name)
    outlet.offer(b"x\r\n", 0.0)
    assert first.read() == b"x\r\n"
    assert second.read() == b""
    outlet.close()


@needs_pty
def test_no_link_is_left_behind():
    outlet = PtyOutlet(linked=True)
    assert os.path.islink(outlet.name)
    outlet.close()
    assert not os.path.lexists(outlet.name)
    assert not os.path.exists(os.path.dirname(outlet.name))
