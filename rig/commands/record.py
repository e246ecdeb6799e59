"""`platepull record`: without a screen, capture each pull by itself into a folder."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from rig.choices import ArgumentError, add_job, add_judging, positive, profile_path

if TYPE_CHECKING:
    from drivers.profile import DeviceProfile
    from rig.settings import Settings

NAME = "record"
HELP = "watch the line and write each pull to a folder, without a screen"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("--device", metavar="PROFILE.toml", help="the device profile (or 'device' in the settings)")
    parser.add_argument("--out", metavar="FOLDER", help="where the trace files go (or 'out' in the settings)")
    parser.add_argument("--pulls", type=positive(int), metavar="N", help="end after so many pulls")
    parser.add_argument("--seconds", type=positive(float), metavar="S", help="end after so many seconds")
    add_judging(parser)
    add_job(parser)


def run(args: argparse.Namespace) -> int:
    """Record until told enough, or until Ctrl-C; what was captured is kept in any case."""
    from rig.settings import load_settings

    settings = load_settings()
    device, out = args.device or settings.device, args.out or settings.out
    if device is None:
        raise ArgumentError("no device profile", where="--device", mend="name one, or set 'device' in the settings")
    if out is None:
        raise ArgumentError("no folder to record into", where="--out", mend="name one, or set 'out' in the settings")
    from drivers.profile import load_profile

    return _record(args, settings, load_profile(profile_path(device)), out)


def _record(args: argparse.Namespace, settings: Settings, profile: DeviceProfile, out: str) -> int:
    from drivers.clock import SystemClock
    from drivers.source import open_source
    from rig.bench import Bench
    from rig.opening import asked_to_end, live_session, terminal_of
    from rig.terminal import follow

    session, unit = live_session(args, settings, profile, out)
    terminal = terminal_of(unit, large=False)
    terminal.caution()
    clock = SystemClock()
    with asked_to_end() as enough, Bench(open_source(profile, clock), session) as bench:
        follow(bench, terminal, clock, pulls=args.pulls, seconds=args.seconds, asked_to_end=enough)
    return 0
