"""The annex of the hand-over sheet: every pull, stack, bearing, bolt, part, note and step behind its first page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rig.sheets import annex_refit
from rig.sheets.blocks import Block, Bullets, Heading, Photo, Photos, Table, Text
from rig.sheets.phrases import Phrases
from rig.sheets.said import STANDING, additive_of, all_of, day_of, joined, known, minute_of

COMPLAINT_SHOWN = 300
"""A complaint of more letters is cut on the first page, and stands here in full."""
HASH_SHOWN = 12
"""Signs of a file's hash on paper; the whole stands in the record."""
SIDES = ("left", "right")


def annex(job: Mapping[str, Any], phrases: Phrases, photos: Mapping[int, bytes] | None = None) -> list[Block]:
    """All of it; a part without entries is left out. `photos` are those that can be printed, as JPEG, by their entry."""
    return [
        Heading(phrases.say("Annex"), level=1),
        *_pulls(job, phrases),
        *_packs(job, phrases),
        *annex_refit.bearings(job, phrases),
        *annex_refit.backlashes(job, phrases),
        *annex_refit.fasteners(job, phrases),
        *_texts(job, phrases),
        *_photos(job, phrases, photos or {}),
        *_steps(job, phrases),
        *_record(job, phrases),
    ]


def _mark(entry: Mapping[str, Any]) -> bool:
    return bool(entry.get("struck"))


# -- pulls ------------------------------------------------------------------------------------------------------------------------


def _pulls(job: Mapping[str, Any], phrases: Phrases) -> list[Block]:
    say = phrases.say
    pulls = known(job, "pulls")
    if not pulls:
        return []
    rows, struck, reasons = [], [], []
    for at, pull in enumerate(pulls):
        if _mark(pull) or pull.get("excluded"):
            struck.append(at)
            reason = pull.get("struck") or pull.get("excluded")
            reasons.append(say("entry {entry} does not count: {reason}", entry=pull.get("entry"), reason=reason))
        rows.append(
            (
                str(pull.get("entry", "")),
                say(str(pull.get("phase") or "–")),
                str(pull.get("arrangement") or "–"),
                {1: "↻", -1: "↺"}.get(pull.get("direction") or 0, "–"),
                phrases.torque_figure(pull.get("breakaway_nm")),
                phrases.torque_figure(pull.get("sliding_nm")),
                "–" if pull.get("u_nm") is None else f"± {phrases.torque_figure(2 * float(pull['u_nm']))}",
                {True: say("yes"), False: say("no")}.get(pull.get("chatter"), "–"),  # type: ignore[arg-type]
                say(STANDING.get(str(pull.get("verdict") or ""), "–")),
                _file_name(pull.get("trace")),
                str(pull.get("sha256") or "–")[:HASH_SHOWN],
            )
        )
    unit = phrases.torque_unit()
    heads = (
        say("entry"),
        say("state"),
        say("arr."),
        "",
        say("breakaway"),
        say("sliding"),
        "U (k = 2)",
        say("chatter"),
        say("alone"),
        say("trace"),
        "SHA-256",
    )
    align = "rlccrrrllll"
    blocks: list[Block] = [
        Heading(say("Pulls, torque in {unit}", unit=unit)),
        Table(heads, tuple(rows), align, tuple(struck), small=True),
    ]
    return [*blocks, Bullets(tuple(reasons), small=True)] if reasons else blocks


def _file_name(path: object) -> str:
    return str(path or "–").replace("\\", "/").rsplit("/", 1)[-1]


# -- the stack --------------------------------------------------------------------------------------------------------------------


def _side(sheet: Mapping[str, Any], side: str) -> Mapping[str, Any]:
    found = sheet.get(side)
    return found if isinstance(found, Mapping) else {}


def _shims(sheet: Mapping[str, Any], side: str, phrases: Phrases) -> str:
    shims = _side(sheet, side).get("shims")
    if shims is None:
        return "–"
    values = shims if isinstance(shims, list) else [shims]
    return " + ".join(map(phrases.typed_length, values)) or "0"


def _sheets(job: Mapping[str, Any]) -> list[tuple[Mapping[str, Any], Mapping[str, Any]]]:
    found = []
    for entry in known(job, "packs"):
        sheet = entry.get("sheet")
        if isinstance(sheet, Mapping):
            found.append((entry, sheet))
    return found


