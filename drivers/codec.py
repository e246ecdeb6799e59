"""What every protocol gives: readings as sent, and a truthful count of what could not be read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple, Protocol, runtime_checkable

BEYOND_REASON = 1e18
"""No sensor sends that; it would only overflow further on. Microseconds since 1970 stay below."""


class Reading(NamedTuple):
    """One sample as the device sent it, in the device's own units.

    torque   as sent; plus or minus infinity where the device says that its sensor is overloaded
    angle    as sent; None where the device sends none
    stamp    device time or counter as sent; where the device sends neither, the number of its place in the stream,
             so that a line that could not be read leaves a hole
    """

    torque: float
    angle: float | None = None
    stamp: float | None = None


@dataclass(slots=True)
class WireFaults:
    """What was dropped, counted since the codec was made.

    garbled    lines, frames or answers that could not be read, and samples with an impossible time
    overlong   lines or frames without an end
    overload   samples for which the device says 'overloaded'; they are kept, at the sensor's limit
    lost       samples known to be missing from a counter, also those of lines and frames that count as garbled
    ignored    good lines of a kind the profile does not want; not a fault
    """

    garbled: int = 0
    overlong: int = 0
    overload: int = 0
    lost: int = 0
    ignored: int = 0

    @property
    def total(self) -> int:
        """All faults together."""
        return self.garbled + self.overlong + self.overload + self.lost


class Codec(Protocol):
    """Bytes in, readings out. The result does not depend on where the wire cut the bytes. Never raises on any bytes."""

    faults: WireFaults

    def feed(self, data: bytes) -> list[Reading]:
        """Take the next bytes; return the readings they complete."""
        ...

    def restart(self) -> None:
        """Forget the unfinished rest: the line was opened anew. The counts stay."""
        ...


@runtime_checkable
class PolledCodec(Codec, Protocol):
    """A codec for a device that speaks only when asked, one question at a time."""

    period_s: float
    timeout_s: float
    answered: bool
    answer_bytes: int
    refusal: str

    def ask(self) -> bytes:
        """The next question."""
        ...
