"""`platepull wire`: record the bytes of a strange device to a file, and read them through any profile."""

from __future__ import annotations

import argparse
import threading
from pathlib import Path
from typing import TYPE_CHECKING

from rig.commands._options import positive
from rig.words import counts
from rig.words.language import in_language, say
from rig.words.retold import retold

if TYPE_CHECKING:
    from analysis.trace import Trace
    from drivers.profile import DeviceProfile
    from drivers.source import LiveSource

NAME = "wire"
HELP = "record the raw bytes of a line, or read a recording with a profile, to find out about a strange device"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    actions = parser.add_subparsers(dest="action", metavar="ACTION", required=True)
    record = actions.add_parser("record", help="write bytes and arrival times to a file until Ctrl-C")
    record.add_argument("file", metavar="FILE.wire", type=Path)
    line = record.add_mutually_exclusive_group(required=True)
    line.add_argument("--device", metavar="PROFILE.toml", help="the device profile")
    line.add_argument("--port", help="the port of a device that has no profile yet")
    record.add_argument("--baud", type=positive(int), default=115200, help="with --port: the baud rate (default 115200)")
    record.add_argument("--seconds", type=positive(float), help="end after so many seconds")
    read = actions.add_parser("read", help="decode a recording with a profile and say what came of it")
    read.add_argument("file", metavar="FILE.wire", type=Path)
    read.add_argument("--device", metavar="PROFILE.toml", required=True, help="the device profile; its port does not matter")
    read.add_argument("--unit", metavar="UNIT", help="unit of the torque that is told (as the device sends it)")
    read.add_argument("--out", metavar="TRACE.csv", type=Path, help="write the samples as a trace file too")


def run(args: argparse.Namespace) -> int:
    """Record or read."""
    from rig.files.profile import read_profile
    from rig.settings import profile_path

    unknown = args.action == "record" and args.device is None
    profile = _any_device(args.port, args.baud) if unknown else read_profile(profile_path(args.device))
    if args.action == "read":
        from drivers.source import LiveSource
        from drivers.wirefile import WirePlayer

        player = WirePlayer(args.file)
        trace = _follow(LiveSource(profile, player, lambda port: player, list), threading.Event())
        if len(trace):
            print(_range_text(trace, args.unit or _unit_sent(profile)))
        if args.out is not None:
            from rig.files.trace_csv import write_trace

            write_trace(args.out, trace)
        return 0
    from drivers.clock import SystemClock
    from drivers.source import open_source
    from drivers.wirefile import WireTape

    clock, stop = SystemClock(), threading.Event()
    about: dict[str, str | int] = {
        "port": profile.port,
        "baud": profile.baud,
        "protocol": "unknown" if unknown else profile.protocol,
    }
    tape = WireTape(args.file, clock, about)
    ending = threading.Timer(args.seconds, stop.set) if args.seconds else None
    try:
        if ending is not None:
            ending.start()
        _follow(open_source(profile, clock, tape), stop, understood=not unknown)
    except KeyboardInterrupt:  # the usual way to end it; what came is on the file
        print()
    finally:
        tape.close()
        if ending is not None:
            ending.cancel()
            ending.join()
    print(say("Recorded to {file}.", file=args.file))
    return 0


def _any_device(port: str, baud: int) -> DeviceProfile:
    """A profile for the bytes alone: what they mean is found out later, and the recording goes on however long nothing comes."""
    from drivers.profile import DeviceProfile
    from drivers.text import Column, TextFormat

    layout = TextFormat(columns=(Column("torque", "N.m"),), rate_hz=100.0)
    return DeviceProfile(
        name="unknown", port=port, baud=baud, protocol="text", capacity_nm=1.0, patience_s=float("inf"), text=layout
    )


def _follow(source: LiveSource, stop: threading.Event, *, understood: bool = True) -> Trace:
    """Print what the line does, then what came of the bytes where a profile tells their meaning; return the samples."""
    from analysis.trace import Trace, join
    from drivers.items import ConnectionLost, LineUp, LineWarning

    pieces: list[Trace] = []
    for item in source.pieces(stop):
        match item:
            case Trace():
                pieces.append(item)
            case LineUp(name=name):
                print(say("{name}: open", name=name))
            case ConnectionLost(name=name, what=what, remedy=remedy):
                print(f"{name}: {retold(what)}; {retold(remedy)}")
            case LineWarning(what=what, remedy=remedy) if understood:
                print(f"{retold(what)}; {retold(remedy)}")
    if not understood:
        return join(pieces)
    trace, faults = join(pieces), source.faults
    rate = say(", {rate} a second", rate=in_language(f"{(len(trace) - 1) / trace.duration_s:.4g}")) if trace.duration_s else ""
    print(counts.samples(len(trace)) + rate + (say(", with angle") if trace.angle_deg is not None else ""))
    print(
        say(
            "garbled {garbled}, overlong {overlong}, lost {lost}, overloaded {overload}, not wanted {ignored}",
            garbled=faults.garbled,
            overlong=faults.overlong,
            lost=faults.lost,
            overload=faults.overload,
            ignored=faults.ignored,
        )
    )
    return trace


def _unit_sent(profile: DeviceProfile) -> str:
    """The unit in which the device sends torque, where its lines have one."""
    column = None if profile.text is None else profile.text.column("torque")
    return "N.m" if column is None or not column.unit else column.unit


def _range_text(trace: Trace, unit: str) -> str:
    from analysis.units import in_unit

    low, high = (in_unit(float(end), unit) for end in (trace.torque_nm.min(), trace.torque_nm.max()))
    return say("torque {low} to {high} {unit}", low=in_language(f"{low:.4g}"), high=in_language(f"{high:.4g}"), unit=unit)
