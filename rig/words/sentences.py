"""Every sentence and number format of the command line and of the documents: codes and values to plain English.

Words after the trade: pack breakaway, pack sliding, chatter; never "initial torque" and never "friction" alone.
"""

from __future__ import annotations

from analysis.judgement import Verdict, VerdictState
from analysis.results import Budget, Chatter, PullResult, QualityCode, QualityFlag
from analysis.sensor.zero_history import EXERCISE_LOADS, SOON_DAYS
from analysis.units import in_unit
from analysis.window import Basis, Window
from rig.words.language import in_language, say, say_n
from rig.words.numbers import rounded

CAUTIONS = (
    "Clamp the unit by a proper stub in a bolted-down vice; stand so that a sudden release cannot throw you.",
    "Pull, do not push; no tube on the lever; the lever kicks back when the plates let go.",
    "Case halves are spring-loaded: release bolts evenly, with two long bolts or a press in place until the load is off.",
    "Eye protection and gloves; clean oil from the floor at once.",
    "platepull advises and approves nothing: the maker's manual, local rules and qualified persons decide.",
)

STATE_WORD = {
    VerdictState.IN_WINDOW: "IN WINDOW",
    VerdictState.BELOW: "BELOW",
    VerdictState.ABOVE: "ABOVE",
    VerdictState.UNDECIDED: "UNDECIDED",
    VerdictState.NO_READING: "NO READING",
}

NAME_OF = {Basis.BREAKAWAY: "pack breakaway", Basis.SLIDING: "pack sliding"}


def figure(value: float) -> str:
    """A number for a person: three or four figures that count, no exponent in the usual range."""
    size = abs(value)
    if size == 0:
        return "0"
    if size >= 100_000 or 0 < size < 0.001:
        return in_language(f"{value:.3g}")
    return in_language(f"{value:.{1 if size >= 10 else 2 if size >= 1 else 3}f}")


def torque(torque_nm: float, unit: str = "N.m") -> str:
    """A torque with its unit, such as '47.3 N.m'."""
    return f"{figure(in_unit(torque_nm, unit))} {unit}"


def torque_with_u(torque_nm: float, expanded_u_nm: float | None, unit: str = "N.m") -> str:
    """A torque with its expanded uncertainty, such as '47.3 +/- 0.6 N.m'."""
    if not expanded_u_nm:
        return torque(torque_nm, unit)
    value, spread = rounded(in_unit(torque_nm, unit), in_unit(expanded_u_nm, unit))
    return f"{value} +/- {spread} {unit}"


def window(low_nm: float | None, high_nm: float | None, unit: str = "N.m") -> str:
    """A window as it is typed, such as '25..45 lbf.ft'."""
    low, high = ("" if limit is None else in_language(f"{in_unit(limit, unit):.4g}") for limit in (low_nm, high_nm))
    return f"{low}..{high} {unit}"


def window_of(given: Window, unit: str = "N.m") -> str:
    """A window with the quantity it applies to."""
    return f"{say(NAME_OF[given.basis])} {window(given.low_nm, given.high_nm, unit)}"


# -- doubts and chatter -----------------------------------------------------------------------------------------------------------

