"""The book's answers as JSON values (`rig/schemas/job.schema.json`): one place, one way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from analysis.judgement import Verdict
from analysis.verdict.apart import Scatter
from analysis.verdict.scatter import USUAL_SCATTER
from rig.book.book import JobLine
from rig.book.events import Kind
from rig.book.gates import Gate, gate, judging_of, last_change
from rig.book.judging import ALIKE, CardWindow, JobSeries, Judging
from rig.book.record import Entry, JobRecord, Pull
from rig.book.steps import Step


@dataclass(frozen=True, slots=True, kw_only=True)
class JobView:
    """A job as it is shown: the record, what judges, series, steps with what each lacks, where the files lie."""

    record: JobRecord
    judging: Judging
    series: tuple[JobSeries, ...]
    gates: Mapping[str, Gate]
    paths: Mapping[tuple[int, int], str]

    @property
    def card(self) -> CardWindow | None:
        """The window that judges; None where there is none."""
        return self.judging.card

    @property
    def next_step(self) -> Step | None:
        """The first open step behind the last one that is done; where there is none, the first that was passed over."""
        steps = self.record.steps
        done = [place for place, step in enumerate(steps) if self.record.done(step.key) is not None]
        ahead = steps[done[-1] + 1 :] if done else steps
        open_steps = [step for step in (*ahead, *steps) if self.record.done(step.key) is None]
        return open_steps[0] if open_steps else None

    @property
    def passed_over(self) -> tuple[Step, ...]:
        """Open steps before the last one that is done."""
        steps = self.record.steps
        done = [place for place, step in enumerate(steps) if self.record.done(step.key) is not None]
        return tuple(step for step in steps[: done[-1]] if self.record.done(step.key) is None) if done else ()

    @property
    def one_way_ahead(self) -> tuple[Step, ...]:
        """The open steps that cannot be undone, in their order."""
        return tuple(step for step in self.record.steps if step.one_way and self.record.done(step.key) is None)


def view_of(record: JobRecord, paths: Mapping[tuple[int, int], str], known: Scatter = USUAL_SCATTER) -> JobView:
    """Work out what a job shows; `paths` as `Book.paths` gives them, `known` the scatter that is known of the bench."""
    judging = judging_of(record, known)
    return JobView(
        record=record,
        judging=judging,
        series=judging.all_series(record.pulls),
        gates={step.key: gate(record, step, _acknowledged(record, step), judging) for step in record.steps},
        paths=paths,
    )


def _acknowledged(record: JobRecord, step: Step) -> list[str]:
    done = record.done(step.key)
    return [] if done is None else list(done.entry.content.get("acknowledged", ()))


def line_document(line: JobLine) -> dict[str, Any]:
    """A job in `job list --json`."""
    return asdict(line)


def job_document(view: JobView) -> dict[str, Any]:
    """A job in `job show --json`."""
    record = view.record
    spec, changed = record.last(Kind.SPEC), last_change(record)
    following = view.next_step
    return {
        "job": record.job,
        "unit": record.unit,
        "customer": record.customer,
        "complaint": record.complaint,
        "opened_at": record.opened_at,
        "closed_at": record.closed_at,
        "spec": None if spec is None else _sheet(view, spec, "card"),
        "pulls": [_pull(view, pull) for pull in record.pulls],
        "series": [_series(series) for series in view.series],
        "packs": [_sheet(view, entry, "sheet", "answer") | {"changed": entry is changed} for entry in record.of(Kind.PACK)],
        "refits": [_sheet(view, entry, "sheet", "answer") for entry in record.of(Kind.REFIT)],
        "parts": [_texts(entry) for entry in record.of(Kind.PART)],
        "oils": [_texts(entry) for entry in record.of(Kind.OIL)],
        "notes": [_texts(entry) for entry in record.of(Kind.NOTE)],
        "photos": [_sheet(view, entry) for entry in record.of(Kind.PHOTO)],
        "certificates": [_sheet(view, entry) for entry in record.of(Kind.CERTIFICATE)],
        "steps": [_step(view, step) for step in record.steps],
        "next": None if following is None else following.key,
        "although": [_although(entry) for entry in record.of(Kind.STEP) if entry.content.get("although") is not None],
        "struck": [_struck(entry) for entry in record.entries if entry.struck is not None],
        "after_close": [entry.entry for entry in record.after_close],
        "events": record.events,
        "head": record.head,
    }


def _base(entry: Entry) -> dict[str, Any]:
    return {
        "entry": entry.entry,
        "at": entry.at,
        "who": entry.who,
        "struck": None if entry.struck is None else entry.struck.why,
    }


def _texts(entry: Entry) -> dict[str, Any]:
    return _base(entry) | dict(entry.content)


def _sheet(view: JobView, entry: Entry, *keys: str) -> dict[str, Any]:
    files = entry.files
    first = {"path": view.paths.get((entry.entry, 0)), "name": files[0][0], "sha256": files[0][1]}
    return _base(entry) | first | {key: entry.content.get(key) for key in keys}


def _pull(view: JobView, pull: Pull) -> dict[str, Any]:
    basis = "breakaway" if view.card is None else str(view.card.window.basis)
    verdict = view.judging.pull(pull)
    return _base(pull.entry) | {
        "trace": view.paths.get((pull.entry.entry, 0)),
        "sha256": pull.entry.files[0][1],
        **{name: pull.term(name) for name in ALIKE},
        "series": pull.term("series"),
        "number": pull.terms.get("number"),
        "made_at": pull.term("when"),
        "simulated": pull.simulated,
        "direction": pull.direction,
        "breakaway_nm": pull.torque_nm("breakaway"),
        "sliding_nm": pull.torque_nm("sliding"),
        "u_nm": pull.u_nm(basis),
        "basis": basis,
        "chatter": pull.chattering,
        "quality": [flag["code"] for flag in pull.reading["quality"]],
        "verdict": None if verdict is None else str(verdict.state),
        "excluded": pull.excluded,
    }


def _series(series: JobSeries) -> dict[str, Any]:
    result, verdict = series.result, series.verdict
    budget = None if (figure := result.figure(series.basis)) is None else figure.budget
    ways = {} if figure is None else {way: mean.mean_nm for way, mean in figure.ways}
    return {
        **dict(series.common),
        "n": len(series.pulls),
        "entries": [pull.entry.entry for pull in series.pulls],
        "basis": str(series.basis),
        "breakaway_nm": None if result.breakaway is None else result.breakaway.mean_nm,
        "sliding_nm": None if result.sliding is None else result.sliding.mean_nm,
        "u_nm": None if budget is None else budget.u_nm,
        "expanded_u_nm": None if budget is None else budget.expanded_u_nm,
        "by_direction_nm": [ways.get(1), ways.get(-1)],
        "chattering": sum(pull.chattering is True for pull in series.pulls),
        "chatter_assessable": sum(pull.chattering is not None for pull in series.pulls),
        "verdict": None if verdict is None else str(verdict.state),
        "probability_in_window": None if verdict is None else verdict.probability_in_window,
        **_verdict(verdict),
    }


def _verdict(verdict: Verdict | None) -> dict[str, Any]:
    """What a sheet says beside the state of a verdict."""
    deciding = None if verdict is None else verdict.deciding
    return {
        "value_nm": None if verdict is None else verdict.value_nm,
        "verdict_u_nm": None if verdict is None else verdict.expanded_u_nm,
        "coverage_factor": None if verdict is None else verdict.coverage_factor,
        "deciding": None if deciding is None else asdict(deciding),
        "held_nothing": verdict is not None and verdict.held_nothing,
        "missing": [] if verdict is None else [str(code) for code in verdict.missing],
    }


def _step(view: JobView, step: Step) -> dict[str, Any]:
    done, gate = view.record.done(step.key), view.gates[step.key]
    return {
        "step": step.key,
        "name": step.name,
        "name_de": step.name_de or None,
        "one_way": step.one_way,
        "state": "open" if done is None else "done" if done.although is None else "although",
        "who": None if done is None else done.entry.who,
        "at": None if done is None else done.entry.at,
        "entry": None if done is None else done.entry.entry,
        "missing": [{"code": one.code, "text": one.text} for one in gate.missing],
        "remarks": list(gate.remarks),
        "reason": None if done is None else done.although,
        "write_down": step.write_down or None,
    }


def _although(entry: Entry) -> dict[str, Any]:
    return _base(entry) | {"step": entry.content["step"], "reason": entry.content["although"], "missing": entry.content["missing"]}


def _struck(entry: Entry) -> dict[str, Any]:
    assert entry.struck is not None
    return {"entry": entry.entry, "kind": entry.kind, **asdict(entry.struck), "strike": entry.struck.entry} | {"entry": entry.entry}
