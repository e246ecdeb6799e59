"""RawTap: the last of what came over the line, as it came, with what the decoder makes of it. For the line page."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from drivers.line import MOST_BYTES, Line
from drivers.profile import DeviceProfile
from drivers.wiring import wiring_for

KEPT_PIECES = 64
BYTES_A_ROW = 16


@dataclass(frozen=True, slots=True)
class RawRow:
    """A line (or a row of bytes) as it came. `torque_nm` and `angle_deg` None: the decoder made no sample of it, or none alone."""

    raw: str
    torque_nm: float | None
    angle_deg: float | None
    read: bool


class RawTap:
    """Keeps the newest bytes; written by the line's thread, read by the window's."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._pieces: deque[bytes] = deque(maxlen=KEPT_PIECES)

    def note(self, data: bytes) -> None:
        """Take bytes that came."""
        if data:
            with self._lock:
                self._pieces.append(data)

    def rows(self, profile: DeviceProfile, count: int) -> list[RawRow]:
        """The newest `count` rows, oldest first: whole lines where the protocol is text, else rows of bytes."""
        with self._lock:
            data = b"".join(self._pieces)
        if profile.protocol != "text":
            end = len(data) - len(data) % BYTES_A_ROW
            rows = [data[at : at + BYTES_A_ROW] for at in range(max(0, end - count * BYTES_A_ROW), end, BYTES_A_ROW)]
            return [RawRow(row.hex(" "), None, None, True) for row in rows]
        lines = data.replace(b"\r", b"\n").split(b"\n")[1:-1]
        return [_decoded(line, profile) for line in [line for line in lines if line][-count:]]


def _decoded(line: bytes, profile: DeviceProfile) -> RawRow:
    wiring = wiring_for(profile)
    # A fresh decoder mistrusts its first line, which may be half a one: give it the line twice.
    readings = wiring.codec.feed(line + b"\n" + line + b"\n")
    raw = line.decode("utf-8", "backslashreplace")
    if not readings:
        return RawRow(raw, None, None, False)
    reading = readings[-1]
    angle = None if reading.angle is None else reading.angle * wiring.angle.factor + wiring.angle.offset
    return RawRow(raw, reading.torque * wiring.torque.factor + wiring.torque.offset, angle, True)


class TappedLine:
    """A line whose incoming bytes are noted."""

    def __init__(self, line: Line, tap: RawTap) -> None:
        self._line, self._tap = line, tap
        self.name, self.ended = line.name, line.ended

    def read(self, most: int = MOST_BYTES) -> bytes:
        """What came."""
        data = self._line.read(most)
        self.ended = self._line.ended
        self._tap.note(data)
        return data

    def write(self, data: bytes) -> None:
        """Send bytes."""
        self._line.write(data)

    def discard(self) -> None:
        """Throw away what has arrived and was not read."""
        self._line.discard()

    def close(self) -> None:
        """Close."""
        self._line.close()


def tapped(open_line: Callable[[str], Line], tap: RawTap) -> Callable[[str], Line]:
    """An opener whose lines are noted."""
    return lambda port: TappedLine(open_line(port), tap)
