"""What a step still needs: the gate before what cannot be undone. Pure: a record in, reasons out."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from analysis.judgement import VerdictState
from analysis.verdict.apart import Scatter
from analysis.verdict.scatter import USUAL_SCATTER
from rig.book.events import Kind
from rig.book.fitted import fitted
from rig.book.judging import CardWindow, JobSeries, Judging, card_window, folded, folded_additive
from rig.book.record import Entry, JobRecord, Pull
from rig.book.steps import Step
from rig.words.language import say, spoken
from rig.words.retold import retold_each
from rig.words.verdicts import verdict_text

PULLS_EACH_WAY = 3
"""Pulls in each direction that a series needs (contract BOOK.md 3)."""

PULLS_WHERE_UNDECIDED = 5
"""Pulls in each direction from which an undecided series may pass (contract BOOK.md 3)."""

PROBABILITY_WHERE_UNDECIDED = 0.90
"""Probability of the worse direction from which an undecided series may pass (contract BOOK.md 3)."""

CHATTER_ACKNOWLEDGED = "chatter_not_assessable"
"""What a person acknowledges where chatter could not be told."""

READS_IN_WINDOW = "reads in the window; the limit lies within the uncertainty"
"""What the sheet says where an undecided series passes."""


@dataclass(frozen=True, slots=True)
class Missing:
    """A need that is not met: its code, what it is, and the way to it on the command line, which goes on the sentence."""

    code: str
    what: str
    way: str = ""

    @property
    def text(self) -> str:
        """The whole sentence."""
        return self.what + self.way


@dataclass(frozen=True, slots=True, kw_only=True)
class Gate:
    """What a step lacks, and the series that it was held against."""

    missing: tuple[Missing, ...]
    series: JobSeries | None
    remarks: tuple[str, ...] = ()


def gate(record: JobRecord, step: Step, acknowledged: Sequence[str] = (), judging: Judging | None = None) -> Gate:
    """What a step still needs.

    Parameters
    ----------
    record
        The job.
    step
        The step; its `needs` are looked at.
    acknowledged
        What a person has acknowledged by name, such as `CHATTER_ACKNOWLEDGED`.
    judging
        What pulls are judged by; None: the job's card and the usual scatter.

    Returns
    -------
    Gate
        The needs that are not met, in the order of `NEEDS`; one that follows from another is not told again.
    """
    look = _Look(record, frozenset(step.needs), frozenset(acknowledged), judging or judging_of(record))
    missing = look.missing()
    order = list(step.needs)
    missing.sort(key=lambda one: order.index(one.code) if one.code in order else len(order))
    for key in step.steps_before:
        before = record.step(key)
        if before is not None and record.done(key) is None:
            missing.append(Missing("step", say("step '{key}' is not done: {name}", key=key, name=step_name(before))))
    return Gate(missing=tuple(missing), series=look.series, remarks=tuple(look.remarks))


def step_name(step: Step) -> str:
    """A step's name in the language spoken, as far as its list has it."""
    return step.name_de if spoken() == "de" and step.name_de else step.name


def write_down(step: Step) -> str:
    """What is to be noted at a step, in the language spoken, as far as its list has it."""
    return step.write_down_de if spoken() == "de" and step.write_down_de else step.write_down


def judging_of(record: JobRecord, known: Scatter = USUAL_SCATTER) -> Judging:
    """What a job's pulls are judged by, with the scatter that is known of the bench."""
    spec = record.last(Kind.SPEC)
    card = None if spec is None else card_window(spec.content["card"], plate_state(record))
    return Judging(card=card, known=known)


def will_lack(record: JobRecord, terms: Mapping[str, Any], at: str) -> tuple[str, tuple[str, ...]]:
    """What pulls yet to be made will lack to count: known before the first of a series, not after its last.

    Parameters
    ----------
    record
        The job.
    terms
        What the recordings' metadata will state.
    at
        The moment, ISO 8601.

    Returns
    -------
    tuple[str, tuple[str, ...]]
        The step that wants such pulls, and a sentence a need; none while the unit is pulled as it was found.
    """
    final = folded(terms.get("closure")) == "final"
    rebuilt = final or record.last(Kind.PACK) is not None or record.done("as_found") is not None
    wanting = [step for step in record.steps if "oil" in step.needs and record.done(step.key) is None]
    step = next((step for step in wanting if not final or "closure" in step.needs), None)
    if step is None or not rebuilt:
        return "", ()
    look = _Look(record, frozenset(step.needs), frozenset(), judging_of(record))
    pull = Pull(Entry(entry=0, at=at, who="", kind=Kind.PULL, content={"terms": terms, "reading": {}}))
    return step.key, look.lacking(pull)


