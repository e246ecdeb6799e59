"""What goes out to a terminal, a log or a message: no control characters, wherever they came from.

File names, cells, headings, units, device words and job names may hold escapes that repaint a terminal or hide a line. They are
filtered in this one place, at the streams themselves, so that nothing that is printed needs to think of it.
"""

from __future__ import annotations

import contextlib
import re
import sys
from collections.abc import Iterator
from typing import TextIO, cast

from rig.errors import OutletError

_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff]")
"""C0 but tab and line end, DEL, C1, other line ends, marks that turn the direction of writing round, halves of characters."""


def plain(text: str) -> str:
    r"""The text with every control character as it would be written in JSON: seen, and harmless; JSON stays the same JSON.

    >>> plain("pull" + chr(27) + "[2J")
    'pull\\u001b[2J'
    """
    return _CONTROL.sub(lambda found: f"\\u{ord(found.group()):04x}", text)


@contextlib.contextmanager
def _told() -> Iterator[None]:
    """What the system says of a stream that takes no more, as a sentence; a reader that has gone is no fault."""
    try:
        yield
    except BrokenPipeError:
        raise
    except OSError as fault:
        raise OutletError(f"the output cannot be written ({fault.strerror})", remedy="send it elsewhere, or make room") from fault


class _PlainStream:
    """A stream whose texts are filtered on their way out; all else is the stream beneath."""

    def __init__(self, beneath: TextIO) -> None:
        self.beneath = beneath

    def write(self, text: str) -> int:
        """Write what is left of it. Raises OutletError where it cannot be written, BrokenPipeError where its reader has gone."""
        with _told():
            self.beneath.write(plain(text))
        return len(text)

    def flush(self) -> None:
        """Send on what was written so far. Raises as `write`."""
        with _told():
            self.beneath.flush()

    def writelines(self, lines: list[str]) -> None:
        """Write several."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> object:
        return getattr(self.beneath, name)


@contextlib.contextmanager
def plain_outlets() -> Iterator[None]:
    """While it lasts, standard output and standard error let no control characters through."""
    before = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = (cast(TextIO, _PlainStream(stream)) for stream in before)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = before


def unfiltered(stream: TextIO) -> TextIO:
    """The stream beneath, for control characters of our own: a bell, a progress line."""
    return stream.beneath if isinstance(stream, _PlainStream) else stream
