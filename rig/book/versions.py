"""The version of a book: told by one small query; only where it is not ours is the machinery of migrations loaded."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import datetime
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from rig.book.place import Place
from rig.errors import BookUnreachableError

VERSION = "0002"
"""Of the tables as `schema` has them: the name of the newest file in `migrations/versions`."""

_TABLE = sa.table("alembic_version", sa.column("version_num", sa.Text))


def version_of(connection: Connection) -> str | None:
    """The version of the tables there; None where there are none."""
    return _stand(connection)[0]


def _stand(connection: Connection) -> tuple[str | None, bool]:
    """The version of the tables there, and whether they are of something else.

    Both from one look at their names: between two, another bench may have made the book.
    """
    names = sa.inspect(connection).get_table_names()
    if _TABLE.name not in names:
        return None, bool(names)
    return connection.scalar(sa.select(_TABLE.c.version_num)), False


def bring_up_to_date(engine: sa.Engine, place: Place, clock: Callable[[], datetime]) -> None:
    """Make the tables where there are none, or migrate them after a backup beside a file.

    Raises
    ------
    BookUnreachableError
        Where the book is of a newer version, or a database holds tables of something else.
    """
    if place.file is not None:
        try:
            place.file.parent.mkdir(parents=True, exist_ok=True)
        except OSError as fault:
            what = f"the book's folder cannot be made ({fault.strerror})"
            raise BookUnreachableError(what, where=str(place), remedy="check the path, or name another with --book") from fault
    with engine.connect() as connection, connection.begin():
        found, foreign = _stand(connection)
    if found == VERSION:
        return
    if foreign:
        raise BookUnreachableError("there are tables of something else", where=str(place), remedy="name another with --book")
    if found is not None and not (found.isascii() and found.isalnum()):  # it goes into a file's name
        what, remedy = "the file is damaged: its version is none", "restore a backup, or name another book with --book"
        raise BookUnreachableError(what, where=str(place), remedy=remedy)
    if found is not None and found > VERSION:
        raise BookUnreachableError(
            f"the book is of version {found}, newer than this program's {VERSION}",
            where=str(place),
            remedy="bring platepull up to date on this computer",
        )
    if found is not None and place.file is not None:
        copy_file(place.file, place.file.with_name(f"{place.file.name}.version-{found}-{clock():%Y%m%d-%H%M%S}"))
    from rig.book.migrations import migrate

    migrate(engine, VERSION)


def copy_file(source: Path, target: Path) -> None:
    """Copy an SQLite file by the database itself: whole, whatever others write meanwhile."""
    with closing(sqlite3.connect(source)) as one, closing(sqlite3.connect(target)) as other:
        one.backup(other)
