"""PullRecord: what the recorder knows of a pull that it writes or wrote, and how its metadata go to the disk."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from analysis.errors import BenchError
from analysis.trace import Trace
from rig.files.metadata import TraceInfo
from rig.files.trace_csv import amend_info, info_path, write_info
from rig.live.pull_file import PullFile


@dataclass(slots=True)
class PullRecord:
    """A pull that is written or was. `pieces` are let go once all is on the disk; `old` is a file that this one replaces.

    sure            it is known for a pull, not just a load
    whole           it is over, and it and nothing else stands in its file
    late            it was not on the disk when its verdict was told: that it is kept is still to be told
    refused_s       when the disk refused it last; None: all that came could be written
    info_due        its metadata are to be written
    info_under_way  they are being written
    """

    number: int
    info: TraceInfo
    stem: str
    with_angle: bool
    pieces: list[Trace]
    from_s: float = 0.0
    sure: bool = True
    file: PullFile | None = None
    old: PullFile | None = None
    over: bool = False
    kept: Path | None = None
    late: bool = False
    whole: bool = False
    refused_s: float | None = None
    info_due: bool = True
    info_under_way: bool = False
    changed: dict[str, Any] = field(default_factory=dict)

    def amend(self, known: dict[str, Any]) -> None:
        """What was told later."""
        self.info, self.info_due = replace(self.info, **known), True
        self.changed |= known

    @property
    def path(self) -> Path | None:
        """Where its metadata belongs now; None while it is over and not all of it is written."""
        return self.kept if self.file is None or self.over else self.file.path

    @property
    def settled(self) -> bool:
        """It is on the disk for good, with all that is to be told of it."""
        return self.kept is not None and not self.info_due and not self.info_under_way

    @property
    def samples(self) -> int:
        """So many wait in memory."""
        return sum(map(len, self.pieces))


def write_metadata(pull: PullRecord, path: Path, changed: dict[str, Any]) -> None:
    """The metadata of a pull; once it is kept only what changed, for a person may have added to it since."""
    if pull.kept is not None and info_path(path).exists():
        with contextlib.suppress(BenchError):  # it was broken since then: written anew
            amend_info(path, **changed)
            return
    write_info(path, pull.info, with_angle=pull.with_angle)
