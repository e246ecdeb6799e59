"""The window: a rail of pages, a reserved place for notices, the keys. It asks the model 30 times a second and never waits."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from PySide6.QtCore import QRect, Qt, QTimer, Signal
from PySide6.QtGui import QCloseEvent, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QApplication, QHBoxLayout, QLayout, QVBoxLayout, QWidget

from rig.window.controller import Controller
from rig.window.keys import Act, Place, key_name, key_of
from rig.window.model import BenchState, Changed
from rig.window.qt.cautions_page import CautionsPage
from rig.window.qt.job_pages import JobPages
from rig.window.qt.key_filter import KeyFilter
from rig.window.qt.page import Page
from rig.window.qt.pages import ALL, Choices, PagedWindow
from rig.window.qt.rail import Rail, Shown
from rig.window.qt.replay_bar import ReplayBar
from rig.window.qt.strip import NoticeStrip
from rig.window.qt.theme import THEMES, style_sheet
from rig.window.views.replay import ReplaySteering
from rig.window.views.verdict import tone_word
from rig.words.language import say
from rig.words.numbers import unit_name

TICK_MS, CALM_TICK_MS = 33, 100
"""While nobody pulls only rest is to be seen: ten pictures a second are enough, and news wake the window at once."""
DESIGN_WIDTH, DESIGN_HEIGHT = 1180, 800
OPENING_SIZE = (1280, 800)
"""Of a window that was never placed by hand."""


class MainWindow(PagedWindow):
    """The bench window. `language_wanted` asks whoever made it for a window in another language."""

    painted = Signal()
    """The first frame is on the screen."""
    _woken = Signal()

    def __init__(self, controller: Controller, *, cautions: bool = True, place: QRect | None = None) -> None:
        super().__init__(controller)
        if place is None:
            self.resize(*OPENING_SIZE)
        else:
            self.setGeometry(place)
        self._was_painted = False
        self.setObjectName("window")
        self.setWindowTitle("platepull")
        self.strip, self.replay = NoticeStrip(), ReplayBar()
        self.cautions = CautionsPage()
        self.of_job = JobPages(controller, self.show_page)
        self._pages, self.rail = self._shown(), Rail()
        for shown in self.of_job.shown():
            self._joined(shown.act, shown.page())
        self._steered: object = None
        self._lay_out()
        self._connect()
        self._filter = KeyFilter(self, self._acts(), self._places)
        QApplication.instance().installEventFilter(self._filter)  # type: ignore[union-attr]
        self.dress()
        first: QWidget = self.cautions if cautions else self._remembered_page()
        self.pages.setCurrentWidget(first)
        first.setFocus()
        self._timer = QTimer(self)
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        self._timer.timeout.connect(self.tick)
        self._timer.start(TICK_MS)
        self._woken.connect(self.tick, Qt.ConnectionType.QueuedConnection)
        controller.lines.wake = self._woken.emit

    # layout and looks

    def _shown(self) -> tuple[Shown, ...]:
        """The pages in the order of the rail."""
        bench = say("State, verdict, curves and series")
        before = say("Arrangement, window, plates, oil and the rest; all optional")
        sides = say("Pulls before and after: compared, and every one listed")
        pack = say("Plates, springs and shims; the choice that lands in the window")
        sensor = say("Calibrate it, guess a device's format, check the machine")
        guide = say("Building a bench, the first pull, reading a verdict and more")
        return (
            *self.of_job.shown(),
            Shown(Act.PAGE_BENCH, "bench page", lambda: self.bench, say("Bench"), bench),
            Shown(Act.PAGE_CONDITIONS, "conditions page", lambda: self.conditions, say("Before a pull"), before),
            Shown(Act.PAGE_PULL, "pull page", lambda: self.pull, say("Closer look"), say("One pull at leisure")),
            Shown(Act.PAGE_SIDES, "compare page", lambda: self.sides, say("Side by side"), sides),
            Shown(Act.PAGE_PACK, "pack page", lambda: self.pack, say("Pack"), pack),
            Shown(Act.PAGE_LINE, "line page", lambda: self.line, say("Line"), say("Ports, profile, raw rows, rate and losses")),
            Shown(Act.PAGE_SENSOR, "sensor page", lambda: self.sensor, say("Sensor"), sensor),
            Shown(Act.PAGE_GUIDE, "guide page", lambda: self.guide, say("Guide"), guide),
            Shown(Act.PAGE_KEYS, "keys page", lambda: self.keys, say("Keys"), say("All keys, language and looks")),
        )

    def _lay_out(self) -> None:
        self.pages.addWidget(self.cautions)
        for shown in self._pages:
            self.rail.add_page(shown, self._leads_to(shown))
        self.rail.add_space()
        self.rail.add_act(Act.NEW_SERIES, say("New series"), say("Begin a new series"), self._new_series)
        self.rail.add_act(Act.ZERO, say("Zero now"), say("Learn the zero anew"), self.controller.lines.zero_now)
        self._mute = self.rail.add_act(Act.SOUND, "", say("Sound on or off"), self._turn_sound)
        right = QVBoxLayout()
        right.setContentsMargins(0, 0, 0, 0)
        right.setSpacing(0)
        right.addWidget(self.pages, 1)
        right.addWidget(self.replay)
        right.addWidget(self.strip)
        layout = QHBoxLayout(self)
        # The type grows with the window; if the window also grew with the type, neither would ever rest.
        layout.setSizeConstraint(QLayout.SizeConstraint.SetNoConstraint)
        self.setMinimumSize(800, 500)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(0)
        layout.addWidget(self.rail)
        layout.addLayout(right, 1)

    def _choices(self) -> Choices:
        controller = self.controller

        def sound() -> str:
            means = controller.means.sounds.means if controller.means.sounds else say("none")
            return (say("Sound: on (F8)") if controller.preferences.now.sound else say("Sound: off (F8)")) + f"   [{say(means)}]"

        def tunes() -> str:
            played = controller.tried
            return say("Try the tunes") + ("" if played is None else f"   [{tone_word(played)}]")

        def unit() -> str:
            chosen = controller.model.unit
            names = unit_name(chosen.first) + (f" + {unit_name(chosen.second)}" if chosen.second else "")
            return say("Unit: {unit} (F9)", unit=names)

        return [
            (say("A tune for each verdict"), self._turn_sound, sound),
            (say("N·m, lbf·ft or both"), self._turn_unit, unit),
            (say("Dark or light"), self._turn_theme, lambda: say("Dark or light (F10)")),
            (say("Full screen or not"), self._turn_full_screen, lambda: say("Full screen (F11)")),
            (say("Each press plays the next tune"), controller.try_tune, tunes),
        ]

    def dress(self) -> None:
        """Put the theme and the sizes on everything; type grows with the window."""
        self._theme = theme = THEMES.get(self.controller.preferences.now.theme, THEMES["dark"])
        self._scale = self._fitting()
        self.setStyleSheet(style_sheet(theme, self._scale))
        self.rail.dress(self._scale)
        sound = say("Sound on") if self.controller.preferences.now.sound else say("Sound off")
        self._mute.setText(f"{key_name(key_of(Act.SOUND))}\n{sound}")
        self.strip.dress(self._scale)
        self.cautions.dress(theme, self._scale)
        for page in self._made:
            page.dress(theme, self._scale)

    def _fitting(self) -> float:
        """Scale of the type that fits the window; 1 at 1180 by 800."""
        return min(2.6, max(0.6, min(self.height() / DESIGN_HEIGHT, self.width() / DESIGN_WIDTH)))

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802  Qt's name
        """Qt asks."""
        super().paintEvent(event)
        if not self._was_painted:
            self._was_painted = True
            QTimer.singleShot(0, self.painted.emit)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802  Qt's name
        """Qt asks."""
        super().resizeEvent(event)
        if abs(self._fitting() - self._scale) > 0.004:
            self.dress()

    # keys and wishes

    def _connect(self) -> None:
        controller = self.controller
        self.strip.read.connect(self._notice_read)
        self.strip.stopped.connect(controller.reading.stop)
        self.strip.folder_wanted.connect(controller.lines.show_folder)
        self.cautions.understood.connect(self._begin_day)
        self.strip.again_wanted.connect(lambda: self._after(controller.lines.reopen))

    def _acts(self) -> dict[Act, Callable[[], object]]:
        """What each act of the key table does here."""
        return {
            **{shown.act: self._leads_to(shown) for shown in self._pages},
            **self.of_job.acts(self.show_bench),
            Act.PEDAL: self.pedal,
            Act.EARLIER: lambda: self._after(self.model.step, -1),
            Act.LATER: lambda: self._after(self.model.step, 1),
            Act.ZERO: self.controller.lines.zero_now,
            Act.SOUND: self._turn_sound,
            Act.UNIT: self._turn_unit,
            Act.THEME: self._turn_theme,
            Act.FULL_SCREEN: self._turn_full_screen,
            Act.LANGUAGE: lambda: self.language_wanted.emit(self.controller.looks.next_language()),
            Act.BACK: self._escape,
            Act.NEW_SERIES: self._new_series,
            Act.EARLIER_SERIES: lambda: self._after(self.model.step_series, -1),
            Act.LATER_SERIES: lambda: self._after(self.model.step_series, 1),
            Act.REOPEN: lambda: self._after(self.controller.lines.reopen),
            Act.NOTE: lambda: self.pull.note.setFocus(),
            Act.NOTE_SERIES: lambda: self.bench.note.setFocus(),
            Act.UNDO: lambda: self._after(self.controller.undo),
            Act.STILL_HOLDS: lambda: self._after(self.controller.entry.still_holds),
            Act.CLEAR: lambda: self._after(self.controller.entry.clear),
            Act.LONGER: lambda: self.bench.wider(1),
            Act.SHORTER: lambda: self.bench.wider(-1),
            Act.CURSOR_LEFT: lambda: self.pull.move_cursor(-1),
            Act.CURSOR_RIGHT: lambda: self.pull.move_cursor(1),
            Act.CURSOR_FAR_LEFT: lambda: self.pull.move_cursor(-10),
            Act.CURSOR_FAR_RIGHT: lambda: self.pull.move_cursor(10),
            Act.CLOSER: lambda: self.pull.closer(),
            Act.FARTHER: lambda: self.pull.farther(),
            Act.WHOLE: lambda: self.pull.look_at_whole(),
            Act.SPECTRUM: lambda: self.pull.show_spectrum.toggle(),
            Act.EARLIER_BENEATH: lambda: self.pull.show_earlier.toggle(),
            Act.EXCLUDE: lambda: self.pull.exclude_or_count(),
            Act.ANSWER_FIRST: partial(self._answer, first=True),
            Act.ANSWER_SECOND: partial(self._answer, first=False),
            Act.TAKE_LENGTH: lambda: self._after(self.controller.lengths.take),
            Act.BACK_LENGTH: lambda: self._after(self.controller.lengths.back),
            Act.NEXT_PART: lambda: self._after(self.controller.lengths.next_part),
            Act.PAUSE: self.replay.turn,
            Act.STEP: self.replay.step,
            Act.SLOWER: lambda: self.replay.change_speed(-1),
            Act.FASTER: lambda: self.replay.change_speed(1),
            Act.GUIDE_BACK: lambda: self.guide.turn(-1),
            Act.GUIDE_ON: lambda: self.guide.turn(1),
        }

    def _places(self) -> set[Place]:
        """Where a key acts now."""
        places = {Place.ANYWHERE}
        if self.in_sight is Act.PAGE_BENCH:
            places.add(Place.BENCH)
            if self.model.stand.question is not None:
                places.add(Place.QUESTION)
        if self.in_sight is Act.PAGE_PULL:
            places.add(Place.PULL)
        if self.in_sight is Act.PAGE_GUIDE:
            places.add(Place.GUIDE)
        if self.in_sight in (Act.PAGE_PACK, Act.PAGE_REFIT) and self.controller.lengths.entry is not None:
            places.add(Place.LENGTHS)
        elif self.model.replay is not None:
            places.add(Place.REPLAY)
        return places

    def pedal(self) -> None:
        """The one key of a foot pedal: to the bench; there, from the newest pull to the live picture and back."""
        if self.in_sight is Act.PAGE_BENCH:
            self.model.turn_over()
            self.refresh(Changed.PULLS)
        else:
            self.show_bench()

    def show_bench(self) -> None:
        """Go to the bench page."""
        self.show_page(self.bench)

    def _begin_day(self) -> None:
        """After the cautions: to the job, where the book is at hand and none is taken; else to the bench."""
        if self.controller.begins_with_job:
            self.show_page(self.of_job.jobs)
        else:
            self.show_bench()

    def show_page(self, page: Page) -> None:
        """Go to a page. On the closer look the pull in sight stays; a new one is announced there. Lengths measured are written."""
        if self.in_sight is Act.PAGE_PACK:
            self.controller.lengths.write()
        if self.in_sight is Act.PAGE_REFIT and page is not self.of_job.refit:
            self.controller.lengths.end()
        self.pages.setCurrentWidget(page)
        page.setFocus()
        self.model.hold(self.in_sight is Act.PAGE_PULL)
        self.controller.looks.note_page(page.objectName())
        self.refresh(ALL)

    def _remembered_page(self) -> Page:
        name = self.controller.preferences.now.page
        return next((shown.page() for shown in self._pages if shown.called == name), self.bench)

    def _escape(self) -> None:
        if self.controller.reading.work is not None:
            self.controller.reading.stop()
        elif self.model.notices.newest is not None:
            self._notice_read()
        elif self.model.looking_back is not None:
            self._after(self.model.look_back, None)
        elif Place.LENGTHS in self._places():
            self._measured()
        elif self.in_sight is Act.PAGE_BENCH and self.model.replay is not None:
            self._after(self.controller.lines.back_to_bench)
        else:
            self.show_bench()

    def _answer(self, *, first: bool) -> None:
        self.model.answer(first=first)
        self.refresh(ALL)

    def _notice_read(self) -> None:
        self._after(self.model.notices.read)

    def _new_series(self) -> None:
        self._after(self.controller.new_series)

    def _turn_sound(self) -> None:
        self.controller.looks.turn_sound()
        self.dress()

    def _turn_unit(self) -> None:
        self.controller.looks.turn_unit()
        self.dress()

    def _turn_theme(self) -> None:
        self.controller.looks.turn_theme()
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
        if Changed.PULLS in changed:
            self.conditions.pull_made()
            self.controller.write_late()
        self.controller.sound()
        self.controller.reading.tick()
        if self.controller.read_back():
            changed |= Changed.PULLS
        self.controller.sensor.tick()
        if self.controller.lengths.tick():
            changed |= Changed.STATE
        if self.controller.refit is not None and self.controller.refit.tick():
            changed |= Changed.STATE
        if self.controller.job is not None and self.controller.job.tick():
            self.bench.show_job(self.controller.job.bench_line)
            changed |= Changed.NOTICES | Changed.STATE
        if changed or self.in_sight is Act.PAGE_SENSOR:
            self.refresh(changed)
        else:
            self._show_strips()
        making = self._was_painted and self._make_another()
        pace = TICK_MS if making or self._moves else CALM_TICK_MS
        if pace != self._timer.interval():
            self._timer.setInterval(pace)

    @property
    def _moves(self) -> bool:
        """Whether what is in sight moves: a pull, an exercise, a recording, a step with sensor or bolts, work that goes on."""
        pulls = self.model.state in (BenchState.PULLING, BenchState.EXERCISING, BenchState.READING)
        works = self.controller.reading.work is not None or self.controller.reading_back.work is not None
        steps = self.in_sight in (Act.PAGE_SENSOR, Act.PAGE_REFIT)
        return pulls or works or steps or self.model.replay is not None

    def refresh(self, changed: Changed) -> None:
        """Show on the page in sight what the model holds."""
        if changed != Changed.SCOPE:  # a piece of the stream alone touches neither entry nor page
            if Act.PAGE_CONDITIONS in self._made.values():
                self.conditions.ask(self.controller.entry.asking)
                if self.conditions.conditions != self.controller.entry.shown:
                    self.conditions.take(self.controller.entry.shown)
            self.rail.select(self.in_sight)
        current = self.pages.currentWidget()
        if isinstance(current, Page):
            current.refresh(changed)
        self._show_strips()

    def _show_strips(self) -> None:
        work, folder = self.controller.reading.work, self.controller.lines.folder_text()
        self.strip.show_now(self.model.notices, None if work is None else (work.name, work.share), folder)
        opened = self.controller.lines.replayed
        replay = opened.replay if opened is not None else None
        if replay is not self._steered:
            self._steered = replay
            self.replay.steer(None if replay is None else ReplaySteering(replay))
        self.replay.refresh()

    def let_go(self) -> None:
        """Stop asking the model, as before another window takes over the controller."""
        self._timer.stop()
        self.controller.lines.wake = lambda: None
        QApplication.instance().removeEventFilter(self._filter)  # type: ignore[union-attr]

    def closeEvent(self, event: QCloseEvent) -> None:  # noqa: N802  Qt's name
        """Closing during a pull loses nothing: the bench closes the pull and its file first."""
        self.let_go()
        box = self.normalGeometry()
        self.controller.looks.note_place((box.x(), box.y(), box.width(), box.height()), maximised=self.isMaximized())
        self.controller.close()
        super().closeEvent(event)
