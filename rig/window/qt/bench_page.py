"""The bench page: state, verdict, curves and series at one glance."""

from __future__ import annotations

import html

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QLabel, QLineEdit, QSizePolicy, QVBoxLayout

from rig.window.keys import Act, key_name, key_of
from rig.window.model import BenchModel, BenchState, Changed, Pull, SeriesOfPulls
from rig.window.qt.curves import CurvePlot
from rig.window.qt.page import Page
from rig.window.qt.series_row import SeriesRow
from rig.window.qt.theme import DARK, Theme
from rig.window.qt.verdict_panel import StateBand, VerdictPanel
from rig.window.views.panel import near_capacity, panel_of, question_panel, source_mark
from rig.window.views.pull import earlier_of, picture_of
from rig.window.views.series import card_of, series_entry, series_of, summary_of
from rig.window.views.verdict import live_view, window_text
from rig.words.bench import not_pulls_text
from rig.words.language import say
from rig.words.numbers import unit_name

SPANS_S = (5.0, 10.0, 20.0, 60.0)
LIVE_COLUMNS = 900
ANGLE_EVERY = 3
"""The curve over angle does not scroll, it only grows: at every third tick (10 a second) it does so smoothly enough."""
DIGITS_EVERY, DIGITS_EVERY_AT_REST = 8, 3
"""The torque in figures changes at every so many ticks (some 4 a second): faster nobody reads it. At rest ticks are slower."""


