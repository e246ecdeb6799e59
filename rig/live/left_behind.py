"""What a killed program left behind: half drafts, a pull cut off in the middle, and the time in which nobody read the line.

A recorder that runs leaves a mark: a file that it holds and touches several times a second. A mark that nobody holds is one of a
program that ended without a good-bye, at the moment when it was touched last.
"""

from __future__ import annotations

import contextlib
import itertools
import json
import os
import re
from collections.abc import Iterable
from datetime import datetime
from pathlib import Path

from analysis.errors import BenchError
from drivers.opening import DOCUMENT, read_bytes
from rig.files.atomic import clear_drafts
from rig.files.document import values_of
from rig.files.held import hold, is_held
from rig.files.metadata import TraceInfo
from rig.files.trace_csv import METADATA, amend_info, info_path, read_trace, write_info
from rig.live.news import EndedAbruptly
from rig.live.pull_file import PATTERN

_NUMBER = re.compile(r"pull_\d{8}_\d{6}_(\d{3,6})(?:_\d+)?\.csv")
_UNFINISHED = b'"unfinished": true'
_TOGETHER_S = 10.0
"""A recording and the mark of its recorder are touched within so long of each other, even on a slow disk."""
_count = itertools.count()


def highest_number(folder: Path) -> int:
    """The highest number of a pull that a recording in this folder bears in its name; 0 where there is none."""
    with contextlib.suppress(OSError):
        return max((_number_of(path) or 0 for path in folder.glob(PATTERN)), default=0)
    return 0


def _number_of(path: Path) -> int | None:
    found = _NUMBER.fullmatch(path.name)
    return None if found is None else int(found[1])


class Mark:
    """The mark of a recorder that runs. Where none can be left, nothing will be noticed later; recording goes on."""

    def __init__(self, marks: Path, folder: Path) -> None:
        self._path = marks / f"{os.getpid()}_{next(_count)}.json"
        self._descriptor = -1
        with contextlib.suppress(OSError):
            marks.mkdir(parents=True, exist_ok=True)
            self._descriptor = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_TRUNC, 0o600)
            hold(self._descriptor)
            os.write(self._descriptor, json.dumps({"folder": os.path.abspath(folder)}).encode())

    def beat(self) -> None:
        """Still running."""
        if self._descriptor >= 0:
            with contextlib.suppress(OSError):
                os.utime(self._path)

    def remove(self) -> None:
        """Ended in good order."""
        if self._descriptor >= 0:
            os.close(self._descriptor)
            self._descriptor = -1
            with contextlib.suppress(OSError):
                self._path.unlink()


def mend(folder: Path, marks: Path | None, now: datetime) -> list[EndedAbruptly]:
    """Put right what killed programs left in this folder, and in those that their marks name; tells what there was.

    A cut pull stays as it is, up to its last whole line; its metadata says that it was cut off and that it is not to count.
    A recording that somebody writes at this moment is left alone.
    """
    left = [] if marks is None else _unheld(marks)
    ended = {other: _moment(mark, now) for mark, other in left if other is not None}
    told = []
    for each in {folder.absolute(), *ended}:
        cut = _mend_folder(each, ended.get(each), now)
        told += cut
        if each in ended and not cut:
            told.append(_told(ended[each], now, None, None))
    for mark, _ in left:
        with contextlib.suppress(OSError):
            mark.unlink()
    return told


def _mend_folder(folder: Path, ended: datetime | None, now: datetime) -> list[EndedAbruptly]:
    clear_drafts(folder, f"{PATTERN}-metadata.json")
    told = []
    for path in _unfinished(folder, ended):
        with contextlib.suppress(OSError, BenchError):
            at = _moment(path, now)
            if not _samples(path):
                info_path(path).unlink(missing_ok=True)
                path.unlink()
                continue
            why = f"cut off: the program ended at {at:%Y-%m-%d %H:%M:%S}"
            if info_path(path).exists():
                amend_info(path, unfinished=None, excluded=why)
            else:
                with_angle = read_trace(path)[0].angle_deg is not None
                write_info(path, TraceInfo(number=_number_of(path), excluded=why, software="platepull"), with_angle=with_angle)
            told.append(_told(max(at, ended or at), now, _number_of(path), path))
    return told


def _told(ended: datetime, now: datetime, number: int | None, file: Path | None) -> EndedAbruptly:
    return EndedAbruptly(ended, max(0.0, (now - ended).total_seconds()), number, file)


def _unfinished(folder: Path, ended: datetime | None) -> Iterable[Path]:
    """Recordings that nobody writes any more and nobody finished; without metadata only one that grew when a recorder ended."""
    for path in sorted(folder.glob(PATTERN)):
        with contextlib.suppress(OSError, BenchError):
            info = info_path(path)
            if info.exists():
                cut = _UNFINISHED in read_bytes(info, METADATA)
            else:
                cut = ended is not None and abs(path.stat().st_mtime - ended.timestamp()) < _TOGETHER_S
            if cut and _number_of(path) is not None and not is_held(path):
                yield path


def _samples(path: Path) -> int:
    try:
        return len(read_trace(path)[0])
    except BenchError:  # empty, or no whole line
        return 0


def _moment(path: Path, now: datetime) -> datetime:
    return datetime.fromtimestamp(path.stat().st_mtime, now.tzinfo)


def _unheld(marks: Path) -> list[tuple[Path, Path | None]]:
    """Marks that nobody holds, and the folders they name."""
    found: list[tuple[Path, Path | None]] = []
    for mark in sorted(marks.glob("*.json")):
        if is_held(mark):
            continue
        folder = None
        with contextlib.suppress(OSError, BenchError, TypeError, KeyError, ValueError):
            named = Path(values_of(read_bytes(mark, DOCUMENT), str(mark), is_json=True)["folder"])
            folder = named if named.is_dir() else None
        found.append((mark, folder))
    return found
