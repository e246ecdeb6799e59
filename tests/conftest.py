"""For every test: no thread of ours may outlive it; outside data that must be there in CI."""

import os
import threading
import time
from pathlib import Path

import pytest

_SHARED = Path(__file__).resolve().parents[2] / "shared" / "data"


@pytest.fixture(autouse=True)
def threads():
    """Fails a test that leaves a thread of ours running; answers with the names of those that run now."""
    before = set(threading.enumerate())

    def ours():
        return [one for one in threading.enumerate() if one not in before and one.name.startswith("platepull") and one.is_alive()]

    yield lambda: [one.name for one in ours()]
    patience = time.monotonic() + 2.0
    while ours() and time.monotonic() < patience:
        for one in ours():
            one.join(0.05)
    assert not ours(), f"threads left running: {[one.name for one in ours()]}"


@pytest.fixture(scope="session")
def outside_data():
    """Folder of open data that is not part of the project. Absent: the test is skipped, but never in CI."""
    if not _SHARED.is_dir():
        if os.environ.get("CI") == "true":
            pytest.fail("the outside data is absent in CI")
        pytest.skip("the outside data (../shared/data beside the project) is not on this machine")
    return _SHARED
