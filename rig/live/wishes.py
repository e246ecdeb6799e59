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
    """Write this with the pulls to come; the window stays the session's own."""

    info: TraceInfo


@dataclass(frozen=True, slots=True)
class ZeroNow:
    """Learn the zero anew from the stream that follows. Refused during a pull (`Failed` news)."""


@dataclass(frozen=True, slots=True)
class Exercise:
    """Take loads for exercise of the sensor (preload cycles), or stop. It ends by itself; refused during a pull."""

    on: bool = True


Wish = SetWindow | Describe | ZeroNow | Exercise
