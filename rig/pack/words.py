"""The sentences of a pack's answer: what to change, what is expected, how sure; or why no shim will do it."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.pack.answer import Answer, FromShop, FromShopCode
from analysis.pack.buildable import ShimPair
from analysis.pack.limits import BeyondLimit
from analysis.pack.parts import SIDES
from analysis.pack.parts_choice import PartsChoice
from analysis.pack.shim_choice import HOPELESS, Choice
from analysis.units import in_unit

ADVICE = "It advises: the maker's manual, local rules and qualified persons decide."

WHOLE_FROM = 10.0
"""Torques from here on are written without decimals: what a choice of shims reads is known to some per cent."""
WHY_NOT_LOW = {
    "springs": "the springs carry too little",
    "plates": "friction or rubbing faces are too low (glazed plates, too much modifier, like plates together)",
    "shelf": "a size between those in stock would do",
}
WHY_NOT_HIGH = {
    "springs": "the springs carry too much",
    "plates": "friction is too high (dry plates, spent oil)",
    "shelf": "a size between those in stock would do",
}


def length(mm: float) -> str:
    """A length in mm, to a hundredth where that is enough."""
    text = f"{mm:.3f}".rstrip("0")
    whole, _, decimals = text.partition(".")
    return f"{whole}.{decimals.ljust(2, '0')}"


def percent(probability: float) -> str:
    """A probability; never nought or certain."""
    if probability > 0.99:
        return "over 99 %"
    return "under 1 %" if probability < 0.01 else f"{100.0 * probability:.0f} %"


def shim_list(sizes: Sequence[float]) -> str:
    """Shims as they are laid in."""
    return " + ".join(length(mm) for mm in sizes) + " mm" if sizes else "no shim"


def change_text(pair: ShimPair) -> str:
    """What to change, side by side; alike where both take the same."""
    sides = [
        (name, change, sizes)
        for name, change, sizes in zip(
            SIDES, (pair.change_left_mm, pair.change_right_mm), (pair.left_mm, pair.right_mm), strict=True
        )
        if abs(change) > 1e-9
    ]
    if not sides:
        return "change no shim"
    if len(sides) == 2 and sides[0][2] == sides[1][2]:
        return f"fit {shim_list(sides[0][2])} on each side ({_both(sides[0][1], sides[1][1])})"
    return ", ".join(f"{name} {shim_list(sizes)} ({change:+.2f} mm)" for name, change, sizes in sides)


def _both(left: float, right: float) -> str:
    return f"{left:+.2f} mm each" if abs(left - right) < 1e-9 else f"left {left:+.2f}, right {right:+.2f} mm"


def expected_text(choice: Choice, unit: str) -> str:
    """What a choice is expected to read and how sure that is."""
    median, low, high = _torques(choice, unit)
    return f"expect {median} {unit} ({low} to {high}), lands with {percent(choice.probability_lands)}"


def _torques(choice: Choice, unit: str) -> tuple[str, str, str]:
    """Median, low and high end of the torque of a choice, as they are written in a unit."""
    ends = [in_unit(each, unit) for each in (choice.torque_median_nm, choice.torque_low_nm, choice.torque_high_nm)]
    shown = 0 if ends[0] >= WHOLE_FROM else 1
    return tuple(f"{end:.{shown}f}" for end in ends)  # type: ignore[return-value]


def limit_text(one: BeyondLimit) -> str:
    """A part beyond a limit."""
    value, limit = length(one.value), length(one.limit)
    return {
        "wear": f"{one.part} is worn by {value} mm, limit {limit} mm",
        "flatness": f"{one.part} is out of flat by {value} mm, limit {limit} mm",
        "thickness_min": f"{one.part} is {value} mm at its thinnest, least {limit} mm",
        "left_right": f"plates and shims: left and right differ by {value} mm, limit {limit} mm",
        "clearance": f"{one.part}: {value} mm of travel left to flat, limit {limit} mm",
        "end_play": f"{one.part}: end play {value} mm, limit {limit} mm",
        "share_of_flat": f"{one.part}: springs pressed to {100 * one.value:.0f} % of flat, limit {100 * one.limit:.0f} %",
    }[one.code]


def from_shop_text(one: FromShop) -> str:
    """A number that comes from the shop's own jobs."""
    return {
        FromShopCode.FRICTION: f"friction with {one.oil} oil about {one.value:.3f}: with {one.count} of this shop's units",
        FromShopCode.PULL_TO_PULL: f"pull to pull {100 * one.value:.1f} %: this shop's series, {one.count} degrees of freedom",
        FromShopCode.REBUILD_TO_REBUILD: f"rebuild to rebuild {100 * one.value:.1f} %: {one.count} of this shop's rebuilds",
        FromShopCode.SHIM: f"0.1 mm of shim in all changes the torque by {10 * one.value:+.0f} %: {one.count} of this shop's units",
    }[one.code]


