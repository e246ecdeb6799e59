"""`platepull replay`: a recording once more, through the same line, decoder and catcher as a live pull."""

from __future__ import annotations

import argparse
import math
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from rig.commands._display import wants_window
from rig.commands._options import add_judging, arm_of
from rig.errors import ArgumentError
from rig.words import counts
from rig.words.language import say
from rig.words.retold import retold

if TYPE_CHECKING:
    from analysis.trace import Trace
    from rig.files.metadata import TraceInfo
    from rig.settings import Settings

NAME = "replay"
HELP = "play a recording through the line again, at any speed"


SLOWEST, FASTEST = 0.05, 200.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("trace", metavar="FILE", help="a trace file")
    parser.add_argument(
        "--speed",
        default="1",
        metavar="X",
        help="times the speed it was pulled at, 0.05 to 200 (1); 'max': as fast as it can be read, without the detour over a port",
    )
    parser.add_argument("--terminal", action="store_true", help="no window, even where there is a screen")
    parser.add_argument("--over", choices=("pty", "socket"), help="the port it goes over (pseudo-terminal where there is one)")
    parser.add_argument("--arm", metavar="A", help="lever arm for curves of force and position, such as '0.6 m' (1 m)")
    add_judging(parser)


def run(args: argparse.Namespace) -> int:
    """Replay in the window where there is a screen, else in the terminal."""
    from rig.files.trace_csv import read_trace
    from rig.settings import load_settings

    speed = _speed(args.speed)
    settings = load_settings()
    trace, info = read_trace(Path(args.trace), arm_m=arm_of(args.arm))
    for note in info.notes:
        print(say("note: {what}", what=retold(note)), file=sys.stderr)
    if wants_window(args.terminal) and args.arm is None and math.isfinite(speed):
        return _in_window(args, settings, info, speed)
    return _in_terminal(args, settings, trace, info, speed)


def _in_window(args: argparse.Namespace, settings: Settings, info: TraceInfo, speed: float) -> int:
    from rig.commands._chosen import sensor_choice
    from rig.commands._ending import asked_to_end
    from rig.commands._judging import Judging
    from rig.commands._options import unit_of
    from rig.files.metadata import TraceInfo
    from rig.window.app import run_window
    from rig.window.openers import Benches

    unit, judging = args.unit or settings.unit, Judging.of(args, settings)
    with asked_to_end() as enough:
        return run_window(
            Benches(sensor_choice(args, settings), None, TraceInfo(), judging.known),
            recording=Path(args.trace),
            speed=speed,
            window=judging.window(info.window, info.plate_state),
            rule=judging.rule,
            unit=None if unit is None else unit_of(unit),
            asked_to_end=enough,
            language=args.language_asked,
        )


def _in_terminal(args: argparse.Namespace, settings: Settings, trace: Trace, info: TraceInfo, speed: float) -> int:
    from drivers.clock import SystemClock
    from drivers.replay import Replay
    from drivers.source import Source
    from rig.commands._chosen import sensor_choice
    from rig.commands._ending import asked_to_end
    from rig.commands._judging import Judging
    from rig.commands._options import unit_for
    from rig.commands._watch import terminal_of
    from rig.live.loopback import LineReplay
    from rig.live.runner import Bench
    from rig.live.session import Session
    from rig.live.terminal import follow

    sensor = sensor_choice(args, settings).of(info)
    judging = Judging.of(args, settings)
    window = judging.window(info.window, info.plate_state)
    terminal = terminal_of(unit_for(args, settings, window), large=True)
    session = Session(
        sensor=sensor,
        window=window,
        rule=judging.rule,
        known=judging.known,
        stated=info.stated(),
        calibration_flags=info.calibration_flag_codes(),
        count_free_turns=not info.free_turn,
    )
    clock = SystemClock()
    source: Source
    if math.isfinite(speed):
        source = LineReplay(trace, sensor, speed=speed, over=args.over)
    else:
        source = Replay(trace, clock, speed, name=args.trace)
    with asked_to_end() as enough, Bench(source, session, patient=True) as bench:
        follow(bench, terminal, clock, pulls=None, seconds=None, asked_to_end=enough)
        print(
            say(
                "{samples} replayed, {received} received, {pulls}",
                samples=counts.samples(len(trace)),
                received=bench.status.line.samples,
                pulls=counts.pulls(bench.status.pulls),
            ),
            file=sys.stderr,
        )
    return 0


def _speed(text: str) -> float:
    try:
        speed = math.inf if text == "max" else float(text)
    except ValueError:
        speed = math.nan
    if not (SLOWEST <= speed <= FASTEST or speed == math.inf):
        raise ArgumentError(
            f"'{text}' is not a speed", where="--speed", remedy=f"use a number from {SLOWEST:g} to {FASTEST:g}, or max"
        )
    return speed
