"""The arrangements of a pull: their codes in words, and what happens to each part, for the pictures of window and printed pages."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from rig.words.language import say


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


@dataclass(frozen=True, slots=True)
class Arrangement:
    """Who is held and who turns (`code` after the trade notes' table), in words; `factor` is reading over torque of one equal pack.

    Source of the factors: energy balance of the bevel gears (torque times speed in equals friction torque times slip out).
    """

    code: str
    what: str
    factor: str


ARRANGEMENTS = (
    Arrangement("A", "one output held, the other turned, case free", "× 1"),
    Arrangement("B", "case held, one output turned, the other free", "× 2"),
    Arrangement("D", "one output held, case turned, the other free", "× 2"),
    Arrangement("E", "as D, but turned at the pinion", "× 2 / ratio + bearing drag"),
    Arrangement("F", "without bevel pinions, case held, one pack only", "× 1, one pack"),
    Arrangement("G", "case held, both outputs turned against each other", "× 1 a hand"),
    Arrangement("V", "in the vehicle, one wheel on the floor, neutral", "× 1 + drags"),
    Arrangement("V2", "in the vehicle, in gear, both wheels up", "× 2 + drags"),
)


def arrangement_text(code: str) -> str:
    """A code with its sentence, such as 'A (one output held, the other turned, case free)'."""
    found = next((one for one in ARRANGEMENTS if one.code == code.strip().upper()), None)
    return code if found is None else f"{found.code} ({say(found.what)})"