class _Look:
    """One look at a job; collects what is missing on the way."""

    def __init__(self, record: JobRecord, needs: frozenset[str], acknowledged: frozenset[str], judging: Judging) -> None:
        self._record = record
        self._judging = judging
        self._needs = needs
        self._acknowledged = acknowledged
        self.series: JobSeries | None = None
        self.remarks: list[str] = []

    def missing(self) -> list[Missing]:
        found: list[Missing] = []
        card = self._card(found)
        if self._needs & {"pulls_each_way", "verdict", "after_pack_change"}:
            pulls = self._selected(card, found)
            if pulls is not None:
                self._judge(pulls, card, found)
        if "fasteners" in self._needs:
            found += _fasteners(self._record)
        for code, section, name in (("drag", "drags", say("bearing drag")), ("backlash", "backlashes", say("backlash"))):
            if code in self._needs:
                found += _set_by_refit(self._record, code, section, name)
        return found

    def lacking(self, pull: Pull) -> tuple[str, ...]:
        """What stands against a pull, a sentence a need."""
        conditions = self._conditions(self._judging.card)
        return tuple(text or self._no_oil().text for _, fits, text in conditions if fits is None or not fits(pull))

    def _card(self, found: list[Missing]) -> CardWindow | None:
        entry = self._record.last(Kind.SPEC)
        if entry is None:
            if "spec_card" in self._needs:
                way = f": platepull job add {self._record.job} spec SPEC.toml"
                found.append(
                    Missing("spec_card", say("no spec card in the job: only the window typed at the bench judges this step"), way)
                )
            return None
        card = self._judging.card
        if card is None and "spec_card" in self._needs:
            text = say(
                "the spec card (entry {entry}) holds no window that can be read: correct it and add it again", entry=entry.entry
            )
            found.append(Missing("spec_card", text))
        return card

    def _selected(self, card: CardWindow | None, found: list[Missing]) -> list[Pull] | None:
        """The pulls of the series that counts; None where something about them is missing, and then it is told."""
        pulls = [pull for pull in self._record.pulls if pull.votes]
        change = last_change(self._record)
        if change is not None and "after_pack_change" in self._needs:
            after = [pull for pull in pulls if _after(pull, change)]
            if not after:
                text = say(
                    "no pull since the pack was changed (pack sheet, entry {entry}): pull the unit as it is now", entry=change.entry
                )
                found.append(Missing("after_pack_change", text + self._as_they_count(card)))
                if "oil" in self._needs and self._record.last(Kind.OIL) is None:  # that does not follow from it
                    found.append(self._no_oil())
                return None
            pulls = after
        complete = _enough(pulls) or "pulls_each_way" not in self._needs
        if not complete:
            found.append(Missing("pulls_each_way", _too_few(pulls) + ("" if pulls else self._as_they_count(card))))
        for code, fits, text in self._conditions(card):
            fitting = [] if fits is None else [pull for pull in pulls if fits(pull)]
            lacking = not fitting or (_enough(pulls) and not _enough(fitting))
            if lacking and (pulls or fits is None):
                so = say("; that are so: {count}", count=_count(fitting))
                found.append(self._no_oil() if fits is None else Missing(code, text + so))
                complete = False
            else:
                pulls = fitting
        pulls = _newest_phase(pulls)
        if "pulls_each_way" in self._needs and complete and not _enough(pulls):
            found.append(Missing("pulls_each_way", _too_few(pulls)))
            complete = False
        return pulls if complete else None

    def _conditions(self, card: CardWindow | None) -> list[tuple[str, Callable[[Pull], bool] | None, str]]:
        """Code, whether a pull meets it (None: no pull can), and what is said where too few do."""
        conditions: list[tuple[str, Callable[[Pull], bool] | None, str]] = []
        record = self._record
        if "closure" in self._needs:
            sheet = record.last(Kind.PACK)
            of_sheet = None if sheet is None else pack_text(sheet, "closure")
            text = say("pulls with the case closed as it will run are needed (closure 'final': every bolt at its torque)")
            conditions.append(("closure", lambda pull: folded(pull.term("closure") or of_sheet) == "final", text))
        if "arrangement" in self._needs and card is not None and card.arrangement is not None:
            wanted = folded(card.arrangement)
            text = say("pulls in the spec card's arrangement {arrangement} are needed", arrangement=card.arrangement)
            conditions.append(("arrangement", lambda pull: folded(pull.term("arrangement")) == wanted, text))
        if "oil" in self._needs:
            oil = record.last(Kind.OIL)
            if oil is None:
                conditions.append(("oil", None, ""))
            else:
                content = oil.content
                lubricant, additive = folded(content["text"]), folded_additive(content.get("additive"))
                named = say("{oil} without additive", oil=content["text"])
                if additive:
                    named = say("{oil} with {additive}", oil=content["text"], additive=content["additive"])
                conditions.append(
                    (
                        "oil",
                        lambda pull: _oil(pull) == (lubricant, additive),
                        say("pulls with the service oil ({oil}) are needed", oil=named),
                    )
                )
        if "calibration" in self._needs:
            text = say("pulls by a sensor in calibration are needed (a due date not before the day of the pull)")
            conditions.append(("calibration", _in_calibration, text))
        return conditions

    def _as_they_count(self, card: CardWindow | None) -> str:
        """What pulls yet to be made must be like: known before the first, not after the last."""
        wanted = []
        if "closure" in self._needs:
            wanted.append(say("case closed as it will run"))
        if "arrangement" in self._needs and card is not None and card.arrangement is not None:
            wanted.append(say("arrangement {arrangement}", arrangement=card.arrangement))
        if "oil" in self._needs:
            wanted.append(say("service oil"))
        if "calibration" in self._needs:
            wanted.append(say("sensor in calibration"))
        return "; " + say("to count they need: {conditions}", conditions=", ".join(wanted)) if wanted else ""

    def _no_oil(self) -> Missing:
        return Missing(
            "oil", say("no service oil is entered"), f": platepull job add {self._record.job} oil TEXT [--additive TEXT]"
        )

    def _judge(self, pulls: Sequence[Pull], card: CardWindow | None, found: list[Missing]) -> None:
        if card is not None and "verdict" in self._needs:
            self.series = self._judging.series(pulls)
            verdict = self.series.verdict
            assert verdict is not None
            if verdict.state is not VerdictState.IN_WINDOW:
                enough = _enough(pulls, PULLS_WHERE_UNDECIDED)
                # That of the direction that stands worse.
                probability = verdict.probability_in_window if verdict.state is VerdictState.UNDECIDED and enough else None
                if probability is not None and probability >= PROBABILITY_WHERE_UNDECIDED:
                    self.remarks.append(say(READS_IN_WINDOW))
                else:
                    text = say("the series is not in the window: {verdict}", verdict=verdict_text(verdict, verdict.window_unit))
                    likely = verdict.probability_in_window if verdict.state is VerdictState.UNDECIDED else None
                    if likely is not None and likely >= PROBABILITY_WHERE_UNDECIDED and not enough:
                        text += " " + say(
                            "This step takes a probability of {share} % or more, once there are {n} pulls each way: "
                            "pull on to {n} each way.",
                            share=f"{100 * PROBABILITY_WHERE_UNDECIDED:.0f}",
                            n=PULLS_WHERE_UNDECIDED,
                        )
                    found.append(Missing("verdict", text))
        if "chatter" in self._needs:
            chattering = [pull for pull in pulls if pull.chattering]
            told = [pull for pull in pulls if pull.chattering is not None]
            if chattering:
                text = say("the plates chatter in {n} of {all} pulls", n=len(chattering), all=len(pulls))
                found.append(Missing("chatter", text))
            elif not _enough(told) and CHATTER_ACKNOWLEDGED not in self._acknowledged:
                text = say(
                    "chatter could be told in {n} of {all} pulls only: turn farther or sample faster", n=len(told), all=len(pulls)
                )
                way = say(", or acknowledge it by name: --acknowledge {code} --who W", code=CHATTER_ACKNOWLEDGED)
                found.append(Missing("chatter", text, way))
            elif not _enough(told):
                self.remarks.append(say("chatter was not assessable; acknowledged"))