class BenchPage(Page):
    """Everything the person at the lever needs; nothing here must be touched.

    `series_picked` carries an earlier series, `noted` a series and the note on it.
    """

    picked = Signal(int)
    series_picked = Signal(object)
    noted = Signal(object, str)

    def __init__(self, model: BenchModel) -> None:
        super().__init__()
        self.setObjectName("bench page")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self._model = model
        self._theme, self._scale = DARK, 1.0
        self.span_s = 20.0
        self._ticks = 0
        self._judged = series_of(model)
        self._drawn: tuple[object, ...] = ()
        self.band = StateBand()
        self.job = QLabel()
        self.job.setObjectName("job line")
        self.job.setTextFormat(Qt.TextFormat.RichText)
        self.job.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Minimum)
        self.job.setWordWrap(True)
        self.job.hide()
        self.panel = VerdictPanel()
        self.which = QComboBox()
        self.which.setObjectName("which series")
        self.which.setAccessibleName(say("Series"))
        self.which.setFocusPolicy(Qt.FocusPolicy.NoFocus)  # Space is the pedal's
        self.which.setToolTip(say("The series in sight; earlier ones stay here ({key})", key=key_name(key_of(Act.EARLIER_SERIES))))
        self.which.activated.connect(lambda at: self.series_picked.emit(self._model.all_series[-1 - at]))
        self.note = QLineEdit()
        self.note.setObjectName("note on the series")
        self.note.setFocusPolicy(Qt.FocusPolicy.ClickFocus)  # never by chance: Space is the pedal's
        self.note.setPlaceholderText(say("note on this series ({key})", key=key_name(key_of(Act.NOTE_SERIES))))
        self.note.setAccessibleName(say("note on this series"))
        self.note.setToolTip(say("Kept with each recording of the series; Enter keeps it"))
        self.note.editingFinished.connect(self._note)
        self.note.returnPressed.connect(self.setFocus)
        self._noting: SeriesOfPulls | None = None
        self.caption = QLabel()
        self.caption.setObjectName("caption")
        self.caption.setWordWrap(True)
        self.caption.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Minimum)  # else a long one moves the panel
        self.over_time = CurvePlot(say("time [s]"))
        self.over_angle = CurvePlot(say("angle [°]"))
        self.series = SeriesRow()
        self.series.picked.connect(self.picked)
        right = QVBoxLayout()
        right.setSpacing(2)
        right.addWidget(self.which)
        right.addWidget(self.note)
        right.addWidget(self.caption)
        right.addWidget(self.over_time, 3)
        right.addWidget(self.over_angle, 2)
        middle = QHBoxLayout()
        middle.addWidget(self.panel, 9)
        middle.addLayout(right, 5)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(8, 8, 8, 8)
        layout.addWidget(self.band)
        layout.addWidget(self.job)
        layout.addLayout(middle, 1)
        layout.addWidget(self.series)

    def dress(self, theme: Theme, scale: float) -> None:
        """Use these colours and sizes."""
        self._theme, self._scale = theme, scale
        self.band.set_theme(theme, scale)
        self.panel.set_theme(theme)
        left = unit_name(self._model.unit.first)  # no more: the lower diagram is low
        for plot in (self.over_time, self.over_angle):
            plot.set_theme(theme, scale, left)
        self._drawn = ()
        self.refresh(Changed.PULLS | Changed.STATE | Changed.SCOPE)

    def show_job(self, line: tuple[str, str]) -> None:
        """The job that pulls are entered in, and what is still wanted; empty hides the line."""
        which, wanted = (html.escape(text) for text in line)
        self.job.setText(f"<b>{which}</b>&nbsp;&nbsp; {wanted}")
        self.job.setToolTip(line[1])
        self.job.setVisible(bool(which))

    def wider(self, by: int) -> None:
        """Show a longer (or shorter) stretch of the live picture."""
        at = SPANS_S.index(self.span_s) + by
        self.span_s = SPANS_S[min(len(SPANS_S) - 1, max(0, at))]
        self.refresh(Changed.SCOPE)

    def refresh(self, changed: Changed) -> None:
        """Show what the model holds now."""
        model = self._model
        shown = model.shown
        if changed != Changed.SCOPE:
            mark = say("EARLIER SERIES") if model.looking_back is not None else source_mark(model.series.source)
            self.band.show_state(model.state, window_text(model.window, model.unit), mark)
            self._judged = series_of(model)
        self._show_panel(shown, changed)
        self._show_note()
        if Changed.PULLS in changed:
            self._show_series()
        if shown is None:
            self._show_live(changed)
        else:
            self._show_pull(shown)

    def _show_panel(self, shown: Pull | None, changed: Changed) -> None:
        model = self._model
        self._ticks += 1
        question = model.stand.question
        if question is not None:
            self.panel.show_verdict(question_panel(question, model.unit))
        elif shown is None or model.state in (BenchState.PULLING, BenchState.EXERCISING):
            every = DIGITS_EVERY if model.state is BenchState.PULLING else DIGITS_EVERY_AT_REST
            if changed == Changed.SCOPE and self._ticks % every:
                return
            stop = near_capacity(model.peak_nm, model.stand.capacity_nm) and model.state is BenchState.PULLING
            self.panel.show_live(
                live_view(
                    model.now_nm, model.peak_nm, model.state, model.unit, model.exercised, stop=stop, pulled=bool(model.pulls)
                )
            )
        elif changed != Changed.SCOPE:
            self.panel.show_verdict(panel_of(model, shown, self._judged))
            if Changed.PULLS in changed and self.isVisible():
                self.panel.repaint()  # what the person waits for comes before curves and cards

    def _show_note(self) -> None:
        """The note on the series in sight; one that is being typed is kept for the series it was begun for."""
        series = self._model.series
        if series is not self._noting:
            self._note()
            self._noting = series
            self.note.setText(series.remark)

    def _note(self) -> None:
        typed = self.note.text().strip()
        if self._noting is not None and typed != self._noting.remark:
            self.noted.emit(self._noting, typed)

    def _show_series(self) -> None:
        model = self._model
        series = model.all_series[::-1]
        names = [series_entry(each) for each in series]
        if names != [self.which.itemText(at) for at in range(self.which.count())]:
            self.which.clear()
            self.which.addItems(names)
        self.which.setCurrentIndex(next(at for at, each in enumerate(series) if each is model.series))
        apart = dict(self._judged.apart)
        cards = [card_of(pull, model.unit, apart=i in apart) for i, pull in enumerate(model.pulls)]
        summary = summary_of(model.pulls, model.unit, model.window, series=self._judged)
        self.series.show_series(self._theme, self._scale, summary, cards, model.looking_at)

    def _show_live(self, changed: Changed) -> None:
        turning = self._model.state is BenchState.PULLING and self._ticks % ANGLE_EVERY == 0
        with_angle = changed != Changed.SCOPE or turning
        columns = min(LIVE_COLUMNS, self.over_time.width())  # finer than its pixels no curve is seen
        live = self._model.live(self.span_s, columns, with_angle=with_angle)
        both_ways = live.low < -0.5 * live.high
        if self._drawn[:1] != ("live",):
            for plot in (self.over_time, self.over_angle):
                plot.clear_graph()
                plot.show_earlier(())
        drawn = ("live", self._model.band(), both_ways, self.span_s, sum(self._model.stand.not_pulls.values()))
        if drawn != self._drawn:
            self._drawn = drawn
            self.caption.setText(
                say("live: the last {span} s", span=f"{self.span_s:g}") + not_pulls_text(self._model.stand.not_pulls)
            )
            for plot in (self.over_time, self.over_angle):
                plot.show_band(self._model.band(), both_ways=both_ways)
        self.over_time.show_curve(live.over_time)
        self.over_time.look_at(-self.span_s, 0.0, live.low, live.high)
        if with_angle:
            self.over_angle.show_curve(live.over_angle)
            self.over_angle.look_at(*live.turned, live.low, live.high)

    def _show_pull(self, pull: Pull) -> None:
        drawn = ("pull", pull, self._model.band(), self._model.unit)
        if drawn == self._drawn:
            return
        self._drawn = drawn
        self.caption.setText(say("pull {number} of {all}", number=pull.number, all=self._model.pulls[-1].number))
        picture = picture_of(pull, self._model.unit)
        low, high = self._model.range_of(picture.over_time.curve)
        for plot, beneath in zip(
            (self.over_time, self.over_angle), earlier_of(self._model.pulls, pull, 1, self._model.unit), strict=True
        ):
            plot.show_earlier(beneath)
        for plot, graph in ((self.over_time, picture.over_time), (self.over_angle, picture.over_angle)):
            plot.show_band(self._model.band())
            if graph is None:
                plot.clear_graph()
            else:
                plot.show_graph(graph)
            plot.look_at(*(graph.span if graph else (-5.0, 95.0)), low, high)
