"""The oil put in, against the page and against what was drained, and its additive by volume."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.refit.limits import ROUNDING, Finding, FindingCode, Limits, State

LESS_THAN_DRAINED = 0.10
"""More than this share less in than came out is asked about: it left the unit somewhere, or is still missing."""
ADDITIVE_TOLERANCE = 0.10
"""Of the dose: a measuring cup shows it no better, and friction does not feel less."""


@dataclass(frozen=True, slots=True)
class FillAnswer:
    """How the fill stands; `state` is None without a window, the additive's without a dose."""

    filled_l: float
    state: State | None
    additive_wanted_l: float | None
    additive_added_l: float | None
    additive_state: State | None


def find_in_fill(filled_l: float, drained_l: float | None, additive_added_l: float | None = None) -> tuple[Finding, ...]:
    """What is to be asked about the volumes.

    Parameters
    ----------
    filled_l, drained_l
        Oil put in and oil that came out, litres; None: not measured.
    additive_added_l
        Litres; None: not recorded.

    Returns
    -------
    tuple of Finding
        At most one; a negative volume comes first and stops.
    """
    for name, volume in (("filled", filled_l), ("drained", drained_l), ("additive_added", additive_added_l)):
        if volume is not None and volume < 0:
            return (Finding(FindingCode.IMPLAUSIBLE, name, volume, 0.0),)
    if drained_l is not None and filled_l < (1 - LESS_THAN_DRAINED) * drained_l - ROUNDING:
        return (Finding(FindingCode.FILLED_LESS_THAN_DRAINED, "filled", filled_l, drained_l),)
    return ()


def judge_fill(
    filled_l: float, *, wanted: Limits | None, additive_wanted_l: float | None = None, additive_added_l: float | None = None
) -> FillAnswer:
    """Hold the volumes against page and dose, without a guard.

    Parameters
    ----------
    filled_l
        Oil put in, litres.
    wanted
        Window of the page, litres; None: it has none.
    additive_wanted_l, additive_added_l
        Dose and what was added, litres; None: no dose, not recorded.

    Returns
    -------
    FillAnswer
        The additive is in tolerance within `ADDITIVE_TOLERANCE` of its dose.
    """
    of_additive = None
    if additive_wanted_l is not None:
        of_additive = _additive_state(additive_wanted_l, additive_added_l)
    return FillAnswer(
        filled_l, None if wanted is None else wanted.state(filled_l), additive_wanted_l, additive_added_l, of_additive
    )


def _additive_state(wanted_l: float, added_l: float | None) -> State:
    if added_l is None:
        return State.NOT_RECORDED
    state = Limits(wanted_l * (1 - ADDITIVE_TOLERANCE), wanted_l * (1 + ADDITIVE_TOLERANCE)).state(added_l)
    return State.IN_TOLERANCE if state is State.IN_WINDOW else state
