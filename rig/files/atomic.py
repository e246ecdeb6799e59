"""Files that are written whole or not at all: whatever happens, the old or the new one stands there."""

from __future__ import annotations

import os
from pathlib import Path


def write_whole(path: Path, content: str | bytes) -> None:
    """Write bytes, or a text as UTF-8 with plain line ends, synced to the disk. Raises OSError."""
    draft = path.with_name(path.name + ".part")
    with draft.open("wb") as file:
        file.write(content.encode() if isinstance(content, str) else content)
        file.flush()
        os.fsync(file.fileno())
    draft.replace(path)
