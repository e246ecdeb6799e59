"""What the tables beside the chain hold of a job: made from its record alone, so that it can be made again and compared."""

from __future__ import annotations

import re
from typing import Any, Final

from rig.book.events import Kind
from rig.book.record import Entry, JobRecord, Pull

JOB_NUMBER: Final = r"[0-9]{4}-[0-9]{4,9}"
"""Year and counter."""

Row = dict[str, Any]
Rows = dict[str, dict[tuple[Any, ...], Row]]
"""By table, by primary key."""


def rows_of(record: JobRecord) -> Rows:
    """The rows of `jobs`, `pulls`, `files` and `texts` for a job, without a file's place (`files.path`), which may change."""
    job = record.job
    texts = [row for entry in record.entries for row in _texts(job, entry)]
    files = [
        {"job": job, "entry": entry.entry, "part": part, "name": name, "sha256": sha256}
        for entry in record.entries
        for part, (name, sha256) in enumerate(entry.files)
    ]
    pulls = [_pull(job, pull) for pull in record.pulls]
    return {
        "jobs": {(job,): _job(record)},
        "pulls": {(job, row["entry"]): row for row in pulls},
        "files": {(job, row["entry"], row["part"]): row for row in files},
        "texts": {(job, row["entry"], row["kind"]): row for row in texts},
    }


def is_number(text: str) -> bool:
    """Whether a text is a job's number, such as '2026-0001'."""
    return re.fullmatch(JOB_NUMBER, text) is not None


def number_parts(job: str) -> tuple[int, int]:
    """Year and counter of a job's number. Raises ValueError."""
    year, counter = job.split("-")
    return int(year), int(counter)


def _job(record: JobRecord) -> Row:
    year, counter = number_parts(record.job)
    return {
        "job": record.job,
        "year": year,
        "counter": counter,
        "unit": record.unit,
        "customer": record.customer,
        "complaint": record.complaint,
        "opened_at": record.opened_at,
        "closed_at": record.closed_at,
        "events": record.events,
        "head": record.head,
    }


def _pull(job: str, pull: Pull) -> Row:
    transducer = pull.terms.get("transducer") or {}
    return {
        "job": job,
        "entry": pull.entry.entry,
        "sha256": pull.entry.files[0][1],
        "made_at": pull.term("when"),
        "phase": pull.term("phase"),
        "arrangement": pull.term("arrangement"),
        "closure": pull.term("closure"),
        "lubricant": pull.term("lubricant"),
        "additive": pull.term("additive"),
        "sensor": transducer.get("serial") or transducer.get("name") or pull.term("device"),
        "plates": pull.term("plates"),
        "plate_state": pull.term("plate_state"),
        "direction": pull.direction,
        "breakaway_nm": pull.torque_nm("breakaway"),
        "breakaway_u_nm": pull.u_nm("breakaway"),
        "sliding_nm": pull.torque_nm("sliding"),
        "sliding_u_nm": pull.u_nm("sliding"),
        "chattering": pull.chattering,
        "votes": pull.votes,
    }


def _texts(job: str, entry: Entry) -> list[Row]:
    """What a search looks through, in folded letters."""
    content = entry.content
    fields: tuple[str, ...] = {
        Kind.OPENED: ("unit", "customer", "complaint"),
        Kind.PART: ("text", "batch"),
        Kind.OIL: ("text", "additive"),
        Kind.NOTE: ("text",),
    }.get(Kind(entry.kind), ())
    return [
        {"job": job, "entry": entry.entry, "kind": field, "folded": str(content[field]).casefold()}
        for field in fields
        if content.get(field)
    ]
