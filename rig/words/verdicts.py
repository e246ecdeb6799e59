"""Verdicts in words: of a pull, of a series, and what to do next. One place for terminal, documents and window.

What is said of what to do next and of what is missing goes through `say`, for the window shows it too.
"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.judgement import (
    Converted,
    DecisionRule,
    Missing,
    ScatterUsed,
    SeriesFigure,
    SeriesResult,
    SettlingCode,
    Verdict,
    VerdictState,
)
from analysis.verdict.apart import Apart
from analysis.verdict.series import ASYMMETRY_WORTH_A_WORD, FREE_TURN, PULLS_EACH_WAY
from analysis.verdict.settling import MOST_PULLS
from analysis.window import Basis, Window
from rig.words.arrangements import arrangement_text
from rig.words.language import in_language, say, say_n
from rig.words.retold import retold
from rig.words.sentences import NAME_OF, STATE_WORD, torque, torque_with_u, window

MISSING = {
    Missing.SENSOR: "the sensor's uncertainty is not known: only what is far off is decided",
    Missing.CERTIFICATE_EXPIRED: "the sensor's calibration is out of date",
    Missing.BEYOND_RANGE: "outside the torque the sensor was calibrated for",
    Missing.ZERO: "the sensor's zero moved, or could not be proven",
    Missing.NOT_EXERCISED: "the sensor was not loaded so far three times before; exercise it and take a new zero",
    Missing.ARRANGEMENT: "who was held and who turned is not stated",
    Missing.OTHER_DIRECTION: "pulls the other way are missing",
    Missing.PLATE_STATE: "the window is for plates in another state, or the state is not stated",
    Missing.CONDITIONS: "oil, temperature or closure are not stated for all pulls",
    Missing.LOWER_BOUND: "the sensor was at its limit, or the plates did not let go: the torque is at least the value",
    Missing.HELD_AT_TIMES: "some pulls held and some turned freely",
}
"""What a verdict lacks, by its code."""

FREE_CHECKS = "check first: held side engaged, ratchet, case and other output not both free, sensor awake"
APART: dict[str, str] = {
    Apart.FIRST_AFTER_REST: "rested far longer than the others",
    Apart.STRAY: "stands off all others",
    Apart.NO_READING: "no reading",
    FREE_TURN: "nothing held, and nobody has said that it was the pull",
}


OTHER_ARRANGEMENT = "the pull was made in another arrangement than the window's, and is not converted"


def missing_words(code: Missing, verdict: Verdict) -> str:
    """What a code of `missing` means in this verdict: an arrangement that was stated is not called unstated.

    A pull that waits for another one, though its zero is proven, was stated to be made in an arrangement that is not converted.
    """
    again = verdict.settling is not None and verdict.settling.code is SettlingCode.PULL_AGAIN
    if code is Missing.ARRANGEMENT and again and Missing.ZERO not in verdict.missing:
        return OTHER_ARRANGEMENT
    return MISSING[code]


def missing_text(code: Missing, verdict: Verdict) -> str:
    """What a code of `missing` means in this verdict, in the user's language."""
    return say(missing_words(code, verdict))