QUALITY_WORDS = {
    QualityCode.NO_PULL: ("there is no pull in this trace", ""),
    QualityCode.SHORT_TRAVEL: ("the unit was turned too short a way to trust the pack sliding", " ({} deg)"),
    QualityCode.TOO_FAST: ("it was pulled too fast", " ({} deg/s)"),
    QualityCode.HESITATED: ("the hand hesitated or gripped again", " (stood still for {} s)"),
    QualityCode.OVERLOAD: ("the sensor was at its limit: the true torque may be higher", " (it stops at {} N.m)"),
    QualityCode.SPIKES: ("electrical spikes were left out", " ({} of them)"),
    QualityCode.GAPS: ("samples are missing", " (the longest gap lasts {} s)"),
    QualityCode.LOW_RATE: ("the sampling is slow for such a pull: the peak may lie between samples", " ({} Hz)"),
    QualityCode.ZERO_DRIFT: ("the zero moved between before and after the pull", " (by {} N.m)"),
    QualityCode.COARSE: ("the sensor's steps are coarse for this torque", " (steps of {} N.m)"),
    QualityCode.LET_GO: ("the lever was let go before the plates slid", ""),
    QualityCode.ZERO_UNPROVEN: ("there is too little rest before and after to prove the zero", " ({} s of it)"),
    QualityCode.REST_MOVED: (
        "the level at rest stepped, and nobody has said whether a lever was hung on or the zero moved",
        " ({} N.m)",
    ),
    QualityCode.SLOW_SENSOR: ("the sensor is too slow for such a pull", " (it follows to {} Hz)"),
    QualityCode.BURST: ("interference was bridged", " (for {} s)"),
    QualityCode.RIPPLE: ("the torque swings with the turning angle", " (by {} N.m)"),
    QualityCode.ANGLE_DOUBTFUL: ("the angle jumped or stood still, and was set right or left out", ""),
    QualityCode.TWO_RELEASES: (
        "the torque fell and the load then climbed past it: look at the curve which of the two was the pack's breakaway",
        " (the other at {} N.m)",
    ),
    QualityCode.PEAK_HELD: ("the indicator was left on peak memory: take it off to see the pack slide", ""),
}


def quality_text(flag: QualityFlag, unit: str = "N.m") -> str:
    """What makes a reading doubtful, as a sentence with the figure behind it (of nought there is nothing to tell)."""
    if flag.code is QualityCode.TOO_FAST and flag.figure is None and flag.limit is not None:
        return say("the load was jerked on (in less than {time} s).", time=figure(flag.limit))
    sentence, with_figure = (say(words) if words else "" for words in QUALITY_WORDS[flag.code])
    if flag.figure and with_figure:
        is_torque = "N.m)" in with_figure
        size = in_unit(abs(flag.figure), unit) if is_torque else abs(flag.figure)
        shown = f"{size:.0f}" if size >= 100 or float(size).is_integer() else figure(size)
        sentence += with_figure.replace("N.m)", f"{unit})").format(shown)
    return sentence + "."


WHY_NOT = {
    "no_sliding": "there is no steady sliding",
    "low_rate": "too few samples a second",
    "short_travel": "too short a way",
    "overload": "the sensor was at its limit",
    "peak_held": "the indicator held its peak",
    "slow_sensor": "the sensor is too slow to show it",
}


def reading_notes(result: PullResult, unit: str = "N.m") -> tuple[str, ...]:
    """What else a person should know of how a trace was read."""
    notes = []
    if result.began_under_load:
        notes.append(say("the trace begins under load: its breakaway was not recorded"))
    if result.angle_reversed:
        notes.append(say("the angle runs against the torque: check the sensor's signs; the figures do not depend on them"))
    if result.stated_zero_nm is not None:
        zero = f"{figure(in_unit(result.stated_zero_nm, unit))} {unit}"
        stated = say("a zero of {zero} is stated with the trace, its own rest says otherwise and counts", zero=zero)
        notes.append(stated)
    return tuple(notes)


def chatter_text(chatter: Chatter, unit: str = "N.m") -> str:
    """What is known of chatter, in a few words."""
    if chatter.present is None:
        return say("not assessable ({why})", why=say(WHY_NOT.get(chatter.why_not or "", "the trace does not allow it")))
    if not chatter.present:
        return say("none")
    return ", ".join([say("yes"), *_size_of(chatter, unit)])


def _size_of(chatter: Chatter, unit: str) -> list[str]:
    """How often it slips, and how high."""
    rate, height = chatter.frequency_hz, chatter.peak_to_peak_nm
    told = [] if rate is None else [say("{rate} slips/s", rate=figure(rate))]
    return told + ([] if height is None else [say("{torque} high", torque=torque(height, unit))])