def shims_of(job: Mapping[str, Any], phrases: Phrases) -> str:
    """The shims of the packs as they are fitted now; empty without a pack sheet."""
    sheets = [sheet for entry, sheet in _sheets(job) if not _mark(entry)]
    if not sheets:
        return ""
    return phrases.say("left {left}, right {right}", **{side: _shims(sheets[-1], side, phrases) for side in SIDES})


def shims_before_and_after(job: Mapping[str, Any], phrases: Phrases) -> str:
    """The shims of the packs before and after, in a sentence; empty without a pack sheet."""
    sheets = [sheet for entry, sheet in _sheets(job) if not _mark(entry)]
    if not sheets:
        return ""
    say = phrases.say
    first, last = ({side: _shims(sheet, side, phrases) for side in SIDES} for sheet in (sheets[0], sheets[-1]))
    now = say("left {left}, right {right}", **last)
    if first == last:
        return say("Shims of the packs: {now}.", now=now)
    return say("Shims of the packs: {now}; before: {before}.", now=now, before=say("left {left}, right {right}", **first))


def _packs(job: Mapping[str, Any], phrases: Phrases) -> list[Block]:
    say = phrases.say
    sheets = _sheets(job)
    if not sheets:
        return []
    rows = []
    for entry, sheet in sheets:
        for side in SIDES:
            own = _side(sheet, side)
            plates, springs = (own.get(name) or [] for name in ("plates", "springs"))
            cells = (
                str(entry.get("entry", "")) if side == "left" else "",
                day_of(entry.get("at")) or "–" if side == "left" else "",
                say(side),
                _listed(plates),
                f"{_listed(springs)} {own.get('stack') or ''}".strip(),
                _shims(sheet, side, phrases),
                _lengths(own.get("stack_height"), phrases),
            )
            rows.append(cells)
    heads = (say("entry"), say("day"), say("side"), say("plates"), say("springs"), say("shims"), say("stack height"))
    struck = tuple(at for at, (entry, _) in enumerate(pair for pair in sheets for _ in SIDES) if _mark(entry))
    align = "rlllllr"
    fitted: list[Block] = [Heading(say("Packs as they were fitted")), Table(heads, tuple(rows), align, struck, small=True)]
    return [*fitted, *_plates([sheet for entry, sheet in sheets if not _mark(entry)], phrases)]


def _plates(sheets: Sequence[Mapping[str, Any]], phrases: Phrases) -> list[Block]:
    """The plates as they were measured last, as typed: thickness on the track, unworn, flatness."""
    say = phrases.say
    kinds = {"inner": say("inner"), "outer": say("outer")}
    measured = known(sheets[-1], "plates") if sheets else []
    rows = [
        (
            str(one.get("id") or "–"),
            kinds.get(str(one.get("kind")), "–"),
            _lengths(one.get("thickness"), phrases),
            _lengths(one.get("unworn"), phrases),
            _lengths(one.get("flatness"), phrases),
        )
        for one in measured
        if one.get("thickness")
    ]
    if not rows:
        return []
    heads = (say("plate"), say("kind"), say("thickness on the track"), say("unworn"), say("flatness"))
    return [Heading(say("Plates as measured")), Table(heads, tuple(rows), "lllll", small=True)]


def _lengths(values: object, phrases: Phrases) -> str:
    """Lengths as typed, in the system of the sheet."""
    return all_of(map(phrases.typed_length, values if isinstance(values, list) else [values] if values else []))


def _listed(values: object) -> str:
    return all_of(map(str, values)) if isinstance(values, list) else str(values or "–")


# -- parts, notes, steps, record --------------------------------------------------------------------------------------------------


def part_text(part: Mapping[str, Any], phrases: Phrases) -> str:
    """A part fitted, with its batch."""
    say = phrases.say
    more = joined(
        say("batch {batch}", batch=part["batch"]) if part.get("batch") else None,
        say("single use") if part.get("single_use") else None,
    )
    name = str(part.get("part") or part.get("text") or "–")
    return f"{name} ({', '.join(more)})" if more else name


