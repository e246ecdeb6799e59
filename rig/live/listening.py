"""Listening to a device nobody has described yet: at one baud rate after the other, until what comes makes sense."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from drivers.clock import Clock
from drivers.errors import LineLostError
from drivers.guess import Chunk, Guess, guess, wants_more
from drivers.line import Line
from drivers.opening import CAPTURE, read_bytes
from drivers.source import SILENT_AFTER_S
from drivers.wirefile import MAGIC, read_wire

BAUDS = (115200, 9600, 19200, 38400, 57600, 230400, 460800, 921600, 4800, 2400)
"""In the order in which devices are likely to use them (common practice, no source)."""
SURE_ENOUGH = 0.25
"""From here on a baud rate need not be doubted: garbage makes no lines that a layout reads."""
SLOW_S = 15.0
"""So long at most a slow indicator is listened to at one baud rate."""
LOOK_EVERY_S = 2.0
"""While a person pulls, what came so far is looked at so often."""


def chunks_of(path: Path) -> list[Chunk]:
    """What stands in a recording of the wire, or in a file of bare bytes, of which nobody knows when they arrived."""
    data = read_bytes(path, CAPTURE)
    if data.startswith(MAGIC.encode()):
        return [Chunk(event.time_s, event.data) for event in read_wire(path) if event.what == "r"]
    return [Chunk(None, b"\n" + data + b"\n")]  # a file begins and ends with whole lines


SILENT = "switch the device on and set it to send by itself; a Modbus device, which must be asked, is set up by hand"


@dataclass(frozen=True, slots=True)
class Pulls:
    """Waiting for a person to pull, where only a pull tells torque from angle.

    `ask` says so and hears what is known, `most_s` is how long at most.
    """

    ask: Callable[[Guess], None]
    most_s: float


def listen(
    open_line: Callable[[int], Line],
    bauds: Sequence[int],
    clock: Clock,
    seconds: float,
    tell: Callable[[int], None],
    pulls: Pulls | None = None,
) -> tuple[int, Guess | None]:
    """The baud rate at which what comes makes most sense, and that sense; `tell` hears each rate that is tried.

    With `pulls`, a device whose lines do not say which column is torque is listened to until a pull has told it.

    Raises LineLostError, also where nothing comes.
    """
    best: tuple[int, Guess | None] = (bauds[0], None)
    for baud in bauds:
        tell(baud)
        line = open_line(baud)
        try:
            chunks = _heard(line, clock, seconds)
            if not chunks:  # at a wrong baud rate something would have come, if only garbage
                remedy = (
                    "switch the device on and set it to send by itself; a Modbus device, which must be asked, is set up by hand"
                )
                raise LineLostError("the line is open but nothing arrives", where=line.name, remedy=remedy)
            found = guess(chunks)
            if found is not None and found.wants_pull and found.sureness >= SURE_ENOUGH and pulls is not None:
                pulls.ask(found)
                found = _until_pulled(line, clock, chunks, pulls.most_s)
        finally:
            line.close()
        if found is not None and (best[1] is None or found.sureness > best[1].sureness):
            best = (baud, found)
        if best[1] is not None and best[1].sureness >= SURE_ENOUGH:
            break
    return best


def _until_pulled(line: Line, clock: Clock, chunks: list[Chunk], most_s: float) -> Guess | None:
    """Listen on until a pull has told the columns apart and is over, or the time is up; what all of it says."""
    began_s = looked_s = clock.now()
    found = guess(chunks)
    while clock.now() - began_s < most_s:
        data = line.read()
        if data:
            chunks.append(Chunk(clock.now(), data))
        if clock.now() - looked_s >= LOOK_EVERY_S:
            looked_s, found = clock.now(), guess(chunks)
            if found is not None and not found.wants_pull:
                return found
    return guess(chunks)


def _heard(line: Line, clock: Clock, seconds: float) -> list[Chunk]:
    """What comes within `seconds` of its first byte, or for longer where lines are few. A board may restart when it is opened."""
    chunks: list[Chunk] = []
    opened_s = clock.now()
    until_s = opened_s + max(seconds, SILENT_AFTER_S)
    while clock.now() < until_s:
        data = line.read()
        if data and not chunks:
            until_s = clock.now() + seconds
        if data:
            chunks.append(Chunk(clock.now(), data))
        if clock.now() >= until_s and wants_more(chunks) and clock.now() < opened_s + SLOW_S:
            until_s = clock.now() + 1.0
    return chunks
