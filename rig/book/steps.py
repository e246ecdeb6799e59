"""The steps of a rebuild: a list of our own (`steps.toml`) that a shop can replace by a file of the same form."""

from __future__ import annotations

import difflib
import functools
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, Final

from rig.files.document import from_values, read_document, to_values, values_of
from rig.files.fields import Closed, Name, Refusal, says

NEEDS: Final = (
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

_STEP_NEED: Final = "step:"


class Step(Closed, frozen=True):
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

    key: Annotated[Name, says('a short name such as "seals"')]
    name: Annotated[Name, says('what is done, such as "Fit the seals"')]
    one_way: bool = False
    needs: tuple[str, ...] = ()
    write_down: str = ""
    name_de: str = ""
    write_down_de: str = ""

    def __post_init__(self) -> None:
        for need in self.needs:
            if need not in NEEDS and not need.startswith(_STEP_NEED):
                near = difflib.get_close_matches(need, NEEDS, 1)
                known = f"{', '.join(NEEDS)} or step:KEY"
                raise Refusal("needs", f"names '{need}'" + (f", did you mean '{near[0]}'?" if near else ""), known)

    def document(self) -> dict[str, Any]:
        """As it stands in the opening of a job."""
        document: dict[str, Any] = to_values(self)
        return document

    @classmethod
    def of(cls, document: Mapping[str, Any]) -> Step:
        """From `document()` of any version: keys that are not known are left out. Raises DocumentError."""
        return from_values({key: value for key, value in document.items() if key in cls.__struct_fields__}, cls, "step").value

    @property
    def steps_before(self) -> tuple[str, ...]:
        """Keys of the steps that must be done before."""
        return tuple(need.removeprefix(_STEP_NEED) for need in self.needs if need.startswith(_STEP_NEED))


class StepList(Closed, frozen=True):
    """The document: the steps in their order."""

    step: Annotated[tuple[Step, ...], says("[[step]] with key and name for each step")]

    def __post_init__(self) -> None:
        keys = [step.key for step in self.step]
        if not keys:
            raise Refusal("step", "an empty list", "[[step]] with key and name for each step")
        for step in self.step:
            if keys.count(step.key) > 1:
                raise Refusal("step", f"'{step.key}' stands twice", "a key of its own for each step")
            for other in step.steps_before:
                if other not in keys:
                    raise Refusal("step", f"'{step.key}' needs '{other}', which is no step", f"one of {', '.join(keys)}")


@functools.cache
def own_steps() -> tuple[Step, ...]:
    """The list that comes with the program."""
    data = resources.files("rig.book").joinpath("steps.toml").read_bytes()
    return from_values(values_of(data, "steps.toml", is_json=False), StepList, "steps.toml").value.step


def read_steps(path: Path) -> tuple[Step, ...]:
    """The list in a file. Raises FileError or DocumentError."""
    return read_document(path, StepList, "list of steps").value.step
