"""A shop for the tests of the window: a job book of its own in a folder, a fed bench, and a window over both."""

import time

from support.fed import FedBench
from support.jobs import OIL, START, write_pull

from analysis.verdict.scatter import USUAL_SCATTER
from rig import cli
from rig.book.book import Book
from rig.book.place import Place
from rig.book.waiting import WaitingRoom
from rig.errors import BookUnreachableError
from rig.window.controller import Controller, Means
from rig.window.means import BookMeans
from rig.window.memory import Remembered
from rig.window.model import BenchModel
from rig.window.qt.main_window import MainWindow
from rig.words.language import speak, spoken

SPEC = '[card]\nunit = "demo 3"\npage = "sheet 12"\n[window]\ntorque = "40..65 N.m"\narrangement = "A"\n'


class Shop:
    """A window with a book of its own."""

    def __init__(self, qtbot, tmp_path, *, cautions=False, remembered=None):
        self.url, self.folder = str(tmp_path / "book.sqlite"), tmp_path
        self.away = False
        self.opened = []
        self.bench = FedBench()
        self.means = BookMeans(
            open=self.open,
            scatter=USUAL_SCATTER,
            who="T.W.",
            workshop="Quillfen Gearworks",
            software="platepull 0",
            waiting=WaitingRoom(tmp_path / "waiting"),
            folder=tmp_path / "out",
        )
        means = Means(book=self.means, show_folder=self.opened.append)
        self.controller = Controller(BenchModel(self.bench), remembered or Remembered(), means)
        self.window = MainWindow(self.controller, cautions=cautions)
        self.window._timer.stop()
        qtbot.addWidget(self.window)
        self.window.resize(1280, 800)
        self.window.show()

    def open(self):
        if self.away:
            raise BookUnreachableError("the database server cannot be reached", where="postgresql://x/y", remedy="check it")
        return Book(Place.of(self.url), lambda: START)

    @property
    def desk(self):
        return self.controller.job

    def settle(self):
        """Wait until the book's thread has nothing left to do, and show it."""
        until = time.monotonic() + 60
        self.window.tick()
        while self.desk.busy and time.monotonic() < until:
            time.sleep(0.002)
            self.window.tick()
        assert not self.desk.busy

    def run(self, *words):
        language = spoken()
        assert cli.main(["job", *map(str, words), "--book", self.url]) == 0
        speak(language)  # the command line speaks that of the settings

    def filled(self):
        """A job with a series in the window, closed as it will run."""
        spec = self.folder / "spec.toml"
        spec.write_text(SPEC)
        self.run("new", "--unit-id", "demo 3", "--customer", "an invented one", "--spec", spec)
        files = [write_pull(self.folder, f"p{n}.csv", peak_nm=52 + 0.1 * n, direction=1 if n % 2 else -1, seed=n) for n in range(6)]
        self.run("add", "last", "pull", *files)
        self.run("add", "last", "oil", OIL)
        return f"{START.year}-0001"
