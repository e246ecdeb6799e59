"""Windows are tested without a screen, and what keeps files in a home of its own."""

import os

import pytest

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")


@pytest.fixture
def own_home(tmp_path, monkeypatch):
    """A home of the test's own: no setting, log or book of the person who runs it is read or written."""
    for name in ("HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME", "APPDATA", "LOCALAPPDATA"):
        monkeypatch.setenv(name, str(tmp_path / "home"))