# -- the pack ---------------------------------------------------------------------------------------------------------------------


def last_change(record: JobRecord) -> Entry | None:
    """The last pack sheet that counts whose plates, springs, stack or shims differ from the one before; the first one does."""
    change = before = None
    for sheet in record.of(Kind.PACK, counting=True):
        if before is None or fitted(sheet.content["sheet"]) != fitted(before.content["sheet"]):
            change = sheet
        before = sheet
    return change


def plate_state(record: JobRecord) -> str | None:
    """The plates' state by the last pack sheet that counts."""
    sheet = record.last(Kind.PACK)
    return None if sheet is None else pack_text(sheet, "plate_state")


def pack_text(sheet: Entry, key: str) -> str | None:
    """A text under `[pack]` of a pack sheet; None where it says nothing."""
    value = (sheet.content["sheet"].get("pack") or {}).get(key)
    return None if value is None else str(value)


def _after(pull: Pull, change: Entry) -> bool:
    """Whether the pull was entered after the pack sheet, and made after it where both say when."""
    if pull.entry.entry < change.entry:
        return False
    made, changed = _moment(pull.term("when")), _moment(pack_text(change, "when"))
    if made is None or changed is None:
        return True
    if made.tzinfo is None or changed.tzinfo is None:
        made, changed = made.replace(tzinfo=None), changed.replace(tzinfo=None)
    return made >= changed


