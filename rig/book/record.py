"""The record of a job: its entries taken together. Pure values, built from nothing but the chain."""

from __future__ import annotations

import functools
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from rig.book.events import Event, Kind, canonical
from rig.book.steps import Step
from rig.files.metadata import SIMULATED_DEVICE


@dataclass(frozen=True, slots=True, kw_only=True)
class Strike:
    """Why an entry does not count, who said so and when, and the entry that says it."""

    entry: int
    why: str
    who: str
    at: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """An entry of a job as it counts now: its number, moment (ISO 8601 with offset), who, kind, content, and a strike or None."""

    entry: int
    at: str
    who: str
    kind: str
    content: Mapping[str, Any]
    struck: Strike | None = None

    @property
    def counts(self) -> bool:
        """Whether the entry counts: not struck."""
        return self.struck is None

    @property
    def files(self) -> tuple[tuple[str, str], ...]:
        """Names and SHA-256 of the files that belong to the entry, the one it is about first."""
        return tuple((file["name"], file["sha256"]) for file in self.content.get("files", ()))


@dataclass(frozen=True, slots=True)
class Pull:
    """A pull of a job: the entry, with what its metadata states (`terms`) and what was read off it (`reading`)."""

    entry: Entry

    @property
    def terms(self) -> Mapping[str, Any]:
        """What the recording's metadata states, by the names of the trace file's contract."""
        terms: Mapping[str, Any] = self.entry.content["terms"]
        return terms

    @property
    def reading(self) -> Mapping[str, Any]:
        """What was read off the pull, see `rig.book.reading`."""
        reading: Mapping[str, Any] = self.entry.content["reading"]
        return reading

    def term(self, name: str) -> str | None:
        """What the metadata states under `name`, as text without blanks around; None where it states nothing."""
        value = self.terms.get(name)
        text = "" if value is None else str(value).strip()
        return text or None

    @property
    def direction(self) -> int | None:
        """1, -1, or None where nothing was pulled."""
        return self.reading.get("direction")

    def torque_nm(self, basis: str) -> float | None:
        """The torque read, a magnitude in N.m, for 'breakaway' or 'sliding'; None where none was found."""
        found = self.reading.get(basis)
        return None if found is None else float(found["torque_nm"])

    def u_nm(self, basis: str) -> float | None:
        """Standard uncertainty of that torque, N.m."""
        found = self.reading.get(basis)
        return None if found is None else float(found["budget"]["u_nm"])

    @property
    def chattering(self) -> bool | None:
        """Whether the plates chattered; None where that is not assessable."""
        chatter = self.reading["chatter"]
        return chatter["present"] if chatter["assessable"] else None

    @property
    def held_nothing(self) -> bool:
        """Whether the unit turned freely."""
        return bool(self.reading.get("held_nothing"))

    @property
    def rest_s(self) -> float | None:
        """How long the unit rested before; None where that is not stated."""
        stated = self.terms.get("rest_s")
        return float(stated) if isinstance(stated, int | float) else None

    @property
    def excluded(self) -> str | None:
        """Why the pull has no vote though it is not struck: excluded in its metadata, or a free turn nobody has confirmed."""
        if self.term("excluded") is not None:
            return self.term("excluded")
        return "a free turn" if self.terms.get("free_turn") is True else None

    @property
    def simulated(self) -> bool:
        """Whether the pull was made on the simulated bench."""
        return self.term("device") == SIMULATED_DEVICE

    @property
    def votes(self) -> bool:
        """Whether the pull may count in a series: neither struck nor excluded, with a reading or with nothing that held."""
        read = self.torque_nm("breakaway") is not None or self.torque_nm("sliding") is not None
        return self.entry.counts and self.excluded is None and (read or self.held_nothing)


