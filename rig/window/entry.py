"""Entry: the conditions that count for the pulls to come, and what follows when a person changes them. No Qt.

Another day or unit is asked about; another state of the unit begins a new series; the window is judged by, or refused, at once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

from analysis.errors import BenchError
from analysis.window import Window
from rig.files.fields import Words
from rig.window.conditions import FIELD_NAMES, STATE_FIELDS, Conditions, lacking
from rig.window.model import BenchModel
from rig.window.notices import Notice
from rig.window.preferences import Preferences
from rig.words.language import say
from rig.words.retold import fault_text
from rig.words.units import UnitChoice, same_unit


class Entry:
    """`now` counts. `asking` is the question whether what held before still does; "" where there is none.

    `describe` writes conditions with the pulls to come, `new_series` begins one, with its reason.
    """

    def __init__(
        self,
        model: BenchModel,
        preferences: Preferences,
        today: Callable[[], date],
        *,
        describe: Callable[[Conditions], None],
        new_series: Callable[[str], None],
    ) -> None:
        self._model, self._preferences, self._today = model, preferences, today
        self._describe, self._new_series = describe, new_series
        self.now = Conditions.from_texts(preferences.now.conditions)
        self._proposed: Conditions | None = None
        self.asking = ""
        self._another_day()
        if model.window is not None:
            self.now = _with_window(self.now, model.window)
            self._proposed = None if self._proposed is None else _with_window(self._proposed, model.window)
        elif (window := _window_of(self.now)) is not None:
            model.set_window(window)
        model.lacks = lacking(self.now)
        model.series.name, model.series.conditions = self.now.series, self.now.texts()

    def _another_day(self) -> None:
        """What held on another day is shown, not silently taken over; temperature and rest are asked anew always."""
        remembered = self._preferences.now
        of_today = remembered.day == self._today().isoformat()
        self.now = self.now.of_another_day()
        if not of_today and self.now != Conditions(who=self.now.who):
            self._proposed = self.now
            self.asking = say("This held on {day}. Does it still?", day=remembered.day or say("another day"))
            self.now = Conditions(who=self.now.who)
            self._model.tell(say("conditions of another day wait for an answer: before a pull (F3)"), good=True)

    @property
    def shown(self) -> Conditions:
        """What the page shows: what is proposed, else what counts."""
        return self._proposed or self.now

    def edit(self, conditions: Conditions) -> None:
        """These hold for the pulls to come. Another unit or state begins a new series; the window judges anew.

        A window that cannot be read judges nothing: the one before does not go on ruling. For another unit only what cannot have
        changed is taken over, and the page asks about the rest. While an answer is waited for, what is typed counts at once, the
        rest of what is shown does not.
        """
        before = self.now
        if self._proposed is not None:
            shown = self._proposed.texts()
            typed = {name: text for name, text in conditions.texts().items() if text != shown[name]}
            self._proposed, conditions = conditions, replace(before, **typed)
            if self._proposed == conditions:
                self._proposed, self.asking = None, ""
        if before.unit.strip() and conditions.unit.strip() != before.unit.strip() and len(self._model.line.series):
            self._proposed = self._proposed or conditions
            self.asking = say("Another unit: what is shown below held for {unit}. Does it still?", unit=before.unit)
            conditions = conditions.of_another_unit()
        self._apply(conditions)

    def still_holds(self) -> None:
        """What was proposed counts from now on."""
        if self._proposed is not None:
            proposed, self._proposed, self.asking = self._proposed, None, ""
            self._apply(proposed)

    def clear(self) -> None:
        """Nothing from before counts; the person who pulls stays the same."""
        self._proposed, self.asking = None, ""
        self._apply(Conditions(who=self.now.who))

    def take_card(self, path: Path) -> None:
        """Window, basis and arrangement from a spec card; a card that cannot be read becomes a notice."""
        from rig.pack.card_window import believed_card, window_of_card

        try:
            window = window_of_card(believed_card(path), None, self.now.plate_state or None)
        except BenchError as fault:
            self._model.tell_fault(fault)
            return
        taken = _with_window(self.now, window)
        self._apply(replace(taken, arrangement=self.now.arrangement or taken.window_arrangement))

    def take_usual(self, window: Window) -> None:
        """Judge by this window where none is set and none of another day waits for an answer."""
        if self._model.window is None and not self.shown.window.strip():
            self._apply(_with_window(self.now, window))

    def take_job(self, job: str, unit: str, window: Window | None, card: Path | None) -> None:
        """The unit of a job, and the window of its spec card, as a whole where its file is there.

        A job without a card keeps the window that was typed; one that another job's card brought is not kept. What was set for
        another unit, or on another day, waits for an answer. Whatever happens to a window is said.
        """
        had = self._proposed or self.now
        before = _window_of(self.now)
        another = bool(had.unit.strip()) and had.unit.strip() != unit.strip()
        taken = replace(self.now.of_another_unit() if another else self.now, unit=unit)
        if window is not None:
            taken = _with_window(taken, window)
            taken = replace(taken, arrangement=taken.arrangement or taken.window_arrangement)
        elif before is not None and self.now.window == self._preferences.now.card_window and another:
            taken = replace(taken, window="", window_arrangement="")
        else:
            taken = replace(taken, window=self.now.window, basis=self.now.basis, window_arrangement=self.now.window_arrangement)
        self._apply(taken)
        self._read_card(window, card)
        self._ask_of_rest(had, unit, another=another)
        self._tell_window(job, before, of_card=window is not None)

    def take_card_of_job(self, job: str, window: Window | None, card: Path | None) -> None:
        """The window of a spec card that was entered in the job in hand, as `take_job` takes it; None: the card was struck."""
        before = _window_of(self.now)
        if window is not None:
            taken = _with_window(self.now, window)
            self._apply(replace(taken, arrangement=taken.arrangement or taken.window_arrangement))
        self._read_card(window, card)
        self._tell_window(job, before, of_card=window is not None)

    def _read_card(self, window: Window | None, card: Path | None) -> None:
        """The card as a whole, where its file is there; whether the window is a card's is kept."""
        if card is not None:
            self.take_card(card)
        self._preferences.keep(replace(self._preferences.now, card_window="" if window is None else self.now.window))

    def _ask_of_rest(self, had: Conditions, unit: str, *, another: bool) -> None:
        """What held before and does not count now is shown on its page, to be confirmed or cleared."""
        rest = replace(had, unit=unit, window=self.now.window, basis=self.now.basis, window_arrangement=self.now.window_arrangement)
        rest = replace(rest, arrangement=had.arrangement or self.now.arrangement)
        if not self.now.window.strip() and not another:  # typed on another day for this unit: with the rest of that day
            rest = replace(rest, window=had.window, basis=had.basis, window_arrangement=had.window_arrangement)
        if rest == self.now:
            self._proposed, self.asking = None, ""
            return
        self._proposed = rest
        if another:
            self._model.tell(say("conditions of another unit wait for an answer: before a pull (F3)"), good=True)
            self.asking = say("Another unit: what is shown below held for {unit}. Does it still?", unit=had.unit)

    def _tell_window(self, job: str, before: Window | None, *, of_card: bool) -> None:
        """Say what became of the window, where it is not the one before or no card of the job states it."""
        now = self._model.window
        was, text = (None if window is None else window.text or str(window) for window in (before, now))
        if of_card and was is not None and was != text:
            self._model.tell(
                say("job {job} brings its window: {window}; {was} was set before", job=job, window=text, was=was), good=True
            )
        elif not of_card and now is not None:
            told = say("job {job} has no spec card: pulls are judged by the window set, {window}", job=job, window=text)
            self._model.tell(told, remedy=say("another one: before a pull (F3), or enter a spec card in the job"))
        elif not of_card:
            told = say("no window: job {job} has no spec card, so pulls get no verdict", job=job)
            if was is not None:
                told += "; " + say("{was} was another job's", was=was)
            self._model.tell(told, remedy=say("type it before a pull (F3), or enter a spec card in the job"))

    def _apply(self, conditions: Conditions) -> None:
        before, self.now = self.now, conditions
        self._model.lacks = lacking(conditions)
        refused = conditions.refusal("window")
        window = _window_of(conditions)
        if conditions.window != before.window:
            self._model.notices.window_is_typed_anew()
        if refused is not None and self._model.window is not None:
            told = say("the window cannot be read: nothing is judged until it can")
            self._model.notices.add(Notice(told, remedy=fault_text(refused), of_window=True))
        series, changed = self._model.line.series, sorted(conditions.changed_from(before) & STATE_FIELDS)
        if not len(series):
            series.name, series.conditions = conditions.series, conditions.texts()
        elif changed:  # before the window is another one: a series that is over stays judged by its own
            self._new_series(", ".join(say(FIELD_NAMES[name]) for name in changed))
        if window != self._model.window:
            self._model.set_window(window)
        if window is not None and conditions.window != before.window:
            self._speak_its_unit(window)
        self._describe(conditions)
        texts = {name: Words(text) for name, text in conditions.texts().items()}
        self._preferences.keep(replace(self._preferences.now, conditions=texts, day=self._today().isoformat()))

    def _speak_its_unit(self, window: Window) -> None:
        """Answers come in the unit in which the window was typed."""
        shown = self._model.unit
        if not any(unit is not None and same_unit(unit, window.unit) for unit in (shown.first, shown.second)):
            self._model.unit = UnitChoice(window.unit)
            self._preferences.keep(replace(self._preferences.now, unit=window.unit, second_unit=None))


def _with_window(conditions: Conditions, window: Window) -> Conditions:
    stated = window.arrangement or ""
    return replace(conditions, window=window.text or str(window), basis=window.basis.value, window_arrangement=stated)


def _window_of(conditions: Conditions) -> Window | None:
    return None if conditions.refusal("window") else conditions.spec_window()
