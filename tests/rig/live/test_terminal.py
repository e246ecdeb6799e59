"""The terminal: what is told, in plain lines, and when it ends."""

import dataclasses
import io
from pathlib import Path

import pytest
from support.made import MOMENT, ListSource, made_stream, pieces_of

from analysis.pull.reading import read_pull
from analysis.results import Sensor
from analysis.verdict.judge import judge
from analysis.window import Window
from drivers.errors import LineLostError
from drivers.items import ConnectionLost, LineUp, LineWarning
from rig.live.news import (
    DiskBack,
    DiskRefuses,
    Ended,
    EndedAbruptly,
    Exercised,
    Failed,
    FreeTurnSeen,
    PullBegan,
    PullJudged,
    PullKept,
    SeriesOver,
    ZeroFound,
)
from rig.live.runner import Bench
from rig.live.session import Session
from rig.live.terminal import Terminal, follow


class StillClock:
    """A clock that goes on by a second each time it is asked."""

    def __init__(self):
        self.moment_s = 0.0

    def now(self):
        self.moment_s += 1.0
        return self.moment_s

    def wait_until(self, moment_s, stop):
        return stop.is_set()


@pytest.fixture
def terminal():
    return Terminal(io.StringIO(), io.StringIO(), large=True)


def session():
    return Session(sensor=Sensor(capacity_nm=200.0, u_relative=0.002), window=Window.parse("50..70 N.m"))


def followed(terminal, source, **limits):
    wishes = {"pulls": None, "seconds": None, "asked_to_end": lambda: False} | limits
    with Bench(source, session(), patient=True) as bench:
        follow(bench, terminal, StillClock(), **wishes)
    return terminal.out.getvalue(), terminal.err.getvalue()


def test_what_happened_to_the_disk_and_to_the_program_before_is_told(terminal):
    for item in (
        EndedAbruptly(MOMENT, 35.0, 7, Path("p.csv")),
        DiskRefuses("no space left", "folder", "make room", 2),
        PullKept(8, Path("q.csv")),
        DiskBack("folder"),
    ):
        terminal.show(item)
    err = terminal.err.getvalue()
    assert "the program ended abruptly in pull 7 (2026-03-05 10:30:00): it does not count" in err
    assert "kept up to there in p.csv" in err
    assert "folder: no space left; make room. pulls kept in memory until there is room: 2" in err
    assert "folder can be written again" in err
    assert "pull 8 is kept after all in q.csv" in terminal.out.getvalue()


def test_every_pull_gets_a_banner_a_line_and_a_place_in_the_list(terminal):
    out, err = followed(terminal, ListSource(pieces_of(made_stream(7), [10])))
    assert out.count("I N   W I N D O W".replace("   ", "    ")) == 7
    assert out.count("last pulls:") == 7
    assert out.count("(first reading)") == 7
    last = out[out.rindex("last pulls:") :]
    assert [f"pull {number}:" in last for number in (1, 2, 3, 4, 5, 6, 7)] == [False, False, True, True, True, True, True]
    assert "line open: made" in err


def test_without_an_audience_a_pull_is_its_line_and_its_sentences(terminal):
    terminal.large = False
    out, _ = followed(terminal, ListSource(pieces_of(made_stream(1), [10])))
    first, second, *_ = out.splitlines()
    assert first.startswith("pull 1: breakaway ")
    assert second.startswith("    pack breakaway ")
    assert "last pulls" not in out


def test_another_unit_is_told_in_that_unit(terminal):
    terminal.unit = "lbf.ft"
    out, _ = followed(terminal, ListSource(pieces_of(made_stream(1), [10])))
    # 60 N.m is 44.25 lbf.ft (NIST Special Publication 811, appendix B.8: 1 lbf.ft = 1.355818 N.m).
    assert "breakaway 44." in out
    assert " N.m" not in out


def test_without_a_window_that_is_said(terminal):
    with Bench(ListSource(pieces_of(made_stream(1), [10])), Session(), patient=True) as bench:
        follow(bench, terminal, StillClock(), pulls=None, seconds=None, asked_to_end=lambda: False)
    assert "N O   W I N D O W   S E T" in terminal.out.getvalue()


class _Endless:
    """Three pulls, then silence for ever."""

    def __init__(self):
        self.faults = ListSource([]).faults

    def pieces(self, stop):
        yield from ListSource(pieces_of(made_stream(3), [10])).pieces(stop)
        stop.wait()


@pytest.mark.parametrize("limits", [{"pulls": 3}, {"seconds": 5.0}, {"asked_to_end": lambda: True}])
def test_it_ends_when_it_is_enough(terminal, limits):
    followed(terminal, _Endless(), **limits)


def test_what_ended_the_line_is_raised_after_everything_was_told(terminal):
    pieces = pieces_of(made_stream(1).between(0.0, 5.0), [10])
    with pytest.raises(LineLostError, match="went away"):
        followed(terminal, ListSource(pieces, LineLostError("the line went away", where="COM3", remedy="check the plug")))
    assert "pull 1: breakaway" in terminal.out.getvalue()
    assert "the line went away" not in terminal.err.getvalue()  # the verb prints it, once, as its last line


