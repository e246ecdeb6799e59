"""Words that several printed pages share: states, arrangements, cautions. English here; other languages in `locale/`."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from rig.sheets.blocks import Tone

FOOT = "It advises and approves nothing: the maker's manual, local rules and qualified persons decide."
PAGE_OF = "page {page} of {pages}"

STATE: Mapping[str, str] = {
    "in_window": "IN WINDOW",
    "below": "BELOW",
    "above": "ABOVE",
    "undecided": "UNDECIDED",
    "no_reading": "NO READING",
    "no_window": "NOT JUDGED",
}
"""The word of a verdict, where it is the first thing to be read."""

STANDING: Mapping[str, str] = {
    "in_window": "in the window",
    "below": "too low",
    "above": "too high",
    "undecided": "undecided",
    "no_reading": "no reading",
    "no_window": "not judged",
    "no_choice": "no shim fits",
    "sensor_too_large": "sensor too large",
    "in_tolerance": "in tolerance",
    "not_recorded": "not recorded",
    "angle_below": "angle too small",
    "angle_above": "angle too large",
}
"""The same in a line or a table."""
TONE: Mapping[str, Tone] = {"in_window": "good", "below": "bad", "above": "bad"}

ARRANGEMENT: Mapping[str, str] = {
    "A": "one output held, the other turned, case free",
    "B": "case held, one output turned, the other free",
    "D": "one output held, case turned, the other free",
    "E": "one output held, turned at the pinion, the other free",
    "F": "without bevel pinions, case held, one pack only",
    "G": "case held, both outputs turned against each other",
    "V": "in the vehicle, one wheel on the floor, neutral",
    "V2": "in the vehicle, in gear, both wheels up",
}

CAUTIONS = (
    "Never run the engine in gear with one wheel raised: a limited-slip axle drives the car off its stands.",
    "Road test only after the oil fill and a look at every fastener; a final drive that fails can lock the wheels.",
    "Use the oil and additive named above: another oil changes the torque and can make the plates chatter.",
)


def known(job: Mapping[str, Any], name: str) -> list[Mapping[str, Any]]:
    """A list of the job; empty where it has none."""
    return [one for one in job.get(name) or () if isinstance(one, Mapping)]


def joined(*texts: object) -> tuple[str, ...]:
    """What is there of some texts."""
    return tuple(str(text) for text in texts if text not in (None, ""))


def day_of(moment: object) -> str | None:
    """The day of a moment in ISO 8601."""
    return None if not moment else str(moment)[:10]


def minute_of(moment: object) -> str:
    """Day and minute of a moment in ISO 8601."""
    return "–" if not moment else str(moment)[:16].replace("T", " ")


def additive_of(entry: Mapping[str, Any]) -> str | None:
    """The additive of an oil or a series; None where there is none, however that was said."""
    text = str(entry.get("additive") or "").strip()
    return None if text.casefold() in ("", "none", "-") else text


def all_of(texts: Iterable[str]) -> str:
    """Texts as one, or a dash."""
    return ", ".join(texts) or "–"
