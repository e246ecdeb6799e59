"""Where the simulated bench's bytes come out: a pseudo-terminal, or a loopback socket where the system has none.

Neither ever blocks. A reader that is slow for a moment loses nothing; one that has gone costs no memory, and when it comes back
it gets fresh data, not old. Bytes are handed over in chunks of whole lines or frames, and a chunk is dropped whole or not at all.
"""

from __future__ import annotations

import contextlib
import os
import socket
import tempfile
from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from analysis.errors import BenchError

PATIENCE_S = 3.0
"""A reader that takes nothing for so long has gone."""
FRESH_S = 0.05
"""How old the one chunk may be that waits in a port nobody reads."""
LARGEST_BACKLOG = 8_000_000
"""Bytes kept for a reader that takes some, but too little."""


class Outlet(Protocol):
    """A place where bytes come out. `name` is the port's path or the pyserial URL; `dropped` counts chunks that nobody read."""

    name: str
    dropped: int

    def offer(self, chunk: bytes, now_s: float) -> None:
        """Hand over a chunk; also the occasion to look after readers, so offer b"" when there is nothing."""
        ...

    def receive(self) -> bytes:
        """What the reader has sent to the device since last time."""
        ...

    def is_read(self, now_s: float) -> bool:
        """Whether a reader has opened it by now; stays true from then on."""
        ...

    def unplug(self) -> None:
        """Pull the plug: the reader sees the line go away."""
        ...

    def plug(self) -> None:
        """Put it back under the same name."""
        ...

    def close(self) -> None:
        """End for good and tidy up."""
        ...


def open_outlet(over: str | None, *, unplugs: bool) -> Outlet:
    """A pseudo-terminal or a socket; None: the first where there is one. Raises BenchError where the system has none."""
    if over == "pty" and not hasattr(os, "openpty"):
        raise BenchError("this system has no pseudo-terminals", remedy="use --over socket")
    if over == "pty" or (over is None and hasattr(os, "openpty")):
        return PtyOutlet(linked=unplugs)
    return SocketOutlet()


class _Backlog:
    """Chunks that wait for the reader. A chunk that was begun is always finished, so that lines stay whole."""

    def __init__(self) -> None:
        self._chunks: deque[bytes] = deque()
        self._size = 0
        self._begun = False

    def __bool__(self) -> bool:
        return bool(self._chunks)

    def add(self, chunk: bytes) -> int:
        """Add a chunk; returns how many old ones had to make room."""
        if chunk:
            self._chunks.append(chunk)
            self._size += len(chunk)
        dropped = 0
        while self._size > LARGEST_BACKLOG and len(self._chunks) > 2:
            begun = self._chunks.popleft() if self._begun else None
            self._size -= len(self._chunks.popleft())
            if begun is not None:
                self._chunks.appendleft(begun)
            dropped += 1
        return dropped

    def pump(self, send: Callable[[bytes], int]) -> bool:
        """Send what goes; returns whether any went. `send` takes what it can and returns how much."""
        moved = False
        while self._chunks:
            taken = send(self._chunks[0])
            moved |= taken > 0
            self._size -= taken
            if taken < len(self._chunks[0]):
                self._begun |= taken > 0
                self._chunks[0] = self._chunks[0][taken:]
                break
            self._chunks.popleft()
            self._begun = False
        return moved

    def clear(self) -> int:
        """Drop everything that was not begun; returns how many chunks."""
        kept = [self._chunks[0]] if self._begun and self._chunks else []
        dropped = len(self._chunks) - len(kept)
        self._chunks = deque(kept)
        self._size = sum(map(len, kept))
        return dropped

    def forget(self) -> None:
        """The reader has gone for good: drop everything, begun or not."""
        self._begun = False
        self.clear()