def reason(answer: Answer) -> str:
    """One sentence for the bench."""
    if answer.stopped:
        return "; ".join(one.text for one in answer.problems if one.severity == "stop")
    assert answer.choices is not None
    start = f"renew {', '.join(answer.worn)} first; then " if answer.worn else ""
    first = [one for one in answer.hints if one.first]
    end = f"; first make sure how it was pulled: {first[0].evidence}" if first else ""
    return start + _rest(answer, answer.choices.choices[0]) + end


def _rest(answer: Answer, best: Choice) -> str:
    window = answer.window.window
    limits = f"{window.text or window}"
    standing = answer.standing
    if standing.leave_alone:
        return f"leave it alone: the last series reads in the window {limits}"
    if standing.pull_more:
        return f"pull {standing.pull_more} more before opening: it reads in the window {limits}, but near its edge"
    if standing.too_narrow:
        return f"it reads in the window {limits}, but that is too narrow for this scatter: no number of pulls will decide it"
    if not answer.feasible:
        low = window.low_nm is not None and best.torque_median_nm < window.low_nm
        why = " and ".join((WHY_NOT_LOW if low else WHY_NOT_HIGH)[code] for code in answer.why_not)
        nearest = f"the nearest choice reads {_torques(best, window.unit)[0]} {window.unit}"
        parts = f"; {parts_text(answer.parts_choices[0], window.unit)}" if answer.parts_choices else ""
        return f"no shim from the shelf will bring it into {limits}: {why}; {nearest}{parts}"
    if best.probability_lands < HOPELESS:
        return (
            f"what would land may press the springs solid: measure case depth and gear height first; or {change_text(best.shims)} "
            f"and pull, that tells ({expected_text(best, window.unit)} in the window {limits})"
        )
    if best.shims.moves == 0:
        return f"change no shim: {expected_text(best, window.unit)} in the window {limits}"
    return f"{change_text(best.shims)}: {expected_text(best, window.unit)} in the window {limits}"


def parts_text(one: PartsChoice, unit: str) -> str:
    """Other parts with the best shims for them."""
    return f"{one.why}: {change_text(one.choice.shims)}, {expected_text(one.choice, unit)}"


BEST_SHOWN = 5


def answer_lines(path: str, answer: Answer) -> list[str]:
    """A sheet's answer in the terminal: the limits broken, the reason, a table of the five best, the hints."""
    unit = answer.window.window.unit
    rows = [path]
    rows += [f"  {one.severity:<8}  {one.where}: {one.text}" for one in answer.problems]
    rows += [f"  limit     {limit_text(one)}" for one in answer.limits]
    if not answer.stopped:
        rows.append(f"  answer    {reason(answer)}")
    if answer.choices is not None:
        heading = f"torque {unit}"
        rows.append(f"            left shims mm        right shims mm       {heading:<16} in window  lands  solid")
        rows += [f"            {_row(one, unit)}" for one in answer.choices.choices[:BEST_SHOWN]]
    rows += [f"  parts     {parts_text(one, unit)}" for one in answer.parts_choices]
    rows += [f"  hint      {one.code.replace('_', ' ')} ({percent(one.confidence)}): {one.evidence}" for one in answer.hints]
    rows += [f"  missing   {one.text}" for one in answer.missing]
    rows += [f"  shop      {from_shop_text(one)}" for one in answer.from_shop]
    return rows


def _row(one: Choice, unit: str) -> str:
    left, right = (" + ".join(length(mm) for mm in sizes) or "none" for sizes in (one.shims.left_mm, one.shims.right_mm))
    median, low, high = _torques(one, unit)
    torque = f"{median} ({low}..{high})"
    chances = f"{one.probability_in_window:9.2f}  {one.probability_lands:5.2f}  {one.probability_solid:5.2f}"
    broken = f"  breaks {', '.join(one.broken)}" if one.broken else ""
    return f"{left:<20} {right:<20} {torque:<16} {chances}{broken}"