@dataclass(frozen=True, slots=True, kw_only=True)
class DoneStep:
    """A step that was marked: the entry, and the reason where a need was missing."""

    entry: Entry
    although: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class JobRecord:
    """What a job holds: the opening's texts, its steps, every entry in order, their number and the last one's hash."""

    job: str
    unit: str
    customer: str | None
    complaint: str | None
    opened_at: str
    steps: tuple[Step, ...]
    entries: tuple[Entry, ...]
    events: int
    head: str

    def of(self, kind: Kind, *, counting: bool = False) -> tuple[Entry, ...]:
        """The entries of a kind, in order; with `counting` only those not struck."""
        return tuple(entry for entry in self.entries if entry.kind == kind and (entry.counts or not counting))

    def last(self, kind: Kind) -> Entry | None:
        """The last entry of a kind that counts."""
        found = self.of(kind, counting=True)
        return found[-1] if found else None

    def entry(self, number: int) -> Entry | None:
        """The entry of that number."""
        return self.entries[number - 1] if 1 <= number <= len(self.entries) else None

    @property
    def pulls(self) -> tuple[Pull, ...]:
        """Every pull, struck ones among them, in the order entered."""
        return tuple(Pull(entry) for entry in self.of(Kind.PULL))

    @property
    def simulated(self) -> tuple[Pull, ...]:
        """The pulls of the simulated bench that are not struck: a job that holds some is told for what it is."""
        return tuple(pull for pull in self.pulls if pull.simulated and pull.entry.counts)

    @property
    def closed_at(self) -> str | None:
        """When the job was closed; None while it is open."""
        closed = self.last(Kind.CLOSED)
        return None if closed is None else closed.at

    @property
    def after_close(self) -> tuple[Entry, ...]:
        """What was entered after the job was closed, a recheck for one: it counts, and is told for what it is."""
        closed = self.last(Kind.CLOSED)
        return () if closed is None else self.entries[closed.entry :]

    @property
    def clock_went_back(self) -> bool:
        """Whether the last entry was made at an earlier moment, by the computer's clock, than the one before it."""
        try:
            before, last = (datetime.fromisoformat(entry.at) for entry in self.entries[-2:])
        except ValueError:
            return False
        return last < before

    def done(self, key: str) -> DoneStep | None:
        """How a step was marked last; None while it is open."""
        for entry in reversed(self.of(Kind.STEP, counting=True)):
            if entry.content["step"] == key:
                return DoneStep(entry=entry, although=entry.content.get("although"))
        return None

    def step(self, key: str) -> Step | None:
        """The step of that key."""
        return next((step for step in self.steps if step.key == key), None)


def record_of(events: Sequence[Event]) -> JobRecord:
    """The record that a job's chain tells. Raises ValueError, KeyError or TypeError where the chain was edited into nonsense."""
    opened = events[0].content
    strikes = _strikes(events)
    amended = {event.content["entry"]: event.content["now"] for event in events if event.kind == Kind.AMENDED}
    entries = tuple(
        Entry(
            entry=event.number,
            at=event.at,
            who=event.who,
            kind=event.kind,
            content=event.content | amended.get(event.number, {}),
            struck=strikes.get(event.number),
        )
        for event in events
    )
    return JobRecord(
        job=events[0].job,
        unit=opened["unit"],
        customer=opened.get("customer"),
        complaint=opened.get("complaint"),
        opened_at=events[0].at,
        steps=_steps(canonical({"steps": opened["steps"]})),
        entries=entries,
        events=len(events),
        head=events[-1].hash,
    )


@functools.lru_cache(maxsize=32)
def _steps(document: str) -> tuple[Step, ...]:
    """The steps of an opening; nearly all jobs of a book have the same list."""
    return tuple(Step.of(step) for step in json.loads(document)["steps"])


def _strikes(events: Sequence[Event]) -> dict[int, Strike]:
    """By entry, the strike in force. A strike can be struck itself, by a later one: then what it struck counts again."""
    found: dict[int, Strike] = {}
    for event in reversed(events):
        if event.kind == Kind.STRUCK and event.number not in found:
            content = event.content
            found.setdefault(content["entry"], Strike(entry=event.number, why=content["why"], who=event.who, at=event.at))
    return found
