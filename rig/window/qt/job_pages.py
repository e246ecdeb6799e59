"""The pages of the job book together: each is built when it is first shown, and there are none where the window has no book."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from rig.window.controller import Controller
from rig.window.keys import Act
from rig.window.qt.later import Later
from rig.window.qt.page import Page
from rig.window.qt.rail import Shown
from rig.words.language import say


class JobPages:
    """`jobs` lists them and opens new ones, `job` is the one that is worked on, `refit` its refit. `show` goes to a page."""

    def __init__(self, controller: Controller, show: Callable[[Page], None]) -> None:
        self._controller, self._desk, self._model, self._show = controller, controller.job, controller.model, show
        self.jobs, self.job = Later("jobs page", self._make_jobs), Later("job page", self._make_job)
        self.refit = Later("refit page", self._make_refit)

    def shown(self) -> tuple[Shown, ...]:
        """The pages as the rail names them."""
        if self._desk is None:
            return ()
        jobs = say("Go on with the last job, open a new one, find one")
        job = say("What is still wanted, steps with their gates, sheets, the record")
        refit = say("Bearings, drag, backlash, bolts, fill: measured, judged, entered")
        return (
            Shown(Act.PAGE_JOBS, "jobs page", lambda: self.jobs, say("Jobs"), jobs),
            Shown(Act.PAGE_JOB, "job page", lambda: self.job, say("Job"), job),
            Shown(Act.PAGE_REFIT, "refit page", lambda: self.refit, say("Refit"), refit),
        )

    def acts(self, go_to_bench: Callable[[], None]) -> dict[Act, Callable[[], object]]:
        """What the keys of the job book do; without a book they say that there is none."""
        keys = (Act.PAGE_JOBS, Act.PAGE_JOB, Act.PAGE_REFIT, Act.LAST_JOB)
        if self._desk is None:
            return dict.fromkeys(keys, self._no_book)
        return {Act.LAST_JOB: partial(self._take_last, go_to_bench)}

    def _take_last(self, go_to_bench: Callable[[], None]) -> None:
        assert self._desk is not None
        self._desk.take_last()
        go_to_bench()

    def _no_book(self) -> None:
        self._model.tell(say("this window has no job book"), good=True)

    def _make_jobs(self) -> Page:
        from rig.window.qt.jobs_page import JobsPage  # loads the job book: not before it is asked for

        assert self._desk is not None
        page = JobsPage(self._desk, partial(self._controller.pack.write_template, "spec"))
        page.taken.connect(partial(self._show, self.job))
        return page

    def _make_job(self) -> Page:
        from rig.window.qt.job_page import JobPage

        assert self._desk is not None
        return JobPage(self._desk, self._model)

    def _make_refit(self) -> Page:
        from rig.window.qt.refit_page import RefitPage

        assert self._controller.refit is not None
        return RefitPage(self._controller.refit, self._controller.lengths)
