"""The one place that opens a file to read it: a regular file, of a size and with lines as its kind has them, and no zeros in it.

A pipe that nobody writes to, a device behind a link, a file of gigabytes or one line without an end are refused in a sentence
instead of waited for or loaded.
"""

from __future__ import annotations

import os
import stat
from dataclasses import dataclass
from io import FileIO
from pathlib import Path
from typing import Final

from drivers.errors import FileError

_PORTION: Final = 1 << 20


@dataclass(frozen=True, slots=True)
class Kind:
    """What a file is called in messages, how large it and its lines can be (0: it has none), and what to do where it is missing."""

    name: str
    most_bytes: int
    longest_line: int
    if_missing: str = "check the path"


# Ten million samples at some 35 bytes a row, and half as much again.
TRACE: Final = Kind("trace", 600_000_000, 20_000, "check the name")
# The largest that the program writes are certificates of some hundred kilobytes; a person's own run to ten.
DOCUMENT: Final = Kind("document", 4_000_000, 100_000)
POINTS: Final = Kind("file of points", 10_000_000, 10_000)
# Half an hour of a busy line at 1 Mbit/s, in hexadecimal.
WIRE: Final = Kind("recording of the wire", 600_000_000, 100_000)
# A stream saved byte by byte, whatever it is: lines mean nothing there.
# A photograph, a scan, a page of the maker's: what a book keeps a sum of.
ATTACHED: Final = Kind("file", 2_000_000_000, 0)
CAPTURE: Final = Kind("capture", 600_000_000, 0)


def read_bytes(path: Path, kind: Kind) -> bytes:
    """The bytes of a file, without a byte order mark and without the zeros that a power cut may leave at the end of a growing file.

    Raises
    ------
    FileError
        If it is missing, no regular file, too large, has a line that is too long or a zero in it, or cannot be read.
    """
    where = _shown(path)
    with open_regular(path, kind) as file:
        try:
            return _whole(file, where, kind)
        except OSError as fault:
            raise FileError(f"cannot be read ({fault.strerror})", where=where, remedy="check the file and its disk") from fault


def open_regular(path: Path, kind: Kind) -> FileIO:
    """A regular file of a size as its kind has it, open to be read in portions by the caller. Raises FileError."""
    where = _shown(path)
    # Without waiting: opening a pipe would block until somebody writes to it.
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_BINARY", 0)
    try:
        _must_be_regular(os.stat(path).st_mode, where, kind)
        file = FileIO(os.open(path, flags), "rb")
    except (FileNotFoundError, NotADirectoryError):
        raise FileError(f"there is no such {kind.name}", where=where, remedy=kind.if_missing) from None
    except ValueError:  # a NUL in the path
        raise FileError("this is no path", where=where, remedy="check the path") from None
    except OSError as fault:
        raise FileError(f"cannot be opened ({fault.strerror})", where=where, remedy="check the file's path and rights") from fault
    try:
        about = os.fstat(file.fileno())
        _must_be_regular(about.st_mode, where, kind)  # it may have been exchanged since
        if about.st_size > kind.most_bytes:
            raise _too_large(where, kind)
    except BaseException:
        file.close()
        raise
    return file


def read_text(path: Path, kind: Kind) -> str:
    """The text of a file in UTF-8. Raises FileError."""
    try:
        return read_bytes(path, kind).decode("utf-8")
    except UnicodeDecodeError as fault:
        what = f"is not a text file in UTF-8 (byte {fault.start})"
        raise FileError(what, where=_shown(path), remedy="save it as UTF-8 text") from fault


def _shown(path: Path) -> str:
    return str(path) or "."


def _must_be_regular(mode: int, where: str, kind: Kind) -> None:
    if stat.S_ISREG(mode):
        return
    if stat.S_ISDIR(mode):
        raise FileError("is a folder", where=where, remedy=f"name the {kind.name} in it")
    what = "a pipe" if stat.S_ISFIFO(mode) else "a socket" if stat.S_ISSOCK(mode) else "a device"
    raise FileError(f"is {what} and no ordinary file", where=where, remedy=f"name a {kind.name}")


def _too_large(where: str, kind: Kind) -> FileError:
    return FileError(
        f"is too large for a {kind.name} (over {kind.most_bytes / 1e6:g} MB)", where=where, remedy="check that it is the right file"
    )


def _whole(file: FileIO, where: str, kind: Kind) -> bytes:
    """All of it, portion by portion, so that nothing large is in memory before it is refused."""
    parts: list[bytes] = []
    size = since_line_end = 0
    zeros = False
    while portion := file.read(_PORTION):
        if kind.longest_line and not parts and portion.startswith((b"\xff\xfe", b"\xfe\xff")):
            raise FileError("is not a text file in UTF-8 but in UTF-16", where=where, remedy="save it as 'UTF-8'")
        size += len(portion)
        if size > kind.most_bytes:
            raise _too_large(where, kind)
        if kind.longest_line == 0:
            parts.append(portion)
            continue
        text = portion.rstrip(b"\0")
        if b"\0" in text or (zeros and text):
            raise FileError("is not a text file in UTF-8", where=where, remedy=f"check that it is a {kind.name}")
        zeros = zeros or len(text) < len(portion)
        if text:
            since_line_end = _check_lines(text, since_line_end, where, kind)
            parts.append(text)
    whole = b"".join(parts)
    return whole.removeprefix(b"\xef\xbb\xbf") if kind.longest_line else whole


def _check_lines(text: bytes, before: int, where: str, kind: Kind) -> int:
    """Refuse a line that is too long; what follows the last line end is returned as its length."""
    at = 0
    while len(text) - at + before > kind.longest_line:
        reach = at + kind.longest_line - before + 1
        end = max(text.rfind(b"\n", at, reach), text.rfind(b"\r", at, reach))
        if end < 0:
            what = f"has a line of over {kind.longest_line} characters"
            raise FileError(what, where=where, remedy=f"check that it is a {kind.name}")
        at, before = end + 1, 0
    end = max(text.rfind(b"\n", at), text.rfind(b"\r", at))
    return len(text) - end - 1 if end >= 0 else len(text) - at + before
