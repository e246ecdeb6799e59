"""Session: steps items of a source into news: record, find pulls, read, judge. No thread, clock or screen inside."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from analysis.errors import BenchError
from analysis.judgement import DecisionRule, Verdict
from analysis.pull.finder import FinderRules, PullAtRest, PullEnded, PullEvent, PullFinder, PullStarted
from analysis.pull.reading import read_pull
from analysis.results import PullResult, Sensor
from analysis.sensor.correction import apply_calibration
from analysis.sensor.zero_history import QUIET_S, SensorLog, far_off
from analysis.trace import EMPTY, Trace, join
from analysis.verdict.apart import Scatter
from analysis.verdict.judge import judge
from analysis.verdict.scatter import USUAL_SCATTER
from analysis.window import Window
from drivers.source import SourceItem
from rig.files.metadata import TraceInfo
from rig.live.news import Exercised, Failed, News, PullBegan, PullJudged, SeriesOver, ZeroFound
from rig.live.recorder import Recorder
from rig.live.wishes import Describe, Exercise, SetWindow, Wish, ZeroNow

# With 2.5 s before the pull in its file, a replay sees all of the rest that the finder's zero and noise come from (2 s), so it
# finds and reads the pull exactly as the live stream did.
LIVE_RULES = FinderRules(preroll_s=2.5)

_DECIMALS = (
    6  # a sample is kept to a microsecond, a millionth of a N.m and of a degree: far below any sensor, and short in the file
)


def kept(piece: Trace) -> Trace:
    """The piece as it is kept: rounded once, so that the file, the live reading and a replay hold the very same numbers."""
    time_s = np.round(piece.time_s, _DECIMALS)
    if time_s.size > 1 and not (np.diff(time_s) > 0).all():
        time_s = piece.time_s
    angle_deg = None if piece.angle_deg is None else np.round(piece.angle_deg, _DECIMALS)
    return Trace(time_s, np.round(piece.torque_nm, _DECIMALS), angle_deg)


@dataclass(frozen=True, slots=True)
class _Last:
    number: int
    trace: Trace
    result: PullResult
    file: Path | None


def _amendments(result: PullResult, exercised_nm: float) -> dict[str, Any]:
    """What a pull's metadata says after its reading."""
    return {
        "zero_before_nm": result.zero_nm,
        "zero_after_nm": result.zero_after_nm,
        "exercised_nm": exercised_nm or None,
        "calibration_flags": " ".join(result.calibration_flags) or None,
    }


