"""Controller: what the person at the window wants, carried out on the model, the benches and the window's memory. No Qt.

Whatever goes wrong becomes a notice; nothing here raises a BenchError or waits for the line.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from analysis.compare.comparison import Comparison
from analysis.errors import BenchError
from analysis.window import Window
from drivers.profile import DeviceProfile
from rig.files.fields import Words
from rig.files.profile import read_profile
from rig.live.news import PullAmended
from rig.live.runner import Bench
from rig.live.wishes import Exercise, ZeroNow
from rig.window.conditions import FIELD_NAMES, STATE_FIELDS, Conditions, lacking
from rig.window.memory import Remembered
from rig.window.model import BenchModel, BenchState, Pull, Source
from rig.window.notices import Notice
from rig.window.openers import Benches, Opened, note_excluded
from rig.window.preferences import Preferences
from rig.window.reading import BackgroundReading
from rig.window.sounds import Sounds
from rig.window.views.compare import Member, load, members_of_series, save_page
from rig.window.views.line import calibration
from rig.window.views.pack import PackView, load_pack
from rig.window.views.panel import near_capacity
from rig.window.views.verdict import Tone, tone_of_pull
from rig.words.language import LANGUAGES, say, spoken
from rig.words.units import UNIT_CHOICES


@dataclass(frozen=True, slots=True)
class Means:
    """What the controller needs of the computer: how to open benches, the sounds, the window's memory, the day, whether to end."""

    benches: Benches | None = None
    sounds: Sounds | None = None
    remember: Callable[[Remembered], None] = lambda what: None
    today: Callable[[], date] = date.today
    asked_to_end: Callable[[], bool] = lambda: False
    show_folder: Callable[[Path], object] | None = None


