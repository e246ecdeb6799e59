"""What the big panel says of a pull: words, numbers and a tone, ready to be painted. No Qt."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

from analysis.judgement import Missing, Verdict, VerdictState
from analysis.results import PullResult
from analysis.sensor.zero_history import EXERCISE_LOADS
from analysis.units import in_unit
from analysis.window import Basis, Window
from rig.live.news import Exercised
from rig.window.conditions import FIELD_NAMES
from rig.window.model import BenchState, Pull
from rig.words.language import number, say
from rig.words.numbers import digits, rounded, torque, unit_name, way_mark
from rig.words.sentences import QUALITY_WORDS, STATE_WORD
from rig.words.units import UnitChoice
from rig.words.verdicts import missing_text, settling_text


class Tone(StrEnum):
    """How a verdict looks: each tone has a shape and a colour of its own."""

    GOOD = "good"
    LOW = "low"
    HIGH = "high"
    UNDECIDED = "undecided"
    CHATTER = "chatter"
    STOP = "stop"
    NONE = "none"


TONES = {
    VerdictState.IN_WINDOW: Tone.GOOD,
    VerdictState.BELOW: Tone.LOW,
    VerdictState.ABOVE: Tone.HIGH,
    VerdictState.UNDECIDED: Tone.UNDECIDED,
    VerdictState.NO_READING: Tone.NONE,
}


@dataclass(frozen=True, slots=True)
class VerdictView:
    """A verdict in words.

    `value` is the number alone and `unit` its unit, `second` the same in the other unit ("" where one unit is wished).
    `notes` say what the verdict lacks or what makes it doubtful, most important first.
    """

    tone: Tone
    word: str
    value: str
    unit: str
    second: str
    margin: str
    uncertainty: str
    notes: tuple[str, ...]

    def spoken(self) -> str:
        """All of it in one line, for screen readers and tests."""
        parts = (self.word, f"{self.value} {self.unit}".strip(), self.second, self.uncertainty, self.margin, *self.notes)
        return ". ".join(part for part in parts if part)


@dataclass(frozen=True, slots=True)
class Scale:
    """Where the value stands against the window, all in one unit; labels are finished text. None: no such limit or value."""

    low: float | None
    high: float | None
    value: float | None
    spread: float
    end: float
    low_text: str
    high_text: str


@dataclass(frozen=True, slots=True)
class LiveView:
    """What the panel shows while there is no verdict to show: the torque now.

    `alarm`: the hand should stop; `stale`: the line is lost, the value is the last one that came and is struck through.
    """

    word: str
    value: str
    unit: str
    note: str
    alarm: bool = False
    stale: bool = False


def window_text(window: Window | None, unit: UnitChoice) -> str:
    """The window as a person reads it, in the chosen unit or both; a line each."""
    if window is None:
        return say("no window set")

    def one(name: str) -> str:
        low, high = (None if limit is None else in_unit(limit, name) for limit in (window.low_nm, window.high_nm))
        if low is None and high is not None:
            return say("up to {high} {unit}", high=number(high, 1), unit=unit_name(name))
        if high is None and low is not None:
            return say("from {low} {unit}", low=number(low, 1), unit=unit_name(name))
        return f"{number(low or 0.0, 1)} – {number(high or 0.0, 1)} {unit_name(name)}"

    basis = say("pack breakaway") if window.basis is Basis.BREAKAWAY else say("pack sliding")
    return "\n".join([basis, one(unit.first), *([one(unit.second)] if unit.second else [])])


def verdict_word(state: VerdictState) -> str:
    """The one word read from three metres."""
    return say(STATE_WORD[state])


def tone_word(tone: Tone) -> str:
    """What a tone of sound and colour stands for."""
    if tone in (Tone.CHATTER, Tone.STOP):
        return say("CHATTERS") if tone is Tone.CHATTER else say("STOP")
    states = {tone: state for state, tone in TONES.items()}
    return say(STATE_WORD[states[tone]])


def state_word(state: BenchState) -> str:
    """The state of the bench in one or two words."""
    return {
        BenchState.NO_LINE: say("NO LINE"),
        BenchState.SEARCHING: say("LOOKING FOR THE LINE"),
        BenchState.WAITING: say("READY"),
        BenchState.PULLING: say("PULLING"),
        BenchState.READING: say("READING"),
        BenchState.EXERCISING: say("EXERCISE"),
        BenchState.LOST: say("LINE LOST"),
        BenchState.ENDED: say("ENDED"),
    }[state]


def state_hint(state: BenchState) -> str:
    """What the person can do now."""
    return {
        BenchState.NO_LINE: say("Choose a line or a recording on the line page (F6)."),
        BenchState.SEARCHING: say("The bench opens by itself as soon as the line answers."),
        BenchState.WAITING: say("Pull when you like. No key is needed."),
        BenchState.PULLING: say("Pull steadily. The reading comes when the lever is back at rest."),
        BenchState.READING: say("The pull is being read."),
        BenchState.EXERCISING: say("Load the sensor three times each way, let go each time."),
        BenchState.LOST: say("Check plug and power. It is opened again by itself."),
        BenchState.ENDED: say("Nothing more comes. All pulls are kept."),
    }[state]


def remarks(pull: Pull) -> tuple[str, ...]:
    """What stands behind the reading, most important first: set aside, early, nothing held, doubts, what was not stated."""
    result, notes = pull.result, []
    if pull.excluded:
        notes.append(say("set aside: {reason}", reason=pull.excluded))
    if pull.remark:
        notes.append(say("noted: {remark}", remark=pull.remark))
    if not pull.final:
        notes.append(say("first reading, the pull may go on"))
    if result.held_nothing:
        notes.append(say("nothing held: the unit turns freely"))
    if pull.verdict is not None:
        notes += [missing_text(code, pull.verdict) for code in pull.verdict.missing]
    elif lacks_sensor(result):
        notes.append(say("the sensor's uncertainty is not known: only noise is counted"))
    notes += quality(result)
    if pull.lacks:
        notes.append(say("not stated: {fields}", fields=", ".join(say(FIELD_NAMES[name]) for name in pull.lacks)))
    return tuple(notes)


def lacks_sensor(result: PullResult) -> bool:
    """Whether nothing is known of the sensor behind a reading."""
    reading = result.breakaway or result.sliding
    return reading is not None and all(line.source != "calibration" for line in reading.budget.lines)


def tone_of(verdict: Verdict, *, chatters: bool) -> Tone:
    """How a verdict looks: what chatters is never simply good."""
    tone = TONES[verdict.state]
    return Tone.CHATTER if chatters and tone is Tone.GOOD else tone


def word_of(verdict: Verdict, *, chatters: bool) -> str:
    """The one word read from three metres."""
    if chatters and verdict.state is VerdictState.IN_WINDOW:
        return say("CHATTERS")
    if verdict.held_nothing:
        return say("TURNS FREELY")
    return verdict_word(verdict.state)


def tone_of_pull(pull: Pull) -> Tone:
    """How a pull looks, and which tune is its."""
    if pull.verdict is None or pull.excluded is not None:
        return Tone.NONE
    return tone_of(pull.verdict, chatters=pull.result.chatter.present is True)


def view_of(pull: Pull, unit: UnitChoice) -> VerdictView:
    """The panel's words for a pull; one that was set aside gets no verdict, its reason stands in the notes."""
    if pull.excluded is None:
        return _counting(pull, unit)
    return replace(_counting(pull, unit), tone=Tone.NONE, word=say("SET ASIDE"), margin="", notes=remarks(pull))


