"""The sentences of a pack's answer: what to change, what is expected, how sure; or why no shim will do it."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

from analysis.pack.answer import Answer, FromShop, FromShopCode
from analysis.pack.buildable import STILL_MM, ShimPair
from analysis.pack.limits import BeyondLimit
from analysis.pack.parts import SIDES
from analysis.pack.parts_choice import PartsChoice
from analysis.pack.problem import Problem
from analysis.pack.shim_choice import HOPELESS, Choice
from analysis.pack.told import Told
from analysis.units import in_unit
from rig.words.language import number, say

ADVICE = "It advises: the maker's manual, local rules and qualified persons decide."

Tell = Callable[..., str]
"""Fills the places of a sentence and says it in a language: `english`, which JSON speaks, or `spoken`, the person's."""

DECIMAL_POINT = re.compile(r"(?<=\d)\.(?=\d)")


def english(text: str, /, **parts: object) -> str:
    """A sentence in English."""
    return Told(text, **parts)


def spoken(text: str, /, **parts: object) -> str:
    """A sentence in the language of the window; sentences among its parts too."""
    return translated(Told(text, **parts))


def translated(text: str) -> str:
    """A sentence of the analysis in the language of the window; what was not made from a template stays as it is."""
    if not isinstance(text, Told):
        return say(text)
    parts = {key: translated(part) if isinstance(part, str) else part for key, part in text.parts.items()}
    filled = say(text.template).format(**parts)
    return DECIMAL_POINT.sub(number(0.5, 1)[1], filled)


WHOLE_FROM = 10.0
"""Torques from here on are written without decimals: what a choice of shims reads is known to some per cent."""

WHY_NOT_LOW = {
    "springs": Told("the springs carry too little"),
    "plates": Told("friction or rubbing faces are too low (glazed plates, too much modifier, like plates together)"),
    "shelf": Told("a size between those in stock would do"),
}
WHY_NOT_HIGH = {
    "springs": Told("the springs carry too much"),
    "plates": Told("friction is too high (dry plates, spent oil)"),
    "shelf": Told("a size between those in stock would do"),
}


def length(mm: float) -> str:
    """A length in mm, to a hundredth where that is enough."""
    text = f"{mm:.3f}".rstrip("0")
    whole, _, decimals = text.partition(".")
    return f"{whole}.{decimals.ljust(2, '0')}"


def percent(probability: float, tell: Tell = english) -> str:
    """A probability; never nought or certain."""
    if probability > 0.99:
        return tell("over 99 %")
    return tell("under 1 %") if probability < 0.01 else tell("{percent:.0f} %", percent=100.0 * probability)


def shim_list(sizes: Sequence[float], tell: Tell = english) -> str:
    """Shims as they are laid in."""
    return " + ".join(length(mm) for mm in sizes) + " mm" if sizes else tell("no shim")


def change_text(pair: ShimPair, tell: Tell = english) -> str:
    """What to change, side by side; alike where both take the same."""
    sides = [
        (name, change, sizes)
        for name, change, sizes in zip(
            SIDES, (pair.change_left_mm, pair.change_right_mm), (pair.left_mm, pair.right_mm), strict=True
        )
        if abs(change) > STILL_MM
    ]
    if not sides:
        return tell("change no shim")
    if len(sides) == len(SIDES) and sides[0][2] == sides[1][2]:
        return tell("fit {shims} on each side ({change})", shims=shim_list(sides[0][2], tell), change=_both(pair, tell))
    each = [
        tell("{side} {shims} ({change:+.2f} mm)", side=side, shims=shim_list(sizes, tell), change=change)
        for side, change, sizes in sides
    ]
    return tell("fit {shims}", shims=", ".join(each))


def _both(pair: ShimPair, tell: Tell) -> str:
    left, right = pair.change_left_mm, pair.change_right_mm
    if abs(left - right) < STILL_MM:
        return tell("{change:+.2f} mm each", change=left)
    return tell("left {left:+.2f}, right {right:+.2f} mm", left=left, right=right)


