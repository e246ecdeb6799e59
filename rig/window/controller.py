"""Controller: what the person at the window wants, carried out on the model and the benches. No Qt.

It composes one object a concern: `lines` (what is open), `entry` (conditions), `looks` (unit, theme, place), and holds the pulls of
the series, long work and sound. Whatever goes wrong becomes a notice; nothing here raises a BenchError or waits for the line.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.errors import BenchError
from rig.live.news import PullAmended
from rig.window.conditions import Conditions
from rig.window.entry import Entry
from rig.window.job_desk import JobDesk
from rig.window.lengths import Lengths
from rig.window.lines import Lines
from rig.window.looks import Looks
from rig.window.means import Means
from rig.window.memory import Remembered
from rig.window.model import BenchModel, BenchState, Pull, SeriesOfPulls, Source
from rig.window.notices import Notice
from rig.window.pack_desk import PackDesk
from rig.window.preferences import Preferences
from rig.window.reading import BackgroundReading
from rig.window.refit_desk import RefitDesk
from rig.window.sensor_desk import SensorDesk
from rig.window.views.panel import near_capacity
from rig.window.views.verdict import Tone, tone_of_pull
from rig.words.language import say

if TYPE_CHECKING:  # comparing is loaded when somebody wants them
    from analysis.compare.comparison import Comparison
    from analysis.results import Sensor
    from rig.files.metadata import TraceInfo
    from rig.window.openers import Opened
    from rig.window.views.compare import Member

__all__ = ["Controller", "Means"]


class Controller:
    """Carries out wishes."""

    def __init__(self, model: BenchModel, remembered: Remembered, means: Means) -> None:
        self.model = model
        self.means = means
        self.preferences = Preferences(remembered, means.remember, model.notices)
        self.reading = BackgroundReading(model.tell_fault)
        self.reading_back = BackgroundReading(model.tell_fault)
        """Every sample of an earlier pull that is looked at; memory holds a thinned curve of it."""
        self._asked_back: Path | None = None
        self.looks = Looks(model, self.preferences)
        self.lines = Lines(model, means, self.preferences, self._describe_line)
        self.entry = Entry(model, self.preferences, means.today, describe=self._describe, new_series=self.new_series)
        self.sensor = SensorDesk(model, means, self.lines)
        self.lengths = Lengths(model, self.preferences)
        self.job = None if means.book is None else JobDesk(model, means, means.book, self.preferences, self.entry)
        """The job book; None where the window has none."""
        self.refit = None if self.job is None else RefitDesk(model, means, self.lines, self.lengths, self.job)
        self.pack = PackDesk(model, means, self.reading, self.lengths, self.job)
        if self.job is not None:
            self.job.described = lambda: self._describe(self.entry.now)
            self.job.new_series = self.new_series
        self.tried: Tone | None = None
        self._stopped = False
        self._undo: list[tuple[int, str | None]] = []
        self._late: dict[tuple[SeriesOfPulls, int], dict[str, str | None]] = {}

    @property
    def begins_with_job(self) -> bool:
        """Whether the day begins with the job: there is a book, no job is taken, and what is pulled is real."""
        return self.job is not None and self.job.number is None and self.model.line.source is Source.BENCH

    def _describe(self, conditions: Conditions) -> None:
        if self.lines.opened is not None:
            self.lines.opened.describe(conditions, self.model.line.series.remark, *self._of_job())

    def _describe_line(self, opened: Opened) -> None:
        opened.describe(self.entry.now, self.model.line.series.remark, *self._of_job())

    def _of_job(self) -> tuple[str | None, str | None]:
        """Number and customer of the job that pulls are entered in."""
        return (None, None) if self.job is None else (self.job.number, self.job.customer)

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
        self._amend(self.model.series, pull, excluded=reason)

    def note(self, number: int, remark: str) -> None:
        """Keep what the person noted of a pull, with its recording."""
        pull = self.model.series.get(number)
        if pull is not None:
            self.model.note(number, remark)
            self._amend(self.model.series, pull, remark=remark or None)

    def note_series(self, series: SeriesOfPulls, remark: str) -> None:
        """Keep what the person noted of a whole series, with the recording of each of its pulls, those to come too."""
        series.remark = remark
        for pull in series.pulls:
            self._amend(series, pull, series_remark=remark or None)
        if series is self.model.line.series:
            self._describe(self.entry.now)

    def write_late(self) -> None:
        """What was told of pulls before they were on the disk is written now, where they are."""
        for series, number in list(self._late):
            pull = series.get(number)
            if pull is not None and pull.file is not None:
                self._amend(series, pull, **self._late.pop((series, number)))

    def _amend(self, series: SeriesOfPulls, pull: Pull, **changes: str | None) -> None:
        """Write into a pull's metadata what was told later; where it is not on the disk yet, as soon as it is."""
        if pull.file is None:
            if series.source is not Source.REPLAY:
                self._late.setdefault((series, pull.number), {}).update(changes)
            return
        from rig.window.openers import amend_pull

        try:
            amend_pull(pull.file, **changes)
            if self.lines.opened is not None:
                self.lines.opened.bench.inform(PullAmended(pull.number, pull.file))
        except BenchError as fault:
            self.model.tell_fault(fault)
        except OSError as fault:
            self.model.tell(say("what was noted could not be written"), pull.file.name, str(fault.strerror))

    def new_series(self, why: str = "") -> None:
        """Begin a series of its own on the line; the one before stays selectable."""
        self.lines.back_to_bench()
        self.model.new_series(self.entry.now.series, self.entry.now.texts())
        self._undo.clear()
        self._describe(self.entry.now)
        self.model.tell(say("a new series begins") + (f": {why}" if why else ""), good=True)

    # long work

    def load(self, paths: Sequence[Path], with_member: Callable[[Member], None]) -> None:
        """Read recordings on a thread; each goes to `with_member` at a tick."""
        from rig.window.views.compare import load

        steps = load(paths, self._sensor_of, self.model.window, self.model.rule, self.model.known)
        self.reading.begin(say("reading recordings"), steps, len(paths), with_member)

    def take_series(self, with_member: Callable[[Member], None]) -> None:
        """Take the pulls of the series in sight, with what their files say of them; each goes to `with_member` at a tick."""
        from rig.window.views.compare import members_of_series

        pulls = list(self.model.pulls)
        self.reading.begin(say("reading recordings"), members_of_series(pulls), len(pulls), with_member)

    def write_page(self, members: Sequence[Member], comparison: Comparison, path: Path) -> None:
        """Write a comparison as one page, on a thread; a notice tells when it is there."""
        from rig.window.views.compare import save_page

        unit, day = self.model.unit, self.means.today()

        def steps() -> Iterator[Path | BenchError]:
            save_page(members, comparison, path, unit, day)
            yield path

        def written(there: Path) -> None:
            self.model.notices.add(Notice(say("the page is written"), where=str(there), good=True))

        self.reading.begin(say("writing the page"), steps(), 1, written)

    def read_back(self) -> bool:
        """Read an earlier pull that is looked at, of which memory holds a thinned curve, from its file; whether one came."""
        waited = self.reading_back.work is not None
        self.reading_back.tick()
        pull, series = self.model.shown, self.model.series
        if pull is None or not pull.thinned:
            self._asked_back = None
        elif pull.file is not None and pull.file != self._asked_back and self.reading_back.work is None:
            from rig.window.openers import whole_trace

            self._asked_back = pull.file
            put_back = partial(self.model.put_back, series, pull.number)
            self.reading_back.begin(say("reading recordings"), whole_trace(pull.file, self._sensor_of), 1, put_back)
        return waited and self.reading_back.work is None

    def _sensor_of(self, info: TraceInfo) -> Sensor:
        benches = self.means.benches
        return benches.sensors.of(info) if benches else info.sensor(self.means.today())

    # sound

    def sound(self) -> None:
        """Play the tune of each verdict that has become final, of each question, and once a pull that of the sensor's end."""
        tones = [tone_of_pull(pull) for pull in self.model.take_judged()]
        if self.model.take_asked():
            tones.append(Tone.UNDECIDED)
        line = self.model.line  # who pulls must hear it, whatever is in sight
        stop = line.state is BenchState.PULLING and near_capacity(line.live.peak_nm, line.capacity_nm)
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

    def close(self) -> None:
        """Stop work, close line and recording; pull under way, lengths measured and what was asked of the book are kept."""
        self.reading.stop()
        self.reading_back.stop()
        self.sensor.end()
        self.lengths.close()
        if self.refit is not None:
            self.refit.close()
        self.model.close()
        if self.job is not None:
            self.job.close()
