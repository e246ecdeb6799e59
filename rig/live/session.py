"""Session: steps items of a source into news: record, find pulls, read, judge. No thread, clock or screen inside."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from analysis.judgement import DecisionRule, SeriesResult, Verdict
from analysis.pull.events import (
    FinderRules,
    NoPull,
    NoPullKind,
    PullAtRest,
    PullEnded,
    PullEvent,
    PullStarted,
    RestMoved,
    TurnedFree,
)
from analysis.pull.reading import read_pull
from analysis.results import PullResult, Sensor
from analysis.sensor.correction import apply_calibration
from analysis.sensor.zero_history import SensorLog, far_off
from analysis.trace import EMPTY, Trace
from analysis.verdict.judge import NOTHING_KNOWN, Known, judge_pull
from analysis.verdict.series import read_series
from analysis.verdict.votes import NOTHING_STATED, Pull, Stated, pull_of
from analysis.window import Window
from drivers.items import SourceItem
from rig.files.metadata import TraceInfo
from rig.live.exercise_watch import ExerciseWatch
from rig.live.news import (
    Failed,
    FreeTurnSeen,
    News,
    NotAPull,
    PullBegan,
    PullJudged,
    RestLevelExplained,
    RestLevelMoved,
    SeriesOver,
    ZeroFound,
)
from rig.live.pull_cutter import PullCutter
from rig.live.recorder import Recorder
from rig.live.rest_level import MOST_KEPT, ReadPull, RestLevel, amendments
from rig.live.taken import Taken, kept
from rig.live.wishes import CountFreeTurn, Describe, Exercise, ExplainRest, SetWindow, Wish, ZeroNow

# With 2.5 s before the pull in its file, a replay sees all of the rest that the finder's zero and noise come from (2 s), so it
# finds and reads the pull exactly as the live stream did.
LIVE_RULES = FinderRules(preroll_s=2.5)


def _not_read(number: int, error: Exception) -> Failed:
    return Failed(f"pull {number} could not be read ({error})", "analysis", "its file is kept; report this with the file")


class Session:
    """Feed it what a source yields; each `step` returns the news it brought, in order.

    sensor     what is known of the torque sensor; its capacity sets the finder's thresholds, its calibration is applied to all
               that is read and shown, not on what is recorded
    window     what pulls are judged against; None: read, not judged
    known      what is known before anybody pulls: scatter of the bench, conversions
    stated     what a person states of the pulls to come (`describe` changes it)
    recorder   writes each pull to a file; None: nothing is written
    calibration_flags   of a recording: what the bench said of the sensor then, in place of what this session sees of it
    count_free_turns    a turn in which nothing held is the pull, without asking (contract, 3)

    Recording comes first: `take` hands a piece to the recorder before anything looks at it, and may be called in the line's thread
    while the session's looks at an older one (`look`). What a disk refuses is told in the news, a fault of the analysis is `Failed`
    news; the stream goes on and the file stays.
    """

    def __init__(
        self,
        *,
        sensor: Sensor | None = None,
        window: Window | None = None,
        rule: DecisionRule = DecisionRule.GUARDED,
        known: Known = NOTHING_KNOWN,
        stated: Stated = NOTHING_STATED,
        recorder: Recorder | None = None,
        rules: FinderRules = LIVE_RULES,
        first_number: int = 1,
        calibration_flags: tuple[str, ...] | None = None,
        count_free_turns: bool = False,
    ) -> None:
        self.window = window
        self.rule = rule
        self.known = known
        self._stated = stated
        self.pulls = 0
        self._sensor = sensor or Sensor()
        # Pieces are corrected as they come, so the analysis gets them with the sensor as it then reads.
        self._in_use = apply_calibration(EMPTY, self._sensor)[1]
        self._log = SensorLog(self._in_use.capacity_nm, self._in_use.calibration)
        self._calibration_flags = calibration_flags
        self._exercise = ExerciseWatch(self._log)
        self._zero_due, self._zero_asked = True, False
        self._recorder = recorder
        if recorder is not None:
            recorder.info = replace(recorder.info, window=window)
            first_number = max(first_number, recorder.next_number)
        self._run = self._run_taken = 0
        self._newest_taken_s = -np.inf
        self._cutter = PullCutter(self._log.capacity_nm, rules)
        self._next_number = first_number
        self._newest_s = -np.inf
        self._last: ReadPull | None = None
        self._count_free_turns = count_free_turns
        self._free_turns: list[ReadPull] = []
        self._not_pulls: Counter[NoPullKind] = Counter()
        self._rest = RestLevel()
        self.corrected = EMPTY
        """The newest piece as it reads under the calibration: what a picture of the stream should show."""

    @property
    def pulling(self) -> bool:
        """Whether a pull is under way."""
        return self._cutter.pulling

    @property
    def zero_nm(self) -> float:
        """Torque at rest as the session sees it now, N.m."""
        return self._cutter.zero_nm

    @property
    def recorder(self) -> Recorder | None:
        """What writes the pulls."""
        return self._recorder

    def step(self, item: SourceItem) -> list[News]:
        """Take one item and look at it; pieces of a stream in rising time, line news as they come."""
        return self.look(self.take(item))

    def take(self, item: SourceItem) -> Taken | SourceItem:
        """Round a piece once and hand it to the recorder: what must wait for nothing. Line news pass as they are."""
        if not isinstance(item, Trace) or not len(item):
            return item
        piece = kept(item)
        self._run_taken += bool(piece.time_s[0] <= self._newest_taken_s)
        self._newest_taken_s = float(piece.time_s[-1])
        if self._recorder is not None:
            self._recorder.add(piece, self._run_taken)
        return Taken(piece, self._run_taken)

    def look(self, item: Taken | SourceItem | Failed) -> list[News]:
        """Look at what was taken: find pulls, read and judge them. An empty piece only asks what the recorder has to tell."""
        if isinstance(item, Trace):
            return self._recorded()
        if not isinstance(item, Taken):
            return [item]
        piece = item.piece
        news = self._restart(item.run) if item.run != self._run else []
        self._newest_s = float(piece.time_s[-1])
        self.corrected = apply_calibration(piece, self._sensor)[0]
        self._cutter.keep(piece, self.corrected)
        for event in self._cutter.find(self.corrected):
            news += self._on(event)
        news += self._look_at_rest()
        self._keep_what_may_be_one()
        self._cutter.trim()
        if self._recorder is not None:
            self._recorder.trim(self._cutter.keep_from_s)
        return news + self._recorded()

    def finish(self) -> list[News]:
        """The source has ended: close the pull that is open, if any, and tell what the zero did over the series."""
        news = self._close_pull()
        self._keep_what_may_be_one()
        news += self._recorded()
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
            case CountFreeTurn(counts, number):
                return self._answer_free_turn(number, counts=counts)
            case ExplainRest(lever_on):
                return self._explain_rest(lever_on=lever_on)

    def set_window(self, window: Window | None, rule: DecisionRule | None = None) -> list[News]:
        """Judge from now on against `window`; the last pull is judged anew and told again under its number."""
        self.window = window
        self.rule = rule or self.rule
        if self._recorder is not None:
            self._recorder.info = replace(self._recorder.info, window=window)
        if self._last is None:
            return []
        last = self._last
        return [self._told(last)]

    def together(self, pulls: Sequence[Pull]) -> SeriesResult:
        """The pulls as one series, held against the window of now."""
        known = self.known
        return read_series(pulls, self.window, rule=self.rule, known=known.scatter, convert=known.convert)

    def describe(self, info: TraceInfo) -> list[News]:
        """Write this with the pulls to come, its note on the series with the pull under way too; the window stays as it is."""
        self._stated = info.stated()
        if self._recorder is not None:
            self._recorder.info = replace(info, window=self.window)
            self._recorder.amend_open(series_remark=info.series_remark)
        return []

    def zero_now(self) -> list[News]:
        """Learn the zero anew from the stream that follows. Refused during a pull."""
        if self.pulling:
            return [Failed("no zero during a pull", "zero", "let go of the lever, then zero again")]
        self._cutter.forget()
        self._log.zeros_nm.clear()
        self._rest = RestLevel()
        self._zero_due, self._zero_asked = True, True
        return []

    @property
    def exercising(self) -> bool:
        """Whether loads are taken for exercise, not for pulls."""
        return self._exercise.on

    def exercise(self, on: bool = True) -> list[News]:
        """Loads exercise the sensor from now on: counted, not recorded or judged, until each way had enough or `on` is False.

        A new zero is learnt when it is over. Refused during a pull.
        """
        if self.pulling:
            return [Failed("no exercise during a pull", "exercise", "let go of the lever, then begin again")]
        if on:
            self._exercise.begin()
            return []
        self._exercise.end()
        return self.zero_now()

    def _close_pull(self) -> list[News]:
        return [news for event in self._cutter.finish() for news in self._on(event)]

    def _restart(self, run: int) -> list[News]:
        news = self._close_pull()
        self._cutter.restart()
        self._run = run
        if self._recorder is not None:
            self._recorder.restart(run)
        return news

    def _look_at_rest(self) -> list[News]:
        """What is due while nothing is on the lever: the zero, and the end of an exercise one way."""
        if not self._cutter.settled:
            return []
        if self._exercise.over_one_way(self._newest_s):
            return self.exercise(False)
        if not self._zero_due:
            return []
        self._zero_due, zero_nm = False, self._cutter.zero_nm
        self._rest.zero_nm = zero_nm
        return [ZeroFound(zero_nm, self._zero_asked, far_off(zero_nm, self._log.capacity_nm))]

    def _on_exercise(self, event: PullEvent) -> list[News]:
        if not isinstance(event, PullEnded):
            return []
        load = self._exercise.load(self._cutter.between(event.from_s, event.to_s), self._cutter.zero_nm)
        return [load, *(self.exercise(False) if load.over else [])]

    def _on(self, event: PullEvent) -> list[News]:
        if self._exercise.on:
            return self._on_exercise(event)
        match event:
            case PullStarted():
                number, so_far = self._next_number, self._cutter.begin(event.from_s)
                if self._recorder is not None and len(so_far):
                    self._recorder.begin(number, float(so_far.time_s[0]), with_angle=so_far.angle_deg is not None, sure=True)
                return [*self._recorded(), PullBegan(number, self._cutter.from_s)]
            case PullAtRest():
                return self._read(self._cutter.cut(event.to_s), final=False)
            case PullEnded():
                trace = self._cutter.cut(event.to_s)
                news = self._recording_ended(event.to_s)
                news += self._read(trace, final=True)
                self.pulls += 1
                self._next_number += 1
                self._cutter.end(event.to_s)
                return news
            case TurnedFree():
                return self._on_free_turn(event)
            case NoPull():
                if self._recorder is not None:
                    self._recorder.discard()
                news = self._recorded()
                self._not_pulls[event.kind] += 1
                # A zero that moved is asked about; it needs no word of its own.
                quiet = event.kind is NoPullKind.REST_MOVED
                return news if quiet else [*news, NotAPull(event.kind, event.torque_nm, self._not_pulls[event.kind])]
            case RestMoved():
                return self._on_rest_moved(event)

    # -- questions ----------------------------------------------------------------------------------------------------------------

    def _on_free_turn(self, event: TurnedFree) -> list[News]:
        trace = self._cutter.cut(event.to_s)
        news = self._recording_ended(event.to_s)
        number = self._next_number
        self._next_number += 1
        self._cutter.end(event.to_s)
        try:
            result = read_pull(trace, self._in_use, known=self._rest.known)
        except Exception as error:  # noqa: BLE001  a fault of ours in the analysis must not cost the bench the next pull
            return [*news, _not_read(number, error)]
        known = amendments(result, self._rest.known, 0.0)
        news += self._amend(number, free_turn=not self._count_free_turns or None, **known)
        turn = ReadPull(number, trace, result, self._file_of(number), self._rest.known, self._stated)
        if self._count_free_turns:
            return news + self._count(turn)
        self._free_turns = [*self._free_turns, turn][-MOST_KEPT:]
        return [*news, FreeTurnSeen(number, trace, turn.result, event.travel_deg, turn.file)]

    def _count(self, turn: ReadPull) -> list[News]:
        self.pulls += 1
        self._last = turn
        return [self._told(turn)]

    def _answer_free_turn(self, number: int | None, *, counts: bool) -> list[News]:
        asked = [turn for turn in self._free_turns if number is None or turn.number == number]
        if not asked:
            return [Failed("there is no free turn to answer for", "free turn", "turn the unit again, or pull")]
        turn = asked[-1]
        self._free_turns.remove(turn)
        if not counts:
            return []
        return self._amend(turn.number, free_turn=None) + self._count(turn)

    def _on_rest_moved(self, event: RestMoved) -> list[News]:
        by_nm = self._rest.step(event.from_nm, event.to_nm, self._cutter.told_limit_nm)
        return [RestLevelMoved(by_nm, event.from_nm, event.to_nm)]

    def _explain_rest(self, *, lever_on: bool) -> list[News]:
        """The level at rest moved for this reason: read the pulls since then again with it."""
        rest = self._rest
        if not rest.moved_nm:
            return [Failed("the level at rest has not moved", "zero", "press zero to learn it anew")]
        self._rest = rest.explained(lever_on=lever_on)
        self._log.zeros_nm.clear()
        news: list[News] = [RestLevelExplained(rest.moved_nm, lever_on)]
        for pull in rest.since:
            news += self._read_again(pull, rest.moved_nm if lever_on else 0.0)
        return news

    def _read_again(self, pull: ReadPull, lever_nm: float) -> list[News]:
        known = replace(pull.known, load_nm=pull.known.load_nm + lever_nm, moved_nm=0.0, explained=True)
        try:
            result = replace(read_pull(pull.trace, self._in_use, known=known), calibration_flags=pull.result.calibration_flags)
        except Exception as error:  # noqa: BLE001  a fault of ours in the analysis must not cost the bench the next pull
            return [_not_read(pull.number, error)]
        again = replace(pull, result=result, known=known)
        news = self._amend(pull.number, rest_load_nm=known.load_nm or None, rest_moved_nm=None, rest_explained=True)
        if self._last is not None and self._last.number == pull.number:
            self._last = again
        return [*news, self._told(again)]

    # -- reading ------------------------------------------------------------------------------------------------------------------

    def _read(self, trace: Trace, *, final: bool) -> list[News]:
        number, file = self._next_number, None
        news: list[News] = []
        try:
            known = self._rest.known
            result = read_pull(trace, self._in_use, known=known)
            if final:
                exercised_nm = self._log.exercised_nm(result.direction) if result.direction else 0.0
                seen = self._log.add_pull(result)
                result = replace(result, calibration_flags=seen if self._calibration_flags is None else self._calibration_flags)
                news = self._amend(number, **amendments(result, known, exercised_nm))
            verdict = self._verdict(result, self._stated)
        except Exception as error:  # noqa: BLE001  a fault of ours in the analysis must not cost the bench the next pull
            return [_not_read(number, error)]
        if final:
            file = self._file_of(number)
            self._last = ReadPull(number, trace, result, file, known, self._stated)
            self._rest.keep(self._last)
        return [*news, PullJudged(number, trace, result, verdict, file, final, self._stated)]

    def _told(self, pull: ReadPull) -> PullJudged:
        verdict = self._verdict(pull.result, pull.stated)
        file = self._file_of(pull.number) or pull.file  # it may have been written later than the pull was read
        return PullJudged(pull.number, pull.trace, pull.result, verdict, file, final=True, stated=pull.stated)

    def _verdict(self, result: PullResult, stated: Stated) -> Verdict | None:
        if self.window is None:
            return None
        pull, known = pull_of(result, stated), self.known
        return judge_pull(pull, self.window, self.rule, known=known.scatter, convert=known.convert)

    # -- recording ----------------------------------------------------------------------------------------------------------------

    def _keep_what_may_be_one(self) -> None:
        """Have a load written from its first moment, long before it is known for a pull: a power cut may come first.

        What turns out to be none is taken away again.
        """
        if self._recorder is None or self._cutter.pulling:
            return
        if not self._cutter.touched or self._exercise.on:
            if self._recorder.recording:
                self._recorder.discard()
        elif not self._recorder.recording:
            so_far = self._cutter.begin(self._cutter.keep_from_s)
            if len(so_far):
                number, with_angle = self._next_number, so_far.angle_deg is not None
                self._recorder.begin(number, float(so_far.time_s[0]), with_angle=with_angle, sure=False)

    def _recorded(self) -> list[News]:
        """What the recorder has to tell."""
        return [] if self._recorder is None else self._recorder.news()

    def _recording_ended(self, to_s: float) -> list[News]:
        if self._recorder is not None:
            self._recorder.end(to_s)
        return self._recorded()

    def _file_of(self, number: int) -> Path | None:
        return None if self._recorder is None else self._recorder.file_of(number)

    def _amend(self, number: int, **known: object) -> list[News]:
        if self._recorder is not None:
            self._recorder.amend(number, **known)
        return self._recorded()
