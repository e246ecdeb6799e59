"""`platepull record`: without a screen, capture each pull by itself into a folder."""

from __future__ import annotations

import argparse

from rig.commands._options import add_exercise, add_job, add_judging, positive
from rig.errors import ArgumentError

NAME = "record"
HELP = "watch the line and write each pull to a folder, without a screen"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("--device", metavar="PROFILE.toml", help="the device profile (or 'device' in the settings)")
    parser.add_argument("--out", metavar="FOLDER", help="where the trace files go (or 'out' in the settings)")
    parser.add_argument("--pulls", type=positive(int), metavar="N", help="end after so many pulls")
    parser.add_argument("--seconds", type=positive(float), metavar="S", help="end after so many seconds")
    parser.add_argument(
        "--free-turns", action="store_true", help="count a turn in which nothing held as a pull (else it is kept and has no vote)"
    )
    add_judging(parser)
    add_job(parser)
    add_exercise(parser)


def run(args: argparse.Namespace) -> int:
    """Record until told enough, or until Ctrl-C; what was captured is kept in any case."""
    from rig.settings import load_settings, profile_path

    settings = load_settings()
    device, out = args.device or settings.device, args.out or settings.out
    if device is None:
        raise ArgumentError("no device profile", where="--device", remedy="name one, or set 'device' in the settings")
    if out is None:
        raise ArgumentError("no folder to record into", where="--out", remedy="name one, or set 'out' in the settings")
    from rig.files.profile import read_profile

    profile = read_profile(profile_path(device))
    from rig.commands._watch import watch_in_terminal

    return watch_in_terminal(args, settings, profile, out, large=False)
