"""Lengths measured with a gauge or typed, field after field, for whoever asks for such a list. No Qt; waits for nothing."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.errors import BenchError
from drivers.clock import Clock, SystemClock
from drivers.profile import GaugeProfile
from rig.files.profile import read_gauge
from rig.gauge.fields import Entered, FieldList
from rig.window.model import BenchModel
from rig.window.preferences import Preferences
from rig.words.language import say

if TYPE_CHECKING:  # loaded when somebody measures
    from rig.gauge.entry import GaugeEntry
    from rig.gauge.reader import GaugeReader

Key = tuple[str | int, ...]
Write = Callable[[Mapping[Key, Entered]], None]
_CLOCK = SystemClock()
TYPED = "0123456789.,"
LONGEST = 12
"""Characters of a number typed."""


def open_gauge(profile: GaugeProfile) -> GaugeReader:
    """A reader of the gauge, its thread begun."""
    from rig.gauge.reader import GaugeReader

    reader = GaugeReader(profile, _CLOCK)
    reader.start()
    return reader


class Lengths:
    """The list being filled, what is typed, and the gauge. `entry` is None while nothing is measured."""

    def __init__(
        self,
        model: BenchModel,
        preferences: Preferences,
        open_reader: Callable[[GaugeProfile], GaugeReader] = open_gauge,
        clock: Clock = _CLOCK,
    ) -> None:
        self._model, self._preferences = model, preferences
        self._open_reader, self._clock = open_reader, clock
        self._reader: GaugeReader | None = None
        self._write: Write = lambda new: None
        self.title = ""
        self.entry: GaugeEntry | None = None
        self.typing = ""

    @property
    def unit(self) -> str:
        """What a bare number is typed in: mm or in."""
        return "in" if self._preferences.now.inches else "mm"

    @property
    def gauge(self) -> str:
        """Name of the gauge whose line is read; "" for none."""
        return "" if self._reader is None else self._reader.profile.name

    def begin(self, title: str, fields: FieldList, write: Write) -> None:
        """Fill these from now on; `write` gets what was entered, and may raise a BenchError. The gauge used last is opened."""
        self.end()
        self.title, self._write = title, write
        from rig.gauge.entry import GaugeEntry

        self.entry, self.typing = GaugeEntry(fields), ""
        remembered = self._preferences.now.gauge
        if remembered and Path(remembered).is_file():
            self.open_gauge(Path(remembered))

    def end(self) -> bool:
        """Write what was entered and close the gauge; whether all is well. What cannot be written stays on the page."""
        if self.entry is not None and not self.write():
            return False
        self.entry = None
        self._close_gauge()
        return True

    def write(self) -> bool:
        """Write what was entered; whether that went well."""
        new = {} if self.entry is None else self.entry.list.new
        if not new:
            return True
        try:
            self._write(new)
        except BenchError as fault:
            self._model.tell_fault(fault)
            return False
        return True

    def open_gauge(self, path: Path) -> None:
        """Read the gauge of the profile in that file; it is opened again when the next list begins."""
        try:
            profile = read_gauge(path)
        except BenchError as fault:
            self._model.tell_fault(fault)
            return
        self._close_gauge()
        self._reader = self._open_reader(profile)
        self._preferences.keep(replace(self._preferences.now, gauge=str(path.absolute())))

    def _close_gauge(self) -> None:
        if self._reader is not None:
            self._reader.close()
            self._reader = None

    def tick(self) -> bool:
        """Take what the gauge has told since the last call; whether anything changed."""
        if self.entry is None or self._reader is None:
            return False
        before = self.entry.list
        changed = self.entry.hear(self._reader.news())
        if self.entry.list is not before:
            self._after_fill(before)
        return changed

    def take(self) -> None:
        """The key or pedal: what is typed, else what the gauge shows, goes into the next field."""
        if self.entry is None:
            return
        before = self.entry.list
        if self.typing:
            self.entry.typed(self.typing, self.unit)
            self.typing = ""
        elif self._reader is not None:
            self.entry.press(self._clock.now())
        else:
            self.entry.go_to(self.entry.list.at + 1)
        self._after_fill(before)

    def _after_fill(self, before: FieldList) -> None:
        """When the last field is filled, everything is written at once."""
        if self.entry is not None and before.current is not None and self.entry.list.current is None and self.write():
            self._model.tell(say("all measured, and written into the sheet"), good=True)

    def type(self, char: str) -> None:
        """A digit, point or comma of a number typed."""
        if char in TYPED and len(self.typing) < LONGEST:
            self.typing += char

    def back(self) -> None:
        """One step back: the last digit typed, else the last length."""
        if self.typing:
            self.typing = self.typing[:-1]
        elif self.entry is not None:
            self.entry.back()

    def next_part(self) -> None:
        """To the next part; what was left out stays empty."""
        if self.entry is not None:
            self.entry.list = self.entry.list.next_group()

    def go_to(self, at: int) -> None:
        """To another field."""
        if self.entry is not None:
            self.entry.go_to(at)

    def turn_unit(self) -> None:
        """From mm to in, and back."""
        self._preferences.keep(replace(self._preferences.now, inches=not self._preferences.now.inches))

    def close(self) -> None:
        """Write what was entered and close the gauge."""
        self.write()
        self.entry = None
        self._close_gauge()
