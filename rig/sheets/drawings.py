"""Pictures of the printed pages, in mm: curves against the window, the arrangement, a circle of bolts."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.trace import Floats
from rig.sheets.blocks import Drawing, Label, Line
from rig.words.arrangements import SCENES, Scene

Shape = Line | Label

COLUMNS = 220
"""Columns of a printed curve: two points each, so that no peak is lost and the file stays small."""
TICKS = 5
"""About so many ticks an axis."""


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """A pull to draw: (n,) along the axis and (n,) torque in the printed unit; `other_way` is drawn in dashes."""

    along: Floats
    torque: Floats
    other_way: bool


def decimated(along: Floats, torque: Floats, columns: int = COLUMNS) -> tuple[Floats, Floats]:
    """Lowest and highest sample of each of `columns` parts, in their order: the shape stays and no peak is lost."""
    if along.size <= 2 * columns:
        return along, torque
    edges = np.linspace(0, along.size, columns + 1).astype(int)
    kept = [
        at
        for first, last in itertools.pairwise(edges)
        for at in sorted({first + int(torque[first:last].argmin()), first + int(torque[first:last].argmax())})
    ]
    return along[kept], torque[kept]


def nice_ticks(low: float, high: float, about: int = TICKS) -> list[float]:
    """Round values from low to high, about so many: steps of 1, 2 or 5 times a power of ten.

    >>> nice_ticks(0, 83)
    [0.0, 20.0, 40.0, 60.0, 80.0]
    """
    rough = (high - low) / about
    if not rough > 0 or not math.isfinite(rough):
        return [low]
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(size * power for size in (1, 2, 5, 10) if size * power >= rough * 0.999)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(at * step, 10) + 0.0 for at in range(first, last + 1)]


@dataclass(frozen=True, slots=True)
class Frame:
    """The axes of a plot: its field in mm and what it spans."""

    width_mm: float
    height_mm: float
    x: tuple[float, float]
    y: tuple[float, float]
    left_mm: float = 10.5
    bottom_mm: float = 8.5
    top_mm: float = 5.0
    right_mm: float = 2.0

    def at(self, x: float, y: float) -> tuple[float, float]:
        """A value's place on the field; what lies outside is drawn on its edge."""
        across = min(1.0, max(0.0, (x - self.x[0]) / (self.x[1] - self.x[0])))
        up = min(1.0, max(0.0, (y - self.y[0]) / (self.y[1] - self.y[0])))
        inside_x = self.width_mm - self.left_mm - self.right_mm
        inside_y = self.height_mm - self.top_mm - self.bottom_mm
        return round(self.left_mm + across * inside_x, 3), round(self.top_mm + (1 - up) * inside_y, 3)


