"""What the closer look shows of a pull: curves, named stretches, marks with their uncertainty, slips, the cursor's values. No Qt.

All pulls are laid with breakaway at time 0 and angle 0, zero offset taken off, positive the way they were pulled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.results import Label
from analysis.units import in_unit
from rig.window.decimation import NO_CURVE, Curve, aligned, nearest, placing, spectrum
from rig.window.model import Pull
from rig.window.views.verdict import chatter_text, remarks, view_of
from rig.words.language import number, say
from rig.words.numbers import digits, torque, unit_name, with_spread
from rig.words.units import UnitChoice

EARLIER_COLUMNS = 600
COLUMNS = 1200


@dataclass(frozen=True, slots=True)
class Named:
    """A stretch with its name in the user's language; `label` picks the colour."""

    label: str
    name: str
    from_x: float
    to_x: float


@dataclass(frozen=True, slots=True)
class Mark:
    """A level with its expanded uncertainty from `from_x` to `to_x` (equal for breakaway), with finished text."""

    from_x: float
    to_x: float
    level: float
    spread: float
    text: str


@dataclass(frozen=True, slots=True)
class Graph:
    """One diagram of a pull: torque over time, or over angle."""

    curve: Curve
    breakaway: Mark | None
    sliding: Mark | None
    slips: Curve
    stretches: tuple[Named, ...] = ()

    @property
    def span(self) -> tuple[float, float]:
        """From the first to the last place on the x axis, with a little room."""
        if not self.curve.x.size:
            return 0.0, 1.0
        low, high = float(np.nanmin(self.curve.x)), float(np.nanmax(self.curve.x))
        room = 0.02 * (high - low) or 0.5
        return low - room, high + room


@dataclass(frozen=True, slots=True)
class PullPicture:
    """Both diagrams of a pull. `over_angle` is None where the bench has no angle."""

    over_time: Graph
    over_angle: Graph | None


def label_name(label: Label) -> str:
    """The name of a stretch in the user's language."""
    names = {
        Label.REST: say("rest"),
        Label.SLACK: say("slack"),
        Label.LOAD: say("load"),
        Label.SLIP: say("slip"),
        Label.SLIDING: say("sliding"),
        Label.PAUSE: say("pause"),
        Label.RELEASE: say("release"),
        Label.CLIPPED: say("clipped"),
    }
    return names[label]


def picture_of(pull: Pull, unit: UnitChoice, columns: int = COLUMNS) -> PullPicture:
    """Everything to draw of a pull."""
    per_nm = unit.per_nm
    at = placing(pull.trace, pull.result)
    time_curve, angle_curve = aligned(pull.trace, pull.result, columns, per_nm)
    stretches = tuple(
        Named(part.label.value, label_name(part.label), part.from_s - at.time_s, part.to_s - at.time_s)
        for part in pull.result.stretches
    )
    slips = _slips(pull, per_nm)

    def graph(curve: Curve, x_of: _Axis, parts: tuple[Named, ...]) -> Graph:
        breakaway, sliding = pull.result.breakaway, pull.result.sliding
        first = None
        if breakaway is not None:
            text = say("breakaway {torque}", torque=torque(breakaway.torque_nm, unit.first))
            spread = breakaway.budget.expanded_u_nm * per_nm
            first = Mark(x_of(breakaway.time_s), x_of(breakaway.time_s), breakaway.torque_nm * per_nm, spread, text)
        second = None
        if sliding is not None:
            text = say("sliding {torque}", torque=torque(sliding.torque_nm, unit.first))
            spread = sliding.budget.expanded_u_nm * per_nm
            second = Mark(x_of(sliding.from_s), x_of(sliding.to_s), sliding.torque_nm * per_nm, spread, text)
        places = np.array([x_of(time_s) for time_s in slips[0]])
        return Graph(curve, first, second, Curve(places, slips[1]), parts)

    over_time = graph(time_curve, _Axis(pull, of_angle=False), stretches)
    if not angle_curve.x.size:
        return PullPicture(over_time, None)
    return PullPicture(over_time, graph(angle_curve, _Axis(pull, of_angle=True), ()))


def earlier_of(pulls: Sequence[Pull], pull: Pull, most: int, unit: UnitChoice) -> tuple[list[Curve], list[Curve]]:
    """The pulls before this one, at most so many, breakaway on breakaway: over time, over angle."""
    before = [known for known in pulls if known.number < pull.number][-most:]
    pairs = [aligned(known.trace, known.result, EARLIER_COLUMNS, unit.per_nm) for known in before]
    return [pair[0] for pair in pairs], [pair[1] for pair in pairs]


