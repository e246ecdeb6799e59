"""The sheets of a job of the book: hand-over, label, comparison; made from its view and from the traces as they were entered."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

from analysis.compare.comparison import compare
from analysis.errors import BenchError
from rig.book.book import Book
from rig.book.documents import JobView, job_document
from rig.book.entries import digest
from rig.book.series_files import files_of
from rig.calibration.sensor_in_use import SensorChoice
from rig.errors import BookError, RefusedError
from rig.files.compared_pull import read_compared
from rig.files.pull_file import Recording, read_recording
from rig.sheets.annex import MOST_PHOTOS
from rig.sheets.comparison import draw
from rig.sheets.hand_over import hand_over
from rig.sheets.label import label
from rig.sheets.outcome import as_found_and_final
from rig.sheets.photos import printable
from rig.sheets.phrases import Phrases
from rig.sheets.printing import write_pdf
from rig.words.comparison import comparison_texts

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
        photos=photos_of_sheet(book, job, note),
    )
    write_pdf(path, page, language=phrases.language, day=day)


def write_label(path: Path, view: JobView, phrases: Phrases, *, day: date, workshop: str | None) -> None:
    """Write the label as PDF. Raises SheetError."""
    window = None if view.card is None else view.card.window
    page = label(job_document(view), phrases, window=window, printed=day.isoformat(), workshop=workshop)
    write_pdf(path, page, language=phrases.language, day=day)


def write_comparison(path: Path, book: Book, view: JobView, unit: str, *, day: date) -> None:
    """Write the comparison of the series as found with the final one, as PDF.

    Raises
    ------
    BookError
        Where a recording is missing or no longer what was entered, or there is nothing to compare.
    RefusedError
        Where the two are not to be compared, with the reasons.
    SheetError
        Where the page cannot be written.
    """
    found, final = as_found_and_final([*job_document(view)["series"]])
    if found is None or final is None:
        remedy = "pull the unit as found before it is opened, and rebuilt"
        raise BookError("there is no series both before and after", where=view.record.job, remedy=remedy)
    sensors, sides, curves = SensorChoice(day), [], {}
    for series in (found, final):
        side = []
        for file in files_of(book, view.record, set(series["entries"])):
            pull, curve, _ = read_compared(file, sensors.of, with_curve=True)
            side.append(pull)
            if curve is not None:
                curves[pull.fingerprint] = curve
        sides.append(side)
    comparison = compare(*sides)
    if not comparison.made:
        lines = tuple(comparison_texts(comparison, unit))
        raise RefusedError("the two series are not to be compared", where=view.record.job, remedy="see Side by side", lines=lines)
    draw(comparison, curves, path, unit, day=day)


def photos_of_sheet(book: Book, job: dict[str, Any], note: Note) -> dict[int, bytes]:
    """The newest photos that are still the bytes that were entered and can be printed; of the others it is said why not."""
    kept = [one for one in job["photos"] if not one["struck"] and one["path"]]
    found: dict[int, bytes] = {}
    for one in kept[-MOST_PHOTOS:]:
        path = book.place.file_at(one["path"])
        try:
            if digest(path) != one["sha256"]:
                note(f"{path}: is not the file that was entered (entry {one['entry']}); it is not printed")
                continue
            found[one["entry"]] = printable(path)
        except BenchError as error:
            note(f"{' '.join(str(error).split())}; it is not printed")
    return found


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
