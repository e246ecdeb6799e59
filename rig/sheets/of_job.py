"""The sheets of a job of the book: hand-over, label, comparison; made from its view and from the traces as they were entered."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

from analysis.errors import BenchError
from rig.book.book import Book
from rig.book.documents import JobView, job_document
from rig.book.entries import digest
from rig.calibration.sensor_in_use import SensorChoice
from rig.files.pull_file import Recording, read_recording
from rig.sheets.hand_over import hand_over
from rig.sheets.label import label
from rig.sheets.outcome import as_found_and_final
from rig.sheets.phrases import Phrases
from rig.sheets.printing import write_pdf

Note = Callable[[str], None]
"""Takes what is left out of a sheet, in a sentence."""


def write_hand_over(
    path: Path, book: Book, view: JobView, phrases: Phrases, *, day: date, workshop: str | None, software: str, note: Note
) -> None:
    """Write the hand-over sheet as PDF. Raises SheetError."""
    job = job_document(view)
    page = hand_over(
        job,
        recordings_of_sheet(book, job, note),
        phrases,
        window=None if view.card is None else view.card.window,
        printed=day.isoformat(),
        workshop=workshop,
        software=software,
    )
    write_pdf(path, page, language=phrases.language, day=day)


def write_label(path: Path, view: JobView, phrases: Phrases, *, day: date, workshop: str | None) -> None:
    """Write the label as PDF. Raises SheetError."""
    window = None if view.card is None else view.card.window
    page = label(job_document(view), phrases, window=window, printed=day.isoformat(), workshop=workshop)
    write_pdf(path, page, language=phrases.language, day=day)


def recordings_of_sheet(book: Book, job: dict[str, Any], note: Note) -> dict[int, Recording]:
    """The pulls drawn whose traces are still the bytes that were entered; of the others it is said that they are left out."""
    drawn = {entry for series in as_found_and_final(job["series"]) if series is not None for entry in series["entries"]}
    sensors = SensorChoice(date.today())
    read: dict[int, Recording] = {}
    for pull in job["pulls"]:
        if pull["entry"] not in drawn or not pull["trace"]:
            continue
        path = book.place.file_at(pull["trace"])
        try:
            if digest(path) != pull["sha256"]:
                note(f"{path}: is not the file that was entered (entry {pull['entry']}); its curve is left out")
                continue
            read[pull["entry"]] = read_recording(path, sensors.of)
        except BenchError as error:
            note(f"{' '.join(str(error).split())}; its curve is left out")
    return read
