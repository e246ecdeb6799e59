"""The steps of a rebuild: a list of our own (`steps.toml`) that a shop can replace by a file of the same form."""

from __future__ import annotations

import difflib
import functools
import tomllib
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from importlib import resources
from pathlib import Path
from typing import Any

from rig.errors import StepsError

NEEDS = (
    "spec_card",
    "after_pack_change",
    "closure",
    "pulls_each_way",
    "arrangement",
    "oil",
    "calibration",
    "verdict",
    "chatter",
    "fasteners",
    "drag",
    "backlash",
)
"""What a step may need, in the order in which it is told; beside these `step:KEY`, another step done before."""

_STEP_NEED = "step:"
_KEYS = ("key", "name", "name_de", "one_way", "needs", "write_down", "write_down_de")


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A step of a rebuild.

    Parameters
    ----------
    key
        Its fixed name in commands and documents.
    name, name_de
        What is done, in a line; German where the list has it.
    one_way
        Whether it cannot be undone without new parts or a second strip-down; such a step is refused while a need is missing.
    needs
        Codes of `NEEDS`, or 'step:KEY'.
    write_down, write_down_de
        What is to be noted at this step because nobody can find it out later.
    """

    key: str
    name: str
    one_way: bool = False
    needs: tuple[str, ...] = ()
    write_down: str = ""
    name_de: str = ""
    write_down_de: str = ""

    def document(self) -> dict[str, Any]:
        """As it stands in the opening of a job."""
        return {key: list(value) if isinstance(value, tuple) else value for key, value in asdict(self).items()}

    @classmethod
    def of(cls, document: Mapping[str, Any]) -> Step:
        """From `document()`; keys that are not known are left out."""
        known = {key: value for key, value in document.items() if key in _KEYS}
        return cls(**{**known, "needs": tuple(known.get("needs", ()))})

    @property
    def steps_before(self) -> tuple[str, ...]:
        """Keys of the steps that must be done before."""
        return tuple(need.removeprefix(_STEP_NEED) for need in self.needs if need.startswith(_STEP_NEED))


@functools.cache
def own_steps() -> tuple[Step, ...]:
    """The list that comes with the program."""
    return parse_steps(resources.files("rig.book").joinpath("steps.toml").read_text(encoding="utf-8"), "steps.toml")


def read_steps(path: Path) -> tuple[Step, ...]:
    """The list in a file. Raises StepsError."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as fault:
        raise StepsError(f"cannot be read ({fault})", where=str(path), mend="check path and rights") from fault
    return parse_steps(text, str(path))


def parse_steps(text: str, where: str) -> tuple[Step, ...]:
    """The list in a text of the form of `steps.toml`. Raises StepsError."""
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise StepsError(f"this is not TOML: {fault}", where=where, mend="correct that line; texts stand in quotes") from fault
    tables = document.get("step")
    if not isinstance(tables, list) or not tables:
        raise StepsError("holds no [[step]]", where=where, mend="give each step a [[step]] with key and name")
    steps: list[Step] = []
    for place, table in enumerate(tables, start=1):
        steps.append(_step(table, f"{where}: [[step]] {place}"))
    keys = [step.key for step in steps]
    for step in steps:
        if keys.count(step.key) > 1:
            raise StepsError(f"'{step.key}' stands twice", where=where, mend="give each step a key of its own")
        for other in step.steps_before:
            if other not in keys:
                raise StepsError(f"'{step.key}' needs '{other}', which is no step", where=where, mend=f"use {', '.join(keys)}")
    return tuple(steps)


def _step(table: object, where: str) -> Step:
    if not isinstance(table, dict):
        raise StepsError("is not a table", where=where, mend="write [[step]] and its keys below")
    for key, value in table.items():
        if key not in _KEYS:
            near = difflib.get_close_matches(key, _KEYS, 1)
            hint = f"did you mean '{near[0]}'?" if near else f"use {', '.join(_KEYS)}"
            raise StepsError(f"'{key}' is not known", where=where, mend=hint)
        kind = bool if key == "one_way" else list if key == "needs" else str
        if not isinstance(value, kind):
            form = {bool: "true or false", list: 'a list such as ["verdict"]', str: "text in quotes"}[kind]
            raise StepsError(f"'{key}' is off", where=where, mend=f"write {form}")
    for key in ("key", "name"):
        if not str(table.get(key, "")).strip():
            raise StepsError(f"'{key}' is missing", where=where, mend='write key = "seals" and name = "Fit the seals"')
    for need in table.get("needs", ()):
        if need not in NEEDS and not (isinstance(need, str) and need.startswith(_STEP_NEED)):
            near = difflib.get_close_matches(str(need), NEEDS, 1)
            hint = f"did you mean '{near[0]}'?" if near else f"use {', '.join(NEEDS)} or step:KEY"
            raise StepsError(f"'{need}' is not a need", where=where, mend=hint)
    return Step.of(table)
