"""`platepull guess PORT_OR_FILE`: looks at what a device sends and writes a profile for it."""

from __future__ import annotations

import argparse
import math
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, cast

from rig.commands._options import positive
from rig.words.language import say
from rig.words.retold import retold

if TYPE_CHECKING:
    from analysis.units import Quantity
    from drivers.guess import Guess

NAME = "guess"
HELP = "look at what a device sends, from a port or a recording, and write a profile for it"

WAIT_S = 40.0
"""Long enough for a pull each way (common practice, no source)."""

MOST_BY_HAND_NM = 2000.0
"""Two persons on a lever of 2 m; what is beyond is no hand's torque (common practice, no source)."""
USUAL_NM = 500.0
"""The range of large sensors for this work (common practice, no source)."""

EXAMPLES = {"torque": "[N.m, lbf.ft, lbf.in, kgf.m]", "angle": "[deg, rad; Enter: leave it out]", "time": "[us, ms, s]"}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("what", metavar="PORT_OR_FILE", help="a port, a recording of the wire, or a file of bare text")
    parser.add_argument("--out", metavar="PROFILE.toml", type=Path, help="where the profile goes; else it is printed")
    parser.add_argument("--baud", type=positive(int), help="the baud rate, if it is known; else the usual ones are tried")
    parser.add_argument("--seconds", type=positive(float), default=2.0, help="how long to listen at each baud rate (default 2)")
    parser.add_argument(
        "--wait",
        type=float,
        default=WAIT_S,
        metavar="S",
        help=f"where only a pull tells torque from angle: how long to wait for one at most (default {WAIT_S:g}; 0: not at all)",
    )
    parser.add_argument("--torque-unit", metavar="UNIT", help="the unit in which it sends torque, where no line says it")
    parser.add_argument("--angle-unit", metavar="UNIT", help="the unit in which it sends angle, where no line says it")
    parser.add_argument("--time-unit", metavar="UNIT", help="the unit in which it sends time, where neither line nor pace says it")
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
    from drivers.text import scale_of_column
    from rig.live.listening import BAUDS, Pulls, chunks_of, listen

    capacity_nm = None if args.capacity is None else to_si(args.capacity, "torque")
    if capacity_nm is not None and capacity_nm <= 0:
        raise BenchError(
            "a capacity must be above zero", where="--capacity", remedy='take it from the sensor\'s plate, like "200 N.m"'
        )
    for text, kind in ((args.torque_unit, "torque"), (args.angle_unit, "angle"), (args.time_unit, "time")):
        if text is not None:
            scale_of_column(text, cast("Quantity", kind))  # refused before anybody pulls
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
        baud, found = listen(
            lambda rate: SerialLine(args.what, rate),
            bauds,
            SystemClock(),
            args.seconds,
            _tell,
            Pulls(lambda known: _ask(known, args), args.wait),
        )
    if found is None:
        remedy = "try --seconds 10, or --baud as its manual has it; 'platepull wire record --port' keeps the bytes to be looked at"
        if path.is_file():
            remedy = f"it must hold {LEAST_LINES} whole lines or more, or frames; a Modbus device is set up by hand"
        raise BenchError("nothing that came makes sense as text lines or frames", where=args.what, remedy=remedy)
    found = _with_units(found, args)
    remarks = [f"Guessed; {100 * found.sureness:.0f} % sure."]
    remarks += [f"  because {reason}" for reason in found.because] + [f"  doubtful: {flag}" for flag in found.caveats]
    text = profile_text(
        name=args.name, port=port, baud=baud, bits=found.bits, capacity=args.capacity, layout=found.layout, remarks=remarks
    )
    if args.out is None:
        print(text, end="")
    else:
        _write(args.out, text)
    print(
        say("{share} % sure.", share=f"{100 * found.sureness:.0f}"),
        *[say("Doubtful: {what}.", what=retold(flag)) for flag in found.caveats],
        sep="\n",
        file=sys.stderr,
    )
    return 0


def _with_units(found: Guess, args: argparse.Namespace) -> Guess:
    """The units that no line says, from the options or from who sits there. Raises ArgumentError where one is missing."""
    from rig.errors import ArgumentError

    stated = {"torque": args.torque_unit, "angle": args.angle_unit, "time": args.time_unit}
    for kind in found.wanted:
        if stated[kind] is None and sys.stdin.isatty():
            stated[kind] = (
                input(
                    say(
                        "No line says in what unit {kind} is sent. Which one? {examples}",
                        kind=say(kind),
                        examples=say(EXAMPLES[kind]),
                    )
                    + " "
                ).strip()
                or None
            )
    missing = [kind for kind in found.wanted if stated[kind] is None]
    if "torque" in missing or "time" in missing:
        for reason in (*found.because, *found.caveats):
            print(f"  {retold(reason)}", file=sys.stderr)
        options = " and ".join(f"--{kind}-unit '{EXAMPLES[kind].strip('[]').split(', ')[0]}'" for kind in missing)
        raise ArgumentError(
            f"no line says the unit of {' and '.join(missing)}, and none is made up",
            where=args.what,
            remedy=f"take it from the device's manual or display: {options}",
        )
    named = [f"{kind}: in {unit}, as was stated" for kind, unit in stated.items() if kind in found.wanted and unit]
    left_out = ["angle: left out, no unit was stated (--angle-unit deg)"] if "angle" in missing else []
    doubts: list[str] = []
    if "torque" in found.wanted and stated["torque"] is not None:
        stated["torque"], doubts = _of_a_lever(found.torque_most, stated["torque"])
    found = found.with_units(torque=stated["torque"], angle=stated["angle"], time=stated["time"])
    return replace(found, because=(*found.because, *named), caveats=(*found.caveats, *left_out, *doubts))


def _of_a_lever(most: float, unit: str) -> tuple[str, list[str]]:
    """The unit of torque, asked again where a number is beyond any lever: a device may send counts; and what stays doubtful."""
    from drivers.text import scale_of_column

    most_nm = most * scale_of_column(unit, "torque").factor
    if most_nm <= MOST_BY_HAND_NM or unit[:1].isdigit():  # what a count stands for was stated
        return unit, []
    count = 10.0 ** -math.ceil(math.log10(most_nm / USUAL_NM))
    counted = f"{count:g} {unit}"
    figures = f"{most:.4g} {unit}"
    if sys.stdin.isatty():
        question = say("Up to {most} is beyond any lever. Is a count {unit}? [Enter: yes; n: no]", most=figures, unit=counted)
        return (unit if input(question + " ").strip().lower().startswith("n") else counted), []
    return unit, [f"torque: up to {figures} is beyond any lever; is a count {counted}? then --torque-unit '{counted}'"]


def _ask(known: Guess, args: argparse.Namespace) -> None:
    """Ask for a pull, unless what nobody will state afterwards is missing. Raises ArgumentError."""
    if "torque" in known.wanted and args.torque_unit is None and not sys.stdin.isatty():
        _with_units(known, args)  # refuses before anybody pulls
    print(say("now pull once each way, and let the lever come back to rest ..."), file=sys.stderr)


def _tell(baud: int) -> None:
    print(say("listening at {baud} baud ...", baud=baud), file=sys.stderr)


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