def test_a_free_turn_is_a_question_where_a_person_watches_and_else_says_how_to_count_it(terminal):
    result = read_pull(made_stream(1), Sensor(capacity_nm=200.0))
    news = FreeTurnSeen(1, made_stream(1), result, 103.5, None)
    terminal.show(news)
    assert "p + Enter: yes, that was the pull" in terminal.out.getvalue()
    alone = Terminal(io.StringIO(), io.StringIO())
    alone.show(news)
    assert "not counted; if it was the pull: analyse the file, or record with --free-turns" in alone.out.getvalue()
    assert "Enter" not in alone.out.getvalue()


def test_news_of_the_line_say_what_to_do(terminal):
    for item in (
        LineUp("COM3"),
        ConnectionLost("COM3", "it is silent", "check the power"),
        LineWarning("the device says its sensor is overloaded", "let go"),
        Failed("no space left", "pulls", "make room"),
        Failed("odd", "", "report this"),
        PullBegan(4, 1.0),
        Ended(),
    ):
        terminal.show(item)
    assert terminal.err.getvalue().splitlines() == [
        "line open: COM3",
        "line: COM3: it is silent; check the power",
        "line: the device says its sensor is overloaded; let go",
        "pulls: no space left; make room",
        "odd; report this",
    ]
    assert terminal.out.getvalue() == "pull 4 ...\n"


def test_the_cautions_come_first(terminal):
    terminal.caution()
    assert "maker's manual" in terminal.err.getvalue()


def test_zero_and_exercise_are_told_in_the_unit_chosen(terminal):
    terminal.unit = "lbf.ft"
    nm = 1.3558179483314004  # 1 lbf.ft, exact by definition (NIST SP 811, B.8)
    for item in (
        ZeroFound(0.2 * nm, asked=False, far_off=False),
        ZeroFound(20 * nm, asked=True, far_off=True),
        Exercised(-1, 50 * nm, 2, over=False),
        Exercised(1, 5 * nm, 0, over=False),
        Exercised(1, 50 * nm, 3, over=True),
        SeriesOver(0.2 * nm, 2.2 * nm, moved=True),
        SeriesOver(0.2 * nm, 0.25 * nm, moved=False),
    ):
        terminal.show(item)
    out, err = terminal.out.getvalue().splitlines(), terminal.err.getvalue().splitlines()
    assert out == [
        "exercise, other way: 50.0 lbf.ft, load 2 of 3",
        "exercise, first direction: 5.00 lbf.ft, too low to count",
        "exercise, first direction: 50.0 lbf.ft, load 3 of 3; done, hands off for the new zero",
    ]
    assert err[0] == "zero: 0.20 lbf.ft"
    assert err[1].startswith("new zero: 20.00 lbf.ft; so far off")
    assert "2.20 lbf.ft after it; it moved too far" in err[2]
    assert err[3] == "zero: 0.20 lbf.ft before the series, 0.25 lbf.ft after it"


def test_from_the_second_pull_on_the_series_is_told_with_what_to_do_next(terminal):
    of = session()
    terminal.together = of.together
    with Bench(ListSource(pieces_of(made_stream(3), [10])), of, patient=True) as bench:
        follow(bench, terminal, StillClock(), pulls=None, seconds=None, asked_to_end=lambda: False)
    out = terminal.out.getvalue()
    first, rest = out.split("pull 2: ", 1)
    assert "series of" not in first
    assert "series of 2 pulls, 2 counted" in rest
    assert "next: pull 3 of 3, this way; then move the lever over and pull 3 the other way" in rest
    rows = terminal.series()
    assert rows[0] == "series of 3 pulls, 3 counted"
    assert any("chatter" in row for row in rows)


def test_a_pull_that_chatters_is_not_announced_as_simply_good(terminal):
    result = read_pull(made_stream(1), Sensor(u_relative=0.002))
    chatter = dataclasses.replace(result.chatter, assessable=True, score=0.9, cycles=9)
    result = dataclasses.replace(result, chatter=chatter)
    verdict = judge(result, Window.parse("40..80 N.m"))
    terminal.show(PullJudged(1, made_stream(1), result, verdict, None, final=True))
    out = terminal.out.getvalue()
    assert "I N    W I N D O W ,    C H A T T E R S" in out
    assert "IN WINDOW, CHATTERS" in out


def test_what_could_not_be_read_of_a_line_is_told_at_the_end(terminal):
    source = ListSource(pieces_of(made_stream(1), [10]))
    source.faults.garbled, source.faults.lost = 86, 1
    _, told = followed(terminal, source)
    assert "line: 86 lines or frames not readable, 1 sample lost on the wire; check cable" in told


def test_of_a_clean_line_nothing_is_told_at_the_end(terminal):
    _, told = followed(terminal, ListSource(pieces_of(made_stream(1), [10])))
    assert "readable" not in told
