"""Opening a job: its texts, its steps and, where it is at hand, its spec card."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from rig.book.book import Book, Draft
from rig.book.entries import file_list, tidy
from rig.book.record import JobRecord
from rig.book.steps import own_steps, read_steps
from rig.errors import ArgumentError


def open_job(
    book: Book,
    who: str,
    *,
    unit: str,
    customer: str | None = None,
    complaint: str | None = None,
    spec: Draft | None = None,
    steps: Path | None = None,
) -> JobRecord:
    """Open a job.

    Parameters
    ----------
    unit, customer, complaint
        What is on the bench, whose it is, what is wrong in the customer's words.
    spec
        The spec card as an entry: read before a number is handed out.
    steps
        A list of steps in place of our own.

    Raises
    ------
    ArgumentError
        Where no unit is named.
    BookError, FileError, DocumentError
        Where the steps cannot be read or the book does not take it.
    """
    if not tidy(unit):
        raise ArgumentError("a job needs a unit", where="--unit-id", remedy="say what is on the bench")
    listed = own_steps() if steps is None else read_steps(steps)
    texts = {"unit": unit, "customer": customer, "complaint": complaint}
    content: dict[str, Any] = {key: tidy(text) or None for key, text in texts.items() if text is not None}
    content["steps"] = [step.document() for step in listed]
    files = [] if steps is None else [steps]
    if files:
        content["files"] = file_list(files)
    record = book.open_job(content, who, files)
    return record if spec is None else book.append(record.job, who, lambda _: spec)
