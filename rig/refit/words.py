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
from rig.words.language import in_language, say
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
    return in_language(text[:-1] if text.endswith("0") else text)


def window(limits: Limits | None, unit: str) -> str:
    """A window as people write it."""
    if limits is None:
        return say("no window stated")
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
            return say(
                "'{of}' comes to {value} {unit}, below zero: check the reading, its sign and the shims stated.",
                of=finding.of, value=figure(value), unit=unit,
            )  # fmt: skip
        case FindingCode.IMPLAUSIBLE:
            return say(
                "'{of}' holds {value} {unit}, over the {limit} {unit} possible: check unit and point.",
                of=finding.of, value=figure(value), limit=figure(limit), unit=unit,
            )  # fmt: skip
        case FindingCode.NOT_SEATED:
            return say(
                "turned {value} times; the rollers seat after {limit}: turn and measure again, where the manual allows it.",
                value=f"{value:g}", limit=f"{limit:g}",
            )  # fmt: skip
        case FindingCode.NOT_SQUARE:
            return say(
                "'{of}' spreads by {value} mm round the flange, over {limit} mm: it is not drawn on squarely.",
                of=finding.of, value=mm(value), limit=mm(limit),
            )  # fmt: skip
        case FindingCode.SHORT_TRACE:
            return say(
                "{of} holds no whole turn after the first 45 degrees; turn the unit at least one turn and a quarter.", of=finding.of
            )
        case FindingCode.TOO_FEW_POINTS:
            return say("{value} points; at least {limit} round the gear show its runout.", value=f"{value:g}", limit=f"{limit:g}")
        case FindingCode.SINGLE_USE_REUSED:
            return say("fasteners that hold once are used again: fit new ones and tighten them; nothing of this group is judged.")
        case FindingCode.FILLED_LESS_THAN_DRAINED:
            return say(
                "{value} l in, {limit} l came out: check level, tilt and where the rest went.",
                value=in_language(f"{value:.2f}"), limit=in_language(f"{limit:.2f}"),
            )  # fmt: skip


def stopped_text(name: str, texts: Sequence[str]) -> str:
    """Why a part is not judged."""
    return say("{name}: no reading: {why}", name=name, why=" ".join(texts))


def bearing_text(part: Bearing, found: BearingAnswer) -> str:
    """The shims to fit, and the preload they should give."""
    limits = window(limits_of(part.wanted), "mm")
    shims = " + ".join(mm(shim) for shim in found.choice_mm) if found.choice_mm else say("no shim")
    total = f"{shims} mm" if len(found.choice_mm) == 1 else shims
    if len(found.choice_mm) > 1:
        total += f" = {mm(sum(found.choice_mm))} mm"
    predicted = say(
        "interference {value} +/- {u} mm", value=mm(found.interference_mm), u=in_language(rounded_up(found.expanded_u_mm))
    )  # fmt: skip
    needed = say("{value} mm needed in all", value=mm(found.needed_mm))
    chance = say("probability in the window {share}", share=share(found.probability_in_window))
    if found.state is State.NO_CHOICE:
        return say(
            "{name}: {needed}; nothing that can be built comes within {limits}. Nearest is {total} with {predicted}: "
            "get a size between.",
            name=part.name, needed=needed, limits=limits, total=total, predicted=predicted,
        )  # fmt: skip
    return say(
        "{name}: {needed}; fit {total}: {predicted}, {stands} {limits} ({chance}).",
        name=part.name, needed=needed, total=total, predicted=predicted, stands=say(_STANDS[found.state]),
        limits=limits, chance=chance,
    )  # fmt: skip


def share(probability: float) -> str:
    """A probability in per cent, never quite none and never quite all."""
    if probability > 0.999:
        return say("over 99.9 %")
    return say("under 0.1 %") if probability < 0.001 else in_language(f"{100 * probability:.1f} %")


