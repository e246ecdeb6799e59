"""The closer look at one pull: curves with marks and cursor, spectrum on demand, earlier pulls beneath, all figures, set aside."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QComboBox, QFrame, QGridLayout, QHBoxLayout, QLabel, QLineEdit, QPushButton, QVBoxLayout

from rig.window.decimation import Curve
from rig.window.model import BenchModel, Changed, Pull
from rig.window.qt.curves import CurvePlot
from rig.window.qt.page import Page
from rig.window.qt.theme import DARK, Theme
from rig.window.views.pull import cursor_text, earlier_of, figures_of, picture_of, torque_spectrum
from rig.words.language import say
from rig.words.numbers import unit_name

REASONS = ("slipped off the lever", "clamp moved", "wrong arrangement", "sensor not at zero", "interrupted", "trial pull")
EARLIER = 8
ZOOM = 0.7
CURSOR_STEP = 0.004
"""Share of the visible span that one press of an arrow key moves the cursor."""


class PullPage(Page):
    """One pull at leisure. `excluded` carries number and reason ("" counts it again), `noted` number and note."""

    excluded = Signal(int, str)
    noted = Signal(int, str)

    def __init__(self, model: BenchModel) -> None:
        super().__init__()
        self.setObjectName("pull page")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self._model = model
        self._theme, self._scale = DARK, 1.0
        self._drawn: tuple[object, ...] = ()
        self._pull: Pull | None = None
        self.title = QLabel()
        self.title.setObjectName("title")
        self.readout = QLabel()
        self.readout.setObjectName("readout")
        self.over_time = CurvePlot(say("time after breakaway [s]"), cursor=True)
        self.over_angle = CurvePlot(say("angle after breakaway [°]"))
        self.spectrum = CurvePlot(say("frequency [Hz]"))
        self.spectrum.hide()
        self.over_time.cursor_moved.connect(self._cursor_at)
        self._cursor_x = 0.0
        self.show_spectrum = self._switch(say("Spectrum"), "S", say("Which frequencies the sliding stretch holds"))
        self.show_earlier = self._switch(
            say("Earlier pulls"), "O", say("Lay the pulls before this one beneath, breakaway on breakaway")
        )
        self.whole = QPushButton(say("Whole pull (0)"))
        self.whole.setToolTip(
            say("Look at the whole pull again; + and − look closer and from further away, arrows move the cursor")
        )
        self.whole.clicked.connect(self.look_at_whole)
        self.reason = QComboBox()
        self.reason.setEditable(True)
        self.reason.addItems([say(reason) for reason in REASONS])
        self.reason.setCurrentIndex(-1)
        self.reason.setPlaceholderText(say("why it does not count"))
        if (line := self.reason.lineEdit()) is not None:  # that of an editable box has a placeholder of its own
            line.setPlaceholderText(say("why it does not count"))
        self.reason.textActivated.connect(lambda _: self.exclude_or_count())
        self.reason.setToolTip(say("Why the pull does not count; pick one or write your own"))
        self.note = QLineEdit()
        self.note.setPlaceholderText(say("note on this pull (N)"))
        self.note.setAccessibleName(say("note on this pull"))
        self.note.setToolTip(say("Kept with the recording; Enter keeps it"))
        self.note.editingFinished.connect(self._note)
        self.note.returnPressed.connect(self.setFocus)
        self.exclude = QPushButton()
        self.exclude.setToolTip(say("The pull and its file stay; it only does not count in the series"))
        self.exclude.clicked.connect(self.exclude_or_count)
        self.figures = QGridLayout()
        self.figures.setColumnStretch(1, 1)
        self._labels: list[tuple[QLabel, QLabel]] = []
        self._lay_out()

    def _switch(self, name: str, key: str, tip: str) -> QPushButton:
        button = QPushButton(f"{name} ({key})")
        button.setCheckable(True)
        button.setToolTip(tip)
        button.toggled.connect(lambda: self._redraw())
        return button

    def _lay_out(self) -> None:
        tools = QHBoxLayout()
        for button in (self.show_spectrum, self.show_earlier, self.whole):
            tools.addWidget(button)
        tools.addWidget(self.note, 1)
        tools.addWidget(self.reason)
        tools.addWidget(self.exclude)
        self.nothing = QLabel(say("The curves and figures of one pull stand here as soon as there is one."))
        self.nothing.setWordWrap(True)
        curves = QVBoxLayout()
        curves.addWidget(self.nothing)
        curves.addWidget(self.over_time, 3)
        curves.addWidget(self.over_angle, 2)
        curves.addWidget(self.spectrum, 2)
        side = QFrame()
        side.setObjectName("panel")
        side_layout = QVBoxLayout(side)
        side_layout.addLayout(self.figures)
        side_layout.addStretch(1)
        self._side = side
        middle = QHBoxLayout()
        middle.addLayout(curves, 1)
        middle.addWidget(side)
        heading = QHBoxLayout()
        heading.addWidget(self.title)
        heading.addStretch(1)
        heading.addWidget(self.readout)
        layout = QVBoxLayout(self)
        layout.addLayout(heading)
        layout.addLayout(middle, 1)
        layout.addLayout(tools)

    def dress(self, theme: Theme, scale: float) -> None:
        """Use these colours and sizes."""
        self._theme, self._scale = theme, scale
        left = f"{say('torque')} [{unit_name(self._model.unit.first)}]"
        for plot in (self.over_time, self.over_angle, self.spectrum):
            plot.set_theme(theme, scale, left)
        self._side.setFixedWidth(round(330 * scale))
        words = max((say("why it does not count"), *map(say, REASONS)), key=self.reason.fontMetrics().horizontalAdvance)
        self.reason.setMinimumWidth(self.reason.fontMetrics().horizontalAdvance(words) + round(60 * scale))
        self.readout.setStyleSheet(f"font-size: {round(24 * scale)}px; font-weight: bold;")
        self._redraw()

    def refresh(self, changed: Changed) -> None:
        """Show the pull the model looks at, else the newest."""
        pull = self._model.shown or self._model.last
        drawn = (pull, self._model.band(), self._model.unit, self._model.stand.announced)
        if drawn != self._drawn:
            other = pull is None or self._pull is None or pull.number != self._pull.number
            self._drawn, self._pull = drawn, pull
            self._redraw()
            if other:
                self.look_at_whole()
                self.note.setText("" if pull is None else pull.remark)

    def _show_title(self, pull: Pull) -> None:
        new = self._model.stand.announced
        title = say("Pull {number}", number=pull.number)
        self.title.setText(title if new is None else f"{title}   ● " + say("new: pull {number} (Page Down)", number=new))

    def _redraw(self) -> None:
        pull = self._pull
        for widget in (self.note, self.over_time, self.show_spectrum, self.show_earlier, self.whole, self.reason, self.exclude):
            widget.setEnabled(pull is not None)
        for plot in (self.over_time, self.over_angle):
            plot.setVisible(pull is not None)  # empty axes would show numbers that nobody measured
        self.nothing.setVisible(pull is None)
        self.readout.setVisible(pull is not None)
        self._side.setVisible(pull is not None)  # the last pull's figures belong to the series that is over
        if pull is None:
            self.spectrum.hide()
            self.title.setText(say("No pull yet"))
            return
        unit = self._model.unit
        picture = picture_of(pull, unit)
        self._show_title(pull)
        self.over_time.show_graph(picture.over_time)
        self.over_time.show_band(self._model.band())
        self.over_angle.setVisible(picture.over_angle is not None)
        if picture.over_angle is not None:
            self.over_angle.show_graph(picture.over_angle)
            self.over_angle.show_band(self._model.band())
        self._draw_earlier(pull)
        self.spectrum.setVisible(self.show_spectrum.isChecked())
        if self.show_spectrum.isChecked():
            self._draw_spectrum(torque_spectrum(pull, unit))
        self.exclude.setText(say("Set aside (Del)") if pull.excluded is None else say("Count again (Del)"))
        self._list_figures(pull)
        self._cursor_at(self._cursor_x)

    def _draw_earlier(self, pull: Pull) -> None:
        most = EARLIER if self.show_earlier.isChecked() else 0
        over_time, over_angle = earlier_of(self._model.pulls, pull, most, self._model.unit) if most else ([], [])
        self.over_time.show_earlier(over_time)
        self.over_angle.show_earlier(over_angle)

    def _draw_spectrum(self, lines: Curve) -> None:
        self.spectrum.show_curve(lines)
        if lines.x.size:
            self.spectrum.look_at(0.0, min(250.0, float(lines.x[-1])), 0.0, 1.1 * max(1e-6, float(lines.y.max())))

    def _list_figures(self, pull: Pull) -> None:
        rows = figures_of(pull, self._model.unit)
        while len(self._labels) < len(rows):
            name, value = QLabel(), QLabel()
            name.setObjectName("soft")
            for column, label in enumerate((name, value)):
                label.setWordWrap(column == 1)
                label.setAlignment(Qt.AlignmentFlag.AlignTop)
                self.figures.addWidget(label, len(self._labels), column)
            self._labels.append((name, value))
        for at, labels in enumerate(self._labels):
            for label, text in zip(labels, rows[at] if at < len(rows) else ("", ""), strict=True):
                label.setText(text)
                label.setVisible(at < len(rows))

    def look_at_whole(self) -> None:
        """Look at the whole pull."""
        if self._pull is None:
            return
        picture = picture_of(self._pull, self._model.unit)
        low, high = self._model.range_of(picture.over_time.curve)
        self.over_time.look_at(*picture.over_time.span, low, high)
        if picture.over_angle is not None:
            self.over_angle.look_at(*picture.over_angle.span, low, high)

    def _cursor_at(self, x: float) -> None:
        self._cursor_x = x
        self.over_time.put_cursor(x)
        if self._pull is not None:
            self.readout.setText(cursor_text(self._pull, x, self._model.unit))

    def exclude_or_count(self) -> None:
        """Set the pull aside with the reason chosen, asking for it first; one that is set aside counts again."""
        if self._pull is None:
            return
        if self._pull.excluded is not None:
            self.excluded.emit(self._pull.number, "")
            return
        reason = self.reason.currentText().strip()
        if reason:
            self.reason.setCurrentIndex(-1)
            self.reason.clearEditText()
            self.setFocus()
            self.excluded.emit(self._pull.number, reason)
        else:
            self.reason.setFocus()
            self.reason.showPopup()

    def _note(self) -> None:
        if self._pull is not None and self.note.text().strip() != self._pull.remark:
            self.noted.emit(self._pull.number, self.note.text().strip())

    def move_cursor(self, steps: int) -> None:
        """Move the cursor so many steps."""
        self._cursor_at(self._cursor_x + steps * CURSOR_STEP * self.over_time.visible_span())

    def closer(self) -> None:
        """Zoom in."""
        self.over_time.zoom(ZOOM)

    def farther(self) -> None:
        """Zoom out."""
        self.over_time.zoom(1 / ZOOM)
