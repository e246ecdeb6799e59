"""What the verbs that use the job book share: which book, who enters, one way to open it."""

from __future__ import annotations

import argparse
import difflib
import getpass
import sys
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final

from rig.errors import ArgumentError, BookError, BookUnreachableError
from rig.words.language import say
from rig.words.retold import fault_text, retold

if TYPE_CHECKING:  # SQLAlchemy is loaded where a book is opened, not for a help text
    from analysis.verdict.apart import Scatter
    from rig.book.book import Book
    from rig.book.documents import JobView
    from rig.book.place import Place
    from rig.book.record import JobRecord
    from rig.book.waiting import WaitingRoom
    from rig.live.news import News
    from rig.live.runner import Listener
    from rig.settings import Settings
    from rig.window.means import BookMeans

NEAR: Final = 0.6  # of difflib's likeness
LAST: Final = "last"
"""In place of a job's number: the one opened last."""


def add_book(parser: argparse.ArgumentParser) -> None:
    """The option that names the book; it may stand anywhere behind the verb."""
    parser.add_argument(
        "--book",
        metavar="BOOK",
        default=argparse.SUPPRESS,
        help="the job book: a file, or postgresql://USER@HOST/NAME (or 'book' in the settings; else in your data folder)",
    )


def add_who(parser: argparse.ArgumentParser) -> None:
    """The option that says who enters."""
    parser.add_argument(
        "--who", metavar="W", default=argparse.SUPPRESS, help="initials of who enters it (or 'who' in the settings)"
    )


def add_json(parser: argparse.ArgumentParser) -> None:
    """The option for one JSON document in place of text."""
    parser.add_argument("--json", action="store_true", default=argparse.SUPPRESS, help="print one JSON document")


def wants_json(args: argparse.Namespace) -> bool:
    """Whether `--json` was given."""
    return bool(getattr(args, "json", False))


def book_name(args: argparse.Namespace, settings: Settings) -> str:
    """Which book: the option, else the settings, else the one in the user's data folder."""
    from rig.settings import book_path

    return getattr(args, "book", None) or settings.book or str(book_path())


def is_job_number(text: str | None) -> bool:
    """Whether a text is a number of the job book, such as '2026-0001'."""
    from rig.book.index import is_number

    return text is not None and is_number(text)


def series_of_book(text: str) -> tuple[str, str] | None:
    """Job and phase of a text such as '2026-0001:rebuilt'; None where it is none."""
    job, colon, phase = text.partition(":")
    return (job, phase) if colon and phase and is_job_number(job) else None


def open_book(args: argparse.Namespace, settings: Settings, *, begins: bool = False) -> Book:
    """The book, migrated where that is needed; made only for what begins one.

    Raises BookError, also where there is none and nothing begins one, or BookUnreachableError.
    """
    from rig.book.book import Book
    from rig.book.place import Place

    place = Place.of(book_name(args, settings))
    if not begins and is_new(place):
        raise no_book(place)
    return Book(place, the_clock)


def is_new(place: Place) -> bool:
    """Whether the book is a file that is not there yet, where one could be."""
    file = place.file
    return file is not None and not file.exists() and (file.parent.is_dir() or not file.parent.exists())


def is_begun(args: argparse.Namespace, settings: Settings) -> bool:
    """Whether the book is there, or somebody named one: the one in the user's data folder may not have been begun yet."""
    from rig.settings import book_path

    return bool(getattr(args, "book", None) or settings.book) or book_path().exists()


def no_book(place: Place) -> BookError:
    """That there is no book, with the one that was probably meant."""
    assert place.file is not None
    beside = [path.name for path in sorted(place.file.parent.glob("*.sqlite"))] if place.file.parent.is_dir() else []
    near = difflib.get_close_matches(place.file.name, beside, 1, NEAR)
    remedy = f"did you mean {near[0]}?" if near else "check the path; platepull job new begins a book"
    return BookError("there is no job book", where=str(place), remedy=remedy)


def the_clock() -> datetime:
    """The computer's clock, with its offset."""
    return datetime.now().astimezone()


def who_of(args: argparse.Namespace, settings: Settings) -> str:
    """Who enters: the option, else the settings, else the name this computer knows the user by."""
    named = getattr(args, "who", None) or settings.who
    if named:
        return str(named)
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "unknown"


def named_person(args: argparse.Namespace, settings: Settings) -> str:
    """Who answers for it by name. Raises ArgumentError where nobody is named."""
    named = getattr(args, "who", None) or settings.who
    if not named:
        raise ArgumentError("an acknowledgement needs a name", where="--who", remedy="add --who and your initials")
    return str(named)


