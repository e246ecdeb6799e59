"""Every test of the book that asks for `book_url` runs twice: on a file and on a PostgreSQL server."""

import contextlib
import itertools

import pytest
from support.postgres import cluster, fresh_place

_numbers = itertools.count(1)


@pytest.fixture(scope="session")
def server():
    with cluster() as running:
        yield running


@pytest.fixture(params=["sqlite", "postgresql"])
def kind(request):
    return request.param


@pytest.fixture
def new_url(kind, request, tmp_path):
    """Makes books that are not there yet: each call names another."""
    if kind == "sqlite":
        yield lambda: str(tmp_path / f"book{next(_numbers)}.sqlite")
        return
    server = request.getfixturevalue("server")
    with contextlib.ExitStack() as tidy:
        yield lambda: tidy.enter_context(fresh_place(server, f"book{next(_numbers)}"))


@pytest.fixture
def book_url(new_url):
    return new_url()