class Controller:
    """Carries out wishes. `opened` is the line, `replayed` the recording beside it; None: none is open."""

    def __init__(self, model: BenchModel, remembered: Remembered, means: Means) -> None:
        self.model = model
        self.means = means
        self.preferences = Preferences(remembered, means.remember, model.notices)
        self.reading = BackgroundReading(self._tell)
        self.opened: Opened | None = None
        self.replayed: Opened | None = None
        self.tried: Tone | None = None
        self._asked, self._stopped = 0, False
        self._pack: Path | None = None
        self._undo: list[tuple[int, str | None]] = []
        self.conditions = Conditions.from_texts(remembered.conditions)
        self._proposed: Conditions | None = None
        self.asking = ""
        """The question whether what held before still does; "" where there is none."""
        self._another_day(remembered)
        if model.window is not None:
            self.conditions = self._with_window(self.conditions, model.window)
            self._proposed = None if self._proposed is None else self._with_window(self._proposed, model.window)
        if model.window is None and (window := self._window_of(self.conditions)) is not None:
            model.set_window(window)
        model.lacks = lacking(self.conditions)
        model.series.name, model.series.conditions = self.conditions.series, self.conditions.texts()

    def _another_day(self, remembered: Remembered) -> None:
        """What held on another day is shown, not silently taken over; temperature and rest are asked anew always."""
        of_today = remembered.day == self.means.today().isoformat()
        self.conditions = self.conditions.of_another_day()
        if not of_today and self.conditions != Conditions(who=self.conditions.who):
            self._proposed = self.conditions
            self.asking = say("This held on {day}. Does it still?", day=remembered.day or say("another day"))
            self.conditions = Conditions(who=self.conditions.who)
            self.model.tell(say("conditions of another day wait for an answer: before a pull (F3)"), good=True)

    # lines and recordings

    def open_profile(self, path: Path) -> None:
        """Open the line of the profile in that file."""
        try:
            profile = read_profile(path)
        except BenchError as fault:
            self._tell(fault)
        else:
            self.open_line(profile)

    def open_line(self, profile: DeviceProfile, source: Source = Source.BENCH) -> None:
        """Open the line of a profile; `source` tells the simulated bench from a real one."""
        benches, opened = self.means.benches, None
        if benches is None:
            return

        def make(number: int) -> Bench:
            nonlocal opened
            opened = benches.line(profile, self.model.window, self.model.rule, number)
            opened.describe(self.conditions)
            return opened.bench

        self.opened = self.replayed = None
        try:
            self.model.open(make, source)
        except BenchError as fault:
            self._tell(fault)
            return
        self.opened = opened
        self.model.line.capacity_nm = None if opened is None else opened.info.transducer.capacity_nm
        if opened is not None and (due := calibration(opened.info, self.means.today())).amiss:
            self.model.tell(f"{due.name}: {due.value}", profile.name, say("calibrate the sensor: platepull calibrate"))

    def open_recording(self, path: Path) -> None:
        """Replay a recording beside the line, which stays open."""
        benches, opened = self.means.benches, None
        if benches is None:
            return

        def make(number: int) -> Bench:
            nonlocal opened
            opened = benches.recording(path, self.model.window, self.model.rule, number)
            return opened.bench

        self.replayed = None
        try:
            self.model.open_replay(make, path.name, lambda: None if opened is None else opened.info.window)
        except BenchError as fault:
            self._tell(fault)
        else:
            self.replayed = opened

    def close_line(self) -> None:
        """From a recording back to the bench; at the bench, close the line. A pull under way is kept."""
        if self.model.replay is not None:
            self.back_to_bench()
        else:
            self.model.close()
            self.opened = None

    def back_to_bench(self) -> None:
        """The recording is closed; the line was open all the time."""
        self.model.back_to_bench()
        self.replayed = None

    @property
    def in_sight(self) -> Opened | None:
        """What the bench page shows: the recording where there is one, else the line."""
        return self.replayed or self.opened

    def zero_now(self) -> None:
        """Learn the zero anew."""
        if self.model.line.bench is not None:
            self.model.line.bench.ask(ZeroNow())

    def exercise(self) -> None:
        """Begin to exercise the sensor, or stop it."""
        bench = self.model.line.bench
        if bench is not None:
            bench.ask(Exercise(not bench.status.exercising))

    # pulls and series

    def exclude(self, number: int, reason: str | None) -> None:
        """Let a pull not count, and write the reason into its metadata; None: it counts again. `undo` takes it back."""
        pull = self.model.series.get(number)
        if pull is not None:
            self._undo.append((number, pull.excluded))
            self._exclude(pull, reason)

    def undo(self) -> None:
        """Take back the last setting aside, or counting again."""
        while self._undo:
            number, before = self._undo.pop()
            pull = self.model.series.get(number)
            if pull is not None and pull.excluded != before:
                self._exclude(pull, before)
                what = (
                    say("pull {number} counts again", number=number)
                    if before is None
                    else say("pull {number} is set aside", number=number)
                )
                self.model.tell(what, good=True)
                return

    def _exclude(self, pull: Pull, reason: str | None) -> None:
        self.model.exclude(pull.number, reason)
        if pull.file is not None:
            try:
                note_excluded(pull.file, reason)
                if self.opened is not None:
                    self.opened.bench.inform(PullAmended(pull.number, pull.file))
            except BenchError as fault:
                self._tell(fault)
            except OSError as fault:
                self.model.tell(say("the reason could not be written"), pull.file.name, str(fault.strerror))

    def new_series(self, why: str = "") -> None:
        """Begin a series of its own on the line; the one before stays selectable."""
        self.back_to_bench()
        self.model.new_series(self.conditions.series, self.conditions.texts())
        self._undo.clear()
        self.model.tell(say("a new series begins") + (f": {why}" if why else ""), good=True)

    def edit_conditions(self, conditions: Conditions) -> None:
        """These hold for the pulls to come. Another unit or state begins a new series; the window judges anew.

        A window that cannot be read judges nothing: the one before does not go on ruling. For another unit only what cannot have
        changed is taken over, and the page asks about the rest.
        """
        before = self.conditions
        if before.unit.strip() and conditions.unit.strip() != before.unit.strip() and len(self.model.line.series):
            self._proposed, self.asking = (
                conditions,
                say("Another unit: what is shown below held for {unit}. Does it still?", unit=before.unit),
            )
            conditions = conditions.of_another_unit()
        self._apply(conditions)

    def still_holds(self) -> None:
        """What was proposed counts from now on."""
        if self._proposed is not None:
            proposed, self._proposed, self.asking = self._proposed, None, ""
            self._apply(proposed)

    def clear_conditions(self) -> None:
        """Nothing from before counts; the person who pulls stays the same."""
        self._proposed, self.asking = None, ""
        self._apply(Conditions(who=self.conditions.who))

    @property
    def shown_conditions(self) -> Conditions:
        """What the page shows: what is proposed, else what counts."""
        return self._proposed or self.conditions

    def take_card(self, path: Path) -> None:
        """Window, basis and arrangement from a spec card; a card that cannot be read becomes a notice."""
        from rig.pack.card_window import believed_card, window_of_card

        try:
            window = window_of_card(believed_card(path), None, self.conditions.plate_state or None)
        except BenchError as fault:
            self._tell(fault)
            return
        stated = window.arrangement or ""
        self._apply(
            replace(
                self.conditions,
                window=window.text or str(window),
                basis=window.basis.value,
                window_arrangement=stated,
                arrangement=self.conditions.arrangement or stated,
            )
        )

    def _apply(self, conditions: Conditions) -> None:
        before, self.conditions = self.conditions, conditions
        self.model.lacks = lacking(conditions)
        refused = conditions.refusal("window")
        window = self._window_of(conditions)
        if refused is not None and self.model.window is not None:
            self.model.tell(say("the window cannot be read: nothing is judged until it can"), remedy=str(refused))
        if window != self.model.window:
            self.model.set_window(window)
        if self.opened is not None:
            self.opened.describe(conditions)
        series, changed = self.model.line.series, sorted(conditions.changed_from(before) & STATE_FIELDS)
        if not len(series):
            series.name, series.conditions = conditions.series, conditions.texts()
        elif changed:
            self.new_series(", ".join(say(FIELD_NAMES[name]) for name in changed))
        texts = {name: Words(text) for name, text in conditions.texts().items()}
        self.preferences.keep(replace(self.preferences.now, conditions=texts, day=self.means.today().isoformat()))

    @staticmethod
    def _with_window(conditions: Conditions, window: Window) -> Conditions:
        stated = window.arrangement or ""
        return replace(conditions, window=window.text or str(window), basis=window.basis.value, window_arrangement=stated)

    @staticmethod
    def _window_of(conditions: Conditions) -> Window | None:
        return None if conditions.refusal("window") else conditions.spec_window()

    # long work

    def load(self, paths: Sequence[Path], with_member: Callable[[Member], None]) -> None:
        """Read recordings on a thread; each goes to `with_member` at a tick."""
        benches = self.means.benches
        sensor_of = benches.sensors.of if benches else lambda info: info.sensor(self.means.today())
        steps = load(paths, sensor_of, self.model.window, self.model.rule, self.model.known)
        self.reading.begin(say("reading recordings"), steps, len(paths), with_member)

    def take_series(self, with_member: Callable[[Member], None]) -> None:
        """Take the pulls of the series in sight, with what their files say of them; each goes to `with_member` at a tick."""
        pulls = list(self.model.pulls)
        self.reading.begin(say("reading recordings"), members_of_series(pulls), len(pulls), with_member)

    def write_page(self, members: Sequence[Member], comparison: Comparison, path: Path) -> None:
        """Write a comparison as one page, on a thread; a notice tells when it is there."""
        unit, day = self.model.unit, self.means.today()

        def steps() -> Iterator[Path | BenchError]:
            save_page(members, comparison, path, unit, day)
            yield path

        def written(there: Path) -> None:
            self.model.notices.add(Notice(say("the page is written"), where=str(there), good=True))

        self.reading.begin(say("writing the page"), steps(), 1, written)

    def open_pack(self, path: Path | None, with_view: Callable[[PackView], None]) -> None:
        """Read and answer a pack sheet on a thread; None: the same one again."""
        self._pack = path or self._pack
        if self._pack is not None:
            self.reading.begin(say("reading the pack sheet"), load_pack(self._pack, self.model.unit), 1, with_view)

    # looks and sound

    def sound(self) -> None:
        """Play the tune of each verdict that has become final, of each question, and once a pull that of the sensor's end."""
        tones = [tone_of_pull(pull) for pull in self.model.take_judged()]
        stand = self.model.stand
        if stand.asked > self._asked:
            tones.append(Tone.UNDECIDED)
        self._asked = stand.asked
        stop = stand.state is BenchState.PULLING and near_capacity(stand.live.peak_nm, stand.capacity_nm)
        if stop and not self._stopped:
            tones.append(Tone.STOP)
        self._stopped = stop
        if self.preferences.now.sound and self.means.sounds is not None:
            for tone in tones:
                self.means.sounds.play(tone)

    def try_tune(self) -> None:
        """Play the next tune, so that the ear gets to know them; `tried` is its tone."""
        tones = list(Tone)
        self.tried = tones[0] if self.tried is None else tones[(tones.index(self.tried) + 1) % len(tones)]
        if self.means.sounds is not None:
            self.means.sounds.play(self.tried)

    def turn_sound(self) -> None:
        """Sound on or off."""
        self.preferences.keep(replace(self.preferences.now, sound=not self.preferences.now.sound))

    def turn_unit(self) -> None:
        """The next unit: N.m, lbf.ft, both."""
        at = UNIT_CHOICES.index(self.model.unit) if self.model.unit in UNIT_CHOICES else -1
        self.model.unit = UNIT_CHOICES[(at + 1) % len(UNIT_CHOICES)]
        self.preferences.keep(replace(self.preferences.now, unit=self.model.unit.first, second_unit=self.model.unit.second))

    def turn_theme(self) -> None:
        """Dark or light."""
        theme = "light" if self.preferences.now.theme == "dark" else "dark"
        self.preferences.keep(replace(self.preferences.now, theme=theme))

    def note_page(self, name: str) -> None:
        """The page that was in sight last."""
        self.preferences.keep(replace(self.preferences.now, page=name))

    def note_place(self, place: tuple[int, int, int, int], *, maximised: bool) -> None:
        """Where the window stood: left, top, width, height in pixels."""
        self.preferences.keep(replace(self.preferences.now, place=place, maximised=maximised))

    def folder_text(self) -> str:
        """Where the pulls are kept; "" where they are kept nowhere."""
        folder = self._folder()
        return "" if folder is None else say("pulls are kept in {folder}", folder=str(folder))

    def show_folder(self) -> None:
        """Open the folder of the pulls in the system's own viewer."""
        folder = self._folder()
        if folder is not None and self.means.show_folder is not None:
            self.means.show_folder(folder)

    def _folder(self) -> Path | None:
        return self.opened.recorder.folder if self.opened is not None and self.opened.recorder is not None else None

    def next_language(self) -> str:
        """Code of the language after the one spoken."""
        codes = list(LANGUAGES)
        return codes[(codes.index(spoken()) + 1) % len(codes)]

    def close(self) -> None:
        """Stop work, close line and recording; a pull under way is kept."""
        self.reading.stop()
        self.model.close()

    def _tell(self, fault: BenchError) -> None:
        self.model.tell(fault.what, fault.where, fault.remedy)
