"""A job of the book as the window shows it: what is still wanted, series, pulls, steps with what each lacks, entries. No Qt.

Everything judged comes from the views of `rig.book`; here it is put into words of the language and the unit spoken.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rig.book.book import JobLine
from rig.book.documents import JobView
from rig.book.events import Kind
from rig.book.gates import CHATTER_ACKNOWLEDGED, Gate, step_name
from rig.book.judging import JobSeries
from rig.book.page import asks_for_the_rest, entry_text
from rig.book.record import Entry, Pull
from rig.book.steps import Step
from rig.window.views.verdict import Tone, tone_of, verdict_word, word_of
from rig.words.language import say, spoken
from rig.words.numbers import torque, way_mark, with_spread
from rig.words.units import UnitChoice

MOST_WANTED = 3
"""So many needs stand on the bench page; how many more there are stands behind them."""

PULL_HEADINGS = ("entry", "state", "", "breakaway", "sliding", "chatter", "this pull alone")
ENTRY_HEADINGS = ("entry", "when", "who", "what")


@dataclass(frozen=True, slots=True)
class BenchLine:
    """The job as the bench page shows it in a line: which, on what, in which phase, and what is still wanted."""

    job: str
    unit: str
    phase: str
    wanted: str


@dataclass(frozen=True, slots=True)
class SeriesRow:
    """A series: its state in words, how many pulls, what they say, the verdict's word and tone."""

    state: str
    count: str
    value: str
    word: str
    tone: Tone


@dataclass(frozen=True, slots=True)
class Row:
    """A row of a table. `counts` False: struck, and shown so, with the reason in `why`."""

    entry: int
    cells: tuple[str, ...]
    counts: bool = True
    why: str = ""


@dataclass(frozen=True, slots=True)
class StepRow:
    """A step: its mark and name, who did it, what it lacks, what to write down, whether it can be undone.

    `although` is the reason why it was done against its gate; it stays visible. `acknowledge` is a code that a person may
    acknowledge by name, "" where there is none.
    """

    key: str
    name: str
    done: bool
    although: str
    who: str
    one_way: bool
    missing: tuple[str, ...]
    remarks: tuple[str, ...]
    write_down: str
    acknowledge: str

    @property
    def mark(self) -> str:
        """Done, done although something was missing, open."""
        return "⚠" if self.although else "✓" if self.done else "○"


@dataclass(frozen=True, slots=True)
class JobShown:
    """The pages of a job."""

    job: str
    title: str
    facts: tuple[tuple[str, str], ...]
    next: str
    wanted: tuple[str, ...]
    series: tuple[SeriesRow, ...]
    pulls: tuple[Row, ...]
    steps: tuple[StepRow, ...]
    entries: tuple[Row, ...]
    head: str
    closed: bool
    bench: BenchLine
    comparable: bool
    """Whether there are series before and after to compare."""


def shown_job(view: JobView, unit: UnitChoice) -> JobShown:
    """Arrange a job for its pages."""
    record = view.record
    following = view.next_step
    closed = record.closed_at is not None
    return JobShown(
        job=record.job,
        title=f"{record.job}   {record.unit}" + ("   " + _simulated(view) if record.simulated else ""),
        facts=_facts(view, unit),
        next=_next(view, following, closed=closed),
        wanted=() if closed else _wanted(view),
        series=tuple(_series(series, unit) for series in view.series),
        pulls=tuple(_pull(view, pull, unit) for pull in record.pulls),
        steps=tuple(_step(view, step) for step in record.steps),
        entries=tuple(_entry(entry, unit, late=entry in record.after_close) for entry in record.entries),
        head=say("head {head} ({n} entries)", head=record.head, n=record.events),
        closed=closed,
        bench=_bench_line(view),
        comparable=len({series.common["phase"] for series in view.series}) > 1,
    )


