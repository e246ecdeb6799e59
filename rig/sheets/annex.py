"""The annex of the hand-over sheet: every pull, stack, bearing, bolt, part, note and step behind its first page."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rig.sheets import drawings
from rig.sheets.blocks import Block, Bullets, Columns, Heading, Table, Text
from rig.sheets.phrases import Phrases
from rig.sheets.said import STANDING, all_of, day_of, joined, known, minute_of

HASH_SHOWN = 12
"""Signs of a file's hash on paper; the whole stands in the record."""
SIDES = ("left", "right")
WITHOUT_A_PLACE = frozenset(("in_tolerance",))


def annex(job: Mapping[str, Any], phrases: Phrases) -> list[Block]:
    """All of it; a part without entries is left out."""
    return [
        Heading(phrases.say("Annex"), level=1),
        *_pulls(job, phrases),
        *_packs(job, phrases),
        *_bearings(job, phrases),
        *_backlashes(job, phrases),
        *_fasteners(job, phrases),
        *_texts(job, phrases),
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


def _shims(sheet: Mapping[str, Any], side: str) -> str:
    shims = _side(sheet, side).get("shims")
    if shims is None:
        return "–"
    values = shims if isinstance(shims, list) else [shims]
    return " + ".join(map(str, values)) or "0"


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
    return phrases.say("left {left}, right {right}", **{side: _shims(sheets[-1], side) for side in SIDES})


def shims_before_and_after(job: Mapping[str, Any], phrases: Phrases) -> str:
    """The shims of the packs before and after, in a sentence; empty without a pack sheet."""
    sheets = [sheet for entry, sheet in _sheets(job) if not _mark(entry)]
    if not sheets:
        return ""
    say = phrases.say
    first, last = ({side: _shims(sheet, side) for side in SIDES} for sheet in (sheets[0], sheets[-1]))
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
                _shims(sheet, side),
                str(own.get("stack_height") or "–"),
            )
            rows.append(cells)
    heads = (say("entry"), say("day"), say("side"), say("plates"), say("springs"), say("shims"), say("stack height"))
    struck = tuple(at for at, (entry, _) in enumerate(pair for pair in sheets for _ in SIDES) if _mark(entry))
    align = "rlllllr"
    return [Heading(say("Packs as they were fitted")), Table(heads, tuple(rows), align, struck, small=True)]


def _listed(values: object) -> str:
    return all_of(map(str, values)) if isinstance(values, list) else str(values or "–")


# -- the refit --------------------------------------------------------------------------------------------------------------------


def _answers(job: Mapping[str, Any], name: str) -> list[tuple[Mapping[str, Any], Mapping[str, Any]]]:
    """Entries of a list of the refit answers, each with the sheet it came from; struck ones are left out."""
    found = []
    for entry in known(job, "refits"):
        answer = entry.get("answer")
        if not _mark(entry) and isinstance(answer, Mapping):
            found += [(entry, one) for one in known(answer, name)]
    return found


def _last_of_each(job: Mapping[str, Any], name: str) -> list[Mapping[str, Any]]:
    """What was last entered under each name: a later sheet takes the place of an earlier one."""
    last = {str(one.get("name")): one for _, one in _answers(job, name)}
    return list(last.values())


def _state(one: Mapping[str, Any], key: str, phrases: Phrases) -> str:
    state = one.get(key)
    return "–" if state is None else phrases.say(STANDING.get(str(state), str(state)))


def refit_lines(job: Mapping[str, Any], phrases: Phrases) -> list[str]:
    """A line a part of the refit, for the first page."""
    say, lines = phrases.say, []
    for one in _last_of_each(job, "bearings"):
        if one.get("choice_mm") is None:
            lines.append(say("{name}: no reading", name=one["name"]))
            continue
        shims = " + ".join(phrases.length(shim) for shim in one["choice_mm"]) or say("no shim")
        text = say("{name}: shims {shims}, interference {value}", name=one["name"], shims=shims, value=_interference(one, phrases))
        lines.append(f"{text}: {_state(one, 'state', phrases)}")
    for one in _last_of_each(job, "drags"):
        value = phrases.small_torque(one.get("mean_nm"), one.get("expanded_u_nm"))
        lines.append(say("{name}: drag {value}", name=one["name"], value=value) + f": {_state(one, 'state', phrases)}")
    for one in _last_of_each(job, "backlashes"):
        low, high = (phrases.length(one.get(key)) for key in ("lowest_mm", "highest_mm"))
        text = say("{name}: backlash {low} to {high}", name=one["name"], low=low, high=high)
        lines.append(f"{text}: {_state(one, 'state', phrases)}")
    for one in _last_of_each(job, "fasteners"):
        standing = say("complete") if one.get("complete") else say("NOT COMPLETE")
        torque = phrases.torque(one.get("torque_nm"))
        count = len(one.get("bolts") or ())
        text = say("{name}: {count} bolts at {torque}", name=one["name"], count=count, torque=torque)
        lines.append(f"{text}: {standing}")
    for one in _last_of_each(job, "fills"):
        text = say("{name}: {volume} filled", name=one["name"], volume=phrases.volume(one.get("filled_l")))
        if one.get("additive_added_l") is not None:
            text += say(", additive {dose}", dose=phrases.dose(one["additive_added_l"]))
        lines.append(text)
    return lines


