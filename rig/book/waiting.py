"""Recordings that wait to be entered because the book could not be reached: a small file each, on the disk."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass
from pathlib import Path

from drivers.errors import FileError
from drivers.opening import DOCUMENT, read_text
from rig.files.atomic import write_whole


@dataclass(frozen=True, slots=True)
class Waiting:
    """A recording that waits: which book (as it is shown, without a password), which job, where it lies, who pulled."""

    book: str
    job: str
    path: str
    who: str


@dataclass(frozen=True, slots=True)
class WaitingRoom:
    """The folder in which they are noted."""

    folder: Path

    def note(self, one: Waiting) -> None:
        """Note a recording, on the disk before this returns. Raises OSError."""
        self.folder.mkdir(parents=True, exist_ok=True)
        write_whole(self._file(one), json.dumps(asdict(one), ensure_ascii=False))

    def done(self, one: Waiting) -> None:
        """It waits no longer. Raises OSError."""
        self._file(one).unlink(missing_ok=True)

    def of(self, book: str) -> list[Waiting]:
        """What waits for a book, oldest first."""
        return [one for one in self.all() if one.book == book]

    def all(self) -> list[Waiting]:
        """What waits for any book, oldest first; what cannot be read is left alone."""
        found = []
        for file in self.folder.glob("*.json") if self.folder.is_dir() else ():
            try:
                one = Waiting(**json.loads(read_text(file, DOCUMENT)))
                found.append((file.stat().st_mtime_ns, one))
            except (FileError, OSError, ValueError, TypeError):
                continue
        return [one for _, one in sorted(found, key=lambda pair: (pair[0], pair[1].path))]

    def _file(self, one: Waiting) -> Path:
        named = "\n".join((one.book, one.job, one.path))
        return self.folder / f"{hashlib.sha256(named.encode()).hexdigest()[:24]}.json"