def drag_text(part: Drag, found: DragAnswer, sensor_name: str | None, *, from_rest: bool = True) -> str:
    """How the drag stands."""
    over = "" if found.turns is None else say(" over {n} whole turns", n=found.turns)
    over = say(" over 1 whole turn") if found.turns == 1 else over
    unit = "N.m" if part.window is None else part.window.unit or "N.m"
    spread = "" if found.expanded_u_nm is None else f" +/- {in_language(rounded_up(in_unit(found.expanded_u_nm, unit)))}"
    value = f"{figure(in_unit(found.mean_nm, unit))}{spread} {unit}"
    sentences = [say("{name}: drag {value}{over}", name=part.name, value=value, over=over)]
    limits = window(limits_of(part.window), unit)
    if part.window is None or found.state is None:
        sentences[0] += say(", no window stated.")
    elif found.expanded_u_nm is None:
        sentences[0] += say("; undecided against {limits}, the sensor's uncertainty is not known: state sensor_u.", limits=limits)
    else:
        sentences[0] += f", {say(_STANDS[found.state])} {limits}."
    if State.SENSOR_TOO_LARGE in (found.state, found.variation_state):
        named = sensor_name or say("The sensor")
        sentences.append(say("{sensor} cannot judge so small a torque: use one of a smaller range.", sensor=named))
    if found.variation_nm is not None:
        limit = "" if part.variation_max is None else f", {_varies(found.variation_state)} {_torque(part.variation_max, unit)}"
        sentences.append(say("Within a turn it varies by {value}{limit}.", value=_torque(found.variation_nm, unit), limit=limit))
    if not from_rest:
        sentences.append(
            say("The trace shows no rest, so the sensor's own zero was believed: record a second of rest before turning.")
        )
    return " ".join(sentences)


def _varies(state: State | None) -> str:
    match state:
        case State.IN_WINDOW:
            return say("within the allowed")
        case State.ABOVE:
            return say("more than the allowed")
        case State.SENSOR_TOO_LARGE:
            return say("not judged by this sensor against the allowed")
        case _:
            return say("undecided against the allowed")


def backlash_text(part: Backlash, found: BacklashAnswer) -> str:
    """How the backlash stands, which point is worst, and what to move."""
    spread = in_language(rounded_up(found.expanded_u_mm))
    sentences = [
        say(
            "{name}: backlash {low} to {high} mm, mean {mean} mm, each point +/- {u} mm.",
            name=part.name, low=mm(found.lowest_mm), high=mm(found.highest_mm), mean=mm(found.mean_mm), u=spread,
        )
    ]  # fmt: skip
    if found.state is not None:
        worst = say("Point {n} ({value} mm) stands worst", n=found.worst_point, value=mm(found.worst_mm))
        sentences.append(f"{worst}: {say(_STANDS[found.state])} {window(limits_of(part.window), 'mm')}.")
    if part.variation_max is not None:
        varies = say("It varies by {value} mm", value=mm(found.variation_mm))
        sentences.append(f"{varies}, {_varies(found.variation_state)} {mm(part.variation_max)} mm.")
    if found.move_mm is not None:
        side = say("the side that gives more backlash") if found.move_mm >= 0 else say("the side that gives less backlash")
        sentences.append(
            say(
                "{value} mm of shim moved to {side} brings the mean to the middle; "
                "the sum of the shims stays, and the preload with it.",
                value=mm(abs(found.move_mm)), side=side,
            )
        )  # fmt: skip
    return " ".join(sentences)


def fasteners_text(part: Fasteners, bolts: Sequence[Bolt], stops: Sequence[str]) -> str:
    """How the group stands, and what is still to do."""
    if stops:
        return stopped_text(part.name, stops)
    wanted = f"{_torque(part.torque, unit_of(part))} +/- {100 * part.share:.3g} %"
    if part.angle is not None and part.angle_tolerance is not None:
        wanted += f" and {float(part.angle):g} +/- {float(part.angle_tolerance):g} deg"
    off = [say("bolt {n} {how}", n=bolt.number, how=say(_BOLT[bolt.state])) for bolt in bolts if bolt.state in _BOLT]
    missing = [str(bolt.number) for bolt in bolts if bolt.state is State.NOT_RECORDED]
    if missing:
        off.append(say("not recorded: {bolts}", bolts=", ".join(missing)))
    standing = "; ".join(off) if off else say("all {n} in tolerance", n=len(bolts))
    sentences = [f"{part.name}: {standing} ({wanted}).", say(APPLIED_ONLY)]
    if part.single_use and part.state is None:
        sentences.append(say("The sheet does not say whether they are new; they hold once."))
    if part.thread == "left":
        sentences.append(say("Left-hand thread."))
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
    sentence = say("{name}: {value} l filled", name=part.name, value=in_language(f"{found.filled_l:.2f}"))
    sentence += "." if found.state is None else f", {say(_STANDS[found.state])} {window(limits_of(part.wanted), 'l')}."
    if found.additive_wanted_l is None:
        return sentence
    wanted = f"{1000 * found.additive_wanted_l:.0f} ml"
    if found.additive_added_l is None:
        return f"{sentence} " + say("Additive: {wanted} wanted, not recorded.", wanted=wanted)
    how = {State.BELOW: say(", too little"), State.ABOVE: say(", too much")}.get(found.additive_state or State.IN_TOLERANCE, "")
    added = f"{1000 * found.additive_added_l:.0f} ml"
    return f"{sentence} " + say("Additive: {added} of {wanted} wanted{how}.", added=added, wanted=wanted, how=how)
