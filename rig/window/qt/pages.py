"""The pages of the window, each made when it is first wanted; the others are made after the first frame, a page a tick."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import TYPE_CHECKING, TypeVar

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QStackedWidget, QWidget

from rig.window.controller import Controller
from rig.window.keys import Act
from rig.window.model import Changed
from rig.window.qt.page import Page
from rig.window.qt.rail import Shown
from rig.window.qt.theme import THEMES

if TYPE_CHECKING:  # a page is loaded when it is made, the first one before the window is painted, the others after
    from rig.window.qt.bench_page import BenchPage
    from rig.window.qt.compare_page import ComparePage
    from rig.window.qt.conditions_page import ConditionsPage
    from rig.window.qt.guide_page import GuidePage
    from rig.window.qt.keys_page import KeysPage
    from rig.window.qt.line_page import LinePage
    from rig.window.qt.pack_page import PackPage
    from rig.window.qt.pull_page import PullPage
    from rig.window.qt.sensor_page import SensorPage

AnyPage = TypeVar("AnyPage", bound=Page)

ALL = Changed.PULLS | Changed.STATE | Changed.SCOPE | Changed.NOTICES
"""Everything may have changed."""

Choices = list[tuple[str, Callable[[], object], Callable[[], str]]]


class PagedWindow(QWidget):
    """A window that holds the pages, and joins what they ask for with the controller."""

    language_wanted = Signal(str)

    def __init__(self, controller: Controller) -> None:
        super().__init__()
        self.controller, self.model = controller, controller.model
        self.pages = QStackedWidget()
        self._made: dict[Page, Act] = {}
        self._pages: tuple[Shown, ...] = ()
        self._scale = 0.0
        self._theme = THEMES["dark"]

    def refresh(self, changed: Changed) -> None:
        """Show on the page in sight what the model holds."""
        raise NotImplementedError

    def show_page(self, page: Page) -> None:
        """Go to a page."""
        raise NotImplementedError

    def _choices(self) -> Choices:
        """What the keys page offers to choose."""
        raise NotImplementedError

    @cached_property
    def bench(self) -> BenchPage:
        """State, verdict, curves and series."""
        from rig.window.qt.bench_page import BenchPage

        page = self._joined(Act.PAGE_BENCH, BenchPage(self.model))
        page.picked.connect(self._look_at)
        page.series_picked.connect(lambda series: self._after(self.model.look_back, series))
        page.noted.connect(lambda series, remark: self._after(self.controller.note_series, series, remark))
        return page

    @cached_property
    def conditions(self) -> ConditionsPage:
        """What is stated before a pull."""
        from rig.window.qt.conditions_page import ConditionsPage

        entry = self.controller.entry
        page = self._joined(Act.PAGE_CONDITIONS, ConditionsPage(self.model, entry.shown))
        page.ask(entry.asking)
        page.edited.connect(lambda conditions: self._after(entry.edit, conditions))
        page.still_holds.connect(lambda: self._after(entry.still_holds))
        page.cleared.connect(lambda: self._after(entry.clear))
        page.card_wanted.connect(lambda path: self._after(entry.take_card, path))
        return page

    @cached_property
    def pull(self) -> PullPage:
        """One pull at leisure."""
        from rig.window.qt.pull_page import PullPage

        page = self._joined(Act.PAGE_PULL, PullPage(self.model))
        page.noted.connect(lambda number, remark: self._after(self.controller.note, number, remark))
        page.excluded.connect(lambda number, reason: self._after(self.controller.exclude, number, reason or None))
        return page

    @cached_property
    def sides(self) -> ComparePage:
        """Pulls before and after."""
        from rig.window.qt.compare_page import ComparePage

        page = self._joined(Act.PAGE_SIDES, ComparePage(self.model))
        page.recordings_wanted.connect(self.controller.load)
        page.series_wanted.connect(self.controller.take_series)
        page.page_wanted.connect(self.controller.write_page)
        return page

    @cached_property
    def pack(self) -> PackPage:
        """Plates, springs and shims."""
        from rig.window.qt.pack_page import PackPage

        desk = self.controller.pack
        page = self._joined(Act.PAGE_PACK, PackPage(self.controller.lengths, desk))
        page.sheet_wanted.connect(lambda path: desk.open(path, page.show_pack))
        page.again_wanted.connect(lambda: desk.open(None, page.show_pack))
        page.series_wanted.connect(self._series_into_pack)
        page.measuring_wanted.connect(self._measure_pack)
        lengths, panel = self.controller.lengths, page.panel
        panel.typed.connect(lambda char: self._after(lengths.type, char))
        panel.taken.connect(lambda: self._after(lengths.take))
        panel.backed.connect(lambda: self._after(lengths.back))
        panel.next_part_wanted.connect(lambda: self._after(lengths.next_part))
        panel.picked.connect(lambda at: self._after(lengths.go_to, at))
        panel.unit_turned.connect(lambda: self._after(lengths.turn_unit))
        panel.gauge_wanted.connect(lambda path: self._after(lengths.open_gauge, path))
        panel.done.connect(self._measured)
        return page

    @cached_property
    def line(self) -> LinePage:
        """Ports, profile, raw rows, rate and losses."""
        from rig.window.qt.line_page import LinePage

        lines = self.controller.lines
        page = self._joined(Act.PAGE_LINE, LinePage(self.model, lambda: lines.in_sight, self.controller.means.today))
        page.profile_wanted.connect(lambda path: self._after(lines.open_profile, path))
        page.recording_wanted.connect(lambda path: self._after(lines.open_recording, path))
        page.again_wanted.connect(lambda: self._after(lines.reopen))
        page.closed_wanted.connect(lambda: self._after(lines.close_line))
        page.zero_wanted.connect(lines.zero_now)
        page.exercise_wanted.connect(lambda: self._after(lines.exercise))
        return page

    @cached_property
    def sensor(self) -> SensorPage:
        """Calibration, guess, checks of the machine."""
        from rig.window.qt.sensor_page import SensorPage

        return self._joined(Act.PAGE_SENSOR, SensorPage(self.controller.sensor, lambda: self.controller.lines.profile_file))

    @cached_property
    def guide(self) -> GuidePage:
        """The guide."""
        from rig.window.qt.guide_page import GuidePage

        return self._joined(Act.PAGE_GUIDE, GuidePage())

    @cached_property
    def keys(self) -> KeysPage:
        """All keys, language and looks."""
        from rig.window.qt.keys_page import KeysPage

        page = self._joined(Act.PAGE_KEYS, KeysPage(self._choices()))
        page.language_wanted.connect(self.language_wanted)
        return page

    def _joined(self, act: Act, page: AnyPage) -> AnyPage:
        self._made[page] = act
        self.pages.addWidget(page)
        page.dress(self._theme, self._scale)
        return page

    def _leads_to(self, shown: Shown) -> Callable[[], None]:
        return lambda: self.show_page(shown.page())

    def all_pages(self) -> list[Page]:
        """The pages in the order of the rail; those that nobody has wanted yet are made."""
        return [shown.page() for shown in self._pages]

    def _make_another(self) -> bool:
        """Make the next page that nobody has wanted yet, so that none is waited for; whether there was one."""
        missing = next((shown for shown in self._pages if shown.act not in self._made.values()), None)
        if missing is not None:
            missing.page()
        return missing is not None

    @property
    def in_sight(self) -> Act | None:
        """The act that leads to the page in sight; None: the cautions."""
        current = self.pages.currentWidget()
        return self._made.get(current) if isinstance(current, Page) else None

    def _measure_pack(self) -> None:
        self.controller.pack.measure()
        self.pack.setFocus()
        self.refresh(ALL)

    def _series_into_pack(self) -> None:
        if self.controller.pack.enter_series():
            self.controller.pack.open(None, self.pack.show_pack)
        self.refresh(ALL)

    def _measured(self) -> None:
        """Lengths are written; on the pack page the sheet is answered anew."""
        if self.controller.lengths.end() and self.in_sight is Act.PAGE_PACK:
            self.controller.pack.open(None, self.pack.show_pack)
        (self.pages.currentWidget() or self).setFocus()
        self.refresh(ALL)

    def _after(self, act: Callable[..., object], *with_what: object) -> None:
        act(*with_what)
        self.refresh(ALL)

    def _look_at(self, number: int) -> None:
        self._after(self.model.look_at, number)