class PtyOutlet:
    """The device's end of a pseudo-terminal. Its other end is kept open here too, so that readers may come and go.

    `linked`: the name is a link that survives an unplug, as a fixed device name does.
    """

    def __init__(self, *, linked: bool) -> None:
        self.dropped = 0
        self._folder = Path(tempfile.mkdtemp(prefix="platepull-")) if linked else None
        self._backlog = _Backlog()
        self._was_read = False
        self.plug()
        # While this end alone is open the system tells when somebody opens the other one.
        os.close(self._reader)
        self.name = str(self._folder / "port") if self._folder else self._path

    def plug(self) -> None:
        """Make a fresh pair of ends, raw, so that no byte is touched on the way."""
        import tty

        self._device, self._reader = os.openpty()
        tty.setraw(self._reader)
        os.set_blocking(self._device, False)
        os.set_blocking(self._reader, False)
        self._path = os.ttyname(self._reader)
        if self._folder:
            (self._folder / "port").symlink_to(self._path)
        self._moved_s: float | None = None
        self._laid_out_s = 0.0
        self._gone = False

    def is_read(self, now_s: float) -> bool:
        """Whether a reader has opened it by now."""
        if not self._was_read:
            import select

            poll = select.poll()
            poll.register(self._device, 0)
            if not any(event & select.POLLHUP for _, event in poll.poll(0)):
                self._hold_open()
        return self._was_read

    def _hold_open(self) -> None:
        self._reader = os.open(self._path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        self._was_read = True

    def unplug(self) -> None:
        """Close both ends: a reader gets an error, as from a bridge that was pulled out."""
        if self._folder:
            (self._folder / "port").unlink(missing_ok=True)
        os.close(self._device)
        if self._was_read:
            os.close(self._reader)
        self._was_read = True
        self._backlog.forget()

    def close(self) -> None:
        """Close, and take the link away."""
        self.unplug()
        if self._folder:
            with contextlib.suppress(OSError):
                self._folder.rmdir()

    def receive(self) -> bytes:
        """What was written to the port."""
        try:
            return os.read(self._device, 4096)
        except OSError:
            return b""

    def offer(self, chunk: bytes, now_s: float) -> None:
        """Hand over a chunk."""
        if not self._was_read and not self.is_read(now_s):
            self._hold_open()  # nobody is waited for
        if self._gone and not self._is_back(chunk, now_s):
            return
        self.dropped += self._backlog.add(chunk)
        if self._backlog.pump(self._send) or not self._backlog or self._moved_s is None:
            self._moved_s = now_s
        elif now_s - self._moved_s > PATIENCE_S:
            self._gone = True
            self._start_afresh(chunk, now_s)

    def _is_back(self, chunk: bytes, now_s: float) -> bool:
        """Whether somebody took the last chunk; if not, put this one in its place now and then, so that it stays fresh."""
        if not chunk:
            return False
        if now_s - self._laid_out_s < FRESH_S:  # the system needs a moment to show what was written
            self.dropped += 1
            return False
        self._gone = self._waiting()
        if self._gone:
            self._start_afresh(chunk, now_s)
        return not self._gone

    def _start_afresh(self, chunk: bytes, now_s: float) -> None:
        """Nobody reads: throw away what is old, so that the port holds this chunk only.

        What is old is read away here, not flushed: a flush may cut a line in its middle, and what follows would be glued to it.
        """
        self.dropped += 1 + self._backlog.clear()
        self._backlog.forget()
        with contextlib.suppress(BlockingIOError):
            while os.read(self._reader, 65536):
                pass
        self._laid_out_s = now_s
        self._backlog.add(chunk)
        self._backlog.pump(self._send)

    def _send(self, data: bytes) -> int:
        try:
            return os.write(self._device, data)
        except BlockingIOError:
            return 0

    def _waiting(self) -> bool:
        """Whether bytes lie unread in the port."""
        import fcntl
        import struct
        import termios

        return bool(struct.unpack("i", fcntl.ioctl(self._reader, termios.FIONREAD, b"\0" * 4))[0])


class SocketOutlet:
    """A listening socket on the loopback; one reader at a time, as on a serial port."""

    def __init__(self) -> None:
        self.dropped = 0
        self._port = 0
        self._was_read = False
        self._client: socket.socket | None = None
        self._backlog = _Backlog()
        self._received = b""
        self._moved_s = 0.0
        self.plug()
        self.name = f"socket://127.0.0.1:{self._port}"

    def plug(self) -> None:
        """Listen, on the same port as before if there was one."""
        self._listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if os.name == "posix":  # elsewhere this option would let a stranger share the port
            self._listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self._listener.bind(("127.0.0.1", self._port))
        self._listener.listen(4)
        self._listener.setblocking(False)
        self._port = int(self._listener.getsockname()[1])

    def unplug(self) -> None:
        """Drop the reader and refuse others."""
        self._hang_up()
        self._listener.close()

    def close(self) -> None:
        """End for good."""
        self.unplug()

    def is_read(self, now_s: float) -> bool:
        """Whether a reader has connected by now."""
        self._welcome(now_s)
        self._was_read |= self._client is not None
        return self._was_read

    def receive(self) -> bytes:
        """What the reader wrote."""
        received, self._received = self._received, b""
        return received

    def offer(self, chunk: bytes, now_s: float) -> None:
        """Hand over a chunk."""
        self._welcome(now_s)
        self._listen_to_reader()
        if self._client is None:
            self.dropped += bool(chunk)
            return
        self.dropped += self._backlog.add(chunk)
        if self._backlog.pump(self._send) or not self._backlog:
            self._moved_s = now_s
        elif now_s - self._moved_s > PATIENCE_S:
            self.dropped += self._backlog.clear()

    def _welcome(self, now_s: float) -> None:
        with contextlib.suppress(BlockingIOError):
            while True:
                client, _ = self._listener.accept()
                self._listen_to_reader()  # notices an old reader that has left
                if self._client is not None:
                    client.close()
                    continue
                client.setblocking(False)
                client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                self._client, self._moved_s = client, now_s

    def _listen_to_reader(self) -> None:
        if self._client is None:
            return
        try:
            data = self._client.recv(4096)
        except BlockingIOError:
            return
        except OSError:
            data = b""
        if data:
            self._received += data[-4096:]
        else:
            self._hang_up()

    def _send(self, data: bytes) -> int:
        if self._client is None:
            return 0
        try:
            return self._client.send(data)
        except BlockingIOError:
            return 0
        except OSError:
            self._hang_up()
            return 0

    def _hang_up(self) -> None:
        if self._client is not None:
            self._client.close()
        self._client = None
        self._backlog.forget()
