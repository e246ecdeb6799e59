"""The sentences of a refit: what was found, where it stands, what to do. Plain figures in mm, N.m, degrees and litres."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.refit.backlash import BacklashAnswer
from analysis.refit.bearing_gap import BearingAnswer
from analysis.refit.bolt_pass import PULL_AGAIN, BoltPass
from analysis.refit.drag import DragAnswer
from analysis.refit.fasteners import Bolt, BoltReading
from analysis.refit.fill import FillAnswer
from analysis.refit.limits import Finding, FindingCode, Limits, State
from analysis.units import in_unit, split_quantity
from rig.refit.document import Backlash, Bearing, Drag, Fasteners, Fill, limits_of
from rig.words.numbers import rounded_up
from rig.words.sentences import figure

ADVICE = "platepull advises: the maker's manual decides on signs, preload and whether bearings may be turned before the reading."
APPLIED_ONLY = "A peak is the torque applied, not the force in the bolt."


def mm(value: float) -> str:
    """A length to a thousandth; a third decimal only where it says something.

    >>> mm(0.17), mm(0.1308)
    ('0.17', '0.131')
    """
    text = f"{value:.3f}"
    return text[:-1] if text.endswith("0") else text


def window(limits: Limits | None, unit: str) -> str:
    """A window as people write it."""
    if limits is None:
        return "no window stated"
    show = mm if unit == "mm" else figure
    scale = 1.0 if unit in ("mm", "l") else in_unit(1.0, unit)
    low = "" if limits.low is None else show(scale * limits.low)
    high = "" if limits.high is None else show(scale * limits.high)
    return f"{low}..{high} {unit}"


def unit_of(part: Fasteners) -> str:
    """The unit of torque in which the sheet speaks of a group of bolts."""
    return split_quantity(part.torque.text)[1] if part.torque.text else "N.m"


def _torque(torque_nm: float, unit: str) -> str:
    return f"{figure(in_unit(torque_nm, unit))} {unit}"


_STANDS = {
    State.IN_WINDOW: "in the window",
    State.BELOW: "below the window",
    State.ABOVE: "above the window",
    State.UNDECIDED: "undecided, a limit lies within the uncertainty of",
    State.SENSOR_TOO_LARGE: "not judged, the sensor is too large for",
}


def problem_text(finding: Finding, unit: str) -> str:
    """What is to be said of the readings, with what to do."""
    value, limit = finding.value or 0.0, finding.limit or 0.0
    match finding.code:
        case FindingCode.IMPLAUSIBLE if value < 0:
            return f"'{finding.of}' comes to {figure(value)} {unit}, below zero: check the reading, its sign and the shims stated."
        case FindingCode.IMPLAUSIBLE:
            return f"'{finding.of}' holds {figure(value)} {unit}, over the {figure(limit)} {unit} possible: check unit and point."
        case FindingCode.NOT_SEATED:
            return f"turned {value:g} times; the rollers seat after {limit:g}: turn and measure again, where the manual allows it."
        case FindingCode.NOT_SQUARE:
            return f"'{finding.of}' spreads by {mm(value)} mm round the flange, over {mm(limit)} mm: it is not drawn on squarely."
        case FindingCode.SHORT_TRACE:
            return f"{finding.of} holds no whole turn after the first 45 degrees; turn the unit at least one turn and a quarter."
        case FindingCode.TOO_FEW_POINTS:
            return f"{value:g} points; at least {limit:g} round the gear show its runout."
        case FindingCode.SINGLE_USE_REUSED:
            return "fasteners that hold once are used again: fit new ones and tighten them; nothing of this group is judged."
        case FindingCode.FILLED_LESS_THAN_DRAINED:
            return f"{value:.2f} l in, {limit:.2f} l came out: check level, tilt and where the rest went."


def stopped_text(name: str, texts: Sequence[str]) -> str:
    """Why a part is not judged."""
    return f"{name}: no reading: {' '.join(texts)}"


def bearing_text(part: Bearing, found: BearingAnswer) -> str:
    """The shims to fit, and the preload they should give."""
    limits = window(limits_of(part.wanted), "mm")
    shims = " + ".join(mm(shim) for shim in found.choice_mm) if found.choice_mm else "no shim"
    total = f"{shims} mm" if len(found.choice_mm) == 1 else shims
    if len(found.choice_mm) > 1:
        total += f" = {mm(sum(found.choice_mm))} mm"
    predicted = f"interference {mm(found.interference_mm)} +/- {rounded_up(found.expanded_u_mm)} mm"
    needed = f"{mm(found.needed_mm)} mm needed in all"
    chance = f"probability in the window {share(found.probability_in_window)}"
    if found.state is State.NO_CHOICE:
        return (
            f"{part.name}: {needed}; nothing that can be built comes within {limits}. Nearest is {total} with {predicted}: "
            "get a size between."
        )
    return f"{part.name}: {needed}; fit {total}: {predicted}, {_STANDS[found.state]} {limits} ({chance})."


def share(probability: float) -> str:
    """A probability in per cent, never quite none and never quite all."""
    if probability > 0.999:
        return "over 99.9 %"
    return "under 0.1 %" if probability < 0.001 else f"{100 * probability:.1f} %"


def drag_text(part: Drag, found: DragAnswer, sensor_name: str | None, *, from_rest: bool = True) -> str:
    """How the drag stands."""
    over = "" if found.turns is None else f" over {found.turns} whole {'turn' if found.turns == 1 else 'turns'}"
    unit = "N.m" if part.window is None else part.window.unit or "N.m"
    spread = "" if found.expanded_u_nm is None else f" +/- {rounded_up(in_unit(found.expanded_u_nm, unit))}"
    sentences = [f"{part.name}: drag {figure(in_unit(found.mean_nm, unit))}{spread} {unit}{over}"]
    limits = window(limits_of(part.window), unit)
    if part.window is None or found.state is None:
        sentences[0] += ", no window stated."
    elif found.expanded_u_nm is None:
        sentences[0] += f"; undecided against {limits}, the sensor's uncertainty is not known: state sensor_u."
    else:
        sentences[0] += f", {_STANDS[found.state]} {limits}."
    if State.SENSOR_TOO_LARGE in (found.state, found.variation_state):
        sentences.append(f"{sensor_name or 'The sensor'} cannot judge so small a torque: use one of a smaller range.")
    if found.variation_nm is not None:
        limit = "" if part.variation_max is None else f", {_varies(found.variation_state)} {_torque(part.variation_max, unit)}"
        sentences.append(f"Within a turn it varies by {_torque(found.variation_nm, unit)}{limit}.")
    if not from_rest:
        sentences.append("The trace shows no rest, so the sensor's own zero was believed: record a second of rest before turning.")
    return " ".join(sentences)


def _varies(state: State | None) -> str:
    match state:
        case State.IN_WINDOW:
            return "within the allowed"
        case State.ABOVE:
            return "more than the allowed"
        case State.SENSOR_TOO_LARGE:
            return "not judged by this sensor against the allowed"
        case _:
            return "undecided against the allowed"


def backlash_text(part: Backlash, found: BacklashAnswer) -> str:
    """How the backlash stands, which point is worst, and what to move."""
    spread = rounded_up(found.expanded_u_mm)
    figures = f"{part.name}: backlash {mm(found.lowest_mm)} to {mm(found.highest_mm)} mm, mean {mm(found.mean_mm)} mm"
    sentences = [f"{figures}, each point +/- {spread} mm."]
    if found.state is not None:
        worst = f"Point {found.worst_point} ({mm(found.worst_mm)} mm) stands worst"
        sentences.append(f"{worst}: {_STANDS[found.state]} {window(limits_of(part.window), 'mm')}.")
    if part.variation_max is not None:
        varies = f"It varies by {mm(found.variation_mm)} mm"
        sentences.append(f"{varies}, {_varies(found.variation_state)} {mm(part.variation_max)} mm.")
    if found.move_mm is not None:
        way = "more" if found.move_mm >= 0 else "less"
        move = f"{mm(abs(found.move_mm))} mm of shim moved to the side that gives {way} backlash brings the mean to the middle"
        sentences.append(f"{move}; the sum of the shims stays, and the preload with it.")
    return " ".join(sentences)


def fasteners_text(part: Fasteners, bolts: Sequence[Bolt], stops: Sequence[str]) -> str:
    """How the group stands, and what is still to do."""
    if stops:
        return stopped_text(part.name, stops)
    wanted = f"{_torque(part.torque, unit_of(part))} +/- {100 * part.share:.3g} %"
    if part.angle is not None and part.angle_tolerance is not None:
        wanted += f" and {float(part.angle):g} +/- {float(part.angle_tolerance):g} deg"
    off = [f"bolt {bolt.number} {_BOLT[bolt.state]}" for bolt in bolts if bolt.state in _BOLT]
    missing = [str(bolt.number) for bolt in bolts if bolt.state is State.NOT_RECORDED]
    if missing:
        off.append(f"not recorded: {', '.join(missing)}")
    standing = "; ".join(off) if off else f"all {len(bolts)} in tolerance"
    sentences = [f"{part.name}: {standing} ({wanted}).", APPLIED_ONLY]
    if part.single_use and part.state is None:
        sentences.append("The sheet does not say whether they are new; they hold once.")
    if part.thread == "left":
        sentences.append("Left-hand thread.")
    return " ".join(sentences)


_BOLT = {
    State.BELOW: "too low in torque",
    State.ABOVE: "too high in torque",
    State.ANGLE_BELOW: "turned too little",
    State.ANGLE_ABOVE: "turned too far",
}


def next_bolt_text(part: Fasteners, done: BoltPass) -> str:
    """Which bolt to pull now, and how far."""
    number = done.next_bolt
    if number is None:
        return f"{part.name}: the pass is over."
    angle = "" if part.angle is None else f", then {float(part.angle):g} deg"
    left = sum(state in PULL_AGAIN for state in done.states)
    return f"bolt {number}: {_torque(part.torque, unit_of(part))}{angle} ({left} of {part.count} left)"


def bolt_text(part: Fasteners, number: int, reading: BoltReading, state: State) -> str:
    """What the pull on a bolt read, and what that means."""
    if reading.peak_nm is None:
        return f"bolt {number}: not recorded, the sensor was at its limit or the pull too short; pull again"
    angle = "" if reading.angle_deg is None else f", {reading.angle_deg:.0f} deg"
    text = f"bolt {number}: {_torque(reading.peak_nm, unit_of(part))}{angle}"
    match state:
        case State.IN_TOLERANCE:
            return f"{text}, in tolerance"
        case State.NOT_RECORDED:
            return f"{text}, the angle was not recorded; pull again with a sensor that tells the angle"
        case State.BELOW | State.ANGLE_BELOW:
            return f"{text}, {_BOLT[state]}: pull again"
        case _:
            return f"{text}, {_BOLT[state]}: the maker's manual says what to do with it"


def fill_text(part: Fill, found: FillAnswer) -> str:
    """How the fill stands, and the additive."""
    sentence = f"{part.name}: {found.filled_l:.2f} l filled"
    sentence += "." if found.state is None else f", {_STANDS[found.state]} {window(limits_of(part.wanted), 'l')}."
    if found.additive_wanted_l is None:
        return sentence
    wanted = f"{1000 * found.additive_wanted_l:.0f} ml"
    if found.additive_added_l is None:
        return f"{sentence} Additive: {wanted} wanted, not recorded."
    how = {State.BELOW: ", too little", State.ABOVE: ", too much"}.get(found.additive_state or State.IN_TOLERANCE, "")
    return f"{sentence} Additive: {1000 * found.additive_added_l:.0f} ml of {wanted} wanted{how}."
