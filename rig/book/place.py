"""Where a book is: a file or a database, told without its password; and where the files lie that it points to."""

from __future__ import annotations

import os
import re
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError

from rig.errors import BookError

_SECRET_QUERY = re.compile(r"(?i)\b(\w*password)=[^&]*")
_POSTGRES = ("postgresql", "postgres")


@dataclass(frozen=True, slots=True)
class Place:
    """Where a book is.

    Parameters
    ----------
    url
        For the engine.
    file
        The SQLite file; None for a database server.
    folder
        The folder that paths of files are relative to; None for a database server, whose paths are absolute.
    """

    url: URL
    file: Path | None
    folder: Path | None

    @classmethod
    def of(cls, text: str) -> Place:
        """From a file's path or a URL such as 'postgresql://user@host/name'. Raises BookError, without the URL's password."""
        if "://" not in text:
            file = Path(os.path.abspath(text))
            return cls(URL.create("sqlite+pysqlite", database=str(file)), file, file.parent)
        try:
            url = make_url(text)
        except (ArgumentError, ValueError):
            raise BookError("this is not a database URL", where="--book", remedy="write postgresql://USER@HOST/NAME") from None
        kind = url.drivername.split("+")[0]
        if kind == "sqlite" and url.database:
            return cls.of(url.database)
        if kind in _POSTGRES and url.database:
            return cls(url.set(drivername="postgresql+psycopg"), None, None)
        raise BookError(
            f"'{kind}' is not a kind of database the book can be in",
            where="--book",
            remedy="give a file, or postgresql://USER@HOST/NAME",
        )

    def __str__(self) -> str:
        if self.file is not None:
            return str(self.file)
        shown = self.url.set(drivername="postgresql").render_as_string(hide_password=True)
        return _SECRET_QUERY.sub(r"\1=***", shown)

    def path_of(self, path: Path) -> str:
        """How the book writes where a file lies: relative to its own folder where it lies below it, else absolute."""
        absolute = Path(os.path.abspath(path))
        if self.folder is not None and absolute.is_relative_to(self.folder):
            return absolute.relative_to(self.folder).as_posix()
        return absolute.as_posix()

    def file_at(self, path: str) -> Path:
        """The file behind what `path_of` wrote."""
        return Path(path) if self.folder is None else self.folder / path
