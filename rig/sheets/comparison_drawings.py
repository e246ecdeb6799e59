"""The drawings of a comparison: curves laid over each other, every pull, chatter, spectrum, friction against speed.

Before is drawn in a full line, after in dashes of another colour, so that they can be told apart in grey too.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from analysis.compare.comparison import Comparison
from analysis.compare.curves import Band, PullCurve, band_of
from analysis.compare.pulls import ComparedPull, FigureName
from analysis.compare.speed import FrictionAgainstSpeed
from analysis.trace import Floats
from analysis.units import in_unit
from rig.sheets.blocks import Drawing, Label, Line
from rig.sheets.drawings import Frame, plot
from rig.words import comparison as words
from rig.words.language import say
from rig.words.numbers import unit_name

WIDE_MM, HIGH_MM = 86.0, 47.0  # two drawings side by side on A4, three rows and a table on one page
INKS = ("first", "second")
DASHES = (None, "densely-dashed")
SOFT = ("first-soft", "second-soft")
ROOM = 0.06  # of the span, above and below what is drawn
TOP_PERCENTILE = 99.8  # the highest sample of a curve may be a spike

Shapes = list[Line | Label]
Curves = Mapping[str, PullCurve]
"""Curves of the pulls, by their fingerprint."""


def drawings_of(comparison: Comparison, curves: Curves, unit: str) -> list[Drawing]:
    """All drawings there is something to show in, an even number of them."""
    drawings = [
        *_overlays(comparison, curves, unit),
        _points(comparison),
        *_chatter_drawings(comparison, curves, unit),
        *_speed_drawing(comparison, unit),
    ]
    return [*drawings, _pull_by_pull(comparison, unit)] if len(drawings) % 2 else drawings


# -- curves -----------------------------------------------------------------------------------------------------------------------


def _sides(comparison: Comparison) -> tuple[tuple[ComparedPull, ...], tuple[ComparedPull, ...]]:
    return comparison.before, comparison.after


def _legend() -> tuple[tuple[str, bool], ...]:
    return (say("before"), False), (say("after"), True)


def _overlays(comparison: Comparison, curves: Curves, unit: str) -> list[Drawing]:
    """Mean and band of each side over the angle and over time, breakaway on breakaway, with the single pulls behind."""
    factor = in_unit(1.0, unit)
    drawings = []
    kept = [[curve for pull in side if pull.counted and (curve := curves.get(pull.fingerprint))] for side in _sides(comparison)]
    for title, x_label, by_angle in (
        (say("Torque over angle"), say("angle after breakaway [°]"), True),
        (say("Torque over time"), say("time after breakaway [s]"), False),
    ):
        sides = [
            [(c.angle_deg, factor * c.over_angle_nm) if by_angle else (c.time_s, factor * c.over_time_nm) for c in side]
            for side in kept
        ]
        filled = [[(x, y) for x, y in side if x.size > 1] for side in sides]
        if not any(filled):
            continue
        bands = [band_of(side) for side in filled]
        seen = [band.x[np.isfinite(band.mean)] for band in bands if band is not None]
        everything = [pair for side in filled for pair in side]
        x_span = (min(float(x[0]) for x in seen), max(float(x[-1]) for x in seen))
        top = max(float(np.percentile(y, TOP_PERCENTILE)) for _, y in everything)
        frame = Frame(WIDE_MM, HIGH_MM, x_span, (0.0, (1 + ROOM) * top))
        shapes: Shapes = []
        for at, band in enumerate(bands):
            shapes += _band(frame, band, at)
        drawings.append(
            _with(
                plot(
                    frame,
                    [],
                    title=title,
                    x_label=x_label,
                    y_label=f"{say('torque')} [{unit_name(unit)}]",
                    band=None,
                    legend=_legend(),
                    alt=say("Torque of both sides, breakaway on breakaway: mean and its 95 % band"),
                ),
                shapes,
            )
        )
    return drawings


def _band(frame: Frame, band: Band | None, at: int) -> Shapes:
    """A side's mean as a line and the interval of the mean behind it."""
    if band is None:
        return []
    shapes: Shapes = []
    known = np.isfinite(band.mean)
    wide = known & (band.high > band.low)
    if wide.sum() > 1:
        upper = _points_of(frame, band.x[wide], band.high[wide])
        lower = _points_of(frame, band.x[wide], band.low[wide])
        shapes.append(Line((*upper, *lower[::-1]), width_pt=0, fill=SOFT[at]))
    shapes.append(Line(_points_of(frame, band.x[known], band.mean[known]), 0.9, INKS[at], DASHES[at]))
    return shapes


