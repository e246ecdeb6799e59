"""The one reader of documents: TOML and JSON files into typed values; every refusal one sentence: file, key, found, expected.

A document is a class; its fields are its keys (`rig.files.fields` has the classes of values):

    class Spring(Open, frozen=True, kw_only=True):
        id: Name
        thickness: LengthMm
        free_height: OneOrMany[LengthMm] = OneOrMany()
        curve: str | None = None

    class Pack(Open, frozen=True, kw_only=True):
        unit: Annotated[Name, says('the name of the unit, such as "demo 3"')]
        oil: Literal["plain", "modified"] = "plain"
        clearance: LengthRangeMm | None = None
        springs: tuple[Spring, ...] = ()

    sheet = read_document(path, Pack, "pack sheet").value
    sheet.springs[0].thickness          # 1.778, a float in mm
    sheet.springs[0].thickness.text     # '0.07 in', as typed

    DocumentError: PACK.toml, [springs 1]: key 'thickness' is 1.8; expected a length with its unit in quotes, such as "2.01 mm"

`Closed` documents refuse keys they do not know ('did you mean'). `Open` ones keep and ignore them; what is so near to a known key
that it was probably meant stands in `Read.hints`, a sentence each.

- `Name` is a text that is not blank, `Words` a text that may be written as a number, `Day` a day, quoted or not.
- `OneOrMany[T]` is a tuple that may be written without brackets; `tuple[T, ...]` wants them; `Literal[...]` offers words.
- `Annotated[int, between(1, 20)]` bounds a whole number or a number; `says("...")` puts what is expected into words.
- A class of your own: subclass `Quantity` (dimension, unit, bounds, `WORDS` that stand for a value, such as "free"), `RangeOf`, or
  `FromText` with a `parse` of its own that raises BenchError or ValueError.
- What holds between keys is checked in `__post_init__`, which raises `Refusal(key, found, expected)`.
- `x: T = msgspec.field(name="from")` gives a key another name than its field.
- The classes stand at the top of their module (msgspec looks their fields' types up there).

The example is run in tests/rig/files/test_document.py.
"""

from __future__ import annotations

import difflib
import math
import re
import tomllib
import typing
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Generic, TypeVar

import msgspec

from analysis.errors import BenchError, quoted
from analysis.units import LONGEST_TEXT
from drivers.opening import DOCUMENT, Kind, read_bytes
from rig.errors import DocumentError
from rig.files._document_words import Steps, another_kind, dotted, fields_of, hint, place_of, refused, unwrapped
from rig.files.fields import FromText, InsideError, OneOrMany, Refusal, found

T = TypeVar("T")

DEEPEST: Final = 20
"""No document of ours nests deeper than six; what does is no document."""
LONGEST_WORDS: Final = 10_000
"""Of one text in a document: a page and a half of remarks."""
_NEAR: Final = 0.82
"""How like a known key an ignored one is before it is hinted at (difflib's ratio): a letter in eight may differ."""
LARGEST_WHOLE: Final = 2**53
"""Beyond it a number no longer is the number that stands there."""


@dataclass(frozen=True, slots=True)
class Read(Generic[T]):
    """A document read. `hints` name keys that are ignored though they look like a known one; `unknown` are all that are ignored."""

    value: T
    hints: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()


def read_document(path: Path, kind: type[T], name: str = "document", *, if_missing: str = "check the path") -> Read[T]:
    """Read a document: JSON where the file is called so, else TOML.

    Parameters
    ----------
    path
        The file; read by `drivers.opening`.
    kind
        The class of the document.
    name
        What such a document is called, for messages.
    if_missing
        What to do where the file is not there.

    Raises
    ------
    FileError, DocumentError
        One sentence: file, key, what was found, what is expected.
    """
    is_json = path.suffix.lower() == ".json"
    data = read_bytes(path, Kind(name, DOCUMENT.most_bytes, DOCUMENT.most_bytes if is_json else DOCUMENT.longest_line, if_missing))
    content = values_of(data, str(path), is_json=is_json)
    try:
        return from_values(content, kind, str(path))
    except DocumentError:
        if other := another_kind(content, name):
            raise DocumentError(f"this is a {other}, a {name} is wanted", where=str(path), remedy=if_missing) from None
        raise


def values_of(data: bytes, where: str, *, is_json: bool) -> dict[str, Any]:
    """The values of a text in JSON or TOML, none of which is out of all bounds. Raises DocumentError."""
    name, remedy = ("JSON", "fix it") if is_json else ("TOML", "fix that line; texts stand in quotes")
    try:
        content = msgspec.json.decode(data) if is_json else tomllib.loads(data.decode("utf-8").replace("\r\n", "\n"))
    except RecursionError:
        raise DocumentError("is nested too deep", where=where, remedy="check that it is the right file") from None
    except UnicodeDecodeError as fault:
        raise DocumentError(
            f"is not a text file in UTF-8 (byte {fault.start})", where=where, remedy="save it as UTF-8 text"
        ) from fault
    except (ValueError, msgspec.MsgspecError) as fault:  # TOMLDecodeError, a number of thousands of digits
        raise DocumentError(f"this is not {name}: {_place(str(fault), data)}", where=where, remedy=remedy) from None
    if not isinstance(content, dict):
        raise DocumentError(f"holds {found(content)} and no keys", where=where, remedy="check that it is the right file")
    for path, value in _leaves(content):
        wrong = _out_of_all_bounds(value, len(path))
        if wrong:
            section, key = place_of(path)
            raise DocumentError(f"key '{key}' {wrong}", where=where + section, remedy="fix or remove it")
    return content