def plot(
    frame: Frame,
    curves: Sequence[Curve],
    *,
    title: str,
    x_label: str,
    y_label: str,
    band: tuple[float | None, float | None] | None,
    legend: Sequence[tuple[str, bool]] = (),
    tick_text: Mapping[float, str] | None = None,
    x_text: Mapping[float, str] | None = None,
    alt: str,
) -> Drawing:
    """Curves in a frame, with the window as a band behind them.

    Parameters
    ----------
    band : limits of the window in the printed unit; None on a side: it goes on to the frame's edge
    legend : texts and whether each is the other way round
    tick_text : what stands at a tick; else the number
    x_text : the same for the axis along alone
    """
    shapes: list[Shape] = []
    (x0, x1), (y0, y1) = frame.x, frame.y
    if band is not None:
        low, high = (y0 if band[0] is None else band[0]), (y1 if band[1] is None else band[1])
        corners = tuple(frame.at(x, y) for x, y in ((x0, low), (x1, low), (x1, high), (x0, high)))
        shapes.append(Line(corners, width_pt=0, fill="band"))
        limits = [(frame.at(x0, limit), frame.at(x1, limit)) for limit in band if limit is not None]
        shapes += [Line(limit, width_pt=0.6, ink="soft", dash="dashed") for limit in limits]
    texts = tick_text or {}
    for value in nice_ticks(y0, y1):
        x, y = frame.at(x0, value)
        shapes.append(Line(((x, y), frame.at(x1, value)), width_pt=0.25, ink="line"))
        shapes.append(Label(texts.get(value, f"{value:g}"), x - 1.2, y, align="right", size_pt=6.8))
    texts = texts if x_text is None else x_text
    for value in nice_ticks(x0, x1):
        x, y = frame.at(value, y0)
        shapes.append(Line(((x, y), (x, y + 0.9)), width_pt=0.5))
        shapes.append(Label(texts.get(value, f"{value:g}".replace("-", "−")), x, y + 2.6, size_pt=6.8))
    shapes.append(Line((frame.at(x0, y1), frame.at(x0, y0), frame.at(x1, y0)), width_pt=0.7))
    for curve in curves:
        inside = (curve.along >= x0) & (curve.along <= x1)
        along, torque = decimated(curve.along[inside], curve.torque[inside])
        points = tuple(frame.at(float(x), float(y)) for x, y in zip(along, torque, strict=True))
        if len(points) > 1:
            shapes.append(_stroke(points, curve.other_way, 0.75))
    middle_x, _ = frame.at((x0 + x1) / 2, y0)
    shapes += [
        Label(title, frame.left_mm, 1.8, align="left", size_pt=8.2, bold=True),
        Label(x_label, middle_x, frame.height_mm - 1.6, size_pt=6.8),
        Label(y_label, 1.4, frame.at(x0, (y0 + y1) / 2)[1], size_pt=6.8, turned=True),
    ]
    for number, (text, other_way) in enumerate(reversed(legend)):
        x = frame.width_mm - frame.right_mm - 22.0 * (number + 1)
        shapes.append(_stroke(((x, 1.8), (x + 4.5, 1.8)), other_way, 1.0))
        shapes.append(Label(text, x + 5.5, 1.8, align="left", size_pt=6.8))
    return Drawing(frame.width_mm, frame.height_mm, alt, tuple(shapes))


def _stroke(points: tuple[tuple[float, float], ...], other_way: bool, width_pt: float) -> Line:
    """The line of one direction: by colour and by dash, so that it can be told in grey too."""
    return Line(points, width_pt, "second" if other_way else "first", "densely-dashed" if other_way else None)


# -- the arrangement --------------------------------------------------------------------------------------------------------------


def arrangement(code: str, *, alt: str, caption: str, width_mm: float = 50.0) -> Drawing | None:
    """What is held and what the hand turns; None for a code without a picture."""
    scene = SCENES.get(code)
    if scene is None:
        return None
    scale = width_mm / 200.0
    shapes = [_scaled(shape, scale) for shape in _scene(scene)]
    return Drawing(width_mm, 96.0 * scale, alt, tuple(shapes), caption)


def _scaled(shape: Line, scale: float) -> Line:
    """A line drawn within 200 by 96 about the origin, onto the field."""
    return replace(shape, points=tuple((round((x + 100) * scale, 3), round((y + 46) * scale, 3)) for x, y in shape.points))


def _scene(scene: Scene) -> list[Line]:
    shapes = [_box(-30, -26, 60, 52, fill="sunk", width_pt=1.0)]
    one_pack = scene.extra == "one pack"
    shapes += [_box(x, -18, 3, 36, fill="ink", width_pt=0) for x in ((-20, -13) if one_pack else (-20, -13, 10, 17))]
    if not one_pack:
        shapes.append(Line(((-5, -8), (5, -8), (2, 8), (-2, 8), (-5, -8)), width_pt=0.8, fill="paper"))
    for sign, what in ((-1, scene.left), (1, scene.right)):
        shapes.append(Line(((sign * 30, 0), (sign * 62, 0)), width_pt=2.4))
        shapes += _end(what, sign * 74.0, wheel=scene.extra == "wheels")
    if scene.case == "held":
        shapes += _clamp(-16, 27, 32, 15)
    elif scene.case == "turned":
        shapes += _turn(0, -28, 14, back=False)
    if scene.extra == "pinion":
        shapes.append(Line(((0, 26), (0, 34)), width_pt=2.0))
        shapes += _turn(0, 36, 11, back=False)
    return shapes


