"""The replay bar: a recording in the same window, with speed, pause and step."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QPushButton, QSlider

from rig.window.views.replay import ReplaySteering
from rig.words.language import say

SLIDES = 1000


class ReplayBar(QFrame):
    """Steers a replay; hidden where there is none."""

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("panel")
        self._steering: ReplaySteering | None = None
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

    def steer(self, steering: ReplaySteering | None) -> None:
        """Steer this one from now on."""
        self._steering = steering
        self.setVisible(steering is not None)
        self.refresh()

    def turn(self) -> None:
        """Stand still, or go on."""
        if self._steering is not None:
            self._steering.turn()
            self.refresh()

    def step(self) -> None:
        """One more piece; stands still from then on."""
        if self._steering is not None:
            self._steering.step()
            self.refresh()

    def change_speed(self, by: int) -> None:
        """The next speed up or down."""
        if self._steering is not None:
            self._steering.change_speed(by)
            self.refresh()

    def refresh(self) -> None:
        """Show where it is."""
        steering = self._steering
        if steering is None:
            return
        self.go.setText(say("Go on (P)") if steering.paused else say("Pause (P)"))
        self.one.setEnabled(True)
        self.speed.setText(steering.speed_text)
        if not self.slider.isSliderDown():
            self.slider.setValue(round(SLIDES * steering.done))
        self.place.setText(steering.place_text)

    def _seek(self) -> None:
        if self._steering is not None:
            self._steering.seek(self.slider.value() / SLIDES)