def _counting(pull: Pull, unit: UnitChoice) -> VerdictView:
    chatters = pull.result.chatter.present is True
    slid = pull.result.sliding is not None
    told = chatters or (slid and pull.result.chatter.present is None)
    chatter = (f"{say('chatter')}: {chatter_text(pull.result, unit)}",) if told else ()
    notes = (*chatter, *remarks(pull))
    if pull.verdict is None:
        return _unjudged(pull.result, unit, notes)
    verdict = pull.verdict
    value, value_unit, second = value_text(verdict.value_nm, unit)
    after = settling_text(verdict)
    return VerdictView(
        tone=tone_of(verdict, chatters=chatters),
        word=word_of(verdict, chatters=chatters),
        value=value,
        unit=value_unit,
        second=second,
        margin=" · ".join([*([say("CHATTERS")] if chatters else []), _margin(verdict, unit)]),
        uncertainty=_uncertainty(verdict, unit),
        notes=(*([after] if after else []), *notes),
    )


def value_text(value_nm: float | None, unit: UnitChoice) -> tuple[str, str, str]:
    """A torque as the panel writes it: the number, its unit, the same in the second unit ('' where none is wished)."""
    if value_nm is None:
        return "–", "", ""
    first = in_unit(value_nm, unit.first)
    second = torque(value_nm, unit.second) if unit.second else ""
    return number(first, digits(unit.first, first)), unit_name(unit.first), second


def _unjudged(result: PullResult, unit: UnitChoice, notes: tuple[str, ...]) -> VerdictView:
    reading = result.breakaway
    value, value_unit, second = value_text(reading.torque_nm if reading else None, unit)
    # Without anything known of the sensor, noise alone would look like knowledge.
    spread = "" if reading is None or lacks_sensor(result) else spread_text(reading.torque_nm, reading.budget.expanded_u_nm, unit)
    word = say("NO WINDOW") if reading else say("NO READING")
    first = say("breakaway, not judged: no window set (F3)")
    return VerdictView(Tone.NONE, word, value, value_unit, second, "", spread, (first, *notes))


