"""Before against after in words: conditions, refusals, figures, chatter, run-in; for terminal, documents, window and sheet."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.compare.chatter import ChatterOutcome, Outcome
from analysis.compare.comparison import Comparison
from analysis.compare.conditions import Condition, Field, Question, Refusal, Refused, State, Value
from analysis.compare.effects import Conclusion
from analysis.compare.figures import Figure
from analysis.compare.pulls import ComparedPull, FigureName
from analysis.units import in_unit
from analysis.verdict.apart import Apart
from rig.words.comparison_sides import run_in_text, speed_text
from rig.words.language import number, say, say_n
from rig.words.numbers import unit_name

FIGURE_NAMES = {
    FigureName.BREAKAWAY: "breakaway",
    FigureName.SLIDING: "sliding",
    FigureName.RATIO: "breakaway over sliding",
    FigureName.CHATTER_RATE: "chatter, slips a second",
    FigureName.CHATTER_HEIGHT: "chatter, height",
    FigureName.CHATTER_HEIGHT_SHARE: "chatter, height over sliding",
    FigureName.CHATTER_SEVERITY: "chatter, severity",
    FigureName.STUCK_TIME: "time stuck",
}
CONCLUSION_WORDS = {
    Conclusion.ROSE: "ROSE",
    Conclusion.FELL: "FELL",
    Conclusion.HELD: "HELD",
    Conclusion.OPEN: "OPEN",
}
APART_WORDS = {
    Apart.FIRST_AFTER_REST: "first after a long rest",
    Apart.EXCLUDED: "excluded by a person",
    Apart.STRAY: "far off the others",
    Apart.DOUBTFUL: "doubtful reading",
    Apart.NO_READING: "no reading",
    Apart.DUPLICATE: "the same pull twice",
}
FIELD_NAMES = {
    Field.ARRANGEMENT: "arrangement",
    Field.OIL: "oil",
    Field.ADDITIVE: "additive",
    Field.PLATES: "plates",
    Field.TEMPERATURE: "temperature",
    Field.SPEED: "speed",
    Field.REST: "rest",
    Field.CLOSURE: "closure",
    Field.LEVER: "lever and adapter",
    Field.CERTIFICATE: "sensor and certificate",
    Field.UNIT: "unit",
    Field.DIRECTION: "direction",
    Field.RATE: "samples a second",
}
QUESTION_WORDS = {
    Question.ADDITIVE: "the additive",
    Question.OIL: "the oil",
    Question.PLATES: "the plates",
    Question.TEMPERATURE: "the temperature",
    Question.REST: "the rest before a pull",
    Question.SPEED: "the speed",
    Question.NONE: "nothing: the same state twice",
}
_UNITS = {Field.TEMPERATURE: ("°C", 0), Field.SPEED: ("deg/s", 1), Field.REST: ("s", 0), Field.RATE: ("Hz", 0)}
_NO_UNIT = {FigureName.RATIO: 3, FigureName.CHATTER_RATE: 2}


def condition_values(field: Field, values: Sequence[Value]) -> list[str]:
    """The values of a field as they are shown, such as '21 °C'."""
    return [_shown(field, value) for value in values]


def _shown(field: Field, value: Value) -> str:
    if field is Field.DIRECTION:
        return say("first direction") if value == 1 else say("other way")
    if isinstance(value, str):
        return value
    unit, digits = _UNITS.get(field, ("", 0))
    return f"{number(float(value), digits)} {unit}".strip()


def _list(field: Field, values: Sequence[Value]) -> str:
    return ", ".join(condition_values(field, values)) or say("unknown")


def condition_text(condition: Condition) -> str:
    """One field of both sides, and how it stands."""
    name, before, after = (
        say(FIELD_NAMES[condition.field]),
        *(_list(condition.field, v) for v in (condition.before, condition.after)),
    )
    if condition.is_question and condition.state is State.VARIES:
        mixed = "{name}: {before} before, {after} after: this is the question, and it varies within a side"
        return say(mixed, name=name, before=before, after=after)
    if condition.is_question and condition.state is not State.ALIKE:
        return say("{name}: {before} before, {after} after: this is the question", name=name, before=before, after=after)
    match condition.state:
        case State.ALIKE:
            return say("{name}: alike ({value})", name=name, value=before if before == after else f"{before}; {after}")
        case State.UNKNOWN:
            return say("{name}: not stated on either side", name=name)
        case State.PARTLY_UNKNOWN:
            return say("{name}: {before} before, {after} after: not stated everywhere", name=name, before=before, after=after)
        case State.VARIES:
            return say("{name}: {before} before, {after} after: it varies within a side", name=name, before=before, after=after)
        case _:
            return say("{name}: {before} before, {after} after: not alike", name=name, before=before, after=after)


REFUSED_WORDS = {
    Refused.ARRANGEMENT_DIFFERS: (
        "the arrangement differs: {before} before, {after} after; held and turned otherwise the same pack reads otherwise",
        "pull one side again in the arrangement of the other",
    ),
    Refused.ARRANGEMENT_MIXED: (
        "a side holds pulls of several arrangements: {before} before, {after} after",
        "name only the pulls of one arrangement",
    ),
    Refused.OIL_DIFFERS: (
        "the oil differs: {before} before, {after} after",
        "if the oil is what you ask about, say --question oil",
    ),
    Refused.ADDITIVE_DIFFERS: (
        "the additive differs: {before} before, {after} after",
        "if the additive is what you ask about, say --question additive",
    ),
    Refused.PLATES_DIFFER: (
        "the plates differ: {before} before, {after} after",
        "if the plates are what you ask about, say --question plates",
    ),
    Refused.TEMPERATURE_FAR: (
        "the temperatures lie too far apart: {before} before, {after} after",
        "pull again at the temperature of the other side; if the temperature is what you ask about, say --question temperature",
    ),
    Refused.TWO_CAUSES: (
        "more than one thing differs: {differing}; a change could come from any of them",
        "change one thing at a time, or say with --question which one you ask about and --despite the other",
    ),
    Refused.SAME_TRACE: ("the same pull stands on both sides: {before} and {after}", "name each pull once"),
    Refused.NO_READING: ("a side has no pull that can be read: {before} before, {after} after", "pull again"),
}


STATE_WORDS = {
    State.ALIKE: "alike",
    State.DIFFERS: "not alike",
    State.VARIES: "varies within a side",
    State.PARTLY_UNKNOWN: "not stated everywhere",
    State.UNKNOWN: "not stated",
}


def state_word(condition: Condition) -> str:
    """How a field stands, in a word or two."""
    if condition.is_question and condition.state is not State.ALIKE:
        return say("the question")
    return say(STATE_WORDS[condition.state])


def refusal_text(refusal: Refusal) -> str:
    """Why the sides are not compared."""
    before, after = refusal_values(refusal)
    differing = [
        say(
            "{name} ({before} before, {after} after)",
            name=say(FIELD_NAMES[one.field]),
            before=_list(one.field, one.before),
            after=_list(one.field, one.after),
        )
        for one in refusal.differing
    ]
    return say(
        REFUSED_WORDS[refusal.code][0],
        before=", ".join(before) or say("unknown"),
        after=", ".join(after) or say("unknown"),
        differing=", ".join(differing),
    )


def refusal_remedy(refusal: Refusal) -> str:
    """What to do about it."""
    return say(REFUSED_WORDS[refusal.code][1])


def refusal_values(refusal: Refusal) -> tuple[list[str], list[str]]:
    """The values behind a refusal, as they are shown."""
    if refusal.field is None:
        return [str(value) for value in refusal.before], [str(value) for value in refusal.after]
    return condition_values(refusal.field, refusal.before), condition_values(refusal.field, refusal.after)


# -- figures ----------------------------------------------------------------------------------------------------------------------


def change(ratio: float) -> str:
    """A ratio as a change in percent, with its sign."""
    return f"{number(100 * (ratio - 1), 1, sign=True)} %"


def rough_change(ratio: float) -> str:
    """A ratio as a change in percent for large letters: no decimal from ten percent on."""
    percent = 100 * (ratio - 1)
    return f"{number(percent, 0 if abs(percent) >= 10 else 1, sign=True)} %"


def value_text(name: FigureName, value: float, unit: str = "N.m") -> str:
    """A value of a figure with its unit."""
    if name in (FigureName.BREAKAWAY, FigureName.SLIDING, FigureName.CHATTER_HEIGHT):
        return f"{number(in_unit(value, unit), 1)} {unit_name(unit)}"
    if name in _NO_UNIT:
        text = number(value, _NO_UNIT[name])
        return text if name is FigureName.RATIO else f"{text} /s"
    return f"{number(value, 1)} %"


def conclusion_word(figure: Figure) -> str:
    """The word of a figure, large."""
    return say(CONCLUSION_WORDS[figure.conclusion])


def interval_text(figure: Figure) -> str:
    """The change with its 95 % interval; empty where there is no ratio."""
    if figure.ratio is None:
        return ""
    if figure.ratio_low is None or figure.ratio_high is None:
        return change(figure.ratio)
    return f"{change(figure.ratio)} ({change(max(figure.ratio_low, 0.0))} … {change(figure.ratio_high)})"


def further_text(figure: Figure) -> str:
    """How many pulls are still wanted; empty where the figure is settled."""
    if figure.conclusion is not Conclusion.OPEN:
        return ""
    if figure.method is None:
        return say("a side with fewer than two pulls has no interval")
    if figure.further_pulls_each_side is None:
        return say("no useful number of pulls would settle it")
    if figure.further_pulls_each_side == 0:
        return ""
    return say("more pulls on each side that should settle it: {n}", n=figure.further_pulls_each_side)


SENTENCES = {
    Conclusion.ROSE: "{name} rose: {before} before, {after} after, {change}.",
    Conclusion.FELL: "{name} fell: {before} before, {after} after, {change}.",
    Conclusion.HELD: "{name} held within {threshold} %: {before} before, {after} after, {change}.",
    Conclusion.OPEN: "{name} is open: {before} before, {after} after, {change}",
}


def figure_text(name: FigureName, figure: Figure, threshold: float, unit: str = "N.m") -> str:
    """One figure as a sentence."""
    shown = interval_text(figure) or say("no ratio")
    words = say(
        SENTENCES[figure.conclusion],
        name=say(FIGURE_NAMES[name]),
        before=value_text(name, figure.before.centre, unit),
        after=value_text(name, figure.after.centre, unit),
        change=shown,
        threshold=number(100 * threshold, 0 if float(100 * threshold).is_integer() else 1),
    )
    words = words[0].upper() + words[1:]
    if figure.conclusion is Conclusion.OPEN:
        further = further_text(figure)
        words += f"; {further}." if further else "."
    if figure.labels:
        words += " " + say("With a reservation: {fields}.", fields=", ".join(say(label_name(label)) for label in figure.labels))
    return words


def label_name(label: str) -> str:
    """A label of a figure as a person says it."""
    return FIELD_NAMES[Field(label)] if label in set(Field) else "run-in not over"


# -- chatter ----------------------------------------------------------------------------------------------------------------------


def chatter_text(chatter: ChatterOutcome) -> str:
    """What became of the chatter. The word 'cured' stands here only where enough quiet pulls of enough kinds carry it."""
    before, after = chatter.before, chatter.after
    counts = say_n(
        "chatter in {k} of 1 pull before, {l} of {m} after",
        "chatter in {k} of {n} pulls before, {l} of {m} after",
        before.assessable,
        k=before.chattering,
        l=after.chattering,
        m=after.assessable,
    )
    match chatter.outcome:
        case Outcome.CURED | Outcome.QUIET_SO_FAR:
            words = _quiet_text(chatter)
            if chatter.may_say_cured:
                words = say("cured: {words}", words=words)
            if chatter.outcome is Outcome.QUIET_SO_FAR:
                words += "; " + say("quiet pulls still wanted: {n}", n=chatter.further_pulls_after)
            words = f"{say('chatter')}: {counts}; {words}"
        case Outcome.NONE_BEFORE:
            words = say("no chatter before")
            if after.chattering:
                words += "; " + say_n(
                    "it chatters in 1 pull after", "it chatters in {l} of {n} pulls after", after.assessable, l=after.chattering
                )
            else:
                words += "; " + say_n("none after in 1 pull", "none after in {n} pulls", after.assessable)
        case Outcome.NOT_ASSESSABLE:
            words = say("what became of the chatter cannot be told: too few readable pulls, another lever or another speed")
            words += f" ({counts})"
        case Outcome.LESS:
            words = say("it chatters less: {counts}", counts=counts)
        case Outcome.MORE:
            words = say("it chatters more: {counts}", counts=counts)
        case Outcome.AS_BEFORE:
            words = say("it chatters as before: {counts}", counts=counts)
        case _:
            words = say("whether the chatter changed is open: {counts}", counts=counts)
    if chatter.chattering_excluded:
        words += "; " + say("of the pulls a person excluded, {n} chatter", n=chatter.chattering_excluded)
    return words[0].upper() + words[1:] + "."


def is_new(chatter: ChatterOutcome) -> bool:
    """Whether it chatters only since."""
    return chatter.outcome is Outcome.NONE_BEFORE and chatter.after.chattering > 0


def chatter_word(chatter: ChatterOutcome) -> str:
    """What became of the chatter in a word or two, large; 'cured' only where the sentence says it too."""
    words = {
        Outcome.CURED: say("CURED") if chatter.may_say_cured else say("QUIET SO FAR"),
        Outcome.QUIET_SO_FAR: say("QUIET SO FAR"),
        Outcome.NONE_BEFORE: say("NEW") if is_new(chatter) else say("NONE"),
        Outcome.NOT_ASSESSABLE: say("NOT TO BE TOLD"),
        Outcome.LESS: say("LESS"),
        Outcome.MORE: say("MORE"),
        Outcome.AS_BEFORE: say("AS BEFORE"),
        Outcome.OPEN: say("OPEN"),
    }
    return words[chatter.outcome]


def _quiet_text(chatter: ChatterOutcome) -> str:
    m = chatter.after.assessable
    at = []
    if chatter.speeds_deg_s is not None:
        low, high = (number(speed, 0) for speed in chatter.speeds_deg_s)
        at.append(say("{low} to {high} deg/s", low=low, high=high))
    if chatter.temperature_c is not None:
        at.append(f"{number(chatter.temperature_c, 0)} °C")
    if chatter.rest_s is not None:
        at.append(say("rest {rest} s", rest=number(chatter.rest_s, 0)))
    words = say_n("quiet in 1 of 1 pull on this bench", "quiet in {n} of {n} pulls on this bench", m) + (
        f" ({', '.join(at)})" if at else ""
    )
    if chatter.not_excluded is not None:
        words += "; " + say("up to {share} % of pulls not excluded", share=number(100 * chatter.not_excluded, 0))
    return words + "; " + say("slow turns with warm oil decide")


# -- all of it --------------------------------------------------------------------------------------------------------------------


def apart_text(pull: ComparedPull) -> str:
    """A pull that stands apart, with its reason."""
    return f"{pull.trace} ({apart_reason(pull)})"


def apart_reason(pull: ComparedPull) -> str:
    """Why a pull stands apart; what a person wrote is told too."""
    reason = say(APART_WORDS[pull.apart]) if pull.apart is not None else ""
    return f"{reason}: {pull.stated.excluded}" if pull.apart is Apart.EXCLUDED and pull.stated.excluded else reason


def question_text(comparison: Comparison) -> str:
    """What is compared."""
    return say("before against after; what may differ: {question}", question=say(QUESTION_WORDS[comparison.question]))


def comparison_texts(comparison: Comparison, unit: str = "N.m") -> list[str]:
    """Everything as sentences, in the order of reading."""
    if not comparison.made:
        return [refusal_text(one) + "; " + refusal_remedy(one) for one in comparison.refused]
    texts = [_counts_text(comparison)]
    texts += [condition_text(one) for one in comparison.conditions if one.is_question and one.state is not State.ALIKE]
    texts += [condition_text(one) for one in comparison.conditions if one.labels]
    unknown = [say(FIELD_NAMES[one.field]) for one in comparison.conditions if one.state is State.UNKNOWN]
    if unknown:
        texts.append(say("Not stated on either side: {fields}.", fields=", ".join(unknown)))
    if comparison.chatter is not None:
        texts.append(chatter_text(comparison.chatter))
    order = (FigureName.SLIDING, FigureName.BREAKAWAY, FigureName.RATIO, *list(FigureName)[3:])
    chattered = comparison.chatter is not None and comparison.chatter.before.chattering + comparison.chatter.after.chattering > 0
    for name in order:
        figure = comparison.figures.get(name)
        if figure is not None and (chattered or name in order[:3]):
            texts.append(figure_text(name, figure, comparison.threshold, unit))
    if chattered and (bench := _bench_text(comparison, unit)):
        texts.append(bench)
    texts += _side_texts(comparison)
    return texts


def _bench_text(comparison: Comparison, unit: str) -> str:
    """What of the chatter is the bench's and not the friction's."""
    speeds = [one for one in (comparison.speed_before, comparison.speed_after) if one is not None]
    stiffness = next((one.stiffness_nm_per_deg for one in speeds if one.stiffness_nm_per_deg is not None), None)
    medians = sorted(pull.speed_deg_s for pull in comparison.before if pull.chatter.present and pull.speed_deg_s is not None)
    if stiffness is None or not medians:
        return ""
    return say(
        "Of the chatter the drop of friction is the plates' own; rate and height also belong to this bench: "
        "{speed} deg/s, {stiffness} {unit}/deg from hand to plates.",
        speed=number(medians[len(medians) // 2], 0),
        stiffness=number(in_unit(stiffness, unit), 1),
        unit=unit_name(unit),
    )


def _counts_text(comparison: Comparison) -> str:
    counted = [sum(pull.counted for pull in side) for side in (comparison.before, comparison.after)]
    words = say_n("1 pull counted before, {m} after", "{n} pulls counted before, {m} after", counted[0], m=counted[1])
    apart = [apart_text(pull) for side in (comparison.before, comparison.after) for pull in side if not pull.counted]
    if apart:
        words += "; " + say_n("1 stands apart: {pulls}", "{n} stand apart: {pulls}", len(apart), pulls=", ".join(apart))
    return words + "."


def _side_texts(comparison: Comparison) -> list[str]:
    texts = []
    gap = say("the pulls lie over 15 % apart, and of two or three nobody can tell which one is off: pull once or twice more")
    for side, run_in, speed, has_gap in (
        (say("before"), comparison.run_in_before, comparison.speed_before, comparison.gap_before),
        (say("after"), comparison.run_in_after, comparison.speed_after, comparison.gap_after),
    ):
        if has_gap:
            texts.append(f"{side}: {gap}.")
        if run_in is not None and run_in.trend_percent is not None:
            texts.append(f"{side}: {run_in_text(run_in)}.")
        if speed is not None and speed.slope is not None:
            texts.append(f"{side}: {speed_text(speed)}.")
    return [text[0].upper() + text[1:] for text in texts]
