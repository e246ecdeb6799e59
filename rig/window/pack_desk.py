"""The pack sheet in hand: opened and answered, measured, given the series in sight, begun from a template. No Qt."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Final

from analysis.errors import BenchError
from rig.window.job_desk import JobDesk
from rig.window.lengths import Lengths
from rig.window.means import Means
from rig.window.model import BenchModel, SeriesOfPulls, Source
from rig.window.notices import Notice
from rig.window.reading import BackgroundReading
from rig.words.language import say

if TYPE_CHECKING:  # the analysis of packs is loaded with the first sheet
    from analysis.pack.shop import ShopHistory
    from rig.pack.history import Tried
    from rig.window.views.pack import PackView

FILES: Final = {"pack": "PACK.toml", "spec": "SPEC.toml", "shelf": "SHELF.toml"}
"""What a template is called: the pack sheet names the two others so."""


class PackDesk:
    """`path` is the sheet in hand; `with_shop`: answer it from what the job book tells of this shop, by choice only."""

    def __init__(self, model: BenchModel, means: Means, reading: BackgroundReading, lengths: Lengths, job: JobDesk | None) -> None:
        self._model, self._means, self._reading, self._lengths, self._job = model, means, reading, lengths, job
        self.path: Path | None = None
        self.with_shop = False

    @property
    def has_book(self) -> bool:
        """Whether there is a job book that tells of the shop."""
        return self._job is not None

    @property
    def folder(self) -> Path:
        """Where sheets go unless a person says otherwise."""
        if self.path is not None:
            return self.path.parent
        return Path.home() if self._means.book is None else self._means.book.folder

    def open(self, path: Path | None, with_view: Callable[[PackView], None]) -> None:
        """Read and answer a pack sheet on a thread; None: the same one again."""
        self.path = path or self.path
        if self.path is None:
            return
        if self.with_shop and self._job is not None:
            self._job.tell_shop_history(lambda shop: self._answer(with_view, shop))
        else:
            self._answer(with_view, None)

    def _answer(self, with_view: Callable[[PackView], None], shop: ShopHistory | None) -> None:
        from rig.window.views.pack import load_pack

        if self.path is not None:
            self._reading.begin(say("reading the pack sheet"), load_pack(self.path, self._model.unit, shop), 1, with_view)

    def measure(self) -> bool:
        """Measure the lengths of the sheet in hand, field after field; whether there are any. Raises nothing."""
        from rig.pack.lengths import read_fields, write_lengths

        path = self.path
        if path is None:
            self._tell_no_sheet()
            return False
        try:
            document, fields = read_fields(path)
        except BenchError as fault:
            self._model.tell_fault(fault)
            return False
        self._lengths.begin(say("Pack of {unit}", unit=str(document.pack.unit)), fields, lambda new: write_lengths(path, new))
        return True

    def enter_series(self) -> bool:
        """Write the series in sight into the sheet's history, as what the shims fitted now gave; whether it was."""
        from rig.pack.history import enter_series
        from rig.pack.pack_sheet import read_pack_document

        path, series = self.path, self._model.series
        if path is None:
            self._tell_no_sheet()
            return False
        tried = self._tried(series)
        if tried is None:
            self._model.tell(say("no pull of this series counts: nothing to enter"), remedy=say("pull first, three each way"))
            return False
        try:
            enter_series(path, tried)
            of_sheet = str(read_pack_document(path).value.pack.unit)
        except BenchError as fault:
            self._model.tell_fault(fault)
            return False
        self._tell_entered(tried, series.conditions.get("unit", "").strip(), of_sheet)
        return True

    def _tried(self, series: SeriesOfPulls) -> Tried | None:
        """What counts of a series; None where nothing does."""
        from rig.pack.history import Tried
        from rig.window.views.series import series_of

        counted = set(series_of(self._model).counted)
        pulls = [pull for at, pull in enumerate(series.pulls) if at in counted and pull.final and not pull.result.at_least]
        breakaway = [0.0 if pull.result.held_nothing else pull.result.breakaway for pull in pulls]
        torques = tuple(each if isinstance(each, float) else each.torque_nm for each in breakaway if each is not None)
        if not torques:
            return None
        named = {Source.BENCH: "", Source.SIMULATED: "SIMULATED ", Source.REPLAY: "REPLAY "}[series.source]
        numbers = ", ".join(str(pull.number) for pull in pulls)
        phase = series.conditions.get("phase", "")
        return Tried(
            note=f"{named}{phase or 'pulled'} {self._means.today().isoformat()}, pulls {numbers}",
            breakaway_nm=torques,
            sliding_nm=tuple(pull.result.sliding.torque_nm for pull in pulls if pull.result.sliding is not None),
            unit=self._model.unit.first,
            arrangement=series.conditions.get("arrangement", ""),
            plate_state=series.conditions.get("plate_state", ""),
            closure=series.conditions.get("closure", ""),
        )

    def _tell_entered(self, tried: Tried, of_series: str, of_sheet: str) -> None:
        from rig.pack.history import reading_text

        values = ", ".join(reading_text(value, tried.unit) for value in tried.breakaway_nm)
        what = say("entered in the sheet's history, with the shims fitted now: breakaway {values}", values=values)
        if of_series and of_series != of_sheet:
            remedy = say("the series is of '{series}', the sheet of '{sheet}': is it the same?", series=of_series, sheet=of_sheet)
            self._model.tell(what, remedy=remedy)
        else:
            self._model.tell(what, good=True)

    def write_template(self, kind: str, path: Path) -> None:
        """Write a pack sheet, spec card or shelf to fill in, and open it; a pack sheet gets the two others beside it."""
        from rig.pack.templates import TEMPLATES

        others = {path.parent / FILES[each]: each for each in ("spec", "shelf")} if kind == "pack" else {}
        wanted = {path: kind} | {there: each for there, each in others.items() if not there.exists()}
        try:
            for there, each in wanted.items():
                with there.open("x", encoding="utf-8") as file:
                    file.write(TEMPLATES[each])
        except FileExistsError:
            self._model.tell(say("there is such a file already"), str(path), say("choose another name"))
            return
        except OSError as fault:
            self._model.tell(say("the sheet could not be written"), str(path.parent), str(fault.strerror))
            return
        told = say("written, to be filled in: every value in it is an example")
        self._model.notices.add(Notice(told, where=str(path), remedy=say("fill it in, save it, then open it here")))
        if self._means.show_folder is not None:
            self._means.show_folder(path)

    def _tell_no_sheet(self) -> None:
        self._model.tell(say("open a pack sheet first"), remedy=say("'To fill in…' on the page of packs writes one"))
