"""What a source tells: pieces of trace, and how the line fares."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.trace import Trace


@dataclass(frozen=True, slots=True)
class LineUp:
    """The line is open. `name` is the port or file it was opened under."""

    name: str


@dataclass(frozen=True, slots=True)
class ConnectionLost:
    """The line went away or is silent; it is looked for until the profile's patience ends."""

    name: str
    what: str
    remedy: str


@dataclass(frozen=True, slots=True)
class LineWarning:
    """Something the user should know of the line while it works: wrong baud suspected, an overloaded sensor, a counter jump."""

    what: str
    remedy: str


SourceItem = Trace | LineUp | ConnectionLost | LineWarning
