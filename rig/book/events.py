"""Events: the entries of a job, each sealed by a hash over itself and the entry before it. Pure values."""

from __future__ import annotations

import functools
import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from enum import StrEnum
from typing import Any

FIRST_PREVIOUS = "0" * 64
"""What the first entry of a job names as the hash before it."""

HASH_VERSION = 1
"""Stands in what is hashed, so that a later form can be told from this one."""


class Kind(StrEnum):
    """What an entry says. `AMENDED`: what is stated of a pull, or read off it, is now this."""

    OPENED = "opened"
    SPEC = "spec"
    PULL = "pull"
    AMENDED = "amended"
    PACK = "pack"
    REFIT = "refit"
    PART = "part"
    OIL = "oil"
    NOTE = "note"
    PHOTO = "photo"
    CERTIFICATE = "certificate"
    STEP = "step"
    STRUCK = "struck"
    CLOSED = "closed"


@dataclass(frozen=True, slots=True)
class Event:
    """One entry of a job.

    Parameters
    ----------
    job
        Number of the job, such as '2026-0001'.
    number
        Of the entry in its job, from 1, without gaps.
    at_utc
        Moment of the entry by the computer's clock, ISO 8601 in UTC to a microsecond.
    offset_min
        The clock's offset from UTC then, minutes.
    who
        Who entered it.
    kind, body
        What is said: a `Kind` and an object as canonical JSON text (`canonical`).
    previous, hash
        Hash of the entry before, and of this one over all of the above.
    """

    job: str
    number: int
    at_utc: str
    offset_min: int
    who: str
    kind: str
    body: str
    previous: str
    hash: str

    @property
    def content(self) -> dict[str, Any]:
        """The body as an object. Raises ValueError where it is none (a body that was edited)."""
        return _parsed(self.body)

    @property
    def at(self) -> str:
        """The moment as the clock on the wall showed it, ISO 8601 with offset, to a second."""
        try:
            moment = datetime.fromisoformat(self.at_utc).astimezone(timezone(timedelta(minutes=self.offset_min)))
        except (ValueError, OverflowError):
            return self.at_utc  # edited by hand; verify tells
        return moment.isoformat(timespec="seconds")


@functools.lru_cache(maxsize=512)
def _parsed(body: str) -> dict[str, Any]:
    """A body as an object, once for the several looks at a job; nobody changes it."""
    content = json.loads(body)
    if not isinstance(content, dict):
        raise ValueError("the body is not an object")
    return content


def canonical(content: Mapping[str, Any]) -> str:
    """The one JSON text of an object: keys in order, no blanks, no NaN. Raises ValueError where it has no such text."""
    return json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def sealed(job: str, number: int, at: datetime, who: str, kind: str, content: Mapping[str, Any], previous: str) -> Event:
    """A new entry with its hash; `at` carries an offset."""
    offset = at.utcoffset()
    if offset is None:
        raise ValueError("the moment of an entry needs an offset")
    at_utc = at.astimezone(UTC).replace(tzinfo=None).isoformat(timespec="microseconds") + "+00:00"
    parts = (job, number, at_utc, round(offset.total_seconds() / 60), who, str(kind), canonical(content), previous)
    return Event(*parts, _hash(*parts))


def true_hash(event: Event) -> str:
    """The hash that the entry's content gives, whatever stands in its `hash`."""
    return _hash(
        event.job, event.number, event.at_utc, event.offset_min, event.who, event.kind, event.body, event.previous
    )  # fmt: skip


def chain_faults(events: Sequence[Event]) -> list[tuple[int, str]]:
    """What does not hold in a job's chain: pairs of an entry's number and a sentence; empty where all does."""
    faults = []
    previous = FIRST_PREVIOUS
    for place, event in enumerate(events, start=1):
        if event.number != place:
            faults.append((event.number, f"stands where entry {place} should: an entry was removed, added or moved"))
        elif event.previous != previous:
            faults.append((event.number, "does not follow the entry before it: one of the two is not as it was written"))
        if true_hash(event) != event.hash:
            faults.append((event.number, "is not as it was written: its hash is another"))
        previous = event.hash
    if events and events[0].kind != Kind.OPENED:
        faults.append((events[0].number, "is not the opening of a job"))
    return faults


def _hash(*parts: str | int) -> str:
    text = json.dumps([HASH_VERSION, *parts], separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
