"""The user's choices: one TOML in the config folder. Every key is also an option of the verbs that use it; an option wins.

window = "35..60 N.m"      # what pulls are judged against
basis = "breakaway"        # or "sliding"
rule = "guarded"           # or "simple"
unit = "N.m"               # the unit shown: any torque unit
u = "0.5 %"                # standard uncertainty of the torque sensor
device = "bench.toml"      # the profile that `live` and `record` use; a plain name lies in the config folder
out = "C:/pulls"           # where recordings go
who = "T.W."               # initials of who pulls
book = "C:/jobs/book.sqlite"     # the job book: a file, or postgresql://USER@HOST/NAME
"""

from __future__ import annotations

import os
import sys
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path

from rig.errors import SettingsError


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """The user's choices; None: not chosen."""

    window: str | None = None
    basis: str | None = None
    rule: str | None = None
    unit: str | None = None
    u: str | None = None
    device: str | None = None
    out: str | None = None
    who: str | None = None
    book: str | None = None


def config_folder(environ: Mapping[str, str], platform: str, home: Path) -> Path:
    """Where this system keeps a user's settings (Windows: APPDATA; macOS: Application Support; else the XDG base directory)."""
    if platform == "win32":
        return Path(environ.get("APPDATA") or home / "AppData" / "Roaming") / "platepull"
    if platform == "darwin":
        return home / "Library" / "Application Support" / "platepull"
    return Path(environ.get("XDG_CONFIG_HOME") or home / ".config") / "platepull"


def data_folder(environ: Mapping[str, str], platform: str, home: Path) -> Path:
    """Where this system keeps a user's data (Windows: LOCALAPPDATA; macOS: Application Support; else the XDG base directory)."""
    if platform == "win32":
        return Path(environ.get("LOCALAPPDATA") or home / "AppData" / "Local") / "platepull"
    if platform == "darwin":
        return home / "Library" / "Application Support" / "platepull"
    return Path(environ.get("XDG_DATA_HOME") or home / ".local" / "share") / "platepull"


def book_path() -> Path:
    """The job book of the user at this machine, where neither option nor settings name another."""
    return data_folder(os.environ, sys.platform, Path.home()) / "book.sqlite"


def settings_path() -> Path:
    """The settings file of the user at this machine."""
    return config_folder(os.environ, sys.platform, Path.home()) / "settings.toml"


def load_settings(path: Path | None = None) -> Settings:
    """Read the settings; no file is no choice. Raises SettingsError."""
    target = settings_path() if path is None else path
    try:
        content = tomllib.loads(target.read_text(encoding="utf-8-sig"))
    except (FileNotFoundError, NotADirectoryError):
        return Settings()
    except (OSError, UnicodeDecodeError) as fault:
        raise SettingsError(
            f"the settings cannot be read ({fault})", where=str(target), remedy="check the file's rights"
        ) from fault
    except tomllib.TOMLDecodeError as fault:
        raise SettingsError(
            f"this is not TOML: {fault}", where=str(target), remedy="fix that line; texts stand in quotes"
        ) from fault
    known = [entry.name for entry in fields(Settings)]
    for key, value in content.items():
        if key not in known:
            raise SettingsError(f"'{key}' is not a setting", where=str(target), remedy=f"use {', '.join(known)}")
        if not isinstance(value, str):
            raise SettingsError(f"'{key}' is not text", where=str(target), remedy=f'write it in quotes: {key} = "{value}"')
    return Settings(**content)
