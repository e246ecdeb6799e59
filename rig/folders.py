"""Where this system keeps what belongs to a user: settings, data, the log."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from pathlib import Path


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


def users_config() -> Path:
    """The settings folder of the user at this machine."""
    return config_folder(os.environ, sys.platform, Path.home())


def users_data() -> Path:
    """The data folder of the user at this machine."""
    return data_folder(os.environ, sys.platform, Path.home())
