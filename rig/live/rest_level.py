"""What the level at rest stands for, and the pulls that wait for a person to say why it moved."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from analysis.pull.reading import KnownOfRest
from analysis.results import PullResult
from analysis.trace import Trace
from analysis.verdict.votes import NOTHING_STATED, Stated


@dataclass(frozen=True, slots=True)
class ReadPull:
    """A pull that was read: samples under the calibration, reading, file, what was known of the level at rest, what is stated."""

    number: int
    trace: Trace
    result: PullResult
    file: Path | None
    known: KnownOfRest
    stated: Stated = NOTHING_STATED


@dataclass(slots=True)
class RestLevel:
    """What the level at rest stands for: the sensor's zero, a load that a person stated, a step that nobody has explained yet.

    since   the pulls read since that step; they are read again when it is explained
    """

    zero_nm: float | None = None
    load_nm: float = 0.0
    moved_nm: float = 0.0
    since: list[ReadPull] = field(default_factory=list)

    @property
    def known(self) -> KnownOfRest:
        """What a reading is told of it."""
        return KnownOfRest(load_nm=self.load_nm, moved_nm=self.moved_nm)

    def step(self, from_nm: float, to_nm: float, same_nm: float) -> float:
        """The level moved; how far it lies now from what is known, 0 where it is back at the zero to within `same_nm`."""
        self.zero_nm = from_nm if self.zero_nm is None else self.zero_nm
        if abs(to_nm - self.zero_nm) <= same_nm:
            # What hung there is off again, and there is nothing left to ask.
            self.load_nm, self.moved_nm, self.since = 0.0, 0.0, []
        else:
            self.moved_nm = to_nm - (self.zero_nm + self.load_nm)
        return self.moved_nm

    def explained(self, *, lever_on: bool) -> RestLevel:
        """The level once a person has said why it moved."""
        if lever_on or self.zero_nm is None:
            return RestLevel(self.zero_nm, self.load_nm + (self.moved_nm if lever_on else 0.0))
        return RestLevel(self.zero_nm + self.moved_nm, self.load_nm)

    def keep(self, pull: ReadPull) -> None:
        """Note a pull that is to be read again once the step is explained."""
        if self.moved_nm:
            self.since = [*self.since, pull][-MOST_KEPT:]


MOST_KEPT = 50  # pulls kept to be read again: nobody leaves a question that long


def amendments(result: PullResult, known: KnownOfRest, exercised_nm: float) -> dict[str, Any]:
    """What a pull's metadata says after its reading."""
    return {
        "zero_before_nm": result.zero_nm,
        "zero_after_nm": result.zero_after_nm,
        "rest_load_nm": known.load_nm or None,
        "rest_moved_nm": known.moved_nm or None,
        "exercised_nm": exercised_nm or None,
        "calibration_flags": " ".join(result.calibration_flags) or None,
    }
