"""A job as a folder for other programs, and back: JSON, the files themselves, CSV tables, Parquet of all samples.

job.json          `job show --json`, with `chain` (every entry as it is sealed) and `files` (where each lies in the folder)
traces/           the recordings with their metadata
files/            sheets, cards, photos
pulls.csv, ...    tables for a spreadsheet
samples.parquet   every sample of every recording (extra 'parquet')
"""

from __future__ import annotations

import csv
import io
import json
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path, PurePosixPath
from typing import Any, Final

import msgspec

from analysis.errors import BenchError
from drivers import opening
from rig.book.book import Book
from rig.book.documents import JobView, job_document
from rig.book.entries import digest
from rig.book.events import Event, Kind, chain_faults
from rig.book.index import is_number
from rig.book.record import JobRecord, record_of
from rig.errors import BookError, RefusedError
from rig.files.trace_csv import read_trace

DOCUMENT: Final = "job.json"
SAMPLES: Final = "samples.parquet"
FORMULA_MARKS: Final = ("=", "+", "-", "@", "\t", "\r")
"""A spreadsheet takes a text that begins so for a formula (contract BOOK.md 7)."""

_KIND: Final = opening.Kind("exported job", 500_000_000, 500_000_000, "name the folder of an export")


@dataclass(frozen=True, slots=True)
class Exported:
    """What was written: the folder, how many files were copied; what of the record does not hold, and what was left out."""

    folder: Path
    files: int
    amiss: tuple[str, ...]
    left_out: tuple[str, ...]


class FilePlace(msgspec.Struct, frozen=True):
    """Where a kept file lies in an export."""

    entry: int
    part: int
    name: str
    sha256: str
    path: str | None


class ChainEvent(msgspec.Struct, frozen=True):
    """An entry as it is sealed."""

    job: str
    number: int
    at_utc: str
    offset_min: int
    who: str
    kind: str
    body: str
    previous: str
    hash: str


class ExportedJob(msgspec.Struct, frozen=True):
    """What an import needs of `job.json`."""

    job: str
    chain: tuple[ChainEvent, ...]
    files: tuple[FilePlace, ...]


# -- out --------------------------------------------------------------------------------------------------------------------------


def export_job(book: Book, view: JobView, folder: Path) -> Exported:
    """Write a job, as it is shown, into a folder that is not there yet (or empty). The book is not changed.

    Raises
    ------
    BookError
        Where there is no such job, or the folder holds something or cannot be written.
    """
    record = view.record
    events = book.events(record.job)[: record.events]
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise BookError("is there already and not empty", where=str(folder), remedy="name a folder that is not there yet")
    draft = folder.with_name(folder.name + ".part")
    try:
        shutil.rmtree(draft, ignore_errors=True)
        draft.mkdir(parents=True)
        places, amiss = _copy_files(book, record, view.paths, draft)
        document = job_document(view)
        for name, rows in _tables(record, document).items():
            (draft / f"{name}.csv").write_bytes(table_bytes(rows))
        left_out = _write_samples(places, draft)
        whole = document | {"chain": [asdict(event) for event in events], "files": [msgspec.to_builtins(place) for place in places]}
        text = json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False)
        (draft / DOCUMENT).write_text(text + "\n", encoding="utf-8", newline="\n")
        if folder.exists():
            folder.rmdir()
        draft.rename(folder)
    except OSError as fault:
        raise BookError(
            f"cannot be written ({fault.strerror or fault})", where=str(folder), remedy="check rights and space"
        ) from fault
    return Exported(folder, sum(place.path is not None for place in places), tuple(amiss), tuple(left_out))


def _copy_files(
    book: Book, record: JobRecord, paths: Mapping[tuple[int, int], str], draft: Path
) -> tuple[list[FilePlace], list[str]]:
    """Copy every kept file, each under its own name; where two share one, in a folder of their entry."""
    places, amiss, taken = [], [], set[str]()
    for entry in record.entries:
        room = "traces" if entry.kind == Kind.PULL else "files"
        names = [PurePosixPath(name.replace("\\", "/")).name or "file" for name, _ in entry.files]
        inside = room if not taken & {f"{room}/{name}" for name in names} else f"{room}/{entry.entry:04d}"
        for part, (name, (told, sha256)) in enumerate(zip(names, entry.files, strict=True)):
            source = book.place.file_at(paths.get((entry.entry, part), ""))
            path: str | None = f"{inside}/{name}"
            taken.add(f"{inside}/{name}")
            if not source.is_file():
                amiss.append(f"entry {entry.entry}: {source} is not where the book says")
                path = None
            else:
                (draft / inside).mkdir(parents=True, exist_ok=True)
                shutil.copyfile(source, draft / f"{inside}/{name}")
                if digest(draft / f"{inside}/{name}") != sha256:
                    amiss.append(f"entry {entry.entry}: {source} is not the file that was entered")
            places.append(FilePlace(entry.entry, part, told, sha256, path))
    return places, amiss


