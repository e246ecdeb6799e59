"""RefitDesk: the parts of a refit as they are filled, measured, recorded and entered in the job. No Qt; waits for nothing."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analysis.errors import BenchError
from rig.gauge.fields import Entered, Field, FieldList
from rig.window.job_desk import JobDesk
from rig.window.lengths import Key, Lengths
from rig.window.lines import Lines
from rig.window.means import Means
from rig.window.model import BenchModel
from rig.window.refit_form import BACKLASH, BEARINGS, BOLTS, PARTS, Part, field_key, sheet_of, texts_of
from rig.words.language import say

if TYPE_CHECKING:
    from rig.window.bolt_run import BoltRun

MOST_PLAY_MM = 1.0
MOST_BACKLASH_MM = 2.0
MOST_DEPTH_MM = 200.0
"""Bounds of the fields; the first two are those beyond which a sheet is not believed (contract REFIT.md)."""


class RefitDesk:
    """`texts` are the fields of each part by section. `run` is the pass of bolts that is recorded; None where none is.

    `revision` counts what changed without a hand at a field: a pass, a gauge, an earlier sheet.
    """

    def __init__(self, model: BenchModel, means: Means, lines: Lines, lengths: Lengths, job: JobDesk) -> None:
        self._model, self._means, self._lines, self._lengths, self._job = model, means, lines, lengths, job
        self.texts: dict[str, dict[str, str]] = {part.section: {} for part in PARTS}
        self.run: BoltRun | None = None
        self.traces: list[str] = []
        """The traces of the bolts recorded, "-" for one that was not; empty where peaks were typed."""
        self.revision = 0
        self._filled_for = ""

    # the fields

    def put(self, part: Part, key: str, text: str) -> None:
        """A field was typed into."""
        self.texts[part.section][key] = text
        if part is BOLTS and key.startswith("peaks."):
            self.traces = []

    def sheet(self, part: Part) -> dict[str, Any]:
        """The sheet that the fields of a part make."""
        made = sheet_of(part, self.texts[part.section], self._unit)
        if part is BOLTS and self.traces:
            made[part.section][0].pop("peaks", None)
            made[part.section][0]["traces"] = list(self.traces)
        return made

    @property
    def _unit(self) -> str:
        return self._job.unit

    @property
    def folder(self) -> Path:
        """Where sheets and traces of bolts go."""
        return self._job.folder

    def tick(self) -> bool:
        """Take what was recorded; whether anything is to be shown anew."""
        changed = self._fill_from_job()
        run = self.run
        if run is None or not run.tick():
            return changed
        if run.last is not None:
            number, reading, _ = run.last
            text = "" if reading.peak_nm is None else f"{reading.peak_nm:.1f} N.m"
            self.texts[BOLTS.section][f"peaks.{number - 1}"] = text
            self.traces = run.names()
        if run.fault is not None:
            self._model.tell_fault(run.fault)
        if run.done.next_bolt is None:
            self.stop_bolts()
        self.revision += 1
        return True

    def _fill_from_job(self) -> bool:
        """What an earlier sheet of the job stated of each part; readings are always made anew."""
        number = self._job.number or ""
        if number == self._filled_for or (number and self._job.shown is None):
            return False
        before, self._filled_for = self._filled_for, number
        for part in PARTS:
            section = self._job.refits.get(part.section)
            if section is not None:
                self.texts[part.section] = texts_of(part, section, with_readings=False)
            elif before:  # of another job; what was typed before any was taken stays
                self.texts[part.section] = {}
        self.traces = []
        self.revision += 1
        return True

    # measuring

    def can_measure(self, part: Part) -> bool:
        """Whether the part's readings are lengths that a gauge can fill."""
        return part in (BEARINGS, BACKLASH)

    @property
    def measuring(self) -> bool:
        """Whether lengths of a part are being measured."""
        return self._lengths.entry is not None and self._lengths.title in {say(part.name) for part in PARTS}

    def measure(self, part: Part) -> None:
        """Fill the readings field after field: by gauge, pedal, finger or keys."""
        texts = self.texts[part.section]
        form = texts.get("form") or "gap"
        fields = []
        for entry in part.readings:
            if entry.forms and form not in entry.forms:
                continue
            most = (
                MOST_DEPTH_MM if form == "depths" and part is BEARINGS else MOST_BACKLASH_MM if part is BACKLASH else MOST_PLAY_MM
            )
            fields += [
                Field(key=(field_key(entry, at),), name=str(at + 1), group=say(entry.name), high_mm=most)
                for at in range(entry.fields)
            ]

        def write(new: Mapping[Key, Entered]) -> None:
            self.texts[part.section] |= {str(key[0]): value.text for key, value in new.items()}
            self.revision += 1

        self._lengths.begin(say(part.name), FieldList.of(tuple(fields)), write)

    # bolts

    def record_bolts(self) -> None:
        """Record the last pass of the group from the bench's sensor; pulls are not taken meanwhile."""
        from rig.files.document import from_values
        from rig.refit.document import RefitSheet
        from rig.window.bolt_run import BoltRun

        benches = self._means.benches
        made = sheet_of(BOLTS, {key: text for key, text in self.texts[BOLTS.section].items() if "." not in key}, self._unit)
        try:
            part = from_values(made, RefitSheet, say("bolts")).value.fasteners[0]
        except BenchError as fault:
            self._model.tell_fault(fault)
            return
        if part.single_use and part.state == "reused":
            self._model.tell(say("these bolts hold once and are used again: fit new ones"))
            return
        profile = None if benches is None else self._lines.lend()
        if profile is None or benches is None:
            self._model.tell(say("no sensor is open"), remedy=say("open its line first (F6)"))
            return
        try:
            self.run = BoltRun(part, profile, benches, self.folder)
        except BenchError as fault:
            self._model.tell_fault(fault)
            self._lines.reopen()
        self.revision += 1

    def bolt_again(self) -> None:
        """The bolt taken last is pulled again."""
        if self.run is not None:
            self.run.recorder.back()
            self.revision += 1

    def stop_bolts(self) -> None:
        """End the pass; what was recorded is kept, and the bench gets its sensor back."""
        if self.run is not None:
            self.traces = self.run.names() if self.run.done.taken else []
            self.run.close()
            self.run = None
            self._lines.reopen()
            self.revision += 1

    # entering

    def enter(self, part: Part) -> None:
        """Write the part as a refit sheet and enter it in the job."""
        import tomlkit

        from rig.files.document import from_values
        from rig.refit.document import RefitSheet

        made = self.sheet(part)
        try:
            from_values(made, RefitSheet, say(part.name))
            path = self._free_path(part)
            path.write_text(tomlkit.dumps(made), "utf-8")
        except BenchError as fault:
            self._model.tell_fault(fault)
            return
        except OSError as fault:
            self._model.tell(say("the sheet could not be written"), str(self.folder), str(fault.strerror))
            return
        if self._job.number is None:
            self._model.tell(say("the sheet is written, and entered in no job"), str(path), good=True)
        else:
            self._job.add_file("refit", path)
            self._model.tell(say("the sheet is written, and is being entered"), str(path), good=True)

    def _free_path(self, part: Part) -> Path:
        """A name that is not taken: nothing that was entered is ever written over."""
        self.folder.mkdir(parents=True, exist_ok=True)
        named = f"{self._job.number or 'refit'}_{part.section}"
        at = 1
        while (path := self.folder / f"{named}_{at}.toml").exists():
            at += 1
        return path

    def close(self) -> None:
        """Let go of the line."""
        self.stop_bolts()
