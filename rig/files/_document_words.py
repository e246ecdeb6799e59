"""The sentences of refused documents: what msgspec says, with file, section and key as a person counts, and what is expected."""

from __future__ import annotations

import dataclasses
import difflib
import re
import types
import typing
from collections.abc import Mapping
from datetime import date
from enum import Enum
from typing import Annotated, Any, Final, Literal, Union

import msgspec
from msgspec import Meta

from analysis.errors import quoted
from rig.errors import DocumentError
from rig.files.fields import Day, InsideError, OneOrMany, Refusal, found

MISSING: Final = "is missing"
Steps = tuple[str | int, ...]


def refused(fault: msgspec.ValidationError, content: object, kind: Any, where: str) -> DocumentError:
    """Say in a sentence what msgspec refused."""
    text = str(fault)
    # The path stands at the end; where a class of ours called again, the inner one before the outer one.
    steps: Steps = ()
    while match := re.search(r" - at `(\$[^`]*)`$", text):
        steps, text = (*steps, *_steps_of(match.group(1))), text[: match.start()]
    steps = _present(content, steps)
    cause: BaseException | None = fault
    while isinstance(cause, msgspec.ValidationError | InsideError):
        cause = cause.__cause__
    if isinstance(cause, Refusal):
        steps = (*steps, cause.key) if cause.key else steps
        expected = cause.expected if cause.key or not steps else _expected(kind, steps, cause.expected)
        lacks = cause.key if cause.found.startswith(MISSING) else ""
        return _sentence(kind, content, steps, cause.found, expected, where, missing_key=lacks)
    if isinstance(cause, ValueError | TypeError):
        section, _ = place_of((*steps, ""))
        return DocumentError(str(cause), where=where + section, remedy="fix or remove it")
    if match := re.match(r"Object missing required field `(.*)`", text):
        inside = _at(content, steps)
        names = [name for name in inside if isinstance(name, str)] if isinstance(inside, dict) else []
        known = {name for name, *_ in fields_of(_type_at(kind, steps))}
        near = difflib.get_close_matches(match.group(1), [name for name in names if name not in known], 1)
        what = MISSING + (f" (is {quoted(near[0])} meant for it?)" if near else "")
        path = (*steps, match.group(1))
        return _sentence(kind, content, path, what, _expected(kind, path), where, missing_key=match.group(1))
    if match := re.match(r"Object contains unknown field `(.*)`", text, re.DOTALL):
        known_names = [name for name, *_ in fields_of(_type_at(kind, steps))]
        near = difflib.get_close_matches(match.group(1), known_names, 1)
        what = "is not known" + (f", did you mean '{near[0]}'?" if near else "")
        return _sentence(kind, content, (*steps, match.group(1)), what, "one of " + ", ".join(known_names), where)
    value = _at(content, steps)
    near = difflib.get_close_matches(value, _choices(_type_at(kind, steps)), 1) if isinstance(value, str) else []
    what = f"is {found(value)}" + (f", did you mean '{near[0]}'?" if near else "")
    return _sentence(kind, content, steps, what, _expected(kind, steps, text), where)


def _sentence(
    kind: Any, content: object, steps: Steps, what: str, expected: str, where: str, *, missing_key: str = ""
) -> DocumentError:
    section, key = place_of(steps)
    is_table = isinstance(_at(content, steps), dict) or bool(fields_of(_type_at(kind, steps)))
    subject = "this" if not key else f"section [{key}]" if is_table and not section else f"key '{key}'"
    remedy = f"expected {expected}" if expected else ""
    return DocumentError(f"{subject} {what}", where=where + section, remedy=remedy, missing_key=missing_key)


MARKS: Final[Mapping[str, frozenset[str]]] = {
    "pack sheet": frozenset({"pack", "face"}),
    "spec card": frozenset({"window", "build"}),
    "profile": frozenset({"device"}),
    "list of steps": frozenset({"step"}),
}
"""What a document is by keys that it has and no other has."""
_ANY_MARK: Final[Mapping[str, frozenset[str]]] = {
    "refit sheet": frozenset({"bearing", "drag", "backlash", "fasteners", "fill"}),
    "shelf": frozenset({"shims"}),
}
"""One of these is enough, where none of the marks above is there."""


def another_kind(content: Mapping[str, Any], name: str) -> str:
    """The name of the document that was given in place of a `name`; '' where it is one, or nobody can tell."""
    looks_like = [kind for kind, keys in MARKS.items() if keys <= content.keys()]
    looks_like = looks_like or [kind for kind, keys in _ANY_MARK.items() if keys & content.keys()]
    known = name in MARKS or name in _ANY_MARK
    return looks_like[0] if known and looks_like and name not in looks_like else ""


_A_TABLE: Final = "a table of keys"


def place_of(steps: Steps) -> tuple[str, str]:
    """Section (', [springs 1]' or '') and key ('thickness', 'thickness 3') of a path; entries of a list count from 1."""
    names: list[str] = []
    for step in steps:
        if isinstance(step, int) and names:
            names[-1] += f" {step + 1}"
        else:
            names.append(quoted(str(step))[1:-1])
    # An entry of a list of values belongs to its key, one of a list of tables is a section of its own.
    section = ".".join(names[:-1])
    return (f", [{section}]" if section else ""), (names[-1] if names else "")


