"""Springs and plates in one line: from interference to load.

Everything in a line carries the same load. The interference (how much taller the parts are than their space) is shared out over
the spring groups, each by its own law, and the plate stack, which yields a little. Solved by Newton's method over all draws and
choices at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.pack.cup_springs import SpringShape, load_and_rate

Floats = NDArray[np.float64]

ITERATIONS = 7
"""Newton steps at most; the load is then exact to far below a newton, except where springs fall through flat."""
SETTLED_N = 0.01
"""A step that changes no load by more than this is the last: the next would change it by the square of that."""
LEAST_RATE_SHARE = 0.03
"""Share of a spring's mean rate taken as its least rate while solving: a law that does not rise must not send a step away."""


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """Nested springs as one; `factor`: their number times what friction adds on closing. `curve` replaces the formula."""

    shape: SpringShape
    factor: Floats | float
    curve: tuple[Floats, Floats] | None = None

    @property
    def cone_mm(self) -> Floats:
        """Cone height, or how far a measured curve goes if that is less."""
        cone = np.asarray(self.shape.cone_height_mm, dtype=np.float64)
        return cone if self.curve is None else np.minimum(cone, self.curve[0][-1])

    def load_and_rate(self, deflection_mm: Floats) -> tuple[Floats, Floats]:
        """Load and rate of the whole group."""
        if self.curve is None:
            load, rate = load_and_rate(self.shape, deflection_mm)
        else:
            load, rate = _read_curve(self.curve, deflection_mm)
        return load * self.factor, rate * self.factor


def _read_curve(curve: tuple[Floats, Floats], deflection_mm: Floats) -> tuple[Floats, Floats]:
    """Load and rate of a measured curve; beyond its last row the load stays, for nobody measured it."""
    at, loads = curve
    load = np.interp(deflection_mm, at, loads)
    slopes = np.diff(loads) / np.diff(at)
    place = np.clip(np.searchsorted(at, deflection_mm, side="right") - 1, 0, slopes.size - 1)
    inside = (deflection_mm >= at[0]) & (deflection_mm <= at[-1])
    return load, np.where(inside, slopes[place], 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class LineState:
    """A line at rest.

    Parameters
    ----------
    load_n
        The load all its parts carry.
    rate_n_per_mm
        Change of the load with the interference.
    deflection_mm
        Of each group.
    """

    load_n: Floats
    rate_n_per_mm: Floats
    deflection_mm: tuple[Floats, ...]


def settle(groups: Sequence[Group], compliance_mm_per_n: Floats | float, interference_mm: Floats) -> LineState:
    """Share the interference out over spring groups and stack.

    Parameters
    ----------
    groups
        In series, at least one; arrays in their shapes broadcast with the interference.
    compliance_mm_per_n
        Yield of the plate stacks in the line.
    interference_mm
        Shape (draws, choices); negative where there is play.

    Returns
    -------
    LineState
        Load in N, its rate in N/mm and the deflections in mm; 0 N where there is play.
    """
    total_cone = sum((group.cone_mm for group in groups), start=np.float64(0.0))
    parts = [interference_mm * (group.cone_mm / np.maximum(total_cone, 1e-9)) for group in groups]
    least = []
    for group in groups:
        flat_load, _ = group.load_and_rate(group.cone_mm)
        least.append(np.maximum(LEAST_RATE_SHARE * flat_load / np.maximum(group.cone_mm, 1e-9), 1.0))
    load = np.zeros_like(interference_mm)
    for _ in range(ITERATIONS):
        loads_rates = [group.load_and_rate(part) for group, part in zip(groups, parts, strict=True)]
        rates = [np.maximum(rate, low) for (_, rate), low in zip(loads_rates, least, strict=True)]
        softness = sum((1.0 / rate for rate in rates), start=np.asarray(compliance_mm_per_n, dtype=np.float64))
        missing = interference_mm - sum(parts, start=np.float64(0.0))
        pulled = sum((one / rate for (one, _), rate in zip(loads_rates, rates, strict=True)), start=np.float64(0.0))
        before, load = load, np.maximum((missing + pulled) / softness, 0.0)
        parts = [part + (load - one) / rate for part, (one, _), rate in zip(parts, loads_rates, rates, strict=True)]
        if np.max(np.abs(load - before), initial=0.0) < SETTLED_N:
            break
    loads_rates = [group.load_and_rate(part) for group, part in zip(groups, parts, strict=True)]
    rates = [np.maximum(rate, 1e-3) for _, rate in loads_rates]
    total_rate = 1.0 / sum((1.0 / rate for rate in rates), start=np.asarray(compliance_mm_per_n, dtype=np.float64))
    return LineState(load, np.where(load > 0.0, total_rate, 0.0), tuple(np.broadcast_arrays(*parts)))