def _tables(record: JobRecord, document: Mapping[str, Any]) -> dict[str, list[dict[str, Any]]]:
    lists = {name: list(document[name]) for name in ("pulls", "series", "parts", "oils", "notes", "steps")}
    lists["entries"] = [
        {
            "entry": entry.entry,
            "at": entry.at,
            "who": entry.who,
            "kind": str(entry.kind),
            "struck": None if entry.struck is None else entry.struck.why,
            "files": " ".join(name for name, _ in entry.files),
        }
        for entry in record.entries
    ]
    return lists


def table_bytes(rows: Sequence[Mapping[str, Any]]) -> bytes:
    """Rows as CSV (RFC 4180, UTF-8): no text is taken for a formula by a spreadsheet, numbers stay.

    >>> table_bytes([{"text": "=1+1", "torque_nm": -5.0, "made": True, "list": ["a", 2]}]).decode().splitlines()
    ['text,torque_nm,made,list', "'=1+1,-5.0,true,a 2"]
    """
    columns = list(dict.fromkeys(key for row in rows for key in row))
    file = io.StringIO(newline="")
    writer = csv.writer(file, lineterminator="\r\n")
    writer.writerow(columns)
    writer.writerows([_cell(row.get(column)) for column in columns] for row in rows)
    return file.getvalue().encode()


def _cell(value: object) -> str | int | float:
    if isinstance(value, bool):
        return "true" if value else "false"
    if value is None:
        return ""
    if isinstance(value, int | float):
        return value
    if isinstance(value, Mapping):
        value = json.dumps(value, ensure_ascii=False)
    elif isinstance(value, list | tuple):
        value = " ".join(str(_cell(one)) for one in value)
    text = str(value)
    return f"'{text}" if text.startswith(FORMULA_MARKS) else text


def _write_samples(places: Sequence[FilePlace], draft: Path) -> list[str]:
    """Every sample as it was recorded, in SI; what could not be written, a sentence each."""
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ModuleNotFoundError:
        return [f"{SAMPLES} is left out: it needs pyarrow (pip install 'platepull[parquet]')"]
    kinds = {"entry": pa.int32(), "trace": pa.string()} | {name: pa.float64() for name in ("time_s", "torque_nm", "angle_deg")}
    schema = pa.schema(list(kinds.items()))
    amiss = []
    with pq.ParquetWriter(draft / SAMPLES, schema) as writer:
        for place in places:
            if place.part != 0 or place.path is None or not place.path.startswith("traces/"):
                continue
            try:
                trace, _ = read_trace(draft / place.path)
            except BenchError as error:
                amiss.append(f"entry {place.entry}: its samples cannot be read ({error.what})")
                continue
            count = len(trace)
            angle = pa.nulls(count, pa.float64()) if trace.angle_deg is None else pa.array(trace.angle_deg)
            columns = [pa.array([place.entry] * count, pa.int32()), pa.array([place.name] * count)]
            writer.write_table(pa.table([*columns, pa.array(trace.time_s), pa.array(trace.torque_nm), angle], schema=schema))
    return amiss


# -- and back ---------------------------------------------------------------------------------------------------------------------


def import_job(book: Book, folder: Path) -> JobRecord:
    """Take an exported job into the book, with number, entries and head as they are; its files stay in the folder.

    Raises
    ------
    BookError
        Where the folder is no export, or the number is there.
    RefusedError
        Where chain or files do not hold.
    """
    path = folder / DOCUMENT
    try:
        exported = msgspec.json.decode(opening.read_bytes(path, _KIND), type=ExportedJob)
    except msgspec.MsgspecError as fault:
        raise BookError(f"is not an exported job ({fault})", where=str(path), remedy="export it again") from None
    events = [Event(*msgspec.structs.astuple(event)) for event in exported.chain]
    if not is_number(exported.job) or not events or any(event.job != exported.job for event in events):
        raise BookError("holds no chain of one job", where=str(path), remedy="export it again")
    faults = [f"entry {number} {what}" for number, what in chain_faults(events)]
    if not faults:
        faults = _file_faults(record_of(events), exported, folder)
    if faults:
        raise RefusedError("the export does not hold", where=str(folder), remedy="export it again", lines=tuple(faults))
    places = {(place.entry, place.part): folder / place.path for place in exported.files if place.path is not None}
    return book.adopt(events, places)


def _file_faults(record: JobRecord, exported: ExportedJob, folder: Path) -> list[str]:
    """What the entries name and the folder does not hold as they name it."""
    places = {(place.entry, place.part): place for place in exported.files}
    faults = []
    for entry in record.entries:
        for part, (name, sha256) in enumerate(entry.files):
            place = places.get((entry.entry, part))
            if place is None or place.path is None or not _is_inside(place.path) or not (folder / place.path).is_file():
                faults.append(f"entry {entry.entry}: {name} is not in the folder")
            elif digest(folder / place.path) != sha256:
                faults.append(f"entry {entry.entry}: {name} is not the file that was entered")
    return faults


def _is_inside(path: str) -> bool:
    """Whether a path of an export stays in its folder."""
    pure = PurePosixPath(path)
    return not pure.is_absolute() and ".." not in pure.parts and "\\" not in path and ":" not in path
