"""The port: opens, reads, writes, closes, lists. The only importer of pyserial; its exceptions stop here."""

from __future__ import annotations

import contextlib
import errno
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

import serial
from serial.tools.list_ports import comports  # type: ignore[attr-defined]

from drivers.clock import SystemClock
from drivers.errors import LineLostError
from drivers.port_reader import PortReader, PortReaderFailedError, can_be_had

try:
    import termios

    TERMINAL_ERRORS: tuple[type[Exception], ...] = (termios.error,)
except ImportError:  # systems without terminals in the Unix sense
    TERMINAL_ERRORS = ()

# A lost line has four faces: SerialException (an OSError), plain OSError, termios.error (none), TypeError (closed below us).
_LOST: tuple[type[Exception], ...] = (OSError, TypeError, *TERMINAL_ERRORS)
_NOT_OPENED: tuple[type[Exception], ...] = (OSError, ValueError, *TERMINAL_ERRORS)

SCHEMES = ("socket", "rfc2217", "loop")
"""URLs that are opened. All others of the serial library are refused: `spy` writes into any file it is told to, `alt`, `hwgrep`
and `cp2110` load code or pick a port of their own. `loop` stays within the program and is for tests."""

READ_S = 0.02
"""A read ends after this time with what there is: natural pieces, 50 a second."""
MOST_BYTES = 4096


@dataclass(frozen=True, slots=True)
class PortInfo:
    """A serial port that is there. `identity` names the device behind it, whatever the port is called; '' if unknown.

    It is 'VENDOR:PRODUCT:SERIAL', or 'VENDOR:PRODUCT:at SOCKET' for a bridge that has no serial number.
    """

    port: str
    what: str
    identity: str = ""


class Line(Protocol):
    """An open line. Its methods raise LineLostError when it goes away."""

    name: str
    ended: bool
    """Nothing will come any more: the end of a recording. A live line never ends so."""

    def read(self, most: int = MOST_BYTES) -> bytes:
        """What came within `READ_S`, at most `most` bytes and as soon as these are there; b'' if nothing came."""
        ...

    def write(self, data: bytes) -> None:
        """Send bytes."""
        ...

    def discard(self) -> None:
        """Throw away what has arrived and was not read."""
        ...

    def close(self) -> None:
        """Close; a second time does nothing."""
        ...


class SerialLine:
    """A line over pyserial: a port such as /dev/ttyUSB0 or COM3, or a URL such as socket://, rfc2217://, loop://.

    `streams`: the device sends by itself, so a process of its own drains the port where there can be one (`port_reader.py`).
    """

    def __init__(self, port: str, baud: int, bits: str = "8N1", *, streams: bool = False) -> None:
        self.name = port
        self.ended = False
        _refuse_other_urls(port)
        data_bits, parity, stop_bits = tuple(bits)
        try:
            self._port = serial.serial_for_url(  # type: ignore[no-untyped-call]
                port,
                baudrate=baud,
                bytesize=int(data_bits),
                parity=parity,
                stopbits=int(stop_bits),
                timeout=READ_S,
                write_timeout=None if "://" in port else 1.0,  # an rfc2217 port refuses to have one
                exclusive=True,
            )
        except _NOT_OPENED as fault:
            raise _cannot_open(port, fault) from fault
        self._reader: PortReader | None = None
        if streams and "://" not in port and can_be_had():
            with contextlib.suppress(OSError):  # no process to be had: it is read here
                self._reader = PortReader(self._port.fileno(), SystemClock().now)

    def read(self, most: int = MOST_BYTES) -> bytes:
        """What came within `READ_S`, at most `most` bytes."""
        with _lost_line_told(self.name):
            if self._reader is not None:
                try:
                    return self._reader.read(most, READ_S)
                except PortReaderFailedError:  # somebody ended it: from here on it is read here
                    self._reader.close()
                    self._reader = None
            return bytes(self._port.read(most))

    def write(self, data: bytes) -> None:
        """Send bytes."""
        with _lost_line_told(self.name):
            self._port.write(data)

    def discard(self) -> None:
        """Throw away what has arrived and was not read."""
        with _lost_line_told(self.name):
            self._port.reset_input_buffer()
            if self._reader is not None:
                self._reader.discard()

    def close(self) -> None:
        """Close; a second time does nothing. A line that is gone already cannot complain any more."""
        if self._reader is not None:
            self._reader.close()
        with contextlib.suppress(*_LOST):
            self._port.close()


