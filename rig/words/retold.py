"""Sentences that were made in English where nobody knows the user's language (drivers, checks, faults), told in that language.

The catalogue holds them with places, numbered or named: `nothing has arrived for {1} s`. What stands in one is retold in its turn.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache

from analysis.errors import BenchError
from rig.words.language import catalogue, in_language, say, spoken

PLACE = re.compile(r"\{(\w+)\}")
_UNITS = r"(?:s|ms|us|min|h|kHz|Hz|MB|N\.m|lbf\.ft|lbf\.in|kgf\.m|N|mm|in|m|deg|degC|degrees|%|l|times)"
_MEASURED = re.compile(rf"\{{(\w+)\}} {_UNITS}(?!\w)")
"""Places that hold a measured number; in others, such as a certificate's number, a point is no decimal mark."""
_WORD = re.compile("[^\\W\\d]{2,}")
FEWEST_WORDS = 3
"""Of its own, that a text with named places needs."""
_QUOTED = re.compile(r"'\{(\w+)\}'")
_SENTENCE_END = re.compile(r"(?<=[.!?]) (?=[A-Z])")
_ROW = re.compile(r"\brow (\d+)$")
_WITH_UNIT = re.compile(rf"[-+−]?\d+\.\d+ {_UNITS}")
"""What fills a place as a number with its unit."""


def retold(sentence: str) -> str:
    """The sentence in the user's language; as it is where the catalogue has none like it.

    A name before a colon is told apart, as in `torque: it comes back to rest after a pull`.
    """
    return sentence if spoken() == "en" else _retold(sentence, spoken())


def retold_each(text: str) -> str:
    """A text of several sentences, each retold."""
    return " ".join(retold(sentence) for sentence in _SENTENCE_END.split(text))


def fault_text(fault: BenchError) -> str:
    """A fault in one line, as `str` gives it, in the user's language."""
    where = _ROW.sub(lambda found: say("row {row}", row=found[1]), fault.where)
    what = f"{where}: {retold(fault.what)}" if where else retold(fault.what)
    return f"{what}; {retold(fault.remedy)}" if fault.remedy else what


def _retold(sentence: str, code: str) -> str:
    known, patterns = _catalogue(code)
    if sentence in known:
        return known[sentence]
    for least, english in patterns:
        if least in sentence and (found := _pattern(english).fullmatch(sentence)) is not None:
            return _fill(known[english], found, english, code)
    head, colon, tail = sentence.partition(": ")
    other = _retold(tail, code) if colon else tail
    return f"{_retold(head, code)}: {other}" if other != tail else sentence


def _fill(words: str, found: re.Match[str], english: str, code: str) -> str:
    measured, quoted = set(_MEASURED.findall(english)), set(_QUOTED.findall(english))

    def filled(place: re.Match[str]) -> str:
        text = found[f"_{place[1]}"]
        if place[1] in quoted:  # what was typed, a name, a word of the command line: as it stands
            return text
        # Thousands stand apart by a blank, which no language reads as a decimal mark.
        if place[1] in measured:
            return in_language(text.replace(",", " "))
        number, blank, unit = text.rpartition(" ")
        return f"{in_language(number)}{blank}{unit}" if _WITH_UNIT.fullmatch(text) else _retold(text, code)

    return PLACE.sub(filled, words)


@cache
def _catalogue(code: str) -> tuple[Mapping[str, str], list[tuple[str, str]]]:
    """All texts of a language, and those with numbered places, most words of their own first, each with its longest piece.

    That piece is looked for before the pattern is made: a thousand patterns take a second to make.
    """
    known = catalogue(code)
    own = {text: PLACE.sub("", text) for text in known if PLACE.search(text)}
    # A place with a name is filled before the text is said; such a text is known again only by words enough of its own.
    known_again = [text for text in own if "{1}" in text or len(_WORD.findall(own[text])) >= FEWEST_WORDS]
    with_places = sorted(known_again, key=lambda text: -len(own[text]))
    return known, [(max(PLACE.split(text)[::2], key=len), text) for text in with_places]


@cache
def _pattern(text: str) -> re.Pattern[str]:
    pieces: list[str] = []
    for at, part in enumerate(PLACE.split(text)):
        place = f"(?P<_{part}>.+?)"
        pieces.append(re.escape(part) if at % 2 == 0 else f"(?P=_{part})" if place in pieces else place)
    return re.compile("".join(pieces), re.DOTALL)
