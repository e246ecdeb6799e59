"""Benches: opens lines and recordings for the window, each with a session of its own, on the computer's clock."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.errors import BenchError
from analysis.judgement import DecisionRule
from analysis.verdict.judge import NOTHING_KNOWN, Known
from analysis.window import Window
from rig.calibration.sensor_in_use import SensorChoice
from rig.files.metadata import TraceInfo
from rig.folders import users_data
from rig.live.wishes import Describe
from rig.window.conditions import Conditions

if TYPE_CHECKING:  # line and analysis are loaded when a bench is opened, so that the window stands before
    from analysis.results import Sensor
    from analysis.trace import Trace
    from drivers.profile import DeviceProfile
    from drivers.replay import Replay
    from drivers.source import LiveSource
    from rig.live.line_tap import RawTap
    from rig.live.news import News
    from rig.live.recorder import Recorder
    from rig.live.runner import Bench, Listener


@dataclass(frozen=True, slots=True)
class Opened:
    """An open bench. `replay` steers it where it is a recording; `recorder` writes its pulls where they are recorded."""

    bench: Bench
    replay: Replay | None
    recorder: Recorder | None
    profile: DeviceProfile | None
    info: TraceInfo
    tap: RawTap

    def describe(self, conditions: Conditions, remark: str = "", job: str | None = None, customer: str | None = None) -> None:
        """Write these conditions with the pulls to come, what was noted of their series, and the job that they are entered in."""
        info = self.info if job is None else replace(self.info, job=job, customer=customer)
        self.bench.ask(Describe(conditions.into(replace(info, series_remark=remark or None))))


def amend_pull(file: Path, **changes: str | None) -> None:
    """Write into a pull's metadata what was told later, such as why it is not to count. Raises BenchError or OSError."""
    from rig.files.trace_csv import amend_info

    amend_info(file, **changes)


def whole_trace(file: Path, sensor_of: Callable[[TraceInfo], Sensor]) -> Iterator[Trace | BenchError]:
    """Every sample of a recorded pull, or why it cannot be read. For `rig.window.background.Work`."""
    from rig.files.pull_file import read_whole_trace

    try:
        yield read_whole_trace(file, sensor_of)
    except BenchError as fault:
        yield fault


@dataclass(frozen=True, slots=True)
class Benches:
    """How to open. `sensors` knows what counts of a sensor; pulls are recorded into `out` (None: nowhere), `info` with them.

    `known` is what is known before anybody pulls; `keeper` makes what enters pulls in the job book.
    """

    sensors: SensorChoice
    out: Path | None
    info: TraceInfo
    known: Known = NOTHING_KNOWN
    keeper: Callable[[Callable[[News], None]], Listener] | None = None

    def line(self, profile: DeviceProfile, window: Window | None, rule: DecisionRule, first_number: int = 1) -> Opened:
        """Open the line of a profile. Raises BenchError where folder or certificate refuse; a thread opens the line itself."""
        from rig.live.line_tap import RawTap
        from rig.live.recorder import MARKS, recorder_into
        from rig.live.runner import Bench
        from rig.live.session import Session

        sensor, info = self.sensors.of_line(profile, self.info)
        recorder = None if self.out is None else recorder_into(self.out, info, users_data() / MARKS)
        session = Session(
            sensor=sensor,
            window=window,
            rule=rule,
            known=self.known,
            stated=info.stated(),
            recorder=recorder,
            first_number=first_number,
        )
        tap = RawTap()
        return Opened(Bench(source_of(profile, tap), session, listener=self.keeper), None, recorder, profile, info, tap)

    def recording(self, path: Path, window: Window | None, rule: DecisionRule, first_number: int = 1) -> Opened:
        """Open a recording as a bench; its own window counts where none is set. Raises TraceFileError."""
        from drivers.clock import SystemClock
        from drivers.replay import Replay
        from rig.files.trace_csv import read_trace
        from rig.live.line_tap import RawTap
        from rig.live.runner import Bench
        from rig.live.session import Session

        trace, info = read_trace(path)
        replay = Replay(trace, SystemClock(), name=path.name)
        session = Session(
            sensor=self.sensors.of(info),
            window=window or info.window,
            rule=rule,
            known=self.known,
            stated=info.stated(),
            first_number=first_number,
            calibration_flags=info.calibration_flag_codes(),
            count_free_turns=not info.free_turn,
        )
        return Opened(Bench(replay, session, patient=True), replay, None, None, info, RawTap())


def source_of(profile: DeviceProfile, tap: RawTap) -> LiveSource:
    """The live source of a profile, its bytes noted on the tap (those of a wire recording are not).

    A window waits for a line as long as it stands, at the start too: a person is there to see it, and the pulls stay on the screen.
    """
    from drivers.clock import SystemClock
    from drivers.source import WIRE_PREFIX, LiveSource, open_source, opener
    from rig.live.line_tap import tapped

    if profile.port.startswith(WIRE_PREFIX):
        return open_source(profile, SystemClock())
    patient = replace(profile, patience_s=math.inf)
    return LiveSource(patient, SystemClock(), tapped(opener(profile), tap), waits=True)
