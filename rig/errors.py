"""What goes wrong on this side, as sentences a technician can act on: the one tree of exceptions.

analysis.errors.BenchError          what is wrong, where, and what to do about it
    analysis: UnitError, WindowError                    a unit, a quantity or a window that could not be read
    drivers:  LineLostError, ProfileError, WireFileError, BacklogError
    here:     ArgumentError                             an option of the command line
              FileError (DocumentError), SettingsError, TraceFileError, MetadataError, CertificateError     files
              ConditionError, LanguageError, SheetError                          what was entered, a language, a printed page
"""

from __future__ import annotations

from analysis.errors import BenchError


class ArgumentError(BenchError):
    """An option that cannot be used as it was given."""


class SettingsError(BenchError):
    """A settings file that cannot be used; names file and key."""


class FileError(BenchError):
    """A file that cannot be opened or read."""


class DocumentError(FileError):
    """A document that cannot be used; names file, key, what was found and what is expected."""


class TraceFileError(BenchError):
    """A trace file that cannot be read or written."""


class MetadataError(BenchError):
    """A metadata document that cannot be used."""


class CertificateError(BenchError):
    """A certificate or a calibration that cannot be used."""


class ConditionError(BenchError):
    """A field of the conditions that cannot be read."""


class LanguageError(BenchError):
    """A language or its file that could not be read."""


class SheetError(BenchError):
    """A sheet that cannot be made here."""