def waiting_room() -> WaitingRoom:
    """Where recordings are noted that wait to be entered."""
    from rig.book.waiting import WaitingRoom
    from rig.settings import book_path

    return WaitingRoom(book_path().parent / "waiting")


def keeper_of(
    args: argparse.Namespace, settings: Settings, *, follow: bool = False
) -> Callable[[Callable[[News], None]], Listener] | None:
    """Makes the keeper that enters a bench's pulls in its job; None where no number of the book is named. Imports nothing heavy.

    `follow`: the job is the one that each recording names, for a window in which it may change.
    """
    if not follow and not is_job_number(args.job):
        return None
    job = None if follow else args.job

    def made(tell: Callable[[News], None]) -> Listener:
        from rig.book.keeper import Keeper

        def where() -> str:
            from rig.book.place import Place

            return str(Place.of(book_name(args, settings)))

        return Keeper(lambda: open_book(args, settings, begins=follow), where, job, who_of(args, settings), waiting_room(), tell)

    return made


def book_means(args: argparse.Namespace, settings: Settings, out: Path | None) -> BookMeans:
    """What a window needs of the book. Imports nothing heavy."""
    from rig.commands._chosen import software, todays_folder
    from rig.commands._options import scatter_of
    from rig.window.means import BookMeans

    return BookMeans(
        open=lambda: open_book(args, settings, begins=True),
        scatter=scatter_of(args.scatter or settings.scatter),
        who=who_of(args, settings),
        workshop=settings.workshop,
        software=software(),
        waiting=waiting_room(),
        folder=out or todays_folder(),
    )


def look_up_job(args: argparse.Namespace, settings: Settings, note: Callable[[str], None]) -> JobRecord | None:
    """Before a bench starts in the terminal: look the job up, and take from it what no option says (unit, customer, window).

    Returns the job. A book that cannot be reached stops nobody: that is noted, and pulls are recorded and entered later.
    Raises BookError where the book has no such job.
    """
    if args.job is None:
        return None
    if not is_job_number(args.job) and args.job != LAST:
        note(say("'{job}' is no number of the job book: it goes into the recordings' metadata and nowhere else", job=args.job))
        return None
    from rig.book.events import Kind
    from rig.book.gates import plate_state
    from rig.book.judging import card_window
    from rig.book.look import whole_card

    try:
        with open_book(args, settings) as book:
            if args.job == LAST:
                args.job = book.last_job()
            record = book.record(args.job)
            card_file = whole_card(book, record)
            if args.scatter is None:
                known = known_scatter_of(book, record, settings)
                args.scatter = f"{100 * known.relative:.4g} % ({known.degrees_of_freedom:.0f})" if known.relative else None
    except BookUnreachableError as error:
        if args.job == LAST:
            raise
        note(say("{fault}; pulls are recorded all the same and wait to be entered", fault=fault_text(error)))
        return None
    args.unit_id = args.unit_id or record.unit
    args.customer = args.customer or record.customer
    spec = record.last(Kind.SPEC)
    card = None if spec is None else card_window(spec.content["card"], plate_state(record))
    if args.window is None and args.spec is None and card is not None:
        if card_file is not None:
            args.spec = str(card_file)
        else:
            args.window, args.basis = card.window.text or str(card.window), str(card.window.basis)
    if record.closed_at is not None:
        note(say("job {job} was closed at {closed_at}; pulls are entered all the same", job=record.job, closed_at=record.closed_at))
    return record


def known_scatter_of(book: Book, record: JobRecord, settings: Settings) -> Scatter:
    """The scatter that a job is judged with: that of the book's other jobs, else the settings', else the usual one."""
    from rig.book.look import scatter_for
    from rig.commands._options import scatter_of

    return scatter_for(book, record, scatter_of(settings.scatter))


def job_view(book: Book, job: str, settings: Settings) -> JobView:
    """A job as it is shown, judged with what the book knows of the bench. Raises BookError where there is no such job."""
    from rig.book import look
    from rig.commands._options import scatter_of

    return look.job_view(book, job, scatter_of(settings.scatter))


def enter_what_waits(book: Book) -> None:
    """Enter the recordings that waited for this book, and say so."""
    from rig.book.keeper import enter_waiting
    from rig.live.news import Entered, Failed

    def tell(item: News) -> None:
        match item:
            case Entered(_, job, entry):
                print(say("a recording that waited is entry {entry} of job {job}", entry=entry, job=job), file=sys.stderr)
            case Failed(what, where, remedy):
                print(f"{where}: {retold(what)}; {retold(remedy)}", file=sys.stderr)

    enter_waiting(book, waiting_room(), tell)
