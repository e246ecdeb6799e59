"""The window: a rail of pages, the strips, the keys. It asks the model 30 times a second and never waits."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtGui import QCloseEvent, QKeySequence, QResizeEvent, QShortcut
from PySide6.QtWidgets import QApplication, QHBoxLayout, QLayout, QStackedWidget, QToolButton, QVBoxLayout, QWidget

from rig.window.controller import Controller
from rig.window.model import BenchState, Changed
from rig.window.qt.bench_page import BenchPage
from rig.window.qt.cautions_page import CautionsPage
from rig.window.qt.conditions_page import ConditionsPage
from rig.window.qt.keys_page import KeysPage
from rig.window.qt.line_page import LinePage
from rig.window.qt.pedal import Pedal
from rig.window.qt.pull_page import PullPage
from rig.window.qt.replay_bar import ReplayBar
from rig.window.qt.sides_page import SidesPage
from rig.window.qt.strip import TroubleStrip, WorkStrip
from rig.window.qt.theme import THEMES, style_sheet
from rig.window.views.replay import ReplaySteering
from rig.words.language import say
from rig.words.numbers import unit_name

TICK_MS = 33
DESIGN_WIDTH, DESIGN_HEIGHT = 1180, 800
ALL = Changed.PULLS | Changed.STATE | Changed.SCOPE | Changed.TROUBLE

AnyPage = BenchPage | PullPage | ConditionsPage | SidesPage | LinePage | KeysPage


class MainWindow(QWidget):
    """The bench window. `language_wanted` asks whoever made it for a window in another language."""

    language_wanted = Signal(str)

    def __init__(self, controller: Controller, *, cautions: bool = True) -> None:
        super().__init__()
        self.setObjectName("window")
        self.setWindowTitle("platepull")
        self.controller, self.model = controller, controller.model
        self._scale = 0.0
        self.strip, self.work, self.replay = TroubleStrip(), WorkStrip(), ReplayBar()
        self.pages = QStackedWidget()
        self.cautions = CautionsPage()
        self.bench = BenchPage(self.model)
        self.pull = PullPage(self.model)
        self.conditions = ConditionsPage(self.model, controller.conditions)
        self.sides = SidesPage(self.model)
        self.line = LinePage(self.model, lambda: controller.opened, controller.means.today)
        self.keys = KeysPage(self._choices())
        self._buttons: dict[AnyPage, QToolButton] = {}
        self._steered: object = None
        self._lay_out()
        self._connect()
        self._bind_keys()
        first: QWidget = self.cautions if cautions else self.bench
        self.pages.setCurrentWidget(first)
        first.setFocus()
        self.dress()
        self._timer = QTimer(self)
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        self._timer.timeout.connect(self.tick)
        self._timer.start(TICK_MS)

    # layout and looks

    def _lay_out(self) -> None:
        rail = QVBoxLayout()
        rail.setContentsMargins(0, 0, 0, 0)
        rail.setSpacing(0)
        ground = QWidget()
        ground.setObjectName("railground")
        ground.setLayout(rail)
        self.pages.addWidget(self.cautions)
        pages: tuple[tuple[AnyPage, str, str, str], ...] = (
            (self.bench, "F2", say("Bench"), say("State, verdict, curves and series")),
            (self.conditions, "F3", say("Before a pull"), say("Arrangement, window, plates, oil and the rest; all optional")),
            (self.pull, "F4", say("Closer look"), say("One pull at leisure")),
            (self.sides, "F5", say("Side by side"), say("Two sets of pulls overlaid and listed")),
            (self.line, "F6", say("Line"), say("Ports, profile, raw rows, rate and losses")),
            (self.keys, "F1", say("Keys"), say("All keys, language and looks")),
        )
        for page, key, name, tip in pages:
            self.pages.addWidget(page)
            self._buttons[page] = button = self._rail_button(key, name, tip, partial(self.show_page, page))
            button.setCheckable(True)
            rail.addWidget(button)
        rail.addStretch(1)
        self._zero = self._rail_button("F7", say("Zero now"), say("Learn the zero anew"), self.controller.zero_now)
        self._mute = self._rail_button("F8", "", say("Sound on or off"), self._turn_sound)
        for button in (self._zero, self._mute):
            rail.addWidget(button)
        right = QVBoxLayout()
        right.setContentsMargins(0, 0, 0, 0)
        right.setSpacing(0)
        for widget in (self.strip, self.work):
            right.addWidget(widget)
        right.addWidget(self.pages, 1)
        right.addWidget(self.replay)
        layout = QHBoxLayout(self)
        # The type grows with the window; if the window also grew with the type, neither would ever rest.
        layout.setSizeConstraint(QLayout.SizeConstraint.SetNoConstraint)
        self.setMinimumSize(800, 500)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(0)
        layout.addWidget(ground)
        layout.addLayout(right, 1)

    def _rail_button(self, key: str, name: str, tip: str, act: Callable[[], object]) -> QToolButton:
        button = QToolButton()
        button.setObjectName("rail")
        button.setText(f"{key}\n{name}")
        button.setToolTip(f"{tip} ({key})")
        button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        button.clicked.connect(lambda: act())
        self._key(key, act)
        return button

    def _choices(self) -> list[tuple[str, Callable[[], object], Callable[[], str]]]:
        controller = self.controller

        def sound() -> str:
            means = controller.means.sounds.means if controller.means.sounds else say("none")
            return (say("Sound: on (F8)") if controller.remembered.sound else say("Sound: off (F8)")) + f"   [{say(means)}]"

        def unit() -> str:
            chosen = controller.model.unit
            names = unit_name(chosen.first) + (f" + {unit_name(chosen.second)}" if chosen.second else "")
            return say("Unit: {unit} (F9)", unit=names)

        return [
            (say("A tune for each verdict"), self._turn_sound, sound),
            (say("N·m, lbf·ft or both"), self._turn_unit, unit),
            (say("Dark or light"), self._turn_theme, lambda: say("Dark or light (F10)")),
            (say("Full screen or not"), self._turn_full_screen, lambda: say("Full screen (F11)")),
        ]

    def dress(self) -> None:
        """Put the theme and the sizes on everything; type grows with the window."""
        theme = THEMES.get(self.controller.remembered.theme, THEMES["dark"])
        self._scale = self._fitting()
        self.setStyleSheet(style_sheet(theme, self._scale))
        for button in self.findChildren(QToolButton, "rail"):
            button.setFixedWidth(round(132 * self._scale))
        self._mute.setText("F8\n" + (say("Sound on") if self.controller.remembered.sound else say("Sound off")))
        self.cautions.dress(theme, self._scale)
        for page in self._buttons:
            page.dress(theme, self._scale)

    def _fitting(self) -> float:
        """Scale of the type that fits the window; 1 at 1180 by 800."""
        return min(2.6, max(0.6, min(self.height() / DESIGN_HEIGHT, self.width() / DESIGN_WIDTH)))

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802  Qt's name
        """Qt asks."""
        super().resizeEvent(event)
        if abs(self._fitting() - self._scale) > 0.004:
            self.dress()

    # keys and wishes

    def _connect(self) -> None:
        controller = self.controller
        self.strip.read.connect(self._trouble_read)
        self.work.stopped.connect(controller.stop_work)
        self.cautions.understood.connect(self.show_bench)
        self.bench.picked.connect(self._look_at)
        self.pull.excluded.connect(lambda number, reason: self._after(controller.exclude, number, reason or None))
        self.conditions.edited.connect(lambda conditions: self._after(controller.edit_conditions, conditions))
        self.sides.recordings_wanted.connect(controller.load)
        self.line.profile_wanted.connect(lambda path: self._after(controller.open_profile, path))
        self.line.recording_wanted.connect(lambda path: self._after(controller.open_recording, path))
        self.line.closed_wanted.connect(lambda: self._after(controller.close_line))
        self.line.zero_wanted.connect(controller.zero_now)
        self.line.exercise_wanted.connect(lambda: self._after(controller.exercise))
        self.keys.language_wanted.connect(self.language_wanted)

    def _key(self, key: str, act: Callable[[], object]) -> None:
        QShortcut(QKeySequence(key), self).activated.connect(lambda: act())

    def _bind_keys(self) -> None:
        for key, act in (
            ("Esc", self._escape),
            ("F9", self._turn_unit),
            ("F10", self._turn_theme),
            ("F11", self._turn_full_screen),
            ("F12", lambda: self.language_wanted.emit(self.controller.next_language())),
        ):
            self._key(key, act)
        self._pedal = Pedal(
            self,
            {
                Qt.Key.Key_Space: self.pedal,
                Qt.Key.Key_PageUp: lambda: self._step(-1),
                Qt.Key.Key_PageDown: lambda: self._step(1),
                Qt.Key.Key_P: self.replay.turn,
                Qt.Key.Key_Period: self.replay.step,
                Qt.Key.Key_BracketLeft: lambda: self.replay.change_speed(-1),
                Qt.Key.Key_BracketRight: lambda: self.replay.change_speed(1),
            },
        )
        QApplication.instance().installEventFilter(self._pedal)  # type: ignore[union-attr]

    def pedal(self) -> None:
        """The one key of a foot pedal: to the bench; there, from the newest pull to the live picture and back."""
        if self.pages.currentWidget() is self.bench:
            self.model.turn_over()
            self.refresh(Changed.PULLS)
        else:
            self.show_page(self.bench)

    def show_bench(self) -> None:
        """Go to the bench page."""
        self.show_page(self.bench)

    def show_page(self, page: AnyPage) -> None:
        """Go to a page."""
        self.pages.setCurrentWidget(page)
        page.setFocus()
        self.refresh(ALL)

    def _escape(self) -> None:
        if self.controller.work is not None:
            self.controller.stop_work()
        elif self.model.troubles:
            self._trouble_read()
        else:
            self.show_bench()

    def _after(self, act: Callable[..., object], *with_what: object) -> None:
        act(*with_what)
        self.refresh(ALL)

    def _look_at(self, number: int) -> None:
        self._after(self.model.look_at, number)

    def _step(self, by: int) -> None:
        self._after(self.model.step, by)

    def _trouble_read(self) -> None:
        self._after(self.model.dismiss)

    def _turn_sound(self) -> None:
        self.controller.turn_sound()
        self.dress()

    def _turn_unit(self) -> None:
        self.controller.turn_unit()
        self.dress()

    def _turn_theme(self) -> None:
        self.controller.turn_theme()
        self.dress()

    def _turn_full_screen(self) -> None:
        self.setWindowState(self.windowState() ^ Qt.WindowState.WindowFullScreen)

    # the clock

    def tick(self) -> None:
        """Take what is new and show it."""
        if self.controller.means.asked_to_end():
            self.close()
            return
        changed = self.model.poll()
        model = self.model
        hand_on_lever = model.state is BenchState.PULLING or (model.state is BenchState.EXERCISING and model.exercised is not None)
        if Changed.STATE in changed and hand_on_lever and self.pages.currentWidget() is self.cautions:
            self.show_page(self.bench)
        if Changed.PULLS in changed:
            self.conditions.pull_made()
        self.controller.sound()
        self.controller.tick_work()
        if changed:
            self.refresh(changed)
        else:
            self._show_strips()

    def refresh(self, changed: Changed) -> None:
        """Show on the page in sight what the model holds."""
        current = self.pages.currentWidget()
        for page, button in self._buttons.items():
            button.setChecked(page is current)
            if page is current:
                page.refresh(changed)
        self._show_strips()

    def _show_strips(self) -> None:
        self.strip.show_troubles(self.model.troubles)
        work = self.controller.work
        self.work.setVisible(work is not None)
        if work is not None:
            self.work.show_work(work.name, work.share)
        opened = self.controller.opened
        replay = opened.replay if opened is not None else None
        if replay is not self._steered:
            self._steered = replay
            self.replay.steer(None if replay is None else ReplaySteering(replay))
        self.replay.refresh()

    def let_go(self) -> None:
        """Stop asking the model, as before another window takes over the desk."""
        self._timer.stop()
        QApplication.instance().removeEventFilter(self._pedal)  # type: ignore[union-attr]

    def closeEvent(self, event: QCloseEvent) -> None:  # noqa: N802  Qt's name
        """Closing during a pull loses nothing: the bench closes the pull and its file first."""
        self.let_go()
        self.controller.close()
        super().closeEvent(event)
