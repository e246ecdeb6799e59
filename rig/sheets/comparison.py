"""A comparison as one page that a customer understands: words large, curves, every pull, conditions, what was not alike."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from analysis.compare.chatter import Outcome
from analysis.compare.comparison import Comparison
from analysis.compare.conditions import State
from analysis.compare.figures import Figure
from analysis.compare.pulls import FigureName
from rig.sheets.blocks import Block, Bullets, Columns, Page, Statement, Table, Tone
from rig.sheets.comparison_drawings import Curves, drawings_of
from rig.sheets.printing import write_page
from rig.words import comparison as words
from rig.words.comparison_sides import speed_limits
from rig.words.language import say, spoken


def draw(comparison: Comparison, curves: Curves, path: Path, unit: str, *, day: date | None = None) -> None:
    """Write the page as PDF, PNG or SVG, by the ending of `path`. Raises SheetError."""
    write_page(path, page_of(comparison, curves, unit), language=spoken(), day=day or date.today())


def page_of(comparison: Comparison, curves: Curves, unit: str = "N.m") -> Page:
    """The page of a comparison that was made.

    Parameters
    ----------
    curves : of the pulls, by their fingerprint; a pull without one is left out of the pictures alone
    """
    blocks: list[Block] = [_statements(comparison, unit)]
    drawings = drawings_of(comparison, curves, unit)
    blocks += [Columns(((one,), (other,)), (1.0, 1.0)) for one, other in zip(drawings[::2], drawings[1::2], strict=True)]
    # The table leaves a third of the page's width: what else is to be said stands there.
    told = Bullets(tuple(_sentences(comparison, unit)), small=True)
    blocks.append(Columns((tuple(_conditions(comparison)), (told,)), (1.45, 1.0)))
    return Page(
        title=say("Before against after"),
        subtitle=say("What may differ: {question}", question=say(words.QUESTION_WORDS[comparison.question])),
        right=_right(comparison),
        blocks=tuple(blocks),
        foot=say("platepull advises and approves nothing: the maker's manual, local rules and qualified persons decide."),
        page_of=say("page {page} of {pages}"),
    )


def _right(comparison: Comparison) -> tuple[str, ...]:
    units = {pull.stated.unit for side in (comparison.before, comparison.after) for pull in side if pull.stated.unit}
    lines = [", ".join(sorted(units))] if units else []
    for name, side in ((say("before"), comparison.before), (say("after"), comparison.after)):
        days = sorted({pull.stated.when[:10] for pull in side if pull.stated.when})
        span = "" if not days else f", {days[0]}" if len(days) == 1 else f", {days[0]} – {days[-1]}"
        lines.append(say("{side}: {n} pulls", side=name, n=len(side)) + span)
    return tuple(lines)


# -- words large ------------------------------------------------------------------------------------------------------------------

_TONES: dict[Outcome, Tone] = {
    Outcome.CURED: "good",
    Outcome.QUIET_SO_FAR: "good",
    Outcome.LESS: "good",
    Outcome.MORE: "bad",
    Outcome.AS_BEFORE: "bad",
    Outcome.OPEN: "open",
    Outcome.NOT_ASSESSABLE: "open",
    Outcome.NONE_BEFORE: "plain",
}


def _statements(comparison: Comparison, unit: str) -> Columns:
    parts: list[tuple[Block, ...]] = []
    if comparison.chatter is not None:
        word = words.chatter_word(comparison.chatter)
        text = say(
            "chatter in {k} of {n} pulls before, {l} of {m} after",
            k=comparison.chatter.before.chattering,
            n=comparison.chatter.before.assessable,
            l=comparison.chatter.after.chattering,
            m=comparison.chatter.after.assessable,
        )
        tone: Tone = _TONES[comparison.chatter.outcome]
        if words.is_new(comparison.chatter):
            tone = "bad"
        parts.append((Statement(tone, f"{say('chatter')}: {word}", text),))
    for name in (FigureName.SLIDING, FigureName.BREAKAWAY):
        figure = comparison.figures.get(name)
        if figure is not None:
            word = f"{say(words.FIGURE_NAMES[name])}: {_change_word(figure)}"
            parts.append((Statement("plain", word, _change_text(name, figure, unit)),))
    return Columns(tuple(parts), (1.0,) * len(parts))


def _change_word(figure: Figure) -> str:
    change = "" if figure.ratio is None else f" {words.rough_change(figure.ratio)}"
    return say(words.CONCLUSION_WORDS[figure.conclusion]) + change


def _change_text(name: FigureName, figure: Figure, unit: str) -> str:
    before, after = (words.value_text(name, side.centre, unit) for side in (figure.before, figure.after))
    text = say("{before} before, {after} after", before=before, after=after)
    if figure.ratio_low is not None and figure.ratio_high is not None:
        text += "; 95 %: " + say("{low} to {high}", low=words.change(figure.ratio_low), high=words.change(figure.ratio_high))
    return text


# -- conditions and sentences -----------------------------------------------------------------------------------------------------


def _conditions(comparison: Comparison) -> list[Block]:
    known = [one for one in comparison.conditions if one.state is not State.UNKNOWN]
    rows = tuple(
        (
            say(words.FIELD_NAMES[one.field]),
            ", ".join(words.condition_values(one.field, one.before)) or "–",
            ", ".join(words.condition_values(one.field, one.after)) or "–",
            words.state_word(one),
        )
        for one in known
    )
    blocks: list[Block] = [
        Table(
            heads=(say("conditions"), say("before"), say("after"), ""),
            rows=rows,
            align="llll",
            small=True,
        )
    ]
    return blocks


def _sentences(comparison: Comparison, unit: str) -> list[str]:
    """What the drawings do not say: chatter in full, pulls that stand apart, run-in, slopes, pulls still wanted."""
    texts = words.comparison_texts(comparison, unit)
    said = {words.condition_text(one) for one in comparison.conditions}
    settled = {
        words.figure_text(name, figure, comparison.threshold, unit)
        for name, figure in comparison.figures.items()
        if not words.further_text(figure)
    }
    kept = [text for text in texts if text not in said and text not in settled]
    speeds = [one for one in (comparison.speed_before, comparison.speed_after) if one is not None and one.slope is not None]
    limits = [limit[0].upper() + limit[1:] + "." for limit in speed_limits(speeds[0])] if speeds else []
    return kept + limits