def expected_text(choice: Choice, unit: str, tell: Tell = english) -> str:
    """What a choice is expected to read and how sure that is."""
    median, low, high = _torques(choice, unit)
    return tell(
        "expect {median} {unit} ({low} to {high}), lands with {percent}",
        median=median,
        unit=unit,
        low=low,
        high=high,
        percent=percent(choice.probability_lands, tell),
    )


def _torques(choice: Choice, unit: str) -> tuple[str, str, str]:
    """Median, low and high end of the torque of a choice, as they are written in a unit."""
    ends = [in_unit(each, unit) for each in (choice.torque_median_nm, choice.torque_low_nm, choice.torque_high_nm)]
    shown = 0 if ends[0] >= WHOLE_FROM else 1
    return tuple(f"{end:.{shown}f}" for end in ends)  # type: ignore[return-value]


LIMITS = {
    "wear": "{part} is worn by {value} mm, limit {limit} mm",
    "flatness": "{part} is out of flat by {value} mm, limit {limit} mm",
    "thickness_min": "{part} is {value} mm at its thinnest, least {limit} mm",
    "left_right": "plates and shims: left and right differ by {value} mm, limit {limit} mm",
    "clearance": "{part}: {value} mm of travel left to flat, limit {limit} mm",
    "end_play": "{part}: end play {value} mm, limit {limit} mm",
    "share_of_flat": "{part}: springs pressed to {share:.1f} % of flat, limit {most:.0f} %",
}
"""By the code of the limit."""

FROM_SHOP = {
    FromShopCode.FRICTION: "friction with {oil} oil about {value:.3f}: with {count} of this shop's units",
    FromShopCode.PULL_TO_PULL: "pull to pull {percent:.1f} %: this shop's series, {count} degrees of freedom",
    FromShopCode.REBUILD_TO_REBUILD: "rebuild to rebuild {percent:.1f} %: {count} of this shop's rebuilds",
    FromShopCode.SHIM: "0.1 mm of shim in all changes the torque by {tenth:+.0f} %: {count} of this shop's units",
}
"""By the code of what comes from the shop."""


def limit_text(one: BeyondLimit, tell: Tell = english) -> str:
    """A part beyond a limit."""
    value, limit, percents = length(one.value), length(one.limit), {"share": 100 * one.value, "most": 100 * one.limit}
    return tell(LIMITS[one.code], part=one.part, value=value, limit=limit, **percents)


def from_shop_text(one: FromShop, tell: Tell = english) -> str:
    """A number that comes from the shop's own jobs."""
    figures = {"percent": 100 * one.value, "tenth": 10 * one.value}  # a tenth of a mm, in per cent
    return tell(FROM_SHOP[one.code], oil=one.oil, value=one.value, count=one.count, **figures)


def reason(answer: Answer, tell: Tell = english) -> str:
    """One sentence for the bench."""
    if answer.stopped:
        return "; ".join(tell("{text}", text=one.text) for one in answer.problems if one.severity == "stop")
    assert answer.choices is not None
    text = _rest(answer, answer.choices.choices[0], tell)
    if answer.worn:
        text = tell("renew {parts} first; then {text}", parts=", ".join(answer.worn), text=text)
    first = [one for one in answer.hints if one.first]
    if first:
        text = tell("{text}; first make sure how it was pulled: {evidence}", text=text, evidence=first[0].evidence)
    return text


