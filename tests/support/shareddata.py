"""Where the measured open data lies, which is never copied here: absent, tests skip with a reason, but fail in CI."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


def shared_data(name: str) -> Path:
    """Folder `name` of the shared data: PLATEPULL_SHARED_DATA, else beside the project. Absent: skip, or fail where CI=true."""
    folder = Path(os.environ.get("PLATEPULL_SHARED_DATA") or ROOT.parent / "shared" / "data") / name
    if folder.is_dir():
        return folder
    reason = f"shared data '{name}' is not here: set PLATEPULL_SHARED_DATA to the folder that holds it"
    if os.environ.get("CI", "").lower() == "true":
        pytest.fail(reason)
    pytest.skip(reason)
