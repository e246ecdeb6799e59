"""Taking the points of a calibration at the bench: asks for one load after the other and notes what the device indicates.

Each point is written as soon as it is taken; a run that was broken off goes on with the series it was in.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from analysis.errors import UnitError
from analysis.sensor.calibration import Weighing, weigh
from analysis.trace import Trace, join
from analysis.units import to_si
from drivers.clock import Clock
from drivers.opening import POINTS, read_text
from rig.calibration.plan import Load, Plan
from rig.calibration.points import points_header, points_row, read_points
from rig.errors import CertificateError
from rig.files.atomic import write_whole
from rig.live.news import News
from rig.live.runner import Bench
from rig.words.language import say
from rig.words.sentences import torque

STRETCH_S = 2.0
PATIENCE_S = 15.0
LOOK_EVERY_S = 0.05
FAR = 0.1
"""An indication further off than this share of its load, and a hundredth of the range, looks like another weight."""
BACK, STOP, KEEP = "b", "q", "k"
CAUTIONS = (
    "Secure arm and sensor before the first weight; hang weights just above the floor, feet and fingers clear.",
    "Put weights on gently, without a jolt; never load the sensor beyond its capacity.",
    "Wait until nothing swings.",
)


class Stopped(Exception):  # noqa: N818  not an error: the person has had enough, what was taken is kept
    """The person broke off."""


@dataclass(frozen=True, slots=True)
class Gauge:
    """A device whose load can be weighed, on a running bench."""

    bench: Bench
    capacity_nm: float
    clock: Clock
    tell: Callable[[News], None]

    def weigh(self) -> Weighing:
        """What it indicates over the next two seconds. Raises CertificateError where nothing comes, or what ended the line."""
        return weigh(self._stretch(), self.capacity_nm)

    def _stretch(self) -> Trace:
        self.bench.scope()
        pieces: list[Trace] = []
        end_s = self.clock.now() + PATIENCE_S
        while self.clock.now() < end_s:
            for item in self.bench.news():
                self.tell(item)
            if self.bench.error is not None:
                raise self.bench.error
            pieces += self.bench.scope()
            if pieces and pieces[-1].time_s[-1] < pieces[0].time_s[0]:  # the device began anew
                pieces = pieces[-1:]
            if pieces and pieces[-1].time_s[-1] - pieces[0].time_s[0] >= STRETCH_S:
                return join(pieces)
            self.clock.wait_until(self.clock.now() + LOOK_EVERY_S, threading.Event())
        raise CertificateError("the device sends too little to weigh by", remedy="check the line with: platepull live")


class Voice(Protocol):
    """How the person is asked and told."""

    def ask(self, question: str) -> str:
        """The answer to a question; "q" at the end of what can be asked."""
        ...

    def say(self, line: str) -> None:
        """A line to read."""
        ...


class PointTaker:
    """Takes what the plan still lacks into its file of points.

    `reference`: the gauge of a reference sensor on a line of its own; None: the load is as hung, or the person reads it off.
    `unit`: of the torques that the person is told, and types without a unit. `progress` hears how many points are taken, of all.
    """

    def __init__(
        self,
        plan: Plan,
        gauge: Gauge,
        reference: Gauge | None,
        voice: Voice,
        unit: str = "N.m",
        progress: Callable[[int, int], None] = lambda done, count: None,
    ) -> None:
        if not plan.loads:
            raise CertificateError("the plan has no loads", where=plan.points.name, remedy="name them: loads = [...]")
        self._plan, self._gauge, self._reference, self._voice = plan, gauge, reference, voice
        self._unit, self._progress = unit, progress
        self._loads = plan.all_loads()
        self._rows: list[str] = []
        self._zero_nm = self._reference_zero_nm = 0.0

    def run(self) -> None:
        """Ask and weigh until the plan is done. Raises Stopped, CertificateError, or what ended a line."""
        self._rows, plan = self._whole_series(), self._plan
        if self._rows:
            done, file = len(self._rows), plan.points.name
            there = say("{done} of {all} points are in {file}; it goes on from there", done=done, all=len(self._loads), file=file)
            self._voice.say(there)
        for caution in CAUTIONS:
            self._voice.say(f"  - {say(caution)}")
        while len(self._rows) < len(self._loads):
            at = len(self._rows)
            self._progress(at, len(self._loads))
            load, before = self._loads[at], self._loads[at - 1] if at else None
            if before is None or (load.mounting, load.direction) != (before.mounting, before.direction):
                self._prepare(load)
            row = self._take(load, say("{one} of {all}", one=at + 1, all=len(self._loads)))
            self._rows = self._rows[:-1] if row is None else [*self._rows, row]
            self._write()

    def _whole_series(self) -> list[str]:
        """Rows of the file, as far as series are whole: one that was broken off begins anew. Raises CertificateError."""
        plan = self._plan
        if not plan.points.exists():
            return []
        points = read_points(plan.points, plan.reference)
        planned = [(load.size > 0, load.rising, load.series, load.mounting) for load in self._loads[: len(points)]]
        found = [(point.torque_nm != 0, point.rising, point.series, point.mounting) for point in points]
        rows = read_text(plan.points, POINTS).splitlines()
        if planned != found or rows[0] + "\n" != points_header(plan.reference):
            remedy = "name another file in the plan, or leave out --device to use the points as they are"
            raise CertificateError("holds points that are not those of the plan", where=str(plan.points), remedy=remedy)
        in_one = 2 * len(plan.loads) + 1
        return [row + "\n" for row in rows[1:] if row.strip()][: len(points) // in_one * in_one]

    def _prepare(self, load: Load) -> None:
        way = say("first direction") if load.direction == 1 else say("other direction")
        most = f"{self._plan.loads[-1]:g} {self._plan.reference.unit}"
        text = say(
            "-- {way}, mounting {mounting}: set the sensor up so, then load it three times to {most} as exercise",
            way=way,
            mounting=load.mounting,
            most=most,
        )
        self._voice.say(text)
        self._asked(say("loads off again? [Enter; q ends]"))

    def _asked(self, question: str) -> str:
        answer = self._voice.ask(question).strip().lower()
        if answer == STOP:
            raise Stopped
        return answer

    def _take(self, load: Load, count: str) -> str | None:
        """One row; None: the one before it is to be taken again."""
        unit = self._plan.reference.unit
        what = f"{load.size:g} {unit}, {say('up') if load.rising else say('down')}" if load.size else say("no load")
        while True:
            asked = say("{count}: {what} [Enter when all is still; b: the one before again; q ends]", count=count, what=what)
            if self._asked(asked) == BACK:
                if self._rows:
                    return None
                continue
            found = self._gauge.weigh()
            size = self._size(load)
            self._voice.say(f"    {self._shown(load, size, found.mean_nm)}")
            flag = self._doubt(load, size, found)
            if not flag or self._asked(f"    {flag} " + say("[k keeps it; Enter takes it again]")) == KEEP:
                if not load.size:
                    self._zero_nm = found.mean_nm
                return points_row(load, size, found.mean_nm)

    def _size(self, load: Load) -> float:
        """The load in fact: as hung, or as the reference has it, on its own line or read off by the person."""
        if self._reference is not None:
            shown_nm = self._reference.weigh().mean_nm
            if not load.size:
                self._reference_zero_nm = shown_nm
                return 0.0
            return abs(shown_nm - self._reference_zero_nm)
        if self._plan.reference.arm is not None or not load.size:
            return load.size
        while True:
            answer = self._asked(say("    the reference shows? [such as {torque}]", torque=torque(load.size, self._unit)))
            try:
                return abs(to_si(answer if answer[-1:].isalpha() else f"{answer} {self._unit}", "torque"))
            except UnitError as fault:
                self._voice.say(f"    {fault.what}; {fault.remedy}")

    def _shown(self, load: Load, size: float, mean_nm: float) -> str:
        if not size:
            return torque(mean_nm, self._unit)
        expected_nm = load.direction * self._plan.reference.torque_nm(size)
        from_zero, expected = (torque(value, self._unit) for value in (mean_nm - self._zero_nm, expected_nm))
        shown = torque(mean_nm, self._unit)
        return say("{shown}, {by} from zero; this load makes {expected}", shown=shown, by=from_zero, expected=expected)

    def _doubt(self, load: Load, size: float, found: Weighing) -> str:
        if not found.steady:
            crept, deviation = (torque(value, self._unit) for value in (found.crept_nm, found.deviation_nm))
            return say("not at rest: it crept by {crept} and scatters by {deviation}", crept=crept, deviation=deviation)
        expected_nm = load.direction * self._plan.reference.torque_nm(size)
        room_nm = FAR * abs(expected_nm) + 0.01 * (self._plan.draft.capacity_nm or abs(expected_nm))
        if size and abs(found.mean_nm - self._zero_nm - expected_nm) > room_nm:
            expected = torque(expected_nm, self._unit)
            return say("far from the {expected} of this load: is it the right one, at the right place?", expected=expected)
        return ""

    def _write(self) -> None:
        points = self._plan.points
        try:
            write_whole(points, points_header(self._plan.reference) + "".join(self._rows))
        except OSError as fault:
            remedy = "check folder, rights and space"
            raise CertificateError(f"cannot be written ({fault.strerror})", where=str(points), remedy=remedy) from fault
