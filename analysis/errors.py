"""The one root of all errors that a person can act on, and how a message quotes what it was given.

BenchError
    drivers.errors.LineLostError, FileError, BacklogError
    rig.errors.DocumentError, TraceFileError ...
"""

import re
from typing import Final

LONGEST_QUOTE: Final = 60
"""Characters of what was given that a message repeats."""
LONGEST_SENTENCE: Final = 600
"""Of each part of a message: a list of the units or keys that are known fits, a file that was taken for a name does not."""

_LONG_QUOTE = re.compile(rf"'([^']{{{LONGEST_QUOTE - 3}}})[^']{{4,}}'")


def quoted(text: str) -> str:
    """A text as a message may quote it: in quotes, without control characters, cut at `LONGEST_QUOTE`.

    >>> quoted("N.m" + chr(27))
    "'N.m?'"
    """
    plain = _printable(text[: LONGEST_QUOTE + 1])
    return f"'{plain[: LONGEST_QUOTE - 3]}...'" if len(plain) > LONGEST_QUOTE else f"'{plain}'"


def _printable(text: str) -> str:
    return text if text.isprintable() else "".join(char if char.isprintable() else " " if char in "\n\t" else "?" for char in text)


def _sentence(text: str) -> str:
    """A part of a message on one line: no control characters, quotes cut, and cut itself where all else failed."""
    text = _LONG_QUOTE.sub(r"'\1...'", _printable(text))
    return text if len(text) <= LONGEST_SENTENCE else f"{text[: LONGEST_SENTENCE - 3]}..."


class BenchError(Exception):
    """Something a technician can fix: what is wrong, where, and what to do about it.

    `str()` gives one line: "where: what; fix". Mistakes of ours (a wrong shape, a missing argument) are `ValueError`, not this.
    """

    def __init__(self, what: str, *, where: str = "", remedy: str = "") -> None:
        self.what = _sentence(what)
        self.where = _printable(where)
        self.remedy = _sentence(remedy)
        head = f"{self.where}: {self.what}" if where else self.what
        super().__init__(f"{head}; {self.remedy}" if remedy else head)


class UnitError(BenchError):
    """A unit or a quantity with a unit that could not be read."""
