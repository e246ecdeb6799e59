"""A job as text: what is wanted next comes first, then what the job holds."""

from __future__ import annotations

from collections.abc import Callable

from rig.book.documents import JobView
from rig.book.events import Kind
from rig.book.gates import step_name, write_down
from rig.book.judging import JobSeries, folded_additive
from rig.book.record import Entry, Pull
from rig.book.steps import Step
from rig.words import counts
from rig.words.language import say
from rig.words.sentences import torque, torque_with_u, window_of

_CHATTER = {True: "chatter", False: "no chatter", None: "chatter not assessable"}


INTAKE = "intake"
"""The step that takes down the complaint."""


def unit_of_job(view: JobView, chosen: str | None) -> str:
    """The unit of torque for a job's pages: the one that was chosen, else that of the spec card's window as it was typed."""
    return chosen or ("N.m" if view.card is None else view.card.window.unit)


def _label(name: str) -> str:
    return f"  {say(name):<11} "


def page_lines(view: JobView, unit: str) -> list[str]:
    """The whole page, torques in `unit`."""
    record = view.record
    lines = [f"{say('job {job}', job=record.job)}  {record.unit}" + (f"  ({record.customer})" if record.customer else "")]
    if record.simulated:
        lines.append(
            _label("SIMULATED")
            + say("{n} of {all} pulls come from the simulated bench", n=len(record.simulated), all=len(record.pulls))
        )
    lines += [f"{_label('complaint')}{record.complaint}"] if record.complaint else []
    closed = say(", closed {at}", at=record.closed_at) if record.closed_at else ""
    lines.append(f"{_label('opened')}{record.opened_at}{closed}")
    lines.append(_label("window") + _window(view, unit))
    oil = record.last(Kind.OIL)
    if oil is not None:
        content = oil.content
        text, additive = content["text"], content.get("additive")
        if additive is not None:
            with_it = folded_additive(additive) != ""
            text = say("{oil} with {additive}" if with_it else "{oil} without additive", oil=text, additive=additive)
        lines.append(_label("oil") + text)
    lines += ["", *next_lines(view)]
    lines += ["", say("Series")] + [f"  {_series_line(series, unit)}" for series in view.series] if view.series else []
    lines += ["", say("Steps")] + [_step_line(view, step.key) for step in record.steps]
    lines += ["", say("Entries")] + [_entry_line(view, entry, unit) for entry in record.entries]
    lines += ["", say("head {head} ({entries})", head=record.head, entries=counts.entries(record.events))]
    return lines


def next_lines(view: JobView) -> list[str]:
    """What is wanted next: the next open step, and what is missing before the steps that cannot be undone."""
    record = view.record
    if record.closed_at is not None:
        return [say("Next: nothing, the job is closed.")]
    step = view.next_step
    if step is None:
        return [say("Next: all steps are done. Close the job: platepull job close {job}", job=record.job)]
    lines = [say("Next: {key} - {name}", key=step.key, name=step_name(step))]
    if asks_for_the_rest(view, step):
        lines = [say("Next: {key} - ask what the complaint does not say yet, then mark the step", key=step.key)]
    lines += [say("  write down: {what}", what=write_down(step))] if step.write_down else []
    lines += [say("  missing: {what}", what=one.text) for one in view.gates[step.key].missing]
    lines += [f"  {remark}" for remark in view.gates[step.key].remarks]
    told = {one.code for one in view.gates[step.key].missing}
    for one_way in view.one_way_ahead:
        missing = view.gates[one_way.key].missing
        new = [one for one in missing if one.code not in told]
        told |= {one.code for one in missing}
        if one_way is not step:
            as_well = say(", missing as well:") if len(new) < len(missing) else say(", missing:")
            state = say(": nothing is missing.") if not missing else as_well if new else say(": the same.")
            lines.append(say("Before {key} (cannot be undone){state}", key=one_way.key, state=state))
            lines += [f"  {one.text}" for one in new]
    if view.passed_over:
        lines.append(say("Passed over: {steps}", steps=", ".join(one.key for one in view.passed_over)))
    return lines


def asks_for_the_rest(view: JobView, step: Step) -> bool:
    """Whether the step takes down a complaint that the job was opened with: then only what it does not say is asked for."""
    return step.key == INTAKE and bool(view.record.complaint)


def _window(view: JobView, unit: str) -> str:
    if view.card is None:
        return say("none: platepull job add {job} spec SPEC.toml", job=view.record.job)
    arrangement = "" if view.card.arrangement is None else say(", arrangement {code}", code=view.card.arrangement)
    return window_of(view.card.window, unit) + arrangement


