"""The window's program: makes the objects, joins them, runs Qt until the window is closed. Only this and `gui` import Qt."""

from __future__ import annotations

import contextlib
import importlib
import sys
import tempfile
import threading
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Final

from PySide6.QtCore import QLibraryInfo, QRect, QTimer, QTranslator, QUrl, SignalInstance
from PySide6.QtGui import QDesktopServices
from PySide6.QtWidgets import QApplication

from analysis.judgement import DecisionRule
from analysis.window import Window
from drivers.profile import DeviceProfile
from rig.window.controller import Controller, Means
from rig.window.means import BookMeans
from rig.window.memory import recall, remember, remembered_path
from rig.window.model import BenchModel, Source
from rig.window.openers import Benches
from rig.window.qt.main_window import MainWindow
from rig.window.sounds import sounds_of_system
from rig.words.language import LANGUAGES, speak, spoken
from rig.words.units import UnitChoice

SETTLED_MS = 1500
"""The job book is loaded once the window stands: its libraries would cost the first painted frame half a second."""
LOOK_MS: Final = 10
UNSEEN_MS: Final = 1000


def run_window(
    benches: Benches,
    *,
    profile: DeviceProfile | None = None,
    profile_file: Path | None = None,
    source: Source = Source.BENCH,
    recording: Path | None = None,
    speed: float = 1.0,
    window: Window | None = None,
    usual_window: str | None = None,
    rule: DecisionRule = DecisionRule.GUARDED,
    unit: str | None = None,
    exercise: bool = False,
    asked_to_end: Callable[[], bool] = lambda: False,
    book: BookMeans | None = None,
    job: str | None = None,
    language: str | None = None,
) -> int:
    """Show the bench window on a line, on a recording, or on the line opened last; returns the exit status when it is closed.

    `profile_file` is where the profile stands, to be opened again next time. `source` tells the
    simulated bench from a real line. `speed` is that of the
    recording. `unit` None: the unit used last.
    `usual_window` judges where none is given, none was set before and none waits for an answer.
    `exercise`: begin with the sensor's. `asked_to_end` tells of
    Ctrl-C and the like: the window then closes as if by hand. `book` is the job book, `job` the number of the job to work on.
    `language` None: the one of last time, at the very first that of the terminal.
    """
    path = remembered_path()
    remembered = recall(path)
    if unit is not None:
        remembered = replace(remembered, unit=unit, second_unit=None)
    if language is not None or not path.exists():
        remembered = replace(remembered, language=language or spoken())
    speak(remembered.language if remembered.language in LANGUAGES else "en")
    app = QApplication.instance() or QApplication(sys.argv[:1])
    app.setApplicationName("platepull")
    model = BenchModel(window=window, rule=rule, known=benches.known, unit=UnitChoice(remembered.unit, remembered.second_unit))
    with tempfile.TemporaryDirectory(prefix="platepull-") as folder:
        means = Means(
            benches,
            sounds_of_system(Path(folder)),
            lambda what: remember(path, what),
            asked_to_end=asked_to_end,
            show_folder=lambda where: QDesktopServices.openUrl(QUrl.fromLocalFile(str(where))),
            book=book,
        )
        controller = Controller(model, remembered, means)
        if usual_window is not None:
            controller.entry.take_usual(Window.parse(usual_window))
        if controller.job is not None and job is not None:
            controller.job.number = job  # the first pull is entered there, whatever the book says later

        def open_first() -> None:
            if profile is not None:
                controller.lines.open_line(profile, source, profile_file)
                if exercise:
                    controller.lines.exercise()
            elif recording is not None:
                controller.lines.open_recording(recording)
                if controller.lines.replayed is not None and controller.lines.replayed.replay is not None:
                    controller.lines.replayed.replay.speed = speed
            else:
                controller.lines.open_remembered()

        shell = Shell(controller)
        opening = Opening(shell.window.painted, open_first)
        if controller.job is not None and job is not None:
            QTimer.singleShot(SETTLED_MS, partial(controller.job.take, job))
        elif controller.job is not None and controller.begins_with_job:
            QTimer.singleShot(SETTLED_MS, controller.job.load_early)
        status = app.exec()
        opening.give_up()
        shell.window.let_go()
        controller.close()
    return status


class Opening:
    """Opens line or recording once the window stands and the analysis is loaded, which a thread does meanwhile.

    `painted` begins it; so does the time, for a window that nobody sees is never painted and its line must be open all the same.
    """

    def __init__(self, painted: SignalInstance, then: Callable[[], None]) -> None:
        self._then: Callable[[], None] | None = then
        self._thread = threading.Thread(target=load_analysis, name="platepull loading")
        self._timer = QTimer()
        self._timer.setInterval(LOOK_MS)
        self._timer.timeout.connect(self._look)
        painted.connect(self._begin)
        QTimer.singleShot(UNSEEN_MS, self._timer, self._begin)

    def _begin(self) -> None:
        if self._thread.ident is None and self._then is not None:
            self._thread.start()
            self._timer.start()

    def _look(self) -> None:
        if not self._thread.is_alive() and self._then is not None:
            self._timer.stop()
            then, self._then = self._then, None
            then()

    def give_up(self) -> None:
        """The window is closed: open nothing any more."""
        self._then = None
        self._timer.stop()
        if self._thread.ident is not None:
            self._thread.join()


def load_analysis() -> None:
    """Import what a bench needs; whatever is wrong with it shows when the bench is opened."""
    with contextlib.suppress(ImportError):
        importlib.import_module("rig.live.session")


class QtWords:
    """Qt's own words, of its file dialogs and buttons, in the language of the window, where Qt was installed with them."""

    def __init__(self) -> None:
        self._words = QTranslator()

    def speak(self, code: str) -> bool:
        """Speak this language; whether Qt has words of it (English needs none)."""
        QApplication.removeTranslator(self._words)
        folder = QLibraryInfo.path(QLibraryInfo.LibraryPath.TranslationsPath)
        return self._words.load(f"qtbase_{code}", folder) and QApplication.installTranslator(self._words)


class Shell:
    """Holds the window in sight; another language is another window on the same desk."""

    def __init__(self, controller: Controller) -> None:
        self._controller = controller
        self._qt_words = QtWords()
        self._qt_words.speak(spoken())
        place = None if controller.preferences.now.place is None else QRect(*controller.preferences.now.place)
        if place is not None and not any(screen.geometry().intersects(place) for screen in QApplication.screens()):
            place = None  # the screen it stood on is gone
        self.window = self._made(cautions=True, place=place)
        if controller.preferences.now.maximised:
            self.window.showMaximized()
        else:
            # A small screen would cut off what stands right and below: the type shrinks with the window, not with the screen.
            self.window.resize(self.window.size().boundedTo(self.window.screen().availableSize()))
            self.window.show()

    def _made(self, *, cautions: bool, place: QRect | None) -> MainWindow:
        window = MainWindow(self._controller, cautions=cautions, place=place)
        window.language_wanted.connect(self.speak)
        return window

    def speak(self, code: str) -> None:
        """Show the window in another language; line, pulls and page of the desk stay."""
        before = self.window
        speak(code)
        self._qt_words.speak(code)
        self._controller.looks.speak(code)
        self.window = self._made(cautions=False, place=before.geometry())
        self.window.show()
        before.let_go()
        before.hide()
        before.deleteLater()
