"""The refit in the hand-over sheet: a line a part for its first page, and the tables of its annex."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rig.sheets import drawings
from rig.sheets.blocks import Block, Columns, Heading, Table
from rig.sheets.phrases import Phrases
from rig.sheets.said import STANDING, all_of, joined, known

WITHOUT_A_MARK = frozenset(("in_tolerance",))
"""States of a bolt that is drawn whole."""


def _answers(job: Mapping[str, Any], name: str) -> list[tuple[Mapping[str, Any], Mapping[str, Any]]]:
    """Entries of a list of the refit answers, each with the sheet it came from; struck ones are left out."""
    found = []
    for entry in known(job, "refits"):
        answer = entry.get("answer")
        if not entry.get("struck") and isinstance(answer, Mapping):
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
    """A line a part of the refit, for the first page; what does not stand as it should comes first."""
    say = phrases.say
    lines: list[tuple[bool, str]] = []

    def note(one: Mapping[str, Any], text: str) -> None:
        lines.append((one.get("state") in _STANDS, f"{text}: {_state(one, 'state', phrases)}"))

    for one in _last_of_each(job, "bearings"):
        if one.get("choice_mm") is None:
            lines.append((False, say("{name}: no reading", name=one["name"])))
            continue
        shims = " + ".join(phrases.length(shim) for shim in one["choice_mm"]) or say("no shim")
        text = say("{name}: shims {shims}, interference {value}", name=one["name"], shims=shims, value=_interference(one, phrases))
        note(one, text)
    for one in _last_of_each(job, "drags"):
        value = phrases.small_torque(one.get("mean_nm"), one.get("expanded_u_nm"))
        note(one, say("{name}: drag {value}", name=one["name"], value=value))
    for one in _last_of_each(job, "backlashes"):
        low, high = (phrases.length(one.get(key)) for key in ("lowest_mm", "highest_mm"))
        note(one, say("{name}: backlash {low} to {high}", name=one["name"], low=low, high=high))
    for one in _last_of_each(job, "fasteners"):
        standing = say("complete") if one.get("complete") else say("NOT COMPLETE")
        torque = phrases.torque(one.get("torque_nm"))
        count = len(one.get("bolts") or ())
        text = say("{name}: {count} bolts at {torque}", name=one["name"], count=count, torque=torque)
        lines.append((bool(one.get("complete")), f"{text}: {standing}"))
    for one in _last_of_each(job, "fills"):
        text = say("{name}: {volume} filled", name=one["name"], volume=phrases.volume(one.get("filled_l")))
        if one.get("additive_added_l") is not None:
            text += say(", additive {dose}", dose=phrases.dose(one["additive_added_l"]))
        lines.append((one.get("state") in _STANDS, text))
    return [text for _, text in sorted(lines, key=lambda line: line[0])]


_STANDS = ("in_window", None)
"""States of a part that needs no word of warning; None: the page states no window."""


def _interference(one: Mapping[str, Any], phrases: Phrases) -> str:
    return phrases.length(one.get("interference_mm"), one.get("expanded_u_mm"))


def bearings(job: Mapping[str, Any], phrases: Phrases) -> list[Block]:
    """Tables of bearing preload and drag."""
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


def backlashes(job: Mapping[str, Any], phrases: Phrases) -> list[Block]:
    """The table of backlash, point by point."""
    say = phrases.say
    rows = [
        (
            str(entry.get("entry", "")),
            str(one["name"]),
            phrases.lengths(one.get("points_mm") or ()),
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


def fasteners(job: Mapping[str, Any], phrases: Phrases) -> list[Block]:
    """Each group of bolts: its circle, and what the last pass read."""
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
        off = [int(bolt["number"]) for bolt in bolts if bolt.get("state") not in WITHOUT_A_MARK]
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
