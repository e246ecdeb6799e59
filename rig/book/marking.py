"""Entries that are decided while the job stands still: a step past its gate, a strike, the close."""

from __future__ import annotations

import difflib
from collections.abc import Sequence

from analysis.verdict.apart import Scatter
from analysis.verdict.scatter import USUAL_SCATTER
from rig.book.book import Book, Draft
from rig.book.entries import tidy
from rig.book.events import Kind
from rig.book.gates import CHATTER_ACKNOWLEDGED, Missing, gate, judging_of
from rig.book.record import JobRecord
from rig.errors import BookError, RefusedError
from rig.words.language import speaking


def mark_step(
    book: Book,
    job: str,
    key: str,
    who: str,
    *,
    although: str | None = None,
    acknowledged: Sequence[str] = (),
    known: Scatter = USUAL_SCATTER,
) -> tuple[JobRecord, tuple[Missing, ...]]:
    """Mark a step as done; `known` is the scatter from pull to pull that is known of the bench.

    Returns
    -------
    tuple[JobRecord, tuple[Missing, ...]]
        The record with the entry, and what was missing all the same.

    Raises
    ------
    RefusedError
        Where the step cannot be undone, a need is missing and no reason `although` is given.
    BookError
        Where there is no such step or acknowledgement, or it is done.
    """
    for code in acknowledged:
        if code != CHATTER_ACKNOWLEDGED:
            raise BookError(f"'{code}' cannot be acknowledged", where="--acknowledge", remedy=f"use {CHATTER_ACKNOWLEDGED}")
    reason = tidy(although or "")
    if although is not None and not reason:
        raise BookError("a reason is needed", where="--although", remedy="write why it is done all the same")
    missing: tuple[Missing, ...] = ()

    def draft(record: JobRecord) -> Draft:
        nonlocal missing
        step = record.step(key)
        if step is None:
            near = difflib.get_close_matches(key, [one.key for one in record.steps], 1)
            hint = f"did you mean '{near[0]}'?" if near else f"use {', '.join(one.key for one in record.steps)}"
            raise BookError(f"'{key}' is not a step of this job", where=job, remedy=hint)
        done = record.done(key)
        if done is not None:
            remedy = f"to mark it anew, strike entry {done.entry.entry} first"
            raise BookError(f"'{key}' was marked by {done.entry.who} on {done.entry.at}", where=job, remedy=remedy)
        missing = gate(record, step, acknowledged, judging_of(record, known)).missing
        if missing and step.one_way and not reason:
            raise RefusedError(
                f"'{key}' cannot be undone and is refused",
                where=job,
                remedy="do what is missing, or give a reason with --although, which stays on the record for good",
                lines=tuple(f"{one.code}: {one.text}" for one in missing),
            )
        with speaking("en"):  # the record speaks English, whoever enters
            kept = gate(record, step, acknowledged, judging_of(record, known)).missing
        content = {
            "step": key,
            "although": (reason or None) if missing else None,
            "missing": [{"code": one.code, "text": one.text} for one in kept],
            "acknowledged": list(acknowledged),
        }
        return Kind.STEP, content, []

    return book.append(job, who, draft), missing


def strike(book: Book, job: str, entry: int, why: str, who: str) -> JobRecord:
    """Let an entry not count from now on. Raises BookError where that cannot be."""
    reason = tidy(why)
    if not reason:
        raise BookError("a reason is needed", where="--why", remedy="write why the entry does not count")

    def draft(record: JobRecord) -> Draft:
        held = record.entry(entry)
        if held is None:
            raise BookError(f"there is no entry {entry}", where=job, remedy=f"the job has entries 1 to {record.events}")
        if held.kind == Kind.OPENED:
            raise BookError("the opening of a job cannot be struck", where=job, remedy="close the job and open another")
        if held.kind == Kind.AMENDED:
            raise BookError("an amendment cannot be struck", where=job, remedy=f"strike the pull: entry {held.content['entry']}")
        if held.struck is not None:
            remedy = f"to let it count again, strike entry {held.struck.entry}"
            raise BookError(f"entry {entry} was struck by {held.struck.who}: {held.struck.why}", where=job, remedy=remedy)
        return Kind.STRUCK, {"entry": entry, "why": reason}, []

    return book.append(job, who, draft)


def close(book: Book, job: str, who: str) -> JobRecord:
    """Close a job. Raises BookError where it is closed."""

    def draft(record: JobRecord) -> Draft:
        closed = record.last(Kind.CLOSED)
        if closed is not None:
            remedy = f"to open it again, strike entry {closed.entry}"
            raise BookError(f"was closed by {closed.who} on {closed.at}", where=job, remedy=remedy)
        return Kind.CLOSED, {}, []

    return book.append(job, who, draft)
