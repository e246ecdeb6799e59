"""A child that enters notes in a book as quickly as it can, and is killed at some instant."""

from __future__ import annotations

import itertools
import os
import signal
import time

from support.jobs import START

from rig.book.book import Book
from rig.book.events import Kind
from rig.book.place import Place


def confirmed_by_a_killed_child(url: str, job: str, name: str, *, after: int, wait_s: float) -> list[str]:
    """Texts of the notes whose entry the child had confirmed when it was killed, `wait_s` after the one numbered `after`.

    The child is a fork: it starts at once, with everything imported, so that the kill meets its work and not its start.
    """
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(reader)
            with Book(Place.of(url), lambda: START) as book:
                os.write(writer, b"\n")
                for number in itertools.count():
                    text = f"{name}.{number}"
                    book.append(job, "T.W.", lambda _, text=text: (Kind.NOTE, {"text": text}, []))
                    os.write(writer, f"{text}\n".encode())
        finally:
            os._exit(1)
    os.close(writer)
    try:
        told = b""
        while told.count(b"\n") <= after and (part := os.read(reader, 65536)):
            told += part
        time.sleep(wait_s)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        while part := os.read(reader, 65536):
            told += part
    finally:
        os.close(reader)
    return told.decode().split()
