"""Whether two sides are like: what differs, whether that is the question, and what stands in the way (contract: COMPARE.md)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from analysis.compare.pulls import (
    ALL_FIGURES,
    CHATTER_FIGURES,
    TORQUE_FIGURES,
    ComparedPull,
    FigureName,
    median_or_none,
)
from analysis.verdict.apart import Apart


class Field(StrEnum):
    """What is compared of the conditions."""

    ARRANGEMENT = "arrangement"
    OIL = "oil"
    ADDITIVE = "additive"
    PLATES = "plates"
    TEMPERATURE = "temperature"
    SPEED = "speed"
    REST = "rest"
    CLOSURE = "closure"
    LEVER = "lever"
    CERTIFICATE = "certificate"
    UNIT = "unit"
    DIRECTION = "direction"
    RATE = "rate"


class State(StrEnum):
    """How a field stands."""

    ALIKE = "alike"
    DIFFERS = "differs"
    VARIES = "varies"
    PARTLY_UNKNOWN = "partly_unknown"
    UNKNOWN = "unknown"


class Weight(StrEnum):
    """What a difference does: refuses, labels figures that people act on, or is noted."""

    DECISIVE = "decisive"
    MATTERS = "matters"
    NOTED = "noted"


class Question(StrEnum):
    """What may differ between the sides."""

    ADDITIVE = "additive"
    OIL = "oil"
    PLATES = "plates"
    TEMPERATURE = "temperature"
    REST = "rest"
    SPEED = "speed"
    NONE = "none"


class Refused(StrEnum):
    """Why two sides are not compared."""

    ARRANGEMENT_DIFFERS = "arrangement_differs"
    ARRANGEMENT_MIXED = "arrangement_mixed"
    OIL_DIFFERS = "oil_differs"
    ADDITIVE_DIFFERS = "additive_differs"
    PLATES_DIFFER = "plates_differ"
    TEMPERATURE_FAR = "temperature_far"
    TWO_CAUSES = "two_causes"
    SAME_TRACE = "same_trace"
    NO_READING = "no_reading"


NEVER_OVERRIDDEN = (Refused.SAME_TRACE, Refused.NO_READING)
"""With the same pull on both sides, or none on one, there is nothing to compare."""

DECISIVE: dict[Field, Refused] = {
    Field.OIL: Refused.OIL_DIFFERS,
    Field.ADDITIVE: Refused.ADDITIVE_DIFFERS,
    Field.PLATES: Refused.PLATES_DIFFER,
}
"""Fields one of which may be the question without being asked."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ConditionRules:
    """How near is alike (contract; the trade notes' 4 and 6 behind it)."""

    temperature_near_c: float = 5.0
    temperature_far_c: float = 15.0
    speed_fold: float = 1.25
    rest_fold: float = 2.0
    rate_fold: float = 2.0


RULES = ConditionRules()
Value = str | float | int


@dataclass(frozen=True, slots=True)
class Condition:
    """One field of both sides. `before` and `after` hold its values there, texts or numbers in SI (°C for the temperature)."""

    field: Field
    state: State
    weight: Weight
    touches: tuple[FigureName, ...]
    before: tuple[Value, ...]
    after: tuple[Value, ...]
    is_question: bool = False

    @property
    def labels(self) -> bool:
        """Whether the figures it touches carry its name: it is not alike, and not what is asked.

        What is asked may differ between the sides; within a side it mixes what is to be told apart, and labels all the same.
        """
        if self.is_question:
            return self.state is State.VARIES
        return self.state in (State.DIFFERS, State.VARIES, State.PARTLY_UNKNOWN)


@dataclass(frozen=True, slots=True)
class Refusal:
    """One reason why the sides are not compared; `field` is None where it is none of the conditions, or not one alone.

    differing   the conditions behind it, where it is of conditions
    """

    code: Refused
    field: Field | None
    before: tuple[Value, ...] = ()
    after: tuple[Value, ...] = ()
    differing: tuple[Condition, ...] = ()


_TOUCHES: dict[Field, tuple[FigureName, ...]] = {
    Field.ARRANGEMENT: ALL_FIGURES,
    Field.OIL: ALL_FIGURES,
    Field.ADDITIVE: ALL_FIGURES,
    Field.PLATES: ALL_FIGURES,
    Field.TEMPERATURE: ALL_FIGURES,
    Field.SPEED: (FigureName.SLIDING, FigureName.RATIO, *CHATTER_FIGURES),
    Field.REST: (FigureName.BREAKAWAY, FigureName.RATIO),
    Field.CLOSURE: TORQUE_FIGURES,
    Field.LEVER: CHATTER_FIGURES,
    Field.CERTIFICATE: (FigureName.BREAKAWAY, FigureName.SLIDING),
    Field.UNIT: ALL_FIGURES,
    Field.DIRECTION: ALL_FIGURES,
    Field.RATE: CHATTER_FIGURES,
}
_NOTED = (Field.UNIT, Field.DIRECTION, Field.RATE)

