"""What the verbs that use the job book share: which book, who enters, one way to open it."""

from __future__ import annotations

import argparse
import getpass
from datetime import datetime
from typing import TYPE_CHECKING

from rig.errors import ArgumentError

if TYPE_CHECKING:  # SQLAlchemy is loaded where a book is opened, not for a help text
    from rig.book.book import Book
    from rig.settings import Settings


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


def open_book(args: argparse.Namespace, settings: Settings) -> Book:
    """The book, made or migrated where that is needed. Raises BookError or BookUnreachableError."""
    from rig.book.book import Book
    from rig.book.place import Place

    return Book(Place.of(book_name(args, settings)), the_clock)


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
