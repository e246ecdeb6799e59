"""BenchModel: what the window shows now. Polls the stands when asked; knows no Qt, starts no thread.

There are two stands: the bench with the line, and beside it, where a recording is replayed, one of its own. The line stays open
while a recording is in sight. A window calls `poll()` at its own pace (30 times a second) and then asks.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from analysis.errors import BenchError
from analysis.judgement import DecisionRule
from analysis.verdict.judge import NOTHING_KNOWN, Known
from analysis.window import Window
from rig.live.news import Exercised
from rig.live.wishes import SetWindow
from rig.window.axes import scaled
from rig.window.decimation import Curve
from rig.window.live_picture import Live, range_of
from rig.window.notices import Notice, Notices
from rig.window.series import WHOLE_TRACES, Pull, SeriesOfPulls, Source
from rig.window.stand import BenchState, Changed, Stand
from rig.words.units import NEWTON_METRES, UnitChoice

if TYPE_CHECKING:
    from analysis.trace import Trace
    from rig.live.runner import Bench

__all__ = ["BenchModel", "BenchState", "Changed", "Notice", "Pull", "SeriesOfPulls", "Source"]


class BenchModel:
    """The stands, the series so far, and the window (of torque) that is the only one there is."""

    def __init__(
        self,
        bench: Bench | None = None,
        *,
        window: Window | None = None,
        rule: DecisionRule = DecisionRule.GUARDED,
        known: Known = NOTHING_KNOWN,
        unit: UnitChoice = NEWTON_METRES,
        source: Source = Source.BENCH,
        whole_traces: int = WHOLE_TRACES,
    ) -> None:
        self._window = window
        self.rule = rule
        self.known = known
        self._unit = unit
        self._whole_traces = whole_traces
        self.notices = Notices()
        self.earlier: list[SeriesOfPulls] = []
        """Series that are over, the oldest first; selectable, and never joined."""
        self.looking_back: SeriesOfPulls | None = None
        """One of them that is in sight in place of the present one; a pull that begins brings the present one back."""
        self.line = Stand(self._series(source), self.notices, unit=unit.first)
        self.replay: Stand | None = None
        if bench is not None:
            self.line.connect(bench)

    def _series(self, source: Source, name: str = "", conditions: dict[str, str] | None = None) -> SeriesOfPulls:
        series = SeriesOfPulls(name, source, conditions)
        series.judge_by(self._window, self.rule, self.known)
        return series

    # what comes in

    def open(self, make: Callable[[int], Bench], source: Source = Source.BENCH) -> None:
        """Listen to another line from now on; the one before is closed first, its last news taken.

        A line of another source (the simulated bench) begins a series of its own. `make` gets the number of the next pull; what it
        raises leaves the model without a line.
        """
        self.back_to_bench()
        self.look_back(None)
        self.line.disconnect()
        if source is not self.line.source:
            self._begin(self.line, source)
        bench = make(self.line.next_number)
        bench.ask(SetWindow(self.window, self.rule))
        self.line.connect(bench)

    def open_replay(self, make: Callable[[int], Bench], name: str, own_window: Callable[[], Window | None] = lambda: None) -> None:
        """Replay a recording beside the line, in a series of its own; the line stays open. What `make` raises changes nothing.

        Where no window is set, the recording's own counts while it is in sight.
        """
        bench = make(1)
        self.back_to_bench()
        self.look_back(None)
        self.replay = Stand(self._series(Source.REPLAY, name), self.notices, unit=self.unit.first)
        self.replay.connect(bench)
        if self._window is None:
            self.replay.own_window = own_window()
            self.replay.series.judge_by(self.replay.own_window, self.rule, self.known)
        else:
            bench.ask(SetWindow(self.window, self.rule))

    def back_to_bench(self) -> None:
        """The recording is closed, its series kept; the bench is in sight again."""
        self.look_back(None)
        if self.replay is not None:
            self.replay.disconnect()
            if len(self.replay.series):
                self.earlier.append(self.replay.series)
            self.replay = None

    def close(self) -> None:
        """Close line and recording; a pull under way is kept."""
        self.back_to_bench()
        self.line.disconnect()

    def poll(self) -> Changed:
        """Take what the benches have told since the last call; what the one out of sight told is not shown at once."""
        changed = self.line.poll()
        if self.looking_back is not None and not self.stand.held and Changed.STATE | Changed.PULLS in changed:
            self.looking_back = None
        if self.replay is not None:
            changed = self.replay.poll() | (changed & Changed.NOTICES)
        if Changed.PULLS in changed:
            self._thin()
        return changed

    def _thin(self) -> None:
        """Of all series together only the newest pulls keep every sample, and the one looked at: short series are bounded too."""
        left, shown = self._whole_traces, self.shown
        replayed = [] if self.replay is None else [self.replay.series]
        for series in (*replayed, self.line.series, *reversed(self.earlier)):
            series.thin_all_but(max(0, left), shown)
            left -= len(series)

    def put_back(self, series: SeriesOfPulls, number: int, trace: Trace) -> None:
        """A pull of that series has every sample again; the one looked at before it is thinned."""
        series.put_back(number, trace)
        self._thin()

    # what the person wants

    def tell(self, what: str, where: str = "", remedy: str = "", *, good: bool = False) -> None:
        """Show a notice that arose in the window itself."""
        self.notices.add(Notice(what, where, remedy, good=good))

    def tell_fault(self, fault: BenchError) -> None:
        """Show a notice of what went wrong."""
        self.tell(fault.what, fault.where, fault.remedy)

    def set_window(self, window: Window | None, rule: DecisionRule | None = None) -> None:
        """Judge every pull of the series in sight against this window, and those to come."""
        self._window, self.rule = window, rule or self.rule
        for stand in (self.line, self.replay):
            if stand is not None:
                if stand.bench is not None:
                    stand.bench.ask(SetWindow(window, self.rule))
                stand.series.judge_anew(window, self.rule, self.known)

    def answer(self, *, first: bool) -> None:
        """Answer the bench's newest question."""
        self.stand.answer(first=first)

    def new_series(self, name: str = "", conditions: dict[str, str] | None = None) -> None:
        """Begin a series of its own on the line; the one before stays selectable and its files stay where they are."""
        self._begin(self.line, self.line.source, name, conditions)

    def _begin(self, stand: Stand, source: Source, name: str = "", conditions: dict[str, str] | None = None) -> None:
        self.looking_back = None
        if len(stand.series):
            self.earlier.append(stand.series)
        stand.begin(self._series(source, name, conditions))

    @property
    def all_series(self) -> list[SeriesOfPulls]:
        """Every series there is, the oldest first; the last is the one under way."""
        return [*self.earlier, self.stand.series]

    def look_back(self, series: SeriesOfPulls | None) -> None:
        """Put an earlier series in sight; None, or the one under way: the present one again."""
        self.looking_back = None if series is self.stand.series else series
        self.stand.looking_at = self.stand.announced = None
        if self.looking_back is not None and self.looking_back.last is not None:
            self.stand.looking_at = self.looking_back.last.number

    def step_series(self, by: int) -> None:
        """Go so many series on (or back)."""
        series = self.all_series
        at = next(i for i, each in enumerate(series) if each is self.series) + by
        self.look_back(series[min(len(series) - 1, max(0, at))])

    def note(self, number: int, remark: str) -> None:
        """What the person noted of a pull of the series in sight."""
        self.series.note(number, remark)

    def exclude(self, number: int, reason: str | None) -> None:
        """Let a pull of the series in sight not count, with the reason; None counts it again."""
        self.series.exclude(number, reason)

    def look_at(self, number: int | None) -> None:
        """Put this pull on the screen; None: the live picture."""
        self.stand.looking_at = number
        if self.stand.announced == number:
            self.stand.announced = None

    def hold(self, held: bool) -> None:
        """While held, the pull looked at stays on the screen; a new one is only announced."""
        self.stand.held = held
        if not held:
            self.stand.announced = None

    def step(self, by: int) -> None:
        """Go so many pulls on (or back) and look at that one; from an earlier series on to a pull announced meanwhile."""
        if by > 0 and self.looking_back is not None and (announced := self.stand.announced) is not None:
            self.look_back(None)
            self.look_at(announced)
            return
        if self.pulls:
            numbers = [pull.number for pull in self.pulls]
            at = numbers.index(self.looking_at) if self.looking_at in numbers else len(numbers) - (by > 0)
            self.look_at(numbers[min(len(numbers) - 1, max(0, at + by))])

    def turn_over(self) -> None:
        """From the live picture to the newest pull, and back; from an earlier series to the bench."""
        if self.looking_back is not None:
            self.look_back(None)
            return
        self.look_at(None if self.looking_at is not None or not self.pulls else self.pulls[-1].number)

    # what is shown

    @property
    def window(self) -> Window | None:
        """The window that judges what is in sight."""
        if self.looking_back is not None:
            return self.looking_back.window
        return self._window if self._window is not None else self.stand.own_window

    @property
    def stand(self) -> Stand:
        """The stand in sight."""
        return self.line if self.replay is None else self.replay

    @property
    def bench(self) -> Bench | None:
        """The bench in sight."""
        return self.stand.bench

    @property
    def state(self) -> BenchState:
        """What the bench in sight is doing."""
        return self.stand.state

    @property
    def line_name(self) -> str:
        """The port or file in sight."""
        return self.stand.line_name

    @property
    def series(self) -> SeriesOfPulls:
        """The series in sight."""
        return self.looking_back or self.stand.series

    @property
    def pulls(self) -> list[Pull]:
        """Its pulls."""
        return self.series.pulls

    @property
    def exercised(self) -> Exercised | None:
        """The last load of an exercise."""
        return self.stand.exercised

    @property
    def looking_at(self) -> int | None:
        """Number of the pull on the screen; None: the live picture."""
        return self.stand.looking_at

    @property
    def now_nm(self) -> float | None:
        """The torque now."""
        return self.stand.live.now_nm

    @property
    def peak_nm(self) -> float | None:
        """The highest torque of the pull under way."""
        return self.stand.live.peak_nm

    @property
    def lacks(self) -> tuple[str, ...]:
        """Names of the conditions that are not stated now; each pull keeps those of its moment."""
        return self.line.lacks

    @lacks.setter
    def lacks(self, names: tuple[str, ...]) -> None:
        self.line.lacks = names

    @property
    def unit(self) -> UnitChoice:
        """The unit or units on the screen."""
        return self._unit

    @unit.setter
    def unit(self, unit: UnitChoice) -> None:
        self._unit = unit
        for stand in (self.line, self.replay):
            if stand is not None:
                stand.unit = unit.first

    @property
    def shown(self) -> Pull | None:
        """The pull looked at; None while the live picture is."""
        return self.series.get(self.looking_at)

    @property
    def last(self) -> Pull | None:
        """The newest pull."""
        return self.series.last

    def take_judged(self) -> list[Pull]:
        """Pulls in sight whose final verdict came since the last call, each once: for the sound.

        Those of the line that came while a recording was in sight are never played later.
        """
        judged = self.stand.judged
        for stand in (self.line, self.replay):
            if stand is not None:
                stand.judged = []
        return judged

    def take_asked(self) -> bool:
        """Whether the bench in sight has asked something since the last call: for the sound."""
        asked = self.stand.asked
        for stand in (self.line, self.replay):
            if stand is not None:
                stand.asked = False
        return asked

    def live(self, span_s: float, columns: int, *, with_angle: bool = True) -> Live:
        """The live curves over the last `span_s`."""
        return self.stand.live.curves(span_s, columns, self.window, self.unit.per_nm, with_angle=with_angle)

    def range_of(self, curve: Curve) -> tuple[float, float]:
        """Steady limits of the torque axis that show the curve and the window."""
        return range_of(curve, self.window, self.unit.per_nm)

    def band(self) -> tuple[float | None, float | None] | None:
        """The window's limits in the chosen unit, for drawing; None without a window."""
        return None if self.window is None else scaled(self.window, self.unit.per_nm)
