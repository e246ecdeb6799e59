"""What the model asks of a bench; `rig.live.runner.Bench` is one, tests hand in their own."""

from __future__ import annotations

from typing import Protocol

from analysis.results import DecisionRule
from analysis.trace import Trace
from analysis.window import Window
from rig.live.news import News
from rig.live.runner import WireFigures


class BenchPort(Protocol):
    """What the model asks of a bench."""

    def news(self) -> list[News]:
        """News since the last call."""
        ...

    def scope(self) -> list[Trace]:
        """Pieces since the last call."""
        ...

    def set_window(self, window: Window | None, rule: DecisionRule | None = None) -> None:
        """Judge against this from now on."""
        ...

    def zero_now(self) -> None:
        """Learn the zero anew."""
        ...

    def exercise(self, on: bool = True) -> None:
        """Take loads for exercise of the sensor, or stop."""
        ...

    @property
    def exercising(self) -> bool:
        """Whether loads are taken for exercise."""
        ...

    def close(self) -> None:
        """End; a pull under way is kept."""
        ...

    @property
    def wire(self) -> WireFigures:
        """The line at a glance."""
        ...

    @property
    def zero_nm(self) -> float:
        """Torque at rest."""
        ...