def _refuse_other_urls(port: str) -> None:
    """Let through plain ports and the URLs of `SCHEMES`, in any case of letters. Raises LineLostError."""
    scheme, mark, rest = port.partition("://")
    if (mark and scheme.lower() not in SCHEMES) or "://" in rest or "\0" in port:
        raise _no_port(port, "URLs of this kind are not opened" if mark else "a zero stands in it")


def _no_port(port: str, why: object) -> LineLostError:
    expected = "use a port such as /dev/ttyUSB0 or COM3, or a URL such as socket://host:4000 or rfc2217://host:2217"
    return LineLostError(f"this is no port that can be opened ({why})", where=port, remedy=expected)


@contextlib.contextmanager
def _lost_line_told(port: str) -> Iterator[None]:
    try:
        yield
    except _LOST as fault:
        raise LineLostError("the line went away", where=port, remedy="check plug, cable and power") from fault


def list_ports() -> list[PortInfo]:
    """The serial ports that are there, in order of name."""
    found = []
    for each in comports():  # type: ignore[no-untyped-call]
        ids = f"{each.vid:04x}:{each.pid:04x}:{each.serial_number or f'at {each.location}'}" if each.vid is not None else ""
        what = each.description if each.description not in (None, "n/a") else ""
        found.append(PortInfo(each.device, what, ids))
    return sorted(found, key=lambda info: info.port)


def _cannot_open(port: str, fault: Exception) -> LineLostError:
    """The sentence for a port that would not open."""
    number = getattr(fault, "errno", None)
    text = str(fault)
    if isinstance(fault, ValueError) or "://" in port:
        return _cannot_reach(port, fault)
    if number == errno.EACCES:
        return LineLostError("you may not open this port", where=port, remedy=group_to_join(port))
    if number in (errno.EBUSY, errno.EAGAIN) or "exclusively lock" in text or "PermissionError" in text:
        return LineLostError("the port is in use by another program", where=port, remedy="close that program, then try again")
    if number in (errno.ENOENT, errno.ENXIO, errno.ENODEV) or "FileNotFoundError" in text:
        there = ", ".join(f"{info.port} ({info.what})" if info.what else info.port for info in list_ports())
        remedy = f"plugged in are: {there}" if there else "no serial port is plugged in; check the cable, then 'platepull ports'"
        return LineLostError("there is no such port", where=port, remedy=remedy)
    reason = os.strerror(number) if isinstance(number, int) else text
    return LineLostError(
        f"this is not a usable serial port ({reason})", where=port, remedy="see 'platepull ports' for those there are"
    )


def _cannot_reach(port: str, fault: Exception) -> LineLostError:
    if isinstance(fault, ValueError) and "baud" in str(fault):
        what = "the port cannot be set to this baud rate"
        return LineLostError(what, where=port, remedy="set baud to a rate that both device and USB bridge know, such as 115200")
    if isinstance(fault, ValueError):
        return _no_port(port, fault)
    reason = re.sub(r"^.*?\[Errno -?\d+\]\s*", "", str(fault)).strip(" '\"")
    return LineLostError(
        f"nobody answers there ({reason})", where=port, remedy="check that the other end runs and the address is right"
    )


def group_to_join(port: str) -> str:
    """Which group the person must join to open the port; Unix only, elsewhere nobody gets here."""
    try:
        import grp

        group = grp.getgrgid(os.stat(port).st_gid).gr_name
    except (ImportError, KeyError, OSError):
        group = "dialout"
    if group == "root":
        return "its device file belongs to root alone; have the system's administrator give it to group dialout"
    return f"join group {group}: 'sudo usermod -aG {group} $USER', then log out and in again"
