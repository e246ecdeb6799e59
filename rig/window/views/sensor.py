"""What the sensor page shows of a task and of the checks, as finished texts. No Qt."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rig.words.language import say
from rig.words.retold import retold

if TYPE_CHECKING:
    from rig.doctor.checks import Found

MARKS = {"good": "good", "note": "to know", "in_the_way": "to fix"}
CHECKS = {
    "versions": "versions",
    "qt": "window",
    "ports": "ports",
    "settings": "settings",
    "device": "device profile",
    "certificate": "certificate",
    "config": "settings' folder",
    "data": "data folder",
    "out": "folder of the pulls",
    "room": "room on the disk",
    "clock": "clock",
    "book": "job book",
    "log": "log",
}
"""What the doctor calls its checks, for a person."""


def rows_of(found: Sequence[Found]) -> list[tuple[tuple[str, str, str], bool]]:
    """A row a check: how it stands, what was looked at, what was found and how to mend it; and whether it stands in the way."""
    rows = []
    for one in sorted(found, key=lambda one: one.standing != "in_the_way"):
        text = f"{retold(one.text)}\n→ {retold(one.remedy)}" if one.remedy else retold(one.text)
        rows.append(((say(MARKS[one.standing]), say(CHECKS.get(one.check, one.check)), text), one.standing == "in_the_way"))
    return rows


def summary_of(found: Sequence[Found]) -> str:
    """The outcome in one sentence."""
    wrong = sum(one.standing == "in_the_way" for one in found)
    if not found:
        return say("Ports, rights, folders, disk, clock, settings, device, job book: what stands in the way, and how to mend it")
    return say("nothing stands in the way") if not wrong else say("to fix: {n}", n=wrong)
