"""`platepull guess PORT_OR_FILE`: looks at what a device sends and writes a profile for it."""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from rig.commands._options import positive

if TYPE_CHECKING:
    from collections.abc import Callable

    from drivers.clock import Clock
    from drivers.guess import Chunk, Guess
    from drivers.line import Line

NAME = "guess"
HELP = "look at what a device sends, from a port or a recording, and write a profile for it"
BAUDS = (115200, 9600, 19200, 38400, 57600, 230400, 460800, 921600, 4800, 2400)
"""In the order in which devices are likely to use them (common practice, no source)."""
SURE_ENOUGH = 0.25
"""From here on a baud rate need not be doubted: garbage makes no lines that a layout reads."""
SLOW_S = 15.0
"""So long at most a slow indicator is listened to at one baud rate."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("what", metavar="PORT_OR_FILE", help="a port, a recording of the wire, or a file of bare text")
    parser.add_argument("--out", metavar="PROFILE.toml", type=Path, help="where the profile goes; else it is printed")
    parser.add_argument("--baud", type=positive(int), help="the baud rate, if it is known; else the usual ones are tried")
    parser.add_argument("--seconds", type=positive(float), default=2.0, help="how long to listen at each baud rate (default 2)")
    parser.add_argument("--capacity", metavar="TORQUE", help='what the sensor can bear, such as "200 N.m"')
    parser.add_argument("--name", default="bench 1", help="a name for the device")


def run(args: argparse.Namespace) -> int:
    """Listen, guess, write or print the profile, and say how sure it is."""
    from analysis.errors import BenchError
    from analysis.units import to_si
    from drivers.clock import SystemClock
    from drivers.guess import LEAST_LINES, guess
    from drivers.line import SerialLine
    from drivers.profile import profile_text

    capacity_nm = None if args.capacity is None else to_si(args.capacity, "torque")
    if capacity_nm is not None and capacity_nm <= 0:
        raise BenchError(
            "a capacity must be above zero", where="--capacity", remedy='take it from the sensor\'s plate, like "200 N.m"'
        )
    path = Path(args.what)
    port, baud = args.what, args.baud or BAUDS[0]
    found: Guess | None
    if path.is_file():
        chunks = chunks_of(path)
        port, found = f"wire:{path.as_posix()}", guess(chunks)
        if found is not None and chunks[0].arrival_s is None:
            port, found = (
                "PORT",
                replace(found, caveats=(*found.caveats, "port: a file does not tell; write the device's own for PORT")),
            )
    else:
        bauds = (args.baud,) if args.baud else BAUDS
        baud, found = listen(lambda rate: SerialLine(args.what, rate), bauds, SystemClock(), args.seconds)
    if found is None:
        remedy = "try --seconds 10, or --baud as its manual has it; 'platepull wire record --port' keeps the bytes to be looked at"
        if path.is_file():
            remedy = f"it must hold {LEAST_LINES} whole lines or more, or frames; a Modbus device is set up by hand"
        raise BenchError("nothing that came makes sense as text lines or frames", where=args.what, remedy=remedy)
    remarks = [f"Guessed; {100 * found.sureness:.0f} % sure."]
    remarks += [f"  because {reason}" for reason in found.because] + [f"  doubtful: {flag}" for flag in found.caveats]
    text = profile_text(
        name=args.name, port=port, baud=baud, bits=found.bits, capacity=args.capacity, layout=found.layout, remarks=remarks
    )
    if args.out is None:
        print(text, end="")
    else:
        _write(args.out, text)
    print(f"{100 * found.sureness:.0f} % sure.", *[f"Doubtful: {flag}." for flag in found.caveats], sep="\n", file=sys.stderr)
    return 0


def _write(path: Path, text: str) -> None:
    from analysis.errors import BenchError

    try:
        with path.open("x", encoding="utf-8") as file:  # a profile that was corrected by hand is not written over
            file.write(text)
    except FileExistsError:
        raise BenchError("there is such a file already", where=str(path), remedy="choose another name") from None
    except OSError as fault:
        raise BenchError(
            f"the profile cannot be written ({fault.strerror})", where=str(path), remedy="check folder and disk"
        ) from fault


def chunks_of(path: Path) -> list[Chunk]:
    """What stands in a recording of the wire, or in a file of bare bytes, of which nobody knows when they arrived."""
    from drivers.guess import Chunk
    from drivers.opening import CAPTURE, read_bytes
    from drivers.wirefile import MAGIC, read_wire

    data = read_bytes(path, CAPTURE)
    if data.startswith(MAGIC.encode()):
        return [Chunk(event.time_s, event.data) for event in read_wire(path) if event.what == "r"]
    return [Chunk(None, b"\n" + data + b"\n")]  # a file begins and ends with whole lines


def listen(open_line: Callable[[int], Line], bauds: tuple[int, ...], clock: Clock, seconds: float) -> tuple[int, Guess | None]:
    """The baud rate at which what comes makes most sense, and that sense. Raises LineLostError, also where nothing comes."""
    from drivers.errors import LineLostError
    from drivers.guess import guess

    best: tuple[int, Guess | None] = (bauds[0], None)
    for baud in bauds:
        print(f"listening at {baud} baud ...", file=sys.stderr)
        line = open_line(baud)
        try:
            chunks = _heard(line, clock, seconds)
        finally:
            line.close()
        if not chunks:  # at a wrong baud rate something would have come, if only garbage
            remedy = "switch the device on and set it to send by itself; a Modbus device, which must be asked, is set up by hand"
            raise LineLostError("the line is open but nothing arrives", where=line.name, remedy=remedy)
        found = guess(chunks)
        if found is not None and (best[1] is None or found.sureness > best[1].sureness):
            best = (baud, found)
        if best[1] is not None and best[1].sureness >= SURE_ENOUGH:
            break
    return best


def _heard(line: Line, clock: Clock, seconds: float) -> list[Chunk]:
    """What comes within `seconds` of its first byte, or for longer where lines are few. A board may restart when it is opened."""
    from drivers.guess import Chunk, wants_more
    from drivers.source import SILENT_AFTER_S

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
