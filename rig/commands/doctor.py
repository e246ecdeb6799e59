"""`platepull doctor`: checks the machine and says what to fix."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rig.doctor import checks

NAME = "doctor"
HELP = "check this machine: window, ports and rights, folders and room, clock, settings, device, job book, versions"
IN_THE_WAY_STATUS = 4


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The verb's options."""
    parser.add_argument("--json", action="store_true", help="print one JSON document (see rig/schemas/doctor.schema.json)")
    parser.add_argument("--book", metavar="BOOK", help="the job book to look at: a file, or a database URL")
    parser.add_argument("--device", metavar="PROFILE.toml", help="the device profile to look at (else that of the settings)")


def run(args: argparse.Namespace) -> int:
    """Look at everything; 4 if something stands in the way."""
    from pathlib import Path

    from drivers.clock import SystemClock
    from drivers.line import group_to_join, list_ports
    from rig.commands._book import the_clock
    from rig.commands._display import has_screen
    from rig.commands._options import profile_path
    from rig.doctor import checks
    from rig.files.profile import read_profile
    from rig.folders import users_config, users_data
    from rig.log import log_event
    from rig.settings import book_path, load_settings, settings_path

    now, there, data = the_clock(), list_ports(), users_data()
    stands, settings = checks.settings_file(settings_path(), load_settings)
    device = args.device or settings.device
    profile = None if device is None else profile_path(device)
    out = None if settings.out is None else Path(settings.out)
    looks: dict[str, Callable[[], checks.Found | Iterable[checks.Found]]] = {
        "versions": checks.versions,
        "qt": lambda: checks.qt(has_screen(os.environ, sys.platform)),
        "ports": lambda: checks.ports(there, checks.may_open, group_to_join),
        "settings": lambda: stands,
        "device": lambda: checks.device(profile, there, now.date(), read_profile),
        "config": lambda: checks.folder("config", users_config()),
        "data": lambda: checks.folder("data", data),
        "out": lambda: [] if out is None else [checks.folder("out", out)],
        "room": lambda: checks.room(out or Path.home()),
        "clock": lambda: checks.clock(now, checks.pauses(SystemClock())),
        "book": lambda: checks.book(args.book or settings.book or str(book_path()), the_clock),
        "log": lambda: checks.log(data / "log"),
    }
    found = [one for name, look in looks.items() for one in checks.tried(name, look)]
    if args.json:
        print(json.dumps(checks.document(found), indent=1, ensure_ascii=False))
    else:
        print("\n".join(checks.lines(found)))
    in_the_way = [one.check for one in found if one.standing is checks.Standing.IN_THE_WAY]
    log_event("doctor", in_the_way=",".join(in_the_way) or "nothing")
    return IN_THE_WAY_STATUS if in_the_way else 0
