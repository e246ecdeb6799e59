"""The printed sheets of a job: what `platepull job sheet` and `platepull job label` do."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from rig.words.language import say
from rig.words.retold import retold

if TYPE_CHECKING:
    from rig.book.book import Book
    from rig.book.documents import JobView
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
        parser.add_argument("--unit", metavar="U", help="unit of torque; inches, quarts and Fahrenheit go with lbf.ft")


def print_sheet(book: Book, args: argparse.Namespace, settings: Settings) -> int:
    """Write the hand-over sheet."""
    from rig.commands._book import job_view
    from rig.commands._chosen import software
    from rig.sheets.of_job import write_hand_over

    path, view = _pdf(args.out), job_view(book, args.number, settings)
    phrases = _phrases(args, settings, view)
    write_hand_over(
        path, book, view, phrases, day=date.today(), workshop=settings.workshop, software=software(), note=_note
    )  # fmt: skip
    print(say("written: {path}", path=path))
    return 0


def print_label(book: Book, args: argparse.Namespace, settings: Settings) -> int:
    """Write the label."""
    from rig.commands._book import job_view
    from rig.sheets.of_job import write_label

    path, view = _pdf(args.out), job_view(book, args.number, settings)
    phrases = _phrases(args, settings, view)
    write_label(path, view, phrases, day=date.today(), workshop=settings.workshop)
    print(say("written: {path}", path=path))
    return 0


def _pdf(path: Path) -> Path:
    """The file to write, if it is named as what it is. Raises ArgumentError."""
    from rig.errors import ArgumentError

    if path.suffix.lower() != ".pdf":
        raise ArgumentError(f"'{path.name}' is not named as a PDF", where="--out", remedy="let the name end in .pdf")
    return path


def _phrases(args: argparse.Namespace, settings: Settings, view: JobView) -> Phrases:
    from rig.book.page import unit_of_job
    from rig.sheets.phrases import Phrases

    return Phrases(args.language, args.unit or unit_of_job(view, settings.unit))


def _note(line: str) -> None:
    print(f"platepull job: {retold(line)}", file=sys.stderr)
