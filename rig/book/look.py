"""A job as it is shown, judged with what the book knows of the bench: one way for terminal, window and sheets."""

from __future__ import annotations

from pathlib import Path

from analysis.verdict.apart import Scatter
from analysis.window import Basis
from rig.book.book import Book
from rig.book.documents import JobView, view_of
from rig.book.entries import digest
from rig.book.events import Kind
from rig.book.gates import judging_of
from rig.book.knowledge import known_scatter
from rig.book.record import JobRecord


def scatter_for(book: Book, record: JobRecord, otherwise: Scatter) -> Scatter:
    """The scatter that a job is judged with: that of the book's other jobs, else `otherwise`."""
    card = judging_of(record).card
    return known_scatter(book, record, Basis.BREAKAWAY if card is None else card.window.basis, otherwise)


def whole_card(book: Book, record: JobRecord) -> Path | None:
    """The file of a job's spec card, where it is as it was entered and says how the unit is built; None else."""
    spec = record.last(Kind.SPEC)
    if spec is None or "build" not in spec.content["card"]:
        return None
    file = book.place.file_at(book.paths(record.job)[spec.entry, 0])
    return file if file.is_file() and digest(file) == spec.files[0][1] else None


def job_view(book: Book, job: str, otherwise: Scatter) -> JobView:
    """A job as it is shown. Raises BookError where there is no such job."""
    record = book.record(job)
    return view_of(record, book.paths(job), scatter_for(book, record, otherwise))
