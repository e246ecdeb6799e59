"""Wishes: what a person at the window or terminal may ask of a running session, as frozen values that travel through the inbox."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.judgement import DecisionRule
from analysis.window import Window
from rig.files.metadata import TraceInfo


@dataclass(frozen=True, slots=True)
class SetWindow:
    """Judge against `window` from now on; the last pull is judged anew and told again. `rule` None: the rule stays."""

    window: Window | None
    rule: DecisionRule | None = None


@dataclass(frozen=True, slots=True)
class Describe:
    """Write this with the pulls to come, its note on the series with the pull under way too; the window stays the session's own."""

    info: TraceInfo


@dataclass(frozen=True, slots=True)
class ZeroNow:
    """Learn the zero anew from the stream that follows. Refused during a pull (`Failed` news)."""


@dataclass(frozen=True, slots=True)
class Exercise:
    """Take loads for exercise of the sensor (preload cycles), or stop. It ends by itself; refused during a pull."""

    on: bool = True


@dataclass(frozen=True, slots=True)
class CountFreeTurn:
    """The answer to `FreeTurnSeen`: that was the pull (it is judged and told under its number), or it was none."""

    counts: bool = True
    number: int | None = None
    """Which one; None: the last that was asked about."""


@dataclass(frozen=True, slots=True)
class ExplainRest:
    """The answer to `RestLevelMoved`: a lever hung on (or taken off) that loads the plates, or the sensor's zero that moved.

    Pulls since the level moved are read again with it and told again under their numbers.
    """

    lever_on: bool


Wish = SetWindow | Describe | ZeroNow | Exercise | CountFreeTurn | ExplainRest
WISHES = (SetWindow, Describe, ZeroNow, Exercise, CountFreeTurn, ExplainRest)
"""The same, to tell a wish from what a line brings."""
