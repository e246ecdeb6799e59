"""What the window remembers from one day to the next: looks and the last conditions. A file of its own beside the settings.

The settings are the user's and written by hand; this file is the window's. Lost or spoilt, the window starts with its defaults.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field, fields, replace
from pathlib import Path
from typing import Any

from rig.files.atomic import write_whole
from rig.settings import settings_path

FILE = "window.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class Remembered:
    """Looks, language, sound and the last conditions of a pull."""

    theme: str = "dark"
    language: str = "en"
    unit: str = "N.m"
    second_unit: str | None = None
    sound: bool = True
    conditions: dict[str, str] = field(default_factory=dict)


def remembered_path() -> Path:
    """Where the window's memory lies."""
    return settings_path().with_name(FILE)


def recall(path: Path) -> Remembered:
    """What was remembered; what is missing or of the wrong kind takes its default."""
    default = Remembered()
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return default
    if not isinstance(content, dict):
        return default
    known: dict[str, Any] = {}
    for entry in fields(Remembered):
        value, usual = content.get(entry.name), getattr(default, entry.name)
        if isinstance(value, type(usual)) or (entry.name == "second_unit" and isinstance(value, str)):
            known[entry.name] = value
    if "conditions" in known:
        known["conditions"] = {str(key): str(value) for key, value in known["conditions"].items()}
    return replace(default, **known)


def remember(path: Path, what: Remembered) -> None:
    """Write it, whole or not at all. Raises OSError."""
    path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(path, json.dumps(asdict(what), indent=1, ensure_ascii=False) + "\n")
