"""The arrangements of a pull: what happens to each part, for the pictures of window and printed pages."""

from __future__ import annotations

from typing import NamedTuple


class Scene(NamedTuple):
    """What happens to the left output, the right output and the case: held, turned, back (turned the other way) or free."""

    left: str
    right: str
    case: str
    extra: str = ""


SCENES = {
    "A": Scene("turned", "held", "free"),
    "B": Scene("turned", "free", "held"),
    "D": Scene("free", "held", "turned"),
    "E": Scene("free", "held", "free", "pinion"),
    "F": Scene("turned", "free", "held", "one pack"),
    "G": Scene("turned", "back", "held"),
    "V": Scene("turned", "floor", "free", "wheels"),
    "V2": Scene("turned", "free", "held", "wheels"),
}
