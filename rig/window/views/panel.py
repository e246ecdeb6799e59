"""What the big panel shows: the verdict of a pull, or of the series once its pulls are there, in words read at three metres.

Rows, most important first: word, value, margin, what spoils it, what to do next. Everything longer stands in the notes. No Qt.
"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.judgement import Missing, SeriesResult, SettlingCode, Verdict, VerdictState
from analysis.results import QualityCode
from analysis.units import in_unit
from analysis.verdict.series import PULLS_EACH_WAY
from rig.live.news import FreeTurnSeen, RestLevelMoved
from rig.window.model import BenchModel, Pull
from rig.window.series import Source
from rig.window.views.verdict import Scale, Tone, scale_of_verdict, spread_text, tone_of, value_text, view_of, word_of
from rig.words.language import number, say
from rig.words.numbers import unit_name, way_mark
from rig.words.units import UnitChoice
from rig.words.verdicts import FREE_CHECKS, settling_text

STOP_SHARE = 0.8
"""From this share of the sensor's capacity on panel and tone say stop (common practice, no source: a fifth is kept in hand)."""


@dataclass(frozen=True, slots=True)
class PanelView:
    """Finished words for the panel. "" leaves a row out.

    about     which pull, or how many pulls of the series
    spread    the expanded uncertainty beside the value
    margin    to the nearer limit, in `unit`
    spoiler   what spoils the verdict
    guide     what to do next
    notes     the rest, in full sentences, for the small print
    """

    about: str
    tone: Tone
    word: str
    value: str
    unit: str
    second: str
    spread: str
    margin: str
    spoiler: str
    guide: str
    notes: tuple[str, ...]
    scale: Scale | None

    def spoken(self) -> str:
        """All of it in one line, for screen readers and tests."""
        parts = (self.word, f"{self.value} {self.unit}".strip(), self.second, self.spread, self.margin, self.spoiler, self.guide)
        return ". ".join(part for part in (*parts, self.about, *self.notes) if part)


def panel_of(model: BenchModel, pull: Pull, series: SeriesResult) -> PanelView:
    """The panel for the pull looked at: the newest of a series whose pulls are there shows the series, any other one itself."""
    together = _series_panel(model, series) if pull is model.last and pull.excluded is None else None
    return together or _pull_panel(model, pull)


def question_panel(question: FreeTurnSeen | RestLevelMoved, unit: UnitChoice) -> PanelView:
    """What the bench asks, with the two answers and their keys; nothing is decided before."""
    if isinstance(question, FreeTurnSeen):
        travel = f"{number(abs(question.travel_deg), 0)}"
        words = (say("NOTHING HELD"), travel, "°", "", say("WAS IT THE PULL?"), say("SPACE: YES"), say("PAGE DOWN: NO"))
        notes = (say(FREE_CHECKS),)
        about = say("pull {number}", number=question.number)
    else:
        first = in_unit(question.by_nm, unit.first)
        value = ("+" if first > 0 else "−") + number(abs(first), 1)
        words = (say("REST MOVED"), value, unit_name(unit.first), "", say("WHY?"), say("SPACE: LEVER ON"), say("PAGE DOWN: ZERO"))
        notes = (say("a lever hung on loads the plates; a zero that moved does not"),)
        about = say("no pull decides anything before the answer")
    word, shown, shown_unit, second, margin, spoiler, guide = words
    return PanelView(about, Tone.UNDECIDED, word, shown, shown_unit, second, "", margin, spoiler, guide, notes, None)


def _pull_panel(model: BenchModel, pull: Pull) -> PanelView:
    unit, view, verdict = model.unit, view_of(pull, model.unit), pull.verdict
    about = say("pull {number} of {all}", number=pull.number, all=model.pulls[-1].number)
    if pull.excluded is not None:
        return PanelView(about, view.tone, view.word, view.value, view.unit, view.second, "", "", say(pull.excluded), "", (), None)
    if verdict is not None and verdict.expanded_u_nm is not None:
        about += " · " + say("± of the unit")  # that of the reading stands on the closer look
    return PanelView(
        about=about,
        tone=view.tone,
        word=view.word,
        value=view.value,
        unit=view.unit,
        second=view.second,
        spread=_spread(verdict, unit),
        margin="" if verdict is None else margin_text(verdict, unit),
        spoiler=spoiler_of(pull),
        guide="" if verdict is None else guide_text(verdict, pull.result.direction),
        notes=view.notes,
        scale=scale_of_verdict(verdict, unit),
    )