class Session:
    """Feed it what a source yields; each `step` returns the news it brought, in order.

    sensor     what is known of the torque sensor; its capacity sets the finder's thresholds, its calibration is put in force on all
               that is read and shown, not on what is recorded
    window     what pulls are judged against; None: read, not judged
    scatter    from pull to pull, as it is known of the bench
    recorder   writes each pull to a file; None: nothing is written
    calibration_flags   of a recording: what the bench said of the sensor then, in place of what this session sees of it

    Recording comes first in a step. A failing recorder or analysis becomes `Failed` news; the stream goes on and the file stays.
    """

    def __init__(
        self,
        *,
        sensor: Sensor | None = None,
        window: Window | None = None,
        rule: DecisionRule = DecisionRule.GUARDED,
        scatter: Scatter = USUAL_SCATTER,
        recorder: Recorder | None = None,
        rules: FinderRules = LIVE_RULES,
        first_number: int = 1,
        calibration_flags: tuple[str, ...] | None = None,
    ) -> None:
        self.window = window
        self.rule = rule
        self.scatter = scatter
        self.pulls = 0
        self._sensor = sensor or Sensor()
        in_use = apply_calibration(EMPTY, self._sensor)[1]
        self._log = SensorLog(in_use.capacity_nm, in_use.calibration)
        self._calibration_flags = calibration_flags
        self._exercising = False
        self._loaded_s = -np.inf
        self._zero_due, self._zero_asked = True, False
        self._recorder = recorder
        if recorder is not None:
            recorder.info = replace(recorder.info, window=window)
        self._rules = rules
        self._finder = self._new_finder()
        self._pieces: deque[Trace] = deque()
        self._next_number = first_number
        self._from_s = 0.0
        self._not_before_s = -np.inf
        self._newest_s = -np.inf
        self._last: _Last | None = None
        self.corrected = EMPTY
        """The newest piece as it reads under the calibration: what a picture of the stream should show."""

    @property
    def pulling(self) -> bool:
        """Whether a pull is under way."""
        return self._finder.pulling

    @property
    def zero_nm(self) -> float:
        """Torque at rest as the session sees it now, N.m."""
        return self._finder.zero_nm

    def step(self, item: SourceItem) -> list[News]:
        """Take one item; pieces of a stream in rising time, line news as they come."""
        if not isinstance(item, Trace):
            return [item]
        if not len(item):
            return []
        piece = kept(item)
        news = self._restart() if piece.time_s[0] <= self._newest_s else []
        self._newest_s = float(piece.time_s[-1])
        self._pieces.append(piece)
        news += self._record(lambda recorder: recorder.add(piece))
        self.corrected = self.shown(piece)
        for event in self._finder.feed(self.corrected):
            news += self._on(event)
        news += self._look_at_rest()
        while len(self._pieces) > 1 and self._pieces[1].time_s[0] <= self._finder.keep_from_s:
            self._pieces.popleft()
        return news

    def finish(self) -> list[News]:
        """The source has ended: close the pull that is open, if any, and tell what the zero did over the series."""
        news = self._close_pull()
        zeros = [zero for zero in self._log.zeros_nm if zero is not None]
        if zeros and self._last is not None:
            reading = self._last.result.breakaway or self._last.result.sliding
            news.append(SeriesOver(zeros[0], zeros[-1], self._log.zero_has_moved(reading.torque_nm if reading else np.inf)))
        return news

    def carry_out(self, wish: Wish) -> list[News]:
        """Do what a person wants, and tell what came of it."""
        match wish:
            case SetWindow(window, rule):
                return self.set_window(window, rule)
            case Describe(info):
                return self.describe(info)
            case ZeroNow():
                return self.zero_now()
            case Exercise(on):
                return self.exercise(on)

    def set_window(self, window: Window | None, rule: DecisionRule | None = None) -> list[News]:
        """Judge from now on against `window`; the last pull is judged anew and told again under its number."""
        self.window = window
        self.rule = rule or self.rule
        if self._recorder is not None:
            self._recorder.info = replace(self._recorder.info, window=window)
        if self._last is None:
            return []
        last = self._last
        return [PullJudged(last.number, last.trace, last.result, self._verdict(last.result), last.file, final=True)]

    def describe(self, info: TraceInfo) -> list[News]:
        """Write this with the pulls to come; the window stays the session's own."""
        if self._recorder is not None:
            self._recorder.info = replace(info, window=self.window)
        return []

    def zero_now(self) -> list[News]:
        """Learn the zero anew from the stream that follows. Refused during a pull."""
        if self.pulling:
            return [Failed("no zero during a pull", "zero", "let go of the lever, then zero again")]
        self._finder = self._new_finder()
        self._pieces.clear()
        self._log.zeros_nm.clear()
        self._zero_due, self._zero_asked = True, True
        return []

    @property
    def exercising(self) -> bool:
        """Whether loads are taken for exercise, not for pulls."""
        return self._exercising

    def exercise(self, on: bool = True) -> list[News]:
        """Loads exercise the sensor from now on: counted, not recorded or judged, until each way had enough or `on` is False.

        A new zero is learnt when it is over. Refused during a pull.
        """
        if self.pulling:
            return [Failed("no exercise during a pull", "exercise", "let go of the lever, then begin again")]
        self._exercising = on
        if not on:
            return self.zero_now()
        self._log.forget_loads()
        return []

    def shown(self, piece: Trace) -> Trace:
        """The piece as it reads once calibration and adapter are in force: what a picture of the stream should show."""
        return apply_calibration(piece, self._sensor)[0]

    def _new_finder(self) -> PullFinder:
        return PullFinder(self._log.capacity_nm, self._rules)

    def _close_pull(self) -> list[News]:
        return [news for event in self._finder.finish() for news in self._on(event)]

    def _restart(self) -> list[News]:
        # Time went back: the device started anew. What came before is closed; the two never meet in one trace.
        news = self._close_pull()
        self._finder = self._new_finder()
        self._pieces.clear()
        self._not_before_s = -np.inf
        return news

    def _look_at_rest(self) -> list[News]:
        """What is due while nothing is on the lever: the zero, and the end of an exercise one way."""
        if not self._finder.settled:
            return []
        if self._exercising and self._newest_s - self._loaded_s > QUIET_S and any(map(self._log.exercised_one_way, (1, -1))):
            return self.exercise(False)
        if not self._zero_due:
            return []
        self._zero_due, zero_nm = False, self._finder.zero_nm
        return [ZeroFound(zero_nm, self._zero_asked, far_off(zero_nm, self._log.capacity_nm))]

    def _on_exercise(self, event: PullEvent) -> list[News]:
        if not isinstance(event, PullEnded):
            return []
        torque_nm = self.shown(join(self._pieces).between(event.from_s, event.to_s)).torque_nm - self._finder.zero_nm
        direction = 1 if torque_nm.max() >= -torque_nm.min() else -1
        peak_nm = float(np.abs(torque_nm).max())
        times = self._log.add_load(direction, peak_nm)
        self._loaded_s, over = event.to_s, self._log.exercised_both_ways()
        return [Exercised(direction, peak_nm, times, over), *(self.exercise(False) if over else [])]

    def _on(self, event: PullEvent) -> list[News]:
        if self._exercising:
            return self._on_exercise(event)
        match event:
            case PullStarted():
                # The rest after the last pull may serve as pre-roll; the pull itself not.
                self._from_s = max(event.from_s, self._not_before_s)
                number, so_far = self._next_number, self._cut(np.inf)
                news = self._record(lambda recorder: recorder.begin(number, so_far))
                return [*news, PullBegan(number, self._from_s)]
            case PullAtRest():
                return self._read(self._cut(event.to_s), None, final=False)
            case PullEnded():
                trace = self._cut(event.to_s)
                news = self._record(lambda recorder: recorder.end(event.to_s))
                news += self._read(trace, self._recorder.last_file if self._recorder else None, final=True)
                self.pulls += 1
                self._next_number += 1
                self._not_before_s = event.to_s - self._rules.rest_s
                return news

    def _cut(self, to_s: float) -> Trace:
        return join(self._pieces).between(self._from_s, to_s)

    def _read(self, trace: Trace, file: Path | None, *, final: bool) -> list[News]:
        number = self._next_number
        news: list[News] = []
        try:
            trace, sensor = apply_calibration(trace, self._sensor)
            result = read_pull(trace, sensor)
            if final:
                exercised_nm = self._log.exercised_nm(result.direction) if result.direction else 0.0
                seen = self._log.add_pull(result)
                result = replace(result, calibration_flags=seen if self._calibration_flags is None else self._calibration_flags)
                news = self._record(lambda recorder: recorder.amend(**_amendments(result, exercised_nm)))
            verdict = self._verdict(result)
        except Exception as error:  # noqa: BLE001  a fault of ours in the analysis must not cost the bench the next pull
            return [Failed(f"pull {number} could not be read ({error})", "analysis", "its file is kept; report this with the file")]
        if final:
            self._last = _Last(number, trace, result, file)
        return [*news, PullJudged(number, trace, result, verdict, file, final)]

    def _verdict(self, result: PullResult) -> Verdict | None:
        return None if self.window is None else judge(result, self.window, self.rule, known=self.scatter)

    def _record(self, what: Callable[[Recorder], None]) -> list[News]:
        if self._recorder is None:
            return []
        try:
            what(self._recorder)
        except BenchError as error:
            return [Failed(error.what, error.where, error.remedy)]
        return []
