"""Pulls entered afterwards in a job (`platepull job add NUMBER pull`), and what is to be said of an entry just made."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from rig.words.language import say
from rig.words.retold import fault_text

if TYPE_CHECKING:
    from rig.book.book import Book
    from rig.book.record import Entry, JobRecord
    from rig.settings import Settings


def add_pulls(book: Book, args: argparse.Namespace, settings: Settings, who: str, entered: list[int]) -> int:
    """Enter the recordings named; 2 where one could not be read. `entered` takes the numbers of the entries."""
    from analysis.errors import BenchError
    from rig.book.entries import Outcome, enter_pull, read_pull_draft
    from rig.commands._chosen import sensor_choice

    book.record(args.number)  # a wrong number is told before anything is read
    sensors = sensor_choice(args, settings)
    status = 0
    for name in args.files:
        path = Path(name)
        try:
            draft = read_pull_draft(path, sensors.of)
        except BenchError as error:
            note(f"platepull job: {' '.join(fault_text(error).split())}")
            status = 2
            continue
        record, entry, outcome = enter_pull(book, args.number, who, draft)
        if outcome is Outcome.NEW:
            entered.append(entry.entry)
            look_around(record)
            _point_out(book, record, entry, path)
        elif outcome is Outcome.AMENDED:
            note(say("{path}: is entry {entry} already; its metadata has changed, that is entered", path=path, entry=entry.entry))
        else:
            note(_already(entry, path))
    return status


def _already(entry: Entry, path: Path) -> str:
    text = say("{path}: is entry {entry} already, not entered again", path=path, entry=entry.entry)
    if entry.struck is not None:
        text += say(
            "; it was struck ({why}); to let it count, strike entry {entry}", why=entry.struck.why, entry=entry.struck.entry
        )
    return text


def look_around(record: JobRecord) -> None:
    """What is to be said of the entry just made: the clock went back, the job was closed."""
    closed = next((entry for entry in reversed(record.entries) if entry.kind == "closed" and entry.counts), None)
    if closed is not None and closed.entry < record.events:
        note(
            say(
                "job {job} was closed by {who} on {at}: entry {events} stands after the close and is told so; "
                "to open the job again, strike entry {entry}",
                job=record.job,
                who=closed.who,
                at=closed.at,
                events=record.events,
                entry=closed.entry,
            )
        )
    if record.clock_went_back:
        before, last = (entry.at for entry in record.entries[-2:])
        note(
            say(
                "the computer's clock stands at {last}, before the entry made at {before}: set it right; the entry stands",
                last=last,
                before=before,
            )
        )


def _point_out(book: Book, record: JobRecord, entry: Entry, path: Path) -> None:
    """What makes it doubtful that the pull belongs to this job."""
    from rig.book.judging import folded
    from rig.book.record import Pull

    for other, number in book.where_else(entry.files[0][1], record.job):
        note(
            say(
                "{path}: the same recording is entry {number} of job {other}; strike it where it does not belong",
                path=path,
                number=number,
                other=other,
            )
        )
    pull = Pull(entry)
    stated = pull.term("job")
    if stated and stated != record.job:
        note(say("{path}: its metadata says job {stated}; entered in {job} all the same", path=path, stated=stated, job=record.job))
    unit = pull.term("unit")
    if unit and folded(unit) != folded(record.unit):
        way_out = say("strike entry {entry} if it is a pull of another unit", entry=entry.entry)
        note(
            say(
                "{path}: its metadata says unit '{unit}', the job is of '{of_job}'; {way_out}",
                path=path,
                unit=unit,
                of_job=record.unit,
                way_out=way_out,
            )
        )


def note(line: str) -> None:
    """A line beside the answer."""
    print(line, file=sys.stderr)
