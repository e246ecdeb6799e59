"""The hand-over sheet of a job: a page for the customer, and an annex with all that is behind it.

It is made from what `job show --json` tells and from the traces, and it judges nothing: every verdict on it was made elsewhere.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from analysis.judgement import Missing
from analysis.units import in_unit
from analysis.window import Basis, Window
from rig.files.pull_file import Recording
from rig.sheets import annex, drawings
from rig.sheets.blocks import (
    Block,
    Bullets,
    Columns,
    Drawing,
    Facts,
    Heading,
    NewPage,
    Page,
    Signature,
    Statement,
    Table,
    Text,
    Tone,
)
from rig.sheets.phrases import Phrases
from rig.sheets.said import ARRANGEMENT, CAUTIONS, FOOT, PAGE_OF, STANDING, STATE, TONE, additive_of, day_of, joined, known
from rig.words.verdicts import MISSING

AS_FOUND = "as found"
"""The phase of the pulls before anything was changed, as the metadata have it."""
BEFORE_DEG, LEAST_DEG, MOST_DEG = 25.0, 30.0, 120.0
"""Of a curve by angle: so much before breakaway is drawn, and between these much after it."""
BEFORE_S, LEAST_S, MOST_S = 3.0, 3.0, 12.0
"""The same of a curve by time, where no angle was measured."""
HEAD_ROOM = 1.08
"""The torque axis ends this much above the highest value."""
NO_CURVE_NM = 100.0
"""Height of the axis where there is neither curve nor window."""
MOST_CURVES = 6
"""Of one state, each way: more only cover each other."""
SETTLED = 0.90
"""From this probability on an undecided series of enough pulls may close a job, and then the sheet says so (BOOK.md 3)."""


def hand_over(
    job: Mapping[str, Any],
    recordings: Mapping[int, Recording],
    phrases: Phrases,
    *,
    window: Window | None,
    printed: str,
    workshop: str | None = None,
    software: str | None = None,
) -> Page:
    """The sheet as a page.

    Parameters
    ----------
    job : the object of `job show --json`
    recordings : pulls that could be read, by their entry; one that is missing leaves its curve out
    window : what the maker's page asks for; None without a spec card
    printed : the day of printing, ISO 8601
    """
    say = phrases.say
    series = list(known(job, "series"))
    found, final = as_found_and_final(series)
    blocks: list[Block] = [
        _head(job, phrases),
        *_outcome(final, window, job, phrases),
        *_although(job, phrases),
        *_states(series, phrases),
        _curves(found, final, recordings, window, phrases),
        _conditions(final or found, job, recordings, phrases),
        *_fitted(job, phrases),
        *_limits_of_the_test(phrases),
        Signature((say("day, workshop"), say("day, customer"))),
        NewPage(),
        *annex.annex(job, phrases),
    ]
    return Page(
        title=say("Hand-over sheet"),
        subtitle=str(job.get("unit") or ""),
        right=joined(
            workshop,
            say("job {number}", number=job.get("job", "")),
            say("printed {day}", day=printed),
            _head_of_chain(job, phrases),
        ),
        blocks=tuple(blocks),
        foot=f"{say(FOOT)} {software or ''}".strip(),
        page_of=say(PAGE_OF),
    )


def as_found_and_final(series: Sequence[Mapping[str, Any]]) -> tuple[Mapping[str, Any] | None, Mapping[str, Any] | None]:
    """The series before anything was changed, and the last one after it; None where there is none."""
    found = next((one for one in series if _phase(one) == AS_FOUND), None)
    later = [one for one in series if _phase(one) != AS_FOUND]
    return found, max(later, key=lambda one: max(one.get("entries") or [0]), default=None)


def _phase(series: Mapping[str, Any]) -> str:
    return str(series.get("phase") or "").strip().casefold().replace("_", " ")


def _head_of_chain(job: Mapping[str, Any], phrases: Phrases) -> str | None:
    head = job.get("head")
    return None if not head else phrases.say("record {head}", head=f"{str(head)[:12]}…")


def _head(job: Mapping[str, Any], phrases: Phrases) -> Facts:
    say = phrases.say
    closed = job.get("closed_at")
    rows = [
        (say("customer"), job.get("customer") or "–"),
        (say("taken in"), day_of(job.get("opened_at")) or "–"),
        (say("complaint"), job.get("complaint") or "–"),
        (say("finished"), day_of(closed) or say("still open")),
    ]
    return Facts(tuple((name, str(value)) for name, value in rows))


# -- what came of it --------------------------------------------------------------------------------------------------------------


def value_of(series: Mapping[str, Any]) -> float | None:
    """The torque a series is judged by; None where none was read."""
    if series.get("value_nm") is not None:
        return float(series["value_nm"])
    value = series.get("sliding_nm" if series.get("basis") == Basis.SLIDING else "breakaway_nm")
    return None if value is None else float(value)


def _outcome(final: Mapping[str, Any] | None, window: Window | None, job: Mapping[str, Any], phrases: Phrases) -> list[Block]:
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


def _although(job: Mapping[str, Any], phrases: Phrases) -> list[Block]:
    """Steps that were done against their gate: told here, for good."""
    say = phrases.say
    told = [one for one in known(job, "steps") if one.get("state") == "although"]
    items = [
        say("{step}: {reason}", step=one.get("name") or one.get("step"), reason=one.get("reason") or "–")
        + (f" ({one['who']}, {day_of(one.get('at'))})" if one.get("who") else "")
        for one in told
    ]
    if not items:
        return []
    return [Statement("open", say("DONE ALTHOUGH SOMETHING WAS MISSING"), " · ".join(items))]


def _states(series: Sequence[Mapping[str, Any]], phrases: Phrases) -> list[Block]:
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


# -- curves -----------------------------------------------------------------------------------------------------------------------


def _curves(
    found: Mapping[str, Any] | None,
    final: Mapping[str, Any] | None,
    recordings: Mapping[int, Recording],
    window: Window | None,
    phrases: Phrases,
) -> Block:
    """As found and as it goes out, side by side on the same axes, against the window."""
    say, unit = phrases.say, phrases.unit
    panels = [(say("as found"), _of_series(found, recordings)), (say("as it goes out"), _of_series(final, recordings))]
    by_angle = all(one.trace.angle_deg is not None for _, pulls in panels for one in pulls)
    curves = [(title, [curve for one in pulls if (curve := _curve(one, by_angle, unit)) is not None]) for title, pulls in panels]
    ends_nm = (None, None) if window is None else (window.low_nm, window.high_nm)
    low, high = (None if end is None else in_unit(end, unit) for end in ends_nm)
    limits = None if window is None else (low, high)
    tops = [float(curve.torque.max()) for _, those in curves for curve in those if curve.torque.size]
    tops += [end for end in (low, high) if end is not None]
    top = max(tops, default=in_unit(NO_CURVE_NM, unit)) * HEAD_ROOM
    ends = [float(curve.along[-1]) for _, those in curves for curve in those]
    before, least, most = (BEFORE_DEG, LEAST_DEG, MOST_DEG) if by_angle else (BEFORE_S, LEAST_S, MOST_S)
    frame = drawings.Frame(86.0, 50.0, (-before, min(most, max(least, *ends, least))), (0.0, top))
    legend = ((say("first direction"), False), (say("other way"), True))
    plots = tuple(
        drawings.plot(
            frame,
            those,
            title=title if those else say("{state}: no curve", state=title),
            x_label=say("angle of the lever after breakaway [°]") if by_angle else say("time after breakaway [s]"),
            y_label=say("torque [{unit}]", unit=phrases.torque_unit()),
            band=limits,
            legend=legend,
            alt=say("Torque of {n} pulls, {state}, with the window as a band.", n=len(those), state=title),
        )
        for title, those in curves
    )
    return Columns(tuple((plot,) for plot in plots), (1.0, 1.0))


def _of_series(series: Mapping[str, Any] | None, recordings: Mapping[int, Recording]) -> list[Recording]:
    """Recordings of a series, a few each way."""
    entries = [] if series is None else list(series.get("entries") or ())
    read = [recordings[entry] for entry in entries if entry in recordings]
    ways = ([one for one in read if one.result.direction != -1], [one for one in read if one.result.direction == -1])
    return [one for way in ways for one in way[:MOST_CURVES]]


def _curve(one: Recording, by_angle: bool, unit: str) -> drawings.Curve | None:
    """A pull from its breakaway on, as a magnitude; None where it has none."""
    breakaway = one.result.breakaway
    if breakaway is None or one.result.direction is None:
        return None
    sign = one.result.direction
    along = one.trace.time_s - breakaway.time_s
    if by_angle and one.trace.angle_deg is not None:
        at = int(np.searchsorted(one.trace.time_s, breakaway.time_s))
        turned = one.trace.angle_deg - one.trace.angle_deg[min(at, len(one.trace) - 1)]
        along = turned * (-1.0 if float(turned[-1] - turned[0]) < 0 else 1.0)
    zero = one.result.zero_nm or 0.0
    torque = sign * (one.trace.torque_nm - zero)
    scale = in_unit(1.0, unit)
    return drawings.Curve(np.asarray(along), np.asarray(torque * scale), sign == -1)


# -- conditions -------------------------------------------------------------------------------------------------------------------


def _conditions(
    series: Mapping[str, Any] | None, job: Mapping[str, Any], recordings: Mapping[int, Recording], phrases: Phrases
) -> Block:
    """How the final pulls were made: arrangement as a picture, and what belongs to the number."""
    say = phrases.say
    entries = [] if series is None else list(series.get("entries") or ())
    infos = [recordings[entry].info for entry in entries if entry in recordings]
    temperatures = [info.temperature_c for info in infos if info.temperature_c is not None]
    sensors = sorted({_sensor(info, phrases) for info in infos} - {""})
    certificates = sorted({_certificate(info, phrases) for info in infos} - {""})
    oil = joined(None if series is None else series.get("lubricant"), None if series is None else additive_of(series))
    plates = joined(*(None if series is None else series.get(name) for name in ("plates", "plate_state")))
    degrees = ""
    if temperatures:
        low, high = phrases.temperature(min(temperatures)), phrases.temperature(max(temperatures))
        degrees = low if low == high else f"{low} … {high}"
    rows = (
        (say("oil of the pulls"), " + ".join(oil) or "–"),
        (say("temperature"), degrees or "–"),
        (say("plates"), ", ".join(plates) or "–"),
        (say("sensor"), ", ".join(sensors) or "–"),
        (say("calibration"), ", ".join(certificates) or say("none known")),
        (say("oil filled"), oil_filled(job)),
    )
    code = "" if series is None else str(series.get("arrangement") or "")
    words = say(ARRANGEMENT[code]) if code in ARRANGEMENT else ""
    picture: Drawing | None = None
    if words:
        caption = say("Arrangement {code}: {words}", code=code, words=words)
        picture = drawings.arrangement(code, alt=caption, caption=caption, width_mm=46.0)
    facts = Facts(rows, columns=1)
    if picture is None:
        return facts
    return Columns(((picture,), (facts,)), (1.0, 2.4))


def _sensor(info: Any, phrases: Phrases) -> str:
    part = info.transducer
    name = part.name or info.device or ""
    serial = f" ({phrases.say('no. {serial}', serial=part.serial)})" if part.serial else ""
    capacity = f", {phrases.torque(part.capacity_nm)}" if part.capacity_nm else ""
    return f"{name}{serial}{capacity}" if name else ""


def _certificate(info: Any, phrases: Phrases) -> str:
    known_of = info.calibration
    if not known_of.certificate and not known_of.due:
        return ""
    due = phrases.say("due {day}", day=known_of.due) if known_of.due else phrases.say("no due day")
    return f"{known_of.certificate or ''} ({due})".strip()


def oil_filled(job: Mapping[str, Any]) -> str:
    """The oil last entered, with its volume, additive and dose."""
    oils = [one for one in known(job, "oils") if not one.get("struck")]
    if not oils:
        return "–"
    last = oils[-1]
    parts = joined(last.get("oil") or last.get("text"), last.get("volume"))
    additive = joined(additive_of(last), last.get("dose") if additive_of(last) else None)
    return ", ".join(parts) + (f" + {', '.join(additive)}" if additive else "")


# -- parts and limits -------------------------------------------------------------------------------------------------------------


def _fitted(job: Mapping[str, Any], phrases: Phrases) -> list[Block]:
    """Parts, and a line a part of the refit; the figures stand in the annex."""
    say = phrases.say
    lines = annex.refit_lines(job, phrases)
    parts = [annex.part_text(part, phrases) for part in known(job, "parts") if not part.get("struck")]
    left: list[Block] = [Heading(say("Refit")), _listed(lines)]
    right: list[Block] = [Heading(say("Parts fitted")), _listed(parts)]
    shims = annex.shims_before_and_after(job, phrases)
    if shims:
        right += [Text(shims, small=True)]
    return [Columns((tuple(left), tuple(right)), (1.35, 1.0))]


def _listed(items: Sequence[str]) -> Block:
    return Bullets(tuple(items), small=True) if items else Text("–", small=True)


def _limits_of_the_test(phrases: Phrases) -> list[Block]:
    say = phrases.say
    shows = say(
        "This test shows the preload of the packs on the bench: preload only, not lock-up. It says nothing of locking under drive "
        "or coast, of strength, of wear to come, or of noise on the road."
    )
    advice = say(
        "First drive: warm, slow turns both ways in the open. Check oil level and leaks after it, and all again after 500 km or "
        "the first event."
    )
    cautions = [say(caution) for caution in CAUTIONS]
    return [
        Heading(say("What this sheet does not show, and cautions")),
        Text(shows),
        Bullets((advice, *cautions), small=True),
    ]
