"""PortReader: a small process that does nothing but take bytes off a port and hand them on through a pipe.

A thread of the program cannot drain a port in time on a machine that is busy: whoever computes or paints holds the interpreter,
and may be put aside by the system while holding it. This process shares nothing with them, uses next to no processor time and asks
the system for precedence (a session of its own, and turns before others where the user may have them). What it has taken waits in
the pipe, which holds far more than a port does. Unix only, as is passing an open port to another process.

The file is run by itself (`python -I -S port_reader.py PORT`), so it imports only what starts at once.
"""

from __future__ import annotations

import contextlib
import os
import select
import sys
from collections.abc import Callable

PORT_GONE = 3
"""Exit status: the port went away. Any other end, but for the program's, is a failure of the process."""
PIPE_BYTES = 1 << 20
"""Asked of the system, which gives this to anybody unless told otherwise: 25 s of 5,000 samples a second."""
MOST_AT_ONCE = 65536
LEASH, SINK = 0, 1
"""Standard input ends with the program, killed or not; standard output is the pipe."""


class PortReaderFailedError(Exception):
    """The process ended, though the port is there."""


class PortReader:
    """Starts the process for the open port `descriptor`, which stays the caller's. Raises OSError where there can be none.

    `now` is a rising time in seconds, for reads that end in time.
    """

    command: tuple[str, ...] = (sys.executable or "", "-I", "-S", __file__)

    def __init__(self, descriptor: int, now: Callable[[], float]) -> None:
        import subprocess

        self._now = now
        self._process = subprocess.Popen(
            [*self.command, str(descriptor)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            bufsize=0,
            pass_fds=(descriptor,),
            start_new_session=True,  # Ctrl-C is for the program; and Linux shares its time out by session
        )
        assert self._process.stdout is not None
        self._pipe = self._process.stdout.fileno()
        _widen(self._pipe)

    def read(self, most: int, within_s: float) -> bytes:
        """What came within the time, at most `most` bytes. Raises OSError where the port went away, PortReaderFailedError."""
        until_s = self._now() + within_s
        data = b""
        while len(data) < most:
            left_s = max(0.0, until_s - self._now())
            if data:  # let the rest gather: woken by each few bytes, this thread would take the interpreter from whoever has it
                select.select([], [], [], left_s)
                left_s = 0.0
            if not select.select([self._pipe], [], [], left_s)[0]:
                break
            part = os.read(self._pipe, most - len(data))
            if part:
                data += part
            elif data:
                break  # the next read tells the end
            elif self._process.wait() == PORT_GONE:
                raise OSError("the port went away")
            else:
                raise PortReaderFailedError
            if left_s <= 0:
                break
        return data

    def discard(self) -> None:
        """Throw away what stands in the pipe."""
        while select.select([self._pipe], [], [], 0)[0] and os.read(self._pipe, PIPE_BYTES):
            pass

    def close(self) -> None:
        """End the process and wait for it: it holds the port open. A second time does nothing."""
        self._process.kill()
        self._process.wait()
        for end in (self._process.stdin, self._process.stdout):
            if end is not None:
                end.close()


def can_be_had() -> bool:
    """Whether a port can be handed to a process here."""
    return os.name == "posix" and bool(sys.executable) and not getattr(sys, "frozen", False)


def take_off(port: int, *, at_least_every_s: float | None = None, looking: Callable[[], None] = lambda: None) -> int:
    """Hand on what arrives until the program or the port goes away; the exit status. `looking` is called before each read."""
    while True:
        ready = select.select([LEASH, port], [], [], at_least_every_s)[0]
        if LEASH in ready:
            return 0
        looking()
        if port not in ready:
            continue
        try:
            data = os.read(port, MOST_AT_ONCE)
        except BlockingIOError:
            continue
        except OSError:
            return PORT_GONE
        if not data:  # ready, and nothing there: unplugged
            return PORT_GONE
        try:
            while data:
                data = data[os.write(SINK, data) :]
        except OSError:
            return 0


def ask_for_precedence() -> None:
    """Turns before others, where the user may have them; else a larger share; else as everybody."""
    with contextlib.suppress(OSError):  # mostly only for who was granted it
        if hasattr(os, "sched_setscheduler"):
            os.sched_setscheduler(0, os.SCHED_RR, os.sched_param(os.sched_get_priority_min(os.SCHED_RR)))
            return
    with contextlib.suppress(OSError):
        if hasattr(os, "nice"):
            os.nice(-10)


def _widen(pipe: int) -> None:
    try:
        from fcntl import F_SETPIPE_SZ, fcntl
    except ImportError:  # Linux only; elsewhere the pipe stays as it is: 64 kB are 1.6 s
        return
    with contextlib.suppress(OSError):
        fcntl(pipe, F_SETPIPE_SZ, PIPE_BYTES)


if __name__ == "__main__":
    ask_for_precedence()
    sys.exit(take_off(int(sys.argv[1])))
