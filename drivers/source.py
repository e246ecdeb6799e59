"""Source: an iterator of trace pieces and line news, whatever is behind it (a live line, a replay, a wire recording)."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

from analysis.trace import Trace
from drivers.codec import WireFaults


@dataclass(frozen=True, slots=True)
class LineUp:
    """The line is open. `name` is the port or file it was opened under."""

    name: str


@dataclass(frozen=True, slots=True)
class LineAway:
    """The line went away or is silent; it is looked for until the profile's patience ends."""

    name: str
    what: str
    mend: str


@dataclass(frozen=True, slots=True)
class LineWord:
    """Something the user should know of the line while it works: wrong baud suspected, an overloaded sensor, a counter jump."""

    what: str
    mend: str


SourceItem = Trace | LineUp | LineAway | LineWord


class Source(Protocol):
    """A source of pieces. `pieces` ends when `stop` is set (within 50 ms), at the end of a recording, or raises LineLostError."""

    faults: WireFaults

    def pieces(self, stop: threading.Event) -> Iterator[SourceItem]:
        """Yield what comes, in order."""
        ...