def _uncertainty(verdict: Verdict, unit: UnitChoice) -> str:
    if verdict.expanded_u_nm is None:
        return ""
    if verdict.held_nothing or verdict.value_nm is None:
        return say("less than {torque}", torque=torque(verdict.expanded_u_nm, unit.first))
    spread = spread_text(verdict.value_nm, verdict.expanded_u_nm, unit)
    if verdict.probability_in_window is None:
        return spread
    share = min(99.9, max(0.1, 100 * verdict.probability_in_window))
    mark = ">" if share == 99.9 else "<" if share == 0.1 else ""
    return spread + "   " + say("{share} % likely inside", share=mark + number(share, 1 if share > 99 or share < 1 else 0))


def spread_text(value_nm: float, expanded_u_nm: float, unit: UnitChoice) -> str:
    """An expanded uncertainty as it stands beside its value: two figures, rounded up."""
    if not expanded_u_nm:
        return ""
    _, spread = rounded(in_unit(value_nm, unit.first), in_unit(expanded_u_nm, unit.first))
    return f"± {spread} {unit_name(unit.first)}"


def _margin(verdict: Verdict, unit: UnitChoice) -> str:
    value, low, high = verdict.value_nm, verdict.low_nm, verdict.high_nm
    if value is None:
        return ""
    if Missing.LOWER_BOUND in verdict.missing:
        return say("at least; not the torque at which the plates let go")
    if low is not None and value < low:
        return say("short by {torque}", torque=torque(low - value, unit.first))
    if high is not None and value > high:
        return say("over by {torque}", torque=torque(value - high, unit.first))
    to_low = value - low if low is not None else None
    to_high = high - value if high is not None else None
    if to_high is None or (to_low is not None and to_low <= to_high):
        return say("{torque} above lower limit", torque=torque(to_low or 0.0, unit.first))
    return say("{torque} below upper limit", torque=torque(to_high, unit.first))


def quality(result: PullResult) -> tuple[str, ...]:
    """What makes the reading doubtful, in the user's language."""
    return tuple(say(QUALITY_WORDS[flag.code][0]) for flag in result.quality)


def chatter_text(result: PullResult, unit: UnitChoice) -> str:
    """What is known of chatter: where there is some, slips a second and height from rise to drop."""
    chatter = result.chatter
    if chatter.present is None:
        return say("cannot be told from this pull")
    if not chatter.present:
        return say("none")
    rate = "" if chatter.frequency_hz is None else f"{number(chatter.frequency_hz, 1)} Hz"
    height = "" if chatter.peak_to_peak_nm is None else torque(chatter.peak_to_peak_nm, unit.first)
    return ", ".join(part for part in (rate, height) if part) or say("yes")


def scale_of_verdict(verdict: Verdict | None, unit: UnitChoice) -> Scale | None:
    """Where the value stands against the window, in the first unit; None where nothing was judged."""
    value_nm, expanded_u_nm = (None, None) if verdict is None else verdict.decides
    if verdict is None or value_nm is None:
        return None
    per_nm = unit.per_nm
    low, high = (None if limit is None else limit * per_nm for limit in (verdict.low_nm, verdict.high_nm))
    value, spread = value_nm * per_nm, (expanded_u_nm or 0.0) * per_nm
    end = 1.15 * max(value + spread, *(limit for limit in (low, high) if limit is not None))
    return Scale(low, high, value, spread, end, "" if low is None else number(low, 1), "" if high is None else number(high, 1))


def live_view(
    now_nm: float | None,
    peak_nm: float | None,
    state: BenchState,
    unit: UnitChoice,
    exercised: Exercised | None = None,
    *,
    stop: bool = False,
    pulled: bool = False,
) -> LiveView:
    """The torque now; while pulling with the highest so far, while exercising with the last load.

    `stop`: the sensor's end is near; `pulled`: there are pulls in the series.
    """
    now = pulled or state in (BenchState.PULLING, BenchState.EXERCISING)
    word = say("TORQUE NOW") if now else say("NO PULL YET")
    value = None if now_nm is None else in_unit(abs(now_nm), unit.first)
    shown = "–" if value is None else number(value, digits(unit.first, value))
    note = state_hint(state)
    if state is BenchState.PULLING and peak_nm is not None:
        note = say("highest so far {torque}", torque=torque(peak_nm, unit.first))
    if state is BenchState.EXERCISING and exercised is not None:
        way, load = way_mark(exercised.direction), torque(exercised.torque_nm, unit.first)
        note = say("{way} {torque}: too low to count", way=way, torque=load)
        if exercised.times:
            note = say("{way} {torque}: load {times} of {all}", way=way, torque=load, times=exercised.times, all=EXERCISE_LOADS)
    if stop:
        word, note = say("STOP"), say("the sensor's end is near: ease off the lever")
    stale = state in (BenchState.LOST, BenchState.ENDED) and value is not None
    return LiveView(word, shown, unit_name(unit.first), note, alarm=stop, stale=stale)
