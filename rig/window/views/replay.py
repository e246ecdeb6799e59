"""A recording being replayed, as the replay bar shows and steers it. No Qt."""

from __future__ import annotations

from drivers.replay import Replay
from rig.words.language import number

SPEEDS = (0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 20.0)


class ReplaySteering:
    """Speed, pause, step and place of one replay."""

    def __init__(self, replay: Replay) -> None:
        self._replay = replay

    @property
    def paused(self) -> bool:
        """Whether it stands still."""
        return self._replay.paused

    @property
    def speed_text(self) -> str:
        """Its speed in words."""
        return f"× {self._replay.speed:g}"

    @property
    def done(self) -> float:
        """How much of the recording has passed, 0 to 1."""
        return min(1.0, max(0.0, (self._replay.position_s - self._replay.from_s) / self._length_s))

    @property
    def place_text(self) -> str:
        """Where it is, of how long."""
        return f"{number(self.done * self._length_s, 1)} / {number(self._length_s, 1)} s"

    @property
    def _length_s(self) -> float:
        return max(1e-9, self._replay.to_s - self._replay.from_s)

    def turn(self) -> None:
        """Stand still, or go on."""
        (self._replay.go if self._replay.paused else self._replay.pause)()

    def step(self) -> None:
        """One more piece; stands still from then on."""
        self._replay.pause()
        self._replay.step()

    def change_speed(self, by: int) -> None:
        """The next speed up or down of the list."""
        nearest = min(range(len(SPEEDS)), key=lambda i: abs(SPEEDS[i] - self._replay.speed))
        self._replay.speed = SPEEDS[min(len(SPEEDS) - 1, max(0, nearest + by))]

    def seek(self, share: float) -> None:
        """Go to this share of the recording."""
        self._replay.seek(self._replay.from_s + share * (self._replay.to_s - self._replay.from_s))