def _points_of(frame: Frame, x: Floats, y: Floats) -> tuple[tuple[float, float], ...]:
    return tuple(frame.at(float(a), float(b)) for a, b in zip(x, y, strict=True))


def _with(drawing: Drawing, shapes: Shapes) -> Drawing:
    return replace(drawing, shapes=(*drawing.shapes, *shapes))


# -- every pull -------------------------------------------------------------------------------------------------------------------


def _points(comparison: Comparison) -> Drawing:
    """Every pull in percent of the mean before, and beside it the ratio with its interval; hollow: stands apart."""
    names = [name for name in (FigureName.SLIDING, FigureName.BREAKAWAY, FigureName.RATIO) if name in comparison.figures]
    values: list[tuple[float, float, int, bool]] = []
    for group, name in enumerate(names):
        centre = comparison.figures[name].before.centre
        for at, side in enumerate(_sides(comparison)):
            mine = [(pull, pull.value(name)) for pull in side]
            known = [(pull, value) for pull, value in mine if value is not None]
            for place, (pull, value) in enumerate(known):
                across = 0.0 if len(known) < 2 else 0.16 * (place / (len(known) - 1) - 0.5)
                values.append((group + 0.18 + 0.3 * at + across, 100 * value / centre, at, pull.counted))
    ends = [
        100 * end
        for name in names
        for end in (comparison.figures[name].ratio_low, comparison.figures[name].ratio_high)
        if end is not None
    ]
    low, high = min([*(v[1] for v in values), *ends, 95.0]), max([*(v[1] for v in values), *ends, 105.0])
    room = ROOM * (high - low)
    frame = Frame(WIDE_MM, HIGH_MM, (0.0, float(max(1, len(names)))), (low - room, high + room))
    drawing = plot(
        frame,
        [],
        title=say("Every pull, and the change (95 %)"),
        x_label="",
        y_label=say("% of the mean before"),
        band=(100 / (1 + comparison.threshold), 100 * (1 + comparison.threshold)),
        x_text=dict.fromkeys((0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0), ""),
        alt=say("Every pull in percent of the mean before, and the ratio after over before with its interval"),
    )
    shapes: Shapes = []
    for x, y, at, counted in values:
        shapes.append(Line(_dot(*frame.at(x, y)), 0.6, INKS[at], fill=INKS[at] if counted else "paper"))
    for group, name in enumerate(names):
        figure = comparison.figures[name]
        x = group + 0.78
        label_x, label_y = frame.at(group + 0.5, frame.y[0])
        shapes.append(Label(say(words.FIGURE_NAMES[name]), label_x, label_y + 2.9, size_pt=6.8))
        if figure.ratio is None:
            continue
        if figure.ratio_low is not None and figure.ratio_high is not None:
            bottom, up = frame.at(x, 100 * figure.ratio_low), frame.at(x, 100 * figure.ratio_high)
            shapes.append(Line((bottom, up), 1.2))
            shapes += [Line(((px - 1.0, py), (px + 1.0, py)), 1.2) for px, py in (bottom, up)]
        middle = frame.at(x, 100 * figure.ratio)
        shapes.append(Line(_dot(*middle, radius=0.9), 0.6, fill="ink"))
    return _with(drawing, shapes)