def _moment(text: str | None) -> datetime | None:
    try:
        return None if text is None else datetime.fromisoformat(text)
    except ValueError:
        return None


# -- the pulls --------------------------------------------------------------------------------------------------------------------


def _enough(pulls: Sequence[Pull], each_way: int = PULLS_EACH_WAY) -> bool:
    return all(sum(pull.direction == way for pull in pulls) >= each_way for way in (1, -1))


def _count(pulls: Sequence[Pull]) -> str:
    """So many one way and so many the other."""
    one, other = (sum(pull.direction == way for pull in pulls) for way in (1, -1))
    return say("{one} one way and {other} the other", one=one, other=other) if one or other else say("none")


def _too_few(pulls: Sequence[Pull]) -> str:
    return say("{n} pulls each way are needed; that count: {count}", n=PULLS_EACH_WAY, count=_count(pulls))


def _newest_phase(pulls: Sequence[Pull]) -> list[Pull]:
    """The pulls of the phase that was pulled last: what the unit is now."""
    if not pulls:
        return []
    newest = folded(pulls[-1].term("phase"))
    return [pull for pull in pulls if folded(pull.term("phase")) == newest]


def _oil(pull: Pull) -> tuple[str, str]:
    return folded(pull.term("lubricant")), folded_additive(pull.term("additive"))


def _in_calibration(pull: Pull) -> bool:
    due = _day((pull.terms.get("calibration") or {}).get("due"))
    made = _day(pull.term("when") or pull.entry.at)
    return due is not None and made is not None and due >= made


def _day(text: object) -> date | None:
    try:
        return date.fromisoformat(str(text)[:10])
    except ValueError:
        return None


# -- the refit sheets -------------------------------------------------------------------------------------------------------------


def _answers(record: JobRecord, section: str) -> list[Mapping[str, Any]]:
    """The newest answer of each name in a section, over all refit sheets that count."""
    found: dict[str, Mapping[str, Any]] = {}
    for entry in record.of(Kind.REFIT, counting=True):
        found |= {folded(answer["name"]): answer for answer in entry.content["answer"].get(section, ())}
    return list(found.values())


def _fasteners(record: JobRecord) -> list[Missing]:
    groups = _answers(record, "fasteners")
    if not groups:
        way = f": platepull job add {record.job} refit REFIT.toml, [[fasteners]]"
        return [Missing("fasteners", say("no fasteners are entered"), way)]
    by_tabs = [group for group in groups if folded(group.get("locked_by")) == "tabs"]
    return [
        Missing("fasteners", _said(group, say("not every bolt is recorded and in tolerance")))
        for group in by_tabs or groups
        if not group["complete"]
    ]


def _set_by_refit(record: JobRecord, code: str, section: str, name: str) -> list[Missing]:
    answers = _answers(record, section)
    if not answers:
        way = f": platepull job add {record.job} refit REFIT.toml, [[{code}]]"
        return [Missing(code, say("no {name} is entered (nor that it is set after)", name=name), way)]
    return [
        Missing(code, f"{name}: {_said(answer, answer['state'])}")
        for answer in answers
        if not answer.get("set_after") and not _holds(answer)
    ]


def _said(answer: Mapping[str, Any], otherwise: str) -> str:
    """The answer's own sentence, which begins with the name of what it is about."""
    text = retold_each(str(answer.get("text") or otherwise))
    return text if text.startswith(answer["name"]) else f"{answer['name']}: {text}"


def _holds(answer: Mapping[str, Any]) -> bool:
    return answer["state"] == "in_window" and answer.get("variation_state") in (None, "in_window")
