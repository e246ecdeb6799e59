"""A log that a user can send: what the program did and what went wrong, without names, places of files or anything that was typed.

Only numbers, codes and our own words go in. What stands in quotes in a message is left out, of a path only its ending is kept, of a
fault of ours only where in our code it was. Three files of at most 200 kB, the oldest is dropped.
"""

from __future__ import annotations

import contextlib
import logging
import re
import time
import traceback
from logging.handlers import RotatingFileHandler
from pathlib import Path
from typing import Final

from analysis.errors import BenchError

FILE: Final = "platepull.log"
MOST_BYTES: Final = 200_000
OLD_FILES: Final = 2

_log = logging.getLogger("platepull")
_log.propagate = False
_log.addHandler(logging.NullHandler())

_QUOTED = re.compile(r"'[^']*'|\"[^\"]*\"")
_PATH = re.compile(r"(?:[A-Za-z]:)?[^\s;,()]*[/\\][^\s;,()]*")
_KEPT = re.compile(r"/dev/tty\w+|COM\d+")
_ENDING = re.compile(r"\.[A-Za-z]{1,8}(?:-metadata\.json)?$")


class _Quiet(RotatingFileHandler):
    """A log that cannot be written costs the work nothing; `platepull doctor` tells of it."""

    def handleError(self, record: logging.LogRecord) -> None:  # noqa: N802  the library's name
        """Go on."""

    def close(self) -> None:
        """What a full disk left to be written is let go."""
        with contextlib.suppress(OSError):
            super().close()


def start_log(folder: Path) -> None:
    """Write the log into that folder from now on; where that cannot be, go on without."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        handler = _Quiet(folder / FILE, maxBytes=MOST_BYTES, backupCount=OLD_FILES, encoding="utf-8", delay=True)
    except OSError:
        return
    form = logging.Formatter("%(asctime)sZ %(process)d %(message)s", "%Y-%m-%dT%H:%M:%S")
    form.converter = time.gmtime
    handler.setFormatter(form)
    stop_log()
    _log.addHandler(handler)
    _log.setLevel(logging.INFO)


def stop_log() -> None:
    """Close the log."""
    for handler in [each for each in _log.handlers if isinstance(each, RotatingFileHandler)]:
        _log.removeHandler(handler)
        handler.close()


def without_names(text: str) -> str:
    """A message of ours without what it quotes and without places of files; the names of serial ports stay.

    >>> without_names("/srv/Smith/p1.csv, row 3: torque 'x' is not a number")
    "(...).csv, row 3: torque '...' is not a number"
    """
    return _PATH.sub(_place, _QUOTED.sub("'...'", text))


def _place(found: re.Match[str]) -> str:
    text = found.group().rstrip(":")
    if port := _KEPT.fullmatch(text):
        return port.group() + found.group()[len(text) :]
    ending = _ENDING.search(text)
    return f"(...){ending.group() if ending else ''}{found.group()[len(text) :]}"


def log_event(event: str, /, **figures: object) -> None:
    """One line: a word of ours, and numbers or codes of ours."""
    _log.info("%s", " ".join([event, *(f"{name}={value}" for name, value in figures.items() if value is not None)]))


def log_refusal(error: BenchError) -> None:
    """What a person was told, without names: of the place only a port's name, or a file's ending and the row."""
    log_event("refused", kind=type(error).__name__, where=_ending_only(error.where), what=repr(without_names(error.what)))


def _ending_only(where: str) -> str | None:
    name, row = re.fullmatch(r"(.*?)(, row \d+)?", where, re.DOTALL).groups("")  # type: ignore[union-attr]
    if not name or _KEPT.fullmatch(name) or re.fullmatch(r"--[a-z-]+", name):
        return where or None
    ending = _ENDING.search(name)
    return f"(...){ending.group() if ending else ''}{row}"


def log_fault(error: BaseException) -> None:
    """A fault of ours: its kind and where in the code it was; its message may hold anything, and stays out."""
    frames = traceback.extract_tb(error.__traceback__)
    way = " < ".join(f"{Path(frame.filename).name}:{frame.lineno}:{frame.name}" for frame in reversed(frames[-12:]))
    log_event("fault", kind=type(error).__name__, at=way)
