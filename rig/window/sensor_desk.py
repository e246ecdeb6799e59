"""Sensor desk: calibration at the bench, a guess of what a device sends, checks of the machine; each on a thread of its own. No Qt.

Whatever goes wrong stands in the part's own lines and becomes a notice; nothing here raises or waits, but `stop`, and that only for
the step under way.
"""

from __future__ import annotations

import contextlib
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue
from typing import TYPE_CHECKING

from analysis.errors import BenchError
from drivers.errors import FileError
from rig.errors import CertificateError
from rig.window.lines import Lines
from rig.window.means import Means
from rig.window.model import BenchModel, Source
from rig.words.language import say, spoken
from rig.words.retold import fault_text, retold

if TYPE_CHECKING:  # loaded when somebody calibrates, guesses or checks
    from drivers.guess import Guess
    from rig.calibration.plan import Plan
    from rig.doctor.checks import Found

NEWEST_LINES = 200
"""So many lines of a conversation are kept."""
LISTEN_S = 2.0
"""So long at each baud rate, as the verb does."""
PULL_S = 40.0
"""So long at most for a pull each way that tells torque from angle."""


class Task:
    """Something under way on a thread: `lines` it has said, `done` of `count` steps, a `question` that waits for an answer.

    It speaks to `rig.calibration.point_taker` as the person would at a terminal (its `Voice`).
    """

    def __init__(self, name: str, run: Callable[[Task], None], count: int) -> None:
        self.name, self.done, self.count = name, 0, max(1, count)
        self.lines: deque[str] = deque(maxlen=NEWEST_LINES)
        self.question = ""
        self.fault: BenchError | None = None
        self.over = threading.Event()
        """The person has had enough."""
        self._answers: SimpleQueue[str] = SimpleQueue()
        self._run = run
        self._thread = threading.Thread(target=self._guarded, name=f"platepull {name}", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    @property
    def running(self) -> bool:
        """Whether it still works."""
        return self._thread.is_alive()

    @property
    def share(self) -> float:
        """How far it is, 0..1."""
        return min(1.0, self.done / self.count)

    def ask(self, question: str) -> str:
        """The person's answer; "q" where the person has had enough."""
        if self.over.is_set():
            return "q"
        self.question = question
        return self._answers.get()

    def say(self, line: str) -> None:
        """A line to read."""
        self.lines.append(line)

    def progress(self, done: int, count: int) -> None:
        """So many steps of so many are done."""
        self.done, self.count = done, max(1, count)

    def answer(self, text: str) -> None:
        """The person answers the question, if there is one."""
        if self.question:
            self.question = ""  # at once: a key pressed twice is one answer
            self._answers.put(text)

    def stop(self) -> None:
        """End it after the step under way, and wait for that."""
        self.over.set()
        self._answers.put("q")
        if self._thread.is_alive():
            self._thread.join()

    def _guarded(self) -> None:
        try:
            self._run(self)
        except BenchError as fault:
            self.fault = fault
        except Exception as fault:  # noqa: BLE001  nobody above to catch it: it is told
            self.fault = BenchError(f"{self.name}: {fault!r}", remedy="report this")
        if self.fault is not None:
            self.lines.append(fault_text(self.fault))


@dataclass(frozen=True, slots=True)
class GuessWish:
    """What a person knows of the device before it is listened to; "" where nothing. `what` is a port or the path of a capture."""

    what: str
    name: str
    capacity: str = ""
    torque_unit: str = ""
    angle_unit: str = ""
    time_unit: str = ""


class SensorDesk:
    """`task` is what is under way, or was last; `found` what the checks found, `profile` the text of the profile guessed."""

    def __init__(self, model: BenchModel, means: Means, lines: Lines) -> None:
        self._model, self._means, self._lines = model, means, lines
        self.task: Task | None = None
        self.part = ""
        self.found: list[Found] = []
        self.profile = ""
        self.certificate: Path | None = None
        self._told: Task | None = None
        self._reopen = False

    @property
    def busy(self) -> bool:
        """Whether something is under way."""
        return self.task is not None and self.task.running

    @property
    def folder(self) -> Path:
        """Where plans and profiles go unless a person says otherwise: beside the profile opened last, else the home folder."""
        last = self._lines.profile_file
        return Path.home() if last is None else last.parent

    def tick(self) -> None:
        """Tell what went wrong, once; open the bench's line again after a calibration."""
        task = self.task
        if task is None or task.running or task is self._told:
            return
        self._told = task
        if task.fault is not None:
            self._model.tell_fault(task.fault)
        if self._reopen:
            self._reopen = False
            self._lines.reopen()

    def stop(self) -> None:
        """End what is under way; points that were taken are kept."""
        if self.task is not None:
            self.task.stop()
            self.tick()

    def end(self) -> None:
        """The window is closed: end what is under way, open nothing again."""
        self._reopen = False
        self.stop()

    def _begin(self, part: str, name: str, run: Callable[[Task], None], count: int) -> None:
        self.stop()
        self.part, self.task = part, Task(name, run, count)
        self.task.start()

    def _free_the_line(self) -> None:
        """The line of the bench is closed while something else listens to the port."""
        if self._lines.opened is not None and self._model.line.source is Source.BENCH:
            self._lines.close_line()
            self._reopen = True

    # calibration

    def write_template(self, path: Path) -> None:
        """Write a plan to fill in."""
        from rig.calibration.plan import TEMPLATE

        try:
            with path.open("x", encoding="utf-8") as file:
                file.write(TEMPLATE)
        except OSError as fault:
            self._model.tell(say("the plan could not be written"), str(path), str(fault.strerror))
        else:
            self._model.tell(say("a plan to fill in is written"), str(path), good=True)

    def calibrate(self, plan: Path, device: Path | None, reference: Path | None = None) -> None:
        """Take the points of a plan from the device, one load after the other, then make the certificate; None: from its file."""
        if device is not None:
            self._free_the_line()
        self.certificate = None
        self._begin("calibration", say("calibration"), lambda task: self._calibrate(task, plan, device, reference), 1)

    def _calibrate(self, task: Task, path: Path, device: Path | None, reference: Path | None) -> None:
        from rig.calibration.plan import load_plan
        from rig.calibration.points import certificate_of
        from rig.files.certificate import certificate_file, write_certificate
        from rig.sheets.certificate import sheet_lines
        from rig.sheets.phrases import Phrases

        today = self._means.today()
        plan = load_plan(path, today)
        out = certificate_file(path, plan.draft)
        if out.exists():
            raise CertificateError("is there already", where=str(out), remedy="give the certificate another number in the plan")
        if device is not None and not self._took_points(task, plan, device, reference):
            task.say(say("broken off; what was taken is kept, and the same plan goes on with it"))
            return
        certificate = certificate_of(plan)
        write_certificate(out, certificate)
        for line in sheet_lines(certificate, Phrases(spoken())):
            task.say(line)
        task.say(say("written: {path}", path=str(out)))
        task.say(say('name it in the profile: certificate = "{name}"', name=out.name))
        self.certificate = out
        task.done = task.count

    def _took_points(self, task: Task, plan: Plan, device: Path, reference: Path | None) -> bool:
        from rig.calibration.gauge import open_gauge
        from rig.calibration.point_taker import PointTaker, Stopped
        from rig.files.profile import read_profile

        today = self._means.today()
        with contextlib.ExitStack() as tidy:
            gauge = tidy.enter_context(open_gauge(read_profile(device), lambda item: None, today, under_test=True))
            other = None
            if reference is not None:
                other = tidy.enter_context(open_gauge(read_profile(reference), lambda item: None, today, under_test=False))
            try:
                PointTaker(plan, gauge, other, task, self._model.unit.first, task.progress).run()
            except Stopped:
                return False
        return True

    def check_by_weights(self, device: Path, weights: str, arm: str) -> None:
        """Two known weights on the lever: what may be stated of a sensor that nobody has calibrated."""
        self._free_the_line()
        self._begin("calibration", say("two weights"), lambda task: self._check(task, device, weights, arm), 3)

    def _check(self, task: Task, device: Path, weights: str, arm: str) -> None:
        from rig.calibration.gauge import open_gauge
        from rig.calibration.point_taker import Stopped
        from rig.calibration.weight_check import check, check_lines, hung, take
        from rig.files.profile import read_profile

        hanging = hung(weights, arm)
        with open_gauge(read_profile(device), lambda item: None, self._means.today(), under_test=True) as gauge:
            try:
                shown = take(hanging, gauge, task, self._model.unit.first, task.progress)
            except Stopped:
                task.say(say("broken off; nothing was stated"))
                return
        for line in check_lines(hanging, check(hanging, shown), self._model.unit.first):
            task.say(line)
        task.done = task.count

    # guess

    def guess(self, wish: GuessWish) -> None:
        """Listen to the port (or read the capture) and write a profile as text; a person saves it."""
        from rig.live.listening import BAUDS

        self.profile = ""
        self._free_the_line()
        self._begin("guess", say("listening to the device"), lambda task: self._guess(task, wish), len(BAUDS))

    def _guess(self, task: Task, wish: GuessWish) -> None:
        from analysis.units import to_si
        from drivers.guess import guess
        from drivers.profile import profile_text
        from rig.live.listening import BAUDS, chunks_of

        if wish.capacity:
            to_si(wish.capacity, "torque")
        path, port, baud = Path(wish.what), wish.what, BAUDS[0]
        if path.is_file():
            found = guess(chunks_of(path))
            port = f"wire:{path.as_posix()}"
        else:
            baud, found = self._listen(task, wish.what)
        if task.over.is_set():
            return
        if found is None:
            remedy = "name the baud rate in a profile by hand, or keep the bytes: platepull wire record"
            raise FileError("nothing that came makes sense as text lines or frames", where=wish.what, remedy=remedy)
        for reason in found.because:
            task.say(retold(reason))
        for doubt in found.caveats:
            task.say(say("doubtful: {doubt}", doubt=retold(doubt)))
        stated = {"torque": wish.torque_unit, "angle": wish.angle_unit, "time": wish.time_unit}
        missing = [kind for kind in found.wanted if not stated[kind] and kind != "angle"]
        if missing:
            kinds = " + ".join(say(kind) for kind in missing)
            task.say(say("no line says the unit of {kinds}, and none is made up: state it, then listen again", kinds=kinds))
            return
        units = {kind: unit or None for kind, unit in stated.items() if kind in found.wanted}
        found = found.with_units(**units)
        self.profile = profile_text(
            name=wish.name, port=port, baud=baud, bits=found.bits, capacity=wish.capacity or None, layout=found.layout
        )
        task.say(say("{share} % sure", share=f"{100 * found.sureness:.0f}"))
        task.done = task.count

    def _listen(self, task: Task, port: str) -> tuple[int, Guess | None]:
        from drivers.clock import SystemClock
        from drivers.line import MOST_BYTES, SerialLine
        from rig.live.listening import BAUDS, Pulls, listen

        class Stoppable(SerialLine):
            def read(self, most: int = MOST_BYTES) -> bytes:
                if task.over.is_set():
                    raise _Enough
                return super().read(most)

        def tried(baud: int) -> None:
            task.done = BAUDS.index(baud)
            task.say(say("listening at {baud} baud", baud=baud))

        pulls = Pulls(lambda _: task.say(say("now pull once each way, and let the lever come back to rest")), PULL_S)
        with contextlib.suppress(_Enough):
            return listen(lambda baud: Stoppable(port, baud), BAUDS, SystemClock(), LISTEN_S, tried, pulls)
        return BAUDS[0], None

    def save_profile(self, path: Path, text: str) -> None:
        """Save the profile as it stands on the page, and open its line; a file that is there is not written over."""
        try:
            with path.open("x", encoding="utf-8") as file:
                file.write(text)
        except FileExistsError:
            self._model.tell(say("there is such a file already"), str(path), say("choose another name"))
        except OSError as fault:
            self._model.tell(say("the profile could not be written"), str(path), str(fault.strerror))
        else:
            self._reopen = False
            self._lines.open_profile(path)

    # machine

    def look_at_machine(self) -> None:
        """Check this machine, one thing after the other."""
        from rig.doctor import checks
        from rig.doctor.machine import looks

        self.found = []

        def run(task: Task) -> None:
            todo = looks(lambda: self._means.now().astimezone(), screen=True, device=self._lines.profile_file)
            task.count = len(todo)
            for name, look in todo:
                if task.over.is_set():
                    return
                self.found = [*self.found, *checks.tried(name, look)]
                task.done += 1

        self._begin("machine", say("checking this machine"), run, 12)


class _Enough(Exception):  # noqa: N818  not an error: the person has had enough
    """The person stopped listening."""
