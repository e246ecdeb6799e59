"""Desk: what the person at the window wants, carried out on the model, the benches and the window's memory. No Qt.

Whatever goes wrong becomes a trouble on the strip; nothing here raises a BenchError or waits for the line.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from analysis.errors import BenchError
from analysis.window import Window
from drivers.profile import DeviceProfile
from rig.files.profile import read_profile
from rig.live.runner import Bench
from rig.live.wishes import Exercise, ZeroNow
from rig.window.background import Work
from rig.window.conditions import Conditions, lacking
from rig.window.memory import Remembered
from rig.window.model import BenchModel
from rig.window.openers import Benches, Opened, note_excluded
from rig.window.sounds import Sounds
from rig.window.views.line import calibration
from rig.window.views.overlay import Member, load
from rig.window.views.verdict import tone_of_pull
from rig.words.language import LANGUAGES, say, spoken
from rig.words.units import UNIT_CHOICES


@dataclass(frozen=True, slots=True)
class Means:
    """What the desk needs of the computer: how to open benches, the sounds, the window's memory, the day, and whether to end."""

    benches: Benches | None = None
    sounds: Sounds | None = None
    remember: Callable[[Remembered], None] = lambda what: None
    today: Callable[[], date] = date.today
    asked_to_end: Callable[[], bool] = lambda: False


class Controller:
    """Carries out wishes. `remembered` holds looks, sound, language and the last conditions."""

    def __init__(self, model: BenchModel, remembered: Remembered, means: Means) -> None:
        self.model = model
        self.remembered = remembered
        self.means = means
        self.opened: Opened | None = None
        self.work: Work[Member] | None = None
        self._with_member: Callable[[Member], None] = lambda member: None
        self.conditions = Conditions.from_texts(remembered.conditions)
        if model.window is not None:
            self.conditions = replace(self.conditions, window=str(model.window), basis=model.window.basis.value)
        elif (window := self._window_of(self.conditions)) is not None:
            model.set_window(window)
        model.lacks = lacking(self.conditions)

    # lines and recordings

    def open_profile(self, path: Path) -> None:
        """Open the line of the profile in that file."""
        try:
            profile = read_profile(path)
        except BenchError as fault:
            self._tell(fault)
        else:
            self.open_line(profile)

    def open_line(self, profile: DeviceProfile) -> None:
        """Open the line of a profile."""
        self._open(lambda benches, number: benches.line(profile, self.model.window, self.model.rule, number))
        if self.opened is not None:
            due = calibration(self.opened.info, self.means.today())
            if due.amiss:
                self.model.tell(f"{due.name}: {due.value}", profile.name, say("calibrate the sensor: platepull calibrate"))

    def open_recording(self, path: Path) -> None:
        """Open a recording; it stands in for a line."""
        self._open(lambda benches, number: benches.recording(path, self.model.window, self.model.rule, number))

    def close_line(self) -> None:
        """Close the line; a pull under way is kept."""
        self.model.close()
        self.opened = None

    def _open(self, how: Callable[[Benches, int], Opened]) -> None:
        benches = self.means.benches
        if benches is None:
            return

        def make(number: int) -> Bench:
            self.opened = how(benches, number)
            self.opened.describe(self.conditions)
            if self.model.window is None and self.opened.replay is not None:
                self.model.window = self.opened.info.window
            return self.opened.bench

        self.opened = None
        try:
            self.model.open(make)
        except BenchError as fault:
            self._tell(fault)

    def zero_now(self) -> None:
        """Learn the zero anew."""
        if self.model.bench is not None:
            self.model.bench.ask(ZeroNow())

    def exercise(self) -> None:
        """Begin to exercise the sensor, or stop it."""
        bench = self.model.bench
        if bench is not None:
            bench.ask(Exercise(not bench.status.exercising))

    # pulls

    def exclude(self, number: int, reason: str | None) -> None:
        """Let a pull not count, and write the reason into its metadata; None: it counts again."""
        pull = next((pull for pull in self.model.pulls if pull.number == number), None)
        if pull is None:
            return
        self.model.exclude(number, reason)
        if pull.file is not None:
            try:
                note_excluded(pull.file, reason, with_angle=pull.trace.angle_deg is not None)
            except BenchError as fault:
                self._tell(fault)
            except OSError as fault:
                self.model.tell(say("the reason could not be written"), pull.file.name, str(fault.strerror))

    def edit_conditions(self, conditions: Conditions) -> None:
        """These hold for the pulls to come; a window that can be read also judges those so far."""
        self.conditions = conditions
        self.model.lacks = lacking(conditions)
        window = self._window_of(conditions)
        if conditions.refusal("window") is None and window != self.model.window:
            self.model.set_window(window)
        if self.opened is not None:
            self.opened.describe(conditions)
        self.keep(conditions=conditions.texts())

    @staticmethod
    def _window_of(conditions: Conditions) -> Window | None:
        return None if conditions.refusal("window") else conditions.spec_window()

    # long work

    def load(self, paths: Sequence[Path], with_member: Callable[[Member], None]) -> None:
        """Read recordings on a thread; each goes to `with_member` at a tick. Work under way is stopped first."""
        self.stop_work()
        benches = self.means.benches
        sensor_of = benches.sensors.of if benches else lambda info: info.sensor(self.means.today())
        self._with_member = with_member
        self.work = Work(
            say("reading recordings"), load(paths, sensor_of, self.model.window, self.model.rule, self.model.scatter), len(paths)
        )

    def tick_work(self) -> None:
        """Hand on what the work has finished."""
        work = self.work
        if work is None:
            return
        running = work.running
        for member in work.take():
            self._with_member(member)
        while work.troubles:
            self._tell(work.troubles.popleft())
        if not running:
            self.stop_work()

    def stop_work(self) -> None:
        """Stop long work; what is finished stays."""
        if self.work is not None:
            self.work.stop()
            for member in self.work.take():
                self._with_member(member)
            self.work = None

    # looks and sound

    def sound(self) -> None:
        """Play the tune of each verdict that has become final; says nothing when muted."""
        for pull in self.model.take_judged():
            if self.remembered.sound and self.means.sounds is not None:
                self.means.sounds.play(tone_of_pull(pull))

    def turn_sound(self) -> None:
        """Sound on or off."""
        self.keep(sound=not self.remembered.sound)

    def turn_unit(self) -> None:
        """The next unit: N.m, lbf.ft, both."""
        at = UNIT_CHOICES.index(self.model.unit) if self.model.unit in UNIT_CHOICES else -1
        self.model.unit = UNIT_CHOICES[(at + 1) % len(UNIT_CHOICES)]
        self.keep(unit=self.model.unit.first, second_unit=self.model.unit.second)

    def turn_theme(self) -> None:
        """Dark or light."""
        self.keep(theme="light" if self.remembered.theme == "dark" else "dark")

    def next_language(self) -> str:
        """Code of the language after the one spoken."""
        codes = list(LANGUAGES)
        return codes[(codes.index(spoken()) + 1) % len(codes)]

    def keep(self, **what: object) -> None:
        """Remember these choices."""
        self.remembered = replace(self.remembered, **what)  # type: ignore[arg-type]
        try:
            self.means.remember(self.remembered)
        except OSError as fault:
            self.model.tell(say("the window's choices could not be kept"), remedy=str(fault))

    def close(self) -> None:
        """Stop work, close the line; a pull under way is kept."""
        self.stop_work()
        self.model.close()

    def _tell(self, fault: BenchError) -> None:
        self.model.tell(fault.what, fault.where, fault.remedy)
