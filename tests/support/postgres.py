"""A PostgreSQL server of our own for the tests: a fresh cluster on a Unix socket in a temporary folder, ended with the tests."""

from __future__ import annotations

import contextlib
import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

SERVER_USER = "postgres"
"""The server refuses to run as root; Debian's package brings this user."""


def programs() -> Path | None:
    """The folder of the newest server installed; None where there is none."""
    folders = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda folder: int(folder.parent.name))
    named = shutil.which("initdb")
    folders += [Path(named).resolve().parent] if named else []
    return next((folder for folder in reversed(folders) if (folder / "initdb").is_file() and (folder / "pg_ctl").is_file()), None)


@contextlib.contextmanager
def cluster() -> Iterator[str]:
    """A running server; gives the URL of its own database. Without a server installed: skip, or fail where CI=true."""
    found = programs()
    if found is None:
        reason = "no PostgreSQL server is installed here: apt-get install postgresql"
        if os.environ.get("CI", "").lower() == "true":
            pytest.fail(reason)
        pytest.skip(reason)
    memory = Path("/dev/shm")  # where there is one: what the tests write need not survive them
    # A short name: a socket's path may hold some hundred letters only.
    folder = Path(tempfile.mkdtemp(prefix="pp_pg_", dir=memory if memory.is_dir() else None))
    as_user = {}
    if os.geteuid() == 0:
        entry = pwd.getpwnam(SERVER_USER)
        os.chown(folder, entry.pw_uid, entry.pw_gid)
        as_user = {"user": entry.pw_uid, "group": entry.pw_gid, "extra_groups": []}

    def run(program: str, *words: str) -> None:
        subprocess.run(
            [str(found / program), "-D", str(folder / "data"), *words],
            check=True,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            stdin=subprocess.DEVNULL,
            cwd=folder,
            timeout=100,
            **as_user,
        )

    try:
        run("initdb", "-U", SERVER_USER, "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync")
        options = f"-k {folder} -c listen_addresses= -c fsync=off -c full_page_writes=off"
        run("pg_ctl", "-w", "-l", str(folder / "log"), "-o", options, "start")
        try:
            yield f"postgresql://{SERVER_USER}@/postgres?host={folder}"
        finally:
            run("pg_ctl", "-w", "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@contextlib.contextmanager
def fresh_place(server: str, name: str) -> Iterator[str]:
    """A new, empty place for a book on the server (a schema of its own, quicker than a database); its URL. Gone after the block."""
    import psycopg

    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f'CREATE SCHEMA "{name}"')  # type: ignore[call-overload]
        try:
            yield f"{server}&options=-csearch_path%3D{name}"
        finally:
            connection.execute(f'DROP SCHEMA "{name}" CASCADE')  # type: ignore[call-overload]
