"""Pulls are entered as they land; a book that cannot be reached costs none."""

import threading

import pytest
from support.jobs import START
from support.made import ListSource, made_stream, pieces_of

from drivers.items import LineUp
from rig.book.book import Book
from rig.book.entries import Outcome, enter_pull, read_pull_draft
from rig.book.events import Kind
from rig.book.keeper import Keeper, enter_waiting
from rig.book.marking import strike
from rig.book.place import Place
from rig.book.verify import verify
from rig.book.waiting import WaitingRoom
from rig.errors import BookError, BookUnreachableError
from rig.files.metadata import TraceInfo
from rig.files.trace_csv import amend_info
from rig.live import pull_file
from rig.live import recorder as recorder_module
from rig.live.news import Ended, Entered, Failed, PullAmended, PullJudged, PullKept
from rig.live.recorder import Recorder
from rig.live.runner import Bench
from rig.live.session import Session


class Shop:
    """A bench on made pulls whose keeper enters them in a book that can be taken away."""

    def __init__(self, url, folder):
        self.place = Place.of(url)
        self.folder = folder
        self.away = threading.Event()
        self.room = WaitingRoom(folder / "waiting")
        with self.open() as book:
            self.job = book.open_job({"unit": "demo 3", "steps": []}, "T.W.").job

    def open(self):
        if self.away.is_set():
            raise BookUnreachableError("the database server cannot be reached", where=str(self.place), remedy="check that it runs")
        return Book(self.place, lambda: START)

    def keeper(self, tell, job=None):
        return Keeper(self.open, lambda: str(self.place), job or self.job, "T.W.", self.room, tell)

    def pulls(self, count=1, job=None, seed=1):
        """Record so many pulls to the end; all the news."""
        recorder = Recorder(self.folder / "pulls", TraceInfo(job=job or self.job, who="T.W."), lambda: START, lambda: 0.0)
        source = ListSource(pieces_of(made_stream(count, seed=seed), [10]))
        with Bench(source, Session(recorder=recorder), patient=True, listener=lambda tell: self.keeper(tell, job)) as bench:
            news = []
            while not any(isinstance(item, Ended) for item in news):
                news += bench.wait_for_news(0.2)
        return news + bench.news()

    def entered(self):
        with self.open() as book:
            return [pull.entry.files[0][0] for pull in book.record(self.job).pulls]


@pytest.fixture
def shop(book_url, tmp_path):
    return Shop(book_url, tmp_path)


def told(news, kind):
    return [item for item in news if isinstance(item, kind)]


def test_each_pull_is_entered_with_its_file_and_told(shop):
    news = shop.pulls(2)
    files = [item.file.name for item in told(news, PullJudged) if item.final]
    assert shop.entered() == files
    assert [(item.number, item.job, item.entry) for item in told(news, Entered)] == [(1, shop.job, 2), (2, shop.job, 3)]
    assert not told(news, Failed)
    assert shop.room.of(str(shop.place)) == []


def following(shop, tell):
    """A keeper of a window, in which the job may change: each recording names its own."""
    return Keeper(shop.open, lambda: str(shop.place), None, "T.W.", shop.room, tell)


def test_a_window_enters_each_pull_in_the_job_that_its_recording_names(shop):
    with shop.open() as book:
        other = book.open_job({"unit": "demo 4", "steps": []}, "T.W.").job
    for job, count in ((shop.job, 1), (other, 2), (None, 1)):
        recorder = Recorder(shop.folder / f"of {job}", TraceInfo(job=job, who="A.B."), lambda: START, lambda: 0.0)
        source = ListSource(pieces_of(made_stream(count, seed=count), [10]))
        with Bench(source, Session(recorder=recorder), patient=True, listener=lambda tell: following(shop, tell)) as bench:
            while not any(isinstance(item, Ended) for item in bench.wait_for_news(0.2)):
                pass
    with shop.open() as book:
        pulls = {job: book.record(job).pulls for job in (shop.job, other)}
    assert {job: len(of_job) for job, of_job in pulls.items()} == {shop.job: 1, other: 2}
    assert {pull.entry.who for of_job in pulls.values() for pull in of_job} == {"A.B."}
    assert not shop.room.all()


def test_a_window_without_a_job_makes_no_book(tmp_path):
    opened = []
    keeper = Keeper(lambda: opened.append(True), lambda: "nowhere", None, "T.W.", WaitingRoom(tmp_path / "waiting"), print)
    keeper.hear(LineUp("bench"))
    keeper.close()
    assert not opened


def test_a_pull_is_recorded_when_the_book_is_away_and_entered_when_it_is_back(shop):
    shop.away.set()
    news = shop.pulls(1)
    [pull] = [item for item in told(news, PullJudged) if item.final]
    assert pull.file.is_file()
    complaint = told(news, Failed)[-1]
    assert "not entered" in complaint.what
    assert "waits" in complaint.remedy
    assert len(shop.room.of(str(shop.place))) == 1
    shop.away.clear()
    assert shop.entered() == []
    news = shop.pulls(1, seed=2)
    assert len(shop.entered()) == 2
    assert [item.number for item in told(news, Entered)] == [None, 2]  # the one that waited comes as soon as the line stands
    assert shop.room.of(str(shop.place)) == []


