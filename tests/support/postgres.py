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
    """A running server; gives its address as a URL without a database. Without a server installed: skip, or fail where CI=true."""
    found = programs()
    if found is None:
        reason = "no PostgreSQL server is installed here: apt-get install postgresql"
        if os.environ.get("CI", "").lower() == "true":
            pytest.fail(reason)
        pytest.skip(reason)
    folder = Path(tempfile.mkdtemp(prefix="pp_pg_"))  # short: a socket's path may hold some hundred letters only
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
            yield f"postgresql://{SERVER_USER}@/NAME?host={folder}"
        finally:
            run("pg_ctl", "-w", "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def fresh_database(server: str, name: str) -> str:
    """A new, empty database on the server; its URL."""
    import psycopg

    with psycopg.connect(server.replace("/NAME?", "/postgres?"), autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}" TEMPLATE template0')  # type: ignore[call-overload]
    return server.replace("/NAME?", f"/{name}?")
