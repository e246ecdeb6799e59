"""`platepull live`: the main job. A window where there is a screen, the terminal where there is none."""

from __future__ import annotations

import argparse
import contextlib
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from rig.commands._display import wants_window
from rig.commands._options import add_exercise, add_job, add_judging, positive
from rig.errors import ArgumentError

if TYPE_CHECKING:
    from drivers.profile import DeviceProfile
    from rig.settings import Settings

NAME = "live"
HELP = "watch the line and judge each pull as it is made (the main job)"

PULLS_WITHOUT_AUDIENCE = 5


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The verb's options."""
    line = parser.add_mutually_exclusive_group()
    line.add_argument("--device", metavar="PROFILE.toml", help="the device profile (or 'device' in the settings)")
    line.add_argument(
        "--pretend",
        nargs="?",
        const="",
        metavar="SCENARIO",
        help="no hardware: the simulated bench (see 'platepull emulate --help')",
    )
    parser.add_argument("--terminal", action="store_true", help="no window, even where there is a screen")
    parser.add_argument(
        "--out",
        metavar="FOLDER",
        help="write each pull to this folder (a folder a day in 'platepull' in your home; pretend pulls: nowhere)",
    )
    parser.add_argument(
        "--pulls",
        type=positive(int),
        metavar="N",
        help=f"terminal: end after so many pulls ({PULLS_WITHOUT_AUDIENCE} with --pretend when the output is not a terminal)",
    )
    parser.add_argument("--seconds", type=positive(float), metavar="S", help="terminal: end after so many seconds")
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="of the simulated bench: same seed, same pulls")
    add_judging(parser)
    add_job(parser)
    add_exercise(parser)


def run(args: argparse.Namespace) -> int:
    """Open the line (or the simulated bench) and show what it brings."""
    from rig.files.profile import read_profile
    from rig.live.emulator import DEFAULT_SCENARIO, PRETEND_WINDOW, pretend_bench
    from rig.settings import load_settings, profile_path

    settings = load_settings()
    device = args.device or settings.device
    profile: DeviceProfile | None = None
    in_window = wants_window(args.terminal)
    with contextlib.ExitStack() as tidy:
        if args.pretend is not None:
            profile = tidy.enter_context(pretend_bench(args.pretend or DEFAULT_SCENARIO, seed=args.seed))
            if not in_window:  # a window first judges by what was set in it
                args.window = args.window or settings.window or PRETEND_WINDOW
            if args.pulls is None and args.seconds is None and not sys.stdout.isatty():
                args.pulls = PULLS_WITHOUT_AUDIENCE
        elif device is not None:
            profile = read_profile(profile_path(device))
        if profile is None and not in_window:  # a window without a profile opens on the line page
            remedy = "name one, or try without hardware: platepull live --pretend"
            raise ArgumentError("no device profile", where="--device", remedy=remedy)
        from rig.commands._chosen import todays_folder

        out = args.out or (None if args.pretend is not None else settings.out or str(todays_folder()))
        if profile is None or in_window:
            return _in_window(args, settings, profile, out)
        from rig.commands._watch import watch_in_terminal

        return watch_in_terminal(args, settings, profile, out, large=True)


def _in_window(args: argparse.Namespace, settings: Settings, profile: DeviceProfile | None, out: str | None) -> int:
    from rig.commands._book import LAST, book_means, is_job_number, keeper_of, look_up_job
    from rig.commands._chosen import job_info, sensor_choice
    from rig.commands._ending import asked_to_end
    from rig.commands._judging import Judging
    from rig.commands._options import unit_for
    from rig.live.emulator import PRETEND_WINDOW
    from rig.settings import profile_path
    from rig.window.app import run_window
    from rig.window.openers import Benches
    from rig.window.series import Source

    if args.job == LAST:  # asked for in so many words: only the book knows which one that is
        look_up_job(args, settings, lambda line: print(line, file=sys.stderr))
    device, judging = args.device or settings.device, Judging.of(args, settings)
    window = judging.window(plate_state=args.plate_state)
    # Where neither unit nor window was named, the unit used last stays.
    named = args.unit or settings.unit or args.spec or args.window is not None
    unit = unit_for(args, settings, window) if named else None
    folder = None if out is None else Path(out)
    keeper = keeper_of(args, settings, follow=True)
    benches = Benches(sensor_choice(args, settings), folder, job_info(args, settings), judging.known, keeper)
    with asked_to_end() as enough:
        return run_window(
            benches,
            profile=profile,
            profile_file=None if args.pretend is not None or device is None else profile_path(device),
            source=Source.BENCH if args.pretend is None else Source.SIMULATED,
            window=window,
            usual_window=None if args.pretend is None else PRETEND_WINDOW,
            rule=judging.rule,
            unit=unit,
            exercise=args.exercise,
            asked_to_end=enough,
            language=args.language_asked,
            book=book_means(args, settings, folder),
            job=args.job if is_job_number(args.job) else None,
        )
