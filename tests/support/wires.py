"""Lines made up for tests: a script of what each read gives, on a step clock."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from itertools import pairwise

from support.clocks import StepClock

from drivers.errors import LineLostError
from drivers.line import MOST_BYTES, READ_S

GONE = object()
"""In a script: the line goes away here."""


class ScriptedLine:
    """Each read takes 20 ms of the step clock and gives the next entry of the script; after it `at_end`, else nothing for ever."""

    def __init__(
        self, clock: StepClock, script: Iterable[object], name: str = "made up", at_end: Callable[[], None] | None = None
    ) -> None:
        self.name = name
        self.written: list[bytes] = []
        self.closed = False
        self.ended = False
        self._clock, self._script, self._at_end = clock, iter(script), at_end

    def read(self, most: int = MOST_BYTES) -> bytes:
        self._clock.moment += READ_S
        entry = next(self._script, None)
        if entry is None:
            if self._at_end is not None:
                self._at_end()
            return b""
        if entry is GONE:
            raise LineLostError("the line went away", where=self.name, remedy="check plug, cable and power")
        assert isinstance(entry, bytes)
        return entry

    def write(self, data: bytes) -> None:
        self.written.append(data)

    def discard(self) -> None:
        pass

    def close(self) -> None:
        self.closed = True


def pieces_of(data: bytes, cuts: Iterable[int]) -> Iterator[bytes]:
    """The data, cut at the given places."""
    places = sorted({0, len(data), *(cut for cut in cuts if 0 < cut < len(data))})
    for first, last in pairwise(places):
        yield data[first:last]