Texts = Callable[[ComparedPull], tuple[str | None, ...]]
_TEXTS: dict[Field, Texts] = {
    Field.ARRANGEMENT: lambda pull: (pull.stated.arrangement,),
    Field.OIL: lambda pull: (pull.stated.oil,),
    Field.ADDITIVE: lambda pull: (pull.stated.additive,),
    Field.PLATES: lambda pull: (pull.stated.plates,),
    Field.CLOSURE: lambda pull: (pull.stated.closure,),
    Field.LEVER: lambda pull: (pull.stated.lever, pull.stated.adapter),
    Field.CERTIFICATE: lambda pull: (pull.stated.sensor, pull.stated.certificate),
    Field.UNIT: lambda pull: (pull.stated.unit,),
}


def folded(text: str) -> str:
    """A text with case and blanks aside.

    >>> folded("Invented  Gear Oil") == folded("inventedgear oil")
    True
    """
    return "".join(text.split()).casefold()


def conditions_of(before: Sequence[ComparedPull], after: Sequence[ComparedPull], rules: ConditionRules = RULES) -> list[Condition]:
    """All fields, in the order of the contract. What a person excluded and what gave no reading says nothing here.

    Parameters
    ----------
    before, after
        The pulls of each side, marked by `set_apart`.
    rules
        How near is alike: degrees Celsius for temperatures, factors for speed, rest and sampling rate.

    Returns
    -------
    list of Condition
        One a field, in the order of `Field`. Values: texts as written, median speed in deg/s, rest in s and rate in Hz, mean
        temperature in degrees Celsius, directions 1 and -1.
    """
    sides = [[pull for pull in side if pull.apart not in (Apart.EXCLUDED, Apart.NO_READING)] for side in (before, after)]
    made = {field: _by_text(field, sides[0], sides[1]) for field in _TEXTS}
    made[Field.TEMPERATURE] = _temperature(sides[0], sides[1], rules)
    made[Field.SPEED] = _by_number(Field.SPEED, [[pull.speed_deg_s for pull in side] for side in sides], rules.speed_fold)
    made[Field.REST] = _by_number(
        Field.REST, [[pull.stated.rest_s for pull in side if pull.counted] for side in sides], rules.rest_fold
    )
    made[Field.DIRECTION] = _direction(sides[0], sides[1])
    made[Field.RATE] = _by_number(Field.RATE, [[pull.rate_hz for pull in side] for side in sides], rules.rate_fold)
    return [made[field] for field in Field]


def _made(field: Field, state: State, before: Sequence[Value], after: Sequence[Value]) -> Condition:
    weight = Weight.NOTED if field in _NOTED else Weight.MATTERS
    if field in DECISIVE or field is Field.ARRANGEMENT:
        weight = Weight.DECISIVE
    return Condition(field, state, weight, _TOUCHES[field], tuple(before), tuple(after))


def _by_text(field: Field, before: Sequence[ComparedPull], after: Sequence[ComparedPull]) -> Condition:
    """A field of one or two texts: alike, differs, varies within a side, known in part or not at all."""
    texts = _TEXTS[field]
    shown: list[list[str]] = []
    known: list[list[set[str]]] = []
    holes = False
    for side in (before, after):
        rows = [texts(pull) for pull in side]
        width = len(texts(side[0])) if side else 1
        parts = [{folded(text) for row in rows if (text := row[at])} for at in range(width)]
        holes |= any(0 < sum(bool(row[at]) for row in rows) < len(rows) for at in range(width))
        shown.append(list(dict.fromkeys(", ".join(text for text in row if text) for row in rows if any(row))))
        known.append(parts)
    pairs = list(zip(*known, strict=False))
    if any(len(part) > 1 for side in known for part in side):
        state = State.VARIES
    elif any(one and other and one != other for one, other in pairs):
        state = State.DIFFERS
    elif not any(one or other for one, other in pairs):
        state = State.UNKNOWN
    elif holes or any(bool(one) != bool(other) for one, other in pairs):
        state = State.PARTLY_UNKNOWN
    else:
        state = State.ALIKE
    return _made(field, state, shown[0], shown[1])


def _by_number(field: Field, sides: Sequence[Sequence[float | None]], fold: float) -> Condition:
    first, second = (median_or_none(side) for side in sides)
    shown = [[] if value is None else [value] for value in (first, second)]
    if first is None or second is None:
        state = State.UNKNOWN if first is second else State.PARTLY_UNKNOWN
    else:
        low, high = sorted((first, second))
        state = State.ALIKE if high <= fold * low else State.DIFFERS
    return _made(field, state, shown[0], shown[1])