def _end(what: str, x: float, *, wheel: bool) -> list[Line]:
    shapes = [_box(x - 8, -28, 16, 56, width_pt=1.0)] if wheel else []
    match what:
        case "held":
            shapes += _clamp(x - 12, -18, 24, 36)
        case "floor":
            shapes.append(_box(x - 24, 30, 48, 4, fill="ink", width_pt=0))
        case "turned" | "back":
            shapes += _turn(x, 0, 20, back=what == "back")
        case _ if not wheel:
            shapes.append(Line(_circle(x, 0, 12), width_pt=0.8, ink="soft", dash="densely-dotted"))
    return shapes


def _box(x: float, y: float, wide: float, high: float, *, fill: str | None = None, width_pt: float = 0.8) -> Line:
    corners = ((x, y), (x + wide, y), (x + wide, y + high), (x, y + high), (x, y))
    return Line(corners, width_pt=width_pt, fill=fill)


def _clamp(x: float, y: float, wide: float, high: float) -> list[Line]:
    """A vice: a box, hatched."""
    shapes = [_box(x, y, wide, high, fill="paper", width_pt=1.0)]
    for start in range(8, int(wide + high), 8):
        low = (x + max(0.0, start - high), y + min(high, start))
        up = (x + min(wide, start), y + max(0.0, start - wide))
        shapes.append(Line((low, up), width_pt=0.6))
    return shapes


def _circle(x: float, y: float, radius: float, from_deg: float = 0.0, to_deg: float = 360.0) -> tuple[tuple[float, float], ...]:
    steps = 32
    angles = (math.radians(from_deg + (to_deg - from_deg) * at / steps) for at in range(steps + 1))
    return tuple((x + radius * math.cos(angle), y + radius * math.sin(angle)) for angle in angles)


def _turn(x: float, y: float, radius: float, *, back: bool) -> list[Line]:
    """An arrow round the axis; `back` the other way round."""
    arc = _circle(x, y, radius, 150, 375)
    end_x, end_y = arc[-1]
    head = ((end_x - 8, end_y - 3), (end_x + 7, end_y - 1), (end_x - 3, end_y + 11), (end_x - 8, end_y - 3))
    if back:
        arc, head = (tuple((2 * x - px, py) for px, py in each) for each in (arc, head))  # type: ignore[assignment]
    return [Line(arc, width_pt=1.8, ink="first"), Line(head, width_pt=0, ink="first", fill="first")]


# -- bolts ------------------------------------------------------------------------------------------------------------------------


def bolt_circle(order: Sequence[int], off: Sequence[int], *, alt: str, caption: str, width_mm: float = 42.0) -> Drawing:
    """A circle of bolts with their numbers, outside it the place of each in a pass; those in `off` are drawn dashed."""
    count = len(order)
    middle, ring = width_mm / 2, width_mm / 2 - 6.0
    size = min(2.6, math.pi * ring / max(count, 1) * 0.8)
    place = {number: at for at, number in enumerate(order, start=1)}
    shapes: list[Shape] = [Line(_circle(middle, middle, ring), width_pt=0.4, ink="line")]
    for number in range(1, count + 1):
        angle = 2 * math.pi * (number - 1) / count - math.pi / 2
        x, y = middle + ring * math.cos(angle), middle + ring * math.sin(angle)
        outside = ring + 4.4
        missing = number in off
        ink, fill, dash = ("bad", "paper", "densely-dashed") if missing else ("ink", "sunk", None)
        shapes += [
            Line(_circle(x, y, size), width_pt=0.9, fill=fill, dash=dash, ink=ink),
            Label(str(number), x, y, size_pt=6.5, bold=True),
            Label(f"{place[number]}.", middle + outside * math.cos(angle), middle + outside * math.sin(angle), size_pt=5.6),
        ]
    return Drawing(width_mm, width_mm, alt, tuple(shapes), caption)
