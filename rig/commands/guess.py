"""`platepull guess PORT_OR_FILE`: looks at what a device sends and writes a profile for it."""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from rig.commands._options import positive

if TYPE_CHECKING:
    from drivers.guess import Guess

NAME = "guess"
HELP = "look at what a device sends, from a port or a recording, and write a profile for it"


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
    from rig.live.listening import BAUDS, chunks_of, listen

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
        baud, found = listen(lambda rate: SerialLine(args.what, rate), bauds, SystemClock(), args.seconds, _tell)
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


def _tell(baud: int) -> None:
    print(f"listening at {baud} baud ...", file=sys.stderr)


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
