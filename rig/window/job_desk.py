"""JobDesk: the job that is worked on, and what the person wants of the job book. No Qt; waits for nothing.

Every look and every entry is a task of the book's own thread; what it gives comes at a tick, what it fails with becomes a notice.
Pulls are entered by the keeper of the line, by the job that each recording names; here they are only seen to have been.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analysis.errors import BenchError
from analysis.window import Basis, Window
from rig.book.events import Kind
from rig.errors import BookError, BookUnreachableError
from rig.live.news import Entered, Failed, News
from rig.window.book_worker import BookWorker
from rig.window.entry import Entry
from rig.window.means import BookMeans, Means
from rig.window.model import BenchModel, Source
from rig.window.notices import Notice
from rig.window.preferences import Preferences
from rig.words.language import say, spoken

if TYPE_CHECKING:  # loads SQLAlchemy, which no start of the window waits for
    from analysis.pack.shop import ShopHistory
    from rig.book.book import Book, Draft
    from rig.book.documents import JobView
    from rig.book.record import JobRecord
    from rig.window.views.job import JobList, JobShown
    from rig.window.views.trend import TrendView


_PAGES = ("rig.window.qt.jobs_page", "rig.window.qt.job_page", "rig.book.look")
"""Modules that load SQLAlchemy: half a second that nobody shall wait for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NewJob:
    """What a person says when a unit comes in; texts may be empty but for the unit."""

    unit: str
    customer: str = ""
    complaint: str = ""
    spec: Path | None = None


@dataclass(frozen=True, slots=True)
class Taken:
    """A job that was looked at, as the desk needs it beside its pages."""

    shown: JobShown
    number: str
    unit: str
    customer: str | None
    card: Any
    card_file: Path | None
    known: Any
    refits: Mapping[str, Mapping[str, Any]]
    """The newest section of each part that refit sheets of the job stated."""


