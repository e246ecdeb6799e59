"""Files that are written whole or not at all: whatever happens, the old or the new one stands there."""

from __future__ import annotations

import contextlib
import itertools
import os
from collections.abc import Iterator
from pathlib import Path

from rig.files.held import hold, is_held

DRAFT = ".part"
_tries = itertools.count()


def write_whole(path: Path, content: str | bytes) -> None:
    """Write bytes, or a text as UTF-8 with plain line ends, synced to the disk. Raises OSError.

    Each program writes to a draft of its own and holds it, so that two never meet in one, and what a killed one left is known.
    """
    try:
        _write(path, content)
    except FileNotFoundError:  # another program that starts just now may have taken the draft for one that was left
        _write(path, content)


def _write(path: Path, content: str | bytes) -> None:
    draft = path.with_name(f"{path.name}.{os.getpid()}_{next(_tries)}{DRAFT}")
    try:
        with draft.open("xb") as file:
            hold(file.fileno())
            file.write(content.encode() if isinstance(content, str) else content)
            file.flush()
            os.fsync(file.fileno())
        draft.replace(path)
    except OSError:
        with contextlib.suppress(OSError):
            draft.unlink()
        raise


def clear_drafts(folder: Path, pattern: str) -> None:
    """Take away the drafts of files of that pattern that a killed program left. What cannot be taken away stays."""
    for draft in _drafts(folder, pattern):
        if not is_held(draft):
            with contextlib.suppress(OSError):
                draft.unlink()


def _drafts(folder: Path, pattern: str) -> Iterator[Path]:
    try:
        yield from sorted(folder.glob(f"{pattern}*{DRAFT}"))
    except OSError:
        return
