"""A comparison as a readable table for the terminal, in the same words as everywhere."""

from __future__ import annotations

from analysis.compare.comparison import Comparison
from analysis.compare.pulls import FigureName
from rig.words.comparison import FIGURE_NAMES, comparison_texts, conclusion_word, interval_text, question_text, value_text
from rig.words.language import say


def table_lines(comparison: Comparison, unit: str = "N.m") -> list[str]:
    """Headline, a row a figure, and the sentences."""
    rows = [question_text(comparison), ""]
    head = ("", say("before"), say("after"), say("change (95 %)"), "")
    table = [head]
    for name in FigureName:
        figure = comparison.figures.get(name)
        if figure is None or (figure.before.centre == figure.after.centre == 0):
            continue
        before, after = (value_text(name, side.centre, unit) for side in (figure.before, figure.after))
        table.append((say(FIGURE_NAMES[name]), before, after, interval_text(figure), conclusion_word(figure)))
    widths = [max(len(row[column]) for row in table) for column in range(len(head))]
    for row in table:
        cells = [row[0].ljust(widths[0]), *(text.rjust(width) for text, width in zip(row[1:3], widths[1:3], strict=True))]
        rows.append("  ".join([*cells, row[3].ljust(widths[3]), row[4]]).rstrip())
    return [*rows, "", *comparison_texts(comparison, unit), say("It advises; it approves nothing.")]