def _facts(view: JobView, unit: UnitChoice) -> tuple[tuple[str, str], ...]:
    record, oil = view.record, view.record.last(Kind.OIL)
    window = say("no spec card yet")
    if view.card is not None:
        limits = view.card.window
        low, high = ("" if limit is None else torque(limit, unit.first) for limit in (limits.low_nm, limits.high_nm))
        window = f"{low or '–'} … {high or '–'}" + (f"  ({view.card.arrangement})" if view.card.arrangement else "")
    oil_text = say("none entered yet")
    if oil is not None:
        oil_text = oil.content["text"] + (f" + {oil.content['additive']}" if oil.content.get("additive") else "")
    rows = [
        (say("customer"), record.customer or "–"),
        (say("complaint"), record.complaint or "–"),
        (say("opened"), record.opened_at[:16].replace("T", " ")),
        (say("window"), window),
        (say("service oil"), oil_text),
    ]
    if record.closed_at is not None:
        rows.append((say("closed"), record.closed_at[:16].replace("T", " ")))
    return tuple(rows)


def _simulated(view: JobView) -> str:
    return say("SIMULATED pulls: {n} of {all}", n=len(view.record.simulated), all=len(view.record.pulls))


def _next(view: JobView, step: Step | None, *, closed: bool) -> str:
    if closed:
        return say("the job is closed")
    if step is not None and asks_for_the_rest(view, step):
        return say("next: ask what the complaint does not say yet ({what}), and mark the step", what=_write_down(step))
    return say("all steps are done: close the job") if step is None else say("next: {step}", step=step_name(step))


OF_A_PULL = ("after_pack_change", "pulls_each_way", "closure", "arrangement", "oil", "calibration", "verdict")
"""Needs that a pull meets or not: at the lever they come first, what is only written down can wait."""


def _wanted(view: JobView) -> tuple[str, ...]:
    """What is missing before the next step, and before the next one that cannot be undone."""
    return tuple(_missing(view).values())


def _missing(view: JobView) -> dict[str, str]:
    """The same by its code."""
    found: dict[str, str] = {}
    ahead = view.one_way_ahead
    for step in (*(() if view.next_step is None else (view.next_step,)), *ahead[:1], *(s for s in ahead if s.key == "lock_tabs")):
        for one in view.gates[step.key].missing:
            found.setdefault(one.code, one.what)
    return found


def _bench_line(view: JobView) -> BenchLine:
    record = view.record
    missing = {} if record.closed_at is not None else _missing(view)
    wanted = [what for code, what in sorted(missing.items(), key=lambda one: one[0] not in OF_A_PULL)]
    shown = "; ".join(wanted[:MOST_WANTED])
    if len(wanted) > MOST_WANTED:
        shown += "; " + say("and {n} more", n=len(wanted) - MOST_WANTED)
    text = say("still wanted: {what}", what=shown) if wanted else _next(view, view.next_step, closed=record.closed_at is not None)
    if record.simulated:
        text = _simulated(view) + "; " + text
    phases = [pull.term("phase") for pull in record.pulls if pull.term("phase")]
    return BenchLine(record.job, record.unit, say(str(phases[-1])) if phases else "", text)


def _stated(name: str, value: str) -> str:
    """What all pulls of a series have in common, in the language of the window."""
    if name == "additive" and value.strip().lower() == "none":
        return say("no additive")
    if name == "phase":
        return say(value)
    if name in ("closure", "plate_state"):
        value = {"trial": say("trial"), "final": say("final"), "run_in": say("run in")}.get(value, say(value))
    return f"{say('oil' if name == 'lubricant' else name.replace('_', ' '))} {value}"


def _series(series: JobSeries, unit: UnitChoice) -> SeriesRow:
    state = [_stated(name, str(value)) for name, value in series.common.items() if value and name != "plates"]
    figure = series.result.figure(series.basis)
    value = say("no reading") if figure is None else with_spread(figure.mean_nm, figure.budget.expanded_u_nm, unit.first)
    n, verdict = len(series.pulls), series.verdict
    chatters = any(pull.chattering for pull in series.pulls)
    return SeriesRow(
        state=", ".join(state) or say("nothing stated"),
        count=say("1 pull") if n == 1 else say("{n} pulls", n=n),
        value=value,
        word="" if verdict is None else word_of(verdict, chatters=chatters),
        tone=Tone.NONE if verdict is None else tone_of(verdict, chatters=chatters),
    )


