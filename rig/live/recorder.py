"""Recorder: pieces of a pull to rows of a growing CSV; flush and sync policy. Writes nothing else."""

from __future__ import annotations

import contextlib
import errno
import io
import math
import os
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from analysis.trace import Trace
from drivers.clock import SystemClock
from rig.errors import TraceFileError
from rig.files.metadata import TraceInfo
from rig.files.trace_csv import header, info_path, rows, write_info

SYNC_EVERY_S = 0.15  # with the 20 ms of a piece and a slow disk, a power cut costs less than 0.25 s


class Recorder:
    """Writes each pull to a trace pair of its own in `folder`, named by its moment and number.

    `info` is what is known of every pull of the series; the recorder adds number and moment. `clock` gives the wall time (for the
    name and `when`), `ticks` a rising time in seconds (for the sync policy). Raises TraceFileError where the disk refuses.
    """

    def __init__(
        self,
        folder: Path,
        info: TraceInfo,
        clock: Callable[[], datetime],
        ticks: Callable[[], float],
    ) -> None:
        self.folder = folder
        self.info = info
        self._clock = clock
        self._ticks = ticks
        self._file: io.FileIO | None = None
        self._path: Path | None = None
        self._with_angle = False
        self._infos: dict[Path, tuple[TraceInfo, bool]] = {}  # of the files written so far, with whether they hold an angle
        self._synced_s = 0.0
        self._tail: list[tuple[int, Trace]] = []
        self.last_file: Path | None = None
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as fault:
            raise _disk(fault, folder) from fault

    def begin(self, number: int, so_far: Trace) -> None:
        """Open the file of pull `number` and write what is known of it so far (its pre-roll)."""
        now = self._clock()
        self.last_file = None
        self._with_angle = so_far.angle_deg is not None
        path = self._path = _free(self.folder, f"pull_{now:%Y%m%d_%H%M%S}_{number:03d}")
        info = replace(self.info, number=number, when=now.isoformat(timespec="milliseconds"))
        with self._guarded():
            write_info(path, info, with_angle=self._with_angle)
            self._infos[path] = info, self._with_angle
            self._file = path.open("x+b", buffering=0)  # a piece is one write of whole lines: a killed program leaves no half line
            self._file.write(header(with_angle=self._with_angle))
            self._tail.clear()
            self._write(self._file, so_far)
            self._sync(self._file)

    def add(self, piece: Trace) -> None:
        """Append a piece, if a pull is open."""
        if self._file is None:
            return
        with self._guarded():
            self._write(self._file, piece)
            if self._ticks() - self._synced_s >= SYNC_EVERY_S:
                self._sync(self._file)

    def end(self, to_s: float) -> None:
        """Close the file; rows after `to_s` do not belong to the pull and are taken back."""
        if self._file is None:
            return
        with self._guarded():
            after = [(offset, piece) for offset, piece in self._tail if piece.time_s[-1] > to_s]
            if after:
                self._file.seek(after[0][0])
                self._file.truncate()
                self._file.write(rows(after[0][1].between(-math.inf, to_s), with_angle=self._with_angle))
            self._sync(self._file)
        self.last_file = self._path
        self._drop()

    def discard(self) -> None:
        """What is being written was no pull: take its files away again."""
        path, self.last_file = self._path, None
        if self._file is None or path is None:
            return
        self._drop()
        self._infos.pop(path, None)
        try:
            path.unlink(missing_ok=True)
            info_path(path).unlink(missing_ok=True)
        except OSError as fault:
            raise _disk(fault, path) from fault

    def amend(self, file: Path | None = None, **known: Any) -> None:
        """Add to the metadata of a pull (None: the one written last) what was told later: fields of TraceInfo by their names."""
        file = file or self.last_file
        if file is None or file not in self._infos:
            return
        info, with_angle = self._infos[file]
        self._infos[file] = replace(info, **known), with_angle
        try:
            write_info(file, self._infos[file][0], with_angle=with_angle)
        except OSError as fault:
            raise _disk(fault, file) from fault

    def _write(self, file: io.FileIO, piece: Trace) -> None:
        self._tail = [*self._tail[-64:], (file.tell(), piece)]
        data = rows(piece, with_angle=self._with_angle)
        if file.write(data) < len(data):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def _sync(self, file: io.FileIO) -> None:
        os.fsync(file.fileno())
        self._synced_s = self._ticks()

    @contextlib.contextmanager
    def _guarded(self) -> Iterator[None]:
        """A disk that refuses ends this file; what stands in it stays."""
        try:
            yield
        except OSError as fault:
            path = self._path
            self._drop()
            raise _disk(fault, path) from fault

    def _drop(self) -> None:
        if self._file is not None:
            with contextlib.suppress(OSError):  # it was written and synced before, or its trouble is being told already
                self._file.close()
        self._file = None


def _free(folder: Path, stem: str) -> Path:
    for extra in ["", *(f"_{n}" for n in range(2, 1000))]:
        path = folder / f"{stem}{extra}.csv"
        if not path.exists():
            return path
    raise TraceFileError("no free name for the next pull", where=str(folder), remedy="record into another folder")


def _disk(fault: OSError, path: Path | None) -> TraceFileError:
    return TraceFileError(
        f"cannot be written ({fault.strerror or fault})", where=str(path), remedy="check the folder, its rights and the space left"
    )


def recorder_into(folder: Path, info: TraceInfo) -> Recorder:
    """A recorder on the computer's own clocks."""
    return Recorder(folder, info, lambda: datetime.now().astimezone(), SystemClock().now)
