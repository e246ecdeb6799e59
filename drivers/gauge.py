"""A micrometer, depth gauge or dial that prints a length a line, at its own button or all the time. The decoder, pure."""

from __future__ import annotations

from typing import NamedTuple

from drivers.codec import WireFaults
from drivers.text import FieldReader, LineCutter, TextFormat, is_tagged, without_check

MM_PER_M = 1000.0
DIGITS = {"mm": 3, "in": 4}
"""What a digital gauge resolves (0.001 mm, 0.0001 in; common practice, no source); other units six."""


class Length(NamedTuple):
    """One line of a gauge: the length, and the same as it was sent, with its unit."""

    length_mm: float
    text: str


class GaugeCodec:
    """Bytes to lengths. Where the wire cuts the bytes does not matter, and no bytes raise.

    A line that cannot be read whole is counted in `faults.garbled`; one without the profile's tag in `faults.ignored`.
    """

    def __init__(self, layout: TextFormat) -> None:
        column = layout.column("length")
        if column is None:
            raise ValueError("a gauge's layout needs a length")
        self.layout = layout
        self.faults = WireFaults()
        self._cutter = LineCutter(self.faults)
        self._fields = FieldReader(layout)
        self._at = [one.kind for one in layout.columns if one.kind != "skip"].index("length")
        self._mm, self._unit = column.scale.factor * MM_PER_M, column.unit

    def restart(self) -> None:
        """Forget the unfinished rest: the line was opened anew."""
        self._cutter.restart()

    def quiet(self) -> None:
        """Nothing has come for so long that the next byte begins a line; a gauge prints one a press, so the first counts too."""
        self.faults.garbled += self._cutter.unfinished
        self._cutter.restart(in_step=True)

    def feed(self, data: bytes) -> list[Length]:
        """Take the next bytes; return the lengths they complete."""
        read = map(self._read, self._cutter.feed(data))
        return [length for length in read if length is not None]

    def _read(self, line: bytes) -> Length | None:
        checked = without_check(line) if self.layout.check else line
        values = None if checked is None else self._fields.read(checked)
        if values is None:
            if is_tagged(self.layout, line):
                self.faults.garbled += 1
            else:
                self.faults.ignored += 1
            return None
        sent = values[self._at]
        return Length(sent * self._mm, f"{sent:.{DIGITS.get(self._unit, 6)}f} {self._unit}")
