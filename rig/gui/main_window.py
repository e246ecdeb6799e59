"""The window: a rail of pages, the trouble strip, the keys. It asks the model 30 times a second and never waits."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

from PySide6.QtCore import QEvent, QObject, Qt, QTimer
from PySide6.QtGui import QCloseEvent, QKeyEvent, QKeySequence, QResizeEvent, QShortcut
from PySide6.QtWidgets import (
    QAbstractSpinBox,
    QApplication,
    QComboBox,
    QHBoxLayout,
    QLineEdit,
    QPlainTextEdit,
    QStackedWidget,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from analysis.errors import BenchError
from drivers.profile import DeviceProfile
from rig.benches import Benches, Opened
from rig.benchmodel import UNIT_CHOICES, BenchModel, BenchPort, BenchState, Changed, Pull
from rig.gui.bench_page import BenchPage
from rig.gui.cautions_page import CautionsPage
from rig.gui.strip import TroubleStrip, WorkStrip
from rig.gui.theme import THEMES, Theme, style_sheet
from rig.language import say
from rig.remembered import Remembered

TICK_MS = 33
DESIGN_HEIGHT = 800


class Page(Protocol):
    """What the window asks of a page."""

    def dress(self, theme: Theme, scale: float) -> None:
        """Use these colours and sizes."""
        ...

    def refresh(self, changed: Changed) -> None:
        """Show what the model holds now."""
        ...


@dataclass(frozen=True, slots=True)
class Hands:
    """What the window may do beyond showing: handed in by the application, so that tests can hand in their own."""

    benches: Benches | None = None
    sound: Callable[[Pull], None] = lambda pull: None
    remember: Callable[[Remembered], None] = lambda what: None
    asked_to_end: Callable[[], bool] = lambda: False


class MainWindow(QWidget):
    """The bench window. `remembered` says how it looks at the start."""

    def __init__(self, model: BenchModel, remembered: Remembered, hands: Hands, *, cautions: bool = True) -> None:
        super().__init__()
        self.setObjectName("window")
        self.setWindowTitle("platepull")
        self.model = model
        self._remembered = remembered
        self._hands = hands
        self._scale = 1.0
        self.opened: Opened | None = None
        self.strip = TroubleStrip()
        self.strip.read.connect(self._trouble_read)
        self.work = WorkStrip()
        self.pages = QStackedWidget()
        self.cautions = CautionsPage()
        self.cautions.understood.connect(self.show_bench)
        self.bench = BenchPage(model)
        self.bench.picked.connect(self._look_at)
        self._rail = QVBoxLayout()
        self._buttons: dict[QWidget, QToolButton] = {}
        self._lay_out()
        self._bind_keys()
        self.pages.setCurrentWidget(self.cautions if cautions else self.bench)
        self.dress()
        self._timer = QTimer(self)
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        self._timer.timeout.connect(self.tick)
        self._timer.start(TICK_MS)

    # layout and looks

    def _lay_out(self) -> None:
        ground = QWidget()
        ground.setObjectName("railground")
        ground.setLayout(self._rail)
        self._rail.setContentsMargins(0, 0, 0, 0)
        self._rail.setSpacing(0)
        self.pages.addWidget(self.cautions)
        self._add_page(self.bench, "F2", say("Bench"), say("State, verdict, curves and series"))
        self._rail.addStretch(1)
        right = QVBoxLayout()
        right.setContentsMargins(0, 0, 0, 0)
        right.setSpacing(0)
        for widget in (self.strip, self.work):
            right.addWidget(widget)
        right.addWidget(self.pages, 1)
        layout = QHBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(0)
        layout.addWidget(ground)
        layout.addLayout(right, 1)

    def _add_page(self, page: QWidget, key: str, name: str, tip: str) -> None:
        self.pages.addWidget(page)
        button = self._rail_button(key, name, tip)
        button.setCheckable(True)
        button.clicked.connect(lambda: self.show_page(page))
        self._buttons[page] = button
        self._key(key, lambda: self.show_page(page))

    def _rail_button(self, key: str, name: str, tip: str) -> QToolButton:
        button = QToolButton()
        button.setObjectName("rail")
        button.setText(f"{key}\n{name}")
        button.setToolTip(f"{tip} ({key})")
        button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self._rail.addWidget(button)
        return button

    def dress(self) -> None:
        """Put the theme and the sizes on everything."""
        theme = THEMES.get(self._remembered.theme, THEMES["dark"])
        self._scale = min(2.6, max(0.7, self.height() / DESIGN_HEIGHT))
        self.setStyleSheet(style_sheet(theme, self._scale))
        for button in self.findChildren(QToolButton, "rail"):
            button.setFixedWidth(round(112 * self._scale))
        self.cautions.dress(theme, self._scale)
        for page in self._buttons:
            page.dress(theme, self._scale)  # type: ignore[attr-defined]

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802  Qt's name
        """Type grows with the window."""
        super().resizeEvent(event)
        if abs(self._scale - min(2.6, max(0.7, self.height() / DESIGN_HEIGHT))) > 0.01:
            self.dress()

    # keys

    def _key(self, key: str, act: Callable[[], object]) -> None:
        shortcut = QShortcut(QKeySequence(key), self)
        shortcut.activated.connect(act)

    def _bind_keys(self) -> None:
        self._key("Esc", self._escape)
        self._key("F7", self.model_zero)
        self._key("F8", self.turn_sound)
        self._key("F9", self.turn_unit)
        self._key("F10", self.turn_theme)
        self._key("F11", self.turn_full_screen)
        app = QApplication.instance()
        if app is not None:
            app.installEventFilter(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802  Qt's name
        """Space and page keys come from a foot pedal too, so they act wherever the focus is, except where text is typed."""
        if event.type() == QEvent.Type.KeyPress and isinstance(event, QKeyEvent) and watched is self.focusWidget():
            return self._pedal(event)
        return super().eventFilter(watched, event)

    def _pedal(self, event: QKeyEvent) -> bool:
        focus = self.focusWidget()
        if isinstance(focus, QLineEdit | QPlainTextEdit | QAbstractSpinBox | QComboBox):
            return False
        match event.key():
            case Qt.Key.Key_Space:
                if isinstance(focus, QWidget) and focus.inherits("QAbstractButton"):
                    return False
                self.pedal()
            case Qt.Key.Key_PageUp:
                self._step(-1)
            case Qt.Key.Key_PageDown:
                self._step(1)
            case Qt.Key.Key_Plus:
                self.bench.wider(-1)
            case Qt.Key.Key_Minus:
                self.bench.wider(1)
            case _:
                return False
        return True

    def pedal(self) -> None:
        """The one key of a foot pedal: from the cautions to the bench; there, from the newest pull to the live picture and back."""
        if self.pages.currentWidget() is not self.bench:
            self.show_bench()
        else:
            self.model.turn_over()
            self._refresh(Changed.PULLS | Changed.STATE)

    def _escape(self) -> None:
        if self.model.troubles:
            self._trouble_read()
        else:
            self.show_bench()

    # wishes

    def show_page(self, page: QWidget) -> None:
        """Go to a page."""
        self.pages.setCurrentWidget(page)
        page.setFocus()
        self._refresh(Changed.PULLS | Changed.STATE | Changed.SCOPE)

    def show_bench(self) -> None:
        """Go to the bench page."""
        self.show_page(self.bench)

    def _look_at(self, number: int) -> None:
        self.model.look_at(number)
        self._refresh(Changed.PULLS)

    def _step(self, by: int) -> None:
        self.model.step(by)
        self._refresh(Changed.PULLS)

    def _trouble_read(self) -> None:
        self.model.dismiss()
        self.strip.show_troubles(self.model.troubles)

    def model_zero(self) -> None:
        """Learn the zero anew."""
        if self.model.bench is not None:
            self.model.bench.zero_now()

    def open_line(self, profile: DeviceProfile) -> None:
        """Open the line of a profile; what is wrong with it is told on the strip."""
        self._open(lambda benches, number: benches.line(profile, self.model.window, self.model.rule, number))

    def open_recording(self, path: Path) -> None:
        """Open a recording in this same window."""
        self._open(lambda benches, number: benches.recording(path, self.model.window, self.model.rule, number))

    def _open(self, how: Callable[[Benches, int], Opened]) -> None:
        benches = self._hands.benches
        if benches is None:
            return

        def make(number: int) -> BenchPort:
            self.opened = how(benches, number)
            return self.opened.bench

        self.opened = None
        try:
            self.model.open(make)
        except BenchError as fault:
            self.model.tell(fault.what, fault.where, fault.mend)
        self._refresh(Changed.PULLS | Changed.STATE | Changed.SCOPE)

    def turn_sound(self) -> None:
        """Sound on or off."""
        self._keep(replace(self._remembered, sound=not self._remembered.sound))

    def turn_unit(self) -> None:
        """The next unit: N.m, lbf.ft, both."""
        at = UNIT_CHOICES.index(self.model.unit) if self.model.unit in UNIT_CHOICES else -1
        self.model.unit = UNIT_CHOICES[(at + 1) % len(UNIT_CHOICES)]
        self._keep(replace(self._remembered, unit=self.model.unit.first, second_unit=self.model.unit.second))
        self.dress()

    def turn_theme(self) -> None:
        """Dark or light."""
        self._keep(replace(self._remembered, theme="light" if self._remembered.theme == "dark" else "dark"))
        self.dress()

    def turn_full_screen(self) -> None:
        """Full screen or not."""
        self.setWindowState(self.windowState() ^ Qt.WindowState.WindowFullScreen)

    def _keep(self, what: Remembered) -> None:
        self._remembered = what
        try:
            self._hands.remember(what)
        except OSError as fault:
            self.model.tell(say("the window's choices could not be kept ({why})", why=fault), mend=say("check the config folder"))

    # the clock

    def tick(self) -> None:
        """Take what is new and show it."""
        if self._hands.asked_to_end():
            self.close()
            return
        changed = self.model.poll()
        if changed & Changed.STATE and self.model.state is BenchState.PULLING:
            self.show_bench()
        for pull in self.model.take_judged():
            if self._remembered.sound:
                self._hands.sound(pull)
        if changed:
            self._refresh(changed)

    def _refresh(self, changed: Changed) -> None:
        page = self.pages.currentWidget()
        for known, button in self._buttons.items():
            button.setChecked(known is page)
        self.strip.show_troubles(self.model.troubles)
        if page is not self.cautions:
            page.refresh(changed)  # type: ignore[union-attr]

    def closeEvent(self, event: QCloseEvent) -> None:  # noqa: N802  Qt's name
        """Closing during a pull loses nothing: the bench closes the pull and its file first."""
        self._timer.stop()
        self.model.close()
        app = QApplication.instance()
        if app is not None:
            app.removeEventFilter(self)
        super().closeEvent(event)
