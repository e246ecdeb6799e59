"""PullFile: the growing CSV of one pull. Whole lines only, so that what a killed program leaves reads; no policy, no thread."""

from __future__ import annotations

import contextlib
import errno
import math
import os
from collections.abc import Sequence
from pathlib import Path

from analysis.trace import Trace
from rig.files.held import hold, same_file
from rig.files.trace_csv import header, info_path, rows

PATTERN = "pull_*.csv"
"""Names of recordings."""


class PullFile:
    """A file of its own name, held while it is open. Every method raises OSError where the disk refuses.

    path      where it is
    pieces    how many pieces stand in it
    """

    def __init__(self, folder: Path, stem: str, *, with_angle: bool) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self._with_angle = with_angle
        self.path, self._descriptor = _reserve(folder, stem)
        self._starts: list[int] = []
        self._end = 0
        hold(self._descriptor)
        try:
            self._append(header(with_angle=with_angle))
        except OSError:
            self.remove()
            raise

    @property
    def pieces(self) -> int:
        """How many pieces stand in it."""
        return len(self._starts)

    def append(self, pieces: Sequence[Trace]) -> None:
        """Append pieces, in one write. Where the disk takes only a part of it, none of them counts as written."""
        parts = [rows(piece, with_angle=self._with_angle) for piece in pieces]
        starts, at = [], self._end
        for part in parts:
            starts.append(at)
            at += len(part)
        self._append(b"".join(parts))
        self._starts += starts

    def cut_back(self, pieces: Sequence[Trace]) -> None:
        """Make these, the same ones up to some moment, all that stands in it."""
        whole = min(self.pieces, max(0, len(pieces) - 1))
        if self.pieces > whole:
            self._end = self._starts[whole]
            os.ftruncate(self._descriptor, self._end)
            del self._starts[whole:]
        self.append(pieces[whole:])

    def another(self) -> int:
        """The open file once more, to be synced while it is written or closed; the caller closes it."""
        return os.dup(self._descriptor)

    def sync(self) -> None:
        """Wait until the disk has it, and see that it is still there."""
        sync(self._descriptor, self.path)

    def close(self) -> None:
        """Close it; a second time does nothing."""
        descriptor, self._descriptor = self._descriptor, -1
        if descriptor >= 0:
            with contextlib.suppress(OSError):  # it was synced before, or its trouble is told already
                os.close(descriptor)

    def remove(self) -> None:
        """Close it and take it and its metadata away, unless another file stands there now."""
        mine = self._descriptor >= 0 and (same_file(self._descriptor, self.path) or not self.path.exists())
        self.close()
        if mine:
            self.path.unlink(missing_ok=True)
            info_path(self.path).unlink(missing_ok=True)

    def _append(self, data: bytes) -> None:
        os.lseek(self._descriptor, self._end, os.SEEK_SET)
        written = os.write(self._descriptor, data) if data else 0
        if written < len(data):
            with contextlib.suppress(OSError):  # the reader drops half a line anyway
                os.ftruncate(self._descriptor, self._end)
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        self._end += written


def sync(descriptor: int, path: Path) -> None:
    """Wait until the disk has what was written, and see that it still stands under its name. Raises OSError."""
    os.fsync(descriptor)
    if not same_file(descriptor, path):
        raise FileNotFoundError(errno.ENOENT, "it was removed or replaced while it was written")


def up_to(pieces: Sequence[Trace], to_s: float) -> list[Trace]:
    """The pieces up to that moment, the last one cut."""
    kept = [piece for piece in pieces if len(piece) and piece.time_s[0] <= to_s]
    return [*kept[:-1], kept[-1].between(-math.inf, to_s)] if kept else []


def _reserve(folder: Path, stem: str) -> tuple[Path, int]:
    """A file that was not there, nor its metadata: nobody else can get the same one."""
    for extra in ["", *(f"_{n}" for n in range(2, 1000))]:
        path = folder / f"{stem}{extra}.csv"
        if info_path(path).exists():
            continue
        with contextlib.suppress(FileExistsError):
            return path, os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
    raise FileExistsError(errno.EEXIST, "no free name for the next pull")
