"""The hand-over sheet of a job: a page for the customer, and an annex with all that is behind it.

It is made from what `job show --json` tells and from the traces, and it judges nothing: every verdict on it was made elsewhere.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from analysis.window import Window
from rig.files.pull_file import Recording
from rig.sheets import annex, annex_refit, drawings
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
    Text,
)
from rig.sheets.curves import curves_of
from rig.sheets.outcome import as_found_and_final, outcome, states
from rig.sheets.phrases import Phrases
from rig.sheets.said import ARRANGEMENT, CAUTIONS, FOOT, PAGE_OF, additive_of, day_of, joined, known


def hand_over(
    job: Mapping[str, Any],
    recordings: Mapping[int, Recording],
    phrases: Phrases,
    *,
    window: Window | None,
    printed: str,
    workshop: str | None = None,
    software: str | None = None,
    photos: Mapping[int, bytes] | None = None,
) -> Page:
    """The sheet as a page.

    Parameters
    ----------
    job : the object of `job show --json`
    recordings : pulls that could be read, by their entry; one that is missing leaves its curve out
    window : what the maker's page asks for; None without a spec card
    printed : the day of printing, ISO 8601
    photos : those that can be printed, as JPEG, by their entry
    """
    say = phrases.say
    series = list(known(job, "series"))
    found, final = as_found_and_final(series)
    blocks: list[Block] = [
        *simulated(job, phrases),
        _head(job, phrases),
        *outcome(final, window, job, phrases),
        *_although(job, phrases),
        *states(series, phrases),
        curves_of(found, final, recordings, window, phrases),
        *_left_out((found, final), recordings, phrases),
        _conditions(final or found, job, recordings, phrases),
        *_fitted(job, phrases),
        *_limits_of_the_test(phrases),
        Signature((say("day, workshop"), say("day, customer"))),
        NewPage(),
        *annex.annex(job, phrases, photos),
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


MOST_LINES = 9
"""Of the refit and of the parts on the first page; the others stand in the annex."""


def _left_out(series: Sequence[Mapping[str, Any] | None], recordings: Mapping[int, Recording], phrases: Phrases) -> list[Block]:
    """Which pulls have no curve, and why."""
    entries = [entry for one in series if one is not None for entry in one.get("entries") or () if entry not in recordings]
    if not entries:
        return []
    words = "No curve of entries {entries}: their traces are missing or no longer the files that were entered."
    return [Text(phrases.say(words, entries=", ".join(map(str, entries))), small=True)]


def _head_of_chain(job: Mapping[str, Any], phrases: Phrases) -> str | None:
    head = job.get("head")
    return None if not head else phrases.say("record {head}", head=f"{str(head)[:12]}…")


def _head(job: Mapping[str, Any], phrases: Phrases) -> Facts:
    say = phrases.say
    closed = job.get("closed_at")
    rows = [
        (say("customer"), job.get("customer") or "–"),
        (say("taken in"), day_of(job.get("opened_at")) or "–"),
        (say("complaint"), shortened(str(job.get("complaint") or "–"))),
        (say("finished"), day_of(closed) or say("still open")),
    ]
    return Facts(tuple((name, str(value)) for name, value in rows))


def simulated(job: Mapping[str, Any], phrases: Phrases) -> list[Block]:
    """Where pulls of the job come from the simulated bench the sheet says so before all else."""
    pulls = [one for one in known(job, "pulls") if one.get("struck") is None]
    invented = sum(one.get("simulated") is True for one in pulls)
    if not invented:
        return []
    words = "{n} of {all} pulls of this job were made on the simulated bench: this sheet is no proof of anything."
    return [Statement("open", phrases.say("SIMULATED"), phrases.say(words, n=invented, all=len(pulls)))]


def _although(job: Mapping[str, Any], phrases: Phrases) -> list[Block]:
    """Steps that were done against their gate: told here, for good."""
    say = phrases.say
    names = {one.get("step"): annex.step_name(one, phrases) for one in known(job, "steps")}
    told = known(job, "although") or [one for one in known(job, "steps") if one.get("state") == "although"]
    items = []
    for one in told:
        text = say("{step}: {reason}", step=names.get(one.get("step")) or one.get("step"), reason=one.get("reason") or "–")
        text += f" ({one['who']}, {day_of(one.get('at'))})" if one.get("who") else ""
        lacked = [str(need.get("text") or need.get("code")) for need in known(one, "missing")]
        items.append(text + (f"; {say('missing then')}: {'; '.join(lacked)}" if lacked else ""))
    if not items:
        return []
    return [Statement("open", say("DONE ALTHOUGH SOMETHING WAS MISSING"), " · ".join(items))]


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
    people = sorted({info.who for info in infos if info.who})
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
        (say("oil filled"), oil_filled(job, phrases)),
        (say("pulled by"), ", ".join(people) or "–"),
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


def oil_filled(job: Mapping[str, Any], phrases: Phrases) -> str:
    """The oil last entered, with its volume, additive and dose."""
    oils = [one for one in known(job, "oils") if not one.get("struck")]
    return ", ".join(annex.oil_parts(oils[-1], phrases)) if oils else "–"


# -- parts and limits -------------------------------------------------------------------------------------------------------------


def _fitted(job: Mapping[str, Any], phrases: Phrases) -> list[Block]:
    """Parts, and a line a part of the refit; the figures stand in the annex."""
    say = phrases.say
    lines = annex_refit.refit_lines(job, phrases)
    parts = [annex.part_text(part, phrases) for part in known(job, "parts") if not part.get("struck")]
    left: list[Block] = [Heading(say("Refit")), _listed(_first_lines(lines, phrases))]
    right: list[Block] = [Heading(say("Parts fitted")), _listed(_first_lines(parts, phrases))]
    shims = annex.shims_before_and_after(job, phrases)
    if shims:
        right += [Text(shims, small=True)]
    return [Columns((tuple(left), tuple(right)), (1.35, 1.0))]


def _listed(items: Sequence[str]) -> Block:
    return Bullets(tuple(items), small=True) if items else Text("–", small=True)


def shortened(text: str) -> str:
    """A text as the first page has room for."""
    return text if len(text) <= annex.COMPLAINT_SHOWN else f"{text[: annex.COMPLAINT_SHOWN].rstrip()} …"


def _first_lines(items: Sequence[str], phrases: Phrases) -> list[str]:
    """As many lines as the first page has room for, and how many more there are."""
    if len(items) <= MOST_LINES:
        return list(items)
    more = phrases.say("… and {n} more in the annex", n=len(items) - MOST_LINES + 1)
    return [*items[: MOST_LINES - 1], more]


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
