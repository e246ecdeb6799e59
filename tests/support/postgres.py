"""A PostgreSQL server of our own for the tests: a fresh cluster on a Unix socket in a temporary folder, ended with the tests."""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

SERVER_USER = "postgres"
"""The server refuses to run as root; Debian's package brings this user."""


def programs() -> Path | None:
    """The folder of the newest server installed; None where there is none."""
    folders = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda folder: int(folder.parent.name))
    named = shutil.which("initdb")
    folders += [Path(named).resolve().parent] if named else []
    return next((folder for folder in reversed(folders) if (folder / "initdb").is_file() and (folder / "pg_ctl").is_file()), None)


class Server:
    """A server of our own. `url` names its own database; `stop` ends it as a power cut would, `start` brings it back."""

    def __init__(self, programs: Path) -> None:
        self._programs = programs
        memory = Path("/dev/shm")  # where there is one: what the tests write need not survive them
        # A short name: a socket's path may hold some hundred letters only.
        self._folder = Path(tempfile.mkdtemp(prefix="pp_pg_", dir=memory if memory.is_dir() else None))
        self._as_user: dict[str, Any] = {}
        if os.geteuid() == 0:
            import pwd  # not there on Windows, where nobody is root

            entry = pwd.getpwnam(SERVER_USER)
            os.chown(self._folder, entry.pw_uid, entry.pw_gid)
            self._as_user = {"user": entry.pw_uid, "group": entry.pw_gid, "extra_groups": []}
        self.url = f"postgresql://{SERVER_USER}@/postgres?host={self._folder}"
        self._run("initdb", "-U", SERVER_USER, "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync")

    def start(self) -> None:
        options = f"-k {self._folder} -c listen_addresses= -c fsync=off -c full_page_writes=off"
        self._run("pg_ctl", "-w", "-l", str(self._folder / "log"), "-o", options, "start")

    def stop(self) -> None:
        self._run("pg_ctl", "-w", "-m", "immediate", "stop")

    def remove(self) -> None:
        shutil.rmtree(self._folder, ignore_errors=True)

    def _run(self, program: str, *words: str) -> None:
        subprocess.run(
            [str(self._programs / program), "-D", str(self._folder / "data"), *words],
            check=True,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            stdin=subprocess.DEVNULL,
            cwd=self._folder,
            timeout=100,
            **self._as_user,
        )


@contextlib.contextmanager
def cluster() -> Iterator[Server]:
    """A running server. Without one installed: skip, or fail where CI=true."""
    found = programs()
    if found is None:
        reason = "no PostgreSQL server is installed here: apt-get install postgresql"
        if os.environ.get("CI", "").lower() == "true":
            pytest.fail(reason)
        pytest.skip(reason)
    server = Server(found)
    try:
        server.start()
        try:
            yield server
        finally:
            with contextlib.suppress(subprocess.CalledProcessError):  # a test may have stopped it
                server.stop()
    finally:
        server.remove()


@contextlib.contextmanager
def fresh_place(server: Server, name: str) -> Iterator[str]:
    """A new, empty place for a book on the server (a schema of its own, quicker than a database); its URL. Gone after the block."""
    import psycopg

    with psycopg.connect(server.url, autocommit=True) as connection:
        connection.execute(f'CREATE SCHEMA "{name}"')  # type: ignore[call-overload]
        try:
            yield f"{server.url}&options=-csearch_path%3D{name}"
        finally:
            connection.execute(f'DROP SCHEMA "{name}" CASCADE')  # type: ignore[call-overload]
