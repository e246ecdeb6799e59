"""What the doctor looks at, in order: everything on this machine that a morning at the bench needs."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from pathlib import Path

from drivers.clock import SystemClock
from drivers.line import PortInfo, group_to_join, list_ports
from rig.doctor import checks
from rig.files.profile import read_profile
from rig.folders import users_config, users_data
from rig.settings import book_path, load_settings, profile_path, settings_path

Look = Callable[[], checks.Found | Iterable[checks.Found]]


def looks(
    now: Callable[[], datetime], *, screen: bool, device: Path | None = None, book: str | None = None
) -> list[tuple[str, Look]]:
    """Each look by its name; `checks.tried` carries one out. `device`, `book`: None: those of the settings."""
    moment, there, data = now(), list_ports(), users_data()
    stands, settings = checks.settings_file(settings_path(), load_settings)
    named = settings.device if device is None else str(device)
    profile = None if named is None else profile_path(named)
    out = None if settings.out is None else Path(settings.out)

    def ports(listed: Sequence[PortInfo]) -> checks.Found:
        return checks.ports(listed, checks.may_open, group_to_join)

    return [
        ("versions", checks.versions),
        ("qt", lambda: checks.qt(screen)),
        ("ports", lambda: ports(there)),
        ("settings", lambda: stands),
        ("device", lambda: checks.device(profile, there, moment.date(), read_profile, lambda port: ports([port]))),
        ("config", lambda: checks.folder("config", users_config())),
        ("data", lambda: checks.folder("data", data)),
        ("out", lambda: [] if out is None else [checks.folder("out", out)]),
        ("room", lambda: checks.room(out or Path.home())),
        ("clock", lambda: checks.clock(moment, checks.pauses(SystemClock()))),
        ("book", lambda: checks.book(book or settings.book or str(book_path()), now)),
        ("log", lambda: checks.log(data / "log")),
    ]
