"""Files and texts as entries of the book: what is read, hashed and kept of each."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date, datetime, time
from enum import Enum
from pathlib import Path
from typing import Any

from analysis.errors import BenchError
from analysis.results import PullResult, Sensor
from analysis.units import to_si
from drivers.opening import ATTACHED, DOCUMENT, open_regular, read_bytes
from rig.book.book import Book, Draft
from rig.book.events import Kind
from rig.book.judging import CardWindows
from rig.book.reading import reading_document
from rig.book.record import Entry, JobRecord
from rig.errors import ArgumentError, BookError
from rig.files.document import from_values, values_of
from rig.files.metadata import KEY, SHORT_KEY, TraceInfo
from rig.files.pull_file import read_recording
from rig.files.trace_csv import METADATA, info_path
from rig.pack.card_window import believed_card
from rig.pack.pack_sheet import read_pack_document
from rig.refit.answers import answer
from rig.words.language import speaking

_CHUNK_BYTES = 1_000_000


def digest(path: Path) -> str:
    """SHA-256 of a file's bytes. Raises FileError or BookError."""
    summed = hashlib.sha256()
    with open_regular(path, ATTACHED) as file:
        try:
            while chunk := file.read(_CHUNK_BYTES):
                summed.update(chunk)
        except OSError as fault:
            raise BookError(f"cannot be read ({fault.strerror})", where=str(path), remedy="check path and rights") from fault
    return summed.hexdigest()


def tidy(text: str) -> str:
    """A text as the book keeps it: without blanks around, NUL and broken letters, which no database takes."""
    return text.replace("\0", "").encode("utf-8", "replace").decode("utf-8").strip()


