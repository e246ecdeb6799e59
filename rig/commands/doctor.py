"""`platepull doctor`: checks the machine and says what to fix."""

from __future__ import annotations

import argparse
import json
import os
import sys

NAME = "doctor"
HELP = "check this machine: window, ports and rights, folders and room, clock, settings, device, job book, versions"
IN_THE_WAY_STATUS = 4


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The verb's options."""
    parser.add_argument("--json", action="store_true", help="print one JSON document (see 'platepull schema doctor')")
    parser.add_argument("--book", metavar="BOOK", help="the job book to look at: a file, or a database URL")
    parser.add_argument("--device", metavar="PROFILE.toml", help="the device profile to look at (else that of the settings)")


def run(args: argparse.Namespace) -> int:
    """Look at everything; 4 if something stands in the way."""
    from rig.commands._book import the_clock
    from rig.commands._display import has_screen
    from rig.doctor import checks
    from rig.doctor.machine import looks
    from rig.log import log_event
    from rig.settings import profile_path

    device = None if args.device is None else profile_path(args.device)
    screen = has_screen(os.environ, sys.platform)
    found = [
        one for name, look in looks(the_clock, screen=screen, device=device, book=args.book) for one in checks.tried(name, look)
    ]
    if args.json:
        print(json.dumps(checks.document(found), indent=1, ensure_ascii=False))
    else:
        print("\n".join(checks.lines(found)))
    in_the_way = [one.check for one in found if one.standing is checks.Standing.IN_THE_WAY]
    log_event("doctor", in_the_way=",".join(in_the_way) or "nothing")
    return IN_THE_WAY_STATUS if in_the_way else 0