def _temperature(before: Sequence[ComparedPull], after: Sequence[ComparedPull], rules: ConditionRules) -> Condition:
    sides = [[pull.stated.temperature_c for pull in side if pull.stated.temperature_c is not None] for side in (before, after)]
    means = [float(np.mean(side)) if side else None for side in sides]
    shown = [[] if mean is None else [mean] for mean in means]
    first, second = means
    if first is None or second is None:
        state = State.UNKNOWN if first is second else State.PARTLY_UNKNOWN
    elif abs(first - second) > rules.temperature_near_c:
        state = State.DIFFERS
    elif any(max(side) - min(side) > rules.temperature_near_c for side in sides):
        state = State.VARIES
    elif len(sides[0]) < len(before) or len(sides[1]) < len(after):
        state = State.PARTLY_UNKNOWN
    else:
        state = State.ALIKE
    return _made(Field.TEMPERATURE, state, shown[0], shown[1])


def _direction(before: Sequence[ComparedPull], after: Sequence[ComparedPull]) -> Condition:
    ways = [sorted({pull.direction for pull in side if pull.direction}, reverse=True) for side in (before, after)]
    if not ways[0] or not ways[1]:
        state = State.UNKNOWN if ways[0] == ways[1] else State.PARTLY_UNKNOWN
    else:
        state = State.ALIKE if ways[0] == ways[1] else State.DIFFERS
    return _made(Field.DIRECTION, state, ways[0], ways[1])


@dataclass(frozen=True, slots=True)
class Admission:
    """Whether two sides may be compared: the question, the conditions with it marked, and what refuses (empty: nothing)."""

    question: Question
    asked: bool
    conditions: tuple[Condition, ...]
    refused: tuple[Refusal, ...]
    despite: tuple[Refused, ...]
    """What would have refused and was overridden."""


def admit(
    conditions: Sequence[Condition], asked: Question | None, despite: Sequence[Refused] = (), rules: ConditionRules = RULES
) -> Admission:
    """Find the question, or take the one that is asked, and everything that refuses.

    The question that is read off is the one of oil, additive and plates that differs. A temperature far off is never read off: a
    bench that cooled overnight is the commoner story, and the other one is asked for in a word.

    Parameters
    ----------
    conditions
        All fields, as `conditions_of` gives them.
    asked
        The question that a person put; None: it is read off.
    despite
        Refusals to override.
    rules
        `temperature_far_c` is the difference of mean temperatures, in degrees, beyond which sides are not compared.

    Returns
    -------
    Admission
        The question, the conditions with it marked, what refuses, and what was overridden.
    """
    by_field = {condition.field: condition for condition in conditions}
    different = [field for field in DECISIVE if by_field[field].state in (State.DIFFERS, State.VARIES)]
    told = [field for field in different if DECISIVE[field] not in despite]
    found: list[Refusal] = []
    if asked is not None:
        question = asked
    elif len(told) > 1:
        question = Question.NONE
        found.append(_refusal(Refused.TWO_CAUSES, *(by_field[field] for field in told)))
        told = []  # that there are two says it
    else:
        question = Question(told[0].value) if told else Question.NONE
    marked = tuple(replace(one, is_question=one.field.value == question.value) for one in conditions)
    arrangement = by_field[Field.ARRANGEMENT]
    if arrangement.state is State.DIFFERS:
        found.append(_refusal(Refused.ARRANGEMENT_DIFFERS, arrangement))
    elif arrangement.state is State.VARIES:
        found.append(_refusal(Refused.ARRANGEMENT_MIXED, arrangement))
    overridden = [field for field in different if DECISIVE[field] in despite]
    found += [_refusal(DECISIVE[field], by_field[field]) for field in (*told, *overridden) if field.value != question.value]
    temperature = by_field[Field.TEMPERATURE]
    if question is not Question.TEMPERATURE and temperature.before and temperature.after:
        apart_c = abs(float(temperature.before[0]) - float(temperature.after[0]))
        if apart_c > rules.temperature_far_c:
            found.append(_refusal(Refused.TEMPERATURE_FAR, temperature))
    waived = tuple(dict.fromkeys(one.code for one in found if one.code in despite and one.code not in NEVER_OVERRIDDEN))
    refused = tuple(one for one in found if one.code not in waived)
    return Admission(question, asked is not None, marked, refused, waived)


def _refusal(code: Refused, *conditions: Condition) -> Refusal:
    before = tuple(value for condition in conditions for value in condition.before)
    after = tuple(value for condition in conditions for value in condition.after)
    return Refusal(code, conditions[0].field if len(conditions) == 1 else None, before, after, conditions)
