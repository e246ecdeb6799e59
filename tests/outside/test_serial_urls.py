"""Lines behind a URL against the other ends that pyserial brings along: a bare socket and an RFC 2217 server."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator

import pytest
import serial
import serial.rfc2217

from drivers.line import SerialLine


@pytest.fixture
def rfc2217_server() -> Iterator[str]:
    """A port server after RFC 2217 (telnet com port control), pyserial's own, in front of a loop that gives back all bytes."""
    port = serial.serial_for_url("loop://", timeout=0.01)
    over = threading.Event()
    with socket.create_server(("127.0.0.1", 0)) as server:

        def serve() -> None:
            peer, _ = server.accept()
            with peer:
                peer.settimeout(0.01)
                manager = serial.rfc2217.PortManager(port, _Sender(peer))
                while not over.is_set():
                    try:
                        data = peer.recv(1024)
                    except TimeoutError:
                        data = b""
                    if data:
                        port.write(b"".join(manager.filter(data)))
                    back = port.read(1024)
                    if back:
                        peer.sendall(b"".join(manager.escape(back)))

        thread = threading.Thread(target=serve)
        thread.start()
        yield f"rfc2217://127.0.0.1:{server.getsockname()[1]}"
        over.set()
        thread.join(5)
    port.close()


class _Sender:
    """What the port manager answers through."""

    def __init__(self, peer: socket.socket) -> None:
        self._peer = peer

    def write(self, data: bytes) -> None:
        self._peer.sendall(data)


@pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")  # pyserial 3.5 starts its reader so
def test_an_rfc_2217_port_is_a_line(rfc2217_server: str) -> None:
    """Telnet's 0xFF must survive too, which is why all byte values are sent."""
    every = bytes(range(256)) * 4
    line = SerialLine(rfc2217_server, 19200, "8E1")
    try:
        line.write(every)
        data = b""
        for _ in range(200):
            data += line.read()
            if len(data) >= len(every):
                break
        assert data == every
    finally:
        line.close()
