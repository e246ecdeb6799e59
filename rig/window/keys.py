"""Every key of the window in one table: what it is, where it acts, what it does. The window binds it, the keys page prints it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from rig.words.language import say


class Place(StrEnum):
    """Where a key acts."""

    ANYWHERE = "anywhere"
    BENCH = "bench"
    PULL = "pull"
    REPLAY = "replay"
    GUIDE = "guide"
    QUESTION = "question"
    LENGTHS = "lengths"


class Act(StrEnum):
    """What a key does."""

    PEDAL = "pedal"
    EARLIER = "earlier pull"
    LATER = "later pull"
    PAGE_GUIDE = "guide"
    PAGE_KEYS = "keys"
    PAGE_BENCH = "bench"
    PAGE_CONDITIONS = "before a pull"
    PAGE_PULL = "closer look"
    PAGE_SIDES = "side by side"
    PAGE_PACK = "pack"
    PAGE_JOBS = "jobs"
    PAGE_JOB = "job"
    PAGE_REFIT = "refit"
    LAST_JOB = "last job"
    PAGE_LINE = "line"
    PAGE_SENSOR = "sensor"
    ZERO = "zero"
    SOUND = "sound"
    UNIT = "unit"
    THEME = "theme"
    FULL_SCREEN = "full screen"
    LANGUAGE = "language"
    BACK = "back"
    NEW_SERIES = "new series"
    EARLIER_SERIES = "earlier series"
    LATER_SERIES = "later series"
    REOPEN = "reopen"
    NOTE = "note"
    NOTE_SERIES = "note on the series"
    UNDO = "undo"
    STILL_HOLDS = "still holds"
    CLEAR = "clear"
    LONGER = "longer"
    SHORTER = "shorter"
    CURSOR_LEFT = "cursor left"
    CURSOR_RIGHT = "cursor right"
    CURSOR_FAR_LEFT = "cursor far left"
    CURSOR_FAR_RIGHT = "cursor far right"
    CLOSER = "closer"
    FARTHER = "farther"
    WHOLE = "whole pull"
    SPECTRUM = "spectrum"
    EARLIER_BENEATH = "earlier beneath"
    EXCLUDE = "exclude"
    ANSWER_FIRST = "first answer"
    ANSWER_SECOND = "second answer"
    TAKE_LENGTH = "take length"
    BACK_LENGTH = "back length"
    NEXT_PART = "next part"
    PAUSE = "pause"
    STEP = "step"
    SLOWER = "slower"
    FASTER = "faster"
    GUIDE_BACK = "guide: a screen back"
    GUIDE_ON = "guide: a screen on"


@dataclass(frozen=True, slots=True)
class Key:
    """One key.

    key     as Qt spells it in text ("F2", "PgUp", "Shift+Left")
    words   what it does, English; "" where the row before says it already
    pedal   True: a foot pedal may type it, so it acts even while a button has the focus
    """

    key: str
    place: Place
    act: Act
    words: str
    pedal: bool = False


KEYS = (
    Key("Space", Place.QUESTION, Act.ANSWER_FIRST, "foot pedal, when the bench asks: the first answer", pedal=True),
    Key("PgDown", Place.QUESTION, Act.ANSWER_SECOND, "foot pedal, when the bench asks: the second answer", pedal=True),
    Key("Space", Place.LENGTHS, Act.TAKE_LENGTH, "foot pedal, while lengths are measured: what the gauge shows", pedal=True),
    Key("Space", Place.ANYWHERE, Act.PEDAL, "foot pedal: live picture or newest pull; from any page back to the bench", pedal=True),
    Key("PgUp", Place.ANYWHERE, Act.EARLIER, "foot pedal: earlier pull", pedal=True),
    Key("PgDown", Place.ANYWHERE, Act.LATER, "foot pedal: later pull", pedal=True),
    Key("F1", Place.ANYWHERE, Act.PAGE_GUIDE, "guide"),
    Key("Ctrl+F1", Place.ANYWHERE, Act.PAGE_KEYS, "this page"),
    Key("F2", Place.ANYWHERE, Act.PAGE_BENCH, "bench"),
    Key("F3", Place.ANYWHERE, Act.PAGE_CONDITIONS, "before a pull"),
    Key("F4", Place.ANYWHERE, Act.PAGE_PULL, "closer look"),
    Key("F5", Place.ANYWHERE, Act.PAGE_SIDES, "side by side"),
    Key("F6", Place.ANYWHERE, Act.PAGE_LINE, "line"),
    Key("Ctrl+P", Place.ANYWHERE, Act.PAGE_PACK, "pack: plates, springs and shims"),
    Key("Ctrl+J", Place.ANYWHERE, Act.PAGE_JOBS, "jobs: open one, find one"),
    Key("Ctrl+B", Place.ANYWHERE, Act.PAGE_JOB, "the job: what is wanted, steps, sheets, record"),
    Key("Ctrl+R", Place.ANYWHERE, Act.PAGE_REFIT, "refit: bearings, drag, backlash, bolts, fill"),
    Key("Ctrl+G", Place.ANYWHERE, Act.LAST_JOB, "go on with the last job"),
    Key("Ctrl+E", Place.ANYWHERE, Act.PAGE_SENSOR, "sensor: calibrate, guess a device, check the machine"),
    Key("F7", Place.ANYWHERE, Act.ZERO, "zero now"),
    Key("F8", Place.ANYWHERE, Act.SOUND, "sound on or off"),
    Key("F9", Place.ANYWHERE, Act.UNIT, "unit: N·m, lbf·ft, both"),
    Key("F10", Place.ANYWHERE, Act.THEME, "dark or light"),
    Key("F11", Place.ANYWHERE, Act.FULL_SCREEN, "full screen"),
    Key("F12", Place.ANYWHERE, Act.LANGUAGE, "language"),
    Key("Esc", Place.ANYWHERE, Act.BACK, "read the strip, stop long work, else back to the bench"),
    Key("Ctrl+N", Place.ANYWHERE, Act.NEW_SERIES, "begin a new series"),
    Key("Ctrl+PgUp", Place.ANYWHERE, Act.EARLIER_SERIES, "look at the series before, or (Page Down) the one after"),
    Key("Ctrl+PgDown", Place.ANYWHERE, Act.LATER_SERIES, ""),
    Key("Ctrl+O", Place.ANYWHERE, Act.REOPEN, "open the line again"),
    Key("Ctrl+Z", Place.ANYWHERE, Act.UNDO, "take back the last setting aside"),
    Key("Ctrl+K", Place.ANYWHERE, Act.STILL_HOLDS, "before a pull: what held before still does"),
    Key("Ctrl+L", Place.ANYWHERE, Act.CLEAR, "before a pull: clear what held before"),
    Key("+", Place.BENCH, Act.SHORTER, "bench: shorter stretch of the live picture"),
    Key("-", Place.BENCH, Act.LONGER, "bench: longer stretch of the live picture"),
    Key("N", Place.BENCH, Act.NOTE_SERIES, "bench: write a note on the series"),
    Key("Left", Place.PULL, Act.CURSOR_LEFT, "closer look: move the cursor, with Shift further"),
    Key("Right", Place.PULL, Act.CURSOR_RIGHT, ""),
    Key("Shift+Left", Place.PULL, Act.CURSOR_FAR_LEFT, ""),
    Key("Shift+Right", Place.PULL, Act.CURSOR_FAR_RIGHT, ""),
    Key("+", Place.PULL, Act.CLOSER, "closer look: zoom in"),
    Key("-", Place.PULL, Act.FARTHER, "closer look: zoom out"),
    Key("0", Place.PULL, Act.WHOLE, "closer look: the whole pull"),
    Key("S", Place.PULL, Act.SPECTRUM, "closer look: spectrum"),
    Key("O", Place.PULL, Act.EARLIER_BENEATH, "closer look: earlier pulls beneath"),
    Key("Del", Place.PULL, Act.EXCLUDE, "closer look: set aside, or count again"),
    Key("N", Place.PULL, Act.NOTE, "closer look: write a note on the pull"),
    Key("Return", Place.LENGTHS, Act.TAKE_LENGTH, "lengths: what is typed, else what the gauge shows"),
    Key("Enter", Place.LENGTHS, Act.TAKE_LENGTH, ""),
    Key("Backspace", Place.LENGTHS, Act.BACK_LENGTH, "lengths: the last digit, else the last length, anew"),
    Key("Down", Place.LENGTHS, Act.NEXT_PART, "lengths: on to the next part"),
    Key("P", Place.REPLAY, Act.PAUSE, "replay: pause or go on"),
    Key(".", Place.REPLAY, Act.STEP, "replay: one step"),
    Key("[", Place.REPLAY, Act.SLOWER, "replay: slower"),
    Key("]", Place.REPLAY, Act.FASTER, "replay: faster"),
    Key("PgUp", Place.GUIDE, Act.GUIDE_BACK, "guide: a screen back or on", pedal=True),
    Key("PgDown", Place.GUIDE, Act.GUIDE_ON, "", pedal=True),
)


KEY_NAMES = ("Space", "PgUp", "PgDown", "Del", "Esc", "Ctrl", "Shift", "Left", "Right", "Down", "Return", "Enter", "Backspace")
"""Keys that bear other names in other languages."""


def key_of(act: Act) -> str:
    """The first key of the table that does this."""
    return next(key.key for key in KEYS if key.act is act)


def key_name(key: str) -> str:
    """A key as the keyboard of the user's language names it."""
    return "+".join(say(part) for part in key.split("+")) if len(key) > 1 else key


def rows() -> list[tuple[str, str]]:
    """The table as the keys page prints it, in English: keys that share a meaning stand in one row."""
    printed: list[tuple[str, str]] = []
    for key in KEYS:
        if key.words:
            printed.append((key_name(key.key), key.words))
        else:
            printed[-1] = (f"{printed[-1][0]}  {key_name(key.key)}", printed[-1][1])
    return printed