def _series_panel(model: BenchModel, series: SeriesResult) -> PanelView | None:
    if model.window is None or model.replay is not None:
        return None
    verdict, figure = series.verdict, series.figure(model.window.basis)
    if verdict is None or figure is None or max(way.n for _, way in figure.ways) < PULLS_EACH_WAY:
        return None
    unit = model.unit
    value_nm, _ = verdict.decides
    chatters = series.chattering > 0
    shown, shown_unit, second = value_text(value_nm, unit)
    spoiler = say("CHATTERS {n} OF {all}", n=series.chattering, all=series.assessable) if chatters else ""
    if not spoiler and not series.assessable:
        spoiler = say("CHATTER: ?")
    direction = model.pulls[-1].result.direction
    after = settling_text(verdict)
    about = say("series: {counted} of {all} pulls counted", counted=len(series.counted), all=series.n)
    about += " · " + say("± of the unit")
    if len(figure.ways) > 1 and verdict.deciding is not None:
        # The value shown is the mean of one direction; beside it stands the mean of the whole series.
        about += " · " + say("{way} decides", way=way_mark(verdict.deciding.direction))
    return PanelView(
        about=about,
        tone=tone_of(verdict, chatters=chatters),
        word=word_of(verdict, chatters=chatters),
        value=shown,
        unit=shown_unit,
        second=second,
        spread=_spread(verdict, unit),
        margin=margin_text(verdict, unit),
        spoiler=spoiler or _lack(verdict),
        guide=guide_text(verdict, direction),
        notes=(after,) if after else (),
        scale=scale_of_verdict(verdict, unit),
    )


def _spread(verdict: Verdict | None, unit: UnitChoice) -> str:
    value_nm, expanded_u_nm = (None, None) if verdict is None else verdict.decides
    if verdict is None or expanded_u_nm is None:
        return ""
    if value_nm is None or verdict.held_nothing:
        return "< " + number(in_unit(expanded_u_nm, unit.first), 1)
    return spread_text(value_nm, expanded_u_nm, unit).removesuffix(f" {unit_name(unit.first)}")


def margin_text(verdict: Verdict, unit: UnitChoice) -> str:
    """How far from the nearer limit, in a few characters: the unit stands beside the value."""
    value, _ = verdict.decides
    low, high = verdict.low_nm, verdict.high_nm
    if value is None:
        return ""
    if Missing.LOWER_BOUND in verdict.missing:
        return say("AT LEAST")

    def shown(torque_nm: float) -> str:
        return number(in_unit(torque_nm, unit.first), 1)

    if low is not None and value < low:
        return say("{torque} SHORT", torque=shown(low - value))
    if high is not None and value > high:
        return say("{torque} OVER", torque=shown(value - high))
    to_low, to_high = (None if low is None else value - low), (None if high is None else high - value)
    if to_high is None or (to_low is not None and to_low <= to_high):
        return say("{torque} ABOVE LOW", torque=shown(to_low or 0.0))
    return say("{torque} BELOW TOP", torque=shown(to_high))


