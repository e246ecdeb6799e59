"""What every protocol gives: readings as sent, and a truthful count of what could not be read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple, Protocol


class Reading(NamedTuple):
    """One sample as the device sent it, in the device's own units.

    torque   as sent
    angle    as sent; None where the device sends none
    stamp    device time or counter as sent; None where the device sends none
    """

    torque: float
    angle: float | None = None
    stamp: float | None = None


@dataclass(slots=True)
class WireFaults:
    """What was dropped, counted since the codec was made. `lost` is samples known missing from a counter."""

    garbled: int = 0
    overlong: int = 0
    overload: int = 0
    lost: int = 0

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
