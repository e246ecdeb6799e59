"""The replay bar: a recording in the same window, with speed, pause and step."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QPushButton, QSlider

from drivers.replay import Replay
from rig.language import number, say

SPEEDS = (0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 20.0)
SLIDES = 1000


class ReplayBar(QFrame):
    """Steers a replay; hidden where there is none."""

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("panel")
        self._replay: Replay | None = None
        self.go = QPushButton()
        self.go.setToolTip(say("Stand still or go on (P)"))
        self.go.clicked.connect(self.turn)
        self.one = QPushButton(say("Step (.)"))
        self.one.setToolTip(say("One piece of 20 ms while standing still"))
        self.one.clicked.connect(self.step)
        self.slower, self.faster = QPushButton("−"), QPushButton("+")
        self.slower.setToolTip(say("Slower ([)"))
        self.faster.setToolTip(say("Faster (])"))
        self.slower.clicked.connect(lambda: self.change_speed(-1))
        self.faster.clicked.connect(lambda: self.change_speed(1))
        self.speed = QLabel()
        self.place = QLabel()
        self.slider = QSlider(Qt.Orientation.Horizontal)
        self.slider.setRange(0, SLIDES)
        self.slider.setAccessibleName(say("Place in the recording"))
        self.slider.sliderReleased.connect(self._seek)
        layout = QHBoxLayout(self)
        layout.setContentsMargins(8, 4, 8, 4)
        for widget in (self.go, self.one, self.slower, self.speed, self.faster):
            layout.addWidget(widget)
        layout.addWidget(self.slider, 1)
        layout.addWidget(self.place)
        self.hide()

    def steer(self, replay: Replay | None) -> None:
        """Steer this one from now on."""
        self._replay = replay
        self.setVisible(replay is not None)
        self.refresh()

    def turn(self) -> None:
        """Stand still, or go on."""
        if self._replay is not None:
            (self._replay.go if self._replay.paused else self._replay.pause)()
            self.refresh()

    def step(self) -> None:
        """One more piece; stands still from then on."""
        if self._replay is not None:
            self._replay.pause()
            self._replay.step()
            self.refresh()

    def change_speed(self, by: int) -> None:
        """The next speed up or down."""
        if self._replay is not None:
            nearest = min(range(len(SPEEDS)), key=lambda i: abs(SPEEDS[i] - self._replay.speed if self._replay else 0.0))
            self._replay.speed = SPEEDS[min(len(SPEEDS) - 1, max(0, nearest + by))]
            self.refresh()

    def refresh(self) -> None:
        """Show where it is."""
        replay = self._replay
        if replay is None:
            return
        self.go.setText(say("Go on (P)") if replay.paused else say("Pause (P)"))
        self.one.setEnabled(True)
        self.speed.setText(f"× {replay.speed:g}")
        length_s = max(1e-9, replay.to_s - replay.from_s)
        done = min(1.0, max(0.0, (replay.position_s - replay.from_s) / length_s))
        if not self.slider.isSliderDown():
            self.slider.setValue(round(SLIDES * done))
        self.place.setText(f"{number(done * length_s, 1)} / {number(length_s, 1)} s")

    def _seek(self) -> None:
        if self._replay is not None:
            share = self.slider.value() / SLIDES
            self._replay.seek(self._replay.from_s + share * (self._replay.to_s - self._replay.from_s))
