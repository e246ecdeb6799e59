"""`platepull emulate`: the simulated bench in a process of its own, served on a pseudo-terminal or a loopback socket."""

from __future__ import annotations

import argparse
import contextlib
import json
import signal
import sys
import threading
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from analysis.errors import BenchError
from rig.commands._ending import setting
from rig.words import counts
from rig.words.language import say

if TYPE_CHECKING:
    from drivers.clock import Clock
    from drivers.emulated.truth import PullTruth

NAME = "emulate"
HELP = "serve the simulated bench: invented pulls on a line that reads like a real one"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    from drivers.emulated.scenarios import DEFAULT, SCENARIOS

    parser.epilog = "\n".join([say("scenarios:"), *(f"  {name:18} {say(each.help)}" for name, each in SCENARIOS.items())])
    parser.add_argument("--protocol", choices=("text", "frames", "modbus"), default="text", help="what the device speaks")
    parser.add_argument("--scenario", default=DEFAULT, metavar="S", help=f"what lies on the bench (default {DEFAULT})")
    parser.add_argument("--rate", default="1000 Hz", metavar="R", help="samples a second, up to 10 kHz (default '1000 Hz')")
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="same seed, same pulls (default 1)")
    parser.add_argument("--over", choices=("pty", "socket"), help="pseudo-terminal (default where there is one) or loopback socket")
    parser.add_argument("--pulls", type=int, metavar="N", help="end after so many pulls instead of serving on")
    parser.add_argument(
        "--at-once", action="store_true", help="begin at once, not when somebody opens the port (pulls may pass unread)"
    )
    parser.add_argument("--truth", type=Path, metavar="FILE", help="append what each pull really was, a line of JSON a pull")
    parser.add_argument("--profile", type=Path, metavar="FILE", help="write a device profile for this port")
    parser.add_argument(
        "--until-eof", action="store_true", help="end when standard input closes, as when the program that started it dies"
    )
    parser.add_argument("--faults", default="", metavar="F", help="spoil the line, like 'drop=1e-4,flip=1e-5,stall=0.02,unplug=2'")


def run(args: argparse.Namespace) -> int:
    """Serve until ended by a signal, or by the end of standard input where that is asked for."""
    from drivers.clock import SystemClock

    stop = threading.Event()
    for name in ("SIGTERM", "SIGINT", "SIGBREAK", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), setting(stop))
    if args.until_eof:
        threading.Thread(target=_watch_input, args=(stop,), name="platepull input", daemon=True).start()
    return serve_until(stop, SystemClock(), args)


def serve_until(stop: threading.Event, clock: Clock, args: argparse.Namespace) -> int:
    """Serve as `args` say, by `clock`, until `stop` is set or the pulls asked for are over. Raises BenchError."""
    import numpy as np

    from drivers.emulated.bench import Bench
    from drivers.emulated.devices import device_for, profile_text
    from drivers.emulated.faults import BadCable, Faults
    from drivers.emulated.scenarios import scenario
    from drivers.emulated.serve import serve
    from drivers.outlets import open_outlet

    chosen = scenario(args.scenario)
    rate_hz = _rate_hz(args.rate)
    faults = Faults.parse(args.faults)
    if args.seed < 0:
        raise BenchError(f"the seed {args.seed} is below zero", remedy="use 0 or more")
    bench_rng, cable_rng = np.random.default_rng(args.seed).spawn(2)
    device = device_for(args.protocol, rate_hz)
    bench = Bench(chosen.workday, chosen.sensor, rate_hz, bench_rng)
    cable = BadCable(faults, cable_rng) if args.faults else None
    with contextlib.ExitStack() as tidy:
        truth_file = tidy.enter_context(_opened(args.truth)) if args.truth else None
        outlet = open_outlet(args.over, unplugs=faults.unplug > 0)
        tidy.callback(outlet.close)
        if args.profile:
            _write_profile(args.profile, profile_text(device, outlet.name, chosen.sensor))
        print(outlet.name, flush=True)
        tally = serve(
            bench,
            device,
            outlet,
            clock,
            stop,
            cable=cable,
            tell=lambda truth: _tell(truth, truth_file),
            pulls=args.pulls,
            wait_for_reader=not args.at_once,
        )
    spoiled = say("; spoiled: {counts}", counts=cable.counts) if cable else ""
    print(
        say(
            "{samples} sent, {pulls}, chunks that nobody read: {dropped}{spoiled}",
            samples=counts.samples(tally.samples),
            pulls=counts.pulls(tally.pulls),
            dropped=outlet.dropped,
            spoiled=spoiled,
        ),
        file=sys.stderr,
    )
    return 0


def _watch_input(stop: threading.Event) -> None:
    sys.stdin.buffer.read()
    stop.set()


def _rate_hz(text: str) -> float:
    from analysis.units import to_si
    from drivers.emulated.bench import HIGHEST_RATE_HZ

    try:
        rate_hz = float(text)
    except ValueError:
        rate_hz = to_si(text, "rate")
    if not 1 <= rate_hz <= HIGHEST_RATE_HZ:
        raise BenchError(f"a rate of {text} is beyond the simulated bench", remedy=f"use 1 Hz to {HIGHEST_RATE_HZ:g} Hz")
    return rate_hz


def _opened(path: Path) -> TextIO:
    try:
        return path.open("a", encoding="utf-8")
    except OSError as fault:
        raise BenchError("the file cannot be written", where=str(path), remedy=f"check the folder ({fault.strerror})") from fault


def _write_profile(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as fault:
        raise BenchError("the profile cannot be written", where=str(path), remedy=f"check the folder ({fault.strerror})") from fault


def _tell(truth: PullTruth, file: TextIO | None) -> None:
    if file is not None:
        print(json.dumps(truth.document()), file=file, flush=True)