def _interference(one: Mapping[str, Any], phrases: Phrases) -> str:
    return phrases.length(one.get("interference_mm"), one.get("expanded_u_mm"))


def _bearings(job: Mapping[str, Any], phrases: Phrases) -> list[Block]:
    say = phrases.say
    blocks: list[Block] = []
    rows = []
    for entry, one in _answers(job, "bearings"):
        shims = " + ".join(phrases.length(shim) for shim in one.get("choice_mm") or ()) or "–"
        wanted = phrases.window(one.get("low_mm"), one.get("high_mm"), "length")
        cells = (
            str(entry.get("entry", "")),
            str(one["name"]),
            phrases.length(one.get("measured_mm")),
            phrases.length(one.get("needed_mm")),
            shims,
            _interference(one, phrases),
            wanted,
            _state(one, "state", phrases),
        )
        rows.append(cells)
    if rows:
        heads = (
            say("entry"),
            say("bearings"),
            say("measured"),
            say("needed"),
            say("shims"),
            say("interference"),
            say("wanted"),
            say("standing"),
        )
        align = "rlrrlrrl"
        blocks += [Heading(say("Bearing preload")), Table(heads, tuple(rows), align, small=True)]
    drags = [
        (
            str(entry.get("entry", "")),
            str(one["name"]),
            phrases.small_torque(one.get("mean_nm"), one.get("expanded_u_nm")),
            phrases.small_torque(one.get("variation_nm")),
            phrases.window(one.get("low_nm"), one.get("high_nm"), "small_torque"),
            _state(one, "state", phrases),
            _state(one, "variation_state", phrases),
            str(one.get("set_after") or "–"),
        )
        for entry, one in _answers(job, "drags")
    ]
    if drags:
        heads = (
            say("entry"),
            say("bearings"),
            say("drag"),
            say("variation"),
            say("window"),
            say("drag stands"),
            say("variation stands"),
            say("set later by"),
        )
        align = "rlrrrlll"
        blocks += [Heading(say("Bearing drag")), Table(heads, tuple(drags), align, small=True)]
    return blocks


def _backlashes(job: Mapping[str, Any], phrases: Phrases) -> list[Block]:
    say = phrases.say
    rows = [
        (
            str(entry.get("entry", "")),
            str(one["name"]),
            all_of(phrases.length(point) for point in one.get("points_mm") or ()),
            phrases.length(one.get("variation_mm")),
            phrases.window(one.get("low_mm"), one.get("high_mm"), "length"),
            _state(one, "state", phrases),
            str(one.get("set_after") or "–"),
        )
        for entry, one in _answers(job, "backlashes")
    ]
    if not rows:
        return []
    heads = (say("entry"), say("gear"), say("points"), say("variation"), say("window"), say("standing"), say("set later by"))
    align = "rllrrll"
    return [Heading(say("Backlash")), Table(heads, tuple(rows), align, small=True)]