def from_values(content: object, kind: type[T], where: str) -> Read[T]:
    """The document of values that were read already, such as a part of another one. Raises DocumentError."""
    try:
        value = msgspec.convert(content, kind, dec_hook=_of_own_kind)
    except msgspec.ValidationError as fault:
        raise refused(fault, content, kind, where) from None
    unknown = list(_unknown(content, kind, ()))
    hints = [hint(path, near, where) for path, near in unknown if near]
    return Read(value, tuple(hints), tuple(dotted(path) for path, _ in unknown))


def to_values(document: object) -> Any:
    """A document as values of JSON; a quantity as it was typed. What has its default is left out only where its class says so."""
    return msgspec.to_builtins(document, enc_hook=lambda value: getattr(value, "text", None) or str(value))


def _place(fault: str, data: bytes) -> str:
    """The reader's complaint, with the line instead of the byte."""
    text = re.sub(r"; use sys\.set_int.*", "", fault)
    if match := re.search(r"\s*\(byte (\d+)\)", text):
        line = data.count(b"\n", 0, int(match.group(1))) + 1
        text = f"{text[: match.start()]} (at line {line})"
    said, at, place = text.removeprefix("JSON is malformed: ").rpartition(" (at ")  # a long complaint is cut, its line never
    return f"{quoted(said)[1:-1]}{at}{place}" if at else quoted(place)[1:-1]


def _leaves(content: object) -> Iterator[tuple[Steps, object]]:
    """Every value that holds no others, with its path; keys too, as texts. Without recursion, however deep it nests."""
    waiting: list[tuple[Steps, object]] = [((), content)]
    while waiting:
        path, value = waiting.pop()
        if len(path) > DEEPEST:
            yield path, value
        elif isinstance(value, dict):
            waiting.extend(((*path, key), inside) for key, inside in value.items())
            yield from (((*path, "..."), key) for key in value if not key.isprintable())
        elif isinstance(value, list):
            waiting.extend(((*path, at), inside) for at, inside in enumerate(value))
        else:
            yield path, value


def _out_of_all_bounds(value: object, depth: int) -> str:
    if depth > DEEPEST:
        return "is nested too deep"
    if isinstance(value, float) and not math.isfinite(value):
        return f"is {value}"
    if isinstance(value, int) and abs(value) > LARGEST_WHOLE:
        return "is a number beyond all bounds"
    if isinstance(value, str):
        if len(value) > LONGEST_WORDS:
            return f"is a text of {len(value)} characters"
        if "\0" in value or any("\ud800" <= char <= "\udfff" for char in value):
            return f"is {quoted(value)}, which holds a character that no text has"
    return ""


def _of_own_kind(kind: Any, value: Any) -> Any:
    """The hook of msgspec, which asks here for every class that is not its own."""
    origin = typing.get_origin(kind) or kind
    if origin is OneOrMany:
        of = typing.get_args(kind)[0]
        items = value if isinstance(value, list) else [value]
        try:
            return OneOrMany(msgspec.convert(items, tuple[of, ...], dec_hook=_of_own_kind))  # type: ignore[valid-type]
        except msgspec.ValidationError as fault:
            raise InsideError(str(fault)) from fault
    if isinstance(origin, type) and issubclass(origin, FromText):
        try:
            return origin.of(value)
        except Refusal:
            raise
        except (BenchError, ValueError) as fault:
            reason = _reason(fault.what if isinstance(fault, BenchError) else "", value)
            # That a table is a table is no news: what stands in it is wrong.
            what = "cannot be read" if reason and isinstance(value, dict) else f"is {found(value)}"
            raise Refusal("", what + reason, origin.EXPECTED) from fault
    raise NotImplementedError(f"no document can hold a {kind}")


def _reason(said: str, value: object) -> str:
    """A reason, unless it only says again what is expected anyway."""
    said = said.removeprefix(f"{found(value)} ").strip()
    return f": {said}" if said and not said.startswith("is not a number with") else ""


def _unknown(content: object, kind: Any, path: Steps) -> Iterator[tuple[Steps, str]]:
    """Keys that no field of the document reads, and the known key next to each, '' if none is near."""
    bare, _ = unwrapped(kind)
    origin = typing.get_origin(bare)
    if isinstance(content, list):
        of = (typing.get_args(bare) or (None,))[0]
        for at, value in enumerate(content):
            yield from _unknown(value, of, (*path, at))
    elif isinstance(content, dict) and origin is OneOrMany:
        yield from _unknown(content, typing.get_args(bare)[0], path)
    elif isinstance(content, dict) and (known := dict(fields_of(bare))):
        for key, value in content.items():
            if key in known:
                yield from _unknown(value, known[key], (*path, key))
            else:
                near = difflib.get_close_matches(
                    key[:LONGEST_TEXT], [name for name in known if name not in content], 1, cutoff=_NEAR
                )
                yield (*path, key), (near[0] if near else "")