def tidy_values(value: Any) -> Any:
    """JSON values of a TOML or JSON document, every text tidy; moments become ISO 8601 and what is no number text."""
    if isinstance(value, Mapping):
        return {tidy(str(key)): tidy_values(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [tidy_values(one) for one in value]
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    return tidy(value) if isinstance(value, str) else value


# -- pulls ------------------------------------------------------------------------------------------------------------------------


def pull_draft(path: Path, result: PullResult) -> Draft:
    """A recording that was read, as an entry: bytes of file and metadata, what it states, what was read. Raises BookError."""
    beside = info_path(path)
    files = [path, *([beside] if beside.is_file() else [])]
    content = {"files": file_list(files), "terms": stated_terms(path), "reading": reading_document(result)}
    return Kind.PULL, content, files


def read_pull_draft(path: Path, sensor_of: Callable[[TraceInfo], Sensor]) -> Draft:
    """A recording read from its file, as an entry. Raises FileError, DocumentError or BookError."""
    return pull_draft(path, read_recording(path, sensor_of).result)


def stated_terms(path: Path) -> dict[str, Any]:
    """What a recording's metadata states, unknown terms too; the calibration's functions stay in the file.

    The metadata was read by `read_recording` before, so that what cannot be used has been refused.
    """
    beside = info_path(path)
    if not beside.is_file():
        return {}
    document = values_of(read_bytes(beside, METADATA), str(beside), is_json=True)
    terms: dict[str, Any] = dict(tidy_values(document.get(KEY, document.get(SHORT_KEY, {}))))
    if isinstance(terms.get("calibration"), Mapping):
        terms["calibration"] = {key: value for key, value in terms["calibration"].items() if not isinstance(value, Mapping)}
    return terms


def same_pull(record: JobRecord, sha256: str) -> Entry | None:
    """The entry that holds the same bytes already."""
    return next((pull.entry for pull in record.pulls if pull.entry.files[0][1] == sha256), None)


class Outcome(Enum):
    """What became of a pull that was to be entered: it is new, its metadata was, or all was there."""

    NEW = "new"
    AMENDED = "amended"
    THERE = "there"


def enter_pull(book: Book, job: str, who: str, draft: Draft) -> tuple[JobRecord, Entry, Outcome]:
    """Enter a pull once; where its metadata has changed since (a reason not to count, an answer at the bench), that is entered.

    Returns
    -------
    tuple[JobRecord, Entry, Outcome]
        The record, the pull's entry, and what was done.

    Raises
    ------
    BookError, BookUnreachableError
        Where it cannot be entered.
    """
    _, content, files = draft
    sha256, outcome = content["files"][0]["sha256"], Outcome.THERE

    def once(record: JobRecord) -> Draft | None:
        nonlocal outcome
        there = same_pull(record, sha256)
        if there is None:
            outcome = Outcome.NEW
            return draft
        if list(there.content["files"]) == content["files"]:
            return None
        outcome = Outcome.AMENDED
        return Kind.AMENDED, {"entry": there.entry, "now": dict(content)}, files

    record = book.append(job, who, once)
    entry = same_pull(record, sha256)
    assert entry is not None
    return record, entry, outcome


# -- sheets and other files -------------------------------------------------------------------------------------------------------


def spec_draft(path: Path) -> Draft:
    """A spec card as an entry. Raises FileError or DocumentError; RefusedError where its page is misprinted."""
    card = _toml(path, "spec card")
    if from_values(card, CardWindows, str(path)).value.build is not None:
        believed_card(path)
    return Kind.SPEC, {"files": file_list([path]), "card": card}, [path]


def pack_draft(path: Path, spec: Path | None = None) -> Draft:
    """A pack sheet with what it was answered, as an entry; `spec` in place of a card where the sheet names none.

    Raises FileError, DocumentError or BookError.
    """
    sheet = _toml(path, "pack sheet")
    named = read_pack_document(path).value.pack.spec
    answered = pack_answer(path, spec if named is None else None)
    return Kind.PACK, {"files": file_list([path]), "sheet": sheet, "answer": answered}, [path]


SHIM_CHOICES_KEPT = 3
"""Of a pack sheet's answer so many choices stay with the entry: what a person chose from."""
_OF_A_PACK = (
    "problems",
    "limits",
    "friction",
    "sensitivity_nm_per_mm",
    "feasible",
    "leave_alone",
    "pull_more",
    "reason",
    "why_not",
)


def pack_answer(path: Path, spec: Path | None) -> dict[str, Any] | None:
    """The part of a pack sheet's answer that the book keeps; None where it cannot be answered, as without a spec card."""
    from rig.pack.answering import answer_files
    from rig.pack.answers import answer_document

    try:
        answered = answer_files(path, spec)
    except BenchError:
        return None  # the sheet is history all the same; 'platepull shim' says what it lacks
    document = answer_document(str(path), answered)
    kept = {key: document[key] for key in _OF_A_PACK}
    chosen = document["candidates"][:SHIM_CHOICES_KEPT]
    found: dict[str, Any] = tidy_values({"basis": str(answered.window.window.basis), **kept, "candidates": chosen})
    return found


def refit_draft(path: Path) -> Draft:
    """A refit sheet with its answer as an entry. Raises FileError, RefitError or BookError."""
    sheet = _toml(path, "refit sheet")
    with speaking("en"):  # the record speaks English, whoever enters
        answered = answer(path)
    return Kind.REFIT, {"files": file_list([path]), "sheet": sheet, "answer": tidy_values(answered)}, [path]


def text_draft(
    kind: str,
    text: str,
    *,
    single_use: bool | None = None,
    batch: str | None = None,
    volume: str | None = None,
    additive: str | None = None,
    dose: str | None = None,
) -> Draft:
    """A part, an oil or a note as an entry. Raises ArgumentError where it says nothing, UnitError where a volume is none."""
    if not tidy(text):
        raise ArgumentError("there is nothing in it", where=kind, remedy="write what is to be entered")
    if kind == Kind.OIL and volume:
        to_si(volume, "volume")  # refuses what is none: it is printed on the customer's sheet
    part = {"single_use": bool(single_use), "batch": batch}
    oil = {"volume": volume, "additive": additive, "dose": dose}
    kinds: dict[Kind, dict[str, Any]] = {Kind.PART: part, Kind.OIL: oil, Kind.NOTE: {}}
    more = kinds[Kind(kind)]
    tidied = {key: tidy(value) or None if isinstance(value, str) else value for key, value in more.items()}
    return Kind(kind), {"text": tidy(text), **tidied}, []


def file_draft(kind: Kind, path: Path) -> Draft:
    """A photo or a certificate as an entry. Raises BookError."""
    return kind, {"files": file_list([path])}, [path]


def file_list(files: list[Path]) -> list[dict[str, str]]:
    """Names and SHA-256 of files, as an entry holds them. Raises BookError."""
    return [{"name": tidy(file.name), "sha256": digest(file)} for file in files]


def _toml(path: Path, name: str) -> dict[str, Any]:
    values: dict[str, Any] = tidy_values(values_of(read_bytes(path, replace(DOCUMENT, name=name)), str(path), is_json=False))
    return values
