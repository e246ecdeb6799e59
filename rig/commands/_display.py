"""Whether a window can be shown here."""

from __future__ import annotations

import importlib
import os
import sys
from collections.abc import Mapping

from rig.words.language import say


def has_screen(environ: Mapping[str, str], platform: str) -> bool:
    """Whether a window can be shown: always on Windows and macOS, elsewhere where a display server is named."""
    if platform in ("win32", "darwin"):
        return True
    return bool(environ.get("DISPLAY") or environ.get("WAYLAND_DISPLAY"))


def wants_window(terminal: bool) -> bool:
    """Whether to show a window: there is a screen, nobody asked for the terminal, and Qt can be loaded (if not, why is said)."""
    if terminal or not has_screen(os.environ, sys.platform):
        return False
    try:
        importlib.import_module("PySide6.QtWidgets")
    except ImportError as fault:
        print(say("no window: {fault}; install what is named (see README), or use --terminal", fault=fault), file=sys.stderr)
        return False
    return True