def _fasteners(job: Mapping[str, Any], phrases: Phrases) -> list[Block]:
    say = phrases.say
    blocks: list[Block] = []
    for one in _last_of_each(job, "fasteners"):
        bolts = known(one, "bolts")
        with_angle = one.get("angle_wanted_deg") is not None
        rows = []
        for bolt in bolts:
            angle = bolt.get("angle_deg")
            cells = [str(bolt.get("number")), phrases.torque_figure(bolt.get("peak_nm")), _state(bolt, "state", phrases)]
            if with_angle:
                cells.insert(2, "–" if angle is None else phrases.number(float(angle), 0))
            rows.append(tuple(cells))
        heads = [say("bolt"), say("peak [{unit}]", unit=phrases.torque_unit()), say("standing")]
        if with_angle:
            heads.insert(2, say("angle [°]"))
        align = "rrrl" if with_angle else "rrl"
        off = [int(bolt["number"]) for bolt in bolts if bolt.get("state") not in WITHOUT_A_PLACE]
        caption = say("Bolts as numbered; outside: their place in a pass.")
        order = [int(number) for number in one.get("order") or ()]
        picture = drawings.bolt_circle(order, off, alt=caption + " " + all_of(map(str, order)), caption=caption, width_mm=36.0)
        half = -(-len(rows) // 2) if len(rows) > 6 else len(rows)
        tables = tuple((Table(tuple(heads), tuple(part), align, small=True),) for part in (rows[:half], rows[half:]) if part)
        columns = Columns(((picture,), *tables), (0.62, *(1.0 for _ in tables)))
        blocks += [Heading(say("Fasteners: {name}", name=one["name"]), under=_group_text(one, phrases)), columns]
    return blocks


def _group_text(one: Mapping[str, Any], phrases: Phrases) -> str:
    say = phrases.say
    tolerance = phrases.number(100 * float(one.get("tolerance") or 0.0), 0)
    parts = [say("{torque} ± {tolerance} %", torque=phrases.torque(one.get("torque_nm")), tolerance=tolerance)]
    if one.get("angle_wanted_deg") is not None:
        angles = (phrases.number(float(one[key]), 0) for key in ("angle_wanted_deg", "angle_tolerance_deg"))
        parts.append(say("then {angle}° ± {tolerance}°", **dict(zip(("angle", "tolerance"), angles, strict=True))))
    stages = ", ".join(phrases.torque_figure(stage) for stage in one.get("stages_nm") or ())
    parts.append(say("passes at {stages} {unit}", stages=stages, unit=phrases.torque_unit()))
    reused = one.get("reused")
    parts += joined(
        {True: say("used again"), False: say("new")}.get(reused) if reused is not None else None,
        say("single use") if one.get("single_use") else None,
        {"dry": say("threads dry"), "oiled": say("threads oiled"), "threadlock": say("threadlock")}.get(str(one.get("threads"))),
        say("left-hand thread") if one.get("thread") == "left" else None,
        say("locked by {what}", what=one["locked_by"]) if one.get("locked_by") else None,
        say("complete") if one.get("complete") else say("NOT COMPLETE"),
    )
    return "; ".join(parts) + ". " + say("A peak is the torque applied, not the force in the bolt.")


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
        say("entry {entry}: {text}", entry=one.get("entry"), text=all_of(joined(*(one.get(key) for key in _OIL))))
        for one in known(job, "oils")
        if not _mark(one)
    ]
    notes = [
        f"{minute_of(one.get('at'))}  {one.get('note') or one.get('text') or '–'}" for one in known(job, "notes") if not _mark(one)
    ]
    photos = [
        f"{one.get('name') or _file_name(one.get('path'))}  {str(one.get('sha256') or '')[:HASH_SHOWN]}"
        for one in known(job, "photos")
        if not _mark(one)
    ]
    for title, items in ((say("Oil"), oils), (say("Notes"), notes), (say("Photos kept with the job"), photos)):
        if items:
            blocks += [Heading(title), Bullets(tuple(items), small=True)]
    return blocks


_OIL = ("oil", "text", "volume", "additive", "dose")


def _steps(job: Mapping[str, Any], phrases: Phrases) -> list[Block]:
    say = phrases.say
    steps = [one for one in known(job, "steps") if one.get("state") != "open"]
    if not steps:
        return []
    rows = [
        (
            str(one.get("name") or one.get("step")),
            {"done": say("done"), "although": say("done although")}.get(str(one.get("state")), "–"),
            str(one.get("who") or "–"),
            minute_of(one.get("at")),
            str(one.get("reason") or ""),
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
    head = say("{events} entries; head of the chain:", events=job.get("events", "–"))
    binds = say(
        "Whoever keeps this sheet can check later that no entry up to this head was changed: 'platepull book verify' builds the "
        "chain again, and its head must be the one printed here. It is evidence against accident and casual editing, no more."
    )
    blocks: list[Block] = [Heading(say("Record")), Text(f"{head} {job.get('head') or '–'}"), Text(binds, small=True)]
    return [*blocks, Bullets(tuple(struck), small=True)] if struck else blocks