def settling_text(verdict: Verdict) -> str:
    """What to do next, short enough to be shown in large; '' where there is nothing to do."""
    settling = verdict.settling
    if settling is None:
        return ""
    match settling.code:
        case SettlingCode.MORE_PULLS if settling.so_far == 1 and settling.ways == 1:
            if settling.pulls is None or settling.pulls < PULLS_EACH_WAY:
                return say("one pull: pull twice more")
            return say("one pull: pull twice more; about {n} more settle it", n=settling.pulls)
        case SettlingCode.MORE_PULLS if settling.pulls is None:
            return say("one pull each way: pull twice more each way")
        case SettlingCode.MORE_PULLS if settling.ways == 2:
            return say("pull about {n} more, {each} each way", n=settling.pulls, each=(settling.pulls or 0) // 2)
        case SettlingCode.MORE_PULLS:
            return say_n("pull about 1 more", "pull about {n} more", settling.pulls or 0)
        case SettlingCode.OTHER_WAY if settling.so_far < PULLS_EACH_WAY:
            text = "pull {next} of {all}, this way; then move the lever over and pull {all} the other way"
            return say(text, next=settling.so_far + 1, all=PULLS_EACH_WAY)
        case SettlingCode.OTHER_WAY:
            return say("move the lever over and pull {all} the other way", all=PULLS_EACH_WAY)
        case SettlingCode.BETTER_SENSOR if Missing.LOWER_BOUND in verdict.missing:
            return say("pull again with a sensor of larger range")
        case SettlingCode.BETTER_SENSOR if verdict.held_nothing:
            return say("the sensor is too large for this window: use a smaller one")
        case SettlingCode.BETTER_SENSOR:
            return say("no number of pulls settles it, a better sensor would")
        case SettlingCode.KNOWN_WEIGHTS:
            return say("hang two known weights on the lever: platepull calibrate --check, one minute")
        case SettlingCode.ANSWER_NEEDED:
            return say("the level at rest moved: say whether the lever was hung on or the zero moved")
        case SettlingCode.PULL_AGAIN if Missing.ARRANGEMENT in verdict.missing and Missing.ZERO not in verdict.missing:
            return say("pull in the arrangement that the window is stated in: this one is not converted")
        case SettlingCode.PULL_AGAIN:
            return say("no level rest to take the zero from: hands off for a second, then pull again")
        case SettlingCode.STOP_AND_LOOK if Missing.HELD_AT_TIMES in verdict.missing:
            return say("stop, look: it held at times and turned freely at times")
        case SettlingCode.STOP_AND_LOOK:
            return say("stop, look: the torque rises and nothing slips")
        case SettlingCode.TOO_NARROW if settling.on_limit:
            return say("it stands on the limit: even {n} more pulls may not settle it", n=MOST_PULLS)
        case SettlingCode.TOO_NARROW:
            return say("the window is too narrow for this scatter: {n} more pulls would not settle it", n=MOST_PULLS)


def verdict_text(verdict: Verdict, unit: str = "N.m") -> str:
    """The verdict as sentences: value, U with k and confidence, limits, rule, probability, what is missing, what to do next."""
    typed = verdict.window_text if verdict.window_unit == unit else ""
    limits = typed or window(verdict.low_nm, verdict.high_nm, unit)
    parts = [f"{_statement(verdict, limits, unit)}."]
    if verdict.held_nothing:
        parts.append(f"{say(FREE_CHECKS)}.")
    parts += [text] if (text := other_unit_text(verdict)) else []
    parts += [say("missing: {code} ({what}).", code=code, what=missing_text(code, verdict)) for code in verdict.missing]
    after = settling_text(verdict)
    return " ".join([*parts, *([say("next: {what}.", what=after)] if after else [])])


def other_unit_text(verdict: Verdict) -> str:
    """The question whether the window was typed in the unit that was meant; '' where the reading does not miss it by far."""
    if verdict.value_nm is None or verdict.low_nm is None or verdict.high_nm is None:
        return ""
    typed = Window(verdict.low_nm, verdict.high_nm, unit=verdict.window_unit)
    meant = typed.other_unit(verdict.value_nm)
    if meant is None:
        return ""
    figures = window(verdict.low_nm, verdict.high_nm, verdict.window_unit).removesuffix(f" {verdict.window_unit}")
    return say(
        "the window is missed by far: is {unit} its unit, or should it be {figures} {meant}?",
        unit=verdict.window_unit,
        figures=figures,
        meant=meant,
    )


def _statement(verdict: Verdict, limits: str, unit: str) -> str:
    name = say(NAME_OF[verdict.basis])
    if verdict.held_nothing:
        return _free(verdict, name, limits, unit)
    if verdict.value_nm is None:
        return say("there is no {name} to hold against the window {limits}", name=name, limits=limits)
    bound = say("at least ") if Missing.LOWER_BOUND in verdict.missing else ""
    value = f"{name} {bound}{torque_with_u(verdict.value_nm, verdict.expanded_u_nm, unit)}"
    return f"{value}{_where(verdict, limits, unit)} ({'; '.join(_small_print(verdict))})"


def _free(verdict: Verdict, name: str, limits: str, unit: str) -> str:
    least = "" if verdict.expanded_u_nm is None else say(": less than {most}", most=torque(verdict.expanded_u_nm, unit))
    held = say(
        "nothing held, the unit turned freely; {name} counts as {torque}{least}", name=name, torque=torque(0.0, unit), least=least
    )
    match verdict.state:
        case VerdictState.BELOW:
            return say("{held}; it is below the window {limits}", held=held, limits=limits)
        case VerdictState.IN_WINDOW:
            return say("{held}; it is in the window {limits}", held=held, limits=limits)
        case _:
            return say("{held}; the window {limits} stays undecided", held=held, limits=limits)


def _where(verdict: Verdict, limits: str, unit: str) -> str:
    deciding = verdict.deciding
    value_nm, _ = verdict.decides
    assert value_nm is not None
    low_nm, high_nm = verdict.low_nm, verdict.high_nm
    which = ""
    if deciding is not None and deciding.value_nm != verdict.value_nm:
        way = say("first direction") if deciding.direction == 1 else say("other way")
        which = say(
            "; the {way}, {value}, decides: it",
            way=way,
            value=torque_with_u(value_nm, deciding.expanded_u_nm, unit),
        )
    match verdict.state:
        case VerdictState.IN_WINDOW:
            return say("{which} is in the window {limits}", which=which, limits=limits)
        case VerdictState.BELOW:
            return say(
                "{which} is below the window {limits}, short by {by}",
                which=which,
                limits=limits,
                by=torque((low_nm or 0.0) - value_nm, unit),
            )
        case VerdictState.ABOVE:
            return say(
                "{which} is above the window {limits}, over by {by}",
                which=which,
                limits=limits,
                by=torque(value_nm - (high_nm or 0.0), unit),
            )
        case _ if verdict.probability_in_window is None:
            return say("{which} leaves the window {limits} undecided", which=which, limits=limits)
        case _:
            near_low = low_nm is not None and (high_nm is None or abs(value_nm - low_nm) <= abs(value_nm - high_nm))
            limit = torque((low_nm if near_low else high_nm) or 0.0, unit)
            return say(
                "{which} is too near to the lower limit of {limit} to decide ({limits})"
                if near_low
                else "{which} is too near to the upper limit of {limit} to decide ({limits})",
                which=which,
                limit=limit,
                limits=limits,
            )


def _small_print(verdict: Verdict) -> list[str]:
    share = verdict.probability_in_window
    rule = say("guarded acceptance") if verdict.rule is DecisionRule.GUARDED else say("simple acceptance")
    parts = [] if share is None else [say("probability in the window {share}", share=percent(share))]
    if verdict.coverage_factor is not None:
        parts.append(in_language(f"k = {verdict.coverage_factor:.2f}, {100 * verdict.confidence:.0f} %"))
    parts.append(rule)
    if verdict.scatter is not None:
        parts.append(scatter_text(verdict.scatter))
    if verdict.converted is not None:
        parts.append(converted_text(verdict.converted))
    if verdict.taken_for is not None:
        parts.append(say("the window is taken to be stated for {arrangement}", arrangement=arrangement_text(verdict.taken_for)))
    return parts


def percent(share: float) -> str:
    """A probability, never as a certainty.

    >>> percent(0.9999), percent(0.623)
    ('over 99.9 %', '62 %')
    """
    if share > 0.999 or share < 0.001:
        return say("over 99.9 %") if share > 0.5 else say("under 0.1 %")
    return in_language(f"{100 * share:.{1 if share > 0.99 or share < 0.01 else 0}f}") + " %"


def converted_text(converted: Converted) -> str:
    """How readings came from another arrangement."""
    was, into = arrangement_text(converted.was), arrangement_text(converted.into)
    size = say(
        "times {factor}, {share} % of it in the uncertainty",
        factor=in_language(f"{converted.factor:.3g}"),
        share=in_language(f"{100 * converted.u_relative:.1f}"),
    )
    return say("converted from {was} to {into} by the balance of energy, {size}", was=was, into=into, size=size)


def scatter_text(scatter: ScatterUsed) -> str:
    """Where the scatter from pull to pull comes from."""
    if scatter.degrees_of_freedom is None:
        return say("these pulls alone, no scatter between pulls counted")
    size = say("scatter between pulls {share} %", share=in_language(f"{100 * scatter.relative:.1f}"))
    if not scatter.pooled:
        return say(
            "{size}, of these pulls alone: they scatter more than this bench usually does ({usual} %)",
            size=size,
            usual=in_language(f"{100 * scatter.known_relative:.1f}"),
        )
    if scatter.own_degrees_of_freedom == 0:
        return say("{size}, as known before", size=size)
    return say("{size}, of these pulls and what was known before", size=size)


# -- series -----------------------------------------------------------------------------------------------------------------------


def series_lines(series: SeriesResult, names: Sequence[str], basis: Basis, unit: str = "N.m") -> list[str]:
    """What several pulls together say, as rows to print; `names` are those of the pulls, in their order."""
    rows = [
        say_n(
            "series of {n} pull, {counted} counted", "series of {n} pulls, {counted} counted", series.n, counted=len(series.counted)
        )
    ]
    rows += [
        say("  apart: {name} ({why})", name=names[index], why=say(APART.get(reason, reason))) for index, reason in series.apart
    ]
    rows += [say("  excluded: {name} ({why})", name=names[index], why=retold(reason)) for index, reason in series.excluded]
    rows += [say("  turned freely: {name}", name=names[index]) for index in series.free]
    rows += [f"  {line}" for each in (Basis.BREAKAWAY, Basis.SLIDING) for line in _figure_lines(series.figure(each), each, unit)]
    if series.figure(basis) is None and not series.free:
        rows.append(say("  {basis} was read in none of them", basis=say(NAME_OF[basis])))
    if series.gap_hides_a_stray:
        rows.append(say("  too few pulls to tell a stray, and one may be among them: pull again"))
    rows.append(f"  {series_chatter_text(series)}")
    if series.verdict is not None:
        word = say(STATE_WORD[series.verdict.state]) + (", " + say("CHATTERS") if series.chattering else "")
        rows.append(f"  {word}: {verdict_text(series.verdict, unit)}")
    return rows


def _figure_lines(figure: SeriesFigure | None, basis: Basis, unit: str) -> list[str]:
    if figure is None:
        return []
    count = sum(way.n for _, way in figure.ways)
    mean = torque_with_u(figure.mean_nm, figure.budget.expanded_u_nm, unit)
    own = figure.scatter.own_relative
    scatter = "" if own is None else say(", scatter between pulls {share} %", share=in_language(f"{100 * own:.1f}"))
    rows = [say("{basis} {mean}, the mean of {count}{scatter}", basis=say(NAME_OF[basis]), mean=mean, count=count, scatter=scatter)]
    asymmetry = figure.asymmetry
    if asymmetry is not None:
        forward, back = (figure.way(direction) for direction in (1, -1))
        assert forward is not None
        assert back is not None
        both = say(
            "{one} in the first direction, {other} the other way",
            one=torque(forward.mean_nm, unit),
            other=torque(back.mean_nm, unit),
        )
        finding = asymmetry_text(asymmetry)
        rows.append(f"  {both}: {in_language(f'{100 * asymmetry:+.1f}')} %{'; ' + finding if finding else ''}")
    return rows


def asymmetry_text(asymmetry: float) -> str:
    """What a difference between the directions points to; '' where it is small."""
    if abs(asymmetry) < ASYMMETRY_WORTH_A_WORD:
        return ""
    return say("the directions differ: look for bind, a spline edge or a sensor offset")


def series_chatter_text(series: SeriesResult) -> str:
    """How many of the pulls chatter; said before the verdict."""
    unknown = series.n - len(series.excluded) - series.assessable
    if not series.assessable:
        return say("chatter: not assessable in any pull")
    if series.chattering:
        text = say_n("CHATTERS in {k} of 1 pull", "CHATTERS in {k} of {n} pulls", series.assessable, k=series.chattering)
    else:
        text = say_n("no chatter in 1 of 1 pull", "no chatter in {n} of {n} pulls", series.assessable)
    return text + ("" if not unknown else say(", not assessable in {n}", n=unknown))
