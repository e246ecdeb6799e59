"""A part of a refit as its page shows it: figures in large, how it stands, what to do, the bolts in their order. No Qt."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from analysis.errors import BenchError
from analysis.refit.fasteners import order_of_pass
from rig.errors import DocumentError
from rig.files.document import from_values
from rig.refit.answers import answer_of
from rig.refit.document import RefitSheet
from rig.window.refit_desk import RefitDesk
from rig.window.refit_form import BOLTS, Part, Texts, bolts_of
from rig.window.views.verdict import Tone
from rig.words.language import number, say
from rig.words.retold import fault_text

MOST_NAMED = 4
"""So many fields of an empty form are named; the others stand at the left anyway."""

LISTS = {"bearing": "bearings", "drag": "drags", "backlash": "backlashes", "fasteners": "fasteners", "fill": "fills"}
_WORDS: Mapping[str, tuple[str, Tone]] = {
    "in_window": ("in the window", Tone.GOOD),
    "below": ("too low", Tone.LOW),
    "above": ("too high", Tone.HIGH),
    "undecided": ("undecided", Tone.UNDECIDED),
    "no_reading": ("no reading", Tone.NONE),
    "no_choice": ("no shim fits", Tone.UNDECIDED),
    "sensor_too_large": ("sensor too large", Tone.UNDECIDED),
}


@dataclass(frozen=True, slots=True)
class BoltView:
    """A bolt of the circle: its number, its place in a pass, what it read, its tone, whether it is the next one to pull."""

    number: int
    place: int
    peak: str
    tone: Tone
    next: bool


@dataclass(frozen=True, slots=True)
class RefitView:
    """The answer to a part: its word and tone, figures, sentences; `refused` says what is still missing or off."""

    word: str
    tone: Tone
    figures: tuple[tuple[str, str], ...]
    sentences: tuple[str, ...]
    refused: str
    bolts: tuple[BoltView, ...]
    told: str
    """What to do now, while bolts are recorded."""


def refit_view(desk: RefitDesk, part: Part) -> RefitView:
    """Answer a part as it stands in its fields."""
    bolts, told = _bolts(desk) if part is BOLTS else ((), "")
    if not any(text.strip() for key, text in desk.texts[part.section].items() if key != "form") and not desk.traces:
        return RefitView(say("not yet"), Tone.NONE, (), (), _asked(part, desk.texts[part.section]), bolts, told)
    try:
        answered = answer_of(from_values(desk.sheet(part), RefitSheet, say(part.name)), say(part.name), desk.folder)
    except BenchError as fault:
        return RefitView(say("not yet"), Tone.NONE, (), (), _refused(part, fault), bolts, told)
    entry = answered[LISTS[part.section]][0]
    word, tone = _standing(entry)
    problems = tuple(str(problem["text"]) for problem in answered["problems"] if str(problem["text"]) not in entry["text"])
    if part is BOLTS and desk.run is None:
        bolts = _judged_bolts(entry)
    return RefitView(word, tone, _figures(part, entry), (str(entry["text"]), *problems), "", bolts, told)


def _asked(part: Part, texts: Texts) -> str:
    """What the empty form wants, in the words that stand beside its fields."""
    form = texts.get("form") or "gap"
    readings = [say(entry.name) for entry in part.readings if not entry.forms or form in entry.forms]
    stated = [say(entry.name) for entry in part.stated if not entry.choices and (not entry.forms or form in entry.forms)]
    words = "The answer stands here. It wants the readings ({readings}) and, at the left, what the maker's page states ({stated})."
    return say(words, readings=", ".join(readings), stated=", ".join(stated[:MOST_NAMED]) + (" …" if stated[MOST_NAMED:] else ""))


def _refused(part: Part, fault: BenchError) -> str:
    """What is still missing, by the name that stands beside its field; what cannot be read, as the reader of sheets says it."""
    missing = fault.missing_key if isinstance(fault, DocumentError) else ""
    entry = next((each for each in part.entries if missing and each.key == missing), None)
    if entry is not None:
        return say("still wanted: {what}", what=say(entry.name))
    return fault_text(fault)


def _standing(entry: Mapping[str, Any]) -> tuple[str, Tone]:
    if "complete" in entry:
        if any(bolt["state"] == "no_reading" for bolt in entry["bolts"]):
            return say("no reading"), Tone.NONE
        return (say("complete"), Tone.GOOD) if entry["complete"] else (say("not complete"), Tone.UNDECIDED)
    states = [entry.get(key) for key in ("state", "variation_state", "additive_state")]
    told = [state for state in states if state not in (None, "in_window", "in_tolerance")]
    if not told:
        return (say("in the window"), Tone.GOOD) if entry.get("state") else (say("no window stated"), Tone.NONE)
    words, tone = _WORDS.get(str(told[0]), (str(told[0]).replace("_", " "), Tone.UNDECIDED))
    return say(words), tone


def _figures(part: Part, entry: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    def mm(key: str, digits: int = 3) -> str:
        return "–" if entry.get(key) is None else f"{number(entry[key], digits)} mm"

    def nm(key: str) -> str:
        return "–" if entry.get(key) is None else f"{number(entry[key], 2)} N·m"

    match part.section:
        case "bearing":
            shims = " + ".join(number(size, 2) for size in entry["choice_mm"] or ()) or "–"
            spread = mm("expanded_u_mm")
            return (
                (say("measured"), mm("measured_mm")),
                (say("needed in all"), mm("needed_mm")),
                (say("fit"), f"{shims} mm"),
                (say("interference"), f"{mm('interference_mm')} ± {spread}"),
            )
        case "drag":
            turns = "" if entry.get("turns") is None else f"  ({say('{n} turns', n=entry['turns'])})"
            return (
                (say("drag"), f"{nm('mean_nm')} ± {nm('expanded_u_nm')}{turns}"),
                (say("variation in a turn"), nm("variation_nm")),
            )
        case "backlash":
            move = "–" if entry.get("move_mm") is None else f"{number(entry['move_mm'], 3, sign=True)} mm"
            return (
                (say("lowest … highest"), f"{mm('lowest_mm')} … {mm('highest_mm')}"),
                (say("mean"), mm("mean_mm")),
                (say("variation"), mm("variation_mm")),
                (say("shim to move to the side of more backlash"), move),
            )
        case "fasteners":
            stages = " / ".join(number(stage, 0) for stage in entry["stages_nm"])
            recorded = sum(bolt["peak_nm"] is not None for bolt in entry["bolts"])
            return (
                (say("stages"), f"{stages} N·m"),
                (say("recorded"), say("{n} of {all}", n=recorded, all=len(entry["bolts"]))),
            )
        case _:
            litres = "–" if entry.get("filled_l") is None else f"{number(entry['filled_l'], 2)} l"
            doses = [entry.get(key) for key in ("additive_added_l", "additive_wanted_l")]
            added, wanted = ("–" if dose is None else f"{number(1000 * dose, 0)} ml" for dose in doses)
            return (say("filled"), litres), (say("additive"), say("{added} of {wanted}", added=added, wanted=wanted))


_BOLT_TONES = {
    "in_tolerance": Tone.GOOD,
    "below": Tone.LOW,
    "angle_below": Tone.LOW,
    "above": Tone.HIGH,
    "angle_above": Tone.HIGH,
    "not_recorded": Tone.NONE,
    "no_reading": Tone.NONE,
}


def _judged_bolts(entry: Mapping[str, Any]) -> tuple[BoltView, ...]:
    place = {bolt: at for at, bolt in enumerate(entry["order"], start=1)}
    return tuple(
        BoltView(
            bolt["number"],
            place[bolt["number"]],
            "" if bolt["peak_nm"] is None else number(bolt["peak_nm"], 1),
            _BOLT_TONES[bolt["state"]],
            next=False,
        )
        for bolt in entry["bolts"]
    )


def _bolts(desk: RefitDesk) -> tuple[tuple[BoltView, ...], str]:
    """The circle as far as it is known: the pass under way, else the order alone."""
    run = desk.run
    if run is None:
        count = bolts_of(desk.texts[BOLTS.section])
        order = order_of_pass(count) if count else ()
        place = {bolt: at for at, bolt in enumerate(order, start=1)}
        return tuple(BoltView(bolt, place[bolt], "", Tone.NONE, next=False) for bolt in range(1, count + 1)), ""
    done = run.done
    place = {bolt: at for at, bolt in enumerate(done.order, start=1)}
    bolts = tuple(
        BoltView(
            at + 1,
            place[at + 1],
            "" if reading.peak_nm is None else number(reading.peak_nm, 1),
            _BOLT_TONES[str(state)],
            next=at + 1 == done.next_bolt,
        )
        for at, (reading, state) in enumerate(zip(done.readings, done.states, strict=True))
    )
    return bolts, say("pull bolt {number}", number=done.next_bolt) if done.next_bolt is not None else ""