class _Axis:
    """From a time of the trace to the place on the axis, of time or of angle."""

    def __init__(self, pull: Pull, *, of_angle: bool) -> None:
        self._trace = pull.trace
        self._at = placing(pull.trace, pull.result)
        self._of_angle = of_angle

    def __call__(self, time_s: float) -> float:
        if not self._of_angle or self._trace.angle_deg is None:
            return time_s - self._at.time_s
        turned = float(self._trace.angle_deg[nearest(self._trace, time_s)]) - self._at.angle_deg
        return turned * self._at.direction


def _slips(pull: Pull, per_nm: float) -> tuple[Sequence[float], np.ndarray]:
    times = pull.result.chatter.slip_times_s
    at = placing(pull.trace, pull.result)
    heights = [(float(pull.trace.torque_nm[nearest(pull.trace, time_s)]) - at.zero_nm) * at.direction * per_nm for time_s in times]
    return times, np.array(heights)


def cursor_text(pull: Pull, x_s: float, unit: UnitChoice) -> str:
    """The values under the cursor, `x_s` seconds after breakaway."""
    if not len(pull.trace):
        return ""
    at = placing(pull.trace, pull.result)
    i = nearest(pull.trace, x_s + at.time_s)
    time_s = float(pull.trace.time_s[i])
    value = in_unit((float(pull.trace.torque_nm[i]) - at.zero_nm) * at.direction, unit.first)
    parts = [
        f"{number(time_s - at.time_s, 3, sign=True)} s",
        f"{number(value, digits(unit.first, value) + 1)} {unit_name(unit.first)}",
    ]
    if pull.trace.angle_deg is not None:
        parts.append(f"{number((float(pull.trace.angle_deg[i]) - at.angle_deg) * at.direction, 2, sign=True)}°")
    part = next((part for part in pull.result.stretches if part.from_s <= time_s < part.to_s), None)
    if part is not None:
        parts.append(label_name(part.label))
    return "   ".join(parts)


def torque_spectrum(pull: Pull, unit: UnitChoice) -> Curve:
    """Amplitude over frequency of the sliding stretch (else of the whole pull)."""
    sliding = pull.result.sliding
    if not len(pull.trace):
        return NO_CURVE
    first, last = (sliding.from_s, sliding.to_s) if sliding else (float(pull.trace.time_s[0]), float(pull.trace.time_s[-1]))
    return spectrum(pull.trace, first, last, unit.per_nm)


def figures_of(pull: Pull, unit: UnitChoice) -> list[tuple[str, str]]:
    """Name and value of everything read off a pull, for the list beside the curve."""
    result = pull.result

    def reading(torque_nm: float, spread_nm: float) -> str:
        return "\n".join(with_spread(torque_nm, spread_nm, name) for name in (unit.first, unit.second) if name)

    rows = [(say("verdict"), view_of(pull, unit).word)]
    if result.breakaway is not None:
        rows.append((say("breakaway"), reading(result.breakaway.torque_nm, result.breakaway.budget.expanded_u_nm)))
        if result.breakaway.first_step_nm is not None:
            rows.append((say("first step"), torque(result.breakaway.first_step_nm, unit.first)))
    if result.sliding is not None:
        rows.append((say("sliding"), reading(result.sliding.torque_nm, result.sliding.budget.expanded_u_nm)))
        if result.sliding.travel_deg is not None:
            rows.append((say("travel"), f"{number(result.sliding.travel_deg, 0)}°"))
    if len(rows) > 1:
        rows.append(("±", say("of this pull's reading")))
    rows.append((say("direction"), direction_text(result.direction)))
    rows.append((say("chatter"), chatter_text(result, unit)))
    if result.chatter.cycles:
        rows.append((say("slips"), str(result.chatter.cycles)))
    if result.rate_hz is not None:
        rows.append((say("sampling"), f"{number(result.rate_hz, 0)} Hz"))
    rows += [(say("note"), note) for note in remarks(pull)]
    return rows


def direction_text(direction: int | None) -> str:
    """Which way it was pulled."""
    return {1: say("first way ↻"), -1: say("other way ↺"), None: "–"}[direction]
