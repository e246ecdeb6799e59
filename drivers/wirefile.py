r"""Recordings of the wire: the bytes as they came, with their arrival times, for a strange device to be debugged from a file.

A text file, one row an event, to be read with any editor and cut by hand:

    platepull wire 1 {"port": "/dev/ttyUSB0", "baud": 115200}
    0.000000 o /dev/ttyUSB0          the line was opened
    0.021310 r 12.5,3.25\r\n       bytes arrived, non-printable ones as \xNN
    0.030000 w \x01\x03\x00k      bytes were sent
    5.200000 x the line went away    the line was lost

Times are seconds since the recording began. A row cut short by a power failure ends the recording; nothing else is lost.
"""

from __future__ import annotations

import contextlib
import json
import math
import re
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, TextIO

from drivers.clock import Clock
from drivers.errors import LineLostError, WireFileError
from drivers.line import MOST_BYTES, Line
from drivers.opening import WIRE, read_text

MAGIC = "platepull wire 1"
What = Literal["o", "r", "w", "x"]


@dataclass(frozen=True, slots=True)
class WireEvent:
    """One row: when, what ('o' opened, 'r' arrived, 'w' sent, 'x' lost), and the bytes, or a word, it is about."""

    time_s: float
    what: What
    data: bytes


class WireTape:
    """Writes a recording to a new file. Rows reach the file at least every `FLUSH_S`. Raises WireFileError."""

    FLUSH_S = 0.2

    def __init__(self, path: Path, clock: Clock, about: dict[str, str | int]) -> None:
        self._path, self._clock, self._from_s, self._flushed_s = path, clock, clock.now(), 0.0
        self._empty = True
        with self._troubles_told():
            # What was recorded once is not written over.
            self._file: TextIO = path.open("x", encoding="ascii", newline="\n")
            self._file.write(f"{MAGIC} {json.dumps(about)}\n")

    def note(self, what: What, data: bytes) -> None:
        """Add an event that happens now."""
        time_s = self._clock.now() - self._from_s
        self._empty = False
        with self._troubles_told():
            self._file.write(f"{time_s:.6f} {what} {_escaped(data)}\n")
            if time_s - self._flushed_s >= self.FLUSH_S:
                self._file.flush()
                self._flushed_s = time_s

    def close(self) -> None:
        """End the recording. Where the line never opened there is none, and its name stays free."""
        with self._troubles_told():
            self._file.close()
            if self._empty:
                self._path.unlink(missing_ok=True)

    @contextlib.contextmanager
    def _troubles_told(self) -> Iterator[None]:
        try:
            yield
        except FileExistsError:
            raise WireFileError("there is such a file already", where=str(self._path), remedy="choose another name") from None
        except OSError as fault:
            what = f"the recording cannot be written ({fault.strerror})"
            raise WireFileError(what, where=str(self._path), remedy="check folder and disk") from fault


class TapedLine:
    """A line whose traffic goes onto a tape."""

    def __init__(self, line: Line, tape: WireTape) -> None:
        self._line, self._tape = line, tape
        self.name, self.ended = line.name, line.ended
        tape.note("o", line.name.encode())

    def read(self, most: int = MOST_BYTES) -> bytes:
        """Read, and note what came."""
        try:
            data = self._line.read(most)
        except LineLostError as fault:
            self._tape.note("x", fault.what.encode())
            raise
        self.ended = self._line.ended
        if data:
            self._tape.note("r", data)
        return data

    def write(self, data: bytes) -> None:
        """Write, and note it."""
        self._tape.note("w", data)
        self._line.write(data)

    def discard(self) -> None:
        """Throw away what was not read; it never gets onto the tape."""
        self._line.discard()

    def close(self) -> None:
        """Close the line; the tape stays open for the next one."""
        self._line.close()


