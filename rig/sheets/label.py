"""The label of a job: what the next person at the vice wants to know of the unit, small enough to stick on it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from analysis.window import Window
from rig.sheets.annex import shims_of
from rig.sheets.blocks import Facts, Page, Statement
from rig.sheets.hand_over import oil_filled, simulated
from rig.sheets.outcome import as_found_and_final, torque_text
from rig.sheets.phrases import Phrases
from rig.sheets.said import STATE, TONE, day_of, joined, known

MOST_OF_TITLE, MOST_OF_RIGHT, MOST_OF_ROW = 54, 34, 66
"""Letters of a line on the label: a longer text is cut, for the label is one page whatever was typed; the sheet has it in full."""
MOST_OF_CODE = 12
"""Of an arrangement, which is a letter or two."""
HEAD_SHOWN = 16
"""Signs of the chain's head on the label: enough to find it again."""


def label(job: Mapping[str, Any], phrases: Phrases, *, window: Window | None, printed: str, workshop: str | None = None) -> Page:
    """The label as a page; arguments as of `hand_over`."""
    say = phrases.say
    _, final = as_found_and_final(known(job, "series"))
    state = "no_window" if final is None else str(final.get("verdict") or "no_window")
    sentence = say("There is no pull of the unit as it goes out; nothing is said of it here.")
    if final is not None:
        torque = torque_text(final, phrases)
        sentence = say("{torque}, arrangement {code}", torque=torque, code=_cut(str(final.get("arrangement") or "–"), MOST_OF_CODE))
        if window is not None:
            sentence += "; " + say("window {limits}", limits=phrases.window(window.low_nm, window.high_nm, "torque"))
    word = say(STATE.get(state, state))
    if simulated(job, phrases):
        state, word = "no_window", f"{say('SIMULATED')} – {word}"
    if any(step.get("state") == "although" for step in known(job, "steps")):
        sentence += ". " + say("A step was done although something was missing: see the hand-over sheet.")
    rows = (
        (say("customer"), str(job.get("customer") or "–")),
        (say("finished"), day_of(job.get("closed_at")) or say("still open")),
        (say("oil"), oil_filled(job, phrases)),
        (say("shims"), shims_of(job, phrases) or "–"),
        (say("record"), f"{str(job.get('head') or '–')[:HEAD_SHOWN]}"),
    )
    return Page(
        title=_cut(str(job.get("unit") or "–"), MOST_OF_TITLE),
        subtitle="",
        right=tuple(
            _cut(text, MOST_OF_RIGHT) for text in joined(workshop, say("job {number}", number=job.get("job", "")), printed)
        ),
        blocks=(
            Statement(TONE.get(state, "open"), word, sentence),
            Facts(tuple((name, _cut(text, MOST_OF_ROW)) for name, text in rows), columns=1),
        ),
        foot=say("Preload only, not lock-up. The maker's manual decides."),
        page_of="",
        template="label.typ",
    )


def _cut(text: str, most: int) -> str:
    """A text of at most so many letters, in one line."""
    line = " ".join(text.split())
    return line if len(line) <= most else f"{line[: most - 1].rstrip()}…"
