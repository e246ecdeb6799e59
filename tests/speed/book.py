"""The job book at size: `python tests/speed/book.py [--jobs 10000] [--pulls 20] [--postgres]`.

Makes a book of so many jobs with so many pulls each (readings as a bench gives them, no recordings), then measures what a window
asks of it: list, search, job page, each against the bare query behind it; and what entering a pull costs after its verdict.
Medians of several runs, in milliseconds.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import random
import statistics
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # before the tests: tests/rig is not rig

import sqlalchemy as sa
from support.jobs import CARD, OIL, START, TERMS, reading, write_pull
from support.postgres import cluster

from rig.book import schema
from rig.book.book import Book, take_number, write_rows
from rig.book.documents import job_document, view_of
from rig.book.entries import enter_pull, pull_draft
from rig.book.events import FIRST_PREVIOUS, Event, Kind, sealed
from rig.book.index import rows_of
from rig.book.place import Place
from rig.book.record import record_of
from rig.book.steps import own_steps
from rig.files.metadata import TraceInfo
from rig.files.pull_file import read_recording

CUSTOMERS = ("invented garage", "invented club", "invented racer", "invented farm")
RUNS = 9


def chain(job: str, pulls: int, dice: random.Random, steps: list[dict[str, object]]) -> list[Event]:
    """A job as a shop would have it: card, oil, pulls of two phases both ways, notes, steps, closed."""
    events: list[Event] = []

    def add(kind: Kind, content: dict[str, object]) -> None:
        previous = events[-1].hash if events else FIRST_PREVIOUS
        events.append(sealed(job, len(events) + 1, START, "T.W.", kind, content, previous))

    def file(name: str) -> dict[str, str]:
        return {"name": name, "sha256": hashlib.sha256(f"{job} {name}".encode()).hexdigest()}

    unit = f"unit {dice.randrange(3000)}"
    add(
        Kind.OPENED,
        {"unit": unit, "customer": dice.choice(CUSTOMERS), "complaint": f"chatter {dice.randrange(99)}", "steps": steps},
    )
    add(Kind.SPEC, {"files": [file("spec.toml")], "card": CARD})
    add(Kind.OIL, {"text": OIL, "volume": None, "additive": None, "dose": None})
    for number in range(pulls):
        phase = "as found" if number < pulls // 2 else "rebuilt"
        level = 22.0 if phase == "as found" else 52.0
        terms = TERMS | {"phase": phase, "number": number}
        read = reading(level + dice.gauss(0, 1.5), 1 if number % 2 else -1)
        add(Kind.PULL, {"files": [file(f"p{number}.csv")], "terms": terms, "reading": read})
    add(Kind.NOTE, {"text": f"glitter on the magnet {dice.randrange(999)}"})
    if dice.random() < 0.95:
        add(Kind.CLOSED, {})
    return events


def fill(book: Book, jobs: int, pulls: int) -> None:
    dice = random.Random(1)
    steps = [step.document() for step in own_steps()]
    for first in range(1, jobs + 1, 200):
        with book.writing() as connection:
            for counter in range(first, min(first + 200, jobs + 1)):
                events = chain(f"2026-{counter:04d}", pulls, dice, steps)
                take_number(connection, events[0])
                connection.execute(
                    schema.events.insert(), [{name: getattr(one, name) for name in Event.__slots__} for one in events]
                )
                write_rows(connection, {}, rows_of(record_of(events)), lambda row: row["name"])


def median_ms(act: object, runs: int = RUNS) -> float:
    times = []
    for _ in range(runs):
        began = time.perf_counter()
        act()  # type: ignore[operator]
        times.append(1000 * (time.perf_counter() - began))
    return statistics.median(times)


def bare(book: Book, query: sa.Select[tuple[object, ...]]) -> None:
    with book.reading() as connection:
        connection.execute(query).fetchall()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=10_000)
    parser.add_argument("--pulls", type=int, default=20)
    parser.add_argument("--postgres", action="store_true", help="on a server of our own instead of a file")
    args = parser.parse_args()
    with contextlib.ExitStack() as tidy:
        folder = Path(tidy.enter_context(tempfile.TemporaryDirectory()))
        url = tidy.enter_context(cluster()).url if args.postgres else f"{folder}/book.sqlite"
        book = tidy.enter_context(Book(Place.of(url), lambda: START))
        began = time.perf_counter()
        fill(book, args.jobs, args.pulls)
        where = "PostgreSQL" if args.postgres else "SQLite"
        print(f"{where}: {args.jobs} jobs, {args.jobs * args.pulls} pulls, filled in {time.perf_counter() - began:.0f} s")
        job = f"2026-{args.jobs // 2:04d}"
        lines = sa.select(*(schema.jobs.c[name] for name in ("job", "unit", "customer", "complaint", "opened_at", "closed_at")))
        word = sa.select(schema.texts.c.job).where(schema.texts.c.folded.contains("magnet 77"))
        own = sa.select(*schema.events.c).where(schema.events.c.job == job)
        rows = [
            (
                "the newest 200 jobs",
                lambda: book.jobs(limit=200),
                lambda: bare(book, lines.order_by(schema.jobs.c.counter.desc()).limit(200)),
            ),
            ("open jobs", lambda: book.jobs(open_only=True), lambda: bare(book, lines.where(schema.jobs.c.closed_at.is_(None)))),
            ("all jobs", lambda: book.jobs(), lambda: bare(book, lines)),
            ("search of two words", lambda: book.jobs("magnet 77"), lambda: bare(book, word)),
            (
                "search of a unit",
                lambda: book.jobs("unit 1234"),
                lambda: bare(book, lines.where(schema.jobs.c.unit == "unit 1234")),
            ),
            ("job page", lambda: job_document(view_of(book.record(job), book.paths(job))), lambda: bare(book, own)),
        ]
        for name, act, query in rows:
            asked, floor = median_ms(act), median_ms(query)
            print(f"  {name:<22} {asked:7.1f} ms, bare query {floor:7.1f} ms, ratio {asked / floor:.1f}")
        recordings = [write_pull(folder, f"p{number}.csv", seed=number, peak_nm=52.0 + number / 10) for number in range(RUNS)]
        results = [read_recording(path, lambda info: TraceInfo.sensor(info, START.date())).result for path in recordings]
        pairs = iter(zip(recordings, results, strict=True))

        def enter() -> None:
            path, result = next(pairs)
            enter_pull(book, job, "T.W.", pull_draft(path, result))

        print(f"  {'entering a pull':<22} {median_ms(enter):7.1f} ms after its verdict, in a thread of its own")


if __name__ == "__main__":
    main()