def _series_line(series: JobSeries, unit: str) -> str:
    state = ", ".join(_stated(name, value) for name, value in series.common.items() if value)
    figure = series.result.figure(series.basis)
    value = say("no reading") if figure is None else torque_with_u(figure.mean_nm, figure.budget.expanded_u_nm, unit)
    verdict = "" if series.verdict is None else f", {say(str(series.verdict.state).replace('_', ' '))}"
    return f"{state or say('nothing stated')}: {counts.pulls(len(series.pulls))}, {value}{verdict}"


def _stated(name: str, value: str) -> str:
    """What is stated of a series; the phase stands for itself."""
    if name == "additive" and not folded_additive(value):
        return say("no additive")
    return say(value) if name == "phase" else f"{say(name.replace('_', ' '))} {say(value)}"


def _step_line(view: JobView, key: str) -> str:
    record = view.record
    step, done = record.step(key), record.done(key)
    assert step is not None
    if done is None:
        wanted = len(view.gates[key].missing)
        mark = "[ ]"
        tail = "  " + say("({n} missing)", n=wanted) if wanted and step.one_way else ""
    else:
        mark = "[x]" if done.although is None else "[!]"
        tail = f"  {done.entry.who} {done.entry.at[:16]}" + (
            "" if done.although is None else say(", although: {although}", although=done.although)
        )
    return f"  {mark} {key:<16} {step_name(step)}{tail}"


def _entry_line(view: JobView, entry: Entry, unit: str) -> str:
    struck = "" if entry.struck is None else "  " + say("STRUCK by {who}: {why}", who=entry.struck.who, why=entry.struck.why)
    late = "  " + say("(after the close)") if entry in view.record.after_close else ""
    return f"  {entry.entry:>3} {entry.at[:16]} {entry.who}: {entry_text(entry, lambda nm: torque(nm, unit))}{struck}{late}"


def entry_text(entry: Entry, torque_words: Callable[[float], str]) -> str:
    """What an entry says, in the language spoken; `torque_words` writes a torque of so many N.m."""
    content = entry.content
    match Kind(entry.kind):
        case Kind.OPENED:
            return say("job opened")
        case Kind.PULL:
            return _pull_text(Pull(entry), torque_words)
        case Kind.PART:
            extras = [say("single use") if content["single_use"] else None, content["batch"]]
            return say("part: {text}", text=_with(content["text"], extras))
        case Kind.OIL:
            volume, additive, dose = (content[key] for key in ("volume", "additive", "dose"))
            named = None if additive is None else say("additive {additive}", additive=additive)
            return say("oil: {text}", text=_with(content["text"], [volume, named, dose]))
        case Kind.NOTE:
            return say("note: {text}", text=content["text"])
        case Kind.STEP:
            done = say("step {step} done", step=content["step"])
            although = content["although"]
            return done if although is None else say("{step}, although: {reason}", step=done, reason=although)
        case Kind.STRUCK:
            return say("entry {entry} struck: {why}", entry=content["entry"], why=content["why"])
        case Kind.CLOSED:
            return say("job closed")
        case Kind.AMENDED:
            excluded = content["now"]["terms"].get("excluded")
            amended = say("pull of entry {entry} amended", entry=content["entry"])
            return say("{amended}: it does not count, {reason}", amended=amended, reason=excluded) if excluded else amended
        case _:
            return f"{say(_FILE_WORDS[Kind(entry.kind)])}: {entry.files[0][0]}"


_FILE_WORDS = {
    Kind.SPEC: "spec card",
    Kind.PACK: "pack sheet",
    Kind.REFIT: "refit sheet",
    Kind.PHOTO: "photo",
    Kind.CERTIFICATE: "certificate",
}


def _with(text: str, extras: list[str | None]) -> str:
    told = ", ".join(extra for extra in extras if extra)
    return f"{text} ({told})" if told else text


def _pull_text(pull: Pull, torque_words: Callable[[float], str]) -> str:
    value = pull.torque_nm("breakaway")
    reading = say("nothing held") if pull.held_nothing else say("no reading") if value is None else torque_words(value)
    parts = [say("SIMULATED") if pull.simulated else "", reading, say(_CHATTER[pull.chattering]), say(pull.term("phase") or "")]
    if pull.direction == -1:
        parts.insert(2, say("the other way"))
    if pull.excluded is not None:
        parts.append(say("excluded: {reason}", reason=pull.excluded))
    return say("pull {file}: {told}", file=pull.entry.files[0][0], told=", ".join(part for part in parts if part))
