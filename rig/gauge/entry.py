"""A gauge and a list of fields together: each line, or each press of a key or pedal, fills the next field."""

from __future__ import annotations

import enum
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rig.gauge.fields import FieldList
from rig.gauge.reader import GaugeLength, GaugeLost, GaugeNews, GaugeSpoilt, GaugeUp

BY_HAND_S: Final = 0.6
"""Nobody goes on to the next plate sooner: two lines so near are a press that bounced, or a gauge that prints by itself."""
BY_ITSELF: Final = 2
"""So many lines in a row that came too soon: the gauge prints by itself, and fills a field at the key only."""
FRESH_S: Final = 2.0
"""A line older than this is not what the gauge shows now."""
STEADY_MM: Final = 0.02
"""The last two lines must agree so well before one is taken: measure until two agree within 0.01 to 0.02 mm (TRADE.md 3.1)."""


class Word(enum.StrEnum):
    """What there is to tell of the gauge."""

    WAITING = "waiting"
    PRINTS_BY_ITSELF = "prints by itself"
    NOTHING_NEW = "nothing new"
    NOT_STEADY = "not steady"
    TOO_SOON = "too soon"
    LOST = "lost"


@dataclass(slots=True)
class GaugeEntry:
    """Fields being filled. `list` is shown; `word` is of the gauge, None where it needs none; `lost` says what went wrong.

    A gauge prints a line at its own button: each fills the next field. One that prints all the time is told by lines that come
    faster than a hand can, and then fills a field at `press` only, with a line that is fresh and steady.
    """

    list: FieldList
    word: Word | None = None
    lost: GaugeLost | None = None
    by_itself: bool = False
    newest: GaugeLength | None = None
    _before: GaugeLength | None = None
    _used_s: float | None = None
    _too_soon: int = 0

    def hear(self, news: Sequence[GaugeNews]) -> bool:
        """Take what the gauge has told; whether there is anything to show anew."""
        for one in news:
            match one:
                case GaugeUp():
                    self.lost, self.word = None, Word.WAITING
                case GaugeLost():
                    self.lost, self.word = one, Word.LOST
                case GaugeSpoilt():
                    if not self.by_itself:
                        self.list = self.list.spoilt()
                case GaugeLength():
                    self._on_length(one)
        return bool(news)

    def _on_length(self, length: GaugeLength) -> None:
        too_soon = self.newest is not None and length.at_s - self.newest.at_s < BY_HAND_S
        self._before, self.newest = self.newest, length
        self._too_soon = self._too_soon + 1 if too_soon else 0
        if self.by_itself:
            return
        if self._too_soon >= BY_ITSELF:
            self.by_itself, self.word = True, Word.PRINTS_BY_ITSELF
        elif too_soon:
            self.word = Word.TOO_SOON
        else:
            self.word = None
            self._fill(length)

    def press(self, now_s: float) -> None:
        """The key or the pedal: what the gauge shows now goes into the next field."""
        newest, before = self.newest, self._before
        if newest is None or now_s - newest.at_s > FRESH_S or newest.at_s == self._used_s:
            self.word = Word.NOTHING_NEW
        elif self.by_itself and before is not None and abs(newest.length_mm - before.length_mm) > STEADY_MM:
            self.word = Word.NOT_STEADY
        else:
            self.word = None
            self._fill(newest)

    def _fill(self, length: GaugeLength) -> None:
        self._used_s = length.at_s
        self.list = self.list.taken(length.length_mm, length.text)

    def typed(self, text: str, unit: str) -> None:
        """A length typed by hand."""
        self.list = self.list.typed(text, unit)

    def back(self) -> None:
        """One key back: the last one is corrected."""
        self.list = self.list.back()

    def go_to(self, at: int) -> None:
        """Another field is next."""
        self.list = self.list.gone_to(at)
