"""The printed sheets of a job: what `platepull job sheet` and `platepull job label` do."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analysis.window import Window
    from rig.book.book import Book
    from rig.files.pull_file import Recording
    from rig.settings import Settings
    from rig.sheets.phrases import Phrases


def add_actions(action: Callable[[str, str], argparse.ArgumentParser]) -> None:
    """Declare both, by the function that makes an action of `platepull job`."""
    for name, text in (
        ("sheet", "the hand-over sheet as PDF: a page for the customer, and an annex with all that is behind it"),
        ("label", "a label for the unit as PDF"),
    ):
        parser = action(name, text)
        parser.add_argument("number", metavar="NUMBER", nargs="?", default="last", help="of the job (the last one)")
        parser.add_argument("--out", metavar="FILE.pdf", type=Path, required=True, help="the file to write")
        parser.add_argument("--language", metavar="L", help="en or de (or 'language' in the settings)")
        parser.add_argument("--unit", metavar="U", help="unit of torque; inches, quarts and Fahrenheit go with lbf.ft")


def print_sheet(book: Book, args: argparse.Namespace, settings: Settings) -> int:
    """Write the hand-over sheet."""
    from importlib.metadata import version

    from rig.sheets.hand_over import hand_over
    from rig.sheets.printing import write_pdf

    phrases, (job, window) = _phrases(args, settings), _job(book, args.number, settings)
    recordings = _recordings(book, job)
    today = date.today()
    page = hand_over(
        job,
        recordings,
        phrases,
        window=window,
        printed=today.isoformat(),
        workshop=settings.workshop,
        software=f"platepull {version('platepull')}",
    )
    write_pdf(_pdf(args.out), page, language=phrases.language, day=today)
    print(f"written: {args.out}")
    return 0


def print_label(book: Book, args: argparse.Namespace, settings: Settings) -> int:
    """Write the label."""
    from rig.sheets.label import label
    from rig.sheets.printing import write_pdf

    phrases, (job, window) = _phrases(args, settings), _job(book, args.number, settings)
    today = date.today()
    page = label(job, phrases, window=window, printed=today.isoformat(), workshop=settings.workshop)
    write_pdf(_pdf(args.out), page, language=phrases.language, day=today)
    print(f"written: {args.out}")
    return 0


def _pdf(path: Path) -> Path:
    """The file to write, if it is named as what it is. Raises ArgumentError."""
    from rig.errors import ArgumentError

    if path.suffix.lower() != ".pdf":
        raise ArgumentError(f"'{path.name}' is not named as a PDF", where="--out", remedy="let the name end in .pdf")
    return path


def _phrases(args: argparse.Namespace, settings: Settings) -> Phrases:
    from rig.sheets.phrases import Phrases

    return Phrases(args.language or settings.language or "en", args.unit or settings.unit or "N.m")


def _job(book: Book, number: str, settings: Settings) -> tuple[dict[str, Any], Window | None]:
    """The job as `show --json` tells it, and the window of its spec card."""
    from rig.book.documents import job_document
    from rig.commands._book import job_view

    view = job_view(book, number, settings)
    return job_document(view), None if view.card is None else view.card.window


def _recordings(book: Book, job: dict[str, Any]) -> dict[int, Recording]:
    """The pulls drawn whose traces are still the bytes that were entered; of the others it is said that they are left out."""
    from analysis.errors import BenchError
    from rig.book.entries import digest
    from rig.calibration.sensor_in_use import SensorChoice
    from rig.files.pull_file import read_recording
    from rig.sheets.outcome import as_found_and_final

    drawn = {entry for series in as_found_and_final(job["series"]) if series is not None for entry in series["entries"]}
    sensors = SensorChoice(date.today())
    read: dict[int, Recording] = {}
    for pull in job["pulls"]:
        if pull["entry"] not in drawn or not pull["trace"]:
            continue
        path = book.place.file_at(pull["trace"])
        try:
            if digest(path) != pull["sha256"]:
                _note(f"{path}: is not the file that was entered (entry {pull['entry']}); its curve is left out")
                continue
            read[pull["entry"]] = read_recording(path, sensors.of)
        except BenchError as error:
            _note(f"{' '.join(str(error).split())}; its curve is left out")
    return read


def _note(line: str) -> None:
    print(f"platepull job: {line}", file=sys.stderr)
