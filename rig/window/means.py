"""Means: what the window needs of the computer it runs on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rig.window.memory import Remembered
    from rig.window.openers import Benches
    from rig.window.sounds import Sounds


@dataclass(frozen=True, slots=True)
class Means:
    """How to open benches, the sounds, the window's memory, the day, whether to end, the system's viewer of folders."""

    benches: Benches | None = None
    sounds: Sounds | None = None
    remember: Callable[[Remembered], None] = lambda what: None
    today: Callable[[], date] = date.today
    asked_to_end: Callable[[], bool] = lambda: False
    show_folder: Callable[[Path], object] | None = None