def taped(open_line: Callable[[str], Line], tape: WireTape) -> Callable[[str], Line]:
    """An opener whose lines go onto the tape."""
    return lambda port: TapedLine(open_line(port), tape)


def read_wire(path: Path) -> list[WireEvent]:
    """The events of a recording. Raises FileError or WireFileError, naming the row."""
    return parse_wire(read_text(path, WIRE), path.name)


def parse_wire(text: str, where: str) -> list[WireEvent]:
    """The events in the text of a recording; `where` names it in errors. Raises WireFileError, naming the row."""
    rows = text.split("\n")
    if not rows[0].startswith(MAGIC):
        raise WireFileError("this is no recording of the wire", where=where, remedy=f"its first row must begin with '{MAGIC}'")
    events: list[WireEvent] = []
    for number, row in enumerate(rows[1:-1], 2):  # the last row has no line end: empty, or cut short
        event = _event(row)
        if event is None or (events and event.time_s < events[-1].time_s):
            remedy = "write it as 'SECONDS r BYTES', with times that do not fall"
            raise WireFileError("this row is no event", where=f"{where}, row {number}", remedy=remedy)
        events.append(event)
    return events


_ESCAPED = re.compile(r"(?:[^\\]|\\(?:[\\nrt]|x[0-9a-f]{2}))*")
"""What `_escaped` makes of bytes, and nothing else: other escapes are none of ours, and some make the language warn."""


def _event(row: str) -> WireEvent | None:
    time, _, rest = row.partition(" ")
    what, _, text = rest.partition(" ")
    if what not in ("o", "r", "w", "x") or not _ESCAPED.fullmatch(text):
        return None
    try:
        event = WireEvent(float(time), what, text.encode("ascii").decode("unicode_escape").encode("latin-1"))  # type: ignore[arg-type]
    except ValueError:
        return None
    return event if math.isfinite(event.time_s) else None


def _escaped(data: bytes) -> str:
    return data.decode("latin-1").encode("unicode_escape").decode("ascii")


class WirePlayer:
    """A recording as a line, and as the clock that goes with it: arrivals are those of the recording.

    With `pace` the reading waits as long as the device did; without, it comes as fast as it is taken.
    """

    def __init__(self, path: Path, pace: Clock | None = None) -> None:
        self.name = path.name
        self.ended = False
        self._events = [event for event in read_wire(path) if event.what != "o"]
        self._at = 0
        self._waited = False
        self._pace = pace
        self._pace_from_s = pace.now() if pace else 0.0
        self._moment_s = 0.0

    def now(self) -> float:
        """The arrival of the bytes read last, in seconds since the recording began."""
        return self._moment_s

    def wait_until(self, moment_s: float, stop: threading.Event) -> bool:
        """Nobody waits in a recording; what happens next stands in it."""
        return stop.is_set()

    def read(self, most: int = MOST_BYTES) -> bytes:
        """The next bytes that arrived, however many; b'' where the recording waits until something is sent."""
        if self._at == len(self._events):
            self.ended = True
            return b""
        event = self._events[self._at]
        self._go_to(event.time_s)
        if event.what == "w" and not self._waited:
            self._waited = True
            return b""
        self._at, self._waited = self._at + 1, False
        if event.what == "x":
            raise LineLostError(event.data.decode("latin-1"), where=self.name)
        return event.data if event.what == "r" else b""

    def write(self, data: bytes) -> None:
        """A recording does not listen; if something was sent now, that is when it was."""
        if self._at < len(self._events) and self._events[self._at].what == "w":
            self._go_to(self._events[self._at].time_s)
            self._at, self._waited = self._at + 1, False

    def discard(self) -> None:
        """What was thrown away is not in the recording."""

    def _go_to(self, time_s: float) -> None:
        self._moment_s = time_s
        if self._pace is not None:
            self._pace.wait_until(self._pace_from_s + time_s, threading.Event())

    def close(self) -> None:
        """Nothing to close: the recording goes on when it is opened again."""
