"""Lines: opens, closes and reopens the bench's line and the recordings replayed beside it. No Qt. Raises and waits for nothing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.errors import BenchError
from rig.files.profile import read_profile
from rig.live.wishes import Exercise, ZeroNow
from rig.window.means import Means
from rig.window.model import BenchModel, Source
from rig.window.preferences import Preferences
from rig.window.views.line import calibration
from rig.words.language import say

if TYPE_CHECKING:
    from drivers.profile import DeviceProfile
    from rig.live.runner import Bench
    from rig.window.openers import Opened


class Lines:
    """`opened` is the line, `replayed` the recording beside it; None: none is open.

    `describe` tells a line that is opened what is to be written with its pulls.
    """

    def __init__(self, model: BenchModel, means: Means, preferences: Preferences, describe: Callable[[Opened], None]) -> None:
        self._model, self._means, self._preferences, self._describe = model, means, preferences, describe
        self.opened: Opened | None = None
        self.replayed: Opened | None = None
        self.wake: Callable[[], None] = lambda: None
        """Called from a thread of a bench when it has news: the window then need not wait for its next tick."""
        self._last: tuple[DeviceProfile, Source] | None = None

    @property
    def in_sight(self) -> Opened | None:
        """What the bench page shows: the recording where there is one, else the line."""
        return self.replayed or self.opened

    def open_profile(self, path: Path) -> None:
        """Open the line of the profile in that file; the window opens it again by itself when it is started next."""
        try:
            profile = read_profile(path)
        except BenchError as fault:
            self._model.tell_fault(fault)
        else:
            self.open_line(profile, file=path)

    @property
    def profile_file(self) -> Path | None:
        """The file of the profile opened last; None where there was none."""
        return Path(self._preferences.now.profile) if self._preferences.now.profile else None

    def open_remembered(self) -> None:
        """Open the line of the profile opened last, if its file is still there."""
        path = Path(self._preferences.now.profile)
        if self._preferences.now.profile and path.is_file():
            self.open_profile(path)

    def open_line(self, profile: DeviceProfile, source: Source = Source.BENCH, file: Path | None = None) -> None:
        """Open the line of a profile; `source` tells the simulated bench from a real one, `file` is where the profile stands."""
        benches, opened = self._means.benches, None
        if benches is None:
            return

        def make(number: int) -> Bench:
            nonlocal opened
            opened = benches.line(profile, self._model.window, self._model.rule, number)
            self._describe(opened)
            opened.bench.wake = lambda: self.wake()
            return opened.bench

        self.opened = self.replayed = None
        self._last = profile, source
        if file is not None:
            self._preferences.keep(replace(self._preferences.now, profile=str(file.absolute())))
        try:
            self._model.open(make, source)
        except BenchError as fault:
            self._model.tell_fault(fault)
            return
        self.opened = opened
        self._model.line.capacity_nm = None if opened is None else opened.info.transducer.capacity_nm
        if opened is not None and (due := calibration(opened.info, self._means.today())).amiss:
            self._model.tell(f"{due.name}: {due.value}", profile.name, say("calibrate the sensor: platepull calibrate"))

    @property
    def can_reopen(self) -> bool:
        """Whether there is a line to open again."""
        return self._last is not None

    def reopen(self) -> None:
        """Close the line, if it is open, and open the last one again; the series goes on."""
        if self._last is not None:
            self.open_line(*self._last)

    def open_recording(self, path: Path) -> None:
        """Replay a recording beside the line, which stays open."""
        benches, opened = self._means.benches, None
        if benches is None:
            return

        def make(number: int) -> Bench:
            nonlocal opened
            opened = benches.recording(path, self._model.window, self._model.rule, number)
            return opened.bench

        self.replayed = None
        try:
            self._model.open_replay(make, path.name, lambda: None if opened is None else opened.info.window)
        except BenchError as fault:
            self._model.tell_fault(fault)
        else:
            self.replayed = opened
            if opened is not None and self._model.replay is not None:
                self._model.replay.series.remark = opened.info.series_remark or ""

    def lend(self) -> DeviceProfile | None:
        """Close the line and hand its profile to who uses the sensor for something else; `reopen` takes it back. None: no line."""
        profile = None if self.opened is None else self.opened.profile
        if profile is not None:
            self.back_to_bench()
            self._model.close()
            self.opened = None
        return profile

    def close_line(self) -> None:
        """From a recording back to the bench; at the bench, close the line. A pull under way is kept."""
        if self._model.replay is not None:
            self.back_to_bench()
        else:
            self._model.close()
            self.opened = None

    def back_to_bench(self) -> None:
        """The recording is closed; the line was open all the time."""
        self._model.back_to_bench()
        self.replayed = None

    def zero_now(self) -> None:
        """Learn the zero anew."""
        if self._model.line.bench is not None:
            self._model.line.bench.ask(ZeroNow())

    def exercise(self) -> None:
        """Begin to exercise the sensor, or stop it."""
        bench = self._model.line.bench
        if bench is not None:
            bench.ask(Exercise(not bench.status.exercising))

    @property
    def folder(self) -> Path | None:
        """Where the pulls are kept; None: nowhere."""
        return self.opened.recorder.folder if self.opened is not None and self.opened.recorder is not None else None

    def folder_text(self) -> str:
        """The same in words; "" where they are kept nowhere."""
        return "" if self.folder is None else say("pulls are kept in {folder}", folder=str(self.folder))

    def show_folder(self) -> None:
        """Open the folder of the pulls in the system's own viewer."""
        if self.folder is not None and self._means.show_folder is not None:
            self._means.show_folder(self.folder)