SPOILERS = (
    (QualityCode.REST_MOVED, "REST MOVED"),
    (QualityCode.ZERO_UNPROVEN, "ZERO UNPROVEN"),
    (QualityCode.OVERLOAD, "OVERLOAD"),
    (QualityCode.PEAK_HELD, "PEAK MEMORY ON"),
    (QualityCode.GAPS, "INTERRUPTED"),
    (QualityCode.NO_PULL, "NO PULL IN IT"),
    (QualityCode.TOO_FAST, "TOO FAST"),
    (QualityCode.LET_GO, "NOTHING SLID"),
    (QualityCode.SHORT_TRAVEL, "TOO SHORT"),
    (QualityCode.SLOW_SENSOR, "SLOW SENSOR"),
    (QualityCode.TWO_RELEASES, "LET GO TWICE"),
    (QualityCode.BURST, "INTERFERENCE"),
    (QualityCode.ANGLE_DOUBTFUL, "ANGLE DOUBTFUL"),
)
"""What spoils a pull, in large, the worst first; everything else of its quality stands in the notes."""

LACKS = (
    (Missing.LOWER_BOUND, "LOWER BOUND"),
    (Missing.HELD_AT_TIMES, "HELD AT TIMES"),
    (Missing.SENSOR, "SENSOR UNKNOWN"),
    (Missing.ZERO, "ZERO MOVED"),
    (Missing.CERTIFICATE_EXPIRED, "OUT OF DATE"),
    (Missing.BEYOND_RANGE, "BEYOND RANGE"),
    (Missing.ARRANGEMENT, "ARRANGEMENT?"),
)
"""What a verdict lacks, in large, the worst first."""


def spoiler_of(pull: Pull) -> str:
    """The worst of what spoils a pull; "" where nothing does."""
    if pull.excluded is not None:
        return say("SET ASIDE")
    if not pull.final:
        return say("FIRST READING")
    codes = {flag.code for flag in pull.result.quality}
    for code, words in SPOILERS:
        if code in codes:
            return say(words)
    chatter = pull.result.chatter
    if chatter.present and (pull.verdict is None or pull.verdict.state is not VerdictState.IN_WINDOW):
        return say("CHATTERS")
    lack = "" if pull.verdict is None else _lack(pull.verdict)
    if lack:
        return lack
    return say("CHATTER: ?") if chatter.present is None and pull.result.sliding is not None else ""


def _lack(verdict: Verdict) -> str:
    return next((say(words) for code, words in LACKS if code in verdict.missing), "")


def guide_text(verdict: Verdict, direction: int | None) -> str:
    """What to do next, in a few characters. 'The other way' is: move the lever over and pull, never push."""
    settling = verdict.settling
    if settling is None:
        return ""
    way, other = way_mark(direction), way_mark(-direction if direction else None)
    match settling.code:
        case SettlingCode.MORE_PULLS if settling.so_far < PULLS_EACH_WAY and settling.ways == 1:
            return say("PULL {next} OF {all} {way}", next=settling.so_far + 1, all=PULLS_EACH_WAY, way=way)
        case SettlingCode.MORE_PULLS:
            return say("ABOUT {n} MORE", n=settling.pulls or "?")
        case SettlingCode.OTHER_WAY if settling.so_far < PULLS_EACH_WAY:
            return say("PULL {next} OF {all} {way}", next=settling.so_far + 1, all=PULLS_EACH_WAY, way=way)
        case SettlingCode.OTHER_WAY:
            return say("LEVER OVER {way}", way=other)
        case SettlingCode.BETTER_SENSOR:
            return say("OTHER SENSOR")
        case SettlingCode.KNOWN_WEIGHTS:
            return say("KNOWN WEIGHTS")
        case SettlingCode.ANSWER_NEEDED:
            return say("ANSWER FIRST")
        case SettlingCode.PULL_AGAIN:
            return say("PULL AGAIN")
        case SettlingCode.STOP_AND_LOOK:
            return say("STOP, LOOK")
        case SettlingCode.TOO_NARROW:
            return say("TOO NARROW")


def source_mark(source: Source) -> str:
    """What is not the bench is marked large."""
    return {Source.BENCH: "", Source.SIMULATED: say("SIMULATED"), Source.REPLAY: say("REPLAY")}[source]


def near_capacity(peak_nm: float | None, capacity_nm: float | None) -> bool:
    """Whether the torque is so near the sensor's end that the hand should stop."""
    return peak_nm is not None and capacity_nm is not None and peak_nm >= STOP_SHARE * capacity_nm
