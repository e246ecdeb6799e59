"""Lines of an unknown device: which of them are looked at, and what they start with."""

from __future__ import annotations

import re
from collections import Counter
from typing import NamedTuple

from drivers.text import as_text, split_fields, without_status

MOST_LINES = 600
"""So many lines at most are looked at, evenly over the whole listening; what is counted off, at its beginning, line after line."""
# A mark or a word before the first number; a word may stand right before the number, where that shows a sign or decimals.
_TAG = re.compile(r"[$#!@>]+(?:[A-Za-z]\w*)?|[A-Za-z]{2,}(?=[\s,;])|[A-Za-z]+(?=[-+ ]*\d+[.,]\d)")
_STATUS = ("ST", "US", "OL", "GS", "NT", "TR")
"""What indicators put first: stable, unstable, overload, gross, net, tare (common practice, no source). It changes: no tag."""


class Lines(NamedTuple):
    """Lines as text: `spread` evenly over the listening, `first` one after the other, and `raw` the bytes of `spread`."""

    spread: list[str]
    first: list[str]
    raw: bytes

    @classmethod
    def of(cls, raw: list[bytes]) -> Lines:
        """What is looked at of all lines."""
        pace = max(1.0, len(raw) / MOST_LINES)
        chosen = [raw[int(at * pace)] for at in range(min(len(raw), MOST_LINES))]
        return cls([_text(line) for line in chosen], [_text(line) for line in raw[:MOST_LINES]], b"\n".join(chosen))


def _text(line: bytes) -> str:
    return as_text(line) or line.decode("utf-8", "replace")


class Start(NamedTuple):
    """What lines start with: a tag that tells them from others, or letters glued to the first number, a status that changes."""

    tag: str = ""
    glued: bool = False

    def fields(self, line: str, delimiter: str, *, check: bool) -> list[str] | None:
        """The fields behind it; None where the line does not start so."""
        line = line[:-3] if check else line
        if not line.startswith(self.tag):
            return None
        line = line[len(self.tag) :].strip()
        if self.tag:
            line = line.removeprefix(delimiter.strip()).strip()
        line = without_status(line) if self.glued else line
        return split_fields(re.sub(r"\s*[=:]\s*", "=", line) if delimiter == " " else line, delimiter)


def start_of(lines: list[str], delimiter: str) -> Start:
    """What most lines start with.

    A mark such as $TQ is a tag. A bare word may be a status (stable, overload ...), and with it as a tag every other state would
    be a gap: it is a tag only where lines of another make stand between, which it keeps out; else a field, or glued to the number.
    """
    words = [match.group() for line in lines if (match := _TAG.match(line))]
    word, count = Counter(words).most_common(1)[0] if words else ("", 0)
    if count <= 0.3 * len(lines):
        return Start()
    if not word[0].isalpha():
        return Start(tag=word)
    glued = [line for line in lines if without_status(line) != line]
    if len(glued) > 0.5 * len(lines):
        return Start(glued=True)
    size = Counter(len(split_fields(line, delimiter)) for line in lines if line.startswith(word)).most_common(1)[0][0]
    others = [line for line in lines if not line.startswith(word)]
    foreign = [line for line in others if len(split_fields(line, delimiter)) != size or not any(char.isdigit() for char in line)]
    return Start(tag=word if word not in _STATUS and foreign and len(foreign) > 0.5 * len(others) else "")