def _pull(view: JobView, pull: Pull, unit: UnitChoice) -> Row:
    def of(value: float | None) -> str:
        return "–" if value is None else torque(value, unit.first)

    verdict = view.judging.pull(pull)
    chatter = {True: say("yes"), False: say("no"), None: "–"}[pull.chattering]
    breakaway = say("nothing held") if pull.held_nothing else of(pull.torque_nm("breakaway"))
    cells = (
        str(pull.entry.entry),
        (say("SIMULATED") + " " if pull.simulated else "") + say(pull.term("phase") or "–"),
        way_mark(pull.direction),
        breakaway,
        of(pull.torque_nm("sliding")),
        chatter,
        "" if verdict is None else verdict_word(verdict.state),
    )
    struck = pull.entry.struck
    why = pull.excluded if struck is None else struck.why
    return Row(pull.entry.entry, cells, counts=why is None, why=why or "")


def _step(view: JobView, step: Step) -> StepRow:
    done, gate = view.record.done(step.key), view.gates[step.key]
    told = say("{who}, {when}", who=done.entry.who, when=done.entry.at[:16].replace("T", " ")) if done is not None else ""
    return StepRow(
        key=step.key,
        name=step_name(step),
        done=done is not None,
        although="" if done is None else done.although or "",
        who=told,
        one_way=step.one_way,
        missing=_lacked(done.entry) if done is not None else tuple(one.what for one in gate.missing),
        remarks=gate.remarks,
        write_down=_write_down(step),
        acknowledge=_acknowledge(gate, done=done is not None),
    )


def _write_down(step: Step) -> str:
    return step.write_down_de if spoken() == "de" and step.write_down_de else step.write_down


def _lacked(entry: Entry) -> tuple[str, ...]:
    """What was missing when the step was marked."""
    return tuple(str(one["text"]) for one in entry.content.get("missing", ()))


def _acknowledge(gate: Gate, *, done: bool) -> str:
    """The code that may be acknowledged: chatter could not be told, and the plates were not seen to chatter."""
    told = gate.series is not None and any(pull.chattering for pull in gate.series.pulls)
    chatter = any(one.code == "chatter" for one in gate.missing)
    return CHATTER_ACKNOWLEDGED if chatter and not told and not done else ""


def _entry(entry: Entry, unit: UnitChoice, *, late: bool) -> Row:
    text = entry_text(entry, lambda nm: torque(nm, unit.first))
    if late:
        text += "  " + say("(after the close)")
    cells = (str(entry.entry), entry.at[:16].replace("T", " "), entry.who, text)
    struck = entry.struck
    return Row(entry.entry, cells, counts=struck is None, why="" if struck is None else f"{struck.who}: {struck.why}")


# -- the list of jobs -----------------------------------------------------------------------------------------------------------

JOB_HEADINGS = ("job", "opened", "unit", "customer", "complaint", "")
MOST_JOBS = 200
"""The newest of them are listed; a search narrows them."""


@dataclass(frozen=True, slots=True)
class JobList:
    """Jobs found, with the words they were searched by; `more`: not all are listed."""

    search: str
    jobs: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    more: bool


def job_list(lines: Sequence[JobLine], search: str) -> JobList:
    """Arrange jobs for the page; one more than `MOST_JOBS` shows that there are more."""
    listed = lines[:MOST_JOBS]
    rows = tuple(
        (
            line.job,
            line.opened_at[:10],
            line.unit,
            line.customer or "",
            line.complaint or "",
            say("open") if line.closed_at is None else say("closed"),
        )
        for line in listed
    )
    return JobList(search, tuple(line.job for line in listed), rows, len(lines) > MOST_JOBS)
