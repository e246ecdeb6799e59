"""What came of a job: the series as found and as it goes out, the verdict with its rule, every state in a row."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from analysis.judgement import Missing
from analysis.window import Basis, Window
from rig.sheets.blocks import Block, Statement, Table, Text, Tone
from rig.sheets.phrases import Phrases
from rig.sheets.said import STANDING, STATE, TONE
from rig.words.verdicts import MISSING

AS_FOUND = "as found"
"""The phase of the pulls before anything was changed, as the metadata have it."""
SETTLED = 0.90
"""From this probability on an undecided series of enough pulls may close a job, and then the sheet says so (BOOK.md 3)."""


def as_found_and_final(series: Sequence[Mapping[str, Any]]) -> tuple[Mapping[str, Any] | None, Mapping[str, Any] | None]:
    """The series before anything was changed, and the last one after it; None where there is none."""
    found = next((one for one in series if _phase(one) == AS_FOUND), None)
    later = [one for one in series if _phase(one) != AS_FOUND]
    return found, max(later, key=lambda one: max(one.get("entries") or [0]), default=None)


def _phase(series: Mapping[str, Any]) -> str:
    return str(series.get("phase") or "").strip().casefold().replace("_", " ")


def value_of(series: Mapping[str, Any]) -> float | None:
    """The torque a series is judged by; None where none was read."""
    if series.get("value_nm") is not None:
        return float(series["value_nm"])
    value = series.get("sliding_nm" if series.get("basis") == Basis.SLIDING else "breakaway_nm")
    return None if value is None else float(value)


def outcome(final: Mapping[str, Any] | None, window: Window | None, job: Mapping[str, Any], phrases: Phrases) -> list[Block]:
    """The verdict on the unit as it goes out, with the rule, and what it was judged against."""
    say = phrases.say
    if final is None:
        nothing = say("There is no pull of the unit as it goes out; nothing is said of it here.")
        return [Statement("open", say("NO FINAL PULL"), nothing)]
    state = str(final.get("verdict") or "no_window")
    name = say("Pack sliding torque") if final.get("basis") == Basis.SLIDING else say("Pack breakaway torque")
    torque = torque_text(final, phrases)
    sentences = [say("{name} {torque}, mean of {n} pulls.", name=name, torque=torque, n=final.get("n", 0))]
    if window is not None:
        page = _page_of_card(job)
        limits = phrases.window(window.low_nm, window.high_nm, "torque")
        against = say("Window {limits}", limits=limits) + (f" ({page})." if page else ".")
        sentences.append(against)
    sentences += _deciding(final, phrases)
    probability = final.get("probability_in_window")
    if probability is not None:
        sentences.append(say("Probability in the window: {share}.", share=phrases.percent(float(probability))))
    if state == "undecided" and probability is not None and float(probability) >= SETTLED:
        sentences.append(say("It reads in the window; the limit lies within the uncertainty."))
    blocks: list[Block] = [Statement(_tone(state), say(STATE.get(state, state)), " ".join(sentences))]
    missing = [f"{say(MISSING[Missing(code)])}." for code in final.get("missing") or () if code in set(Missing)]
    if missing:
        blocks.append(Text(" ".join(text[0].upper() + text[1:] for text in missing)))
    k = _coverage_factor(final)
    if k is not None:
        rule = say(
            "± is the expanded uncertainty of the unit's mean, k = {k}, about 95 %; it holds scatter from pull to pull and sensor. "
            "Decision rule: guarded acceptance, in the window only where the whole of ± lies in it (JCGM 106, 8.3).",
            k=phrases.number(k, 2),
        )
        blocks.append(Text(rule, small=True))
    return blocks


def torque_text(series: Mapping[str, Any], phrases: Phrases) -> str:
    """The torque of a series as it was judged, with its uncertainty; in words where nothing held or the sensor ended."""
    say = phrases.say
    if series.get("held_nothing"):
        return say("none: the unit turned freely")
    torque = phrases.torque(value_of(series), series.get("verdict_u_nm") or series.get("expanded_u_nm"))
    at_least = Missing.LOWER_BOUND in (series.get("missing") or ())
    return say("at least {torque}", torque=torque) if at_least else torque


def _deciding(series: Mapping[str, Any], phrases: Phrases) -> list[str]:
    """The direction that stands worse, where it is not the mean that decides."""
    deciding = series.get("deciding") or {}
    value = deciding.get("value_nm")
    if value is None or value == series.get("value_nm"):
        return []
    way = phrases.say("first direction") if deciding.get("direction") == 1 else phrases.say("other way")
    torque = phrases.torque(value, deciding.get("expanded_u_nm"))
    return [phrases.say("The direction that stands worse decides: {way}, {torque}.", way=way, torque=torque)]


def _coverage_factor(series: Mapping[str, Any]) -> float | None:
    expanded_u, u = series.get("expanded_u_nm"), series.get("u_nm")
    if series.get("coverage_factor"):
        return float(series["coverage_factor"])
    return float(expanded_u) / float(u) if expanded_u and u else None


def _tone(state: str) -> Tone:
    return TONE.get(state, "open")


def _page_of_card(job: Mapping[str, Any]) -> str:
    spec = job.get("spec") or {}
    card = spec.get("card") if isinstance(spec, Mapping) else None
    head = card.get("card", {}) if isinstance(card, Mapping) else {}
    return str(head.get("page") or "") if isinstance(head, Mapping) else ""


def states(series: Sequence[Mapping[str, Any]], phrases: Phrases) -> list[Block]:
    """Every state the unit was pulled in, one row each."""
    say = phrases.say
    if not series:
        return []
    rows = []
    for one in series:
        forward, back = (*(one.get("by_direction_nm") or ()), None, None)[:2]
        rows.append(
            (
                _state_name(one, phrases),
                str(one.get("arrangement") or "–"),
                str(one.get("n", "–")),
                phrases.torque_figure(value_of(one), one.get("expanded_u_nm")),
                phrases.torque_figure(forward),
                phrases.torque_figure(back),
                _chatter(one, phrases),
                say(STANDING.get(str(one.get("verdict") or "no_window"), "–")),
            )
        )
    heads = (
        say("state"),
        say("arr."),
        say("pulls"),
        say("mean [{unit}]", unit=phrases.torque_unit()),
        "↻",
        "↺",
        say("chatter"),
        say("verdict"),
    )
    return [Table(heads, tuple(rows), "lcrrrrll")]


def _state_name(series: Mapping[str, Any], phrases: Phrases) -> str:
    phase = str(series.get("phase") or "–")
    closure = {"trial": phrases.say("case closed for trial"), "final": phrases.say("case closed as it runs")}.get(
        str(series.get("closure") or "")
    )
    name = phrases.say(phase) if phase != "–" else phase
    return f"{name}, {closure}" if closure else name


def _chatter(series: Mapping[str, Any], phrases: Phrases) -> str:
    count, assessable, chattering = series.get("n"), series.get("chatter_assessable"), series.get("chattering")
    if assessable is None or not count:
        return "–"
    if not assessable:
        return phrases.say("not assessable")
    if chattering:
        return phrases.say("{some} of {all} pulls", some=chattering, all=assessable)
    return phrases.say("none")
