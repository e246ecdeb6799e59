"""The job book under kill -9 at random instants: `python tests/speed/book_kills.py [--kills 500] [--postgres] [--seed 1]`.

A child enters notes as quickly as it can and tells each one that was confirmed; it is killed at a random instant. After every kill
the book is opened, verified, and every confirmed entry is looked for. Prints what was found; exit status 1 if anything was lost.
"""

from __future__ import annotations

import argparse
import contextlib
import random
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # before the tests: tests/rig is not rig

from support.jobs import START
from support.kills import confirmed_by_a_killed_child
from support.postgres import cluster

from rig.book.book import Book
from rig.book.events import Kind
from rig.book.place import Place
from rig.book.verify import verify


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--postgres", action="store_true", help="on a server of our own instead of a file")
    args = parser.parse_args()
    dice = random.Random(args.seed)
    began = time.perf_counter()
    with contextlib.ExitStack() as tidy:
        folder = tidy.enter_context(tempfile.TemporaryDirectory())
        url = tidy.enter_context(cluster()).url if args.postgres else f"{folder}/book.sqlite"
        confirmed = lost = broken = beyond = 0
        job = ""
        for number in range(args.kills):
            if number % 25 == 0:  # a new job now and then: long chains would only make the search longer
                with Book(Place.of(url), lambda: START) as book:
                    job, seen = book.open_job({"unit": "demo", "steps": []}, "T.W.").job, set[str]()
            told = confirmed_by_a_killed_child(url, job, str(number), after=dice.randrange(4), wait_s=dice.uniform(0.0, 0.05))
            seen |= set(told)
            with Book(Place.of(url), lambda: START) as book:
                there = {entry.content["text"] for entry in book.record(job).of(Kind.NOTE)}
                broken += not verify(book, job).holds
            confirmed += len(told)
            lost += len(seen - there)
            beyond += len({text for text in there if text.split(".")[0] == str(number)}) - len(told)
    where = "PostgreSQL" if args.postgres else "SQLite"
    print(f"{where}: {args.kills} kills, {confirmed} confirmed entries, {lost} lost, {broken} times the book did not hold;")
    print(f"{beyond} entered whose word did not get out before the kill; {time.perf_counter() - began:.0f} s")
    return 1 if lost or broken else 0


if __name__ == "__main__":
    sys.exit(main())
