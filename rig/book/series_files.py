"""A series of the book as the recordings it was made of: for a comparison, which reads files."""

from __future__ import annotations

from pathlib import Path

from rig.book.book import Book
from rig.book.entries import digest
from rig.book.judging import common_of, folded
from rig.book.record import JobRecord
from rig.errors import BookError


def recordings_of(book: Book, job: str, phase: str) -> list[Path]:
    """The recordings of a job's pulls in a phase that count, in the order entered, each as it was entered.

    Of several states in one phase (closed for trial, then for good) the one pulled last.

    Raises
    ------
    BookError
        Where there is no such job or phase, or a recording is missing or no longer what was entered.
    """
    record = book.record(job)
    pulls = [pull for pull in record.pulls if pull.votes]
    wanted = [pull for pull in pulls if _plain(pull.term("phase")) == _plain(phase)]
    if not wanted:
        known = ", ".join(dict.fromkeys(f"{job}:{pull.term('phase')}" for pull in pulls if pull.term("phase"))) or "none yet"
        raise BookError(f"no pull that counts is of phase '{phase}'", where=job, remedy=f"the book has {known}")
    newest = common_of(wanted[-1])
    wanted = [pull for pull in wanted if common_of(pull) == newest]
    return files_of(book, record, {pull.entry.entry for pull in wanted})


def files_of(book: Book, record: JobRecord, entries: set[int]) -> list[Path]:
    """The recordings of these entries, each as it was entered. Raises BookError where one is missing or another."""
    places = book.paths(record.job)
    found = []
    for pull in record.pulls:
        if pull.entry.entry not in entries:
            continue
        file = book.place.file_at(places[pull.entry.entry, 0])
        if not file.is_file() or digest(file) != pull.entry.files[0][1]:
            remedy = f"put it back as it was, or strike entry {pull.entry.entry}"
            raise BookError("is missing or no longer what was entered", where=str(file), remedy=remedy)
        found.append(file)
    return found


def _plain(phase: str | None) -> str:
    return folded((phase or "").replace("_", " "))