def pull_line(number: int, result: PullResult, verdict: Verdict | None, unit: str = "N.m") -> str:
    """A pull in one line: what it read and, where there is a window, the verdict."""
    parts = [say("pull {number} (other way)" if result.direction == -1 else "pull {number}", number=number)]
    if result.held_nothing:
        parts.append(say("nothing held, the unit turns freely"))
    elif result.breakaway is None and result.sliding is None:
        parts.append(say("no reading"))
    for name, reading in ((say("breakaway"), result.breakaway), (say("sliding"), result.sliding)):
        if reading is not None:
            bound = say("at least ") if result.at_least else ""
            parts.append(f"{name} {bound}{torque_with_u(reading.torque_nm, reading.budget.expanded_u_nm, unit)}")
    if result.chatter.present:
        parts.append(f"{say('chatter')} {', '.join(_size_of(result.chatter, unit) or [say('yes')])}")
    if verdict is not None:
        parts.append(say(STATE_WORD[verdict.state]) + (", " + say("CHATTERS") if result.chatter.present else ""))
    return ": ".join((parts[0], ", ".join(parts[1:])))


# -- the sensor -------------------------------------------------------------------------------------------------------------------

EXERCISE = (
    "exercise the sensor: load it three times each way to the highest torque you expect, and let go each time; "
    "these loads are not recorded. One way only: wait a little after the third."
)


def certificate_text(number: str, days_left: int | None, due: str | None) -> str:
    """Which certificate is in force, and what is to be said of its due day."""
    text = say("calibration: certificate {number}", number=number)
    if days_left is None:
        return text
    if days_left < 0:
        return say("{text} was due on {due}: every verdict says so until the sensor is calibrated", text=text, due=due)
    due_text = say("{text}, due on {due}", text=text, due=due)
    return due_text + (say_n(", in {n} day", ", in {n} days", days_left) if days_left < SOON_DAYS else "")


def _zero(zero_nm: float, unit: str) -> str:
    """A zero to a hundredth: what lies below that is noise."""
    return in_language(f"{round(in_unit(zero_nm, unit), 2) + 0.0:.2f}") + f" {unit}"


def zero_text(zero_nm: float, *, asked: bool, far_off: bool, unit: str = "N.m") -> str:
    """The zero, as it was found."""
    text = say("new zero: {zero}" if asked else "zero: {zero}", zero=_zero(zero_nm, unit))
    return (
        text
        if not far_off
        else say("{text}; so far off that something hangs on the sensor or it was overloaded: check it first", text=text)
    )


def exercised_text(direction: int, torque_nm: float, times: int, *, over: bool, unit: str = "N.m") -> str:
    """A load of an exercise."""
    way = say("first direction") if direction == 1 else say("other way")
    count = say("load {times} of {all}", times=times, all=EXERCISE_LOADS) if times else say("too low to count")
    return say("exercise, {way}: {torque}, {count}", way=way, torque=torque(torque_nm, unit), count=count) + (
        say("; done, hands off for the new zero") if over else ""
    )


def series_zero_text(before_nm: float, after_nm: float, *, moved: bool, unit: str = "N.m") -> str:
    """What the zero did over the series."""
    text = say("zero: {before} before the series, {after} after it", before=_zero(before_nm, unit), after=_zero(after_nm, unit))
    return text + (say("; it moved too far: let the sensor warm up, zero it and pull again") if moved else "")


# -- budget -----------------------------------------------------------------------------------------------------------------------


def budget_lines(name: str, budget: Budget, unit: str = "N.m") -> list[str]:
    """An uncertainty budget as rows to print."""

    def row(source: str, u_nm: float, degrees: float | None) -> str:
        return f"    {say(source):<24}{figure(in_unit(u_nm, unit)):>10}  {'inf' if degrees is None else f'{degrees:.0f}':>6}"

    return [
        say("  {name}: standard uncertainties in {unit}, degrees of freedom", name=name, unit=unit),
        *(row(line.source, line.u_nm, line.degrees_of_freedom) for line in budget.lines),
        row("combined", budget.u_nm, budget.degrees_of_freedom),
        "    "
        + say(
            "expanded, k = {k} ({share} %): {torque}",
            k=in_language(f"{budget.coverage_factor:.2f}"),
            share=f"{100 * budget.coverage:.0f}",
            torque=torque(budget.expanded_u_nm, unit),
        ),
    ]
