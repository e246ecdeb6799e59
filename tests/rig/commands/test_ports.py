"""`platepull ports`."""

from __future__ import annotations

import argparse

import pytest

from drivers import line
from drivers.line import PortInfo
from rig.commands import ports


@pytest.mark.parametrize(
    ("there", "expected"),
    [([], "No serial port is plugged in"), ([PortInfo("/dev/ttyUSB0", "invented converter")], "/dev/ttyUSB0  invented converter")],
)
def test_ports_says_what_is_plugged_in(
    there: list[PortInfo], expected: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(line, "list_ports", lambda: there)
    assert ports.run(argparse.Namespace()) == 0
    assert expected in capsys.readouterr().out
