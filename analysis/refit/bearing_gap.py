"""Preload of a pair of bearings that shims set: how much shim is needed, and which of those at hand come nearest.

Interference is what the shims press the bearings together by; end play is negative interference. Where a thicker shim makes room
(under a bolted retainer) the sign turns.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from analysis.refit.limits import COVERAGE_FACTOR, ROUNDING, Finding, FindingCode, Limits, State, mean_of

LARGEST_MM = 1.0
"""A gap, end play or interference above this is none of a side bearing: inch for mm, or a slipped point."""
SEATED_TURNS = 5
"""Turns after which the rollers sit against their flange (common practice, no source)."""
TICK_MM = 1e-4
"""Stacks of shims whose totals differ by less than this are one: no micrometer tells them apart."""
MOST_TICKS = 250_000
"""Of a total: where more is needed than 12 mm the ticks grow, so that the longest shelf is looked through at once."""
UNREACHED = 30_000
"""More shims than any stack has: no stack makes that total."""


class Form(StrEnum):
    """How the preload was measured."""

    GAP = "gap"
    END_PLAY = "end_play"
    DEPTHS = "depths"


@dataclass(frozen=True, slots=True, kw_only=True)
class BearingReadings:
    """What was measured and what the page wants; lengths in mm.

    readings        gap, end play, or depth of the case, round the flange
    depth_bearing   of the form `depths` only: case face to the race on the seated bearing
    wanted          interference, both ends
    shims_now       fitted while measuring
    thicker_loads   True where a thicker shim gives more preload, False where it makes room
    shelf           shims that may be combined with those fitted now, each once
    shims_max       most shims in a stack; None: any number
    turned          turns given before measuring; None: not told
    spread_max_mm   of the readings round the flange
    u_mm            standard uncertainty of one reading
    """

    form: Form
    readings: tuple[float, ...]
    depth_bearing: tuple[float, ...] = ()
    wanted: Limits
    shims_now: tuple[float, ...] = ()
    thicker_loads: bool = True
    shelf: tuple[float, ...] = ()
    shims_max: int | None = None
    turned: float | None = None
    spread_max_mm: float
    u_mm: float


@dataclass(frozen=True, slots=True)
class BearingAnswer:
    """What the readings mean. `interference_now_mm` is None for depths: nothing is closed yet."""

    measured_mm: float
    needed_mm: float
    u_mm: float
    choice_mm: tuple[float, ...]
    interference_mm: float
    interference_now_mm: float | None
    state: State
    probability_in_window: float

    @property
    def expanded_u_mm(self) -> float:
        """Of the interference with the choice, k = 2; shims count as written."""
        return COVERAGE_FACTOR * self.u_mm


def find_in_readings(sheet: BearingReadings) -> tuple[Finding, ...]:
    """What is wrong with the readings, impossible ones first.

    Raises
    ------
    ValueError
        Where `wanted` lacks an end, or a form lacks its readings.
    """
    found = []
    depths = sheet.form is Form.DEPTHS
    first = "depth_case" if depths else str(sheet.form)
    lengths = {first: sheet.readings, "depth_bearing": sheet.depth_bearing, "shims_now": sheet.shims_now, "shelf": sheet.shelf}
    low, high = sheet.wanted.low, sheet.wanted.high
    lengths["wanted"] = tuple(end for end in (low, high) if end is not None)
    small = {"wanted"} if depths else {"wanted", first}
    for name, values in lengths.items():
        odd = [value for value in values if value < 0 or (name in small and value > LARGEST_MM + ROUNDING)]
        if odd:
            found.append(Finding(FindingCode.IMPLAUSIBLE, name, odd[0], LARGEST_MM if odd[0] > 0 else 0.0))
    if found:  # what else such readings show follows from it
        return tuple(found)
    if (needed := _measure(sheet).needed_mm) < -ROUNDING:
        return (Finding(FindingCode.IMPLAUSIBLE, "needed", needed, 0.0),)
    if sheet.turned is not None and sheet.turned < SEATED_TURNS:
        found.append(Finding(FindingCode.NOT_SEATED, "turned", sheet.turned, SEATED_TURNS))
    for name in (first, "depth_bearing"):
        spread = max(lengths[name], default=0.0) - min(lengths[name], default=0.0)
        if spread > sheet.spread_max_mm + ROUNDING:
            found.append(Finding(FindingCode.NOT_SQUARE, name, spread, sheet.spread_max_mm))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Measured:
    """Mean, its u, what is needed, the sign of a thicker shim, and the interference without any shim, all in mm."""

    mean_mm: float
    u_mm: float
    needed_mm: float
    sign: int
    bare_mm: float


def _measure(sheet: BearingReadings) -> _Measured:
    """The readings as a straight line: interference = bare + sign x shims; needed is where it meets the middle of the window."""
    middle = sheet.wanted.middle
    if middle is None:
        raise ValueError("wanted needs both ends")
    sign = 1 if sheet.thicker_loads else -1
    mean = mean_of(sheet.readings, sheet.u_mm)
    value, u = mean.value, mean.u
    match sheet.form:
        case Form.DEPTHS:
            bearing = mean_of(sheet.depth_bearing, sheet.u_mm)
            value, u = mean.value - bearing.value, (mean.u**2 + bearing.u**2) ** 0.5
            bare = -sign * value
        case Form.GAP:
            bare = value - sign * sum(sheet.shims_now)
        case Form.END_PLAY:
            bare = -value - sign * sum(sheet.shims_now)
    return _Measured(value, u, sign * (middle - bare), sign, bare)


def choose_shims(sheet: BearingReadings) -> BearingAnswer:
    """The shims whose total comes nearest to what is needed, then the fewest, and how the preload will stand with them.

    Raises
    ------
    ValueError
        Where `wanted` lacks an end, or a form lacks its readings.

    Examples
    --------
    >>> page = BearingReadings(form=Form.GAP, readings=(0.11, 0.13, 0.12, 0.12), wanted=Limits(0.15, 0.21), shims_now=(1.10,),
    ...                        shelf=(0.05, 0.10, 1.10, 1.20), shims_max=2, spread_max_mm=0.05, u_mm=0.006)
    >>> answer = choose_shims(page)
    >>> f"{answer.needed_mm:.2f} {answer.choice_mm} {answer.interference_mm:.2f} {answer.state}"
    '1.16 (0.05, 1.1) 0.17 in_window'
    """
    measured = _measure(sheet)
    choice = nearest_stack((*sheet.shims_now, *sheet.shelf), measured.needed_mm, sheet.shims_max)
    interference = measured.bare_mm + measured.sign * sum(choice)
    if sheet.wanted.holds(interference):
        state = sheet.wanted.state(interference, COVERAGE_FACTOR * measured.u_mm)
    else:
        state = State.NO_CHOICE
    now = None if sheet.form is Form.DEPTHS else measured.bare_mm + measured.sign * sum(sheet.shims_now)
    return BearingAnswer(
        measured_mm=measured.mean_mm,
        needed_mm=measured.needed_mm,
        u_mm=measured.u_mm,
        choice_mm=choice,
        interference_mm=interference,
        interference_now_mm=now,
        state=state,
        probability_in_window=sheet.wanted.probability(interference, measured.u_mm),
    )


def nearest_stack(shims_mm: Sequence[float], needed_mm: float, shims_max: int | None = None) -> tuple[float, ...]:
    """The stack, each shim used once at most, whose total is nearest to `needed_mm`; of equals the one with fewest shims.

    Parameters
    ----------
    shims_mm
        Every shim at hand, mm; a size that is there twice stands there twice.
    needed_mm
        Total that is wanted, mm.
    shims_max
        Most shims in the stack; None: any number.

    Returns
    -------
    tuple of float
        The shims in mm, thinnest first; empty where no shim at all is nearest.

    Notes
    -----
    Totals are counted in ticks; of each total the fewest shims that make it are built up shim by shim, with a note of where the
    last one helped, by which the stack is found again. A total over twice what is needed is farther off than no shim at all.

    Examples
    --------
    >>> nearest_stack([0.5, 0.3, 0.2], 0.5), nearest_stack([0.5, 0.3, 0.2], 0.76)
    ((0.5,), (0.3, 0.5))
    """
    farthest_mm = 2 * max(0.0, needed_mm)
    tick_mm = max(TICK_MM, farthest_mm / MOST_TICKS)
    shims = sorted(shim for shim in shims_mm if 0 < shim <= farthest_mm)
    ticks = [round(shim / tick_mm) for shim in shims]
    fewest = np.full(round(farthest_mm / tick_mm) + 1, UNREACHED, dtype=np.int16)
    fewest[0] = 0
    helped: list[NDArray[np.bool_]] = []
    for tick in ticks:
        longer = fewest.copy()
        longer[tick:] = np.minimum(fewest[tick:], fewest[: fewest.size - tick] + 1)
        helped.append(longer < fewest)
        fewest = longer
    most = len(shims) if shims_max is None else shims_max
    totals = np.flatnonzero(fewest <= min(most, UNREACHED - 1))
    distance = np.round(np.abs(totals * tick_mm - needed_mm), 9)
    nearest = totals[distance == distance.min()]
    total = int(nearest[np.argmin(fewest[nearest])])
    stack: list[float] = []
    for shim, tick, here in zip(reversed(shims), reversed(ticks), reversed(helped), strict=True):
        if here[total]:
            stack.append(shim)
            total -= tick
    return tuple(reversed(stack))
