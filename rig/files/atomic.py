"""Files that are written whole or not at all: whatever happens, the old or the new one stands there."""

from __future__ import annotations

import os
from pathlib import Path


def write_whole(path: Path, text: str) -> None:
    """Write UTF-8 text with plain line ends, synced to the disk. Raises OSError."""
    draft = path.with_name(path.name + ".part")
    with draft.open("w", encoding="utf-8", newline="\n") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    draft.replace(path)