def _pull_by_pull(comparison: Comparison, unit: str) -> Drawing:
    """Sliding in the order of pulling, both sides; hollow: stands apart."""
    factor = in_unit(1.0, unit)
    rows = [
        (place, factor * pull.sliding_nm, at, pull.counted)
        for at, side in enumerate(_sides(comparison))
        for place, pull in enumerate(side, start=1)
        if pull.sliding_nm is not None
    ]
    values = [torque for _, torque, _, _ in rows] or [0.0, 1.0]
    room = max(ROOM * (max(values) - min(values)), 0.02 * max(values))
    last = max((place for place, *_ in rows), default=1)
    frame = Frame(WIDE_MM, HIGH_MM, (0.5, last + 0.5), (min(values) - room, max(values) + room))
    drawing = plot(
        frame,
        [],
        title=say("Sliding, pull by pull"),
        x_label=say("pull"),
        y_label=f"{say('sliding')} [{unit_name(unit)}]",
        band=None,
        x_text={half / 2: str(half // 2) if half % 2 == 0 else "" for half in range(2 * last + 2)},
        alt=say("Sliding torque of every pull in the order of pulling"),
    )
    shapes: Shapes = []
    for at in (0, 1):
        mine = [(place, torque) for place, torque, side, counted in rows if side == at and counted]
        if len(mine) > 1:
            shapes.append(Line(tuple(frame.at(*pair) for pair in mine), 0.6, INKS[at], DASHES[at]))
    for place, torque, at, counted in rows:
        shapes.append(Line(_dot(*frame.at(place, torque)), 0.6, INKS[at], fill=INKS[at] if counted else "paper"))
    return _with(drawing, shapes)


def _dot(x: float, y: float, radius: float = 0.75) -> tuple[tuple[float, float], ...]:
    angles = [2 * math.pi * step / 12 for step in range(13)]
    return tuple((round(x + radius * math.cos(angle), 3), round(y + radius * math.sin(angle), 3)) for angle in angles)


# -- chatter ----------------------------------------------------------------------------------------------------------------------


def _chatter_drawings(comparison: Comparison, curves: Curves, unit: str) -> list[Drawing]:
    """Height of every slip over the travel, and the spectrum of the sliding torque; only where a side chatters."""
    if comparison.chatter is None or not comparison.chatter.before.chattering + comparison.chatter.after.chattering:
        return []
    factor = in_unit(1.0, unit)
    sides = [[curve for pull in side if (curve := curves.get(pull.fingerprint)) is not None] for side in _sides(comparison)]
    slips = [(at, curve.slips, factor * curve.heights_nm) for at, side in enumerate(sides) for curve in side if curve.slips.size]
    if not slips:
        return []
    has_angle = any(curve.angle_deg.size for side in sides for curve in side)
    way = say("angle after breakaway [°]") if has_angle else say("time after breakaway [s]")
    last = max([float(x[-1]) for _, x, _ in slips] + [float(c.angle_deg[-1]) for side in sides for c in side if c.angle_deg.size])
    frame = Frame(WIDE_MM, HIGH_MM, (0.0, last), (0.0, (1 + ROOM) * max(float(y.max()) for *_, y in slips)))
    drawing = plot(
        frame,
        [],
        title=say("Chatter: height of every slip"),
        x_label=way,
        y_label=f"{say('height')} [{unit_name(unit)}]",
        band=None,
        alt=say("Height of every slip of every pull over the travel"),
    )
    shapes: Shapes = [
        Line(_dot(*frame.at(float(a), float(b)), radius=0.5), 0.4, INKS[at], fill=INKS[at])
        for at, x, y in slips
        for a, b in zip(x, y, strict=True)
    ]
    quiet = [name for name, side in zip((say("before"), say("after")), sides, strict=True) if not any(c.slips.size for c in side)]
    if quiet:
        x_mm, y_mm = frame.at(last / 2, frame.y[0])
        shapes.append(Label(say("{side}: no slip in any pull", side=quiet[0]), x_mm, y_mm - 2.5, size_pt=7.2))
    return [_with(drawing, shapes), *_spectrum(sides, factor, unit)]


def _spectrum(sides: Sequence[Sequence[PullCurve]], factor: float, unit: str) -> list[Drawing]:
    known = [[curve for curve in side if curve.frequency_hz.size] for side in sides]
    if not all(known):
        return []
    means = []
    for side in known:
        grid = side[0].frequency_hz
        rows = [np.interp(grid, curve.frequency_hz, curve.amplitude_nm) for curve in side]
        means.append((np.log10(grid), factor * np.mean(rows, axis=0)))
    x_span = (min(float(x[0]) for x, _ in means), max(float(x[-1]) for x, _ in means))
    frame = Frame(WIDE_MM, HIGH_MM, x_span, (0.0, (1 + ROOM) * max(float(y.max()) for _, y in means)))
    drawing = plot(
        frame,
        [],
        title=say("Chatter: spectrum while sliding"),
        x_label=say("frequency [Hz]"),
        y_label=f"{say('amplitude')} [{unit_name(unit)}]",
        band=None,
        x_text=_powers(),
        alt=say("Spectrum of the sliding torque of both sides"),
    )
    shapes: Shapes = [Line(_points_of(frame, x, y), 0.8, INKS[at], DASHES[at]) for at, (x, y) in enumerate(means)]
    return [_with(drawing, shapes)]


def _powers() -> dict[float, str]:
    """Texts for ticks on a scale of powers of ten."""
    return {round(step / 10, 10): f"{float(f'{10 ** (step / 10):.2g}'):g}" for step in range(-10, 31)}


# -- friction against speed -------------------------------------------------------------------------------------------------------


def _speed_drawing(comparison: Comparison, unit: str) -> list[Drawing]:
    sides = (comparison.speed_before, comparison.speed_after)
    speeds = [(at, one) for at, one in enumerate(sides) if one is not None and one.curve]
    if not speeds:
        return []
    factor = in_unit(1.0, unit)
    points = [(point.speed_deg_s, factor * point.torque_nm) for _, one in speeds for point in one.curve]
    x = [math.log10(speed) for speed, _ in points]
    y = [torque for _, torque in points]
    room = max(0.1 * (max(y) - min(y)), 0.02 * max(y))
    frame = Frame(WIDE_MM, HIGH_MM, (min(x) - 0.05, max(x) + 0.05), (min(y) - room, max(y) + room))
    drawing = plot(
        frame,
        [],
        title=say("Friction against speed"),
        x_label=say("speed [deg/s]"),
        y_label=f"{say('sliding')} [{unit_name(unit)}]",
        band=None,
        legend=_legend(),
        x_text=_powers(),
        alt=say("Sliding torque over the speed of the lever"),
    )
    shapes: Shapes = []
    for at, one in speeds:
        shapes += _speed_shapes(frame, one, at, factor)
    return [_with(drawing, shapes)]


def _speed_shapes(frame: Frame, one: FrictionAgainstSpeed, at: int, factor: float) -> Shapes:
    shapes: Shapes = []
    for point in one.curve:
        x = math.log10(point.speed_deg_s)
        if point.low_nm is not None and point.high_nm is not None:
            shapes.append(Line((frame.at(x, factor * point.low_nm), frame.at(x, factor * point.high_nm)), 0.8, INKS[at]))
        shapes.append(Line(_dot(*frame.at(x, factor * point.torque_nm)), 0.5, INKS[at], fill=INKS[at]))
    line = tuple(frame.at(math.log10(point.speed_deg_s), factor * point.torque_nm) for point in one.curve)
    if len(line) > 1:
        shapes.append(Line(line, 0.7, INKS[at], DASHES[at]))
    return shapes
