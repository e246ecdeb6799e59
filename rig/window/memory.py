"""What the window remembers from one day to the next: looks and the last conditions. A file of its own beside the settings.

The settings are the user's and written by hand; this file is the window's. Lost or spoilt, the window starts with its defaults.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from pathlib import Path
from typing import Any

from drivers.errors import FileError
from drivers.opening import DOCUMENT, read_bytes
from rig.errors import DocumentError
from rig.files.atomic import write_whole
from rig.files.document import from_values, values_of
from rig.files.fields import Words
from rig.settings import settings_path

FILE = "window.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class Remembered:
    """Looks, language, sound; profile, gauge and job of last time; the last conditions of a pull. `inches`: lengths are in in.

    `card_window` is the window that the spec card of that job brought; "" where it has none.
    """

    theme: str = "dark"
    language: str = "en"
    unit: str = "N.m"
    second_unit: str | None = None
    sound: bool = True
    page: str = "bench page"
    day: str = ""
    place: tuple[int, int, int, int] | None = None
    maximised: bool = False
    profile: str = ""
    gauge: str = ""
    inches: bool = False
    job: str = ""
    job_unit: str = ""
    card_window: str = ""
    conditions: Mapping[str, Words] = field(default_factory=dict)


def remembered_path() -> Path:
    """Where the window's memory lies."""
    return settings_path().with_name(FILE)


def recall(path: Path) -> Remembered:
    """What was remembered; what is missing or of the wrong kind takes its default."""
    try:
        content = values_of(read_bytes(path, DOCUMENT), str(path), is_json=True)
    except FileError:
        return Remembered()
    known: dict[str, Any] = {}
    for name in content.keys() & {entry.name for entry in fields(Remembered)}:
        with contextlib.suppress(DocumentError):
            known[name] = getattr(from_values({name: content[name]}, Remembered, str(path)).value, name)
    return Remembered(**known)


def remember(path: Path, what: Remembered) -> None:
    """Write it, whole or not at all. Raises OSError."""
    path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(path, json.dumps(asdict(what), indent=1, ensure_ascii=False) + "\n")