def dotted(steps: Steps) -> str:
    section, key = place_of(steps)
    return f"{section[3:-1]}.{key}" if section else key


def hint(steps: Steps, near: str, where: str) -> str:
    section, key = place_of(steps)
    return f"{where}{section}: key '{key}' is not known and ignored, did you mean '{near}'?"


def _steps_of(path: str) -> Steps:
    """The steps of a path of msgspec such as $.plates[0].thickness; '[...]' is a key of a mapping that it does not name."""
    return tuple(
        int(index) if index else key
        for index, key in re.findall(r"\[(\d+)\]|\.([^.\[]+)", path.removeprefix("$").replace("[...]", ".?"))
    )


def _present(content: object, steps: Steps) -> Steps:
    """The steps as they stand: a single value that may be a list has no entry."""
    kept: list[str | int] = []
    for step in steps:
        if isinstance(step, int) and not isinstance(_at(content, tuple(kept)), list):
            continue
        kept.append(step)
    return tuple(kept)


def _at(content: object, steps: Steps) -> object:
    """What stands at a path; None where nothing does."""
    for step in steps:
        if isinstance(content, dict):
            content = content.get(step)
        elif isinstance(content, list) and isinstance(step, int) and step < len(content):
            content = content[step]
        else:
            return None
    return content


def unwrapped(kind: Any) -> tuple[Any, list[Meta]]:
    """A type without its annotations and without None, and the annotations."""
    notes: list[Meta] = []
    while True:
        origin = typing.get_origin(kind)
        if origin is Annotated:
            notes += [note for note in kind.__metadata__ if isinstance(note, Meta)]
            kind = kind.__origin__
        elif origin in (Union, types.UnionType):
            kinds = [each for each in typing.get_args(kind) if each is not type(None)]
            if len(kinds) != 1:
                return kind, notes
            kind = kinds[0]
        else:
            return kind, notes


def fields_of(kind: Any) -> list[tuple[str, Any]]:
    """Keys of a document and their types."""
    bare, _ = unwrapped(kind)
    if isinstance(bare, type) and issubclass(bare, msgspec.Struct):
        return [(entry.encode_name, entry.type) for entry in msgspec.structs.fields(bare)]
    if dataclasses.is_dataclass(bare) and isinstance(bare, type):
        kinds = typing.get_type_hints(bare, include_extras=True)
        return [(entry.name, kinds[entry.name]) for entry in dataclasses.fields(bare)]
    return []


def _type_at(kind: Any, steps: Steps) -> Any:
    for step in steps:
        bare, _ = unwrapped(kind)
        if isinstance(step, str) and typing.get_origin(bare) is OneOrMany:
            bare, _ = unwrapped(typing.get_args(bare)[0])
        origin = typing.get_origin(bare)
        if isinstance(step, str):
            kind = typing.get_args(bare)[1] if origin in (dict, Mapping) else dict(fields_of(bare)).get(step)
        else:
            kind = (typing.get_args(bare) or (None,))[0]
    return kind


def _choices(kind: Any) -> list[str]:
    bare, _ = unwrapped(kind)
    if typing.get_origin(bare) is Literal:
        return [str(word) for word in typing.get_args(bare)]
    if isinstance(bare, type) and issubclass(bare, Enum):
        return [str(member.value) for member in bare]
    return []


_IN_WORDS: Final[Mapping[Any, str]] = {
    str: "a text in quotes",
    bool: "true or false",
    int: "a whole number",
    float: "a number",
    date: Day.EXPECTED,
    list: "a list",
    tuple: "a list",
    dict: _A_TABLE,
}


def _expected(kind: Any, steps: Steps, otherwise: str = "") -> str:
    """What is expected at a path, in words: as the field says, else as its class does."""
    said = ""
    for length in range(len(steps), -1, -1):  # an entry of a list is said by the list's field
        bare, notes = unwrapped(_type_at(kind, steps[:length]))
        said = next((note.description for note in notes if note.description), "")
        if said or not (length and isinstance(steps[length - 1], int)):
            break
    if said:
        return said
    bare, notes = unwrapped(_type_at(kind, steps))
    if words := _choices(bare):
        return "one of " + ", ".join(f'"{word}"' for word in words)
    if fields_of(bare):
        return _A_TABLE
    origin = typing.get_origin(bare) or bare
    if origin is OneOrMany:
        return f"{_in_words(typing.get_args(bare)[0])}, or a list of them"
    text = _IN_WORDS.get(origin) or getattr(bare, "EXPECTED", "") or otherwise
    low, high = (next((getattr(note, side) for note in notes if getattr(note, side) is not None), None) for side in ("ge", "le"))
    if low is not None and high is not None:
        text += f" from {low:g} to {high:g}" if max(abs(low), abs(high)) < 1e6 else f" from {low} to {high}"
    elif (over := next((note.gt for note in notes if note.gt is not None), None)) is not None:
        text += f" above {over:g}"
    elif low is not None or high is not None:
        text += f" of at least {low:g}" if low is not None else f" of at most {high:g}"
    return text


def _in_words(kind: Any) -> str:
    return _expected(kind, ())
