"""The bench over the jobs as a control chart, the figures of `platepull book trend`. Asked on the book's thread; no Qt."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from analysis.window import Basis
from rig.words.language import number, say

if TYPE_CHECKING:
    from rig.book.book import Book

FIGURES: Final = {
    "scatter": "scatter from pull to pull",
    "zero": "the zero moved within a pull, mean of a job",
    "directions": "one direction reads above the other by",
    "shims": "torque a mm of shim, as a share of the torque",
}
"""What is charted, by its name on the command line."""
UNITS: Final = {"scatter": ("%", 100.0), "zero": ("N·m", 1.0), "directions": ("%", 100.0), "shims": ("%/mm", 100.0)}
"""The unit of each, and the factor to it."""
RULES: Final = {
    "beyond": "BEYOND its limits: look at vice, lever and sensor before the next job",
    "run": "one of eight in a row on one side: something has shifted",
    "trend": "one of six in a row that rise, or fall: something drifts",
}
TREND_HEADINGS: Final = ("job", "value", "n", "limits", "what it says")


@dataclass(frozen=True, slots=True)
class TrendPoint:
    """A job on the chart, in the unit of the figure; limits None where there are too few jobs. `broken`: it breaks a rule."""

    job: str
    value: float
    low: float | None
    high: float | None
    broken: bool
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TrendView:
    """The chart, oldest job first, and what stands above it."""

    head: str
    unit: str
    centre: float | None
    points: tuple[TrendPoint, ...]


def trend_view(book: Book, figure: str, basis: Basis) -> TrendView:
    """One figure over the newest jobs."""
    return _scatter(book, basis) if figure == "scatter" else _level(book, figure, basis)


def _scatter(book: Book, basis: Basis) -> TrendView:
    from rig.book.knowledge import scatters
    from rig.book.trend import chart

    drawn = chart(scatters(book, basis))
    unit, scale = UNITS["scatter"]
    if drawn.centre is None:
        return TrendView(say("no job has repeats yet: two pulls one way in one state are the least"), unit, None, ())
    centre = scale * drawn.centre
    head = say("scatter from pull to pull: {value} % ({n} degrees of freedom)", value=number(centre, 1), n=drawn.degrees_of_freedom)
    points = tuple(
        _point(
            point.job, (scale * point.relative, scale * point.low, scale * point.high), point.degrees_of_freedom, point.rules, unit
        )
        for point in drawn.points
    )
    return TrendView(head, unit, centre, points)


def _level(book: Book, figure: str, basis: Basis) -> TrendView:
    from rig.book.knowledge import directions_apart, shims_did, shop_history, zero_moves
    from rig.book.trend import level_chart

    levels = {
        "zero": lambda: zero_moves(book),
        "directions": lambda: directions_apart(book, basis),
        "shims": lambda: shims_did(shop_history(book)),
    }[figure]()
    drawn, (unit, scale) = level_chart(levels), UNITS[figure]
    what = say(FIGURES[figure])
    if drawn.centre is None or drawn.low is None or drawn.high is None:
        head = say("{what}: jobs so far {n}; limits need five", what=what, n=len(levels))
        limits: tuple[float | None, float | None] = (None, None)
    else:
        centre, low, high = (scale * value for value in (drawn.centre, drawn.low, drawn.high))
        limits = (low, high)
        shown = {"value": number(centre, 2), "low": number(low, 2), "high": number(high, 2)}
        head = say("{what}: {value} {unit}, limits {low} to {high}", what=what, unit=unit, **shown)
    points = tuple(_point(point.job, (scale * point.value, *limits), point.n, point.rules, unit) for point in drawn.points)
    return TrendView(head, unit, None if drawn.centre is None else scale * drawn.centre, points)


def _point(job: str, values: tuple[float, float | None, float | None], n: int, rules: tuple[str, ...], unit: str) -> TrendPoint:
    value, low, high = values
    limits = "–" if low is None or high is None else say("{low} to {high}", low=number(low, 2), high=number(high, 2))
    words = "; ".join(say(RULES[rule]) for rule in rules)
    return TrendPoint(job, value, low, high, bool(rules), (job, f"{number(value, 2)} {unit}", str(n), limits, words))
