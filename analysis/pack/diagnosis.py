"""Hints from the sheet and the pulls together, with evidence and confidence; and why no shim will do it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from analysis.pack import priors
from analysis.pack.arrangement import Layout
from analysis.pack.context import Context, contexts, is_free
from analysis.pack.inference import LEAST_TORQUE_NM, Learnt
from analysis.pack.loads import Loads, loads_of, mean_torque_per_friction_nm
from analysis.pack.parts import SIDES, PlateState
from analysis.pack.shim_choice import SOLID_AT_MOST
from analysis.pack.told import Told
from analysis.window import Window

BUILT_OTHERWISE = 0.95
"""Confidence in what sheet and card say plainly; the rest is a slip of the pen."""
BUILT_OTHERWISE_BEFORE = 0.9
"""The same of an earlier series, whose build was written down later."""
COUNTED = 0.97
"""Confidence in rubbing faces counted from the order of the plates."""
NEW_HEIGHT_SD_MM = 0.01
"""Standard deviation of the free height that the card gives, rounded to hundredths and of a mean spring."""
LEAST_TRAVEL_MM = 0.1
"""A block of springs that is compressed by less gives no share of its load."""
BLOCK_LOST, BLOCK_LOST_SD = 0.05, 0.03
"""A block that lost a twentieth of its load has set, give or take what a rule reads."""
USUAL_FRICTION = 0.113
"""Middle (of the logarithm) of what oils give, 0.08 to 0.15, where the oil is not told."""
SIDES_APART_SD = 0.08
"""Standard deviation of weaker over stronger as first step and plateau give it."""
PLATES_TELL = 0.8
"""Of `FRICTION_OFF`: from here on plates are named among what would help."""
SPRINGS_WEAKER = 0.1
"""On the logarithm: what springs are counted to have lost at least, or where the card does not say."""
_LEAST_NM, _LEAST_CONE_MM = 1e-6, 0.01
"""Keep a ratio finite where a pack or a cone holds nothing."""
SAID_FROM = 0.2
"""Hints below this confidence are not worth a look."""
SET_BY_MM = 0.08
"""EN 16983 allows a new spring of 1 to 2 mm to be up to 0.08 mm lower than its free height: beyond that it has set."""
FRICTION_OFF = math.log(1.25)
"""Friction a quarter off what the oil gives is a finding."""
RATIO_OFF = 0.15
"""Breakaway over sliding further than this from what the oil gives, three standard deviations, is a finding."""
SIDES_APART = 0.6
"""Weaker over stronger pack below which the unit is called one-sided."""
RUNS_IN_FALL = 0.01
"""Fall from pull to pull of new plates that is worth a word."""


@dataclass(frozen=True, slots=True)
class Hint:
    """A finding with what speaks for it; confidence 0 to 1."""

    code: str
    confidence: float
    evidence: str
    first: bool = False
    """Whether it has to be made sure of before any shim is changed: the answer rests on it."""


def hints_of(learnt: Learnt, loads: Loads, context: Context) -> list[Hint]:
    """Hints worth a word, each code once, the surest first.

    Parameters
    ----------
    learnt
        What is known after the history.
    loads
        Of what is fitted now, in the draws of `learnt`.
    context
        Of what is fitted now.

    Returns
    -------
    list of Hint
        Those of a confidence of `SAID_FROM` or more.
    """
    found = [
        *_springs(learnt, loads),
        *_free(learnt),
        *_faces(learnt),
        *_friction(learnt, context),
        *_falling(learnt),
        *_one_sided(learnt, loads),
        *_arrangement(learnt),
        *_runs_in(learnt),
    ]
    surest = {one.code: one for one in sorted(found, key=lambda one: one.confidence)}
    return sorted((one for one in surest.values() if one.confidence >= SAID_FROM), key=lambda one: -one.confidence)


def _springs(learnt: Learnt, loads: Loads) -> Iterator[Hint]:
    unit = learnt.unit
    card = unit.card.springs
    names = (*unit.pack.now.left.springs, *unit.pack.now.right.springs)
    if card.free_height_mm is not None and names:
        heights = [(card.free_height_mm - unit.pack.springs[name].free_height_mm, name) for name in names]
        lost, name = max(heights)
        sd = math.hypot(unit.pack.uncertainty.free_height_mm, NEW_HEIGHT_SD_MM)
        confidence = float(ndtr((lost - SET_BY_MM) / sd))
        yield Hint(
            "springs_set",
            confidence,
            Told(
                "{name} is {lost:.2f} mm lower than new by the card ({free_height_mm:.2f} mm)",
                name=name,
                lost=lost,
                free_height_mm=card.free_height_mm,
            ),
        )
    block = unit.pack.block
    if block is not None and unit.card.block_free_length_mm is not None:
        lost = unit.card.block_free_length_mm - block.free_length_mm
        worth = lost / max(block.free_length_mm - block.fitted_length_mm, LEAST_TRAVEL_MM)
        text = Told(
            "the springs are {lost:.1f} mm shorter than new by the card: {n1:.0f} % of their load", lost=lost, n1=100 * worth
        )
        yield Hint("springs_set", float(ndtr((worth - BLOCK_LOST) / BLOCK_LOST_SD)), text)
    for name, side in zip(SIDES, unit.pack.now.sides, strict=True):
        if side.springs and card.stack is not None and not _same_stack(side.stack, card.stack):
            yield Hint(
                "springs_reversed",
                BUILT_OTHERWISE,
                Told("{name} is built '{stack}', the card has '{n1}'", name=name, stack=side.stack, n1=card.stack),
            )
    for name, side in zip(SIDES, unit.pack.now.sides, strict=True):
        if unit.card.layout is Layout.EACH and card.per_side and not side.springs:
            yield Hint(
                "spring_missing",
                BUILT_OTHERWISE,
                Told("{name} has no spring, the card {per_side}", name=name, per_side=card.per_side),
            )
    for number, entry in enumerate(unit.pack.history, start=1):
        for name, side in zip(SIDES, entry.build.sides, strict=True):
            if (
                card.per_side is not None
                and (side.springs or unit.card.layout is Layout.EACH)
                and len(side.springs) < card.per_side
            ):
                yield Hint(
                    "spring_missing",
                    BUILT_OTHERWISE,
                    Told(
                        "series {number}: {name} had {n1} springs, the card {per_side}",
                        number=number,
                        name=name,
                        n1=len(side.springs),
                        per_side=card.per_side,
                    ),
                )
            elif card.stack is not None and side.springs and not _same_stack(side.stack, card.stack):
                yield Hint(
                    "springs_reversed",
                    BUILT_OTHERWISE_BEFORE,
                    Told(
                        "series {number}: {name} was built '{stack}', the card has '{n1}'",
                        number=number,
                        name=name,
                        stack=side.stack,
                        n1=card.stack,
                    ),
                )
    solid = max((float(group.solid.mean()) for group in loads.groups), default=0.0)
    if solid > SOLID_AT_MOST:
        yield Hint("springs_solid", solid, Told("springs as fitted stand solid with a probability of {n1:.0f} %", n1=100 * solid))


def _free(learnt: Learnt) -> Iterator[Hint]:
    """A last series that held nothing although, by the sheet, its springs carry."""
    unit = learnt.unit
    before, _ = contexts(unit)
    if not before or not is_free(unit.pack.history[-1]):
        return
    build, still = unit.pack.history[-1].build, np.zeros(1)
    loads = loads_of(unit, learnt.unknowns, build, still, still)
    torque = mean_torque_per_friction_nm(unit, build, loads)[:, 0] * learnt.factor
    mean, sd = learnt.predict(before[-1])
    log_nm = np.log(np.maximum(torque, LEAST_TORQUE_NM)) + mean
    by_the_sheet = float(ndtr((math.log(priors.FREE_BELOW_NM) - log_nm) / sd).mean())
    other = priors.FREE_OTHER_CAUSE / (priors.FREE_OTHER_CAUSE + (1.0 - priors.FREE_OTHER_CAUSE) * by_the_sheet)
    expected_nm = math.exp(float(np.median(log_nm)))
    held = Told(
        "series {n1} held nothing, by the sheet it should read about {expected_nm:.0f} N.m", n1=len(before), expected_nm=expected_nm
    )
    text = Told("{held}: a spring left out or turned over, or the held side not engaged", held=held)
    yield Hint("spring_missing", other, text, first=True)


def _same_stack(mine: str, card: str) -> bool:
    """A stack looks the same turned over as a whole."""
    turned = mine.translate(str.maketrans("()", ")("))
    return mine == card or turned == card


def _faces(learnt: Learnt) -> Iterator[Hint]:
    unit = learnt.unit
    wanted = unit.card.faces_per_side
    if wanted is None:
        return
    for name, faces in zip(SIDES, unit.faces(unit.pack.now), strict=True):
        if faces < wanted:
            yield Hint(
                "faces_lost",
                COUNTED,
                Told(
                    "{name} has {faces} rubbing faces in this order, the card {wanted}: like plates lie together",
                    name=name,
                    faces=faces,
                    wanted=wanted,
                ),
            )


def _friction(learnt: Learnt, context: Context) -> Iterator[Hint]:
    if not learnt.observations:
        return
    mean, sd = learnt.friction(context)
    known = context.oil in priors.OILS
    expected = priors.OILS[context.oil].friction if known else USUAL_FRICTION
    off = mean - math.log(expected)
    high = float(ndtr((off - FRICTION_OFF) / sd).mean())
    low = float(ndtr((-off - FRICTION_OFF) / sd).mean())
    median = math.exp(float(np.median(mean)))
    with_oil = (
        Told("with {oil} oil {expected:.3f} is usual", oil=context.oil, expected=expected)
        if known
        else Told("0.08 to 0.15 is usual with oil")
    )
    yield Hint(
        "friction_high",
        high,
        Told(
            "the pulls speak for a friction of {median:.3f}; {with_oil}: dry plates or spent oil", median=median, with_oil=with_oil
        ),
    )
    yield Hint(
        "friction_low",
        low,
        Told(
            "the pulls speak for a friction of {median:.3f}; {with_oil}: glazed plates or too much modifier",
            median=median,
            with_oil=with_oil,
        ),
    )


def _falling(learnt: Learnt) -> Iterator[Hint]:
    """Friction that falls with speed: breakaway further over sliding than the oil has it."""
    for number, entry in enumerate(learnt.unit.pack.history, start=1):
        if is_free(entry) or not entry.breakaway_nm or not entry.sliding_nm:
            continue
        oil = priors.OILS.get(entry.build.oil or "", priors.OILS["plain"])
        ratio = (sum(entry.breakaway_nm) / len(entry.breakaway_nm)) / (sum(entry.sliding_nm) / len(entry.sliding_nm))
        off = math.log(ratio / oil.break_over_slide)
        text = Told(
            "series {number}: breakaway is {ratio:.2f} of sliding, {break_over_slide:.2f} is usual: dry plates or spent oil",
            number=number,
            ratio=ratio,
            break_over_slide=oil.break_over_slide,
        )
        yield Hint("friction_high", float(ndtr((off - RATIO_OFF) / priors.BREAK_OVER_SLIDE_SD)), text)


def _one_sided(learnt: Learnt, loads: Loads) -> Iterator[Hint]:
    unit = learnt.unit
    for number, entry in enumerate(unit.pack.history, start=1):
        steps = [s for s in entry.first_step_nm if s > 0.0]
        if steps and entry.breakaway_nm and entry.arrangement == "A":
            plateau = sum(entry.breakaway_nm) / len(entry.breakaway_nm)
            weaker = sum(steps) / len(steps)
            ratio = weaker / max(2.0 * plateau - weaker, _LEAST_NM)
            text = Told(
                "series {number}: first step at {weaker:.0f} of {plateau:.0f} N.m, the other pack {n1:.0f}",
                number=number,
                weaker=weaker,
                plateau=plateau,
                n1=2 * plateau - weaker,
            )
            yield Hint("one_sided", float(ndtr((SIDES_APART - ratio) / SIDES_APART_SD)), text)
    faces = unit.faces(unit.pack.now)
    packs = [n * load for n, load in zip(faces, loads.load_n, strict=True)]
    apart = np.minimum(*packs) / np.maximum(np.maximum(*packs), _LEAST_NM)
    text = Told("by sheet and pulls the weaker pack holds {n1:.0f} % of the stronger", n1=100 * float(np.median(apart)))
    yield Hint("one_sided", float((apart < SIDES_APART).mean()), text)


def _arrangement(learnt: Learnt) -> Iterator[Hint]:
    for number, entry in enumerate(learnt.unit.pack.history):
        wrong = sum(probability for pattern, probability in learnt.patterns if number in pattern.mistaken)
        if wrong >= SAID_FROM:
            other = "A" if entry.arrangement != "A" else "B or D"
            text = Told(
                "series {n1} reads as if pulled in {other}, not in {arrangement}: a factor of two",
                n1=number + 1,
                other=other,
                arrangement=entry.arrangement,
            )
            yield Hint("arrangement_mistaken", wrong, text, first=True)


def _runs_in(learnt: Learnt) -> Iterator[Hint]:
    for number, entry in enumerate(learnt.unit.pack.history, start=1):
        values = entry.breakaway_nm or entry.sliding_nm
        if entry.build.plate_state is not PlateState.NEW or is_free(entry) or len(values) < 3:
            continue
        order = np.arange(len(values)) - (len(values) - 1) / 2.0
        logs = np.log(values)
        slope = float(order @ logs / (order @ order))
        rest = logs - logs.mean() - slope * order
        sd = math.sqrt(float(rest @ rest) / (len(values) - 2) / float(order @ order))
        sd = math.hypot(sd, priors.PULL_TO_PULL.low / math.sqrt(float(order @ order)))
        text = Told("series {number}: new plates, and the pulls fall by {n1:.1f} % each", number=number, n1=-100 * slope)
        yield Hint("runs_in", float(ndtr((-slope - RUNS_IN_FALL) / sd)), text)


def why_not(learnt: Learnt, context: Context, window: Window, best_torque_nm: float, *, between_would_do: bool) -> tuple[str, ...]:
    """Why no shim will do it, the most likely reason first.

    Parameters
    ----------
    learnt, context
        What is known after the history, and the build in question.
    window
        In N.m.
    best_torque_nm
        What the nearest choice reaches, N.m.
    between_would_do
        Whether a size that is not in stock would land.

    Returns
    -------
    tuple of str
        `shelf` alone where a size between would do; else `springs`, and `plates` where their friction or faces are off.
    """
    unit = learnt.unit
    if between_would_do:
        return ("shelf",)
    low = window.low_nm is not None and best_torque_nm < window.low_nm
    friction_mean, _ = learnt.friction(context)
    expected = priors.OILS.get(context.oil)
    off = float(np.median(friction_mean)) - math.log(expected.friction if expected else USUAL_FRICTION)
    faces = unit.card.faces_per_side
    plates = 0.0
    if faces is not None:
        plates += math.log(max(faces, 1) / max(sum(unit.faces(unit.pack.now)) / 2.0, 0.5))
    plates -= off if low else 0.0
    if not low:
        plates = off
    springs = _spring_shortfall(learnt, low=low)
    found = [(springs, "springs")]
    if plates > FRICTION_OFF * PLATES_TELL:
        found.append((plates, "plates"))
    return tuple(code for _, code in sorted(found, reverse=True))


def _spring_shortfall(learnt: Learnt, *, low: bool) -> float:
    """Log by which the springs' load differs from new ones of the card in the same place; 0.1 where the card does not say."""
    unit = learnt.unit
    card = unit.card.springs
    if card.free_height_mm is None:
        return SPRINGS_WEAKER
    names = (*unit.pack.now.left.springs, *unit.pack.now.right.springs)
    if not names:
        return SPRINGS_WEAKER
    thickness = card.thickness_mm or unit.pack.springs[names[0]].thickness_mm
    new = card.free_height_mm - thickness
    now = sum(unit.pack.springs[name].cone_height_mm for name in names) / len(names)
    ratio = math.log(max(new, _LEAST_CONE_MM) / max(now, _LEAST_CONE_MM))
    return max(ratio if low else -ratio, SPRINGS_WEAKER)


def present_loads(learnt: Learnt) -> Loads:
    """Loads of what is fitted now, in every draw; one column."""
    still = np.zeros(1)
    return loads_of(learnt.unit, learnt.unknowns, learnt.unit.pack.now, still, still)


def present_context(learnt: Learnt) -> Context:
    """Context of what is fitted now."""
    return contexts(learnt.unit)[1]