class JobDesk:
    """`number` is the job that pulls are entered in, `shown` its pages; None: none is taken.

    `listed` are the jobs found last. `revision` counts what changed, for a page that wants to know whether to show anew.
    """

    def __init__(self, model: BenchModel, means: Means, book: BookMeans, preferences: Preferences, entry: Entry) -> None:
        self._model, self._means, self._book_means = model, means, book
        self._preferences, self._entry = preferences, entry
        self._worker = BookWorker(book.open, self._failed)
        self.described: Callable[[], None] = lambda: None
        self.new_series: Callable[[str], None] = lambda why: None
        self.number: str | None = None
        self._card_window: Window | None = None
        self.customer: str | None = None
        self.unit = ""
        self.refits: Mapping[str, Mapping[str, Any]] = {}
        self.shown: JobShown | None = None
        self.listed: JobList | None = None
        self.away = ""
        """Why the book cannot be reached; "" while it can."""
        self.revision = 0
        self._looks = (0, model.unit, spoken())
        """Pulls entered, unit and language that the pages were made for."""
        self._told: deque[News] = deque()
        """What the book's thread told of recordings that waited."""

    # what is known without the book

    @property
    def last(self) -> tuple[str, str]:
        """Number and unit of the job worked on last; empty where there is none."""
        now = self._preferences.now
        return now.job, now.job_unit

    @property
    def bench_line(self) -> tuple[str, str]:
        """The job in a line for the bench page: which, and what is still wanted; empty where none is taken."""
        if self.shown is None:
            return (self.number or "", "")
        line = self.shown.bench
        return "  ".join(part for part in (line.job, line.unit, line.phase) if part), line.wanted

    @property
    def busy(self) -> bool:
        """Whether something is asked of the book."""
        return self._worker.busy

    def load_early(self) -> None:
        """Load what the pages need on the book's thread, while the cautions are read; no book is opened."""
        self._worker.warm(_PAGES)

    def tick(self) -> bool:
        """Hand on what is finished; see whether pulls were entered. Whether anything is to be shown anew."""
        looks = (self._model.line.entered, self._model.unit, spoken())
        if looks != self._looks:
            self._looks = looks
            self.look_again()
        while self._told:
            self._tell_of_waiting(self._told.popleft())
        return self._worker.tick()

    def _tell_of_waiting(self, item: News) -> None:
        if isinstance(item, Entered):
            words = say("a recording that waited is entered in job {job}, entry {entry}", job=item.job, entry=item.entry)
            self._model.tell(words, good=True)
        elif isinstance(item, Failed):
            self._model.tell(item.what, item.where, item.remedy)

    def close(self) -> None:
        """Finish what was asked for."""
        self._worker.close()

    # which job

    def take_last(self) -> None:
        """Go on with the job worked on last; where the window knows none, with the one opened last."""
        number = self.last[0] or None

        def find(book: Book) -> Taken:
            self._enter_what_waits(book)
            if number is None and not book.jobs(limit=1):
                raise BookError("the book holds no job yet", remedy=say("open the first: Jobs (Ctrl+J)"))
            return self._look(book, number or book.last_job())

        self._do(find, self._take)

    def take(self, number: str) -> None:
        """Work on this job from now on."""

        def taken(book: Book) -> Taken:
            self._enter_what_waits(book)
            return self._look(book, number)

        self._do(taken, self._take)

    def open_new(self, new: NewJob) -> None:
        """Open a job and work on it."""
        who = self._who()

        def opened(book: Book) -> Taken:
            from rig.book.entries import spec_draft
            from rig.book.opening import open_job

            spec = None if new.spec is None else spec_draft(new.spec)  # read before a number is handed out
            record = open_job(book, who, unit=new.unit, customer=new.customer, complaint=new.complaint, spec=spec)
            return self._look(book, record.job)

        self._do(opened, self._take)

    def leave(self) -> None:
        """No job: pulls are recorded and entered nowhere."""
        self.number = self.customer = self.shown = None
        self.unit, self.refits = "", {}
        self._changed()
        self.described()

    def look_again(self) -> None:
        """Show the job anew, as after an entry."""
        if (number := self.number) is not None:
            self._do(lambda book: self._look(book, number), self._show)

    def find(self, search: str) -> None:
        """List the jobs that hold these words, newest first; of a unit its history."""

        def found(book: Book) -> JobList:
            from rig.window.views.job import MOST_JOBS, job_list

            return job_list(book.jobs(search or None, limit=MOST_JOBS + 1), search)

        def listed(found: JobList) -> None:
            self.listed = found
            self._changed()

        self._do(found, listed)

    def tell_trend(self, figure: str, basis: Basis, then: Callable[[TrendView], None]) -> None:
        """One figure of the bench over the jobs."""

        def asked(book: Book) -> TrendView:
            from rig.window.views.trend import trend_view

            return trend_view(book, figure, basis)

        self._do(asked, then)

    def tell_shop_history(self, then: Callable[[ShopHistory], None]) -> None:
        """What the book tells of friction, scatter and shims in this shop."""

        def asked(book: Book) -> ShopHistory:
            from rig.book.knowledge import shop_history

            return shop_history(book)

        self._do(asked, then)

    # entering

    def mark(self, step: str, *, although: str = "", acknowledged: Sequence[str] = ()) -> None:
        """Mark a step as done; one that may not be done is told with what it lacks."""
        who = self._who()

        def marked(book: Book, number: str) -> None:
            from rig.book.look import scatter_for
            from rig.book.marking import mark_step

            known = scatter_for(book, book.record(number), self._book_means.scatter)
            mark_step(book, number, step, who, although=although or None, acknowledged=acknowledged, known=known)

        self._enter(marked)

    def strike(self, entry: int, why: str) -> None:
        """Let an entry not count from now on."""
        who = self._who()

        def struck(book: Book, number: str) -> None:
            from rig.book.marking import strike

            strike(book, number, entry, why, who)

        self._enter(struck)

    def close_job(self) -> None:
        """The unit is handed over."""
        who = self._who()

        def closed(book: Book, number: str) -> None:
            from rig.book.marking import close

            close(book, number, who)

        self._enter(closed)

    def add_text(self, kind: str, text: str, **more: Any) -> None:
        """Enter a note, a part or an oil."""

        def draft(book: Book, number: str) -> Draft:
            from rig.book.entries import text_draft

            return text_draft(kind, text, **more)

        self._add(draft)

    def add_file(self, kind: str, path: Path) -> None:
        """Enter a spec card, pack sheet, refit sheet, photo or certificate."""

        def draft(book: Book, number: str) -> Draft:
            from rig.book import entries
            from rig.book.look import whole_card

            if kind == Kind.PACK:
                return entries.pack_draft(path, whole_card(book, book.record(number)))
            if kind == Kind.REFIT:
                return entries.refit_draft(path)
            return entries.spec_draft(path) if kind == Kind.SPEC else entries.file_draft(Kind(kind), path)

        self._add(draft)

    def add_pulls(self, paths: Sequence[Path]) -> None:
        """Enter recordings that were made without the job."""
        who, benches = self._who(), self._means.benches
        sensor_of = benches.sensors.of if benches else lambda info: info.sensor(self._means.today())

        def entered(book: Book, number: str) -> None:
            from rig.book.entries import enter_pull, read_pull_draft

            for path in paths:
                enter_pull(book, number, who, read_pull_draft(path, sensor_of))

        self._enter(entered)

    # sheets

    def write_sheet(self, kind: str, path: Path, *, language: str, unit: str) -> None:
        """Make 'hand-over', 'label' or 'comparison' as PDF and open it."""
        if (number := self.number) is None:
            return
        left_out: list[str] = []

        def written(book: Book) -> Path:
            from rig.book.look import job_view
            from rig.sheets.of_job import write_comparison, write_hand_over, write_label
            from rig.sheets.phrases import Phrases

            means, day = self._book_means, self._means.today()
            view, phrases = job_view(book, number, means.scatter), Phrases(language, unit)
            path.parent.mkdir(parents=True, exist_ok=True)
            if kind == "label":
                write_label(path, view, phrases, day=day, workshop=means.workshop)
            elif kind == "comparison":
                write_comparison(path, book, view, unit, day=day)
            else:
                write_hand_over(
                    path,
                    book,
                    view,
                    phrases,
                    day=day,
                    workshop=means.workshop,
                    software=means.software,
                    note=left_out.append,
                )
            return path

        def told(there: Path) -> None:
            for line in left_out:
                self._model.tell(line)
            self._model.notices.add(Notice(say("the sheet is written"), where=str(there), good=True))
            if self._means.show_folder is not None:
                self._means.show_folder(there)

        self._do(written, told)

    def sheet_path(self, kind: str) -> Path:
        """Where a sheet of the job goes unless a person says where."""
        return self._book_means.folder / f"{self.number or 'job'}_{kind}_{spoken()}.pdf"

    @property
    def folder(self) -> Path:
        """Where what is made for the job goes."""
        return self._book_means.folder

    # how it is done

    def _who(self) -> str:
        return self._entry.now.who.strip() or self._book_means.who

    def _add(self, draft: Callable[[Book, str], Draft]) -> None:
        who = self._who()

        def entered(book: Book, number: str) -> None:
            made = draft(book, number)
            book.append(number, who, lambda _: made)

        self._enter(entered)

    def _enter(self, task: Callable[[Book, str], None]) -> None:
        """Enter something in the job and show it anew."""
        if (number := self.number) is None:
            self._model.tell(say("no job is taken"), remedy=say("open one, or take one from the list (Ctrl+J)"))
            return

        def entered(book: Book) -> Taken:
            task(book, number)
            self._enter_what_waits(book)
            return self._look(book, number)

        self._do(entered, self._show)

    def _enter_what_waits(self, book: Book) -> None:
        from rig.book.keeper import enter_waiting

        enter_waiting(book, self._book_means.waiting, self._told.append)

    def _look(self, book: Book, number: str) -> Taken:
        from rig.book.look import job_view, whole_card
        from rig.window.views.job import shown_job

        view: JobView = job_view(book, number, self._book_means.scatter)
        record: JobRecord = view.record
        return Taken(
            shown=shown_job(view, self._model.unit),
            number=record.job,
            unit=record.unit,
            customer=record.customer,
            card=view.card,
            card_file=whole_card(book, record),
            known=view.judging.known,
            refits=_newest_sections(record),
        )

    def _take(self, taken: Taken) -> None:
        """Work on a job: its unit and window count for the pulls to come, which are written with its number."""
        another = taken.number != self.number
        self.number, self.customer = taken.number, taken.customer
        self._preferences.keep(replace(self._preferences.now, job=taken.number, job_unit=taken.unit))
        self._model.known = replace(self._model.known, scatter=taken.known)
        if another and len(self._model.line.series):
            self.new_series(say("job {job}", job=taken.number))
        self._card_window = None if taken.card is None else taken.card.window
        self._entry.take_job(taken.number, taken.unit, self._card_window, taken.card_file)
        self._tell_simulated(taken.number)
        self._show(taken)
        self.described()

    def _tell_simulated(self, job: str) -> None:
        """On the simulated bench a job may be somebody's real one: what goes into it is told before the first pull."""
        if self._model.line.source is not Source.SIMULATED:
            return
        if self._means.benches is not None and self._means.benches.out is None:
            words = "this is the simulated bench without --out: nothing is recorded, nothing is entered in job {job}"
            self._model.tell(say(words, job=job), good=True)
            return
        self._model.tell(
            say("this is the simulated bench: SIMULATED pulls go into job {job}", job=job),
            remedy=say("for practice open a job of its own; 'Without a job' (Ctrl+J) enters nothing"),
        )

    def _show(self, taken: Taken) -> None:
        if taken.number == self.number:
            self.shown, self.unit, self.refits = taken.shown, taken.unit, taken.refits
            window = None if taken.card is None else taken.card.window
            if window != self._card_window:  # a card was entered or struck since: bench and job judge alike
                self._card_window = window
                self._entry.take_card_of_job(taken.number, window, taken.card_file)
            self._changed()

    def _do(self, task: Callable[[Book], Any], then: Callable[[Any], None]) -> None:
        def done(result: Any) -> None:
            self.away = ""
            then(result)

        self._worker.do(task, done)

    def _failed(self, fault: BenchError) -> None:
        if isinstance(fault, BookUnreachableError):
            self.away = fault.what
            self._changed()
            remedy = say("pulls are recorded all the same, and entered when the book is back; {remedy}", remedy=fault.remedy)
            self._model.tell(fault.what, fault.where, remedy)
            return
        lines = "; ".join(getattr(fault, "lines", ()))
        self._model.tell(fault.what + (f": {lines}" if lines else ""), fault.where, fault.remedy)

    def _changed(self) -> None:
        self.revision += 1


def _newest_sections(record: JobRecord) -> dict[str, Mapping[str, Any]]:
    """The first entry of each section, by the newest refit sheet that has it."""
    found: dict[str, Mapping[str, Any]] = {}
    for entry in record.of(Kind.REFIT, counting=True):
        for name, section in entry.content["sheet"].items():
            one = section[0] if isinstance(section, list) and section else section
            if isinstance(one, Mapping):
                found[name] = one
    return found