def test_what_waits_is_entered_by_the_next_program_and_once_only(shop):
    shop.away.set()
    shop.pulls(2)
    shop.away.clear()
    with shop.open() as book:
        assert enter_waiting(book, shop.room, lambda item: None) == 2
        assert enter_waiting(book, shop.room, lambda item: None) == 0
    assert len(shop.entered()) == 2


def test_a_program_that_ended_between_entry_and_note_enters_nothing_twice(shop):
    news = shop.pulls(1)
    [pull] = [item for item in told(news, PullJudged) if item.final]
    from rig.book.waiting import Waiting

    shop.room.note(Waiting(str(shop.place), shop.job, str(pull.file), "T.W."))
    with shop.open() as book:
        assert enter_waiting(book, shop.room, lambda item: None) == 0
    assert len(shop.entered()) == 1
    assert shop.room.of(str(shop.place)) == []


def test_a_job_that_is_not_there_is_told_before_the_first_pull_and_the_pull_is_kept(shop):
    news = shop.pulls(1, job="2026-9999")
    complaints = told(news, Failed)
    assert "there is no job 2026-9999" in complaints[0].what
    assert news.index(complaints[0]) < next(at for at, item in enumerate(news) if isinstance(item, PullJudged) and item.final)
    assert len(list((shop.folder / "pulls").glob("*.csv"))) == 1


def test_a_waiting_recording_that_is_gone_is_told_once(shop):
    shop.away.set()
    news = shop.pulls(1)
    [pull] = [item for item in told(news, PullJudged) if item.final]
    pull.file.unlink()
    shop.away.clear()
    heard = []
    with shop.open() as book:
        enter_waiting(book, shop.room, heard.append)
        enter_waiting(book, shop.room, heard.append)
    assert [type(item) for item in heard] == [Failed]


def test_a_pull_that_a_full_disk_kept_back_is_entered_when_it_is_written(shop, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(recorder_module, "TRY_AGAIN_S", 0.0)
    recorder = Recorder(shop.folder / "pulls", TraceInfo(job=shop.job, who="T.W."), lambda: START, lambda: 0.0)
    source = ListSource(pieces_of(made_stream(1), [10]))
    with monkeypatch.context() as patch:
        patch.setattr(pull_file.os, "write", full)
        bench = Bench(source, Session(recorder=recorder), patient=True, listener=shop.keeper)
        news = []
        while not told(news, Ended):
            news += bench.wait_for_news(0.2)
        assert [pull.file for pull in told(news, PullJudged) if pull.final] == [None]
        assert shop.entered() == []
    bench.close()
    news += bench.news()
    [kept] = told(news, PullKept)
    assert shop.entered() == [kept.file.name]


def test_waiting_for_one_book_is_not_waiting_for_another(shop):
    shop.away.set()
    shop.pulls(1)
    assert shop.room.of("another book") == []


def test_a_pull_that_a_person_excludes_afterwards_is_amended_and_the_record_holds(shop):
    recorder = Recorder(shop.folder / "pulls", TraceInfo(job=shop.job, who="T.W."), lambda: START, lambda: 0.0)
    source = ListSource(pieces_of(made_stream(1), [10]))
    with Bench(source, Session(recorder=recorder), patient=True, listener=shop.keeper) as bench:
        news = []
        while not told(news, Entered):
            news += bench.wait_for_news(0.2)
        [pull] = [item for item in told(news, PullJudged) if item.final]
        for reason in ("the vice slipped", None, "the vice slipped after all"):
            amend_info(pull.file, excluded=reason)
            bench.inform(PullAmended(pull.number, pull.file))
    with shop.open() as book:
        record = book.record(shop.job)
        [entered] = record.pulls
        assert entered.excluded == "the vice slipped after all"
        assert not entered.votes
        assert record.of(Kind.AMENDED)[-1].content["now"]["terms"]["excluded"] == "the vice slipped after all"
        assert verify(book).holds  # the metadata is other bytes now, and the chain says so
        with pytest.raises(BookError, match="strike the pull"):
            strike(book, shop.job, record.of(Kind.AMENDED)[0].entry, "no", "T.W.")


def test_metadata_changed_by_somebody_else_is_found_until_it_is_entered(shop):
    [pull] = [item for item in told(shop.pulls(1), PullJudged) if item.final]
    amend_info(pull.file, closure="final")
    with shop.open() as book:
        assert [one.what for one in verify(book).altered] == ["is not the file that was entered"]
        draft = read_pull_draft(pull.file, lambda info: info.sensor(START.date()))
        _, entry, outcome = enter_pull(book, shop.job, "T.W.", draft)
        assert (entry.entry, outcome) == (2, Outcome.AMENDED)
        assert verify(book).holds
        assert book.record(shop.job).pulls[0].term("closure") == "final"
