"""For every test: no thread of ours may outlive it."""

import os
import threading
import time

import pytest
from hypothesis import settings

os.environ["LANGUAGE"] = "en"  # what is told is compared in English, whatever the language of the person who runs the tests

if "CI" not in os.environ:  # in CI hypothesis sets this by itself; a noisy machine is no failure
    settings.register_profile("noisy machine", deadline=None)
    settings.load_profile("noisy machine")


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
