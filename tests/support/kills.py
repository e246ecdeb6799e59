"""Children of the test that use a book: several at once, or one that is killed at some instant.

A child is a fork: it starts at once, with everything imported.
"""

from __future__ import annotations

import itertools
import json
import os
import signal
import time
import traceback
from collections.abc import Callable

from support.jobs import START

from rig.book.book import Book
from rig.book.events import Kind
from rig.book.place import Place


def confirmed_by_a_killed_child(url: str, job: str, name: str, *, after: int, wait_s: float) -> list[str]:
    """Texts of the notes whose entry the child had confirmed when it was killed, `wait_s` after the one numbered `after`.

    With everything imported in a fork, the kill meets its work and not its start.
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


def at_once(acts: list[Callable[[], list[str]]]) -> list[list[str]]:
    """Run each act in a child of its own, all at the same time; what they return. Fails where one of them does."""
    children = []
    for act in acts:
        reader, writer = os.pipe()
        child = os.fork()
        if child == 0:
            try:
                os.close(reader)
                os.write(writer, json.dumps(act()).encode())
                os._exit(0)
            except BaseException:
                os.write(writer, traceback.format_exc().encode())
                raise
            finally:
                os._exit(1)
        os.close(writer)
        children.append((child, reader))
    told = []
    for child, reader in children:
        parts = []
        while part := os.read(reader, 65536):
            parts.append(part)
        os.close(reader)
        assert os.waitpid(child, 0)[1] == 0, b"".join(parts).decode()
        told.append(json.loads(b"".join(parts)))
    return told