def _texts(job: Mapping[str, Any], phrases: Phrases) -> list[Block]:
    say = phrases.say
    blocks: list[Block] = []
    oils = [
        say("entry {entry}: {text}", entry=one.get("entry"), text=all_of(oil_parts(one, phrases)))
        for one in known(job, "oils")
        if not _mark(one)
    ]
    notes = [
        f"{minute_of(one.get('at'))}  {one.get('note') or one.get('text') or '–'}" for one in known(job, "notes") if not _mark(one)
    ]
    parts = [
        say("entry {entry}: {text}", entry=one.get("entry"), text=part_text(one, phrases))
        for one in known(job, "parts")
        if not _mark(one)
    ]
    complaint = [str(job["complaint"])] if len(str(job.get("complaint") or "")) > COMPLAINT_SHOWN else []
    lists = (
        (say("Complaint"), complaint),
        (say("Parts fitted"), parts),
        (say("Oil"), oils),
        (say("Notes"), notes),
    )
    for title, items in lists:
        if items:
            blocks += [Heading(title), Bullets(tuple(items), small=True)]
    return blocks


MOST_PHOTOS = 12
"""Printed in all, the newest; the others are listed."""


def _photos(job: Mapping[str, Any], phrases: Phrases, photos: Mapping[int, bytes]) -> list[Block]:
    """The photos as pictures; one that cannot be printed is named, with what it is known by."""
    say = phrases.say
    kept = [one for one in known(job, "photos") if not _mark(one)]
    if not kept:
        return []
    shown = [one for one in kept if one.get("entry") in photos][-MOST_PHOTOS:]
    pictures = tuple(Photo(photos[one["entry"]], _photo_text(one, phrases)) for one in shown)
    listed = tuple(_photo_text(one, phrases) for one in kept if one not in shown)
    blocks: list[Block] = [Heading(say("Photos kept with the job"))]
    blocks += [Photos(pictures)] if pictures else []
    if listed:
        blocks += [Text(say("Not printed here, kept with the job:"), small=True), Bullets(listed, small=True)]
    return blocks


def _photo_text(one: Mapping[str, Any], phrases: Phrases) -> str:
    name = one.get("name") or _file_name(one.get("path"))
    return phrases.say("entry {entry}: {text}", entry=one.get("entry"), text=f"{name}, {minute_of(one.get('at'))}")


def oil_parts(one: Mapping[str, Any], phrases: Phrases) -> tuple[str, ...]:
    """An oil as it was entered: name, volume, additive and dose, in the system of the sheet."""
    volume, dose = one.get("volume"), one.get("dose")
    return joined(
        one.get("oil") or one.get("text"),
        phrases.typed_volume(volume) if volume else None,
        additive_of(one),
        phrases.typed_dose(dose) if dose and additive_of(one) else None,
    )


def step_name(one: Mapping[str, Any], phrases: Phrases) -> str:
    """A step's name in the language of the sheet, as far as its list has it."""
    german = one.get("name_de") if phrases.language == "de" else None
    return str(german or one.get("name") or one.get("step"))


def _steps(job: Mapping[str, Any], phrases: Phrases) -> list[Block]:
    say = phrases.say
    steps = [one for one in known(job, "steps") if one.get("state") != "open"]
    if not steps:
        return []
    rows = [
        (
            step_name(one, phrases),
            {"done": say("done"), "although": say("done although")}.get(str(one.get("state")), "–"),
            str(one.get("who") or "–"),
            minute_of(one.get("at")),
            "; ".join(joined(one.get("reason"), *(one.get("remarks") or ()))),
        )
        for one in steps
    ]
    heads = (say("step"), say("standing"), say("who"), say("when"), say("reason"))
    return [Heading(say("Steps")), Table(heads, tuple(rows), "lllll", small=True)]


def _record(job: Mapping[str, Any], phrases: Phrases) -> list[Block]:
    say = phrases.say
    struck = [
        say("entry {entry} was struck: {why}", entry=one.get("entry"), why=one.get("why") or "–")
        + (f" ({one['who']}, {day_of(one.get('at'))})" if one.get("who") else "")
        for one in known(job, "struck")
    ]
    late = job.get("after_close") or ()
    if late:
        struck.append(say("entered after the job was closed: entries {entries}", entries=", ".join(map(str, late))))
    head = say("{events} entries; head of the chain:", events=job.get("events", "–"))
    binds = say(
        "Whoever keeps this sheet can check later that no entry up to this head was changed: 'platepull book verify' builds the "
        "chain again, and its head must be the one printed here. It is evidence against accident and casual editing, no more."
    )
    blocks: list[Block] = [Heading(say("Record")), Text(f"{head} {job.get('head') or '–'}"), Text(binds, small=True)]
    return [*blocks, Bullets(tuple(struck), small=True)] if struck else blocks
