"""The user's language: the code speaks English, other languages stand in `words/locale/*.po` (GNU gettext's format).

The .po files are read as they are at run time, so that no tool is needed at installation. `say("Waiting")` gives the
text in the language chosen by `speak`; `say("{n} pulls", n=3)` fills the braces after translating.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Iterator, Mapping
from contextvars import ContextVar
from functools import cache
from importlib import resources

from rig.errors import LanguageError

LANGUAGES = {"en": "English", "de": "Deutsch"}


_spoken = "en"
_for_now: ContextVar[str | None] = ContextVar("language for now", default=None)
"""What is spoken within `speaking`, in its thread alone."""


def spoken() -> str:
    """Code of the language in use."""
    return _for_now.get() or _spoken


def speak(code: str) -> None:
    """Use this language from now on. Raises LanguageError if there is none such."""
    global _spoken
    _table(code)
    _spoken = code


@contextlib.contextmanager
def speaking(code: str) -> Iterator[None]:
    """Use this language within the block, in this thread alone: what is written for programs is English, whoever looks on."""
    _table(code)
    token = _for_now.set(code)
    try:
        yield
    finally:
        _for_now.reset(token)


def say(text: str, /, **parts: object) -> str:
    """`text` in the user's language, its braces filled."""
    words = _table(spoken()).get(text, text)
    return words.format(**parts) if parts else words


def say_n(one: str, many: str, n: int, /, **parts: object) -> str:
    """The text for one or for `n`, in the user's language; English and German both tell one from all else (gettext's n != 1)."""
    return say(one if n == 1 else many, n=n, **parts)


def number(value: float, digits: int, *, sign: bool = False) -> str:
    """A number with so many decimals and the language's decimal mark; a true minus."""
    text = f"{value:{'+' if sign else ''}.{digits}f}"
    if float(text) == 0:
        text = f"{0:.{digits}f}"
    return in_language(text.replace("-", "−"))


def in_language(figures: str) -> str:
    """A number as text with the language's decimal mark."""
    return figures.replace(".", ",") if spoken() == "de" else figures


@cache
def _table(code: str) -> Mapping[str, str]:
    if code not in LANGUAGES:
        raise LanguageError(f"there is no language '{code}'", remedy=f"choose one of {', '.join(LANGUAGES)}")
    return {} if code == "en" else catalogue(code)


@cache
def catalogue(code: str) -> Mapping[str, str]:
    """All texts of one language: English to translated."""
    path = resources.files("rig.words") / "locale" / f"{code}.po"
    try:
        return read_po(path.read_text(encoding="utf-8"), f"{code}.po")
    except OSError as fault:
        raise LanguageError(f"the file of language '{code}' is missing", remedy="install platepull again") from fault


def read_po(text: str, name: str) -> dict[str, str]:
    """Read the msgid/msgstr pairs of a .po file; a pair without translation is left out. Raises LanguageError with the row."""
    pairs: dict[str, str] = {}
    entry = {"msgid": "", "msgstr": ""}
    field = ""

    def close() -> None:
        if entry["msgid"] and entry["msgstr"]:
            pairs[entry["msgid"]] = entry["msgstr"]

    for row, line in enumerate(text.splitlines(), start=1):
        stripped = line.strip()
        if not stripped or stripped.startswith("#"):
            continue
        word, _, rest = stripped.partition(" ")
        if word == "msgid":
            close()
            entry = {"msgid": "", "msgstr": ""}
        if word in entry:
            field, quoted = word, rest.strip()
        else:
            quoted = stripped
        try:
            bare = quoted[1:-1]
            plain = quoted == f'"{bare}"' and '"' not in bare and "\\" not in bare
            entry[field] += bare if plain else json.loads(quoted)  # a .po file quotes as JSON does
        except (KeyError, ValueError, TypeError) as fault:
            raise LanguageError("not a line of a .po file", where=f"{name}, row {row}", remedy="correct the row") from fault
    close()
    return pairs
