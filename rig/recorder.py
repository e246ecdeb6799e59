"""Recorder: pieces of a pull to rows of a growing CSV; flush and sync policy. Writes nothing else."""

from __future__ import annotations

import io
import os
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from analysis.trace import Trace
from rig.tracefile import TraceFileError, header, rows, write_info
from rig.traceinfo import TraceInfo

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
        self._folder = folder
        self.info = info
        self._clock = clock
        self._ticks = ticks
        self._file: io.FileIO | None = None
        self._path: Path | None = None
        self._with_angle = False
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
        path = _free(self._folder, f"pull_{now:%Y%m%d_%H%M%S}_{number:03d}")
        self._with_angle = so_far.angle_deg is not None
        try:
            write_info(
                path, replace(self.info, number=number, when=now.isoformat(timespec="milliseconds")), with_angle=self._with_angle
            )
            self._file = path.open("x+b", buffering=0)  # a piece is one write of whole lines: a killed program leaves no half line
            self._path = path
            self._file.write(header(with_angle=self._with_angle))
        except OSError as fault:
            self._drop()
            raise _disk(fault, path) from fault
        self._tail.clear()
        self._write(so_far)
        self._sync()

    def add(self, piece: Trace) -> None:
        """Append a piece, if a pull is open."""
        if self._file is not None:
            self._write(piece)
            if self._ticks() - self._synced_s >= SYNC_EVERY_S:
                self._sync()

    def end(self, to_s: float) -> None:
        """Close the file; rows after `to_s` do not belong to the pull and are taken back."""
        if self._file is None:
            return
        path = self._path
        after = [(offset, piece) for offset, piece in self._tail if piece.time_s[-1] > to_s]
        try:
            if after:
                self._file.seek(after[0][0])
                self._file.truncate()
                self._file.write(rows(after[0][1].between(-float("inf"), to_s), with_angle=self._with_angle))
            self._sync()
            self._file.close()
        except OSError as fault:
            raise _disk(fault, path) from fault
        finally:
            self._drop()
        self.last_file = path

    def _write(self, piece: Trace) -> None:
        assert self._file is not None
        try:
            self._tail.append((self._file.tell(), piece))
            self._file.write(rows(piece, with_angle=self._with_angle))
        except OSError as fault:
            path = self._path
            self._drop()
            raise _disk(fault, path) from fault
        del self._tail[:-64]

    def _sync(self) -> None:
        assert self._file is not None
        os.fsync(self._file.fileno())
        self._synced_s = self._ticks()

    def _drop(self) -> None:
        self._file = None
        self._path = None


def _free(folder: Path, stem: str) -> Path:
    for extra in ["", *(f"_{n}" for n in range(2, 1000))]:
        path = folder / f"{stem}{extra}.csv"
        if not path.exists():
            return path
    raise TraceFileError("no free name for the next pull", where=str(folder), mend="record into another folder")


def _disk(fault: OSError, path: Path | None) -> TraceFileError:
    return TraceFileError(
        f"cannot be written ({fault.strerror or fault})", where=str(path), mend="check the folder, its rights and the space left"
    )