def _rest(answer: Answer, best: Choice, tell: Tell) -> str:
    window = answer.window.window
    limits, unit = window.text or str(window), window.unit
    standing = answer.standing
    if standing.leave_alone:
        return tell("leave it alone: the last series reads in the window {window}", window=limits)
    if standing.pull_more:
        return tell(
            "pull {n} more before opening: it reads in the window {window}, but near its edge", n=standing.pull_more, window=limits
        )
    if standing.too_narrow:
        return tell(
            "it reads in the window {window}, but that is too narrow for this scatter: no number of pulls will decide it",
            window=limits,
        )
    if not answer.feasible:
        low = window.low_nm is not None and best.torque_median_nm < window.low_nm
        reasons = [tell("{why}", why=(WHY_NOT_LOW if low else WHY_NOT_HIGH)[code]) for code in answer.why_not]
        text = tell(
            "no shim from the shelf will bring it into {window}: {why}; the nearest choice reads {nearest} {unit}",
            window=limits,
            why=tell(" and ").join(reasons),
            nearest=_torques(best, unit)[0],
            unit=unit,
        )
        return f"{text}; {parts_text(answer.parts_choices[0], unit, tell)}" if answer.parts_choices else text
    change, expected = change_text(best.shims, tell), expected_text(best, unit, tell)
    if best.probability_lands < HOPELESS:
        return tell(
            "what would land may press the springs solid: measure case depth and gear height first; or {change} and pull, "
            "that tells ({expected} in the window {window})",
            change=change,
            expected=expected,
            window=limits,
        )
    return tell("{change}: {expected} in the window {window}", change=change, expected=expected, window=limits)


def parts_text(one: PartsChoice, unit: str, tell: Tell = english) -> str:
    """Other parts with the best shims for them."""
    change, expected = change_text(one.choice.shims, tell), expected_text(one.choice, unit, tell)
    return tell("{why}: {change}, {expected}", why=one.why, change=change, expected=expected)


BEST_SHOWN = 5


def answer_lines(path: str, answer: Answer) -> list[str]:
    """A sheet's answer in the terminal: the limits broken, the reason, a table of the five best, the hints."""
    unit = answer.window.window.unit
    rows = [path]
    rows += [f"{_label(one.severity)}{_placed(one)}" for one in answer.problems]
    rows += [f"{_label('limit')}{limit_text(one, spoken)}" for one in answer.limits]
    if not answer.stopped:
        rows.append(f"{_label('answer')}{reason(answer, spoken)}")
    if answer.choices is not None:
        left, right, torque, chance, lands, solid = map(
            say, ("left shims mm", "right shims mm", "torque", "in window", "lands", "solid")
        )
        head = f"{left:<20} {right:<20} {f'{torque} {unit}':<16} {chance:>9}  {lands:>6}  {solid:>6}"
        rows += [" " * len(_label("")) + row for row in (head, *(_row(one, unit) for one in answer.choices.choices[:BEST_SHOWN]))]
    rows += [f"{_label('parts')}{parts_text(one, unit, spoken)}" for one in answer.parts_choices]
    rows += [
        f"{_label('hint')}{say(one.code.replace('_', ' '))} ({percent(one.confidence, spoken)}): {translated(one.evidence)}"
        for one in answer.hints
    ]
    rows += [f"{_label('missing')}{translated(one.text)}" for one in answer.missing]
    rows += [f"{_label('shop')}{from_shop_text(one, spoken)}" for one in answer.from_shop]
    return rows


def _label(name: str) -> str:
    """The beginning of a row."""
    return f"  {say(name) if name else '':<10}"


def _placed(one: Problem) -> str:
    """A problem with its place, unless it begins with that."""
    return translated(one.text) if one.text.startswith(one.where) else f"{translated(one.where)}: {translated(one.text)}"


def _row(one: Choice, unit: str) -> str:
    left, right = (" + ".join(length(mm) for mm in sizes) or say("none") for sizes in (one.shims.left_mm, one.shims.right_mm))
    median, low, high = _torques(one, unit)
    torque = f"{median} ({low}..{high})"
    chances = f"{one.probability_in_window:9.2f}  {one.probability_lands:6.2f}  {one.probability_solid:6.2f}"
    broken = (
        "  " + say("breaks {limits}", limits=", ".join(say(code.replace("_", " ")) for code in one.broken)) if one.broken else ""
    )
    row = f"{left:<20} {right:<20} {torque:<16} {chances}"
    return DECIMAL_POINT.sub(number(0.5, 1)[1], row) + broken
