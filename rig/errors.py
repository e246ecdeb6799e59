"""What goes wrong on this side, as sentences a technician can act on: the one tree of exceptions.

analysis.errors.BenchError          what is wrong, where, and what to do about it
    analysis: UnitError, WindowError                    a unit, a quantity or a window that could not be read
    drivers:  LineLostError, FileError, WireFileError, BacklogError
    here:     ArgumentError                             an option of the command line
              DocumentError, TraceFileError, CertificateError     files
              ConditionError, LanguageError, GuideError, SheetError   what was entered, a language, a page of the guide, a sheet
              BookError                                   the job book, or a file for it, cannot be used as asked
                  BookUnreachableError                    it could not be opened, or went away: nothing was entered
              OutletError                                 standard output takes no more
              RefusedError                                a gate stands in the way, or a record does not hold
"""

from __future__ import annotations

from analysis.errors import BenchError
from drivers.errors import FileError


class ArgumentError(BenchError):
    """An option that cannot be used as it was given."""


class DocumentError(FileError):
    """A document that cannot be used; names file, key, what was found and what is expected. `missing_key`: the key it lacks."""

    def __init__(self, what: str, *, where: str = "", remedy: str = "", missing_key: str = "") -> None:
        super().__init__(what, where=where, remedy=remedy)
        self.missing_key = missing_key


class TraceFileError(FileError):
    """A trace file that cannot be read or written."""


class CertificateError(BenchError):
    """A certificate or a calibration that cannot be used."""


class ConditionError(BenchError):
    """A field of the conditions that cannot be read."""


class LanguageError(BenchError):
    """A language or its file that could not be read."""


class GuideError(BenchError):
    """A page or picture of the guide that there is not."""


class SheetError(BenchError):
    """A sheet that cannot be made here."""


class BookError(BenchError):
    """The job book, or a file for it, cannot be used as asked."""


class BookUnreachableError(BookError):
    """The book could not be opened, or went away: nothing was entered."""


class OutletError(BenchError):
    """Standard output takes no more: a full disk beneath a redirection."""


class RefusedError(BenchError):
    """A gate stands in the way, or a record does not hold; `lines` are the reasons, a line each."""

    def __init__(self, what: str, *, lines: tuple[str, ...] = (), where: str = "", remedy: str = "") -> None:
        super().__init__(what, where=where, remedy=remedy)
        self.lines = lines
